// SPDX-License-Identifier: Apache-2.0
#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

std::string ledgerFile(const Job& job) { return job.file + ".ledger"; }

/// One field of a line: what would break the line becomes a blank.
std::string field(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](char c) { return c == '\t' || c == '\n' || c == '\r'; }, ' ');
  return text;
}

Error writeError(const std::string& file, const char* what) {
  return Error{ErrorKind::record, std::string(what) + ": " + std::strerror(errno), file,
               "Check the folder's permissions and free space; until then note the power-up on paper"};
}

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
  std::ifstream in(file, std::ios::binary);
  std::string line;
  bool inside = false;
  while (std::getline(in, line)) inside = in.eof();
  PowerUp entry;
  if (!inside) return {};
  return parseLine(line, entry) ? "\n" : std::string("\tinferred\t") + kCutOff + "\n";
}

/// The name of a new file is on disk only once its folder is.
bool syncFolderOf(const std::string& file) {
  std::string folder = std::filesystem::path(file).parent_path().string();
  if (folder.empty()) folder = ".";
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) return false;
  const bool good = ::fsync(fd) == 0;
  ::close(fd);
  return good;
}

bool writeAll(int fd, std::string_view text) {
  while (!text.empty()) {
    const ssize_t n = ::write(fd, text.data(), text.size());
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return false;
    text.remove_prefix(static_cast<std::size_t>(n));
  }
  return true;
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
  const bool is_new = !std::filesystem::exists(file);
  const std::string start = mendTail(file);
  const int fd = ::open(file.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
  if (fd < 0) return writeError(file, "the ledger of power-ups cannot be opened");
  const bool good =
      writeAll(fd, start + field(entry.utc) + '\t' + entry.how + '\t' + field(entry.text) + '\n') &&
      ::fsync(fd) == 0;
  const Error error = writeError(file, "the ledger of power-ups could not be written");
  ::close(fd);
  if (!good) return error;
  if (is_new && !syncFolderOf(file)) return writeError(file, "the new ledger's folder could not be synced");
  return {};
}

}  // namespace pin16::job
