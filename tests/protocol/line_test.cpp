// SPDX-License-Identifier: Apache-2.0
// Messages of line media: form, answers joined, and the asker over them.
#include "core/protocol/line.hpp"

#include <gtest/gtest.h>

#include "core/protocol/line_witness.hpp"
#include "core/protocol/services.hpp"
#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

using event::Medium;

std::uint8_t check(Medium m, const char* text) { return link::checkByte(m, hex(text)); }

// Frames published in public posts and samples; sums by arithmetic (timing table of ISO 14230-2).
TEST(LineCheck, SumOfAKLine) {
  EXPECT_EQ(check(Medium::iso9141_2, "68 6A F1 01 00"), 0xC4);
  EXPECT_EQ(check(Medium::iso9141_2, "68 6A F1 01 0C"), 0xD0);
  EXPECT_EQ(check(Medium::iso14230_4, "C2 33 F1 01 0C"), 0xF3);
  EXPECT_EQ(check(Medium::iso14230_4, "84 F1 11 41 0C 00 00"), 0xD3);
  EXPECT_EQ(check(Medium::iso14230_4, "81 E9 F1 81"), 0xDC);
  EXPECT_EQ(check(Medium::iso14230_4, "C1 33 F1 81"), 0x66);
}
// AUTOSAR SWS CRC Library, example table of CRC8 SAE J1850.
TEST(LineCheck, CrcOfJ1850) {
  const std::pair<const char*, int> table[] = {{"00 00 00 00", 0x59},
                                               {"F2 01 83", 0x37},
                                               {"0F AA 00 55", 0x79},
                                               {"00 FF 55 11", 0xB8},
                                               {"92 6B 55", 0x8C},
                                               {"FF FF FF FF", 0x74},
                                               {"33 22 55 AA BB CC DD EE FF", 0xCB}};
  for (const auto& [text, crc] : table) {
    EXPECT_EQ(check(Medium::j1850_vpw, text), crc) << text;
    EXPECT_EQ(check(Medium::j1850_pwm, text), crc) << text;
  }
}

Joined join(std::initializer_list<const char*> texts) {
  std::vector<Bytes> parts;
  for (const char* t : texts) parts.push_back(hex(t));
  return joinAnswer(parts);
}
// SAE J1979: five messages of a VIN, the first filled up in front (from memory).
TEST(LineJoin, Vin) {
  const Joined j = join({"49 02 01 00 00 00 31", "49 02 02 44 34 47 50", "49 02 03 30 30 52 35",
                         "49 02 04 35 42 31 32", "49 02 05 33 34 35 36"});
  EXPECT_TRUE(j.whole);
  EXPECT_EQ(j.fault, "");
  EXPECT_EQ(vinOf(hex("09 02"), j.answer), "1D4GP00R55B123456");
}
TEST(LineJoin, VinWithAMessageMissingOrTwice) {
  EXPECT_EQ(join({"49 02 01 00 00 00 31", "49 02 03 30 30 52 35"}).fault, "message 2 is missing");
  EXPECT_NE(join({"49 02 01 00 00 00 31"}).fault, "");
  EXPECT_NE(join({"49 02 02 44 34 47 50"}).fault, "");
  EXPECT_NE(join({"49 02 01 00 00 00 31", "49 02 01 00 00 00 31"}).fault, "");
  EXPECT_NE(join({"49 02 01 00 00 00 31", "49 02"}).fault, "");
}
TEST(LineJoin, VinInOneMessageOfIso14230) {
  const Joined j = join({"49 02 01 31 44 34 47 50 30 30 52 35 35 42 31 32 33 34 35 36"});
  EXPECT_TRUE(j.whole);
  EXPECT_EQ(vinOf(hex("09 02"), j.answer), "1D4GP00R55B123456");
}
TEST(LineJoin, TroubleCodesWithoutACount) {
  // P0143 P0196 P0234 P02CD P0357 P0A24: the message example of SAE J1979 (from memory)
  const Joined j = join({"43 01 43 01 96 02 34", "43 02 CD 03 57 0A 24"});
  EXPECT_EQ(toHex(j.answer),
            "4306"
            "014301960234"
            "02cd03570a24");
  EXPECT_FALSE(j.whole) << "more may follow";
  EXPECT_EQ(toHex(join({"43 01 43 00 00 00 00"}).answer), "43010143");
  EXPECT_EQ(toHex(join({"47 00 00 00 00 00 00"}).answer), "4700");
  EXPECT_NE(join({"43 01 43 01"}).fault, "");
}
TEST(LineJoin, OthersAsTheyAre) {
  EXPECT_EQ(toHex(join({"41 00 BE 3E B8 11"}).answer), "4100be3eb811");
  EXPECT_EQ(toHex(join({"49 00 01 54 00 00 00"}).answer), "490054000000");
  EXPECT_EQ(toHex(join({"49 01 05"}).answer), "490105");
  EXPECT_EQ(toHex(join({"49 06 01 11 22 33 44", "49 06 02 55 66 77 88"}).answer), "4906021122334455667788");
}

TEST(LineRequestText, TwoDigitsAreAnAddress) {
  const auto r = parseRequestText("@10 1A 90");
  ASSERT_TRUE(r);
  EXPECT_TRUE(r->target.line);
  EXPECT_EQ(r->target.request_id, 0x10U);
  EXPECT_FALSE(r->target.functional);
  EXPECT_TRUE(parseRequestText("@33 01 00")->target.functional);
  EXPECT_FALSE(parseRequestText("@1 01 00"));
}

// ---- the asker

struct AskLine : ::testing::TestWithParam<Medium> {
  AskLine() { w.medium(GetParam()); }
  World w{{.sealed = false, .rate_fixed = true, .module_request_ids = {}}, /*proven=*/false};
  /// An answer of module 11 to everybody.
  void answer(const char* data) {
    const std::size_t n = hex(data).size();
    std::string text = "48 6B 11 ";
    if (GetParam() == Medium::j1850_pwm) text = "41 6B 11 ";
    if (GetParam() == Medium::iso14230_4)
      text = toHex(Bytes{static_cast<std::uint8_t>(0x80 + n)}) + " F1 11 ";
    w.answer((text + data).c_str(), GetParam());
  }
};
INSTANTIATE_TEST_SUITE_P(Media, AskLine,
                         ::testing::Values(Medium::iso9141_2, Medium::iso14230_4, Medium::j1850_pwm,
                                           Medium::j1850_vpw));

TEST_P(AskLine, VinInFiveMessagesIsOneAnswer) {
  w.ask(functionalTarget(), "09 02");
  w.until(w.now + ms(30));
  for (const char* part : {"49 02 01 00 00 00 31", "49 02 02 44 34 47 50", "49 02 03 30 30 52 35",
                           "49 02 04 35 42 31 32", "49 02 05 33 34 35 36"}) {
    answer(part);
    w.until(w.now + ms(40));
  }
  w.until(w.now + ms(1100));
  ASSERT_EQ(w.results.size(), 1U);
  ASSERT_EQ(w.results[0].exchanges.size(), 1U);
  const event::Exchange& e = w.results[0].exchanges[0];
  EXPECT_EQ(e.ended, event::Ended::answered);
  EXPECT_EQ(vinOf(e.request, e.answer), "1D4GP00R55B123456");
  EXPECT_EQ(e.answer_id, 0x11U);
  EXPECT_EQ(e.medium, GetParam());
  EXPECT_TRUE(e.confirmed);
  EXPECT_FALSE(e.late);
  EXPECT_DOUBLE_EQ(e.response_ms, 30);
  EXPECT_DOUBLE_EQ(e.complete_ms, 190);
  EXPECT_EQ(w.messages.size(), 5U);
  EXPECT_EQ(w.messages[0].id, 0x11U);
  EXPECT_EQ(w.messages[0].medium, GetParam());
  EXPECT_EQ(w.exchanges.size(), 1U);
}
TEST_P(AskLine, AMissingMessageMakesTheAnswerIncomplete) {
  w.ask(functionalTarget(), "09 02");
  w.until(w.now + ms(30));
  answer("49 02 01 00 00 00 31");
  answer("49 02 03 30 30 52 35");
  w.until(w.now + ms(1100));
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results[0].exchanges[0].ended, event::Ended::incomplete);
}
TEST_P(AskLine, Silence) {
  w.ask(functionalTarget(), "01 00");
  w.until(w.now + ms(999));
  EXPECT_TRUE(w.results.empty());
  w.until(w.now + ms(2));
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results[0].exchanges[0].ended, event::Ended::silent);
  EXPECT_EQ(w.results[0].exchanges[0].request_id, GetParam() == Medium::iso14230_4 ? 0x33U : 0x6AU);
}
TEST_P(AskLine, WhatDoesNotAnswerTheRequest) {
  w.ask(functionalTarget(), "01 0C");
  w.until(w.now + ms(30));
  answer("41 0D 00");
  answer("49 02 01 00 00 00 31");
  w.answer("68 6A 11 41 0C 00 00", GetParam());  // a request's header
  w.answer("48 FF 11 41 0C 00 00", GetParam());  // to somebody else
  w.until(w.now + ms(1100));
  EXPECT_EQ(w.results.at(0).exchanges.at(0).ended, event::Ended::silent);
}
TEST_P(AskLine, LateIsOnlyWhatALimitWithASourceSays) {
  w.ask(functionalTarget(), "01 00");
  w.until(w.now + ms(60));  // P2 max 50 ms: SAE J1979 for K-line; for J1850 only 100 ms from memory
  answer("41 00 BE 3E B8 11");
  w.until(w.now + ms(1100));
  EXPECT_EQ(w.results.at(0).exchanges.at(0).late, event::isKLine(GetParam()));
}
TEST_P(AskLine, TheInitialisationTakesItsTimeBeforeTheWaitBegins) {
  w.confirms = false;
  w.ask(functionalTarget(), "01 00");
  w.until(w.now + ms(3000));
  EXPECT_TRUE(w.results.empty());
  event::Line echo = lineRequest(GetParam(), onMedium(functionalTarget(), GetParam()), hex("01 00"));
  echo.ours = true;
  w.line(echo);
  w.until(w.now + ms(40));
  answer("41 00 BE 3E B8 11");
  w.until(w.now + ms(1100));
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results[0].exchanges[0].ended, event::Ended::answered);
  EXPECT_DOUBLE_EQ(w.results[0].exchanges[0].response_ms, 40);
}
TEST_P(AskLine, EndsAtOnceWhenTheRequestCouldNotBeBroughtToTheLine) {
  w.confirms = false;
  w.ask(functionalTarget(), "01 00");
  w.until(w.now + ms(3000));
  w.asker.onUnsent(0, w.now);
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_FALSE(w.results[0].confirmed);
  EXPECT_EQ(w.results[0].exchanges[0].ended, event::Ended::silent);
}

TEST(AskKwp, OneModuleEndsWithItsAnswerOrQuiet) {
  World w{{.sealed = false, .rate_fixed = true, .module_request_ids = {}}, false};
  w.medium(Medium::iso14230_4);
  const Target module{0x58, std::nullopt, false, false, true};
  w.ask(module, "1A 90");
  w.until(w.now + ms(30));
  w.answer("80 F1 11 5A 90 00", Medium::iso14230_4);  // somebody else
  w.answer("93 F1 58 5A 90 31 44 34 47 50 30 30 52 35 35 42 31 32 33 34 35 36", Medium::iso14230_4);
  EXPECT_EQ(w.results.size(), 1U);
  w.ask(module, "1A 91");
  w.until(w.now + ms(30));
  w.answer("83 F1 58 7F 1A 78", Medium::iso14230_4);
  w.until(w.now + ms(3000));
  EXPECT_EQ(w.results.size(), 1U);
  w.answer("83 F1 58 7F 1A 12", Medium::iso14230_4);
  ASSERT_EQ(w.results.size(), 2U);
  EXPECT_EQ(w.results[1].exchanges[0].ended, event::Ended::negative);
  EXPECT_EQ(w.results[1].exchanges[0].pending, 1);
  EXPECT_FALSE(w.results[1].exchanges[0].late);
}
TEST(AskKwp, TwoModulesAnswerOneRequest) {
  World w{{.sealed = false, .rate_fixed = true, .module_request_ids = {}}, false};
  w.medium(Medium::iso14230_4);
  w.ask(functionalTarget(), "01 00");
  w.until(w.now + ms(30));
  w.answer("86 F1 11 41 00 BE 3E B8 11", Medium::iso14230_4);
  w.until(w.now + ms(30));
  w.answer("86 F1 18 41 00 80 00 00 01", Medium::iso14230_4);
  w.until(w.now + ms(1100));
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results[0].exchanges.size(), 2U);
  EXPECT_EQ(w.results[0].exchanges[1].answer_id, 0x18U);
}

// ---- witnessed

struct Seen : ::testing::Test {
  limits::Limits limits;
  std::vector<event::Message> messages;
  std::vector<event::Exchange> exchanges;
  LineWitness witness{limits, [this](Ns, const event::Message& m) { messages.push_back(m); },
                      [this](Ns, const event::Exchange& e) { exchanges.push_back(e); }};
  void line(double at_ms, const char* text, bool ours = false) {
    const Bytes all = hex(text);
    event::Line m;
    m.header.assign(all.begin(), all.begin() + 3);
    m.data.assign(all.begin() + 3, all.end());
    m.first_ns = ms(at_ms - 5);
    m.ours = ours;
    witness.line(ms(at_ms), m);
  }
};
TEST_F(Seen, AnotherTestersRequestAndItsAnswer) {
  line(1000, "C2 33 F1 01 0C");
  line(1040, "84 F1 11 41 0C 1A F8");
  line(1200, "C2 33 F1 01 0D");
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].ended, event::Ended::answered);
  EXPECT_FALSE(exchanges[0].ours);
  EXPECT_TRUE(exchanges[0].functional);
  EXPECT_EQ(exchanges[0].request_id, 0x33U);
  EXPECT_EQ(exchanges[0].answer_id, 0x11U);
  EXPECT_DOUBLE_EQ(exchanges[0].response_ms, 35);
  EXPECT_EQ(messages.size(), 3U);
  witness.finish(ms(1300));
  ASSERT_EQ(exchanges.size(), 2U);
  EXPECT_EQ(exchanges[1].ended, event::Ended::not_seen);
}
TEST_F(Seen, SilenceIsToldOnceTheWaitIsOver) {
  line(1000, "C2 33 F1 01 0C", true);
  witness.finish(ms(5000));
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].ended, event::Ended::silent);
  EXPECT_TRUE(exchanges[0].ours);
}
TEST_F(Seen, AGapEndsWhatWasOpen) {
  line(1000, "C2 33 F1 01 0C");
  witness.gap(ms(1010));
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].ended, event::Ended::link_lost);
}
TEST_F(Seen, AnAnswerWithoutARequestIsAMessage) {
  line(1000, "84 F1 11 41 0C 1A F8");
  witness.finish(ms(5000));
  EXPECT_EQ(messages.size(), 1U);
  EXPECT_TRUE(exchanges.empty());
}

}  // namespace
}  // namespace pin16::protocol
