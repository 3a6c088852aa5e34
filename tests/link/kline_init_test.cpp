// SPDX-License-Identifier: Apache-2.0
// The initialisation as a dialogue, on simulated time: limits of ISO 9141-2 and ISO 14230-2 (timing texts
// quoted word for word in public K-line source files).
#include "core/link/kline_init.hpp"

#include <gtest/gtest.h>

#include "core/link/kline_parser.hpp"
#include "core/link/kline_wire.hpp"

namespace pin16::link {
namespace {

using event::Medium;
constexpr Ns ms(double v) { return fromMs(v); }

struct FiveBaud : ::testing::Test {
  limits::Limits limits;
  KLineInit init{limits, 0x33};
  Ns t = ms(10000);
  FiveBaud() { init.addressSent(t); }
  /// A byte that begins `pause` after the last one ended.
  void byte(double pause, std::uint8_t value) {
    t += ms(pause) + kKLineByte_ns;
    init.onByte(t, value);
  }
  void inverse(double pause) {
    const auto reply = init.takeReply();
    ASSERT_TRUE(reply);
    EXPECT_GE(reply->not_before_ns, t + ms(25));
    EXPECT_LE(reply->not_before_ns, t + ms(50));
    t += ms(pause);
    init.inverseSent(t, t + kKLineByte_ns);
    t += kKLineByte_ns;
  }
  [[nodiscard]] std::string fault() const { return init.outcome() ? init.outcome()->fault : "not over"; }
};

TEST_F(FiveBaud, Iso9141) {
  byte(120, 0x55);
  byte(10, 0x08);
  byte(8, 0x08);
  EXPECT_FALSE(init.outcome());
  inverse(35);
  byte(30, 0xCC);  // 33 inverted
  ASSERT_TRUE(init.outcome());
  const InitOutcome& o = *init.outcome();
  EXPECT_TRUE(o.done) << o.fault;
  EXPECT_EQ(o.medium, Medium::iso9141_2);
  ASSERT_EQ(o.times.size(), 5U);
  const double expected[] = {120, 10, 8, 35, 30};
  for (std::size_t i = 0; i < 5; ++i) {
    EXPECT_NEAR(o.times[i].ms, expected[i], 1e-6) << o.times[i].name;
    EXPECT_TRUE(o.times[i].ok());
  }
  EXPECT_NE(toText(o).find("W1 120.0 ms (60 to 300), W2 10.0 ms (5 to 20)"), std::string::npos) << toText(o);
}
TEST_F(FiveBaud, TheInvertedKeyByteIsThatOfTheSecond) {
  byte(120, 0x55);
  byte(10, 0xE9);
  byte(8, 0x8F);
  EXPECT_EQ(init.takeReply()->byte, 0x70);  // 8F -> 70 (public firmware document citing ISO 14230-2)
  init.inverseSent(t + ms(35), t + ms(36));
  t += ms(36);
  byte(30, 0xCC);
  ASSERT_TRUE(init.outcome());
  EXPECT_EQ(init.outcome()->medium, Medium::iso14230_4);
}
TEST_F(FiveBaud, EachTimeOutsideOfItsLimitIsToldAndGoesOn) {
  const double sound[] = {120, 10, 8, 30};
  const std::pair<int, double> strange[] = {{0, 59}, {0, 301}, {1, 4}, {1, 21}, {2, 21}, {3, 24}, {3, 51}};
  for (const auto& [which, pause] : strange) {
    KLineInit i(limits, 0x33);
    Ns at = ms(1000);
    i.addressSent(at);
    const auto send = [&](int n, std::uint8_t value) {
      at += ms(n == which ? pause : sound[n]) + kKLineByte_ns;
      i.onByte(at, value);
    };
    send(0, 0x55);
    send(1, 0x08);
    send(2, 0x08);
    i.inverseSent(at + ms(35), at + ms(35) + kKLineByte_ns);
    at += ms(35) + kKLineByte_ns;
    send(3, 0xCC);
    ASSERT_TRUE(i.outcome());
    EXPECT_TRUE(i.outcome()->done);
    int outside = 0;
    for (const InitTime& time : i.outcome()->times) outside += time.ok() ? 0 : 1;
    EXPECT_EQ(outside, 1) << which << " " << pause << " " << toText(*i.outcome());
    EXPECT_NE(toText(*i.outcome()).find("OUTSIDE"), std::string::npos);
  }
}
TEST_F(FiveBaud, NobodyThere) {
  EXPECT_GT(init.deadline(), t + ms(300));
  init.onTime(init.deadline() - 1);
  EXPECT_FALSE(init.outcome());
  init.onTime(init.deadline());
  EXPECT_NE(fault().find("nobody answered the address"), std::string::npos);
  EXPECT_EQ(init.deadline(), kNoTime);
}
TEST_F(FiveBaud, AnotherRate) {
  byte(120, 0xD5);
  EXPECT_NE(fault().find("D5 instead of the synchronisation byte"), std::string::npos);
}
TEST_F(FiveBaud, EndsAfterTheSynchronisation) {
  byte(120, 0x55);
  init.onTime(init.deadline());
  EXPECT_EQ(fault(), "no key byte after the synchronisation byte");
}
TEST_F(FiveBaud, EndsAfterTheFirstKeyByte) {
  byte(120, 0x55);
  byte(10, 0x08);
  init.onTime(init.deadline());
  EXPECT_EQ(fault(), "no second key byte");
}
TEST_F(FiveBaud, NoInvertedAddress) {
  byte(120, 0x55);
  byte(10, 0x08);
  byte(10, 0x08);
  inverse(35);
  init.onTime(init.deadline());
  EXPECT_NE(fault().find("no inverted address"), std::string::npos);
}
TEST_F(FiveBaud, WrongInvertedAddress) {
  byte(120, 0x55);
  byte(10, 0x08);
  byte(10, 0x08);
  inverse(35);
  byte(30, 0xCD);
  EXPECT_NE(fault().find("CD instead of the inverted address CC"), std::string::npos);
}
TEST_F(FiveBaud, KeyBytesOfNoLegislatedProtocol) {
  byte(120, 0x55);
  byte(10, 0x01);
  byte(10, 0x0A);
  inverse(35);
  byte(30, 0xCC);
  EXPECT_NE(fault().find("no legislated protocol"), std::string::npos);
}
TEST(KLineKeys, WhatTheyMean) {  // public firmware document citing ISO 14230-2 / ISO 9141-2
  EXPECT_EQ(mediumOf(0x08, 0x08), Medium::iso9141_2);
  EXPECT_EQ(mediumOf(0x94, 0x94), Medium::iso9141_2);
  for (const int kb1 : {0xE9, 0x6B, 0x6D, 0xEF})
    EXPECT_EQ(mediumOf(static_cast<std::uint8_t>(kb1), 0x8F), Medium::iso14230_4);
  EXPECT_FALSE(mediumOf(0x08, 0x94));
}

struct Fast : ::testing::Test {
  limits::Limits limits;
  KLineInit init{limits, 0x33};
  const Ns t = ms(10000);
  Fast() { init.startSent(t); }
  void says(const char* data, double after = 30) {
    event::Line m;
    m.header = {0x83, 0xF1, 0x11};
    m.data = fromHex(data).value();
    m.first_ns = t + ms(after);
    init.onLine(m);
  }
};
TEST_F(Fast, Started) {
  says("C1 EF 8F");
  ASSERT_TRUE(init.outcome());
  EXPECT_TRUE(init.outcome()->done);
  EXPECT_EQ(init.outcome()->medium, Medium::iso14230_4);
  EXPECT_EQ(init.outcome()->key1, 0xEF);
}
TEST_F(Fast, LateIsTold) {
  says("C1 EF 8F", 80);
  ASSERT_TRUE(init.outcome()->done);
  EXPECT_NE(toText(*init.outcome()).find("P2 80.0 ms (at most 50: OUTSIDE)"), std::string::npos);
}
TEST_F(Fast, Refused) {
  says("7F 81 10");
  EXPECT_NE(init.outcome()->fault.find("refused"), std::string::npos);
}
TEST_F(Fast, SomethingElse) {
  says("41 00");
  EXPECT_FALSE(init.outcome()->done);
}
TEST_F(Fast, KeyBytesOfIso9141) {
  says("C1 08 08");
  EXPECT_FALSE(init.outcome()->done);
}
TEST_F(Fast, NobodyThere) {
  init.onTime(init.deadline());
  EXPECT_NE(init.outcome()->fault.find("nobody answered StartCommunication"), std::string::npos);
}

// ---- what the wire is given to do

TEST(KLineJobs, AddressAt5Baud) {  // 33: start bit, 1 1 0 0 1 1 0 0 from the lowest bit on, stop bit
  const KLineJob job = fiveBaud(0x33, 0);
  const std::pair<bool, int> levels[] = {{true, 0},     {false, 200}, {true, 600},
                                         {false, 1000}, {true, 1400}, {false, 1800}};
  ASSERT_EQ(job.steps.size(), std::size(levels) + 1);
  for (std::size_t i = 0; i < std::size(levels); ++i) {
    EXPECT_EQ(job.steps[i].what == KLineStep::What::low, levels[i].first) << i;
    EXPECT_EQ(job.steps[i].at_ns, ms(levels[i].second)) << i;
  }
  EXPECT_EQ(job.steps.back().at_ns, ms(2000));  // 10 bits of 200 ms
}
TEST(KLineJobs, EveryAddressComesOutAsItsBits) {
  for (int address = 0; address < 256; ++address) {
    const KLineJob job = fiveBaud(static_cast<std::uint8_t>(address), 0);
    int read = 0;
    for (int bit = 0; bit < 8; ++bit) {
      bool low = false;
      for (const KLineStep& s : job.steps)
        if (s.at_ns <= ms(200 * (bit + 1) + 100)) low = s.what == KLineStep::What::low;
      if (!low) read |= 1 << bit;
    }
    EXPECT_EQ(read, address);
    EXPECT_EQ(job.steps.back().what, KLineStep::What::high);
  }
}
TEST(KLineJobs, WakeUpPattern) {
  const Bytes start = fromHex("C1 33 F1 81 66").value();
  const KLineJob job = wakeUp(start, 0);
  ASSERT_EQ(job.steps.size(), 7U);
  EXPECT_EQ(job.steps[1].at_ns, ms(25));  // TiniL
  EXPECT_EQ(job.steps[2].at_ns, ms(50));  // TWuP
  for (std::size_t i = 3; i < 7; ++i) {
    const double p4 = toMs(job.steps[i].at_ns - job.steps[i - 1].at_ns - kKLineByte_ns);
    EXPECT_GE(p4, 5);
    EXPECT_LE(p4, 20);
  }
}

}  // namespace
}  // namespace pin16::link
