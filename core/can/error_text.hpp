// SPDX-License-Identifier: Apache-2.0
#pragma once
/// CAN error frames in words. Classes, bits and locations as in linux/can/error.h (Linux 6.1); what they mean
/// on a bus from the CAN specification's fault confinement rules. Pure functions, any thread.

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "core/event/frame.hpp"

namespace pin16::can {

struct ErrorClass {
  std::uint32_t bit;      ///< in the identifier of the error frame
  std::string_view name;  ///< stable short name for JSON: "no-acknowledge"
  std::string_view text;
};
/// Every class of linux/can/error.h, lowest bit first.
[[nodiscard]] std::span<const ErrorClass> errorClasses();

/// Everything that an error frame says, one line: "bus error: bit stuffing error, in the CRC sequence;
/// error counters tx 8 rx 0". Bits without a meaning are given in hex. Empty for other frames.
[[nodiscard]] std::string errorText(const event::CanFrame& frame);

/// "error-active", "error-warning", "error-passive", "bus-off": the state that a counter stands for.
/// Thresholds 96, 128, 256: linux/can/error.h.
[[nodiscard]] std::string_view stateOfCounter(std::uint32_t counter);

}  // namespace pin16::can
