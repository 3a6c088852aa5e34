// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A cable with a bit rate: a pty takes bytes as fast as they come, a serial port 10 bits each. What is on
/// the port of a served device comes out of another pty, each byte when its last bit would be through.

#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <atomic>
#include <deque>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>

#include "core/base/clock.hpp"

namespace pin16::link {

class PacedPty {
 public:
  PacedPty(const std::string& device, std::uint32_t baud) : byte_ns_(10 * kNsPerSecond / baud) {
    device_ = ::open(device.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    ours_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    char name[128];
    if (device_ < 0 || ours_ < 0 || ::grantpt(ours_) != 0 || ::unlockpt(ours_) != 0 ||
        ::ptsname_r(ours_, name, sizeof name) != 0)
      throw std::runtime_error("no pty");
    path_ = name;
    theirs_ = ::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    for (const int fd : {device_, theirs_}) {
      termios raw{};
      ::tcgetattr(fd, &raw);
      ::cfmakeraw(&raw);
      ::tcsetattr(fd, TCSANOW, &raw);
    }
    thread_ = std::thread([this] { run(); });
  }
  ~PacedPty() {
    over_ = true;
    thread_.join();
    for (const int fd : {device_, ours_, theirs_}) ::close(fd);
  }
  PacedPty(const PacedPty&) = delete;
  PacedPty& operator=(const PacedPty&) = delete;
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  struct Way {
    int from = -1, to = -1;
    Ns free_ns = 0;  ///< the last byte is through
    std::deque<std::pair<Ns, char>> under_way{};
  };
  void run() {
    Way ways[] = {{device_, ours_}, {ours_, device_}};
    while (!over_) {
      Ns wait_ns = 20 * kNsPerMs;
      for (Way& w : ways) {
        char in[256];
        const Ns now_ns = bootNow();
        for (ssize_t n = ::read(w.from, in, sizeof in), i = 0; i < n; ++i)
          w.under_way.emplace_back(w.free_ns = std::max(w.free_ns, now_ns) + byte_ns_, in[i]);
        for (; !w.under_way.empty() && w.under_way.front().first <= bootNow(); w.under_way.pop_front())
          (void)!::write(w.to, &w.under_way.front().second, 1);
        if (!w.under_way.empty()) wait_ns = std::min(wait_ns, w.under_way.front().first - bootNow());
      }
      pollfd fds[] = {{device_, POLLIN, 0}, {ours_, POLLIN, 0}};
      const timespec wait{0, std::max<Ns>(wait_ns, 0)};
      ::ppoll(fds, 2, &wait, nullptr);
    }
  }
  const Ns byte_ns_;
  int device_ = -1, ours_ = -1, theirs_ = -1;
  std::string path_;
  std::atomic<bool> over_{false};
  std::thread thread_;
};

}  // namespace pin16::link
