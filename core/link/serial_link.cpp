// SPDX-License-Identifier: Apache-2.0
#include "core/link/serial_link.hpp"

#include <fmt/format.h>

#include <charconv>

namespace pin16::link {

SerialLink::SerialLink(const Uri& uri, std::string path, SerialSettings settings, const Context& context,
                       std::string description)
    : DeviceLink(uri, context, std::move(description)),
      line_(context.io, std::move(path), settings,
            {[this] { onOpened(); }, [this](Ns t_ns, ByteView bytes) { took(t_ns, bytes); },
             [this](Ns t_ns, ByteView bytes) { gave(t_ns, bytes); },
             [this](const SerialTrouble& t, bool was_open) {
               trouble(t.condition, t.text, t.advice, was_open);
             }}) {}

void SerialLink::describeLine(event::LinkState& state) const {
  if (!line_.entry().text.empty()) state.description += ", " + line_.entry().text;
  state.driver = line_.isPty() ? "pty" : line_.entry().driver;
}

void SerialLink::reopenLater(event::LinkCondition condition, std::string text, std::string advice) {
  line_.reopen({condition, std::move(text), std::move(advice)});
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
