// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/cautions.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/base/clock.hpp"
#include "core/job/scene.hpp"

namespace pin16::readiness {
namespace {

constexpr const char* kKind = "caution";
/// What was read differs by arrangement only.
std::string textOf(const job::Job& job) { return std::string("read, ") + toText(job.arrangement); }

}  // namespace

Result<std::optional<CautionsRead>> cautionsRead(const job::Job& job) {
  const auto all = job::readScene(job);
  if (!all) return all.error();
  const auto newest = std::find_if(all->rbegin(), all->rend(), [&](const job::SceneEntry& e) {
    return e.kind == kKind && e.text == textOf(job) && !e.by.empty();
  });
  if (newest == all->rend()) return std::optional<CautionsRead>();
  return std::optional(CautionsRead{newest->by, newest->utc});
}

Status keepCautionsRead(const job::Job& job, const std::string& by) {
  if (by.empty())
    return Error{ErrorKind::usage, "nobody said who has read the cautions", "", "Give your name"};
  return job::appendScene(job, {utcText(readClocks().utc_ns), kKind, by, textOf(job)});
}

std::string cautionsNote(const job::Job& job, const CautionsRead& read) {
  return fmt::format("cautions of this job ({}) read by {}, {}", toText(job.arrangement), read.by, read.utc);
}

}  // namespace pin16::readiness
