// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The right to send one frame. Only the gate can make one, it carries the very frame it was given for, and
/// sending consumes it: what leaves is what the gate judged (tests/protocol/permit_compile_fail).

#include <string>
#include <utility>

#include "core/event/frame.hpp"

namespace pin16::protocol {
class Gate;
}

namespace pin16::link {

class Permit {
 public:
  Permit(const Permit&) = delete;
  Permit& operator=(const Permit&) = delete;
  Permit(Permit&&) noexcept = default;
  Permit& operator=(Permit&&) noexcept = default;
  ~Permit() = default;

  [[nodiscard]] const event::CanFrame& frame() const { return frame_; }
  /// For the record: "request 09 02", "flow control".
  [[nodiscard]] const std::string& purpose() const { return purpose_; }

 private:
  friend class pin16::protocol::Gate;
  Permit(const event::CanFrame& frame, std::string purpose) : frame_(frame), purpose_(std::move(purpose)) {}
  event::CanFrame frame_;
  std::string purpose_;
};

}  // namespace pin16::link
