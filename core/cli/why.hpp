// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What `pin16 why` and `pin16 check` share: the reasons as JSON, and asking for one reading after another.

#include <functional>
#include <string>
#include <vector>

#include "core/job/job.hpp"
#include "core/reasons/explain.hpp"

namespace pin16::cli {

/// The document of `pin16 why --json` (docs/json.md).
[[nodiscard]] std::string whyJson(const job::Job& job, const reasons::Reasoner& reasoner,
                                  const reasons::Answer& answer);
/// Its part that `pin16 check --json` holds too, as member `reasons`.
[[nodiscard]] std::string reasonsJson(const reasons::Reasoner& reasoner, const reasons::Answer& answer);

/// What asking at a terminal leaves to its command.
struct Asking {
  std::function<reasons::Policy()> policy;
  /// Brings the module's power to what the reading wants; false: it stays as it is, and all of that state are
  /// left out.
  std::function<bool(reasons::Power)> bring;
  /// Keeps the reading on the record.
  std::function<Status(const reasons::Reading& reading, const std::string& answer)> keep;
};
/// Asks for the next reading, takes the answer, ranks anew and prints it, until nothing tells more or Enter.
/// `left_out` grows by what cannot be had. The error of `keep`.
Status askForReadings(reasons::Reasoner& reasoner, std::vector<bool>& left_out, bool numbers,
                      const Asking& asking);

}  // namespace pin16::cli
