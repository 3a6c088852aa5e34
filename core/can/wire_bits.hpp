// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Exact number of bits that a frame occupies on the wire, intermission included: header, stuff bits as the
/// identifier, data and CRC bring them, fixed fields, 3 bits of intermission. Classic frames with 11 and 29
/// bit identifiers, data and remote; FD frames in the ISO 11898-1:2015 form. Pure functions, any thread.
///
/// Sources: CAN with Flexible Data-Rate specification V1.0 (2012), clauses 3 and 5 (fields, stuffing, CRC
/// polynomials); Linux include/linux/can/length.h (2023) (field lengths, FD CRC field of 28 or 33 bits). Of
/// ISO 11898-1:2015 from memory: first value of the FD CRC registers, coding of the stuff count, no dynamic
/// stuff bit at the very end of the data.

#include <cstdint>

#include "core/base/clock.hpp"
#include "core/event/batch.hpp"

namespace pin16::can {

/// Lengths in bits. `data` is what is sent at the data bit rate: 0 unless an FD frame switches (BRS).
struct WireBits {
  std::uint32_t nominal = 0;
  std::uint32_t data = 0;
  std::uint32_t stuff = 0;  ///< dynamic stuff bits, contained in the two above
  [[nodiscard]] std::uint32_t total() const { return nominal + data; }
};

/// All zero for an error frame: it tells of an event and is no frame on the wire. An FD length that no DLC
/// stands for is taken as the next longer one, padded with zeros; a classic DLC of 9 to 15 as 8, since a
/// frame's record does not hold it.
[[nodiscard]] WireBits wireBits(const event::CanFrame& frame);

/// In event::Header::wire_bits: nominal in bits 0..9, data in 10..19, stuff in 20..31. No frame reaches 1024.
/// Filled once, where a frame enters a batch (recorder, capture reader).
[[nodiscard]] constexpr std::uint32_t packWireBits(const WireBits& bits) {
  return bits.nominal | bits.data << 10U | bits.stuff << 20U;
}
/// What the header of a frame carries; computed from `frame`, which it announces, if it carries nothing.
[[nodiscard]] WireBits wireBits(const event::Header& header, const event::CanFrame& frame);

/// The CRC-15 sequence of a classic data or remote frame.
[[nodiscard]] std::uint16_t crc15(const event::CanFrame& frame);

/// What checks an FD frame in its CRC field, fixed stuff bits left out.
struct FdCheck {
  std::uint8_t stuff_count = 0;  ///< 4 bits: Gray code of the stuff bits modulo 8, then its even parity
  std::uint8_t width = 17;       ///< bits of the CRC sequence: 17 up to 16 data bytes, else 21
  std::uint32_t crc = 0;
};
[[nodiscard]] FdCheck fdCheck(const event::CanFrame& frame);

/// Time on the wire in ns, rounded once to the nearest. Rates in bit/s; `bitrate` 0 gives 0 (unknown);
/// `data_bitrate` 0 (unknown) counts the data phase at `bitrate`, which is then an upper bound.
[[nodiscard]] Ns wireNs(const event::CanFrame& frame, std::uint32_t bitrate, std::uint32_t data_bitrate);
[[nodiscard]] Ns wireNs(const WireBits& bits, std::uint32_t bitrate, std::uint32_t data_bitrate);

/// Data length code of an FD frame with that many data bytes (rounded up), and the bytes a code stands for.
[[nodiscard]] std::uint8_t fdDlc(std::uint8_t length);
[[nodiscard]] std::uint8_t fdLength(std::uint8_t dlc);

}  // namespace pin16::can
