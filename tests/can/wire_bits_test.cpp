// SPDX-License-Identifier: Apache-2.0
#include "core/can/wire_bits.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <bit>
#include <boost/crc.hpp>
#include <fstream>
#include <set>
#include <sstream>

namespace pin16::can {
namespace {

using event::CanFrame;

// ---- A second model, written without the first: the frame bit by bit, every field named as in the CAN with
// Flexible Data-Rate specification V1.0 (2012), clauses 3 and 5. No tables, no bytes.

struct Bits {
  std::array<std::uint8_t, 1024> at{};
  std::size_t size = 0;
  void bit(std::uint32_t b) { at[size++] = static_cast<std::uint8_t>(b & 1U); }
  void field(std::uint64_t value, int count) {
    for (int i = count - 1; i >= 0; --i) bit(static_cast<std::uint32_t>(value >> i));
  }
};

/// Clause 3.2.1: CRC_RG shifted left, the polynomial without its highest term added where CRCNXT is 1.
std::uint32_t shiftRegister(const Bits& bits, std::uint32_t polynomial, int width, std::uint32_t first) {
  std::uint32_t crc_rg = first;
  for (std::size_t i = 0; i < bits.size; ++i) {
    const std::uint32_t crcnxt = bits.at[i] ^ (crc_rg >> (width - 1) & 1U);
    crc_rg = crc_rg << 1 & ((1U << width) - 1);
    if (crcnxt != 0) crc_rg ^= polynomial;
  }
  return crc_rg;
}

/// Clause 5, coding: after five equal bits a complementary one. `split` is moved by the stuff bits before it.
struct Stuffed {
  Bits bits;
  std::uint32_t stuff = 0;
  std::size_t split = 0;
};
Stuffed stuff(const Bits& in, bool at_the_end, std::size_t split = 0) {
  Stuffed out;
  out.split = split;
  std::uint32_t last = 2;
  int run = 0;
  for (std::size_t i = 0; i < in.size; ++i) {
    run = in.at[i] == last ? run + 1 : 1;
    last = in.at[i];
    out.bits.bit(last);
    if (run < 5 || (i + 1 == in.size && !at_the_end)) continue;
    last = 1 - last;
    out.bits.bit(last);
    run = 1;
    ++out.stuff;
    if (i + 1 < split) ++out.split;
  }
  return out;
}

struct Reference {
  std::uint32_t nominal = 0, data = 0, stuff = 0;
  std::uint32_t crc = 0;
  std::uint32_t stuff_count = 0;  ///< FD only
};

void identifierField(Bits& out, const CanFrame& f) {
  out.field(0, 1);  // SOF
  if (f.extended()) {
    out.field(f.id() >> 18, 11);
    out.field(1, 1);  // SRR
    out.field(1, 1);  // IDE
    out.field(f.id() & 0x3FFFF, 18);
  } else {
    out.field(f.id(), 11);
  }
}

constexpr std::uint32_t kAckEofIntermission = 1 + 1 + 7 + 3;  // ACK slot, ACK delimiter, EOF, intermission

Reference classicReference(const CanFrame& f) {
  Bits bits;
  identifierField(bits, f);
  bits.field(f.remote() ? 1 : 0, 1);  // RTR
  bits.field(0, 2);                   // IDE r0, or r1 r0
  bits.field(f.length, 4);
  if (!f.remote())
    for (std::size_t i = 0; i < f.length; ++i) bits.field(f.data[i], 8);
  Reference r;
  r.crc = shiftRegister(bits, 0x4599, 15, 0);
  bits.field(r.crc, 15);
  const Stuffed s = stuff(bits, true);
  r.stuff = s.stuff;
  r.nominal = static_cast<std::uint32_t>(s.bits.size) + 1 /* CRC delimiter */ + kAckEofIntermission;
  return r;
}

constexpr std::size_t kSizes[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};

Reference fdReference(const CanFrame& f) {
  std::size_t dlc = 0;
  while (kSizes[dlc] < f.length) ++dlc;
  Bits bits;
  identifierField(bits, f);
  bits.field(0, 1);                     // RRS
  if (!f.extended()) bits.field(0, 1);  // IDE
  bits.field(1, 1);                     // FDF
  bits.field(0, 1);                     // res
  bits.field(f.brs() ? 1 : 0, 1);
  const std::size_t arbitration = bits.size;
  bits.field(f.esi() ? 1 : 0, 1);
  bits.field(dlc, 4);
  for (std::size_t i = 0; i < kSizes[dlc]; ++i) bits.field(f.data[i], 8);
  Stuffed s = stuff(bits, false, arbitration);

  Reference r;
  r.stuff = s.stuff;
  // ISO 11898-1:2015, from memory: Gray code of the stuff bits modulo 8, even parity, both under the CRC.
  constexpr std::uint32_t kGray[] = {0b000, 0b001, 0b011, 0b010, 0b110, 0b111, 0b101, 0b100};
  constexpr std::uint32_t kParity[] = {0, 1, 0, 1, 0, 1, 0, 1};
  r.stuff_count = kGray[s.stuff % 8] << 1 | kParity[s.stuff % 8];
  s.bits.field(r.stuff_count, 4);
  const std::size_t before_crc = s.bits.size - 4;
  const int width = kSizes[dlc] <= 16 ? 17 : 21;
  r.crc =
      shiftRegister(s.bits, width == 17 ? 0x3685B & 0x1FFFF : 0x302899 & 0x1FFFFF, width, 1U << (width - 1));
  // One fixed stuff bit before the CRC field and one after each fourth bit of it.
  std::size_t crc_field = 0;
  for (int i = 0; i < 4 + width; ++i) crc_field += i % 4 == 0 ? 2 : 1;
  const std::size_t fast = before_crc - s.split + crc_field + 1 /* CRC delimiter */;
  r.nominal = static_cast<std::uint32_t>(s.split) + kAckEofIntermission;
  (f.brs() ? r.data : r.nominal) += static_cast<std::uint32_t>(fast);
  return r;
}

/// A generator of our own: the standard library's differ between implementations. xorshift64*, Vigna 2016.
class Random {
 public:
  std::uint64_t next() {
    state_ ^= state_ >> 12;
    state_ ^= state_ << 25;
    state_ ^= state_ >> 27;
    return state_ * 0x2545F4914F6CDD1DULL;
  }
  std::uint32_t below(std::uint32_t n) { return static_cast<std::uint32_t>((next() >> 32) % n); }

 private:
  std::uint64_t state_ = 0x16161616;
};

enum class Kind { classic11, classic29, remote, fd11, fd29, fd_switching };

CanFrame randomFrame(Random& random, Kind kind) {
  const bool fd = kind >= Kind::fd11;
  const bool either = kind == Kind::remote || kind == Kind::fd_switching;
  const bool extended = either ? random.below(2) == 0 : kind == Kind::classic29 || kind == Kind::fd29;
  CanFrame f;
  std::uint32_t id = random.below(1U << 29);
  if (random.below(4) == 0) id = random.below(2) == 0 ? 0 : 0x1FFFFFFF;
  f.word = extended ? (id & event::kExtendedMask) | event::kExtendedFlag : id & event::kStandardMask;
  f.length = static_cast<std::uint8_t>(kSizes[random.below(fd ? 16 : 9)]);
  if (kind == Kind::remote) {
    f.word |= event::kRemoteFlag;
    return f;
  }
  // Random bytes alone hardly ever stuff: half of them long runs.
  constexpr std::uint8_t runs[] = {0x00, 0xFF, 0x0F, 0x3C, 0x1F, 0x07, 0xE0, 0x83};
  std::uint64_t pool = 0;
  for (std::size_t i = 0; i < f.length; ++i, pool >>= 12) {
    if (i % 5 == 0) pool = random.next() >> 4;
    f.data[i] = (pool & 0x800) != 0 ? runs[pool & 7] : static_cast<std::uint8_t>(pool);
  }
  if (fd) f.fd_flags = event::kFdFormat;
  if (kind == Kind::fd_switching) f.fd_flags |= event::kFdBrs;
  if (fd && random.below(4) == 0) f.fd_flags |= event::kFdEsi;
  return f;
}

// Sanitizers make everything ten times slower and look for other faults.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr int kFrames = 10'000;
#else
constexpr int kFrames = 1'000'000;
#endif

/// "7DF 02 01", "078 3C x 8", "123 (DLC 0)".
CanFrame fromText(const std::string& text) {
  std::istringstream in(text.substr(0, text.find('(')));
  std::string id, token;
  in >> id;
  Bytes data;
  while (in >> token) {
    if (token == "x") {
      std::size_t times = 0;
      in >> times;
      data.resize(times, data.back());
    } else {
      data.push_back(static_cast<std::uint8_t>(std::stoul(token, nullptr, 16)));
    }
  }
  return CanFrame::make(static_cast<std::uint32_t>(std::stoul(id, nullptr, 16)), id.size() == 8, data);
}

TEST(WireBits, WorkedFramesOfOtherPrograms) {
  std::ifstream in(PIN16_SOURCE_DIR "/tests/can/data/worked_frames.csv");
  std::string line;
  int rows = 0;
  while (std::getline(in, line)) {
    if (line.empty() || line[0] == '#' || line.starts_with("frame;")) continue;
    std::istringstream fields(line);
    std::string frame, stuff, crc, with, without;
    for (std::string* s : {&frame, &stuff, &crc, &with, &without}) std::getline(fields, *s, ';');
    const CanFrame f = fromText(frame);
    const WireBits bits = wireBits(f);
    EXPECT_EQ(bits.stuff, std::stoul(stuff)) << frame;
    EXPECT_EQ(crc15(f), std::stoul(crc, nullptr, 16)) << frame;
    EXPECT_EQ(bits.total(), std::stoul(with)) << frame;
    EXPECT_EQ(bits.total() - 3, std::stoul(without)) << frame;
    ++rows;
  }
  EXPECT_EQ(rows, 21);
}

class RandomFrames : public testing::TestWithParam<Kind> {};

TEST_P(RandomFrames, EqualABitSerialReferenceInLengthTimeAndCheck) {
  Random random;
  std::set<std::uint32_t> stuff_counts;
  for (int i = 0; i < kFrames; ++i) {
    const CanFrame f = randomFrame(random, GetParam());
    const WireBits bits = wireBits(f);
    const Reference r = f.fd() ? fdReference(f) : classicReference(f);
    ASSERT_EQ(bits.nominal, r.nominal) << i;
    ASSERT_EQ(bits.data, r.data) << i;
    ASSERT_EQ(bits.stuff, r.stuff) << i;
    ASSERT_EQ(wireNs(bits, 500000, 2000000), Ns{r.nominal} * 2000 + Ns{r.data} * 500) << i;
    if (f.fd()) {
      const FdCheck check = fdCheck(f);
      ASSERT_EQ(check.width, f.length <= 16 ? 17 : 21) << i;
      ASSERT_EQ(check.stuff_count, r.stuff_count) << i;
      ASSERT_EQ(check.crc, r.crc) << i;
      stuff_counts.insert(r.stuff_count);
    } else {
      ASSERT_EQ(crc15(f), r.crc) << i;
    }
  }
  EXPECT_EQ(stuff_counts.size(), GetParam() >= Kind::fd11 ? 8U : 0U) << "every value must have come up";
}

std::string nameOf(const testing::TestParamInfo<Kind>& kind) {
  constexpr const char* kNames[] = {"Classic11", "Classic29", "Remote", "Fd11", "Fd29", "FdSwitching"};
  return kNames[static_cast<int>(kind.param)];
}
INSTANTIATE_TEST_SUITE_P(WireBits, RandomFrames,
                         testing::Values(Kind::classic11, Kind::classic29, Kind::remote, Kind::fd11,
                                         Kind::fd29, Kind::fd_switching),
                         nameOf);

// Boost.CRC is an implementation of others. Its register takes the ISO first value as it is.
TEST(FdCheck, CrcSequencesEqualBoostCrc) {
  Random random;
  for (int i = 0; i < 2000; ++i) {
    Bits bits;
    const std::uint32_t size = 100 + random.below(400);
    for (std::uint32_t n = 0; n < size; ++n) bits.bit(random.below(2));
    boost::crc_basic<15> crc_15(0x4599);
    boost::crc_basic<17> crc_17(0x1685B, 1U << 16);
    boost::crc_basic<21> crc_21(0x102899, 1U << 20);
    for (std::size_t n = 0; n < bits.size; ++n) {
      crc_15.process_bit(bits.at[n] != 0);
      crc_17.process_bit(bits.at[n] != 0);
      crc_21.process_bit(bits.at[n] != 0);
    }
    ASSERT_EQ(shiftRegister(bits, 0x4599, 15, 0), crc_15.checksum());
    ASSERT_EQ(shiftRegister(bits, 0x1685B, 17, 1U << 16), crc_17.checksum());
    ASSERT_EQ(shiftRegister(bits, 0x102899, 21, 1U << 20), crc_21.checksum());
  }
}

// Polynomials and check values ("123456789", register starting at 0) of CRC-15/CAN, CRC-17/CAN-FD and
// CRC-21/CAN-FD in the catalogue of parametrised CRC algorithms (G. Cook): values from memory.
TEST(FdCheck, PolynomialsGiveTheCheckValuesOfTheCatalogue) {
  Bits bits;
  for (const char c : std::string("123456789")) bits.field(static_cast<std::uint8_t>(c), 8);
  EXPECT_EQ(shiftRegister(bits, 0x4599, 15, 0), 0x059EU);
  EXPECT_EQ(shiftRegister(bits, 0x1685B, 17, 0), 0x04F03U);
  EXPECT_EQ(shiftRegister(bits, 0x102899, 21, 0), 0x0ED841U);
}

TEST(FdCheck, StuffCountIsTheGrayCodeWithEvenParity) {
  // By hand: 0 10101010101 0 0 1, then res, BRS, ESI and two bits of the DLC are five zeros: one stuff bit.
  EXPECT_EQ(fdCheck(CanFrame::make(0x555, false, Bytes{0xAA}, true)).stuff_count, 0b0011);
  for (std::size_t size = 0; size <= 16; ++size) {
    const CanFrame f = CanFrame::make(0x555, false, Bytes(size, 0x0F), true);
    const std::uint8_t field = fdCheck(f).stuff_count;
    std::uint32_t count = 0;  // back from the Gray code
    for (std::uint32_t gray = field >> 1; gray != 0; gray >>= 1) count ^= gray;
    EXPECT_EQ(count, wireBits(f).stuff % 8) << size;
    EXPECT_EQ(std::popcount(field) % 2, 0) << size;
  }
}

// Davis, Burns, Bril, Lukkien, "Controller Area Network (CAN) schedulability analysis: refuted, revisited and
// revised", Real-Time Systems 35 (2007) 239-272: the longest time of a frame with s data bytes is
// (g + 8 s + 13 + floor((g + 8 s - 1) / 4)) bit times, g = 34 for 11 and 54 for 29 bit identifiers: 55 + 10 s
// and 80 + 10 s. The shortest is the same without stuff bits: 47 + 8 s and 67 + 8 s (Linux
// include/linux/can/length.h, 2023).
struct Bounds {
  std::uint32_t least, most;
};
Bounds davis(const CanFrame& f) {
  const std::uint32_t g = f.extended() ? 54 : 34;
  const std::uint32_t s = f.remote() ? 0 : f.length;
  const std::uint32_t least = g + 8 * s + 13;
  return {least, least + (g + 8 * s - 1) / 4};
}

TEST(WireBits, DavisBoundsAreTheNumbersOfThePaper) {
  for (std::uint32_t s = 0; s <= 8; ++s) {
    const Bounds base = davis(CanFrame::make(0x123, false, Bytes(s)));
    EXPECT_EQ(base.least, 47 + 8 * s);
    EXPECT_EQ(base.most, 55 + 10 * s);
    const Bounds extended = davis(CanFrame::make(0x123, true, Bytes(s)));
    EXPECT_EQ(extended.least, 67 + 8 * s);
    EXPECT_EQ(extended.most, 80 + 10 * s);
  }
}

TEST(WireBits, WithinTheBoundsOfDavis) {
  Random random;
  for (const Kind kind : {Kind::classic11, Kind::classic29, Kind::remote}) {
    std::uint32_t nearest_least = 1000, nearest_most = 1000;
    for (int i = 0; i < kFrames; ++i) {
      const CanFrame f = randomFrame(random, kind);
      const std::uint32_t bits = wireBits(f).total();
      const Bounds bounds = davis(f);
      ASSERT_GE(bits, bounds.least) << i;
      ASSERT_LE(bits, bounds.most) << i;
      nearest_least = std::min(nearest_least, bits - bounds.least);
      nearest_most = std::min(nearest_most, bounds.most - bits);
    }
    // Frames that stay far from the bounds would prove nothing; with a sanitizer's fewer ones they may.
    if (kFrames < 1'000'000) continue;
    EXPECT_LE(nearest_least, 1U);
    EXPECT_LE(nearest_most, 4U);
  }
}

// The formula of Linux include/linux/can/length.h (2023), can_bitstuffing_len: a field of n bits gets at most
// (n - 1) / 4 stuff bits; of an FD frame that field is its header (22 or 41 bits) and data.
TEST(WireBits, FdWithinTheBoundsOfLinux) {
  Random random;
  for (const Kind kind : {Kind::fd11, Kind::fd29, Kind::fd_switching})
    for (int i = 0; i < kFrames / 10; ++i) {
      const CanFrame f = randomFrame(random, kind);
      const std::uint32_t field = (f.extended() ? 41 : 22) + 8U * f.length;
      const std::uint32_t least = field + (f.length <= 16 ? 28 : 33) + 9 + 3;
      const std::uint32_t bits = wireBits(f).total();
      ASSERT_GE(bits, least) << i;
      ASSERT_LE(bits, least + (field - 1) / 4) << i;
    }
}

TEST(WireBits, HeaderOfAnEventCarriesThemWhole) {
  Random random;
  for (const Kind kind : {Kind::classic29, Kind::fd29, Kind::fd_switching})
    for (int i = 0; i < 1000; ++i) {
      const CanFrame f = randomFrame(random, kind);
      const WireBits bits = wireBits(f);
      event::Header header;
      EXPECT_EQ(wireBits(header, f).total(), bits.total()) << "computed where the header has none";
      header.wire_bits = packWireBits(bits);
      const WireBits back = wireBits(header, CanFrame{});
      ASSERT_EQ(back.nominal, bits.nominal);
      ASSERT_EQ(back.data, bits.data);
      ASSERT_EQ(back.stuff, bits.stuff);
    }
}

TEST(WireBits, FiveEqualBitsAtTheEndOfFdDataGetNoStuffBitOfTheirOwn) {
  const CanFrame runs = CanFrame::make(0x555, false, Bytes{0xAA, 0xAA, 0xAA, 0xE0}, true);  // ...11100000
  const CanFrame none = CanFrame::make(0x555, false, Bytes{0xAA, 0xAA, 0xAA, 0xE1}, true);
  EXPECT_EQ(wireBits(runs).total(), wireBits(none).total());
}

TEST(WireBits, FdFieldLengths) {
  // Linux include/linux/can/length.h (2023): header 22 or 41, CRC field 28 or 33, footer 9, intermission 3.
  for (const bool extended : {false, true})
    for (const std::size_t size : {0U, 8U, 16U, 20U, 64U}) {
      const CanFrame f = CanFrame::make(0x15555555, extended, Bytes(size, 0x55), true);
      const WireBits bits = wireBits(f);
      EXPECT_EQ(bits.total() - bits.stuff, (extended ? 41U : 22U) + 8 * size + (size <= 16 ? 28 : 33) + 12);
      EXPECT_EQ(bits.data, 0U) << "no BRS";
    }
}

TEST(WireBits, OddFdLengthIsPaddedAndErrorFramesHaveNone) {
  EXPECT_EQ(fdDlc(9), 9);
  EXPECT_EQ(fdDlc(64), 15);
  EXPECT_EQ(fdLength(fdDlc(33)), 48);
  CanFrame odd = CanFrame::make(0x123, false, Bytes(10, 0x11), true);
  CanFrame even = odd;
  even.length = 12;
  EXPECT_EQ(wireBits(odd).total(), wireBits(even).total());
  CanFrame error;
  error.word = event::kErrorFlag | 0x88;
  error.length = 8;
  EXPECT_EQ(wireBits(error).total(), 0U);
  EXPECT_EQ(wireNs(error, 500000, 0), 0);
}

TEST(WireNs, NominalAndDataRate) {
  const CanFrame f = fromText("7DF 02 01 00 00 00 00 00 00");  // 126 bits
  EXPECT_EQ(wireNs(f, 500000, 0), 252000);
  EXPECT_EQ(wireNs(f, 250000, 2000000), 504000) << "a classic frame has no data phase";
  EXPECT_EQ(wireNs(f, 0, 0), 0) << "unknown rate";
  EXPECT_EQ(wireNs(f, 33333, 0), 3780038) << "126 / 33333 s, rounded";
  CanFrame fd = CanFrame::make(0x7E0, false, Bytes(64, 0x55), true);
  fd.fd_flags |= event::kFdBrs;
  const WireBits bits = wireBits(fd);
  EXPECT_EQ(wireNs(fd, 500000, 2000000), Ns{bits.nominal} * 2000 + Ns{bits.data} * 500);
  EXPECT_EQ(wireNs(fd, 500000, 0), Ns{bits.total()} * 2000);
}

TEST(WireNs, BothPhasesAreRoundedTogether) {
  // 1/3 us and 1/6 us: 333.33 + 166.67 = 500 ns; 1/3 us twice: 666.67.
  EXPECT_EQ(wireNs(WireBits{1, 1, 0}, 3000000, 6000000), 500);
  EXPECT_EQ(wireNs(WireBits{1, 1, 0}, 3000000, 3000000), 667);
  EXPECT_EQ(wireNs(WireBits{2, 1, 0}, 6000000, 6000000), 500) << "333.33 and 166.67";
}

}  // namespace
}  // namespace pin16::can
