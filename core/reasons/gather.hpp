// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What a run or a capture tells the reasons: from the evidence that the steps are judged by.

#include <string>
#include <vector>

#include "core/job/job.hpp"
#include "core/readiness/evidence.hpp"
#include "core/reasons/reasoner.hpp"

namespace pin16::reasons {

struct Gathered {
  std::vector<Observation> observations;  ///< in the order in which to observe them
  std::vector<std::string> ignored;       ///< points that tell no cause from another here
  bool answered = false;                  ///< the job's module answered in time: no symptom
};

/// Points typed or sampled, and what the links saw. Readings that do not exist in the job's arrangement are
/// among the ignored ones.
[[nodiscard]] Gathered gather(const readiness::Evidence& evidence, const job::Job& job);

/// Readings that the job rules out: in a sealed job all that send. By catalogue index.
[[nodiscard]] std::vector<bool> ruledOut(const job::Job& job);

/// What is known of the job before anything was measured.
[[nodiscard]] Setting settingOf(const job::Job& job);

/// With what the job's ledger leaves of its budget. `powered`: the module is fed right now.
[[nodiscard]] Policy policyOf(const job::Job& job, bool powered);

}  // namespace pin16::reasons
