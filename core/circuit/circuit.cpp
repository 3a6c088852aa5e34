// SPDX-License-Identifier: Apache-2.0
#include "core/circuit/circuit.hpp"

#include <fmt/core.h>

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <numeric>
#include <span>

namespace pin16::circuit {
namespace {

std::span<const std::string_view> parameterNames(Element kind) {
  static constexpr std::array<std::string_view, 1> resistor{"ohm"};
  static constexpr std::array<std::string_view, 2> source{"emf_V", "series_ohm"};
  static constexpr std::array<std::string_view, 1> load{"ampere"};
  static constexpr std::array<std::string_view, 3> lead{"mm2", "length_m", "celsius"};
  static constexpr std::array<std::string_view, 2> contact{"ohm", "open"};
  switch (kind) {
    case Element::resistor:
      return resistor;
    case Element::source:
      return source;
    case Element::load:
      return load;
    case Element::lead:
      return lead;
    case Element::fuse:
    case Element::toggle:
      return contact;
  }
  return {};
}

/// Above this an element does not count as a path (floating()).
constexpr double kNoPath_ohm = kOpen_ohm / 10;

/// How far the solved network may miss Kirchhoff's laws, relative to the largest term.
constexpr double kResidualMax = 1e-9;

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

double Circuit::ohms(const Part& part, const Params& params) const {
  const double* p = params.data() + part.first_param;
  switch (part.kind) {
    case Element::resistor:
      return p[0];
    case Element::source:
      return p[1];
    case Element::load:
      return INFINITY;
    case Element::lead:
      return leadResistance_ohm(p[0], p[1], p[2]);
    case Element::fuse:
    case Element::toggle:
      return p[1] != 0 ? kOpen_ohm : p[0];
  }
  return INFINITY;
}

Status Circuit::check(const Params& params) const {
  if (params.size() != defaults_.size())
    return bad(fmt::format("{} parameters given, {} expected", params.size(), defaults_.size()));
  for (const Part& part : parts_) {
    const auto names = parameterNames(part.kind);
    for (std::size_t i = 0; i < names.size(); ++i)
      if (!std::isfinite(params[part.first_param + i]))
        return bad(fmt::format("{} of {} is not a number", names[i], part.name));
    if (part.kind == Element::load) continue;
    const double r = ohms(part, params);
    const double least = part.kind == Element::source ? 0 : kResistanceMin_ohm;
    if (!(r >= least) || !std::isfinite(r))
      return bad(fmt::format("resistance of {} is {} ohm, expected at least {} ohm", part.name, r, least));
  }
  return {};
}

Result<Solution> Circuit::solveWith(const Params& params, bool dead, std::uint32_t from, std::uint32_t to,
                                    double injected_A) const {
  if (Status s = check(params); !s) return s.error();
  const auto node_count = static_cast<Eigen::Index>(nodes_.size()) - 1;
  Eigen::Index unknowns = node_count;
  for (const Part& part : parts_) unknowns += part.kind == Element::source ? 1 : 0;

  Eigen::MatrixXd m = Eigen::MatrixXd::Zero(unknowns, unknowns);
  Eigen::VectorXd rhs = Eigen::VectorXd::Zero(unknowns);
  const auto row = [](std::uint32_t n) { return static_cast<Eigen::Index>(n) - 1; };
  const auto inject = [&](std::uint32_t n, double ampere) {
    if (n != 0) rhs(row(n)) += ampere;
  };
  for (Eigen::Index i = 0; i < node_count; ++i) m(i, i) = kGmin_S;
  inject(from, injected_A);
  inject(to, -injected_A);

  Eigen::Index extra = node_count;
  for (const Part& part : parts_) {
    const double* p = params.data() + part.first_param;
    if (part.kind == Element::load) {
      inject(part.a, dead ? 0 : -p[0]);
      inject(part.b, dead ? 0 : p[0]);
      continue;
    }
    if (part.kind == Element::source) {
      // Row of its own: V(plus) - V(minus) + series * i = EMF, i leaving plus; so series may be 0.
      if (part.a != 0) m(extra, row(part.a)) = 1, m(row(part.a), extra) = -1;
      if (part.b != 0) m(extra, row(part.b)) = -1, m(row(part.b), extra) = 1;
      m(extra, extra) = p[1];
      rhs(extra) = dead ? 0 : p[0];
      ++extra;
      continue;
    }
    const double g = 1 / ohms(part, params);
    if (part.a != 0) m(row(part.a), row(part.a)) += g;
    if (part.b != 0) m(row(part.b), row(part.b)) += g;
    if (part.a != 0 && part.b != 0) m(row(part.a), row(part.b)) -= g, m(row(part.b), row(part.a)) -= g;
  }

  Solution out;
  out.node_V.assign(nodes_.size(), 0);
  out.branch_A.assign(parts_.size(), 0);
  if (unknowns == 0) return out;
  const Eigen::VectorXd x = m.partialPivLu().solve(rhs);
  const double scale = (m.cwiseAbs() * x.cwiseAbs()).maxCoeff() + rhs.cwiseAbs().maxCoeff();
  if (!x.allFinite() || (m * x - rhs).cwiseAbs().maxCoeff() > kResidualMax * scale)
    return bad("the network has no single solution: are two sources without resistance in parallel?");

  for (std::size_t i = 1; i < nodes_.size(); ++i) out.node_V[i] = x(static_cast<Eigen::Index>(i) - 1);
  extra = node_count;
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    const Part& part = parts_[i];
    if (part.kind == Element::source)
      out.branch_A[i] = x(extra++);
    else if (part.kind == Element::load)
      out.branch_A[i] = dead ? 0 : params[part.first_param];
    else
      out.branch_A[i] = (out.node_V[part.a] - out.node_V[part.b]) / ohms(part, params);
  }
  return out;
}

Result<Solution> Circuit::solve(const Params& params) const { return solveWith(params, false, 0, 0, 0); }

Result<double> Circuit::resistance_ohm(const Params& params, Node a, Node b) const {
  // 1 A, so that volts are ohms; the network is linear and dead, so the size of the current does not matter.
  const auto s = solveWith(params, true, a.index, b.index, 1);
  if (!s) return s.error();
  return s->volts(a, b);
}

std::vector<std::string> Circuit::floating(const Params& params) const {
  std::vector<std::uint32_t> group(nodes_.size());
  std::iota(group.begin(), group.end(), 0U);
  const auto root = [&](std::uint32_t n) {
    while (group[n] != n) n = group[n] = group[group[n]];
    return n;
  };
  for (const Part& part : parts_)
    if (ohms(part, params) < kNoPath_ohm) group[root(part.a)] = root(part.b);
  std::vector<std::string> out;
  for (std::uint32_t i = 1; i < nodes_.size(); ++i)
    if (root(i) != root(0)) out.push_back(nodes_[i]);
  return out;
}

Netlist::Netlist(std::string reference) { made_.nodes_.push_back(std::move(reference)); }

std::uint32_t Netlist::nodeIndex(std::string_view name) {
  if (const auto n = made_.node(name)) return n->index;
  made_.nodes_.emplace_back(name);
  return static_cast<std::uint32_t>(made_.nodes_.size() - 1);
}

void Netlist::add(std::string name, Element kind, std::string_view a, std::string_view b,
                  std::vector<double> params) {
  if (mistake_.empty() && made_.branch(name)) mistake_ = fmt::format("two elements are named {}", name);
  const auto first = static_cast<std::uint32_t>(made_.defaults_.size());
  made_.defaults_.insert(made_.defaults_.end(), params.begin(), params.end());
  const std::uint32_t node_a = nodeIndex(a);
  made_.parts_.push_back({std::move(name), kind, node_a, nodeIndex(b), first});
}

void Netlist::resistor(std::string name, std::string_view a, std::string_view b, double ohm) {
  add(std::move(name), Element::resistor, a, b, {ohm});
}
void Netlist::source(std::string name, std::string_view plus, std::string_view minus, double emf_V,
                     double series_ohm) {
  add(std::move(name), Element::source, plus, minus, {emf_V, series_ohm});
}
void Netlist::load(std::string name, std::string_view from, std::string_view to, double ampere) {
  add(std::move(name), Element::load, from, to, {ampere});
}
void Netlist::lead(std::string name, std::string_view a, std::string_view b, double mm2, double length_m,
                   double celsius) {
  add(std::move(name), Element::lead, a, b, {mm2, length_m, celsius});
}
void Netlist::fuse(std::string name, std::string_view a, std::string_view b, double rating_A, bool open) {
  for (const FuseRow& row : fuseTable())
    if (row.rating_A == rating_A)
      return add(std::move(name), Element::fuse, a, b, {row.cold_ohm, open ? 1.0 : 0.0});
  if (mistake_.empty()) mistake_ = fmt::format("no blade fuse of {} A is known for {}", rating_A, name);
}
void Netlist::toggle(std::string name, std::string_view a, std::string_view b, bool closed, double ohm) {
  add(std::move(name), Element::toggle, a, b, {ohm, closed ? 0.0 : 1.0});
}

Result<Circuit> Netlist::compile() const {
  if (!mistake_.empty()) return bad(mistake_);
  if (Status s = made_.check(made_.defaults_); !s) return s.error();
  return made_;
}

}  // namespace pin16::circuit
