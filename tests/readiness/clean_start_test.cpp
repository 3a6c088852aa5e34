// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/clean_start.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <sstream>

#include "build.hpp"

namespace pin16::readiness {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

job::Job jobOf(const std::string& feed, const std::string& module = "") {
  const auto j =
      job::parseJob("[job]\narrangement = \"removed\"\n[feed]\n" + feed + "[module]\n" + module, "job.toml");
  if (!j) throw std::invalid_argument(j.error().text());
  return *j;
}

CleanStart predicted(const job::Job& j) {
  const auto r = predictStart(j);
  if (!r) throw std::logic_error(r.error().text());
  return r->value();
}

const std::string kModule =
    "start_V = 8.0\nstop_V = 6.5\nboot_A = 0.6\nboot_s = 0.5\nrun_A = 0.3\ncapacitance_uF = 470\n";

TEST(CleanStart, NothingIsPredictedFromNothing) {
  job::Job j;
  const auto r = predictStart(j);
  ASSERT_TRUE(r);
  EXPECT_FALSE(*r);
  EXPECT_EQ(startText(*r), "");
}

TEST(CleanStart, ASoundFeedStartsItOnce) {
  const CleanStart s = predicted(jobOf("emf_V = 12.6\nfuse_A = 7.5\nlead_length_m = 10\n", kModule));
  EXPECT_TRUE(s.clean());
  EXPECT_NEAR(s.steady_V, 12.6, 0.15);
  EXPECT_GT(s.lowest_V, 12.2);
  EXPECT_LE(s.lowest_V, s.steady_V + 1e-9);
  EXPECT_FALSE(s.limit_least_A);
  EXPECT_THAT(startText(s), HasSubstr("starts once"));
  EXPECT_EQ(s.assumed, "");
}

// 12 V behind 3 ohm, on at 9.5 V, off at 9.0 V, 10 W: (12 + sqrt(12^2 - 4 * 10 * 3)) / 2 = 8.449 V < 9.0 V,
// no steady state. The same figures as the network of tests/circuit/data/ngspice_cases.csv, case 15, which
// ngspice shows to go on and off.
TEST(CleanStart, WithoutASteadyStateItStartsAgainAndAgain) {
  const CleanStart s =
      predicted(jobOf("emf_V = 12\nseries_ohm = 2.9\njoints_ohm = 0.077\nlead_length_m = 0.02\n",
                      "start_V = 9.5\nstop_V = 9.0\nboot_A = 0.8333\nboot_s = 0\nrun_A = 0.8333\n"
                      "capacitance_uF = 470\n"));
  EXPECT_GT(s.starts, 10);
  EXPECT_NEAR(s.lowest_V, 9.0, 0.6);
  EXPECT_THAT(startText(s), HasSubstr("again and again"));
  EXPECT_THAT(startText(s), HasSubstr("do not switch on"));
}

// A limit below the start demand: 2 A at 12 V are 24 W. It starts at 8 V at its terminals, where the limit
// charges the input capacitor through 0.1 ohm, and then lives on that capacitor: I = P / (8 V - 0.1 ohm * I),
// or it falls.
TEST(CleanStart, ALimitBelowTheStartDemandMakesItHiccup) {
  const std::string module =
      "start_V = 8.0\nstop_V = 6.5\nboot_A = 2.0\nboot_s = 0.3\nrun_A = 0.3\ncapacitance_uF = 220\n";
  const auto with = [&](double limit_A) {
    return predicted(jobOf(
        "emf_V = 13\nlimit_A = " + std::to_string(limit_A) + "\nseries_ohm = 0.001\njoints_ohm = 0.001\n",
        module));
  };
  const CleanStart s = with(1.0);
  EXPECT_GT(s.starts, 1);
  ASSERT_TRUE(s.limit_least_A);
  EXPECT_NEAR(*s.limit_least_A, (8 - std::sqrt(64 - 4 * 0.1 * 24)) / 0.2, 0.03);
  EXPECT_TRUE(with(*s.limit_least_A * 1.02).clean());
  EXPECT_FALSE(with(*s.limit_least_A * 0.98).clean());
  EXPECT_THAT(startText(s), HasSubstr("limit must be 3.2 A at least"));
}

// C dV = i dt with i = P / V: t = C (V1^2 - V2^2) / (2 P).
TEST(CleanStart, TheGapThatTheCapacitorBears) {
  const CleanStart s =
      predicted(jobOf("emf_V = 12.6\n",
                      "start_V = 10.0\nstop_V = 9.0\nboot_A = 0.3\nboot_s = 0.1\nrun_A = 0.3\n"
                      "capacitance_uF = 470\n"));
  const double by_hand_ms = 470e-6 * (s.steady_V * s.steady_V - 81) / (2 * 0.3 * 12) * 1e3;
  EXPECT_NEAR(s.longest_gap_ms, by_hand_ms, 0.03 * by_hand_ms + 0.1);
}

// P = V (E - V) / R at the stop volts: the most resistance is V (E - V) / P.
TEST(CleanStart, TheResistanceThatItWouldBear) {
  const CleanStart s =
      predicted(jobOf("emf_V = 12\nseries_ohm = 0.001\njoints_ohm = 0.001\nlead_length_m = 0.01\n",
                      "start_V = 9.0\nstop_V = 7.0\nboot_A = 1.0\nboot_s = 0.3\nrun_A = 0.5\n"
                      "capacitance_uF = 10\n"));
  EXPECT_NEAR(s.more_ohm, 7.0 * 5.0 / 12.0, 0.1);
}

TEST(CleanStart, TooFewVoltsAreNoStart) {
  const CleanStart s = predicted(jobOf("emf_V = 7\n", kModule));
  EXPECT_FALSE(s.possible);
  EXPECT_THAT(startText(s), HasSubstr("will not start"));
}

TEST(CleanStart, WhatIsAssumedIsSaid) {
  const CleanStart s = predicted(jobOf("emf_V = 12.6\n", "run_A = 0.3\n"));
  EXPECT_THAT(s.assumed, HasSubstr("start at 8 V"));
  EXPECT_THAT(s.assumed, Not(HasSubstr("then")));
  EXPECT_THAT(startText(s), HasSubstr("Estimated, not from the job: start at"));
}

// A meter of ten values a second, 20 ms each: arithmetic of two intervals that overlap.
TEST(CleanStart, HowManyGapsAMeterSees) {
  EXPECT_NEAR(shareSeen(0.05, 0.1, 0.02), 0.7, 1e-12);
  EXPECT_NEAR(shareSeen(0.01, 0.1, 0.02), 0.3, 1e-12);
  EXPECT_EQ(shareSeen(0.2, 0.1, 0.02), 1);
  // And by counting: gaps that begin at any phase.
  int seen = 0;
  for (int i = 0; i < 10000; ++i) {
    const double from = i * 1e-5,
                 to = from + 0.01;  // of an interval of 0.1 s; the value is taken from 0.04 to 0.06
    seen += (from < 0.06 && to > 0.04) || to - 0.1 > 0.04 ? 1 : 0;
  }
  EXPECT_NEAR(seen / 1e4, shareSeen(0.01, 0.1, 0.02), 0.001);
}

TEST(CleanStart, TheSheetSaysHowWellTheMeterSees) {
  job::Job j;
  j.arrangement = job::Arrangement::fed_in_place;
  Stream s;
  s.power(event::PowerState::on)
      .course("V(feed,chassis)", {0, 12.5, 12.5, 12.5, 12.5, 12.5, 12.5, 12.5, 12.5});
  EXPECT_THAT(step(assess(j, s.evidence(), {}), "feed").text,
              HasSubstr("The meter looks every 0.10 s: a gap of 10 ms is seen in 10"));
}

// The example of docs/job-file.md is a job.
TEST(CleanStart, TheExampleInTheDocumentIsRead) {
  std::ifstream in(std::string(PIN16_SOURCE_DIR) + "/docs/job-file.md");
  std::stringstream all;
  all << in.rdbuf();
  const std::string text = all.str();
  const std::size_t from = text.find("```toml\n") + 8;
  const auto j = job::parseJob(text.substr(from, text.find("```", from) - from), "docs/job-file.md");
  ASSERT_TRUE(j) << j.error().text();
  ASSERT_TRUE(j->feed);
  EXPECT_TRUE(predicted(*j).clean());
}

}  // namespace
}  // namespace pin16::readiness
