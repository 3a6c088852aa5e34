// SPDX-License-Identifier: Apache-2.0
// Operating points and transients (docs/circuit.md). The linear part of a network is factored once for its
// parameters, modes and step; every element with a bent characteristic is a port of it. Newton's method then
// runs on the ports alone: v = open_V - Z * u, u being what the elements draw.
#include <fmt/core.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "core/circuit/circuit.hpp"
#include "core/circuit/elements.hpp"

namespace pin16::circuit {
namespace {

/// How far the solved network may miss Kirchhoff's laws, relative to the largest term.
constexpr double kResidualMax = 1e-9;
/// Newton's method has settled when no port moves by more than this, absolute in volts and relative.
constexpr double kSettled = 1e-9;
constexpr int kIterationsMax = 20000, kAttemptsMax = 500;
/// The part of a bent element that is stamped into the linear matrix, so that no port hangs on gmin alone.
constexpr double kDiodeBase_S = 1e-3, kSupplyBase_S = 1, kConsumerBase_S = 100;
/// An ideal constant-power load that is pulled below this has no operating point.
constexpr double kCollapsed_V = 1e-3;

// SDIRK of order 2, L-stable and stiffly accurate (Alexander 1977): both stages share one matrix.
const double kGamma = 1 - std::sqrt(0.5);
/// Difference of a step to its embedded first-order formula; the step itself is of second order.
constexpr double kStepError_V = 1e-3;
constexpr double kStepMin_s = 1e-9, kStepAfterEvent_s = 1e-5;
/// A jump that no shorter step resolves (a capacitor switched onto another) is taken by one step of backward
/// Euler, which does not overshoot: the second stage of the better formula would.
constexpr double kEuler_s = 1e-8;
/// A threshold is located to this many volts, or this time where the volts jump.
constexpr double kEvent_V = 1e-4, kEvent_s = 1e-7;

/// Steps that differ by less share a factorisation, and count as equal wherever steps are compared.
constexpr double kSameStep = 1e-9;
bool atMost(double h, double limit_s) { return h <= limit_s * (1 + 2 * kSameStep); }

Error bad(std::string what) { return {ErrorKind::input, std::move(what), "circuit", ""}; }

struct Bent {
  double ampere, siemens;
};
enum class Settled : std::uint8_t { yes, collapsed, stuck };
enum class Search : std::uint8_t { nearby, from_above, full_draw };

double restVolts(const double* p, double charge) {
  const double at = std::clamp((1 - charge) * 4, 0.0, 4.0);
  const auto i = std::min<std::size_t>(static_cast<std::size_t>(at), 3);
  const double share = at - static_cast<double>(i);
  return p[kBatteryRest + i] * (1 - share) + p[kBatteryRest + i + 1] * share;
}

/// Time in which a fuse of this make opens at a multiple of its rating; infinite if never.
double opening_s(double multiple, double slow) {
  constexpr double kLastGate = 6;
  if (multiple <= 1.1) return INFINITY;
  const OpeningBand band = openingBand(std::min(multiple, kLastGate));
  if (slow > 0 && std::isinf(band.latest_s)) return INFINITY;
  const double t_s = slow == 0
                         ? band.earliest_s
                         : std::exp((1 - slow) * std::log(band.earliest_s) + slow * std::log(band.latest_s));
  // Beyond the last gate the melting integral I^2 t holds (adiabatic).
  return multiple > kLastGate ? t_s * (kLastGate / multiple) * (kLastGate / multiple) : t_s;
}

struct Knee {
  double volts, slope;  // constant EMF above, current limit below; amperes a volt there
};
Knee knee(const double* p) {
  const double slope = p[kSupplyEmf] > 0 ? (p[kSupplyLimit] - p[kSupplyShort]) / p[kSupplyEmf] : 0;
  return {(p[kSupplyEmf] - p[kSupplyShort] * p[kSupplySeries]) / (1 + slope * p[kSupplySeries]), slope};
}

bool alwaysOn(const double* p) { return p[kConsumerStart] == 0; }

}  // namespace

struct Workspace::Impl {
  struct Port {
    std::uint32_t part;
    std::uint32_t a, b;
  };

  explicit Impl(const Circuit& c);

  Eigen::Index unknowns = 0, nodes = 0;
  std::vector<Port> ports;

  // The linear part and for what it holds.
  Eigen::MatrixXd m;
  Eigen::PartialPivLU<Eigen::MatrixXd> lu;
  Params params;
  std::vector<Mode> modes;
  double step_s = -1;
  bool dead = false, factored = false, checked = false;
  Eigen::MatrixXd incidence, columns, z, root;
  bool rooted = false;
  std::vector<double> base_S;  // of each port
  std::vector<char> active;    // the port is bent in its present mode

  // One solution of it.
  Eigen::VectorXd rhs, sources, open_x, x, residual;
  Eigen::VectorXd open_V, at_V, volts, ampere, siemens, slope, drawn_A, newton_rhs;
  Eigen::MatrixXd jacobian, hessian, product;
  Eigen::PartialPivLU<Eigen::MatrixXd> small;
  Eigen::LLT<Eigen::MatrixXd> cholesky;
  double demand = 1;  // factor on every current and power

  // A step.
  std::vector<double> begin_V, first_V, now_V, aim_V;  // of each part
  std::vector<char> passed;
  std::vector<Happening> happenings;

  State trial;
  Solution solution;
  Analysis analysis;
};

struct Circuit::Solver {
  using Port = Workspace::Impl::Port;
  const Circuit& c;
  const Params& params;
  State& state;
  Workspace::Impl& w;

  static Eigen::Index row(std::uint32_t node) { return static_cast<Eigen::Index>(node) - 1; }
  static Eigen::Index at(std::size_t i) { return static_cast<Eigen::Index>(i); }
  [[nodiscard]] const double* of(const Part& part) const { return params.data() + part.first_param; }
  [[nodiscard]] const double* of(const Port& port) const { return of(c.parts_[port.part]); }
  [[nodiscard]] const Part& partOf(const Port& port) const { return c.parts_[port.part]; }
  [[nodiscard]] Mode mode(std::size_t part) const { return state.memory[part].mode; }

  [[nodiscard]] double demandOf(const Part& part, std::size_t index) const {
    const double* p = of(part);
    return mode(index) == Mode::booting ? p[kConsumerBootAmount] : p[kConsumerAmount];
  }
  [[nodiscard]] double conductance(const Part& part, std::size_t index, double step_s, bool dead) const;
  [[nodiscard]] double portBase(const Port& port) const;
  [[nodiscard]] bool bent(const Port& port) const;
  [[nodiscard]] Bent draw(const Port& port, double volts) const;
  [[nodiscard]] double limited(const Port& port, double volts, double last_V) const;

  Status ready();
  Status prepare(double step_s, bool dead = false);
  void gatherSources(double step_s);
  bool stable();
  bool evaluate();
  double tangents(bool falling_too);
  Settled settle(Search search);
  Settled network(double step_s, Search search = Search::nearby);
  Status finish(double step_s, bool verify);
  void startRunning();

  Result<Outcome> operate(Start start);
  bool flip();
  bool served(double demand);
  Result<double> margin();

  /// A threshold passed within a step: after which share of it, and how far the end lies beyond, in volts.
  struct Pass {
    double share, beyond;
  };
  Settled attempt(double h, bool euler, double& error_V);
  Status step(double dt_s);
  [[nodiscard]] double scheduled(double h) const;
  [[nodiscard]] std::optional<Pass> pass(std::size_t i, double h) const;
  void accept(double h);

  /// Volts across an element: of the network just solved, and of the finished solution.
  [[nodiscard]] double across(std::size_t i) const {
    const Part& part = c.parts_[i];
    return (part.a != 0 ? w.x(row(part.a)) : 0) - (part.b != 0 ? w.x(row(part.b)) : 0);
  }
  [[nodiscard]] double acrossNow(std::size_t i) const {
    return w.solution.node_V[c.parts_[i].a] - w.solution.node_V[c.parts_[i].b];
  }
  static Error stuck() {
    return {ErrorKind::internal, "Newton's method did not settle on this network", "circuit", ""};
  }
};

Workspace::Impl::Impl(const Circuit& c) {
  nodes = static_cast<Eigen::Index>(c.nodes_.size()) - 1;
  unknowns = nodes;
  for (std::uint32_t i = 0; i < c.parts_.size(); ++i) {
    const auto& part = c.parts_[i];
    if (part.kind == Element::source || part.kind == Element::battery) ++unknowns;
    if (part.kind == Element::diode || part.kind == Element::supply ||
        (part.kind == Element::consumer && part.law != Law::ohmic))
      ports.push_back({i, part.a, part.b});
  }
  const auto k = static_cast<Eigen::Index>(ports.size());
  const std::size_t parts = c.parts_.size();
  m.resize(unknowns, unknowns);
  lu = Eigen::PartialPivLU<Eigen::MatrixXd>(unknowns);
  params.resize(c.defaults_.size());
  modes.resize(parts);
  incidence = Eigen::MatrixXd::Zero(unknowns, k);
  for (Eigen::Index j = 0; j < k; ++j) {
    const Port& port = ports[static_cast<std::size_t>(j)];
    if (port.a != 0) incidence(Circuit::Solver::row(port.a), j) += 1;
    if (port.b != 0) incidence(Circuit::Solver::row(port.b), j) -= 1;
  }
  columns.resize(unknowns, k);
  for (Eigen::MatrixXd* square : {&z, &root, &jacobian, &hessian, &product}) square->setZero(k, k);
  base_S.resize(ports.size());
  active.resize(ports.size());
  for (Eigen::VectorXd* v : {&rhs, &sources, &open_x, &x, &residual}) v->setZero(unknowns);
  for (Eigen::VectorXd* v : {&open_V, &at_V, &volts, &ampere, &siemens, &slope, &drawn_A, &newton_rhs})
    v->setZero(k);
  small = Eigen::PartialPivLU<Eigen::MatrixXd>(k);
  // Memory only; not by assignment, which would copy a member that a fresh one leaves unset.
  if (k > 0) cholesky.compute(Eigen::MatrixXd::Identity(k, k));
  for (std::vector<double>* v : {&begin_V, &first_V, &now_V, &aim_V}) v->resize(parts);
  passed.resize(parts);
  happenings.reserve(kHappeningsMax + 2 * parts);  // one step may bring several
  trial.memory.resize(parts);
  for (Solution* s : {&solution, &analysis.cold, &analysis.running}) {
    s->node_V.assign(c.nodes_.size(), 0);
    s->branch_A.assign(parts, 0);
  }
  analysis.cold_state.memory.resize(parts);
  analysis.running_state.memory.resize(parts);
}

Workspace::Workspace(const Circuit& circuit) : impl_(std::make_unique<Impl>(circuit)) {}
Workspace::~Workspace() = default;
Workspace::Workspace(Workspace&&) noexcept = default;
Workspace& Workspace::operator=(Workspace&&) noexcept = default;
const Solution& Workspace::solution() const { return impl_->solution; }
const Analysis& Workspace::analysis() const { return impl_->analysis; }
std::span<const Happening> Workspace::happenings() const { return impl_->happenings; }

// ---------------------------------------------------------------- elements

/// Of a linear element; 0 if it has none of its own.
double Circuit::Solver::conductance(const Part& part, std::size_t index, double step_s, bool dead) const {
  const double* p = of(part);
  switch (part.kind) {
    case Element::fuse:
      return mode(index) == Mode::melted ? 1 / kOpen_ohm : 1 / c.ohms(part, params);
    case Element::resistor:
    case Element::lead:
    case Element::toggle:
      return 1 / c.ohms(part, params);
    case Element::supply:
      if (dead) return 1 / p[kSupplySeries];
      return mode(index) == Mode::tripped ? 1 / kOpen_ohm : 0;
    case Element::capacitor:
      return step_s > 0 ? p[kCapacitorFarad] / (kGamma * step_s) : 0;
    case Element::consumer:
      if (dead || mode(index) == Mode::off) return 1 / p[kConsumerOff];
      return part.law == Law::ohmic ? 1 / demandOf(part, index) : 0;
    default:
      return 0;
  }
}

double Circuit::Solver::portBase(const Port& port) const {
  const Part& part = partOf(port);
  const double* p = of(part);
  if (part.kind == Element::diode) return kDiodeBase_S;
  if (part.kind == Element::supply) return std::min(1 / p[kSupplySeries], kSupplyBase_S);
  const double fold_V = p[kConsumerFold], demand = demandOf(part, port.part);
  if (fold_V == 0) return 0;
  return std::min(part.law == Law::power ? demand / (fold_V * fold_V) : demand / fold_V, kConsumerBase_S);
}

bool Circuit::Solver::bent(const Port& port) const {
  const Mode m = mode(port.part);
  return m != Mode::off && m != Mode::tripped;
}

/// What a bent element draws from its first node to its second, and how that changes with the volts.
Bent Circuit::Solver::draw(const Port& port, double volts) const {
  const Part& part = partOf(port);
  const double* p = of(part);
  if (part.kind == Element::diode) {
    const double scale_V = p[kDiodeIdeality] * kThermal_V;
    const double e = std::exp(std::min(volts / scale_V, 200.0));
    return {p[kDiodeSaturation] * (e - 1), p[kDiodeSaturation] / scale_V * e + kGmin_S};
  }
  if (part.kind == Element::supply) {
    if (volts >= p[kSupplyEmf]) return {0, 0};
    const Knee k = knee(p);
    if (volts >= k.volts) return {(volts - p[kSupplyEmf]) / p[kSupplySeries], 1 / p[kSupplySeries]};
    return {-(p[kSupplyShort] + k.slope * std::max(volts, 0.0)), volts > 0 ? -k.slope : 0};
  }
  const double fold_V = p[kConsumerFold];
  const double demand = demandOf(part, port.part) * w.demand;
  if (part.law == Law::current) {
    if (volts < fold_V) return {demand / fold_V * volts, demand / fold_V};
    return {demand, 0};
  }
  if (volts < fold_V) return {demand / (fold_V * fold_V) * volts, demand / (fold_V * fold_V)};
  const double v = std::max(volts, kCollapsed_V);
  return {demand / v, -demand / (v * v)};
}

/// Where to bend next: Newton's step, held back where the characteristic turns sharply.
double Circuit::Solver::limited(const Port& port, double volts, double last_V) const {
  const Part& part = partOf(port);
  const double* p = of(part);
  if (part.kind == Element::diode) {
    // SPICE's rule for junctions: beyond the knee the step counts in current, not in volts.
    const double scale_V = p[kDiodeIdeality] * kThermal_V;
    const double knee_V = scale_V * std::log(scale_V / (std::sqrt(2.0) * p[kDiodeSaturation]));
    if (volts <= knee_V || std::abs(volts - last_V) <= 2 * scale_V) return volts;
    if (last_V <= 0) return scale_V * std::log(volts / scale_V);
    const double grown = 1 + (volts - last_V) / scale_V;
    return grown > 0 ? last_V + scale_V * std::log(grown) : knee_V;
  }
  if (part.kind == Element::supply) {
    const double knee_V = knee(p).volts, emf_V = p[kSupplyEmf];
    const bool across = (last_V < knee_V && volts > emf_V) || (last_V > emf_V && volts < knee_V);
    return across ? (knee_V + emf_V) / 2 : volts;
  }
  return volts;
}

// ---------------------------------------------------------------- network

Status Circuit::Solver::ready() {
  if (state.memory.size() != c.parts_.size())
    return bad(
        fmt::format("a state of {} elements given, {} expected", state.memory.size(), c.parts_.size()));
  if (w.params.size() != c.defaults_.size() || w.modes.size() != c.parts_.size())
    return bad("the workspace belongs to another circuit");
  if (w.checked && w.params == params) return {};
  w.checked = w.factored = false;
  if (Status s = c.check(params); !s) return s;
  w.params = params;
  w.checked = true;
  return {};
}

/// Factors the linear part, unless it is still the same.
Status Circuit::Solver::prepare(double step_s, bool dead) {
  if (w.factored && w.dead == dead && w.step_s == step_s &&
      std::equal(w.modes.begin(), w.modes.end(), state.memory.begin(),
                 [](Mode m, const Memory& memory) { return m == memory.mode; }))
    return {};
  w.step_s = step_s;
  w.dead = dead;
  w.rooted = false;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) w.modes[i] = mode(i);

  const auto stamp = [&](std::uint32_t a, std::uint32_t b, double g) {
    if (a != 0) w.m(row(a), row(a)) += g;
    if (b != 0) w.m(row(b), row(b)) += g;
    if (a != 0 && b != 0) w.m(row(a), row(b)) -= g, w.m(row(b), row(a)) -= g;
  };
  w.m.setZero();
  for (Eigen::Index i = 0; i < w.nodes; ++i) w.m(i, i) = kGmin_S;
  Eigen::Index extra = w.nodes;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    if (part.kind == Element::source || part.kind == Element::battery) {
      // Row of its own: V(plus) - V(minus) + series * i = EMF, i leaving plus; so series may be 0.
      if (part.a != 0) w.m(extra, row(part.a)) += 1, w.m(row(part.a), extra) -= 1;
      if (part.b != 0) w.m(extra, row(part.b)) -= 1, w.m(row(part.b), extra) += 1;
      w.m(extra, extra) = c.ohms(part, params);
      ++extra;
      continue;
    }
    if (const double g = conductance(part, i, step_s, dead); g > 0) stamp(part.a, part.b, g);
  }
  for (std::size_t j = 0; j < w.ports.size(); ++j) {
    w.active[j] = !dead && bent(w.ports[j]) ? 1 : 0;
    w.base_S[j] = w.active[j] != 0 ? portBase(w.ports[j]) : 0;
    if (w.base_S[j] > 0) stamp(w.ports[j].a, w.ports[j].b, w.base_S[j]);
  }
  if (w.unknowns > 0) w.lu.compute(w.m);
  w.factored = true;
  for (std::size_t j = 0; j < w.ports.size(); ++j) {
    if (w.active[j] == 0) {
      w.z.col(at(j)).setZero();
      continue;
    }
    w.x = w.incidence.col(at(j));
    w.open_x = w.lu.solve(w.x);
    w.columns.col(at(j)) = w.open_x;
    for (std::size_t i = 0; i < w.ports.size(); ++i) {
      const Port& port = w.ports[i];
      w.z(at(i), at(j)) = w.active[i] == 0 ? 0
                                           : (port.a != 0 ? w.open_x(row(port.a)) : 0) -
                                                 (port.b != 0 ? w.open_x(row(port.b)) : 0);
    }
  }
  return {};
}

/// The right side: EMFs, ideal loads, and what capacitors aim at in this stage.
void Circuit::Solver::gatherSources(double step_s) {
  w.sources.setZero();
  Eigen::Index extra = w.nodes;
  const auto inject = [&](const Part& part, double ampere) {
    if (part.a != 0) w.sources(row(part.a)) += ampere;
    if (part.b != 0) w.sources(row(part.b)) -= ampere;
  };
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    const double* p = of(part);
    if (part.kind == Element::source) w.sources(extra++) = p[0];
    if (part.kind == Element::battery) w.sources(extra++) = restVolts(p, state.memory[i].quantity);
    if (part.kind == Element::load) inject(part, -p[0]);
    if (part.kind == Element::capacitor && step_s > 0)
      inject(part, p[kCapacitorFarad] / (kGamma * step_s) * w.aim_V[i]);
  }
}

/// Whether the ports' present slopes make a stable point: Z^-1 + slopes positive definite, that is with
/// Z = L L^T, 1 + L^T (slopes - base) L.
bool Circuit::Solver::stable() {
  const auto k = static_cast<Eigen::Index>(w.ports.size());
  if (!w.rooted) {
    const double little = 1e-12 * (w.z.diagonal().cwiseAbs().maxCoeff() + 1e-12);
    w.jacobian = w.z;
    w.jacobian.diagonal().array() += little;
    w.cholesky.compute(w.jacobian);
    w.root = w.cholesky.matrixLLT();
    w.root.triangularView<Eigen::StrictlyUpper>().setZero();
    w.rooted = true;
  }
  for (Eigen::Index i = 0; i < k; ++i)
    for (Eigen::Index j = 0; j < k; ++j) {
      double sum = i == j ? 1 : 0;
      for (Eigen::Index n = std::max(i, j); n < k; ++n)
        if (w.active[static_cast<std::size_t>(n)] != 0)
          sum += w.root(n, i) * (w.siemens(n) - w.base_S[static_cast<std::size_t>(n)]) * w.root(n, j);
      w.hessian(i, j) = sum;
    }
  w.cholesky.compute(w.hessian);
  return w.cholesky.info() == Eigen::Success;
}

/// What the ports draw at at_V, and their slopes there; true if a slope falls.
bool Circuit::Solver::evaluate() {
  bool falling = false;
  for (std::size_t j = 0; j < w.ports.size(); ++j) {
    const Bent b = w.active[j] != 0 ? draw(w.ports[j], w.at_V(at(j))) : Bent{0, 0};
    w.ampere(at(j)) = b.ampere;
    w.siemens(at(j)) = b.siemens;
    falling = falling || b.siemens < 0;
  }
  return falling;
}

/// The network's volts with every port replaced by its tangent, or without the falling slopes by a current.
/// Returns the largest move from at_V, relative to 1 V and more.
double Circuit::Solver::tangents(bool falling_too) {
  const std::size_t k = w.ports.size();
  for (std::size_t j = 0; j < k; ++j) {
    const Eigen::Index n = at(j);
    w.slope(n) = falling_too ? w.siemens(n) : std::max(w.siemens(n), 0.0);
    w.drawn_A(n) = w.ampere(n) - w.slope(n) * w.at_V(n);
    const double beyond_base = w.active[j] != 0 ? w.slope(n) - w.base_S[j] : 0;
    for (std::size_t i = 0; i < k; ++i) w.jacobian(at(i), n) = w.z(at(i), n) * beyond_base + (i == j ? 1 : 0);
  }
  for (std::size_t i = 0; i < k; ++i) {
    double v = w.open_V(at(i));
    for (std::size_t j = 0; j < k; ++j) v -= w.z(at(i), at(j)) * w.drawn_A(at(j));
    w.newton_rhs(at(i)) = v;
  }
  w.small.compute(w.jacobian);
  w.volts = w.small.solve(w.newton_rhs);
  double move = 0;
  for (std::size_t j = 0; j < k; ++j)
    if (w.active[j] != 0)
      move = std::max(move, std::abs(w.volts(at(j)) - w.at_V(at(j))) / (1 + std::abs(w.volts(at(j)))));
  return w.volts.allFinite() ? move : INFINITY;
}

/// Newton's method on the ports from at_V, on the way that the volts would really go (docs/circuit.md): far
/// from rest, falling slopes are left out of a step, so that it cannot jump over a stable point. `from_above`
/// knows that Newton's own steps cannot either; `full_draw` wants only the point with every consumer at or
/// above its fold.
Settled Circuit::Solver::settle(Search search) {
  constexpr double kNear = 1e-3, kTrusted = 1e-2;  // relative moves
  const std::size_t k = w.ports.size();
  bool near = true;
  double near_limit = kNear, careful_move = INFINITY;
  for (int iteration = 0; iteration < kIterationsMax; ++iteration) {
    const bool falling = evaluate();
    bool newton = !falling || near || search != Search::nearby;
    const bool unstable = falling && newton && !stable();
    if (unstable && search == Search::full_draw) return Settled::collapsed;
    newton = newton && !unstable;
    double move = tangents(newton);
    if (newton && falling && search == Search::nearby && move > kTrusted && near_limit > kSettled) {
      near = newton = false;
      near_limit = std::min(near_limit, careful_move / 2);
      move = tangents(false);
    }
    if (!std::isfinite(move)) return Settled::stuck;
    if (newton && move <= kSettled) {
      for (std::size_t j = 0; j < k; ++j)
        w.drawn_A(at(j)) =
            w.active[j] != 0 ? w.drawn_A(at(j)) + (w.slope(at(j)) - w.base_S[j]) * w.volts(at(j)) : 0;
      return Settled::yes;
    }
    if (!newton) {
      careful_move = move;
      near = move < near_limit;
    }

    // Junctions and supplies first: while one of them still moves, consumers stay where they are. Consumers
    // stop together where the first of them reaches its fold on the way down.
    bool others_settled = true;
    double share = newton && iteration >= 60 ? (iteration < 120 ? 0.5 : 0.1) : 1;  // swings? shorter steps
    for (std::size_t j = 0; j < k; ++j) {
      if (w.active[j] == 0) continue;
      const double here = w.at_V(at(j)), next = w.volts(at(j));
      if (partOf(w.ports[j]).kind != Element::consumer) {
        others_settled = others_settled && std::abs(next - here) <= 1e-4 * (1 + std::abs(next));
        continue;
      }
      const double fold_V = of(w.ports[j])[kConsumerFold];
      if (here > fold_V && next < fold_V) share = std::min(share, (here - fold_V) / (here - next));
    }
    const bool hold = !others_settled && iteration % 64 != 63;
    for (std::size_t j = 0; j < k; ++j) {
      if (w.active[j] == 0) continue;
      const Port& port = w.ports[j];
      double& here = w.at_V(at(j));
      if (partOf(port).kind != Element::consumer) {
        here = limited(port, w.volts(at(j)), here);
        continue;
      }
      if (hold) continue;
      const double fold_V = of(port)[kConsumerFold];
      const bool above = here > fold_V;
      double next = here + share * (w.volts(at(j)) - here);
      const bool floorless =
          partOf(port).law == Law::power && fold_V == 0 && demandOf(partOf(port), port.part) > 0;
      if (floorless) next = std::max(next, here / 2);
      if (above && next <= fold_V * (1 + kSettled)) {
        if (search == Search::full_draw) return Settled::collapsed;
        search = Search::nearby;
        next = fold_V * (1 - kSettled);
      }
      // At rest on an unstable point: it would not stay there; let it fall.
      here = unstable && move <= kSettled ? next - 1e-6 * (1 + std::abs(next)) : next;
      if (floorless && here < kCollapsed_V) return Settled::collapsed;
    }
  }
  return Settled::stuck;
}

/// Solves the prepared network; at_V holds where the ports begin and end.
Settled Circuit::Solver::network(double step_s, Search search) {
  gatherSources(step_s);
  if (w.unknowns == 0) return Settled::yes;
  w.open_x = w.lu.solve(w.sources);
  w.x = w.open_x;
  bool any = false;
  for (std::size_t j = 0; j < w.ports.size(); ++j) {
    const Port& port = w.ports[j];
    w.open_V(at(j)) = (port.a != 0 ? w.open_x(row(port.a)) : 0) - (port.b != 0 ? w.open_x(row(port.b)) : 0);
    any = any || w.active[j] != 0;
  }
  w.drawn_A.setZero();
  if (any) {
    if (!w.open_V.allFinite()) return Settled::stuck;
    const Settled s = settle(search);
    if (s != Settled::yes) return s;
    for (std::size_t j = 0; j < w.ports.size(); ++j)
      if (w.active[j] != 0) w.x -= w.columns.col(at(j)) * w.drawn_A(at(j));
  }
  // Ports that are not bent at present have volts all the same.
  for (std::size_t j = 0; j < w.ports.size(); ++j) {
    const Port& port = w.ports[j];
    const double v = (port.a != 0 ? w.x(row(port.a)) : 0) - (port.b != 0 ? w.x(row(port.b)) : 0);
    w.volts(at(j)) = v;
    w.at_V(at(j)) = v;
  }
  return Settled::yes;
}

/// Node volts and branch currents from x; `verify` checks Kirchhoff's laws.
Status Circuit::Solver::finish(double step_s, bool verify) {
  Solution& out = w.solution;
  out.node_V[0] = 0;
  for (Eigen::Index i = 0; i < w.nodes; ++i) out.node_V[static_cast<std::size_t>(i) + 1] = w.x(i);
  if (verify && w.unknowns > 0) {
    w.rhs = w.sources;
    for (std::size_t j = 0; j < w.ports.size(); ++j)
      if (w.active[j] != 0) w.rhs -= w.incidence.col(at(j)) * w.drawn_A(at(j));
    double scale = 0, miss = 0;
    w.residual = -w.rhs;
    for (Eigen::Index n = 0; n < w.unknowns; ++n) w.residual += w.m.col(n) * w.x(n);
    miss = w.residual.cwiseAbs().maxCoeff();
    w.residual = w.rhs.cwiseAbs();
    scale = w.residual.maxCoeff();
    w.residual.setZero();
    for (Eigen::Index n = 0; n < w.unknowns; ++n) w.residual += w.m.col(n).cwiseAbs() * std::abs(w.x(n));
    scale += w.residual.maxCoeff();
    if (!w.x.allFinite() || miss > kResidualMax * scale)
      return bad("the network has no single solution: are two sources without resistance in parallel?");
  } else if (!w.x.allFinite()) {
    return bad("the network has no single solution: are two sources without resistance in parallel?");
  }
  Eigen::Index extra = w.nodes;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    const double v = out.node_V[part.a] - out.node_V[part.b];
    double& ampere = out.branch_A[i];
    if (part.kind == Element::source || part.kind == Element::battery)
      ampere = w.x(extra++);
    else if (part.kind == Element::load)
      ampere = w.dead ? 0 : of(part)[0];
    else if (part.kind == Element::capacitor)
      ampere = step_s > 0 ? conductance(part, i, step_s, w.dead) * (v - w.aim_V[i]) : 0;
    else
      ampere = v * conductance(part, i, step_s, w.dead);
  }
  for (std::size_t j = 0; j < w.ports.size(); ++j) {
    const std::uint32_t i = w.ports[j].part;
    if (w.active[j] != 0) out.branch_A[i] = w.drawn_A(at(j)) + w.base_S[j] * w.volts(at(j));
    if (c.parts_[i].kind == Element::supply) out.branch_A[i] = -out.branch_A[i];
  }
  return {};
}

// ---------------------------------------------------------------- operating point

void Circuit::Solver::startRunning() {
  double all_V = 0;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    const double* p = of(part);
    if (part.kind == Element::source) all_V += std::abs(p[0]);
    if (part.kind == Element::battery) all_V += std::abs(restVolts(p, state.memory[i].quantity));
    if (part.kind == Element::supply) all_V += p[kSupplyEmf];
  }
  for (std::size_t j = 0; j < w.ports.size(); ++j) {
    const Part& part = partOf(w.ports[j]);
    const double* p = of(part);
    double& here = w.at_V(at(j));
    if (part.kind == Element::supply) {
      here = (knee(p).volts + p[kSupplyEmf]) / 2;
    } else if (part.kind == Element::diode) {
      const double scale_V = p[kDiodeIdeality] * kThermal_V;
      here = scale_V * std::log(scale_V / (std::sqrt(2.0) * p[kDiodeSaturation]));
    } else {
      here = all_V;
    }
  }
}

Result<Outcome> Circuit::Solver::operate(Start start) {
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    Memory& memory = state.memory[i];
    if (start == Start::state) continue;
    if (part.kind == Element::consumer) {
      const double* p = of(part);
      const Mode on = start == Start::cold && p[kConsumerBootTime] > 0 ? Mode::booting : Mode::running;
      memory.mode = start == Start::cold && !alwaysOn(p) ? Mode::off : on;
    }
    if (part.kind == Element::supply) memory.mode = Mode::steady;
  }
  if (start == Start::running) startRunning();
  if (start == Start::cold) w.at_V.setZero();
  if (start == Start::state)
    for (std::size_t j = 0; j < w.ports.size(); ++j) w.at_V(at(j)) = state.memory[w.ports[j].part].volts;

  const auto hash = [&] {
    std::uint64_t h = 14695981039346656037ULL;  // FNV-1a
    for (const Memory& memory : state.memory)
      h = (h ^ static_cast<std::uint64_t>(memory.mode)) * 1099511628211ULL;
    return h;
  };
  std::array<std::uint64_t, 256> seen{};
  for (std::size_t count = 0; count < seen.size(); ++count) {
    const std::uint64_t now = hash();
    const auto* const end = seen.begin() + count;
    if (std::find(seen.begin(), seen.begin() + count, now) != end) return Outcome::cycling;
    seen[count] = now;
    if (Status s = prepare(0); !s) return s.error();
    const Settled settled =
        network(0, start == Start::running && count == 0 ? Search::from_above : Search::nearby);
    if (settled == Settled::collapsed) return Outcome::none;
    if (settled == Settled::stuck) return stuck();
    if (Status s = finish(0, true); !s) return s.error();
    if (!flip()) {
      for (std::size_t i = 0; i < c.parts_.size(); ++i) state.memory[i].volts = acrossNow(i);
      return Outcome::one;
    }
  }
  return Error{ErrorKind::internal, "the consumers of the network do not come to rest", "circuit", ""};
}

/// One change of mode that the solved network asks for, the most pressing first; false if none.
bool Circuit::Solver::flip() {
  double most = 0;
  std::size_t which = c.parts_.size();
  bool boots = false;
  double boot_s = 0;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    if (part.kind != Element::consumer) continue;
    const double* p = of(part);
    if (mode(i) == Mode::booting) boots = true, boot_s = std::max(boot_s, p[kConsumerBootTime]);
    if (alwaysOn(p)) continue;
    const double v = acrossNow(i);
    // How far beyond its threshold, relative; at the threshold itself a consumer starts but does not stop.
    const double press = mode(i) == Mode::off   ? v / p[kConsumerStart] - 1 + 1e-12
                         : p[kConsumerStop] > 0 ? 1 - v / p[kConsumerStop] - 1e-12
                                                : 0;
    if (press > most) most = press, which = i;
  }
  if (which < c.parts_.size()) {
    Memory& memory = state.memory[which];
    const bool starts = memory.mode == Mode::off;
    memory.mode = !starts                                      ? Mode::off
                  : of(c.parts_[which])[kConsumerBootTime] > 0 ? Mode::booting
                                                               : Mode::running;
    memory.since_s = state.t_s;
    return true;
  }
  // At rest: for a boot's time, or for ever.
  for (const Port& port : w.ports) {
    Memory& memory = state.memory[port.part];
    if (partOf(port).kind != Element::supply || memory.mode == Mode::tripped) continue;
    const double* p = of(port);
    memory.limiting = acrossNow(port.part) < knee(p).volts - kSettled;
    if (!memory.limiting || p[kSupplyTrip] == 0 || (boots && boot_s < p[kSupplyTrip])) continue;
    memory.mode = Mode::tripped;
    memory.limiting = false;
    memory.since_s = state.t_s;
    return true;
  }
  if (!boots) return false;
  for (Memory& memory : state.memory)
    if (memory.mode == Mode::booting) memory.mode = Mode::running, memory.since_s = state.t_s;
  return true;
}

/// Whether every consumer runs at or above its fold and stop volts when all demands are scaled.
bool Circuit::Solver::served(double demand) {
  w.demand = demand;
  startRunning();
  const bool settled = network(0, Search::full_draw) == Settled::yes;
  w.demand = 1;
  if (!settled) return false;
  return std::all_of(w.ports.begin(), w.ports.end(), [&](const Port& port) {
    if (partOf(port).kind != Element::consumer) return true;
    const double* p = of(port);
    const double floor_V = std::max(p[kConsumerFold], p[kConsumerStop]);
    const double v = w.at_V(&port - w.ports.data());
    return p[kConsumerAmount] == 0 || v >= floor_V * (1 - kSettled);
  });
}

Result<double> Circuit::Solver::margin() {
  bool demands = false;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    if (part.kind == Element::supply) state.memory[i].mode = Mode::steady;
    if (part.kind != Element::consumer) continue;
    state.memory[i].mode = Mode::running;
    demands = demands || (part.law != Law::ohmic && of(part)[kConsumerAmount] > 0);
  }
  if (!demands) return 0.0;
  if (Status s = prepare(0); !s) return s.error();
  double low = kMarginMin, high = 1 / kMarginMin;
  if (!served(low)) return high;
  if (served(high)) return low;
  while (high / low > 1 + 1e-9) {
    const double middle = std::sqrt(low * high);
    (served(middle) ? low : high) = middle;
  }
  return 1 / std::sqrt(low * high);
}

// ---------------------------------------------------------------- transient

/// Both stages of a step of h from the state, or backward Euler's one, into now_V; the error estimate into
/// error_V.
Settled Circuit::Solver::attempt(double h, bool euler, double& error_V) {
  error_V = 0;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) w.begin_V[i] = w.aim_V[i] = state.memory[i].volts;
  for (std::size_t j = 0; j < w.ports.size(); ++j) w.at_V(at(j)) = state.memory[w.ports[j].part].volts;
  const double matrix_s = euler ? h / kGamma : h;
  if (!prepare(matrix_s)) return Settled::stuck;
  if (const Settled s = network(matrix_s); s != Settled::yes) return s;
  if (euler) {
    for (std::size_t i = 0; i < c.parts_.size(); ++i) w.now_V[i] = across(i);
    return w.x.allFinite() ? Settled::yes : Settled::stuck;
  }
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    w.first_V[i] = across(i);
    w.aim_V[i] = w.begin_V[i] + (1 - kGamma) / kGamma * (w.first_V[i] - w.begin_V[i]);
  }
  if (const Settled s = network(h); s != Settled::yes) return s;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    w.now_V[i] = across(i);
    if (c.parts_[i].kind == Element::capacitor)
      error_V = std::max(error_V, std::abs((w.now_V[i] - w.aim_V[i]) - (w.first_V[i] - w.begin_V[i])));
  }
  return w.x.allFinite() ? Settled::yes : Settled::stuck;
}

/// h, or less so that a boot, a supply's patience or a lock-out's delay ends with the step.
double Circuit::Solver::scheduled(double h) const {
  const auto until = [&](double t_s) {
    const double left_s = t_s - state.t_s;
    if (left_s > kStepMin_s) h = std::min(h, left_s);
  };
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    const double* p = of(part);
    const Memory& memory = state.memory[i];
    if (part.kind == Element::consumer) {
      if (memory.mode == Mode::booting) until(memory.since_s + p[kConsumerBootTime]);
      if (!alwaysOn(p)) until(memory.since_s + kLockoutDelay_s);
    }
    if (part.kind == Element::supply && memory.limiting && p[kSupplyTrip] > 0)
      until(memory.since_s + p[kSupplyTrip]);
  }
  return h;
}

/// The threshold that an element passes in the step just attempted.
std::optional<Circuit::Solver::Pass> Circuit::Solver::pass(std::size_t i, double h) const {
  const Part& part = c.parts_[i];
  const double* p = of(part);
  const double before_V = w.begin_V[i], after_V = w.now_V[i];
  const Memory& memory = state.memory[i];
  const auto between = [&](double limit_V) {
    return before_V == after_V ? 0 : std::clamp((limit_V - before_V) / (after_V - before_V), 0.0, 1.0);
  };
  if (part.kind == Element::consumer && !alwaysOn(p) &&
      state.t_s + h - memory.since_s >= kLockoutDelay_s - kStepMin_s) {
    // Beyond it already when the step began, it only waited for its delay, which ends with the step.
    const auto passes = [&](double limit_V, double before, double after) {
      return before >= 0 ? Pass{1, 0} : Pass{between(limit_V), after};
    };
    if (memory.mode == Mode::off && after_V >= p[kConsumerStart])
      return passes(p[kConsumerStart], before_V - p[kConsumerStart], after_V - p[kConsumerStart]);
    if (memory.mode != Mode::off && after_V < p[kConsumerStop])
      return passes(p[kConsumerStop], p[kConsumerStop] - before_V, p[kConsumerStop] - after_V);
  }
  if (part.kind == Element::watch) {
    if (before_V < p[0] && after_V >= p[0]) return Pass{between(p[0]), after_V - p[0]};
    if (before_V >= p[0] && after_V < p[0]) return Pass{between(p[0]), p[0] - after_V};
  }
  if (part.kind == Element::fuse && memory.mode != Mode::melted) {
    const double used =
        h / opening_s(std::abs(after_V) / c.ohms(part, params) / p[kFuseRating], p[kFuseSlow]);
    // Overshoot as a share of the fuse's life, on the scale of the volts' tolerance.
    if (memory.quantity + used >= 1)
      return Pass{std::max(0.0, (1 - memory.quantity) / used), (memory.quantity + used - 1) * 0.1};
  }
  return std::nullopt;
}

/// Takes the attempted step over into the state and changes modes.
void Circuit::Solver::accept(double h) {
  const auto happen = [&](std::size_t part, Happening::Kind kind) {
    w.happenings.push_back({state.t_s, Branch{static_cast<std::uint32_t>(part)}, kind});
  };
  using Kind = Happening::Kind;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) w.passed[i] = pass(i, h) ? 1 : 0;
  state.t_s += h;
  for (std::size_t i = 0; i < c.parts_.size(); ++i) {
    const Part& part = c.parts_[i];
    const double* p = of(part);
    Memory& memory = state.memory[i];
    const double ampere = w.solution.branch_A[i];
    memory.volts = w.now_V[i];
    switch (part.kind) {
      case Element::battery: {
        const double twenty_hour_A = p[kBatteryCapacity] / 20;
        const double faster =
            ampere > twenty_hour_A ? std::pow(ampere / twenty_hour_A, p[kBatteryExponent] - 1) : 1;
        memory.quantity =
            std::clamp(memory.quantity - faster * ampere * h / (3600 * p[kBatteryCapacity]), 0.0, 1.0);
        break;
      }
      case Element::fuse: {
        if (memory.mode == Mode::melted) break;
        const double multiple = std::abs(ampere) / p[kFuseRating];
        if (multiple > 1.1)
          memory.quantity += h / opening_s(multiple, p[kFuseSlow]);
        else
          memory.quantity *= std::exp(-h / kFuseCooling_s);
        if (memory.quantity < 1) break;
        memory.mode = Mode::melted;
        memory.since_s = state.t_s;
        happen(i, Kind::melts);
        break;
      }
      case Element::supply: {
        if (memory.mode == Mode::tripped) break;
        const bool limiting = memory.volts < knee(p).volts - kSettled;
        if (limiting != memory.limiting) {
          memory.limiting = limiting;
          memory.since_s = state.t_s;
          happen(i, limiting ? Kind::limits : Kind::leaves_limit);
        } else if (limiting && p[kSupplyTrip] > 0 &&
                   state.t_s >= memory.since_s + p[kSupplyTrip] - kStepMin_s) {
          memory.mode = Mode::tripped;
          memory.limiting = false;
          memory.since_s = state.t_s;
          happen(i, Kind::trips);
        }
        break;
      }
      case Element::consumer:
        if (w.passed[i] != 0) {
          const bool starts = memory.mode == Mode::off;
          memory.mode = !starts ? Mode::off : p[kConsumerBootTime] > 0 ? Mode::booting : Mode::running;
          memory.since_s = state.t_s;
          happen(i, starts ? Kind::starts : Kind::stops);
        } else if (memory.mode == Mode::booting &&
                   state.t_s >= memory.since_s + p[kConsumerBootTime] - kStepMin_s) {
          memory.mode = Mode::running;
          memory.since_s = state.t_s;
          happen(i, Kind::runs);
        }
        break;
      case Element::watch:
        if (w.passed[i] != 0) happen(i, memory.volts >= p[0] ? Kind::rises : Kind::falls);
        break;
      default:
        break;
    }
  }
}

Status Circuit::Solver::step(double dt_s) {
  const double end_s = state.t_s + dt_s;
  w.happenings.clear();
  while (end_s - state.t_s > 1e-9 * dt_s) {
    const double left_s = end_s - state.t_s;
    const double wanted_s = state.step_s > 0 ? std::min(state.step_s, left_s) : left_s;
    double h = scheduled(wanted_s);
    // Equal steps to the end, so that one factorisation serves them all.
    const bool own_choice = h == wanted_s && wanted_s < left_s;
    if (h == wanted_s) h = left_s / std::ceil(left_s / h - 1e-9);
    double error_V = 0;
    bool euler = false;
    for (int attempts = 0;; ++attempts) {
      if (attempts > kAttemptsMax) return stuck();
      if (std::abs(h - w.step_s) < kSameStep * h) h = w.step_s;
      if (attempt(h, euler, error_V) != Settled::yes) {
        if (atMost(h, kStepMin_s)) return stuck();
        h = std::max(kStepMin_s, h / 8);
        state.step_s = h;
        continue;
      }
      if (error_V > kStepError_V) {
        euler = atMost(h, kEuler_s);
        if (!euler)
          h = std::max(kEuler_s, h * std::clamp(0.9 * std::sqrt(kStepError_V / error_V), 0.02, 0.5));
        state.step_s = h;
        continue;
      }
      double first = 2, beyond = 0;
      for (std::size_t i = 0; i < c.parts_.size(); ++i)
        if (const auto p = pass(i, h)) {
          first =
              std::min(first, p->share + (p->beyond > 0 ? 0.3 * kEvent_V * (1 - p->share) / p->beyond : 0));
          beyond = std::max(beyond, p->beyond);
        }
      if (first > 1 || beyond <= kEvent_V || atMost(h, kEvent_s)) break;
      h = std::max(kEvent_s, h * std::clamp(first, 1.0 / 16, 0.9));
    }
    if (Status s = finish(euler ? h / kGamma : h, false); !s) return s;
    const std::size_t before = w.happenings.size();
    accept(h);
    double grown = error_V > 0 ? std::clamp(0.9 * std::sqrt(kStepError_V / error_V), 0.5, 4.0) : 4;
    if (grown > 0.9 && grown < 1.5) grown = 1;
    state.step_s = own_choice ? h * grown : std::max(state.step_s, h * grown);
    if (w.happenings.size() != before) state.step_s = std::min(state.step_s, kStepAfterEvent_s);
    if (w.happenings.size() >= Workspace::kHappeningsMax) return {};
  }
  state.t_s = end_s;
  return {};
}

// ---------------------------------------------------------------- the circuit's own face

void Circuit::reset(const Params& params, State& state) const {
  state.t_s = state.step_s = 0;
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    const Part& part = parts_[i];
    const double* p = params.data() + part.first_param;
    Memory& memory = state.memory[i];
    memory = {};
    memory.since_s = -1;
    if (part.kind == Element::capacitor) memory.volts = p[kCapacitorVolts];
    if (part.kind == Element::battery) memory.quantity = p[kBatteryCharge];
    if (part.kind != Element::consumer) continue;
    memory.mode = !alwaysOn(p) ? Mode::off : p[kConsumerBootTime] > 0 ? Mode::booting : Mode::running;
    if (memory.mode == Mode::booting) memory.since_s = 0;
  }
}

State Circuit::initial(const Params& params) const {
  State state;
  state.memory.resize(parts_.size());
  if (params.size() == defaults_.size()) reset(params, state);
  return state;
}

Result<Outcome> Circuit::operate(const Params& params, Start start, State& state,
                                 Workspace& workspace) const {
  Workspace::Impl& w = *workspace.impl_;
  w.trial = state;
  Solver solver{*this, params, w.trial, w};
  if (Status s = solver.ready(); !s) return s.error();
  auto outcome = solver.operate(start);
  if (outcome && *outcome == Outcome::one) state = w.trial;
  return outcome;
}

Status Circuit::analyse(const Params& params, Workspace& workspace) const {
  Workspace::Impl& w = *workspace.impl_;
  Analysis& out = w.analysis;
  if (params.size() != defaults_.size()) return check(params);
  const auto from = [&](Start start, Outcome& outcome, State& state, Solution& solution) -> Status {
    reset(params, state);
    const auto reached = operate(params, start, state, workspace);
    if (!reached) return reached.error();
    outcome = *reached;
    if (outcome == Outcome::one) solution = w.solution;
    return {};
  };
  if (Status s = from(Start::cold, out.from_cold, out.cold_state, out.cold); !s) return s;
  if (Status s = from(Start::running, out.from_running, out.running_state, out.running); !s) return s;
  bool same = out.from_cold == out.from_running;
  if (same && out.from_cold == Outcome::one) {
    for (std::size_t i = 0; same && i < parts_.size(); ++i)
      same = out.cold_state.memory[i].mode == out.running_state.memory[i].mode;
    for (std::size_t i = 0; same && i < nodes_.size(); ++i)
      same = std::abs(out.cold.node_V[i] - out.running.node_V[i]) <=
             1e-6 * (1 + std::abs(out.running.node_V[i]));
  }
  out.outcome = same ? out.from_cold : Outcome::several;
  reset(params, w.trial);
  const auto margin = Solver{*this, params, w.trial, w}.margin();
  if (!margin) return margin.error();
  out.margin = *margin;
  return {};
}

Status Circuit::step(const Params& params, double dt_s, State& state, Workspace& workspace) const {
  if (!(dt_s > 0) || !std::isfinite(dt_s))
    return bad(fmt::format("a step of {} s, expected more than 0", dt_s));
  Solver solver{*this, params, state, *workspace.impl_};
  if (Status s = solver.ready(); !s) return s;
  return solver.step(dt_s);
}

Result<Solution> Circuit::solve(const Params& params) const {
  if (params.size() != defaults_.size()) return check(params).error();
  Workspace workspace(*this);
  State state = initial(params);
  const auto outcome = operate(params, Start::running, state, workspace);
  if (!outcome) return outcome.error();
  if (*outcome == Outcome::one) return std::move(workspace.impl_->solution);
  return bad(*outcome == Outcome::none ? "the loads demand more than the network can give"
                                       : "consumers start and stop for ever");
}

Result<double> Circuit::resistance_ohm(const Params& params, Node a, Node b) const {
  if (params.size() != defaults_.size()) return check(params).error();
  Workspace workspace(*this);
  Workspace::Impl& w = *workspace.impl_;
  State state = initial(params);
  Solver solver{*this, params, state, w};
  if (Status s = solver.ready(); !s) return s.error();
  if (Status s = solver.prepare(0, true); !s) return s.error();
  // 1 A, so that volts are ohms; the network is linear and dead, so the size of the current does not matter.
  w.sources.setZero();
  if (a.index != 0) w.sources(Solver::row(a.index)) += 1;
  if (b.index != 0) w.sources(Solver::row(b.index)) -= 1;
  if (w.unknowns > 0) w.x = w.lu.solve(w.sources);
  if (Status s = solver.finish(0, true); !s) return s.error();
  return w.solution.volts(a, b);
}

}  // namespace pin16::circuit
