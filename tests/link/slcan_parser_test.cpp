// SPDX-License-Identifier: Apache-2.0
/// The grammar of drivers/net/can/slcan/slcan-core.c (Linux 6.x), its own examples first; one test for each
/// kind of damage; seeded mutations against a second reading of the grammar by regular expressions.
#include "core/link/slcan_parser.hpp"

#include <gtest/gtest.h>
#include <linux/can/error.h>

#include <cstdlib>
#include <random>
#include <regex>

#include "core/can/error_text.hpp"
#include "core/link/slcan_clock.hpp"

namespace pin16::link {
namespace {

using What = SlcanLine::What;

std::vector<SlcanLine> parse(std::string_view bytes) {
  SlcanParser p;
  std::vector<SlcanLine> out;
  p.take(bytes, out);
  return out;
}

/// For comparing: everything a line says.
std::string show(const SlcanLine& l) {
  std::string s = std::to_string(static_cast<int>(l.what)) + " " + std::to_string(l.frame.word) + " " +
                  std::to_string(l.frame.length) + " " + std::to_string(l.frame.fd_flags) + " " +
                  toHex(l.frame.payload()) + " " + (l.stamp_ms ? std::to_string(*l.stamp_ms) : "-") + " " +
                  (l.extended ? "Z" : "") + (l.overrun ? "o" : "") + " " + std::to_string(l.flags) + " " +
                  l.controller + " " + std::to_string(l.rx_errors) + " " + std::to_string(l.tx_errors) + " ";
  return s + toHex(ByteView(reinterpret_cast<const std::uint8_t*>(l.text.data()), l.text.size()));
}
std::string show(const std::vector<SlcanLine>& lines) {
  std::string all;
  for (const auto& l : lines) all += show(l) + "\n";
  return all;
}

void expectFrame(std::string_view line, std::uint32_t word, const Bytes& data, unsigned length) {
  const SlcanLine l = parseSlcanLine(line);
  ASSERT_EQ(l.what, What::frame) << line;
  EXPECT_EQ(l.frame.word, word) << line;
  EXPECT_EQ(l.frame.length, length) << line;
  EXPECT_TRUE(std::equal(data.begin(), data.end(), l.frame.data.begin())) << line;
}

TEST(SlcanGrammar, TheDriversOwnExamplesOfFrames) {
  expectFrame("t1230", 0x123, {}, 0);
  expectFrame("t4563112233", 0x456, {0x11, 0x22, 0x33}, 3);
  expectFrame("T12ABCDEF2AA55", 0x12ABCDEFU | event::kExtendedFlag, {0xAA, 0x55}, 2);
  expectFrame("r1230", 0x123U | event::kRemoteFlag, {}, 0);
}

TEST(SlcanGrammar, EveryFormAndItsLimits) {
  expectFrame("t7FF8000102030405fEfF", 0x7FF, {0, 1, 2, 3, 4, 5, 0xFE, 0xFF}, 8);
  expectFrame("r7DF8", 0x7DFU | event::kRemoteFlag, {}, 8);
  expectFrame("R1FFFFFFF0", 0x1FFFFFFFU | event::kExtendedFlag | event::kRemoteFlag, {}, 0);
  for (const char* bad :
       {"t",       "t12",           "t123",   "t8000",  "t1239",   "t12310",     "t1231A", "t1231AAA",
        "t12g0",   "t12 0",         "t0x10",  "t-120",  "T1230",   "T200000000", "r12311", "x1230",
        "t1231G0", "t1231AAABBBB0", "t1230 ", " t1230", "t123012", "t12301234 ", "tT1230"})
    EXPECT_EQ(parseSlcanLine(bad).what, What::damaged) << bad;
}

TEST(SlcanGrammar, AStampIsFourDigitsBehindAnyFrame) {
  for (const auto& [line, stamp] : std::vector<std::pair<const char*, int>>{
           {"t12301234", 0x1234}, {"t1232AABBEA5F", 59999}, {"T1234567800000", 0}, {"r1238ffff", 65535}}) {
    const SlcanLine l = parseSlcanLine(line);
    ASSERT_EQ(l.what, What::frame) << line;
    ASSERT_TRUE(l.stamp_ms) << line;
    EXPECT_EQ(*l.stamp_ms, stamp) << line;
  }
  EXPECT_FALSE(parseSlcanLine("t1230").stamp_ms);
  EXPECT_EQ(parseSlcanLine("t123012G4").what, What::damaged);
}

// ISO 11898-1: DLC 9 to 15 are 12, 16, 20, 24, 32, 48 and 64 bytes.
TEST(SlcanGrammar, FdLengthsAreThoseOfTheDlc) {
  const std::size_t length[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};
  for (std::size_t dlc = 0; dlc < 16; ++dlc)
    for (const std::string head : {"d123", "b123", "D12345678", "B12345678"}) {
      std::string line = head + "0123456789ABCDEF"[dlc];
      for (std::size_t i = 0; i < length[dlc]; ++i) line += "5A";
      for (const char* stamp : {"", "0102"}) {
        const SlcanLine l = parseSlcanLine(line + stamp);
        ASSERT_EQ(l.what, What::frame) << line;
        EXPECT_EQ(l.frame.length, length[dlc]);
        EXPECT_TRUE(l.frame.fd());
        EXPECT_EQ(l.frame.brs(), head[0] == 'b' || head[0] == 'B');
        EXPECT_EQ(l.frame.extended(), head[0] == 'D' || head[0] == 'B');
      }
      EXPECT_EQ(parseSlcanLine(line + "5").what, What::damaged);
    }
}

TEST(SlcanGrammar, TheDriversOwnExamplesOfStates) {
  const SlcanLine off = parseSlcanLine("sb256256");
  EXPECT_EQ(off.what, What::state);
  EXPECT_STREQ(off.controller, "bus-off");
  EXPECT_EQ(off.frame.word, event::kErrorFlag | CAN_ERR_BUSOFF);
  const SlcanLine active = parseSlcanLine("sa057033");
  EXPECT_STREQ(active.controller, "error-active");
  EXPECT_EQ(active.rx_errors, 57);
  EXPECT_EQ(active.tx_errors, 33);
}

// 20000204#0008000000006000 and 20000204#0020000000008000: what the kernel makes of them, seen in tests/vm.
TEST(SlcanGrammar, StatesBecomeTheKernelsErrorFrames) {
  const auto frame = [](const char* line) {
    const SlcanLine l = parseSlcanLine(line);
    return toHex(ByteView(l.frame.data.data(), l.frame.length)) + " " + std::to_string(l.frame.word & 0xFFFF);
  };
  EXPECT_EQ(frame("sw000096"), "0008000000006000 " + std::to_string(0x204));
  EXPECT_EQ(frame("sp000128"), "0020000000008000 " + std::to_string(0x204));
  EXPECT_EQ(frame("sw100096"), "0004000000006064 " + std::to_string(0x204));
  EXPECT_EQ(frame("sp128128"), "0030000000008080 " + std::to_string(0x204));
  for (const char* bad : {"s", "sx000000", "sw00009", "sw0000960", "sw00A096", "sw 00096", "sw-01096"})
    EXPECT_EQ(parseSlcanLine(bad).what, What::damaged) << bad;
}

// 200000A8 and 20000088#0000040000000000: as above.
TEST(SlcanGrammar, BusErrorsBecomeTheKernelsErrorFrames) {
  const auto is = [](const char* line, std::uint32_t classes, const Bytes& data) {
    const SlcanLine l = parseSlcanLine(line);
    EXPECT_EQ(l.what, What::errors) << line;
    EXPECT_EQ(l.frame.word, event::kErrorFlag | classes) << line;
    EXPECT_EQ(toHex(ByteView(l.frame.data.data(), l.frame.length)), toHex(data)) << line;
    EXPECT_FALSE(can::errorText(l.frame).empty()) << line;
  };
  is("e1a", 0xA8, {0, 0, 0, CAN_ERR_PROT_LOC_ACK, 0, 0, 0, 0});
  is("e1b", 0x88, {0, 0, CAN_ERR_PROT_BIT0, 0, 0, 0, 0, 0});
  is("e1B", 0x88, {0, 0, CAN_ERR_PROT_BIT1, 0, 0, 0, 0, 0});
  is("e1f", 0x88, {0, 0, CAN_ERR_PROT_FORM, 0, 0, 0, 0, 0});
  is("e1s", 0x88, {0, 0, 4, 0, 0, 0, 0, 0});
  is("e1c", 0x88, {0, 0, CAN_ERR_PROT_BIT, CAN_ERR_PROT_LOC_CRC_SEQ, 0, 0, 0, 0});
  // The driver's own example: bit 0 error, CRC error, transmit overrun.
  is("e3bcO", 0x8C,
     {0, CAN_ERR_CRTL_TX_OVERFLOW, CAN_ERR_PROT_BIT0 | CAN_ERR_PROT_BIT, CAN_ERR_PROT_LOC_CRC_SEQ, 0, 0, 0,
      0});
  is("e1o", 0x04, {0, CAN_ERR_CRTL_RX_OVERFLOW, 0, 0, 0, 0, 0, 0});
  EXPECT_TRUE(parseSlcanLine("e1o").overrun);
  EXPECT_FALSE(parseSlcanLine("e1O").overrun);
  for (const char* bad : {"e", "e0", "e1", "e2a", "e1ab", "e1x", "e9aaaaaaaaa", "ea"})
    EXPECT_EQ(parseSlcanLine(bad).what, What::damaged) << bad;
}

TEST(SlcanGrammar, AnswersAreTold) {
  EXPECT_EQ(show(parse("\r")), show(std::vector{[] {
              SlcanLine l;
              l.what = What::done;
              return l;
            }()}));
  const auto lines = parse("\aF08\rV0101\rNP016\rz\rZ\r");
  ASSERT_EQ(lines.size(), 6U);
  EXPECT_EQ(lines[0].what, What::refused);
  EXPECT_EQ(lines[1].what, What::flags);
  EXPECT_EQ(lines[1].flags, kSlcanOverrun);
  EXPECT_EQ(lines[2].what, What::version);
  EXPECT_EQ(lines[2].text, "0101");
  EXPECT_EQ(lines[3].text, "P016");
  EXPECT_EQ(lines[4].what, What::sent);
  EXPECT_FALSE(lines[4].extended);
  EXPECT_TRUE(lines[5].extended);
  for (const char* bad : {"F", "F0", "F000", "FG0", "V", "N", "V\x01", "z1", "Zz"})
    EXPECT_EQ(parseSlcanLine(bad).what, What::damaged) << bad;
}

TEST(SlcanGrammar, WhatWeWriteIsWhatWeRead) {
  for (const char* line : {"t1230", "t7FF8000102030405FEFF", "T18DB33F11AA", "r7DF8", "R1FFFFFFF0"}) {
    const auto f = parseSlcanFrame(line);
    ASSERT_TRUE(f) << line;
    EXPECT_EQ(slcanText(*f), line);
  }
  for (const char* bad : {"", "t", "t12301234", "d1230", "z", "t1239"})
    EXPECT_FALSE(parseSlcanFrame(bad)) << bad;
}

// ---- damage

constexpr const char* kGood = "t12322A17\r";
const std::string kGoodShown = show(parse(kGood));

/// `damage`, then a good line: so many lines are told as damaged, and the good one is whole.
void expectDamage(const std::string& damage, std::uint64_t lines) {
  SlcanParser p;
  std::vector<SlcanLine> out;
  p.take(damage + kGood, out);
  EXPECT_EQ(p.damaged(), lines) << damage;
  ASSERT_FALSE(out.empty());
  EXPECT_EQ(show(out.back()) + "\n", kGoodShown) << damage;
}

TEST(SlcanDamage, GarbageBeforeALineTakesThatLineWithIt) { expectDamage("\x80\xFF~t1230\r", 1); }
TEST(SlcanDamage, GarbageBetweenLinesIsOneLine) { expectDamage("t1230\r\x01\x02\x03\r", 1); }
TEST(SlcanDamage, ALostEndJoinsTwoLines) { expectDamage("t1230t1230\r", 1); }
TEST(SlcanDamage, ALineCutShortIsToldOnce) { expectDamage("t12324\r", 1); }
TEST(SlcanDamage, ALineTooLongIsToldOnceAndForgotten) { expectDamage(std::string(100'000, '0') + "\r", 1); }
TEST(SlcanDamage, AnOverlongLineThatBeginsWellIsDamagedToo) {
  expectDamage("t1230" + std::string(1000, '\n') + "\r", 1);
}
TEST(SlcanDamage, ABellInTheMiddleEndsTheLine) {
  const auto lines = parse("t123\at1230\r");
  ASSERT_EQ(lines.size(), 3U);
  EXPECT_EQ(lines[0].what, What::damaged);
  EXPECT_EQ(lines[1].what, What::refused);
  EXPECT_EQ(lines[2].what, What::frame);
}
TEST(SlcanDamage, ABellBehindAWholeLineLeavesItWhole) {
  const auto lines = parse("t1230\a");
  ASSERT_EQ(lines.size(), 2U);
  EXPECT_EQ(lines[0].what, What::frame);
  EXPECT_EQ(lines[1].what, What::refused);
}
TEST(SlcanDamage, AFlippedDigitOfAnIdentifierOutOfRangeIsNoticed) { expectDamage("tF230\r", 1); }
TEST(SlcanDamage, ZeroBytesAreNoText) { expectDamage(std::string("V01\0\r", 5), 1); }
TEST(SlcanDamage, LineFeedsBetweenLinesAreNoDamage) { expectDamage("t1230\r\n\r\nF00\r\n", 0); }
TEST(SlcanDamage, ALineFeedInsideALineIsDamage) { expectDamage("t12\n30\r", 1); }

TEST(SlcanDamage, MemoryStaysBoundedWithoutAnyEnd) {
  SlcanParser p;
  std::vector<SlcanLine> out;
  for (int i = 0; i < 1000; ++i) p.take(std::string(4096, 't'), out);
  EXPECT_LE(p.pending(), SlcanParser::kLineMax);
  EXPECT_TRUE(out.empty());
}

TEST(SlcanDamage, LinesCutAtEveryByteAreTheSame) {
  const std::string all = "\r\at4563112233EA5F\rT12ABCDEF2AA55\rz\re3bcO\rsb256256\rF88\rV0101\r??\rt1230\r";
  const std::string whole = show(parse(all));
  for (std::size_t cut = 0; cut <= all.size(); ++cut) {
    SlcanParser p;
    std::vector<SlcanLine> out;
    p.take(std::string_view(all).substr(0, cut), out);
    p.take(std::string_view(all).substr(cut), out);
    EXPECT_EQ(show(out), whole) << cut;
  }
  SlcanParser p;
  std::vector<SlcanLine> out;
  for (const char c : all) p.take({&c, 1}, out);
  EXPECT_EQ(show(out), whole);
}

// ---- mutations

/// A second reading of the grammar: is the line a frame?
bool isFrameByRegex(const std::string& line) {
  static const std::regex data("([tdb])([0-7][0-9A-Fa-f]{2})([0-9A-Fa-f])((?:[0-9A-Fa-f]{2})*)");
  static const std::regex wide("([TDB])([01][0-9A-Fa-f]{7})([0-9A-Fa-f])((?:[0-9A-Fa-f]{2})*)");
  static const std::regex remote(
      "r[0-7][0-9A-Fa-f]{2}[0-8]([0-9A-Fa-f]{4})?|R[01][0-9A-Fa-f]{7}[0-8]([0-9A-Fa-f]{4})?");
  if (std::regex_match(line, remote)) return true;
  std::smatch m;
  if (!std::regex_match(line, m, data) && !std::regex_match(line, m, wide)) return false;
  static const int bytes[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};
  const int dlc = std::stoi(m[3].str(), nullptr, 16);
  const bool classic = m[1] == "t" || m[1] == "T";
  if (classic && dlc > 8) return false;
  const auto digits = static_cast<int>(m[4].length());
  return digits == 2 * bytes[dlc] || digits == 2 * bytes[dlc] + 4;
}

/// A whole dialogue with one to eight changes: flips, cuts, joins, repeats, insertions.
std::string mutated(std::mt19937_64& random) {
  static const std::string pieces[] = {"\r",
                                       "\a",
                                       "t1230\r",
                                       "t4563112233EA5F\r",
                                       "T12ABCDEF2AA55\r",
                                       "r1230\r",
                                       "z\r",
                                       "Z\r",
                                       "F08\r",
                                       "V0101\r",
                                       "NP016\r",
                                       "e1a\r",
                                       "e3bcO\r",
                                       "sb256256\r",
                                       "sa057033\r",
                                       "d1239000102030405060708090A0B\r",
                                       "\n"};
  const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random() % n); };
  std::string text;
  for (std::size_t i = 0, n = 3 + below(8); i < n; ++i) text += pieces[below(std::size(pieces))];
  for (std::size_t i = 0, n = 1 + below(8); i < n && !text.empty(); ++i) {
    const std::size_t at = below(text.size()),
                      length = 1 + below(std::min<std::size_t>(text.size() - at, 12));
    switch (below(6)) {
      case 0:
        text[at] = static_cast<char>(text[at] ^ (1 << below(8)));
        break;
      case 1:
        text.erase(at, length);
        break;
      case 2:
        text.insert(below(text.size() + 1), text.substr(at, length));
        break;
      case 3:
        text[at] = static_cast<char>(random());
        break;
      case 4:
        if (const auto end = text.find('\r', at); end != std::string::npos) text.erase(end, 1);
        break;
      default:
        for (std::size_t r = below(6); r > 0 && text.size() < 2000; --r)
          text.insert(at, text.substr(at, length));
    }
  }
  return text;
}

TEST(SlcanMutations, NeverMoreThanWasSentAndAlwaysBackInStep) {
  const char* asked = std::getenv("PIN16_MUTATIONS");
  const long count = asked != nullptr ? std::atol(asked) : 20'000;
  std::mt19937_64 random(16);
  long frames = 0, damaged = 0;
  for (long n = 0; n < count; ++n) {
    const std::string text = mutated(random) + "\r" + kGood;
    SlcanParser whole, cut;
    std::vector<SlcanLine> a, b;
    whole.take(text, a);
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t length = 1 + random() % 7;
      cut.take(std::string_view(text).substr(at, length), b);
      at += length;
      ASSERT_LE(cut.pending(), SlcanParser::kLineMax);
    }
    ASSERT_EQ(show(a), show(b)) << n;
    ASSERT_EQ(show(a.back()) + "\n", kGoodShown) << n;
    // The second reading: the same lines are frames, in the same order.
    std::vector<bool> expected, got;
    std::string line;
    for (const char c : text) {
      if (c == '\n' && line.empty()) continue;
      if (c != '\r' && c != '\a') {
        line += c;
        continue;
      }
      if (c == '\r' || !line.empty()) expected.push_back(isFrameByRegex(line));
      if (c == '\a') expected.push_back(false);
      line.clear();
    }
    for (const SlcanLine& l : a) {
      got.push_back(l.what == What::frame);
      frames += l.what == What::frame;
      damaged += l.what == What::damaged;
      if (l.what == What::frame) {
        ASSERT_LE(l.frame.id(), l.frame.extended() ? event::kExtendedMask : event::kStandardMask);
        ASSERT_LE(l.frame.length, l.frame.fd() ? event::kFdDataMax : event::kClassicDataMax);
      }
    }
    ASSERT_EQ(got, expected) << n << " "
                             << toHex(ByteView(reinterpret_cast<const std::uint8_t*>(text.data()),
                                               text.size()));
  }
  EXPECT_GT(frames, count) << "the mutations must leave something whole";
  EXPECT_GT(damaged, count / 2) << "and break something";
}

// ---- stamps to our clock

constexpr Ns kMs = kNsPerMs;

TEST(SlcanClockTest, AFrameIsTimedWithinTheMillisecondOfItsStampWhateverItsDelay) {
  SlcanClock c;
  std::mt19937_64 random(3);
  const Ns start = 7'000'000'123;
  Ns before = 0;
  for (int i = 0; i < 20'000; ++i) {
    const Ns true_ns = start + i * 7 * kMs + static_cast<Ns>(random() % 1'000'000);
    const Ns fastest = 200'000, delay = fastest + (i % 5 == 0 ? 0 : static_cast<Ns>(random() % (16 * kMs)));
    const auto stamp = static_cast<std::uint16_t>((true_ns / kMs + 51'234) % 60'000);
    const Ns t = c.toBoot(stamp, true_ns + delay);
    EXPECT_GE(t, before);
    EXPECT_LE(t, true_ns + delay);
    if (i > 100) {
      EXPECT_GT(t - true_ns, -kMs) << i;
      EXPECT_LT(t - true_ns, 2 * kMs) << i;
    }
    before = t;
  }
}

TEST(SlcanClockTest, MinutesOfSilenceAndTheWrapAreCounted) {
  SlcanClock c;
  EXPECT_EQ(c.toBoot(59'990, 100 * kMs), 100 * kMs);
  EXPECT_EQ(c.toBoot(10, 120 * kMs), 120 * kMs) << "over the minute";
  // Ten minutes on, 50 ms late: by the drift allowed for the clocks may be 60 ms apart, so it is not noticed.
  const Ns later = 120 * kMs + 10 * 60 * kNsPerSecond + 7 * kMs;
  EXPECT_EQ(c.toBoot(17, later + 50 * kMs), later + 50 * kMs);
  EXPECT_EQ(c.toBoot(117, later + 100 * kMs), later + 100 * kMs);
  const Ns t = c.toBoot(127, later + 150 * kMs) - later;
  EXPECT_GE(t, 111 * kMs) << "now it is: the stamp's millisecond, and a little drift";
  EXPECT_LE(t, 112 * kMs);
}

TEST(SlcanClockTest, SixteenBitsThatRunOverAreNoticed) {
  SlcanClock c;
  (void)c.toBoot(59'999, 0);
  EXPECT_EQ(c.toBoot(65'530, 5'531 * kMs), 5'531 * kMs);
  EXPECT_EQ(c.toBoot(4, 5'541 * kMs), 5'541 * kMs);
}

TEST(SlcanClockTest, AHostThatDidNotReadForAWhileGetsTheRightTimes) {
  SlcanClock c;
  for (int i = 0; i < 10; ++i) (void)c.toBoot(static_cast<std::uint16_t>(i), i * kMs);
  for (int i = 10; i < 3000; ++i) {
    const Ns t = c.toBoot(static_cast<std::uint16_t>(i), 3000 * kMs);
    EXPECT_LE(std::abs(t - i * kMs), 2 * kMs) << i;
  }
}

TEST(SlcanClockTest, AClockThatWasSetBackIsFollowedAfterTwoSeconds) {
  SlcanClock c;
  for (int i = 0; i < 100; ++i) (void)c.toBoot(static_cast<std::uint16_t>(10'000 + 10 * i), 10 * i * kMs);
  Ns t = 0, read = 0;
  for (int i = 0; i < 300; ++i) {
    read = (1000 + 10 * i) * kMs;
    t = c.toBoot(static_cast<std::uint16_t>(10 * i), read);
    EXPECT_LE(t, read);
  }
  EXPECT_LE(read - t, kMs);
}

TEST(SlcanClockTest, ADamagedDigitSpoilsNoOtherTime) {
  SlcanClock c;
  for (int i = 0; i < 1000; ++i) {
    const auto stamp = static_cast<std::uint16_t>(i % 100 == 50 ? (i ^ 0x2000) : i);
    const Ns t = c.toBoot(stamp, i * kMs);
    EXPECT_GE(t, (i - 1) * kMs) << i;
    EXPECT_LE(t, i * kMs);
  }
}

TEST(SlcanClockTest, TimesNeverGoBehindWhatWasReadBefore) {
  SlcanClock c;
  (void)c.toBoot(100, 100 * kMs);
  c.passed(109 * kMs);
  EXPECT_EQ(c.toBoot(105, 110 * kMs), 109 * kMs);
}

// 100 ppm apart for an hour: two crystals of 50 ppm each.
TEST(SlcanClockTest, DriftIsFollowed) {
  for (const double drift : {1.0001, 0.9999}) {
    SlcanClock c;
    for (std::int64_t ms = 0; ms < 3'600'000; ms += 100) {
      const auto stamp =
          static_cast<std::uint16_t>(static_cast<std::int64_t>(static_cast<double>(ms) * drift) % 60'000);
      const Ns t = c.toBoot(stamp, ms * kMs);
      ASSERT_LE(std::abs(t - ms * kMs), 3 * kMs) << ms;
    }
  }
}

}  // namespace
}  // namespace pin16::link
