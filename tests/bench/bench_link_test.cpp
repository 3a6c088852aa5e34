// SPDX-License-Identifier: Apache-2.0
// The link itself, on a real io_context: a fake host, a permit from the real gate, the answer put together
// here.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <functional>

#include "core/bench/bench.hpp"
#include "core/link/link.hpp"
#include "core/protocol/gate.hpp"

namespace pin16::bench {
namespace {

using namespace std::chrono_literals;

constexpr std::uint16_t kIndex = 3;

class FakeHost : public link::Host {
 public:
  void onFrame(std::uint16_t link, Ns t_boot_ns, const event::CanFrame& frame, bool outbound) override {
    EXPECT_EQ(link, kIndex);
    EXPECT_GE(t_boot_ns, last_frame_ns_) << "times never step back";
    last_frame_ns_ = t_boot_ns;
    frames.push_back({frame, outbound});
    if (on_frame) on_frame(t_boot_ns, frame, outbound);
  }
  void onRecord(std::uint16_t, Ns, event::Kind kind, ByteView packed) override {
    kinds.push_back(kind);
    if (kind == event::Kind::link) {
      event::LinkState s;
      ASSERT_TRUE(unpack(packed, s));
      states.push_back(s);
    }
    if (kind == event::Kind::sample) {
      event::Measurement m;
      ASSERT_TRUE(unpack(packed, m));
      samples.push_back(m);
    }
    if (kind == event::Kind::power) {
      event::Power p;
      ASSERT_TRUE(unpack(packed, p));
      powers.push_back(p);
    }
  }
  std::function<void(Ns, const event::CanFrame&, bool)> on_frame;
  std::vector<std::pair<event::CanFrame, bool>> frames;
  std::vector<event::LinkState> states;
  std::vector<event::Measurement> samples;
  std::vector<event::Power> powers;
  std::vector<event::Kind> kinds;

 private:
  Ns last_frame_ns_ = 0;
};

struct Rig {
  explicit Rig(const std::string& scenario) {
    addBenchScheme();
    addBenchScheme();  // idempotent
    auto made = link::makeLink(*link::parseUri("bench:" + scenario), {io, host, kIndex});
    if (!made) throw std::runtime_error(made.error().text());
    bench = *std::move(made);
  }
  /// Runs the io_context until `done` or far too long.
  bool runUntil(const std::function<bool()>& done) {
    for (int i = 0; i < 2000 && !done(); ++i) io.run_for(10ms), io.restart();
    return done();
  }
  boost::asio::io_context io;
  FakeHost host;
  std::unique_ptr<link::Link> bench;
};

TEST(BenchLink, VinOverTheLinkWithAPermitOfTheGate) {
  Rig rig("removed-sound");
  const limits::Limits limits;
  protocol::Gate gate({.sealed = false, .rate_fixed = true, .module_request_ids = {0x7A1}}, limits);
  const protocol::Target target{0x7A1, 0x7A9, false, false};
  Bytes answer;
  rig.host.on_frame = [&](Ns t, const event::CanFrame& f, bool outbound) {
    gate.onFrame(kIndex, t, f, outbound);
    if (outbound || f.error() || f.id() != 0x7A9) return;
    if (f.data[0] >> 4U == 1) {
      answer.assign(f.data.begin() + 2, f.data.begin() + 8);
      auto fc = gate.flowControl(kIndex, t, target, {});
      ASSERT_TRUE(fc) << fc.error().text();
      EXPECT_TRUE(rig.bench->send(*std::move(fc)));  // from inside the callback, as a session does
    } else {
      answer.insert(answer.end(), f.data.begin() + 1, f.data.begin() + 8);
    }
  };
  rig.bench->open();
  ASSERT_TRUE(rig.runUntil([&] { return !rig.host.frames.empty(); })) << "no frame of the module";
  const Bytes pdu = {0x22, 0xF1, 0x90};
  auto permit = gate.request(kIndex, bootNow(), target, pdu);
  ASSERT_TRUE(permit) << permit.error().text();
  ASSERT_TRUE(rig.bench->send(*std::move(permit)));
  ASSERT_TRUE(rig.runUntil([&] { return answer.size() >= 20; }));
  answer.resize(20);
  const std::string vin(answer.begin() + 3, answer.end());
  EXPECT_EQ(toHex(ByteView(answer).first(3)), "62f190");
  EXPECT_EQ(vin, "0PN16BEN6H0000001");

  const auto outbound =
      std::count_if(rig.host.frames.begin(), rig.host.frames.end(), [](const auto& f) { return f.second; });
  EXPECT_EQ(outbound, 2) << "request and flow control";
  EXPECT_EQ(std::count(rig.host.kinds.begin(), rig.host.kinds.end(), event::Kind::sent), 2);

  rig.bench->close();
  EXPECT_EQ(rig.host.states.back().condition, event::LinkCondition::finished);
  const std::size_t before = rig.host.frames.size() + rig.host.kinds.size();
  rig.io.run_for(300ms);
  EXPECT_EQ(rig.host.frames.size() + rig.host.kinds.size(), before) << "nothing after close()";
}

TEST(BenchLink, SaysWhatItIsAndWhatItMeasured) {
  Rig rig("own-battery-sound");
  rig.bench->open();
  ASSERT_TRUE(rig.runUntil([&] { return rig.host.powers.size() == 3 && rig.host.samples.size() > 30; }));
  const event::LinkState& s = rig.bench->state();
  EXPECT_EQ(s.condition, event::LinkCondition::up);
  EXPECT_EQ(s.driver, "bench");
  EXPECT_EQ(s.time_origin, "simulated");
  EXPECT_EQ(s.bitrate, 500000U);
  EXPECT_EQ(s.silence, event::Silence::cannot);
  EXPECT_EQ(rig.host.states.front().condition, event::LinkCondition::opening);
  EXPECT_EQ(rig.host.powers[2].state, event::PowerState::on);
  EXPECT_EQ(rig.host.powers[2].how, "measured");
  EXPECT_EQ(rig.host.samples[0].power, event::PowerState::off);
  rig.bench->close();
}

TEST(BenchLink, DarkInterfaceIsDownWithTheReason) {
  Rig rig("connector-fuse-open");
  rig.bench->open();
  ASSERT_TRUE(rig.runUntil([&] { return rig.host.powers.size() == 3; }));
  EXPECT_EQ(rig.bench->state().condition, event::LinkCondition::down);
  EXPECT_THAT(rig.bench->state().text, testing::HasSubstr("no supply"));
  EXPECT_TRUE(rig.host.frames.empty());
  rig.bench->close();
}

TEST(BenchLink, MistakesAreErrorsOfTheCall) {
  addBenchScheme();
  boost::asio::io_context io;
  FakeHost host;
  const auto unknown = link::makeLink(*link::parseUri("bench:no-such-thing"), {io, host, 0});
  ASSERT_FALSE(unknown);
  EXPECT_EQ(unknown.error().kind, ErrorKind::input);
  const auto option = link::makeLink(*link::parseUri("bench:removed-sound?speed=2"), {io, host, 0});
  ASSERT_FALSE(option);
  EXPECT_EQ(option.error().kind, ErrorKind::usage);
}

}  // namespace
}  // namespace pin16::bench
