// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/evidence.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "build.hpp"

namespace pin16::readiness {
namespace {

using event::PowerState;

TEST(Evidence, SamplesAreSummedAndAReadingReplacesThem) {
  Stream s;
  s.sample("V(feed,chassis)", 12.0, "V", 0.02, PowerState::on)
      .sample("V(feed,chassis)", 9.5, "V", 0.02, PowerState::on);
  s.sample("V(feed,chassis)", 12.5, "V", 0.05, PowerState::on);
  const Evidence samples = s.evidence();
  const PointFacts* f = samples.newest("V(feed,chassis)");
  ASSERT_NE(f, nullptr);
  EXPECT_EQ(f->count, 3U);
  EXPECT_DOUBLE_EQ(f->min, 9.5);
  EXPECT_DOUBLE_EQ(f->max, 12.5);
  EXPECT_DOUBLE_EQ(f->last, 12.5);
  EXPECT_NEAR(f->mean(), 34.0 / 3, 1e-12);
  EXPECT_DOUBLE_EQ(f->uncertainty, 0.05);
  EXPECT_EQ(f->instrument, "meter");
  s.reading("V(feed,chassis)=12.2 power=on");
  const Evidence later = s.evidence();
  f = later.newest("V(feed,chassis)");
  EXPECT_EQ(f->count, 1U);
  EXPECT_DOUBLE_EQ(f->min, 12.2);
  EXPECT_TRUE(f->typed);
}

TEST(Evidence, ConditionsAndPowerStatesAreKeptApart) {
  Stream s;
  s.reading("V(pin16,pin4)=12.6 power=source").reading("V(pin16,pin4)=7 power=source with=\"1 A load\"");
  const Evidence e = s.evidence();
  EXPECT_EQ(e.points().size(), 2U);
  EXPECT_TRUE(e.newest("V(pin16,pin4)")->loaded());
  EXPECT_FALSE(e.newest("V(pin16,pin4)", [](const PointFacts& f) { return f.condition.empty(); })->loaded());
}

TEST(Evidence, ANewPowerUpStartsTheSamplesAnew) {
  Stream s;
  s.power(PowerState::on).sample("V(feed,chassis)", 8.0, "V", 0.02, PowerState::unknown);
  s.power(PowerState::off)
      .power(PowerState::on)
      .sample("V(feed,chassis)", 12.5, "V", 0.02, PowerState::unknown);
  const Evidence e = s.evidence();
  EXPECT_DOUBLE_EQ(e.newest("V(feed,chassis)")->min, 12.5);
  EXPECT_EQ(e.newest("V(feed,chassis)")->power, PowerState::on);
}

TEST(Evidence, FramesErrorsAndOursAreCountedApart) {
  Stream s;
  s.link()
      .frames(3, 0x100)
      .frames(2, 0x200)
      .errors(4, CAN_ERR_PROT | CAN_ERR_BUSERROR)
      .errors(5, CAN_ERR_ACK);
  s.errors(6, CAN_ERR_CRTL);  // a notice of the controller, not a disturbed bus
  s.frame(event::CanFrame::make(0x7A1, false, Bytes{3, 0x22, 0xF1, 0x90}), event::kOutbound);
  s.add(0, event::Sent{{1, 2}, "request 22 F190"});
  s.add(0, event::Loss{event::LossPlace::kernel, 7}).add(0, event::Gap{1, 2, "gone"});
  s.add(0, event::Refused{"14", "not on the list"});
  const Evidence e = s.evidence();
  EXPECT_EQ(e.frames(), 5U);
  EXPECT_EQ(e.distinctIds(), 2U);
  EXPECT_EQ(e.errorFrames(), 4U);
  EXPECT_EQ(e.unacknowledged(), 5U);
  EXPECT_EQ(e.links().at(0).own_frames, 1U);
  EXPECT_EQ(e.links().at(0).error_classes.at(CAN_ERR_CRTL), 6U);
  EXPECT_EQ(e.sent(), 1U);
  EXPECT_EQ(e.refused(), 1U);
  EXPECT_EQ(e.lost(), 7U);
  EXPECT_EQ(e.gaps(), 1U);
}

TEST(Evidence, BusOffEndsWithARestart) {
  Stream s;
  s.link().errors(1, CAN_ERR_BUSOFF);
  EXPECT_TRUE(s.evidence().links().at(0).bus_off);
  s.errors(1, CAN_ERR_RESTARTED);
  EXPECT_FALSE(s.evidence().links().at(0).bus_off);
}

TEST(Evidence, OnlyOurOwnConcludedExchangesComeFromTheStream) {
  Stream s;
  event::Exchange witnessed;
  witnessed.request_id = 0x7E0;
  s.exchange(witnessed).asked(event::Ended::negative, 5);
  Evidence e = s.evidence();
  ASSERT_EQ(e.exchanges().size(), 1U);
  EXPECT_EQ(e.exchanges()[0].negative_code, 0x31);
  e.add(witnessed, 0);
  EXPECT_EQ(e.exchanges().size(), 2U);
}

TEST(Evidence, AModuleThatAnswersIsFed) {
  const auto unknown = PowerState::unknown;
  Stream before;
  before.link().sample("V(src+,src-)", 12.9, "V", 0.02, unknown).otherAnswered();
  Evidence e = before.evidence();
  EXPECT_FALSE(e.fed());
  Stream s;
  s.link().sample("V(src+,src-)", 12.9, "V", 0.02, unknown).otherAnswered().asked(event::Ended::silent);
  const auto taken = [&] {
    Evidence out;
    out.setModule(0x7A9, false);
    s.feed(out);
    return out;
  };
  EXPECT_FALSE(taken().fed()) << "another one, and silence";
  s.asked(event::Ended::negative, 12).sample("V(src+,src-)", 12.4, "V", 0.02, unknown);
  e = taken();
  EXPECT_TRUE(e.fed());
  EXPECT_EQ(e.power(), unknown) << "nobody said so";
  EXPECT_TRUE(e.powerOns().empty()) << "and nobody knows when it was switched on";
  const PointFacts* f = e.newest("V(src+,src-)");
  ASSERT_NE(f, nullptr);
  EXPECT_EQ(f->power, PowerState::on);
  EXPECT_EQ(f->count, 1U) << "what was measured before the answer is of an unknown state";
  s.power(PowerState::off);
  EXPECT_FALSE(taken().fed()) << "said after the answer";
}

TEST(Evidence, ListeningCountsFromTheLinksFirstComingUp) {
  Stream s;
  s.wait(5);
  EXPECT_EQ(s.evidence().listened_s(), 0);
  s.link().wait(3);
  EXPECT_NEAR(s.evidence().listened_s(), 3.0, 0.01);
}

TEST(Evidence, AnInstrumentWithoutANumberMeasuredNothing) {
  Stream s;
  s.sample("V(src+,src-)", std::nan(""), "V", 0.02, PowerState::on);
  s.sample("V(src+,src-)", HUGE_VAL, "V", 0.02, PowerState::on);
  EXPECT_TRUE(s.evidence().points().empty());
}

TEST(Evidence, DamagedRecordsAreSkipped) {
  event::Batch b;
  b.addRaw(1, 10, 0, event::Kind::reading, Bytes{0xFF, 0xFF, 0xFF, 0xFF});
  b.addRaw(2, 11, 0, event::Kind::frame, Bytes{1, 2});
  b.addRaw(3, 12, 0xFFF0, event::Kind::link, Bytes{0xFF, 0xFF, 0xFF, 0x7F});
  Evidence e;
  e.take(b);
  EXPECT_TRUE(e.points().empty());
  EXPECT_EQ(e.frames(), 0U);
}

}  // namespace
}  // namespace pin16::readiness
