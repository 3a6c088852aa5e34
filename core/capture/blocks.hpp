// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One pcapng block, little-endian, appended to a buffer. Private to core/capture.

#include <cstring>
#include <string_view>

#include "core/base/hex.hpp"
#include "core/capture/format.hpp"

namespace pin16::capture {

/// Writes type and length at construction, patches the length and closes the block in finish().
class BlockBuilder {
 public:
  BlockBuilder(Bytes& out, std::uint32_t type) : out_(out), start_(out.size()) {
    put(type);
    put(std::uint32_t{0});
  }
  template <class T>
  void put(T v) {
    const auto* b = reinterpret_cast<const std::uint8_t*>(&v);
    out_.insert(out_.end(), b, b + sizeof v);
  }
  /// A time or statistic in the block's own fields: high half first.
  void putHighLow(std::uint64_t v) {
    put(static_cast<std::uint32_t>(v >> 32U));
    put(static_cast<std::uint32_t>(v));
  }
  void raw(ByteView bytes) { out_.insert(out_.end(), bytes.begin(), bytes.end()); }
  void pad() { out_.resize((out_.size() - start_ + 3) / 4 * 4 + start_); }
  void option(std::uint16_t code, ByteView value) {
    put(code);
    put(static_cast<std::uint16_t>(value.size()));
    raw(value);
    pad();
  }
  template <class T>
  void optionValue(std::uint16_t code, T v) {
    option(code, {reinterpret_cast<const std::uint8_t*>(&v), sizeof v});
  }
  /// Nothing for an empty text. The caller keeps it within kMaxText.
  void optionText(std::uint16_t code, std::string_view text) {
    if (!text.empty()) option(code, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
  }
  void finish(bool options) {
    if (options) put(std::uint32_t{kOptEnd});
    const auto length = static_cast<std::uint32_t>(out_.size() - start_ + 4);
    put(length);
    std::memcpy(out_.data() + start_ + 4, &length, sizeof length);
  }

 private:
  Bytes& out_;
  const std::size_t start_;
};

}  // namespace pin16::capture
