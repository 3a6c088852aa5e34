// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/witness.hpp"

#include <algorithm>
#include <utility>

#include "core/protocol/services.hpp"
#include "core/protocol/target.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;
using event::Ended;

constexpr std::uint8_t kAnswerBit = 0x40;
constexpr std::uint8_t kSuppressBit = 0x80;
constexpr std::size_t kEchoSize = 3;  // service and what answerKind() compares
constexpr const char* kCaptureEnded = "the capture ended first";
constexpr const char* kGapCame = "the link was lost";

std::uint32_t keyOf(const CanFrame& f) { return f.id() | (f.extended() ? event::kExtendedFlag : 0U); }
bool isExtended(std::uint32_t key) { return (key & event::kExtendedFlag) != 0; }
std::uint32_t idOf(std::uint32_t key) { return key & event::kExtendedMask; }

Ns limitNs(const limits::Limits& limits, const char* name) {
  return static_cast<Ns>(limits.value(name) * static_cast<double>(kNsPerMs));
}

// ISO 15765-4: 7DF and 18DBxxxx functional, 7E0-7E7 answered by 7E8-7EF, 18DAxxyy by 18DAyyxx.
bool isFunctional(std::uint32_t key) {
  return isExtended(key) ? idOf(key) >> 16 == 0x18DB : key == kFunctional11;
}
std::optional<std::uint32_t> legislatedPartner(std::uint32_t key) {
  const std::uint32_t id = idOf(key);
  if (isExtended(key)) {
    if (id >> 16 != 0x18DA) return std::nullopt;
    return event::kExtendedFlag | (id & 0xFFFF0000U) | (id & 0xFFU) << 8 | (id >> 8 & 0xFFU);
  }
  if (isPhysical11(id)) return id + kAnswerOffset11;
  return requestIdOf(id, false);
}

bool isAnswer(ByteView message) { return (message[0] & kAnswerBit) != 0; }

/// Service byte of a request or of its answer that has a name: ordinary traffic seldom hits one.
bool knownService(ByteView message) {
  if (message[0] == kNegativeResponse) return message.size() < kEchoSize || !nrcName(message[2]).empty();
  return !serviceName(message[0] & static_cast<std::uint8_t>(~kAnswerBit)).empty();
}

/// What lies behind the PCI's content is one padding byte throughout.
bool padded(ByteView data, std::size_t content) {
  const ByteView rest = data.subspan(std::min(content, data.size()));
  return std::all_of(rest.begin(), rest.end(), [&](std::uint8_t b) { return b == rest.front(); });
}

/// Stricter than answerKind(): also what that leaves open must echo its first parameter, or be a refusal by a
/// code that exists. Two unknown identifiers must not become a conversation by chance.
bool surelyAnswers(ByteView request, ByteView answer) {
  switch (answerKind(request, answer)) {
    case AnswerKind::none:
      return false;
    case AnswerKind::pending:
      return true;
    case AnswerKind::negative:
      return !nrcName(answer[2]).empty();
    case AnswerKind::positive:
      break;
  }
  if (request.size() < 2 || answer.size() < 2) return false;
  return answer[1] == request[1] || answer[1] == (request[1] & ~kSuppressBit);
}

/// ISO 14229-1: services with a sub-function, whose top bit suppresses the positive answer.
bool suppressesAnswer(ByteView request) {
  constexpr std::uint8_t kWithSubFunction[] = {0x10, 0x11, 0x19, 0x27, 0x28, 0x29, 0x2C,
                                               0x31, 0x3E, 0x83, 0x85, 0x86, 0x87};
  return request.size() > 1 && (request[1] & kSuppressBit) != 0 &&
         std::find(std::begin(kWithSubFunction), std::end(kWithSubFunction), request[0]) !=
             std::end(kWithSubFunction);
}

/// A stamp outside 1970..2116 is damage: as good as none. Differences of two others cannot overflow.
Ns plausible(Ns t_ns) { return t_ns >= 0 && t_ns < Ns{1} << 62 ? t_ns : kNoTime; }

double elapsedMs(Ns from_ns, Ns to_ns) {
  if (from_ns == kNoTime || to_ns == kNoTime) return -1;
  return static_cast<double>(to_ns - from_ns) / static_cast<double>(kNsPerMs);
}

void erase(std::vector<std::uint32_t>& keys, std::uint32_t key) {
  keys.erase(std::remove(keys.begin(), keys.end(), key), keys.end());
}

}  // namespace

Witness::Witness(const limits::Limits& limits, OnMessage on_message, OnExchange on_exchange)
    : on_message_(std::move(on_message)),
      on_exchange_(std::move(on_exchange)),
      p2_ns_(limitNs(limits, "timing.p2_server_max_ms")),
      p2_star_ns_(limitNs(limits, "timing.p2_star_server_max_ms")),
      client_wait_ns_(limitNs(limits, "timing.client_wait_ms")),
      pending_wait_ns_(p2_star_ns_ + limitNs(limits, "timing.client_margin_ms")),
      n_bs_ns_(limitNs(limits, "timing.n_bs_ms")),
      n_cr_ns_(limitNs(limits, "timing.n_cr_ms")) {}

Witness::Node& Witness::node(Key key) {
  const auto [at, fresh] = nodes_.try_emplace(key);
  Node& n = at->second;
  if (fresh) {
    n.key = key;
    n.functional = isFunctional(key);
    n.partner = legislatedPartner(key);
    if (n.functional || n.partner) n.trust = Trust::diagnostic;
  }
  return n;
}

void Witness::hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended) {
  const Key flag = extended ? event::kExtendedFlag : 0;
  learnPair(node(request_id | flag), node(answer_id | flag));
}

Ns Witness::deadline(Ns from_ns, Ns wait_ns) {
  // Where stamps step back, timers run from the latest one: late, but never early.
  from_ns = std::max(from_ns, now_ns_);
  const Ns at = from_ns == kNoTime ? INT64_MAX : from_ns + wait_ns;
  next_deadline_ns_ = std::min(next_deadline_ns_, at);
  return at;
}

// ---- frames

void Witness::frame(Ns t_ns, const CanFrame& f, bool outbound) {
  t_ns = plausible(t_ns);
  advance(t_ns);
  if (f.error() || f.remote()) return;
  Node& n = node(keyOf(f));
  if (n.trust == Trust::ordinary) return;
  const Pci pci = parsePci(f.payload(), f.fd());
  switch (pci.type) {
    case PciType::single:
      return onSingle(n, t_ns, f, pci, outbound);
    case PciType::first:
      return onFirst(n, t_ns, pci, outbound);
    case PciType::consecutive:
      return onConsecutive(n, t_ns, pci);
    case PciType::flow_control:
      return onFlowControl(n, t_ns, f, pci);
    case PciType::invalid:
      if (n.trust == Trust::unknown) n.trust = Trust::ordinary;
      return;
  }
}

Witness::Incoming Witness::incoming(Ns t_ns, const Pci& pci, bool outbound) {
  Incoming in;
  in.data.assign(pci.payload.begin(), pci.payload.end());
  in.length = pci.length;
  in.outbound = outbound;
  in.first_ns = in.last_ns = t_ns;
  return in;
}

void Witness::onSingle(Node& n, Ns t_ns, const CanFrame& f, const Pci& pci, bool outbound) {
  if (n.incoming) breakOff(n, toText(Failure::unexpected_pdu), Ended::incomplete);
  if (n.trust == Trust::unknown) {
    const auto content = static_cast<std::size_t>(pci.payload.data() - f.data.data()) + pci.payload.size();
    if (!padded(f.payload(), content) || !knownService(pci.payload)) {
      n.trust = Trust::ordinary;
      return;
    }
    if (!isAnswer(pci.payload)) {
      if (!n.candidate) candidates_.push_back(n.key);
      n.candidate = incoming(t_ns, pci, outbound);
      return;
    }
    if (!learnByAnswer(n, t_ns, pci.payload)) return;
  }
  n.incoming = incoming(t_ns, pci, outbound);
  endMessage(n);
}

void Witness::onFirst(Node& n, Ns t_ns, const Pci& pci, bool outbound) {
  if (n.functional) return;  // ISO 15765-2: functional requests are single frames
  if (n.incoming) breakOff(n, toText(Failure::unexpected_pdu), Ended::incomplete);
  if (n.trust == Trust::unknown) {
    if (!knownService(pci.payload)) {
      n.trust = Trust::ordinary;
      return;
    }
    if (isAnswer(pci.payload)) learnByAnswer(n, t_ns, pci.payload);
  }
  n.incoming = incoming(t_ns, pci, outbound);
  n.incoming->deadline_ns = deadline(t_ns, n_bs_ns_);
  receiving_.push_back(n.key);
  onAnswerStart(n);
}

void Witness::onConsecutive(Node& n, Ns t_ns, const Pci& pci) {
  if (!n.incoming) return;
  Incoming& in = *n.incoming;
  if (pci.sequence_number != in.next_sn) {
    const bool unproven = n.trust == Trust::unknown;
    breakOff(n, toText(Failure::wrong_sn), Ended::incomplete);
    if (unproven) n.trust = Trust::ordinary;
    return;
  }
  if (in.flow_from && !n.partner) learnByFlow(n, nodes_.at(*in.flow_from));
  in.next_sn = (in.next_sn + 1) & 0x0F;
  const std::size_t wanted = std::min<std::size_t>(pci.payload.size(), in.length - in.data.size());
  in.data.insert(in.data.end(), pci.payload.begin(),
                 pci.payload.begin() + static_cast<std::ptrdiff_t>(wanted));
  in.last_ns = t_ns;
  in.deadline_ns = deadline(t_ns, n_cr_ns_);
  onAnswerStart(n);
  if (in.data.size() == in.length) endMessage(n);
}

void Witness::onFlowControl(Node& n, Ns t_ns, const CanFrame& f, const Pci& pci) {
  constexpr std::size_t kSize = 3;
  if (n.trust == Trust::unknown && (pci.flow_status == FlowStatus::reserved || !padded(f.payload(), kSize))) {
    n.trust = Trust::ordinary;
    return;
  }
  Node* sender = nullptr;
  if (n.partner) {
    sender = &node(*n.partner);
  } else {
    // Of those whose partner is not known and who wait for flow control, the one that began last.
    for (const Key key : receiving_) {
      Node& other = nodes_.at(key);
      const bool waits = !other.partner && !other.incoming->flow_seen && other.incoming->next_sn == 1;
      if (waits && key != n.key && isExtended(key) == isExtended(n.key)) sender = &other;
    }
    if (sender != nullptr) sender->incoming->flow_from = n.key;
  }
  if (sender == nullptr || !sender->incoming) return;
  if (pci.flow_status == FlowStatus::overflow) {
    breakOff(*sender, toText(Failure::overflow), Ended::incomplete);
    return;
  }
  sender->incoming->flow_seen = true;
  sender->incoming->deadline_ns = deadline(t_ns, n_cr_ns_);
}

// ---- learning

void Witness::learnPair(Node& a, Node& b) {
  a.trust = b.trust = Trust::diagnostic;
  if (a.functional || b.functional) return;
  a.partner = b.key;
  b.partner = a.key;
}

void Witness::learnByFlow(Node& sender, Node& receiver) {
  if (receiver.trust == Trust::ordinary) return;
  learnPair(sender, receiver);
  settleCandidate(receiver, sender.incoming->data);
  settleCandidate(sender, {});
}

bool Witness::learnByAnswer(Node& answering, Ns t_ns, ByteView answer) {
  for (const Open& o : open_)
    if (!o.answer_key && isExtended(o.request_key) == isExtended(answering.key) &&
        surelyAnswers(o.x.request, answer)) {
      answering.trust = Trust::diagnostic;
      return true;
    }
  for (const Key key : candidates_) {
    Node& asking = nodes_.at(key);
    if (key == answering.key || isExtended(key) != isExtended(answering.key)) continue;
    const double wait_ms = elapsedMs(asking.candidate->first_ns, t_ns);
    if (wait_ms * static_cast<double>(kNsPerMs) > static_cast<double>(p2_star_ns_)) continue;
    if (!surelyAnswers(asking.candidate->data, answer)) continue;
    learnPair(asking, answering);
    settleCandidate(asking, answer);
    settleCandidate(answering, {});
    return true;
  }
  return false;
}

/// The identifier is known now: its waiting single frame is reported if `answer` answers it, else dropped.
void Witness::settleCandidate(Node& n, ByteView answer) {
  if (!n.candidate) return;
  Incoming in = std::move(*n.candidate);
  n.candidate.reset();
  erase(candidates_, n.key);
  if (answerKind(in.data, answer) == AnswerKind::none) return;
  report(n, in, nullptr);
  onRequest(n, in);
}

// ---- messages

void Witness::report(const Node& n, const Incoming& in, const char* reason) {
  event::Message m;
  m.id = idOf(n.key);
  m.extended = isExtended(n.key);
  m.complete = reason == nullptr;
  m.payload = in.data;
  if (reason != nullptr) m.reason = reason;
  m.first_ns = in.first_ns;
  on_message_(in.last_ns, m);
}

void Witness::endMessage(Node& n) {
  const Incoming in = std::move(*n.incoming);
  n.incoming.reset();
  erase(receiving_, n.key);
  if (n.trust != Trust::diagnostic) return;
  report(n, in, nullptr);
  if (isAnswer(in.data))
    onAnswer(n, in);
  else
    onRequest(n, in);
}

void Witness::breakOff(Node& n, const char* reason, Ended ended) {
  const Incoming in = std::move(*n.incoming);
  n.incoming.reset();
  erase(receiving_, n.key);
  if (n.trust != Trust::diagnostic) return;
  report(n, in, reason);
  for (Open& o : open_)
    if (o.receiving && o.answer_key == n.key) {
      o.x.answer = in.data;
      close(o, ended, in.last_ns);
    }
  sweepClosed();
}

// ---- exchanges

void Witness::onRequest(const Node& n, const Incoming& in) {
  if (suppressesAnswer(in.data)) return;
  endRequestsOf(n.key);
  Open o;
  o.request_key = n.key;
  o.x.request_id = idOf(n.key);
  o.x.extended = isExtended(n.key);
  o.x.functional = n.functional;
  o.x.ours = in.outbound;
  o.x.request = in.data;
  o.x.request_ns = in.last_ns;
  o.waits_from_ns = in.last_ns;
  o.deadline_ns = deadline(in.last_ns, client_wait_ns_);
  if (!n.functional && n.partner) {
    o.answer_key = n.partner;
    o.x.answer_id = idOf(*n.partner);
  }
  open_.push_back(std::move(o));
}

/// The exchange that `answer`, whole or its beginning, belongs to. One of a functional request is made when
/// a module's first answer comes.
Witness::Open* Witness::findOpen(const Node& n, ByteView answer) {
  for (Open& o : open_)
    if (o.answer_key == n.key && !o.receiving && answerKind(o.x.request, answer) != AnswerKind::none)
      return &o;
  for (std::size_t i = 0; i < open_.size(); ++i) {
    Open& o = open_[i];
    if (o.answer_key || n.key == o.request_key || isExtended(n.key) != isExtended(o.request_key)) continue;
    if (answerKind(o.x.request, answer) == AnswerKind::none) continue;
    if (std::find(o.answered_by.begin(), o.answered_by.end(), n.key) != o.answered_by.end()) continue;
    o.answered_by.push_back(n.key);
    Open one = o;
    one.answered_by.clear();
    one.answer_key = n.key;
    one.x.answer_id = idOf(n.key);
    open_.push_back(std::move(one));
    return &open_.back();
  }
  return nullptr;
}

/// Time of the first frame of a response against P2 or, after a "pending", P2*.
void Witness::firstAnswer(Open& o, Ns first_ns) const {
  const double waited_ms = elapsedMs(o.waits_from_ns, first_ns);
  const Ns allowed_ns = o.x.pending == 0 ? p2_ns_ : p2_star_ns_;
  if (waited_ms * static_cast<double>(kNsPerMs) > static_cast<double>(allowed_ns)) o.x.late = true;
  if (o.x.pending == 0) o.x.response_ms = waited_ms;
}

/// As soon as enough of an answer is there to tell which: its exchange no longer waits.
void Witness::onAnswerStart(Node& n) {
  Incoming& in = *n.incoming;
  if (n.trust != Trust::diagnostic || in.matched || in.data.size() < kEchoSize || !isAnswer(in.data)) return;
  in.matched = true;
  if (Open* o = findOpen(n, in.data)) {
    o->receiving = true;
    firstAnswer(*o, in.first_ns);
  }
}

void Witness::onAnswer(const Node& n, const Incoming& in) {
  const auto under_way = std::find_if(open_.begin(), open_.end(),
                                      [&](const Open& o) { return o.receiving && o.answer_key == n.key; });
  Open* o = under_way != open_.end() ? &*under_way : findOpen(n, in.data);
  if (o == nullptr) return;
  if (!o->receiving) firstAnswer(*o, in.first_ns);
  o->receiving = false;
  const AnswerKind kind = answerKind(o->x.request, in.data);
  if (kind == AnswerKind::pending) {
    ++o->x.pending;
    o->waits_from_ns = in.last_ns;
    o->deadline_ns = deadline(in.last_ns, pending_wait_ns_);
    return;
  }
  o->x.answer = in.data;
  o->x.complete_ms = elapsedMs(o->x.request_ns, in.last_ns);
  close(*o, kind == AnswerKind::negative ? Ended::negative : Ended::answered, in.last_ns);
  sweepClosed();
}

/// Marks `o` for sweepClosed(). A functional request that was answered has its exchanges already.
void Witness::close(Open& o, Ended ended, Ns t_ns) {
  if (o.answered_by.empty()) {
    o.x.ended = ended;
    on_exchange_(t_ns, o.x);
  }
  o.closed = true;
}

void Witness::sweepClosed() {
  std::erase_if(open_, [](const Open& o) { return o.closed; });
}

/// A tester that asks anew has given up waiting.
void Witness::endRequestsOf(Key key) {
  for (Open& o : open_)
    if (o.request_key == key) close(o, o.receiving ? Ended::incomplete : Ended::silent, now_ns_);
  sweepClosed();
}

// ---- time

void Witness::advance(Ns now_ns) {
  now_ns_ = std::max(now_ns_, plausible(now_ns));
  if (now_ns_ <= next_deadline_ns_) return;
  const std::vector<Key> receiving = receiving_;
  for (const Key key : receiving) {
    Node& n = nodes_.at(key);
    if (n.incoming->deadline_ns >= now_ns_) continue;
    const bool no_flow = !n.incoming->flow_seen && n.incoming->next_sn == 1;
    breakOff(n, toText(no_flow ? Failure::timeout_bs : Failure::timeout_cr), Ended::incomplete);
  }
  for (Open& o : open_)
    if (!o.receiving && o.deadline_ns < now_ns_) close(o, Ended::silent, o.deadline_ns);
  sweepClosed();
  next_deadline_ns_ = INT64_MAX;
  for (const Key key : receiving_)
    next_deadline_ns_ = std::min(next_deadline_ns_, nodes_.at(key).incoming->deadline_ns);
  for (const Open& o : open_)
    if (!o.receiving) next_deadline_ns_ = std::min(next_deadline_ns_, o.deadline_ns);
}

void Witness::breakAll(const char* reason, Ended ended) {
  const std::vector<Key> receiving = receiving_;
  for (const Key key : receiving) breakOff(nodes_.at(key), reason, ended);
  for (Open& o : open_) close(o, ended, now_ns_);
  sweepClosed();
}

void Witness::gap(Ns from_ns, Ns to_ns) {
  advance(from_ns);
  breakAll(kGapCame, Ended::link_lost);
  advance(to_ns);
}

void Witness::finish(Ns end_ns) {
  advance(end_ns);
  breakAll(kCaptureEnded, Ended::not_seen);
}

}  // namespace pin16::protocol
