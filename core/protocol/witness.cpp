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
constexpr const char* kWrongSize = "a consecutive frame has the wrong size";
constexpr const char* kNotSurelyNext = "frames are missing: what follows may be another message";
constexpr int kDoubtful = 2;              // a message of the partner, or two frames that fit less well
constexpr std::uint32_t kOften = 3;       // in vain: then one sequel may be chance
constexpr std::size_t kPendingMax = 256;  // kept for a request that is not proven
constexpr std::size_t kFlowMax = 16;      // kept for one message
constexpr std::uint8_t kTester = 0xF1;    // ISO 15765-4: the external test equipment

// A key is the identifier, and in addressing with a prefix that byte.
constexpr std::uint64_t kPrefixed = std::uint64_t{1} << 40U;

std::uint32_t wordOfFrame(const CanFrame& f) { return f.id() | (f.extended() ? event::kExtendedFlag : 0U); }
bool isExtended(std::uint64_t key) { return (key & event::kExtendedFlag) != 0; }
std::uint32_t idOf(std::uint64_t key) { return static_cast<std::uint32_t>(key) & event::kExtendedMask; }
bool isPrefixed(std::uint64_t key) { return (key & kPrefixed) != 0; }
std::int16_t prefixOf(std::uint64_t key) {
  return isPrefixed(key) ? static_cast<std::int16_t>(key >> 32U & 0xFFU) : std::int16_t{-1};
}
std::uint64_t prefixedKey(std::uint32_t word, std::uint8_t prefix) {
  return kPrefixed | std::uint64_t{prefix} << 32U | word;
}
std::optional<FixedId> fixedOf(std::uint64_t key) {
  return isExtended(key) ? parseFixedId(idOf(key)) : std::nullopt;
}

// ISO 15765-4: 7DF and 18DBxxxx functional, 7E0-7E7 answered by 7E8-7EF, 18DAxxyy by 18DAyyxx; ISO 15765-2
// mixed addressing likewise with 18CD and 18CE, the prefix the same.
bool isFunctional(std::uint64_t key) {
  const auto fixed = fixedOf(key);
  return fixed ? fixed->functional : idOf(key) == kFunctional11 && !isExtended(key);
}
std::optional<std::uint64_t> legislatedPartner(std::uint64_t key) {
  const std::uint32_t id = idOf(key);
  if (const auto fixed = fixedOf(key)) {
    if (fixed->functional) return std::nullopt;
    const std::uint64_t rest = key & ~std::uint64_t{event::kExtendedMask};
    return rest | fixedId({fixed->mixed, false, fixed->source, fixed->target});
  }
  if (isExtended(key)) return std::nullopt;
  if (isPhysical11(id)) return id + kAnswerOffset11;
  return requestIdOf(id, false);
}

Ns limitNs(const limits::Limits& limits, const char* name) { return fromMs(limits.value(name)); }

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

/// Two bytes echoed: seldom by chance, where one byte, or a refusal, may be.
bool plainlyAnswers(ByteView request, ByteView answer) {
  return request.size() >= kEchoSize && answer.size() >= kEchoSize &&
         ((answer[1] ^ request[1]) & ~kSuppressBit) == 0 && answer[2] == request[2] &&
         answer[0] != kNegativeResponse;
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
  return toMs(to_ns - from_ns);
}

void erase(std::vector<std::uint64_t>& keys, std::uint64_t key) {
  keys.erase(std::remove(keys.begin(), keys.end(), key), keys.end());
}

bool contains(const std::vector<std::uint64_t>& keys, std::uint64_t key) {
  return std::find(keys.begin(), keys.end(), key) != keys.end();
}

/// The same length of identifier, both with or both without prefix, and not the same identifier.
bool sameKind(std::uint64_t a, std::uint64_t b) {
  return isExtended(a) == isExtended(b) && isPrefixed(a) == isPrefixed(b) && idOf(a) != idOf(b);
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

Witness::Identifier& Witness::identifier(Word word) {
  const auto [at, fresh] = identifiers_.try_emplace(word);
  Identifier& id = at->second;
  if (!fresh) return id;
  const auto fixed = fixedOf(word);
  if (!isFunctional(word) && !legislatedPartner(word)) return id;
  id.proven = true;
  id.mixed = id.prefixed = fixed && fixed->mixed;
  id.plain = !id.prefixed;
  // An external tester is F1 (ISO 15765-4); other addresses may do both.
  if (isFunctional(word) || isTesterId(idOf(word), isExtended(word)))
    id.role = Role::asks;
  else if (!fixed || fixed->target == kTester)
    id.role = Role::answers;
  return id;
}

Witness::Node& Witness::node(Key key) {
  const auto [at, fresh] = nodes_.try_emplace(key);
  Node& n = at->second;
  if (fresh) {
    n.key = key;
    n.functional = isFunctional(key);
    n.partner = legislatedPartner(key);
    n.certain = n.partner.has_value();
    n.trusted = identifier(wordOf(key)).proven;
  }
  return n;
}

void Witness::hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended) {
  const Word flag = extended ? event::kExtendedFlag : 0;
  learnPair(node(request_id | flag), node(answer_id | flag), true);
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
  const Word word = wordOfFrame(f);
  const Identifier& id = identifier(word);
  if (id.plain) read(word, t_ns, f, parsePci(f.payload(), f.fd()), outbound);
  if (id.prefixed && f.length > 1)
    read(prefixedKey(word, f.data[0]), t_ns, f, parsePci(f.payload(), f.fd(), 1), outbound);
}

Witness::Readings Witness::readings(const CanFrame& f) const {
  const auto at = identifiers_.find(wordOfFrame(f));
  if (at == identifiers_.end()) return {};
  return {at->second.plain, at->second.prefixed};
}

void Witness::read(Key key, Ns t_ns, const CanFrame& f, const Pci& pci, bool outbound) {
  if (pci.type == PciType::invalid && !nodes_.contains(key)) {
    // No record for what says at once that it is none.
    Identifier& id = identifier(wordOf(key));
    if (id.proven) return;
    (isPrefixed(key) ? id.prefixed : id.plain) = false;
    return forget(wordOf(key), isPrefixed(key));
  }
  Node& n = node(key);
  if (!n.trusted && identifier(wordOf(key)).proven) {
    n.trusted = true;
    n.candidate.reset();
    erase(candidates_, key);
  }
  switch (pci.type) {
    case PciType::single:
      return onSingle(n, t_ns, f, pci, outbound);
    case PciType::first:
      return onFirst(n, t_ns, f, pci, outbound);
    case PciType::consecutive:
      return onConsecutive(n, t_ns, f, pci);
    case PciType::flow_control:
      return onFlowControl(n, t_ns, f, pci);
    case PciType::invalid:
      return refute(n);
  }
}

Witness::Incoming Witness::incoming(Ns t_ns, const CanFrame& f, const Pci& pci, bool outbound) {
  Incoming in;
  in.data.assign(pci.payload.begin(), pci.payload.end());
  in.length = pci.length;
  in.frame_size = f.length;
  in.outbound = outbound;
  in.first_ns = in.last_ns = t_ns;
  return in;
}

void Witness::onSingle(Node& n, Ns t_ns, const CanFrame& f, const Pci& pci, bool outbound) {
  if (n.incoming) breakOff(n, toText(Failure::unexpected_pdu), Ended::incomplete);
  if (!n.trusted) {
    const auto content = static_cast<std::size_t>(pci.payload.data() - f.data.data()) + pci.payload.size();
    if (!padded(f.payload(), content) || !knownService(pci.payload)) return refute(n);
    if (!isAnswer(pci.payload)) {
      return setCandidate(n, incoming(t_ns, f, pci, outbound));
    }
    if (!learnByAnswer(n, t_ns, pci.payload)) return;
  }
  if (!suppressesAnswer(pci.payload)) doubtPartner(n);
  n.incoming = incoming(t_ns, f, pci, outbound);
  endMessage(n);
}

void Witness::onFirst(Node& n, Ns t_ns, const CanFrame& f, const Pci& pci, bool outbound) {
  if (n.functional) return;  // ISO 15765-2: functional requests are single frames
  if (n.incoming) breakOff(n, toText(Failure::unexpected_pdu), Ended::incomplete);
  if (!n.trusted) {
    if (!knownService(pci.payload)) return refute(n);
    if (isAnswer(pci.payload)) learnByAnswer(n, t_ns, pci.payload);
  }
  if (n.trusted) doubtPartner(n);
  n.incoming = incoming(t_ns, f, pci, outbound);
  n.incoming->awaits_flow = true;
  n.incoming->deadline_ns = deadline(t_ns, n_bs_ns_);
  receiving_.push_back(n.key);
  onAnswerStart(n);
}

void Witness::onConsecutive(Node& n, Ns t_ns, const CanFrame& f, const Pci& pci) {
  if (!n.incoming) return;
  Incoming& in = *n.incoming;
  if (in.next_sn == 1 && in.doubt >= kDoubtful) return breakOff(n, kNotSurelyNext, Ended::incomplete);
  if (pci.sequence_number != in.next_sn) {
    const bool counts_otherwise = !n.trusted && in.next_sn == 1 && pci.sequence_number == 0;
    breakOff(n, toText(Failure::wrong_sn), Ended::incomplete);
    if (counts_otherwise) refute(n);
    return;
  }
  const std::size_t missing = in.length - in.data.size();
  const std::size_t room = in.frame_size - (isPrefixed(n.key) ? 2U : 1U);
  if (missing > room ? f.length != in.frame_size : pci.payload.size() < missing)
    return breakOff(n, kWrongSize, Ended::incomplete);
  if (!in.flows.empty()) learnByFlow(n);
  if (in.consecutive_ns != kNoTime && t_ns != kNoTime) {
    const double apart_ms = elapsedMs(in.consecutive_ns, t_ns);
    in.separation_min_ms = in.separation_min_ms < 0 ? apart_ms : std::min(in.separation_min_ms, apart_ms);
    in.separation_max_ms = std::max(in.separation_max_ms, apart_ms);
  }
  in.next_sn = (in.next_sn + 1) & 0x0F;
  in.doubt = 0;
  in.data.insert(in.data.end(), pci.payload.begin(),
                 pci.payload.begin() + static_cast<std::ptrdiff_t>(std::min(pci.payload.size(), missing)));
  in.last_ns = in.consecutive_ns = t_ns;
  in.awaits_flow = in.left_in_block != 0 && --in.left_in_block == 0;
  in.deadline_ns = deadline(t_ns, in.awaits_flow ? n_bs_ns_ : n_cr_ns_);
  onAnswerStart(n);
  if (in.data.size() == in.length) endMessage(n);
}

void Witness::onFlowControl(Node& n, Ns t_ns, const CanFrame& f, const Pci& pci) {
  const std::size_t size = isPrefixed(n.key) ? 4 : 3;
  if (!n.trusted && (pci.flow_status == FlowStatus::reserved || !padded(f.payload(), size))) return refute(n);
  const FlowControl control{pci.flow_status, pci.block_size, pci.st_min};
  Node* const sender = n.partner ? &node(*n.partner) : nullptr;
  if (sender == nullptr || (!sender->incoming && !n.certain)) return flowFromStranger(n, t_ns, control);
  if (!sender->incoming) return;
  if (sender->partner == n.key) {
    settlePartner(n, sender->key);
    settlePartner(*sender, n.key);
  }
  if (control.status == FlowStatus::overflow || control.status == FlowStatus::reserved) {
    const bool overflow = control.status == FlowStatus::overflow;
    return breakOff(*sender, toText(overflow ? Failure::overflow : Failure::invalid_fs), Ended::incomplete);
  }
  takeFlow(*sender->incoming, t_ns, control);
}

/// Whoever waits for flow control may be meant: the next consecutive frame tells.
void Witness::flowFromStranger(Node& n, Ns t_ns, const FlowControl& control) {
  std::vector<Node*> waiting;
  for (const Key key : receiving_) {
    Node& other = nodes_.at(key);
    if (other.certain || !other.incoming->awaits_flow || !sameKind(key, n.key)) continue;
    // Of an answering node's partner only another address of the same tester may take the place.
    if (other.partner && wordOf(*other.partner) != wordOf(n.key)) continue;
    waiting.push_back(&other);
  }
  if (waiting.empty()) ++n.in_vain;
  for (Node* other : waiting) {
    Incoming& in = *other->incoming;
    if (in.flows.size() == kFlowMax) continue;
    if (control.status == FlowStatus::wait)
      in.deadline_ns = deadline(t_ns, n_bs_ns_);
    else if (in.flows.empty())
      in.deadline_ns = deadline(t_ns, n_cr_ns_);
    in.flows.push_back({n.key, control, t_ns, waiting.size() > 1});
  }
}

void Witness::takeFlow(Incoming& in, Ns t_ns, const FlowControl& control) {
  in.consecutive_ns = kNoTime;
  if (control.status == FlowStatus::wait) {
    ++in.waits;
    in.awaits_flow = true;
    in.deadline_ns = deadline(t_ns, n_bs_ns_);
    return;
  }
  if (!in.awaits_flow) ++in.doubt;
  in.awaits_flow = false;
  in.left_in_block = control.block_size;
  in.st_min_ms = toMs(stMinToNs(control.st_min));
  if (in.flow_ns == kNoTime) in.flow_ns = t_ns;
  in.deadline_ns = deadline(t_ns, n_cr_ns_);
}

/// `n` begins a message while the other side's is under way: its end, and perhaps another's beginning, may be
/// among what the capture missed.
void Witness::doubtPartner(const Node& n) {
  for (const Key key : receiving_) {
    Incoming& in = *nodes_.at(key).incoming;
    if (n.functional ? sameKind(key, n.key) : n.partner == key) in.doubt += n.functional ? 1 : kDoubtful;
  }
}

// ---- learning

void Witness::refute(const Node& n) {
  if (n.trusted) return;
  Identifier& id = identifier(wordOf(n.key));
  (isPrefixed(n.key) ? id.prefixed : id.plain) = false;
  forget(wordOf(n.key), isPrefixed(n.key));
}

void Witness::drop(Node& n) {
  n.incoming.reset();
  n.candidate.reset();
  erase(receiving_, n.key);
  erase(candidates_, n.key);
}

void Witness::askedInVain(Node& n) {
  ++n.in_vain;
  n.answered = 0;
}

/// A whole message that may prove to be a request.
void Witness::setCandidate(Node& n, Incoming in) {
  if (!n.candidate)
    candidates_.push_back(n.key);
  else if (!n.candidate->matched)
    askedInVain(n);
  n.candidate = std::move(in);
}

/// Whatever was under way on an identifier read so.
void Witness::forget(Word word, bool prefixed) {
  const auto concerned = [&](Key key) { return wordOf(key) == word && isPrefixed(key) == prefixed; };
  for (std::vector<Key>* keys : {&receiving_, &candidates_}) {
    const std::vector<Key> all = *keys;
    for (const Key key : all)
      if (concerned(key)) drop(nodes_.at(key));
  }
}

void Witness::prove(Node& n, bool mixed) {
  n.trusted = true;
  Identifier& id = identifier(wordOf(n.key));
  if (id.proven) return;
  id.proven = true;
  id.prefixed = isPrefixed(n.key);
  id.plain = !id.prefixed;
  id.mixed = mixed;
  forget(wordOf(n.key), !id.prefixed);
}

void Witness::learnPair(Node& asking, Node& answering, bool certain) {
  const bool mixed = isPrefixed(asking.key) && prefixOf(asking.key) == prefixOf(answering.key);
  for (Node* n : {&asking, &answering}) {
    prove(*n, mixed);
    Identifier& id = identifier(wordOf(n->key));
    if (id.role == Role::unknown) id.role = n == &asking ? Role::asks : Role::answers;
  }
  if (isFunctional(asking.key) || isFunctional(answering.key) || (asking.functional && !certain)) return;
  if (!certain) {
    if (!asking.certain) asking.partner = answering.key;
    if (!answering.partner) answering.partner = asking.key;
    return;
  }
  for (Node* n : {&asking, &answering}) {
    Node& other = n == &asking ? answering : asking;
    if (n->partner && *n->partner != other.key) {
      // Whom it was thought to belong to; one tester's other address for the same node is a functional one.
      Node& former = node(*n->partner);
      if (former.partner == n->key) former.partner.reset();
      if (n == &answering && wordOf(former.key) == wordOf(asking.key)) former.functional = true;
    }
    settlePartner(*n, other.key);
  }
}

void Witness::settlePartner(Node& n, Key partner) {
  n.partner = partner;
  n.certain = true;
  n.functional = false;
  n.asked.reset();
  erase(asked_, n.key);
}

bool Witness::learnByAnswer(Node& answering, Ns t_ns, ByteView answer) {
  return learnFromOpen(answering, answer) || learnFromCandidate(answering, t_ns, answer) ||
         (learnFunctional(answering, t_ns, answer) && learnFromOpen(answering, answer));
}

bool Witness::learnFromOpen(Node& answering, ByteView answer) {
  Open* one = nullptr;
  for (Open& o : open_) {
    if (o.answer_key || !mayAnswer(o, answering) || !surelyAnswers(o.x.request, answer)) continue;
    if (o.x.functional) {
      prove(answering, o.x.mixed);
      identifier(wordOf(answering.key)).role = Role::answers;
      return true;
    }
    if (one != nullptr) return false;
    one = &o;
  }
  if (one == nullptr) return false;
  learnPair(node(one->request_key), answering, false);
  setAnswerKey(*one, answering.key);
  return true;
}

bool Witness::learnFromCandidate(Node& answering, Ns t_ns, ByteView answer) {
  std::vector<Key> outdated;
  Node* asking = nullptr;
  bool several = false;
  for (const Key key : candidates_) {
    Node& n = nodes_.at(key);
    if (elapsedMs(n.candidate->last_ns, t_ns) * static_cast<double>(kNsPerMs) >
        static_cast<double>(p2_star_ns_)) {
      outdated.push_back(key);
      continue;
    }
    if (!sameKind(key, answering.key) || !surelyAnswers(n.candidate->data, answer)) continue;
    if (n.candidate->flow_from && *n.candidate->flow_from != answering.key) continue;
    // One that asked in vain before is less likely meant than one that did not.
    if (asking == nullptr || n.in_vain < asking->in_vain) {
      asking = &n;
      several = false;
    } else if (n.in_vain == asking->in_vain) {
      several = true;
    }
  }
  for (const Key key : outdated) {
    Node& n = nodes_.at(key);
    if (!n.candidate->matched) askedInVain(n);
    n.candidate.reset();
    erase(candidates_, key);
  }
  if (asking == nullptr || several) return false;
  // A "pending" echoes the service alone, and with the answer behind it would count as two.
  if (answerKind(asking->candidate->data, answer) == AnswerKind::pending) {
    if (asking->candidate->pendings.size() < kPendingMax)
      asking->candidate->pendings.push_back({answering.key, Bytes(answer.begin(), answer.end()), t_ns});
    return false;
  }
  const bool plainly = asking->in_vain < kOften && plainlyAnswers(asking->candidate->data, answer);
  asking->answered = asking->answered_by == answering.key ? asking->answered + 1 : 1;
  asking->answered_by = answering.key;
  asking->candidate->matched = true;
  if (!plainly && asking->answered < 2) return false;
  learnPair(*asking, answering, false);
  settleCandidate(*asking, answer);
  settleCandidate(answering, {});
  return true;
}

/// A second node answers what was taken for a physical request.
bool Witness::learnFunctional(Node& answering, Ns t_ns, ByteView answer) {
  for (const Key key : asked_) {
    Node& asking = nodes_.at(key);
    if (!sameKind(key, answering.key) || !asking.partner || *asking.partner == answering.key) continue;
    if (prefixOf(*asking.partner) != prefixOf(answering.key)) continue;  // both go to the same tester
    if (answering.partner && wordOf(*answering.partner) != wordOf(key)) continue;
    if (elapsedMs(asking.asked->last_ns, t_ns) * static_cast<double>(kNsPerMs) >
            static_cast<double>(client_wait_ns_) ||
        !plainlyAnswers(asking.asked->data, answer))
      continue;
    Node& first = node(*asking.partner);
    if (first.partner == key) first.partner.reset();
    asking.functional = true;
    Open o = openFor(asking, *asking.asked);
    o.answered_by = {first.key};
    asking.partner.reset();
    asking.asked.reset();
    erase(asked_, key);
    open_.push_back(std::move(o));
    return true;
  }
  return false;
}

/// A consecutive frame has come behind flow control that somebody sent. That may be chance: it proves the
/// pair if the other one had asked for this very answer, if one of them is proven already, or the second
/// time.
void Witness::learnByFlow(Node& sender) {
  Incoming& in = *sender.incoming;
  bool asked = false;
  Node* const receiver = receiverOf(sender, asked);
  const std::vector<Flow> flows = std::move(in.flows);
  in.flows.clear();
  if (receiver == nullptr) return;
  for (const Flow& flow : flows)
    if (flow.from == receiver->key) takeFlow(in, flow.t_ns, flow.control);
  in.doubt = 0;
  const bool again = sender.followed == receiver->key;
  sender.followed = in.flow_from = receiver->key;
  if (!asked && !sender.trusted && !receiver->trusted && !again) return;
  const bool answer = isAnswer(in.data);
  if (answer)
    learnPair(*receiver, sender, true);
  else
    learnPair(sender, *receiver, true);
  settleCandidate(*receiver, answer ? ByteView(in.data) : ByteView());
  settleCandidate(sender, {});
}

/// Who sent the flow control that `sender` followed; nothing if several may have. `asked`: it had asked for
/// what is being sent.
Witness::Node* Witness::receiverOf(const Node& sender, bool& asked) {
  const Incoming& in = *sender.incoming;
  const bool answer = isAnswer(in.data);
  Node* best = nullptr;
  bool several = false;
  for (const Flow& flow : in.flows) {
    if (flow.control.status != FlowStatus::cts) continue;
    Node& n = nodes_.at(flow.from);
    const Identifier& id = identifier(wordOf(flow.from));
    if (!(isPrefixed(n.key) ? id.prefixed : id.plain) || isFunctional(n.key) || n.certain) continue;
    if (id.role == (answer ? Role::answers : Role::asks)) continue;
    // Twice means that a first frame was missed between.
    const auto same = std::count_if(in.flows.begin(), in.flows.end(), [&](const Flow& other) {
      return other.from == flow.from && other.control.status == FlowStatus::cts;
    });
    if (same != 1) continue;
    const bool asks = answer && askedFor(n, in.data);
    if (!asks && (flow.shared || n.in_vain >= kOften)) continue;
    if (best != nullptr && asks == asked) several = true;
    if (best == nullptr || (asks && !asked)) {
      best = &n;
      asked = asks;
      several = false;
    }
  }
  return several ? nullptr : best;
}

bool Witness::askedFor(const Node& n, ByteView answer) const {
  if (n.candidate && answerKind(n.candidate->data, answer) != AnswerKind::none) return true;
  return std::any_of(open_.begin(), open_.end(), [&](const Open& o) {
    return o.request_key == n.key && answerKind(o.x.request, answer) != AnswerKind::none;
  });
}

/// The identifier is known now: its waiting request is reported if `answer` answers it, else dropped.
void Witness::settleCandidate(Node& n, ByteView answer) {
  if (!n.candidate) return;
  const Incoming in = std::move(*n.candidate);
  n.candidate.reset();
  erase(candidates_, n.key);
  if (answerKind(in.data, answer) == AnswerKind::none) return;
  report(n, in, nullptr);
  onRequest(n, in);
  for (const Pending& p : in.pendings) {
    if (n.partner != p.from) continue;
    Incoming pending;
    pending.data = p.data;
    pending.first_ns = pending.last_ns = p.t_ns;
    report(node(p.from), pending, nullptr);
    onAnswer(node(p.from), pending);
  }
}

/// By address alone, for a request that waits for whoever answers.
bool Witness::mayAnswer(const Open& o, const Node& n) const {
  if (!sameKind(o.request_key, n.key)) return false;
  const auto asked = fixedOf(o.request_key);
  const auto answers = fixedOf(n.key);
  if (asked)
    return answers && !answers->functional && answers->target == asked->source &&
           prefixOf(o.request_key) == prefixOf(n.key);
  if (o.x.mixed && prefixOf(o.request_key) != prefixOf(n.key)) return false;
  const auto id = identifiers_.find(wordOf(n.key));
  return id == identifiers_.end() || id->second.role != Role::asks;
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
  m.prefix = prefixOf(n.key);
  m.mixed = identifier(wordOf(n.key)).mixed;
  on_message_(in.last_ns, m);
}

void Witness::endMessage(Node& n) {
  const Incoming in = std::move(*n.incoming);
  n.incoming.reset();
  erase(receiving_, n.key);
  if (!n.trusted) {
    if (in.flow_from && !isAnswer(in.data)) setCandidate(n, in);
    return;
  }
  report(n, in, nullptr);
  if (isAnswer(in.data))
    onAnswer(n, in);
  else if (identifier(wordOf(n.key)).role != Role::answers)
    onRequest(n, in);
}

void Witness::breakOff(Node& n, const char* reason, Ended ended) {
  const Incoming in = std::move(*n.incoming);
  n.incoming.reset();
  erase(receiving_, n.key);
  if (!n.trusted) return;
  report(n, in, reason);
  for (Open& o : open_)
    if (o.receiving && o.answer_key == n.key) {
      o.x.answer = in.data;
      fillAnswer(o, in);
      close(o, ended, in.last_ns);
    }
  sweepClosed();
}

// ---- exchanges

Witness::Open Witness::openFor(const Node& n, const Incoming& in) const {
  Open o;
  o.request_key = n.key;
  o.quiet = suppressesAnswer(in.data);
  o.x.request_id = idOf(n.key);
  o.x.extended = isExtended(n.key);
  o.x.functional = n.functional;
  o.x.ours = in.outbound;
  o.x.request = in.data;
  o.x.request_ns = in.last_ns;
  o.x.request_ms = elapsedMs(in.first_ns, in.last_ns);
  o.x.request_prefix = prefixOf(n.key);
  o.x.mixed = identifiers_.at(wordOf(n.key)).mixed;
  o.waits_from_ns = in.last_ns;
  if (!n.functional && n.partner) setAnswerKey(o, *n.partner);
  return o;
}

void Witness::setAnswerKey(Open& o, Key key) {
  o.answer_key = key;
  o.x.answer_id = idOf(key);
  o.x.answer_prefix = prefixOf(key);
}

void Witness::onRequest(Node& n, const Incoming& in) {
  Open o = openFor(n, in);
  o.deadline_ns = deadline(in.last_ns, client_wait_ns_);
  if (o.quiet)
    std::erase_if(open_, [&](const Open& other) {
      return other.quiet && other.request_key == n.key && !other.receiving;
    });
  else
    endRequestsOf(n.key);
  open_.push_back(std::move(o));
  if (n.functional || n.certain) return;
  if (!n.asked) asked_.push_back(n.key);
  n.asked = in;
}

/// The exchange that `answer`, whole or its beginning, belongs to.
Witness::Open* Witness::findOpen(Node& n, Ns first_ns, ByteView answer) {
  if (Open* o = findWaiting(n, answer)) return o;
  return learnFunctional(n, first_ns, answer) ? findWaiting(n, answer) : nullptr;
}

/// An exchange of a functional request is made when a node's first answer comes.
Witness::Open* Witness::findWaiting(Node& n, ByteView answer) {
  for (Open& o : open_)
    if (o.answer_key == n.key && !o.receiving && answerKind(o.x.request, answer) != AnswerKind::none)
      return &o;
  Open* physical = nullptr;
  bool several = false;
  for (std::size_t i = 0; i < open_.size(); ++i) {
    Open& o = open_[i];
    if (o.answer_key || !mayAnswer(o, n) || answerKind(o.x.request, answer) == AnswerKind::none) continue;
    if (contains(o.answered_by, n.key)) continue;
    Node& asking = node(o.request_key);
    // Who surely belongs to another address of this tester was not asked by its own.
    if (!o.x.functional && n.certain && n.partner && wordOf(*n.partner) == wordOf(o.request_key))
      asking.functional = o.x.functional = true;
    if (!o.x.functional) {
      several = physical != nullptr;
      physical = &o;
      continue;
    }
    o.answered_by.push_back(n.key);
    Open one = o;
    one.answered_by.clear();
    setAnswerKey(one, n.key);
    open_.push_back(std::move(one));
    return &open_.back();
  }
  if (physical == nullptr || several || n.certain) return nullptr;
  learnPair(node(physical->request_key), n, false);
  setAnswerKey(*physical, n.key);
  return physical;
}

/// Time of the first frame of a response against P2 or, after a "pending", P2*.
void Witness::firstAnswer(Open& o, Ns first_ns) const {
  const double waited_ms = elapsedMs(o.waits_from_ns, first_ns);
  const Ns allowed_ns = o.x.pending == 0 ? p2_ns_ : p2_star_ns_;
  if (waited_ms * static_cast<double>(kNsPerMs) > static_cast<double>(allowed_ns)) o.x.late = true;
  if (o.x.pending == 0) o.x.response_ms = waited_ms;
}

/// Times of the final answer, whole or broken off.
void Witness::fillAnswer(Open& o, const Incoming& in) {
  o.x.answer_ms = elapsedMs(o.x.request_ns, in.first_ns);
  o.x.flow_ms = elapsedMs(in.first_ns, in.flow_ns);
  o.x.separation_min_ms = in.separation_min_ms;
  o.x.separation_max_ms = in.separation_max_ms;
  o.x.st_min_ms = in.st_min_ms;
  o.x.waits = in.waits;
}

/// As soon as enough of an answer is there to tell which: its exchange no longer waits.
void Witness::onAnswerStart(Node& n) {
  Incoming& in = *n.incoming;
  if (!n.trusted || in.matched || in.data.size() < kEchoSize || !isAnswer(in.data)) return;
  in.matched = true;
  if (Open* o = findOpen(n, in.first_ns, in.data)) {
    o->receiving = true;
    firstAnswer(*o, in.first_ns);
  }
}

void Witness::onAnswer(Node& n, const Incoming& in) {
  const auto under_way = std::find_if(open_.begin(), open_.end(),
                                      [&](const Open& o) { return o.receiving && o.answer_key == n.key; });
  Open* o = under_way != open_.end() ? &*under_way : findOpen(n, in.first_ns, in.data);
  if (o == nullptr) return;
  if (!o->receiving) firstAnswer(*o, in.first_ns);
  o->receiving = false;
  const AnswerKind kind = answerKind(o->x.request, in.data);
  if (kind == AnswerKind::pending) {
    ++o->x.pending;
    o->x.pending_ms.push_back(elapsedMs(o->x.request_ns, in.last_ns));
    o->waits_from_ns = in.last_ns;
    o->deadline_ns = deadline(in.last_ns, pending_wait_ns_);
    return;
  }
  o->x.answer = in.data;
  o->x.complete_ms = elapsedMs(o->x.request_ns, in.last_ns);
  fillAnswer(*o, in);
  close(*o, kind == AnswerKind::negative ? Ended::negative : Ended::answered, in.last_ns);
  sweepClosed();
}

/// Marks `o` for sweepClosed(). A functional request that was answered has its exchanges already; of one that
/// asks for no answer, none is missed.
void Witness::close(Open& o, Ended ended, Ns t_ns) {
  const bool expected = !o.quiet || o.x.pending != 0 || !o.x.answer.empty();
  if (o.answered_by.empty() && expected) {
    o.x.ended = ended;
    on_exchange_(t_ns, o.x);
  }
  o.closed = true;
}

void Witness::sweepClosed() {
  std::erase_if(open_, [](const Open& o) { return o.closed; });
}

/// A tester that asks anew has given up waiting; an answer under way still counts.
void Witness::endRequestsOf(Key key) {
  for (Open& o : open_)
    if (o.request_key == key && !o.receiving) close(o, Ended::silent, now_ns_);
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
    const bool no_flow = n.incoming->awaits_flow && n.incoming->flows.empty();
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
  const std::vector<Key> candidates = candidates_;
  for (const Key key : candidates) drop(nodes_.at(key));
  for (const Key key : asked_) nodes_.at(key).asked.reset();
  asked_.clear();
  advance(to_ns);
}

void Witness::finish(Ns end_ns) {
  advance(end_ns);
  breakAll(kCaptureEnded, Ended::not_seen);
}

}  // namespace pin16::protocol
