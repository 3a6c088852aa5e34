// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/rollcall.hpp"

#include <fmt/format.h>

#include <cstdio>

#include "core/cli/live_json.hpp"
#include "core/cli/options.hpp"
#include "core/cli/run.hpp"
#include "core/job/job.hpp"
#include "core/protocol/vin.hpp"

namespace pin16::cli {
namespace {

void print(const protocol::RollCall& roll) {
  if (roll.modules().empty()) {
    fmt::print("nobody answered ({} requests sent). Silence is no proof of absence\n", roll.sent());
    return;
  }
  fmt::print("{:<5}{:<10}{:<10}{:<20}{:>8}  {}\n", "link", "request", "answer", "VIN", "of",
             "response ms, min median max");
  for (const auto& m : roll.modules()) {
    fmt::print("{:<5}{:<10}{:<10}{:<20}{:>8}  {:.1f} {:.1f} {:.1f}{}\n", m.link,
               protocol::idText(m.request_id, m.extended, m.medium != event::Medium::can),
               protocol::idText(m.answer_id, m.extended, m.medium != event::Medium::can), m.vin.value_or("-"),
               fmt::format("{}/{}", m.answered, m.asked), m.response_ms_min, m.response_ms_median,
               m.response_ms_max, m.late ? "  late" : "");
    if (m.vin) fmt::print("     {}\n", protocol::vinRemark(*m.vin));
  }
}

}  // namespace

int rollcall(const Options& o) {
  watchInterrupts();
  protocol::RollCallPlan plan;
  plan.repeats = plan.functional_repeats = o.repeats;
  plan.links = busLinks(o.uris);
  if (!o.sweep.empty()) {
    const auto range = protocol::parseSweep(o.sweep);
    if (!range) return fail(range.error());
    plan.sweep = *range;
  }
  recorder::Config config;
  config.uris = o.uris;
  config.file = captureName(o.output, "rollcall");
  config.command = "pin16 rollcall";
  config.rate_fixed = o.rate_known;
  limits::Limits limits;
  std::optional<job::Job> job;
  if (!o.job.empty()) {
    auto read = job::readJob(o.job);
    if (!read) return fail(read.error());
    job = *std::move(read);
    if (job->module.address) {
      const auto& a = *job->module.address;
      plan.module = protocol::Target{a.request_id, a.answer_id, a.extended, false};
    }
    plan.line_module = job->module.line_address;
    applyJob(config, *job);
    limits = job->limits;
  }
  if (o.search)
    if (const Status search = beginSearch(config); !search) return fail(search.error());
  if (job) completeUris(config.uris, *job);
  auto session = recorder::Session::start(config);
  if (!session) return fail(session.error());
  LinkBoard board;
  std::optional<Error> trouble;
  if (Status ready =
          waitForLinks(**session, board, board, o.uris.size(), kLinksWait_s + (o.search ? kSearchWait_s : 0));
      !ready)
    trouble = ready.error();
  if (!trouble && !config.rate_fixed)
    (void)pollUntil(**session, board, std::chrono::seconds(1), [] { return false; });
  protocol::RollCall roll(plan, limits);
  while (!trouble && !interrupted()) {
    const auto next = roll.next();
    if (!next) break;
    const auto result = askRecorder(**session, board, *next);
    if (!result.state && result.state.error().kind == ErrorKind::record) trouble = result.state.error();
    roll.take(result);
  }
  if (!trouble && roll.sent() == 0 && roll.firstError()) trouble = roll.firstError();
  const auto ended = finishRun(**session, board);
  if (!trouble) {
    if (o.json)
      fmt::print("{}\n", rollCallJson(board.states(), roll, (*session)->file()));
    else
      print(roll);
  }
  if (!ended) return fail(ended.error());
  if (trouble) return fail(*trouble);
  return roll.modules().empty() ? kExitNotReady : kExitReady;
}

}  // namespace pin16::cli
