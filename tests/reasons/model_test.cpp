// SPDX-License-Identifier: Apache-2.0
// The model's small networks against core/bench's, which core/circuit solves (and that ngspice).
#include "core/reasons/model.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "core/bench/network.hpp"

namespace pin16::reasons {
namespace {

/// The same bench in the words of a scenario: nothing but resistances and EMFs differ from its defaults.
bench::Scenario scenarioOf(const Bench& b) {
  bench::Scenario s;
  s.arrangement = b.arrangement;
  s.source.emf_V = b.emf_V, s.source.series_ohm = b.series_ohm;
  s.rig.feed = s.rig.ground = {1000, 0.01};
  s.rig.joint_ohm = b.lead_ohm - 0.005, s.rig.clip_ohm = 0.005;
  s.rig.clamp_ohm = b.clamp_ohm;
  s.vehicle.main_ohm = b.main_ohm, s.vehicle.loads_on_ohm = b.others_ohm, s.vehicle.ground_ohm = b.clamp_ohm;
  s.connector.fed_from = b.arrangement == Arrangement::own_battery ? bench::Connector::Feed::bus_bar
                                                                   : bench::Connector::Feed::source;
  s.connector.pin16_ohm = b.pin16_ohm, s.connector.pin4_ohm = b.pin4_ohm, s.connector.pin5_ohm = b.pin5_ohm;
  s.interface.current_A = 12 / b.interface_ohm;
  if (b.term_trunk_ohm >= kOpen_ohm) s.bus.terminations_ohm.clear();
  if (b.between_ohm < kOpen_ohm) s.bus.short_between_ohm = b.between_ohm;
  if (b.high_ground_ohm < kOpen_ohm) s.bus.high_to_ground_ohm = b.high_ground_ohm;
  if (b.low_ground_ohm < kOpen_ohm) s.bus.low_to_ground_ohm = b.low_ground_ohm;
  if (b.high_supply_ohm < kOpen_ohm) s.bus.high_to_supply_ohm = b.high_supply_ohm;
  if (b.low_supply_ohm < kOpen_ohm) s.bus.low_to_supply_ohm = b.low_supply_ohm;
  bench::Module m;
  m.name = "module";
  m.harness = {1000, 0.01};
  m.feed_ohm = b.wire_ohm, m.ground_ohm = b.module_ground_ohm;
  m.run_A = b.run_A, m.boot_A = b.boot_A;
  s.modules = {m};
  return s;
}

/// A plain bench: two terminators on the trunk, no gateway, nobody else, no frames.
Bench plain(Arrangement a, std::uint64_t seed) {
  Draw d(seed);
  Bench b = soundBench({a, false}, d);
  b.rig_fuse_ohm = 0.01085, b.module_fuse_ohm = 0.0074,
  b.connector_fuse_ohm = 0.0074;  // cold, as core/circuit's table
  b.limit_A = 0, b.own_lead = false, b.connector_fed = true, b.needs_second = b.needs_wake = false;
  b.connector_behind_fuse = false, b.returns_by_4 = b.returns_by_5 = true;
  b.contact16_ohm = b.contact4_ohm = 0.001;
  b.term_trunk_ohm = b.term_far_ohm = 120, b.far_in_module = false;
  b.input_ohm = 15e3, b.bias_leak_ohm = 1e6, b.driver_ohm = 45;
  b.others = false, b.sends = false;
  return b;
}

class AgainstTheBench : public testing::TestWithParam<Arrangement> {};

void compare(const Bench& b) {
  const Predicted p = predict(b);
  const bench::Scenario s = scenarioOf(b);
  bench::Condition on;
  on.power = event::PowerState::on;
  on.modules = {bench::ModuleState::running};
  on.interface_alive = true;
  struct Point {
    R reading;
    const char* name;
    double within;
  };
  const bool rig = b.arrangement != Arrangement::own_battery;
  for (const Point& x : {Point{R::v_src_on, "V(src+,src-)", 0.03},
                         {R::v_pin16_pin4, "V(pin16,pin4)", 0.05},
                         {R::v_pin16_chassis, "V(pin16,chassis)", 0.05},
                         {R::v_chassis, "V(chassis,src-)", 0.02},
                         {R::v_feed_chassis, "V(feed,chassis)", 0.05},
                         {R::v_pin4, "V(pin4,src-)", 0.03},
                         {R::v_pin6_pin4, "V(pin6,pin4)", 0.05},
                         {R::v_pin14_pin4, "V(pin14,pin4)", 0.05},
                         {R::i_feed, "I(feed)", 0.02}}) {
    if (!rig && x.reading == R::v_feed_chassis) continue;  // the same point as the slot's load side there
    bench::Meter meter;
    meter.point = x.name;
    const auto network = bench::Network::make(s, &meter);
    ASSERT_TRUE(network) << network.error().text();
    const auto value = network->read(on);
    ASSERT_TRUE(value) << value.error().text();
    EXPECT_NEAR(p[x.reading], *value, x.within + 0.01 * std::abs(*value)) << x.name;
  }
  bench::Condition off;
  off.modules = {bench::ModuleState::asleep};
  off.interface_plugged = false;
  bench::Meter ohms;
  ohms.point = "R(pin6,pin14)";
  const auto network = bench::Network::make(s, &ohms);
  ASSERT_TRUE(network);
  const auto between = network->read(off);
  ASSERT_TRUE(between);
  if (*between < 1e3)
    EXPECT_NEAR(p[R::r_pin6_pin14] / *between, 1, 0.02);
  else
    EXPECT_GT(p[R::r_pin6_pin14], 1e3);
}

TEST_P(AgainstTheBench, SoundBenches) {
  for (std::uint64_t seed = 1; seed <= 10; ++seed) {
    SCOPED_TRACE(seed);
    compare(plain(GetParam(), seed));
  }
}

TEST_P(AgainstTheBench, BenchesWithFaults) {
  using Change = void (*)(Bench&);
  const Change changes[] = {
      [](Bench& b) { b.clamp_ohm = 3; },
      [](Bench& b) { b.pin16_ohm = 40; },
      [](Bench& b) { b.pin4_ohm = b.pin5_ohm = 6; },
      [](Bench& b) { b.between_ohm = 2; },
      [](Bench& b) { b.high_ground_ohm = 2; },
      [](Bench& b) { b.low_ground_ohm = 1; },
      [](Bench& b) { b.high_supply_ohm = 2; },
      [](Bench& b) { b.low_supply_ohm = 2; },
      [](Bench& b) { b.term_trunk_ohm = b.term_far_ohm = kOpen_ohm; },
      [](Bench& b) { b.emf_V = 11.6, b.series_ohm = 0.3; },
      [](Bench& b) { b.lead_ohm = 1.5; },
      [](Bench& b) { b.wire_ohm = 1; },
  };
  for (std::size_t i = 0; i < std::size(changes); ++i) {
    SCOPED_TRACE(i);
    Bench b = plain(GetParam(), 20 + i);
    changes[i](b);
    b.run_A = 0.2, b.boot_A = 0.4, b.start_V = 7, b.stop_V = 6;
    compare(b);
  }
}

INSTANTIATE_TEST_SUITE_P(Each, AgainstTheBench,
                         testing::Values(Arrangement::own_battery, Arrangement::fed_in_place,
                                         Arrangement::removed));

// can_physical.csv, termination rows ("two vehicle workshop manuals"): 60, one end open 120, short 0 to 5,
// and a short to ground or supply does not show between the wires.
TEST(Model, TerminationReadsAsTheWorkshopManualsSay) {
  Bench b = plain(Arrangement::own_battery, 3);
  EXPECT_NEAR(predict(b)[R::r_pin6_pin14], 60, 1.5);
  b.term_far_ohm = kOpen_ohm;
  EXPECT_NEAR(predict(b)[R::r_pin6_pin14], 120, 3);
  b.term_trunk_ohm = kOpen_ohm;
  EXPECT_GT(predict(b)[R::r_pin6_pin14], 1000);
  b = plain(Arrangement::own_battery, 3);
  b.between_ohm = 3;
  EXPECT_LE(predict(b)[R::r_pin6_pin14], 5);
  b = plain(Arrangement::own_battery, 3);
  b.high_ground_ohm = 0.5;
  EXPECT_NEAR(predict(b)[R::r_pin6_pin14], 60, 1.5);
  EXPECT_LE(predict(b)[R::r_pin6_pin4], 1.5);
}

// can_physical.csv: recessive 2.0 to 3.0 V while powered, about 0 V with the biasing off (data sheet
// SLLSF80B).
TEST(Model, IdleWiresAreAtTwoAndAHalfVoltsAndAsleepAtZero) {
  Bench b = plain(Arrangement::removed, 4);
  EXPECT_GE(predict(b)[R::v_pin6_pin4], 2.0);
  EXPECT_LE(predict(b)[R::v_pin6_pin4], 3.0);
  b.asleep = true, b.interface_dead = true;
  EXPECT_NEAR(predict(b)[R::v_pin6_pin4], 0, 0.1);
}

// What is tried at the bench tells more than an answer: a fault behind another shows once the first is given.
TEST(Model, WhatIsGivenStartsTheModuleThoughAnotherFaultKeepsItSilent) {
  Bench b = plain(Arrangement::removed, 6);
  b.needs_second = true, b.second_given = false;
  EXPECT_EQ(predict(b)[R::answer_feed2], 1);
  EXPECT_EQ(predict(b)[R::answer_wake], 0);
  b.rate_wrong = true;
  EXPECT_EQ(predict(b)[R::answer_feed2], 2);
  b.wire_ohm = kOpen_ohm;
  EXPECT_EQ(predict(b)[R::answer_feed2], 0);

  b = plain(Arrangement::removed, 6);
  b.asleep = true;
  EXPECT_EQ(predict(b)[R::answer_wake], 1);
  b.rate_wrong = true;
  EXPECT_EQ(predict(b)[R::answer_wake], 2);

  b = plain(Arrangement::removed, 6);
  b.bus_side_dead = true;
  EXPECT_EQ(predict(b)[R::answer_otherif], 1);
  b.locked = true;  // the other interface's frames are acknowledged, its requests are not answered
  EXPECT_EQ(predict(b)[R::answer_otherif], 3);
}

TEST(Model, LoneSenderTurnsPassiveAndNeverBusOff) {  // ISO 11898-1, rule on acknowledge errors
  Bench b = plain(Arrangement::removed, 5);
  b.dead_open = true;
  const Predicted p = predict(b);
  EXPECT_EQ(p[R::error_class], 1);
  EXPECT_EQ(p[R::controller_state], 1);
}

}  // namespace
}  // namespace pin16::reasons
