// SPDX-License-Identifier: Apache-2.0
#pragma once
/// `pin16 links --rate-search`: which standard bit rate a bus runs at, by listening only. A rate is never
/// driven onto a bus: an adapter that cannot listen only is refused. One call a thread.

#include <chrono>
#include <cstdint>
#include <string>
#include <vector>

#include "core/base/result.hpp"
#include "core/link/link.hpp"

namespace pin16::link {

struct RateTried {
  std::uint32_t bitrate = 0;  ///< bit/s
  std::uint64_t frames = 0;   ///< valid ones
  std::uint64_t error_frames = 0;
};

struct RateReport {
  std::string uri;
  bool searched = false;          ///< false: a kernel interface; `next` says how the operator does it
  std::uint32_t found = 0;        ///< bit/s; 0: none carried valid frames
  std::vector<RateTried> tried;   ///< in the order tried; the search ends with the rate found
  std::string text;               ///< the result in one sentence
  std::vector<std::string> next;  ///< what to do now: sentences and command lines
};

/// Valid frames that prove a rate: a wrong one passes no CRC but by chance (own figure).
inline constexpr std::uint64_t kFramesToProve = 3;

/// Tries the rates of `slcan:`, the usual ones first, each for `each` at most; whatever the URI says, the
/// adapter is opened listen-only. ErrorKind::usage: another scheme, or a bad URI; link: the device does not
/// open, or not listen-only.
[[nodiscard]] Result<RateReport> searchRate(const Uri& uri,
                                            std::chrono::milliseconds each = std::chrono::milliseconds(1500));

}  // namespace pin16::link
