// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <thread>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"
#include "core/base/pack.hpp"
#include "core/base/queue.hpp"
#include "core/base/result.hpp"

namespace pin16 {
namespace {

TEST(Hex, GoesThereAndBack) {
  const Bytes bytes{0x00, 0x0F, 0xA5, 0xFF};
  EXPECT_EQ(toHex(bytes), "000fa5ff");
  EXPECT_EQ(toHex(bytes, " "), "00 0f a5 ff");
  EXPECT_EQ(fromHex("000FA5ff"), bytes);
  EXPECT_EQ(fromHex("00 0f a5 ff"), bytes);
}

TEST(Hex, RefusesHalfBytesAndForeignDigits) {
  EXPECT_FALSE(fromHex("0"));
  EXPECT_FALSE(fromHex("0 1"));
  EXPECT_FALSE(fromHex("0g"));
}

TEST(Hex, UnsignedTakesTheWholeTextOrNothing) {
  EXPECT_EQ(toUnsigned("0x7E0"), 0x7E0U);
  EXPECT_EQ(toUnsigned("7E0", 16), 0x7E0U);
  EXPECT_EQ(toUnsigned("500000"), 500000U);
  EXPECT_FALSE(toUnsigned("7E0"));
  EXPECT_FALSE(toUnsigned(""));
  EXPECT_FALSE(toUnsigned("-1"));
  EXPECT_FALSE(toUnsigned("99999999999999999999"));
}

// RFC 3339 form of the well-known second 1000000000 of POSIX time (POSIX.1-2017 4.16, value from memory).
TEST(Clock, WritesUtc) {
  EXPECT_EQ(utcText(1'000'000'000 * kNsPerSecond + 5'000), "2001-09-09T01:46:40.000005Z");
  EXPECT_EQ(utcText(0), "1970-01-01T00:00:00.000000Z");
  EXPECT_EQ(utcText(-1), "1969-12-31T23:59:59.999999Z");
  EXPECT_EQ(utcText(kNoTime), "no time");
}

TEST(Clock, PairIsReadTogether) {
  const Ns before = bootNow();
  const ClockPair pair = readClocks();
  const Ns after = bootNow();
  EXPECT_LE(before, pair.boot_ns);
  EXPECT_LE(pair.boot_ns, after);
}

struct Inner {
  std::string name;
  double value = 0;
  template <class A>
  void fields(A& a) {
    a(name), a(value);
  }
};
struct Outer {
  bool yes = false;
  std::uint16_t small = 0;
  Bytes raw;
  std::vector<Inner> inner;
  template <class A>
  void fields(A& a) {
    a(yes), a(small), a(raw), a(inner);
  }
};
struct OuterOfLater : Outer {
  std::string added = "default";
  template <class A>
  void fields(A& a) {
    Outer::fields(a);
    a(added);
  }
};

Outer sample() { return {true, 513, {1, 2, 3}, {{"a", 1.5}, {"b", -2}}}; }

TEST(Pack, BytesAreLittleEndianWithCounts) {
  Outer o{true, 513, {9}, {}};
  EXPECT_EQ(toHex(pack(o)),
            "01"
            "0102"
            "01000000"
            "09"
            "00000000");
}

TEST(Pack, RoundTrip) {
  Outer back;
  ASSERT_TRUE(unpack(pack(sample()), back));
  EXPECT_TRUE(back.yes);
  EXPECT_EQ(back.small, 513);
  ASSERT_EQ(back.inner.size(), 2U);
  EXPECT_EQ(back.inner[1].name, "b");
  EXPECT_EQ(back.inner[1].value, -2);
}

TEST(Pack, ReadersOfEitherAgeUnderstandEachOther) {
  OuterOfLater later;
  ASSERT_TRUE(unpack(pack(sample()), later));
  EXPECT_EQ(later.added, "default");
  Outer older;
  ASSERT_TRUE(unpack(pack(later), older));
  EXPECT_EQ(older.small, 513);
}

TEST(Pack, EveryCutIsNoticedOrKeepsDefaults) {
  const Bytes whole = pack(sample());
  for (std::size_t n = 0; n < whole.size(); ++n) {
    Outer back;
    (void)unpack(ByteView(whole).first(n), back);  // no crash, no huge allocation (run under ASan)
    EXPECT_LE(back.inner.size(), 2U);
  }
}

TEST(Pack, LengthBeyondTheEndIsRefused) {
  Bytes bytes = pack(Inner{"abc", 1});
  bytes[0] = 0xFF;
  Inner back;
  EXPECT_FALSE(unpack(bytes, back));
}

TEST(Queue, RefusesBeyondItsWeightAndDrainsAfterClose) {
  Queue<int> q(10);
  EXPECT_TRUE(q.push(1, 6));
  EXPECT_FALSE(q.push(2, 6));
  EXPECT_TRUE(q.push(3, 4));
  q.close();
  EXPECT_FALSE(q.push(4, 1));
  EXPECT_EQ(q.pop(std::chrono::milliseconds(0)), 1);
  EXPECT_FALSE(q.finished());
  EXPECT_EQ(q.pop(std::chrono::milliseconds(0)), 3);
  EXPECT_TRUE(q.finished());
  EXPECT_FALSE(q.pop(std::chrono::milliseconds(0)));
}

TEST(Queue, OneItemLargerThanAllStillPassesWhenEmpty) {
  Queue<int> q(10);
  EXPECT_TRUE(q.push(1, 100));
}

TEST(Queue, CarriesEverythingBetweenTwoThreads) {
  Queue<int> q(64);
  long sum = 0;
  std::thread taker([&] {
    while (!q.finished())
      if (const auto v = q.pop(std::chrono::milliseconds(5))) sum += *v;
  });
  for (int i = 1; i <= 10000; ++i)
    while (!q.push(i, 1)) std::this_thread::yield();
  q.close();
  taker.join();
  EXPECT_EQ(sum, 50005000);
}

TEST(Error, TextNamesPlaceAndAdviceAndKindGivesTheExitCode) {
  const Error e{ErrorKind::input, "no such limit", "job.toml:3", "see docs/limits.md"};
  EXPECT_EQ(e.text(), "job.toml:3: no such limit. see docs/limits.md");
  EXPECT_EQ(exitCode(ErrorKind::usage), 2);
  EXPECT_EQ(exitCode(ErrorKind::input), 2);
  EXPECT_EQ(exitCode(ErrorKind::link), 3);
  EXPECT_EQ(exitCode(ErrorKind::gate), 4);
  EXPECT_EQ(exitCode(ErrorKind::record), 5);
  EXPECT_EQ(exitCode(ErrorKind::internal), 70);
}

}  // namespace
}  // namespace pin16
