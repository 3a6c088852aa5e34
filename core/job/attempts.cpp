// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "core/job/append.hpp"
#include "core/job/job.hpp"

namespace pin16::job {
namespace {

constexpr std::size_t kFields = 7;
constexpr int kCyclesMost = 60000;  // 49 CFR 563.8 Table III
constexpr int kCyclesAccuracy = 1;  // of each reading, there

std::string fileOf(const Job& job) { return job.file + ".attempts"; }

std::optional<int> numberOf(const std::string& text) {
  const auto v = toUnsigned(text);
  return v && *v <= kCyclesMost ? std::optional<int>(static_cast<int>(*v)) : std::nullopt;
}

bool parseLine(const std::string& line, AttemptEntry& e) {
  std::vector<std::string> parts(1);
  for (const char c : line) {
    if (c == '\t')
      parts.emplace_back();
    else
      parts.back() += c;
  }
  if (parts.size() != kFields || parts[1].empty()) return false;
  e = {parts[0], parts[1], numberOf(parts[2]), numberOf(parts[3]), parts[4], parts[5], parts[6]};
  return true;
}

/// What ends a line that a crash cut off: it stays an attempt, and the next one begins anew.
std::string mendTail(const std::string& file) {
  std::string line;
  if (!cutOff(file, line)) return {};
  if (AttemptEntry e; parseLine(line, e)) return "\n";
  auto tabs = static_cast<std::size_t>(std::count(line.begin(), line.end(), '\t'));
  std::string out;
  if (tabs == 0) out = "\t", tabs = 1;
  if (tabs == 1 && (line.empty() || line.back() == '\t' || !out.empty())) out += "unknown";
  return out + std::string(kFields - 1 - std::min(tabs, kFields - 1), '\t') +
         " (cut off while it was written)\n";
}

std::string text(const std::optional<int>& n) { return n ? std::to_string(*n) : "-"; }

}  // namespace

Result<std::vector<AttemptEntry>> readAttempts(const Job& job) {
  std::vector<AttemptEntry> out;
  if (job.file.empty() || !std::filesystem::exists(fileOf(job))) return out;
  std::ifstream in(fileOf(job), std::ios::binary);
  if (!in)
    return Error{ErrorKind::input, "the list of attempts cannot be read", fileOf(job),
                 "Check its permissions"};
  std::string line;
  for (std::size_t number = 1; std::getline(in, line); ++number) {
    AttemptEntry e;
    if (line.empty()) continue;
    if (!parseLine(line, e))
      return Error{
          ErrorKind::input,
          fmt::format("not an attempt: expected {} fields parted by tabs: UTC, rung, power-up, ignition "
                      "cycle, what was changed, what the other program said, capture",
                      kFields),
          fmt::format("{}:{}", fileOf(job), number),
          "Entries are only ever appended; put the line right by hand and note that you did"};
    out.push_back(std::move(e));
  }
  return out;
}

Status appendAttempt(const Job& job, const AttemptEntry& e) {
  if (job.file.empty()) return {};
  return appendTo(fileOf(job),
                  mendTail(fileOf(job)) + fmt::format("{}\t{}\t{}\t{}\t{}\t{}\t{}\n", field(e.utc),
                                                      field(e.rung), text(e.power_up), text(e.cycles),
                                                      field(e.changed), field(e.said), field(e.capture)),
                  "the list of attempts",
                  "Check the folder's permissions and free space; until then note the attempt on paper");
}

std::string stopText(const Job& job, const std::vector<AttemptEntry>& attempts) {
  if (!job.stop_after_alike || attempts.empty() || attempts.back().rung == "through") return {};
  const auto other = std::find_if(attempts.rbegin(), attempts.rend(),
                                  [&](const AttemptEntry& e) { return e.rung != attempts.back().rung; });
  const auto alike = other - attempts.rbegin();
  if (alike < *job.stop_after_alike) return {};
  return fmt::format(
      "stop rule of this job: {} attempts in a row ended `{}`. Take another access, or agree on going on",
      alike, attempts.back().rung);
}

std::string reconcileCycles(const std::vector<AttemptEntry>& attempts) {
  const auto usable = [](const AttemptEntry& e) { return e.cycles && e.power_up; };
  const auto first = std::find_if(attempts.begin(), attempts.end(), usable);
  const auto last = std::find_if(attempts.rbegin(), attempts.rend(), usable);
  if (first == attempts.end() || &*first == &*last) return {};
  const int counted = *last->power_up - *first->power_up;
  const int told = *last->cycles - *first->cycles;
  const bool full = *last->cycles == kCyclesMost;
  const bool consistent = std::abs(told - counted) <= 2 * kCyclesAccuracy;
  return fmt::format(
      "\"ignition cycle, download\" (49 CFR 563.5) went from {} to {}, by {}; this job's ledger has {} "
      "power-ups "
      "between the two: {} (accuracy +/-{} each, 49 CFR 563.8)",
      *first->cycles, *last->cycles, told, counted,
      full         ? "the count is at its end and tells nothing"
      : consistent ? "consistent with a count of one for each"
                   : "not consistent with a count of one for each",
      kCyclesAccuracy);
}

}  // namespace pin16::job
