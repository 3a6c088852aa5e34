// SPDX-License-Identifier: Apache-2.0
#include "core/can/load.hpp"

#include <gtest/gtest.h>

namespace pin16::can {
namespace {

constexpr Ns kMs = kNsPerMs;

TEST(LoadMeter, EvenTrafficHasItsArithmeticLoad) {
  LoadMeter meter;
  for (Ns i = 0; i < 500; ++i) meter.frame(kMs + i * 10 * kMs, kMs);  // 1 ms in every 10
  // From 0 (start of the first frame) to 4991 ms: 500 ms busy.
  EXPECT_DOUBLE_EQ(meter.load().mean, 500.0 / 4991.0);
  EXPECT_DOUBLE_EQ(meter.load().peak, meter.load().mean) << "whole windows have 0.1, less than the mean";
}

TEST(LoadMeter, PeakIsTheBusiestWholeWindow) {
  LoadMeter meter(100 * kMs);
  meter.frame(kMs, kMs);                                                  // 0..1 ms
  for (Ns i = 0; i < 50; ++i) meter.frame(201 * kMs + i * 2 * kMs, kMs);  // third window half full
  meter.frame(10000 * kMs, kMs);
  EXPECT_DOUBLE_EQ(meter.load().peak, 0.5);
}

TEST(LoadMeter, AFrameAcrossAWindowsBorderIsSplit) {
  LoadMeter meter(10 * kMs);
  meter.frame(4 * kMs, 4 * kMs);   // 0..4
  meter.frame(12 * kMs, 6 * kMs);  // 6..12: 4 in the first window, 2 in the second
  meter.frame(20 * kMs, 0);
  EXPECT_DOUBLE_EQ(meter.load().peak, 0.8);
  EXPECT_DOUBLE_EQ(meter.load().mean, 0.5);
}

TEST(LoadMeter, ASaturatedBusIsOne) {
  LoadMeter meter;
  for (Ns i = 1; i <= 12000; ++i) meter.frame(i * 252000, 252000);
  EXPECT_DOUBLE_EQ(meter.load().mean, 1.0);
  EXPECT_DOUBLE_EQ(meter.load().peak, 1.0);
}

TEST(LoadMeter, ShortCaptureHasItsMeanAsPeak) {
  LoadMeter meter;
  EXPECT_DOUBLE_EQ(meter.load().mean, 0);
  meter.frame(kMs, kMs);
  meter.frame(4 * kMs, kMs);
  EXPECT_DOUBLE_EQ(meter.load().mean, 0.5);
  EXPECT_DOUBLE_EQ(meter.load().peak, 0.5);
}

TEST(LoadMeter, WhatCouldNotBeSeenIsNotCountedAsQuiet) {
  LoadMeter meter;
  for (Ns i = 1; i <= 100; ++i) meter.frame(i * 10 * kMs, 5 * kMs);
  meter.unseen(1000 * kMs, 60000 * kMs);
  for (Ns i = 1; i <= 100; ++i) meter.frame(60000 * kMs + i * 10 * kMs, 5 * kMs);
  EXPECT_NEAR(meter.load().mean, 0.5, 0.005);
}

TEST(LoadMeter, SeriesOfWindows) {
  LoadMeter meter(10 * kMs);
  EXPECT_TRUE(meter.windows().empty());
  meter.frame(4 * kMs, 4 * kMs);   // 0..4
  meter.frame(12 * kMs, 6 * kMs);  // 6..12: 4 in the first window, 2 in the second
  meter.frame(45 * kMs, 2 * kMs);  // 43..45: 20..40 was quiet
  const std::vector<LoadWindow> w = meter.windows();
  ASSERT_EQ(w.size(), 3U);
  EXPECT_EQ(w[0].from_ns, 0);
  EXPECT_EQ(w[0].length_ns, 10 * kMs);
  EXPECT_DOUBLE_EQ(w[0].share, 0.8);
  EXPECT_EQ(w[1].from_ns, 10 * kMs);
  EXPECT_DOUBLE_EQ(w[1].share, 0.2);
  EXPECT_EQ(w[2].from_ns, 40 * kMs);
  EXPECT_EQ(w[2].length_ns, 5 * kMs) << "still open";
  EXPECT_DOUBLE_EQ(w[2].share, 0.4);
  double busy = 0;
  for (const LoadWindow& one : w) busy += one.share * static_cast<double>(one.length_ns);
  EXPECT_NEAR(busy / (45.0 * kMs), meter.load().mean, 1e-12) << "nothing is lost between windows";
}

TEST(LoadMeter, NoWindowReachesAcrossWhatCouldNotBeSeen) {
  LoadMeter meter(10 * kMs);
  meter.frame(2 * kMs, 2 * kMs);
  meter.unseen(4 * kMs, 7 * kMs);
  meter.frame(8 * kMs, kMs);
  meter.frame(20 * kMs, kMs);
  const std::vector<LoadWindow> w = meter.windows();
  ASSERT_EQ(w.size(), 3U);
  EXPECT_EQ(w[0].length_ns, 4 * kMs);
  EXPECT_DOUBLE_EQ(w[0].share, 0.5);
  EXPECT_EQ(w[1].from_ns, 7 * kMs);
  EXPECT_DOUBLE_EQ(w[1].share, 0.1);
  EXPECT_EQ(w[2].from_ns, 17 * kMs);
  EXPECT_DOUBLE_EQ(meter.load().mean, 4.0 / (4 + 13));
}

TEST(LoadMeter, FramesOfUnknownRateAreNotJudged) {
  LoadMeter meter;
  meter.uncounted(5 * kMs);
  EXPECT_FALSE(meter.counted());
  meter.frame(10 * kMs, kMs);
  meter.frame(19 * kMs, kMs);  // 9..19: a fifth
  for (Ns t = 20; t < 1000; ++t) meter.uncounted(t * kMs);
  meter.frame(1000 * kMs, kMs);
  meter.frame(1009 * kMs, kMs);
  EXPECT_TRUE(meter.counted());
  EXPECT_NEAR(meter.load().mean, 4.0 / 20.0, 1e-12);
}

TEST(LoadMeter, AbsurdStampsNeitherHangNorOverflow) {
  LoadMeter meter;
  meter.frame(kNoTime, kMs);
  meter.frame(kMs, kMs);
  meter.frame(INT64_MAX, kMs);
  meter.frame(Ns{1} << 61, kMs);  // seventy years on
  meter.frame(2 * kMs, kMs);      // and back
  meter.unseen(kNoTime, INT64_MAX);
  EXPECT_GE(meter.load().mean, 0);
  EXPECT_LE(meter.load().peak, 1);
}

}  // namespace
}  // namespace pin16::can
