// SPDX-License-Identifier: Apache-2.0
// The commands that read files only: review, verify, bench.
#include <fmt/format.h>

#include "core/bench/bench.hpp"
#include "core/capture/describe.hpp"
#include "core/capture/reader.hpp"
#include "core/capture/verify.hpp"
#include "core/cli/live_json.hpp"
#include "core/cli/options.hpp"
#include "core/cli/print_event.hpp"
#include "core/job/job.hpp"
#include "core/review/review.hpp"

namespace pin16::cli {

int review(const Options& o) {
  std::optional<job::Job> hints;
  if (!o.job.empty()) {
    auto job = job::readJob(o.job);
    if (!job) return fail(job.error());
    hints = std::move(*job);
  }
  if (o.lines) {
    auto reader = capture::Reader::open(o.file);
    if (!reader) return fail(reader.error());
    bool damaged = false;
    for (event::Batch batch; (*reader)->next(batch);) {
      printEvents(batch);
      for (const auto& h : batch.headers) damaged = damaged || h.kind == event::Kind::damage;
    }
    return damaged ? kExitNotReady : kExitReady;
  }
  const auto summary = review::reviewFile(o.file, hints ? &*hints : nullptr);
  if (!summary) return fail(summary.error());
  fmt::print("{}", o.json ? review::toJson(*summary) + "\n" : review::toText(*summary));
  return summary->damage.empty() ? kExitReady : kExitNotReady;
}

int verify(const Options& o) {
  const auto report = capture::verify(o.file);
  if (!report) return fail(report.error());
  if (o.json)
    fmt::print("{}\n", verifyJson(o.file, *report));
  else
    fmt::print("{}: {}\n", o.file, report->text);
  return report->whole ? kExitReady : kExitNotReady;
}

int bench(const Options& o) {
  const auto scenario = pin16::bench::loadScenario(o.file);
  if (!scenario) return fail(scenario.error());
  if (!o.readings_only) {
    const auto text = pin16::bench::print(*scenario);
    if (!text) return fail(text.error());
    fmt::print("{}", *text);
    return kExitReady;
  }
  const auto readings = pin16::bench::readings(*scenario);
  if (!readings) return fail(readings.error());
  for (const auto& r : *readings) fmt::print("{}\n", pin16::bench::readingText(r));
  return kExitReady;
}

}  // namespace pin16::cli
