// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <optional>

#include "core/job/job.hpp"
#include "core/job/nearest.hpp"

namespace pin16::job {
namespace {

using event::Measurement;
using event::PowerState;

/// Stands for what an ohmmeter shows as over-range.
constexpr double kOpen_ohm = 1e9;

Error wrong(std::string what, std::string advice = {}) {
  return Error{ErrorKind::usage, std::move(what), "reading", std::move(advice)};
}

std::string lowered(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return out;
}

std::string withoutBlanks(std::string_view text) {
  std::string out;
  std::copy_if(text.begin(), text.end(), std::back_inserter(out),
               [](unsigned char c) { return std::isspace(c) == 0; });
  return out;
}

/// "key=value" words; a value in quotes may hold blanks.
Result<std::vector<std::string>> words(std::string_view text) {
  std::vector<std::string> out;
  std::string word;
  bool quoted = false, any = false;
  for (const char c : text) {
    if (c == '"') {
      quoted = !quoted;
      any = true;
    } else if (!quoted && std::isspace(static_cast<unsigned char>(c)) != 0) {
      if (any) out.push_back(std::exchange(word, {}));
      any = false;
    } else {
      word += c;
      any = true;
    }
  }
  if (quoted) return wrong("a quotation mark is not closed in '" + std::string(text) + "'");
  if (any) out.push_back(word);
  return out;
}

struct Unit {
  const char* text;
  const char* base;
  double factor;
};
constexpr std::array<Unit, 10> kUnits = {{{"v", "V", 1},
                                          {"mv", "V", 1e-3},
                                          {"a", "A", 1},
                                          {"ma", "A", 1e-3},
                                          {"ohm", "ohm", 1},
                                          {"kohm", "ohm", 1e3},
                                          {"mohm", "ohm", 1e-3},
                                          {"\u03a9", "ohm", 1},
                                          {"k\u03a9", "ohm", 1e3},
                                          {"m\u03a9", "ohm", 1e-3}}};

/// mohm is a thousandth, Mohm a million: the only unit whose case matters.
std::optional<Unit> findUnit(std::string_view text) {
  if (text == "Mohm" || text == "M\u03a9") return Unit{"Mohm", "ohm", 1e6};
  const std::string low = lowered(text);
  for (const Unit& u : kUnits)
    if (low == u.text) return u;
  return std::nullopt;
}

/// A number and the factor of the unit behind it; `fallback` if there is none.
struct Quantity {
  double value = 0;
  double factor = 1;
};
Result<Quantity> quantity(std::string_view text, const std::string& base, double fallback) {
  Quantity q;
  const std::string_view digits = !text.empty() && text.front() == '+' ? text.substr(1) : text;
  const auto [end, code] = std::from_chars(digits.data(), digits.data() + digits.size(), q.value);
  const std::string_view rest(end, static_cast<std::size_t>(digits.data() + digits.size() - end));
  if (code != std::errc() || !std::isfinite(q.value))
    return wrong(fmt::format("'{}' is not a number with a unit", text), "Write for instance 12.4V");
  if (!rest.empty() && rest.front() == ',')
    return wrong(fmt::format("'{}' has a comma", text), "Decimals take a point: write 12.4, not 12,4");
  q.factor = fallback;
  if (!rest.empty()) {
    const auto unit = findUnit(rest);
    if (!unit || base != unit->base)
      return wrong(fmt::format("'{}' is not a unit of this point; expected {}", rest, base),
                   "Units are V, mV, A, mA, ohm, kohm, Mohm");
    q.factor = unit->factor;
  }
  q.value *= q.factor;
  return q;
}

/// Nothing may be measured at restraint circuits or at the module itself, whatever the name is spelt like.
bool forbidden(const std::string& low) {
  static const char* const kWords[] = {"squib",       "loop",           "deploy",  "pretension", "igniter",
                                       "inflator",    "airbag",         "modpin",  "modgnd",     "modh",
                                       "modl",        "moduleterminal", "module+", "module-",    "modulepin",
                                       "clockspring", "module,",        ",module)"};
  return std::any_of(std::begin(kWords), std::end(kWords),
                     [&](const char* w) { return low.find(w) != std::string::npos; });
}

/// "V(a,b)" as "V(b,a)"; empty if it has not two nodes.
std::string swapped(const std::string& name) {
  const std::size_t open = name.find('('), comma = name.find(','), close = name.find(')');
  if (open == std::string::npos || comma == std::string::npos || close == std::string::npos) return {};
  return name.substr(0, open + 1) + name.substr(comma + 1, close - comma - 1) + "," +
         name.substr(open + 1, comma - open - 1) + ")";
}

Result<PowerState> powerState(const std::string& text) {
  if (text == "off") return PowerState::off;
  if (text == "source") return PowerState::source;
  if (text == "on") return PowerState::on;
  return wrong("power=" + text + " is not known",
               "Write power=off, power=source (module not fed) or power=on");
}

bool byOhmmeter(const Point& p) { return p.unit == "ohm" && p.name != "R(feedpath)"; }

/// The power state that the point's method needs.
Status judgePower(const Point& point, Measurement& m) {
  if (byOhmmeter(point) && m.power != PowerState::off)
    return wrong(m.power == PowerState::unknown ? point.name + " needs power=off to be stated"
                                                : "ohms with power present are worthless: " + point.name,
                 "Take the power off, let the bus fall asleep, measure again, and write power=off");
  if (point.name == "R(feedpath)") {
    if (m.power == PowerState::unknown) m.power = PowerState::source;
    if (m.power != PowerState::source)
      return wrong("R(feedpath) is taken with power=source: the dummy load in the module's place", point.how);
  }
  return {};
}

Status setValue(const Point& point, double sign, const std::string& text, Measurement& m, double& factor) {
  if (point.unit.empty()) {
    const std::string low = lowered(text);
    const bool lamp = point.name == "lamp";
    const char* const yes = lamp ? "lit" : "seen";
    const char* const no = lamp ? "dark" : "none";
    if (low != yes && low != no)
      return wrong(fmt::format("'{}' is not a state of {}", text, point.name),
                   fmt::format("Write {0}={1} or {0}={2}", point.name, yes, no));
    m.value = low == yes ? 1 : 0;
    return {};
  }
  const std::string low = lowered(text);
  if (byOhmmeter(point) && (low == "open" || low == "ol")) {
    m.value = kOpen_ohm;
    return {};
  }
  const auto q = quantity(text, point.unit, 1);
  if (!q) return q.error();
  m.value = sign * q->value;
  factor = q->factor;
  if (point.unit == "ohm" && m.value < 0) return wrong("a resistance below zero: '" + text + "'");
  return {};
}

Status setOption(const Point& point, const std::string& word, double factor, Measurement& m) {
  static const std::vector<std::string> kKeys = {"power", "u", "with", "by", "meter"};
  const std::size_t eq = word.find('=');
  const std::string key = word.substr(0, eq);
  const std::string value = eq == std::string::npos ? "" : word.substr(eq + 1);
  if (eq == std::string::npos || std::find(kKeys.begin(), kKeys.end(), key) == kKeys.end()) {
    const auto near = nearest(key, kKeys, 1);
    return wrong(fmt::format("'{}' is not understood", word),
                 near.empty() ? "After the value come power=, u=, with=, by=, meter=; blanks need quotes"
                              : fmt::format("Did you mean {}=?", near.front()));
  }
  if (value.empty()) return wrong(key + "= has no value");
  if (key == "power") {
    const auto p = powerState(value);
    if (!p) return p.error();
    m.power = *p;
  } else if (key == "u") {
    const auto q = quantity(value, point.unit, factor);
    if (!q) return q.error();
    if (q->value < 0) return wrong("an uncertainty below zero: '" + word + "'");
    m.uncertainty = q->value;
  } else {
    (key == "with" ? m.condition : key == "by" ? m.by : m.instrument) = value;
  }
  return {};
}

}  // namespace

Result<NamedPoint> lookUpPoint(std::string_view text) {
  const std::string name = withoutBlanks(text);
  const std::string low = lowered(name);
  if (forbidden(low))
    return wrong(
        fmt::format(
            "'{}' is never measured: deployment circuits and the module's own contacts stay untouched", text),
        "A meter there can fire a restraint or spoil the contact; docs/points.md lists the points");
  std::vector<std::string> names;
  for (const Point& p : points()) {
    names.push_back(p.name);
    if (lowered(p.name) == low) return NamedPoint{&p, 1};
    if (lowered(p.name) == lowered(swapped(name))) return NamedPoint{&p, p.name.front() == 'V' ? -1.0 : 1.0};
  }
  const auto near = nearest(name, names, 3);
  return wrong(fmt::format("'{}' is not a known point", text),
               near.empty()
                   ? "docs/points.md lists the points"
                   : fmt::format("Did you mean {}? docs/points.md lists the points", fmt::join(near, ", ")));
}

Result<Measurement> parseReading(std::string_view text) {
  const std::size_t eq = text.find('=');
  if (eq == std::string_view::npos)
    return wrong(fmt::format("'{}' is not a reading", text),
                 "Write POINT=VALUE, for instance \"V(pin16,pin4)=12.4V power=source u=0.02\"");
  const auto found = lookUpPoint(text.substr(0, eq));
  if (!found) return found.error();
  auto rest = words(text.substr(eq + 1));
  if (!rest) return rest.error();
  if (rest->empty()) return wrong("no value behind " + found->point->name + "=");
  // "12.4 V" is as good as "12.4V".
  if (rest->size() > 1 && findUnit((*rest)[1])) {
    (*rest)[0] += (*rest)[1];
    rest->erase(rest->begin() + 1);
  }
  Measurement m;
  m.point = found->point->name;
  m.unit = found->point->unit;
  double factor = 1;
  if (auto s = setValue(*found->point, found->sign, rest->front(), m, factor); !s) return s.error();
  for (std::size_t i = 1; i < rest->size(); ++i)
    if (auto s = setOption(*found->point, (*rest)[i], factor, m); !s) return s.error();
  if (auto s = judgePower(*found->point, m); !s) return s.error();
  return m;
}

}  // namespace pin16::job
