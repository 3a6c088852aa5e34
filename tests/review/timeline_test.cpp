// SPDX-License-Identifier: Apache-2.0
#include "core/review/timeline.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "core/can/wire_bits.hpp"

namespace pin16::review {
namespace {

using event::Batch;
using event::CanFrame;
using event::Kind;

constexpr Ns kNoon_ns = 1'790'251'200 * kNsPerSecond;

struct Stream {
  Batch b;
  std::uint64_t n = 0;
  void frame(double s, std::uint32_t id, const char* hex) {
    b.addFrame(++n, at(s), 0, CanFrame::make(id, false, *fromHex(hex)), 0);
  }
  template <class T>
  void add(double s, std::uint16_t link, Kind kind, const T& record) {
    b.add(++n, at(s), link, kind, record);
  }
  void sample(double s, double value, std::uint16_t link = 1) {
    event::Measurement m;
    m.point = "V(feed,chassis)";
    m.value = value;
    m.unit = "V";
    add(s, link, Kind::sample, m);
  }
  static Ns at(double s) { return kNoon_ns + fromSeconds(s); }
  Timeline followed() const {
    Timeline out(500 * kNsPerMs);
    Census census{limits::Limits()};
    census.assumeBitrate(500000);
    census.follow(out);
    census.take(b);
    (void)census.finish();
    out.finish();
    return out;
  }
};

TEST(Timeline, LoadIsTheShareOfEachBucketAndZeroWhereItWasQuiet) {
  Stream s;
  for (int i = 0; i < 100; ++i) s.frame(0.0005 + i * 0.001, 0x100, "0000000000000000");
  s.frame(1.0505, 0x100, "00");
  const Timeline t = s.followed();
  ASSERT_EQ(t.load().size(), 1U);
  const Pyramid& load = t.load().at(0);
  // 100 frames of so many bits at 500 kbit/s in 100 ms, by the bits that core/can counts (checked there
  // against outside frames).
  const auto bits = can::wireBits(CanFrame::make(0x100, false, *fromHex("0000000000000000"))).total();
  EXPECT_NEAR(load.first().value, 100.0 * 100 * bits / 500000 / 0.1, 0.01);
  EXPECT_EQ(load.columns(Stream::at(0.2), Stream::at(0.9), 1)[0].max, 0);
  EXPECT_GT(load.last().value, 0);
  EXPECT_LT(load.last().value, 1);
}

TEST(Timeline, ExchangesAreBarsByKindOfEnding) {
  Stream s;
  s.frame(0, 0x7E0, "0322f19055555555");
  s.frame(0.01, 0x7E8, "037f223155555555");  // refused
  s.frame(1, 0x7E0, "02010c5555555555");     // silent
  s.frame(3, 0x7E0, "02010d5555555555");
  s.frame(3.02, 0x7E8, "03410d5555555555");  // answered
  s.frame(9, 0x300, "00");
  const Timeline t = s.followed();
  const auto all = t.bars(Stream::at(-1), Stream::at(10), 10);
  ASSERT_EQ(all.bars.size(), 3U);
  EXPECT_EQ(all.bars[0].ended, event::Ended::negative);
  EXPECT_EQ(all.bars[1].ended, event::Ended::silent);
  EXPECT_EQ(all.bars[1].to_ns - all.bars[1].from_ns, 500 * kNsPerMs);
  EXPECT_EQ(all.bars[2].ended, event::Ended::answered);
  EXPECT_EQ(all.bars[2].service, 0x01);
  // A bar that began before the span reaches into it.
  EXPECT_EQ(t.bars(Stream::at(1.2), Stream::at(1.3), 10).bars.size(), 1U);
  EXPECT_EQ(t.bars(Stream::at(1.6), Stream::at(1.7), 10).bars.size(), 0U);
  const auto few = t.bars(Stream::at(-1), Stream::at(10), 1);
  EXPECT_EQ(few.bars.size(), 1U);
  EXPECT_EQ(few.left_out, 2U);
  const auto counts = t.barCounts(Stream::at(0), Stream::at(4), 2);
  EXPECT_EQ(counts[0].negative, 1U);
  EXPECT_EQ(counts[0].others, 1U);
  EXPECT_EQ(counts[1].answered, 1U);
}

TEST(Timeline, AGapPartsTheSeriesOfItsLinkOnly) {
  Stream s;
  s.sample(0, 12), s.sample(0, 12, 2);
  s.add(5, 1, Kind::gap, event::Gap{Stream::at(1), Stream::at(5), "unplugged"});
  s.sample(5, 12), s.sample(5, 12, 2);
  const Timeline t = s.followed();
  ASSERT_EQ(t.series().size(), 2U);
  EXPECT_FALSE(t.series()[0].values.joined(Stream::at(3)));
  EXPECT_TRUE(t.series()[1].values.joined(Stream::at(3)));
  ASSERT_EQ(t.marks().size(), 1U);
  EXPECT_EQ(t.marks()[0].what, TimeMark::What::gap);
  EXPECT_EQ(t.marks()[0].from_ns, Stream::at(1));
}

TEST(Timeline, PowerComesAndGoesOnce) {
  Stream s;
  const auto power = [&](double at, event::PowerState p) {
    s.add(at, event::kNoLink, Kind::power, event::Power{p, "declared", ""});
  };
  power(0, event::PowerState::source);
  power(1, event::PowerState::on);
  power(2, event::PowerState::on);
  power(3, event::PowerState::off);
  s.add(4, event::kNoLink, Kind::note, event::Note{"door", "A"});
  const Timeline t = s.followed();
  ASSERT_EQ(t.marks().size(), 3U);
  EXPECT_EQ(t.marks()[0].what, TimeMark::What::power_on);
  EXPECT_EQ(t.marks()[0].from_ns, Stream::at(1));
  EXPECT_EQ(t.marks()[1].what, TimeMark::What::power_off);
  EXPECT_EQ(t.marks()[2].text, "note: door, by A");
}

}  // namespace
}  // namespace pin16::review
