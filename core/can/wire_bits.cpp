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
// Polynomials without their highest term: clause 3.2.1 of V1.0.
constexpr std::uint32_t kCrcBits = 15;
constexpr std::uint32_t kCrcPolynomial = 0x4599;
constexpr std::uint32_t kCrc17Polynomial = 0x1685B;
constexpr std::uint32_t kCrc21Polynomial = 0x102899;
constexpr std::uint32_t kStuffCountBits = 4;

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

// The 8 to 10 bits that a byte puts on the wire.
constexpr std::array<std::array<std::uint16_t, 256>, 8> makeByteBits() {
  std::array<std::array<std::uint16_t, 256>, 8> table{};
  for (std::uint8_t first = 0; first < 8; ++first)
    for (std::uint32_t byte = 0; byte < 256; ++byte) {
      std::uint8_t state = first;
      std::uint32_t out = 0;
      for (int i = 7; i >= 0; --i) {
        const std::uint32_t bit = byte >> i & 1U;
        const Step one = stepBit(state, bit);
        out = out << 1 | bit;
        if (one.stuffed != 0) out = out << 1 | (1 - bit);
        state = one.next;
      }
      table[first][byte] = static_cast<std::uint16_t>(out);
    }
  return table;
}
constexpr auto kByteBits = makeByteBits();

template <std::uint32_t Width, std::uint32_t Polynomial>
constexpr std::uint32_t crcBit(std::uint32_t crc) {
  return ((crc << 1) ^ ((crc >> (Width - 1) & 1U) != 0 ? Polynomial : 0U)) & ((1U << Width) - 1);
}

// CRC register of `Width` bits, highest term first, fed a byte or a bit at a time.
template <std::uint32_t Width, std::uint32_t Polynomial>
class Crc {
 public:
  explicit constexpr Crc(std::uint32_t first) : crc_(first) {}
  void byte(std::uint64_t b) {
    crc_ = (crc_ << 8 ^ kTable[(crc_ >> (Width - 8) ^ b) & 0xFFU]) & ((1U << Width) - 1);
  }
  void bits(std::uint64_t value, std::uint32_t count) {
    for (; count >= 8; count -= 8) byte(value >> (count - 8));
    while (count > 0) crc_ = crcBit<Width, Polynomial>(crc_ ^ bitOnTop(value >> --count));
  }
  [[nodiscard]] std::uint32_t value() const { return crc_; }

 private:
  static constexpr std::uint32_t bitOnTop(std::uint64_t b) {
    return static_cast<std::uint32_t>(b & 1U) << (Width - 1);
  }
  static constexpr std::array<std::uint32_t, 256> makeTable() {
    std::array<std::uint32_t, 256> table{};
    for (std::uint32_t byte = 0; byte < 256; ++byte) {
      std::uint32_t crc = byte << (Width - 8);
      for (int i = 0; i < 8; ++i) crc = crcBit<Width, Polynomial>(crc);
      table[byte] = crc;
    }
    return table;
  }
  static constexpr std::array<std::uint32_t, 256> kTable = makeTable();
  std::uint32_t crc_;
};

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
  Crc<kCrcBits, kCrcPolynomial> crc(0);
  crc.bits(header.value, header.count > 24 ? 40 : 24);
  for (const std::uint8_t b : data) crc.byte(b);
  return crc.value();
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

// An FD frame up to its CRC field.
struct FdFields {
  Field arbitration;  // SOF to BRS
  Field control;      // ESI, DLC
  std::uint8_t length = 0;
};

FdFields fdFields(const event::CanFrame& f) {
  const std::uint8_t dlc = fdDlc(f.length);
  FdFields fields;
  fields.length = fdLength(dlc);
  Field& a = fields.arbitration;
  a = identifier(f);
  a.add(0, 1);                     // RRS
  if (!f.extended()) a.add(0, 1);  // IDE
  a.add(2, 2);                     // FDF, res
  a.add(f.brs() ? 1 : 0, 1);
  fields.control.add(f.esi() ? 1 : 0, 1);
  fields.control.add(dlc, 4);
  return fields;
}

// Dynamic stuffing ends with the data field. Five equal bits at its very end get no stuff bit of their own:
// the fixed stuff bit in front of the stuff count is their complement (from memory of ISO 11898-1:2015; V1.0
// clause 5 says that the fixed bit is there "even if" the stuff condition is not met). So the last bit before
// the CRC field is never put through the counter. The CRC field has fixed length: its value does not matter.
WireBits fdBits(const event::CanFrame& f) {
  const FdFields fields = fdFields(f);
  StuffCounter stuff;
  stuff.bits(fields.arbitration.value, fields.arbitration.count);
  const std::uint32_t arbitration_stuff = stuff.count();
  if (fields.length == 0) {
    stuff.bits(fields.control.value >> 1, fields.control.count - 1);
  } else {
    stuff.bits(fields.control.value, fields.control.count);
    for (std::size_t i = 0; i + 1 < fields.length; ++i) stuff.byte(f.data[i]);
    stuff.bits(f.data[fields.length - 1U] >> 1, 7);
  }
  const std::uint32_t crc_field = fields.length <= kFdShortData ? kFdCrcShort : kFdCrcLong;
  // The rate changes at the sample points of BRS and of the CRC delimiter. The two split bits together last
  // exactly one nominal and one data bit time, whatever the sample points: BRS is counted as nominal, the
  // delimiter as data.
  WireBits bits;
  bits.stuff = stuff.count();
  bits.nominal = fields.arbitration.count + arbitration_stuff + kFdTail;
  bits.data = fields.control.count + 8U * fields.length + (stuff.count() - arbitration_stuff) + crc_field;
  if (!f.brs()) {
    bits.nominal += bits.data;
    bits.data = 0;
  }
  return bits;
}

// Gray code of the count modulo 8 and a bit that makes the ones even (from memory of ISO 11898-1:2015).
constexpr std::uint8_t stuffCountField(std::uint32_t count) {
  const std::uint32_t gray = (count & 7U) ^ (count & 7U) >> 1;
  return static_cast<std::uint8_t>(gray << 1 | ((gray ^ gray >> 1 ^ gray >> 2) & 1U));
}

// The FD CRC covers the dynamic stuff bits and the stuff count. Its register starts with its highest bit set
// (from memory of ISO 11898-1:2015; V1.0 starts at 0).
template <std::uint32_t Width, std::uint32_t Polynomial>
FdCheck checkOf(const FdFields& fields, const event::CanFrame& f) {
  Crc<Width, Polynomial> crc(1U << (Width - 1));
  std::uint8_t state = kIdle;
  std::uint32_t stuffed = 0;
  const auto put = [&](std::uint64_t value, std::uint32_t count, bool last) {
    while (count-- > 0) {
      const std::uint32_t bit = static_cast<std::uint32_t>(value >> count) & 1U;
      crc.bits(bit, 1);
      const Step step = stepBit(state, bit);
      state = step.next;
      if (step.stuffed == 0 || (last && count == 0)) continue;
      crc.bits(1 - bit, 1);
      ++stuffed;
    }
  };
  put(fields.arbitration.value, fields.arbitration.count, false);
  put(fields.control.value, fields.control.count, fields.length == 0);
  for (std::size_t i = 0; i + 1 < fields.length; ++i) {
    const Step step = kByteSteps[state][f.data[i]];
    crc.bits(kByteBits[state][f.data[i]], 8U + step.stuffed);
    state = step.next;
    stuffed += step.stuffed;
  }
  if (fields.length != 0) put(f.data[fields.length - 1U], 8, true);
  FdCheck check;
  check.stuff_count = stuffCountField(stuffed);
  crc.bits(check.stuff_count, kStuffCountBits);
  check.width = Width;
  check.crc = crc.value();
  return check;
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

WireBits wireBits(const event::Header& header, const event::CanFrame& frame) {
  const std::uint32_t w = header.wire_bits;
  if (w == 0) return wireBits(frame);
  return {w & 0x3FFU, w >> 10U & 0x3FFU, w >> 20U};
}

std::uint16_t crc15(const event::CanFrame& frame) {
  return static_cast<std::uint16_t>(classicCrc(classicHeader(frame), classicData(frame)));
}

FdCheck fdCheck(const event::CanFrame& frame) {
  const FdFields fields = fdFields(frame);
  return fields.length <= kFdShortData ? checkOf<17, kCrc17Polynomial>(fields, frame)
                                       : checkOf<21, kCrc21Polynomial>(fields, frame);
}

Ns wireNs(const WireBits& bits, std::uint32_t bitrate, std::uint32_t data_bitrate) {
  if (bitrate == 0) return 0;
  constexpr std::uint64_t kSecond = kNsPerSecond;
  const std::uint64_t nominal = bits.nominal * kSecond;
  if (bits.data == 0) return static_cast<Ns>((nominal + bitrate / 2) / bitrate);
  if (data_bitrate == 0) data_bitrate = bitrate;
  const std::uint64_t data = bits.data * kSecond;
  // The two remainders on one denominator, so that the sum is rounded and not its parts. Nothing overflows
  // below 2 Gbit/s.
  const std::uint64_t whole = std::uint64_t{bitrate} * data_bitrate;
  const std::uint64_t rest = nominal % bitrate * data_bitrate + data % data_bitrate * bitrate;
  return static_cast<Ns>(nominal / bitrate + data / data_bitrate + (rest + whole / 2) / whole);
}

Ns wireNs(const event::CanFrame& frame, std::uint32_t bitrate, std::uint32_t data_bitrate) {
  return wireNs(wireBits(frame), bitrate, data_bitrate);
}

}  // namespace pin16::can
