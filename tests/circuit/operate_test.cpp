// SPDX-License-Identifier: Apache-2.0
// Operating points: which, how many, how near to the limit. Closed forms for one load P behind E and R: volts
// (E +- sqrt(E^2 - 4 P R)) / 2, most power E^2 / 4 R, or v (E - v) / R where the load needs v above E / 2.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "tests/circuit/bench.hpp"
#include "tests/circuit/ngspice.hpp"

namespace pin16::circuit {
namespace {

Netlist behind(double emf_V, double ohm, const Consumer& m) {
  Netlist n;
  n.source("B", "mp", "0", emf_V, ohm);
  n.consumer("M", "mp", "0", m);
  return n;
}

TEST(Outcomes, AnIdealLoadAboveTheLimitHasNone) {
  // 30 W of E^2/(4R) = 24 W.
  Bench b(behind(12, 1.5, {.amount = 30}));
  EXPECT_EQ(b.operate(Start::running), Outcome::none);
  const State before = b.state;
  EXPECT_EQ(b.analyse().outcome, Outcome::none);
  EXPECT_NEAR(b.analyse().margin, 30.0 / 24, 1e-6);
  EXPECT_EQ(b.state.t_s, before.t_s);
  EXPECT_THAT(b.circuit.solve(b.params).error().what, testing::HasSubstr("demand more"));
}

TEST(Outcomes, AnIdealLoadBelowTheLimitRunsButCannotBeSwitchedOn) {
  Bench b(behind(12, 1.5, {.amount = 20}));
  EXPECT_EQ(b.operate(Start::cold), Outcome::none) << "at 0 V it demands infinite current";
  EXPECT_EQ(b.operate(Start::running), Outcome::one);
  EXPECT_NEAR(b.volts("mp"), 6 + std::sqrt(36 - 30), 1e-9);
  EXPECT_EQ(b.analyse().outcome, Outcome::several);
}

TEST(Outcomes, TheVoltsOfALockOutBelowItsStopThresholdCycle) {
  // Reference case 15 without its capacitor: 10 W through 3 ohm from 12 V holds 8.4495 V, below 9.0 V.
  Bench b(behind(12, 3, {.amount = 10, .fold_V = 3, .start_V = 9.5, .stop_V = 9.0}));
  EXPECT_EQ(b.analyse().outcome, Outcome::cycling);
  EXPECT_THAT(b.circuit.solve(b.params).error().what, testing::HasSubstr("start and stop"));
  // P/Pmax with the stop threshold as floor: 10 / (9 * (12 - 9) / 3).
  EXPECT_NEAR(b.analyse().margin, 10.0 / 9, 1e-6);
  b.set("M", "stop_V", 8.4);
  EXPECT_EQ(b.analyse().outcome, Outcome::one);
  EXPECT_NEAR(b.analyse().running.volts(*b.circuit.node("mp")), 6 + std::sqrt(36 - 30), 1e-9);
}

TEST(Outcomes, ALockOutThatNeverStartsStaysOffAndARunningOneStays) {
  Bench b(behind(9, 0.5, {.amount = 5, .fold_V = 3, .start_V = 10, .stop_V = 7, .off_ohm = 24e3}));
  EXPECT_EQ(b.operate(Start::cold), Outcome::one);
  EXPECT_EQ(b.mode("M"), Mode::off);
  EXPECT_NEAR(b.ampere("M"), 9 / 24000.5, 1e-9);
  EXPECT_EQ(b.operate(Start::running), Outcome::one);
  EXPECT_EQ(b.mode("M"), Mode::running);
  EXPECT_NEAR(b.volts("mp"), 4.5 + std::sqrt(20.25 - 2.5), 1e-9);
  // From there on a given state remembers that it runs.
  b.set("B", "emf_V", 8.5);
  EXPECT_EQ(b.operate(Start::state), Outcome::one);
  EXPECT_EQ(b.mode("M"), Mode::running);
  b.set("B", "emf_V", 7);
  EXPECT_EQ(b.operate(Start::state), Outcome::one);
  EXPECT_EQ(b.mode("M"), Mode::off);
  b.set("B", "emf_V", 9.9);
  EXPECT_EQ(b.operate(Start::state), Outcome::one);
  EXPECT_EQ(b.mode("M"), Mode::off);
  EXPECT_EQ(b.analyse().outcome, Outcome::several);
}

// A boot that pulls the volts under the stop threshold: runs if running, cycles if switched on.
TEST(Outcomes, ABootMayCycleWhereRunningHolds) {
  Bench b(
      behind(12, 1, {.amount = 4, .fold_V = 3, .start_V = 9, .stop_V = 8, .boot_amount = 34, .boot_s = 1}));
  EXPECT_EQ(b.operate(Start::running), Outcome::one);
  EXPECT_EQ(b.operate(Start::cold), Outcome::cycling);
  EXPECT_EQ(b.analyse().outcome, Outcome::several);
  EXPECT_EQ(b.analyse().from_cold, Outcome::cycling);
  EXPECT_EQ(b.analyse().from_running, Outcome::one);
  b.set("M", "boot_amount", 20);
  EXPECT_EQ(b.operate(Start::cold), Outcome::one);
  EXPECT_EQ(b.mode("M"), Mode::running);
}

TEST(Margin, CountsTheFoldVoltsAsFloor) {
  // Full power only above 8 V, which is above E/2: Pmax = 8 * (12 - 8) / 1.5.
  Bench b(behind(12, 1.5, {.amount = 20, .fold_V = 8}));
  EXPECT_NEAR(b.analyse().margin, 20 / (8 * 4 / 1.5), 1e-6);
}

TEST(Margin, OfTwoLoadsIsTheirCommonFactor) {
  // Both at one node: 8 W and 12 W are 20 W of 24 W. And a current load: 2 A of (12 - 6) / 1.5 = 4 A at its
  // fold.
  Netlist n = behind(12, 1.5, {.amount = 8, .fold_V = 3});
  n.consumer("M2", "mp", "0", {.amount = 12, .fold_V = 3});
  EXPECT_NEAR(Bench(n).analyse().margin, 20.0 / 24, 1e-6);
  EXPECT_NEAR(Bench(behind(12, 1.5, {.law = Law::current, .amount = 2, .fold_V = 6})).analyse().margin, 0.5,
              1e-6);
  EXPECT_EQ(Bench(behind(12, 1.5, {.law = Law::ohmic, .amount = 6})).analyse().margin, 0);
}

TEST(Consumer, OfResistanceAndCurrentFollowsOhm) {
  Bench r(behind(12, 1.5, {.law = Law::ohmic, .amount = 4.5}));
  EXPECT_EQ(r.analyse().outcome, Outcome::one);
  EXPECT_NEAR(r.analyse().cold.volts(*r.circuit.node("mp")), 9, 1e-9);
  Bench i(behind(12, 1.5, {.law = Law::current, .amount = 2, .fold_V = 6}));
  EXPECT_EQ(i.operate(Start::cold), Outcome::one);
  EXPECT_NEAR(i.volts("mp"), 9, 1e-9);
  // Below its fold it is 3 ohm: 5 V * 3 / 4.5.
  i.set("B", "emf_V", 5);
  EXPECT_EQ(i.operate(Start::running), Outcome::one);
  EXPECT_NEAR(i.volts("mp"), 5 * 3 / 4.5, 1e-9);
}

TEST(Consumer, ConnectedTheWrongWayRoundIsStillPassive) {
  Netlist n;
  n.source("B", "0", "mp", 12, 1);
  n.consumer("M", "mp", "0", {.amount = 9, .fold_V = 3});
  Bench b(n);
  EXPECT_EQ(b.analyse().outcome, Outcome::one);
  EXPECT_NEAR(b.analyse().running.volts(*b.circuit.node("mp")), -6, 1e-9) << "1 ohm against 3^2/9 ohm";
}

// A source into a load line: current limit on a line from 3 A at 12 V to 1 A at 0 V.
TEST(Supply, HoldsItsVoltsThenFoldsBackOnItsLine) {
  Netlist n;
  n.supply("S", "p", "0", {.emf_V = 12, .series_ohm = 0.1, .limit_A = 3, .short_A = 1});
  n.resistor("R", "p", "0", 6);
  Bench b(n);
  EXPECT_EQ(b.operate(Start::cold), Outcome::one);
  EXPECT_NEAR(b.ampere("S"), 12 / 6.1, 1e-9);
  b.set("R", "ohm", 2);  // v / 2 = 1 + v / 6
  EXPECT_EQ(b.operate(Start::cold), Outcome::one);
  EXPECT_NEAR(b.volts("p"), 3, 1e-9);
  EXPECT_NEAR(b.ampere("S"), 1.5, 1e-9);
  b.set("R", "ohm", 1e-3);
  EXPECT_EQ(b.operate(Start::running), Outcome::one);
  EXPECT_NEAR(b.ampere("S"), 1, 1e-3);
}

TEST(Supply, TakesNoCurrentBackAndALoadLatchesItsFoldback) {
  Netlist n;
  n.supply("S", "p", "0", {.emf_V = 12, .series_ohm = 0.01, .limit_A = 3, .short_A = 0.5});
  n.source("B", "q", "0", 13, 0.1);
  n.toggle("K", "q", "p", true);
  n.consumer("M", "p", "0", {.law = Law::current, .amount = 2, .fold_V = 1});
  Bench b(n);
  EXPECT_EQ(b.operate(Start::running), Outcome::one);
  EXPECT_NEAR(b.ampere("S"), 0, 1e-9);
  // Alone: at full volts 2 A are within 3 A; from 0 V a load of 2 A meets only 0.5 A and never gets up.
  b.set("K", "open", 1);
  EXPECT_EQ(b.analyse().outcome, Outcome::several);
  EXPECT_NEAR(b.analyse().running.volts(*b.circuit.node("p")), 11.98, 1e-6);
  EXPECT_NEAR(b.analyse().cold.volts(*b.circuit.node("p")), 0.5 / (2 - 2.5 / 12), 1e-6)
      << "2 v = 0.5 + v 2.5/12";
}

TEST(Supply, ThatIsPatientOnlySoLongCutsOff) {
  Netlist n;
  n.supply("S", "p", "0", {.emf_V = 12, .series_ohm = 0.1, .limit_A = 3, .short_A = 3, .trip_s = 0.2});
  n.resistor("R", "p", "0", 1);
  Bench b(n);
  EXPECT_EQ(b.operate(Start::cold), Outcome::one);
  EXPECT_EQ(b.mode("S"), Mode::tripped);
  EXPECT_NEAR(b.volts("p"), 0, 1e-6);
  b.set("R", "ohm", 10);
  EXPECT_EQ(b.operate(Start::state), Outcome::one);
  EXPECT_NEAR(b.volts("p"), 0, 1e-6) << "stays off";
  EXPECT_EQ(b.operate(Start::cold), Outcome::one) << "switched off and on";
  EXPECT_NEAR(b.volts("p"), 12 * 10 / 10.1, 1e-6);
}

// Shockley's equation at 27 C, by hand: I = 1e-9 * (exp(0.6 / (1.5 * 0.025864186)) - 1) = 5.2096 mA at 0.6 V.
TEST(Diode, FollowsItsEquationBothWays) {
  Netlist n;
  n.diode("D", "a", "0", {.saturation_A = 1e-9, .ideality = 1.5});
  n.source("V", "a", "0", 0.6, 0);
  Bench b(n);
  EXPECT_EQ(b.operate(Start::cold), Outcome::one);
  EXPECT_NEAR(b.ampere("D"), 1e-9 * (std::exp(0.6 / (1.5 * 0.025864186)) - 1), 1e-9);
  b.set("V", "emf_V", -12);
  EXPECT_EQ(b.operate(Start::running), Outcome::one);
  EXPECT_NEAR(b.ampere("D"), -1e-9, 1e-10);
}

// Boltzmann 1.380649e-23 J/K and 1.602176634e-19 C (SI 2019) at 300.15 K.
TEST(Diode, ThermalVoltsAreThoseOf27C) {
  EXPECT_NEAR(kThermal_V, 1.380649e-23 * 300.15 / 1.602176634e-19, 1e-6);
}

// Typical levels of ISO 11898-2 transceivers, data sheet SLLSF80B: recessive 2.5 V, dominant 3.5 V and 1.5 V
// at 60 ohm, about 0 V with biasing off.
TEST(BusWires, StandWhereTheDataSheetSays) {
  Netlist n;
  n.transceiver("a", "high", "low", "0");
  n.transceiver("b", "high", "low", "0");
  n.resistor("T1", "high", "low", 120);
  n.resistor("T2", "high", "low", 120);
  n.resistor("Short", "high", "0", kOpen_ohm);
  Bench b(n);
  const auto levels = [&](double high_V, double low_V, double tolerance_V) {
    ASSERT_EQ(b.operate(Start::cold), Outcome::one);
    EXPECT_NEAR(b.volts("high"), high_V, tolerance_V);
    EXPECT_NEAR(b.volts("low"), low_V, tolerance_V);
  };
  levels(0, 0, 0.01);
  ASSERT_TRUE(drive(b.circuit, b.params, "a", Wire::recessive));
  ASSERT_TRUE(drive(b.circuit, b.params, "b", Wire::recessive));
  levels(2.5, 2.5, 0.01);
  ASSERT_TRUE(drive(b.circuit, b.params, "a", Wire::dominant));
  levels(3.5, 1.5, 0.02);
  // One terminator lost: 2 * 45 ohm and 120 ohm share 5 V.
  b.set("T2", "ohm", kOpen_ohm);
  levels(2.5 + 2.5 * 120 / 210, 2.5 - 2.5 * 120 / 210, 0.03);
  b.set("Short", "ohm", 0.1);
  levels(0.01, 0.0, 0.02);
  EXPECT_FALSE(drive(b.circuit, b.params, "c", Wire::dominant));
  // ISO 11898-2 termination with the transceivers' input resistance beside it.
  b.set("T2", "ohm", 120);
  b.set("Short", "ohm", kOpen_ohm);
  ASSERT_TRUE(drive(b.circuit, b.params, "a", Wire::off));
  EXPECT_NEAR(*b.circuit.resistance_ohm(b.params, *b.circuit.node("high"), *b.circuit.node("low")), 60, 0.5);
}

// Where the search ends must be where the volts would go by themselves: the same loads with a capacitor at
// each, from 0 V and from full volts, left alone for two seconds.
TEST(Starts, EndWhereTheVoltsGoByThemselves) {
  int bistable = 0;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    Xorshift random(seed);
    Netlist steady, moving;
    const double emf_V = random.between(8, 15), ohm = random.between(0.05, 1.5);
    const int loads = 1 + static_cast<int>(random.below(3));
    for (Netlist* n : {&steady, &moving}) n->source("B", "n0", "0", emf_V, ohm);
    for (int i = 1; i <= loads; ++i) {
      const auto from = fmt::format("n{}", random.below(static_cast<std::uint32_t>(i)));
      const auto to = fmt::format("n{}", i), name = fmt::format("M{}", i);
      const double lead_ohm = random.between(0.05, 1);
      // Near what the source can give, folding low or high.
      const double share = random.between(0.1, 1.1) / loads;
      const Consumer c{.amount = share * emf_V * emf_V / 4 / (ohm + lead_ohm),
                       .fold_V = random.between(0.5, 6)};
      for (Netlist* n : {&steady, &moving}) {
        n->resistor("R" + name, from, to, lead_ohm);
        n->consumer(name, to, "0", c);
      }
      moving.capacitor("C" + name, to, "0", 1e-3);
    }
    Bench at_rest(steady);
    Bench by_itself(moving);
    const Analysis& a = at_rest.analyse();
    ASSERT_EQ(a.from_cold, Outcome::one) << seed;
    ASSERT_EQ(a.from_running, Outcome::one) << seed;
    bistable += a.outcome == Outcome::several ? 1 : 0;
    for (const bool cold : {true, false}) {
      for (int i = 1; i <= loads; ++i)
        by_itself.set(fmt::format("CM{}", i).c_str(), "volts", cold ? 0 : emf_V);
      by_itself.state = by_itself.circuit.initial(by_itself.params);
      ASSERT_TRUE(by_itself.circuit.step(by_itself.params, 2, by_itself.state, by_itself.workspace));
      const Solution& expected = cold ? a.cold : a.running;
      for (int i = 1; i <= loads; ++i) {
        const auto node = fmt::format("n{}", i);
        EXPECT_NEAR(by_itself.volts(node.c_str()), expected.volts(*at_rest.circuit.node(node)), 1e-3)
            << "seed " << seed << (cold ? " cold" : " running");
      }
    }
  }
  EXPECT_GE(bistable, 20);
}

TEST(Mistakes, OfTheNewElementsAreNamed) {
  const auto what = [](const Netlist& n) {
    const auto c = n.compile();
    return c ? std::string() : c.error().what;
  };
  EXPECT_THAT(what(behind(12, 1, {.amount = 5, .start_V = 7, .stop_V = 8})),
              testing::HasSubstr("stop_V of M"));
  EXPECT_THAT(what(behind(12, 1, {.amount = -5})), testing::HasSubstr("amount of M"));
  Netlist battery;
  battery.battery("B", "a", "0", {.charge = 1.2});
  EXPECT_THAT(what(battery), testing::HasSubstr("charge of B is 1.2, expected 0 to 1"));
  Netlist supply;
  supply.supply("S", "a", "0", {.limit_A = 2, .short_A = 3});
  EXPECT_THAT(what(supply), testing::HasSubstr("short_A of S"));
  Netlist capacitor;
  capacitor.capacitor("C", "a", "0", 0);
  EXPECT_THAT(what(capacitor), testing::HasSubstr("farad of C"));
  Netlist stiff;
  stiff.source("A", "a", "0", 12, 0);
  stiff.source("B", "a", "0", 13, 0);
  Bench b(stiff);
  EXPECT_THAT(b.circuit.operate(b.params, Start::cold, b.state, b.workspace).error().what,
              testing::HasSubstr("no single solution"));
  const Circuit other = compiled(behind(12, 1, {.amount = 5}));
  State state = other.initial(other.defaults());
  state.memory.pop_back();
  Workspace workspace(other);
  EXPECT_FALSE(other.operate(other.defaults(), Start::cold, state, workspace));
  EXPECT_FALSE(
      other.operate(other.defaults(), Start::cold, state = other.initial(other.defaults()), b.workspace));
  EXPECT_FALSE(other.step(other.defaults(), -1, state, workspace));
}

}  // namespace
}  // namespace pin16::circuit
