// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Hex text and back.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace pin16 {

using Bytes = std::vector<std::uint8_t>;
using ByteView = std::span<const std::uint8_t>;

/// Lower-case hex; `separator` between bytes ("" as in JSON, " " for people).
[[nodiscard]] std::string toHex(ByteView bytes, std::string_view separator = "");

/// Bytes from hex digits, blanks between bytes allowed ("09 02", "0902"). Nothing if a digit is wrong or
/// their number odd.
[[nodiscard]] std::optional<Bytes> fromHex(std::string_view text);

/// Whole text as an unsigned integer, "0x" prefix = hex, else base 10 (or `base`). Nothing if any character
/// is left over or it does not fit.
[[nodiscard]] std::optional<std::uint64_t> toUnsigned(std::string_view text, int base = 10);

}  // namespace pin16
