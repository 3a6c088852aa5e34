// SPDX-License-Identifier: Apache-2.0
// Answers of instruments as text. The forms are made by hand from the rules of IEEE 488.2-1992 clause 8.7
// (NR1, NR2, NR3) and 7.7.3 (units), and of SCPI-99 (9.9E37, 9.91E37, SYSTem:ERRor), both from memory; the
// values are checked against strtod of the C library.
#include "core/supply/scpi_text.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <cstring>
#include <random>

namespace pin16::supply {
namespace {

using testing::ElementsAre;
using Kind = Reading::Kind;

constexpr const char* kGood[] = {"12.6",   "+12.6",      "-0.005", "0",     "12",       "+1.26000E+01",
                                 "1.26E1", "1.26e+1",    ".5",     "-.5",   "5.",       "  12.6 ",
                                 "1E0",    "+0.000E+00", "9.8E37", "-1E-3", "00012.50", "12.600000000000001"};

TEST(ScpiValue, EveryNumberFormIsWhatTheCLibraryMakesOfIt) {
  for (const char* text : kGood) {
    const Reading r = parseValue(text, 'V');
    ASSERT_EQ(r.kind, Kind::value) << text;
    EXPECT_DOUBLE_EQ(r.value, std::strtod(text, nullptr)) << text;
  }
}

TEST(ScpiValue, UnitsBehindTheNumberCountAndThoseOfAnotherQuantityAreRefused) {
  const auto is = [](const char* text, char unit, double value) {
    const Reading r = parseValue(text, unit);
    EXPECT_EQ(r.kind, Kind::value) << text;
    EXPECT_DOUBLE_EQ(r.value, value) << text;
  };
  is("12.6 V", 'V', 12.6);
  is("12.6V", 'V', 12.6);
  is("12600 mV", 'V', 12.6);
  is("1.2KV", 'V', 1200);
  is("350MA", 'A', 0.35);  // IEEE 488.2, table 7-1: M is milli
  is("350 uA", 'A', 350e-6);
  is("+3.5E-1 A", 'A', 0.35);
  for (const char* bad : {"12.6 A", "12.6 ohm", "12.6 VV", "12.6 nV", "12.6 Hz", "12.6 V V", "12.6 W"})
    EXPECT_EQ(parseValue(bad, 'V').kind, Kind::nonsense) << bad;
}

TEST(ScpiValue, OverloadAndNotANumberAreNoValues) {
  for (const char* text :
       {"9.9E37", "+9.9E+37", "-9.9E37", "9.900000E+37", "9.90E37", "INF", "-inf", "NINF", "OL", "ovld"})
    EXPECT_EQ(parseValue(text, 'V').kind, Kind::overload) << text;
  for (const char* text : {"9.91E37", "+9.91000E+37", "NAN", "nan"})
    EXPECT_EQ(parseValue(text, 'V').kind, Kind::not_a_number) << text;
}

TEST(ScpiValue, WhatIsNoNumberIsNonsense) {
  for (const char* text :
       {"",    " ",        "+",        "-",        ".",    "E5",     "1.2.3",
        "1,2", "12,6",     "12.6,0.3", "12.6;0.3", "0x10", "++1",    "+-1",
        "--1", "1E",       "1E400",    "-1E400",   "1 2",  "#12.6",  "12.6?",
        "abc", "infinite", "nano",     "1.2E+",    "- 12", "12.6\"", "-113,\"Undefined header\""})
    EXPECT_EQ(parseValue(text, 'V').kind, Kind::nonsense) << text;
}

TEST(ScpiIdentity, IsTheDevicesOwnWordsAndNoValueOrError) {
  EXPECT_EQ(parseIdentity("Pin16,bench supply,0,1"), "Pin16,bench supply,0,1");
  EXPECT_EQ(parseIdentity("  home made supply "), "home made supply")
      << "10.14 wants four fields; not all know";
  EXPECT_EQ(parseIdentity(std::string(500, 'x')).size(), kIdentityMost);
  for (const char* no :
       {"", "12.6", "+1.2E1", "12.6 V", "NAN", "-113,\"Undefined header\"", "0,\"No error\"", "1,2,3"})
    EXPECT_EQ(parseIdentity(no), "") << no;
}

TEST(ScpiError, HasACodeAndWords) {
  const auto is = [](const char* text, int code, const char* words) {
    const auto e = parseError(text);
    ASSERT_TRUE(e) << text;
    EXPECT_EQ(e->code, code) << text;
    EXPECT_EQ(e->text, words) << text;
  };
  is("0,\"No error\"", 0, "No error");
  is("+0,\"No error\"", 0, "No error");
  is("-113,\"Undefined header\"", -113, "Undefined header");
  is("-222,\"Data out of range;limit 5\"", -222, "Data out of range;limit 5");
  is("0,No error", 0, "No error");
  is(" -410 , \"Query INTERRUPTED\" ", -410, "Query INTERRUPTED");
  for (const char* no :
       {"", "0", "12.6", "12,6", "12.6,\"x\"", "-113,", "-113,\"Undef", "x,\"y\"", ",\"y\"", "1,2,3", "0,+1"})
    EXPECT_FALSE(parseError(no)) << no;
}

TEST(ScpiRegister, IsAnUnsignedNumberOf16Bits) {
  EXPECT_EQ(parseRegister("0"), 0);
  EXPECT_EQ(parseRegister("+3"), 3);
  EXPECT_EQ(parseRegister("65535"), 65535);
  for (const char* no : {"", "-1", "65536", "1.5", "1E2", "#H3", "V"}) EXPECT_FALSE(parseRegister(no)) << no;
}

// The must of the room: what is written is a query of the list and nothing else.
TEST(ScpiQueries, AreTheListAndAChannelBehindThoseThatMeasure) {
  for (const std::string_view q : kQueries) EXPECT_EQ(q.back(), '?');
  EXPECT_EQ(queryLine(Query::volts, 0, "\n"), "MEAS:VOLT?\n");
  EXPECT_EQ(queryLine(Query::amperes, 2, "\r\n"), "MEAS:CURR? (@2)\r\n");
  EXPECT_EQ(queryLine(Query::read, 99, "\n"), "READ? (@99)\n");
  EXPECT_EQ(queryLine(Query::identity, 2, "\n"), "*IDN?\n");
  EXPECT_EQ(queryLine(Query::error, 2, "\n"), "SYST:ERR?\n");
  EXPECT_EQ(queryLine(Query::condition, 2, "\n"), "STAT:QUES:COND?\n");
}

std::vector<std::string> cut(const std::string& bytes, std::size_t size) {
  Lines lines;
  std::vector<std::string> out;
  for (std::size_t at = 0; at < bytes.size(); at += size) {
    const std::string piece = bytes.substr(at, size);
    lines.take(static_cast<Ns>(at), {reinterpret_cast<const std::uint8_t*>(piece.data()), piece.size()},
               [&](const Lines::Line& l) { out.push_back((l.sound ? "" : "!") + l.text); });
  }
  return out;
}

TEST(ScpiLines, EndAtAnyOfThreeAndDoNotDependOnHowTheyAreCut) {
  const std::string bytes =
      "12.6\n0.3\r\n\r\nPin16,x\r\x81\x01"
      "5\n\n7\n";
  for (std::size_t size = 1; size <= bytes.size(); ++size)
    EXPECT_THAT(cut(bytes, size), ElementsAre("12.6", "0.3", "Pin16,x", "!5", "7")) << size;
}

TEST(ScpiLines, AnOverlongLineIsUnsoundAndTheNextOneWhole) {
  EXPECT_THAT(cut(std::string(5000, '1') + "\n12.6\n", 7),
              ElementsAre("!" + std::string(Lines::kLineMost, '1'), "12.6"));
}

TEST(ScpiLines, ALineHasTheTimeOfItsFirstByte) {
  Lines lines;
  Ns first_ns = kNoTime;
  const auto give = [&](Ns t_ns, const char* text) {
    lines.take(t_ns, {reinterpret_cast<const std::uint8_t*>(text), std::strlen(text)},
               [&](const Lines::Line& l) { first_ns = l.first_ns; });
  };
  give(10, "12");
  give(20, ".6");
  give(30, "\r\n0.3");
  EXPECT_EQ(first_ns, 10);
  give(40, "\n");
  EXPECT_EQ(first_ns, 30);
}

int mutations() {
  const char* more = std::getenv("PIN16_MUTATIONS");
  return more != nullptr ? std::max(std::atoi(more), 1) : 20000;
}

void mutate(std::string& text, std::mt19937& random) {
  const std::string stock = "0123456789+-.eE,;\"VAmkuU#? \t()@NANINFOL";
  const std::size_t at = random() % text.size();
  switch (random() % 5) {
    case 0:
      text[at] = stock[random() % stock.size()];
      break;
    case 1:
      text.erase(at, 1 + random() % 3);
      break;
    case 2:
      text.insert(at, 1, stock[random() % stock.size()]);
      break;
    case 3:
      text.insert(at, text.substr(at, 4));
      break;
    default:
      text[at] = static_cast<char>(random() % 256);
  }
}

/// Good answers, with any end of line, in one text.
std::string transcript(std::mt19937& random) {
  constexpr const char* kEnds[] = {"\n", "\r\n", "\r", "\n\n"};
  std::string text;
  for (std::size_t n = 1 + random() % 6; n > 0; --n)
    text += std::string(kGood[random() % std::size(kGood)]) + kEnds[random() % std::size(kEnds)];
  return text;
}

TEST(ScpiText, MutationsOfATranscriptAreTheSameLinesHoweverCutAndEndInStep) {
  std::mt19937 random(0x2011);
  const auto bytes = [](std::string_view t) {
    return ByteView(reinterpret_cast<const std::uint8_t*>(t.data()), t.size());
  };
  int damaged = 0;
  for (int i = 0; i < mutations(); ++i) {
    std::string text = transcript(random);
    for (unsigned n = 1 + random() % 4; n > 0 && !text.empty(); --n) mutate(text, random);
    if (random() % 8 == 0) text.insert(random() % (text.size() + 1), random() % 600, '7');
    if (random() % 4 == 0) text += transcript(random);
    if (random() % 4 == 0) text.resize(random() % (text.size() + 1));
    text += "\n+1.5\n";
    std::vector<std::string> whole, cut;
    const auto keep = [&](std::vector<std::string>& out) {
      return [&out](const Lines::Line& l) {
        EXPECT_LE(l.text.size(), Lines::kLineMost);
        out.push_back((l.sound ? "" : "unsound ") + l.text);
      };
    };
    Lines a, b;
    a.take(1, bytes(text), keep(whole));
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t n = 1 + random() % 9;
      b.take(1, bytes(std::string_view(text).substr(at, n)), keep(cut));
      at += n;
      ASSERT_LE(b.pending(), Lines::kLineMost);
    }
    ASSERT_EQ(whole, cut) << text;
    ASSERT_FALSE(b.halfLine());
    ASSERT_EQ(cut.back(), "+1.5") << text;
    damaged += static_cast<int>(
        std::count_if(cut.begin(), cut.end(), [](const auto& l) { return l.starts_with("unsound"); }));
  }
  EXPECT_GT(damaged, mutations() / 10);
}

// A damaged answer is refused, or is a number in the C library's eyes too.
TEST(ScpiText, MutationsOfGoodAnswersNeverBecomeAnotherNumberThanTheyRead) {
  std::mt19937 random(0x5C91);
  int values = 0;
  for (int i = 0; i < mutations(); ++i) {
    std::string text = kGood[random() % std::size(kGood)];
    if (random() % 3 == 0) text += " V";
    for (unsigned n = 1 + random() % 4; n > 0 && !text.empty(); --n) mutate(text, random);
    (void)parseError(text);
    (void)parseRegister(text);
    EXPECT_LE(parseIdentity(text).size(), kIdentityMost);
    const Reading r = parseValue(text, 'V');
    if (r.kind != Kind::value) continue;
    ++values;
    char* end = nullptr;
    const double plain = std::strtod(text.c_str(), &end);
    const std::string unit(end);
    const auto has = [&](const char* letters) { return unit.find_first_of(letters) != std::string::npos; };
    const double factor = has("mM") ? 1e-3 : has("uU") ? 1e-6 : has("kK") ? 1e3 : 1;
    EXPECT_TRUE(std::isfinite(r.value)) << text;
    EXPECT_DOUBLE_EQ(r.value, plain * factor) << text;
  }
  EXPECT_GT(values, mutations() / 20) << "the mutations must leave some numbers, or nothing is tested";
}

}  // namespace
}  // namespace pin16::supply
