// SPDX-License-Identifier: Apache-2.0
#pragma once
/// SHA-256 and the two sidecars of a capture: FILE.sha256 (the form of `sha256sum -c`) and FILE.blocks.

#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "core/base/hex.hpp"

struct evp_md_ctx_st;

namespace pin16::capture {

/// One line of FILE.blocks vouches for this many bytes; the last one, written at the end, for the rest.
inline constexpr std::uint64_t kHashBlock = 4U << 20U;

/// Incremental SHA-256 (OpenSSL EVP). One owner. A failing OpenSSL makes finish() return "".
class Sha256 {
 public:
  Sha256();
  void add(ByteView bytes);
  /// Lower-case hex of everything added; starts anew.
  [[nodiscard]] std::string finish();

 private:
  struct Free {
    void operator()(evp_md_ctx_st* c) const;
  };
  std::unique_ptr<evp_md_ctx_st, Free> context_;
  bool good_ = false;
  void begin();
};

/// HMAC-SHA-256 (RFC 2104, FIPS 180-4), 32 bytes; empty if the library fails.
[[nodiscard]] Bytes hmacSha256(ByteView key, ByteView message);
/// Bytes from the system's generator; empty if it fails.
[[nodiscard]] Bytes randomBytes(std::size_t count);
/// Names a key without giving it away: the first 8 bytes of its SHA-256, hex.
[[nodiscard]] std::string keyName(ByteView key);

[[nodiscard]] std::string sumPath(const std::string& path);     ///< FILE.sha256
[[nodiscard]] std::string blocksPath(const std::string& path);  ///< FILE.blocks

/// "HEX  NAME\n"; a name with a backslash or line feed is escaped as sha256sum does.
[[nodiscard]] std::string sumLine(const std::string& hex, const std::string& path);
/// The hash of a line of that form; nothing if it is not one.
[[nodiscard]] std::optional<std::string> sumOfLine(std::string_view line);

/// One line of FILE.blocks: index, offset, length, hash.
struct BlockLine {
  std::uint64_t index = 0;
  std::uint64_t offset = 0;
  std::uint64_t length = 0;
  std::string hex;
  [[nodiscard]] std::string text() const;  ///< with the line feed
  [[nodiscard]] static std::optional<BlockLine> parse(std::string_view line);
};

}  // namespace pin16::capture
