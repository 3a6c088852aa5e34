// SPDX-License-Identifier: Apache-2.0
#include "core/link/at_parser.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "core/base/hex.hpp"
#include "core/link/line_format.hpp"

namespace pin16::link {
namespace {

using event::CanFrame;

constexpr std::string_view kInit = "BUSINIT:";
constexpr std::size_t kDigits11 = 3, kDigits29 = 8;

// Longer ones first where one holds another.
constexpr std::array<std::pair<std::string_view, AtWord>, 15> kWords = {{
    {"UNABLETOCONNECT", AtWord::unable_to_connect},
    {"BUFFERFULL", AtWord::buffer_full},
    {"SEARCHING", AtWord::searching},
    {"DATAERROR", AtWord::data_error},
    {"CANERROR", AtWord::can_error},
    {"BUSERROR", AtWord::bus_error},
    {"ACTALERT", AtWord::activity_alert},
    {"BUSBUSY", AtWord::bus_busy},
    {"FBERROR", AtWord::feedback_error},
    {"RXERROR", AtWord::rx_error},
    {"LVRESET", AtWord::low_voltage_reset},
    {"LPALERT", AtWord::low_power_alert},
    {"STOPPED", AtWord::stopped},
    {"NODATA", AtWord::no_data},
    {"OK", AtWord::ok},
}};

/// Upper case, without blanks.
std::string compact(std::string_view text) {
  std::string out;
  for (const char c : text)
    if (c != ' ') out += c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
  return out;
}

bool isHex(std::string_view text) {
  return text.find_first_not_of("0123456789ABCDEF") == std::string_view::npos;
}

bool isInternalError(std::string_view line) {
  return line.size() == 5 && line.starts_with("ERR") && isHex(line.substr(3));
}

std::uint32_t hexNumber(std::string_view digits) {
  std::uint32_t value = 0;
  std::from_chars(digits.data(), digits.data() + digits.size(), value, 16);
  return value;
}

/// `line` compact.
std::optional<CanFrame> frameOf(std::string_view line) {
  const bool remote = line.ends_with("RTR");
  if (remote) line.remove_suffix(3);
  if (line.size() < kDigits11 || !isHex(line)) return std::nullopt;
  const bool extended = line.size() % 2 == 0;
  const std::size_t id_digits = extended ? kDigits29 : kDigits11;
  if (line.size() < id_digits || line.size() > id_digits + 2 * event::kClassicDataMax) return std::nullopt;
  if (remote && line.size() != id_digits) return std::nullopt;
  CanFrame f;
  f.word = hexNumber(line.substr(0, id_digits));
  if (f.word > (extended ? event::kExtendedMask : event::kStandardMask)) return std::nullopt;
  f.word |= (extended ? event::kExtendedFlag : 0) | (remote ? event::kRemoteFlag : 0);
  for (std::size_t at = id_digits; at < line.size(); at += 2)
    f.data[f.length++] = static_cast<std::uint8_t>(hexNumber(line.substr(at, 2)));
  return f;
}

/// "12.3V": digits, a point, digits.
std::optional<double> volts_V(std::string_view line) {
  if (line.size() < 4 || line.size() > 7 || line.back() != 'V') return std::nullopt;
  line.remove_suffix(1);
  const std::size_t point = line.find('.');
  if (point == 0 || point == std::string_view::npos || point + 1 == line.size()) return std::nullopt;
  if (line.find_first_not_of("0123456789.") != std::string_view::npos ||
      line.find('.', point + 1) != line.npos)
    return std::nullopt;
  double value = 0;
  const auto [rest, fault] = std::from_chars(line.data(), line.data() + line.size(), value);
  if (fault != std::errc() || rest != line.data() + line.size()) return std::nullopt;
  return value;
}

/// Digits that are a frame or a message of the medium. False: they are neither.
bool traffic(event::Medium medium, std::string_view digits, AtItem& item) {
  if (medium == event::Medium::can) {
    const auto frame = frameOf(digits);
    if (frame) item.what = AtItem::What::frame, item.frame = *frame;
    return frame.has_value();
  }
  const auto bytes = isHex(digits) ? fromHex(digits) : std::nullopt;
  auto read = bytes ? readLine(medium, *bytes) : std::nullopt;
  if (!read) return false;
  item.what = AtItem::What::line;
  item.message = std::move(read->line);
  item.damaged = !read->check_right;
  return true;
}

/// The line's items, `line` compact. False: it is only text.
bool classify(event::Medium medium, std::string_view line, AtItem item, std::vector<AtItem>& out) {
  const auto word = [&](AtWord w) {
    item.what = AtItem::What::word;
    item.word = w;
    out.push_back(item);
    return true;
  };
  if (traffic(medium, line, item)) {
    out.push_back(std::move(item));
    return true;
  }
  if (const std::size_t remark = line.find('<'); remark != std::string_view::npos && remark > 0) {
    const std::string_view what = line.substr(remark + 1);
    if ((what == "RXERROR" || what == "DATAERROR") && traffic(medium, line.substr(0, remark), item)) {
      item.damaged = true;
      out.push_back(std::move(item));
      return true;
    }
  }
  if (const auto volts = volts_V(line)) {
    item.what = AtItem::What::voltage;
    item.volts_V = *volts;
    out.push_back(std::move(item));
    return true;
  }
  if (line == "?") return word(AtWord::refused);
  if (isInternalError(line)) return word(AtWord::internal_error);
  if (line.starts_with(kInit)) {
    std::string_view rest = line.substr(kInit.size());
    rest.remove_prefix(std::min(rest.find_first_not_of('.'), rest.size()));
    if (rest == "OK") return word(AtWord::init_ok);
    if (rest == "ERROR") return word(AtWord::init_error);
    line = rest;  // another word says what went wrong
  }
  for (const auto& [text, w] : kWords) {
    const std::size_t at = line.find(text);
    if (at == std::string_view::npos) continue;
    if (w == AtWord::ok && line != text) continue;  // too short to be looked for inside others
    const std::string_view before = line.substr(0, at);
    if (!before.empty() && before != "<") {
      AtItem cut = item;  // a line that was broken off
      cut.what = AtItem::What::text;
      out.push_back(std::move(cut));
    }
    word(w);
    if (w != AtWord::searching) return true;
    // The first answer may follow the dots on the same line.
    std::string_view rest = line.substr(at + text.size());
    rest.remove_prefix(std::min(rest.find_first_not_of('.'), rest.size()));
    if (!rest.empty()) {
      item.what = AtItem::What::text;
      if (!classify(medium, rest, item, out)) out.push_back(std::move(item));
    }
    return true;
  }
  return false;
}

}  // namespace

const char* toText(AtWord word) {
  constexpr std::array<const char*, 19> names = {"OK",
                                                 "?",
                                                 "NO DATA",
                                                 "BUS BUSY",
                                                 "BUS ERROR",
                                                 "CAN ERROR",
                                                 "UNABLE TO CONNECT",
                                                 "BUFFER FULL",
                                                 "FB ERROR",
                                                 "DATA ERROR",
                                                 "RX ERROR",
                                                 "LV RESET",
                                                 "ACT ALERT",
                                                 "LP ALERT",
                                                 "STOPPED",
                                                 "SEARCHING",
                                                 "BUS INIT: OK",
                                                 "BUS INIT: ERROR",
                                                 "ERR"};
  return names.at(static_cast<std::size_t>(word));
}

void AtParser::expectEcho(std::string_view line) { echo_ = compact(line); }

void AtParser::reset() {
  line_.clear();
  bad_ = false;
  echo_.clear();
}

std::vector<AtItem> AtParser::take(Ns t_ns, ByteView bytes) {
  std::vector<AtItem> out;
  for (const std::uint8_t byte : bytes) {
    const char c = static_cast<char>(byte);
    if (c == '\0') continue;
    if (c == '\r' || c == '\n') {
      endLine(t_ns, out);
      continue;
    }
    if (c == '>' && !bad_ && line_.find_first_not_of(' ') == std::string::npos) {
      line_.clear();
      echo_.clear();
      AtItem prompt;
      prompt.what = AtItem::What::prompt;
      prompt.t_ns = t_ns;
      out.push_back(std::move(prompt));
      continue;
    }
    if (line_.empty() && !bad_) line_ns_ = t_ns;
    if (bad_) {
      ++garbage_;
      continue;
    }
    if (byte < 0x20 || byte > 0x7E || c == '>' || line_.size() == kLineMax) {
      bad_ = true;  // nothing of a damaged line is to be believed
      garbage_ += line_.size() + 1;
      line_.clear();
      continue;
    }
    line_ += c;
  }
  return out;
}

void AtParser::endLine(Ns t_ns, std::vector<AtItem>& out) {
  bad_ = false;
  const std::string whole = std::exchange(line_, {});
  const std::size_t first = whole.find_first_not_of(' ');
  if (first == std::string::npos) return;
  AtItem item;
  item.t_ns = line_ns_;
  item.end_ns = t_ns;
  item.text = whole.substr(first, whole.find_last_not_of(' ') - first + 1);
  const std::string line = compact(item.text);
  const std::string echo = std::exchange(echo_, {});
  if (!echo.empty() && line == echo) {
    item.what = AtItem::What::echo;
    out.push_back(std::move(item));
    return;
  }
  if (!classify(medium_, line, item, out)) out.push_back(std::move(item));
}

}  // namespace pin16::link
