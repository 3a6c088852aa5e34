// SPDX-License-Identifier: Apache-2.0
#include "core/capture/hash.hpp"

#include <fmt/format.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <openssl/rand.h>

#include <array>

namespace pin16::capture {
namespace {

constexpr std::size_t kHexSize = 64;

bool isHash(std::string_view text) {
  return text.size() == kHexSize && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

}  // namespace

void Sha256::Free::operator()(evp_md_ctx_st* c) const { EVP_MD_CTX_free(c); }

Sha256::Sha256() : context_(EVP_MD_CTX_new()) { begin(); }

void Sha256::begin() {
  good_ = context_ != nullptr && EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr) == 1;
}

void Sha256::add(ByteView bytes) {
  good_ = good_ && EVP_DigestUpdate(context_.get(), bytes.data(), bytes.size()) == 1;
}

std::string Sha256::finish() {
  std::array<std::uint8_t, kHexSize / 2> digest{};
  good_ = good_ && EVP_DigestFinal_ex(context_.get(), digest.data(), nullptr) == 1;
  std::string out = good_ ? toHex(digest) : std::string();
  begin();
  return out;
}

Bytes hmacSha256(ByteView key, ByteView message) {
  Bytes out(kHexSize / 2);
  unsigned length = 0;
  const bool good = HMAC(EVP_sha256(), key.data(), static_cast<int>(key.size()), message.data(),
                         message.size(), out.data(), &length) != nullptr &&
                    length == out.size();
  return good ? out : Bytes();
}

Bytes randomBytes(std::size_t count) {
  Bytes out(count);
  return RAND_bytes(out.data(), static_cast<int>(count)) == 1 ? out : Bytes();
}

std::string keyName(ByteView key) {
  constexpr std::size_t kShown = 16;
  Sha256 hash;
  hash.add(key);
  return hash.finish().substr(0, kShown);
}

std::string sumPath(const std::string& path) { return path + ".sha256"; }
std::string blocksPath(const std::string& path) { return path + ".blocks"; }

std::string sumLine(const std::string& hex, const std::string& path) {
  const std::string name = path.substr(path.find_last_of('/') + 1);
  std::string escaped;
  for (const char c : name) {
    if (c == '\\') {
      escaped += "\\\\";
    } else if (c == '\n') {
      escaped += "\\n";
    } else {
      escaped += c;
    }
  }
  return (escaped == name ? "" : "\\") + hex + "  " + escaped + "\n";
}

std::optional<std::string> sumOfLine(std::string_view line) {
  if (line.starts_with('\\')) line.remove_prefix(1);
  const std::string_view hex = line.substr(0, kHexSize);
  if (!isHash(hex) || line.size() < kHexSize + 3 || line[kHexSize] != ' ') return std::nullopt;
  return std::string(hex);
}

std::string BlockLine::text() const { return fmt::format("{} {} {} {}\n", index, offset, length, hex); }

std::optional<BlockLine> BlockLine::parse(std::string_view line) {
  std::array<std::string_view, 4> field;
  for (std::size_t i = 0; i < field.size(); ++i) {
    const std::size_t end = line.find(' ');
    if ((end == std::string_view::npos) != (i + 1 == field.size())) return std::nullopt;
    field[i] = line.substr(0, end);
    line.remove_prefix(end == std::string_view::npos ? line.size() : end + 1);
  }
  const auto index = toUnsigned(field[0]);
  const auto offset = toUnsigned(field[1]);
  const auto length = toUnsigned(field[2]);
  if (!index || !offset || !length || !isHash(field[3])) return std::nullopt;
  return BlockLine{*index, *offset, *length, std::string(field[3])};
}

}  // namespace pin16::capture
