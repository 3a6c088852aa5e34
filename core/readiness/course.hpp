// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the course of a supply in time tells: rises at switch-on, a source that goes off by itself, a source
/// that sags. Inside core/readiness, not for other rooms. Pure functions, any thread.

#include <optional>
#include <vector>

#include "core/readiness/evidence.hpp"

namespace pin16::readiness {

/// From below `rearm` to `threshold` and above: one rise each, from `from_ns` on. What is above at the first
/// sample has risen.
struct Rises {
  std::vector<Ns> at_ns;      ///< of each rise, in order
  bool above_at_end = false;  ///< the last sample is above
};
[[nodiscard]] Rises rises(const Trace& trace, double threshold, double rearm, Ns from_ns = 0);

/// Went from a good value to a dead one in a clean step.
struct Cut {
  double after_s = 0;  ///< since it had become good, or since the first sample
  double before = 0;   ///< last good value
  double step_s = 0;   ///< between the last good sample and the first dead one
  bool lasts = false;  ///< dead to the end
};
/// good: at or above `good`; dead: below `dead`; clean: within `step_max_s`.
[[nodiscard]] std::vector<Cut> cuts(const Trace& trace, double good, double dead, double step_max_s);

/// Straight line through the samples from `from_ns` on, by least squares.
struct Trend {
  double slope_per_s = 0;
  double slope_error_per_s = 0;  ///< two standard errors, from the scatter about the line
  double last = 0;               ///< the line's value at the last sample
  double span_s = 0;
};
/// Nothing with fewer than ten samples, or all at one time.
[[nodiscard]] std::optional<Trend> trend(const Trace& trace, Ns from_ns);

}  // namespace pin16::readiness
