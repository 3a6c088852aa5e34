// SPDX-License-Identifier: Apache-2.0
#include "core/link/slcan_clock.hpp"

#include <algorithm>

namespace pin16::link {
namespace {
constexpr std::int64_t kWholeRange_ms = 65'536;  // of devices that let 16 bits run over
constexpr Ns kDriftDivisor = 10'000;             // 100 ppm, as stamps.cpp
// Own figures: a line that was not read for a while is late in one go; a clock that was set back stays late.
constexpr Ns kLate_ns = kNsPerSecond / 2;
constexpr Ns kSetBackAfter_ns = 2 * kNsPerSecond;

std::int64_t roundedDivide(std::int64_t a, std::int64_t b) { return (a >= 0 ? a + b / 2 : a - b / 2) / b; }
}  // namespace

Ns SlcanClock::toBoot(std::uint16_t stamp_ms, Ns read_ns) {
  unwrap(stamp_ms, read_ns);
  align(read_ns);
  const Ns latest_ns = device_ms_ * kNsPerMs + offset_ns_ + kResolution_ns;
  passed(std::min(latest_ns, read_ns));
  return last_boot_ns_;
}

/// The count that is nearest to what passed on our own clock.
void SlcanClock::unwrap(std::uint16_t stamp_ms, Ns read_ns) {
  if (stamp_ms >= range_ms_) range_ms_ = kWholeRange_ms;
  if (device_ms_ == kNoTime) {
    device_ms_ = stamp_ms;
  } else {
    const std::int64_t step_ms = (stamp_ms - stamp_ms_ + range_ms_) % range_ms_;
    const std::int64_t passed_ms = (read_ns - read_ns_) / kNsPerMs;
    device_ms_ += step_ms + roundedDivide(passed_ms - step_ms, range_ms_) * range_ms_;
  }
  stamp_ms_ = stamp_ms;
  read_ns_ = read_ns;
}

void SlcanClock::align(Ns read_ns) {
  const Ns seen_ns = read_ns - device_ms_ * kNsPerMs;
  if (offset_ns_ == kNoTime) {
    offset_ns_ = seen_ns;
    aligned_ns_ = read_ns;
    return;
  }
  offset_ns_ += std::max<Ns>(0, read_ns - aligned_ns_) / kDriftDivisor;
  aligned_ns_ = read_ns;
  if (seen_ns <= offset_ns_ + kLate_ns) {
    offset_ns_ = std::min(offset_ns_, seen_ns);
    late_since_ns_ = kNoTime;
    return;
  }
  if (late_since_ns_ == kNoTime) {
    late_since_ns_ = read_ns;
    late_offset_ns_ = seen_ns;
  }
  late_offset_ns_ = std::min(late_offset_ns_, seen_ns);
  if (read_ns - late_since_ns_ < kSetBackAfter_ns) return;
  offset_ns_ = late_offset_ns_;
  late_since_ns_ = kNoTime;
}

}  // namespace pin16::link
