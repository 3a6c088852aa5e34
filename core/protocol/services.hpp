// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Requests and answers of the diagnostic services that Pin16 meets: legislated OBD (SAE J1979 / ISO 15031-5)
/// and UDS (ISO 14229-1), in words. Pure functions, any thread. Payloads are whole ISO-TP messages, service
/// byte first. Names: names.hpp. Answers as data: decoded.hpp.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "core/base/hex.hpp"
#include "core/base/result.hpp"
#include "core/event/records.hpp"
#include "core/protocol/names.hpp"
#include "core/protocol/target.hpp"

namespace pin16::protocol {

inline constexpr std::uint8_t kPositiveOffset = 0x40;
inline constexpr std::uint8_t kNegativeResponse = 0x7F;
inline constexpr std::uint8_t kResponsePending = 0x78;
inline constexpr std::uint8_t kReadDtc = 0x19;
inline constexpr std::uint8_t kReadData = 0x22;
inline constexpr std::uint8_t kReadEcuIdentification = 0x1A;  ///< ISO 14230-3
inline constexpr std::uint16_t kDidVin = 0xF190;

/// Legislated OBD: 01..0A.
[[nodiscard]] constexpr bool isObd(std::uint8_t service) { return service >= 0x01 && service <= 0x0A; }

enum class AnswerKind : std::uint8_t { none, positive, negative, pending };
/// Whether `answer` (its first 3 bytes are enough) answers this very request: service, and what the service
/// echoes (identifier, PID, sub-function). `none`: it belongs to something else.
[[nodiscard]] AnswerKind answerKind(ByteView request, ByteView answer);

/// "09 02: vehicle information, VIN".
[[nodiscard]] std::string describeRequest(ByteView request);
/// What decodeAnswer() found in one line; of long lists the beginning.
[[nodiscard]] std::string describeAnswer(ByteView request, ByteView answer,
                                         event::Medium medium = event::Medium::can);
/// The number in a positive answer to 22 F190 or 09 02; nothing if there is none. Not checked: vin.hpp.
[[nodiscard]] std::optional<std::string> vinOf(ByteView request, ByteView answer);

struct AddressedRequest {
  Target target;
  Bytes pdu;
};
/// "01 0C", "@7E0 22 F190", "@18DA10F1 22 F190", "@10 1A 90" (K-line). Without an address, OBD goes to the
/// functional address 7DF; UDS needs one. ErrorKind::usage says what is wrong and how it is written. Whether
/// it may be sent is the gate's matter.
[[nodiscard]] Result<AddressedRequest> parseRequestText(std::string_view text);

}  // namespace pin16::protocol
