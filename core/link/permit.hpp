// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The right to send one frame, or one message of a line medium (K-line, J1850). Only the gate can make one,
/// it carries the very frame or message it was given for, and sending consumes it: what leaves is what the
/// gate judged (tests/protocol/permit_compile_fail).

#include <optional>
#include <string>
#include <utility>
#include <variant>

#include "core/event/frame.hpp"
#include "core/event/records.hpp"

namespace pin16::protocol {
class Gate;
}

namespace pin16::link {

/// How a K-line may be initialised, should no session of ours be open on it: as part of the permitted request
/// and never without one. Which of the two is the link's matter, from its options.
struct LineStart {
  std::uint8_t address = 0x33;      ///< sent at 5 baud
  event::Line start_communication;  ///< ISO 14230-4: sent after the wake-up pattern of the fast one
};

class Permit {
 public:
  Permit(const Permit&) = delete;
  Permit& operator=(const Permit&) = delete;
  Permit(Permit&&) noexcept = default;
  Permit& operator=(Permit&&) noexcept = default;
  ~Permit() = default;

  [[nodiscard]] bool isLine() const { return std::holds_alternative<event::Line>(what_); }
  /// Only if !isLine().
  [[nodiscard]] const event::CanFrame& frame() const { return std::get<event::CanFrame>(what_); }
  /// Only if isLine(). Header and data; whoever puts them on the line appends the check byte.
  [[nodiscard]] const event::Line& line() const { return std::get<event::Line>(what_); }
  /// Of a request on a K-line; nothing for the messages of an open session, and on every other medium.
  [[nodiscard]] const std::optional<LineStart>& start() const { return start_; }
  /// For the record: "request 09 02", "flow control", "tester present", "stop communication".
  [[nodiscard]] const std::string& purpose() const { return purpose_; }

 private:
  friend class pin16::protocol::Gate;
  Permit(const event::CanFrame& frame, std::string purpose) : what_(frame), purpose_(std::move(purpose)) {}
  Permit(event::Line line, std::optional<LineStart> start, std::string purpose)
      : what_(std::move(line)), start_(std::move(start)), purpose_(std::move(purpose)) {}
  std::variant<event::CanFrame, event::Line> what_;
  std::optional<LineStart> start_;
  std::string purpose_;
};

}  // namespace pin16::link
