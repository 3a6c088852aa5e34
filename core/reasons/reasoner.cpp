// SPDX-License-Identifier: Apache-2.0
#include "core/reasons/reasoner.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <thread>

#include "core/reasons/text.hpp"

namespace pin16::reasons {
namespace {

constexpr std::size_t kCodes = 2048, kBins = 12, kKernels = 5;
constexpr std::size_t kGaps = 4,
                      kRare = 400;  // gaps that become an edge of a bin; samples beyond it: one in so many
constexpr double kGap = 4;          // width of such a gap, in the narrowest kernel's
constexpr std::uint16_t kCannot = kCodes - 1;  // the reading cannot be taken on this bench
constexpr double kWrong = 0.03, kOwnSay = 0.85, kInflate = 1.3;
// Half of a likelihood reaches as far as the hypothesis' own samples lie apart: the tolerances that were
// assumed may be too narrow, or of another shape (own figures; a trial with 0.15, as wide as the instrument,
// named 3 to 7 in 100 fewer).
constexpr double kTail = 0.5, kReach = 0.8;
constexpr double kTailSeen = 0.15;    // of it, what is reckoned with before a reading is taken
constexpr double kNoContact = 0.3;    // share of wrong readings (own figure)
constexpr double kGroup_bits = 0.25;  // all allowed readings together part two causes by less
// "Nothing known explains these readings": so many of n readings wrong if the leading cause is right, or so
// much less probable than expected, all together. Some are wrong anyhow, the more the more there are, and
// surprise spreads with their root. Own figures, for at most 3 in 100 false alarms on benches of the model,
// with 8 readings as with 40.
constexpr std::size_t kInVain = 2;  // groups mended in vain: from then on only single causes explain
constexpr double kWrongMost = 1.4, kWrongEach = 0.06, kSurpriseMost_bits = 2.6, kMeet_bits = 6;
constexpr int kTries = 40;  // draws a wanted sample with the symptom

/// The scale on which a reading is compared, and how its codes lie on it.
struct Scale {
  double from = 0, step = 1, flat = 1;
  std::array<double, kKernels> kernel{};
};
Scale scaleOf(Unit u) {
  switch (u) {
    case Unit::volt:
      return {-32, 64.0 / (kCodes - 2), 1 / 20.0, {0, 0.15, 0.4, 1, 2.5}};
    case Unit::ampere:
      return {-9, 18.0 / (kCodes - 2), 1 / 8.0, {0, 0.05, 0.12, 0.3, 0.8}};
    case Unit::ohm:
      return {-1, 9.0 / (kCodes - 2), 1 / 8.0, {0, 0.05, 0.12, 0.3, 0.8}};
    case Unit::answer:
      break;
  }
  return {};
}
double toScale(Unit u, double v) {
  if (u == Unit::ampere) return std::asinh(v / 0.02);
  if (u == Unit::ohm) return std::log10(std::min(v, kOpen_ohm) + 0.3);
  return v;
}
double fromScale(Unit u, double x) {
  if (u == Unit::ampere) return 0.02 * std::sinh(x);
  if (u == Unit::ohm) return std::max(std::pow(10, x) - 0.3, 0.0);
  return x;
}
/// Width of instrument and model about a predicted value, on the scale.
double width(const Reading& r, double x, double stated) {
  const double v = fromScale(r.unit, x);
  const double error = stated >= 0 ? stated : r.error_abs + r.error_rel * std::abs(v);
  if (r.unit == Unit::volt) return std::hypot(kInflate * error, r.model_abs + r.model_rel * std::abs(v));
  if (r.unit == Unit::ampere)
    return std::hypot(kInflate * error, r.model_abs + r.model_rel * std::abs(v)) / std::hypot(v, 0.02);
  if (v > 1e6) return 1;  // megohms and over-range pass into one another
  return std::hypot(kInflate * error / ((v + 0.3) * std::log(10.0)), r.model_abs);
}
double normal(double z) { return 0.3989422804 * std::exp(-0.5 * z * z); }
/// Student's density with 3 degrees of freedom.
double student(double z) {
  const double q = 1 + z * z / 3;
  return 0.3675525969 / (q * q);
}
double below(double z) { return 0.5 * std::erfc(-z * 0.7071067812); }

/// Density of a reading that is wrong: a probe that does not touch shows 0 V, 0 A or over-range; else
/// anything.
double wrongDensity(Unit u, double x) {
  const double missed = u == Unit::ohm ? toScale(u, kOpen_ohm) : 0;
  const double w = u == Unit::ohm ? 0.3 : 0.1;
  return (1 - kNoContact) * scaleOf(u).flat + kNoContact * normal((x - missed) / w) / w;
}

double entropy(const double* p, std::size_t n) {
  double h = 0;
  for (std::size_t i = 0; i < n; ++i)
    if (p[i] > 1e-300) h -= p[i] * std::log2(p[i]);
  return h;
}

}  // namespace

struct Reasoner::Impl {
  struct Hypothesis {
    std::size_t a = kSound, b = kSound;  // causes
    double log_prior = 0;
    std::size_t from = 0, count = 0;  // samples
  };
  /// A reading's table of likelihoods for one observed value.
  struct Taken {
    Observation o;
    std::vector<float> lik;  // a sample each
  };

  Setting setting;
  std::vector<Hypothesis> hyps;
  std::size_t total = 0;
  std::vector<std::vector<std::uint16_t>> codes;  // [reading][sample]
  std::vector<std::vector<std::uint8_t>> kernel;  // [reading][hypothesis]
  std::vector<std::vector<std::uint8_t>> tail;    // [reading][hypothesis]: of the tail
  std::vector<std::vector<double>> edges;         // [reading], on the scale
  std::vector<std::vector<float>> outcome;        // [reading][code * kBins + bin]
  std::vector<std::vector<std::size_t>> groups;
  std::vector<std::size_t> group_of;      // cause -> group; the last group is "sound"
  std::vector<std::vector<float>> apart;  // [reading][cause * causes + cause]
  std::vector<std::size_t> impossible;
  std::vector<Taken> taken;
  std::vector<bool> mended;  // by cause
  std::vector<Observation> evidence;
  std::vector<double> weight;  // normalised, a sample each

  [[nodiscard]] bool allowed(std::size_t r) const {
    return (readings()[r].arrangements & bit(setting.arrangement)) != 0;
  }
  [[nodiscard]] std::size_t bins(std::size_t r) const {
    return readings()[r].unit == Unit::answer ? readings()[r].answers.size() : edges[r].size() + 1;
  }
  [[nodiscard]] bool stillThere(std::size_t cause) const { return cause != kSound && !mended[cause]; }
  [[nodiscard]] std::size_t mendedGroups() const {
    return static_cast<std::size_t>(std::count_if(groups.begin(), groups.end(), [&](const auto& g) {
      return std::any_of(g.begin(), g.end(), [&](std::size_t c) { return mended[c]; });
    }));
  }
  /// What the hypothesis comes to after the mends: kSound twice, it is ruled out or was sound.
  [[nodiscard]] std::pair<std::size_t, std::size_t> left(const Hypothesis& h) const {
    const std::size_t a = stillThere(h.a) ? h.a : kSound, b = stillThere(h.b) ? h.b : kSound;
    return a == kSound ? std::pair(b, kSound) : std::pair(a, b);
  }
  void sample(const Options& o);
  void measureSpread();
  void makeBins();
  void makeDistances();
  void makeGroups(const std::vector<bool>& left_out);
  void update(bool single_causes_only = false);
  [[nodiscard]] std::vector<double> without(std::size_t taken_index) const;
  [[nodiscard]] std::vector<double> presence(const std::vector<double>& w) const;
  [[nodiscard]] std::vector<std::size_t> attribution(std::vector<double>& of_group) const;
  void outcomes(std::size_t r, const std::vector<double>& w, const std::vector<std::size_t>& target,
                std::size_t targets, std::vector<double>& out) const;
  [[nodiscard]] std::size_t binOf(std::size_t r, double value) const;
  [[nodiscard]] std::string binText(std::size_t r, std::size_t bin) const;
};

namespace {

std::uint16_t encode(const Reading& r, double v) {
  if (std::isnan(v)) return kCannot;
  if (r.unit == Unit::answer) return static_cast<std::uint16_t>(v);
  const Scale s = scaleOf(r.unit);
  const double c = (toScale(r.unit, v) - s.from) / s.step + 0.5;
  return static_cast<std::uint16_t>(std::clamp(c, 0.0, static_cast<double>(kCodes - 2)));
}
double decode(const Reading& r, std::uint16_t code) {
  const Scale s = scaleOf(r.unit);
  return s.from + s.step * code;
}

}  // namespace

void Reasoner::Impl::sample(const Options& o) {
  codes.assign(kReadings, {});
  struct Cloud {
    std::vector<std::uint16_t> codes;  // [sample * kReadings + reading]
    std::size_t count = 0;
  };
  std::vector<Cloud> clouds(hyps.size());
  const auto draw = [&](std::size_t h) {
    const Hypothesis& hyp = hyps[h];
    const std::size_t wanted = hyp.b == kSound ? o.samples : o.pair_samples;
    Draw d(o.seed * 1000003 + (hyp.a + 1) * 1009 + hyp.b + 1);
    Cloud& c = clouds[h];
    const std::size_t tries = wanted * kTries;
    for (std::size_t t = 0; t < tries && c.count < wanted; ++t) {
      if (t == wanted * 4 && c.count == 0) break;  // never with the symptom
      Bench b = soundBench(setting, d);
      if (hyp.a != kSound && !inject(hyp.a, b, d)) continue;
      if (hyp.b != kSound && !inject(hyp.b, b, d)) continue;
      const Predicted p = predict(b);
      if (hyp.a != kSound && p.answers) continue;
      for (std::size_t r = 0; r < kReadings; ++r) c.codes.push_back(encode(readings()[r], p.value[r]));
      ++c.count;
    }
    if (c.count < wanted / 16) c = {};
  };
  const std::size_t n = std::max(1U, o.threads);
  std::vector<std::thread> threads;
  const auto work = [&](std::size_t k) {
    for (std::size_t h = k; h < hyps.size(); h += n) draw(h);
  };
  for (std::size_t k = 1; k < n; ++k) threads.emplace_back(work, k);
  work(0);
  for (auto& t : threads) t.join();

  std::vector<Hypothesis> kept;
  for (std::size_t h = 0; h < hyps.size(); ++h) {
    if (clouds[h].count == 0) {
      if (hyps[h].a != kSound && hyps[h].b == kSound) impossible.push_back(hyps[h].a);
      continue;
    }
    Hypothesis k = hyps[h];
    k.from = total, k.count = clouds[h].count;
    total += k.count;
    kept.push_back(k);
  }
  for (auto& c : codes) c.resize(total);
  std::size_t at = 0;
  for (const Cloud& c : clouds)
    for (std::size_t s = 0; s < c.count; ++s, ++at)
      for (std::size_t r = 0; r < kReadings; ++r) codes[r][at] = c.codes[s * kReadings + r];
  hyps = std::move(kept);
}

/// Which kernel widens a hypothesis' samples: the width nearest to half the spacing of an eighth of them.
void Reasoner::Impl::measureSpread() {
  kernel.assign(kReadings, std::vector<std::uint8_t>(hyps.size(), 0));
  tail = kernel;
  std::vector<std::uint16_t> sorted;
  std::vector<double> gaps;
  for (std::size_t r = 0; r < kReadings; ++r) {
    if (readings()[r].unit == Unit::answer || !allowed(r)) continue;
    const Scale s = scaleOf(readings()[r].unit);
    for (std::size_t h = 0; h < hyps.size(); ++h) {
      const auto first = codes[r].begin() + static_cast<std::ptrdiff_t>(hyps[h].from);
      sorted.assign(first, first + static_cast<std::ptrdiff_t>(hyps[h].count));
      std::sort(sorted.begin(), sorted.end());
      const std::size_t reach = std::max<std::size_t>(1, sorted.size() / 8);
      gaps.clear();
      for (std::size_t i = 0; i + reach < sorted.size(); i += reach / 2 + 1)
        gaps.push_back(sorted[i + reach] - sorted[i]);
      if (gaps.empty()) continue;
      std::nth_element(gaps.begin(), gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2), gaps.end());
      const auto nearest = [&s](double width) {
        std::size_t best = 0;
        for (std::size_t k = 1; k < kKernels; ++k)
          if (std::abs(s.kernel[k] - width) < std::abs(s.kernel[best] - width)) best = k;
        return static_cast<std::uint8_t>(best);
      };
      kernel[r][h] = nearest(0.5 * gaps[gaps.size() / 2] * s.step);
      const std::size_t tenth = sorted.size() / 10;
      tail[r][h] = nearest(kReach * s.step * (sorted[sorted.size() - 1 - tenth] - sorted[tenth]));
    }
  }
}

/// Outcome bins: quantiles of all samples, each edge moved to the widest gap near it; and what instrument and
/// model error make of each code.
void Reasoner::Impl::makeBins() {
  edges.assign(kReadings, {});
  outcome.assign(kReadings, {});
  for (std::size_t r = 0; r < kReadings; ++r) {
    if (!allowed(r)) continue;
    const Reading& reading = readings()[r];
    std::vector<bool> used(kCodes, false);
    for (const std::uint16_t c : codes[r]) used[c] = true;
    auto& table = outcome[r];
    table.assign(kCodes * kBins, 0);
    if (reading.unit == Unit::answer) {
      const std::size_t n = reading.answers.size();
      for (std::size_t c = 0; c < kCodes; ++c)
        for (std::size_t i = 0; i < n; ++i)
          table[c * kBins + i] =
              static_cast<float>(c >= n ? 1.0 / static_cast<double>(n)
                                        : (c == i ? 1 - kWrong : 0) + kWrong / static_cast<double>(n));
      continue;
    }
    std::vector<std::uint16_t> sorted;
    for (const Hypothesis& h : hyps)
      if (h.b == kSound)
        for (std::size_t s = h.from; s < h.from + h.count; ++s)
          if (codes[r][s] != kCannot) sorted.push_back(codes[r][s]);
    std::sort(sorted.begin(), sorted.end());
    if (sorted.empty()) {  // cannot be taken on any bench of this job
      table.clear();
      continue;
    }
    const Scale scale = scaleOf(reading.unit);
    const auto between = [&](std::size_t i) {
      return 0.5 * (decode(reading, sorted[i]) + decode(reading, sorted[i + 1]));
    };
    // First where the predictions fall apart, however few lie on one side: that is what a rare cause shows
    // by.
    std::vector<std::pair<double, double>> gaps;  // width, where
    for (std::size_t i = sorted.size() / kRare; i + 1 + sorted.size() / kRare < sorted.size(); ++i)
      if (const double gap = scale.step * (sorted[i + 1] - sorted[i]); gap > kGap * scale.kernel[1])
        gaps.emplace_back(gap, between(i));
    std::sort(gaps.rbegin(), gaps.rend());
    gaps.resize(std::min(gaps.size(), kGaps));
    for (const auto& gap : gaps) edges[r].push_back(gap.second);
    const std::size_t quantiles = kBins - gaps.size();
    for (std::size_t k = 1; k < quantiles; ++k) {
      const double reach = 0.04 * static_cast<double>(sorted.size());
      const double middle =
          static_cast<double>(sorted.size()) * static_cast<double>(k) / static_cast<double>(quantiles);
      const auto lo = static_cast<std::size_t>(std::max(0.0, middle - reach));
      const auto hi = std::min(sorted.size() - 1, static_cast<std::size_t>(middle + reach));
      std::size_t best = lo;
      for (std::size_t i = lo; i < hi; ++i)
        if (sorted[i + 1] - sorted[i] > sorted[best + 1] - sorted[best]) best = i;
      if (best + 1 >= sorted.size() || sorted[best + 1] == sorted[best]) continue;
      edges[r].push_back(between(best));
    }
    std::sort(edges[r].begin(), edges[r].end());
    // A bin narrower than the instrument is sure of would make whatever falls into it look improbable.
    std::vector<double> apart_enough;
    for (const double e : edges[r])
      if (apart_enough.empty() || e - apart_enough.back() >= width(reading, e, -1)) apart_enough.push_back(e);
    edges[r] = std::move(apart_enough);
    const std::size_t n = edges[r].size() + 1;
    for (std::size_t c = 0; c < kCodes; ++c) {
      if (!used[c]) continue;
      float* row = &table[c * kBins];
      if (c == kCannot) {
        for (std::size_t i = 0; i < n; ++i) row[i] = static_cast<float>(1.0 / static_cast<double>(n));
        continue;
      }
      const double x = decode(reading, static_cast<std::uint16_t>(c));
      const double w = std::hypot(width(reading, x, -1), scale.kernel[1]);
      double before = 0;
      for (std::size_t i = 0; i < n; ++i) {
        const double upto = i + 1 == n ? 1
                                       : (1 - kTailSeen) * below((edges[r][i] - x) / w) +
                                             kTailSeen * below((edges[r][i] - x) / (3 * w));
        row[i] = static_cast<float>((1 - kWrong) * (upto - before) + kWrong / static_cast<double>(n));
        before = upto;
      }
    }
  }
}

void Reasoner::Impl::outcomes(std::size_t r, const std::vector<double>& w,
                              const std::vector<std::size_t>& target, std::size_t targets,
                              std::vector<double>& out) const {
  out.assign(targets * kBins, 0);
  const float* table = outcome[r].data();
  const std::uint16_t* code = codes[r].data();
  for (std::size_t h = 0; h < hyps.size(); ++h) {
    std::array<float, kBins> sum{};
    for (std::size_t s = hyps[h].from; s < hyps[h].from + hyps[h].count; ++s) {
      const auto f = static_cast<float>(w[s]);
      if (f < 1e-9F) continue;
      const float* row = table + static_cast<std::size_t>(code[s]) * kBins;
      for (std::size_t i = 0; i < kBins; ++i) sum[i] += f * row[i];
    }
    double* to = &out[target[h] * kBins];
    for (std::size_t i = 0; i < kBins; ++i) to[i] += static_cast<double>(sum[i]);
  }
}

/// How far each reading parts two causes: Jensen-Shannon divergence of its outcomes, bits.
void Reasoner::Impl::makeDistances() {
  const std::size_t n = causes().size();
  std::vector<std::vector<double>> mean(n);  // [cause][bin], of one reading
  std::vector<double> h(n);
  apart.assign(kReadings, std::vector<float>(n * n, 0));
  for (std::size_t r = 0; r < kReadings; ++r) {
    if (!allowed(r) || outcome[r].empty()) continue;
    for (const Hypothesis& y : hyps) {
      if (y.b != kSound || y.a == kSound) continue;
      auto& m = mean[y.a];
      m.assign(kBins, 0);
      for (std::size_t s = y.from; s < y.from + y.count; ++s)
        for (std::size_t i = 0; i < kBins; ++i)
          m[i] += static_cast<double>(outcome[r][codes[r][s] * kBins + i]) / static_cast<double>(y.count);
      h[y.a] = entropy(m.data(), kBins);
    }
    for (std::size_t a = 0; a < n; ++a)
      for (std::size_t b = 0; b < a; ++b) {
        if (mean[a].empty() || mean[b].empty()) continue;
        std::array<double, kBins> mid{};
        for (std::size_t i = 0; i < kBins; ++i) mid[i] = 0.5 * (mean[a][i] + mean[b][i]);
        const auto d = static_cast<float>(entropy(mid.data(), kBins) - 0.5 * (h[a] + h[b]));
        apart[r][a * n + b] = apart[r][b * n + a] = d;
      }
  }
}

void Reasoner::Impl::makeGroups(const std::vector<bool>& left_out) {
  const std::size_t n = causes().size();
  std::vector<float> sum(n * n, 0);
  for (std::size_t r = 0; r < kReadings; ++r)
    if (allowed(r) && !(r < left_out.size() && left_out[r]))
      for (std::size_t i = 0; i < n * n; ++i) sum[i] += apart[r][i];
  std::vector<bool> here(n, false);
  for (const Hypothesis& y : hyps)
    if (y.a != kSound) here[y.a] = true;
  const auto mendedAlike = [](std::size_t a, std::size_t b) {
    return std::any_of(sameMend().begin(), sameMend().end(), [&](const auto& mend) {
      const auto in = [&](std::size_t k) {
        return std::any_of(mend.begin(), mend.end(),
                           [&](const char* id) { return std::string_view(id) == causes()[k].id; });
      };
      return in(a) && in(b);
    });
  };
  std::vector<std::vector<std::size_t>> joined;
  group_of.assign(n, n);
  for (std::size_t c = 0; c < n; ++c) {
    if (!here[c]) continue;
    for (std::size_t g = 0; g < joined.size() && group_of[c] == n; ++g) {
      if (!std::all_of(joined[g].begin(), joined[g].end(),
                       [&](std::size_t m) { return sum[c * n + m] < kGroup_bits || mendedAlike(c, m); }))
        continue;
      group_of[c] = g;
      joined[g].push_back(c);
    }
    if (group_of[c] != n) continue;
    group_of[c] = joined.size();
    joined.push_back({c});
  }
  groups = std::move(joined);
}

void Reasoner::Impl::update(bool single_causes_only) {
  std::vector<double> logs(total);
  for (const Hypothesis& h : hyps) {
    const bool out = (h.a != kSound && left(h).first == kSound) || (single_causes_only && h.b != kSound);
    const double each = out ? -1e6 : h.log_prior - std::log(static_cast<double>(h.count));
    std::fill_n(logs.begin() + static_cast<std::ptrdiff_t>(h.from), h.count, each);
  }
  for (const Taken& t : taken)
    for (std::size_t s = 0; s < total; ++s) logs[s] += static_cast<double>(t.lik[s]);
  const double most = *std::max_element(logs.begin(), logs.end());
  weight.resize(total);
  double sum = 0;
  for (std::size_t s = 0; s < total; ++s)
    sum += weight[s] = logs[s] - most < -40 ? 0 : std::exp(logs[s] - most);
  for (double& w : weight) w /= sum;
}

std::vector<double> Reasoner::Impl::without(std::size_t index) const {
  std::vector<double> w(total);
  double sum = 0;
  for (std::size_t s = 0; s < total; ++s)
    sum += w[s] = weight[s] > 0 ? weight[s] * std::exp(-static_cast<double>(taken[index].lik[s])) : 0;
  for (double& x : w) x /= sum;
  return w;
}

std::vector<double> Reasoner::Impl::presence(const std::vector<double>& w) const {
  std::vector<double> out(causes().size() + 1, 0);
  for (const Hypothesis& h : hyps) {
    const auto first = w.begin() + static_cast<std::ptrdiff_t>(h.from);
    const double mass = std::accumulate(first, first + static_cast<std::ptrdiff_t>(h.count), 0.0);
    const auto [a, b] = left(h);
    (a == kSound ? out.back() : out[a]) += mass;
    if (b != kSound) out[b] += mass;
  }
  return out;
}

/// A pair is counted to the group of its more probable cause, so that nothing is asked about a second cause
/// while the first is not certain.
std::vector<std::size_t> Reasoner::Impl::attribution(std::vector<double>& of_group) const {
  const auto p = presence(weight);
  of_group.assign(groups.size() + 1, 0);
  std::vector<double> mass(groups.size() + 1, 0);
  for (std::size_t c = 0; c < causes().size(); ++c)
    if (group_of[c] < groups.size()) mass[group_of[c]] += p[c];
  std::vector<std::size_t> target(hyps.size());
  for (std::size_t h = 0; h < hyps.size(); ++h) {
    const auto [a, b] = left(hyps[h]);
    if (a == kSound)
      target[h] = groups.size();
    else if (b == kSound)
      target[h] = group_of[a];
    else
      target[h] = mass[group_of[a]] >= mass[group_of[b]] ? group_of[a] : group_of[b];
    const auto first = weight.begin() + static_cast<std::ptrdiff_t>(hyps[h].from);
    of_group[target[h]] += std::accumulate(first, first + static_cast<std::ptrdiff_t>(hyps[h].count), 0.0);
  }
  return target;
}

std::size_t Reasoner::Impl::binOf(std::size_t r, double value) const {
  const Reading& reading = readings()[r];
  if (reading.unit == Unit::answer) return static_cast<std::size_t>(value);
  const double x = toScale(reading.unit, value);
  return static_cast<std::size_t>(std::upper_bound(edges[r].begin(), edges[r].end(), x) - edges[r].begin());
}

std::string Reasoner::Impl::binText(std::size_t r, std::size_t bin) const {
  const Reading& reading = readings()[r];
  if (reading.unit == Unit::answer) return reading.answers[bin];
  const auto edge = [&](std::size_t i) { return valueText(r, fromScale(reading.unit, edges[r][i])); };
  if (edges[r].empty()) return "any";
  if (bin == 0) return "below " + edge(0);
  if (bin == edges[r].size()) return "above " + edge(bin - 1);
  return edge(bin - 1) + " to " + edge(bin);
}

Reasoner::Reasoner(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Reasoner::~Reasoner() = default;
Reasoner::Reasoner(Reasoner&&) noexcept = default;
Reasoner& Reasoner::operator=(Reasoner&&) noexcept = default;

Reasoner Reasoner::prepare(const Setting& setting, const Priors& priors, const Options& o) {
  auto impl = std::make_unique<Impl>();
  impl->setting = setting;
  impl->mended.assign(causes().size(), false);
  const std::size_t n = causes().size();
  double sum = 0, square = 0;
  std::vector<std::size_t> here;
  for (std::size_t c = 0; c < n; ++c)
    if ((causes()[c].arrangements & bit(setting.arrangement)) != 0 && priors.weight[c] > 0 &&
        !(setting.gateway && !*setting.gateway && std::string_view(causes()[c].id).starts_with("gateway-")))
      here.push_back(c), sum += priors.weight[c], square += priors.weight[c] * priors.weight[c];
  const double pairs = o.pairs ? o.pair_share : 0;
  impl->hyps.push_back({kSound, kSound, std::log(o.sound_share), 0, 0});
  for (const std::size_t c : here)
    impl->hyps.push_back({c, kSound, std::log((1 - pairs - o.sound_share) * priors.weight[c] / sum), 0, 0});
  if (o.pairs)
    for (std::size_t i = 0; i < here.size(); ++i)
      for (std::size_t k = i + 1; k < here.size(); ++k)
        impl->hyps.push_back(
            {here[i], here[k],
             std::log(pairs * 2 * priors.weight[here[i]] * priors.weight[here[k]] / (sum * sum - square)), 0,
             0});
  impl->sample(o);
  impl->measureSpread();
  impl->makeBins();
  impl->makeDistances();
  impl->makeGroups({});
  impl->update();
  return Reasoner(std::move(impl));
}

void Reasoner::forget() {
  impl_->taken.clear(), impl_->evidence.clear();
  impl_->mended.assign(causes().size(), false);
  impl_->update();
}

void Reasoner::mended(const std::vector<std::size_t>& which) {
  for (const std::size_t c : which)
    if (c != kSound) impl_->mended[c] = true;
  impl_->update();
}

void Reasoner::observe(const Observation& o) {
  Impl& m = *impl_;
  const Reading& reading = readings()[o.reading];
  Impl::Taken t{o, std::vector<float>(m.total)};
  const std::uint16_t* code = m.codes[o.reading].data();
  if (reading.unit == Unit::answer) {
    const auto seen = static_cast<std::uint16_t>(o.value);
    const double flat = kWrong / static_cast<double>(reading.answers.size());
    for (const auto& h : m.hyps) {
      std::size_t like = 0;
      for (std::size_t s = h.from; s < h.from + h.count; ++s) like += code[s] == seen ? 1 : 0;
      const double often = (1 - kOwnSay) * static_cast<double>(like) / static_cast<double>(h.count);
      const auto yes = static_cast<float>(std::log((1 - kWrong) * (kOwnSay + often) + flat));
      const auto no = static_cast<float>(std::log((1 - kWrong) * often + flat));
      for (std::size_t s = h.from; s < h.from + h.count; ++s) t.lik[s] = code[s] == seen ? yes : no;
    }
  } else {
    const Scale scale = scaleOf(reading.unit);
    const double x = toScale(reading.unit, o.value);
    const double wrong = kWrong * wrongDensity(reading.unit, x);
    std::array<std::vector<float>, kKernels * kKernels> tables;
    const auto tableOf = [&](std::size_t k, std::size_t far_k) -> const std::vector<float>& {
      auto& table = tables[k * kKernels + far_k];
      if (!table.empty()) return table;
      table.resize(kCodes);
      for (std::size_t c = 0; c < kCodes; ++c) {
        const double at = decode(reading, static_cast<std::uint16_t>(c));
        const double w = std::hypot(width(reading, at, o.uncertainty), scale.kernel[k]);
        const double far = std::hypot(2 * w, scale.kernel[far_k]);
        const double core =
            c == kCannot ? 0 : (1 - kTail) * normal((x - at) / w) / w + kTail * student((x - at) / far) / far;
        table[c] = static_cast<float>(std::log((1 - kWrong) * core + wrong));
      }
      return table;
    };
    for (std::size_t h = 0; h < m.hyps.size(); ++h) {
      const float* lik = tableOf(m.kernel[o.reading][h], m.tail[o.reading][h]).data();
      const std::size_t from = m.hyps[h].from, to = from + m.hyps[h].count;
      for (std::size_t s = from; s < to; ++s) t.lik[s] = lik[code[s]];
    }
  }
  std::erase_if(m.taken, [&](const Impl::Taken& x) { return x.o.reading == o.reading; });
  m.taken.push_back(std::move(t));
  m.evidence.clear();
  for (const auto& x : m.taken) m.evidence.push_back(x.o);
  m.update();
}

const std::vector<Observation>& Reasoner::evidence() const { return impl_->evidence; }

std::vector<Ranked> Reasoner::ranking() const {
  const Impl& m = *impl_;
  std::vector<Ranked> out;
  for (const auto& g : m.groups) out.push_back({g, 0});
  out.push_back({{kSound}, 0});
  for (const auto& h : m.hyps) {
    const auto first = m.weight.begin() + static_cast<std::ptrdiff_t>(h.from);
    const double mass = std::accumulate(first, first + static_cast<std::ptrdiff_t>(h.count), 0.0);
    const auto [first_cause, second] = m.left(h);
    const std::size_t a = first_cause == kSound ? m.groups.size() : m.group_of[first_cause];
    out[a].probability += mass;
    if (second != kSound && m.group_of[second] != a) out[m.group_of[second]].probability += mass;
  }
  const auto p = present();
  for (auto& r : out)
    std::stable_sort(r.causes.begin(), r.causes.end(),
                     [&](std::size_t a, std::size_t b) { return a != kSound && p[a] > p[b]; });
  std::stable_sort(out.begin(), out.end(),
                   [](const Ranked& a, const Ranked& b) { return a.probability > b.probability; });
  return out;
}

std::vector<double> Reasoner::present() const {
  auto p = impl_->presence(impl_->weight);
  p.pop_back();
  return p;
}

std::vector<double> Reasoner::besides(std::size_t cause) const {
  const Impl& m = *impl_;
  std::vector<double> out(causes().size(), 0);
  double sum = 0;
  for (const auto& h : m.hyps) {
    if (h.b == kSound || (h.a != cause && h.b != cause)) continue;
    const auto first = m.weight.begin() + static_cast<std::ptrdiff_t>(h.from);
    const double mass = std::accumulate(first, first + static_cast<std::ptrdiff_t>(h.count), 0.0);
    out[h.a == cause ? h.b : h.a] += mass, sum += mass;
  }
  if (sum > 0)
    for (double& x : out) x /= sum;
  return out;
}

std::vector<Weight> Reasoner::weigh(const std::vector<std::size_t>& group) const {
  const Impl& m = *impl_;
  const auto belongs = [&](const Impl::Hypothesis& h) {
    return std::find(group.begin(), group.end(), h.a) != group.end() ||
           (h.b != kSound && std::find(group.begin(), group.end(), h.b) != group.end());
  };
  std::vector<Weight> out;
  for (std::size_t i = 0; i < m.taken.size(); ++i) {
    const std::size_t r = m.taken[i].o.reading;
    const auto w = m.without(i);
    double in = 0, in_lik = 0, not_in = 0, not_lik = 0;
    std::array<double, 2> first{}, first_lik{};     // by prior: everything else, the cause
    std::vector<std::pair<double, double>> values;  // predicted, weight
    for (const auto& h : m.hyps) {
      const bool mine = belongs(h);
      const bool out_of_it = h.a != kSound && m.left(h).first == kSound;
      const double prior = out_of_it ? 0 : std::exp(h.log_prior) / static_cast<double>(h.count);
      for (std::size_t s = h.from; s < h.from + h.count; ++s) {
        const double l = std::exp(static_cast<double>(m.taken[i].lik[s]));
        (mine ? in : not_in) += w[s], (mine ? in_lik : not_lik) += w[s] * l;
        first[mine ? 1 : 0] += prior, first_lik[mine ? 1 : 0] += prior * l;
        if (mine && w[s] > 0 && m.codes[r][s] != kCannot) values.emplace_back(m.codes[r][s], w[s]);
      }
    }
    Weight x;
    x.observation = i;
    if (in > 0 && not_in > 1e-12)
      x.llr = std::log(std::max(in_lik / in, 1e-12) / std::max(not_lik / not_in, 1e-12));
    if (first[0] > 0 && first[1] > 0)
      x.alone = std::log(std::max(first_lik[1] / first[1], 1e-12) / std::max(first_lik[0] / first[0], 1e-12));
    std::sort(values.begin(), values.end());
    double sum = 0, so_far = 0;
    for (const auto& v : values) sum += v.second;
    const Reading& reading = readings()[r];
    if (reading.unit == Unit::answer) {
      std::array<double, 8> of{};
      for (const auto& v : values) of[static_cast<std::size_t>(v.first)] += v.second / std::max(sum, 1e-300);
      x.middle = static_cast<double>(std::max_element(of.begin(), of.end()) - of.begin());
      x.share = of[static_cast<std::size_t>(m.taken[i].o.value)];
    } else {
      const auto value = [&](double c) {
        return fromScale(reading.unit, decode(reading, static_cast<std::uint16_t>(c)));
      };
      for (const auto& v : values) {
        const double before = so_far / sum;
        so_far += v.second;
        const double after = so_far / sum;
        if (before < 0.1 && after >= 0.1) x.low = value(v.first);
        if (before < 0.5 && after >= 0.5) x.middle = value(v.first);
        if (before < 0.9 && after >= 0.9) x.high = value(v.first);
      }
    }
    out.push_back(x);
  }
  return out;
}

std::vector<Fit> Reasoner::fits() const {
  const Impl& m = *impl_;
  std::vector<Fit> out;
  // Three faults at once are rarer than one that is not in the catalogue.
  const auto kept = m.weight;
  const bool in_vain = m.mendedGroups() >= kInVain;
  if (in_vain) impl_->update(true);
  const std::vector<std::size_t> one(m.hyps.size(), 0);
  const auto leader = ranking().front().causes;
  std::vector<double> p;
  for (std::size_t i = 0; i < m.taken.size(); ++i) {
    const std::size_t r = m.taken[i].o.reading;
    const Reading& reading = readings()[r];
    const double flat =
        kWrong * (reading.unit == Unit::answer
                      ? 1 / static_cast<double>(reading.answers.size())
                      : wrongDensity(reading.unit, toScale(reading.unit, m.taken[i].o.value)));
    Fit f;
    f.observation = i;
    double mass = 0;
    for (const auto& h : m.hyps) {
      const bool leads = std::find(leader.begin(), leader.end(), h.a) != leader.end() ||
                         (h.b != kSound && std::find(leader.begin(), leader.end(), h.b) != leader.end());
      if (!leads) continue;
      for (std::size_t s = h.from; s < h.from + h.count; ++s)
        if (m.weight[s] > 0)
          mass += m.weight[s],
              f.wrong += m.weight[s] * flat * std::exp(-static_cast<double>(m.taken[i].lik[s]));
    }
    f.wrong = std::min(f.wrong / std::max(mass, 1e-300), 1.0);
    m.outcomes(r, m.without(i), one, 1, p);
    const std::size_t n = m.bins(r);
    const double seen = std::max(p[m.binOf(r, m.taken[i].o.value)], 1e-6);
    f.surprise = -std::log2(seen) - entropy(p.data(), n);
    out.push_back(f);
  }
  if (in_vain) impl_->weight = kept;
  return out;
}

bool Reasoner::unexplained() const {
  const Impl& m = *impl_;
  double wrong = 0, surprise = 0;
  for (const Fit& f : fits()) wrong += f.wrong, surprise += f.surprise;
  // That two faults meet is improbable too, and yet explains.
  if (m.mendedGroups() < kInVain)
    for (const auto& h : m.hyps)
      if (h.b != kSound)
        for (std::size_t s = h.from; s < h.from + h.count; ++s) surprise -= kMeet_bits * m.weight[s];
  const auto n = static_cast<double>(m.taken.size());
  return wrong >= kWrongMost + kWrongEach * n || surprise >= kSurpriseMost_bits * std::sqrt(std::max(n, 8.0));
}

std::vector<std::size_t> Reasoner::gate() const {
  std::vector<std::size_t> out;
  const auto need = [&](const char* id) {
    const std::size_t r = *findReading(id);
    const auto& e = impl_->evidence;
    if (std::none_of(e.begin(), e.end(), [&](const Observation& o) { return o.reading == r; }))
      out.push_back(r);
  };
  if (impl_->setting.arrangement != Arrangement::own_battery) need("R(feed,chassis)");
  need("V(src+,src-)");
  return out;
}

std::vector<Next> Reasoner::next(const Policy& policy, const std::vector<bool>& left_out) const {
  const Impl& m = *impl_;
  std::vector<double> prior;
  const auto target = m.attribution(prior);
  const std::size_t leader =
      static_cast<std::size_t>(std::max_element(prior.begin(), prior.end()) - prior.begin());
  const auto missing = policy.powered ? std::vector<std::size_t>{} : gate();
  std::vector<Next> out;
  if (prior[leader] >= policy.stop_at) return out;
  const double before = entropy(prior.data(), prior.size());
  std::vector<double> p;
  double best_on = 0;
  for (std::size_t r = 0; r < kReadings; ++r) {
    const Reading& reading = readings()[r];
    if (!m.allowed(r) || m.outcome[r].empty() || (r < left_out.size() && left_out[r])) continue;
    if (std::any_of(m.evidence.begin(), m.evidence.end(),
                    [&](const Observation& o) { return o.reading == r; }))
      continue;
    Next n;
    n.reading = r;
    n.minutes = reading.minutes;
    const bool on = reading.power == Power::on;
    n.power_ups = (on && !policy.powered ? 1 : 0) + reading.power_ups;
    n.gate = std::find(missing.begin(), missing.end(), r) != missing.end();
    if (n.power_ups > policy.power_ups_left) continue;
    m.outcomes(r, m.weight, target, prior.size(), p);
    const std::size_t bins = m.bins(r);
    double after = 0, lowest = 2, highest = -1;
    std::size_t low_bin = 0, high_bin = 0;
    for (std::size_t i = 0; i < bins; ++i) {
      double all = 0;
      for (std::size_t t = 0; t < prior.size(); ++t) all += p[t * kBins + i];
      if (all <= 1e-12) continue;
      for (std::size_t t = 0; t < prior.size(); ++t)
        if (p[t * kBins + i] > 1e-300) after -= p[t * kBins + i] * std::log2(p[t * kBins + i] / all);
      const double leads = p[leader * kBins + i] / all;
      if (all > 0.01 && leads < lowest) lowest = leads, low_bin = i;
      if (all > 0.01 && leads > highest) highest = leads, high_bin = i;
    }
    n.bits = std::max(0.0, before - after);
    // Back to power off and on again costs a further power-up.
    const double back = policy.powered && !on && reading.power != Power::any ? policy.power_up_minutes : 0;
    n.score = n.bits / (n.minutes + policy.handling_minutes + policy.power_up_minutes * n.power_ups + back);
    n.against_if = m.binText(r, low_bin), n.for_if = m.binText(r, high_bin);
    n.against = std::min(lowest, 1.0), n.in_favour = std::max(highest, 0.0);
    if (on) best_on = std::max(best_on, n.score);
    if (n.bits >= policy.least_bits || n.gate) out.push_back(std::move(n));
  }
  // Nothing that the safety checks open is worth anything: then they are not asked for either.
  if (std::none_of(out.begin(), out.end(), [&](const Next& n) { return n.bits >= policy.least_bits; }))
    out.clear();
  // A safety check opens what comes after power on: it is worth at least that. Nothing with power on before.
  for (Next& n : out)
    if (n.gate) n.score = std::max(n.score, best_on * (1 + n.score));
  if (!missing.empty())
    std::erase_if(out, [](const Next& n) { return readings()[n.reading].power == Power::on; });
  std::stable_sort(out.begin(), out.end(), [](const Next& a, const Next& b) { return a.score > b.score; });
  return out;
}

const std::vector<std::vector<std::size_t>>& Reasoner::groups() const { return impl_->groups; }
void Reasoner::leaveOut(const std::vector<bool>& left_out) { impl_->makeGroups(left_out); }
const std::vector<std::size_t>& Reasoner::impossible() const { return impl_->impossible; }
std::size_t Reasoner::hypotheses() const { return impl_->hyps.size(); }
std::size_t Reasoner::samples() const { return impl_->total; }
std::size_t Reasoner::bytes() const {
  std::size_t sum = impl_->total * (kReadings * sizeof(std::uint16_t) + 2 * sizeof(double));
  for (const auto& t : impl_->outcome) sum += t.size() * sizeof(float);
  for (const auto& t : impl_->taken) sum += t.lik.size() * sizeof(float);
  return sum;
}

std::string oddsText(double p) {
  if (p >= 0.995) return "nearly certain";
  if (p >= 0.935) return fmt::format("{} in 20", std::min(19, static_cast<int>(std::lround(p * 20))));
  if (p >= 0.095) return fmt::format("{} in 10", std::lround(p * 10));
  if (p >= 0.04) return "1 in 20";
  if (p >= 0.015) return "1 in 50";
  return "hardly";
}

}  // namespace pin16::reasons
