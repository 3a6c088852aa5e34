// SPDX-License-Identifier: Apache-2.0
#include "core/review/power.hpp"

#include <gtest/gtest.h>

namespace pin16::review {
namespace {

struct Stage {
  limits::Limits limits;
  PowerCounter counter{limits};
  void volts(double t_s, double value, const char* point = "V(feed,chassis)") {
    event::Measurement m;
    m.point = point;
    m.unit = "V";
    m.value = value;
    counter.sample(fromSeconds(t_s), m);
  }
  void up(double t_s) {
    event::LinkState s;
    s.condition = event::LinkCondition::up;
    counter.state(0, fromSeconds(t_s), s);
  }
  void frame(double t_s, std::uint32_t id) {
    counter.frame(0, fromSeconds(t_s), event::CanFrame::make(id, false, Bytes(8, 0)), false);
  }
};

TEST(PowerCounter, EachRiseFromDeadIsOneAndWhatIsAboveAtFirstIsNone) {
  Stage s;
  for (const double v : {12.0, 0.1, 12.0, 8.0, 12.0, 0.2, 5.0, 0.3, 9.5}) s.volts(1, v);
  s.volts(1, 0, "V(pin6,pin4)");
  s.volts(1, 12, "V(pin6,pin4)");  // a bus wire is no supply
  s.volts(2, 12, "V(src+,src-)");
  const PowerFacts f = s.counter.facts();
  ASSERT_EQ(f.rises.size(), 1U);
  EXPECT_EQ(f.rises[0].point, "V(feed,chassis)");
  EXPECT_EQ(f.supplyRises(), 2U);
}

TEST(PowerCounter, DeclaredAndMeasuredAreApartAndTheRemovalIsKept) {
  Stage s;
  const auto power = [&](double t_s, event::PowerState state, const char* how) {
    s.counter.power(fromSeconds(t_s), {state, how, ""});
  };
  power(1, event::PowerState::on, "declared");
  power(2, event::PowerState::on, "measured");  // the same one
  power(3, event::PowerState::off, "declared");
  power(4, event::PowerState::on, "measured");
  EXPECT_EQ(s.counter.facts().declared, 1U);
  EXPECT_EQ(s.counter.facts().measured, 1U);
  EXPECT_EQ(s.counter.facts().removed_ns, kNoTime);
  power(5, event::PowerState::source, "declared");
  EXPECT_EQ(s.counter.facts().removed_ns, fromSeconds(5));
}

TEST(PowerCounter, TrafficAfterSilenceIsAWakeUpUnlessASupplyRose) {
  Stage s;
  s.up(0);
  s.frame(0.1, 0x280);
  s.frame(0.2, 0x280);
  s.frame(4.0, 0x7E0);  // diagnostics are no traffic of others
  s.frame(9.0, 0x280);
  EXPECT_EQ(s.counter.facts().wake_ups, 1U);
  s.volts(10, 0);
  s.volts(12, 12);
  s.frame(13, 0x280);
  EXPECT_EQ(s.counter.facts().wake_ups, 1U);
  s.counter.gap(0, fromSeconds(20));  // unseen is not silent
  s.frame(21, 0x280);
  EXPECT_EQ(s.counter.facts().wake_ups, 1U);
}

}  // namespace
}  // namespace pin16::review
