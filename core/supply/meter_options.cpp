// SPDX-License-Identifier: Apache-2.0
#include "core/supply/meter_options.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "core/job/job.hpp"

namespace pin16::supply {
namespace {

constexpr std::array<std::string_view, 7> kCommon = {"V",         "I",        "u_V",        "u_A",
                                                     "input_ohm", "every_ms", "aperture_ms"};
constexpr double kEveryLeast_ms = 1, kEveryMost_ms = 60000, kApertureMost_ms = 10000;

Error usage(const link::Uri& uri, std::string what, std::string advice) {
  return {ErrorKind::usage, std::move(what), uri.text, std::move(advice)};
}

Status checkNames(const link::Uri& uri, std::initializer_list<std::string_view> own) {
  for (const auto& [key, value] : uri.options) {
    if (std::find(own.begin(), own.end(), key) != own.end()) continue;
    if (std::find(kCommon.begin(), kCommon.end(), key) != kCommon.end()) continue;
    return usage(uri, fmt::format("unknown option \"{}\"", key),
                 fmt::format("Options of {}: {}{}{}", uri.scheme, fmt::join(kCommon, ", "),
                             own.size() == 0 ? "" : ", ", fmt::join(own, ", ")));
  }
  return {};
}

/// The quantity of one key; nothing if the URI does not have it.
Result<std::optional<Quantity>> quantity(const link::Uri& uri, const char* key, char unit, double most) {
  const std::string name = uri.option(key);
  if (name.empty()) return std::optional<Quantity>{};
  const auto found = job::lookUpPoint(name);
  if (!found) return usage(uri, found.error().what, found.error().advice);
  if (found->point->unit != std::string(1, unit))
    return usage(uri, fmt::format("{}={} is no point that is measured in {}", key, name, unit),
                 "docs/points.md lists the points with their units");
  Quantity q;
  q.unit = unit;
  q.point = found->point->name;
  q.factor = found->sign;
  const auto u = numberOption(uri, unit == 'V' ? "u_V" : "u_A", 0, most, -1);
  if (!u) return u.error();
  q.uncertainty = *u;
  return std::optional<Quantity>(q);
}

}  // namespace

Result<double> numberOption(const link::Uri& uri, std::string_view key, double least, double most,
                            double otherwise) {
  const std::string text = uri.option(key);
  if (text.empty()) return otherwise;
  double value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (fault != std::errc{} || end != text.data() + text.size() || !(value >= least && value <= most))
    return usage(uri, fmt::format("{}={} is no number from {:g} to {:g}", key, text, least, most),
                 "The unit is in the option's name; decimals take a point");
  return value;
}

Result<MeterOptions> readMeterOptions(const link::Uri& uri, Ns every_ns,
                                      std::initializer_list<std::string_view> own) {
  if (Status known = checkNames(uri, own); !known) return known.error();
  constexpr double kMost_V = 60, kMost_A = 100;
  MeterOptions o;
  auto volts = quantity(uri, "V", 'V', kMost_V);
  if (!volts) return volts.error();
  auto amperes = quantity(uri, "I", 'A', kMost_A);
  if (!amperes) return amperes.error();
  const auto input_ohm = numberOption(uri, "input_ohm", 1, 1e12, -1);
  if (!input_ohm) return input_ohm.error();
  const auto every_ms = numberOption(uri, "every_ms", kEveryLeast_ms, kEveryMost_ms, toMs(every_ns));
  if (!every_ms) return every_ms.error();
  const auto aperture_ms = numberOption(uri, "aperture_ms", 0, kApertureMost_ms, -1);
  if (!aperture_ms) return aperture_ms.error();
  if (*volts) {
    (*volts)->input_ohm = *input_ohm;
    o.quantities.push_back(**volts);
  }
  if (*amperes) o.quantities.push_back(**amperes);
  if (o.quantities.empty())
    return usage(uri, "nobody said where the meter is clipped on",
                 "Name the point, for instance '" + uri.text + (uri.options.empty() ? "?" : "&") +
                     "V=V(pin16,pin4)' or I=I(feed); docs/points.md lists them");
  o.every_ns = std::llround(*every_ms * kNsPerMs);
  if (*aperture_ms >= 0) o.aperture_ns = std::llround(*aperture_ms * kNsPerMs);
  return o;
}

event::Measurement measurement(const Quantity& quantity, double value, const std::string& instrument,
                               Ns aperture_ns) {
  event::Measurement m;
  m.point = quantity.point;
  m.value = quantity.factor * value;
  m.unit = std::string(1, quantity.unit);
  m.uncertainty = quantity.uncertainty;
  m.input_ohm = quantity.input_ohm;
  m.instrument = instrument;
  m.aperture_ns = aperture_ns;
  return m;
}

Ns timeError(Ns sent_ns, Ns answered_ns, Ns before_ns, Ns aperture_ns) {
  const Ns half_ns = (answered_ns - sent_ns + 1) / 2;
  if (aperture_ns >= 0) return half_ns + aperture_ns + aperture_ns / 2;
  return before_ns == kNoTime ? -1 : half_ns + (sent_ns - before_ns);
}

}  // namespace pin16::supply
