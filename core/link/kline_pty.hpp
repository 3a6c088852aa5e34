// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Levels and bytes of a K-line over a pseudo terminal, which carries no break. From the host only, and only
/// if its port is a pty; nothing of it ever goes to a real port.
///
/// | bytes | mean |
/// |---|---|
/// | `10 10` | byte 10 |
/// | `10 4C` and 8 bytes | line low since that time: CLOCK_BOOTTIME, ns, little-endian |
/// | `10 48` and 8 bytes | the same, high |
/// | any other byte | itself |
///
/// With the time in it, what the far end measures is the level as it was made, not when it was told.

#include <array>
#include <cstdint>
#include <cstring>
#include <string_view>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"

namespace pin16::link {

inline constexpr std::uint8_t kPtyEscape = 0x10, kPtyLow = 0x4C, kPtyHigh = 0x48;

[[nodiscard]] inline Bytes ptyLevel(bool low, Ns t_boot_ns) {
  Bytes out = {kPtyEscape, low ? kPtyLow : kPtyHigh};
  out.resize(2 + sizeof t_boot_ns);
  std::memcpy(out.data() + 2, &t_boot_ns, sizeof t_boot_ns);
  return out;
}
[[nodiscard]] inline Bytes ptyByte(std::uint8_t byte) {
  return byte == kPtyEscape ? Bytes{byte, byte} : Bytes{byte};
}

/// The far end's reading of it. Bytes cut anywhere.
class KLinePtyReader {
 public:
  /// Calls byte(value) and level(low, t_boot_ns).
  template <class Byte, class Level>
  void take(std::string_view bytes, Byte&& byte, Level&& level) {
    for (const char c : bytes) {
      const auto b = static_cast<std::uint8_t>(c);
      if (held_ == 0 && b != kPtyEscape) {
        byte(b);
        continue;
      }
      room_[held_++] = b;
      if (held_ == 2 && b != kPtyLow && b != kPtyHigh) {
        held_ = 0;
        byte(b);
      } else if (held_ == room_.size()) {
        Ns t_ns = 0;
        std::memcpy(&t_ns, room_.data() + 2, sizeof t_ns);
        held_ = 0;
        level(room_[1] == kPtyLow, t_ns);
      }
    }
  }

 private:
  std::array<std::uint8_t, 2 + sizeof(Ns)> room_{};
  std::size_t held_ = 0;
};

}  // namespace pin16::link
