// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Bus load from exact bits: the share of time in which the bus carried a frame or its intermission.
/// Destroyed frames and error flags are not counted: their length is not reported by any interface.

#include <cstdint>

#include "core/base/clock.hpp"

namespace pin16::can {

/// Shares 0..1.
struct Load {
  double mean = 0;
  double peak = 0;  ///< highest whole window, never below the mean
};

/// Keeps two windows' worth of numbers, whatever the length of the capture. One owner, no threads.
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

  [[nodiscard]] Load load() const;
  [[nodiscard]] Ns window() const { return window_ns_; }

 private:
  void startAt(Ns t_ns);
  void closeWindow();

  Ns window_ns_;
  Ns first_ns_ = kNoTime;  ///< start of the first frame of this stretch
  Ns last_ns_ = kNoTime;
  Ns seen_before_ns_ = 0;  ///< length of the stretches before
  Ns busy_ns_ = 0;
  Ns window_start_ns_ = 0;
  Ns window_busy_ns_ = 0;
  double peak_ = 0;
};

}  // namespace pin16::can
