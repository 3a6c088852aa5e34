// SPDX-License-Identifier: Apache-2.0
#include "core/review/attempt_list.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "core/base/clock.hpp"

namespace pin16::review {
namespace {

using ::testing::SizeIs;

constexpr Ns kBegin_ns = 1'790'251'200 * kNsPerSecond;  // 2026-09-24T12:00:00Z

protocol::AttemptReport report(Ns begin_ns, protocol::Rung rung) {
  protocol::AttemptReport a;
  a.begin_ns = begin_ns;
  a.rung = rung;
  a.power_up = 2;
  return a;
}
protocol::SupplyCourse course(const char* point, const char* unit, double first, double lowest) {
  protocol::SupplyCourse c;
  c.point = point, c.unit = unit, c.first = first, c.lowest_before = first, c.lowest_after = lowest,
  c.last = first;
  c.values = 5;
  return c;
}

TEST(AttemptList, WhatIsKeptAndWhatIsInTheCaptureIsOneRow) {
  protocol::AttemptReport a = report(kBegin_ns + 5 * kNsPerMs, protocol::Rung::silent);
  a.supply = {course("V(src+,src-)", "V", 12.6, 12.1), course("V(pin16,pin4)", "V", 12.4, 9.6),
              course("I(feed)", "A", 0.3, 0), course("V(chassis,src-)", "V", 0.01, 0),
              course("V(pin14,pin4)", "V", 2.5, 1.5)};
  const std::vector<job::AttemptEntry> kept = {
      {"2026-09-24T11:00:00.000000Z", "no-bit", 1, std::nullopt, "", "", "a.pcapng"},
      {"2026-09-24T12:00:00.005000Z", "silent", 2, 17, "other cable", "no answer", "b.pcapng"}};
  const auto rows = attemptRows(kept, {a}, "b.pcapng");
  ASSERT_THAT(rows, SizeIs(2));
  EXPECT_EQ(rows[0].rung, "no-bit");
  EXPECT_FALSE(rows[0].here);
  EXPECT_TRUE(rows[0].supply.empty());
  EXPECT_EQ(rows[1].changed, "other cable");
  EXPECT_EQ(rows[1].said, "no answer");
  EXPECT_EQ(rows[1].cycles, 17);
  EXPECT_TRUE(rows[1].here);
  EXPECT_EQ(rows[1].supply, "V(pin16,pin4) 12.4 V, lowest 9.6 V");
}

TEST(AttemptList, WhatIsOnlyInTheCaptureIsARowTooAndOneUnderWayHasNoRung) {
  protocol::AttemptReport open = report(kBegin_ns, protocol::Rung::silent);
  open.open = true;
  const std::vector<job::AttemptEntry> later = {
      {"2026-09-24T13:00:00.000000Z", "through", 3, std::nullopt, "", "", "c.pcapng"}};
  const auto rows = attemptRows(later, {open}, "b.pcapng");
  ASSERT_THAT(rows, SizeIs(2));
  EXPECT_TRUE(rows[0].rung.empty());
  EXPECT_EQ(rows[0].power_up, 2);
  EXPECT_EQ(rows[1].rung, "through");
}

}  // namespace
}  // namespace pin16::review
