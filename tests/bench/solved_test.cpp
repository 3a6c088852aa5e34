// SPDX-License-Identifier: Apache-2.0
// The shipped scenarios, solved, against Ohm's law worked by hand from the figures in their scenario.toml.
// Copper: 1/58 ohm mm2/m (IEC 60028). Fuses: 7.5 A 10.85 mohm, 10 A 7.4 mohm (mini blade datasheet).
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <map>

#include "core/bench/bench.hpp"
#include "core/bench/world.hpp"
#include "tests/bench/shipped.hpp"

namespace pin16::bench {
namespace {

using event::PowerState;
using testing::HasSubstr;

/// A point of a scenario in a given condition, without noise.
double at(const Scenario& s, const char* point, PowerState power, bool interface_plugged = true) {
  Meter m;
  m.point = point;
  const auto network = Network::make(s, &m);
  if (!network) throw std::runtime_error(network.error().text());
  Condition c;
  c.power = power;
  c.interface_plugged = interface_plugged;
  for (const Module& module : s.modules) {
    const bool fed =
        module.feeds.front() == Module::Feed::slot || s.arrangement == job::Arrangement::own_battery;
    c.modules.push_back(power == PowerState::on && fed ? ModuleState::running : ModuleState::asleep);
  }
  c.interface_alive = true;
  return *network->read(c);
}

// own-battery-sound, power on. In parallel on the bus bar: other loads 6 ohm; interface 12/0.12 = 100 ohm;
// engine unit 12/1.0 = 12 ohm + lead 2/58/1.5 = 0.023 + joints 0.02 = 12.043; restraint unit 12/0.3 = 40 ohm
// + fuse 0.0074 + lead 3/58/0.75 = 0.069 + joints 0.02 = 40.097.
// 1/6 + 1/100.04 + 1/12.043 + 1/40.097 = 0.16667 + 0.00999 + 0.08304 + 0.02494 = 0.28464 S -> 3.513 ohm
// Source path 0.015 + 0.003 + 0.002 (strap) + contact 0.001 = 0.021: I = 12.6 / 3.534 = 3.565 A
// V(src) = 12.6 - 3.565 * 0.016 = 12.543; bus bar to chassis 3.565 * 3.513 = 12.525;
// strap 3.565 * 0.002 = 0.0071; I(feed) = 12.525 / 40.097 = 0.3124;
// load blade = 12.525 - 0.3124 * (0.0074 + 0.001) = 12.522.
TEST(Solved, OwnBatterySoundByHand) {
  const Scenario s = load("own-battery-sound");
  EXPECT_NEAR(at(s, "V(src+,src-)", PowerState::on), 12.543, 0.002);
  EXPECT_NEAR(at(s, "V(supplyblade,chassis)", PowerState::on), 12.525, 0.002);
  EXPECT_NEAR(at(s, "V(loadblade,chassis)", PowerState::on), 12.522, 0.002);
  EXPECT_NEAR(at(s, "V(feed,chassis)", PowerState::on), 12.522, 0.002);
  EXPECT_NEAR(at(s, "I(feed)", PowerState::on), 0.3124, 0.0005);
  EXPECT_NEAR(at(s, "V(chassis,src-)", PowerState::on), 0.0071, 0.0002);
  // Pin 16: 0.1249 A of the interface through 0.0074 + 0.02 (16) + 0.01 and 0.02 parallel (4, 5) = 0.034 ohm:
  // 12.525 - 0.0043 = 12.521.
  EXPECT_NEAR(at(s, "V(pin16,pin4)", PowerState::on), 12.521, 0.002);
  EXPECT_EQ(at(s, "lamp", PowerState::on), 1);
}

// Slot emptied: supply blade at battery voltage, load blade dead: which side is which, at no power-up.
// Rest: loads 300 ohm and interface 100 ohm: 75 ohm, 0.168 A: 12.6 - 0.168 * 0.021 = 12.5965 V.
TEST(Solved, OwnBatteryBladesTellTheSides) {
  const Scenario s = load("own-battery-sound");
  EXPECT_NEAR(at(s, "V(supplyblade,chassis)", PowerState::source), 12.5965, 0.001);
  EXPECT_NEAR(at(s, "V(loadblade,chassis)", PowerState::source), 0, 0.2);
}

// R of the feed path by the dummy: all between the EMF and the dummy's two ends, 0.015 + 0.001 + 0.003 +
// 0.001 (closed contacts: output, ignition, dummy switch is the dummy's own) + 0.002 = 0.022 ohm.
TEST(Solved, OwnBatteryFeedPath) {
  EXPECT_NEAR(at(load("own-battery-sound"), "R(feedpath)", PowerState::source), 0.022, 0.001);
}

// fed-in-place-sound, on. Restraint unit: 40 + lead 0.069 + joints 0.02 + clip 0.005 = 40.094; feed lead:
// fuse 0.01085 + 2/58/1.5 = 0.02299 + joint 0.002 + switch 0.001 = 0.0368; ground 0.005 + 0.02299 = 0.0280.
// I(feed) = 12.69 / 40.159 = 0.3160; V(src): 0.316 + 0.127 (interface) through 0.021 ohm = 12.6907;
// V(feed,chassis) = 0.3160 * 40.094 = 12.670; V(chassis,src-) = 0.3160 * 0.0280 = 0.0088.
TEST(Solved, FedInPlaceSoundByHand) {
  const Scenario s = load("fed-in-place-sound");
  EXPECT_NEAR(at(s, "V(src+,src-)", PowerState::on), 12.6907, 0.002);
  EXPECT_NEAR(at(s, "V(feed,chassis)", PowerState::on), 12.670, 0.002);
  EXPECT_NEAR(at(s, "I(feed)", PowerState::on), 0.3160, 0.0005);
  EXPECT_NEAR(at(s, "V(chassis,src-)", PowerState::on), 0.0088, 0.0003);
  EXPECT_NEAR(at(s, "V(pin16,pin4)", PowerState::on), 12.68, 0.01);
  // Path: source 0.021 + main 0.001 + 0.0368 + 0.0280 = 0.0868 ohm.
  EXPECT_NEAR(at(s, "R(feedpath)", PowerState::source), 0.0868, 0.001);
}

// Nobody feeds pin 16; the interface has its own lead: 0.127 A through 2 * (2/58/0.75 = 0.046) = 0.092 ohm:
// 12.6907 - 0.0117 - contact = 12.679.
TEST(Solved, Pin16DeadButInterfaceFed) {
  const Scenario s = load("pin16-dead-fed-in-place");
  EXPECT_NEAR(at(s, "V(pin16,pin4)", PowerState::on), 0, 0.01);
  EXPECT_NEAR(at(s, "V(interface+,interface-)", PowerState::on), 12.679, 0.002);
  EXPECT_EQ(at(s, "lamp", PowerState::on), 1);
  EXPECT_NEAR(at(s, "V(feed,chassis)", PowerState::on), 12.670, 0.002);
}

// removed-sound, on: 40 + 0.069 + 0.02 + 0.005 = 40.094 with the interface's 100 ohm beside it on the same
// post; R(feedpath) = 0.011 + 0.001 + 0.01085 + 0.02299 + 0.002 + 0.001 + 0.005 + 0.02299 = 0.0768 ohm.
// Ground: (0.3235 + 0.1298) * 0.028 = 0.0127 V.
TEST(Solved, RemovedSoundByHand) {
  const Scenario s = load("removed-sound");
  EXPECT_NEAR(at(s, "R(feedpath)", PowerState::source), 0.0768, 0.001);
  EXPECT_NEAR(at(s, "I(feed)", PowerState::on), 0.3235, 0.0005);
  EXPECT_NEAR(at(s, "V(chassis,src-)", PowerState::on), 0.0127, 0.0003);
  EXPECT_NEAR(at(s, "V(feed,chassis)", PowerState::on), 12.970, 0.002);
  // 120 || 120 = 60, one module's 30 kohm beside: 59.88; pins 0.1 ohm each: 60.08 (workshop manual: 55 to
  // 65).
  EXPECT_NEAR(at(s, "R(pin6,pin14)", PowerState::off, false), 60.08, 0.05);
}

// One end open reads 120 ohm (two vehicle workshop manuals), a third terminator 40 ohm (cable-supplier
// table).
TEST(Solved, TerminationReadsAsTheWorkshopManualsSay) {
  EXPECT_NEAR(at(load("termination-missing"), "R(pin6,pin14)", PowerState::off, false), 120, 1);
  Scenario s = load("removed-sound");
  ASSERT_TRUE(applyFault(s, fault("termination-extra")));
  EXPECT_NEAR(at(s, "R(pin6,pin14)", PowerState::off, false), 40, 0.5);
  ASSERT_TRUE(applyFault(s, fault("termination-none")));
  EXPECT_GT(at(s, "R(pin6,pin14)", PowerState::off, false), 1000) << "both missing: open (workshop manuals)";
  ASSERT_TRUE(applyFault(s, fault("bus-short")));
  EXPECT_LT(at(s, "R(pin6,pin14)", PowerState::off, false), 5) << "short (workshop manuals)";
}

// Our own footprint: an interface with a terminator of its own makes 60 ohm 40.
TEST(Solved, InterfaceTerminatorShowsOnlyWhenPlugged) {
  Scenario s = load("removed-sound");
  s.interface.termination_ohm = 120;
  EXPECT_NEAR(at(s, "R(pin6,pin14)", PowerState::off, false), 60, 0.5);
  EXPECT_NEAR(at(s, "R(pin6,pin14)", PowerState::off, true), 40, 0.5);
}

// poor-ground: 0.5 ohm + 0.023 at 0.3121 A = 0.163 V. Tied inside the interface, its own ground lead lies
// beside: pins 4 and 5 (0.011 || 0.021) + tie 0.001 = 0.0082 ohm to its minus, 0.046 from there, shared with
// its 0.127 A. 0.272 A of the 0.312 go that way: 0.046 * (0.127 + 0.272) + 0.0082 * 0.272 = 0.0206 V: a bad
// clamp that looks sound.
TEST(Solved, PoorGroundAndTheLoopThatMasksIt) {
  Scenario s = load("poor-ground");
  EXPECT_NEAR(at(s, "V(chassis,src-)", PowerState::on), 0.163, 0.002);
  s.interface.ties_grounds = true;
  EXPECT_NEAR(at(s, "V(chassis,src-)", PowerState::on), 0.0206, 0.0005);
  EXPECT_NEAR(at(s, "V(chassis,src-)", PowerState::on, false), 0.163, 0.002) << "interface unplugged";
}

// Supply-side feed. Fuse out: the load blade is dead and the rest wakes (6 ohm: about 2 A). Fuse left in: the
// module runs and only the current tells (cf. ngspice 39 cases 08a and 08b: 12.90 V at 0.45 A, 12.47 V
// at 4.45 A).
TEST(Solved, SupplySideFeed) {
  Scenario s = load("pin16-dead-fed-in-place");
  ASSERT_TRUE(applyFault(s, fault("supply-side-feed")));
  EXPECT_NEAR(at(s, "V(loadblade,chassis)", PowerState::on), 0, 0.1);
  EXPECT_NEAR(at(s, "V(supplyblade,chassis)", PowerState::on), 12.4, 0.2);
  EXPECT_GT(at(s, "I(feed)", PowerState::on), 2.0);
  s.vehicle.module_fuse_left_in = true;
  EXPECT_GT(at(s, "V(loadblade,chassis)", PowerState::on), 12);
  EXPECT_GT(at(s, "I(feed)", PowerState::on), 2.0);
}

// An ignition-fed slot reads 0 / 0 with the key off: not decisive.
TEST(Solved, IgnitionFedSlotIsUndecidable) {
  Scenario s = load("own-battery-sound");
  s.vehicle.slot_ignition_fed = true;
  EXPECT_NEAR(at(s, "V(supplyblade,chassis)", PowerState::source), 0, 0.2);
  EXPECT_NEAR(at(s, "V(loadblade,chassis)", PowerState::source), 0, 0.2);
  EXPECT_GT(at(s, "V(loadblade,chassis)", PowerState::on), 12);
}

// Levels of ISO 11898-2 transceivers (data sheet SLLSF80B): idle 2.5 V, asleep -0.1 .. 0.1 V.
TEST(Solved, BusLevels) {
  const Scenario s = load("removed-sound");
  EXPECT_NEAR(at(s, "V(pin6,pin4)", PowerState::on), 2.5, 0.05);
  EXPECT_NEAR(at(s, "V(pin14,pin4)", PowerState::on), 2.5, 0.05);
  Meter m;
  m.point = "V(pin6,pin4)";
  const auto network = Network::make(s, &m);
  Condition asleep;
  asleep.power = PowerState::on;
  asleep.modules = {ModuleState::asleep};
  EXPECT_NEAR(*network->read(asleep), 0, 0.1);
  // Dominant half of the time: mean 2.5 + 1.0 * 0.5 (derived from the typical levels 3.5 / 1.5 V).
  Condition busy = asleep;
  busy.modules = {ModuleState::running};
  busy.dominant_share = {0.5};
  EXPECT_NEAR(*network->read(busy), 3.0, 0.05);
}

std::map<std::string, double> readingsOf(const Scenario& s) {
  std::map<std::string, double> out;
  const auto all = readings(s);
  if (!all) throw std::runtime_error(all.error().text());
  for (const auto& m : *all) out[m.point + " " + std::to_string(static_cast<int>(m.power))] = m.value;
  return out;
}

/// Largest difference of any reading, in its own unit.
double distance(const std::map<std::string, double>& a, const std::map<std::string, double>& b) {
  double most = 0;
  for (const auto& [point, value] : a) most = std::max(most, std::abs(value - b.at(point)));
  return most;
}

// A verdict must follow from the readings: a scenario with another one's fault must read like the other.
TEST(Readings, FollowTheFaultsNotTheNames) {
  const Scenario sound = load("own-battery-sound");
  const Scenario fuse = load("connector-fuse-open");
  Scenario swapped = sound;
  ASSERT_TRUE(applyFault(swapped, fault("connector-fuse-open")));
  swapped.seed = fuse.seed;
  Scenario mended = fuse;
  mended.connector.fuse_open = false;
  mended.seed = sound.seed;
  EXPECT_GT(distance(readingsOf(sound), readingsOf(fuse)), 10);
  EXPECT_EQ(readingsOf(swapped), readingsOf(fuse));
  EXPECT_EQ(readingsOf(mended), readingsOf(sound));
}

TEST(Readings, CarryInstrumentUncertaintyAndCondition) {
  const auto all = readings(load("removed-sound"));
  ASSERT_TRUE(all);
  ASSERT_GT(all->size(), 10U);
  const auto path =
      std::find_if(all->begin(), all->end(), [](const auto& m) { return m.point == "R(feedpath)"; });
  ASSERT_NE(path, all->end());
  EXPECT_EQ(path->power, PowerState::source);
  EXPECT_EQ(path->condition, "10 ohm load");
  EXPECT_EQ(path->unit, "ohm");
  for (const auto& m : *all) {
    EXPECT_EQ(m.instrument, "bench");
    EXPECT_TRUE(m.point == "lamp" || m.uncertainty > 0) << m.point;
  }
}

// What a meter shows may be off by at most a quarter of its stated half width.
TEST(Readings, NoiseStaysWithinTheUncertainty) {
  const Scenario s = load("removed-sound");
  Xorshift noise(7);
  double low = 1, high = -1;
  for (int i = 0; i < 1000; ++i) {
    const double off = measured(s.meters[1], 13, PowerState::on, noise).value - 13;
    low = std::min(low, off);
    high = std::max(high, off);
  }
  EXPECT_LT(high, s.meters[1].uncertainty / 4);
  EXPECT_GT(low, -s.meters[1].uncertainty / 4);
  EXPECT_GT(high - low, s.meters[1].uncertainty / 4) << "there is noise";
}

// Every line that `bench SCENARIO --readings` prints is one that the job room takes back, value and all.
TEST(Readings, TextIsTheSyntaxOfTypedReadings) {
  for (const char* name : {"own-battery-sound", "connector-fuse-open", "removed-sound", "module-silent"}) {
    const auto all = readings(load(name));
    ASSERT_TRUE(all);
    for (const auto& m : *all) {
      const auto back = job::parseReading(readingText(m));
      ASSERT_TRUE(back) << readingText(m) << ": " << back.error().text();
      EXPECT_EQ(back->point, m.point);
      EXPECT_EQ(back->power, m.power);
      EXPECT_EQ(back->condition, m.condition);
      EXPECT_NEAR(back->value, m.value, 1e-4 + std::abs(m.value) * 1e-3) << readingText(m);
    }
  }
}

TEST(Print, ShowsEveryPointOfTheArrangement) {
  const auto own = print(load("own-battery-sound"));
  ASSERT_TRUE(own);
  for (const char* point : {"V(src+,src-)", "V(supplyblade,chassis)", "I(feed)", "R(feedpath)",
                            "V(pin16,pin4)", "R(pin6,pin14)", "V(interface+,interface-)", "lamp", "running"})
    EXPECT_THAT(*own, HasSubstr(point));
  const auto table = print(load("removed-sound"));
  EXPECT_THAT(*table, testing::Not(HasSubstr("supplyblade"))) << "there is no fuse slot on the table";
}

}  // namespace
}  // namespace pin16::bench
