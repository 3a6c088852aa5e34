// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/gate.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>

#include "core/protocol/line.hpp"
#include "core/protocol/services.hpp"

namespace pin16::protocol {
namespace {

/// Assumed where a link does not know its rate: the more usual one of ISO 15765-4.
constexpr std::uint32_t kAssumedBitrate = 500'000;
constexpr const char* kUnproven = "no valid frame has proven the bit rate of this link yet";
constexpr Ns kLoadWindow_ns = kNsPerSecond;
/// One bus seen through two of our links: a frame of the one arrives on the other within this (own figure).
constexpr Ns kEchoWindow_ns = 100 * kNsPerMs;
/// The same of a line message, before which the line may have to be initialised (own figure).
constexpr Ns kLineEcho_ns = 6 * kNsPerSecond;
/// A bus with more identifiers than this is noise; the set must not grow without end.
constexpr std::size_t kTakenMax = 65536;

Error refusal(std::string what, std::string advice) {
  return {ErrorKind::gate, std::move(what), "", std::move(advice)};
}

bool isFunctional(const Target& t) { return t.request_id == (t.extended ? kFunctional29 : kFunctional11); }

bool udsListed(ByteView r) {
  if (r[0] == kReadData) return r.size() == 3 && r[1] == 0xF1 && r[2] >= 0x80 && r[2] <= 0x9F;
  if (r[0] != kReadDtc || r.size() < 2) return false;
  if (r[1] == 0x01 || r[1] == 0x02) return r.size() == 3;
  return r[1] == 0x0A && r.size() == 2;
}

bool obdListed(ByteView r) {
  switch (r[0]) {
    case 0x01:
      return r.size() >= 2 && r.size() <= 7;
    case 0x02:
      return r.size() == 3 || r.size() == 5 || r.size() == 7;
    case 0x03:
    case 0x07:
    case 0x0A:
      return r.size() == 1;
    case 0x06:
    case 0x09:
      return r.size() == 2;
    default:
      return false;
  }
}

std::optional<Error> whyNotListed(ByteView pdu) {
  if (!pdu.empty() && (obdListed(pdu) || udsListed(pdu))) return std::nullopt;
  return refusal(
      fmt::format("'{}' is not on the list of what Pin16 may send", toHex(pdu, " ")),
      "it sends OBD 01 02 03 06 07 09 0A, and UDS 22 with one identifier F180-F19F, 19 01, 19 02, 19 0A");
}

// ---- line media

constexpr std::uint8_t kStartCommunication = 0x81, kStopCommunication = 0x82, kTesterPresent = 0x3E;
constexpr std::uint8_t kFirstIdentification = 0x80, kLastIdentification = 0x9F;  // ISO 14230-3, from memory

/// As on CAN, but one item in a request (SAE J1979).
bool obdLineListed(ByteView r) { return obdListed(r) && r.size() <= (r[0] == 0x02 ? 3U : 2U); }

bool kwpListed(ByteView r) {
  return r[0] == kReadEcuIdentification && r.size() == 2 && r[1] >= kFirstIdentification &&
         r[1] <= kLastIdentification;
}

std::optional<Error> whyNotListedLine(event::Medium medium, ByteView pdu) {
  const bool kwp = medium == event::Medium::iso14230_4;
  if (!pdu.empty() && (obdLineListed(pdu) || (kwp && kwpListed(pdu)))) return std::nullopt;
  return refusal(fmt::format("'{}' is not on the list of what Pin16 may send on {}", toHex(pdu, " "),
                             event::toText(medium)),
                 kwp ? "it sends OBD 01 02 03 06 07 09 0A with one item, and 1A 80 to 1A 9F to one module"
                     : "it sends OBD 01 02 03 06 07 09 0A with one item");
}

std::optional<Error> whyNotToLine(event::Medium medium, const Target& t, ByteView pdu) {
  const std::string id = idText(t.request_id, t.extended, t.line);
  if (!t.line)
    return refusal(fmt::format("{} is a CAN identifier, and this link is {}", id, event::toText(medium)),
                   "leave the address out, or write two hex digits, as in \"@10 1A 90\"");
  if (t.request_id > 0xFF || t.extended) return refusal(id + " is no address", "give two hex digits");
  const bool everybody = t.request_id == functionalAddress(medium);
  if (t.functional != everybody)
    return refusal(
        fmt::format("{} is {} functional address of {}", id, t.functional ? "no" : "the",
                    event::toText(medium)),
        fmt::format("functional requests go to {:02X} and nowhere else", functionalAddress(medium)));
  if (t.functional && !isObd(pdu[0]))
    return refusal("only OBD requests are sent to everybody", "address one module, as in \"@10 1A 90\"");
  if (!t.functional && medium != event::Medium::iso14230_4)
    return refusal(fmt::format("{} has no request to one module", event::toText(medium)),
                   "leave the address out");
  if (t.request_id >= 0xF0)
    return refusal(id + " is the address of a tester", "give the module's own address");
  return std::nullopt;
}

/// Bits of a J1850 message with header, check byte, start, end and pause taken for 20 (own figure).
std::uint32_t lineBits(std::size_t data) {
  return static_cast<std::uint32_t>(8 * (link::kLineHeader + data + 1) + 20);
}

std::optional<Error> whyNotTo(const Target& t, ByteView pdu) {
  if (t.line)
    return refusal(
        fmt::format("{:02X} is an address of a K-line or J1850 bus, and this link is CAN", t.request_id),
        "write 3 or 8 hex digits, as in \"@7E0 22 F190\"");
  const std::string id = idText(t.request_id, t.extended);
  if (t.request_id > (t.extended ? event::kExtendedMask : event::kStandardMask))
    return refusal(id + " is no CAN identifier", "give 11 bits or 29 bits");
  if (t.functional != isFunctional(t))
    return refusal(fmt::format("{} is {} functional address", id, t.functional ? "no" : "the"),
                   "functional requests go to 7DF or 18DB33F1 and nowhere else");
  if (t.functional && !isObd(pdu[0]))
    return refusal("UDS requests are not sent to everybody", "address one module, as in \"@7E0 22 F190\"");
  if (t.extended && !t.functional && !isPhysical29(t.request_id))
    return refusal(id + " is not a 29-bit request identifier of a tester",
                   "use 18DAxxF1, xx being the module");
  return std::nullopt;
}

}  // namespace

Gate::Gate(GateSettings settings, const limits::Limits& limits) : settings_(std::move(settings)) {
  // A job may be stricter than the compiled-in figures, never laxer: no file opens the gate.
  const limits::Limits own;
  const auto most = [&](const char* name) { return std::max(own.value(name), limits.value(name)); };
  const auto least = [&](const char* name) { return std::min(own.value(name), limits.value(name)); };
  quiet_ns_ = fromMs(most("gate.quiet_after_foreign_ms"));
  load_max_share_ = least("gate.load_max_share");
  burst_count_ = static_cast<std::size_t>(std::max(1.0, least("gate.error_burst_count")));
  burst_ns_ = fromMs(most("gate.error_burst_ms"));
  n_bs_ns_ = fromMs(least("timing.n_bs_ms"));
}

void Gate::shut(const std::string& reason) {
  if (shut_reason_.empty()) shut_reason_ = reason.empty() ? "by its owner" : reason;
}

event::Refused Gate::refused(ByteView pdu, const Error& error) { return {toHex(pdu), error.text()}; }

Result<link::Permit> Gate::request(std::uint16_t link, Ns now_ns, const Target& target, ByteView pdu) {
  LinkFacts& facts = links_[link];
  if (facts.medium != event::Medium::can) return requestLine(facts, now_ns, target, pdu);
  if (auto no = whyNotListed(pdu)) return *no;
  if (auto no = whyNotTo(target, pdu)) return *no;
  if (facts.taken.contains(target.request_id | (target.extended ? event::kExtendedFlag : 0)))
    return refusal(
        fmt::format("another node on this bus sends with {}", idText(target.request_id, target.extended)),
        "two nodes with one identifier disturb each other; check the module's request identifier");
  if (auto no = whyShut(facts, now_ns, frameBitsMax(target.extended))) return *no;
  facts.open = Open{target, Bytes(pdu.begin(), pdu.end()), {}};
  return permit(facts, now_ns,
                event::CanFrame::make(target.request_id, target.extended, buildSingle(pdu, /*fd=*/false)),
                "request " + toHex(pdu, " "));
}

Result<link::Permit> Gate::flowControl(std::uint16_t link, Ns now_ns, const Target& target,
                                       const FlowControl& fc) {
  LinkFacts& facts = links_[link];
  const auto no_need = [](const char* why) {
    return refusal(fmt::format("flow control is only for answers to our own request: {}", why), "");
  };
  if (!facts.open) return no_need("none is open");
  const Target& asked = facts.open->target;
  if (asked.line || target.line) return no_need("there is none on this medium");
  if (!target.answer_id) return no_need("no answer identifier is known");
  const auto expected = asked.functional ? requestIdOf(*target.answer_id, asked.extended) : asked.request_id;
  if (target.extended != asked.extended || expected != target.request_id)
    return no_need("it went to another module");
  const auto first = facts.open->first_frames.find(*target.answer_id);
  if (first == facts.open->first_frames.end()) return no_need("no first frame waits for it");
  if (now_ns - first->second.t_ns > n_bs_ns_) return no_need("its sender has given up (N_Bs)");
  if (fc.block_size != 0 || fc.status > FlowStatus::overflow)
    return no_need("block size 0 and a known status only");
  if (auto no = whyShut(facts, now_ns, frameBitsMax(target.extended))) return *no;
  const bool fd = first->second.fd;
  facts.open->first_frames.erase(first);
  return permit(facts, now_ns,
                event::CanFrame::make(target.request_id, target.extended, buildFlowControl(fc), fd),
                "flow control");
}

Result<link::Permit> Gate::requestLine(LinkFacts& facts, Ns now_ns, const Target& target, ByteView pdu) {
  if (auto no = whyNotListedLine(facts.medium, pdu)) return *no;
  if (auto no = whyNotToLine(facts.medium, target, pdu)) return *no;
  if (auto no = whyShut(facts, now_ns, lineBits(pdu.size()))) return *no;
  facts.open = Open{target, Bytes(pdu.begin(), pdu.end()), {}};
  std::optional<link::LineStart> start;
  if (event::isKLine(facts.medium)) {
    start.emplace();
    start->address = target.functional ? functionalAddress(event::Medium::iso14230_4)
                                       : static_cast<std::uint8_t>(target.request_id);
    if (facts.medium == event::Medium::iso14230_4) {
      constexpr std::uint8_t kStart[] = {kStartCommunication};
      start->start_communication = lineRequest(facts.medium, target, kStart);
    }
    facts.session_target = target;
  }
  return permit(facts, now_ns, lineRequest(facts.medium, target, pdu), std::move(start),
                "request " + toHex(pdu, " "));
}

Result<link::Permit> Gate::keepSession(std::uint16_t link, Ns now_ns) {
  constexpr std::uint8_t kKwp[] = {kTesterPresent};
  constexpr std::uint8_t kLegislated[] = {0x01, 0x00};
  const bool kwp = links_[link].medium == event::Medium::iso14230_4;
  return session(link, now_ns, kwp ? ByteView(kKwp) : ByteView(kLegislated), "tester present");
}

Result<link::Permit> Gate::endSession(std::uint16_t link, Ns now_ns) {
  constexpr std::uint8_t kKwp[] = {kStopCommunication};
  if (links_[link].medium != event::Medium::iso14230_4)
    return refusal("only an ISO 14230-4 session is ended by a message", "silence for P3 max ends it");
  return session(link, now_ns, kKwp, "stop communication");
}

bool Gate::inOtherSession(std::uint16_t link, const Target& target) const {
  const auto it = links_.find(link);
  if (it == links_.end()) return false;
  const LinkFacts& facts = it->second;
  if (facts.medium != event::Medium::iso14230_4 || !facts.session || !facts.session_target) return false;
  // Everybody stays everybody, whatever medium the key bytes turned out to be.
  const Target& with = *facts.session_target;
  return with.functional != target.functional || (!with.functional && with.request_id != target.request_id);
}

Result<link::Permit> Gate::session(std::uint16_t link, Ns now_ns, ByteView pdu, const char* purpose) {
  LinkFacts& facts = links_[link];
  if (!event::isKLine(facts.medium) || !facts.session || !facts.session_target)
    return refusal("no session of ours is open on this link", "");
  if (auto no = whyShut(facts, now_ns, lineBits(pdu.size()))) return *no;
  return permit(facts, now_ns, lineRequest(facts.medium, *facts.session_target, pdu), std::nullopt, purpose);
}

link::Permit Gate::permit(LinkFacts& facts, Ns now_ns, event::Line line, std::optional<link::LineStart> start,
                          std::string purpose) {
  if (!event::isKLine(facts.medium)) facts.sent.emplace_back(now_ns, lineBits(line.data.size()));
  facts.last_line.emplace(now_ns, line);
  return {std::move(line), std::move(start), std::move(purpose)};
}

std::optional<Error> Gate::whyShut() const {
  if (settings_.sealed) return refusal("the job is sealed: nothing is sent", "it can only be observed");
  if (!shut_reason_.empty())
    return refusal(fmt::format("the gate is shut: {}", shut_reason_), "start a new run to ask again");
  return std::nullopt;
}

Status Gate::vouchRate(std::uint16_t link) {
  if (auto no = whyShut()) return *no;
  LinkFacts& facts = links_[link];
  if (facts.medium != event::Medium::can)
    return refusal("nobody can vouch for a medium while the run goes on",
                   "start a new run with the medium in the URI");
  facts.vouched = true;
  return {};
}

bool Gate::isForWantOfProof(const event::Refused& refused) { return refused.reason.starts_with(kUnproven); }

std::optional<Error> Gate::whyShut(LinkFacts& facts, Ns now_ns, std::uint32_t bits) const {
  if (auto no = whyShut()) return no;
  if (!facts.burst.empty())
    return refusal(fmt::format("the gate is shut on this link: {}", facts.burst),
                   "check bit rate, wires and termination, then start a new run");
  if (foreign_ns_ != kNoTime && now_ns - foreign_ns_ < quiet_ns_)
    return refusal(
        fmt::format("another tester sent on {} less than {} s ago", foreign_id_, quiet_ns_ / kNsPerSecond),
        "let it finish, or disconnect it, and ask again");
  const bool known = facts.proven || facts.rateless || facts.named || facts.vouched || settings_.rate_fixed;
  if (!known && facts.medium != event::Medium::can)
    return refusal(fmt::format("nobody named {} for this link: the first contact wakes modules",
                               event::toText(facts.medium)),
                   "name the medium in the URI, or vouch for it (rate_fixed in the job)");
  if (!known)
    return refusal(kUnproven, "wake the bus, or vouch for the rate by name (rate_fixed in the job)");
  return whyOverload(facts, now_ns, bits);
}

std::optional<Error> Gate::whyOverload(LinkFacts& facts, Ns now_ns, std::uint32_t more_bits) const {
  if (event::isKLine(facts.medium)) return std::nullopt;
  while (!facts.sent.empty() && facts.sent.front().first <= now_ns - kLoadWindow_ns) facts.sent.pop_front();
  double bits = more_bits;
  for (const auto& [t_ns, n] : facts.sent) bits += n;
  const double bitrate = facts.bitrate != 0 ? facts.bitrate : kAssumedBitrate;
  if (bits <= load_max_share_ * bitrate) return std::nullopt;
  return refusal(
      fmt::format("Pin16 would take more than {:.3g} % of this bus within a second", load_max_share_ * 100),
      "ask less often");
}

link::Permit Gate::permit(LinkFacts& facts, Ns now_ns, const event::CanFrame& frame, std::string purpose) {
  facts.sent.emplace_back(now_ns, frameBitsMax(frame.extended()));
  facts.last_sent.emplace(now_ns, frame);
  return {frame, std::move(purpose)};
}

void Gate::onFrame(std::uint16_t link, Ns t_ns, const event::CanFrame& frame, bool outbound) {
  LinkFacts& facts = links_[link];
  if (frame.error()) {
    onErrorFrame(facts, t_ns, frame);
  } else if (outbound) {
    facts.last_sent.emplace(t_ns, frame);
  } else {
    onInbound(link, facts, t_ns, frame);
  }
}

void Gate::onErrorFrame(LinkFacts& facts, Ns t_ns, const event::CanFrame& frame) const {
  // Lost arbitration, restarts and counter reports are no disturbance.
  constexpr std::uint32_t kDisturbed = CAN_ERR_TX_TIMEOUT | CAN_ERR_CRTL | CAN_ERR_PROT | CAN_ERR_TRX |
                                       CAN_ERR_ACK | CAN_ERR_BUSOFF | CAN_ERR_BUSERROR;
  if ((frame.id() & kDisturbed) == 0) return;
  if (!facts.proven) facts.named = facts.vouched = false;
  if (!facts.last_sent || t_ns < facts.last_sent->first || t_ns - facts.last_sent->first > burst_ns_) return;
  if ((frame.id() & CAN_ERR_BUSOFF) != 0) facts.burst = "the controller went bus-off when we sent";
  facts.errors.push_back(t_ns);
  while (t_ns - facts.errors.front() > burst_ns_) facts.errors.pop_front();
  if (facts.burst.empty() && facts.errors.size() >= burst_count_)
    facts.burst =
        fmt::format("{} error frames within {} ms of our sending", burst_count_, burst_ns_ / kNsPerMs);
}

bool Gate::isOurEcho(std::uint16_t link, Ns t_ns, const event::CanFrame& frame) const {
  return std::any_of(links_.begin(), links_.end(), [&](const auto& other) {
    const auto& sent = other.second.last_sent;
    return other.first != link && sent && sent->second == frame && t_ns - sent->first <= kEchoWindow_ns &&
           sent->first - t_ns <= kEchoWindow_ns;
  });
}

bool Gate::isTesters(const event::CanFrame& frame) const {
  const auto& ids = settings_.module_request_ids;
  return isTesterId(frame.id(), frame.extended()) ||
         std::find(ids.begin(), ids.end(), frame.id()) != ids.end();
}

void Gate::onInbound(std::uint16_t link, LinkFacts& facts, Ns t_ns, const event::CanFrame& frame) {
  facts.proven = true;
  if (frame.remote() || isOurEcho(link, t_ns, frame)) return;
  if (isTesters(frame)) {
    foreign_ns_ = std::max(foreign_ns_, t_ns);
    foreign_id_ = idText(frame.id(), frame.extended());
    return;
  }
  if (facts.taken.size() < kTakenMax) facts.taken.insert(frame.word);
  if (!facts.open || frame.extended() != facts.open->target.extended) return;
  const Pci pci = parsePci(frame.payload(), frame.fd());
  if (pci.type != PciType::first || !mayAnswer(facts.open->target, frame.id())) return;
  if (answerKind(facts.open->pdu, pci.payload) == AnswerKind::positive)
    facts.open->first_frames[frame.id()] = {t_ns, frame.fd()};
}

bool Gate::isOurEcho(std::uint16_t link, Ns t_ns, const event::Line& line) const {
  return std::any_of(links_.begin(), links_.end(), [&](const auto& other) {
    const auto& sent = other.second.last_line;
    return other.first != link && sent && sent->second.header == line.header &&
           sent->second.data == line.data && std::max(t_ns - sent->first, sent->first - t_ns) <= kLineEcho_ns;
  });
}

void Gate::onLine(std::uint16_t link, Ns t_ns, const event::Line& line) {
  LinkFacts& facts = links_[link];
  if (line.ours) return;
  facts.proven = true;
  if (!link::isTesters(line) || isOurEcho(link, t_ns, line)) return;
  foreign_ns_ = std::max(foreign_ns_, t_ns);
  foreign_id_ = idText(*link::sourceOf(line), false, true);
}

void Gate::onLinkState(std::uint16_t link, Ns /*t_ns*/, const event::LinkState& state) {
  LinkFacts& facts = links_[link];
  const bool same = state.bitrate == facts.bitrate && state.medium == facts.medium &&
                    state.data_bitrate == facts.data_bitrate;
  if (!same || state.condition != event::LinkCondition::up) facts.proven = facts.vouched = false;
  if (state.condition != event::LinkCondition::up) facts.open.reset();
  facts.session = state.session && state.condition == event::LinkCondition::up;
  facts.medium = state.medium;
  facts.bitrate = state.bitrate;
  facts.data_bitrate = state.data_bitrate;
  facts.rateless = state.time_origin == "simulated" || (state.driver == "vcan" && state.bitrate == 0);
}

}  // namespace pin16::protocol
