// SPDX-License-Identifier: Apache-2.0
// Operating point of 30 nodes with two constant-power loads from cold, against one Eigen dense factor and
// solve of n = 30 in the same run: medians of interleaved samples, and their ratio. Exit 1 above kRatioMax.
#include <fmt/core.h>

#include <Eigen/Dense>
#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <vector>

#include "core/circuit/circuit.hpp"

using namespace pin16::circuit;

namespace {

constexpr double kRatioMax = 12;
constexpr int kSamples = 20001, kWarmUp = 1000;
constexpr int kNodes = 30;

/// A battery, a ladder of leads and joints with leaks, two modules that start from nothing.
Circuit network() {
  Netlist n;
  n.battery("B", "n1", "0", {});
  for (int i = 2; i <= kNodes; ++i) {
    n.resistor(fmt::format("R{}", i), fmt::format("n{}", i - 1), fmt::format("n{}", i), 0.01 + 0.001 * i);
    if (i % 3 == 0) n.resistor(fmt::format("L{}", i), fmt::format("n{}", i), "0", 1e3 * i);
    if (i % 5 == 0) n.resistor(fmt::format("X{}", i), fmt::format("n{}", i), fmt::format("n{}", i / 2), 0.5);
  }
  n.consumer("M1", fmt::format("n{}", kNodes), "0", {.amount = 8, .fold_V = 5.5});
  n.consumer("M2", fmt::format("n{}", kNodes / 2), "0", {.amount = 12, .fold_V = 6});
  auto made = n.compile();
  if (!made) {
    fmt::print(stderr, "{}\n", made.error().text());
    std::exit(2);
  }
  return *std::move(made);
}

double median(std::vector<double>& v) {
  std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
  return v[v.size() / 2];
}

template <class F>
double timed_us(const F& f) {
  const auto begin = std::chrono::steady_clock::now();
  f();
  return std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now() - begin).count();
}

}  // namespace

int main() {
  const Circuit c = network();
  Workspace workspace(c);
  Params params = c.defaults();
  const State cold = c.initial(params);
  State state = cold;
  const std::size_t varied = c.param("R7", "ohm").value();

  const Eigen::MatrixXd m =
      Eigen::MatrixXd::Random(kNodes, kNodes) + 40 * Eigen::MatrixXd::Identity(kNodes, kNodes);
  const Eigen::VectorXd b = Eigen::VectorXd::Random(kNodes);
  Eigen::PartialPivLU<Eigen::MatrixXd> lu(kNodes);
  Eigen::VectorXd x(kNodes);

  std::vector<double> ours, theirs;
  double sum = 0;
  for (int i = 0; i < kSamples + kWarmUp; ++i) {
    // Another parameter each time, so that nothing is left from the last solution.
    params[varied] = 0.01 + 1e-6 * i;
    state = cold;
    bool one = false;
    const double a = timed_us([&] {
      const auto outcome = c.operate(params, Start::cold, state, workspace);
      one = outcome && *outcome == Outcome::one;
    });
    if (!one) {
      fmt::print(stderr, "no operating point\n");
      return 2;
    }
    sum += workspace.solution().node_V[kNodes];
    const double e = timed_us([&] {
      lu.compute(m);
      x = lu.solve(b);
    });
    sum += x(0);
    if (i < kWarmUp) continue;
    ours.push_back(a);
    theirs.push_back(e);
  }
  const double a = median(ours), e = median(theirs);
  fmt::print(
      "operating point {:.2f} us, Eigen factor and solve of n = {} {:.2f} us, ratio {:.2f} (at most {}), sum "
      "{:.6f}\n",
      a, kNodes, e, a / e, kRatioMax, sum);
  return a / e <= kRatioMax ? 0 : 1;
}
