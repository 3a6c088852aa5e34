// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Form of the messages of line media: headers, addresses, check byte. Pure functions, any thread.
///
/// ISO 9141-2: 68 6A tester, answers 48 6B module. J1850: the same at 10.4 kbit/s (VPW), 61 6A and 41 6B at
/// 41.6 kbit/s (PWM). ISO 14230-4: C0 + length 33 tester (to all), 80 + length module tester, answers 80 +
/// length tester module (public transcription of SAE J1979:2002). ISO 14230-2 knows headers without addresses
/// and with the length in a byte of its own too (format byte A1 A0 L5..L0; from memory).

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/event/records.hpp"

namespace pin16::link {

inline constexpr std::uint8_t kTesterAddress = 0xF1;  ///< ours (SAE J1979)
inline constexpr std::size_t kLineHeader = 3;         ///< with addresses, length in the first byte
/// Data of a legislated message (SAE J1979): 7 bytes; of one of ISO 14230-2: 255.
inline constexpr std::size_t kLegislatedDataMax = 7;
inline constexpr std::size_t kKwpDataMax = 255;

/// What ends a message whose other bytes these are: K-line, sum modulo 256 (ISO 9141-2, ISO 14230-2); J1850,
/// CRC-8 with polynomial 1D, start FF, inverted (SAE J1850).
[[nodiscard]] std::uint8_t checkByte(event::Medium medium, ByteView header_and_data);
/// Header, data, check byte.
[[nodiscard]] Bytes lineBytes(const event::Line& line);
/// Longest message: K-line, format, addresses, length byte, 255 data bytes, sum (ISO 14230-2; ISO 9141-2: 11,
/// SAE J1979); J1850 12 bytes (MC68HC08AS20 data sheet, J1850 chapter).
inline constexpr std::size_t kKwpMessageMax = 4 + kKwpDataMax + 1;
inline constexpr std::size_t kJ1850MessageMax = 12;
struct ReadLine {
  event::Line line;
  bool check_right = false;
};
/// The one message that these bytes are, check byte last; nothing where length or format byte fit none.
[[nodiscard]] std::optional<ReadLine> readLine(event::Medium medium, ByteView bytes);
/// Time of so many bytes on the line without pauses: K-line 10 bits each, J1850 8.
[[nodiscard]] Ns lineTime_ns(event::Medium medium, std::size_t bytes);
/// What a line medium cannot show of a bus that CAN can (event::LinkState::medium_explains).
[[nodiscard]] std::vector<std::string> lineMediumExplains(event::Medium medium);

/// Address of the receiver and of the sender; nothing where the header has none.
[[nodiscard]] std::optional<std::uint8_t> targetOf(const event::Line& line);
[[nodiscard]] std::optional<std::uint8_t> sourceOf(const event::Line& line);
/// To everybody with a function, not to one module.
[[nodiscard]] bool isFunctional(const event::Line& line);
/// Sent by a tester: SAE J1979 gives F0 to FD to external test equipment (from memory; F1 is read).
[[nodiscard]] bool isTesters(const event::Line& line);

}  // namespace pin16::link
