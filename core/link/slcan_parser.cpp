// SPDX-License-Identifier: Apache-2.0
#include "core/link/slcan_parser.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>
#include <array>
#include <iterator>

namespace pin16::link {
namespace {

using event::CanFrame;
using What = SlcanLine::What;

constexpr std::size_t kTextMax = 32;  ///< of a version, a serial number and a shown damaged line
constexpr std::size_t kStampDigits = 4;
constexpr std::size_t kErrorsMost = 8;  // the driver takes one digit, 0 to 8
// ISO 11898-1: bytes that an FD frame's DLC stands for.
constexpr std::array<std::uint8_t, 16> kFdLength = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};

int digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  return -1;
}

std::optional<std::uint32_t> number(std::string_view digits, std::uint32_t base = 16) {
  std::uint32_t value = 0;
  if (digits.empty()) return std::nullopt;
  for (const char c : digits) {
    const int d = digit(c);
    if (d < 0 || static_cast<std::uint32_t>(d) >= base) return std::nullopt;
    value = value * base + static_cast<std::uint32_t>(d);
  }
  return value;
}

/// What the first letter of a frame says.
struct Form {
  bool extended = false, remote = false, fd = false, brs = false;
};
std::optional<Form> formOf(char letter) {
  switch (letter) {
    case 't':
      return Form{};
    case 'T':
      return Form{true, false, false, false};
    case 'r':
      return Form{false, true, false, false};
    case 'R':
      return Form{true, true, false, false};
    case 'd':
      return Form{false, false, true, false};
    case 'D':
      return Form{true, false, true, false};
    case 'b':
      return Form{false, false, true, true};
    case 'B':
      return Form{true, false, true, true};
    default:
      return std::nullopt;
  }
}

/// The frame at the start of `line`; `rest` is what stands behind it.
std::optional<CanFrame> readFrame(std::string_view line, const Form& form, std::string_view& rest) {
  const std::size_t id_digits = form.extended ? 8 : 3;
  const std::size_t head = 1 + id_digits + 1;
  if (line.size() < head) return std::nullopt;
  const auto id = number(line.substr(1, id_digits));
  const int dlc = digit(line[head - 1]);
  if (!id || *id > (form.extended ? event::kExtendedMask : event::kStandardMask) || dlc < 0)
    return std::nullopt;
  if (!form.fd && static_cast<std::size_t>(dlc) > event::kClassicDataMax) return std::nullopt;
  CanFrame f;
  f.word = *id | (form.extended ? event::kExtendedFlag : 0) | (form.remote ? event::kRemoteFlag : 0);
  f.length = form.fd ? kFdLength[static_cast<std::size_t>(dlc)] : static_cast<std::uint8_t>(dlc);
  if (form.fd) f.fd_flags = form.brs ? event::kFdFormat | event::kFdBrs : event::kFdFormat;
  rest = line.substr(head);
  if (form.remote) return f;
  const std::size_t digits = std::size_t{2} * f.length;
  if (rest.size() < digits) return std::nullopt;
  for (std::size_t i = 0; i < f.length; ++i) {
    const int high = digit(rest[2 * i]), low = digit(rest[2 * i + 1]);
    if (high < 0 || low < 0) return std::nullopt;
    f.data[i] = static_cast<std::uint8_t>(high * 16 + low);
  }
  rest.remove_prefix(digits);
  return f;
}

bool readFrameLine(std::string_view line, SlcanLine& out) {
  const auto form = formOf(line.front());
  if (!form) return false;
  std::string_view rest;
  const auto frame = readFrame(line, *form, rest);
  if (!frame || (!rest.empty() && rest.size() != kStampDigits)) return false;
  if (!rest.empty()) {
    const auto stamp = number(rest);
    if (!stamp) return false;
    out.stamp_ms = static_cast<std::uint16_t>(*stamp);
  }
  out.what = What::frame;
  out.frame = *frame;
  return true;
}

CanFrame errorFrame() {
  CanFrame f;
  f.word = event::kErrorFlag;
  f.length = CAN_ERR_DLC;
  return f;
}

/// The bits are the driver's (slcan_bump_err, from memory), but for the overruns: those are no errors of the
/// bus.
bool addError(char letter, SlcanLine& out) {
  CanFrame& f = out.frame;
  constexpr std::uint32_t kBus = CAN_ERR_PROT | CAN_ERR_BUSERROR;
  switch (letter) {
    case 'a':
      f.word |= kBus | CAN_ERR_ACK;
      f.data[3] = CAN_ERR_PROT_LOC_ACK;
      return true;
    case 'b':
      f.word |= kBus;
      f.data[2] |= CAN_ERR_PROT_BIT0;
      return true;
    case 'B':
      f.word |= kBus;
      f.data[2] |= CAN_ERR_PROT_BIT1;
      return true;
    case 'c':
      f.word |= kBus;
      f.data[2] |= CAN_ERR_PROT_BIT;
      f.data[3] = CAN_ERR_PROT_LOC_CRC_SEQ;
      return true;
    case 'f':
      f.word |= kBus;
      f.data[2] |= CAN_ERR_PROT_FORM;
      return true;
    case 's':
      f.word |= kBus;
      f.data[2] |= CAN_ERR_PROT_STUFF;
      return true;
    case 'o':
      f.word |= CAN_ERR_CRTL;
      f.data[1] |= CAN_ERR_CRTL_RX_OVERFLOW;
      out.overrun = true;
      return true;
    case 'O':
      f.word |= CAN_ERR_CRTL;
      f.data[1] |= CAN_ERR_CRTL_TX_OVERFLOW;
      return true;
    default:
      return false;
  }
}

bool readErrors(std::string_view line, SlcanLine& out) {
  if (line.size() < 2) return false;
  const int count = digit(line[1]);
  if (count < 1 || static_cast<std::size_t>(count) > kErrorsMost ||
      line.size() != 2 + static_cast<std::size_t>(count))
    return false;
  out.frame = errorFrame();
  for (const char letter : line.substr(2))
    if (!addError(letter, out)) return false;
  out.what = What::errors;
  return true;
}

struct State {
  char letter;
  const char* controller;
  std::uint8_t transmit, receive;  ///< bits of data[1] of an error frame
};
constexpr State kStates[] = {
    {'a', "error-active", CAN_ERR_CRTL_ACTIVE, CAN_ERR_CRTL_ACTIVE},
    {'w', "error-warning", CAN_ERR_CRTL_TX_WARNING, CAN_ERR_CRTL_RX_WARNING},
    {'p', "error-passive", CAN_ERR_CRTL_TX_PASSIVE, CAN_ERR_CRTL_RX_PASSIVE},
    {'b', "bus-off", 0, 0},
};

/// As slcan_bump_state and can_change_state: the direction with the higher counter is named, bus-off alone.
bool readState(std::string_view line, SlcanLine& out) {
  constexpr std::size_t kLength = 8;
  if (line.size() != kLength) return false;
  const auto* state = std::find_if(std::begin(kStates), std::end(kStates),
                                   [&](const State& s) { return s.letter == line[1]; });
  const auto rx = number(line.substr(2, 3), 10), tx = number(line.substr(5, 3), 10);
  if (state == std::end(kStates) || !rx || !tx) return false;
  out.what = What::state;
  out.controller = state->controller;
  out.rx_errors = static_cast<int>(*rx);
  out.tx_errors = static_cast<int>(*tx);
  CanFrame& f = out.frame = errorFrame();
  if (state->letter == 'b') {
    f.word |= CAN_ERR_BUSOFF;
    return true;
  }
  constexpr std::uint32_t kMost = 255;
  f.word |= CAN_ERR_CRTL | CAN_ERR_CNT;
  f.data[1] =
      static_cast<std::uint8_t>((*tx >= *rx ? state->transmit : 0) | (*tx <= *rx ? state->receive : 0));
  f.data[6] = static_cast<std::uint8_t>(std::min(*tx, kMost));
  f.data[7] = static_cast<std::uint8_t>(std::min(*rx, kMost));
  return true;
}

bool readText(std::string_view line, What what, SlcanLine& out) {
  const std::string_view text = line.substr(1);
  const auto printable = [](char c) { return c > ' ' && c <= '~'; };
  if (text.empty() || text.size() > kTextMax || !std::all_of(text.begin(), text.end(), printable))
    return false;
  out.what = what;
  out.text = text;
  return true;
}

bool readFlags(std::string_view line, SlcanLine& out) {
  const auto flags = number(line.substr(1));
  if (line.size() != 3 || !flags) return false;
  out.what = What::flags;
  out.flags = static_cast<std::uint8_t>(*flags);
  return true;
}

bool readLine(std::string_view line, SlcanLine& out) {
  switch (line.front()) {
    case 'z':
    case 'Z':
      if (line.size() != 1) return false;
      out.what = What::sent;
      out.extended = line.front() == 'Z';
      return true;
    case 'e':
      return readErrors(line, out);
    case 's':
      return readState(line, out);
    case 'F':
      return readFlags(line, out);
    case 'V':
      return readText(line, What::version, out);
    case 'N':
      return readText(line, What::serial, out);
    default:
      return readFrameLine(line, out);
  }
}

}  // namespace

SlcanLine parseSlcanLine(std::string_view line) {
  SlcanLine out;
  if (line.empty()) {
    out.what = What::done;
  } else if (!readLine(line, out)) {
    out = SlcanLine();
    out.text = line.substr(0, kTextMax);
  }
  return out;
}

std::optional<CanFrame> parseSlcanFrame(std::string_view line) {
  const auto form = line.empty() ? std::nullopt : formOf(line.front());
  if (!form || form->fd) return std::nullopt;
  std::string_view rest;
  auto frame = readFrame(line, *form, rest);
  return rest.empty() ? frame : std::nullopt;
}

std::string slcanText(const CanFrame& f) {
  const char letter = f.extended() ? (f.remote() ? 'R' : 'T') : (f.remote() ? 'r' : 't');
  std::string line = f.extended() ? fmt::format("{}{:08X}{:X}", letter, f.id(), f.length)
                                  : fmt::format("{}{:03X}{:X}", letter, f.id(), f.length);
  for (const std::uint8_t byte : f.payload()) fmt::format_to(std::back_inserter(line), "{:02X}", byte);
  return line;
}

void SlcanParser::take(std::string_view bytes, std::vector<SlcanLine>& out) {
  for (const char c : bytes) {
    if (c == '\r' || c == '\a') {
      if (c == '\r' || !line_.empty()) end(out);
      if (c == '\a') out.emplace_back().what = What::refused;
    } else if (c == '\n' && line_.empty()) {
      continue;
    } else if (line_.size() < kLineMax) {
      line_ += c;
    } else {
      too_long_ = true;
    }
  }
}

void SlcanParser::end(std::vector<SlcanLine>& out) {
  out.push_back(parseSlcanLine(line_));
  SlcanLine& last = out.back();
  if (too_long_) {
    last = SlcanLine();
    last.text = line_.substr(0, kTextMax);
  }
  if (last.what == What::damaged) ++damaged_;
  line_.clear();
  too_long_ = false;
}

}  // namespace pin16::link
