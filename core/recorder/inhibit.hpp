// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Keeps the computer from going to sleep while recording, by the login manager's inhibitor lock.

#include "core/base/result.hpp"

namespace pin16::recorder {

class SleepLock {
 public:
  SleepLock() = default;
  SleepLock(SleepLock&& o) noexcept : fd_(std::exchange(o.fd_, -1)) {}
  SleepLock& operator=(SleepLock&& o) noexcept {
    std::swap(fd_, o.fd_);
    return *this;
  }
  SleepLock(const SleepLock&) = delete;
  SleepLock& operator=(const SleepLock&) = delete;
  ~SleepLock();
  /// ErrorKind::record with the reason if there is no login manager to ask: the operator must then see to it.
  static Result<SleepLock> take();

 private:
  int fd_ = -1;
};

}  // namespace pin16::recorder
