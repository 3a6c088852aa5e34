// SPDX-License-Identifier: Apache-2.0
#include "core/review/census.hpp"

#include <algorithm>
#include <map>
#include <tuple>

#include "core/can/error_text.hpp"
#include "core/can/wire_bits.hpp"

namespace pin16::review {
namespace {

using event::Kind;

constexpr std::uint32_t kIdBits = event::kExtendedFlag | event::kExtendedMask;

Ns shifted(Ns t_ns, Ns offset_ns) { return t_ns == kNoTime ? kNoTime : t_ns + offset_ns; }

template <class T>
void byTime(std::vector<Row<T>>& rows) {
  std::stable_sort(rows.begin(), rows.end(), [](const auto& a, const auto& b) { return a.t_ns < b.t_ns; });
}

template <class T>
void keep(std::vector<Row<T>>& rows, const event::Batch& batch, const event::Header& h, Ns t_ns) {
  if (auto record = batch.record<T>(h)) rows.push_back({h.link, t_ns, std::move(*record)});
}

}  // namespace

void Census::hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended) {
  hints_.push_back({request_id, answer_id, extended});
  attempts_.hint(request_id, answer_id, extended);
}

Census::PerLink& Census::link(std::uint16_t index) {
  if (index >= links_.size()) links_.resize(index + std::size_t{1});
  auto& at = links_[index];
  if (at) return *at;
  at = std::make_unique<PerLink>(std::make_unique<protocol::Witness>(
      limits_,
      [this, index](Ns t_ns, const event::Message& m) {
        if (follower_ != nullptr) follower_->message(sequence_, index, t_ns, m);
        attempts_.message(index, m);
        summary_.messages.push_back({index, t_ns, m});
      },
      [this, index](Ns t_ns, event::Exchange x) {
        if (x.ours) x.after_poll_ms = afterPoll(index, x.request_ns);
        if (follower_ != nullptr) follower_->exchange(sequence_, index, t_ns, x);
        attempts_.exchange(index, x);
        summary_.exchanges.push_back({index, x.request_ns, x});
      }));
  for (const Hint& h : hints_) at->witness->hint(h.request_id, h.answer_id, h.extended);
  return *at;
}

/// What the link said when it wrote this request.
double Census::afterPoll(std::uint16_t index, Ns request_ns) const {
  const auto at = std::find_if(summary_.sent.rbegin(), summary_.sent.rend(),
                               [&](const auto& s) { return s.link == index && s.t_ns <= request_ns; });
  return at == summary_.sent.rend() ? -1 : at->record.after_poll_ms;
}

void Census::takeState(std::uint16_t index, const event::LinkState& state) {
  PerLink& on = link(index);
  on.summary.name = state.uri;
  on.summary.description = state.description;
  on.summary.state = state;
  attempts_.state(index, kNoTime, state);
}

/// What a controller repeats because nobody acknowledges comes thousands of times a second: it is one
/// message, and one more for good measure, since a frame that a capture holds twice is a fault in a transfer.
bool Census::repeatedOften(PerLink& on, Ns t_utc_ns, const event::CanFrame& frame) const {
  // A damaged stamp is before 1970; then nothing is subtracted from it.
  const bool again =
      on.last_ns >= 0 && t_utc_ns >= on.last_ns && t_utc_ns - on.last_ns < repeat_max_ns_ && frame == on.last;
  on.repeats = again ? on.repeats + 1 : 0;
  on.last = frame;
  on.last_ns = t_utc_ns;
  return on.repeats > 1;
}

void Census::takeLine(std::uint16_t index, Ns t_utc_ns, Ns utc_offset_ns, event::Line line) {
  PerLink& on = link(index);
  if (!on.lines)
    on.lines = std::make_unique<protocol::LineWitness>(
        limits_,
        [this, index](Ns t_ns, const event::Message& m) {
          if (follower_ != nullptr) follower_->message(sequence_, index, t_ns, m);
          summary_.messages.push_back({index, t_ns, m});
        },
        [this, index](Ns t_ns, event::Exchange x) {
          if (x.ours) x.after_poll_ms = afterPoll(index, x.request_ns);
          if (follower_ != nullptr) follower_->exchange(sequence_, index, t_ns, x);
          attempts_.exchange(index, x);
          summary_.exchanges.push_back({index, x.request_ns, x});
        });
  line.first_ns = shifted(line.first_ns, utc_offset_ns);
  attempts_.line(index, t_utc_ns, line);
  on.lines->line(t_utc_ns, line);
}

void Census::take(const event::Batch& batch) {
  for (const event::Header& h : batch.headers) {
    const Ns t_utc_ns = shifted(h.t_ns, batch.utc_offset_ns);
    if (t_utc_ns != kNoTime) {
      if (summary_.first_ns == kNoTime) summary_.first_ns = t_utc_ns;
      summary_.first_ns = std::min(summary_.first_ns, t_utc_ns);
      summary_.last_ns = std::max(summary_.last_ns, t_utc_ns);
    }
    sequence_ = h.sequence;
    if (h.kind == Kind::frame) {
      takeFrame(batch, h, t_utc_ns);
    } else {
      if (follower_ != nullptr) follower_->record(batch, h, t_utc_ns);
      takeRecord(batch, h, t_utc_ns);
    }
  }
}

void Census::takeFrame(const event::Batch& batch, const event::Header& h, Ns t_utc_ns) {
  const auto frame = batch.frame(h);
  if (!frame) return;
  PerLink& on = link(h.link);
  const bool outbound = (h.flags & event::kOutbound) != 0;
  attempts_.frame(h.link, t_utc_ns, *frame, outbound);
  power_.frame(h.link, t_utc_ns, *frame, outbound);
  if (frame->error()) {
    if (follower_ != nullptr) follower_->frame(h, t_utc_ns, *frame, 0, 0);
    return takeErrorFrame(on, *frame);
  }
  ++summary_.frames;
  ++on.summary.frames;
  ++identifiers_[std::uint64_t{h.link} << 32 | (frame->word & kIdBits)];
  const auto& state = on.summary.state;
  const std::uint32_t bitrate = state && state->bitrate != 0 ? state->bitrate : assumed_bitrate_;
  const can::WireBits bits = can::wireBits(h, *frame);
  const Ns wire_ns = bitrate == 0 ? 0 : can::wireNs(bits, bitrate, state ? state->data_bitrate : 0);
  if (bitrate != 0)
    on.load.frame(t_utc_ns, wire_ns);
  else
    on.load.uncounted(t_utc_ns);
  if (follower_ != nullptr) follower_->frame(h, t_utc_ns, *frame, bits.total(), wire_ns);
  if (repeatedOften(on, t_utc_ns, *frame))
    on.witness->advance(t_utc_ns);
  else
    on.witness->frame(t_utc_ns, *frame, outbound);
}

void Census::takeErrorFrame(PerLink& on, const event::CanFrame& frame) {
  ++summary_.error_frames;
  ++on.summary.error_frames;
  const auto classes = can::errorClasses();
  error_classes_.resize(classes.size());
  for (std::size_t i = 0; i < classes.size(); ++i)
    if ((frame.id() & classes[i].bit) != 0) ++error_classes_[i];
}

void Census::takeGap(std::uint16_t index, Ns utc_offset_ns, event::Gap gap) {
  gap.from_ns = shifted(gap.from_ns, utc_offset_ns);
  gap.to_ns = shifted(gap.to_ns, utc_offset_ns);
  for (std::size_t i = 0; i < links_.size(); ++i) {
    if (!links_[i] || (index != event::kNoLink && index != i)) continue;
    links_[i]->witness->gap(gap.from_ns, gap.to_ns);
    if (links_[i]->lines) links_[i]->lines->gap(gap.from_ns);
    links_[i]->load.unseen(gap.from_ns, gap.to_ns);
  }
  attempts_.gap(index, gap.from_ns, gap.to_ns, gap.reason);
  power_.gap(index, gap.to_ns);
  summary_.gaps.push_back({index, gap.to_ns, gap});
}

void Census::takeLoss(const event::Loss& loss) {
  attempts_.loss(loss.count);
  switch (loss.place) {
    case event::LossPlace::kernel:
      summary_.losses.kernel += loss.count;
      break;
    case event::LossPlace::adapter:
      summary_.losses.adapter += loss.count;
      break;
    case event::LossPlace::queue:
      summary_.losses.queue += loss.count;
      break;
  }
}

void Census::takeClock(const event::Clock& clock) {
  ClockFacts& facts = summary_.clock;
  if (clock_seen_) ++facts.moves;
  if (!clock_seen_ || clock.synchronised == event::Known::no) facts.synchronised = clock.synchronised;
  clock_seen_ = true;
  facts.worst_error_ns = std::max(facts.worst_error_ns, clock.estimated_error_ns);
}

void Census::takeRecord(const event::Batch& batch, const event::Header& h, Ns t_utc_ns) {
  switch (h.kind) {
    case Kind::link:
      if (const auto state = batch.record<event::LinkState>(h); state && h.link != event::kNoLink)
        takeState(h.link, *state), power_.state(h.link, t_utc_ns, *state);
      break;
    case Kind::line:
      if (auto line = batch.record<event::Line>(h); line && h.link != event::kNoLink)
        takeLine(h.link, t_utc_ns, batch.utc_offset_ns, std::move(*line));
      break;
    case Kind::gap:
      if (const auto gap = batch.record<event::Gap>(h)) takeGap(h.link, batch.utc_offset_ns, *gap);
      break;
    case Kind::loss:
      if (const auto loss = batch.record<event::Loss>(h)) takeLoss(*loss);
      break;
    case Kind::clock:
      if (const auto clock = batch.record<event::Clock>(h)) takeClock(*clock);
      break;
    case Kind::damage:
      if (auto damage = batch.record<event::Damage>(h)) summary_.damage.push_back(std::move(*damage));
      break;
    case Kind::sent:
      keep(summary_.sent, batch, h, t_utc_ns);
      break;
    case Kind::refused:
      keep(summary_.refused, batch, h, t_utc_ns);
      break;
    case Kind::verdict:
      keep(summary_.recorded.verdicts, batch, h, t_utc_ns);
      break;
    case Kind::sample:
      ++summary_.samples;
      if (const auto m = batch.record<event::Measurement>(h))
        attempts_.sample(t_utc_ns, *m), power_.sample(t_utc_ns, *m);
      break;
    case Kind::power:
      if (const auto p = batch.record<event::Power>(h))
        attempts_.power(t_utc_ns, *p), power_.power(t_utc_ns, *p);
      break;
    case Kind::attempt:
      if (const auto a = batch.record<event::Attempt>(h)) {
        attempts_.declared(t_utc_ns, *a);
        if (a->begins && !a->full && summary_.blanked_from_ns == kNoTime) summary_.blanked_from_ns = t_utc_ns;
      }
      break;
    case Kind::bytes:
      if ((h.flags & event::kOutbound) == 0) attempts_.bytes(h.link, h.length);
      break;
    case Kind::digest:
      keep(summary_.digests, batch, h, t_utc_ns);
      break;
    case Kind::reading:
      ++summary_.readings;
      break;
    case Kind::note:
      ++summary_.notes;
      break;
    case Kind::message:
      ++summary_.recorded.messages;
      break;
    case Kind::exchange:
      ++summary_.recorded.exchanges;
      break;
    case Kind::finding:
      ++summary_.recorded.findings;
      break;
    default:
      break;
  }
}

void Census::advance(Ns now_utc_ns) {
  for (const auto& on : links_)
    if (on) on->witness->advance(now_utc_ns);
}

Passes Census::comparePasses() const {
  // By link, identifier and prefix: the digests in order of time.
  using Place = std::tuple<std::uint16_t, std::uint32_t, bool, std::int16_t>;
  std::map<Place, std::vector<const Row<event::Digest>*>> digests;
  for (const auto& d : summary_.digests)
    digests[{d.link, d.record.id, d.record.extended, d.record.prefix}].push_back(&d);
  const auto digestAt = [&](const Place& place, Ns from_ns, std::size_t length) -> Bytes {
    const auto of = digests.find(place);
    if (of == digests.end()) return {};
    auto at = std::lower_bound(of->second.begin(), of->second.end(), from_ns,
                               [](const auto* d, Ns t_ns) { return d->t_ns < t_ns; });
    // Each "pending" before the answer has its own.
    at = std::find_if(at, of->second.end(), [&](const auto* d) { return d->record.length == length; });
    return at != of->second.end() ? (*at)->record.hmac : Bytes();
  };
  Passes out;
  std::map<std::pair<Place, Bytes>, Bytes> asked;
  for (const auto& row : summary_.exchanges) {
    const event::Exchange& x = row.record;
    if (x.ours || x.functional || x.ended != event::Ended::answered) continue;
    const Place to{row.link, x.request_id, x.extended, x.request_prefix};
    const Place from{row.link, x.answer_id, x.extended, x.answer_prefix};
    Bytes request = digestAt(to, x.request_ns, x.request.size());
    Bytes answer = digestAt(from, x.request_ns, x.answer.size());
    if (summary_.digests.empty()) {
      request = x.request;
      answer = x.answer;
    }
    if (request.empty() || answer.empty()) continue;
    const auto [before, fresh] = asked.try_emplace({to, std::move(request)}, answer);
    if (fresh) continue;
    ++(before->second == answer ? out.same : out.different);
    before->second = std::move(answer);
  }
  return out;
}

Summary Census::finish(Ns end_utc_ns) {
  if (end_utc_ns == kNoTime) end_utc_ns = summary_.last_ns;
  for (const auto& on : links_) {
    LinkSummary& s = summary_.links.emplace_back();
    if (!on) continue;
    on->witness->finish(end_utc_ns);
    if (on->lines) on->lines->finish(end_utc_ns);
    s = on->summary;
    if (on->load.counted()) {
      s.load = on->load.load();
      s.load_windows = on->load.windows();
    }
    if (s.load && (!summary_.load || s.load->mean > summary_.load->mean)) summary_.load = s.load;
  }
  for (const auto& [key, count] : identifiers_) {
    const auto word = static_cast<std::uint32_t>(key);
    summary_.identifiers.push_back({static_cast<std::uint16_t>(key >> 32), word & event::kExtendedMask,
                                    (word & event::kExtendedFlag) != 0, count});
  }
  std::sort(summary_.identifiers.begin(), summary_.identifiers.end(), [](const auto& a, const auto& b) {
    return std::tie(a.link, a.extended, a.id) < std::tie(b.link, b.extended, b.id);
  });
  for (std::size_t i = 0; i < error_classes_.size(); ++i)
    if (error_classes_[i] != 0)
      summary_.error_classes.push_back({std::string(can::errorClasses()[i].name), error_classes_[i]});
  byTime(summary_.messages);
  byTime(summary_.exchanges);
  byTime(summary_.digests);
  summary_.passes = comparePasses();
  attempts_.finish(end_utc_ns);
  summary_.attempts = attempts_.reports();
  summary_.power = power_.facts();
  return std::move(summary_);
}

}  // namespace pin16::review
