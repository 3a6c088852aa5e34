// SPDX-License-Identifier: Apache-2.0
// Faults of the supply network, of the wires and of modules that the field knows: each by hand from the
// figures of the shipped scenarios, and a walk over all of them: one that nobody could notice is none.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <map>

#include "core/bench/bench.hpp"
#include "core/bench/world.hpp"
#include "tests/bench/shipped.hpp"

namespace pin16::bench {
namespace {

using event::CanFrame;
using event::PowerState;
using job::Arrangement;

struct Seen : World::Observer {
  std::map<std::uint32_t, int> frames;  // of others
  int outbound = 0;
  Ns answered_ns = kNoTime;
  Bytes answer;
  std::uint32_t answer_id = 0;
  Ns asked_ns = kNoTime;
  void onFrame(Ns t_ns, const CanFrame& f, bool ours) override {
    if (f.error()) return;
    if (ours) {
      ++outbound;
      return;
    }
    ++frames[f.id()];
    if (f.id() == answer_id && answered_ns == kNoTime && asked_ns != kNoTime)
      answered_ns = t_ns, answer.assign(f.payload().begin(), f.payload().end());
  }
  void onSample(Ns, const event::Measurement&) override {}
  void onPower(Ns, const event::Power&) override {}
  void onController(Ns, std::string_view, int) override {}
};

Condition condition(const Scenario& s, PowerState power) {
  Condition c;
  c.power = power;
  for (const Module& m : s.modules) {
    const bool fed = m.feeds.front() == Module::Feed::slot || s.arrangement == Arrangement::own_battery;
    c.modules.push_back(power == PowerState::on && fed ? ModuleState::running : ModuleState::asleep);
  }
  c.interface_alive = power == PowerState::on;
  c.interface_plugged = power != PowerState::off;
  return c;
}

double at(const Scenario& s, const char* point, PowerState power = PowerState::on) {
  Meter m;
  m.point = point;
  const auto network = Network::make(s, &m);
  if (!network) throw std::runtime_error(network.error().text());
  const auto value = network->read(condition(s, power));
  if (!value) throw std::runtime_error(value.error().text());
  return *value;
}

Scenario with(Scenario s, const char* name) {
  if (Status applied = applyFault(s, fault(name)); !applied) throw std::runtime_error(applied.error().text());
  return s;
}

struct Ran {
  Seen seen;
  int starts = 0;
};
/// Five seconds, in the third of which our interface asks for the VIN.
void run(const Scenario& s, Ran& out) {
  out.seen.answer_id = s.modules.front().answer_id;
  auto world = World::make(s, out.seen, 0);
  if (!world) throw std::runtime_error(world.error().text());
  (*world)->advance(3 * kNsPerSecond);
  out.seen.asked_ns = 3 * kNsPerSecond;
  (void)(*world)->send(3 * kNsPerSecond,
                       CanFrame::make(s.modules.front().request_id, false, *fromHex("0322f19000000000")));
  (*world)->advance(5 * kNsPerSecond);
  out.starts = (*world)->starts();
}

TEST(SupplyDepth, ABoosterSharesByItsResistance) {
  // Millman: (13.0 / 0.01 + 13.5 / 0.03) / (1 / 0.01 + 1 / 0.03) = 13.125, nothing drawn.
  EXPECT_NEAR(at(with(load("removed-sound"), "booster-beside"), "V(src+,src-)", PowerState::source), 13.125,
              0.01);
}

TEST(SupplyDepth, AWrongSlotTakesTheFeedAwayFromTheModule) {
  const Scenario s = with(load("fed-in-place-sound"), "wrong-slot");
  EXPECT_NEAR(at(s, "V(loadblade,chassis)"), 0, 0.05);
  EXPECT_NEAR(at(s, "V(feed,chassis)"), s.source.emf_V, 0.3);
  EXPECT_NEAR(at(s, "I(feed)"), s.source.emf_V / 15, 0.05);  // Ohm
}

TEST(SupplyDepth, TheOutletTellsWhoseFuseIsOpen) {
  Scenario s = load("own-battery-sound");
  s.vehicle.outlet = Vehicle::Outlet::connector_fuse;
  EXPECT_NEAR(at(s, "V(outlet,chassis)"), 12.5, 0.1);
  EXPECT_NEAR(at(with(s, "connector-fuse-open"), "V(outlet,chassis)"), 0, 0.1);
  s.vehicle.outlet = Vehicle::Outlet::own_fuse;
  EXPECT_NEAR(at(with(s, "connector-fuse-open"), "V(outlet,chassis)"), 12.5, 0.1);
}

TEST(SupplyDepth, ASharedGroundLiftsBothPins) {
  const Scenario s = with(load("own-battery-sound"), "ground-offset");
  // 12.5 V over 12 V / 10 A = 1.2 ohm and 0.5 ohm: 12.5 * 0.5 / 1.7 = 3.68 V.
  EXPECT_NEAR(at(s, "V(pin4,chassis)"), 3.68, 0.05);
  EXPECT_NEAR(at(s, "V(pin5,chassis)"), 3.68, 0.05);
}

TEST(SupplyDepth, ModulesLiveInTheTroughOfARipple) {
  const Scenario s = with(load("removed-sound"), "source-ripple");
  // A sine of 12 V from peak to peak: 12 / (2 sqrt 2) = 4.243 V.
  EXPECT_NEAR(at(s, "Vac(src+,src-)", PowerState::source), 4.243, 0.01);
  EXPECT_NEAR(at(load("removed-sound"), "Vac(src+,src-)", PowerState::source), 0, 1e-6);
  Ran ran;
  run(s, ran);  // 13 V less 6 V is below the 8 V that a start needs
  EXPECT_EQ(ran.starts, 0);
}

TEST(SupplyDepth, AShortedInputDrawsWhatThePathLetsThrough) {
  const Scenario s = with(load("removed-sound"), "module-shorted");
  EXPECT_NEAR(at(s, "I(feed)"), 13.0 / (1 + at(load("removed-sound"), "R(feedpath)", PowerState::source)),
              0.8);  // and the lead to the module, its joints
  // At the slot of a vehicle: 1 ohm, 3 m of 0.75 mm2 to the module and its joints.
  EXPECT_NEAR(at(with(load("own-battery-sound"), "module-shorted"), "R(feed,chassis)", PowerState::off), 1.09,
              0.02);
}

TEST(BusDepth, SwappedPinsTurnTheLevelsAroundAndNobodyHears) {
  Scenario s = with(load("removed-sound"), "pins-swapped");
  Ran ran;
  run(s, ran);
  EXPECT_TRUE(ran.seen.frames.empty());
  EXPECT_EQ(ran.seen.outbound, 0);
  EXPECT_NEAR(at(s, "R(pin6,pin14)", PowerState::off), 60, 1);  // which no ohmmeter tells
}

TEST(BusDepth, AnOpenBranchTakesTheModulesTerminatorWithIt) {
  Scenario s = load("removed-sound");
  s.bus.terminations_ohm = {120};
  s.modules.front().termination_ohm = 120;
  EXPECT_NEAR(at(s, "R(pin6,pin14)", PowerState::off), 60, 1);
  for (const char* name : {"high-open-at-module", "low-open-at-module"})
    EXPECT_NEAR(at(with(s, name), "R(pin6,pin14)", PowerState::off), 120, 2) << name;
}

TEST(BusDepth, AJammedBusStandsAtTwoVoltsAndCarriesNothing) {
  Scenario s = load("own-battery-sound");
  const std::uint32_t job_request = s.modules.front().request_id;
  ASSERT_GT(s.modules.size(), 1U);
  Fault f = fault("module-jams");
  f.module = s.modules.back().name;
  ASSERT_TRUE(applyFault(s, f));
  // 5 V over 2 x 45 ohm and 60 ohm: 2.0 V (ISO 11898-2: 1.5 to 3 V; data sheet SLLSF80B).
  EXPECT_NEAR(at(s, "V(pin6,pin14)"), 2.0, 0.1);
  Ran ran;
  run(s, ran);
  EXPECT_EQ(ran.seen.frames.count(job_request + 8), 0U);
  EXPECT_EQ(ran.seen.answered_ns, kNoTime);
}

TEST(BusDepth, AKLineIdlesAtTheSupplyUnlessItIsShorted) {
  // Idle: battery voltage, 510 ohm pull-up in the tester (public pin-out page).
  Scenario s = load("removed-sound");
  s.kline.emplace();
  EXPECT_NEAR(at(s, "V(pin7,pin4)"), at(s, "V(pin16,pin4)"), 0.05);
  EXPECT_NEAR(at(with(s, "kline-to-ground"), "V(pin7,pin4)"), 0, 0.05);
  // Without the interface's: only where the module pulls up too.
  const Scenario open = with(s, "kline-open");
  EXPECT_NEAR(at(open, "V(pin7,pin4)"), at(s, "V(pin7,pin4)"), 0.05);
}

TEST(ModuleDepth, OneThatRestartsIsCounted) {
  Ran ran;
  run(with(load("removed-sound"), "module-restarts"), ran);
  EXPECT_GE(ran.starts, 2);
  EXPECT_LE(ran.starts, 3);  // fed at 0.5 s, 2 s after each boot, within 5 s
}

TEST(ModuleDepth, ARefusalIsTheTablesOwn) {
  Ran ran;
  run(with(load("removed-sound"), "module-refuses"), ran);
  ASSERT_GE(ran.seen.answer.size(), 4U);
  EXPECT_EQ(toHex(ByteView(ran.seen.answer).first(4)), "037f2233");  // securityAccessDenied, ISO 14229-1
}

}  // namespace
}  // namespace pin16::bench
