// SPDX-License-Identifier: Apache-2.0
// `pin16 plan`: the order of the hook-up and what power will do, before anything is joined.
#include <fmt/format.h>

#include "core/cli/options.hpp"
#include "core/job/job.hpp"
#include "core/readiness/hook_up.hpp"

namespace pin16::cli {

int plan(const Options& o) {
  const auto job = job::readJob(o.job);
  if (!job) return fail(job.error());
  const auto ledger = job::readLedger(*job);
  if (!ledger) return fail(ledger.error());
  if (o.json)
    fmt::print("{}\n", readiness::planJson(*job, *ledger));
  else
    fmt::print("{}", readiness::planText(*job, *ledger));
  return kExitReady;
}

}  // namespace pin16::cli
