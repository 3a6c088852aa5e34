// SPDX-License-Identifier: Apache-2.0
// What the course of a supply in time tells. The curves are made here with known parameters; the expected
// values are those parameters.
#include "core/readiness/course.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace pin16::readiness {
namespace {

Trace traceOf(const std::vector<double>& values, double every_s = 0.1) {
  Trace t;
  for (std::size_t i = 0; i < values.size(); ++i)
    t.samples.push_back({kNsPerSecond + fromSeconds(static_cast<double>(i) * every_s), values[i]});
  return t;
}

TEST(Course, OneCleanSwitchOnIsOneRise) {
  const Rises r = rises(traceOf({0, 0, 12.5, 12.6, 12.6}), 9, 8.55);
  EXPECT_EQ(r.at_ns.size(), 1U);
  EXPECT_TRUE(r.above_at_end);
}

TEST(Course, ABouncingPlugRisesEachTimeAndAGapAtTheEndIsSeen) {
  const Rises r = rises(traceOf({12.5, 0, 12.5, 0.3, 12.5, 12.5}), 9, 8.55);
  EXPECT_EQ(r.at_ns.size(), 3U);
  EXPECT_TRUE(r.above_at_end);
  EXPECT_FALSE(rises(traceOf({12.5, 0, 12.5, 0}), 9, 8.55).above_at_end);
}

TEST(Course, NoiseAboutTheThresholdIsNoRise) {
  EXPECT_EQ(rises(traceOf({9.02, 8.97, 9.03, 8.9, 9.01, 8.6, 9.1}), 9, 8.55).at_ns.size(), 1U);
}

TEST(Course, RisesBeforeTheLastSwitchOnDoNotCount) {
  const Trace t = traceOf({12, 0, 12, 0, 12, 12});
  EXPECT_EQ(rises(t, 9, 8.55, t.samples[4].t_ns).at_ns.size(), 1U);
  EXPECT_TRUE(rises(t, 9, 8.55, t.samples[5].t_ns + 1).at_ns.empty());
}

TEST(Course, ACleanStepToZeroIsACutWithItsDelay) {
  std::vector<double> v(25, 12.4);
  v.insert(v.end(), {0.0, 0.0, 0.0});
  const auto all = cuts(traceOf(v), 9, 1, 0.5);
  ASSERT_EQ(all.size(), 1U);
  EXPECT_NEAR(all[0].after_s, 2.4, 1e-9);
  EXPECT_DOUBLE_EQ(all[0].before, 12.4);
  EXPECT_NEAR(all[0].step_s, 0.1, 1e-9);
  EXPECT_TRUE(all[0].lasts);
}

TEST(Course, ABatteryThatGivesInSlowlyIsNoCut) {
  std::vector<double> v;
  for (double x = 12.4; x > 0; x -= 0.5) v.push_back(x);
  v.push_back(0);
  EXPECT_TRUE(cuts(traceOf(v), 9, 1, 0.5).empty());
}

TEST(Course, ACutThatIsOverDoesNotLast) {
  const auto all = cuts(traceOf({12, 12, 0, 0, 12, 12, 12, 0, 12}), 9, 1, 0.5);
  ASSERT_EQ(all.size(), 2U);
  EXPECT_NEAR(all[0].after_s, 0.1, 1e-9);
  EXPECT_NEAR(all[1].after_s, 0.2, 1e-9);
  EXPECT_FALSE(all[1].lasts);
}

TEST(Course, TheTrendOfAStraightLineIsItsSlope) {
  std::vector<double> v;
  for (int i = 0; i < 40; ++i) v.push_back(12.6 - 0.05 * 0.1 * i);
  const auto t = trend(traceOf(v), 0);
  ASSERT_TRUE(t);
  EXPECT_NEAR(t->slope_per_s, -0.05, 1e-9);
  EXPECT_NEAR(t->slope_error_per_s, 0, 1e-9);
  EXPECT_NEAR(t->last, 12.6 - 0.05 * 3.9, 1e-9);
  EXPECT_NEAR(t->span_s, 3.9, 1e-9);
}

TEST(Course, TheStandardErrorIsTheTextbookOne) {
  // NIST/SEMATECH e-Handbook 4.1.4.1: standard deviation of the slope = s / sqrt(sum (t - mean)^2), with s
  // from the residuals over n - 2. Points 0..9 at 1 s with +1, -1 in turns about zero, worked out by hand:
  // mean t 4.5, tt 82.5, tv -5, slope -0.060606, residual sum 10 - 25/82.5 = 9.69697, s^2 = 1.212121,
  // error = sqrt(1.212121 / 82.5) = 0.121213.
  std::vector<double> v;
  for (int i = 0; i < 10; ++i) v.push_back(i % 2 == 0 ? 1 : -1);
  const auto t = trend(traceOf(v, 1), 0);
  ASSERT_TRUE(t);
  EXPECT_NEAR(t->slope_per_s, -0.060606, 1e-6);
  EXPECT_NEAR(t->slope_error_per_s, 2 * 0.121213, 1e-5);
}

TEST(Course, TooFewSamplesOrOneInstantTellNoTrend) {
  EXPECT_FALSE(trend(traceOf({12, 12, 12, 12, 12, 12, 12, 12, 12}), 0));
  EXPECT_FALSE(trend(traceOf(std::vector<double>(20, 12.0), 0), 0));
  const Trace t = traceOf(std::vector<double>(20, 12.0));
  EXPECT_FALSE(trend(t, t.samples[11].t_ns));
}

}  // namespace
}  // namespace pin16::readiness
