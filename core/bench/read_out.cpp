// SPDX-License-Identifier: Apache-2.0
#include "core/bench/read_out.hpp"

#include "core/protocol/services.hpp"

namespace pin16::bench {
namespace {

protocol::Receiver::Settings settingsOf(const Module& m) {
  protocol::Receiver::Settings s;
  s.st_min = static_cast<std::uint8_t>(m.separation_ms);
  if (m.read_out->flow_control == ReadOut::FlowControl::overflow) s.most = protocol::kSingleFrameMax;
  return s;
}
protocol::Pair pairOf(const Module& m) {
  return {.tx_id = m.request_id, .rx_id = m.answer_id, .extended = m.extended};
}

}  // namespace

Asking::Asking(const Module& module)
    : what_(*module.read_out), receiver_(pairOf(module), settingsOf(module)), sender_(pairOf(module)) {}

const char* toText(Asking::End end) {
  constexpr const char* names[] = {"not begun", "under way", "done", "refused", "no answer", "broke off"};
  return names[static_cast<std::size_t>(end)];
}

void Asking::finish(End end) {
  end_ = end;
  waiting_ = false;
  due_ns_ = kNoTime;
}

std::vector<Asking::Outgoing> Asking::begin(Ns t_ns) {
  std::vector<Outgoing> out;
  if (end_ == End::under_way) return out;
  end_ = End::under_way;
  next_ = asked_ = 0;
  tries_ = 0;
  ask(t_ns, out);
  return out;
}

void Asking::ask(Ns t_ns, std::vector<Outgoing>& out) {
  ++asked_;
  ++tries_;
  waiting_ = true;
  due_ns_ = t_ns + fromMs(what_.wait_ms);
  take(t_ns, sender_.start(t_ns, what_.requests[next_]), out);
}

void Asking::noAnswer(Ns t_ns, std::vector<Outgoing>& out) {
  if (tries_ > what_.repeats || sender_.sending()) return finish(End::no_answer);
  ask(t_ns, out);
}

void Asking::take(Ns t_ns, const protocol::Sender::Output& o, std::vector<Outgoing>& out) {
  if (o.send) out.push_back({*o.send, true});
  if (o.done && waiting_) due_ns_ = t_ns + fromMs(what_.wait_ms);
  if (o.failed) noAnswer(t_ns, out);
}

void Asking::take(Ns t_ns, const protocol::Receiver::Output& o, std::vector<Outgoing>& out) {
  if (o.started) due_ns_ = kNoTime;  // from here on the transport's own times hold
  if (o.send && what_.flow_control != ReadOut::FlowControl::none) {
    out.push_back({receiver_.frame(*o.send), false});
    receiver_.onConfirmed(t_ns);
    if (o.send->status == protocol::FlowStatus::overflow) return finish(End::broke_off);
  }
  if (o.failed && waiting_) return finish(End::broke_off);
  if (!o.message || !waiting_) return;
  const Bytes& answer = *o.message;
  if (answer.size() > 2 && answer[0] == protocol::kNegativeResponse) {
    if (answer[2] == protocol::kResponsePending)
      due_ns_ = t_ns + fromMs(what_.pending_wait_ms);
    else
      finish(End::refused);
    return;
  }
  tries_ = 0;
  if (++next_ == what_.requests.size()) return finish(End::done);
  waiting_ = false;
  due_ns_ = t_ns + fromMs(what_.pause_ms);
}

std::vector<Asking::Outgoing> Asking::onFrame(Ns t_ns, const event::CanFrame& frame) {
  std::vector<Outgoing> out;
  if (end_ != End::under_way) return out;
  take(t_ns, sender_.onFrame(t_ns, frame), out);
  take(t_ns, receiver_.onFrame(t_ns, frame), out);
  return out;
}

std::vector<Asking::Outgoing> Asking::onConfirmed(Ns t_ns) {
  std::vector<Outgoing> out;
  take(t_ns, sender_.onConfirmed(t_ns), out);
  return out;
}

std::vector<Asking::Outgoing> Asking::onTime(Ns t_ns) {
  std::vector<Outgoing> out;
  take(t_ns, sender_.onTime(t_ns), out);
  take(t_ns, receiver_.onTime(t_ns), out);
  if (end_ != End::under_way || due_ns_ == kNoTime || due_ns_ > t_ns) return out;
  if (waiting_)
    noAnswer(t_ns, out);
  else
    ask(t_ns, out);
  return out;
}

Ns Asking::nextDeadline() const {
  if (end_ != End::under_way) return kNoTime;
  Ns next = due_ns_;
  for (const Ns t : {sender_.nextDeadline(), receiver_.nextDeadline()})
    if (t != kNoTime && (next == kNoTime || t < next)) next = t;
  return next;
}

}  // namespace pin16::bench
