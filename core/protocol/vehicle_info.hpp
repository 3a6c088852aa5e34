// SPDX-License-Identifier: Apache-2.0
#pragma once
/// OBD service 09 on CAN: vehicle information. After the infotype a count, then items of one size. Layouts:
/// scapy's contrib/automotive/obd/iid/iids.py. Names of the in-use counters: from memory of SAE J1979-DA.

#include "core/protocol/decoded.hpp"

namespace pin16::protocol {

/// What follows 49. Message counts (01, 03, 05, 07, 09) are not used on CAN, but shown.
[[nodiscard]] Decoded decodeVehicleInfo(ByteView data);
/// The number itself, with what checkVin() says of it as a note.
[[nodiscard]] Item vinItem(std::string id, ByteView text);
/// Printable text, the zeros that pad it cut off its end; nothing if it is anything else.
[[nodiscard]] std::optional<std::string> asText(ByteView data);

}  // namespace pin16::protocol
