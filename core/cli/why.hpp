// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The document of `pin16 why --json` (docs/json.md).

#include <string>

#include "core/job/job.hpp"
#include "core/reasons/explain.hpp"

namespace pin16::cli {

[[nodiscard]] std::string whyJson(const job::Job& job, const reasons::Reasoner& reasoner,
                                  const reasons::Answer& answer);

}  // namespace pin16::cli
