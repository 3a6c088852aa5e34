// SPDX-License-Identifier: Apache-2.0
#include "tests/plugin/stage.hpp"

namespace pin16::plugin {
namespace {

using event::PowerState;
using testing::counterOf;
using testing::findingOf;
using testing::rowOf;
using testing::Stage;

Results census(Stage& s) { return s.play(testing::shipped("bus-census")); }

TEST(BusCensus, NamesPeriodSpreadAndBytesThatChange) {
  Stage s;
  // Every 10 ms, off by 1 ms to either side by turns: mean 10, gaps 8 and 12, spread (n - 1) about 2.
  for (int i = 0; i < 101; ++i)
    s.frame(10.0 * i + (i % 2 == 0 ? 0 : 2), 0x280, {0x11, static_cast<std::uint8_t>(i), 0x33});
  const Results r = census(s);
  const Figure* row = rowOf(r, "identifiers", "280");
  ASSERT_NE(row, nullptr);
  EXPECT_NE(row->text.find("every 10.00 ms"), std::string::npos) << row->text;
  EXPECT_NE(row->text.find("spread 2.01 ms (8.00 to 12.00)"), std::string::npos) << row->text;
  EXPECT_NE(row->text.find("change .*."), std::string::npos) << row->text;
  EXPECT_EQ(counterOf(r, "frames"), 101U);
}

TEST(BusCensus, CountsBitsAsCanUtilsDoes) {
  // can-utils 2020.11, `canbusload -e` over 1000 each of: 123#, 123#0000000000000000, 7FF#FFFFFFFFFFFFFFFF,
  // 12345678#1122334455667788 (read off once in the CAN virtual machine; tests/vm/guest.sh compares live):
  // frame lengths with stuff bits as in its lib, which are those of the frames on the wire.
  Stage s;
  std::uint64_t bits = 0;
  for (int i = 0; i < 10; ++i) {
    for (const auto& f :
         {event::CanFrame::make(0x123, false, {}), event::CanFrame::make(0x7FF, false, Bytes(8, 0xFF))}) {
      s.frame(i * 2.0, f);
      bits += can::wireBits(f).total();
    }
  }
  EXPECT_EQ(counterOf(census(s), "wire-bits"), bits);
}

TEST(BusCensus, LoadByWindowAddsUpToTheBitsOnTheWire) {
  // 500 kbit/s, 111 bit times a frame (8 bytes of AA, ID 555: ISO 11898-1, no stuff bits but those counted by
  // can::wireBits, itself checked against a bit-serial reference): 1000 frames in 1 s.
  Stage s;
  const event::CanFrame f = event::CanFrame::make(0x555, false, Bytes(8, 0xAA));
  for (int i = 0; i < 3000; ++i) s.frame(1.0 * (i + 1), f);
  const Results r = census(s);
  const double each = static_cast<double>(can::wireBits(f).total()) / 500.0;  // ms
  ASSERT_GE(r.points[0].size(), 3U);
  double all = 0;
  for (const Point& p : r.points[0]) all += p.value;
  EXPECT_NEAR(all, 3000 * each / 1000, 1e-9) << "windows of one second, each frame counted once";
  EXPECT_NEAR(r.points[0][1].value, each, 1e-9);
}

TEST(BusCensus, AFrameAcrossAWindowsBorderIsSplit) {
  Stage s;
  s.job.plugins["bus-census"] = {{"window_ms", 10.0}};
  s.bitrate = 10000;  // a frame of about 130 bits takes 13 ms: longer than a window
  const event::CanFrame f = event::CanFrame::make(0x555, false, Bytes(8, 0xAA));
  const double each_ms = static_cast<double>(can::wireBits(f).total()) / 10.0;
  s.frame(100, f);
  const Results r = census(s);
  ASSERT_EQ(r.points[0].size(), 2U);
  EXPECT_NEAR(r.points[0][0].value, 1.0, 1e-9);
  EXPECT_NEAR(r.points[0][1].value, each_ms / 10 - 1, 1e-9);
}

TEST(BusCensus, WhatFallsSilentIsMissingUnlessNothingCouldBeSeen) {
  Stage s;
  for (int i = 0; i < 50; ++i) s.frame(10.0 * i, 0x100, {1});
  for (int i = 0; i < 300; ++i) s.frame(10.0 * i + 3, 0x200, {2});
  const Results r = census(s);
  const Finding* f = findingOf(r, "identifier-missing");
  ASSERT_NE(f, nullptr);
  EXPECT_NE(f->text.find("100 came every 10.0 ms"), std::string::npos) << f->text;
  EXPECT_EQ(r.findings.size(), 1U) << testing::allTexts(r);

  Stage gap;
  for (int i = 0; i < 50; ++i) gap.frame(10.0 * i, 0x100, {1});
  gap.gap(500, 3000);
  EXPECT_EQ(findingOf(census(gap), "identifier-missing"), nullptr) << "in a gap nobody can be missed";
}

TEST(BusCensus, TellsWhatCameWithAPowerUp) {
  Stage s;
  for (int i = 0; i < 30; ++i) s.frame(10.0 * i, 0x0C8, {1});
  s.power(300, PowerState::on);
  for (int i = 0; i < 50; ++i) s.frame(320 + 10.0 * i, 0x3A0, {1});
  const Results r = census(s);
  const Finding* f = findingOf(r, "power-up-traffic");
  ASSERT_NE(f, nullptr) << testing::allTexts(r);
  EXPECT_NE(f->text.find("appeared 3A0"), std::string::npos) << f->text;
  EXPECT_NE(f->text.find("fell silent 0C8"), std::string::npos) << f->text;
}

TEST(BusCensus, TrafficBeforeTheFeedIsASignOfASecondSource) {
  Stage s;
  s.job.arrangement = job::Arrangement::fed_in_place;
  s.power(0, PowerState::source);
  for (int i = 0; i < 20; ++i) s.frame(10.0 * i + 1, 0x0C8, {1});
  const Results r = census(s);
  const Finding* f = findingOf(r, "awake-before-feed");
  ASSERT_NE(f, nullptr);
  EXPECT_EQ(f->step, "feed");
  EXPECT_EQ(f->weight, Weight::warning);

  // The same with the power only declared by a person, who may be late: proves nothing.
  Stage late;
  late.job.arrangement = job::Arrangement::fed_in_place;
  late.power(0, PowerState::source, "declared");
  for (int i = 0; i < 20; ++i) late.frame(10.0 * i + 1, 0x0C8, {1});
  EXPECT_EQ(findingOf(census(late), "awake-before-feed"), nullptr);

  // On its own battery everything may be awake.
  Stage own;
  own.job.arrangement = job::Arrangement::own_battery;
  own.power(0, PowerState::source);
  for (int i = 0; i < 20; ++i) own.frame(10.0 * i + 1, 0x0C8, {1});
  EXPECT_EQ(findingOf(census(own), "awake-before-feed"), nullptr);
}

TEST(BusCensus, OthersThatAnswerWhereOnlyTheModuleShouldBePowered) {
  Stage s;
  s.job.arrangement = job::Arrangement::fed_in_place;
  s.job.module.address = job::Address{0x7A1, 0x7A9, false};
  s.frame(0, 0x7A9, {1});
  event::Exchange x;
  x.ended = event::Ended::answered;
  x.request_id = 0x7DF;
  x.request = {0x01, 0x00};
  x.answer = {0x41, 0x00, 0, 0, 0, 0};
  x.answer_id = 0x7A9;
  s.exchange(1, x);
  EXPECT_EQ(findingOf(census(s), "others-answer"), nullptr);
  x.answer_id = 0x7E8;
  s.exchange(5, x);
  const Results r = census(s);
  ASSERT_NE(findingOf(r, "others-answer"), nullptr);
  EXPECT_NE(findingOf(r, "others-answer")->text.find("7E8"), std::string::npos);
}

}  // namespace
}  // namespace pin16::plugin
