// SPDX-License-Identifier: Apache-2.0
#include "core/circuit/circuit.hpp"

#include <fmt/core.h>

#include <array>
#include <cmath>
#include <numbers>
#include <numeric>
#include <span>

#include "core/circuit/elements.hpp"

namespace pin16::circuit {
namespace {

/// Above this an element does not count as a path (floating()).
constexpr double kNoPath_ohm = kOpen_ohm / 10;

Error bad(std::string what) { return {ErrorKind::input, std::move(what), "circuit", ""}; }

}  // namespace

double leadResistance_ohm(double mm2, double length_m, double celsius) {
  return kCopperRho_ohm_mm2_per_m * length_m / mm2 * (1 + kCopperAlpha_per_K * (celsius - 20));
}

std::optional<Node> Circuit::node(std::string_view name) const {
  for (std::uint32_t i = 0; i < nodes_.size(); ++i)
    if (nodes_[i] == name) return Node{i};
  return std::nullopt;
}

std::optional<Branch> Circuit::branch(std::string_view name) const {
  for (std::uint32_t i = 0; i < parts_.size(); ++i)
    if (parts_[i].name == name) return Branch{i};
  return std::nullopt;
}

std::optional<std::size_t> Circuit::param(std::string_view element, std::string_view parameter) const {
  const auto b = branch(element);
  if (!b) return std::nullopt;
  const Part& part = parts_[b->index];
  const auto names = parameterNames(part.kind);
  for (std::size_t i = 0; i < names.size(); ++i)
    if (names[i] == parameter) return part.first_param + i;
  return std::nullopt;
}

double gaugeArea_mm2(double gauge) {
  const double d_mm = 0.127 * std::pow(92.0, (36 - gauge) / 39);
  return std::numbers::pi / 4 * d_mm * d_mm;
}

double Circuit::ohms(const Part& part, const Params& params) const {
  const double* p = params.data() + part.first_param;
  switch (part.kind) {
    case Element::resistor:
      return p[0];
    case Element::source:
      return p[1];
    case Element::lead:
      return leadResistance_ohm(p[0], p[1], p[2]);
    case Element::fuse:
    case Element::toggle:
      return p[kContactIsOpen] != 0 ? kOpen_ohm : p[kContactOhm];
    case Element::battery:
      return p[kBatterySeries];
    case Element::supply:
      return p[kSupplySeries];
    case Element::consumer:
      return p[kConsumerOff];
    case Element::load:
    case Element::diode:
    case Element::capacitor:
    case Element::watch:
      return INFINITY;
  }
  return INFINITY;
}

Status Circuit::checkPart(const Part& part, const Params& params) const {
  const double* p = params.data() + part.first_param;
  const auto names = parameterNames(part.kind);
  for (std::size_t i = 0; i < names.size(); ++i)
    if (!std::isfinite(p[i])) return bad(fmt::format("{} of {} is not a number", names[i], part.name));
  const auto within = [&](std::size_t i, double least, double most) -> Status {
    if (p[i] >= least && p[i] <= most) return {};
    return bad(fmt::format("{} of {} is {}, expected {} to {}", names[i], part.name, p[i], least, most));
  };
  constexpr double kTiny = 1e-30, kMost = 1e9;
  Status s;
  switch (part.kind) {
    case Element::battery:
      if (s = within(kBatteryCapacity, kTiny, kMost); !s) return s;
      if (s = within(kBatteryCharge, 0, 1); !s) return s;
      if (s = within(kBatteryExponent, 1, 2); !s) return s;
      break;
    case Element::supply:
      if (s = within(kSupplyEmf, 0, kMost); !s) return s;
      if (s = within(kSupplySeries, kSupplySeriesMin_ohm, kMost); !s) return s;
      if (s = within(kSupplyLimit, kTiny, kMost); !s) return s;
      if (s = within(kSupplyShort, 0, p[kSupplyLimit]); !s) return s;
      if (s = within(kSupplyTrip, 0, kMost); !s) return s;
      break;
    case Element::diode:
      if (s = within(kDiodeSaturation, kTiny, 1); !s) return s;
      if (s = within(kDiodeIdeality, 1e-3, 100); !s) return s;
      break;
    case Element::capacitor:
      if (s = within(kCapacitorFarad, kTiny, kMost); !s) return s;
      break;
    case Element::consumer:
      if (s = within(kConsumerAmount, part.law == Law::ohmic ? kResistanceMin_ohm : 0, kMost); !s) return s;
      if (s = within(kConsumerFold, 0, kMost); !s) return s;
      if (s = within(kConsumerStart, 0, kMost); !s) return s;
      if (s = within(kConsumerStop, 0, p[kConsumerStart]); !s) return s;
      if (s = within(kConsumerBootTime, 0, kMost); !s) return s;
      if (p[kConsumerBootTime] > 0)
        if (s = within(kConsumerBootAmount, part.law == Law::ohmic ? kResistanceMin_ohm : 0, kMost); !s)
          return s;
      break;
    case Element::fuse:
      if (s = within(kFuseRating, kTiny, kMost); !s) return s;
      if (s = within(kFuseSlow, 0, 1); !s) return s;
      break;
    default:
      break;
  }
  if (part.kind == Element::load || part.kind == Element::diode || part.kind == Element::capacitor ||
      part.kind == Element::watch)
    return {};
  const double r = ohms(part, params);
  const double least = part.kind == Element::source || part.kind == Element::battery ? 0 : kResistanceMin_ohm;
  if (!(r >= least) || !std::isfinite(r))
    return bad(fmt::format("resistance of {} is {} ohm, expected at least {} ohm", part.name, r, least));
  return {};
}

Status Circuit::check(const Params& params) const {
  if (params.size() != defaults_.size())
    return bad(fmt::format("{} parameters given, {} expected", params.size(), defaults_.size()));
  for (const Part& part : parts_)
    if (Status s = checkPart(part, params); !s) return s;
  return {};
}

std::vector<std::string> Circuit::floating(const Params& params) const {
  std::vector<std::uint32_t> group(nodes_.size());
  std::iota(group.begin(), group.end(), 0U);
  const auto root = [&](std::uint32_t n) {
    while (group[n] != n) n = group[n] = group[group[n]];
    return n;
  };
  const auto path = [&](const Part& part) {
    if (part.kind == Element::diode) return true;
    if (part.kind == Element::consumer && params[part.first_param + kConsumerStart] == 0) return true;
    return ohms(part, params) < kNoPath_ohm;
  };
  for (const Part& part : parts_)
    if (path(part)) group[root(part.a)] = root(part.b);
  std::vector<std::string> out;
  for (std::uint32_t i = 1; i < nodes_.size(); ++i)
    if (root(i) != root(0)) out.push_back(nodes_[i]);
  return out;
}

}  // namespace pin16::circuit
