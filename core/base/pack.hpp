// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Little-endian packing of records: one coding for memory, the recorder's socket and the capture file.
/// A record lists its members once: `template <class A> void fields(A& a) { a(x); a(y); }`.
/// Integers and enums as their width, double as IEEE 754 binary64, bool as one byte, string and Bytes as
/// u32 length + bytes, vector as u32 count + elements. Members are only ever appended: a reader takes what
/// it knows, leaves what is behind it, and keeps defaults for what an older writer did not have.

#include <bit>
#include <cstdint>
#include <cstring>
#include <string>
#include <type_traits>
#include <vector>

#include "core/base/hex.hpp"

namespace pin16 {

static_assert(std::endian::native == std::endian::little, "packing assumes a little-endian machine");

class Packer {
 public:
  explicit Packer(Bytes& out) : out_(out) {}
  template <class T>
  void operator()(const T& v) {
    if constexpr (std::is_enum_v<T> || std::is_arithmetic_v<T>) {
      put(&v, sizeof v);
    } else if constexpr (std::is_same_v<T, std::string> || std::is_same_v<T, Bytes>) {
      (*this)(static_cast<std::uint32_t>(v.size()));
      put(v.data(), v.size());
    } else if constexpr (requires { v.begin(); }) {
      (*this)(static_cast<std::uint32_t>(v.size()));
      for (const auto& e : v) (*this)(e);
    } else {
      const_cast<T&>(v).fields(*this);  // fields() only reads here
    }
  }

 private:
  void put(const void* p, std::size_t n) {
    if (n == 0) return;
    // resize and memcpy: insert() makes g++ 12 see an overflow that is none (-Wstringop-overflow at -O3).
    const std::size_t at = out_.size();
    out_.resize(at + n);
    std::memcpy(out_.data() + at, p, n);
  }
  Bytes& out_;
};

class Unpacker {
 public:
  explicit Unpacker(ByteView in) : in_(in) {}
  /// False once a length pointed behind the end; a member missing at the very end only keeps its default.
  [[nodiscard]] bool good() const { return good_; }
  template <class T>
  void operator()(T& v) {
    if (!good_ || in_.empty()) return;
    if constexpr (std::is_same_v<T, bool>) {
      std::uint8_t b = 0;
      get(&b, 1);
      v = b != 0;
    } else if constexpr (std::is_enum_v<T> || std::is_arithmetic_v<T>) {
      get(&v, sizeof v);
    } else if constexpr (std::is_same_v<T, std::string> || std::is_same_v<T, Bytes>) {
      std::uint32_t n = 0;
      (*this)(n);
      if (!good_ || n > in_.size()) {
        good_ = false;
        return;
      }
      v.assign(in_.begin(), in_.begin() + n);
      in_ = in_.subspan(n);
    } else if constexpr (requires { v.emplace_back(); }) {
      std::uint32_t n = 0;
      (*this)(n);
      if (!good_ || n > in_.size()) {  // each element takes at least one byte
        good_ = false;
        return;
      }
      v.clear();
      for (std::uint32_t i = 0; i < n && good_; ++i) (*this)(v.emplace_back());
    } else {
      v.fields(*this);
    }
  }

 private:
  void get(void* p, std::size_t n) {
    if (n > in_.size()) {
      good_ = false;
      return;
    }
    std::memcpy(p, in_.data(), n);
    in_ = in_.subspan(n);
  }
  ByteView in_;
  bool good_ = true;
};

template <class T>
[[nodiscard]] Bytes pack(const T& record) {
  Bytes out;
  Packer p(out);
  p(record);
  return out;
}

/// False if the bytes are not such a record; `record` may then be half filled.
template <class T>
[[nodiscard]] bool unpack(ByteView bytes, T& record) {
  Unpacker u(bytes);
  u(record);
  return u.good();
}

}  // namespace pin16
