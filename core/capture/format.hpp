// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Numbers of the capture format (docs/capture-format.md). Block types, options and link types as in
/// draft-ietf-opsawg-pcapng and the list of link-layer header types of tcpdump.org; what is Pin16's own says
/// so.

#include <cstddef>
#include <cstdint>
#include <string_view>

#include "core/base/clock.hpp"

namespace pin16::capture {

// Block types.
inline constexpr std::uint32_t kSectionHeader = 0x0A0D0D0A;
inline constexpr std::uint32_t kInterfaceDescription = 1;
inline constexpr std::uint32_t kPacketBlock = 2;  ///< obsolete
inline constexpr std::uint32_t kSimplePacket = 3;
inline constexpr std::uint32_t kNameResolution = 4;
inline constexpr std::uint32_t kInterfaceStatistics = 5;
inline constexpr std::uint32_t kEnhancedPacket = 6;
inline constexpr std::uint32_t kSystemdJournal = 9;
inline constexpr std::uint32_t kDecryptionSecrets = 10;
inline constexpr std::uint32_t kCustomCopied = 0x00000BAD;
inline constexpr std::uint32_t kCustomNotCopied = 0x40000BAD;
inline constexpr std::uint32_t kByteOrderMagic = 0x1A2B3C4D;
inline constexpr std::uint16_t kVersionMajor = 1;

// Option codes.
inline constexpr std::uint16_t kOptEnd = 0;
inline constexpr std::uint16_t kOptComment = 1;
inline constexpr std::uint16_t kShbHardware = 2;
inline constexpr std::uint16_t kShbOs = 3;
inline constexpr std::uint16_t kShbApplication = 4;
inline constexpr std::uint16_t kIfName = 2;
inline constexpr std::uint16_t kIfDescription = 3;
inline constexpr std::uint16_t kIfSpeed = 8;  ///< bit/s
inline constexpr std::uint16_t kIfTsresol = 9;
inline constexpr std::uint16_t kIfTsoffset = 14;
inline constexpr std::uint16_t kIfHardware = 15;
inline constexpr std::uint16_t kEpbFlags = 2;
inline constexpr std::uint16_t kEpbPacketId = 5;
inline constexpr std::uint16_t kIsbStart = 2;
inline constexpr std::uint16_t kIsbEnd = 3;
inline constexpr std::uint16_t kIsbReceived = 4;
inline constexpr std::uint16_t kIsbDropped = 5;
inline constexpr std::uint16_t kIsbOsDropped = 7;
/// Bits 0..1 of epb_flags.
inline constexpr std::uint32_t kDirectionMask = 3;
inline constexpr std::uint32_t kInbound = 1;
inline constexpr std::uint32_t kOutboundPacket = 2;

// Link types.
inline constexpr std::uint16_t kLinktypeCan = 227;      ///< LINKTYPE_CAN_SOCKETCAN
inline constexpr std::uint16_t kLinktypeRecords = 147;  ///< LINKTYPE_USER0
inline constexpr std::uint16_t kLinktypeBytes = 148;    ///< LINKTYPE_USER1

// Pin16's own.
/// if_name of our two private interfaces: other people's USER0 and USER1 mean something else.
inline constexpr std::string_view kRecordsName = "pin16-records";
inline constexpr std::string_view kBytesName = "pin16-bytes";
/// Comment of a CAN interface: this text and the decimal link index of the run.
inline constexpr std::string_view kLinkComment = "Pin16 link ";
inline constexpr std::uint8_t kRecordVersion = 1;
/// Ahead of each record: u8 version, u8 kind, u16 link, u32 reserved, u64 sequence; little-endian.
inline constexpr std::size_t kRecordHeaderSize = 16;
/// Text of an option at most: its length is a u16, and a general reader shows it in one line.
inline constexpr std::size_t kMaxText = 1000;
/// Own figure: no bench has more; bounds what a damaged index can make a reader allocate.
inline constexpr std::uint16_t kMaxLinks = 4096;
/// Largest block read or written. A packet of any link type of the standard is at most 256 KiB
/// (MAXIMUM_SNAPLEN of libpcap), comments and secrets a few more; longer is taken for a damaged length.
inline constexpr std::uint32_t kMaxBlock = 16U << 20U;
/// Type, length, length.
inline constexpr std::uint32_t kMinBlock = 12;
/// Cumulative interface statistics are written this often, in event time.
inline constexpr Ns kStatisticsEvery_ns = 5 * kNsPerSecond;

}  // namespace pin16::capture
