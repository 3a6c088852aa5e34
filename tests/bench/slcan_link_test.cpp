// SPDX-License-Identifier: Apache-2.0
// The link slcan: against the bench's adapter over a pty: frames both ways by permits of the real gate,
// states, bus-off, habits of lesser adapters, the rate search.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/can/error.h>

#include <boost/asio/steady_timer.hpp>
#include <thread>

#include "core/bench/bench.hpp"
#include "core/bench/serve_slcan.hpp"
#include "core/bench/world.hpp"
#include "core/link/rate_search.hpp"
#include "core/protocol/gate.hpp"
#include "tests/link/link_double.hpp"
#include "tests/link/pty_device.hpp"

namespace pin16::bench {
namespace {

using event::LinkCondition;
using link::PtyDevice;
using testing::HasSubstr;

/// A bench in motion behind its adapter on a pty, all modules up.
class Device : World::Observer {
 public:
  Device(boost::asio::io_context& io, const std::string& path, const Scenario& scenario,
         const SlcanHabits& habits = {})
      : timer_(io), pty_(io, path, [this](std::string_view text) { take(text); }) {
    Ns now_ns = bootNow() - 3 * kNsPerSecond;  // the modules have started by now
    auto made = World::make(scenario, *this, now_ns);
    if (!made) throw std::runtime_error(made.error().text());
    world_ = *std::move(made);
    adapter_.emplace(
        *world_, now_ns, [this](std::string_view text) { out_ += text; }, habits);
    advance();
  }
  ~Device() override = default;

 private:
  void take(std::string_view text) {
    world_->advance(bootNow());
    adapter_->take(bootNow(), text);
    advance();
  }
  void advance() {
    const Ns now_ns = bootNow();
    world_->advance(now_ns);
    adapter_->onTime(now_ns);
    out_.erase(0, pty_.write(out_));
    Ns due_ns = world_->nextDue() == kNoTime ? now_ns + kNsPerSecond : world_->nextDue();
    if (const Ns late_ns = adapter_->nextDue(); late_ns != kNoTime) due_ns = std::min(due_ns, late_ns);
    timer_.expires_after(std::chrono::nanoseconds(std::max<Ns>(due_ns - now_ns, 0)));
    timer_.async_wait([this](const boost::system::error_code& ec) {
      if (!ec) advance();
    });
  }
  void onFrame(Ns t_ns, const event::CanFrame& frame, bool outbound) override {
    if (adapter_) adapter_->onFrame(t_ns, frame, outbound);
  }
  void onSample(Ns, const event::Measurement&) override {}
  void onPower(Ns, const event::Power&) override {}
  void onController(Ns, std::string_view state, int tx_errors) override {
    if (adapter_) adapter_->onController(state, tx_errors);
  }

  boost::asio::steady_timer timer_;
  PtyDevice pty_;
  std::string out_;
  std::unique_ptr<World> world_;
  std::optional<SlcanAdapter> adapter_;
};

/// Feeds the gate as the recorder does.
class GatedHost final : public link::Host {
 public:
  void onFrame(std::uint16_t link, Ns t_ns, const event::CanFrame& frame, bool outbound) override {
    kept.onFrame(link, t_ns, frame, outbound);
    gate.onFrame(link, t_ns, frame, outbound);
  }
  void onRecord(std::uint16_t link, Ns t_ns, event::Kind kind, ByteView packed) override {
    kept.onRecord(link, t_ns, kind, packed);
    event::LinkState state;
    if (kind == event::Kind::link && unpack(packed, state)) gate.onLinkState(link, t_ns, state);
  }
  limits::Limits limits;
  protocol::Gate gate{{}, limits};
  link::KeepingHost kept;
};

/// The operator vouches for the rate: no valid frame is waited for.
protocol::Gate vouching(const limits::Limits& limits) {
  protocol::GateSettings settings;
  settings.rate_fixed = true;
  return {settings, limits};
}

struct Rig {
  Rig(const Scenario& scenario, const std::string& options, const SlcanHabits& habits = {})
      : device(io, folder.file("slcan"), scenario, habits) {
    auto made = link::makeLink(*link::parseUri("slcan:" + folder.file("slcan") + options), {io, host, 0});
    if (!made) throw std::runtime_error(made.error().text());
    link = *std::move(made);
    link->open();
  }
  Rig(const char* scenario, const std::string& options, const SlcanHabits& habits = {})
      : Rig(*loadScenario(scenario), options, habits) {}
  bool until(const std::function<bool()>& done) { return link::runUntil(io, done); }
  bool hears(std::size_t frames) {
    return until([&] { return host.kept.frames.size() >= frames; });
  }
  /// 01 00 to all, as ISO 15031-5 has it.
  Result<link::Permit> permit() {
    const std::uint8_t request[] = {0x01, 0x00};
    return host.gate.request(0, bootNow(), {0x7DF, std::nullopt, false, true}, request);
  }
  [[nodiscard]] const link::KeepingHost::Frame* find(std::uint32_t id, bool outbound) const {
    for (const auto& f : host.kept.frames)
      if (f.frame.id() == id && !f.frame.error() && f.outbound == outbound) return &f;
    return nullptr;
  }
  link::TestFolder folder;
  boost::asio::io_context io;
  GatedHost host;
  Device device;
  std::unique_ptr<link::Link> link;
};

constexpr const char* kActive = "?bitrate=500000&listen=no";

TEST(SlcanOverBench, TakenByTheAdapterIsNotAcknowledged) {
  Rig r("removed-alone-asking", kActive);
  ASSERT_TRUE(r.until([&] { return r.link->state().condition == event::LinkCondition::up; }));
  EXPECT_EQ(r.link->state().own_frames, event::OwnFrames::taken);
  EXPECT_THAT(r.link->state().medium_explains, testing::Contains(testing::StartsWith("acknowledge: ")));
  r.host.gate.nameRate(0);
  ASSERT_TRUE(r.link->send(*r.permit()));
  ASSERT_TRUE(r.until([&] {
    return std::any_of(r.host.kept.frames.begin(), r.host.kept.frames.end(),
                       [](const auto& f) { return f.frame.error() && (f.frame.id() & CAN_ERR_ACK) != 0; });
  })) << "nobody is there";
  EXPECT_NE(r.find(0x7DF, true), nullptr) << "the adapter said z all the same";
}

TEST(SlcanOverBench, ARequestLeavesIsTakenAndAnswered) {
  Rig r("own-battery-sound", kActive);
  ASSERT_TRUE(r.hears(3));
  auto permit = r.permit();
  ASSERT_TRUE(permit) << permit.error().text();
  ASSERT_TRUE(r.link->send(*std::move(permit)));
  ASSERT_TRUE(r.until([&] { return r.find(0x7E8, false) != nullptr; }));
  const auto* ours = r.find(0x7DF, true);
  const auto* answer = r.find(0x7E8, false);
  ASSERT_NE(ours, nullptr);
  EXPECT_EQ(toHex(answer->frame.payload()).substr(0, 6), "064100");
  EXPECT_GT(answer->t_boot_ns, ours->t_boot_ns);
  // The engine unit's 12 ms and at most 8 more, as its scenario says; the machine may be busy.
  EXPECT_GT(answer->t_boot_ns - ours->t_boot_ns, 10 * kNsPerMs);
  EXPECT_LT(answer->t_boot_ns - ours->t_boot_ns, 200 * kNsPerMs);
  const auto sent = r.host.kept.all<event::Sent>();
  ASSERT_EQ(sent.size(), 1U);
  EXPECT_EQ(sent[0].purpose, "request 01 00");
  Ns before_ns = 0;
  for (const auto& f : r.host.kept.frames) {
    EXPECT_GE(f.t_boot_ns, before_ns) << "times never step back";
    before_ns = f.t_boot_ns;
  }
}

TEST(SlcanOverBench, SentIsOnTheStreamBeforeTheBytes) {
  Rig r("own-battery-sound", kActive);
  ASSERT_TRUE(r.hears(3));
  const std::size_t before = r.host.kept.records.size();
  ASSERT_TRUE(r.link->send(*r.permit()));
  ASSERT_GT(r.host.kept.records.size(), before + 1);
  EXPECT_EQ(r.host.kept.records[before].kind, event::Kind::sent);
  EXPECT_EQ(r.host.kept.records[before + 1].kind, event::Kind::bytes);
}

TEST(SlcanOverBench, AListenOnlyLinkSendsNothingAndWarns) {
  Rig r("own-battery-sound", "");
  ASSERT_TRUE(r.hears(3));
  const auto refused = r.link->send(*r.permit());
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().kind, ErrorKind::link);
  EXPECT_THAT(refused.error().what, HasSubstr("listen-only"));
  EXPECT_THAT(refused.error().advice, HasSubstr("acknowledge every frame"));
  EXPECT_THAT(refused.error().advice, HasSubstr("listen=no"));
  EXPECT_TRUE(r.host.kept.all<event::Sent>().empty());
}

TEST(SlcanOverBench, AnAdapterThatConfirmsNothingStillGetsItsAnswer) {
  Rig r("own-battery-sound", kActive, {.confirms = false});
  ASSERT_TRUE(r.hears(3));
  ASSERT_TRUE(r.link->send(*r.permit()));
  EXPECT_TRUE(r.until([&] { return r.find(0x7E8, false) != nullptr; }));
  EXPECT_EQ(r.find(0x7DF, true), nullptr);
}

TEST(SlcanOverBench, ASlowAdapterOpensAndItsDelayIsMeasured) {
  Rig r("own-battery-sound", "", {.delay_ns = 150 * kNsPerMs, .stamps = false});
  ASSERT_TRUE(r.hears(3));
  EXPECT_EQ(r.link->state().time_origin, "user");
  EXPECT_GE(r.link->state().time_error_ns, 150 * kNsPerMs);
  EXPECT_EQ(r.link->state().listen_only, event::Known::yes);
}

TEST(SlcanOverBench, ANoisyLineCostsNoFrame) {
  Rig r("own-battery-sound", "", {.noise_every = 3});
  ASSERT_TRUE(r.hears(100));
  EXPECT_GT(r.host.kept.lost(), 20U);
  for (const auto& f : r.host.kept.frames)
    EXPECT_TRUE(f.frame.id() == 0x0C8 || f.frame.id() == 0x280 || f.frame.id() == 0x3A0) << f.frame.id();
}

TEST(SlcanOverBench, WithoutListenOnlyItIsNotOpened) {
  Rig r("own-battery-sound", "", {.listens = false});
  EXPECT_TRUE(r.until([&] { return r.link->state().condition == LinkCondition::failed; }));
  EXPECT_THAT(r.link->state().text, HasSubstr("refuses listen-only"));
  EXPECT_TRUE(r.host.kept.frames.empty());
}

// linux/can/error.h: 96 warning, 128 passive. A lone sender stays there (CAN specification 2.0, error
// counting).
TEST(SlcanOverBench, ALoneSenderIsShownErrorPassive) {
  Scenario s = *loadScenario("removed-sound");
  s.modules[0].transceiver_dead = true;
  Rig r(s, kActive);
  protocol::Gate vouched = vouching(r.host.limits);
  ASSERT_TRUE(r.until([&] { return r.link->state().condition == LinkCondition::up; }));
  const std::uint8_t request[] = {0x01, 0x00};
  auto permit = vouched.request(0, bootNow(), {0x7DF, std::nullopt, false, true}, request);
  ASSERT_TRUE(permit) << permit.error().text();
  ASSERT_TRUE(r.link->send(*std::move(permit)));
  EXPECT_TRUE(r.until([&] { return r.link->state().controller == "error-passive"; }));
  EXPECT_EQ(r.link->state().tx_errors, 128);
  EXPECT_EQ(r.link->state().rx_errors, 0);
  EXPECT_TRUE(std::any_of(r.host.kept.frames.begin(), r.host.kept.frames.end(),
                          [](const auto& f) { return f.frame.error(); }));
}

TEST(SlcanOverBench, BusOffRefusesToSendAndSaysHowItEnds) {
  Rig r("removed-sound", "?bitrate=125000&listen=no");
  protocol::Gate vouched = vouching(r.host.limits);
  ASSERT_TRUE(r.until([&] { return r.link->state().condition == LinkCondition::up; }));
  const std::uint8_t request[] = {0x01, 0x00};
  const auto permit = [&] {
    return vouched.request(0, bootNow(), {0x7DF, std::nullopt, false, true}, request);
  };
  ASSERT_TRUE(r.link->send(*permit()));
  EXPECT_TRUE(r.until([&] { return r.link->state().controller == "bus-off"; }));
  const auto refused = r.link->send(*permit());
  ASSERT_FALSE(refused);
  EXPECT_THAT(refused.error().text(), HasSubstr("bus-off"));
}

TEST(SlcanOverBench, ARefusedFrameIsShownUntilOneIsTaken) {
  Rig r("connector-fuse-open", kActive);  // no supply on the bus side
  protocol::Gate vouched = vouching(r.host.limits);
  ASSERT_TRUE(r.until([&] { return r.link->state().condition == LinkCondition::up; }));
  const std::uint8_t request[] = {0x01, 0x00};
  ASSERT_TRUE(r.link->send(*vouched.request(0, bootNow(), {0x7DF, std::nullopt, false, true}, request)));
  EXPECT_TRUE(r.until([&] { return !r.link->state().text.empty(); }));
  EXPECT_THAT(r.link->state().text, HasSubstr("refused a frame"));
  EXPECT_EQ(r.link->state().condition, LinkCondition::up);
}

TEST(SlcanOverBench, TheRateOfTheBusIsFoundAndTheBusIsNotDisturbed) {
  Scenario s = *loadScenario("own-battery-sound");
  s.bus.bitrate = 250000;
  const link::TestFolder folder;
  boost::asio::io_context io;
  Device device(io, folder.file("slcan"), s);
  std::thread thread([&] { io.run(); });
  const auto r = link::searchRate(*link::parseUri("slcan:" + folder.file("slcan")));
  io.stop();
  thread.join();
  ASSERT_TRUE(r) << r.error().text();
  EXPECT_EQ(r->found, 250000U);
  ASSERT_EQ(r->tried.size(), 2U);
  EXPECT_EQ(r->tried[0].frames, 0U);
  EXPECT_GT(r->tried[0].error_frames, 10U) << "the bus was heard at the wrong rate";
  EXPECT_EQ(r->tried[1].error_frames, 0U);
}

}  // namespace
}  // namespace pin16::bench
