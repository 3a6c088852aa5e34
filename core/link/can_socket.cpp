// SPDX-License-Identifier: Apache-2.0
#include "core/link/can_socket.hpp"

#include <linux/can.h>
#include <linux/can/error.h>
#include <linux/can/raw.h>
#include <linux/errqueue.h>
#include <linux/net_tstamp.h>
#include <linux/sock_diag.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>

namespace pin16::link {
namespace {

template <class T>
int set(int fd, int level, int option, const T& value) {
  return setsockopt(fd, level, option, &value, sizeof value);
}

Ns toNs(const timespec& t) { return t.tv_sec * kNsPerSecond + t.tv_nsec; }

event::CanFrame fromKernel(const canfd_frame& k, bool fd) {
  event::CanFrame f;
  f.word = k.can_id;
  f.length = std::min<std::uint8_t>(k.len, fd ? CANFD_MAX_DLEN : CAN_MAX_DLEN);
  f.fd_flags = fd ? static_cast<std::uint8_t>(k.flags | event::kFdFormat) : std::uint8_t{0};
  std::memcpy(f.data.data(), k.data, f.length);
  return f;
}

void readControl(msghdr& message, Stamps& stamps, std::uint32_t& lost_total) {
  for (cmsghdr* c = CMSG_FIRSTHDR(&message); c != nullptr; c = CMSG_NXTHDR(&message, c)) {
    if (c->cmsg_level != SOL_SOCKET) continue;
    if (c->cmsg_type == SO_RXQ_OVFL) {
      std::memcpy(&lost_total, CMSG_DATA(c), sizeof lost_total);
    } else if (c->cmsg_type == SCM_TIMESTAMPING) {
      scm_timestamping t{};  // [0] software, [2] raw hardware; all zero where there is none
      std::memcpy(&t, CMSG_DATA(c), sizeof t);
      if (toNs(t.ts[0]) != 0) stamps.software_utc_ns = toNs(t.ts[0]);
      if (toNs(t.ts[2]) != 0) stamps.hardware_ns = toNs(t.ts[2]);
    } else if (c->cmsg_type == SCM_TIMESTAMPNS) {
      timespec t{};
      std::memcpy(&t, CMSG_DATA(c), sizeof t);
      stamps.software_utc_ns = toNs(t);
    }
  }
}

}  // namespace

struct CanSocket::Buffers {
  struct alignas(cmsghdr) Control {
    std::array<char, 256> bytes;  // 48 bytes of stamps and 4 of drops, with their headers
  };
  std::array<canfd_frame, kBatch> frames;
  std::array<Control, kBatch> control;
  std::array<iovec, kBatch> vectors;
  std::array<mmsghdr, kBatch> messages;
};

CanSocket::CanSocket() : buffers_(std::make_unique<Buffers>()) {}
CanSocket::~CanSocket() { close(); }

int CanSocket::open(std::uint32_t buffer_bytes) {
  close();
  lost_total_ = 0;
  fd_ = socket(PF_CAN, SOCK_RAW | SOCK_NONBLOCK | SOCK_CLOEXEC, CAN_RAW);
  if (fd_ < 0) return errno;
  constexpr int kOn = 1;
  constexpr int kStamps = SOF_TIMESTAMPING_RX_HARDWARE | SOF_TIMESTAMPING_RAW_HARDWARE |
                          SOF_TIMESTAMPING_RX_SOFTWARE | SOF_TIMESTAMPING_SOFTWARE;
  constexpr can_err_mask_t kAllErrors = CAN_ERR_MASK;
  const int size = static_cast<int>(std::min<std::uint32_t>(buffer_bytes, INT32_MAX));
  // More than the system's limit needs CAP_NET_ADMIN; without it the limit is what we get.
  if (set(fd_, SOL_SOCKET, SO_RCVBUFFORCE, size) != 0) set(fd_, SOL_SOCKET, SO_RCVBUF, size);
  if (set(fd_, SOL_SOCKET, SO_TIMESTAMPING, kStamps) != 0) set(fd_, SOL_SOCKET, SO_TIMESTAMPNS, kOn);
  if (set(fd_, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, kOn) != 0 ||
      set(fd_, SOL_CAN_RAW, CAN_RAW_ERR_FILTER, kAllErrors) != 0 ||
      set(fd_, SOL_CAN_RAW, CAN_RAW_RECV_OWN_MSGS, kOn) != 0 || set(fd_, SOL_SOCKET, SO_RXQ_OVFL, kOn) != 0) {
    const int error = errno;
    close();
    return error;
  }
  return 0;
}

int CanSocket::bind(int interface_index) {
  sockaddr_can address{};
  address.can_family = AF_CAN;
  address.can_ifindex = interface_index;
  return ::bind(fd_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0 ? 0 : errno;
}

void CanSocket::close() {
  if (fd_ >= 0) ::close(fd_);
  fd_ = -1;
}

std::uint32_t CanSocket::bufferBytes() const {
  int accounted = 0;
  socklen_t length = sizeof accounted;
  if (getsockopt(fd_, SOL_SOCKET, SO_RCVBUF, &accounted, &length) != 0) return 0;
  return static_cast<std::uint32_t>(accounted) / 2;
}

int CanSocket::read(std::vector<Received>& out) {
  out.clear();
  Buffers& b = *buffers_;
  for (std::size_t i = 0; i < kBatch; ++i) {
    b.vectors[i] = {&b.frames[i], sizeof b.frames[i]};
    msghdr& m = b.messages[i].msg_hdr;
    m = {};
    m.msg_iov = &b.vectors[i];
    m.msg_iovlen = 1;
    m.msg_control = b.control[i].bytes.data();
    m.msg_controllen = b.control[i].bytes.size();
  }
  const int n = recvmmsg(fd_, b.messages.data(), kBatch, MSG_DONTWAIT, nullptr);
  if (n < 0) return errno;
  for (std::size_t i = 0; i < static_cast<std::size_t>(n); ++i) {
    mmsghdr& m = b.messages[i];
    if (m.msg_len != CAN_MTU && m.msg_len != CANFD_MTU) continue;  // no other size was asked for
    Received& r = out.emplace_back();
    r.frame = fromKernel(b.frames[i], m.msg_len == CANFD_MTU);
    // MSG_DONTROUTE would only say "sent from this host", by whichever program.
    r.outbound = (m.msg_hdr.msg_flags & MSG_CONFIRM) != 0;
    std::uint32_t total = lost_total_;
    readControl(m.msg_hdr, r.stamps, total);
    r.lost = newlyLost(total);
  }
  return 0;
}

std::uint32_t CanSocket::newlyLost(std::uint32_t total) {
  // The counter wraps at 2^32. A total behind ours belongs to a frame that was queued before lostAtEnd()
  // asked.
  const auto difference = static_cast<std::int32_t>(total - lost_total_);
  if (difference <= 0) return 0;
  lost_total_ = total;
  return static_cast<std::uint32_t>(difference);
}

std::uint32_t CanSocket::lostAtEnd() {
  std::array<std::uint32_t, SK_MEMINFO_VARS> info{};
  socklen_t length = sizeof info;
  if (getsockopt(fd_, SOL_SOCKET, SO_MEMINFO, info.data(), &length) != 0 || length < sizeof info) return 0;
  return newlyLost(info[SK_MEMINFO_DROPS]);
}

int CanSocket::write(const event::CanFrame& frame) const {
  canfd_frame k{};  // a classic frame is the beginning of an FD one
  k.can_id = frame.word;
  k.len = frame.length;
  k.flags = frame.fd_flags;
  std::memcpy(k.data, frame.data.data(), frame.payload().size());
  const std::size_t size = frame.fd() ? CANFD_MTU : CAN_MTU;
  return ::write(fd_, &k, size) == static_cast<ssize_t>(size) ? 0 : errno;
}

}  // namespace pin16::link
