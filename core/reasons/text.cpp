// SPDX-License-Identifier: Apache-2.0
#include "core/reasons/text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

namespace pin16::reasons {
namespace {

std::string lowered(std::string_view text) {
  std::string out;
  for (const char c : text) out += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}
std::string trimmed(std::string_view text) {
  const std::size_t from = text.find_first_not_of(" \t");
  if (from == std::string_view::npos) return {};
  return std::string(text.substr(from, text.find_last_not_of(" \t") - from + 1));
}

/// Points of a job that are a reading of the catalogue under another name.
struct Alias {
  const char* point;
  const char* reading;
};
constexpr Alias kAliases[] = {{"lamp", "interface-lamp"},
                              {"signs", "dash-signs"},
                              {"V(loadblade,chassis)", "V(slot load,chassis)"},
                              {"V(supplyblade,chassis)", "V(slot supply,chassis)"},
                              {"V(pin4,interface-)", "V(ifgnd,chassis)"}};

}  // namespace

std::string valueText(std::size_t reading, double value) {
  const Reading& r = readings()[reading];
  switch (r.unit) {
    case Unit::answer:
      return r.answers[std::min(static_cast<std::size_t>(value), r.answers.size() - 1)];
    case Unit::volt:
      return fmt::format("{:.2f} V", std::abs(value) < 0.005 ? 0.0 : value);
    case Unit::ampere:
      return fmt::format("{:.3f} A", std::abs(value) < 0.0005 ? 0.0 : value);
    case Unit::ohm:
      break;
  }
  if (value >= kOpen_ohm * 0.5) return "OL";
  if (value >= 1e6) return fmt::format("{:.1f} Mohm", value / 1e6);
  if (value >= 1e3) return fmt::format("{:.1f} kohm", value / 1e3);
  return fmt::format("{:.{}f} ohm", value, value < 10 ? 2 : 0);
}

std::optional<Observation> observationOf(const event::Measurement& m) {
  std::string id = m.point;
  double sign = 1;
  for (const Alias& a : kAliases)
    if (id == a.point) id = a.reading;
  if (m.point == "V(pin4,interface-)") sign = -1;
  // The source under a lamp, or while the module is fed, is another reading than at rest.
  if (id == "V(src+,src-)" && m.power == event::PowerState::on)
    id = "V(src+,src-,on)";
  else if (id == "V(src+,src-)" && !m.condition.empty())
    id = "V(src+,src-,load)";
  const auto at = findReading(id);
  if (!at) return std::nullopt;
  const Reading& r = readings()[*at];
  // Blades with the module not fed say which side is which, not whether the feed arrives.
  if (r.power == Power::on && m.power == event::PowerState::off) return std::nullopt;
  if ((id == "V(slot load,chassis)" || id == "V(slot supply,chassis)") && m.power != event::PowerState::on)
    return std::nullopt;
  if (r.unit == Unit::ohm && m.power != event::PowerState::off && m.power != event::PowerState::unknown)
    return std::nullopt;
  return Observation{*at, sign * m.value, m.uncertainty};
}

Result<Observation> parseObservation(std::string_view text) {
  std::string whole(text);
  std::replace(whole.begin(), whole.end(), ';', ' ');
  // Ids hold blanks and signs of equality none: the first one parts id and value.
  const std::size_t part = whole.find('=');
  if (part == std::string::npos)
    return Error{ErrorKind::usage, fmt::format("'{}' is not a reading", text), "reading",
                 "Write POINT=VALUE, for instance 'V(pin16,pin4)=0.1V;power=on'"};
  const std::string id = trimmed(std::string_view(whole).substr(0, part));
  std::optional<std::size_t> at;
  for (std::size_t r = 0; r < kReadings; ++r)
    if (lowered(readings()[r].id) == lowered(id)) at = r;
  if (!at) {
    auto m = job::parseReading(whole);
    if (!m) return m.error();
    if (const auto o = observationOf(*m)) return *o;
    return Error{ErrorKind::usage,
                 fmt::format("'{}' as it was taken is none of the readings that causes are told by", text),
                 "reading", "docs/reasons.md lists them"};
  }
  const Reading& r = readings()[*at];
  std::string value = trimmed(std::string_view(whole).substr(part + 1));
  std::string power;
  if (const std::size_t p = value.find(" power="); p != std::string::npos) {
    power = trimmed(value.substr(p + 7));
    power = power.substr(0, power.find(' '));
    value = trimmed(value.substr(0, p));
  }
  if (r.unit == Unit::ohm && !power.empty() && power != "off")
    return Error{ErrorKind::usage, "ohms with power present are worthless: " + std::string(r.id), "reading",
                 "Take the power off, let the bus fall asleep, measure again, and write power=off"};
  if (r.unit == Unit::answer) {
    std::string known;
    for (std::size_t i = 0; i < r.answers.size(); ++i) {
      if (lowered(value) == r.answers[i]) return Observation{*at, static_cast<double>(i), -1};
      known += (i == 0 ? "" : ", ") + std::string(r.answers[i]);
    }
    return Error{ErrorKind::usage, fmt::format("'{}' is not an answer of {}", value, r.id), "reading",
                 "it is one of: " + known};
  }
  double uncertainty = -1;
  if (const std::size_t p = value.find(" u="); p != std::string::npos) {
    uncertainty = std::strtod(value.c_str() + p + 3, nullptr);
    value = trimmed(value.substr(0, p));
  }
  const std::string low = lowered(value);
  if (r.unit == Unit::ohm && (low == "ol" || low == "open")) return Observation{*at, kOpen_ohm, -1};
  char* end = nullptr;
  const double number = std::strtod(value.c_str(), &end);
  const std::string unit = trimmed(end);
  const char* base = r.unit == Unit::volt ? "V" : r.unit == Unit::ampere ? "A" : "ohm";
  double factor = 0;
  if (unit.empty() || lowered(unit) == lowered(base))
    factor = 1;
  else if (unit == "Mohm" && r.unit == Unit::ohm)
    factor = 1e6;
  else if (lowered(unit) == lowered("m" + std::string(base)))
    factor = 1e-3;
  else if (lowered(unit) == "kohm" && r.unit == Unit::ohm)
    factor = 1e3;
  if (end == value.c_str() || factor == 0 || !std::isfinite(number))
    return Error{ErrorKind::usage, fmt::format("'{}' is not a number of {}", value, base), "reading",
                 "Write for instance 12.4V; decimals take a point, over-range is OL"};
  if (r.unit == Unit::ohm && number < 0)
    return Error{ErrorKind::usage, "a resistance below zero: '" + value + "'", "reading", ""};
  return Observation{*at, number * factor, uncertainty};
}

}  // namespace pin16::reasons
