// SPDX-License-Identifier: Apache-2.0
#pragma once
/// OBD service 06 on CAN: on-board monitoring test results. Records of 9 bytes: monitor (MID), test (TID),
/// unit and scaling id (UAS), value, lower and upper limit, each of two bytes. Layout and names: scapy's
/// contrib/automotive/obd/mid/mids.py.
///
/// Units and scalings have that one source only. So the figures are raw counts (signed from UAS 80 on), which
/// suffice to compare value and limits, and what they would be by that source is a note.

#include <cstdint>
#include <string>

#include "core/protocol/decoded.hpp"

namespace pin16::protocol {

/// "catalyst monitor bank 1"; empty where the source has none.
[[nodiscard]] std::string monitorName(std::uint8_t mid);
/// "450.058 mV"; empty for an id that the source does not have.
[[nodiscard]] std::string scaledText(std::uint8_t uas, std::uint16_t count);
/// What follows 46.
[[nodiscard]] Decoded decodeMonitors(ByteView data);

}  // namespace pin16::protocol
