// SPDX-License-Identifier: Apache-2.0
#include "core/circuit/circuit.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

namespace pin16::circuit {
namespace {

Circuit compiled(const Netlist& n) {
  auto c = n.compile();
  if (!c) throw std::runtime_error(c.error().text());
  return *c;
}

// Copper resistance per metre: AWG 18 is 0.823 mm2 and 20.95 mohm/m, AWG 20 is 0.5176 mm2 and 33.31 mohm/m
// (computed from ASTM B258 and IEC 60028 resistivity); 6 m of AWG 20 at 60 C are 0.231278 ohm.
TEST(Lead, FollowsAreaLengthAndTemperature) {
  EXPECT_NEAR(leadResistance_ohm(0.823, 1, 20), 0.02095, 0.02095 * 1e-3);
  EXPECT_NEAR(leadResistance_ohm(0.5176, 1, 20), 0.03331, 0.03331 * 1e-3);
  EXPECT_NEAR(leadResistance_ohm(0.5176, 6, 60), 0.231278, 0.231278 * 1e-3);
  EXPECT_NEAR(gaugeArea_mm2(18), 0.823, 0.0005);
  EXPECT_NEAR(gaugeArea_mm2(20), 0.5176, 0.0005);
}

// Manufacturer datasheet, mini blade family 32 V (secondary transcription): 7.5 A 10.85 mohm, 15 A 4.58 mohm.
TEST(Fuse, TakesItsColdResistanceFromTheTable) {
  Netlist n;
  n.source("B", "a", "0", 12, 0);
  n.fuse("F7", "a", "b", 7.5);
  n.fuse("F15", "b", "c", 15);
  n.load("I", "c", "0", 1);
  const Circuit c = compiled(n);
  const auto s = c.solve(c.defaults());
  ASSERT_TRUE(s);
  EXPECT_NEAR(s->volts(*c.node("a"), *c.node("b")), 0.01085, 1e-9);
  EXPECT_NEAR(s->volts(*c.node("b"), *c.node("c")), 0.00458, 1e-9);
}

// Two resistors of 120 ohm in parallel: 60; one removed: 120; a third: 40 (ISO 11898-2 termination; workshop
// manual texts). The ohmmeter sees neither EMF nor load.
TEST(Ohmmeter, ReadsTheDeadNetwork) {
  Netlist n;
  n.source("Bias", "h", "0", 2.5, 15e3);
  n.resistor("T1", "h", "l", 120);
  n.toggle("S2", "l", "x", true, 1e-6);
  n.resistor("T2", "h", "x", 120);
  n.toggle("S3", "l", "y", false, 1e-6);
  n.resistor("T3", "h", "y", 120);
  n.load("Drain", "h", "l", 0.01);
  const Circuit c = compiled(n);
  Params p = c.defaults();
  EXPECT_NEAR(*c.resistance_ohm(p, *c.node("h"), *c.node("l")), 60, 1e-3);
  p[*c.param("S2", "open")] = 1;
  EXPECT_NEAR(*c.resistance_ohm(p, *c.node("h"), *c.node("l")), 120, 1e-3);
  p[*c.param("S2", "open")] = 0;
  p[*c.param("S3", "open")] = 0;
  EXPECT_NEAR(*c.resistance_ohm(p, *c.node("h"), *c.node("l")), 40, 1e-3);
}

// 1 Mohm of leakage to 12.6 V: 12.6 * 10 / 11 = 11.45 V on a 10 Mohm meter, 12.6 * 10k / 1.01M = 0.125 V when
// loaded with 10 kohm beside it (divider).
TEST(Voltmeter, ShowsGhostVoltsThatALoadTakesAway) {
  for (const auto& [load_ohm, expected_V] : {std::pair{kOpen_ohm, 11.45}, std::pair{10e3, 0.1246}}) {
    Netlist n;
    n.source("B", "bat", "0", 12.6, 0.02);
    n.resistor("Leak", "bat", "wire", 1e6);
    n.resistor("Load", "wire", "0", load_ohm);
    n.voltmeter("Meter", "wire", "0");
    const Circuit c = compiled(n);
    EXPECT_NEAR(c.solve(c.defaults())->volts(*c.node("wire")), expected_V, expected_V * 0.01);
  }
}

TEST(Floating, NodeBehindAnOpenSwitchIsNamedAndSettlesNearZero) {
  Netlist n;
  n.source("B", "bat", "0", 12, 0.1);
  n.resistor("R", "bat", "0", 1e3);
  n.toggle("S", "bat", "lost", false);
  n.resistor("Island", "lost", "island", 10);
  const Circuit c = compiled(n);
  Params p = c.defaults();
  EXPECT_THAT(c.floating(p), testing::UnorderedElementsAre("lost", "island"));
  ASSERT_TRUE(c.solve(p));
  p[*c.param("S", "open")] = 0;
  EXPECT_THAT(c.floating(p), testing::IsEmpty());

  Netlist alone;
  alone.resistor("A", "x", "y", 100);
  const Circuit island = compiled(alone);
  const auto s = island.solve(island.defaults());
  ASSERT_TRUE(s) << "gmin keeps the matrix regular";
  EXPECT_EQ(s->volts(*island.node("x")), 0);
}

TEST(Sources, AStiffSourceHoldsItsVoltsAndReportsItsCurrent) {
  Netlist n;
  n.source("B", "a", "0", 5, 0);
  n.resistor("R", "a", "0", 10);
  const Circuit c = compiled(n);
  const auto s = c.solve(c.defaults());
  EXPECT_NEAR(s->volts(*c.node("a")), 5, 1e-12);
  EXPECT_NEAR(s->ampere(*c.branch("B")), 0.5, 1e-9);
}

TEST(Mistakes, TwoStiffSourcesInParallelHaveNoSolution) {
  Netlist n;
  n.source("A", "a", "0", 12, 0);
  n.source("B", "a", "0", 13, 0);
  const Circuit c = compiled(n);
  const auto s = c.solve(c.defaults());
  ASSERT_FALSE(s);
  EXPECT_THAT(s.error().what, testing::HasSubstr("no single solution"));
}

TEST(Mistakes, AreNamed) {
  Netlist twice;
  twice.resistor("R", "a", "0", 1);
  twice.resistor("R", "b", "0", 1);
  EXPECT_THAT(twice.compile().error().what, testing::HasSubstr("two elements are named R"));
  Netlist rating;
  rating.fuse("F", "a", "0", 6);
  EXPECT_THAT(rating.compile().error().what, testing::HasSubstr("no blade fuse of 6 A"));
  Netlist negative;
  negative.resistor("R", "a", "0", -1);
  EXPECT_THAT(negative.compile().error().what, testing::HasSubstr("resistance of R"));
  Netlist nan;
  nan.source("B", "a", "0", NAN, 1);
  EXPECT_THAT(nan.compile().error().what, testing::HasSubstr("emf_V of B"));
  Netlist fine;
  fine.resistor("R", "a", "0", 1);
  const Circuit c = compiled(fine);
  EXPECT_THAT(c.solve({}).error().what, testing::HasSubstr("0 parameters given, 1 expected"));
  EXPECT_FALSE(c.node("nowhere"));
  EXPECT_FALSE(c.branch("nothing"));
  EXPECT_FALSE(c.param("R", "emf_V"));
}

// Whatever the network, currents at every node sum to zero and power given equals power taken (Kirchhoff,
// Tellegen): here a bridge, which no series-parallel shortcut solves.
TEST(Solution, BridgeKeepsKirchhoffsLaws) {
  Netlist n;
  n.source("B", "t", "0", 10, 1);
  n.resistor("R1", "t", "l", 10);
  n.resistor("R2", "t", "r", 22);
  n.resistor("R3", "l", "0", 33);
  n.resistor("R4", "r", "0", 15);
  n.resistor("R5", "l", "r", 47);
  const Circuit c = compiled(n);
  const auto s = c.solve(c.defaults());
  const auto i = [&](const char* name) { return s->ampere(*c.branch(name)); };
  EXPECT_NEAR(i("B"), i("R1") + i("R2"), 1e-9);
  EXPECT_NEAR(i("R1"), i("R3") + i("R5"), 1e-9);
  EXPECT_NEAR(i("R4"), i("R2") + i("R5"), 1e-9);
  const double taken_W = 10 * i("R1") * i("R1") + 22 * i("R2") * i("R2") + 33 * i("R3") * i("R3") +
                         15 * i("R4") * i("R4") + 47 * i("R5") * i("R5") + 1 * i("B") * i("B");
  EXPECT_NEAR(taken_W, 10 * i("B"), 1e-8);
}

}  // namespace
}  // namespace pin16::circuit
