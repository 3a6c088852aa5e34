// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The attempts of a job, one after another: those kept beside the job, and those of the capture at hand.
/// Pure functions.

#include <optional>
#include <string>
#include <vector>

#include "core/job/job.hpp"
#include "core/protocol/attempt.hpp"

namespace pin16::review {

struct AttemptRow {
  std::string utc;   ///< of its begin
  std::string rung;  ///< protocol::toName(Rung); empty: under way
  std::optional<int> power_up;
  std::optional<int> cycles;
  /// What the supply did about its last progress, "V(pin16,pin4) 12.4 V, lowest 9.6 V"; empty not known here.
  std::string supply;
  std::string changed, said, capture;
  bool here = false;  ///< in the capture at hand
};
/// By time. An attempt that is kept and in the capture too, told by its begin to the second, is one row.
[[nodiscard]] std::vector<AttemptRow> attemptRows(const std::vector<job::AttemptEntry>& kept,
                                                  const std::vector<protocol::AttemptReport>& here,
                                                  const std::string& capture);

/// The supply point that fell lowest, in one line; empty if none was measured.
[[nodiscard]] std::string supplyText(const protocol::AttemptReport& attempt);

}  // namespace pin16::review
