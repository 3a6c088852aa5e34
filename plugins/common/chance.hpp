// SPDX-License-Identifier: Apache-2.0
#pragma once
/// How likely chance alone is: exact binomial tail, and the share of time that lies near some instants.

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

namespace pin16::chance {

/// P(X >= k) for n trials of probability p. Sums the smaller side in logarithms, so that 1e-300 stays one.
inline double atLeast(std::uint64_t k, std::uint64_t n, double p) {
  if (k == 0) return 1;
  if (k > n || p <= 0) return 0;
  if (p >= 1) return 1;
  const auto term = [&](std::uint64_t i) {
    const auto a = static_cast<double>(n), b = static_cast<double>(i);
    return std::exp(std::lgamma(a + 1) - std::lgamma(b + 1) - std::lgamma(a - b + 1) + b * std::log(p) +
                    (a - b) * std::log1p(-p));
  };
  double sum = 0;
  for (std::uint64_t i = k; i <= n; ++i) sum += term(i);
  return std::min(1.0, sum);
}

/// Share of [from, to] that lies within `before` ns before to `after` ns after one of `instants` (sorted
/// here).
inline double shareNear(std::vector<std::int64_t> instants, std::int64_t before_ns, std::int64_t after_ns,
                        std::int64_t from_ns, std::int64_t to_ns) {
  if (to_ns <= from_ns) return 0;
  std::sort(instants.begin(), instants.end());
  std::int64_t covered = 0, reached = from_ns;
  for (const std::int64_t t : instants) {
    const std::int64_t begin = std::max(reached, t - before_ns);
    const std::int64_t end = std::min(to_ns, t + after_ns);
    if (end > begin) covered += end - begin;
    reached = std::max(reached, end);
  }
  return static_cast<double>(covered) / static_cast<double>(to_ns - from_ns);
}

}  // namespace pin16::chance
