// SPDX-License-Identifier: Apache-2.0
// Messages of ISO 9141-2 and ISO 14230-2 out of bytes: published frames first, one test for each kind of
// damage, seeded mutations against a second reading of the grammar.
#include "core/link/kline_parser.hpp"

#include <gtest/gtest.h>

#include <cstdlib>
#include <random>

#include "core/link/line_format.hpp"

namespace pin16::link {
namespace {

using event::Medium;
constexpr Ns kQuiet = 36 * kNsPerMs;
constexpr Ns kStart = kNsPerSecond;

Bytes hex(std::string_view text) { return fromHex(text).value(); }

/// All bytes in one read, then silence.
std::vector<KLineItem> parse(Medium m, const Bytes& bytes, KLineParser* keep = nullptr) {
  KLineParser own(m, kQuiet);
  KLineParser& p = keep != nullptr ? *keep : own;
  std::vector<KLineItem> out;
  p.take(kStart, bytes, out);
  p.onTime(kStart + kNsPerSecond, out);
  return out;
}
std::string show(const KLineItem& i) {
  if (i.damaged) return "!" + toHex(i.bytes);
  return toHex(i.line.header) + "|" + toHex(i.line.data);
}
std::string show(const std::vector<KLineItem>& items) {
  std::string out;
  for (const auto& i : items) out += (out.empty() ? "" : " ") + show(i);
  return out;
}
std::string merged(const std::vector<KLineItem>& items) {
  std::string out;
  bool open = false;
  for (const auto& i : items) {
    if (i.damaged && open) {
      out += toHex(i.bytes);
      continue;
    }
    out += (out.empty() ? "" : " ") + show(i);
    open = i.damaged;
  }
  return out;
}

std::string kwp(std::string_view text) { return merged(parse(Medium::iso14230_4, hex(text))); }
std::string iso(std::string_view text) { return merged(parse(Medium::iso9141_2, hex(text))); }

// Frames published in public posts and samples.
TEST(KLineKwp, PublishedFrames) {
  EXPECT_EQ(kwp("C2 33 F1 01 0C F3"), "c233f1|010c");
  EXPECT_EQ(kwp("84 F1 11 41 0C 00 00 D3"), "84f111|410c0000");
  EXPECT_EQ(kwp("81 E9 F1 81 DC"), "81e9f1|81");
  EXPECT_EQ(kwp("C1 33 F1 81 66"), "c133f1|81");
}
// Format byte A1 A0 L5..L0 (ISO 14230-2, from memory).
TEST(KLineKwp, EveryHeaderForm) {
  EXPECT_EQ(kwp("02 1A 90 AC"), "02|1a90");                 // no address
  EXPECT_EQ(kwp("00 02 1A 90 AC"), "0002|1a90");            // length in its own byte
  EXPECT_EQ(kwp("80 10 F1 02 1A 90 2D"), "8010f102|1a90");  // both
  EXPECT_EQ(kwp("82 10 F1 1A 90 2D"), "8210f1|1a90");       // usual
  Bytes longest = hex("80 F1 10 FF");
  longest.resize(4 + 255, 0x5A);
  longest.push_back(checkByte(Medium::iso14230_4, longest));
  const auto items = parse(Medium::iso14230_4, longest);
  ASSERT_EQ(items.size(), 1U);
  EXPECT_EQ(items[0].line.data.size(), 255U);
  EXPECT_EQ(longest.size(), KLineParser::kMessageMax);
}
TEST(KLineKwp, CutAtAnyByteAndJoined) {
  const Bytes all = hex("C2 33 F1 01 0C F3 84 F1 11 41 0C 00 00 D3 81 E9 F1 81 DC");
  for (std::size_t cut = 0; cut <= all.size(); ++cut) {
    KLineParser p(Medium::iso14230_4, kQuiet);
    std::vector<KLineItem> out;
    p.take(kStart, ByteView(all).first(cut), out);
    p.take(kStart + 20 * kNsPerMs, ByteView(all).subspan(cut), out);
    EXPECT_EQ(show(out), "c233f1|010c 84f111|410c0000 81e9f1|81") << cut;
    EXPECT_EQ(p.pending(), 0U);
  }
}
TEST(KLineKwp, IsToldAtItsLastByteWithItsTimes) {
  KLineParser p(Medium::iso14230_4, kQuiet);
  std::vector<KLineItem> out;
  const Bytes m = hex("C1 33 F1 81 66");
  for (std::size_t i = 0; i < m.size(); ++i)
    p.take(kStart + static_cast<Ns>(i) * 7 * kNsPerMs, {&m[i], 1}, out);
  ASSERT_EQ(out.size(), 1U);
  EXPECT_EQ(out[0].end_ns, kStart + 28 * kNsPerMs);
  EXPECT_EQ(out[0].line.first_ns, kStart - kKLineByte_ns);  // its first bit began a byte before its end
}
TEST(KLineKwp, BytesOfOneReadLieTenBitsApart) {
  const auto items = parse(Medium::iso14230_4, hex("C1 33 F1 81 66"));
  ASSERT_EQ(items.size(), 1U);
  EXPECT_EQ(items[0].end_ns, kStart);
  EXPECT_EQ(items[0].line.first_ns, kStart - 5 * kKLineByte_ns);
  EXPECT_NEAR(toMs(kKLineByte_ns), 0.9615, 0.0001);  // 10 bits at 10400 bit/s
}

// ---- damage, one kind each

TEST(KLineDamage, KwpWrongSum) {
  EXPECT_EQ(kwp("C2 33 F1 01 0C F4 C1 33 F1 81 66"), "!c233f1010cf4 c133f1|81");
}
TEST(KLineDamage, KwpByteLost) { EXPECT_EQ(kwp("C2 33 01 0C F3 C1 33 F1 81 66"), "!c233010cf3 c133f1|81"); }
TEST(KLineDamage, KwpByteTooMuch) {
  EXPECT_EQ(kwp("C2 33 F1 F1 01 0C F3 C1 33 F1 81 66"), "!c233f1f1010cf3 c133f1|81");
}
TEST(KLineDamage, KwpRubbishBefore) { EXPECT_EQ(kwp("00 00 00 C1 33 F1 81 66"), "!000000 c133f1|81"); }
TEST(KLineDamage, KwpNeverFinished) {
  KLineParser p(Medium::iso14230_4, kQuiet);
  std::vector<KLineItem> out;
  p.take(kStart, hex("C2 33 F1"), out);
  EXPECT_EQ(p.due(), kStart + kQuiet);
  p.onTime(kStart + kQuiet - 1, out);
  EXPECT_TRUE(out.empty());
  p.onTime(kStart + kQuiet, out);
  EXPECT_EQ(show(out), "!c233f1");
  EXPECT_EQ(p.damaged(), 3U);
  EXPECT_EQ(p.due(), kNoTime);
}
TEST(KLineDamage, KwpAPauseEndsWhatHadBegunAlsoWithoutATimer) {
  KLineParser p(Medium::iso14230_4, kQuiet);
  std::vector<KLineItem> out;
  p.take(kStart, hex("C2 33 F1"), out);
  p.take(kStart + 100 * kNsPerMs, hex("C1 33 F1 81 66"), out);
  EXPECT_EQ(show(out), "!c233f1 c133f1|81");
}
TEST(KLineDamage, KwpHeaderOfTheExceptionMode) { EXPECT_EQ(kwp("68 6A F1 01 00 C4"), "!686af10100c4"); }
TEST(KLineDamage, KwpLengthZero) { EXPECT_EQ(kwp("80 10 F1 00 81"), "!8010f10081"); }
TEST(KLineDamage, KwpLengthThatSwallowsTheNextMessageIsReadAgainAfterAPause) {
  EXPECT_EQ(kwp("FF 33 F1 01 C1 33 F1 81 66"), "!ff33f101 c133f1|81");
}
TEST(KLineDamage, IsoWrongSum) { EXPECT_EQ(iso("68 6A F1 01 00 C5"), "!686af10100c5"); }
TEST(KLineDamage, IsoByteLost) { EXPECT_EQ(iso("48 6B 41 00 BE 3E B8 11 FA"), "!486b4100be3eb811fa"); }
TEST(KLineDamage, IsoRubbishBetween) {
  EXPECT_EQ(iso("68 6A F1 01 00 C4 55 48 6B 11 41 00 BE 3E B8 11 CA"), "686af1|0100 !55 486b11|4100be3eb811");
}
TEST(KLineDamage, IsoTooLongForALegislatedMessage) {
  EXPECT_EQ(iso("68 6A F1 01 02 03 04 05 06 07 08 E7"), "!686af10102030405060708e7");
}
TEST(KLineDamage, MemoryIsBoundedByOneMessage) {
  for (const Medium m : {Medium::iso9141_2, Medium::iso14230_4}) {
    KLineParser p(m, kQuiet);
    std::vector<KLineItem> out;
    const Bytes zeros(100, 0xFF);
    for (int i = 0; i < 1000; ++i) {
      p.take(kStart + i, zeros, out);
      EXPECT_LE(p.pending(), KLineParser::kMessageMax);
    }
    p.onTime(kStart + kNsPerSecond, out);
    std::size_t bytes = 0;
    for (const auto& item : out) bytes += item.bytes.size();
    EXPECT_EQ(bytes, 100000U);
    EXPECT_EQ(p.damaged(), 100000U);
  }
}

// ---- ISO 9141-2

TEST(KLineIso, PublishedFramesEndWithAPause) {
  EXPECT_EQ(iso("68 6A F1 01 00 C4"), "686af1|0100");
  EXPECT_EQ(iso("68 6A F1 01 0C D0"), "686af1|010c");
  KLineParser p(Medium::iso9141_2, kQuiet);
  std::vector<KLineItem> out;
  p.take(kStart, hex("68 6A F1 01 00 C4"), out);
  EXPECT_TRUE(out.empty());
  EXPECT_EQ(p.due(), kStart + kQuiet);
  p.take(kStart + 50 * kNsPerMs, hex("48"), out);
  EXPECT_EQ(show(out), "686af1|0100");
  EXPECT_EQ(out[0].end_ns, kStart);
}
TEST(KLineIso, JoinedMessagesAreParted) {
  EXPECT_EQ(iso("68 6A F1 01 00 C4 48 6B 11 41 00 BE 3E B8 11 CA 48 6B 18 41 00 80 00 00 01 8D"),
            "686af1|0100 486b11|4100be3eb811 486b18|410080000001");
}

// ---- echo

TEST(KLineEcho, IsTakenOutAndWhatFollowsIsNot) {
  KLineEcho e;
  e.expect(hex("C1 33 F1 81 66"));
  EXPECT_EQ(e.match(hex("C1 33")), 2U);
  EXPECT_TRUE(e.waiting());
  EXPECT_EQ(e.match(hex("F1 81 66 83 F1")), 3U);
  EXPECT_FALSE(e.waiting());
  EXPECT_FALSE(e.collided());
  EXPECT_EQ(e.match(hex("11")), 0U);
}
TEST(KLineEcho, AnotherByteIsACollision) {
  KLineEcho e;
  e.expect(hex("C1 33 F1 81 66"));
  EXPECT_EQ(e.match(hex("C1 00")), 1U);
  EXPECT_TRUE(e.collided());
  EXPECT_FALSE(e.waiting());
  e.forget();
  EXPECT_FALSE(e.collided());
}

// ---- mutations

/// A second reading, whole text at once: every message that has a right form and sum at a place where reading
/// can stand. For ISO 14230 reading is greedy from the left.
std::string secondReading(const Bytes& b) {
  std::string out, bad;
  for (std::size_t at = 0; at < b.size();) {
    const unsigned mode = b[at] >> 6U;
    std::size_t begin = at + (mode == 0 ? 1 : 3), n = b[at] & 0x3FU;
    bool ok = mode != 1;
    if (ok && n == 0) {
      ok = begin < b.size();
      n = ok ? b[begin] : 0;
      ++begin;
    }
    ok = ok && n != 0 && begin + n < b.size();
    unsigned sum = 0;
    for (std::size_t i = at; ok && i < begin + n; ++i) sum += b[i];
    ok = ok && (sum & 0xFFU) == b[begin + n];
    if (!ok) {
      bad += toHex({&b[at], 1});
      ++at;
      continue;
    }
    if (!bad.empty()) out += " !" + std::exchange(bad, {});
    out += " " + toHex(ByteView(b).subspan(at, begin - at)) + "|" + toHex(ByteView(b).subspan(begin, n));
    at = begin + n + 1;
  }
  if (!bad.empty()) out += " !" + bad;
  return out.empty() ? out : out.substr(1);
}
Bytes mutated(std::mt19937& random, Bytes b) {
  const auto below = [&](std::size_t n) { return n == 0 ? 0 : random() % n; };
  for (unsigned i = 1 + random() % 4; i > 0; --i) {
    const std::size_t at = below(b.size());
    const auto here = b.begin() + static_cast<std::ptrdiff_t>(at);
    const auto until = here + static_cast<std::ptrdiff_t>(below(b.size() - at));
    switch (random() % 5) {
      case 0:
        if (!b.empty()) b[at] = static_cast<std::uint8_t>(b[at] ^ (1U << (random() % 8)));
        break;
      case 1:
        b.erase(here, until);
        break;
      case 2: {
        const Bytes twice(here, until);
        b.insert(b.begin() + static_cast<std::ptrdiff_t>(at), twice.begin(), twice.end());
        break;
      }
      case 3:
        b.insert(here, static_cast<std::uint8_t>(random()));
        break;
      default:
        b.resize(at);
    }
    if (b.size() > 600) b.resize(600);
  }
  return b;
}

TEST(KLineMutations, NeverCrashNeverLoseAByteAndReadAsASecondReading) {
  const Bytes transcripts[] = {
      hex("C1 33 F1 81 66 83 F1 11 C1 EF 8F C4 C2 33 F1 01 00 E7 86 F1 11 41 00 BE 3E B8 11 8E"),
      hex("82 10 F1 1A 90 2D 80 F1 10 04 5A 90 31 32 D2 02 1A 90 AC 00 02 1A 90 AC 83 F1 10 7F 1A 78 95"),
      hex("68 6A F1 01 00 C4 48 6B 11 41 00 BE 3E B8 11 CA 68 6A F1 09 02 CE 48 6B 11 49 02 01 00 00 00 31 "
          "41")};
  const char* const more = std::getenv("PIN16_MUTATIONS");
  const int count = more != nullptr ? std::atoi(more) : 20000;
  std::mt19937 random(16);
  for (int i = 0; i < count; ++i) {
    const Bytes b = mutated(random, transcripts[static_cast<std::size_t>(i) % 3]);
    for (const Medium m : {Medium::iso14230_4, Medium::iso9141_2}) {
      KLineParser p(m, kQuiet);
      std::vector<KLineItem> out;
      Ns t = kStart;
      for (std::size_t at = 0; at < b.size();) {
        const std::size_t n = std::min<std::size_t>(1 + random() % 9, b.size() - at);
        t += static_cast<Ns>(n) * kKLineByte_ns;
        p.take(t, ByteView(b).subspan(at, n), out);
        at += n;
        ASSERT_LE(p.pending(), KLineParser::kMessageMax);
      }
      p.onTime(t + kNsPerSecond, out);
      ASSERT_EQ(p.pending(), 0U);
      Bytes again;
      for (const auto& item : out) {
        const Bytes part = item.damaged ? item.bytes : lineBytes(item.line);
        again.insert(again.end(), part.begin(), part.end());
        if (!item.damaged) {
          ASSERT_LE(item.line.first_ns, item.end_ns);
        }
      }
      ASSERT_EQ(toHex(again), toHex(b)) << "every byte is in a message or in damage";
      // Greedy from the left only where no message waits for more bytes: then both read alike.
      if (m == Medium::iso14230_4) {
        ASSERT_EQ(merged(out), secondReading(b)) << toHex(b);
      }
    }
  }
}

}  // namespace
}  // namespace pin16::link
