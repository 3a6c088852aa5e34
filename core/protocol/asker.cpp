// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/asker.hpp"

#include <algorithm>
#include <utility>

#include "core/protocol/line.hpp"
#include "core/protocol/services.hpp"

namespace pin16::protocol {
namespace {

double nsToMs(Ns ns) { return toMs(std::max<Ns>(0, ns)); }
/// -1 if `to_ns` never was.
double elapsedMs(Ns from_ns, Ns to_ns) { return to_ns == kNoTime ? -1 : nsToMs(to_ns - from_ns); }

Ns earlier(Ns a, Ns b) {
  if (a == kNoTime) return b;
  if (b == kNoTime) return a;
  return std::min(a, b);
}

}  // namespace

Asker::Asker(Gate& gate, const limits::Limits& limits, link::Host& host, Send send, Over over)
    : gate_(gate),
      host_(host),
      send_(std::move(send)),
      over_(std::move(over)),
      client_wait_ns_(fromMs(limits.value("timing.client_wait_ms"))),
      p2_ns_(fromMs(limits.value("timing.p2_server_max_ms"))),
      p2_star_ns_(fromMs(limits.value("timing.p2_star_server_max_ms"))),
      margin_ns_(fromMs(limits.value("timing.client_margin_ms"))),
      keep_ns_(fromMs(limits.value("timing.kline_keep_ms"))),
      limits_(limits) {
  receiver_.times.n_ar_ns = fromMs(limits.value("timing.n_ar_ms"));
  receiver_.times.n_cr_ns = fromMs(limits.value("timing.n_cr_ms"));
}

bool Asker::Active::anyOpen() const {
  return std::any_of(peers.begin(), peers.end(), [](const auto& p) { return p.second.open; });
}

void Asker::ask(Ask ask, Ns now_ns, Done done) {
  const std::uint16_t link = ask.link;
  lanes_[link].queue.push_back({std::move(ask), std::move(done)});
  pump(link, now_ns);
}

void Asker::pump(std::uint16_t link, Ns now_ns) {
  Lane& lane = lanes_[link];
  while (!lane.active && !lane.queue.empty()) {
    const Ns spacing_ns = lane.queue.front().ask.spacing_ns;
    if (lane.last_sent_ns != kNoTime && now_ns < lane.last_sent_ns + spacing_ns) return;
    start(link, now_ns);
  }
}

void Asker::fail(std::uint16_t link, const Waiting& what, const Error& error) {
  Error placed = error;
  if (placed.place.empty()) placed.place = "link " + std::to_string(link);
  AskResult result;
  result.state = std::move(placed);
  what.done(result);
}

void Asker::start(std::uint16_t link, Ns now_ns) {
  Lane& lane = lanes_[link];
  Waiting what = std::move(lane.queue.front());
  lane.queue.pop_front();
  const Target target = onMedium(what.ask.target, lane.medium);
  if (gate_.inOtherSession(link, target))
    if (auto end = gate_.endSession(link, now_ns)) (void)send_(link, std::move(*end));
  auto permit = gate_.request(link, now_ns, target, what.ask.request);
  if (!permit) {
    host_.emit(link, now_ns, Gate::refused(what.ask.request, permit.error()));
    fail(link, what, permit.error());
    return;
  }
  // Everything is in place before the frame leaves: a simulated link answers within send().
  auto active = std::make_unique<Active>();
  active->what = std::move(what);
  active->serial = ++serial_;
  active->medium = lane.medium;
  if (permit->isLine())
    active->line = std::make_unique<LineExchange>(target, active->what.ask.request, permit->line(), now_ns,
                                                  lineTimes(limits_, lane.medium, active->what.ask.wait_ns));
  else
    active->frame = permit->frame();
  active->handed_ns = active->request_ns = now_ns;
  active->wait_ns = active->what.ask.wait_ns > 0 ? active->what.ask.wait_ns : client_wait_ns_;
  lane.active = std::move(active);
  lane.last_sent_ns = now_ns;
  const std::uint64_t mine = serial_;
  const Status sent = send_(link, std::move(*permit));
  if (sent || !lane.active || lane.active->serial != mine) return;
  const Waiting unsent = std::move(lane.active->what);
  lane.active.reset();
  gate_.closed(link);
  if (over_) over_(link);
  fail(link, unsent, sent.error());
}

void Asker::onFrame(std::uint16_t link, Ns t_ns, const event::CanFrame& frame, bool outbound) {
  const auto lane = lanes_.find(link);
  if (lane == lanes_.end() || !lane->second.active || lane->second.active->line) return;
  if (outbound) {
    onOutbound(lane->second, t_ns, frame);
  } else if (!frame.error() && !frame.remote()) {
    onAnswer(link, t_ns, frame);
  }
}

void Asker::onSent(std::uint16_t link, const event::Sent& sent) {
  const auto lane = lanes_.find(link);
  if (lane == lanes_.end() || !lane->second.active || sent.after_poll_ms < 0) return;
  Active& active = *lane->second.active;
  Bytes frame;
  if (active.line)
    frame = link::lineBytes(active.line->request());
  else
    event::Batch::writeFrame(frame, active.frame);
  if (frame == sent.frame) active.after_poll_ms = sent.after_poll_ms;
}

void Asker::onOutbound(Lane& lane, Ns t_ns, const event::CanFrame& frame) {
  Active& active = *lane.active;
  if (!active.shown && frame == active.frame) {
    active.shown = true;
    active.confirmed = lane.own_frames != event::OwnFrames::taken;
    active.request_ns = lane.last_sent_ns = t_ns;
    return;
  }
  for (auto& [id, peer] : active.peers) {
    if (!peer.flow || frame != *peer.flow) continue;
    peer.flow.reset();
    peer.flow_ns = t_ns;
    peer.receiver.onConfirmed(t_ns);
    return;
  }
}

event::Exchange Asker::blankExchange(const Active& active) const {
  const Target& target = active.what.ask.target;
  event::Exchange e;
  e.request_id = target.request_id;
  if (!target.functional)
    e.answer_id =
        target.answer_id ? *target.answer_id : answerIdOf(target.request_id, target.extended).value_or(0);
  e.extended = target.extended;
  e.functional = target.functional;
  e.ours = true;
  e.request = active.what.ask.request;
  e.request_ns = active.request_ns;
  e.confirmed = active.confirmed;
  e.handed_ns = active.handed_ns;
  e.after_poll_ms = active.after_poll_ms;
  return e;
}

Asker::Peer* Asker::findPeer(Active& active, std::uint32_t id, bool begins_answer) {
  if (const auto it = active.peers.find(id); it != active.peers.end())
    return it->second.open ? &it->second : nullptr;
  const Target& target = active.what.ask.target;
  // A physical request has one answer: once somebody began, others with a like service are not it.
  if (!begins_answer || (!target.functional && !active.peers.empty())) return nullptr;
  const std::uint32_t to =
      target.functional ? requestIdOf(id, target.extended).value_or(0) : target.request_id;
  Peer peer(Receiver({to, id, target.extended}, receiver_), blankExchange(active));
  peer.exchange.answer_id = id;
  peer.expected_ns = active.request_ns + p2_ns_;
  return &active.peers.emplace(id, std::move(peer)).first->second;
}

void Asker::noteBeginning(Peer& peer, Ns t_ns, bool pending) {
  peer.began_ns = t_ns;
  peer.pending_until_ns = kNoTime;
  if (peer.response_ns == kNoTime) peer.response_ns = t_ns;
  if (t_ns > peer.expected_ns) peer.exchange.late = true;
  peer.answer_ns = pending ? kNoTime : t_ns;
  peer.flow.reset();
  peer.flow_ns = peer.consecutive_ns = kNoTime;
  peer.exchange.separation_min_ms = peer.exchange.separation_max_ms = -1;
}

void Asker::noteConsecutive(Peer& peer, Ns t_ns) {
  event::Exchange& e = peer.exchange;
  if (peer.consecutive_ns != kNoTime) {
    const double ms = nsToMs(t_ns - peer.consecutive_ns);
    e.separation_min_ms = e.separation_min_ms < 0 ? ms : std::min(e.separation_min_ms, ms);
    e.separation_max_ms = std::max(e.separation_max_ms, ms);
  }
  peer.consecutive_ns = t_ns;
}

void Asker::onAnswer(std::uint16_t link, Ns t_ns, const event::CanFrame& frame) {
  Active& active = *lanes_[link].active;
  const Ask& ask = active.what.ask;
  if (frame.extended() != ask.target.extended || !mayAnswer(ask.target, frame.id())) return;
  // A frame that was on the bus before our request is none of its answers: the one before may have come late.
  if (t_ns < active.request_ns) return;
  const Pci pci = parsePci(frame.payload(), frame.fd());
  const bool begins = pci.type == PciType::single || pci.type == PciType::first;
  const AnswerKind kind = begins ? answerKind(ask.request, pci.payload) : AnswerKind::none;
  const bool is_answer = kind != AnswerKind::none;
  Peer* const peer = findPeer(active, frame.id(), is_answer);
  if (peer == nullptr || (begins && !is_answer && !peer->receiver.receiving())) return;

  // Who answers has received it. A link that shows acknowledged frames is about to say so itself.
  if (is_answer && lanes_[link].own_frames == event::OwnFrames::taken) active.confirmed = true;
  const bool receiving = peer->receiver.receiving();
  const Receiver::Output out = peer->receiver.onFrame(t_ns, frame);
  if (out.failed) emitMessage(link, t_ns, *peer, out.partial, toText(*out.failed));
  if (is_answer) noteBeginning(*peer, t_ns, kind == AnswerKind::pending);
  if (pci.type == PciType::consecutive && receiving && !out.failed) noteConsecutive(*peer, t_ns);
  if (out.send && is_answer) {
    answerFirstFrame(link, t_ns, frame.id(), *out.send);
    return;
  }
  if (out.message && (is_answer || !begins)) {
    onWhole(link, t_ns, frame.id(), *out.message);
  } else if (out.failed) {
    endPeer(link, t_ns, active, *peer, event::Ended::incomplete);
  }
  endIfPhysical(link, t_ns);
}

void Asker::onWhole(std::uint16_t link, Ns t_ns, std::uint32_t id, const Bytes& message) {
  Active& active = *lanes_[link].active;
  Peer& peer = active.peers.at(id);
  emitMessage(link, t_ns, peer, message, nullptr);
  const AnswerKind kind = answerKind(active.what.ask.request, message);
  if (kind == AnswerKind::pending) {
    ++peer.exchange.pending;
    peer.pending_ns.push_back(t_ns);
    peer.expected_ns = t_ns + p2_star_ns_;
    peer.pending_until_ns = peer.expected_ns + margin_ns_;
    return;
  }
  peer.exchange.answer = message;
  peer.complete_ns = t_ns;
  endPeer(link, t_ns, active, peer,
          kind == AnswerKind::negative ? event::Ended::negative : event::Ended::answered);
}

void Asker::answerFirstFrame(std::uint16_t link, Ns t_ns, std::uint32_t id, const FlowControl& fc) {
  Active& active = *lanes_[link].active;
  const std::uint64_t mine = active.serial;
  Target to = active.what.ask.target;
  Peer& asking = active.peers.at(id);
  to.request_id = asking.receiver.pair().tx_id;
  to.answer_id = id;
  to.functional = false;
  auto permit = gate_.flowControl(link, t_ns, to, fc);
  if (!permit) host_.emit(link, t_ns, Gate::refused(buildFlowControl(fc), permit.error()));
  if (permit && fc.status == FlowStatus::cts) {
    asking.flow = permit->frame();
    asking.flow_ns = t_ns;
    // A link that did not report our request will not report this either.
    if (!active.shown) asking.receiver.onConfirmed(t_ns);
  }
  const Status sent = permit ? send_(link, std::move(*permit)) : Status(permit.error());
  if (sent && fc.status == FlowStatus::cts) return;
  // A simulated link may have gone on within send(): look again.
  const auto& now_active = lanes_[link].active;
  if (!now_active || now_active->serial != mine) return;
  Peer& peer = now_active->peers.at(id);
  if (!peer.open) return;
  if (!sent) emitMessage(link, t_ns, peer, {}, sent.error().what.c_str());
  endPeer(link, t_ns, *now_active, peer, event::Ended::incomplete);
  endIfPhysical(link, t_ns);
}

void Asker::emitMessage(std::uint16_t link, Ns t_ns, const Peer& peer, const Bytes& payload,
                        const char* broken) {
  event::Message m;
  m.id = peer.receiver.pair().rx_id;
  m.extended = peer.receiver.pair().extended;
  m.complete = broken == nullptr;
  m.payload = payload;
  if (broken != nullptr) m.reason = broken;
  m.first_ns = peer.began_ns;
  host_.emit(link, t_ns, m);
}

void Asker::endPeer(std::uint16_t link, Ns t_ns, const Active& active, Peer& peer, event::Ended ended) {
  peer.open = false;
  event::Exchange& e = peer.exchange;
  e.ended = ended;
  e.confirmed = active.confirmed;  // the report may have come after the answer began
  e.request_ns = active.request_ns;
  e.after_poll_ms = active.after_poll_ms;
  e.response_ms = elapsedMs(e.request_ns, peer.response_ns);
  e.answer_ms = elapsedMs(e.request_ns, peer.answer_ns);
  e.complete_ms = elapsedMs(e.request_ns, peer.complete_ns);
  e.flow_ms = elapsedMs(peer.answer_ns, peer.flow_ns);
  for (const Ns t : peer.pending_ns) e.pending_ms.push_back(elapsedMs(e.request_ns, t));
  host_.emit(link, t_ns, e);
}

void Asker::endIfPhysical(std::uint16_t link, Ns t_ns) {
  const auto& active = lanes_[link].active;
  if (!active || active->what.ask.target.functional || active->peers.empty() || active->anyOpen()) return;
  conclude(link, t_ns, event::Ended::silent);
}

void Asker::onLine(std::uint16_t link, Ns t_ns, const event::Line& line) {
  const auto it = lanes_.find(link);
  if (it == lanes_.end()) return;
  Lane& lane = it->second;
  if (lane.session) lane.keep_ns = t_ns + keep_ns_;
  if (!lane.active || !lane.active->line) return;
  if (const auto message = lane.active->line->onLine(t_ns, line)) host_.emit(link, t_ns, *message);
  if (line.ours) lane.last_sent_ns = t_ns;
  if (lane.active && lane.active->line->over(t_ns)) concludeLine(link, t_ns, event::Ended::silent);
}

void Asker::onUnsent(std::uint16_t link, Ns t_ns) {
  const auto it = lanes_.find(link);
  if (it == lanes_.end() || !it->second.active) return;
  Lane& lane = it->second;
  if (lane.active->medium == lane.medium || lane.active->what.again)
    return conclude(link, t_ns, event::Ended::silent);
  Waiting again = std::move(lane.active->what);
  again.again = true;
  lane.active.reset();
  gate_.closed(link);
  lane.queue.push_front(std::move(again));
  pump(link, t_ns);
}

void Asker::concludeLine(std::uint16_t link, Ns t_ns, event::Ended if_nobody) {
  const std::unique_ptr<Active> active = std::move(lanes_[link].active);
  gate_.closed(link);
  if (over_) over_(link);
  AskResult result;
  result.confirmed = active->line->confirmed();
  result.exchanges = active->line->conclude(if_nobody);
  for (event::Exchange& e : result.exchanges) {
    e.after_poll_ms = active->after_poll_ms;
    host_.emit(link, t_ns, e);
  }
  active->what.done(result);
  pump(link, t_ns);
}

void Asker::keepSession(std::uint16_t link, Ns now_ns) {
  Lane& lane = lanes_[link];
  lane.keep_ns = now_ns + keep_ns_;
  auto permit = gate_.keepSession(link, now_ns);
  // Refused: the gate is shut, and the session ends by itself (P3 max).
  if (!permit) {
    lane.session = false;
    host_.emit(link, now_ns, event::Note{"the K-line session is not kept: " + permit.error().what, "gate"});
    return;
  }
  (void)send_(link, std::move(*permit));  // a link that cannot says so by its state
}

void Asker::endSessions(Ns now_ns) {
  for (auto& [link, lane] : lanes_) {
    if (!lane.session) continue;
    lane.session = false;
    if (auto permit = gate_.endSession(link, now_ns)) (void)send_(link, std::move(*permit));
  }
}

void Asker::conclude(std::uint16_t link, Ns t_ns, event::Ended if_nobody) {
  if (lanes_[link].active->line) return concludeLine(link, t_ns, if_nobody);
  const std::unique_ptr<Active> active = std::move(lanes_[link].active);
  gate_.closed(link);
  if (over_) over_(link);
  AskResult result;
  result.confirmed = active->confirmed;
  for (auto& [id, peer] : active->peers) {
    if (peer.open) endPeer(link, t_ns, *active, peer, if_nobody);
    result.exchanges.push_back(peer.exchange);
  }
  if (active->peers.empty()) {
    result.exchanges.push_back(blankExchange(*active));
    result.exchanges.back().ended = if_nobody;
    host_.emit(link, t_ns, result.exchanges.back());
  }
  active->what.done(result);
  pump(link, t_ns);
}

void Asker::onLinkState(std::uint16_t link, Ns t_ns, const event::LinkState& state) {
  lanes_[link].own_frames = state.own_frames;
  const bool up = state.condition == event::LinkCondition::up;
  if (up) {
    Lane& lane = lanes_[link];
    if (state.session && !lane.session) lane.keep_ns = t_ns + keep_ns_;
    lane.medium = state.medium;
    lane.session = state.session;
    return;
  }
  const auto it = lanes_.find(link);
  if (it == lanes_.end()) return;
  it->second.session = false;
  std::deque<Waiting> waiting = std::move(it->second.queue);
  it->second.queue.clear();
  if (it->second.active) conclude(link, t_ns, event::Ended::link_lost);
  for (const Waiting& w : waiting)
    fail(link, w,
         {ErrorKind::link, "the link was lost before the request could be sent: " + state.text, "",
          state.advice});
}

Ns Asker::peerDeadline(const Peer& peer) {
  return earlier(peer.receiver.nextDeadline(), peer.pending_until_ns);
}

Ns Asker::deadline(const Lane& lane) const {
  if (!lane.active) {
    const Ns keep_ns = lane.session ? lane.keep_ns : kNoTime;
    if (lane.queue.empty()) return keep_ns;
    return lane.last_sent_ns == kNoTime ? 0 : lane.last_sent_ns + lane.queue.front().ask.spacing_ns;
  }
  if (lane.active->line) return lane.active->line->deadline();
  Ns due = kNoTime;
  for (const auto& [id, peer] : lane.active->peers)
    if (peer.open) due = earlier(due, peerDeadline(peer));
  return due != kNoTime ? due : lane.active->request_ns + lane.active->wait_ns;
}

Ns Asker::nextDeadline() const {
  Ns due = kNoTime;
  for (const auto& [link, lane] : lanes_) due = earlier(due, deadline(lane));
  return due;
}

void Asker::onTime(Ns now_ns) {
  for (auto& [link, lane] : lanes_) {
    if (lane.active && lane.active->line) {
      if (lane.active->line->over(now_ns)) concludeLine(link, now_ns, event::Ended::silent);
      continue;
    }
    if (!lane.active && lane.queue.empty() && lane.session && now_ns >= lane.keep_ns)
      keepSession(link, now_ns);
    if (lane.active) {
      for (auto& [id, peer] : lane.active->peers) {
        if (!peer.open || now_ns < peerDeadline(peer)) continue;
        const auto out = peer.receiver.onTime(now_ns);
        if (out.failed) emitMessage(link, now_ns, peer, out.partial, toText(*out.failed));
        // Without a message under way it was a "pending" that nothing followed.
        endPeer(link, now_ns, *lane.active, peer,
                out.failed ? event::Ended::incomplete : event::Ended::silent);
      }
      endIfPhysical(link, now_ns);
    }
    if (lane.active && !lane.active->anyOpen() && now_ns >= lane.active->request_ns + lane.active->wait_ns)
      conclude(link, now_ns, event::Ended::silent);
    pump(link, now_ns);
  }
}

}  // namespace pin16::protocol
