// SPDX-License-Identifier: Apache-2.0
#include "core/review/timeline.hpp"

#include <algorithm>

#include "core/capture/describe.hpp"

namespace pin16::review {

using event::Kind;
using What = TimeMark::What;

void Followers::frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t wire_bits,
                      Ns wire_ns) {
  for (Follower* f : all_) f->frame(h, t_ns, frame, wire_bits, wire_ns);
}
void Followers::record(const event::Batch& batch, const event::Header& h, Ns t_ns) {
  for (Follower* f : all_) f->record(batch, h, t_ns);
}
void Followers::message(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Message& message) {
  for (Follower* f : all_) f->message(sequence, link, t_ns, message);
}
void Followers::exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns,
                         const event::Exchange& exchange) {
  for (Follower* f : all_) f->exchange(sequence, link, t_ns, exchange);
}

void Timeline::saw(Ns t_ns) {
  if (first_ns_ == kNoTime || t_ns < first_ns_) first_ns_ = t_ns;
  last_ns_ = std::max(last_ns_, t_ns);
}

void Timeline::closeBucket(std::uint16_t link, Bucket& bucket) {
  const Ns middle_ns = bucket.from_ns + kLoadBucket_ns / 2;
  if (bucket.rated) {
    // A stamp that is late can give a bucket more than it holds.
    const double share = static_cast<double>(bucket.busy_ns) / static_cast<double>(kLoadBucket_ns);
    load_[link].append(middle_ns, 100 * std::min(1.0, share));
  }
  if (bucket.errors != 0) errors_[link].append(middle_ns, static_cast<double>(bucket.errors));
}

void Timeline::intoBucket(std::uint16_t link, Ns t_ns, Ns wire_ns, bool error) {
  Bucket& bucket = buckets_[link];
  const Ns from_ns = t_ns - ((t_ns % kLoadBucket_ns) + kLoadBucket_ns) % kLoadBucket_ns;
  if (bucket.from_ns == kNoTime) {
    bucket.from_ns = from_ns;
  } else if (from_ns > bucket.from_ns) {
    closeBucket(link, bucket);
    // Quiet in between: down to 0 right after, and up from 0 right before.
    if (bucket.rated && from_ns > bucket.from_ns + kLoadBucket_ns) {
      load_[link].append(bucket.from_ns + kLoadBucket_ns + kLoadBucket_ns / 2, 0);
      if (from_ns > bucket.from_ns + 2 * kLoadBucket_ns) load_[link].append(from_ns - kLoadBucket_ns / 2, 0);
    }
    bucket = {from_ns, 0, 0, bucket.rated};
  }
  bucket.busy_ns += wire_ns;
  bucket.errors += error ? 1 : 0;
  bucket.rated = bucket.rated || wire_ns > 0;
}

void Timeline::frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame,
                     std::uint32_t /*wire_bits*/, Ns wire_ns) {
  if (t_ns == kNoTime) return;
  saw(t_ns);
  intoBucket(h.link, t_ns, wire_ns, frame.error());
}

Timeline::Series& Timeline::seriesOf(std::uint16_t link, const event::Measurement& m) {
  const auto [at, fresh] = series_by_.try_emplace({link, m.point, m.unit}, series_.size());
  if (fresh) series_.push_back({m.point, m.unit, link, Pyramid()});
  return series_[at->second];
}

void Timeline::mark(TimeMark mark) {
  if (marks_.size() >= kMostMarks) {
    ++marks_left_out_;
    return;
  }
  marks_.push_back(std::move(mark));
}

void Timeline::record(const event::Batch& batch, const event::Header& h, Ns t_ns) {
  if (t_ns == kNoTime) return;
  saw(t_ns);
  const auto moment = [&](What what) {
    mark({what, t_ns, t_ns, h.link, h.sequence, capture::describe(h, batch)});
  };
  switch (h.kind) {
    case Kind::sample:
      if (const auto m = batch.record<event::Measurement>(h))
        seriesOf(h.link, *m).values.append(t_ns, m->value);
      break;
    case Kind::reading:
      if (auto m = batch.record<event::Measurement>(h))
        readings_.push_back({t_ns, h.sequence, std::move(*m)});
      break;
    case Kind::power:
      if (const auto p = batch.record<event::Power>(h); p && p->state != power_) {
        const bool was_on = power_ == event::PowerState::on;
        power_ = p->state;
        if (p->state == event::PowerState::on) moment(What::power_on);
        if (p->state != event::PowerState::on && was_on) moment(What::power_off);
      }
      break;
    case Kind::gap:
      if (const auto g = batch.record<event::Gap>(h)) {
        // The event's own time is when it was seen again: its span is told against that.
        const Ns length_ns = std::max<Ns>(0, g->to_ns - g->from_ns);
        mark({What::gap, t_ns - length_ns, t_ns, h.link, h.sequence, capture::describe(h, batch)});
        for (Series& s : series_)
          if (h.link == event::kNoLink || s.link == h.link) s.values.gap();
        for (auto& [link, bucket] : buckets_)
          if ((h.link == event::kNoLink || link == h.link) && bucket.from_ns != kNoTime) {
            closeBucket(link, bucket);
            bucket = {kNoTime, 0, 0, bucket.rated};
            if (const auto at = load_.find(link); at != load_.end()) at->second.gap();
          }
      }
      break;
    case Kind::loss:
      moment(What::loss);
      break;
    case Kind::note:
      moment(What::note);
      break;
    case Kind::attempt:
      if (const auto a = batch.record<event::Attempt>(h))
        moment(a->begins ? What::attempt_begin : What::attempt_end);
      break;
    default:
      break;
  }
}

void Timeline::exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Exchange& x) {
  const Ns from_ns = x.request_ns != kNoTime ? x.request_ns : t_ns;
  if (from_ns == kNoTime) return;
  if (bars_.size() >= kMostBars) {
    ++bars_left_out_;
    return;
  }
  ExchangeBar bar;
  bar.from_ns = from_ns;
  bar.to_ns = from_ns + (x.response_ms >= 0 ? fromMs(x.response_ms) : silence_ns_);
  bar.complete_ns = x.complete_ms >= 0 ? std::max(bar.to_ns, from_ns + fromMs(x.complete_ms)) : bar.to_ns;
  bar.sequence = sequence;
  bar.request_id = x.request_id;
  bar.answer_id = x.answer_id;
  bar.link = link;
  bar.ended = x.ended;
  bar.service = x.request.empty() ? std::uint8_t{0} : x.request[0];
  bar.extended = x.extended;
  bar.line = x.medium != event::Medium::can;
  bar.ours = x.ours;
  bar.late = x.late;
  bar.pending = x.pending != 0;
  longest_bar_ns_ = std::max(longest_bar_ns_, bar.complete_ns - bar.from_ns);
  // Concluded in the order of their ends: a long one goes back a little.
  const auto at = std::upper_bound(bars_.begin(), bars_.end(), bar.from_ns,
                                   [](Ns t, const ExchangeBar& b) { return t < b.from_ns; });
  bars_.insert(at, bar);
}

void Timeline::finish() {
  for (auto& [link, bucket] : buckets_)
    if (bucket.from_ns != kNoTime) {
      closeBucket(link, bucket);
      bucket = {kNoTime, 0, 0, bucket.rated};
    }
}

Timeline::Bars Timeline::bars(Ns from_ns, Ns to_ns, std::size_t most) const {
  const auto before = [](const ExchangeBar& b, Ns t) { return b.from_ns < t; };
  const auto begin = std::lower_bound(bars_.begin(), bars_.end(), from_ns - longest_bar_ns_, before);
  const auto end = std::lower_bound(begin, bars_.end(), to_ns, before);
  Bars out;
  for (auto at = begin; at != end; ++at) {
    if (at->complete_ns < from_ns) continue;
    if (out.bars.size() < most)
      out.bars.push_back(*at);
    else
      ++out.left_out;
  }
  return out;
}

std::vector<Timeline::BarCounts> Timeline::barCounts(Ns from_ns, Ns to_ns, std::size_t columns) const {
  std::vector<BarCounts> out(columns);
  if (columns == 0 || to_ns <= from_ns) return out;
  const auto before = [](const ExchangeBar& b, Ns t) { return b.from_ns < t; };
  const double per_ns =
      static_cast<double>(columns) / (static_cast<double>(to_ns) - static_cast<double>(from_ns));
  for (auto at = std::lower_bound(bars_.begin(), bars_.end(), from_ns, before);
       at != bars_.end() && at->from_ns < to_ns; ++at) {
    const auto c = static_cast<std::size_t>(static_cast<double>(at->from_ns - from_ns) * per_ns);
    BarCounts& counts = out[std::min(c, columns - 1)];
    ++(at->ended == event::Ended::answered   ? counts.answered
       : at->ended == event::Ended::negative ? counts.negative
                                             : counts.others);
  }
  return out;
}

}  // namespace pin16::review
