// SPDX-License-Identifier: Apache-2.0
#include "core/recorder/attempt_mark.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>

namespace pin16::recorder {
namespace {

constexpr const char* kEnding = ".attempt";

std::string markOf(const std::string& socket) { return socket + kEnding; }

}  // namespace

AttemptMark::~AttemptMark() {
  if (fd_ < 0) return;
  ::unlink(file_.c_str());
  ::close(fd_);
}

Status AttemptMark::set(const std::string& socket) {
  if (fd_ >= 0) return {};
  file_ = markOf(socket);
  fd_ = ::open(file_.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
  if (fd_ < 0 || ::flock(fd_, LOCK_EX | LOCK_NB) != 0)
    return Error{ErrorKind::record,
                 std::string("other recordings cannot be told of the attempt: ") + std::strerror(errno),
                 file_, "check that its folder is yours and not full"};
  return {};
}

bool attemptElsewhere(const std::string& socket) {
  const std::string own = markOf(socket);
  std::error_code fault;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::filesystem::path(socket).parent_path(), fault)) {
    const std::string path = entry.path().string();
    if (!path.ends_with(kEnding) || path == own) continue;
    const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (fd < 0) continue;
    const bool held = ::flock(fd, LOCK_SH | LOCK_NB) != 0;
    ::close(fd);
    if (held) return true;
  }
  return false;
}

}  // namespace pin16::recorder
