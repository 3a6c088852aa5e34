// SPDX-License-Identifier: Apache-2.0
#include <linux/can/error.h>

#include "tests/plugin/stage.hpp"

namespace pin16::plugin {
namespace {

using testing::counterOf;
using testing::findingOf;
using testing::rowOf;
using testing::Stage;

Results watch(Stage& s) { return s.play(testing::shipped("error-watch")); }

event::LinkState up(event::Silence silence, const std::string& controller = "error-active") {
  event::LinkState l;
  l.uri = "socketcan:can0";
  l.condition = event::LinkCondition::up;
  l.bitrate = 500000;
  l.silence = silence;
  l.controller = controller;
  return l;
}

TEST(ErrorWatch, CountsByClassKindAndPlaceAsLinuxNamesThem) {
  // Classes and bits: linux/can/error.h, by its own names.
  Stage s;
  s.error(0, CAN_ERR_PROT | CAN_ERR_BUSERROR, {0, 0, CAN_ERR_PROT_STUFF, CAN_ERR_PROT_LOC_DATA, 0, 0, 0, 0});
  s.error(1, CAN_ERR_PROT | CAN_ERR_BUSERROR,
          {0, 0, CAN_ERR_PROT_FORM, CAN_ERR_PROT_LOC_ACK_DEL, 0, 0, 0, 0});
  s.error(2, CAN_ERR_ACK, {0, 0, 0, 0, 0, 0, 0, 0});
  s.error(3, CAN_ERR_CRTL | 0x200U, {0, CAN_ERR_CRTL_TX_WARNING, 0, 0, 0, 0, 96, 5});
  const Results r = watch(s);
  EXPECT_EQ(counterOf(r, "error-frames"), 4U);
  const Figure* frames = rowOf(r, "errors", "error frames");
  ASSERT_NE(frames, nullptr);
  EXPECT_EQ(frames->text,
            "bus error 2, controller state 1, error counters 1, no acknowledge 1, protocol violation 2");
  EXPECT_EQ(rowOf(r, "errors", "kinds of violation")->text, "bit stuffing 1, form 1");
  EXPECT_EQ(rowOf(r, "errors", "places")->text, "acknowledge delimiter 1, data 1");
  EXPECT_EQ(rowOf(r, "errors", "transmit error counter, last")->value, 96);
  EXPECT_EQ(rowOf(r, "errors", "receive error counter, last")->value, 5);
}

TEST(ErrorWatch, CountersThatNobodyGivesAreUnknown) {
  Stage s;
  s.error(0, CAN_ERR_ACK, Bytes(8, 0));
  const Results r = watch(s);
  ASSERT_NE(rowOf(r, "errors", "transmit error counter, last"), nullptr);
  EXPECT_NE(rowOf(r, "errors", "transmit error counter, last")->text.find("unknown"), std::string::npos);
}

TEST(ErrorWatch, BusOffSpeaksAgainstAnAttemptUntilItIsOver) {
  Stage s;
  s.link(0, up(event::Silence::cannot));
  s.error(10, CAN_ERR_BUSOFF, Bytes(8, 0));
  s.link(11, up(event::Silence::cannot, "bus-off"));  // the same event, told twice
  const Results off = watch(s);
  EXPECT_EQ(counterOf(off, "bus-off"), 1U);
  ASSERT_NE(findingOf(off, "bus-off"), nullptr);
  EXPECT_EQ(findingOf(off, "bus-off")->weight, Weight::against);
  s.error(500, CAN_ERR_RESTARTED, Bytes(8, 0));
  s.link(501, up(event::Silence::cannot));
  const Results over = watch(s);
  EXPECT_EQ(findingOf(over, "bus-off")->weight, Weight::warning);
}

TEST(ErrorWatch, ALoneSenderBesideAListenOnlyLink) {
  // CAN FD specification, fault confinement: 16 error-active attempts (form errors at the listener), then,
  // error passive, the frame itself once in 125 bit times, without end.
  Stage s;
  s.link(0, up(event::Silence::proven));
  double t_ms = 1;
  for (int i = 0; i < 16; ++i)
    s.error(t_ms += 0.234, CAN_ERR_PROT | CAN_ERR_BUSERROR,
            {0, 0, CAN_ERR_PROT_FORM, CAN_ERR_PROT_LOC_ACK_DEL, 0, 0, 0, 0});
  for (int i = 0; i < 200; ++i) s.frame(t_ms += 0.25, 0x3A0, {1, 2, 3, 4, 5, 6, 7, 8});
  const Results r = watch(s);
  const Finding* f = findingOf(r, "lone-sender");
  ASSERT_NE(f, nullptr) << testing::allTexts(r);
  EXPECT_NE(f->text.find("200 identical frames"), std::string::npos) << f->text;
  EXPECT_EQ(findingOf(r, "wrong-bit-rate"), nullptr);

  // A counter in the data, or a second identifier, is no repeat.
  Stage counting;
  counting.link(0, up(event::Silence::proven));
  for (int i = 0; i < 200; ++i) counting.frame(0.25 * i, 0x3A0, {static_cast<std::uint8_t>(i)});
  EXPECT_EQ(findingOf(watch(counting), "lone-sender"), nullptr);
  Stage two;
  two.link(0, up(event::Silence::proven));
  for (int i = 0; i < 200; ++i) two.frame(0.25 * i, 0x3A0, {1});
  two.frame(60, 0x100, {1});
  EXPECT_EQ(findingOf(watch(two), "lone-sender"), nullptr);
  // The same frame at leisure is a periodic one.
  Stage slow;
  slow.link(0, up(event::Silence::proven));
  for (int i = 0; i < 200; ++i) slow.frame(20.0 * i, 0x3A0, {1});
  EXPECT_EQ(findingOf(watch(slow), "lone-sender"), nullptr);
}

TEST(ErrorWatch, OurOwnUnacknowledgedSending) {
  Stage s;
  s.link(0, up(event::Silence::cannot));
  s.sent(1);
  for (int i = 0; i < 16; ++i) {
    Bytes data(8, 0);
    data[6] = static_cast<std::uint8_t>(8 * (i + 1));
    s.error(2 + i * 0.25, CAN_ERR_ACK | 0x200U, data);
  }
  const Results r = watch(s);
  const Finding* f = findingOf(r, "unacknowledged");
  ASSERT_NE(f, nullptr) << testing::allTexts(r);
  EXPECT_NE(f->text.find("alone"), std::string::npos);
  EXPECT_GE(f->confidence, 0.9) << "the counter stopped at 128";
  // With bit errors among them it is a short, not loneliness.
  s.error(20, CAN_ERR_PROT, {0, 0, CAN_ERR_PROT_BIT | CAN_ERR_PROT_TX, 0, 0, 0, 0, 0});
  EXPECT_EQ(findingOf(watch(s), "unacknowledged"), nullptr);
}

TEST(ErrorWatch, AWrongBitRateGivesStuffAndFormErrorsOnly) {
  Stage s;
  s.link(0, up(event::Silence::proven));
  for (int i = 0; i < 40; ++i)
    s.error(5.0 * i, CAN_ERR_PROT | CAN_ERR_BUSERROR,
            {0, 0, static_cast<std::uint8_t>(i % 2 == 0 ? CAN_ERR_PROT_STUFF : CAN_ERR_PROT_FORM), 0, 0, 0, 0,
             0});
  const Results r = watch(s);
  ASSERT_NE(findingOf(r, "wrong-bit-rate"), nullptr) << testing::allTexts(r);
  EXPECT_NE(findingOf(r, "wrong-bit-rate")->text.find("500 kbit/s"), std::string::npos);
  s.frame(300, 0x123, {1});
  EXPECT_EQ(findingOf(watch(s), "wrong-bit-rate"), nullptr) << "one whole frame proves the rate";
}

TEST(ErrorWatch, BurstsNearSupplyEventsAndWhatChanceAloneWouldDo) {
  Stage s;
  // A recording of 100 s; the supply steps at 20, 40 and 60 s, each with a burst within 100 ms of it.
  s.sample(0, "V(pin16,pin4)", 12.5);
  for (const double at_ms : {20000.0, 40000.0, 60000.0}) {
    s.sample(at_ms, "V(pin16,pin4)", 10.0);
    for (int i = 0; i < 6; ++i)
      s.error(at_ms + 10 + i, CAN_ERR_PROT | CAN_ERR_BUSERROR, {0, 0, CAN_ERR_PROT_STUFF, 0, 0, 0, 0, 0});
    s.sample(at_ms + 5000, "V(pin16,pin4)", 12.5);
  }
  s.sample(100000, "V(pin16,pin4)", 12.5);
  const Results r = watch(s);
  EXPECT_EQ(counterOf(r, "bursts"), 3U);
  const Finding* f = findingOf(r, "error-bursts");
  ASSERT_NE(f, nullptr);
  EXPECT_NE(f->text.find("3 of 3 within 100 ms"), std::string::npos) << f->text;
  // Six supply events of +/-100 ms in 100 s cover 1.2 %: three of three by chance is 0.012^3.
  EXPECT_NEAR(f->figures[0].value, 0.012 * 0.012 * 0.012, 1e-9);
}

}  // namespace
}  // namespace pin16::plugin
