// SPDX-License-Identifier: Apache-2.0
#include <filesystem>
#include <fstream>

#include "core/job/append.hpp"
#include "core/job/job.hpp"

namespace pin16::job {
namespace {

std::string ledgerFile(const Job& job) { return job.file + ".ledger"; }

const char* const kCutOff = "entry cut off while it was written";

bool known(const std::string& how) { return how == "measured" || how == "declared" || how == "inferred"; }

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
      return Error{ErrorKind::input,
                   "not an entry of the ledger: expected UTC<TAB>measured, declared or inferred<TAB>text",
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
    return Error{ErrorKind::usage, "a power-up is measured, declared or inferred, not '" + entry.how + "'",
                 "", ""};
  const std::string file = ledgerFile(job);
  return appendTo(file,
                  mendTail(file) + field(entry.utc) + '\t' + entry.how + '\t' + field(entry.text) + '\n',
                  "the ledger of power-ups",
                  "Check the folder's permissions and free space; until then note the power-up on paper");
}

}  // namespace pin16::job
