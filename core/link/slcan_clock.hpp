// SPDX-License-Identifier: Apache-2.0
#pragma once
/// From an adapter's 16-bit millisecond stamps, which start anew each minute, to CLOCK_BOOTTIME. Pure; one
/// object a link; no threads inside.

#include <cstdint>

#include "core/base/clock.hpp"

namespace pin16::link {

class SlcanClock {
 public:
  /// When the frame came that was read at `read_ns`: never later than that, never earlier than the one
  /// before.
  ///
  /// Read time minus stamp is offset plus delay, so its smallest value so far is the offset (as StampClock
  /// does it, with the same 100 ppm of drift). The stamp is cut to whole milliseconds: the frame came within
  /// the millisecond behind it, or when it was read if that is earlier. What the fastest frame took stays in
  /// the times.
  [[nodiscard]] Ns toBoot(std::uint16_t stamp_ms, Ns read_ns);
  /// Something without a stamp was read at this time: what comes behind it is not earlier.
  void passed(Ns t_boot_ns) { last_boot_ns_ = t_boot_ns > last_boot_ns_ ? t_boot_ns : last_boot_ns_; }
  /// Of the stamps: 1 ms.
  static constexpr Ns kResolution_ns = kNsPerMs;

 private:
  void unwrap(std::uint16_t stamp_ms, Ns read_ns);
  void align(Ns read_ns);

  Ns device_ms_ = kNoTime;  ///< the stamp as a count that does not start anew
  std::uint16_t stamp_ms_ = 0;
  Ns read_ns_ = 0;  ///< of that stamp
  std::int64_t range_ms_ = 60'000;
  Ns offset_ns_ = kNoTime;  ///< CLOCK_BOOTTIME minus the device's clock, smallest delay included
  Ns aligned_ns_ = 0;       ///< read time of the last frame
  Ns late_since_ns_ = kNoTime;
  Ns late_offset_ns_ = 0;  ///< smallest since then
  Ns last_boot_ns_ = INT64_MIN;
};

}  // namespace pin16::link
