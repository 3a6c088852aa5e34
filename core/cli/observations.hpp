// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What evidence tells the reasons: measured points, and what was heard and answered on the bus.

#include <string>
#include <vector>

#include "core/job/job.hpp"
#include "core/readiness/evidence.hpp"
#include "core/reasons/reasoner.hpp"

namespace pin16::cli {

/// `module_heard`, `others_heard`: frames of the job's module, of others. Points that tell no cause from
/// another are named in `ignored`, if given. Only what exists in the job's arrangement.
[[nodiscard]] std::vector<reasons::Observation> observationsOf(const readiness::Evidence& evidence,
                                                               const job::Job& job, bool module_heard,
                                                               bool others_heard,
                                                               std::vector<std::string>* ignored = nullptr);

/// Readings that cannot be had in this job: in a sealed one whatever needs a request or a reseating.
[[nodiscard]] std::vector<bool> notToBeHad(const job::Job& job);

}  // namespace pin16::cli
