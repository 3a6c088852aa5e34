// SPDX-License-Identifier: Apache-2.0
#include "core/link/serial_link.hpp"

#include <fmt/format.h>

#include <charconv>

namespace pin16::link {

SerialLink::SerialLink(const Uri& uri, std::string path, SerialSettings settings, const Context& context,
                       std::string description)
    : context_(context),
      description_(std::move(description)),
      line_(context.io, std::move(path), settings,
            {[this] { onOpened(); },
             [this](Ns t_ns, ByteView bytes) {
               context_.host.onBytes(context_.index, t_ns, bytes, /*outbound=*/false);
               onBytes(t_ns, bytes);
             },
             [this](Ns t_ns, ByteView bytes) {
               context_.host.onBytes(context_.index, t_ns, bytes, /*outbound=*/true);
             },
             [this](const SerialTrouble& trouble, bool was_open) { onTrouble(trouble, was_open); }}) {
  state_.uri = uri.text;
  state_.description = description_;
}

void SerialLink::open() {
  alive_ = std::make_shared<bool>(true);
  line_.open();
}

void SerialLink::close() {
  if (!alive_) return;
  if (line_.isOpen()) onClosing();
  alive_.reset();
  line_.close();
  const Ns now_ns = bootNow();
  if (missed_)
    context_.host.emit(context_.index, now_ns,
                       event::Gap{gap_from_ns_, now_ns, missed_why_ + "; it did not come back"});
  missed_ = false;
  event::LinkState next = state_;
  next.condition = event::LinkCondition::finished;
  become(std::move(next));
}

event::LinkState SerialLink::blank() const {
  event::LinkState s;
  s.uri = state_.uri;
  s.description = description_;
  if (!line_.entry().text.empty()) s.description += ", " + line_.entry().text;
  s.driver = line_.isPty() ? "pty" : line_.entry().driver;
  s.meter = state_.meter;
  return s;
}

void SerialLink::up(Ns t_boot_ns, event::LinkState next) {
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

void SerialLink::become(event::LinkState next) {
  if (next == state_) return;
  state_ = std::move(next);
  context_.host.emit(context_.index, bootNow(), state_);
}

void SerialLink::reopenLater(event::LinkCondition condition, std::string text, std::string advice) {
  line_.reopen({condition, std::move(text), std::move(advice)});
}

void SerialLink::onTrouble(const SerialTrouble& trouble, bool was_open) {
  if (was_open) onLost();
  if (was_up_ && !missed_) {
    missed_ = true;
    gap_from_ns_ = seen_boot_ns_;
    missed_why_ = trouble.text;
  }
  event::LinkState next = blank();
  next.condition = trouble.condition;
  next.text = trouble.text;
  next.advice = trouble.advice;
  describeTrouble(next);
  become(std::move(next));
}

bool SerialLink::control(std::string_view text) {
  return line_.write({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
}

Result<std::uint32_t> rateOption(const Uri& uri, std::string_view key, std::uint32_t otherwise) {
  const std::string text = uri.option(key);
  if (text.empty()) return otherwise;
  std::uint32_t rate = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), rate);
  constexpr std::uint32_t kMost = 12'000'000;
  if (fault != std::errc{} || end != text.data() + text.size() || rate == 0 || rate > kMost)
    return Error{ErrorKind::usage, fmt::format("{}={} is no rate", key, text), uri.text,
                 fmt::format("expected bit/s from 1 to {}, as in {}=500000", kMost, key)};
  return rate;
}

}  // namespace pin16::link
