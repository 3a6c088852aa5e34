// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What an answer says, as data. Pure functions, any thread; nothing is read beyond the bytes given.
///
/// A figure is given only where the published sources agree on its layout. Otherwise the item has its raw
/// bytes, `settled` false, and the words "layout not settled" in its text.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/base/hex.hpp"
#include "core/event/records.hpp"

namespace pin16::protocol {

/// Two bytes from `at`, big-endian as on the wire.
[[nodiscard]] inline std::uint16_t word(ByteView bytes, std::size_t at) {
  return static_cast<std::uint16_t>(bytes[at] << 8U | bytes[at + 1]);
}

/// One thing said: a figure, a text, or named bits.
struct Item {
  std::string
      id;  ///< PID "0C", infotype "02", monitor and test "21 83", identifier "F190", trouble code "P0133"
  std::string what;  ///< "engine speed"
  std::optional<double> value;
  std::string unit;               ///< of value, min and max; empty: a ratio or a number
  std::string text;               ///< where there is no figure
  std::vector<std::string> bits;  ///< names of those set
  std::optional<double> min;      ///< limits of a monitor's test, in `unit`
  std::optional<double> max;
  std::optional<std::uint8_t> frame;  ///< freeze frame
  std::string note;                   ///< a reservation for people; may be empty
  std::string raw;                    ///< the bytes, hex
  bool settled = true;
};

struct Decoded {
  std::vector<Item> items;
  /// Empty: the answer is whole. Else what is missing or too much; the items are what is whole.
  std::string problem;
};

/// `answer` is a whole message, service byte first. Negative and foreign answers give one item that says so.
/// Answers of a line medium as protocol/line.hpp joins them.
[[nodiscard]] Decoded decodeAnswer(ByteView request, ByteView answer,
                                   event::Medium medium = event::Medium::can);

/// "engine speed 1726 1/min".
[[nodiscard]] std::string toText(const Item& item);
/// Data whose layout is not settled, shown raw: `kind` is "PID" or "infotype", `name` empty if unknown.
[[nodiscard]] Item unsettledItem(std::string_view kind, std::uint8_t number, std::string_view name,
                                 ByteView data);
/// All of it in one line; at most `most` items, the rest counted.
[[nodiscard]] std::string toText(const Decoded& decoded, std::size_t most = SIZE_MAX);

}  // namespace pin16::protocol
