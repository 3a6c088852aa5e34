// SPDX-License-Identifier: Apache-2.0
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

constexpr std::size_t kKeyBytes = 32;  // as many as the hash gives: RFC 2104, section 3

Error keyError(ErrorKind kind, const std::string& file, std::string what, std::string advice) {
  return {kind, std::move(what), file, std::move(advice)};
}

Result<Bytes> readKey(const std::string& file, int fd) {
  struct stat facts {};
  if (fstat(fd, &facts) != 0 || (facts.st_mode & 077) != 0)
    return keyError(ErrorKind::input, file, "others than its owner may read the key of the job's digests",
                    fmt::format("chmod 600 {}: who has it can guess short contents", file));
  std::array<char, 2 * kKeyBytes + 1> text{};
  const ssize_t n = ::read(fd, text.data(), text.size());
  if (n >= static_cast<ssize_t>(2 * kKeyBytes)) {
    auto key = fromHex({text.data(), 2 * kKeyBytes});
    if (key && key->size() == kKeyBytes) return *key;
  }
  return keyError(ErrorKind::input, file, "this is no key of a job's digests: expected 64 hex digits",
                  "move it away, and a new one is made; digests made before cannot be compared any more");
}

}  // namespace

Result<Bytes> digestKey(const Job& job) {
  if (job.file.empty()) return Bytes();
  const std::string file = job.file + ".key";
  int fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd >= 0) {
    auto key = readKey(file, fd);
    ::close(fd);
    return key;
  }
  Bytes key(kKeyBytes);
  const auto failed = [&] {
    return keyError(ErrorKind::record, file,
                    fmt::format("the key of the job's digests could not be made: {}", std::strerror(errno)),
                    "check the folder's permissions and free space");
  };
  if (errno != ENOENT || getrandom(key.data(), key.size(), 0) != static_cast<ssize_t>(key.size()))
    return failed();
  fd = ::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
  if (fd < 0) return failed();
  const std::string text = toHex(key) + "\n";
  const bool good =
      ::write(fd, text.data(), text.size()) == static_cast<ssize_t>(text.size()) && ::fsync(fd) == 0;
  ::close(fd);
  if (!good) {
    const Error e = failed();
    ::unlink(file.c_str());
    return e;
  }
  return key;
}

}  // namespace pin16::job
