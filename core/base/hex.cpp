// SPDX-License-Identifier: Apache-2.0
#include "core/base/hex.hpp"

#include <charconv>

namespace pin16 {

std::string toHex(ByteView bytes, std::string_view separator) {
  static constexpr char digits[] = "0123456789abcdef";
  std::string out;
  out.reserve(bytes.size() * (2 + separator.size()));
  for (const std::uint8_t b : bytes) {
    if (!out.empty()) out += separator;
    out += digits[b >> 4];
    out += digits[b & 15];
  }
  return out;
}

std::optional<Bytes> fromHex(std::string_view text) {
  Bytes out;
  int high = -1;
  for (const char c : text) {
    if (c == ' ') {
      if (high >= 0) return std::nullopt;
      continue;
    }
    int v = 0;
    if (c >= '0' && c <= '9') {
      v = c - '0';
    } else if (c >= 'a' && c <= 'f') {
      v = c - 'a' + 10;
    } else if (c >= 'A' && c <= 'F') {
      v = c - 'A' + 10;
    } else {
      return std::nullopt;
    }
    if (high < 0) {
      high = v;
    } else {
      out.push_back(static_cast<std::uint8_t>(high * 16 + v));
      high = -1;
    }
  }
  if (high >= 0) return std::nullopt;
  return out;
}

std::optional<std::uint64_t> toUnsigned(std::string_view text, int base) {
  if (text.starts_with("0x") || text.starts_with("0X")) {
    text.remove_prefix(2);
    base = 16;
  }
  std::uint64_t value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (fault != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace pin16
