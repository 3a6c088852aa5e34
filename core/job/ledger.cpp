// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "core/job/append.hpp"
#include "core/job/job.hpp"

namespace pin16::job {
namespace {

std::string ledgerFile(const Job& job) { return job.file + ".ledger"; }

const char* const kCutOff = "entry cut off while it was written";

bool isRise(const std::string& how) { return how == "measured" || how == "declared" || how == "inferred"; }
bool known(const std::string& how) {
  return isRise(how) || how == "missed" || how == "woke" || how == "removed";
}

/// Read from the right: the text holds no tab, and a cut-off entry may have lost anything before it.
bool parseLine(const std::string& line, PowerUp& entry) {
  const std::size_t second = line.rfind('\t');
  if (second == std::string::npos || second == 0) return false;
  const std::size_t first = line.rfind('\t', second - 1);
  if (first == std::string::npos) return false;
  entry = {line.substr(0, first), line.substr(first + 1, second - first - 1), line.substr(second + 1)};
  return known(entry.how);
}

/// What has to stand before a new entry so that one cut off by a crash still counts as a power-up.
std::string mendTail(const std::string& file) {
  std::string line;
  if (!cutOff(file, line)) return {};
  PowerUp entry;
  return parseLine(line, entry) ? "\n" : std::string("\tinferred\t") + kCutOff + "\n";
}

}  // namespace

Result<std::vector<PowerUp>> readLedger(const Job& job) {
  std::vector<PowerUp> out;
  if (job.file.empty() || !std::filesystem::exists(ledgerFile(job))) return out;
  std::ifstream in(ledgerFile(job), std::ios::binary);
  if (!in)
    return Error{ErrorKind::input, "the ledger of power-ups cannot be read", ledgerFile(job),
                 "Check its permissions"};
  std::string line;
  for (std::size_t number = 1; std::getline(in, line); ++number) {
    if (line.empty()) continue;
    PowerUp entry;
    if (parseLine(line, entry)) {
      out.push_back(std::move(entry));
    } else if (in.eof()) {
      out.push_back({line, "inferred", kCutOff});
    } else {
      return Error{
          ErrorKind::input,
          "not an entry of the ledger: expected UTC<TAB>measured, declared, inferred, missed, woke or "
          "removed<TAB>text",
          ledgerFile(job) + ":" + std::to_string(number),
          "Entries are only ever appended; put the line right by hand and note that you did"};
    }
  }
  return out;
}

Status appendPowerUp(const Job& job, const PowerUp& entry) {
  if (job.file.empty())
    return Error{ErrorKind::usage, "a job without a file has no ledger of power-ups", "",
                 "Give a job file with --job"};
  if (!known(entry.how))
    return Error{ErrorKind::usage,
                 "an entry of the ledger is measured, declared, inferred, missed, woke or removed, not '" +
                     entry.how + "'",
                 "", ""};
  const std::string file = ledgerFile(job);
  return appendTo(file,
                  mendTail(file) + field(entry.utc) + '\t' + entry.how + '\t' + field(entry.text) + '\n',
                  "the ledger of power-ups",
                  "Check the folder's permissions and free space; until then note the power-up on paper");
}

std::string toText(const PowerCounts& c) {
  std::string out = fmt::format("{} measured, {} declared", c.measured, c.declared);
  if (c.inferred > 0) out += fmt::format(", {} inferred", c.inferred);
  if (c.missed > 0) out += fmt::format("; {} did not reach the module", c.missed);
  if (c.wake_ups > 0) out += fmt::format("; {} wake-up{}", c.wake_ups, c.wake_ups == 1 ? "" : "s");
  return out;
}

PowerCounts countPower(const std::vector<PowerUp>& ledger) {
  PowerCounts c;
  for (const PowerUp& e : ledger) {
    c.measured += e.how == "measured" ? 1 : 0;
    c.declared += e.how == "declared" ? 1 : 0;
    c.inferred += e.how == "inferred" ? 1 : 0;
    c.missed += e.how == "missed" ? 1 : 0;
    c.wake_ups += e.how == "woke" ? 1 : 0;
  }
  c.missed = std::min(c.missed, c.supplyRises());
  return c;
}

std::string lastRise(const std::vector<PowerUp>& ledger) {
  const auto last =
      std::find_if(ledger.rbegin(), ledger.rend(), [](const PowerUp& e) { return isRise(e.how); });
  return last == ledger.rend() ? "" : last->utc;
}

std::optional<Ns> removedAt(const std::vector<PowerUp>& ledger) {
  for (auto e = ledger.rbegin(); e != ledger.rend() && !isRise(e->how); ++e)
    if (e->how == "removed") return parseUtc(e->utc);
  return std::nullopt;
}

}  // namespace pin16::job
