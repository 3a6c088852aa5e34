// SPDX-License-Identifier: Apache-2.0
// What AT adapters say. Forms and words: common practice, no source.
#include "core/link/at_parser.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <random>

#include "core/link/line_format.hpp"

namespace pin16::link {
namespace {

using event::Medium;
using What = AtItem::What;

std::vector<AtItem> take(AtParser& p, std::string_view text, Ns t_ns = 0) {
  return p.take(t_ns, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
}
std::vector<AtItem> parse(std::string_view text, event::Medium medium = event::Medium::can) {
  AtParser p;
  p.setMedium(medium);
  return take(p, text);
}
/// "frame 7E8:0641" "word OK" "prompt" ..., one a line.
std::string told(const std::vector<AtItem>& items) {
  std::string out;
  for (const AtItem& i : items) {
    if (!out.empty()) out += ", ";
    switch (i.what) {
      case What::frame: {
        char id[16];
        std::snprintf(id, sizeof id, i.frame.extended() ? "%08X" : "%03X", i.frame.id());
        out += std::string("frame ") + id + ":" + toHex(i.frame.payload()) + (i.damaged ? "!" : "") +
               (i.frame.remote() ? "R" : "");
        break;
      }
      case What::line:
        out += "line " + toHex(i.message.header) + ":" + toHex(i.message.data) + (i.damaged ? "!" : "");
        break;
      case What::word:
        out += std::string("word ") + toText(i.word);
        break;
      case What::voltage:
        out += "volts " + std::to_string(i.volts_V).substr(0, 4);
        break;
      case What::text:
        out += "text " + i.text;
        break;
      case What::echo:
        out += "echo";
        break;
      case What::prompt:
        out += "prompt";
        break;
    }
  }
  return out;
}

TEST(AtParser, LinesEndWithCrLfOrBoth) {
  for (const char* text : {"OK\r\r>", "OK\r\n\r\n>", "OK\n\n>", "\r\nOK\r\n>", "\rOK\r>"})
    EXPECT_EQ(told(parse(text)), "word OK, prompt") << text;
}
TEST(AtParser, FramesWithAndWithoutBlanks) {
  EXPECT_EQ(told(parse("7E8 06 41 00 BE 3F A8 13\r")), "frame 7E8:064100be3fa813");
  EXPECT_EQ(told(parse("7E8064100BE3FA813\r")), "frame 7E8:064100be3fa813");
  EXPECT_EQ(told(parse("18 DA F1 10 06 41 00 BE 3F A8 13 AA\r")), "frame 18DAF110:064100be3fa813aa");
  EXPECT_EQ(told(parse("18DAF110064100BE3FA813AA\r")), "frame 18DAF110:064100be3fa813aa");
  EXPECT_EQ(told(parse("7e8 03 7f 01 12\r")), "frame 7E8:037f0112");
  EXPECT_EQ(told(parse("123\r")), "frame 123:");
  EXPECT_EQ(told(parse("123 RTR\r")), "frame 123:R");
}
TEST(AtParser, EveryWord) {
  for (unsigned w = 0; w <= static_cast<unsigned>(AtWord::internal_error); ++w) {
    std::string text = toText(static_cast<AtWord>(w));
    if (text == "ERR") text = "ERR94";
    const auto items = parse(text + "\r");
    ASSERT_EQ(items.size(), 1U) << text;
    EXPECT_EQ(items[0].what, What::word) << text;
    EXPECT_EQ(static_cast<unsigned>(items[0].word), w) << text;
  }
  EXPECT_EQ(told(parse("<DATA ERROR\r<RX ERROR\rno data\r")), "word DATA ERROR, word RX ERROR, word NO DATA");
}
TEST(AtParser, SearchingMayStandBeforeTheAnswer) {
  EXPECT_EQ(told(parse("SEARCHING...\r7E8 06 41 00 BE 3F A8 13\r")),
            "word SEARCHING, frame 7E8:064100be3fa813");
  EXPECT_EQ(told(parse("SEARCHING...7E8 06 41 00 BE 3F A8 13\r")),
            "word SEARCHING, frame 7E8:064100be3fa813");
  EXPECT_EQ(parse("SEARCHING...UNABLE TO CONNECT\r").back().word, AtWord::unable_to_connect);
}
TEST(AtParser, VoltageAndWhatIsNone) {
  EXPECT_EQ(told(parse("12.3V\r")), "volts 12.3");
  EXPECT_EQ(told(parse("0.0V\r")), "volts 0.00");
  for (const char* none : {"12V", ".3V", "12.V", "1.2.3V", "V", "12.3", "-1.2V", "123456.7V"})
    EXPECT_EQ(parse(std::string(none) + "\r")[0].what, What::text) << none;
}
TEST(AtParser, AnEchoIsToldAndOnlyOnce) {
  AtParser p;
  p.expectEcho("ATE0");
  EXPECT_EQ(told(take(p, "ATE0\r\rOK\r\r>")), "echo, word OK, prompt");
  EXPECT_EQ(told(take(p, "ATE0\r")), "text ATE0") << "not expected";
  p.expectEcho("ATE0");
  EXPECT_EQ(told(take(p, "OK\r\r>")), "word OK, prompt") << "echo off";
  p.expectEcho("022F190CCCCCCCCC");  // 16 digits: would be a frame of 29 bits
  EXPECT_EQ(told(take(p, " 022F190CCCCCCCCC\r7A9037F2231\r")), "echo, frame 7A9:037f2231");
}
TEST(AtParser, TheTimeIsThatOfTheFirstByte) {
  AtParser p;
  EXPECT_TRUE(take(p, "\r\r7E8 06", 100).empty());
  const auto items = take(p, " 41 00\r>", 200);
  ASSERT_EQ(items.size(), 2U);
  EXPECT_EQ(items[0].t_ns, 100);
  EXPECT_EQ(items[1].t_ns, 200);
}
TEST(AtParser, CutAnywhereItSaysTheSame) {
  const std::string text =
      "ATZ\r\r\rOBD adapter\r\r>ATE0\rOK\r\r>7E8 10 14 49 02 01 30 50 4E\r\nSTOPPED\r\r>18DAF110 03 7F 22 31 "
      "<RX ERROR\r12.4V\r\r>NO DATA\r\r>BUFFER FULL\r>?\r\r>";
  const std::string whole = told(parse(text));
  for (std::size_t cut = 0; cut <= text.size(); ++cut) {
    AtParser p;
    auto items = take(p, std::string_view(text).substr(0, cut));
    const auto rest = take(p, std::string_view(text).substr(cut));
    items.insert(items.end(), rest.begin(), rest.end());
    EXPECT_EQ(told(items), whole) << cut;
  }
}

TEST(AtParser, MessagesOfLineMedia) {
  // CRCs computed from the table of reference/j1850 (CRC-8, SAE J1850); sums by arithmetic.
  EXPECT_EQ(told(parse("48 6B 10 41 00 BE 3E B8 11 FA\r", Medium::j1850_vpw)), "line 486b10:4100be3eb811");
  EXPECT_EQ(told(parse("686AF1010017\r", Medium::j1850_vpw)), "line 686af1:0100");
  EXPECT_EQ(told(parse("616AF101000A\r", Medium::j1850_pwm)), "line 616af1:0100");
  EXPECT_EQ(told(parse("68 6A F1 01 00 C4\r", Medium::iso9141_2)), "line 686af1:0100");
  EXPECT_EQ(told(parse("84F111410C0000D3\r", Medium::iso14230_4)), "line 84f111:410c0000");
  EXPECT_EQ(told(parse("02 01 00 03\r", Medium::iso14230_4)), "line 02:0100") << "no addresses";
  EXPECT_EQ(told(parse("80F1110241001F\r", Medium::iso14230_4)), "line 80f11102:4100!")
      << "length in a byte of its own, wrong sum";
  EXPECT_EQ(told(parse("80F111024100C5\r", Medium::iso14230_4)), "line 80f11102:4100");
  EXPECT_EQ(told(parse("7E8064100BE3FA813\r", Medium::j1850_vpw)), "text 7E8064100BE3FA813");
  EXPECT_EQ(told(parse("12.3V\rNO DATA\r>", Medium::j1850_vpw)), "volts 12.3, word NO DATA, prompt");
}
TEST(AtParser, InitialisationsOfAKLine) {
  for (const char* text : {"BUS INIT: OK\r", "BUS INIT: ...OK\r", "BUSINIT:.OK\r"})
    EXPECT_EQ(told(parse(text, Medium::iso9141_2)), "word BUS INIT: OK") << text;
  for (const char* text : {"BUS INIT: ERROR\r", "BUS INIT: ...ERROR\r"})
    EXPECT_EQ(told(parse(text, Medium::iso9141_2)), "word BUS INIT: ERROR") << text;
  EXPECT_EQ(parse("BUS INIT: ...FB ERROR\r", Medium::iso9141_2).back().word, AtWord::feedback_error);
  EXPECT_EQ(parse("BUS INIT: ...BUS BUSY\r", Medium::iso9141_2).back().word, AtWord::bus_busy);
  EXPECT_EQ(parse("BUS INIT: ...\r", Medium::iso9141_2).back().what, What::text);
  AtParser p;
  p.setMedium(Medium::iso14230_4);
  EXPECT_TRUE(take(p, "BUS INIT: ...", 100).empty());
  const auto ok = take(p, "OK\r", 300);
  ASSERT_EQ(ok.size(), 1U);
  EXPECT_EQ(ok[0].t_ns, 100);
  EXPECT_EQ(ok[0].end_ns, 300) << "when the initialisation was over";
}

// ---- one test a kind of damage

TEST(AtParserDamage, AWrongCheckByteIsMarked) {
  EXPECT_EQ(told(parse("48 6B 10 41 00 BE 3E B8 11 FB\r", Medium::j1850_vpw)), "line 486b10:4100be3eb811!");
  EXPECT_EQ(told(parse("68 6A F1 01 00 C5\r", Medium::iso9141_2)), "line 686af1:0100!");
  EXPECT_EQ(told(parse("686AF1010017<DATA ERROR\r", Medium::j1850_vpw)), "line 686af1:0100!");
}
TEST(AtParserDamage, AMessageOfAWrongLengthIsNone) {
  for (const char* text : {"48 6B 10 FA\r", "48 6B 10 01 02 03 04 05 06 07 08 09 0A FA\r", "486B104\r"})
    EXPECT_EQ(parse(text, Medium::j1850_vpw)[0].what, What::text) << text;
  for (const char* text :
       {"84F111410C00D3\r", "84F111410C000000D3\r", "44F111410C0000D3\r", "00\r", "80F111\r"})
    EXPECT_EQ(parse(text, Medium::iso14230_4)[0].what, What::text) << text;
}

TEST(AtParserDamage, NulsAreDroppedAndNotCounted) {
  AtParser p;
  const std::string text("7\0E8 06\0 41 00 BE 3F A8 13\0\r\0>", 31);
  EXPECT_EQ(told(take(p, text)), "frame 7E8:064100be3fa813, prompt");
  EXPECT_EQ(p.garbage(), 0U);
}
TEST(AtParserDamage, AnOddDigitIsNoFrame) {
  EXPECT_EQ(told(parse("7E8 06 4\r")), "text 7E8 06 4");
  EXPECT_EQ(told(parse("7E8 06 4G\r")), "text 7E8 06 4G");
}
TEST(AtParserDamage, MoreThanEightBytesAreNoFrame) {
  EXPECT_EQ(parse("7E8 01 02 03 04 05 06 07 08 09\r")[0].what, What::text);
  EXPECT_EQ(parse("18DAF110010203040506070809\r")[0].what, What::text);
}
TEST(AtParserDamage, AnIdentifierOutOfRangeIsNoFrame) {
  EXPECT_EQ(parse("800 01\r")[0].what, What::text);
  EXPECT_EQ(parse("2000000001\r")[0].what, What::text);
}
TEST(AtParserDamage, WhatTheAdapterCallsDamagedIsMarked) {
  EXPECT_EQ(told(parse("7E8 06 41 00 BE 3F A8 13 <RX ERROR\r")), "frame 7E8:064100be3fa813!");
  EXPECT_EQ(told(parse("7E8064100BE3FA813<DATA ERROR\r")), "frame 7E8:064100be3fa813!");
  EXPECT_EQ(parse("7E8 06 4<RX ERROR\r").back().word, AtWord::rx_error);
}
TEST(AtParserDamage, ALineBrokenOffByAWord) {
  EXPECT_EQ(told(parse("7E8 06 41BUFFER FULL\r>")), "text 7E8 06 41BUFFER FULL, word BUFFER FULL, prompt");
  EXPECT_EQ(told(parse("7E8 06 41 0STOPPED\r>")), "text 7E8 06 41 0STOPPED, word STOPPED, prompt");
}
TEST(AtParserDamage, APromptInsideALineIsNone) {
  EXPECT_EQ(told(parse("7E8 06>41 00\rOK\r>")), "word OK, prompt");
  EXPECT_EQ(told(parse("OK>\r\r>")), "prompt");
}
TEST(AtParserDamage, BytesThatAreNoTextSpoilTheirLineOnly) {
  AtParser p;
  EXPECT_EQ(told(take(p, "7E8 06 \xff 41\rOK\r>")), "word OK, prompt");
  EXPECT_EQ(p.garbage(), 11U);
}
TEST(AtParserDamage, AnOverlongLineIsThrownAwayAndCounted) {
  AtParser p;
  EXPECT_TRUE(take(p, std::string(100000, 'A')).empty());
  EXPECT_EQ(told(take(p, "\rOK\r>")), "word OK, prompt");
  EXPECT_EQ(p.garbage(), 100000U);
  EXPECT_EQ(parse(std::string(AtParser::kLineMax, 'X') + "\r")[0].text.size(), AtParser::kLineMax);
}

/// Structured mutations: whole lines of a dialogue, damaged byte by byte. What is told must stay within what
/// the format allows, and a whole dialogue behind it must be understood again.
TEST(AtParserDamage, SeededMutations) {
  const char* const times = std::getenv("PIN16_MUTATIONS");
  const int rounds = times != nullptr ? std::atoi(times) : 20000;
  const std::vector<std::string> lines = {"ATZ\r",
                                          "OBD adapter\r",
                                          "OK\r",
                                          "?\r",
                                          "7E8 06 41 00 BE 3F A8 13\r",
                                          "7A9100B62F190\r",
                                          "18DAF110037F2231\r",
                                          "NO DATA\r",
                                          "STOPPED\r",
                                          "SEARCHING...\r",
                                          "12.3V\r",
                                          "CAN ERROR\r",
                                          "LV RESET\r",
                                          "BUFFER FULL\r",
                                          ">",
                                          "\r\n",
                                          "7E8 03 7F 01 12 <RX ERROR\r",
                                          "BUS INIT: ...OK\r",
                                          "BUS INIT: ERROR\r",
                                          "48 6B 10 41 00 BE 3E B8 11 FA\r",
                                          "416B104100BE3EB81190\r",
                                          "68 6A F1 01 00 C4\r",
                                          "84F111410C0000D3\r",
                                          "80F111024100C5 <DATA ERROR\r"};
  constexpr Medium kMedia[] = {Medium::can, Medium::j1850_pwm, Medium::j1850_vpw, Medium::iso9141_2,
                               Medium::iso14230_4};
  std::mt19937 random(16);
  const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random() % n); };
  std::size_t frames = 0, prompts = 0, messages = 0;
  for (int round = 0; round < rounds; ++round) {
    std::string text;
    for (std::size_t n = 1 + below(8); n > 0; --n) text += lines[below(lines.size())];
    for (std::size_t n = below(6); n > 0 && !text.empty(); --n) {
      const std::size_t at = below(text.size());
      switch (below(6)) {
        case 0:
          text[at] = static_cast<char>(random());
          break;
        case 1:
          text.erase(at, 1);
          break;
        case 2:
          text.insert(at, 1, static_cast<char>(random()));
          break;
        case 3:
          text.insert(at, text.substr(below(text.size()), below(60)));
          break;
        case 4:
          text.insert(at, below(400), text[at]);
          break;
        default:
          text.resize(at);
      }
    }
    AtParser p;
    const Medium medium = kMedia[below(std::size(kMedia))];
    p.setMedium(medium);
    if (below(2) == 0) p.expectEcho("ATZ");
    std::vector<AtItem> items;
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t n = 1 + below(40);
      const auto more = take(p, std::string_view(text).substr(at, n));
      items.insert(items.end(), more.begin(), more.end());
      at += n;
      ASSERT_LE(p.pending(), AtParser::kLineMax);
    }
    EXPECT_LE(items.size(), text.size() + 1);
    EXPECT_LE(p.garbage(), text.size());
    for (const AtItem& i : items) {
      EXPECT_LE(i.text.size(), AtParser::kLineMax);
      if (i.what == What::prompt) ++prompts;
      if (i.what == What::line) {
        ++messages;
        EXPECT_NE(medium, Medium::can);
        EXPECT_EQ(i.message.medium, medium);
        EXPECT_FALSE(i.message.data.empty());
        EXPECT_LE(lineBytes(i.message).size(), kKwpMessageMax);
      }
      if (i.what != What::frame) continue;
      ++frames;
      EXPECT_LE(i.frame.length, 8);
      EXPECT_LE(i.frame.id(), i.frame.extended() ? event::kExtendedMask : event::kStandardMask);
    }
    p.setMedium(Medium::can);
    EXPECT_TRUE(told(take(p, "\r7E8 03 7F 01 12\r\r>")).ends_with("frame 7E8:037f0112, prompt")) << text;
  }
  EXPECT_GT(messages, static_cast<std::size_t>(rounds) / 10);
  EXPECT_GT(frames, static_cast<std::size_t>(rounds) / 20) << "the mutations left something to read";
  EXPECT_GT(prompts, static_cast<std::size_t>(rounds) / 20);
}

}  // namespace
}  // namespace pin16::link
