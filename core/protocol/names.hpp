// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Names of services, negative responses, identifiers and the like; empty where a code is reserved or not
/// known. Sources: ISO 14229-1 Annexes A and C via scapy's contrib/automotive/uds.py and Wireshark's
/// packet-uds.c; OBD services and infotypes via scapy's contrib/automotive/obd and Wireshark's
/// packet-obd-ii.c; KWP2000 services via scapy's contrib/automotive/kwp.py; 81 and 82 via public K-line code.

#include <cstdint>
#include <string_view>

namespace pin16::protocol {

/// OBD and UDS. KWP2000 services are not among them: only kwpServiceName() has those, for showing.
[[nodiscard]] std::string_view serviceName(std::uint8_t service);
[[nodiscard]] std::string_view kwpServiceName(std::uint8_t service);
[[nodiscard]] std::string_view nrcName(std::uint8_t code);  ///< negative response code
/// What a code without a name of its own belongs to (ISO 14229-1:2013 Annex A Table A.1); never empty.
[[nodiscard]] std::string_view nrcRangeName(std::uint8_t code);
[[nodiscard]] std::string_view didName(std::uint16_t identifier);    ///< F180..F19F
[[nodiscard]] std::string_view infotypeName(std::uint8_t infotype);  ///< of OBD service 09
[[nodiscard]] std::string_view readDtcName(
    std::uint8_t sub_function);                                     ///< of UDS service 19; those of the gate
[[nodiscard]] std::string_view sessionName(std::uint8_t session);   ///< as read with 22 F186
[[nodiscard]] std::string_view dtcFormatName(std::uint8_t format);  ///< DTCFormatIdentifier of 59 01

}  // namespace pin16::protocol
