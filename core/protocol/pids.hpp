// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Parameters (PIDs) of OBD services 01 and 02: SAE J1979 / ISO 15031-5 on CAN.
///
/// A PID is decoded where scapy, Wireshark's packet-obd-ii.c and a public transcription of SAE J1979:2002 (or
/// the two of them that have it) agree on size, scaling and unit. The others are named and shown raw. The
/// rows with their sources: tests/protocol/data/obd_pids.csv.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/protocol/decoded.hpp"

namespace pin16::protocol {

/// Empty if not in the table.
[[nodiscard]] std::string_view pidName(std::uint8_t pid);
/// `data`: what follows the PID (and the frame number). Of another size than the PID's: one raw item.
[[nodiscard]] std::vector<Item> decodePid(std::uint8_t pid, ByteView data);

/// What follows 41: one or more PIDs, each with its data, of those in `request` (01, PIDs).
/// What follows 42: the same with a frame number after each PID (02, pairs of PID and frame).
/// Unsupported PIDs are left out by the module. Where one of doubtful size stands among others it is split
/// off only if there is exactly one way to do so.
[[nodiscard]] Decoded decodePids(ByteView request, ByteView data);

/// Numbers set in a bit map of supported PIDs, monitors or infotypes: the top bit of the first byte is base
/// + 1. " 01 0C", or " none".
[[nodiscard]] std::string supportedText(std::uint8_t base, ByteView map);

}  // namespace pin16::protocol
