// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A raw SocketCAN socket, set up to see everything that the kernel can show. No Asio, no state machine:
/// socketcan.hpp has those. Not thread-safe.

#include <cstdint>
#include <memory>
#include <vector>

#include "core/event/frame.hpp"
#include "core/link/stamps.hpp"

namespace pin16::link {

class CanSocket {
 public:
  struct Received {
    event::CanFrame frame;
    Stamps stamps;
    bool outbound = false;   ///< our own frame, given back by the driver (MSG_CONFIRM)
    std::uint32_t lost = 0;  ///< frames that the kernel dropped, newly known, before this one
  };

  CanSocket();
  ~CanSocket();
  CanSocket(const CanSocket&) = delete;
  CanSocket& operator=(const CanSocket&) = delete;

  /// Opens with a receive buffer of `buffer_bytes` asked for; non-blocking, CAN FD, every error class, own
  /// frames given back, kernel and hardware time stamps, drop counter. 0 or errno (EAFNOSUPPORT: a kernel
  /// without CAN; EPERM, EACCES: a sandbox forbids).
  [[nodiscard]] int open(std::uint32_t buffer_bytes);
  /// 0 or errno.
  [[nodiscard]] int bind(int interface_index);
  void close();
  [[nodiscard]] bool isOpen() const { return fd_ >= 0; }
  [[nodiscard]] int fd() const { return fd_; }
  /// What the kernel granted, in the measure in which it was asked for (it accounts twice as much to cover
  /// its own overhead, and reports that).
  [[nodiscard]] std::uint32_t bufferBytes() const;

  /// At most kBatch frames into `out` (cleared first). 0 or errno; EAGAIN: nothing waits.
  [[nodiscard]] int read(std::vector<Received>& out);
  /// Frames dropped that no received frame has told of yet. SO_RXQ_OVFL comes with the next frame only, so
  /// drops at the very end would never be known; the socket's own counter tells of them. Right only when
  /// nothing waits to be read: else the drops lie behind frames still queued.
  [[nodiscard]] std::uint32_t lostAtEnd();
  /// Hands one frame to the driver. 0 or errno.
  [[nodiscard]] int write(const event::CanFrame& frame) const;

  static constexpr std::size_t kBatch = 64;

 private:
  struct Buffers;
  std::uint32_t newlyLost(std::uint32_t total);

  int fd_ = -1;
  std::uint32_t lost_total_ = 0;  // the kernel's counter, 32 bit, as last told
  std::unique_ptr<Buffers> buffers_;
};

}  // namespace pin16::link
