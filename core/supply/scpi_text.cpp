// SPDX-License-Identifier: Apache-2.0
#include "core/supply/scpi_text.hpp"

#include <fmt/format.h>

#include <cctype>
#include <charconv>
#include <cmath>
#include <utility>

namespace pin16::supply {
namespace {

// SCPI-99 volume 1 clause 7.2.1, from memory: 9.9E37 stands for infinity, 9.91E37 for not a number. Devices
// round to fewer digits, so each takes what is nearer to it.
constexpr double kInfinity = 9.9e37, kNotANumber = 9.91e37;

char upper(char c) { return static_cast<char>(std::toupper(static_cast<unsigned char>(c))); }

bool isDigit(char c) { return c >= '0' && c <= '9'; }

std::string uppered(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(), upper);
  return out;
}

std::string_view trimmed(std::string_view text) {
  const auto blank = [](char c) { return c == ' ' || c == '\t'; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

/// 1 for the bare unit, its multiple else; nothing if it is another one.
std::optional<double> factorOf(std::string_view suffix, char unit) {
  const std::string s = uppered(trimmed(suffix));
  if (s.empty()) return 1;
  if (s.back() != unit || s.size() > 2) return std::nullopt;
  if (s.size() == 1) return 1;
  switch (s.front()) {
    case 'K':
      return 1e3;
    case 'M':
      return 1e-3;
    case 'U':
      return 1e-6;
    default:
      return std::nullopt;
  }
}

std::optional<Reading::Kind> wordFor(const std::string& word) {
  for (const char* w : {"INF", "+INF", "-INF", "NINF", "OL", "+OL", "-OL", "OVLD", "OVERLOAD"})
    if (word == w) return Reading::Kind::overload;
  if (word == "NAN") return Reading::Kind::not_a_number;
  return std::nullopt;
}

/// The whole of `text` as an integer; a plus is taken.
std::optional<int> whole(std::string_view text) {
  text = trimmed(text);
  if (text.starts_with('+')) text.remove_prefix(1);
  int value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (fault != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace

std::string queryLine(Query query, int channel, std::string_view end) {
  std::string line(kQueries.at(static_cast<std::size_t>(query)));
  const bool measures =
      query == Query::volts || query == Query::amperes || query == Query::read || query == Query::fetch;
  if (measures && channel > 0) line += fmt::format(" (@{})", std::min(channel, kChannelMost));
  return line.append(end);
}

Reading parseValue(std::string_view line, char unit) {
  line = trimmed(line);
  if (const auto word = wordFor(uppered(line))) return {*word, 0};
  // from_chars knows no plus, and words besides numbers.
  const bool plus = line.starts_with('+');
  const std::string_view digits = line.substr(plus ? 1 : 0);
  const std::string_view unsigned_part = digits.substr(!plus && digits.starts_with('-') ? 1 : 0);
  if (unsigned_part.empty() || (unsigned_part.front() != '.' && !isDigit(unsigned_part.front()))) return {};
  Reading r;
  const char* const last = digits.data() + digits.size();
  const auto [end, fault] = std::from_chars(digits.data(), last, r.value);
  if (fault != std::errc{} || !std::isfinite(r.value)) return {};
  const auto factor = factorOf({end, static_cast<std::size_t>(last - end)}, unit);
  if (!factor) return {};
  const double size = std::abs(r.value);
  if (size >= (kInfinity + kNotANumber) / 2) return {Reading::Kind::not_a_number, 0};
  if (size >= 0.99 * kInfinity) return {Reading::Kind::overload, 0};
  return {Reading::Kind::value, r.value * *factor};
}

std::string parseIdentity(std::string_view line) {
  line = trimmed(line);
  const bool letters =
      std::any_of(line.begin(), line.end(), [](unsigned char c) { return std::isalpha(c) != 0; });
  if (!letters || parseError(line)) return {};
  if (parseValue(line, 'V').kind != Reading::Kind::nonsense ||
      parseValue(line, 'A').kind != Reading::Kind::nonsense)
    return {};
  return std::string(line.substr(0, kIdentityMost));
}

std::optional<DeviceError> parseError(std::string_view line) {
  line = trimmed(line);
  const std::size_t comma = line.find(',');
  if (comma == std::string_view::npos) return std::nullopt;
  const auto code = whole(line.substr(0, comma));
  std::string_view text = trimmed(line.substr(comma + 1));
  if (!code || text.empty() || whole(text)) return std::nullopt;
  const bool quoted = text.front() == '"';
  if (quoted && (text.size() < 2 || text.back() != '"')) return std::nullopt;  // cut short
  if (quoted) text = text.substr(1, text.size() - 2);
  // A list of values has digits where an error has words.
  if (!quoted && std::isalpha(static_cast<unsigned char>(text.front())) == 0) return std::nullopt;
  return DeviceError{*code, std::string(text)};
}

std::optional<std::uint16_t> parseRegister(std::string_view line) {
  const auto value = whole(line);
  constexpr int kMost = 65535;
  if (!value || *value < 0 || *value > kMost) return std::nullopt;
  return static_cast<std::uint16_t>(*value);
}

void Lines::take(Ns t_ns, ByteView bytes, const std::function<void(const Line&)>& use) {
  for (const std::uint8_t byte : bytes) {
    const char c = static_cast<char>(byte);
    if (c == '\n' || c == '\r') {
      if (!halfLine()) continue;
      const Line whole_line = std::exchange(line_, {});
      use(whole_line);
      continue;
    }
    if (!halfLine()) line_.first_ns = t_ns;
    const bool printable = (byte >= ' ' && byte < 0x7F) || c == '\t';
    if (printable && line_.text.size() < kLineMost)
      line_.text += c;
    else
      line_.sound = false;
  }
}

}  // namespace pin16::supply
