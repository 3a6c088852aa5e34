// SPDX-License-Identifier: Apache-2.0
#include "core/can/wire_bits.hpp"

#include <algorithm>
#include <array>

namespace pin16::can {
namespace {

// What stands behind the CRC sequence: delimiter 1, ACK slot 1, ACK delimiter 1, EOF 7, intermission 3.
constexpr std::uint32_t kClassicTail = 13;
constexpr std::uint32_t kFdTail = 12;      // the same without the CRC delimiter
constexpr std::uint32_t kFdCrcShort = 28;  // stuff count 4, CRC 17, fixed stuff bits 6, delimiter 1
constexpr std::uint32_t kFdCrcLong = 33;   // stuff count 4, CRC 21, fixed stuff bits 7, delimiter 1
constexpr std::uint8_t kFdShortData = 16;  // longest data with CRC-17
constexpr std::uint32_t kCrcBits = 15;
constexpr std::uint32_t kCrcMask = 0x7FFF;
constexpr std::uint32_t kCrcPolynomial = 0x4599;

constexpr std::array<std::uint8_t, 16> kFdLengths = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};

// The stuffing rule as an automaton. State = last bit on the wire (bit 2) and length of its run less one
// (bits 0..1); a run of five is at once followed by its stuff bit, which starts a run of its own.
struct Step {
  std::uint8_t next = 0;
  std::uint8_t stuffed = 0;
};
constexpr std::uint8_t kIdle = 4;  // recessive: what is before SOF does not count into its run

constexpr Step stepBit(std::uint8_t state, std::uint32_t bit) {
  const auto fresh = [](std::uint32_t b) { return static_cast<std::uint8_t>(b << 2); };
  if (bit != static_cast<std::uint32_t>(state >> 2)) return {fresh(bit), 0};
  if ((state & 3U) == 3U) return {fresh(1 - bit), 1};
  return {static_cast<std::uint8_t>(state + 1), 0};
}

using ByteSteps = std::array<std::array<Step, 256>, 8>;
constexpr ByteSteps makeByteSteps() {
  ByteSteps table{};
  for (std::uint8_t state = 0; state < 8; ++state)
    for (std::uint32_t byte = 0; byte < 256; ++byte) {
      Step all{state, 0};
      for (int i = 7; i >= 0; --i) {
        const Step one = stepBit(all.next, byte >> i & 1U);
        all = {one.next, static_cast<std::uint8_t>(all.stuffed + one.stuffed)};
      }
      table[state][byte] = all;
    }
  return table;
}
constexpr ByteSteps kByteSteps = makeByteSteps();

constexpr std::array<std::uint16_t, 256> makeCrcTable() {
  std::array<std::uint16_t, 256> table{};
  for (std::uint32_t byte = 0; byte < 256; ++byte) {
    std::uint32_t crc = byte << (kCrcBits - 8);
    for (int i = 0; i < 8; ++i) crc = (crc << 1) ^ ((crc >> (kCrcBits - 1) & 1U) != 0 ? kCrcPolynomial : 0U);
    table[byte] = static_cast<std::uint16_t>(crc & kCrcMask);
  }
  return table;
}
constexpr std::array<std::uint16_t, 256> kCrcTable = makeCrcTable();

class StuffCounter {
 public:
  void bits(std::uint64_t value, std::uint32_t count) {
    for (; count >= 8; count -= 8) byte(static_cast<std::uint8_t>(value >> (count - 8)));
    while (count > 0) take(stepBit(state_, static_cast<std::uint32_t>(value >> --count) & 1U));
  }
  void byte(std::uint8_t b) { take(kByteSteps[state_][b]); }
  [[nodiscard]] std::uint32_t count() const { return count_; }

 private:
  void take(Step s) {
    state_ = s.next;
    count_ += s.stuffed;
  }
  std::uint8_t state_ = kIdle;
  std::uint32_t count_ = 0;
};

// Bits in the order of the wire, the last one lowest.
struct Field {
  std::uint64_t value = 0;
  std::uint32_t count = 0;
  void add(std::uint64_t v, std::uint32_t n) {
    value = value << n | v;
    count += n;
  }
};

// SOF to the last identifier bit; IDE comes after the 11-bit identifier and, in both forms, its RTR place.
Field identifier(const event::CanFrame& f) {
  Field h;
  h.add(0, 1);  // SOF
  if (f.extended()) {
    h.add(f.id() >> 18, 11);
    h.add(3, 2);  // SRR, IDE
    h.add(f.id() & 0x3FFFFU, 18);
  } else {
    h.add(f.id(), 11);
  }
  return h;
}

std::uint8_t classicLength(const event::CanFrame& f) {
  return std::min<std::uint8_t>(f.length, event::kClassicDataMax);
}

// SOF to DLC of a classic frame: 19 or 39 bits. The two bits behind RTR are IDE r0 or r1 r0, dominant both.
Field classicHeader(const event::CanFrame& f) {
  Field h = identifier(f);
  h.add(f.remote() ? 1 : 0, 1);
  h.add(0, 2);
  h.add(classicLength(f), 4);
  return h;
}

std::uint32_t classicCrc(const Field& header, ByteView data) {
  // A leading zero does not change a CRC that starts at 0: the header is taken as whole bytes.
  std::uint32_t crc = 0;
  const auto next = [&crc](std::uint64_t byte) {
    crc = (crc << 8 ^ kCrcTable[(crc >> 7 ^ byte) & 0xFFU]) & kCrcMask;
  };
  for (std::uint32_t shift = header.count > 24 ? 32 : 16; shift > 0; shift -= 8) next(header.value >> shift);
  next(header.value);
  for (const std::uint8_t b : data) next(b);
  return crc;
}

ByteView classicData(const event::CanFrame& f) {
  return {f.data.data(), f.remote() ? std::size_t{0} : classicLength(f)};
}

WireBits classicBits(const event::CanFrame& f) {
  const Field header = classicHeader(f);
  const ByteView data = classicData(f);
  StuffCounter stuff;
  // Whole bytes only. Before SOF 1 or 10101 is put, which no run crosses since SOF is dominant; behind the
  // CRC the complement of its last bit, which can end no run of five.
  const std::uint64_t before = header.count > 24 ? 0x1 : 0x15;
  stuff.bits(before << header.count | header.value, header.count > 24 ? 40 : 24);
  for (const std::uint8_t b : data) stuff.byte(b);
  const std::uint32_t crc = classicCrc(header, data);
  stuff.bits(crc << 1 | (~crc & 1U), kCrcBits + 1);
  const auto data_bits = static_cast<std::uint32_t>(8 * data.size());
  return {header.count + data_bits + kCrcBits + kClassicTail + stuff.count(), 0, stuff.count()};
}

// Dynamic stuffing ends with the data field. Five equal bits at its very end get no stuff bit of their own:
// the fixed stuff bit in front of the stuff count is their complement (from memory of ISO 11898-1:2015; V1.0
// clause 5 says that the fixed bit is there "even if" the stuff condition is not met). So the last bit before
// the CRC field is never put through the counter. The CRC field has fixed length: its value does not matter.
WireBits fdBits(const event::CanFrame& f) {
  const std::uint8_t dlc = fdDlc(f.length);
  const std::uint8_t length = fdLength(dlc);
  Field arbitration = identifier(f);
  arbitration.add(0, 1);                     // RRS
  if (!f.extended()) arbitration.add(0, 1);  // IDE
  arbitration.add(2, 2);                     // FDF, res
  arbitration.add(f.brs() ? 1 : 0, 1);
  Field control;
  control.add(f.esi() ? 1 : 0, 1);
  control.add(dlc, 4);

  StuffCounter stuff;
  stuff.bits(arbitration.value, arbitration.count);
  const std::uint32_t arbitration_stuff = stuff.count();
  if (length == 0) {
    stuff.bits(control.value >> 1, control.count - 1);
  } else {
    stuff.bits(control.value, control.count);
    for (std::size_t i = 0; i + 1 < length; ++i) stuff.byte(f.data[i]);
    stuff.bits(f.data[length - 1U] >> 1, 7);
  }
  const std::uint32_t crc_field = length <= kFdShortData ? kFdCrcShort : kFdCrcLong;
  // The rate changes at the sample points of BRS and of the CRC delimiter. The two split bits together last
  // exactly one nominal and one data bit time, whatever the sample points: BRS is counted as nominal, the
  // delimiter as data.
  WireBits bits;
  bits.stuff = stuff.count();
  bits.nominal = arbitration.count + arbitration_stuff + kFdTail;
  bits.data = control.count + 8U * length + (stuff.count() - arbitration_stuff) + crc_field;
  if (!f.brs()) {
    bits.nominal += bits.data;
    bits.data = 0;
  }
  return bits;
}

}  // namespace

std::uint8_t fdDlc(std::uint8_t length) {
  if (length <= event::kClassicDataMax) return length;
  const auto* at = std::lower_bound(kFdLengths.begin(), kFdLengths.end(), length);
  return at == kFdLengths.end() ? std::uint8_t{15} : static_cast<std::uint8_t>(at - kFdLengths.begin());
}

std::uint8_t fdLength(std::uint8_t dlc) { return kFdLengths[dlc & 0x0FU]; }

WireBits wireBits(const event::CanFrame& frame) {
  if (frame.error()) return {};
  return frame.fd() ? fdBits(frame) : classicBits(frame);
}

std::uint16_t crc15(const event::CanFrame& frame) {
  return static_cast<std::uint16_t>(classicCrc(classicHeader(frame), classicData(frame)));
}

Ns wireNs(const WireBits& bits, std::uint32_t bitrate, std::uint32_t data_bitrate) {
  if (bitrate == 0) return 0;
  const auto time = [](Ns n, Ns rate) { return (n * kNsPerSecond + rate / 2) / rate; };
  return time(bits.nominal, bitrate) + time(bits.data, data_bitrate == 0 ? bitrate : data_bitrate);
}

Ns wireNs(const event::CanFrame& frame, std::uint32_t bitrate, std::uint32_t data_bitrate) {
  return wireNs(wireBits(frame), bitrate, data_bitrate);
}

}  // namespace pin16::can
