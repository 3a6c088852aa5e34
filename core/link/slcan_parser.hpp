// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The ASCII protocol of serial CAN adapters, as the kernel's slcan driver takes it (Linux 6.x,
/// drivers/net/can/slcan): bytes of a device, cut or joined anywhere, to lines with a meaning. Pure: no I/O,
/// no clock, memory bounded by the longest line. Any thread.
///
/// | line | is |
/// |---|---|
/// | `tIIINDD..`, `TIIIIIIIINDD..` | data frame, 11 or 29 bit identifier, N 0..8 bytes, two hex digits each |
/// | `rIIIN`, `RIIIIIIIIN` | remote frame; never any data |
/// | `d`, `D` as `t`, `T` | FD frame, N is the DLC 0..F; `b`, `B`: with the second bit rate (from memory) |
/// | four hex digits behind any of these | time stamp, ms |
/// | empty line; BEL | done; refused (BEL also ends a line that stands before it) |
/// | `z`, `Z` | a `t` or `r`, a `T` or `R` was taken |
/// | `Fxx`, `Vtext`, `Ntext` | status flags, version, serial number |
/// | `eNx..` | N bus errors, a letter each: `a` acknowledge, `b` bit 0, `B` bit 1, `c` CRC, `f` form, `o`
/// receive overrun, `O` transmit overrun, `s` stuff | | `sXrrrttt` | controller state `a` active, `w`
/// warning, `p` passive, `b` bus-off; receive and transmit error counter, decimal |
///
/// Anything else is a damaged line: told as one, and reading goes on behind the next CR or BEL. Line feeds
/// at the start of a line are left out (devices that end lines with CR and LF).

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/event/frame.hpp"

namespace pin16::link {

struct SlcanLine {
  enum class What : std::uint8_t {
    frame,    ///< `frame`, `stamp_ms`
    done,     ///< CR alone
    refused,  ///< BEL
    sent,     ///< z or Z, see `extended`
    flags,    ///< `flags`
    version,  ///< `text`
    serial,   ///< `text`
    errors,   ///< `frame` is an error frame with the bits that the kernel's driver sets
    state,    ///< `controller`, `rx_errors`, `tx_errors`; `frame` is the error frame of that change
    damaged,  ///< `text`: how it begins
  };
  What what = What::damaged;
  event::CanFrame frame;
  std::optional<std::uint16_t> stamp_ms;  ///< as the device counts it, mostly within the minute
  bool extended = false;
  bool overrun = false;  ///< of errors: the device lost received frames
  std::uint8_t flags = 0;
  const char* controller = "unknown";  ///< as event::LinkState::controller
  int rx_errors = -1, tx_errors = -1;
  std::string text;
};

// Flags of `Fxx`, those since the last one. Common practice, no source.
inline constexpr unsigned kSlcanReceiveFull = 0x01, kSlcanSendFull = 0x02, kSlcanWarning = 0x04,
                          kSlcanOverrun = 0x08, kSlcanPassive = 0x20, kSlcanArbitrationLost = 0x40,
                          kSlcanBusError = 0x80;

/// One line without its CR. The empty line is `done`.
[[nodiscard]] SlcanLine parseSlcanLine(std::string_view line);

/// The frame of a `t T r R` line without stamp, as a host sends it; empty if it is none: bad digits,
/// identifier or length out of range.
[[nodiscard]] std::optional<event::CanFrame> parseSlcanFrame(std::string_view line);

/// The line of a classic frame, without CR.
[[nodiscard]] std::string slcanText(const event::CanFrame& frame);

class SlcanParser {
 public:
  /// Longest line: `D`, identifier, DLC, 64 bytes, stamp.
  static constexpr std::size_t kLineMax = 1 + 8 + 1 + 2 * 64 + 4;

  /// Appends what `bytes` complete.
  void take(std::string_view bytes, std::vector<SlcanLine>& out);
  /// Bytes of a line that has not ended yet.
  [[nodiscard]] std::size_t pending() const { return line_.size(); }
  /// Lines so far that were told as damaged.
  [[nodiscard]] std::uint64_t damaged() const { return damaged_; }

 private:
  void end(std::vector<SlcanLine>& out);

  std::string line_;
  bool too_long_ = false;
  std::uint64_t damaged_ = 0;
};

}  // namespace pin16::link
