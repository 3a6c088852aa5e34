// SPDX-License-Identifier: Apache-2.0
#include "core/capture/reader.hpp"

#include <gmock/gmock.h>

#include "support.hpp"

namespace pin16::capture {
namespace {

using namespace event;
using namespace testing;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

class Read : public CaptureTest {};

const Bytes kFrame = canBytes(0x7E8, {0x06, 0x41, 0x00});

TEST_F(Read, BothByteOrdersOfPcapng) {
  for (const bool big : {false, true}) {
    FileBytes f(big);
    f.section().can("can0").packet(0, 1'795'000'000'123'456'789, kFrame);
    const All all = readAll(save("a", f.bytes));
    ASSERT_EQ(all.events.size(), 1U);
    EXPECT_EQ(all.events[0].header.t_ns, 1'795'000'000'123'456'789);
    EXPECT_EQ(all.events[0].header.link, 0);
    EXPECT_EQ(all.events[0].header.sequence, 1U);
    EXPECT_EQ(all.events[0].frame(), CanFrame::make(0x7E8, false, Bytes{0x06, 0x41, 0x00}));
    ASSERT_EQ(all.links.size(), 1U);
    EXPECT_EQ(all.links[0].name, "can0");
    EXPECT_FALSE(all.links[0].ours);
  }
}

struct Resolution {
  std::uint8_t tsresol;
  std::uint64_t ticks;
  Ns t_utc_ns;
};

// Expected values by hand from the definition of if_tsresol in draft-ietf-opsawg-pcapng.
TEST_F(Read, EveryTimeResolution) {
  const Resolution cases[] = {
      {0, 1'795'000'000, 1'795'000'000'000'000'000},
      {3, 1'795'000'000'123, 1'795'000'000'123'000'000},
      {6, 1'795'000'000'123'456, 1'795'000'000'123'456'000},
      {9, 1'795'000'000'123'456'789, 1'795'000'000'123'456'789},
      {10, 17'950'000'000'123'456'789U, 1'795'000'000'012'345'678},
      {12, 5'000'000'000'999, 5'000'000'000},
      {19, 10'000'000'000'000'000'000U, 1'000'000'000},
      {28, 10'000'000'000'000'000'000U, 1},
      {29, 10'000'000'000'000'000'000U, 0},
      {127, UINT64_MAX, 0},
      {0x80, 1'795'000'000, 1'795'000'000'000'000'000},
      {0x80 | 10, 1'795'000'000ULL * 1024 + 512, 1'795'000'000'500'000'000},
      {0x80 | 20, 3ULL << 19U, 1'500'000'000},
      {0x80 | 32, (1'795'000'000ULL << 32U) + 0x40000000, 1'795'000'000'250'000'000},
      {0x80 | 64, 1ULL << 63U, 500'000'000},
      {0xFF, UINT64_MAX, 0},
      {0, UINT64_MAX, kNoTime},  // no 64-bit nanoseconds hold it
      {3, UINT64_MAX, kNoTime},
  };
  for (const Resolution& c : cases) {
    for (const bool big : {false, true}) {
      SCOPED_TRACE(static_cast<int>(c.tsresol));
      FileBytes f(big);
      f.section().can("can0", c.tsresol).packet(0, c.ticks, kFrame);
      const All all = readAll(save("a", f.bytes));
      ASSERT_EQ(all.events.size(), 1U);
      EXPECT_EQ(all.events[0].header.t_ns, c.t_utc_ns);
    }
  }
}

TEST_F(Read, WithoutResolutionTicksAreMicroseconds) {
  FileBytes f;
  f.section().interface(227, f.fresh()).packet(0, 1'795'000'000'123'456, kFrame);
  const All all = readAll(save("a", f.bytes));
  ASSERT_EQ(all.events.size(), 1U);
  EXPECT_EQ(all.events[0].header.t_ns, 1'795'000'000'123'456'000);
  EXPECT_EQ(all.links[0].name, "interface 0");
}

TEST_F(Read, TheOffsetInSecondsIsAdded) {
  for (const std::int64_t offset_s : {std::int64_t{1'795'000'000}, std::int64_t{-3}, INT64_MAX}) {
    for (const bool big : {false, true}) {
      FileBytes f(big);
      const std::uint8_t resolution[] = {9};
      const FileBytes offset = f.fresh().put(offset_s);
      f.section().interface(227, f.fresh().option(9, resolution).option(14, offset.bytes).endOptions());
      f.packet(0, 5'000'000'001, kFrame);
      const All all = readAll(save("a", f.bytes));
      ASSERT_EQ(all.events.size(), 1U);
      EXPECT_EQ(all.events[0].header.t_ns,
                offset_s == INT64_MAX ? kNoTime : offset_s * kNsPerSecond + 5'000'000'001);
    }
  }
}

TEST_F(Read, ASimplePacketHasNoTimeAndRespectsTheSnapLength) {
  FileBytes f;
  f.section().interface(227, f.fresh(), 11);
  f.block(3, f.fresh().u32(16).padded(kFrame));  // 16 on the wire, 11 captured
  const All all = readAll(save("a", f.bytes));
  ASSERT_EQ(all.events.size(), 1U);
  EXPECT_EQ(all.events[0].header.t_ns, kNoTime);
  EXPECT_EQ(all.events[0].frame().length, 3);
}

TEST_F(Read, TheObsoletePacketBlock) {
  for (const bool big : {false, true}) {
    FileBytes f(big);
    f.section().can("can0").can("can1");
    const auto n = static_cast<std::uint32_t>(kFrame.size());
    f.block(2, f.fresh().u16(1).u16(0xFFFF).u32(1).u32(2).u32(n).u32(n).padded(kFrame));
    const All all = readAll(save("a", f.bytes));
    ASSERT_EQ(all.events.size(), 1U);
    EXPECT_EQ(all.events[0].header.link, 1);
    EXPECT_EQ(all.events[0].header.t_ns, (Ns{1} << 32U) + 2);
  }
}

TEST_F(Read, UnknownBlocksAndOptionsAreStepsOver) {
  FileBytes f;
  f.section().can("can0");
  f.block(0x4321, f.fresh().u32(1)).block(4, f.fresh().u32(0)).block(0x40000BAD, f.fresh().u32(99).u32(7));
  f.packet(0, 1, kFrame, f.fresh().text(1, "a comment").text(30000, "who knows").endOptions());
  const All all = readAll(save("a", f.bytes));
  ASSERT_EQ(all.events.size(), 1U);
  EXPECT_EQ(all.events[0].header.kind, Kind::frame);
}

TEST_F(Read, TheDirectionIsTakenFromThePacketFlags) {
  FileBytes f;
  f.section().can("can0");
  for (const std::uint32_t flags : {0U, 1U, 2U, 0xFFFFFFFEU}) {
    const FileBytes value = f.fresh().u32(flags);
    f.packet(0, 1, kFrame, f.fresh().option(2, value.bytes).endOptions());
  }
  const All all = readAll(save("a", f.bytes));
  ASSERT_EQ(all.events.size(), 4U);
  EXPECT_EQ(all.events[0].header.flags, 0);
  EXPECT_EQ(all.events[1].header.flags, 0);
  EXPECT_EQ(all.events[2].header.flags, kOutbound);
  EXPECT_EQ(all.events[3].header.flags, kOutbound);
}

TEST_F(Read, SeveralSectionsOfDifferentByteOrderAndSeveralInterfaces) {
  FileBytes f;
  f.section(0).can("can0").interface(1, f.fresh().text(2, "eth0").endOptions()).can("can1");
  f.packet(2, 1, kFrame).packet(1, 2, Bytes(60)).packet(0, 3, kFrame);
  FileBytes g(true);
  g.section().can("can7").packet(0, 4, kFrame);
  f.raw(g.bytes);
  const All all = readAll(save("a", f.bytes));
  ASSERT_EQ(all.events.size(), 3U);
  EXPECT_EQ(all.events[0].header.link, 1);
  EXPECT_EQ(all.events[1].header.link, 0);
  EXPECT_EQ(all.events[2].header.link, 2);
  EXPECT_EQ(all.events[2].header.sequence, 3U);
  ASSERT_EQ(all.links.size(), 3U);
  EXPECT_EQ(all.links[2].name, "can7");
  EXPECT_EQ(all.skipped.packets, 1U);
  EXPECT_THAT(all.skipped.notes, ElementsAre(HasSubstr("eth0 has link type 1")));
}

TEST_F(Read, OtherPeoplesPrivateLinkTypesAreNotTakenForOurs) {
  FileBytes f;
  f.section().interface(147, f.fresh().text(2, "radio").endOptions()).interface(148, f.fresh());
  f.packet(0, 1, Bytes(40, 1)).packet(1, 1, Bytes(40, 1));
  const All all = readAll(save("a", f.bytes));
  EXPECT_TRUE(all.events.empty());
  EXPECT_EQ(all.skipped.packets, 2U);
  EXPECT_EQ(all.skipped.notes.size(), 2U);
}

TEST_F(Read, LossesOfOtherProgramsCapturesAreSummed) {
  FileBytes f;
  f.section().can("can0").can("can1");
  const auto statistics = [&](std::uint32_t interface, std::uint64_t received, std::uint64_t dropped) {
    const FileBytes r = f.fresh().u64(received);
    const FileBytes d = f.fresh().u64(dropped);
    f.block(5, f.fresh().u32(interface).u32(0).u32(1).option(4, r.bytes).option(5, d.bytes).endOptions());
  };
  statistics(0, 10, 1);
  statistics(0, 30, 4);  // cumulative: replaces the former
  statistics(1, 5, 2);
  const All all = readAll(save("a", f.bytes));
  EXPECT_EQ(all.foreign_losses, 6U);
  EXPECT_TRUE(all.links[0].statistics.reported);
  EXPECT_EQ(all.links[0].statistics.received, 30U);
  EXPECT_EQ(all.links[0].statistics.dropped, 4U);
}

TEST_F(Read, ClassicPcapInBothOrdersAndBothResolutions) {
  for (const bool big : {false, true}) {
    for (const bool nano : {false, true}) {
      FileBytes f(big);
      f.pcapHeader(nano ? 0xA1B23C4D : 0xA1B2C3D4, 227);
      f.pcapRecord(1'795'000'000, 123'456, kFrame).pcapRecord(1'795'000'001, 0, canBytes(0x7DF, {2, 1, 0}));
      const All all = readAll(save("a", f.bytes));
      ASSERT_EQ(all.events.size(), 2U);
      EXPECT_EQ(all.events[0].header.t_ns, 1'795'000'000'000'000'000 + (nano ? 123'456 : 123'456'000));
      EXPECT_EQ(all.events[1].frame().id(), 0x7DFU);
      EXPECT_EQ(all.events[1].header.sequence, 2U);
      ASSERT_EQ(all.links.size(), 1U);
    }
  }
}

TEST_F(Read, ClassicPcapOfAnotherLinkTypeIsSkippedWithANote) {
  FileBytes f;
  f.pcapHeader(0xA1B2C3D4, 1).pcapRecord(1, 0, Bytes(60)).pcapRecord(1, 0, Bytes(1500));
  const All all = readAll(save("a", f.bytes));
  EXPECT_TRUE(all.events.empty());
  EXPECT_EQ(all.skipped.packets, 2U);
  EXPECT_THAT(all.skipped.notes, ElementsAre(HasSubstr("link type 1 ")));
}

// A kernel before 5.19 (linux/can.h, CANFD_FDF) tells FD frames only by the captured length CANFD_MTU.
TEST_F(Read, AShortFdFrameIsKnownByItsCapturedLength) {
  FileBytes f;
  Bytes fd = canBytes(0x123, Bytes{1, 2, 3});
  fd.resize(72);
  Bytes classic = canBytes(0x123, Bytes{1, 2, 3});
  classic.resize(16);
  f.section().can("can0").packet(0, 1, fd).packet(0, 2, classic);
  const All all = readAll(save("a", f.bytes));
  ASSERT_EQ(all.events.size(), 2U);
  EXPECT_TRUE(all.events[0].frame().fd());
  EXPECT_FALSE(all.events[1].frame().fd());
  EXPECT_EQ(all.events[0].payload.size(), 11U) << "padding of the capture is not data";
}

TEST_F(Read, TwoRecordingsInOneFileKeepTheirLinksApartByNameAndTheirNumbersUnique) {
  Batch a;
  a.add(1, kStart_boot_ns, 0, Kind::link, upState("socketcan:can0"));
  a.addFrame(2, kStart_boot_ns, 0, CanFrame::make(0x100, false, {}), 0);
  Batch b;
  b.add(1, kStart_boot_ns, 0, Kind::link, upState("socketcan:can1"));
  b.add(2, kStart_boot_ns, 1, Kind::link, upState("socketcan:can0"));
  b.addFrame(3, kStart_boot_ns, 0, CanFrame::make(0x101, false, {}), 0);
  b.addFrame(4, kStart_boot_ns, 1, CanFrame::make(0x100, false, {}), 0);
  record(path("a"), a);
  record(path("b"), b);
  FileBytes both;
  both.raw(contents(path("a"))).raw(contents(path("b")));
  const All all = readAll(save("c", both.bytes));
  ASSERT_EQ(all.links.size(), 2U);
  for (std::size_t i = 0; i < all.events.size(); ++i) EXPECT_EQ(all.events[i].header.sequence, i + 1);
  for (const Event& e : all.of(Kind::frame))
    EXPECT_EQ(all.links[e.header.link].name, e.frame().id() == 0x100 ? "socketcan:can0" : "socketcan:can1");
  for (const Event& e : all.of(Kind::link)) EXPECT_EQ(all.links[e.header.link].name, e.as<LinkState>().uri);
}

TEST_F(Read, ManyEventsComeInBatchesWithinTheLimit) {
  FileBytes f;
  f.section().can("can0");
  for (std::uint64_t i = 0; i < 3000; ++i) f.packet(0, i, kFrame);
  const All all = readAll(save("a", f.bytes));  // checks the limit
  ASSERT_EQ(all.events.size(), 3000U);
  for (std::size_t i = 0; i < 3000; ++i) EXPECT_EQ(all.events[i].header.sequence, i + 1);
}

TEST_F(Read, AFileThatIsNoCaptureIsAnErrorThatSaysWhatWasExpected) {
  for (const Bytes& bytes :
       {Bytes{}, Bytes{0x0A, 0x0D}, Bytes{'(', '1', '.', '0', ')', ' ', 'c', 'a', 'n', '0', ' ', ' ', '1'}}) {
    const std::string name = save("log.txt", bytes);
    const auto r = Reader::open(name);
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().kind, ErrorKind::input);
    EXPECT_EQ(r.error().place, name);
    EXPECT_THAT(r.error().what, HasSubstr("pcapng"));
    EXPECT_FALSE(r.error().advice.empty());
  }
}

TEST_F(Read, AMissingFileOrADirectoryIsAnErrorThatNamesIt) {
  for (const std::string& name : {path("none"), dir_.string()}) {
    const auto r = Reader::open(name);
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().kind, ErrorKind::input);
    EXPECT_EQ(r.error().place, name);
  }
}

TEST_F(Read, ARecordOfANewerVersionIsSkippedWithANote) {
  FileBytes f;
  f.section().interface(147, f.fresh().text(2, "pin16-records").endOptions());
  Bytes newer(20);
  newer[0] = 2;
  newer[1] = 33;
  Bytes unknown(20);
  unknown[0] = 1;
  unknown[1] = 200;
  f.packet(0, 1, newer).packet(0, 2, unknown);
  const All all = readAll(save("a", f.bytes));
  EXPECT_TRUE(all.events.empty());
  EXPECT_EQ(all.skipped.packets, 2U);
  EXPECT_THAT(all.skipped.notes, ElementsAre(HasSubstr("version 2")));
}

}  // namespace
}  // namespace pin16::capture
