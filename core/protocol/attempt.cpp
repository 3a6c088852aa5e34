// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/attempt.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>
#include <cstring>
#include <optional>
#include <unordered_set>

#include "core/link/line_format.hpp"
#include "core/protocol/isotp.hpp"
#include "core/protocol/services.hpp"
#include "core/protocol/target.hpp"
#include "core/protocol/witness.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;
using event::Ended;
using event::Known;
using event::Silence;

constexpr Ns kAbout_ns = kNsPerSecond;  // of the supply's course about the last progress
constexpr std::uint8_t kAnswerBit = 0x40;
/// Classes that tell of a disturbed bus; the others are notices of the controller or of losing arbitration.
constexpr std::uint32_t kDisturbed =
    CAN_ERR_TX_TIMEOUT | CAN_ERR_PROT | CAN_ERR_TRX | CAN_ERR_ACK | CAN_ERR_BUSOFF | CAN_ERR_BUSERROR;

std::uint32_t wordOf(std::uint32_t id, bool extended) { return id | (extended ? event::kExtendedFlag : 0U); }
std::uint32_t wordOf(const CanFrame& f) { return wordOf(f.id(), f.extended()); }

/// The error lies where the acknowledge should have been: its slot, or the delimiter behind it, where a
/// receiver meets the sender's error flag.
bool atAcknowledge(const CanFrame& f) {
  return (f.id() & CAN_ERR_ACK) != 0 ||
         ((f.id() & CAN_ERR_PROT) != 0 &&
          (f.data[3] == CAN_ERR_PROT_LOC_ACK || f.data[3] == CAN_ERR_PROT_LOC_ACK_DEL));
}

/// A single frame padded with one byte, or a first frame, that asks for a service with a name.
bool looksLikeRequest(const CanFrame& f, std::size_t prefix = 0) {
  const Pci pci = parsePci(f.payload(), f.fd(), prefix);
  if ((pci.type != PciType::single && pci.type != PciType::first) || pci.payload.empty()) return false;
  if ((pci.payload[0] & kAnswerBit) != 0 || serviceName(pci.payload[0]).empty()) return false;
  if (pci.type == PciType::first) return true;
  const auto content = static_cast<std::size_t>(pci.payload.data() - f.data.data()) + pci.payload.size();
  const ByteView rest = f.payload().subspan(content);
  return std::all_of(rest.begin(), rest.end(), [&](std::uint8_t b) { return b == rest.front(); });
}

/// Says nothing of the read-out: TesterPresent, DiagnosticSessionControl to the default session (ISO
/// 14229-1); StopDiagnosticSession, StartCommunication, StopCommunication (ISO 14230-2, -3).
bool isHousekeeping(ByteView request) {
  if (request.empty()) return false;
  constexpr std::uint8_t kSuppressBit = 0x80;
  if (request[0] == 0x10) return request.size() > 1 && (request[1] & ~kSuppressBit) == 0x01;
  return request[0] == 0x3E || request[0] == 0x20 || request[0] == 0x81 || request[0] == 0x82;
}

/// A stamp outside 1970..2116 is damage: as good as none. Differences of two others cannot overflow.
Ns plausible(Ns t_ns) { return t_ns >= 0 && t_ns < Ns{1} << 62 ? t_ns : kNoTime; }

std::string counted(std::uint64_t n, std::string_view what) {
  return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s");
}

/// Groups of ISO 14229-1 Annex A.1, by what a person has to look after.
std::string_view groupOf(int code) {
  switch (code) {
    case 0x7E:
    case 0x7F:
    case 0x24:
      return "a matter of the session or of the order of requests";
    case 0x33:
    case 0x34:
    case 0x35:
    case 0x36:
    case 0x37:
      return "a matter of the lock";
    case 0x10:
    case 0x11:
    case 0x12:
    case 0x13:
    case 0x14:
    case 0x31:
      return "the module does not know this request, or not in this form: another variant may be meant";
    case 0x21:
      return "the module is busy";
    case 0x25:
      return "a gateway answered: the node behind it did not";
    case 0x92:
    case 0x93:
      return "the module names its own supply";
    default:
      return code == 0x22 || (code >= 0x81 && code <= 0xFE) ? "a condition is not met" : "";
  }
}

/// Who broke off, by the witness's reason. `by_module`: the module was the sender.
Breaker breakerOf(const std::string& reason, bool by_module) {
  const Breaker sender = by_module ? Breaker::module : Breaker::tester;
  const Breaker receiver = by_module ? Breaker::tester : Breaker::module;
  const auto is = [&](Failure f) { return reason == toText(f); };
  if (is(Failure::timeout_bs) || is(Failure::overflow) || is(Failure::invalid_fs)) return receiver;
  if (is(Failure::timeout_cr) || is(Failure::unexpected_pdu)) return sender;
  return Breaker::unknown;
}

}  // namespace

const char* toText(Rung r) {
  constexpr const char* names[] = {"no bit",  "errors only", "unacknowledged", "silent", "negative",
                                   "pending", "cut",         "through"};
  return names[static_cast<std::size_t>(r)];
}
const char* toName(Rung r) {
  switch (r) {
    case Rung::no_bit:
      return "no-bit";
    case Rung::errors_only:
      return "errors-only";
    default:
      return toText(r);
  }
}

/// What of an exchange the ladder needs; the order is that in which they ended.
struct Outcome {
  Rung rung = Rung::silent;
  bool positive = false;
  bool housekeeping = false;
  bool functional = false;
  bool of_module = false;
  bool unseen = false;  ///< the link or the recording ended first
  std::uint8_t service = 0;
  int code = -1;
  std::uint32_t answer_id = 0;
  bool extended = false;
  bool of_line = false;  ///< answer_id is an address
  Breaker breaker = Breaker::none;
  std::string reason;
  std::size_t got = 0;  ///< bytes of the answer that broke off
  [[nodiscard]] std::string who() const {
    return of_line ? fmt::format("the node at {:02X}", answer_id) : idText(answer_id, extended);
  }
};

struct AttemptWatch::Attempt {
  AttemptReport r;
  /// Of one link.
  struct Seen {
    std::uint64_t frames = 0, errors = 0, ack_errors = 0;
    std::uint64_t bytes = 0;  ///< heard on a line medium
    std::uint64_t request_frames = 0, repeats = 0;
    std::uint64_t alone = 0;                ///< repeats of what is no request: another node is alone
    std::uint64_t repeats_tail = 0;         ///< since the last frame of an answering node
    std::map<Word, std::uint64_t> assumed;  ///< identifiers that look like a tester's: requests
    std::set<Word> other;                   ///< of this attempt, and no tester's
    bool module_asked = false;
    std::vector<Outcome> outcomes;
    std::vector<std::string> gaps;
    std::map<Word, std::uint32_t> first_length;  ///< of the last first frame
    Breaker request_breaker = Breaker::none;     ///< of a request in parts that broke off
    std::string request_reason;
    bool answer_last = true;  ///< since the last request something came back
    bool pending = false;     ///< and the last of it was "pending"
  };
  std::map<std::uint16_t, Seen> seen;
  std::uint64_t lost = 0;
  Ns diagnostic_ns = kNoTime;  ///< last frame that belongs to a conversation
  std::vector<std::pair<Ns, event::Measurement>> samples;
};

/// What is known of a link, attempt or not.
struct AttemptWatch::Bus {
  event::LinkState state;
  bool stated = false;
  std::optional<CanFrame> last;
  Ns last_ns = kNoTime;
  std::unordered_set<Word> before;             ///< identifiers used outside an attempt
  std::unordered_set<Word> asking, answering;  ///< proven by a message or an exchange
};

AttemptWatch::AttemptWatch(limits::Limits limits)
    : limits_(std::move(limits)),
      silence_end_ns_(fromMs(limits_.value("attempt.silence_end_ms"))),
      repeat_max_ns_(fromMs(limits_.value("attempt.repeat_max_ms"))) {}
AttemptWatch::~AttemptWatch() = default;

void AttemptWatch::hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended) {
  module_asks_.insert(wordOf(request_id, extended));
  module_answers_.insert(wordOf(answer_id, extended));
}

AttemptWatch::Bus& AttemptWatch::bus(std::uint16_t link) {
  auto& at = buses_[link];
  if (!at) at = std::make_unique<Bus>();
  return *at;
}

AttemptWatch::Attempt* AttemptWatch::current() {
  return !attempts_.empty() && attempts_.back()->r.open ? attempts_.back().get() : nullptr;
}

AttemptWatch::Attempt* AttemptWatch::at(Ns t_ns) {
  const auto found = std::find_if(attempts_.rbegin(), attempts_.rend(), [&](const auto& a) {
    return t_ns == kNoTime || (a->r.begin_ns <= t_ns && (a->r.open || t_ns <= a->r.end_ns));
  });
  return found == attempts_.rend() ? nullptr : found->get();
}

bool AttemptWatch::asks(const Bus& b, const CanFrame& f) const {
  const Word w = wordOf(f);
  return isTesterId(f.id(), f.extended()) || module_asks_.contains(w) || b.asking.contains(w);
}

bool AttemptWatch::answers(const Bus& b, const CanFrame& f) const {
  const Word w = wordOf(f);
  return requestIdOf(f.id(), f.extended()).has_value() || module_answers_.contains(w) ||
         b.answering.contains(w);
}

// ---- the stream

/// One that nobody declared is over after a silence.
void AttemptWatch::endIfSilent(Ns t_ns) {
  if (t_ns != kNoTime) last_ns_ = std::max(last_ns_, t_ns);
  Attempt* const a = current();
  if (a == nullptr || a->r.declared || a->diagnostic_ns == kNoTime ||
      last_ns_ - a->diagnostic_ns <= silence_end_ns_)
    return;
  a->r.open = false;
  a->r.end_ns = a->diagnostic_ns;
  a->r.ended = "silence";
}

/// The one under way; a request begins one where none is declared.
AttemptWatch::Attempt* AttemptWatch::beginIf(bool asking, Ns t_ns) {
  if (asking && current() == nullptr && !any_declared_) {
    auto a = std::make_unique<Attempt>();
    a->r.open = true;
    a->r.declared = false;
    a->r.begin_ns = t_ns;
    a->r.power_up = power_ups_ > 0 ? power_ups_ : -1;
    a->samples = recent_;
    attempts_.push_back(std::move(a));
  }
  return current();
}

void AttemptWatch::line(std::uint16_t link, Ns t_ns, const event::Line& line) {
  t_ns = plausible(t_ns);
  endIfSilent(t_ns);
  if (line.ours || line.data.empty()) return;
  // Without addresses (ISO 14230-2) the service alone tells.
  const bool asking = link::sourceOf(line) ? link::isTesters(line) : (line.data[0] & kAnswerBit) == 0;
  Attempt* const a = beginIf(asking, t_ns);
  if (a == nullptr) return;
  Attempt::Seen& s = a->seen[link];
  ++s.frames;
  a->diagnostic_ns = std::max(a->diagnostic_ns, t_ns);
  if (asking) {
    ++s.request_frames;
    if (!std::exchange(s.answer_last, false)) return;
    const auto to = link::targetOf(line);
    return progress(*a, t_ns, to ? fmt::format("request to {:02X}", *to) : "request");
  }
  s.answer_last = true;
  s.pending = line.data.size() > 2 && line.data[0] == kNegativeResponse && line.data[2] == kResponsePending;
  const auto from = link::sourceOf(line);
  progress(*a, t_ns, from ? fmt::format("answer from {:02X}", *from) : "answer");
}

void AttemptWatch::bytes(std::uint16_t link, std::size_t count) {
  const auto on = buses_.find(link);
  if (on == buses_.end() || on->second->state.medium == event::Medium::can) return;
  if (Attempt* a = current(); a != nullptr) a->seen[link].bytes += count;
}

void AttemptWatch::frame(std::uint16_t link, Ns t_ns, const CanFrame& f, bool outbound) {
  t_ns = plausible(t_ns);
  endIfSilent(t_ns);
  if (outbound || f.remote()) return;
  if (!f.error()) return dataFrame(link, t_ns, f);
  Attempt* const a = current();
  if (a == nullptr || (f.id() & kDisturbed) == 0) return;
  Attempt::Seen& s = a->seen[link];
  ++s.errors;
  if (atAcknowledge(f)) ++s.ack_errors;
}

void AttemptWatch::dataFrame(std::uint16_t link, Ns t_ns, const CanFrame& f) {
  Bus& b = bus(link);
  const bool repeated =
      b.last && t_ns != kNoTime && b.last_ns != kNoTime && t_ns - b.last_ns < repeat_max_ns_ && *b.last == f;
  b.last = f;
  b.last_ns = t_ns;
  bool asking = asks(b, f);
  Attempt* const a = beginIf(asking, t_ns);
  const Word w = wordOf(f);
  if (a == nullptr) {
    b.before.insert(w);
    return;
  }
  Attempt::Seen& s = a->seen[link];
  ++s.frames;
  // Blanked, frames that differ look alike; what a lone tester repeats is a request, behind a prefix or not.
  if (repeated && (asking || looksLikeRequest(f) || looksLikeRequest(f, 1))) {
    ++s.repeats;
    ++s.repeats_tail;
    return;
  }
  if (repeated && answers(b, f) && f.length > 0 && parsePci(f.payload(), f.fd()).type == PciType::single) {
    ++s.repeats;
    return;
  }
  if (repeated) ++s.alone;
  if (module_asks_.contains(w)) s.module_asked = true;
  const bool answering = !asking && answers(b, f);
  if (!asking && !answering && a->r.declared && !b.before.contains(w) && !s.other.contains(w)) {
    asking = looksLikeRequest(f);
    if (asking) {
      ++s.assumed[w];
    } else if (const Pci pci = parsePci(f.payload(), f.fd());
               !s.assumed.contains(w) ||
               (pci.type != PciType::consecutive && pci.type != PciType::flow_control)) {
      if (const auto chance = s.assumed.find(w); chance != s.assumed.end()) {
        s.request_frames -= chance->second;
        s.assumed.erase(chance);
      }
      s.other.insert(w);
    }
  }
  if (!asking && !answering) return;
  a->diagnostic_ns = std::max(a->diagnostic_ns, t_ns);
  const Pci pci = parsePci(f.payload(), f.fd());
  const std::string id = idText(f.id(), f.extended());
  if (pci.type == PciType::first) s.first_length[w] = pci.length;
  if (answering) {
    s.repeats_tail = 0;
    s.answer_last = true;
    if (pci.type != PciType::flow_control)
      s.pending = pci.type == PciType::single && pci.payload.size() > 2 &&
                  pci.payload[0] == kNegativeResponse && pci.payload[2] == kResponsePending;
    const char* const what = pci.type == PciType::consecutive    ? "consecutive frame"
                             : pci.type == PciType::first        ? "first frame of an answer"
                             : pci.type == PciType::flow_control ? "flow control"
                                                                 : "answer";
    return progress(*a, t_ns, fmt::format("{} from {}", what, id));
  }
  if (pci.type == PciType::single || pci.type == PciType::first) {
    ++s.request_frames;
    // Asking again what had no answer is no progress.
    if (!std::exchange(s.answer_last, false)) return;
    return progress(*a, t_ns, fmt::format("request on {}", id));
  }
  progress(
      *a, t_ns,
      fmt::format("{} on {}", pci.type == PciType::flow_control ? "flow control" : "part of a request", id));
}

void AttemptWatch::progress(Attempt& a, Ns t_ns, std::string what) {
  a.r.progress = std::move(what);
  if (t_ns == kNoTime) return;
  a.r.progress_ns = t_ns;
  std::erase_if(a.samples, [&](const auto& s) { return s.first < t_ns - kAbout_ns; });
}

void AttemptWatch::state(std::uint16_t link, Ns /*t_ns*/, const event::LinkState& state) {
  if (state.meter) return;
  Bus& b = bus(link);
  b.state = state;
  b.stated = true;
}

void AttemptWatch::gap(std::uint16_t link, Ns from_ns, Ns to_ns, const std::string& reason) {
  Attempt* const a = current();
  if (a == nullptr) return;
  from_ns = plausible(from_ns);
  to_ns = plausible(to_ns);
  const std::string text = from_ns == kNoTime || to_ns == kNoTime
                               ? reason
                               : fmt::format("{:.1f} s: {}", toSeconds(to_ns - from_ns), reason);
  for (auto& [index, b] : buses_)
    if (link == event::kNoLink || link == index) a->seen[index].gaps.push_back(text);
}

void AttemptWatch::loss(std::uint64_t count) {
  if (Attempt* a = current(); a != nullptr) a->lost += count;
}

void AttemptWatch::sample(Ns t_ns, const event::Measurement& m) {
  t_ns = plausible(t_ns);
  if (t_ns == kNoTime || (m.unit != "V" && m.unit != "A")) return;
  if (m.point.find("pin6") != std::string::npos || m.point.find("pin14") != std::string::npos)
    return;  // the bus's levels are no supply
  last_ns_ = std::max(last_ns_, t_ns);
  Attempt* const a = current();
  if (a == nullptr) {
    std::erase_if(recent_, [&](const auto& s) { return s.first < t_ns - kAbout_ns; });
    recent_.emplace_back(t_ns, m);
    return;
  }
  // While nothing moves on, a second after the last progress is kept, and the latest second.
  if (a->r.progress_ns == kNoTime || t_ns <= a->r.progress_ns + kAbout_ns) a->samples.emplace_back(t_ns, m);
  if (a->r.progress_ns == kNoTime)
    std::erase_if(a->samples, [&](const auto& s) { return s.first < t_ns - kAbout_ns; });
}

void AttemptWatch::power(Ns /*t_ns*/, const event::Power& p) {
  if (p.state == event::PowerState::on) ++power_ups_;
}

void AttemptWatch::message(std::uint16_t link, const event::Message& m) {
  if (m.payload.empty()) return;
  Bus& b = bus(link);
  const bool answer = (m.payload[0] & kAnswerBit) != 0;
  (answer ? b.answering : b.asking).insert(wordOf(m.id, m.extended));
  Attempt* const a = at(m.first_ns);
  if (a == nullptr || m.complete) return;
  Attempt::Seen& s = a->seen[link];
  if (!answer) {
    s.request_reason = m.reason;
    s.request_breaker = breakerOf(m.reason, /*by_module=*/false);
    return;
  }
  Outcome o;
  o.rung = Rung::cut;
  o.reason = m.reason;
  o.breaker = breakerOf(m.reason, /*by_module=*/true);
  o.got = m.payload.size();
  o.answer_id = m.id;
  o.extended = m.extended;
  o.of_module = module_answers_.contains(wordOf(m.id, m.extended));
  o.unseen = m.reason == kCaptureEnded || m.reason == kGapCame;
  s.outcomes.push_back(std::move(o));
}

void AttemptWatch::exchange(std::uint16_t link, const event::Exchange& x) {
  if (x.ours) return;
  const bool of_line = x.medium != event::Medium::can;
  if (!of_line) {
    Bus& b = bus(link);
    b.asking.insert(wordOf(x.request_id, x.extended));
    if (x.answer_id != 0) b.answering.insert(wordOf(x.answer_id, x.extended));
  }
  Attempt* const a = at(x.request_ns);
  if (a == nullptr) return;
  Attempt::Seen& s = a->seen[link];
  Outcome o;
  o.housekeeping = isHousekeeping(x.request);
  o.functional = x.functional;
  o.service = x.request.empty() ? std::uint8_t{0} : x.request[0];
  o.of_line = of_line;
  o.of_module = of_line || module_asks_.contains(wordOf(x.request_id, x.extended)) ||
                (x.answer_id != 0 && module_answers_.contains(wordOf(x.answer_id, x.extended)));
  o.answer_id = x.answer_id;
  o.extended = x.extended;
  o.unseen = x.ended == Ended::link_lost || x.ended == Ended::not_seen;
  if (x.ended == Ended::answered) {
    o.rung = Rung::through;
    o.positive = true;
  } else if (x.ended == Ended::negative) {
    o.rung = Rung::negative;
    if (x.answer.size() > 2) o.code = x.answer[2];
  } else if (x.ended == Ended::incomplete || (o.unseen && !x.answer.empty())) {
    o.rung = Rung::cut;
    // Why, the message before it has said.
    if (!s.outcomes.empty() && s.outcomes.back().answer_id == x.answer_id &&
        s.outcomes.back().rung == Rung::cut && s.outcomes.back().service == 0) {
      o.reason = s.outcomes.back().reason;
      o.breaker = s.outcomes.back().breaker;
      s.outcomes.pop_back();
    }
    o.got = x.answer.size();
  } else {
    o.rung = x.pending > 0 ? Rung::pending : Rung::silent;
  }
  s.outcomes.push_back(std::move(o));
}

void AttemptWatch::declared(Ns t_ns, const event::Attempt& d) {
  t_ns = plausible(t_ns);
  if (t_ns != kNoTime) last_ns_ = std::max(last_ns_, t_ns);
  Attempt* a = current();
  if (!d.begins) {
    if (a == nullptr || !a->r.declared) return;
    a->r.open = false;
    a->r.end_ns = std::max(t_ns, last_ns_);  // a file can be replayed faster than its own time
    a->r.ended = d.how;
    a->r.said = d.said;
    return;
  }
  if (a != nullptr) {
    a->r.open = false;
    a->r.end_ns = t_ns;
    a->r.ended = "next attempt";
  }
  any_declared_ = true;
  auto made = std::make_unique<Attempt>();
  made->r.open = true;
  made->r.begin_ns = t_ns;
  made->r.power_up = d.power_up >= 0 ? d.power_up : power_ups_ > 0 ? power_ups_ : -1;
  made->r.full = d.full;
  made->r.changed = d.changed;
  made->samples = recent_;
  attempts_.push_back(std::move(made));
}

void AttemptWatch::finish(Ns end_ns) {
  if (Attempt* a = current(); a != nullptr) {
    a->r.open = false;
    a->r.end_ns = a->r.declared || a->diagnostic_ns == kNoTime ? end_ns : a->diagnostic_ns;
  }
}

AttemptWatch::Pulse AttemptWatch::pulse() const {
  Pulse p;
  if (attempts_.empty()) return p;
  const Attempt& a = *attempts_.back();
  p.open = a.r.open;
  p.progress_ns = a.r.progress_ns;
  p.begin_ns = a.r.begin_ns;
  p.seen = a.r.progress_ns != kNoTime ||
           std::any_of(a.seen.begin(), a.seen.end(), [](const auto& s) { return s.second.repeats > 0; });
  // What is still under way, no exchange tells yet.
  const bool waiting =
      std::any_of(a.seen.begin(), a.seen.end(), [](const auto& s) { return s.second.pending; });
  p.through = !waiting && report(a).rung == Rung::through;
  return p;
}

std::vector<AttemptReport> AttemptWatch::reports() const {
  std::vector<AttemptReport> out;
  for (const auto& a : attempts_)
    if (a->r.declared || !any_declared_) out.push_back(report(*a));
  return out;
}

// ---- the ladder

namespace {

/// What one link shows of an attempt.
struct Judged {
  Rung rung = Rung::no_bit;
  std::vector<const Outcome*> counted;
  const Outcome* deciding = nullptr;
  bool module_only = false;
  bool assumed_request = false;
};

/// Those that count: the module's own if there are any, no housekeeping if there is anything else.
std::vector<const Outcome*> relevant(const std::vector<Outcome>& all, bool module_asked) {
  std::vector<const Outcome*> out;
  for (const Outcome& o : all)
    if (!module_asked || o.of_module) out.push_back(&o);
  const auto keepIfAny = [&out](auto wanted) {
    if (std::any_of(out.begin(), out.end(), wanted))
      std::erase_if(out, [&](const Outcome* o) { return !wanted(o); });
  };
  keepIfAny([](const Outcome* o) { return !o->housekeeping; });
  keepIfAny([](const Outcome* o) { return !o->functional || o->rung != Rung::silent; });
  return out;
}

}  // namespace

AttemptReport AttemptWatch::report(const Attempt& a) const {
  AttemptReport r = a.r;
  const auto least = static_cast<std::uint64_t>(limits_.value("bus.repeats_min"));
  const double share_max = limits_.value("bus.error_share_max");
  const Attempt::Seen* seen = nullptr;
  Judged best;
  const auto judge = [&](const Attempt::Seen& s) {
    Judged j;
    j.module_only = s.module_asked;
    j.counted = relevant(s.outcomes, s.module_asked);
    const bool lone = s.repeats_tail >= least || (s.ack_errors >= least && s.frames == s.repeats_tail);
    const bool asked = s.request_frames > 0;
    const auto last =
        std::find_if(j.counted.rbegin(), j.counted.rend(), [](const Outcome* o) { return o->positive; });
    if (last == j.counted.rbegin() && !j.counted.empty()) {
      j.rung = lone ? Rung::unacknowledged : Rung::through;
      j.deciding = *last;
      return j;
    }
    if (!j.counted.empty()) {
      for (auto it = last.base(); it != j.counted.end(); ++it)
        if (j.deciding == nullptr || (*it)->rung >= j.deciding->rung) j.deciding = *it;
      j.rung = j.deciding->rung;
      if (j.rung == Rung::silent && lone) j.rung = Rung::unacknowledged;
      return j;
    }
    if (lone) {
      j.rung = Rung::unacknowledged;
    } else if (asked) {
      j.rung = Rung::silent;
      j.assumed_request = !s.assumed.empty();
    } else {
      const auto all = static_cast<double>(s.errors + s.frames);
      if (s.errors > 0 && static_cast<double>(s.errors) > share_max * all) j.rung = Rung::errors_only;
      if (s.bytes > 0 && s.frames == 0) j.rung = Rung::errors_only;
    }
    return j;
  };
  for (const auto& [link, s] : a.seen) {
    const Judged j = judge(s);
    const bool nothing = s.frames + s.errors + s.bytes == 0;
    if (seen != nullptr && j.rung <= best.rung && (nothing || seen->frames + seen->errors + seen->bytes > 0))
      continue;
    best = j;
    seen = &s;
    r.link = link;
  }
  r.rung = best.rung;
  static const Attempt::Seen none;
  const Attempt::Seen& s = seen != nullptr ? *seen : none;
  if (seen == nullptr && !buses_.empty()) r.link = buses_.begin()->first;
  const auto on = buses_.find(r.link);
  const bool stated = on != buses_.end() && on->second->stated;
  const bool of_line = stated && on->second->state.medium != event::Medium::can;
  const Silence silence = stated ? on->second->state.silence : Silence::cannot;

  r.frames = s.frames;
  r.error_frames = s.errors;
  r.repeats = s.repeats;
  // Behind a prefix no frame tells.
  r.requests = s.request_frames > 0 ? s.request_frames : s.outcomes.size();
  for (const Outcome* o : best.counted) {
    r.answered += o->positive;
    r.negative += o->rung == Rung::negative;
    r.pending += o->rung == Rung::pending;
    r.silent += o->rung == Rung::silent;
    r.cut += o->rung == Rung::cut;
  }
  if (best.deciding != nullptr && !best.deciding->positive) {
    r.code = best.deciding->code;
    r.breaker = best.deciding->breaker;
  }
  if (r.rung == Rung::silent && s.request_breaker != Breaker::none) r.breaker = s.request_breaker;
  // A frame that nobody acknowledges is repeated without end: one that is not was acknowledged.
  if (r.rung == Rung::unacknowledged)
    r.acknowledged = Known::no;
  else if (r.rung >= Rung::negative || (r.rung == Rung::silent && silence != Silence::cannot && !of_line))
    r.acknowledged = Known::yes;

  // ---- in words
  const auto say = [](std::vector<std::string>& to, std::string text) { to.push_back(std::move(text)); };
  say(r.evidence, fmt::format("{}, {}; {} of the other equipment", counted(s.frames, "valid frame"),
                              counted(s.errors, "error frame"), counted(s.request_frames, "request")));
  if (best.module_only) say(r.evidence, "only what was asked of the job's module counts here");
  if (best.assumed_request)
    say(r.evidence, "the request was told by its form alone: its identifier is not known to the job");
  if (r.answered > 0 && r.rung != Rung::through)
    say(r.evidence, fmt::format("{} answered whole before it", counted(r.answered, "request")));
  switch (r.rung) {
    case Rung::no_bit:
      if (s.frames > 0) {
        say(r.evidence, "other nodes were heard, the other equipment was not");
        say(r.excludes, "our own connection, the bit rate and the bus where we sit");
      }
      if (s.alone >= least && 10 * s.alone > 9 * s.frames) {  // it leaves no room for others
        say(r.evidence, fmt::format("{} at once of a frame that is no request: nobody acknowledges that node",
                                    counted(s.alone, "repeat")));
        say(r.excludes, "that the other equipment's interface takes part in this bus");
      }
      say(r.remains,
          "other equipment not started, its interface without supply, on other pins or another port; a "
          "request on identifiers that neither the job nor ISO 15765-4 names");
      break;
    case Rung::errors_only:
      if (of_line) {
        say(r.evidence, fmt::format("{} on the line that make no message", counted(s.bytes, "byte")));
        say(r.excludes, "that nothing is sent: somebody drives the line");
        say(r.remains,
            "an initialisation that no module answered, another rate than ours, a line that is held down or "
            "disturbed");
        break;
      }
      say(r.evidence,
          fmt::format("of the error frames {} lie where the acknowledge should be", s.ack_errors));
      say(r.excludes, "that nothing is sent: somebody drives the wires");
      say(r.remains,
          "bit rate or format not the bus's, termination, a short, one wire open; or our own rate");
      break;
    case Rung::unacknowledged:
      say(r.evidence, fmt::format("{} of one frame at once, {} where the acknowledge should be",
                                  counted(s.repeats, "repeat"), counted(s.ack_errors, "error")));
      say(r.excludes,
          "the other equipment's interface and its wires up to us, a short between the wires, a wrong bit "
          "rate between it and us: its bits come through whole");
      say(r.remains, "nobody powered on this bus, the bus open towards the module, a gateway that is dead");
      break;
    case Rung::silent:
      if (r.breaker == Breaker::module)
        say(r.evidence, "a request in parts had no flow control: " + s.request_reason);
      if (r.acknowledged == Known::yes) {
        say(r.evidence, "the request was not repeated: a node other than us acknowledged it");
        say(r.excludes, "an open bus right behind the connector, a short, a wrong bit rate");
      }
      say(r.remains,
          "wrong address, a gateway that filters, the module asleep or not fed, no ignition status on the "
          "bus");
      break;
    case Rung::negative: {
      const auto code = static_cast<std::uint8_t>(r.code);
      const std::string_view name = nrcName(code);
      if (r.code >= 0)
        say(r.evidence, fmt::format("{} refused {:02X} by 7F {:02X} {:02X}: {} (ISO 14229-1)",
                                    best.deciding->who(), best.deciding->service, best.deciding->service,
                                    code, name.empty() ? nrcRangeName(code) : name));
      say(r.excludes, "wiring, address, bit rate: the module is fed, hears, understands and answers");
      const std::string_view group = groupOf(r.code);
      say(r.remains, group.empty() ? "what the code names" : std::string(group));
      break;
    }
    case Rung::pending:
      say(r.evidence, fmt::format("{} said \"pending\" (7F {:02X} 78), and no answer followed",
                                  best.deciding->who(), best.deciding->service));
      say(r.excludes, "wiring, address, lock and session: the request was taken (ISO 14229-1, code 78)");
      say(r.remains, "a supply that starves under load, a module that is busy for longer or started anew");
      break;
    case Rung::cut: {
      const auto length = s.first_length.find(wordOf(best.deciding->answer_id, best.deciding->extended));
      say(r.evidence, fmt::format("{} of {} bytes of the answer came{}{}", best.deciding->got,
                                  length == s.first_length.end() ? std::string("an unknown number of")
                                                                 : std::to_string(length->second),
                                  best.deciding->reason.empty() ? "" : ": ", best.deciding->reason));
      if (r.breaker == Breaker::module)
        say(r.evidence, "the module stopped sending; flow control had been given");
      else if (r.breaker == Breaker::tester)
        say(r.evidence, "the other equipment broke flow control, the module had begun to answer");
      say(r.excludes, "address, lock and session: the module had begun to answer in full");
      say(r.remains, "a dip of the supply, a loose contact, a disturbed frame, the receiver's flow control");
      break;
    }
    case Rung::through:
      say(r.evidence, fmt::format("{} answered whole, the last one too", counted(r.answered, "request")));
      say(r.excludes, "supply, wiring, address, lock, for as long as it lasted");
      break;
  }
  if (!stated) {
    say(r.cannot_know, "whether the recording link was silent: its state is not in the stream");
  } else if (of_line && r.rung == Rung::silent) {
    say(r.cannot_know, "whether anybody heard it: nobody acknowledges on this medium");
  } else if (silence == Silence::cannot && r.rung == Rung::silent) {
    say(r.cannot_know,
        "whether anybody else acknowledged: our own link acknowledges, so `unacknowledged` cannot be seen");
  } else if (silence == Silence::claimed && r.rung == Rung::silent) {
    say(r.cannot_know, "whether our link was silent: the device says so, nothing proves it");
  }
  if (a.lost > 0) say(r.cannot_know, fmt::format("what was in {} that were lost", counted(a.lost, "frame")));
  for (const std::string& gap : s.gaps) say(r.cannot_know, "what happened in a gap of " + gap);
  if (best.deciding != nullptr && best.deciding->unseen)
    say(r.cannot_know, "how it went on: the recording or the link ended first; it got at least this far");
  if (r.rung == Rung::through)
    say(r.cannot_know,
        "whether the other program had all it wanted: its own message and its file say so, not the wires");

  // ---- the supply about the last progress
  const Ns about_ns = r.progress_ns != kNoTime ? r.progress_ns : kNoTime;
  for (const auto& [t_ns, m] : a.samples) {
    auto at = std::find_if(r.supply.begin(), r.supply.end(),
                           [&point = m.point](const auto& c) { return c.point == point; });
    if (at == r.supply.end()) {
      r.supply.push_back({m.point, m.unit, m.value, m.value, m.value, m.value, t_ns, 0});
      at = std::prev(r.supply.end());
    }
    ++at->values;
    at->last = m.value;
    const bool before = about_ns == kNoTime || t_ns <= about_ns;
    if (m.value < std::min(at->lowest_before, at->lowest_after)) at->lowest_ns = t_ns;
    if (before) {
      at->lowest_before = std::min(at->lowest_before, m.value);
      at->lowest_after = at->lowest_before;
    } else {
      at->lowest_after = std::min(at->lowest_after, m.value);
    }
  }
  return r;
}

}  // namespace pin16::protocol
