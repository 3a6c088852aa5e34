// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A sliding window over a file by pread: a file that shrinks or grows while it is read is only shorter or
/// longer, never a signal. Private to core/capture.

#include <string>

#include "core/base/hex.hpp"
#include "core/base/result.hpp"

namespace pin16::capture {

/// One owner, one thread.
class Window {
 public:
  Window() = default;
  ~Window();
  Window(const Window&) = delete;
  Window& operator=(const Window&) = delete;

  /// ErrorKind::input naming the file and the reason.
  Status open(const std::string& path);
  /// `want` bytes at `offset`; fewer only at the end of the file or after a read error. Valid until the next
  /// call. The caller bounds `want`.
  [[nodiscard]] ByteView at(std::uint64_t offset, std::size_t want) {
    const std::uint64_t skip = offset - offset_;  // huge when the offset lies before the window
    if (skip <= held_ && want <= held_ - skip) return ByteView(buffer_).subspan(skip, want);
    return refill(offset, want);
  }
  /// As at(), but leaves the window where it is: for a look at a few bytes far ahead.
  [[nodiscard]] bool peek(std::uint64_t offset, std::uint8_t* out, std::size_t size);
  /// errno of the last read that failed; 0 none.
  [[nodiscard]] int error() const { return error_; }

 private:
  ByteView refill(std::uint64_t offset, std::size_t want);
  [[nodiscard]] std::size_t read(std::uint8_t* out, std::size_t size, std::uint64_t offset);

  int fd_ = -1;
  int error_ = 0;
  Bytes buffer_;
  std::uint64_t offset_ = 0;  ///< of buffer_[0] in the file
  std::size_t held_ = 0;      ///< valid bytes in buffer_
};

}  // namespace pin16::capture
