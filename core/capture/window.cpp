// SPDX-License-Identifier: Apache-2.0
#include "core/capture/window.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

namespace pin16::capture {
namespace {
/// Read at a time: large against the cost of a call, small against memory.
constexpr std::size_t kChunk = 256U << 10U;
}  // namespace

Window::~Window() {
  if (fd_ >= 0) close(fd_);
}

Status Window::open(const std::string& path) {
  fd_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd_ < 0) {
    return Error{ErrorKind::input, fmt::format("cannot be opened: {}", std::strerror(errno)), path,
                 "Check the name and that you may read it"};
  }
  struct stat facts {};
  if (fstat(fd_, &facts) != 0 || !S_ISREG(facts.st_mode)) {
    return Error{ErrorKind::input, "is not a regular file, a capture file was expected", path,
                 "Give a file; to read from a live source give a link"};
  }
  return {};
}

std::size_t Window::read(std::uint8_t* out, std::size_t size, std::uint64_t offset) {
  std::size_t done = 0;
  while (done < size) {
    const ssize_t n = pread(fd_, out + done, size - done, static_cast<off_t>(offset + done));
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) error_ = errno;
    if (n <= 0) break;
    done += static_cast<std::size_t>(n);
  }
  return done;
}

ByteView Window::refill(std::uint64_t offset, std::size_t want) {
  const std::uint64_t skip = offset - offset_;
  const std::size_t kept = skip < held_ ? held_ - static_cast<std::size_t>(skip) : 0;
  if (kept != 0) std::memmove(buffer_.data(), buffer_.data() + skip, kept);
  buffer_.resize(std::max(buffer_.size(), std::max(want, kChunk)));
  offset_ = offset;
  held_ = kept + read(buffer_.data() + kept, buffer_.size() - kept, offset + kept);
  return ByteView(buffer_).first(std::min(want, held_));
}

bool Window::peek(std::uint64_t offset, std::uint8_t* out, std::size_t size) {
  const std::uint64_t skip = offset - offset_;
  if (skip <= held_ && size <= held_ - skip) {
    std::memcpy(out, buffer_.data() + skip, size);
    return true;
  }
  return read(out, size, offset) == size;
}

}  // namespace pin16::capture
