// SPDX-License-Identifier: Apache-2.0
// Supply in motion: hysteresis, bounce and reserve, worn and limited sources, several feeds, wake-up, a
// gateway, faults by time. Figures by hand from the scenario's own; no outside source unless named.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/can/error.h>

#include <algorithm>
#include <cmath>

#include "core/bench/bench.hpp"
#include "core/bench/world.hpp"
#include "tests/bench/shipped.hpp"

namespace pin16::bench {
namespace {

using event::CanFrame;
using event::PowerState;
using testing::HasSubstr;

constexpr Ns kMs = kNsPerMs;
constexpr Ns kOn_ns = 510 * kMs;  // of the shipped scenarios

struct Seen : World::Observer {
  struct Frame {
    Ns t_ns;
    CanFrame frame;
    bool outbound;
  };
  struct Sample {
    Ns t_ns;
    event::Measurement m;
  };
  std::vector<Frame> frames;
  std::vector<Sample> samples;
  std::vector<std::string> controller;
  void onFrame(Ns t_ns, const CanFrame& f, bool outbound) override { frames.push_back({t_ns, f, outbound}); }
  void onSample(Ns t_ns, const event::Measurement& m) override { samples.push_back({t_ns, m}); }
  void onPower(Ns, const event::Power&) override {}
  void onController(Ns, std::string_view state, int) override { controller.emplace_back(state); }
};

struct Bench {
  explicit Bench(const Scenario& scenario) {
    auto made = World::make(scenario, seen, 0);
    if (!made) throw std::runtime_error(made.error().text());
    world = *std::move(made);
  }
  Bench& run(Ns until) {
    now = until;
    world->advance(now);
    return *this;
  }
  /// A request of up to 7 bytes; then time passes.
  void ask(std::uint32_t id, const char* hex, Ns wait = 400 * kMs) {
    const Bytes pdu = *fromHex(hex);
    Bytes data = {static_cast<std::uint8_t>(pdu.size())};
    data.insert(data.end(), pdu.begin(), pdu.end());
    data.resize(8, 0);
    ASSERT_TRUE(world->send(now, CanFrame::make(id, false, data)));
    run(now + wait);
  }
  [[nodiscard]] std::vector<Seen::Frame> of(std::uint32_t id, Ns from = 0) const {
    std::vector<Seen::Frame> out;
    for (const auto& f : seen.frames)
      if (!f.frame.error() && !f.outbound && f.frame.id() == id && f.t_ns >= from) out.push_back(f);
    return out;
  }
  [[nodiscard]] std::ptrdiff_t outbound() const {
    return std::count_if(seen.frames.begin(), seen.frames.end(), [](const auto& f) { return f.outbound; });
  }
  /// What the meter at a point showed last up to now.
  [[nodiscard]] double last(const char* point) const {
    double value = NAN;
    for (const auto& s : seen.samples)
      if (s.m.point == point) value = s.m.value;
    return value;
  }
  Seen seen;
  std::unique_ptr<World> world;
  Ns now = 0;
};

Scenario withFault(Scenario s, const Fault& f) {
  const Status applied = applyFault(s, f);
  if (!applied) throw std::runtime_error(applied.error().text());
  return s;
}

Fault flat(double volts, double at_s, double until_s) {
  Fault f = fault("source-flat");
  f.V = volts;
  f.ohm = 0.01;
  f.at_s = at_s;
  f.until_s = until_s;
  return f;
}

// Between stop (6.5 V) and start (8 V) a module stays what it is.
TEST(BrownOut, HasHysteresis) {
  Scenario s = load("removed-sound");
  s.timed_faults = {flat(7.3, 3, 5)};
  Bench dips(s);
  dips.run(6000 * kMs);
  EXPECT_EQ(dips.world->starts(), 1);
  EXPECT_GT(dips.of(0x3A0, 3500 * kMs).size(), 20U);

  s.timed_faults = {flat(7.3, 0, 5)};
  Bench low(s);
  low.run(4900 * kMs);
  EXPECT_EQ(low.world->starts(), 0);
  low.run(7000 * kMs);
  EXPECT_EQ(low.world->starts(), 1) << "and starts once there is more";

  s.timed_faults = {flat(6.0, 3, 5)};
  Bench out(s);
  out.run(7000 * kMs);
  EXPECT_EQ(out.world->starts(), 2);
  for (const auto& f : out.of(0x3A0)) EXPECT_TRUE(f.t_ns < 3001 * kMs || f.t_ns >= 5600 * kMs) << f.t_ns;
}

// A plug that bounces: without a reserve each gap is a restart, once the module is past its reset.
TEST(Bounce, WithoutReserveEachGapRestarts) {
  Scenario s = load("removed-sound");
  s.modules[0].reset_ms = 20;
  s.rig.bounce_ms = {5, 7, 60, 62, 120, 122};
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 4);
  s.modules[0].reserve_uF = 470;
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 1) << "carried through";
  s.modules[0].reserve_uF = 100;
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 4) << "2 ms at 24 ohm: 12.9 V fall to 5.6 V";
}

// Booting it is 12 V / 0.5 A = 24 ohm; 470 uF from 12.95 V to the stop at 6.5 V:
// 24 * 470e-6 * ln(12.95 / 6.5) = 7.77 ms.
TEST(Bounce, ReserveHoldsAsLongAsItsTimeConstantSays) {
  Scenario s = load("removed-sound");
  s.modules[0].reserve_uF = 470;
  s.rig.bounce_ms = {100, 107.6};
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 1);
  s.rig.bounce_ms = {100, 107.95};
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 2);
}

TEST(Bounce, DrawnBySeedAndTheSameForIt) {
  Scenario s = withFault(load("removed-sound"), fault("plug-bounces"));
  const int starts = Bench(s).run(3000 * kMs).world->starts();
  EXPECT_GT(starts, 1);
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), starts);
  s.modules[0].reserve_uF = 100000;
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 1);
}

// The start current that the feed cannot carry: 15 A are 0.8 ohm, behind 1.5 ohm 4.5 V.
TEST(Inrush, ThroughAPoorFeedNeverStarts) {
  Scenario s = load("removed-sound");
  s.modules[0].feed_ohm = 1.5;
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 1);
  s.modules[0].inrush_A = 15;
  Bench b(s);
  EXPECT_GT(b.run(3000 * kMs).world->starts(), 5);
  EXPECT_TRUE(b.of(0x3A0).empty());
  s.modules[0].feed_ohm = 0.01;
  Bench sound(s);
  sound.run(kOn_ns);
  EXPECT_EQ(sound.world->condition().modules[0], ModuleState::inrush);
  sound.run(kOn_ns + 2 * kMs);
  EXPECT_EQ(sound.world->condition().modules[0], ModuleState::booting);
}

// removed-sound takes 0.13 A for the interface and 0.32 A for the module: less than 1 A, 3 s long.
TEST(Source, PackShutsOffAtLightLoad) {
  Scenario s = withFault(load("removed-sound"), fault("source-shuts-off"));
  Bench b(s);
  b.run(3000 * kMs);
  EXPECT_NEAR(b.last("V(src+,src-)"), 13, 0.1);
  b.run(3200 * kMs);
  EXPECT_NEAR(b.last("V(src+,src-)"), 0, 0.1);
  EXPECT_EQ(b.seen.controller.back(), "unknown") << "the interface lived on it";
  EXPECT_GT(b.of(0x3A0).size(), 10U);
  EXPECT_TRUE(b.of(0x3A0, 3020 * kMs).empty());
  s.source.off_below_A = 0.1;
  EXPECT_EQ(Bench(s).run(9000 * kMs).seen.controller.back(), "error-active");
}

TEST(Source, SagsAndRunsEmpty) {
  Bench sag(withFault(load("removed-sound"), fault("source-sags")));
  sag.run(6000 * kMs);
  EXPECT_NEAR(sag.last("V(src+,src-)"), 13 - 0.5 * 5.9, 0.1);
  EXPECT_EQ(sag.world->starts(), 1);
  sag.run(20000 * kMs);
  EXPECT_TRUE(sag.of(0x3A0, 14000 * kMs).empty()) << "6.5 V after 13 s";

  Scenario s = load("removed-sound");
  s.source.capacity_Ah = 0.001;  // 3.6 As at about 0.45 A: 8 s
  s.source.empty_V = 10;
  s.source.series_empty_ohm = 2;
  Bench empty(s);
  empty.run(4000 * kMs);
  const double half_V = empty.last("V(src+,src-)");
  EXPECT_LT(half_V, 12.2);
  EXPECT_GT(half_V, 10.6);
  empty.run(20000 * kMs);
  // 10 V behind 2 ohm into 40.1 || 100.03 = 28.6 ohm and 0.08 of leads: 9.35 V.
  EXPECT_NEAR(empty.last("V(src+,src-)"), 9.35, 0.03);
}

// 0.4 A, folding back to half at 0 V: I = 0.2 + 0.2 V / 13. Booting 24.1 ohm beside the interface's 100.03:
// 19.42 ohm behind 0.03 of shared leads: V = 19.45 (0.2 + 0.01538 V) -> 5.55 V: below the stop, so it starts
// again and again.
TEST(Source, LimitBelowTheStartDemandHiccups) {
  const Scenario s = withFault(load("removed-sound"), fault("source-limited"));
  Meter m;
  m.point = "V(src+,src-)";
  const auto network = Network::make(s, &m);
  ASSERT_TRUE(network);
  Condition c;
  c.power = PowerState::on;
  c.modules = {ModuleState::booting};
  EXPECT_NEAR(*network->read(c), 5.55, 0.02);
  c.modules = {ModuleState::asleep};
  EXPECT_NEAR(*network->read(c), 13.0 - 0.01 * 0.13, 0.01) << "not in its limit";
  Bench b(s);
  b.run(3000 * kMs);
  EXPECT_GT(b.world->starts(), 5);
  EXPECT_THAT(*print(s), HasSubstr("does not settle"));
}

// A constant power takes more current at fewer volts: 3.6 W behind 8 ohm and 0.12 of leads from 13 V less the
// interface's drop: V^2 - 12.98 V + 3.6 * 8.12 = 0 -> 10.08 V (a resistor of 40 ohm: 10.79 V). At 14 ohm its
// start, 6 W, finds no volts above the stop: 13 V can give 12.98^2 / 4 / 14.12 = 2.98 W. A resistor of 24 ohm
// gets 8.2 V and starts.
TEST(Draw, ConstantPowerFailsWhereAResistorWouldStart) {
  Scenario s = load("removed-sound");
  s.modules[0].draw = Module::Draw::power;
  s.modules[0].feed_ohm = 8;
  s.modules[0].boot_A = 0.3;
  const auto running = [&](ModuleState state) {
    Condition c;
    c.power = PowerState::on;
    c.modules = {state};
    return Network::make(s)->supply(c)->module_V[0];
  };
  EXPECT_NEAR(running(ModuleState::running), 10.08, 0.02);
  s.modules[0].feed_ohm = 14;
  s.modules[0].boot_A = 0.5;
  EXPECT_GT(Bench(s).run(3000 * kMs).world->starts(), 5);
  s.modules[0].draw = Module::Draw::resistor;
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 1);
}

// 100 uF at 0.3 A of 12 V, 3.6 W: E = C V^2 / 2, so 12.95 V last C (V^2 - stop^2) / (2 P) = 1.74 ms to 6.5 V.
TEST(Draw, ReserveUnderConstantPower) {
  Scenario s = load("removed-sound");
  s.modules[0].draw = Module::Draw::power;
  s.modules[0].reserve_uF = 100;
  s.rig.bounce_ms = {1000, 1001.68};
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 1);
  s.rig.bounce_ms = {1000, 1001.82};
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 2);
}

// Below 12 V the answers slow down, straight to 20 times at 6.5 V: at 9 V 1 + 19 * 3 / 5.5 = 11.4 times
// 8 to 14 ms.
TEST(Answers, SlowDownAsTheSupplyFalls) {
  const auto span = [](double emf_V) {
    Scenario s = load("removed-sound");
    s.modules[0].low_V = 12;
    s.modules[0].low_delay_factor = 20;
    s.source.emf_V = emf_V;
    Bench b(s);
    b.run(2000 * kMs);
    std::pair<double, double> out(1e9, 0);
    for (int i = 0; i < 30; ++i) {
      b.ask(0x7A1, "22F19E");
      Ns asked = 0;
      for (const auto& f : b.seen.frames) asked = f.outbound ? f.t_ns : asked;
      const double ms = toMs(b.of(0x7A9).back().t_ns - asked);
      out = {std::min(out.first, ms), std::max(out.second, ms)};
    }
    return out;
  };
  const auto sound = span(13);
  EXPECT_GE(sound.first, 8);
  EXPECT_LE(sound.second, 15);
  const auto low = span(9.03);
  EXPECT_GE(low.first, 8 * 11.2);
  EXPECT_LE(low.second, 14 * 11.6 + 1);
  EXPECT_GT(low.second - low.first, 3 * (sound.second - sound.first)) << "spread grows too";
}

TEST(Answers, RefusalsAndKwpItems) {
  Scenario s = load("removed-sound");
  s.modules[0].answers.push_back({*fromHex("1A90"), *fromHex("3132"), 0});
  s.modules[0].answers.push_back({*fromHex("22F18B"), {}, 0x33});
  Bench b(s);
  b.run(2000 * kMs);
  b.ask(0x7A1, "1A90");
  b.ask(0x7A1, "1A91");
  b.ask(0x7A1, "22F18B");
  const auto answers = b.of(0x7A9);
  ASSERT_EQ(answers.size(), 3U);
  EXPECT_EQ(toHex(ByteView(answers[0].frame.data).first(5)), "045a903132");
  EXPECT_EQ(toHex(ByteView(answers[1].frame.data).first(4)), "037f1a12");
  EXPECT_EQ(toHex(ByteView(answers[2].frame.data).first(4)), "037f2233");
}

// All feeds are needed: in place the bus bar is dead, unless the rig feeds that one too.
TEST(Feeds, AllAreNeeded) {
  using Feed = Module::Feed;
  Scenario s = load("fed-in-place-sound");
  s.modules[0].feeds = {Feed::slot, Feed::bus_bar};
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 0);
  s.modules[0].feeds = {Feed::slot, Feed::rig};
  Bench both(s);
  EXPECT_EQ(both.run(3000 * kMs).world->starts(), 1);
  EXPECT_NEAR(both.last("I(feed)"), 0.316, 0.006) << "shared, the sum is the same";
  EXPECT_EQ(Bench(withFault(s, fault("further-feed-open"))).run(3000 * kMs).world->starts(), 0);
  Scenario own = load("own-battery-sound");
  own.modules[0].feeds = {Feed::slot, Feed::ignition};
  own.modules[0].wake_up = Module::WakeUp::ignition;
  Bench wakes(own);
  wakes.run(400 * kMs);
  EXPECT_EQ(wakes.world->starts(), 0) << "ignition off";
  EXPECT_EQ(wakes.run(3000 * kMs).world->starts(), 1);
  own.modules[0].feeds = {Feed::slot, Feed::rig};
  EXPECT_THAT(Network::make(own).error().what, HasSubstr("fed by a rig"));
}

TEST(WakeUp, ByAFrameOnTheBus) {
  Scenario s = load("own-battery-sound");
  s.modules[0].wake_up = Module::WakeUp::bus;
  Bench b(s);
  b.run(kOn_ns + 290 * kMs);
  EXPECT_EQ(b.world->starts(), 0) << "fed, but the engine unit still boots";
  b.run(3000 * kMs);
  EXPECT_EQ(b.world->starts(), 1);
  EXPECT_FALSE(b.of(0x3A0).empty());
  s.modules[0].wake_id = 0x123;  // nobody sends it
  EXPECT_EQ(Bench(s).run(3000 * kMs).world->starts(), 0);

  Scenario alone = load("removed-sound");
  alone.modules[0].wake_up = Module::WakeUp::bus;
  Bench table(alone);
  table.run(3000 * kMs);
  EXPECT_EQ(table.world->starts(), 0);
  table.ask(0x7A1, "22F19E", 1000 * kMs);
  EXPECT_EQ(table.world->starts(), 1) << "our own frame, that nobody acknowledges, wakes it";
  EXPECT_EQ(table.outbound(), 1) << "and once it is up it acknowledges the repeat";
  EXPECT_EQ(table.of(0x7A9).size(), 1U);
}

/// own-battery-sound with a gateway; the engine unit sits on the connector's side.
Scenario behindGateway() {
  Scenario s = load("own-battery-sound");
  s.modules[1].bus = Module::Side::connector;
  Module g;
  g.name = "gateway";
  g.feeds = {Module::Feed::bus_bar};
  s.modules.push_back(g);
  s.gateway.emplace();
  return s;
}

TEST(Gateway, ForwardsAnswersAndKeepsTheRest) {
  Scenario s = behindGateway();
  Bench b(s);
  b.run(3000 * kMs);
  EXPECT_TRUE(b.of(0x3A0).empty()) << "silence of the module's bus is normal";
  EXPECT_GT(b.of(0x0C8).size(), 50U) << "the connector's own wires carry their own";
  b.ask(0x7A1, "22F19E");
  ASSERT_EQ(b.of(0x7A9).size(), 1U);
  EXPECT_EQ(b.outbound(), 1);
  b.ask(0x7DF, "0100");
  EXPECT_EQ(b.of(0x7E8).size(), 1U);
  // 0.5 ms each way at least, and two frames more.
  const auto delay = [](Bench& bench) {
    Ns asked = 0;
    for (const auto& f : bench.seen.frames)
      if (f.outbound && f.frame.id() == 0x7A1) asked = f.t_ns;
    return bench.of(0x7A9)[0].t_ns - asked;
  };
  EXPECT_GE(delay(b), 9 * kMs);

  s.gateway->forwards_periodic = true;
  EXPECT_GT(Bench(s).run(3000 * kMs).of(0x3A0).size(), 10U);
}

TEST(Gateway, SilentOrUnpowered) {
  Scenario s = behindGateway();
  Bench silent(withFault(s, fault("gateway-silent")));
  silent.run(3000 * kMs);
  silent.ask(0x7A1, "22F19E");
  EXPECT_EQ(silent.outbound(), 1) << "somebody acknowledges";
  EXPECT_TRUE(silent.of(0x7A9).empty());

  s.modules[1].bus = Module::Side::inner;
  Bench dark(withFault(s, fault("gateway-unpowered")));
  dark.run(3000 * kMs);
  EXPECT_TRUE(dark.seen.frames.empty());
  dark.ask(0x7A1, "22F19E");
  EXPECT_EQ(dark.outbound(), 0) << "nobody is on the connector's wires";
  EXPECT_EQ(dark.seen.controller.back(), "error-passive");
  EXPECT_EQ(dark.world->starts(), 1) << "behind it all is well";
  EXPECT_THROW(withFault(load("own-battery-sound"), fault("gateway-silent")), std::runtime_error);
}

// The connector's wires have terminators of their own: the module's may be missing and the ohms do not tell.
TEST(Gateway, OhmsAreThoseOfTheConnectorsWires) {
  Scenario s = withFault(behindGateway(), fault("termination-none"));
  Meter m;
  m.point = "R(pin6,pin14)";
  Condition off;
  off.interface_plugged = false;
  EXPECT_NEAR(*Network::make(s, &m)->read(off), 60, 0.6);
  s.gateway->terminations_ohm = {120};
  EXPECT_NEAR(*Network::make(s, &m)->read(off), 120, 1.5);
}

// An interface on a source of its own that hangs 20 V off: out of the receivers' common mode (-2 to 7 V, from
// memory), unless pins 4 and 5 tie it down.
TEST(Interface, FloatingReferenceHearsNothing) {
  Scenario s = withFault(load("own-battery-sound"), fault("floating-reference"));
  Bench b(s);
  b.run(3000 * kMs);
  EXPECT_EQ(b.seen.controller.back(), "error-active") << "it has its supply";
  EXPECT_TRUE(b.of(0x3A0).empty());
  s.interface.ties_grounds = true;
  EXPECT_GT(Bench(s).run(3000 * kMs).of(0x3A0).size(), 10U);
}

TEST(TimedFaults, ComeAndGo) {
  const auto s = parseScenario(R"toml(
[scenario]
name = "timed"
arrangement = "removed"
[connector]
fed_from = "source"
[[module]]
name = "unit"
[[module.periodic]]
id = 0x3A0
[[meter]]
point = "V(pin16,pin4)"
when = "on"
[[fault]]
name = "connector-fuse-open"
at_s = 3
until_s = 5
)toml",
                               "timed.toml");
  ASSERT_TRUE(s) << s.error().text();
  EXPECT_TRUE(s->faults.empty());
  Bench b(*s);
  b.run(2990 * kMs);
  EXPECT_GT(b.last("V(pin16,pin4)"), 12);
  EXPECT_EQ(b.seen.controller.back(), "error-active");
  b.run(4900 * kMs);
  EXPECT_NEAR(b.last("V(pin16,pin4)"), 0, 0.1);
  EXPECT_EQ(b.seen.controller.back(), "unknown");
  EXPECT_TRUE(b.of(0x3A0, 3001 * kMs).empty());
  b.run(7000 * kMs);
  EXPECT_EQ(b.seen.controller.back(), "error-active");
  EXPECT_GT(b.of(0x3A0, 5000 * kMs).size(), 10U);
  EXPECT_EQ(b.world->starts(), 1) << "the module did not notice";
  EXPECT_THAT(*print(*s), HasSubstr("fault connector-fuse-open from 3 s to 5 s"));
}

// A supply-side feed with the rest of the vehicle awake or dark: the module runs with its fuse left in.
TEST(SupplySide, VisibleSignsAreThoseOfTheRest) {
  Scenario s = withFault(load("pin16-dead-fed-in-place"), fault("supply-side-feed"));
  Bench out(s);
  out.run(3000 * kMs);
  EXPECT_EQ(out.world->starts(), 0);
  EXPECT_GT(out.last("I(feed)"), 2);
  s.vehicle.module_fuse_left_in = true;
  s.vehicle.loads_on_ohm = 300;
  s.modules.resize(1);
  Bench quiet(s);
  quiet.run(3000 * kMs);
  EXPECT_EQ(quiet.world->starts(), 1);
  EXPECT_LT(quiet.last("I(feed)"), 0.6) << "nothing else there: not even the current tells much";
}

/// Everything that can be noticed of a scenario in its first 4 seconds, one request asked.
std::string observed(const Scenario& s) {
  Bench b(s);
  b.run(2000 * kMs);
  (void)b.world->send(b.now, CanFrame::make(0x7A1, false, *fromHex("0322F190CCCCCCCC")));
  b.run(4000 * kMs);
  std::string out = std::to_string(b.world->starts());
  for (const auto& c : b.seen.controller) out += " " + c;
  for (const auto& f : b.seen.frames) out += " " + std::to_string(f.t_ns) + toHex(f.frame.payload());
  for (const auto& m : b.seen.samples) out += " " + std::to_string(m.m.value);
  return out;
}

// A fault that changes nothing that frames, meters, lamp or starts show would be no fault.
TEST(Faults, EachIsNoticed) {
  Scenario rich = behindGateway();
  rich.modules[0].feeds = {Module::Feed::slot, Module::Feed::bus_bar};
  rich.kline.emplace().module_pull_up_ohm = 1000;
  Meter at_pin7;
  at_pin7.point = "V(pin7,pin4)";
  at_pin7.interface_unplugged = true;
  at_pin7.when = {PowerState::on};
  rich.meters.push_back(at_pin7);
  const std::vector<Scenario> bases = {load("own-battery-sound"), load("pin16-dead-fed-in-place"),
                                       load("removed-sound"), rich};
  std::vector<std::string> sound;
  for (const Scenario& s : bases) sound.push_back(observed(s));
  const auto names = faultNames();
  EXPECT_GT(names.size(), 65U);
  for (const std::string& name : names) {
    bool noticed = false;
    for (std::size_t i = 0; i < bases.size() && !noticed; ++i) {
      Scenario s = bases[i];
      if (applyFault(s, fault(name.c_str()))) noticed = observed(s) != sound[i];
    }
    EXPECT_TRUE(noticed) << name;
  }
}

}  // namespace
}  // namespace pin16::bench
