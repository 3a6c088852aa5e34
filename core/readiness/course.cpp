// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/course.hpp"

#include <cmath>

namespace pin16::readiness {
namespace {

constexpr std::size_t kTrendLeast = 10;  // fewer samples tell no scatter (own figure)

}  // namespace

Rises rises(const Trace& trace, double threshold, double rearm, Ns from_ns) {
  Rises out;
  bool armed = true;
  for (const Trace::At& s : trace.samples) {
    if (s.t_ns < from_ns) continue;
    if (armed && s.value >= threshold) {
      out.at_ns.push_back(s.t_ns);
      armed = false;
    } else if (!armed && s.value < rearm) {
      armed = true;
    }
  }
  out.above_at_end = !armed;
  return out;
}

std::vector<Cut> cuts(const Trace& trace, double good, double dead, double step_max_s) {
  std::vector<Cut> out;
  const Trace::At* since = nullptr;      // first good sample of this stretch
  const Trace::At* last_good = nullptr;  // newest one; null once the stretch is over
  for (const Trace::At& s : trace.samples) {
    if (s.value >= good) {
      if (last_good == nullptr) since = &s;
      last_good = &s;
      if (!out.empty()) out.back().lasts = false;
    } else if (s.value < dead && last_good != nullptr) {
      const double step_s = toSeconds(s.t_ns - last_good->t_ns);
      if (step_s <= step_max_s)
        out.push_back({toSeconds(last_good->t_ns - since->t_ns), last_good->value, step_s, true});
      last_good = nullptr;
    }
  }
  return out;
}

std::optional<Trend> trend(const Trace& trace, Ns from_ns) {
  double n = 0, mean_t = 0, mean_v = 0;
  const auto inside = [&](const Trace::At& s) { return s.t_ns >= from_ns; };
  for (const Trace::At& s : trace.samples)
    if (inside(s)) ++n, mean_t += toSeconds(s.t_ns - from_ns), mean_v += s.value;
  if (n < static_cast<double>(kTrendLeast)) return std::nullopt;
  mean_t /= n;
  mean_v /= n;
  double tt = 0, tv = 0;
  for (const Trace::At& s : trace.samples)
    if (inside(s)) {
      const double t = toSeconds(s.t_ns - from_ns) - mean_t;
      tt += t * t;
      tv += t * (s.value - mean_v);
    }
  if (tt <= 0) return std::nullopt;
  Trend out;
  out.slope_per_s = tv / tt;
  double rest = 0, first_s = -1, last_s = 0;
  for (const Trace::At& s : trace.samples)
    if (inside(s)) {
      last_s = toSeconds(s.t_ns - from_ns);
      if (first_s < 0) first_s = last_s;
      const double off = s.value - mean_v - out.slope_per_s * (last_s - mean_t);
      rest += off * off;
    }
  out.slope_error_per_s = 2 * std::sqrt(rest / (n - 2) / tt);
  out.last = mean_v + out.slope_per_s * (last_s - mean_t);
  out.span_s = last_s - first_s;
  return out;
}

}  // namespace pin16::readiness
