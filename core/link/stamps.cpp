// SPDX-License-Identifier: Apache-2.0
#include "core/link/stamps.hpp"

#include <algorithm>
#include <cstdlib>

namespace pin16::link {
namespace {
constexpr Ns kDriftDivisor = 10'000;  // 100 ppm
constexpr Ns kClockWasSet_ns =
    kNsPerSecond / 2;  // own figure: no frame waits that long for its software stamp
}  // namespace

Ns StampClock::toBoot(const Stamps& stamps, const ClockPair& now) {
  if (stamps.software_utc_ns == kNoTime) {
    origin_ = Origin::user;
    return now.boot_ns;
  }
  const Ns software_ns = std::min(stamps.software_utc_ns - now.offset(), now.boot_ns);
  if (stamps.hardware_ns == kNoTime) {
    origin_ = Origin::kernel;
    return software_ns;
  }
  origin_ = Origin::hardware;
  const Ns seen_ns = software_ns - stamps.hardware_ns;
  if (offset_ns_ == kNoTime || std::abs(seen_ns - offset_ns_) > kClockWasSet_ns) {
    offset_ns_ = seen_ns;
  } else {
    const Ns elapsed_ns = std::max<Ns>(0, software_ns - last_boot_ns_);
    offset_ns_ = std::min(offset_ns_ + elapsed_ns / kDriftDivisor, seen_ns);
  }
  last_boot_ns_ = software_ns;
  return std::min(stamps.hardware_ns + offset_ns_, now.boot_ns);
}

}  // namespace pin16::link
