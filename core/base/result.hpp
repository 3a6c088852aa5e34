// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The one error type of Pin16, and a value-or-error result.

#include <cstdlib>
#include <string>
#include <utility>
#include <variant>

namespace pin16 {

/// What kind of failure; decides the exit code of a command (docs/exit-codes.md).
enum class ErrorKind {
  usage,     ///< wrong call: exit 2
  input,     ///< unreadable or invalid file, line or field: exit 2
  link,      ///< a link or device failed: exit 3
  gate,      ///< the gate refused to send: exit 4
  record,    ///< the record could not be written: exit 5
  internal,  ///< a fault of Pin16 itself: exit 70
};

/// An error a person can act on.
struct Error {
  ErrorKind kind = ErrorKind::internal;
  std::string what;    ///< what is wrong and what was expected, one sentence
  std::string place;   ///< file, line, field, offset, link; may be empty
  std::string advice;  ///< what to do about it, one sentence or command; may be empty

  /// "place: what; advice" on one line.
  [[nodiscard]] std::string text() const {
    std::string out = place.empty() ? what : place + ": " + what;
    if (!advice.empty()) out += ". " + advice;
    return out;
  }
};

/// Exit code of a command that fails with an error of this kind.
[[nodiscard]] constexpr int exitCode(ErrorKind kind) {
  switch (kind) {
    case ErrorKind::usage:
    case ErrorKind::input:
      return 2;
    case ErrorKind::link:
      return 3;
    case ErrorKind::gate:
      return 4;
    case ErrorKind::record:
      return 5;
    case ErrorKind::internal:
      return 70;
  }
  return 70;
}

/// A value or an Error. Check with `if (!r) return r.error();`.
template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : v_(std::in_place_index<0>, std::move(value)) {}  // NOLINT(google-explicit-constructor)
  Result(Error error)
      : v_(std::in_place_index<1>, std::move(error)) {}  // NOLINT(google-explicit-constructor)
  explicit operator bool() const { return v_.index() == 0; }
  T& operator*() & { return std::get<0>(v_); }
  const T& operator*() const& { return std::get<0>(v_); }
  T&& operator*() && { return std::get<0>(std::move(v_)); }
  T* operator->() { return &std::get<0>(v_); }
  const T* operator->() const { return &std::get<0>(v_); }
  [[nodiscard]] const Error& error() const { return std::get<1>(v_); }

 private:
  std::variant<T, Error> v_;
};

/// Success or an Error.
template <>
class [[nodiscard]] Result<void> {
 public:
  Result() = default;
  Result(Error error) : failed_(true), error_(std::move(error)) {}  // NOLINT(google-explicit-constructor)
  explicit operator bool() const { return !failed_; }
  [[nodiscard]] const Error& error() const { return error_; }

 private:
  bool failed_ = false;
  Error error_;
};
using Status = Result<void>;

}  // namespace pin16
