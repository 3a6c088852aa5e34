// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A CAN frame as data: what Linux' SocketCAN gives (linux/can.h), classic and FD, data and error frames.

#include <array>
#include <cstdint>
#include <cstring>

#include "core/base/hex.hpp"

namespace pin16::event {

/// Bits above the identifier in the 32-bit word, as in linux/can.h.
inline constexpr std::uint32_t kExtendedFlag = 0x80000000U;
inline constexpr std::uint32_t kRemoteFlag = 0x40000000U;
inline constexpr std::uint32_t kErrorFlag = 0x20000000U;
inline constexpr std::uint32_t kExtendedMask = 0x1FFFFFFFU;
inline constexpr std::uint32_t kStandardMask = 0x7FFU;
/// FD flags byte, as in linux/can.h.
inline constexpr std::uint8_t kFdBrs = 0x01;     ///< data phase at the second bit rate
inline constexpr std::uint8_t kFdEsi = 0x02;     ///< sender is error passive
inline constexpr std::uint8_t kFdFormat = 0x04;  ///< FD frame (CANFD_FDF)

/// SocketCAN header in a capture (LINKTYPE_CAN_SOCKETCAN): identifier word big-endian, length, FD flags,
/// two reserved bytes, then the data.
inline constexpr std::size_t kFrameHeaderSize = 8;
inline constexpr std::size_t kClassicDataMax = 8;
inline constexpr std::size_t kFdDataMax = 64;

struct CanFrame {
  std::uint32_t word = 0;     ///< identifier with the flag bits above
  std::uint8_t length = 0;    ///< data bytes: 0..8 classic, 0..64 FD; remote: the DLC asked for, no data
  std::uint8_t fd_flags = 0;  ///< kFdFormat set = FD frame
  std::array<std::uint8_t, kFdDataMax> data{};

  [[nodiscard]] bool extended() const { return (word & kExtendedFlag) != 0; }
  [[nodiscard]] bool remote() const { return (word & kRemoteFlag) != 0; }
  [[nodiscard]] bool error() const { return (word & kErrorFlag) != 0; }
  [[nodiscard]] bool fd() const { return (fd_flags & kFdFormat) != 0; }
  [[nodiscard]] bool brs() const { return (fd_flags & kFdBrs) != 0; }
  [[nodiscard]] bool esi() const { return (fd_flags & kFdEsi) != 0; }
  /// The bare identifier; for an error frame its class bits.
  [[nodiscard]] std::uint32_t id() const {
    return word & (extended() || error() ? kExtendedMask : kStandardMask);
  }
  [[nodiscard]] ByteView payload() const { return {data.data(), remote() ? std::size_t{0} : length}; }
  [[nodiscard]] bool operator==(const CanFrame& o) const {
    return word == o.word && length == o.length && fd_flags == o.fd_flags &&
           std::memcmp(data.data(), o.data.data(), length) == 0;
  }

  /// A classic or (fd = true) FD data frame. `bytes` longer than the format holds are cut: callers check.
  [[nodiscard]] static CanFrame make(std::uint32_t id, bool extended, ByteView bytes, bool fd = false) {
    CanFrame f;
    f.word = extended ? ((id & kExtendedMask) | kExtendedFlag) : (id & kStandardMask);
    f.fd_flags = fd ? kFdFormat : 0;
    const std::size_t most = fd ? kFdDataMax : kClassicDataMax;
    f.length = static_cast<std::uint8_t>(bytes.size() < most ? bytes.size() : most);
    if (f.length != 0) std::memcpy(f.data.data(), bytes.data(), f.length);
    return f;
  }
};

}  // namespace pin16::event
