// SPDX-License-Identifier: Apache-2.0
#include "core/link/replay.hpp"

#include <gtest/gtest.h>

#include <filesystem>

#include "core/capture/writer.hpp"
#include "tests/link/link_double.hpp"

namespace pin16::link {
namespace {

namespace fs = std::filesystem;

constexpr Ns kStart_ns = 1000 * kNsPerSecond;

event::CanFrame numbered(std::uint8_t n) {
  const Bytes data{n};
  return event::CanFrame::make(0x100, false, data);
}

/// A capture of two links: frames 0, 1, 2 on link 0 at 0, 10 and 40 ms, frame 9 on link 1, records between.
class ReplayTest : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = testing::TempDir() + "pin16-replay-XXXXXX";
    dir_ = mkdtemp(pattern.data());
    file_ = (dir_ / "two.pcapng").string();
    event::Batch b;
    event::LinkState state;
    state.uri = "socketcan:can0";
    state.bitrate = 250000;
    state.condition = event::LinkCondition::up;
    std::uint64_t n = 0;
    b.add(++n, kStart_ns, 0, event::Kind::link, state);
    state.uri = "socketcan:can1";
    b.add(++n, kStart_ns, 1, event::Kind::link, state);
    b.addFrame(++n, kStart_ns, 0, numbered(0), 0);
    b.addFrame(++n, kStart_ns + 10 * kNsPerMs, 0, numbered(1), event::kOutbound);
    b.addFrame(++n, kStart_ns + 11 * kNsPerMs, 1, numbered(9), 0);
    event::Measurement volts;
    volts.point = "V(pin16,pin4)";
    volts.value = 12.5;
    b.add(++n, kStart_ns + 20 * kNsPerMs, event::kNoLink, event::Kind::reading, volts);
    b.add(++n, kStart_ns + 20 * kNsPerMs, 0, event::Kind::sent, event::Sent{{1, 2}, "request"});
    b.add(++n, kStart_ns + 21 * kNsPerMs, 0, event::Kind::message, event::Message{});
    b.add(++n, kStart_ns + 30 * kNsPerMs, 0, event::Kind::loss, event::Loss{event::LossPlace::kernel, 7});
    b.add(++n, kStart_ns + 40 * kNsPerMs, 0, event::Kind::gap,
          event::Gap{kStart_ns + 31 * kNsPerMs, kStart_ns + 40 * kNsPerMs, "down"});
    b.addFrame(++n, kStart_ns + 40 * kNsPerMs, 0, numbered(2), 0);
    capture::SectionFacts facts;
    facts.utc_offset_ns = 1'700'000'000 * kNsPerSecond;
    auto writer = capture::Writer::create(file_, facts);
    ASSERT_TRUE(writer) << writer.error().text();
    const Status taken = (*writer)->take(b);
    ASSERT_TRUE(taken) << taken.error().text();
    ASSERT_TRUE((*writer)->finish());
  }
  void TearDown() override { fs::remove_all(dir_); }

  /// Plays to the end.
  void play(const std::string& options) {
    auto link = makeLink(*parseUri("replay:" + file_ + options), {io_, host_, 3});
    ASSERT_TRUE(link) << link.error().text();
    link_ = std::move(*link);
    link_->open();
    ASSERT_TRUE(runUntil(io_, [this] { return link_->state().condition == event::LinkCondition::finished; }));
  }
  [[nodiscard]] std::size_t count(event::Kind kind) const {
    return static_cast<std::size_t>(std::count_if(host_.records.begin(), host_.records.end(),
                                                  [&](const auto& r) { return r.kind == kind; }));
  }

  fs::path dir_;
  std::string file_;
  boost::asio::io_context io_;
  KeepingHost host_;
  std::unique_ptr<Link> link_;
};

TEST_F(ReplayTest, FramesOfOneLinkComeWithTheirIntervalsOnOurClock) {
  const Ns before_ns = bootNow();
  play("?pace=fast");
  ASSERT_EQ(host_.frames.size(), 3U);
  EXPECT_GE(host_.frames[0].t_boot_ns, before_ns);
  EXPECT_LE(host_.frames[0].t_boot_ns, bootNow());
  EXPECT_EQ(host_.frames[1].t_boot_ns - host_.frames[0].t_boot_ns, 10 * kNsPerMs);
  EXPECT_EQ(host_.frames[2].t_boot_ns - host_.frames[0].t_boot_ns, 40 * kNsPerMs);
  for (std::uint8_t i = 0; i < 3; ++i) EXPECT_EQ(host_.frames[i].frame, numbered(i));
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_EQ(host_.frames[i].link, 3);
    EXPECT_EQ(host_.frames[i].outbound, i == 1) << "whose it was";
  }
}

TEST_F(ReplayTest, RealPaceDoesNotRunAheadOfTheClock) {
  play("");
  ASSERT_EQ(host_.frames.size(), 3U);
  EXPECT_LE(host_.frames[2].t_boot_ns, bootNow());
  EXPECT_EQ(host_.frames[2].t_boot_ns - host_.frames[0].t_boot_ns, 40 * kNsPerMs);
}

TEST_F(ReplayTest, ObservedAndDeclaredRecordsArePlayedConcludedOnesNot) {
  play("?pace=fast");
  EXPECT_EQ(count(event::Kind::reading), 1U);
  EXPECT_EQ(count(event::Kind::message), 0U);
  EXPECT_EQ(count(event::Kind::sent), 0U);
  EXPECT_EQ(host_.lost(), 7U);
  const auto gaps = host_.all<event::Gap>();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].to_ns - gaps[0].from_ns, 9 * kNsPerMs);
  EXPECT_EQ(gaps[0].to_ns, host_.frames[2].t_boot_ns);
}

TEST_F(ReplayTest, StateSaysWhatItIsAndWhatTheRecordingKnew) {
  play("?pace=fast");
  const event::LinkState& s = link_->state();
  EXPECT_EQ(s.description, "replay of " + file_);
  EXPECT_EQ(s.time_origin, "file");
  EXPECT_EQ(s.silence, event::Silence::cannot) << "as the recorded link";
  EXPECT_EQ(s.bitrate, 250000U);
  EXPECT_NE(s.text.find("only link 0"), std::string::npos) << s.text;
  EXPECT_NE(s.advice.find("?link=1"), std::string::npos) << s.advice;
}

TEST_F(ReplayTest, AnotherLinkOfTheFileIsChosenByNumber) {
  play("?pace=fast&link=1");
  ASSERT_EQ(host_.frames.size(), 1U);
  EXPECT_EQ(host_.frames[0].frame, numbered(9));
  EXPECT_EQ(host_.lost(), 0U) << "that loss is of link 0";
}

TEST_F(ReplayTest, CloseStopsIt) {
  auto link = makeLink(*parseUri("replay:" + file_), {io_, host_, 0});
  ASSERT_TRUE(link);
  (*link)->open();
  (*link)->close();
  const std::size_t frames = host_.frames.size();
  link->reset();
  io_.run();
  EXPECT_EQ(host_.frames.size(), frames);
  EXPECT_LT(frames, 3U);
}

TEST_F(ReplayTest, WrongOptionsAndFilesAreRefused) {
  const auto kind = [&](const std::string& uri) {
    const auto link = makeLink(*parseUri(uri), {io_, host_, 0});
    return link ? ErrorKind::internal : link.error().kind;
  };
  EXPECT_EQ(kind("replay:" + file_ + "?pace=slow"), ErrorKind::usage);
  EXPECT_EQ(kind("replay:" + file_ + "?link=x"), ErrorKind::usage);
  EXPECT_EQ(kind("replay:" + (dir_ / "none").string()), ErrorKind::input);
}

}  // namespace
}  // namespace pin16::link
