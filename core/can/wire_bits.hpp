// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Exact number of bits that a frame occupies on the wire, intermission included: header, stuff bits as the
/// identifier, data and CRC bring them, fixed fields, 3 bits of intermission. Classic frames with 11 and 29
/// bit identifiers, data and remote; FD frames in the ISO 11898-1:2015 form. Pure functions, any thread.
///
/// Sources: CAN with Flexible Data-Rate specification V1.0 (2012), clauses 3 and 5 (fields, stuffing,
/// CRC-15); Linux include/linux/can/length.h (2023) (field lengths, FD CRC field of 28 or 33 bits).

#include <cstdint>

#include "core/base/clock.hpp"
#include "core/event/frame.hpp"

namespace pin16::can {

/// Lengths in bits. `data` is what is sent at the data bit rate: 0 unless an FD frame switches (BRS).
struct WireBits {
  std::uint32_t nominal = 0;
  std::uint32_t data = 0;
  std::uint32_t stuff = 0;  ///< dynamic stuff bits, contained in the two above
  [[nodiscard]] std::uint32_t total() const { return nominal + data; }
};

/// All zero for an error frame: it tells of an event and is no frame on the wire. An FD length that no DLC
/// stands for is taken as the next longer one, padded with zeros.
[[nodiscard]] WireBits wireBits(const event::CanFrame& frame);

/// The CRC-15 sequence of a classic data or remote frame.
[[nodiscard]] std::uint16_t crc15(const event::CanFrame& frame);

/// Time on the wire in ns, rounded to the nearest. Rates in bit/s; `bitrate` 0 gives 0 (unknown);
/// `data_bitrate` 0 (unknown) counts the data phase at `bitrate`, which is then an upper bound.
[[nodiscard]] Ns wireNs(const event::CanFrame& frame, std::uint32_t bitrate, std::uint32_t data_bitrate);
[[nodiscard]] Ns wireNs(const WireBits& bits, std::uint32_t bitrate, std::uint32_t data_bitrate);

/// Data length code of an FD frame with that many data bytes (rounded up), and the bytes a code stands for.
[[nodiscard]] std::uint8_t fdDlc(std::uint8_t length);
[[nodiscard]] std::uint8_t fdLength(std::uint8_t dlc);

}  // namespace pin16::can
