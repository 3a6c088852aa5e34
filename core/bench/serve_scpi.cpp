// SPDX-License-Identifier: Apache-2.0
#include "core/bench/serve_scpi.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <limits>

namespace pin16::bench {
namespace {

constexpr std::uint64_t kSeed = 0x5C91;
constexpr Ns kForGood = std::numeric_limits<Ns>::max();

std::string uppered(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(),
                 [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return out;
}

std::string trimmed(std::string text) {
  text.erase(0, text.find_first_not_of(" \t"));
  text.erase(text.find_last_not_of(" \t") + 1);
  return text;
}

/// `word` is the short form of `keyword` (its capitals) or the whole of it.
bool isForm(std::string_view word, std::string_view keyword) {
  std::string capitals;
  for (const char c : keyword)
    if (std::islower(static_cast<unsigned char>(c)) == 0) capitals += c;
  return word == capitals || word == uppered(keyword);
}

std::vector<std::string> parted(std::string_view text, char at) {
  std::vector<std::string> out(1);
  for (const char c : text) {
    if (c == at)
      out.emplace_back();
    else
      out.back() += c;
  }
  return out;
}

/// The header, upper case and without "?", is this path of keywords.
bool isHeader(const std::string& header, std::initializer_list<std::string_view> keywords) {
  const auto words = parted(header.starts_with(':') ? header.substr(1) : header, ':');
  return words.size() == keywords.size() && std::equal(words.begin(), words.end(), keywords.begin(), isForm);
}

/// 0 none, -1 not understood.
int channelOf(const std::string& parameter) {
  if (parameter.empty()) return 0;
  if (!parameter.starts_with("(@") || !parameter.ends_with(')')) return -1;
  int n = 0;
  const char* const last = parameter.data() + parameter.size() - 1;
  const auto [end, fault] = std::from_chars(parameter.data() + 2, last, n);
  return fault == std::errc{} && end == last && n > 0 ? n : -1;
}

Ns toNs(double ms) { return std::llround(ms * kNsPerMs); }

}  // namespace

Result<ScpiManners> scpiManners(const std::vector<std::pair<std::string, std::string>>& options) {
  ScpiManners m;
  for (const auto& [key, value] : options) {
    double number = 0;
    const char* const last = value.data() + value.size();
    const auto [end, fault] = std::from_chars(value.data(), last, number);
    const bool is_number = fault == std::errc{} && end == last && number >= 0 && number <= 1e6;
    bool good = is_number;
    if (key == "slow_ms")
      m.slow_ms = number;
    else if (key == "noise")
      m.noise = number, good = is_number && number <= 1;
    else if (key == "overload_V")
      m.overload_V = number;
    else if (key == "dies_after")
      m.dies_after = static_cast<int>(number);
    else if (key == "dead_ms")
      m.dead_ms = number;
    else if (key == "units")
      m.units = number > 0;
    else if (key == "no") {
      m.no_status = m.no_status || value == "status";
      m.no_errors = m.no_errors || value == "errors";
      m.no_identity = m.no_identity || value == "identity";
      good = value == "status" || value == "errors" || value == "identity";
    } else if (key == "end") {
      m.end = value == "cr" ? "\r" : value == "crlf" ? "\r\n" : "\n";
      good = value == "cr" || value == "crlf" || value == "lf";
    } else {
      return Error{ErrorKind::usage, fmt::format("scpi has no option \"{}\"", key), "--serve",
                   "it has slow_ms, noise, no, units, end, overload_V, dies_after, dead_ms (docs/bench.md)"};
    }
    if (!good)
      return Error{ErrorKind::usage, fmt::format("\"{}\" is no value of scpi's {}", value, key), "--serve",
                   "docs/bench.md lists them"};
  }
  return m;
}

ScpiInstrument::ScpiInstrument(World& world, ScpiManners manners, Write write)
    : world_(world), manners_(std::move(manners)), write_(std::move(write)), random_(kSeed) {}

void ScpiInstrument::take(Ns now_ns, std::string_view bytes) {
  for (const char c : bytes) {
    if (c != '\n' && c != '\r') {
      too_long_ = too_long_ || line_.size() == kLineMax;
      if (!too_long_) line_ += c;
      continue;
    }
    const std::string line = std::exchange(line_, {});
    if (std::exchange(too_long_, false))
      error(-223, "Too much data");
    else if (!line.empty())
      obey(now_ns, line);
  }
}

/// IEEE 488.2: the units of a message are answered in one response, parted by semicolons. A message that
/// comes before the last one was answered interrupts it, and its answer is lost.
void ScpiInstrument::obey(Ns now_ns, const std::string& line) {
  if (!due_.empty()) {
    due_.clear();
    error(-410, "Query INTERRUPTED");
  }
  const Ns slow_ns = toNs(manners_.slow_ms);
  const Ns measure_ns = now_ns + static_cast<Ns>(random_.share() * static_cast<double>(slow_ns));
  due_.push_back({measure_ns, now_ns + slow_ns, parted(line, ';'), std::nullopt});
  onTime(now_ns);
}

Ns ScpiInstrument::nextDue() const {
  if (due_.empty()) return kNoTime;
  return due_.front().text ? due_.front().answer_ns : due_.front().measure_ns;
}

void ScpiInstrument::onTime(Ns now_ns) {
  while (!due_.empty() && nextDue() <= now_ns) {
    Due& d = due_.front();
    if (d.text) {
      const std::string text = *d.text;
      due_.pop_front();
      if (!text.empty()) say(now_ns, text);
      continue;
    }
    d.text = "";
    for (const std::string& unit : d.units) {
      const auto one = answer(unit);
      if (one) *d.text += (d.text->empty() ? "" : ";") + *one;
    }
  }
}

std::optional<std::string> ScpiInstrument::answer(const std::string& query) {
  const std::string whole = uppered(trimmed(query));
  if (whole.empty()) return std::nullopt;
  const std::size_t question = whole.find('?');
  const std::string header = whole.substr(0, question);
  const int channel = question == std::string::npos ? -1 : channelOf(trimmed(whole.substr(question + 1)));
  if (channel >= 0) {
    if (header == "*IDN" && channel == 0 && !manners_.no_identity) return "Pin16,bench supply,0,1";
    for (const char unit : {'V', 'A'}) {
      const char* const keyword = unit == 'V' ? "VOLTage" : "CURRent";
      if (isHeader(header, {"MEASure", keyword}) || isHeader(header, {"MEASure", keyword, "DC"}))
        return value(unit, channel);
    }
    if (isHeader(header, {"READ"}) || isHeader(header, {"FETCh"})) return value('V', channel);
    if (isHeader(header, {"STATus", "QUEStionable", "CONDition"}) && channel == 0 && !manners_.no_status)
      return world_.limiting() ? "1" : "2";
    if (isHeader(header, {"SYSTem", "ERRor"}) && channel == 0 && !manners_.no_errors) {
      if (errors_.empty()) return "0,\"No error\"";
      const std::string oldest = errors_.front();
      errors_.pop_front();
      return oldest;
    }
  }
  error(-113, "Undefined header");
  return std::nullopt;
}

std::string ScpiInstrument::value(char unit, int channel) {
  const auto& meters = world_.scenario().meters;
  int seen = 0;
  for (std::size_t i = 0; i < meters.size(); ++i) {
    if (!meters[i].point.starts_with(unit == 'V' ? "V(" : "I(") || ++seen != std::max(channel, 1)) continue;
    const double v = world_.read(i).value;
    if (manners_.overload_V > 0 && unit == 'V' && std::abs(v) > manners_.overload_V) return "9.9E37";
    return manners_.units ? fmt::format("{:.4f} {}", v, unit) : fmt::format("{:+.5E}", v);
  }
  return "9.91E37";
}

void ScpiInstrument::say(Ns now_ns, const std::string& text) {
  if (dead_until_ns_ != kNoTime && now_ns < dead_until_ns_) return;
  if (manners_.dies_after > 0 && ++answered_ > manners_.dies_after) {
    answered_ = 0;
    dead_until_ns_ = manners_.dead_ms > 0 ? now_ns + toNs(manners_.dead_ms) : kForGood;
    return;
  }
  write_(damaged(text) + manners_.end);
}

/// A noisy line never makes a number of another one: what it changes is no digit.
std::string ScpiInstrument::damaged(std::string text) {
  if (manners_.noise <= 0 || random_.share() >= manners_.noise) return text;
  const auto at = static_cast<std::size_t>(random_.share() * static_cast<double>(text.size()));
  switch (static_cast<int>(random_.share() * 4)) {
    case 0:
      text[at] = static_cast<char>(0x80U | static_cast<unsigned char>(text[at]));
      break;
    case 1:
      text.insert(at, "\x01~");
      break;
    case 2:
      text = "#" + text.substr(at);
      break;
    default:
      text += "?" + text;
  }
  return text;
}

void ScpiInstrument::error(int code, const char* text) {
  if (errors_.size() == kErrorsMax) errors_.back() = "-350,\"Queue overflow\"";
  if (errors_.size() < kErrorsMax) errors_.push_back(fmt::format("{},\"{}\"", code, text));
}

}  // namespace pin16::bench
