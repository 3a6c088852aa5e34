// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/evidence.hpp"

#include <linux/can/error.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "core/can/error_text.hpp"

namespace pin16::readiness {
namespace {

using event::Kind;
using event::PowerState;

/// Classes that tell of a disturbed bus; the others are notices of the controller or of losing arbitration.
constexpr std::uint32_t kDisturbed =
    CAN_ERR_TX_TIMEOUT | CAN_ERR_PROT | CAN_ERR_TRX | CAN_ERR_BUSOFF | CAN_ERR_BUSERROR;

/// Links are numbered from 0; a damaged number must not make us allocate by it.
constexpr std::uint16_t kLinksMost = 256;

/// Frames of one identifier with the same bytes follow each other this closely only if they are repeated by
/// the controller: the quickest periodic messages come every 5 ms (common practice, no source).
constexpr Ns kAtOnce_ns = 2 * kNsPerMs;

/// Supply points whose course in time is kept.
constexpr std::array<std::string_view, 5> kTraced = {
    "V(src+,src-)", "V(feed,chassis)", "V(loadblade,chassis)", "V(interface+,interface-)", "I(feed)"};
constexpr std::size_t kTraceMost = 8192;  // about 14 minutes at ten samples a second
// A module needs some tenths of a second to boot; four times its longest interval is no jitter (own figures).
constexpr Ns kPauseLeast_ns = 250 * kNsPerMs, kPausePeriods = 4;
constexpr std::uint32_t kSteadyCount = 10;
constexpr std::size_t kPeriodsMost = 4096, kRestartsMost = 1000;
constexpr double kNothingHappened = 0.25;  // V or A; steps above are never thinned out

/// The error lies where the acknowledge should have been: its slot, or the delimiter behind it, where a
/// receiver meets the sender's error flag.
bool atAcknowledge(const event::CanFrame& f) {
  return f.data[3] == CAN_ERR_PROT_LOC_ACK || f.data[3] == CAN_ERR_PROT_LOC_ACK_DEL;
}

/// Drops every second sample of the older half, but none beside a step.
void thin(std::vector<Trace::At>& all) {
  std::vector<Trace::At> kept;
  const auto same = [](const Trace::At& a, const Trace::At& b) {
    return std::abs(a.value - b.value) <= kNothingHappened;
  };
  for (std::size_t i = 0; i < all.size(); ++i) {
    const bool droppable =
        i % 2 == 1 && i < all.size() / 2 && same(all[i - 1], all[i]) && same(all[i], all[i + 1]);
    if (!droppable) kept.push_back(all[i]);
  }
  if (kept.size() > kTraceMost - kTraceMost / 8)
    kept.erase(kept.begin(), kept.begin() + static_cast<std::ptrdiff_t>(kTraceMost / 8));
  all = std::move(kept);
}

constexpr std::size_t kSilentMost = 64;

bool has(std::string_view text, std::string_view word) { return text.find(word) != std::string_view::npos; }

}  // namespace

bool PointFacts::loaded() const {
  return power == PowerState::on || has(condition, "load") || has(condition, "dummy") ||
         has(condition, "lamp") || has(condition, "ohm");
}

void Evidence::take(const event::Batch& batch) {
  for (const event::Header& h : batch.headers) {
    observedUntil(h.t_ns);
    switch (h.kind) {
      case Kind::frame:
        if (const auto f = batch.frame(h)) takeFrame(h, *f);
        break;
      case Kind::link:
        if (const auto s = batch.record<event::LinkState>(h)) takeLink(h, *s);
        break;
      case Kind::sample:
      case Kind::reading:
        if (const auto m = batch.record<event::Measurement>(h)) add(*m, h.kind == Kind::reading, h.t_ns);
        break;
      case Kind::power:
        if (const auto p = batch.record<event::Power>(h)) takePower(h, *p);
        break;
      case Kind::clearance:
        if (const auto c = batch.record<event::Clearance>(h)) clearances_[c->code] = {*c, h.t_ns};
        break;
      case Kind::loss:
        if (const auto l = batch.record<event::Loss>(h);
            l && static_cast<std::size_t>(l->place) < lost_.size())
          lost_[static_cast<std::size_t>(l->place)] += l->count, periods_.clear();
        break;
      case Kind::gap:
        if (!isMeter(h.link)) ++gaps_, periods_.clear();
        break;
      case Kind::sent:
        ++sent_;
        break;
      case Kind::refused:
        if (const auto r = batch.record<event::Refused>(h)) ++refused_, last_refusal_ = r->reason;
        break;
      case Kind::exchange:
        if (const auto e = batch.record<event::Exchange>(h); e && e->ours) add(*e, h.link);
        break;
      default:
        break;
    }
  }
}

void Evidence::observedUntil(Ns t_ns) {
  if (t_ns != kNoTime && (last_ns_ == kNoTime || t_ns > last_ns_)) last_ns_ = t_ns;
}

bool Evidence::isMeter(std::uint16_t index) const {
  return index < links_.size() && links_[index].state.meter;
}

LinkFacts& Evidence::link(std::uint16_t index) {
  if (index >= kLinksMost) index = kLinksMost - 1;
  if (index >= links_.size()) links_.resize(std::size_t{index} + 1);
  return links_[index];
}

void Evidence::takeFrame(const event::Header& h, const event::CanFrame& f) {
  LinkFacts& l = link(h.link);
  if (!f.error()) {
    if ((h.flags & event::kOutbound) != 0) {
      ++l.own_frames;
      return;
    }
    ++l.frames;
    matchLate(h, f);
    if (l.last_frame_ns != kNoTime && h.t_ns - l.last_frame_ns < kAtOnce_ns && f == l.last_frame) ++l.repeats;
    l.last_frame = f;
    l.last_frame_ns = h.t_ns;
    const std::uint64_t key =
        (std::uint64_t{h.link} << 32U) | (f.id() | (f.extended() ? event::kExtendedFlag : 0U));
    ids_.insert(key);
    followPeriod(h, key, f);
    (module_ == std::pair(f.id(), f.extended()) ? module_heard_ : others_heard_) = true;
    return;
  }
  for (const can::ErrorClass& c : can::errorClasses())
    if ((f.id() & c.bit) != 0) ++l.error_classes[c.bit];
  if ((f.id() & CAN_ERR_BUSOFF) != 0) l.bus_off = true;
  if ((f.id() & CAN_ERR_RESTARTED) != 0) l.bus_off = false;
  // Drivers report a missing acknowledge together with the general bus error class.
  const bool sending = (f.id() & CAN_ERR_PROT) != 0 && (f.data[2] & CAN_ERR_PROT_TX) != 0;
  if ((f.id() & CAN_ERR_ACK) != 0 || (sending && atAcknowledge(f))) {
    ++l.unacknowledged;
    return;
  }
  if (sending) ++l.own_bit_errors;
  if ((f.id() & CAN_ERR_PROT) != 0 && atAcknowledge(f))
    ++l.others_unacknowledged;
  else if ((f.id() & kDisturbed) != 0)
    ++l.error_frames;
}

void Evidence::takeLink(const event::Header& h, const event::LinkState& s) {
  LinkFacts& l = link(h.link);
  l.state = s;
  if (s.condition == event::LinkCondition::up) {
    l.ever_up = true;
    if (up_since_ns_ == kNoTime && !s.meter) up_since_ns_ = h.t_ns;
  }
  // What we do not hear for our own sake is nobody's pause.
  if (s.condition != event::LinkCondition::up || s.controller == "bus-off") periods_.clear();
  if (s.controller == "bus-off")
    l.bus_off = true;
  else if (s.controller != "unknown")
    l.bus_off = false;
}

void Evidence::takePower(const event::Header& h, const event::Power& p) {
  answered_ = false;
  if (p.state == power_) return;
  if (p.state == PowerState::on)
    removed_ns_ = kNoTime;
  else if (power_ == PowerState::on)
    removed_ns_ = h.t_ns;
  power_ = p.state;
  periods_.clear();
  if (p.state != PowerState::on) return;
  restarts_.clear();
  power_ons_.push_back(h.t_ns);
  std::erase_if(points_, [](const PointFacts& f) { return f.power == PowerState::on && !f.typed; });
}

void Evidence::addToTrace(const event::Measurement& m, Ns t_ns) {
  if (std::find(kTraced.begin(), kTraced.end(), m.point) == kTraced.end()) return;
  auto it = std::find_if(traces_.begin(), traces_.end(), [&](const Trace& t) { return t.point == m.point; });
  if (it == traces_.end()) {
    traces_.emplace_back().point = m.point;
    it = traces_.end() - 1;
  }
  it->uncertainty = std::max(it->uncertainty, m.uncertainty);
  it->samples.push_back({t_ns, m.value});
  if (m.aperture_ns >= 0) it->aperture_ns = m.aperture_ns;
  if (it->samples.size() >= kTraceMost) thin(it->samples);
}

/// Only what came at a steady pace for a second can be missed: no answers, no consecutive frames of one.
void Evidence::followPeriod(const event::Header& h, std::uint64_t key, const event::CanFrame& f) {
  if (module_ == std::pair(f.id(), f.extended())) return;
  // A link that does not hear all the time, an adapter that asks for instance, makes pauses of its own.
  const auto& explains = link(h.link).state.medium_explains;
  if (std::any_of(explains.begin(), explains.end(),
                  [](const std::string& why) { return why.starts_with("traffic"); }))
    return;
  if (periods_.size() >= kPeriodsMost && !periods_.contains(key)) return;
  Period& p = periods_[key];
  const Ns pause_ns = p.last_ns == kNoTime ? 0 : h.t_ns - p.last_ns;
  const bool steady = p.count >= kSteadyCount && p.last_ns - p.first_ns >= kNsPerSecond;
  if (steady && pause_ns > std::max(kPauseLeast_ns, kPausePeriods * p.longest_ns)) {
    // Several identifiers of one sender, or several senders on one supply, stop and begin together.
    if (!restarts_.empty() && h.t_ns - restarts_.back().began_ns < kNsPerSecond)
      restarts_.back().stopped_ns = std::min(restarts_.back().stopped_ns, p.last_ns);
    else if (restarts_.size() < kRestartsMost)
      restarts_.push_back({p.last_ns, h.t_ns});
    p = {};
  }
  if (p.first_ns == kNoTime)
    p.first_ns = h.t_ns;
  else
    p.longest_ns = std::max(p.longest_ns, pause_ns);
  p.last_ns = h.t_ns;
  ++p.count;
}

/// A frame of a module whose time was over: its answer comes after all.
void Evidence::matchLate(const event::Header& h, const event::CanFrame& f) {
  for (auto at = silent_.begin(); at != silent_.end(); ++at) {
    ExchangeFacts& x = exchanges_[*at];
    if (x.link != h.link || x.answer_id != f.id() || x.extended != f.extended()) continue;
    x.came_after_ms = toMs(h.t_ns - x.request_ns);
    silent_.erase(at);
    return;
  }
}

void Evidence::add(const event::Measurement& m, bool typed, Ns t_ns) {
  if (!std::isfinite(m.value)) return;  // an instrument that shows no number has measured nothing
  const PowerState now = fed() ? PowerState::on : power_;
  const PowerState power = m.power == PowerState::unknown && !typed ? now : m.power;
  const auto it = std::find_if(points_.begin(), points_.end(), [&](const PointFacts& f) {
    return f.point == m.point && f.power == power && f.condition == m.condition;
  });
  if (!typed && t_ns != kNoTime && power == PowerState::on && m.condition.empty()) addToTrace(m, t_ns);
  PointFacts& f = it == points_.end() ? points_.emplace_back() : *it;
  if (f.count == 0 || typed) {
    const std::optional<double> before = f.count > 0 && f.typed ? std::optional(f.last) : std::nullopt;
    f = PointFacts{};
    f.before = before;
    f.point = m.point, f.power = power, f.condition = m.condition, f.unit = m.unit;
    f.min = f.max = m.value;
  }
  f.last = m.value;
  f.min = std::min(f.min, m.value);
  f.max = std::max(f.max, m.value);
  f.sum += m.value;
  ++f.count;
  f.uncertainty = std::max(f.uncertainty, m.uncertainty);
  if (!m.instrument.empty()) f.instrument = m.instrument;
  f.typed = typed;
  f.order = ++order_;
}

void Evidence::add(const event::Exchange& e, std::uint16_t link_index) {
  ExchangeFacts x;
  x.link = link_index;
  x.request_id = e.request_id, x.answer_id = e.answer_id;
  x.extended = e.extended, x.functional = e.functional, x.ours = e.ours, x.late = e.late;
  x.ended = e.ended, x.pending = e.pending, x.response_ms = e.response_ms;
  if (e.ended == event::Ended::negative && e.answer.size() >= 3) x.negative_code = e.answer[2];
  x.request_ns = e.request_ns;
  x.medium = e.medium;
  x.confirmed = e.confirmed;
  const bool own = x.medium == event::Medium::can ? module_ == std::pair(x.answer_id, x.extended)
                                                  : line_module_ == x.answer_id;
  if (own && x.response_ms >= 0) answered_ = true;
  // Whatever came since this request was asked belongs to it, not to an earlier one.
  if (x.ours && x.response_ms >= 0 && x.request_ns != kNoTime)
    for (ExchangeFacts& before : exchanges_)
      if (before.came_after_ms >= 0 && before.link == x.link && before.answer_id == x.answer_id &&
          static_cast<double>(before.request_ns) + before.came_after_ms * static_cast<double>(kNsPerMs) >
              static_cast<double>(x.request_ns))
        before.came_after_ms = -1;
  if (x.ours && !x.functional && x.ended == event::Ended::silent && x.pending == 0 &&
      x.request_ns != kNoTime) {
    if (silent_.size() >= kSilentMost) silent_.erase(silent_.begin());
    silent_.push_back(exchanges_.size());
  }
  exchanges_.push_back(x);
}

std::vector<const LinkFacts*> Evidence::buses() const {
  std::vector<const LinkFacts*> all;
  for (const LinkFacts& l : links_)
    if (!l.state.meter) all.push_back(&l);
  return all;
}

const PointFacts* Evidence::newest(std::string_view point,
                                   const std::function<bool(const PointFacts&)>& wanted) const {
  const PointFacts* best = nullptr;
  for (const PointFacts& f : points_)
    if (f.point == point && (best == nullptr || f.order > best->order) && (!wanted || wanted(f))) best = &f;
  return best;
}

std::uint64_t Evidence::frames() const {
  return std::accumulate(links_.begin(), links_.end(), std::uint64_t{0},
                         [](std::uint64_t n, const LinkFacts& l) { return n + l.frames; });
}

std::uint64_t Evidence::errorFrames() const {
  return std::accumulate(links_.begin(), links_.end(), std::uint64_t{0},
                         [](std::uint64_t n, const LinkFacts& l) { return n + l.error_frames; });
}

std::uint64_t Evidence::unacknowledged() const {
  return std::accumulate(links_.begin(), links_.end(), std::uint64_t{0},
                         [](std::uint64_t n, const LinkFacts& l) { return n + l.unacknowledged; });
}

std::uint64_t Evidence::othersUnacknowledged() const {
  return std::accumulate(links_.begin(), links_.end(), std::uint64_t{0},
                         [](std::uint64_t n, const LinkFacts& l) { return n + l.others_unacknowledged; });
}

const Trace* Evidence::trace(std::string_view point) const {
  const auto it =
      std::find_if(traces_.begin(), traces_.end(), [&](const Trace& t) { return t.point == point; });
  return it == traces_.end() ? nullptr : &*it;
}

bool Evidence::measuredOn() const {
  return std::any_of(points_.begin(), points_.end(),
                     [](const PointFacts& f) { return f.power == PowerState::on; });
}

double Evidence::listened_s() const {
  if (up_since_ns_ == kNoTime || last_ns_ == kNoTime) return 0;
  return toSeconds(last_ns_ - up_since_ns_);
}

}  // namespace pin16::readiness
