// SPDX-License-Identifier: Apache-2.0
#include "core/can/wire_bits.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <sstream>

namespace pin16::can {
namespace {

using event::CanFrame;

// ---- A second model, written without the first: the frame as a text of 0s and 1s, bit by bit, every field
// named as in the CAN with Flexible Data-Rate specification V1.0 (2012), clauses 3 and 5.

std::string binary(std::uint64_t value, int count) {
  std::string out;
  for (int i = count - 1; i >= 0; --i) out += (value >> i & 1U) != 0 ? '1' : '0';
  return out;
}

std::string remainderOf(const std::string& bits, std::uint32_t polynomial, int width, std::uint32_t start) {
  std::uint32_t reg = start;
  const std::uint32_t mask = (1U << width) - 1;
  for (const char c : bits) {
    const bool feedback = ((reg >> (width - 1)) & 1U) != (c == '1' ? 1U : 0U);
    reg = (reg << 1) & mask;
    if (feedback) reg ^= polynomial & mask;
  }
  return binary(reg, width);
}

/// Stuff bits in capital letters (O, I) so that they can be counted.
std::string stuffed(const std::string& bits, bool stuff_at_end) {
  std::string out;
  char last = '?';
  int run = 0;
  for (std::size_t i = 0; i < bits.size(); ++i) {
    run = bits[i] == last ? run + 1 : 1;
    last = bits[i];
    out += last;
    if (run < 5 || (i + 1 == bits.size() && !stuff_at_end)) continue;
    out += last == '0' ? 'I' : 'O';
    last = last == '0' ? '1' : '0';
    run = 1;
  }
  return out;
}

long stuffCount(const std::string& bits) {
  return std::count(bits.begin(), bits.end(), 'I') + std::count(bits.begin(), bits.end(), 'O');
}

std::string plain(std::string bits) {
  std::replace(bits.begin(), bits.end(), 'I', '1');
  std::replace(bits.begin(), bits.end(), 'O', '0');
  return bits;
}

std::string dataBits(const CanFrame& f, std::size_t length) {
  std::string out;
  for (std::size_t i = 0; i < length; ++i) out += binary(f.data[i], 8);
  return out;
}

std::string classicReference(const CanFrame& f) {
  const std::string rtr = f.remote() ? "1" : "0";
  std::string bits = "0";
  if (f.extended())
    bits += binary(f.id() >> 18, 11) + "1" + "1" + binary(f.id() & 0x3FFFF, 18) + rtr + "00";
  else
    bits += binary(f.id(), 11) + rtr + "0" + "0";
  bits += binary(f.length, 4);
  if (!f.remote()) bits += dataBits(f, f.length);
  bits += remainderOf(bits, 0x4599, 15, 0);
  return stuffed(bits, true) + "1" + "0" + "1" + "1111111" + "111";
}

struct FdReference {
  std::string arbitration, fast, tail;
};

FdReference fdReference(const CanFrame& f) {
  const std::size_t sizes[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};
  std::size_t dlc = 0;
  while (sizes[dlc] < f.length) ++dlc;
  std::string head = "0";
  if (f.extended())
    head += binary(f.id() >> 18, 11) + "1" + "1" + binary(f.id() & 0x3FFFF, 18) + "0" + "1" + "0";
  else
    head += binary(f.id(), 11) + "0" + "0" + "1" + "0";
  head += f.brs() ? "1" : "0";
  const std::string rest = std::string(f.esi() ? "1" : "0") + binary(dlc, 4) + dataBits(f, sizes[dlc]);
  const std::string all = stuffed(head + rest, false);
  // Split behind the last arbitration bit: as many unstuffed bits as `head` has.
  std::size_t at = 0;
  for (std::size_t real = 0; real < head.size(); ++at)
    if (all[at] == '0' || all[at] == '1') ++real;
  if (!f.brs() && at < all.size() && (all[at] == 'I' || all[at] == 'O')) ++at;

  const auto count = static_cast<std::uint32_t>(stuffCount(all)) % 8;
  const std::uint32_t gray = count ^ count >> 1;
  const bool odd = ((gray ^ gray >> 1 ^ gray >> 2) & 1U) != 0;
  const std::string stuff_count = binary(gray, 3) + (odd ? "1" : "0");
  const bool shorter = sizes[dlc] <= 16;
  const std::string covered = plain(all) + stuff_count;
  const std::string crc = shorter ? remainderOf(covered, 0x3685B & 0x1FFFF, 17, 1U << 16)
                                  : remainderOf(covered, 0x302899 & 0x1FFFFF, 21, 1U << 20);
  std::string field;
  char before = plain(all).back();
  const std::string unstuffed = stuff_count + crc;
  for (std::size_t i = 0; i < unstuffed.size(); ++i) {
    if (i % 4 == 0) field += before == '0' ? '1' : '0';
    field += unstuffed[i];
    before = unstuffed[i];
  }
  return {all.substr(0, at), all.substr(at) + field + "1", "0" + std::string("1") + "1111111" + "111"};
}

/// A generator of our own: the standard library's differ between implementations. xorshift64*, Vigna 2016.
class Random {
 public:
  std::uint32_t below(std::uint32_t n) {
    state_ ^= state_ >> 12;
    state_ ^= state_ << 25;
    state_ ^= state_ >> 27;
    return static_cast<std::uint32_t>((state_ * 0x2545F4914F6CDD1DULL >> 32) % n);
  }

 private:
  std::uint64_t state_ = 0x16161616;
};

CanFrame randomFrame(Random& random, bool fd) {
  const std::size_t sizes[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};
  const bool extended = random.below(2) == 0;
  Bytes data(sizes[random.below(fd ? 16 : 9)]);
  // Random bytes alone hardly ever stuff: half of them long runs.
  const std::uint8_t runs[] = {0x00, 0xFF, 0x0F, 0x3C, 0x1F, 0x07, 0xE0, 0x83};
  for (auto& b : data)
    b = random.below(2) == 0 ? runs[random.below(8)] : static_cast<std::uint8_t>(random.below(256));
  std::uint32_t id = random.below(1U << 29);
  if (random.below(4) == 0) id = random.below(2) == 0 ? 0 : 0x1FFFFFFF;
  CanFrame f = CanFrame::make(id, extended, data, fd);
  if (fd && random.below(2) == 0) f.fd_flags |= event::kFdBrs;
  if (fd && random.below(4) == 0) f.fd_flags |= event::kFdEsi;
  if (!fd && random.below(8) == 0) f.word |= event::kRemoteFlag;
  return f;
}

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

TEST(WireBits, EqualToABitSerialModelOnRandomFrames) {
  Random random;
  for (int i = 0; i < 20000; ++i) {
    const CanFrame f = randomFrame(random, i % 2 == 1);
    const WireBits bits = wireBits(f);
    if (f.fd()) {
      const FdReference r = fdReference(f);
      const std::size_t fast = f.brs() ? r.fast.size() : 0;
      ASSERT_EQ(bits.data, fast) << i;
      ASSERT_EQ(bits.total(), r.arbitration.size() + r.fast.size() + r.tail.size()) << i;
      ASSERT_EQ(bits.stuff, stuffCount(r.arbitration + r.fast)) << i;
    } else {
      const std::string r = classicReference(f);
      ASSERT_EQ(bits.total(), r.size()) << i;
      ASSERT_EQ(bits.stuff, stuffCount(r)) << i;
      ASSERT_EQ(bits.data, 0U) << i;
    }
  }
}

// Davis, Burns, Bril, Lukkien, "Controller Area Network (CAN) schedulability analysis: refuted, revisited and
// revised", Real-Time Systems 35 (2007): 55 + 10 s and 80 + 10 s bits at most; without stuffing 47 + 8 s, 67
// + 8 s (Linux include/linux/can/length.h).
TEST(WireBits, WithinTheBoundsOfSchedulabilityAnalysis) {
  Random random;
  std::uint32_t worst_excess = 0;
  for (int i = 0; i < 20000; ++i) {
    const CanFrame f = randomFrame(random, false);
    const std::uint32_t s = f.remote() ? 0 : f.length;
    const std::uint32_t bits = wireBits(f).total();
    EXPECT_GE(bits, (f.extended() ? 67 : 47) + 8 * s);
    EXPECT_LE(bits, (f.extended() ? 80 : 55) + 10 * s);
    worst_excess = std::max(worst_excess, bits - ((f.extended() ? 67 : 47) + 8 * s));
  }
  EXPECT_GE(worst_excess, 15U) << "the generator must come near the bound, or the test says nothing";
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

}  // namespace
}  // namespace pin16::can
