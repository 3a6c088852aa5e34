// SPDX-License-Identifier: Apache-2.0
// Generated networks, each solved by `ngspice -b` as well: 0.1 % agreement.
#include <algorithm>
#include <utility>

#include "tests/circuit/ngspice.hpp"

namespace pin16::circuit {
namespace {

/// A tree of resistors, so that nothing floats, then more resistors, EMFs with resistance, current loads.
Generated linear(std::uint64_t seed) {
  Xorshift random(seed);
  Generated g(fmt::format("generated {}", seed), "reltol=1e-9 abstol=1e-15 vntol=1e-12 gmin=1e-15");
  g.nodes = 4 + random.below(12);
  const auto resistor = [&](std::uint32_t a, std::uint32_t b) {
    g.resistor(a, b, std::pow(10.0, random.between(-2.5, 5)));
  };
  for (std::uint32_t i = 1; i < g.nodes; ++i) resistor(i, random.below(i));
  for (std::uint32_t i = 0; i < g.nodes; ++i) {
    const std::uint32_t a = random.below(g.nodes);
    const std::uint32_t b = random.below(g.nodes);
    if (a != b) resistor(a, b);
  }
  const std::uint32_t sources = 1 + random.below(3);
  for (std::uint32_t i = 1; i <= sources; ++i) {
    const std::uint32_t plus = 1 + random.below(g.nodes - 1);
    const std::uint32_t minus = random.below(plus);
    const double emf_V = random.between(-14, 28);
    g.source(plus, minus, emf_V, random.between(0.005, 1));
  }
  g.load(1 + random.below(g.nodes - 1), random.between(0.01, 1));
  g.printAll();
  return g;
}

/// A battery or a current-limited supply, a tree of leads and diodes, leaks, loads of constant power and
/// constant current, sometimes a second source behind a diode.
Generated bent(std::uint64_t seed) {
  Xorshift random(seed + 1000);
  Generated g(fmt::format("generated {}", seed),
              "reltol=1e-7 abstol=1e-12 vntol=1e-9 gmin=1e-12 itl1=500 itl2=500");
  g.nodes = 5 + random.below(8);
  if (random.below(3) == 0) {
    const double limit_A = random.between(1, 6);
    g.supply(1, {.emf_V = random.between(11, 15),
                 .series_ohm = random.between(0.005, 0.1),
                 .limit_A = limit_A,
                 .short_A = limit_A * random.between(0.3, 1)});
  } else {
    g.source(1, 0, random.between(9, 15), random.between(0.01, 0.5));
  }
  const auto diode = [&](std::uint32_t anode, std::uint32_t cathode) {
    const double saturation_A = random.decades(1e-12, 1e-8);
    g.diode(anode, cathode, {saturation_A, random.between(1, 2)});
  };
  for (std::uint32_t i = 2; i < g.nodes; ++i) {
    const std::uint32_t from = 1 + random.below(i - 1);
    if (random.below(4) == 0)
      diode(from, i);
    else
      g.resistor(from, i, random.decades(0.01, 1));
    g.resistor(i, 0, random.decades(300, 1e5));
  }
  if (random.below(3) == 0) {
    ++g.nodes;
    g.source(g.nodes - 1, 0, random.between(9, 14), random.between(0.02, 0.3));
    diode(g.nodes - 1, 2 + random.below(g.nodes - 3));
  }
  const std::uint32_t loads = 1 + random.below(3);
  for (std::uint32_t i = 0; i < loads; ++i) {
    const std::uint32_t plus = 2 + random.below(g.nodes - 2);
    if (random.below(3) == 0)
      g.consumer(plus, Law::current, random.between(0.05, 1), random.between(1, 6));
    else
      g.consumer(plus, Law::power, random.between(0.5, 12), random.between(2, 7));
  }
  g.printAll(12);
  return g;
}

Circuit compiled(const Generated& g) {
  auto circuit = g.netlist.compile();
  if (!circuit) throw std::runtime_error(circuit.error().text());
  return *std::move(circuit);
}

/// By how much the worst node misses, as a share of what is allowed: 0.1 % of the value; near 0 V, a
/// millionth of the largest, which is what the printed digits carry.
double worst(const std::map<std::string, double>& theirs, const Circuit& circuit, const Solution& ours) {
  double largest_V = 0, most = 0;
  for (const auto& entry : theirs) largest_V = std::max(largest_V, std::abs(entry.second));
  for (const auto& entry : theirs) {
    const std::string name = entry.first.substr(2, entry.first.size() - 3);
    const double miss_V = std::abs(ours.volts(*circuit.node(name)) - entry.second);
    most = std::max(most, miss_V / (1e-3 * std::abs(entry.second) + 1e-6 * largest_V));
  }
  return most;
}

TEST(NgspiceRandom, ThirtyGeneratedNetworksAgree) {
  PIN16_NEEDS_NGSPICE();
  for (std::uint64_t seed = 1; seed <= 30; ++seed) {
    const Generated g = linear(seed);
    const auto theirs = runNgspice(g.spice);
    ASSERT_EQ(theirs.size(), g.nodes - 1) << "no answer for\n" << g.spice;
    const Circuit circuit = compiled(g);
    const auto solution = circuit.solve(circuit.defaults());
    ASSERT_TRUE(solution) << solution.error().text();
    EXPECT_LE(worst(theirs, circuit, *solution), 1) << "seed " << seed;
  }
}

// Loads of constant power leave several answers. Ours are named by their start, the simulator's follows from
// its own search: where we say there is one, it must be that one; where we say several, one of the two.
TEST(NgspiceRandom, FiftyGeneratedNetworksWithLoadsDiodesAndSuppliesAgree) {
  PIN16_NEEDS_NGSPICE();
  int one = 0, several = 0, silent = 0;
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    const Generated g = bent(seed);
    auto theirs = runNgspice(g.spice);
    const Circuit circuit = compiled(g);
    Workspace workspace(circuit);
    const Status s = circuit.analyse(circuit.defaults(), workspace);
    ASSERT_TRUE(s) << s.error().text() << "\n" << g.spice;
    const Analysis& a = workspace.analysis();
    if (theirs.size() != g.nodes - 1) {
      ++silent;
      continue;
    }
    const double running = worst(theirs, circuit, a.running), cold = worst(theirs, circuit, a.cold);
    if (a.outcome == Outcome::one) {
      ++one;
      EXPECT_LE(running, 1) << "seed " << seed << "\n" << g.spice;
      EXPECT_LE(cold, 1) << "seed " << seed << "\n" << g.spice;
    } else {
      ASSERT_EQ(a.outcome, Outcome::several);
      ++several;
      EXPECT_LE(std::min(running, cold), 1) << "seed " << seed << "\n" << g.spice;
    }
  }
  EXPECT_GE(one, 25);
  EXPECT_GE(several, 2);
  EXPECT_LE(silent, 10) << "the simulator found no answer too often (ngspice 39: 8)";
}

/// Leads, leaks, capacitors charged to something, a diode, a load of constant power: 5 ms of it.
Generated moving(std::uint64_t seed) {
  Xorshift random(seed + 2000);
  Generated g(fmt::format("generated {}", seed), "reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-12");
  g.nodes = 4 + random.below(5);
  g.source(1, 0, random.between(9, 15), random.between(0.05, 0.5));
  for (std::uint32_t i = 2; i < g.nodes; ++i) {
    const std::uint32_t from = 1 + random.below(i - 1);
    if (random.below(4) == 0)
      g.diode(from, i, {1e-9, 1.5});
    else
      g.resistor(from, i, random.decades(0.1, 20));
    g.resistor(i, 0, random.decades(50, 1e4));
    const double farad = random.decades(10e-6, 1e-3);
    g.capacitor(i, farad, random.between(0, 14));
  }
  g.consumer(2 + random.below(g.nodes - 2), Law::power, random.between(0.5, 5), random.between(2, 6));
  g.spice += ".control\nset numdgt=12\ntran 1u 5m 0 1u uic\n";
  for (std::uint32_t i = 2; i < g.nodes; ++i)
    for (const int ms : {1, 2, 5})
      g.spice += fmt::format("meas tran m{0}_{1} FIND v(n{0}) AT={2}\n", i, ms,
                             ms == 5 ? "4.999m" : fmt::format("{}m", ms));
  g.spice += "quit\n.endc\n.end\n";
  return g;
}

TEST(NgspiceRandom, TwelveGeneratedTransientsAgree) {
  PIN16_NEEDS_NGSPICE();
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    const Generated g = moving(seed);
    const auto theirs = runNgspice(g.spice);
    const Circuit circuit = compiled(g);
    Workspace workspace(circuit);
    State state = circuit.initial(circuit.defaults());
    for (const auto& [ms, dt_s] : {std::pair{1, 1e-3}, std::pair{2, 1e-3}, std::pair{5, 2.999e-3}}) {
      const Status s = circuit.step(circuit.defaults(), dt_s, state, workspace);
      ASSERT_TRUE(s) << s.error().text();
      for (std::uint32_t i = 2; i < g.nodes; ++i) {
        const auto row = theirs.find(fmt::format("m{}_{}", i, ms));
        ASSERT_NE(row, theirs.end()) << g.spice;
        // 0.1 % of the scale of the network's volts.
        EXPECT_NEAR(workspace.solution().volts(*circuit.node(nodeName(i))), row->second, 0.012)
            << "seed " << seed << " node " << i << " at " << ms << " ms\n"
            << g.spice;
      }
    }
  }
}

}  // namespace
}  // namespace pin16::circuit
