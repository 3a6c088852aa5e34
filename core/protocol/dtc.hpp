// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Diagnostic trouble codes: SAE J2012 / ISO 15031-6 (two bits of letter, then 2 + 4 + 4 + 4 bits), their
/// failure type byte (SAE J2012-DA), the status byte of ISO 14229-1 Annex D.

#include <cstdint>
#include <string>
#include <vector>

#include "core/protocol/decoded.hpp"

namespace pin16::protocol {

inline constexpr std::size_t kDtcSize = 2;     ///< OBD
inline constexpr std::size_t kUdsDtcSize = 4;  ///< UDS: code, failure type, status

/// "P0133".
[[nodiscard]] std::string dtcText(std::uint16_t code);
/// "P0133-16": the failure type in hex. SAE J2012 text, whatever format the module uses: 19 01 tells it.
[[nodiscard]] std::string dtcText(std::uint16_t code, std::uint8_t failure_type);
/// Names of the bits set, lowest first.
[[nodiscard]] std::vector<std::string> dtcStatusBits(std::uint8_t status);

/// What follows 43, 47 or 4A on CAN: a count, then codes.
[[nodiscard]] Decoded decodeObdDtcs(ByteView data);
/// What follows 59: sub-function 01, 02 or 0A first.
[[nodiscard]] Decoded decodeUdsDtcs(ByteView data);

}  // namespace pin16::protocol
