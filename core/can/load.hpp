// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Bus load from exact bits: the share of time in which the bus carried a frame or its intermission.
/// Destroyed frames and error flags are not counted: their length is not reported by any interface.

#include <cstdint>
#include <vector>

#include "core/base/clock.hpp"

namespace pin16::can {

/// Shares 0..1.
struct Load {
  double mean = 0;
  double peak = 0;  ///< highest whole window, never below the mean
};

/// One window of the series, for charts.
struct LoadWindow {
  Ns from_ns = 0;
  Ns length_ns = 0;  ///< shorter than the meter's window at the end of a stretch
  double share = 0;  ///< 0..1
};

/// Memory: one LoadWindow for each window that carried a frame. One owner, no threads.
class LoadMeter {
 public:
  /// Own figure: a second shows a burst of a read-out and is longer than any stamp's jitter.
  static constexpr Ns kWindow_ns = 1000 * kNsPerMs;

  explicit LoadMeter(Ns window_ns = kWindow_ns) : window_ns_(window_ns) {}

  /// A frame that ended at `t_ns` after `wire_ns` on the wire. Frames without a time are left out. A stamp
  /// earlier than one before it counts into the window that is open.
  void frame(Ns t_ns, Ns wire_ns);
  /// Nothing could be seen between the two: not part of the mean, and no window reaches across.
  void unseen(Ns from_ns, Ns to_ns);

  /// A frame came whose time on the wire is not known (no bit rate): nothing is judged between the last
  /// counted frame and this one.
  void uncounted(Ns t_ns) { unseen(last_ns_, t_ns); }

  /// A frame with a time was counted: load() says something.
  [[nodiscard]] bool counted() const { return first_ns_ != kNoTime; }
  [[nodiscard]] Load load() const;
  /// By time. The first starts with the first frame of a stretch; a window that is not listed was quiet, or
  /// nothing could be seen in it. The open one is the last.
  [[nodiscard]] std::vector<LoadWindow> windows() const;
  [[nodiscard]] Ns window() const { return window_ns_; }

 private:
  void startAt(Ns t_ns);
  void closeWindow();
  void keepOpenWindow(std::vector<LoadWindow>& to) const;

  Ns window_ns_;
  Ns first_ns_ = kNoTime;  ///< start of the first frame of this stretch
  Ns last_ns_ = kNoTime;
  Ns seen_before_ns_ = 0;  ///< length of the stretches before
  Ns busy_ns_ = 0;
  Ns window_start_ns_ = 0;
  Ns window_busy_ns_ = 0;
  double peak_ = 0;
  std::vector<LoadWindow> windows_;  ///< closed ones
};

}  // namespace pin16::can
