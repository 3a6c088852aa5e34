// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One measured point over time, and what arithmetic says of it. Pure functions on lists of samples; times in
/// ns, volts or amperes as the samples are.

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace pin16::voltage {

struct Sample {
  std::int64_t t_ns = 0;
  double value = 0;
  double uncertainty = -1;  ///< half width; below 0 not stated
  std::uint64_t sequence = 0;
  bool on = false;  ///< the module was fed
};

struct Channel {
  std::string point, unit, instrument;
  std::int64_t aperture_ns = -1;  ///< longest stated
  std::vector<Sample> samples;
};

inline std::vector<Sample> fed(const std::vector<Sample>& all) {
  std::vector<Sample> out;
  for (const Sample& s : all)
    if (s.on) out.push_back(s);
  return out;
}

/// Half the sample rate, and no more than a boxcar average of the aperture lets through (-3 dB at 0.443 /
/// aperture: sinc, by arithmetic). The rate is that of the median gap. 0: fewer than three samples.
inline double bandwidth_Hz(const Channel& c) {
  std::vector<double> gaps;
  for (std::size_t i = 1; i < c.samples.size(); ++i)
    gaps.push_back(static_cast<double>(c.samples[i].t_ns - c.samples[i - 1].t_ns) / 1e9);
  if (gaps.size() < 2) return 0;
  std::nth_element(gaps.begin(), gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2), gaps.end());
  const double gap_s = gaps[gaps.size() / 2];
  if (gap_s <= 0) return 0;
  const double by_rate = 0.5 / gap_s;
  return c.aperture_ns > 0 ? std::min(by_rate, 0.443e9 / static_cast<double>(c.aperture_ns)) : by_rate;
}

inline double median(std::vector<double> values) {
  if (values.empty()) return std::nan("");
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 != 0) return *middle;
  return (*middle + *std::max_element(values.begin(), middle)) / 2;
}
inline double medianOf(const std::vector<Sample>& samples) {
  std::vector<double> v;
  v.reserve(samples.size());
  for (const Sample& s : samples) v.push_back(s.value);
  return median(std::move(v));
}

struct Dip {
  std::int64_t from_ns = 0, to_ns = 0, lowest_ns = 0;
  double lowest = 0, depth = 0;  ///< depth below the median
  std::uint64_t sequence = 0;    ///< of the lowest sample
  bool open = false;             ///< the recording ended, or the feed went, before it was over
  [[nodiscard]] double length_ms() const { return static_cast<double>(to_ns - from_ns) / 1e6; }
  [[nodiscard]] double recovery_ms() const { return static_cast<double>(to_ns - lowest_ns) / 1e6; }
};
/// A dip begins `depth` below the median of the fed samples and ends half of that below it.
inline std::vector<Dip> dips(const std::vector<Sample>& on, double depth) {
  std::vector<Dip> out;
  const double base = medianOf(on);
  bool inside = false;
  for (const Sample& s : on) {
    if (!inside && s.value < base - depth) {
      inside = true;
      out.push_back({s.t_ns, s.t_ns, s.t_ns, s.value, base - s.value, s.sequence, true});
    } else if (inside && s.value >= base - depth / 2) {
      inside = false;
      out.back().to_ns = s.t_ns;
      out.back().open = false;
    }
    if (!inside) continue;
    Dip& d = out.back();
    d.to_ns = s.t_ns;
    if (s.value < d.lowest)
      d.lowest = s.value, d.depth = base - s.value, d.lowest_ns = s.t_ns, d.sequence = s.sequence;
  }
  return out;
}

struct Line {
  double per_s = 0, per_s_sigma = 0;  ///< slope and its standard error
  double at_end = 0, at_end_sigma = 0;
  std::int64_t end_ns = 0;
};
/// Least squares through the samples; nothing for fewer than 10 or less than `span_ns`.
inline std::optional<Line> fit(const std::vector<Sample>& on, std::int64_t span_ns) {
  if (on.size() < 10 || on.back().t_ns - on.front().t_ns < span_ns) return std::nullopt;
  const auto n = static_cast<double>(on.size());
  double mean_t = 0, mean_v = 0;
  const auto at = [&](const Sample& s) { return static_cast<double>(s.t_ns - on.front().t_ns) / 1e9; };
  for (const Sample& s : on) mean_t += at(s) / n, mean_v += s.value / n;
  double tt = 0, tv = 0;
  for (const Sample& s : on)
    tt += (at(s) - mean_t) * (at(s) - mean_t), tv += (at(s) - mean_t) * (s.value - mean_v);
  if (tt <= 0) return std::nullopt;
  Line out;
  out.per_s = tv / tt;
  double rest = 0;
  for (const Sample& s : on) {
    const double off = s.value - mean_v - out.per_s * (at(s) - mean_t);
    rest += off * off;
  }
  const double variance = rest / (n - 2);
  const double end_s = at(on.back());
  out.per_s_sigma = std::sqrt(variance / tt);
  out.at_end = mean_v + out.per_s * (end_s - mean_t);
  out.at_end_sigma = std::sqrt(variance * (1 / n + (end_s - mean_t) * (end_s - mean_t) / tt));
  out.end_ns = on.back().t_ns;
  return out;
}

/// Seconds until the line reaches `limit`, with its standard error. Nothing if it does not fall, by three
/// sigma.
struct Left {
  double seconds = 0, sigma = 0;
};
inline std::optional<Left> left(const Line& line, double limit) {
  if (line.per_s >= -3 * line.per_s_sigma || line.per_s >= 0 || line.at_end <= limit) return std::nullopt;
  const double gap = line.at_end - limit;
  Left out;
  out.seconds = gap / -line.per_s;
  out.sigma = out.seconds * std::hypot(line.at_end_sigma / gap, line.per_s_sigma / line.per_s);
  return out;
}

struct Step {
  std::int64_t t_ns = 0;
  double change_A = 0, change_V = 0;
  double ohm = 0, ohm_uncertainty = -1;
  std::uint64_t sequence_A = 0, sequence_V = 0;
};
/// Where the current steps by at least `step_A` between two samples, and the volts just before and just
/// after: R = -dV / dI, everything between the source's EMF and the point. Uncertainty: both half widths of
/// each pair, added as squares (independent readings). Only where volts were sampled on both sides within
/// `near_ns`.
inline std::vector<Step> steps(const std::vector<Sample>& amperes, const std::vector<Sample>& volts,
                               double step_A, std::int64_t near_ns) {
  std::vector<Step> out;
  for (std::size_t i = 1; i < amperes.size(); ++i) {
    const Sample &a = amperes[i - 1], &b = amperes[i];
    const double change_A = b.value - a.value;
    if (std::abs(change_A) < step_A) continue;
    // Volts no later than the last sample of the old current, and no earlier than the first of the new one.
    const auto after = std::lower_bound(volts.begin(), volts.end(), b.t_ns,
                                        [](const Sample& s, std::int64_t t) { return s.t_ns < t; });
    auto before = std::upper_bound(volts.begin(), volts.end(), a.t_ns,
                                   [](std::int64_t t, const Sample& s) { return t < s.t_ns; });
    if (after == volts.end() || before == volts.begin()) continue;
    --before;
    if (after->t_ns - b.t_ns > near_ns || a.t_ns - before->t_ns > near_ns) continue;
    Step s;
    s.t_ns = b.t_ns;
    s.change_A = change_A;
    s.change_V = after->value - before->value;
    s.ohm = -s.change_V / s.change_A;
    s.sequence_A = b.sequence;
    s.sequence_V = after->sequence;
    if (after->uncertainty >= 0 && before->uncertainty >= 0 && a.uncertainty >= 0 && b.uncertainty >= 0)
      s.ohm_uncertainty = std::hypot(std::hypot(after->uncertainty, before->uncertainty),
                                     s.ohm * std::hypot(a.uncertainty, b.uncertainty)) /
                          std::abs(s.change_A);
    out.push_back(s);
  }
  return out;
}
/// Mean of several steps, weighted by 1 / uncertainty squared where every one states it.
struct Mean {
  double ohm = 0, uncertainty = -1;
  std::size_t count = 0;
};
inline std::optional<Mean> mean(const std::vector<Step>& all) {
  if (all.empty()) return std::nullopt;
  const bool weighted =
      std::all_of(all.begin(), all.end(), [](const Step& s) { return s.ohm_uncertainty > 0; });
  double sum = 0, weight = 0;
  for (const Step& s : all) {
    const double w = weighted ? 1 / (s.ohm_uncertainty * s.ohm_uncertainty) : 1;
    sum += w * s.ohm;
    weight += w;
  }
  Mean out;
  out.ohm = sum / weight;
  if (weighted) out.uncertainty = 1 / std::sqrt(weight);
  out.count = all.size();
  return out;
}

/// What the feed current does after a power-up.
struct Signature {
  double steady_A = 0, peak_A = 0;
  double charge_As = 0;     ///< above the steady current until it has settled, trapezoids
  double settling_ms = -1;  ///< until the current stays within 10 % (or 20 mA) of steady; below 0: it did not
  std::size_t count = 0;
};
/// Of samples from the power-up on, in time order. Steady is the median of the last half. Nothing below 4
/// samples.
inline std::optional<Signature> signature(const std::vector<Sample>& amperes, std::int64_t from_ns) {
  if (amperes.size() < 4) return std::nullopt;
  Signature s;
  s.count = amperes.size();
  s.steady_A = medianOf({amperes.begin() + static_cast<std::ptrdiff_t>(amperes.size() / 2), amperes.end()});
  const double band_A = std::max(0.1 * std::abs(s.steady_A), 0.02);
  std::size_t settled = amperes.size();
  while (settled > 0 && std::abs(amperes[settled - 1].value - s.steady_A) <= band_A) --settled;
  for (const Sample& a : amperes) s.peak_A = std::max(s.peak_A, a.value);
  if (settled == amperes.size()) return s;
  s.settling_ms = static_cast<double>(amperes[settled].t_ns - from_ns) / 1e6;
  for (std::size_t i = 1; i <= settled; ++i)
    s.charge_As += (amperes[i - 1].value + amperes[i].value - 2 * s.steady_A) / 2 *
                   static_cast<double>(amperes[i].t_ns - amperes[i - 1].t_ns) / 1e9;
  return s;
}

}  // namespace pin16::voltage
