// SPDX-License-Identifier: Apache-2.0
// The bench in motion, on simulated time.
#include "core/bench/world.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/can/error.h>

#include <algorithm>
#include <set>

#include "core/bench/bench.hpp"
#include "core/can/wire_bits.hpp"

namespace pin16::bench {
namespace {

using event::CanFrame;
using event::PowerState;
using testing::HasSubstr;

constexpr Ns kMs = kNsPerMs;

struct Seen : World::Observer {
  struct Entry {
    Ns t_ns;
    CanFrame frame;
    bool outbound;
  };
  std::vector<Entry> frames;
  std::vector<event::Measurement> samples;
  std::vector<PowerState> powers;
  std::vector<std::string> controller;
  int tx_errors = -2;
  /// Called on every frame, so that a test can answer at once.
  std::function<void(Ns, const CanFrame&)> reply;

  void onFrame(Ns t_ns, const CanFrame& f, bool outbound) override {
    frames.push_back({t_ns, f, outbound});
    if (reply) reply(t_ns, f);
  }
  void onSample(Ns, const event::Measurement& m) override { samples.push_back(m); }
  void onPower(Ns, const event::Power& p) override { powers.push_back(p.state); }
  void onController(Ns, std::string_view state, int errors) override {
    controller.emplace_back(state);
    tx_errors = errors;
  }

  [[nodiscard]] std::vector<Entry> of(std::uint32_t id) const {
    std::vector<Entry> out;
    for (const Entry& e : frames)
      if (!e.frame.error() && !e.outbound && e.frame.id() == id) out.push_back(e);
    return out;
  }
  [[nodiscard]] std::size_t errors(std::uint32_t class_bit) const {
    return static_cast<std::size_t>(std::count_if(frames.begin(), frames.end(), [&](const Entry& e) {
      return e.frame.error() && (e.frame.word & class_bit) != 0;
    }));
  }
  [[nodiscard]] std::size_t outbound() const {
    return static_cast<std::size_t>(
        std::count_if(frames.begin(), frames.end(), [](const Entry& e) { return e.outbound; }));
  }
};

struct Bench {
  explicit Bench(const Scenario& scenario) {
    auto made = World::make(scenario, seen, 0);
    if (!made) throw std::runtime_error(made.error().text());
    world = *std::move(made);
  }
  explicit Bench(const char* name) : Bench(*loadScenario(name)) {}
  void run(Ns until) {
    now = until;
    world->advance(now);
  }
  Status send(std::uint32_t id, const Bytes& data, bool extended = false) {
    return world->send(now, CanFrame::make(id, extended, data));
  }
  Seen seen;
  std::unique_ptr<World> world;
  Ns now = 0;
};

Scenario withFault(const char* base, const char* fault) {
  Scenario s = *loadScenario(base);
  Fault f;
  f.name = fault;
  const Status applied = applyFault(s, f);
  if (!applied) throw std::runtime_error(applied.error().text());
  return s;
}

// ISO 15765-2 frame types, worked out here without the project's transport code: 0L single, 1L LL first,
// 2N consecutive, 30 00 00 flow control "all, no wait".
const Bytes kFlowControl = {0x30, 0, 0};

Bytes reassemble(const std::vector<Seen::Entry>& entries) {
  Bytes out;
  std::size_t length = 0;
  unsigned next = 1;
  for (const auto& e : entries) {
    const auto& d = e.frame.data;
    if (d[0] >> 4U == 0) return {d.begin() + 1, d.begin() + 1 + (d[0] & 0xF)};
    if (d[0] >> 4U == 1) {
      length = (d[0] & 0xFU) * 256U + d[1];
      out.assign(d.begin() + 2, d.begin() + 8);
    }
    if (d[0] >> 4U == 2) {
      if ((d[0] & 0xFU) != next++ % 16) return {};
      out.insert(out.end(), d.begin() + 1, d.begin() + 8);
    }
  }
  if (out.size() < length) return {};
  out.resize(length);
  return out;
}

/// Sends a single-frame request, plays the tester's flow control, gives the answer's payload.
Bytes ask(Bench& b, std::uint32_t request_id, std::uint32_t answer_id, const Bytes& request,
          Ns wait = 300 * kMs) {
  b.seen.frames.clear();
  Bytes frame = {static_cast<std::uint8_t>(request.size())};
  frame.insert(frame.end(), request.begin(), request.end());
  frame.resize(8, 0xCC);
  b.seen.reply = [&](Ns t, const CanFrame& f) {
    if (f.id() != answer_id || f.data[0] >> 4U != 1) return;
    const std::uint32_t to = request_id == 0x7DF ? answer_id - 8 : request_id;  // ISO 15765-4: 7E8 - 8
    EXPECT_TRUE(b.world->send(t, CanFrame::make(to, false, kFlowControl)));
  };
  EXPECT_TRUE(b.send(request_id, frame));
  b.run(b.now + wait);
  b.seen.reply = nullptr;
  return reassemble(b.seen.of(answer_id));
}

Bytes text(const std::string& head_hex, const std::string& ascii) {
  Bytes out = *fromHex(head_hex);
  out.insert(out.end(), ascii.begin(), ascii.end());
  return out;
}

TEST(World, PowerComesInSteps) {
  Bench b("removed-sound");
  b.run(0);
  EXPECT_THAT(b.seen.powers, testing::ElementsAre(PowerState::off));
  ASSERT_EQ(b.seen.samples.size(), 1U);
  EXPECT_EQ(b.seen.samples[0].point, "R(pin6,pin14)");
  EXPECT_NEAR(b.seen.samples[0].value, 60, 0.6);
  b.run(20 * kMs);
  EXPECT_THAT(b.seen.powers, testing::ElementsAre(PowerState::off, PowerState::source));
  EXPECT_EQ(b.world->starts(), 0) << "no power-up before the module is fed";
  b.run(2000 * kMs);
  EXPECT_THAT(b.seen.powers, testing::ElementsAre(PowerState::off, PowerState::source, PowerState::on));
  EXPECT_EQ(b.world->starts(), 1);
  // From 510 ms to 2000 ms ten times a second: 15 rounds of I(feed).
  EXPECT_EQ(std::count_if(b.seen.samples.begin(), b.seen.samples.end(),
                          [](const auto& m) { return m.point == "I(feed)"; }),
            15);
}

// boot_A 0.5 for 0.6 s, then run_A 0.3, at 13 V on 24 and 40 ohm: 0.54 and 0.32 A.
TEST(World, StartCurrentSettles) {
  Bench b("removed-sound");
  b.run(600 * kMs);
  const auto current = [&] {
    return std::find_if(b.seen.samples.rbegin(), b.seen.samples.rend(),
                        [](const auto& m) { return m.point == "I(feed)"; })
        ->value;
  };
  EXPECT_NEAR(current(), 0.54, 0.01);
  b.run(2000 * kMs);
  EXPECT_NEAR(current(), 0.3235, 0.01);
}

TEST(World, PeriodicFramesComeAfterTheBootAndAtTheirRate) {
  Bench b("removed-sound");
  b.run(1100 * kMs);
  EXPECT_TRUE(b.seen.of(0x3A0).empty()) << "fed at 510 ms, boots for 600 ms";
  b.run(3200 * kMs);
  const auto frames = b.seen.of(0x3A0);
  EXPECT_NEAR(static_cast<double>(frames.size()), 20, 1);
  for (std::size_t i = 1; i < frames.size(); ++i)
    EXPECT_NEAR(static_cast<double>(frames[i].t_ns - frames[i - 1].t_ns), 100e6, 1e6);
}

TEST(World, ModuleAnswersAMultiFrameVin) {
  Bench b("removed-sound");
  b.run(2000 * kMs);
  EXPECT_EQ(ask(b, 0x7A1, 0x7A9, {0x22, 0xF1, 0x90}), text("62F190", "0PN16BEN6H0000001"));
  EXPECT_GE(b.seen.of(0x7A9).size(), 3U) << "20 bytes: first frame and two consecutive frames";
  EXPECT_EQ(b.seen.outbound(), 2U) << "request and flow control, confirmed";
}

TEST(World, WithoutFlowControlOnlyTheFirstFrameComes) {
  Bench b("removed-sound");
  b.run(2000 * kMs);
  ASSERT_TRUE(b.send(0x7A1, {3, 0x22, 0xF1, 0x90, 0xCC, 0xCC, 0xCC, 0xCC}));
  b.run(4000 * kMs);
  EXPECT_EQ(b.seen.of(0x7A9).size(), 1U);
  EXPECT_EQ(ask(b, 0x7A1, 0x7A9, {0x22, 0xF1, 0x90}), text("62F190", "0PN16BEN6H0000001"))
      << "after N_Bs the module is ready again";
}

// Legislated services of the engine unit, by the functional identifier 7DF (ISO 15765-4).
TEST(World, EngineUnitAnswersTheFunctionalRequest) {
  Bench b("own-battery-sound");
  b.run(2000 * kMs);
  EXPECT_EQ(ask(b, 0x7DF, 0x7E8, {0x01, 0x00}), *fromHex("4100BE1FA813"));
  EXPECT_TRUE(b.seen.of(0x7A9).empty()) << "the restraint module is no legislated responder";
  EXPECT_EQ(ask(b, 0x7DF, 0x7E8, {0x09, 0x02}), text("490201", "0PN16BEN6H0000001"));
  EXPECT_EQ(ask(b, 0x7E0, 0x7E8, {0x22, 0xF1, 0x90}), text("62F190", "0PN16BEN6H0000001"));
}

// ISO 14229-1: 11 service not supported, 31 request out of range; none of both to a functional request, and
// no answer at all to an unsupported item of a legislated service.
TEST(World, UnknownRequests) {
  Bench b("own-battery-sound");
  b.run(2000 * kMs);
  EXPECT_EQ(ask(b, 0x7A1, 0x7A9, {0x22, 0xF1, 0x9E}), *fromHex("7F2231"));
  EXPECT_EQ(ask(b, 0x7A1, 0x7A9, {0x19, 0x02, 0xFF}), *fromHex("7F1911"));
  EXPECT_EQ(ask(b, 0x7A1, 0x7A9, {0x22}), *fromHex("7F2213"));
  EXPECT_TRUE(ask(b, 0x7DF, 0x7E8, {0x22, 0xF1, 0x9E}).empty());
  EXPECT_TRUE(ask(b, 0x7E0, 0x7E8, {0x01, 0xFE}).empty());
}

TEST(World, ResponseTimeIsDelayAndJitter) {
  Scenario s = *loadScenario("removed-sound");
  s.modules[0].delay_ms = 30;
  s.modules[0].jitter_ms = 10;
  Bench b(s);
  b.run(2000 * kMs);
  double low = 1e9, high = 0;
  for (int i = 0; i < 50; ++i) {
    ASSERT_FALSE(ask(b, 0x7A1, 0x7A9, {0x22, 0xF1, 0x9E}, 100 * kMs).empty());
    Ns asked = kNoTime;
    for (const auto& e : b.seen.frames)
      if (e.outbound) asked = e.t_ns;
    const double ms = toMs(b.seen.of(0x7A9)[0].t_ns - asked);
    low = std::min(low, ms);
    high = std::max(high, ms);
  }
  // The answer's own frame takes at most 0.27 ms at 500 kbit/s, a periodic frame may go before it.
  EXPECT_GE(low, 30);
  EXPECT_LE(high, 40 + 0.6);
  EXPECT_GT(high - low, 5) << "jitter is spread";
}

TEST(World, PendingComesFirstWhenAskedFor) {
  Bench b(withFault("removed-sound", "pending-answers"));
  b.run(2000 * kMs);
  b.seen.frames.clear();
  ASSERT_TRUE(b.send(0x7A1, {3, 0x22, 0xF1, 0x9E}));
  b.run(8000 * kMs);
  const auto answers = b.seen.of(0x7A9);
  ASSERT_EQ(answers.size(), 4U);
  for (std::size_t i = 0; i < 3; ++i) EXPECT_EQ(toHex(ByteView(answers[i].frame.data).first(4)), "037f2278");
  EXPECT_EQ(toHex(ByteView(answers[3].frame.data).first(4)), "037f2231");
}

TEST(World, LateAndMuteModules) {
  Bench late(withFault("removed-sound", "late-answers"));
  late.run(2000 * kMs);
  EXPECT_TRUE(ask(late, 0x7A1, 0x7A9, {0x22, 0xF1, 0x90}, 300 * kMs).empty());
  late.run(late.now + 300 * kMs);
  EXPECT_FALSE(late.seen.of(0x7A9).empty());

  Bench mute("module-silent");
  mute.run(2000 * kMs);
  EXPECT_TRUE(ask(mute, 0x7A1, 0x7A9, {0x22, 0xF1, 0x90}, 2000 * kMs).empty());
  EXPECT_EQ(mute.seen.outbound(), 1U) << "but it acknowledges";
  EXPECT_TRUE(mute.seen.of(0x3A0).empty());
}

TEST(World, SilentWhenUnpowered) {
  Scenario s = *loadScenario("removed-sound");
  s.power_on_s = 600;
  Bench b(s);
  b.run(5000 * kMs);
  EXPECT_TRUE(b.seen.frames.empty());
  EXPECT_EQ(b.world->starts(), 0);

  Bench open(withFault("removed-sound", "module-feed-open"));
  open.run(5000 * kMs);
  EXPECT_TRUE(open.seen.frames.empty());
  EXPECT_EQ(open.world->starts(), 0);
}

// A lone sender: 16 attempts of +8 make TEC 128, error passive, and there it stays: never bus-off (CAN FD
// specification 1.0, error counting exceptions; ISO 11898-1).
TEST(World, LoneSenderTurnsErrorPassiveAndStaysThere) {
  Bench b(withFault("removed-sound", "module-feed-open"));
  b.run(2000 * kMs);
  ASSERT_TRUE(b.send(0x7A1, {3, 0x22, 0xF1, 0x90}));
  b.run(2000 * kMs + 10 * kMs);
  EXPECT_EQ(b.seen.errors(CAN_ERR_ACK), 17U) << "16 at full rate, then one as error passive";
  EXPECT_EQ(b.seen.tx_errors, 128);
  EXPECT_EQ(b.seen.controller.back(), "error-passive");
  b.run(20000 * kMs);
  EXPECT_EQ(b.seen.controller.back(), "error-passive");
  EXPECT_EQ(b.seen.errors(CAN_ERR_BUSOFF), 0U);
  EXPECT_EQ(b.seen.outbound(), 0U) << "never confirmed";
  Status last;
  for (std::size_t i = 0; i < World::kQueueMax; ++i) last = b.send(0x7A1, {3, 0x22, 0xF1, 0x90});
  ASSERT_FALSE(last);
  EXPECT_THAT(last.error().what, HasSubstr("queue full"));
}

// What is repeated is the frame that was not acknowledged, whatever its sender has to say by now (CAN FD
// specification V1.0: automatic retransmission; the clause is not at hand, from memory).
TEST(LoneSender, RepeatsTheSameFrameHoweverLongItTakes) {
  Bench b("removed-sound");
  b.world->setInterface(0, /*open=*/true, /*listen_only=*/true, 0);
  b.run(30'000 * kMs);
  std::set<Bytes> seen;
  for (const auto& e : b.seen.frames)
    if (!e.frame.error()) seen.insert(Bytes(e.frame.payload().begin(), e.frame.payload().end()));
  EXPECT_EQ(seen.size(), 1U);
  b.world->setInterface(b.now, /*open=*/true, /*listen_only=*/false, 0);
  b.seen.frames.clear();
  b.run(31'000 * kMs);
  EXPECT_GE(b.seen.frames.size(), 10U) << "acknowledged, it goes on to the next";
}

/// 8 data bytes, 11 bit identifier, no stuff bits.
CanFrame frameWithoutStuffBits() {
  for (std::uint32_t id = 0x100; id < 0x7F0; ++id)
    for (const int byte : {0xAA, 0x55, 0x5A, 0xA5, 0x96}) {
      const CanFrame f = CanFrame::make(id, false, Bytes(8, static_cast<std::uint8_t>(byte)));
      if (can::wireBits(f).stuff == 0) return f;
    }
  throw std::runtime_error("there is no such frame");
}

// Worked from the rules of the CAN FD specification V1.0 (clauses 3.2 and 7) at 500 kbit/s, 2 us a bit: start
// of frame to acknowledge slot 100 bits, flag 6, delimiter 8, intermission 3: 16 attempts of 117 bits; then 8
// bits suspended: one every 125 bits = 250 us. On the wire 100 of 125 bits are the frame's: 80 %; with the
// 8 recessive bits that look like its end 86.4 %.
TEST(LoneSender, AttemptsAreWhereTheRulesPutThem) {
  Bench b(withFault("removed-sound", "module-feed-open"));
  b.run(2000 * kMs);
  const CanFrame f = frameWithoutStuffBits();
  ASSERT_EQ(can::wireBits(f).nominal, 111U);
  ASSERT_TRUE(b.world->send(b.now, f));
  const Ns active_ns = Ns{117} * 2000, passive_ns = Ns{125} * 2000;
  const auto attempts = [&] { return b.world->attempts(kInterface); };
  for (unsigned k = 1; k <= 16; ++k) {
    b.run(2000 * kMs + k * active_ns - 1);
    EXPECT_EQ(attempts(), k);
  }
  EXPECT_EQ(b.seen.tx_errors, 128);
  const Ns passive_from = 2000 * kMs + 16 * active_ns;
  for (unsigned k = 1; k <= 20; ++k) {
    b.run(passive_from + k * passive_ns - 1);
    EXPECT_EQ(attempts(), 16 + k);
  }
  b.run(3000 * kMs);
  const Ns busy_from = b.world->busBusy_ns();
  const std::uint64_t from = attempts();
  b.run(4000 * kMs);
  EXPECT_EQ(attempts() - from, 4000U);
  const double load = toSeconds(b.world->busBusy_ns() - busy_from);
  EXPECT_GE(load, 0.80);
  EXPECT_LE(load, 0.87);
  b.run(60000 * kMs);
  EXPECT_EQ(b.seen.controller.back(), "error-passive") << "never bus-off";
  EXPECT_EQ(b.seen.errors(CAN_ERR_BUSOFF), 0U);
}

// What a listener counts of it: frames of 108 bits each 250 us.
TEST(LoneSender, LoadThatAListenerCounts) {
  Scenario s = *loadScenario("removed-sound");
  s.interface.listen_only = true;
  Bench b(s);
  b.run(3000 * kMs);
  b.seen.frames.clear();
  b.run(4000 * kMs);
  Ns counted_ns = 0;
  for (const auto& e : b.seen.of(0x3A0)) counted_ns += Ns{2000} * (can::wireBits(e.frame).nominal - 3);
  const auto bits = static_cast<double>(can::wireBits(b.seen.of(0x3A0)[0].frame).nominal);
  EXPECT_NEAR(toSeconds(counted_ns), (bits - 3) / (bits + 14), 0.001);
}

// The repeats stop the moment any node acknowledges: the module is up at 10 + 500 + 600 ms, takes part after
// 11 recessive bits, and the attempt that begins next goes through.
TEST(LoneSender, StopsTheMomentAnyNodeAcknowledges) {
  Bench b("removed-sound");
  b.run(700 * kMs);
  const CanFrame f = frameWithoutStuffBits();
  ASSERT_TRUE(b.world->send(b.now, f));
  b.run(1110 * kMs - 1);
  EXPECT_EQ(b.seen.outbound(), 0U);
  const std::uint64_t before = b.world->attempts(kInterface);
  b.run(1111 * kMs);
  ASSERT_EQ(b.seen.outbound(), 1U);
  EXPECT_LE(b.world->attempts(kInterface) - before, 2U);
  for (const auto& e : b.seen.frames) {
    if (e.outbound) {
      EXPECT_LE(e.t_ns, 1110 * kMs + 2 * 125 * 2000);
    }
  }
  const std::uint64_t after = b.world->attempts(kInterface);
  b.run(2000 * kMs);
  EXPECT_EQ(b.world->attempts(kInterface), after);
  EXPECT_EQ(b.seen.controller.back(), "error-warning") << "128 - 1";
}

// The repeated frame goes through as soon as somebody is there to acknowledge.
TEST(World, PendingFrameLeavesOnceTheModuleBoots) {
  Bench b("removed-sound");
  b.run(700 * kMs);
  ASSERT_TRUE(b.send(0x7A1, {3, 0x22, 0xF1, 0x9E}));
  b.run(1000 * kMs);
  EXPECT_EQ(b.seen.outbound(), 0U);
  b.run(1400 * kMs);
  EXPECT_EQ(b.seen.outbound(), 1U);
  EXPECT_EQ(b.seen.of(0x7A9).size(), 1U);
}

TEST(World, DarkInterfaceSeesAndSendsNothing) {
  Bench b("connector-fuse-open");
  b.run(3000 * kMs);
  EXPECT_TRUE(b.seen.frames.empty());
  EXPECT_EQ(b.seen.controller, std::vector<std::string>{"unknown"});
  EXPECT_EQ(b.world->starts(), 1) << "the module itself is fed all the same";
  const Status s = b.send(0x7A1, {3, 0x22, 0xF1, 0x90});
  ASSERT_FALSE(s);
  EXPECT_EQ(s.error().kind, ErrorKind::link);
}

TEST(World, ListenOnlyInterfaceDoesNotAcknowledge) {
  Scenario s = *loadScenario("removed-sound");
  s.interface.listen_only = true;
  Bench b(s);
  b.run(3000 * kMs);
  // Nobody acknowledges. The error flags of an error-active sender destroy its frame for the listener too;
  // those of an error-passive one are recessive (CAN FD specification V1.0, clause 3.2.3), and nothing in
  // the frame is wrong: the same frame again and again, each 6 + 8 + 8 bits longer than up to its slot, with
  // intermission.
  EXPECT_EQ(b.seen.errors(CAN_ERR_PROT), 16U);
  const auto frames = b.seen.of(0x3A0);
  ASSERT_GT(frames.size(), 1000U);
  const auto bits = can::wireBits(frames[0].frame).nominal;
  for (std::size_t i = 1; i < 100; ++i) {
    EXPECT_EQ(frames[i].t_ns - frames[i - 1].t_ns, Ns{2000} * (bits - 11 + 25));
    EXPECT_EQ(toHex(frames[i].frame.payload()), toHex(frames[0].frame.payload()));
  }
  EXPECT_THAT(b.send(0x7A1, {3, 0x22, 0xF1, 0x90}).error().what, HasSubstr("listen-only"));
  Scenario two = *loadScenario("own-battery-sound");
  two.interface.listen_only = true;
  Bench own(two);
  own.run(3000 * kMs);
  EXPECT_GT(own.seen.of(0x3A0).size(), 10U) << "two modules acknowledge each other";
}

TEST(World, BusFaultsDecideWhatIsSeen) {
  Bench shorted(withFault("removed-sound", "bus-short"));
  shorted.run(3000 * kMs);
  EXPECT_TRUE(shorted.seen.frames.empty()) << "no level at all";
  ASSERT_TRUE(shorted.send(0x7A1, {3, 0x22, 0xF1, 0x90}));
  shorted.run(3100 * kMs);
  EXPECT_EQ(shorted.seen.controller.back(), "bus-off") << "its own bits do not come back";

  Bench none(withFault("removed-sound", "termination-none"));
  none.run(3000 * kMs);
  EXPECT_TRUE(none.seen.of(0x3A0).empty()) << "30 kohm x 300 pF = 9 us, a bit is 2 us";
  EXPECT_GT(none.seen.errors(CAN_ERR_PROT), 5U);

  Bench one("termination-missing");
  one.run(3000 * kMs);
  EXPECT_GT(one.seen.of(0x3A0).size(), 10U) << "120 ohm x 300 pF = 0.04 us: works on short leads";

  Bench rate(withFault("removed-sound", "wrong-bit-rate"));
  rate.run(3000 * kMs);
  EXPECT_TRUE(rate.seen.of(0x3A0).empty());
  EXPECT_GT(rate.seen.errors(CAN_ERR_PROT), 5U);

  Bench ground(withFault("removed-sound", "high-to-ground"));
  ground.run(3000 * kMs);
  EXPECT_TRUE(ground.seen.of(0x3A0).empty()) << "no dominant level reaches 0.9 V";
}

// The start current through a poor feed: 13 V, 8 ohm at 24 ohm leaves 9.7 V (sound), 20 ohm leaves 7.1 V:
// below the stop of 7.5 V set here, above the start of 8 V once unloaded: it starts again and again.
TEST(World, PoorFeedMakesTheModuleHiccup) {
  Scenario s = *loadScenario("removed-sound");
  s.modules[0].stop_V = 7.5;
  s.modules[0].feed_ohm = 20;
  Bench b(s);
  b.run(3000 * kMs);
  EXPECT_GT(b.world->starts(), 5);
  EXPECT_TRUE(b.seen.of(0x3A0).empty());
  EXPECT_THAT(*print(s), HasSubstr("does not settle"));
  s.modules[0].feed_ohm = 8;
  Bench steady(s);
  steady.run(3000 * kMs);
  EXPECT_EQ(steady.world->starts(), 1);
}

TEST(World, SameSeedSameRun) {
  const auto trace = [](std::uint64_t seed) {
    Scenario s = *loadScenario("own-battery-sound");
    s.seed = seed;
    Bench b(s);
    b.run(2000 * kMs);
    std::string out;
    for (const auto& e : b.seen.frames) out += std::to_string(e.t_ns) + toHex(e.frame.payload());
    for (const auto& m : b.seen.samples) out += std::to_string(m.value);
    return out;
  };
  EXPECT_EQ(trace(1), trace(1));
  EXPECT_NE(trace(1), trace(2));
}

}  // namespace
}  // namespace pin16::bench
