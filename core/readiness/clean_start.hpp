// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Will the module start once, or again and again? From what the job says of source, leads and module
/// ([feed], [module]), by the transient of that network (core/circuit). One rise through the start threshold
/// is one power-up. Pure functions.

#include <optional>
#include <string>

#include "core/job/job.hpp"

namespace pin16::readiness {

struct CleanStart {
  bool possible = false;      ///< it starts at all
  int starts = 0;             ///< within watched_s after switching on
  double watched_s = 0;       ///< kWatched_s, or until it had started kStartsMost times
  double lowest_V = 0;        ///< at the module, from its first start on
  double steady_V = 0;        ///< at the end; of a module that starts again and again the last value
  double longest_gap_ms = 0;  ///< of its feed that the running module rides through, up to kGapMost_ms
  std::optional<double> limit_least_A;  ///< of a limited supply: the least setting with which it starts once
  /// More resistance in the feed than said with which it still starts once, up to kMoreMost_ohm.
  double more_ohm = 0;
  std::string assumed;  ///< what the job does not say and was taken from core/circuit's typical module
  [[nodiscard]] bool clean() const { return starts == 1; }
};
inline constexpr int kStartsMost = 20;
inline constexpr double kWatched_s = 3;  // own figure: several boots
inline constexpr double kGapMost_ms = 2000;
inline constexpr double kMoreMost_ohm = 100;

/// Nothing if the job does not say what feeds the module. ErrorKind::input if the figures make no network.
[[nodiscard]] Result<std::optional<CleanStart>> predictStart(const job::Job& job);
/// For people, one to three sentences; empty for nothing.
[[nodiscard]] std::string startText(const std::optional<CleanStart>& start);

/// Share of gaps of this length that a meter sees which takes a value every `every_s` and integrates for
/// `aperture_s`: any overlap counts. (length + aperture) / interval, at most 1.
[[nodiscard]] double shareSeen(double gap_s, double every_s, double aperture_s);

}  // namespace pin16::readiness
