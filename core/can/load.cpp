// SPDX-License-Identifier: Apache-2.0
#include "core/can/load.hpp"

#include <algorithm>

namespace pin16::can {
namespace {
// A stamp outside 1970..2116 is damage; within, differences of two stamps cannot overflow.
constexpr Ns kLatest_ns = Ns{1} << 62;
bool plausible(Ns t_ns) { return t_ns >= 0 && t_ns < kLatest_ns; }

/// Stamps of one burst can lie closer together than the frames can: a share never exceeds 1.
double share(Ns busy_ns, Ns of_ns) {
  return std::min(1.0, static_cast<double>(busy_ns) / static_cast<double>(of_ns));
}
}  // namespace

void LoadMeter::startAt(Ns t_ns) {
  first_ns_ = last_ns_ = window_start_ns_ = t_ns;
  window_busy_ns_ = 0;
}

void LoadMeter::closeWindow() {
  if (window_busy_ns_ > 0) {
    windows_.push_back({window_start_ns_, window_ns_, share(window_busy_ns_, window_ns_)});
    peak_ = std::max(peak_, windows_.back().share);
  }
  window_start_ns_ += window_ns_;
  window_busy_ns_ = 0;
}

void LoadMeter::frame(Ns t_ns, Ns wire_ns) {
  if (!plausible(t_ns)) return;
  if (first_ns_ == kNoTime) startAt(t_ns - wire_ns);
  busy_ns_ += wire_ns;
  last_ns_ = std::max(last_ns_, t_ns);
  while (t_ns >= window_start_ns_ + window_ns_) {
    const Ns end = window_start_ns_ + window_ns_;
    const Ns before = std::clamp(end - (t_ns - wire_ns), Ns{0}, wire_ns);
    window_busy_ns_ += before;
    wire_ns -= before;
    closeWindow();
    // Empty windows cannot raise the peak: step over them, a stamp may be years off.
    const Ns whole = (t_ns - wire_ns - window_start_ns_) / window_ns_;
    if (whole > 0) window_start_ns_ += whole * window_ns_;
  }
  window_busy_ns_ += wire_ns;
}

void LoadMeter::unseen(Ns from_ns, Ns to_ns) {
  if (first_ns_ == kNoTime || !plausible(from_ns) || !plausible(to_ns)) return;
  last_ns_ = std::max(last_ns_, std::min(from_ns, to_ns));
  seen_before_ns_ += last_ns_ - first_ns_;
  keepOpenWindow(windows_);
  startAt(std::max(to_ns, last_ns_));
}

Load LoadMeter::load() const {
  const Ns seen = seen_before_ns_ + (first_ns_ == kNoTime ? 0 : last_ns_ - first_ns_);
  if (seen <= 0) return {};
  const double mean = share(busy_ns_, seen);
  return {mean, std::max(mean, peak_)};
}

void LoadMeter::keepOpenWindow(std::vector<LoadWindow>& to) const {
  const Ns length = std::min(last_ns_ - window_start_ns_, window_ns_);
  if (window_busy_ns_ > 0 && length > 0)
    to.push_back({window_start_ns_, length, share(window_busy_ns_, length)});
}

std::vector<LoadWindow> LoadMeter::windows() const {
  std::vector<LoadWindow> all = windows_;
  keepOpenWindow(all);
  return all;
}

}  // namespace pin16::can
