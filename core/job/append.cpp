// SPDX-License-Identifier: Apache-2.0
#include "core/job/append.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

namespace pin16::job {
namespace {

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

std::string field(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](char c) { return c == '\t' || c == '\n' || c == '\r'; }, ' ');
  return text;
}

bool cutOff(const std::string& file, std::string& last_line) {
  std::ifstream in(file, std::ios::binary);
  std::string line;
  bool inside = false;
  while (std::getline(in, line)) {
    inside = in.eof();
    last_line = line;
  }
  return inside;
}

Status appendTo(const std::string& file, std::string_view text, const std::string& what,
                const std::string& advice) {
  const auto failed = [&](const char* how) {
    return Error{ErrorKind::record, what + " " + how + ": " + std::strerror(errno), file, advice};
  };
  const bool is_new = !std::filesystem::exists(file);
  const int fd = ::open(file.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
  if (fd < 0) return failed("cannot be opened");
  const bool good = writeAll(fd, text) && ::fsync(fd) == 0;
  const Error error = failed("could not be written");
  ::close(fd);
  if (!good) return error;
  if (is_new && !syncFolderOf(file)) return failed("is new, and its folder could not be synced");
  return {};
}

Status createNew(const std::string& file, std::string_view text, const std::string& what) {
  const auto failed = [&](const char* how) {
    return Error{ErrorKind::record, what + " " + how + ": " + std::strerror(errno), file,
                 "Check the folder, its permissions and free space"};
  };
  const int fd = ::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
  if (fd < 0 && errno == EEXIST)
    return Error{ErrorKind::usage, "there is a file of this name", file,
                 "It stays as it is; choose another name"};
  if (fd < 0) return failed("cannot be made");
  const bool good = writeAll(fd, text) && ::fsync(fd) == 0;
  const Error error = failed("could not be written");
  ::close(fd);
  if (!good) return error;
  if (!syncFolderOf(file)) return failed("is new, and its folder could not be synced");
  return {};
}

}  // namespace pin16::job
