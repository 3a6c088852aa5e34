// SPDX-License-Identifier: Apache-2.0
#pragma once
/// From the time stamps of a driver to CLOCK_BOOTTIME. One object a link; no threads inside.

#include "core/base/clock.hpp"

namespace pin16::link {

/// As the kernel hands them over with a frame; kNoTime where it gave none.
struct Stamps {
  Ns software_utc_ns = kNoTime;  ///< CLOCK_REALTIME when the kernel took the frame in
  Ns hardware_ns = kNoTime;      ///< the adapter's own clock: its zero and its rate are its own affair
};

class StampClock {
 public:
  enum class Origin { none, user, kernel, hardware };

  /// When the frame came, by the best stamp there is; never later than `now`, the clocks read after it came.
  ///
  /// A hardware clock is tied to ours through the frames that carry both stamps: software minus hardware is
  /// offset plus delay, so its smallest value so far is the offset. It is let rise by 100 ppm (own figure:
  /// two crystals of 50 ppm), so that it follows drift, and taken anew if the adapter's clock was set.
  [[nodiscard]] Ns toBoot(const Stamps& stamps, const ClockPair& now);
  /// Of the last time given; none before the first.
  [[nodiscard]] Origin origin() const { return origin_; }

 private:
  Origin origin_ = Origin::none;
  Ns offset_ns_ = kNoTime;     // CLOCK_BOOTTIME minus hardware clock
  Ns last_boot_ns_ = kNoTime;  // when the offset was last looked at
};

}  // namespace pin16::link
