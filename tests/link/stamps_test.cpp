// SPDX-License-Identifier: Apache-2.0
#include "core/link/stamps.hpp"

#include <gtest/gtest.h>

namespace pin16::link {
namespace {

constexpr Ns kUtc_ns = 1'800'000'000 * kNsPerSecond;
constexpr Ns kUs = 1000;

ClockPair at(Ns boot_ns) { return {boot_ns, boot_ns + kUtc_ns}; }

TEST(StampClockTest, SoftwareStampIsMovedByTheClocksOffset) {
  StampClock c;
  EXPECT_EQ(c.origin(), StampClock::Origin::none);
  EXPECT_EQ(c.toBoot({kUtc_ns + 700, kNoTime}, at(1000)), 700);
  EXPECT_EQ(c.origin(), StampClock::Origin::kernel);
}

TEST(StampClockTest, NoStampIsTheTimeOfReading) {
  StampClock c;
  EXPECT_EQ(c.toBoot({}, at(1000)), 1000);
  EXPECT_EQ(c.origin(), StampClock::Origin::user);
}

TEST(StampClockTest, NoFrameComesFromTheFutureWhenUtcWasSetBack) {
  StampClock c;
  const ClockPair after{2000, kUtc_ns - kNsPerSecond};
  EXPECT_EQ(c.toBoot({kUtc_ns + 1900, kNoTime}, after), 2000);
}

TEST(StampClockTest, HardwareStampsKeepTheirIntervalsUnderSoftwareJitter) {
  StampClock c;
  // The adapter's clock began at 5 s when ours was at 100 s; frames 1 ms apart; software stamps late by 20 us
  // at least and by up to 400 us.
  const Ns delay[] = {20 * kUs, 400 * kUs, 90 * kUs, 250 * kUs, 20 * kUs};
  for (int i = 0; i < 5; ++i) {
    const Ns true_ns = 100 * kNsPerSecond + i * kNsPerMs;
    const Ns hardware_ns = 5 * kNsPerSecond + i * kNsPerMs;
    const Ns t = c.toBoot({kUtc_ns + true_ns + delay[i], hardware_ns}, at(true_ns + kNsPerMs));
    EXPECT_GE(t - true_ns, 20 * kUs) << i;
    EXPECT_LE(t - true_ns, 20 * kUs + 4 * 100) << i;  // 100 ppm of 4 ms
  }
  EXPECT_EQ(c.origin(), StampClock::Origin::hardware);
}

TEST(StampClockTest, SlowHardwareClockIsFollowed) {
  StampClock c;
  Ns t = 0;
  Ns true_ns = 0;
  for (int i = 0; i <= 600; ++i) {  // ten minutes, the adapter's clock 50 ppm slow
    true_ns = i * kNsPerSecond;
    const Ns hardware_ns = true_ns - true_ns / 20'000;
    t = c.toBoot({kUtc_ns + true_ns, hardware_ns}, at(true_ns));
  }
  EXPECT_NEAR(static_cast<double>(t - true_ns), 0, 100.0 * kUs);
}

TEST(StampClockTest, AdapterClockSetAnewIsTiedAnew) {
  StampClock c;
  (void)c.toBoot({kUtc_ns + kNsPerSecond, 50 * kNsPerSecond}, at(kNsPerSecond));
  EXPECT_EQ(c.toBoot({kUtc_ns + 2 * kNsPerSecond, 0}, at(2 * kNsPerSecond)), 2 * kNsPerSecond);
}

}  // namespace
}  // namespace pin16::link
