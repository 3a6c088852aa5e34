// SPDX-License-Identifier: Apache-2.0
// No dip is lost at any zoom, and gaps stay gaps: against brute force over all samples.

#include "core/review/pyramid.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace pin16::review {
namespace {

class Random {
 public:
  explicit Random(std::uint64_t seed) : x_(seed * 2654435761U + 1) {}
  std::uint64_t next() {
    x_ ^= x_ << 13U, x_ ^= x_ >> 7U, x_ ^= x_ << 17U;
    return x_;
  }
  std::uint64_t below(std::uint64_t n) { return next() % n; }

 private:
  std::uint64_t x_;
};

struct Reference {
  std::vector<Pyramid::Sample> samples;
  std::vector<bool> gap_before;
};

/// 12.5 V with noise, rare dips of one sample, gaps, samples at the same time.
Reference made(Random& random, std::size_t count, Pyramid& pyramid) {
  Reference out;
  Ns t = 1'000'000;
  bool gap = false;
  for (std::size_t i = 0; i < count; ++i) {
    t += static_cast<Ns>(random.below(4) * 250'000);
    double v = 12.5 + static_cast<double>(random.below(100)) * 1e-3;
    if (random.below(400) == 0) v = static_cast<double>(random.below(90)) * 0.1;
    if (random.below(700) == 0) {
      pyramid.gap();
      gap = !out.samples.empty();
      t += 40'000'000;
    }
    pyramid.append(t, v);
    out.samples.push_back({t, v});
    out.gap_before.push_back(gap);
    gap = false;
  }
  return out;
}

TEST(Pyramid, EveryColumnIsWhatBruteForceGives) {
  Random random(3);
  for (int round = 0; round < 60; ++round) {
    Pyramid pyramid;
    const Reference all = made(random, 1 + random.below(round < 50 ? 900 : 40'000), pyramid);
    const Ns first = all.samples.front().t_ns, last = all.samples.back().t_ns;
    for (int query = 0; query < 20; ++query) {
      const Ns span = last - first + 2;
      const Ns from = first - 5 + static_cast<Ns>(random.below(static_cast<std::uint64_t>(span)));
      const Ns to = from + 1 + static_cast<Ns>(random.below(static_cast<std::uint64_t>(span)));
      const std::size_t n = 1 + random.below(700);
      const auto columns = pyramid.columns(from, to, n);
      ASSERT_EQ(columns.size(), n);
      std::size_t counted = 0, i = 0;
      while (i < all.samples.size() && all.samples[i].t_ns < from) ++i;
      for (std::size_t c = 0; c < n; ++c) {
        const auto& column = columns[c];
        ASSERT_EQ(column.from_ns, c == 0 ? from : columns[c - 1].to_ns);
        const std::size_t begin = i;
        double low = INFINITY, high = -INFINITY;
        bool within = false;
        for (; i < all.samples.size() && all.samples[i].t_ns < column.to_ns; ++i) {
          low = std::min(low, all.samples[i].value);
          high = std::max(high, all.samples[i].value);
          within = within || (i > begin && all.gap_before[i]);
        }
        ASSERT_EQ(column.count, i - begin);
        counted += i - begin;
        if (i == begin) continue;
        ASSERT_EQ(column.min, low);
        ASSERT_EQ(column.max, high);
        ASSERT_EQ(column.first.t_ns, all.samples[begin].t_ns);
        ASSERT_EQ(column.last.value, all.samples[i - 1].value);
        ASSERT_EQ(column.gap_before, static_cast<bool>(all.gap_before[begin]));
        ASSERT_EQ(column.gap_within, within);
      }
      ASSERT_EQ(columns.back().to_ns, to);
      ASSERT_EQ(counted, static_cast<std::size_t>(
                             std::count_if(all.samples.begin(), all.samples.end(),
                                           [&](const auto& s) { return s.t_ns >= from && s.t_ns < to; })));
    }
  }
}

TEST(Pyramid, ThinnedItKeepsEveryDipAtItsTime) {
  Random random(11);
  constexpr std::size_t kMost = 4096;
  Pyramid pyramid(kMost);
  const Reference all = made(random, 200'000, pyramid);
  EXPECT_LE(pyramid.kept(), kMost);
  EXPECT_EQ(pyramid.taken(), all.samples.size());
  double lowest = INFINITY, highest = -INFINITY;
  for (const auto& s : all.samples) lowest = std::min(lowest, s.value), highest = std::max(highest, s.value);
  EXPECT_EQ(pyramid.lowest(), lowest);
  EXPECT_EQ(pyramid.highest(), highest);
  // A dip deeper than everything within 1000 samples of it stands at its very time.
  std::size_t dips = 0;
  for (std::size_t i = 1000; i + 1000 < all.samples.size(); ++i) {
    if (all.samples[i].value > 3) continue;
    const auto near = std::min_element(all.samples.begin() + static_cast<std::ptrdiff_t>(i - 1000),
                                       all.samples.begin() + static_cast<std::ptrdiff_t>(i + 1000),
                                       [](const auto& a, const auto& b) { return a.value < b.value; });
    if (near->value < all.samples[i].value || near->t_ns != all.samples[i].t_ns) continue;
    ++dips;
    const auto column = pyramid.columns(all.samples[i].t_ns, all.samples[i].t_ns + 1, 1).front();
    ASSERT_GT(column.count, 0U);
    ASSERT_EQ(column.min, all.samples[i].value);
  }
  EXPECT_GT(dips, 20U);
}

TEST(Pyramid, ThinningJoinsNothingAcrossAGap) {
  Pyramid pyramid(64);
  std::vector<Ns> gaps;
  for (Ns i = 0; i < 400; ++i) {
    if (i % 97 == 96) {
      pyramid.gap();
      gaps.push_back(i);
    }
    pyramid.append(i * 1000, static_cast<double>(i % 7));
  }
  const auto columns = pyramid.columns(0, 400'000, 400);
  for (const Ns g : gaps) {
    EXPECT_FALSE(pyramid.joined(g * 1000 - 500)) << g;
    const auto next =
        std::find_if(columns.begin() + g, columns.end(), [](const auto& c) { return c.count > 0; });
    ASSERT_NE(next, columns.end());
    EXPECT_TRUE(next->gap_before) << g;
  }
  EXPECT_TRUE(pyramid.joined(200'500));
}

TEST(Pyramid, ATimeThatGoesBackAndAValueThatIsNone) {
  Pyramid pyramid;
  pyramid.append(100, 1);
  pyramid.append(90, 2);
  pyramid.append(110, std::nan(""));
  pyramid.append(120, 3);
  ASSERT_EQ(pyramid.kept(), 3U);
  EXPECT_EQ(pyramid.before(101)->value, 2);
  EXPECT_EQ(pyramid.after(101)->t_ns, 120);
  EXPECT_FALSE(pyramid.joined(101));
  EXPECT_TRUE(pyramid.columns(50, 50, 3).empty());
  EXPECT_TRUE(Pyramid().columns(0, 10, 2)[1].count == 0);
}

}  // namespace
}  // namespace pin16::review
