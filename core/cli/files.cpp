// SPDX-License-Identifier: Apache-2.0
// The commands that read captures only: review, verify.
#include <fmt/format.h>

#include <utility>

#include "core/capture/describe.hpp"
#include "core/capture/reader.hpp"
#include "core/capture/verify.hpp"
#include "core/cli/live_json.hpp"
#include "core/cli/options.hpp"
#include "core/cli/plugin_options.hpp"
#include "core/cli/print_event.hpp"
#include "core/job/job.hpp"
#include "core/readiness/appraisal.hpp"
#include "core/readiness/path.hpp"
#include "core/review/review.hpp"
#include "core/review/search.hpp"

namespace pin16::cli {
namespace {

/// Rows leave as they are found: there may be millions.
int find(const Options& o, const job::Job* hints) {
  const auto query = review::parseQuery(o.find);
  if (!query) return fail(query.error());
  bool begun = false;
  const auto searched = review::searchFile(o.file, *query, hints, [&](const review::Hit& hit) {
    if (o.json)
      fmt::print("{}{}", std::exchange(begun, true) ? "," : findJsonHead(o.file, o.find), hitJson(hit));
    else
      printEvent(hit.t_ns, hit.link, hit.outbound, hit.text);
  });
  if (!searched) return fail(searched.error());
  if (o.json) fmt::print("{}{}\n", begun ? "" : findJsonHead(o.file, o.find), findJsonEnd(*searched));
  return searched->found == 0 || searched->damaged ? kExitNotReady : kExitReady;
}

/// As `check` would judge what was observed and declared then.
int sheet(const Options& o, job::Job job) {
  auto opened = readiness::Appraisal::open(o.file, std::move(job), pluginOptions(o));
  if (!opened) return fail(opened.error());
  readiness::Appraisal& a = **opened;
  while (a.next()) {
  }
  a.finish();
  if (o.json)
    fmt::print("{}", readiness::toJson(a.sheet()));
  else
    fmt::print("{}\nSupply path\n{}", readiness::toPlainText(a.sheet()),
               readiness::toPlainText(readiness::supplyPath(a.job(), a.evidence(), a.sheet())));
  return a.sheet().overall == readiness::Overall::ready ? kExitReady : kExitNotReady;
}

}  // namespace

int review(const Options& o) {
  std::optional<job::Job> hints;
  if (!o.job.empty()) {
    auto job = job::readJob(o.job);
    if (!job) return fail(job.error());
    hints = std::move(*job);
  }
  if (o.sheet) return sheet(o, std::move(*hints));
  if (!o.find.empty()) return find(o, hints ? &*hints : nullptr);
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
  const auto summary = review::reviewFile(o.file, hints ? &*hints : nullptr, pluginOptions(o));
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

}  // namespace pin16::cli
