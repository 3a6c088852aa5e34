// SPDX-License-Identifier: Apache-2.0
#include "core/link/device_link.hpp"

namespace pin16::link {

DeviceLink::DeviceLink(const Uri& uri, const Context& context, std::string description)
    : context_(context), description_(std::move(description)) {
  state_.uri = uri.text;
  state_.description = description_;
}

void DeviceLink::open() {
  if (alive_) return;
  alive_ = std::make_shared<bool>(true);
  startLine();
}

void DeviceLink::close() {
  if (!alive_) return;
  if (lineIsOpen()) onClosing();
  alive_.reset();
  stopLine();
  const Ns now_ns = bootNow();
  if (missed_)
    context_.host.emit(context_.index, now_ns,
                       event::Gap{gap_from_ns_, now_ns, missed_why_ + "; it did not come back"});
  missed_ = false;
  event::LinkState next = state_;
  next.condition = event::LinkCondition::finished;
  become(std::move(next));
}

event::LinkState DeviceLink::blank() const {
  event::LinkState s;
  s.uri = state_.uri;
  s.description = description_;
  s.meter = state_.meter;
  describeLine(s);
  return s;
}

void DeviceLink::up(Ns t_boot_ns, event::LinkState next) {
  if (missed_)
    context_.host.emit(context_.index, t_boot_ns, event::Gap{gap_from_ns_, t_boot_ns, missed_why_});
  missed_ = false;
  was_up_ = true;
  seen_boot_ns_ = t_boot_ns;
  next.uri = state_.uri;
  next.meter = state_.meter;
  if (next.description.empty()) next.description = description_;
  next.condition = event::LinkCondition::up;
  become(std::move(next));
}

void DeviceLink::become(event::LinkState next) {
  if (next == state_) return;
  state_ = std::move(next);
  context_.host.emit(context_.index, bootNow(), state_);
}

void DeviceLink::took(Ns t_boot_ns, ByteView bytes) {
  if (!tellsBytes()) context_.host.onBytes(context_.index, t_boot_ns, bytes, /*outbound=*/false);
  onBytes(t_boot_ns, bytes);
}

void DeviceLink::gave(Ns t_boot_ns, ByteView bytes) {
  context_.host.onBytes(context_.index, t_boot_ns, bytes, /*outbound=*/true);
}

void DeviceLink::trouble(event::LinkCondition condition, std::string text, std::string advice,
                         bool was_open) {
  if (was_open) onLost();
  if (was_up_ && !missed_) {
    missed_ = true;
    gap_from_ns_ = seen_boot_ns_;
    missed_why_ = text;
  }
  event::LinkState next = blank();
  next.condition = condition;
  next.text = std::move(text);
  next.advice = std::move(advice);
  describeTrouble(next);
  become(std::move(next));
}

}  // namespace pin16::link
