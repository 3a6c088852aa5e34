// SPDX-License-Identifier: Apache-2.0
/// One test for each kind of damage: where, why, and what is kept.

#include <gmock/gmock.h>
#include <sys/mman.h>
#include <unistd.h>

#include "support.hpp"

namespace pin16::capture {
namespace {

using namespace event;
using namespace testing;
using ::testing::HasSubstr;

class Damaged : public CaptureTest {
 protected:
  /// Section and interface, then frames 0..n-1 (identifier = index), each block at blocks_[i].
  FileBytes file(unsigned n, bool big = false) {
    FileBytes f(big);
    f.section().can("can0");
    for (unsigned i = 0; i < n; ++i) {
      blocks_.push_back(f.bytes.size());
      f.packet(0, i, canBytes(static_cast<std::uint16_t>(i), {1, 2, 3, 4, 5, 6, 7, 8}));
    }
    return f;
  }
  /// Reads, expects exactly one damage event, at `offset` and with `reason` in its text.
  All expectOne(const Bytes& bytes, std::uint64_t offset, const std::string& reason) {
    All all = readAll(save("a", bytes));
    const auto found = all.damage();
    EXPECT_EQ(found.size(), 1U);
    for (const Damage& d : found) {
      EXPECT_EQ(d.offset, offset) << d.reason;
      EXPECT_THAT(d.reason, HasSubstr(reason));
    }
    return all;
  }
  static std::vector<std::uint32_t> ids(const All& all) {
    std::vector<std::uint32_t> out;
    for (const Event& e : all.of(Kind::frame)) out.push_back(e.frame().id());
    return out;
  }
  std::vector<std::size_t> blocks_;
};
using Ids = std::vector<std::uint32_t>;

TEST_F(Damaged, TruncatedTrailingBlockIsReported) {
  const Bytes whole = file(3).bytes;
  for (std::size_t cut = whole.size() - 1; cut > blocks_[2]; --cut) {
    const All all = expectOne(Bytes(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(cut)),
                              blocks_[2], "the file ends");
    EXPECT_EQ(ids(all), (Ids{0, 1}));
  }
}

TEST_F(Damaged, AFileCutBetweenBlocksIsWhole) {
  const Bytes whole = file(3).bytes;
  const All all = readAll(save("a", ByteView(whole).first(blocks_[2])));
  EXPECT_TRUE(all.damage().empty());
  EXPECT_EQ(ids(all), (Ids{0, 1}));
}

TEST_F(Damaged, ZeroesAtTheEndAfterAPowerCutAreReportedOnce) {
  FileBytes f = file(2);
  const std::size_t end = f.bytes.size();
  f.bytes.resize(end + 10000);
  EXPECT_EQ(ids(expectOne(f.bytes, end, "nothing behind it could be read")), (Ids{0, 1}));
}

TEST_F(Damaged, ALengthThatIsNoMultipleOfFourLosesOnlyItsBlock) {
  for (const bool big : {false, true}) {
    blocks_.clear();
    FileBytes f = file(4, big);
    f.bytes[blocks_[1] + (big ? 7 : 4)] ^= 1;
    EXPECT_EQ(ids(expectOne(f.bytes, blocks_[1], "steps of 4")), (Ids{0, 2, 3}));
  }
}

TEST_F(Damaged, ALengthBelowTheFixedPartLosesOnlyItsBlock) {
  FileBytes f = file(4);
  f.bytes[blocks_[1] + 4] = 12;
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[1], "says 12 bytes")), (Ids{0, 2, 3}));
}

TEST_F(Damaged, AHugeLengthIsNotBelieved) {
  FileBytes f = file(4);
  f.bytes[blocks_[1] + 7] = 0x7F;
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[1], "are possible")), (Ids{0, 2, 3}));
}

TEST_F(Damaged, ALengthBeyondTheEndOfTheFileLosesOnlyItsBlock) {
  FileBytes f = file(4);
  f.bytes[blocks_[1] + 6] = 0x01;  // + 65536
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[1], "the file ends")), (Ids{0, 2, 3}));
}

TEST_F(Damaged, LengthsThatDisagreeLoseOnlyTheirBlock) {
  FileBytes f = file(4);
  f.bytes[blocks_[2] - 4] ^= 0x10;  // the repeated length of block 1
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[1], "at its start")), (Ids{0, 2, 3}));
}

TEST_F(Damaged, LostBytesInTheMiddleLoseOnlyTheirBlock) {
  FileBytes f = file(4);
  const auto at = f.bytes.begin() + static_cast<std::ptrdiff_t>(blocks_[1] + 30);
  f.bytes.erase(at, at + 3);
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[1], "read on at byte")), (Ids{0, 2, 3}));
}

TEST_F(Damaged, AnOverwrittenStretchLosesOnlyWhatItCovers) {
  FileBytes f = file(8);
  std::fill(f.bytes.begin() + static_cast<std::ptrdiff_t>(blocks_[2] + 1),
            f.bytes.begin() + static_cast<std::ptrdiff_t>(blocks_[5] + 9), 0xEE);
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[2], "read on at byte " + std::to_string(blocks_[6]))),
            (Ids{0, 1, 6, 7}));
}

TEST_F(Damaged, APacketLongerThanItsBlockIsReported) {
  FileBytes f = file(3);
  f.bytes[blocks_[1] + 20] = 200;
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[1], "packet says 200 bytes")), (Ids{0, 2}));
}

TEST_F(Damaged, APacketOfAnInterfaceThatIsNotDescribedIsReportedOnce) {
  FileBytes f = file(4);
  f.bytes[blocks_[1] + 8] = 9;
  f.bytes[blocks_[2] + 8] = 9;
  const All all = expectOne(f.bytes, blocks_[1], "interface 9");
  EXPECT_EQ(ids(all), (Ids{0, 3}));
  EXPECT_EQ(all.skipped.packets, 2U);
}

TEST_F(Damaged, ALostInterfaceDescriptionDoesNotShiftTheOthers) {
  FileBytes f;
  f.section();
  const std::size_t first = f.bytes.size();
  f.can("can0").can("can1").packet(0, 1, canBytes(1, {})).packet(1, 2, canBytes(2, {}));
  f.bytes[first + 4] ^= 1;
  const All all = expectOne(f.bytes, first, "block of type 1");
  EXPECT_EQ(ids(all), (Ids{2}));
  ASSERT_EQ(all.links.size(), 1U);
  EXPECT_EQ(all.links[0].name, "can1");
  EXPECT_EQ(all.skipped.packets, 1U);
}

TEST_F(Damaged, AnOptionBehindItsBlockKeepsTheFrame) {
  FileBytes f;
  f.section().can("can0");
  const std::size_t at = f.bytes.size();
  f.packet(0, 1, canBytes(5, {}), f.fresh().u16(1).u16(400).u32(0)).packet(0, 1, canBytes(6, {}));
  EXPECT_EQ(ids(expectOne(f.bytes, at, "option")), (Ids{5, 6}));
}

TEST_F(Damaged, AnOptionBehindAnInterfaceDescriptionKeepsTheInterface) {
  FileBytes f;
  f.section();
  const std::size_t at = f.bytes.size();
  f.interface(227, f.fresh().text(2, "can0").u16(3).u16(400)).packet(0, 1, canBytes(5, {}));
  const All all = expectOne(f.bytes, at, "option");
  EXPECT_EQ(ids(all), (Ids{5}));
  EXPECT_EQ(all.links[0].name, "can0");
}

TEST_F(Damaged, ASectionWithoutByteOrderIsReportedAndItsPacketsAreNotGuessed) {
  FileBytes f = file(1);
  const std::size_t at = f.bytes.size();
  f.section().can("can0").packet(0, 1, canBytes(7, {}));
  f.bytes[at + 8] ^= 0xFF;
  EXPECT_EQ(ids(expectOne(f.bytes, at, "byte order")), (Ids{0, 7}));  // the description behind it is whole
}

TEST_F(Damaged, ASectionOfAnotherVersionIsReportedAndSkipped) {
  FileBytes f = file(1);
  const std::size_t at = f.bytes.size();
  f.section(UINT64_MAX, 2)
      .can("can0")
      .packet(0, 1, canBytes(7, {}))
      .section()
      .can("can0")
      .packet(0, 1, canBytes(8, {}));
  const All all = expectOne(f.bytes, at, "version 2");
  EXPECT_EQ(ids(all), (Ids{0, 8}));
  EXPECT_EQ(all.skipped.packets, 1U);
}

TEST_F(Damaged, AFrameShorterThanItsHeaderIsReported) {
  FileBytes f = file(1);
  const std::size_t at = f.bytes.size();
  f.packet(0, 1, Bytes{0, 0, 1}).packet(0, 2, canBytes(9, {}));
  EXPECT_EQ(ids(expectOne(f.bytes, at, "header alone takes 8")), (Ids{0, 9}));
}

TEST_F(Damaged, AFrameLongerThanItsPacketIsReported) {
  FileBytes f = file(1);
  const std::size_t at = f.bytes.size();
  Bytes frame = canBytes(1, {1, 2});
  frame[4] = 3;
  f.packet(0, 1, frame);
  EXPECT_EQ(ids(expectOne(f.bytes, at, "says 3 data bytes, 2 are there")), (Ids{0}));
}

TEST_F(Damaged, AFrameLongerThanFdIsReported) {
  FileBytes f = file(1);
  const std::size_t at = f.bytes.size();
  Bytes frame = canBytes(1, Bytes(65));
  f.packet(0, 1, frame);
  expectOne(f.bytes, at, "64 is the most");
}

TEST_F(Damaged, ARecordThatCannotBeUnpackedIsReported) {
  FileBytes f;
  f.section().interface(147, f.fresh().text(2, "pin16-records").endOptions());
  const std::size_t at = f.bytes.size();
  FileBytes note;
  note.put(std::uint8_t{1}).put(std::uint8_t{33}).u16(0xFFFF).u32(0).u64(1).u32(1000).u32(0);  // text of 1000
                                                                                               // bytes
  f.packet(0, 1, note.bytes);
  expectOne(f.bytes, at, "record of kind 33");
}

TEST_F(Damaged, ARecordShorterThanItsHeaderIsReported) {
  FileBytes f;
  f.section().interface(147, f.fresh().text(2, "pin16-records").endOptions());
  const std::size_t at = f.bytes.size();
  f.packet(0, 1, Bytes(15, 1));
  expectOne(f.bytes, at, "header alone takes 16");
}

TEST_F(Damaged, OurOwnNumbersShowWhatALostBlockTookAway) {
  Batch b;
  b.add(1, kStart_boot_ns, 0, Kind::link, upState("socketcan:can0"));
  for (unsigned i = 2; i < 6; ++i) b.addFrame(i, kStart_boot_ns, 0, CanFrame::make(i, false, {}), 0);
  record(path("own"), b);
  Bytes bytes = contents(path("own"));
  const Bytes id{0, 0, 0, 3, 0, 0, 0, 0};  // frame 3
  const auto at = std::search(bytes.begin(), bytes.end(), id.begin(), id.end());
  ASSERT_NE(at, bytes.end());
  *(at - 24) = 0xFF;  // the low byte of its block's length
  const All all = readAll(save("a", bytes));
  std::vector<std::uint64_t> numbers;
  for (const Event& e : all.events) numbers.push_back(e.header.sequence);
  EXPECT_EQ(numbers, (std::vector<std::uint64_t>{1, 2, 3, 4, 5}));
  EXPECT_EQ(all.events[2].header.kind, Kind::damage) << "in the place of what it lost";
}

class DamagedPcap : public Damaged {
 protected:
  FileBytes pcap(unsigned n) {
    FileBytes f;
    f.pcapHeader(0xA1B2C3D4, 227);
    for (unsigned i = 0; i < n; ++i) {
      blocks_.push_back(f.bytes.size());
      f.pcapRecord(1'795'000'000 + i, 0, canBytes(static_cast<std::uint16_t>(i), {1, 2, 3, 4, 5, 6, 7, 8}));
    }
    return f;
  }
};

TEST_F(DamagedPcap, TruncatedTrailingRecordIsReported) {
  const Bytes whole = pcap(3).bytes;
  for (std::size_t cut = whole.size() - 1; cut > blocks_[2]; --cut) {
    const All all = expectOne(Bytes(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(cut)),
                              blocks_[2], "the file ends");
    EXPECT_EQ(ids(all), (Ids{0, 1}));
  }
}

TEST_F(DamagedPcap, TruncatedFileHeaderIsReported) {
  const Bytes whole = pcap(1).bytes;
  EXPECT_TRUE(ids(expectOne(Bytes(whole.begin(), whole.begin() + 20), 0, "after 20 of 24 bytes")).empty());
}

TEST_F(DamagedPcap, AHugeLengthLosesOnlyItsRecord) {
  FileBytes f = pcap(6);
  f.bytes[blocks_[2] + 11] = 0x7F;
  EXPECT_EQ(ids(expectOne(f.bytes, blocks_[2], "4096 is the most")), (Ids{0, 1, 3, 4, 5}));
}

TEST_F(DamagedPcap, ATimeThatCannotBeIsNoTime) {
  FileBytes f = pcap(1);
  f.bytes[blocks_[0] + 7] = 0x7F;
  const All all = readAll(save("a", f.bytes));
  ASSERT_EQ(all.events.size(), 1U);
  EXPECT_EQ(all.events[0].header.t_ns, kNoTime);
}

/// Marsaglia's xorshift64: the same numbers everywhere.
class Random {
 public:
  std::uint64_t next() {
    x_ ^= x_ << 13U;
    x_ ^= x_ >> 7U;
    x_ ^= x_ << 17U;
    return x_;
  }
  std::size_t below(std::size_t n) { return static_cast<std::size_t>(next() % n); }

 private:
  std::uint64_t x_ = 0x9E3779B97F4A7C15;
};

void mutate(Bytes& bytes, Random& random) {
  for (std::size_t n = 1 + random.below(6); n != 0 && !bytes.empty(); --n) {
    const std::size_t at = random.below(bytes.size());
    const auto where = bytes.begin() + static_cast<std::ptrdiff_t>(at);
    switch (random.below(6)) {
      case 0:
        bytes.resize(at);
        break;
      case 1:
        bytes.erase(where,
                    where + static_cast<std::ptrdiff_t>(std::min(bytes.size() - at, 1 + random.below(40))));
        break;
      case 2:
        bytes.insert(where, 1 + random.below(40), static_cast<std::uint8_t>(random.next()));
        break;
      case 3:
        *where = static_cast<std::uint8_t>(random.next());
        break;
      default:
        *where ^= static_cast<std::uint8_t>(1U << random.below(8));
    }
  }
}

TEST_F(Damaged, TwentyThousandMutatedFilesAreReadToTheirEndWithinTheirOwnSize) {
  record(path("own"), everyKind());
  std::vector<Bytes> seeds{contents(path("own")), file(6, true).bytes};
  FileBytes classic;
  classic.pcapHeader(0xA1B2C3D4, 227);
  for (std::uint16_t i = 0; i < 8; ++i) classic.pcapRecord(i, 5, canBytes(i, {1, 2, 3}));
  seeds.push_back(classic.bytes);
  constexpr std::size_t kDamageText = 256;  // an own event: bounded text instead of bytes of the file
  const int file_in_memory = memfd_create("mutated", MFD_CLOEXEC);  // no disk can keep up
  ASSERT_GE(file_in_memory, 0);
  const std::string name = "/proc/self/fd/" + std::to_string(file_in_memory);
  Random random;
  std::size_t opened = 0;
  std::size_t damages = 0;
  for (int i = 0; i < 20000; ++i) {
    Bytes bytes = seeds[random.below(seeds.size())];
    mutate(bytes, random);
    ASSERT_EQ(ftruncate(file_in_memory, 0), 0);
    ASSERT_EQ(pwrite(file_in_memory, bytes.data(), bytes.size(), 0), static_cast<ssize_t>(bytes.size()));
    const auto r = Reader::open(name);
    if (!r) continue;
    ++opened;
    Batch batch;
    std::size_t payload = 0;
    std::size_t events = 0;
    std::size_t own = 0;
    while ((*r)->next(batch)) {
      events += batch.headers.size();
      for (const Header& h : batch.headers) {
        if (h.kind == Kind::damage) {
          ++own;
          ASSERT_LE(h.length, kDamageText);
          ASSERT_LE(batch.record<Damage>(h)->offset, bytes.size());
        } else {
          payload += h.length;
        }
        ASSERT_TRUE(h.link == kNoLink || h.link < (*r)->links().size());
      }
    }
    damages += own;
    ASSERT_LE(payload, bytes.size()) << "round " << i;
    ASSERT_LE(events, bytes.size() / 12 * 2 + 2) << "round " << i;
    ASSERT_LE((*r)->links().size(), 4096U);
  }
  close(file_in_memory);
  EXPECT_GT(opened, 15000U);
  EXPECT_GT(damages, 10000U);
}

}  // namespace
}  // namespace pin16::capture
