// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Time inside Pin16: CLOCK_BOOTTIME nanoseconds; UTC by an offset read together with it.

#include <cstdint>
#include <optional>
#include <string>

namespace pin16 {

/// Nanoseconds; which clock, the name of the variable says (t_boot_ns, t_utc_ns).
using Ns = std::int64_t;

/// "this record carries no time" (pcapng simple packet blocks, damaged stamps).
inline constexpr Ns kNoTime = INT64_MIN;

inline constexpr Ns kNsPerMs = 1'000'000;
inline constexpr Ns kNsPerSecond = 1'000'000'000;
[[nodiscard]] constexpr double toMs(Ns span_ns) { return static_cast<double>(span_ns) / kNsPerMs; }
[[nodiscard]] constexpr double toSeconds(Ns span_ns) { return static_cast<double>(span_ns) / kNsPerSecond; }
/// Cut off towards zero.
[[nodiscard]] constexpr Ns fromMs(double ms) { return static_cast<Ns>(ms * kNsPerMs); }
[[nodiscard]] constexpr Ns fromSeconds(double s) { return static_cast<Ns>(s * kNsPerSecond); }

/// CLOCK_BOOTTIME and CLOCK_REALTIME read back to back.
struct ClockPair {
  Ns boot_ns = 0;
  Ns utc_ns = 0;
  [[nodiscard]] Ns offset() const { return utc_ns - boot_ns; }
};

[[nodiscard]] Ns bootNow();
[[nodiscard]] ClockPair readClocks();

/// What the kernel says of the wall clock's discipline (adjtimex).
struct ClockState {
  bool synchronised = false;   ///< STA_UNSYNC clear
  Ns estimated_error_ns = -1;  ///< kernel's estimate; -1 unknown
};
[[nodiscard]] ClockState readClockState();

/// "2026-11-25T17:39:43.123456Z"; "no time" for kNoTime.
[[nodiscard]] std::string utcText(Ns t_utc_ns);
/// "2026-11-27T18:30:05Z", "...+01:00", fractions of a second too; a zone is needed.
[[nodiscard]] std::optional<Ns> parseUtc(const std::string& text);

}  // namespace pin16
