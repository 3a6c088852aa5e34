// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What a serial adapter with an AT command set says: bytes cut into lines and prompts, each line told apart.
/// Pure: no I/O, no clock, no threads. Forms and words: common practice, no source.
///
/// A line ends with CR, LF or both; empty ones are nothing. NUL is dropped, as adapters say that hosts
/// should. A prompt is '>' at the beginning of a line; anywhere else it is damage, because a prompt that was
/// not meant would let the next line fall into a device that is not waiting for one. An echo is the first
/// line after a command that says the same; it is told, not interpreted. Blanks and letter case mean nothing.
///
/// | line | is |
/// |---|---|
/// | 3 hex digits and 0 to 8 bytes; 8 hex digits and 0 to 8 bytes | frame, 11 or 29 bit |
/// | the same, then `<RX ERROR` or `<DATA ERROR` | frame, damaged |
/// | the identifier, then `RTR` | remote frame |
/// | `12.3V` | voltage |
/// | a word of AtWord, alone or behind something that is then damage | word |
/// | `BUS INIT: ...OK`, `BUS INIT: ...ERROR`, dots or none | word |
/// | anything else | text |
///
/// On a line medium (setMedium) hex digits are no frame but a message with header and check byte, if its
/// length and format byte fit one (line_format.hpp); with a wrong check byte, or the adapter's remark, it is
/// damaged.
///
/// Memory: one line of kLineMax bytes. What is longer, and bytes that are no text, are thrown away and
/// counted.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/clock.hpp"
#include "core/event/frame.hpp"
#include "core/event/records.hpp"

namespace pin16::link {

enum class AtWord : std::uint8_t {
  ok,
  refused,            ///< "?": not understood
  no_data,            ///< nothing that passed the filter came in time
  bus_busy,           ///< the bus was never free
  bus_error,          ///< levels that are none
  can_error,          ///< could not send, or only errors were received
  unable_to_connect,  ///< no protocol found
  buffer_full,        ///< frames came faster than the serial line took them; it stopped listening
  feedback_error,     ///< FB ERROR: an output had not the level it was driven to
  data_error,         ///< DATA ERROR: checksum or format
  rx_error,           ///< RX ERROR: received with errors
  low_voltage_reset,  ///< LV RESET: it restarted, its supply was too low
  activity_alert,     ///< ACT ALERT: about to go to sleep
  low_power_alert,    ///< LP ALERT: the same, told to
  stopped,            ///< interrupted by a byte from us
  searching,          ///< SEARCHING...: it tries protocols, sending on each
  init_ok,            ///< BUS INIT: OK: it has initialised a K-line
  init_error,         ///< BUS INIT: ERROR: nobody answered that, or wrongly
  internal_error,     ///< ERRxx
};
/// As the adapter writes it; "?" for refused.
[[nodiscard]] const char* toText(AtWord word);

struct AtItem {
  enum class What : std::uint8_t { frame, line, word, voltage, text, echo, prompt };
  What what = What::text;
  Ns t_ns = 0;       ///< when the bytes were read that held the line's first
  Ns end_ns = 0;     ///< that held the end of the line
  std::string text;  ///< the line without blanks at its ends; empty for a prompt
  AtWord word = AtWord::ok;
  event::CanFrame frame;
  event::Line message;   ///< line; its times and `ours` not set
  bool damaged = false;  ///< frame: the adapter says so; line: or its check byte is wrong
  double volts_V = 0;
};

class AtParser {
 public:
  /// Longest line taken: the longest K-line message with blanks and a remark (kKwpMessageMax); a frame needs
  /// 45.
  static constexpr std::size_t kLineMax = 800;

  /// What hex digits are from now on.
  void setMedium(event::Medium medium) { medium_ = medium; }

  /// The line that is written next; its echo may come first.
  void expectEcho(std::string_view line);
  /// Bytes as read at `t_ns`, cut anywhere.
  [[nodiscard]] std::vector<AtItem> take(Ns t_ns, ByteView bytes);
  /// Forgets a line that was begun.
  void reset();
  /// Bytes of a line that has not ended yet, at most kLineMax.
  [[nodiscard]] std::size_t pending() const { return line_.size(); }
  /// Bytes thrown away so far, NUL not counted.
  [[nodiscard]] std::uint64_t garbage() const { return garbage_; }

 private:
  void endLine(Ns t_ns, std::vector<AtItem>& out);

  event::Medium medium_ = event::Medium::can;
  std::string line_;
  Ns line_ns_ = 0;
  bool bad_ = false;  ///< the line under way is too long or holds what is no text
  std::string echo_;  ///< expected, without blanks, upper case; empty none
  std::uint64_t garbage_ = 0;
};

}  // namespace pin16::link
