// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/isotp.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <memory>

#include "tests/protocol/wire.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;

Bytes hex(const char* text) { return fromHex(text).value(); }
Pci pci(const char* text, bool fd = false) {
  static Bytes held;  // the view in Pci outlives this call
  held = hex(text);
  return parsePci(held, fd);
}
CanFrame on(std::uint32_t id, const char* text) { return CanFrame::make(id, false, hex(text)); }

// ---- PCI. Layouts: ISO 15765-2 via an open-source UDS library's documentation and Linux net/can/isotp.c.

TEST(Pci, SingleFrame) {
  const Pci p = pci("02 01 0C CC CC CC CC CC");
  EXPECT_EQ(p.type, PciType::single);
  EXPECT_EQ(p.length, 2U);
  EXPECT_EQ(toHex(p.payload), "010c");
}
TEST(Pci, SingleFrameOfLengthZeroIsInvalid) {
  EXPECT_EQ(pci("00 01 0C CC CC CC CC CC").type, PciType::invalid);
}
TEST(Pci, SingleFrameLongerThanItsFrameIsInvalid) { EXPECT_EQ(pci("03 01 0C").type, PciType::invalid); }
TEST(Pci, SingleFrameLengthEightIsInvalid) {
  EXPECT_EQ(pci("08 01 02 03 04 05 06 07").type, PciType::invalid);
}
TEST(Pci, EscapedSingleFrameNeedsAnFdFrameAboveEightBytes) {
  const Pci p = pci("00 08 01 02 03 04 05 06 07 08 CC CC", true);
  EXPECT_EQ(p.type, PciType::single);
  EXPECT_EQ(p.length, 8U);
  EXPECT_EQ(pci("00 07 01 02 03 04 05 06 07 CC CC CC", true).type, PciType::invalid);  // fits without escape
  EXPECT_EQ(pci("00 0B 01 02 03 04 05 06 07 08 09 0A", true).type, PciType::invalid);  // one byte short
  EXPECT_EQ(pci("07 01 02 03 04 05 06 07 CC CC CC CC", true).type, PciType::invalid);  // must be escaped
}
TEST(Pci, FirstFrame) {
  const Pci p = pci("10 14 49 02 01 31 47 34");
  EXPECT_EQ(p.type, PciType::first);
  EXPECT_EQ(p.length, 20U);
  EXPECT_EQ(toHex(p.payload), "490201314734");
}
TEST(Pci, FirstFrameMustFillItsFrame) { EXPECT_EQ(pci("10 14 49 02 01 31 47").type, PciType::invalid); }
TEST(Pci, FirstFrameOfASingleFramesLengthIsInvalid) {
  EXPECT_EQ(pci("10 07 01 02 03 04 05 06").type, PciType::invalid);
  EXPECT_EQ(pci("10 08 01 02 03 04 05 06").type, PciType::first);
}
TEST(Pci, FirstFrameEscapeIsForMoreThan4095) {
  const Pci p = pci("10 00 00 00 10 00 01 02");
  EXPECT_EQ(p.type, PciType::first);
  EXPECT_EQ(p.length, 4096U);
  EXPECT_EQ(toHex(p.payload), "0102");
  EXPECT_EQ(pci("10 00 00 00 0F FF 01 02").type, PciType::invalid);
}
TEST(Pci, ConsecutiveFrame) {
  const Pci p = pci("2F AA BB");
  EXPECT_EQ(p.type, PciType::consecutive);
  EXPECT_EQ(p.sequence_number, 15);
  EXPECT_EQ(toHex(p.payload), "aabb");
  EXPECT_EQ(pci("21").type, PciType::invalid);
}
TEST(Pci, FlowControl) {
  const Pci p = pci("31 08 F3");
  EXPECT_EQ(p.type, PciType::flow_control);
  EXPECT_EQ(p.flow_status, FlowStatus::wait);
  EXPECT_EQ(p.block_size, 8);
  EXPECT_EQ(p.st_min, 0xF3);
  EXPECT_EQ(pci("30 00").type, PciType::invalid);
  for (const char* reserved : {"33 00 00", "37 00 00", "3F 00 00"})
    EXPECT_EQ(pci(reserved).flow_status, FlowStatus::reserved);
}
TEST(Pci, ReservedTypesAndNothingAreInvalid) {
  for (unsigned type = 4; type <= 15; ++type) {
    const Bytes d = {static_cast<std::uint8_t>(type << 4U), 1, 2, 3, 4, 5, 6, 7};
    EXPECT_EQ(parsePci(d, false).type, PciType::invalid) << type;
  }
  EXPECT_EQ(parsePci({}, false).type, PciType::invalid);
}
TEST(Pci, NeverReadsBehindAFrame) {  // run under AddressSanitizer
  for (unsigned first = 0; first < 256; ++first)
    for (std::size_t n = 1; n <= 64; ++n)
      for (const bool fd : {false, true}) {
        auto d = std::make_unique<std::uint8_t[]>(n);
        d[0] = static_cast<std::uint8_t>(first);
        if (n > 1) d[1] = static_cast<std::uint8_t>(n);
        const Pci p = parsePci({d.get(), n}, fd);
        EXPECT_LE(p.payload.size(), n);
      }
}

TEST(StMin,
     WholeTable) {  // ISO 15765-2; reserved values as in Linux net/can/isotp.c ("fix wrong STmin values")
  for (unsigned b = 0; b < 256; ++b) {
    Ns expected_ns = 127'000'000;
    if (b <= 0x7F) expected_ns = b * 1'000'000;
    if (b >= 0xF1 && b <= 0xF9) expected_ns = (b - 0xF0) * 100'000;
    EXPECT_EQ(stMinToNs(static_cast<std::uint8_t>(b)), expected_ns) << b;
  }
}

// ---- sender against receiver

TEST(SenderToReceiver, EveryClassicLength) {
  for (std::size_t n = 1; n <= 4095; n += n < 64 ? 1 : 13) {
    Wire w(false);
    w.run(counting(n));
    ASSERT_EQ(w.got, counting(n)) << n;
    ASSERT_TRUE(w.tx_done && !w.tx_failed && !w.rx_failed) << n;
    for (const CanFrame& f : w.sent) ASSERT_EQ(f.length, 8);
  }
}
TEST(SenderToReceiver, LongestClassic) {
  Wire w(false);
  w.run(counting(4095));
  EXPECT_EQ(w.got, counting(4095));
  EXPECT_EQ(w.count, 1U + (4095U - 6U + 6U) / 7U);  // first frame carries 6, each other 7
}
TEST(SenderToReceiver, EveryFdLength) {
  for (std::size_t n = 1; n <= 4095; n += n < 200 ? 1 : 31) {
    Wire w(true);
    w.run(counting(n));
    ASSERT_EQ(w.got, counting(n)) << n;
    ASSERT_TRUE(w.tx_done) << n;
    for (const CanFrame& f : w.sent) {
      const std::array<int, 8> sizes = {8, 12, 16, 20, 24, 32, 48, 64};  // data lengths of CAN FD from 8 up
      ASSERT_TRUE(f.fd() && std::count(sizes.begin(), sizes.end(), f.length) == 1) << int{f.length};
    }
  }
}
TEST(SenderToReceiver, AboveTheShortLengthTheEscapeIsUsed) {
  for (const bool fd : {false, true}) {
    Receiver::Settings rs;
    rs.most = 70000;
    Wire w(fd, rs);
    w.run(counting(66000));  // MAX_MSG_LENGTH of the Linux stack
    EXPECT_EQ(w.got, counting(66000));
    EXPECT_EQ(w.sent[0].data[0], 0x10);
    EXPECT_EQ(w.sent[0].data[1], 0x00);
  }
}
TEST(SenderToReceiver, BlockSizesAndSeparationTimes) {
  for (const unsigned bs : {1U, 2U, 7U, 15U, 16U, 255U})
    for (const std::uint8_t st : {std::uint8_t{0}, std::uint8_t{5}, std::uint8_t{0xF5}}) {
      Receiver::Settings rs;
      rs.block_size = static_cast<std::uint8_t>(bs);
      rs.st_min = st;
      Wire w(false, rs);
      w.run(counting(900));
      ASSERT_EQ(w.got, counting(900)) << bs;
      for (std::size_t i = 2; i < w.sent_at_ns.size(); ++i)
        ASSERT_GE(w.sent_at_ns[i] - w.sent_at_ns[i - 1], stMinToNs(st));
    }
}
TEST(SenderToReceiver, LostConsecutiveFrameGivesWrongSn) {
  Wire w(false);
  w.lose = 3;
  w.run(counting(50));
  EXPECT_EQ(w.rx_failed, Failure::wrong_sn);
  EXPECT_FALSE(w.got);
}
TEST(SenderToReceiver, LostLastFrameTimesOut) {
  Wire w(false);
  w.lose = 3;  // first frame 6 + 7 + 7 = 20
  w.run(counting(20));
  EXPECT_EQ(w.rx_failed, Failure::timeout_cr);
  EXPECT_FALSE(w.got);
}
TEST(SenderToReceiver, LostFirstFrameLeavesTheSenderWithoutFlowControl) {
  Wire w(false);
  w.lose = 1;
  w.run(counting(20));
  EXPECT_EQ(w.tx_failed, Failure::timeout_bs);
  EXPECT_EQ(w.now_ns, kFrameTime_ns + 1000 * kNsPerMs);
}
TEST(SenderToReceiver, DoubledConsecutiveFrameGivesWrongSn) {
  Wire w(true);
  w.twice = 2;
  w.run(counting(300));
  EXPECT_EQ(w.rx_failed, Failure::wrong_sn);
  EXPECT_FALSE(w.got);
}
TEST(SenderToReceiver, SwappedConsecutiveFramesGiveWrongSn) {
  Wire w(false);
  w.swap = 3;
  w.run(counting(60));
  EXPECT_EQ(w.rx_failed, Failure::wrong_sn);
  EXPECT_FALSE(w.got);
}
TEST(SenderToReceiver, DoubledFirstFrameBeginsAgainAndArrivesWhole) {
  Wire w(false);
  w.twice = 1;
  w.run(counting(60));
  EXPECT_EQ(w.rx_failed, Failure::unexpected_pdu);
  EXPECT_EQ(w.got, counting(60));
}
TEST(SenderToReceiver, TooLongIsAnsweredOverflow) {
  Wire w(false);
  w.run(counting(4096));
  EXPECT_EQ(w.tx_failed, Failure::overflow);
  EXPECT_EQ(w.rx_failed, Failure::overflow);
  EXPECT_EQ(w.count, 1U);
}

// ---- receiver, one failure a test

TEST(Receiver, NCrRunsFromTheLastFrame) {
  Receiver rx(kTester);
  (void)rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34"));
  (void)rx.onFrame(900 * kNsPerMs, on(0x7E8, "21 41 48 35 39 48 34 35"));
  EXPECT_EQ(rx.nextDeadline(), 1900 * kNsPerMs);
  EXPECT_TRUE(rx.onTime(1900 * kNsPerMs - 1).nothing());
  const auto out = rx.onTime(1900 * kNsPerMs);
  EXPECT_EQ(out.failed, Failure::timeout_cr);
  EXPECT_EQ(out.partial.size(), 13U);
  EXPECT_FALSE(rx.receiving());
}
TEST(Receiver, SingleFrameWhileReceivingEndsThatAndCounts) {
  Receiver rx(kTester);
  (void)rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34"));
  const auto out = rx.onFrame(1, on(0x7E8, "03 7F 09 10 CC CC CC CC"));
  EXPECT_EQ(out.failed, Failure::unexpected_pdu);
  EXPECT_EQ(out.message, hex("7F 09 10"));
  EXPECT_FALSE(rx.receiving());
}
TEST(Receiver, ConsecutiveFrameOutOfTheBlueIsIgnored) {
  Receiver rx(kTester);
  EXPECT_TRUE(rx.onFrame(0, on(0x7E8, "21 41 48 35 39 48 34 35")).nothing());
}
TEST(Receiver, OtherIdentifiersRemoteErrorAndFlowControlAreIgnored) {
  Receiver rx(kTester);
  EXPECT_TRUE(rx.onFrame(0, on(0x7E9, "02 01 0C")).nothing());
  EXPECT_TRUE(rx.onFrame(0, on(0x7E8, "30 00 00")).nothing());
  EXPECT_TRUE(rx.onFrame(0, CanFrame::make(0x7E8, true, hex("02 01 0C"))).nothing());
  CanFrame remote = on(0x7E8, "02 01 0C");
  remote.word |= event::kRemoteFlag;
  EXPECT_TRUE(rx.onFrame(0, remote).nothing());
}
TEST(Receiver, ShortConsecutiveFrameInTheMiddleIsIgnored) {
  Receiver rx(kTester);
  (void)rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34"));
  EXPECT_TRUE(rx.onFrame(1, on(0x7E8, "21 41 48 35")).nothing());
  (void)rx.onFrame(2, on(0x7E8, "21 41 48 35 39 48 34 35"));
  EXPECT_EQ(rx.onFrame(3, on(0x7E8, "22 47 31 31 38 33 34 31")).message->size(), 20U);
}
TEST(Receiver, LastConsecutiveFrameMayBeUnpadded) {
  Receiver rx(kTester);
  (void)rx.onFrame(0, on(0x7E8, "10 08 01 02 03 04 05 06"));
  EXPECT_EQ(rx.onFrame(1, on(0x7E8, "21 07 08")).message, hex("01 02 03 04 05 06 07 08"));
}
TEST(Receiver, FunctionalAddressTakesSingleFramesOnly) {
  Receiver::Settings s;
  s.functional = true;
  Receiver rx({0x7E8, 0x7DF, false}, s);
  EXPECT_TRUE(rx.onFrame(0, on(0x7DF, "10 14 49 02 01 31 47 34")).nothing());
  EXPECT_TRUE(rx.onFrame(0, on(0x7DF, "02 01 00 CC CC CC CC CC")).message);
}
TEST(Receiver, FlowControlCarriesTheSettings) {
  Receiver::Settings s;
  s.block_size = 8;
  s.st_min = 0x14;
  Receiver rx(kTester, s);
  const auto out = rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34"));
  const CanFrame fc = rx.frame(*out.send);
  EXPECT_EQ(fc.id(), 0x7E0U);
  EXPECT_EQ(toHex(fc.payload(), " "), "30 08 14 cc cc cc cc cc");
}

// ---- sender, one failure a test

TEST(Sender, NAsRunsOutWithoutConfirmation) {
  Sender tx(kTester);
  ASSERT_TRUE(tx.start(0, hex("01 0C")).send);
  EXPECT_EQ(tx.nextDeadline(), 1000 * kNsPerMs);
  EXPECT_TRUE(tx.onTime(1000 * kNsPerMs - 1).nothing());
  EXPECT_EQ(tx.onTime(1000 * kNsPerMs).failed, Failure::timeout_as);
  EXPECT_FALSE(tx.sending());
}
TEST(Sender, WaitRestartsNBsAndTooManyEndIt) {
  Sender tx(kTester, {.fd = false, .waits_max = 2, .times = {}});
  (void)tx.start(0, counting(20));
  (void)tx.onConfirmed(0);
  EXPECT_TRUE(tx.onFrame(900 * kNsPerMs, on(0x7E8, "31 00 00")).nothing());
  EXPECT_EQ(tx.nextDeadline(), 1900 * kNsPerMs);
  EXPECT_TRUE(tx.onFrame(1800 * kNsPerMs, on(0x7E8, "31 00 00")).nothing());
  EXPECT_EQ(tx.onFrame(2700 * kNsPerMs, on(0x7E8, "31 00 00")).failed, Failure::wait_overrun);
}
TEST(Sender, WaitThenContinue) {
  Sender tx(kTester);
  (void)tx.start(0, counting(20));
  (void)tx.onConfirmed(0);
  (void)tx.onFrame(1, on(0x7E8, "31 00 00"));
  const auto out = tx.onFrame(2, on(0x7E8, "30 00 00"));
  ASSERT_TRUE(out.send);
  EXPECT_EQ(out.send->data[0], 0x21);
}
TEST(Sender, ReservedFlowStatusEndsIt) {
  Sender tx(kTester);
  (void)tx.start(0, counting(20));
  (void)tx.onConfirmed(0);
  EXPECT_EQ(tx.onFrame(1, on(0x7E8, "33 00 00")).failed, Failure::invalid_fs);
}
TEST(Sender, OverflowEndsIt) {
  Sender tx(kTester);
  (void)tx.start(0, counting(20));
  (void)tx.onConfirmed(0);
  EXPECT_EQ(tx.onFrame(1, on(0x7E8, "32 00 00")).failed, Failure::overflow);
}
TEST(Sender, FlowControlNotAwaitedIsIgnored) {
  Sender tx(kTester);
  EXPECT_TRUE(tx.onFrame(0, on(0x7E8, "30 00 00")).nothing());
  (void)tx.start(0, counting(30));
  (void)tx.onConfirmed(0);
  ASSERT_TRUE(tx.onFrame(1, on(0x7E8, "30 00 0A")).send);
  EXPECT_TRUE(tx.onFrame(2, on(0x7E8, "30 00 00")).nothing());  // in the middle of a block
  EXPECT_TRUE(tx.onFrame(2, on(0x7E8, "02 41 0C")).nothing());  // no flow control at all
}
TEST(Sender, FlowControlBeforeTheConfirmationProvesTheFirstFrame) {
  Sender tx(kTester);
  (void)tx.start(0, counting(20));
  const auto first = tx.onFrame(1, on(0x7E8, "30 00 00"));
  ASSERT_TRUE(first.send);
  EXPECT_EQ(first.send->data[0], 0x21);
  EXPECT_TRUE(tx.onConfirmed(2).nothing());  // the first frame's, overtaken
  EXPECT_EQ(tx.onConfirmed(3).send->data[0], 0x22);
  EXPECT_TRUE(tx.onConfirmed(4).done);
}
TEST(Sender, OneMessageAtATime) {
  Sender tx(kTester);
  (void)tx.start(0, hex("01 0C"));
  EXPECT_TRUE(tx.start(0, hex("01 0D")).nothing());
  EXPECT_TRUE(Sender(kTester).start(0, {}).nothing());
}
TEST(Sender, SeparationTimeRunsFromTheConfirmation) {
  Sender tx(kTester);
  (void)tx.start(0, counting(20));
  (void)tx.onConfirmed(0);
  (void)tx.onFrame(0, on(0x7E8, "30 00 0A"));
  (void)tx.onConfirmed(3 * kNsPerMs);
  EXPECT_EQ(tx.nextDeadline(), 13 * kNsPerMs);
  EXPECT_TRUE(tx.onTime(13 * kNsPerMs).send);
}

// ---- addressing

TEST(Addresses, FixedIdentifiersOfTheStandard) {
  // 18DA, 18DB: Wireshark's packet-obd-ii.c; 18CE, 18CD: N_TAtype 206 and 205 of ISO 15765-2, from memory
  EXPECT_EQ(fixedId({false, false, 0x10, 0xF1}), 0x18DA10F1U);
  EXPECT_EQ(fixedId({false, true, 0x33, 0xF1}), 0x18DB33F1U);
  EXPECT_EQ(fixedId({true, false, 0x10, 0xF1}), 0x18CE10F1U);
  EXPECT_EQ(fixedId({true, true, 0x33, 0xF1}), 0x18CD33F1U);
  for (const std::uint32_t id : {0x18DA10F1U, 0x18DB33F1U, 0x18CE10F1U, 0x18CD33F1U})
    EXPECT_EQ(fixedId(parseFixedId(id).value()), id);
  for (const std::uint32_t id : {0x18D910F1U, 0x14DA10F1U, 0x7E0U, 0x18CF10F1U})
    EXPECT_FALSE(parseFixedId(id)) << id;
  const Pair p = Pair::normalFixed(0x10, 0xF1);
  EXPECT_EQ(p.tx_id, 0x18DA10F1U);
  EXPECT_EQ(p.rx_id, 0x18DAF110U);
  EXPECT_TRUE(p.extended);
}
TEST(Addresses, PrefixTakesFromWhatAFrameHolds) {
  const auto with = [](const char* text, bool fd = false) {
    static Bytes held;
    held = hex(text);
    return parsePci(held, fd, 1);
  };
  EXPECT_EQ(toHex(with("40 06 01 02 03 04 05 06").payload), "010203040506");
  EXPECT_EQ(with("40 07 01 02 03 04 05 06").type, PciType::invalid);
  EXPECT_EQ(with("40").type, PciType::invalid);
  EXPECT_EQ(with("40 10 07 01 02 03 04 05").length, 7U);  // the least that needs a first frame
  EXPECT_EQ(with("40 10 06 01 02 03 04 05").type, PciType::invalid);
  EXPECT_EQ(toHex(with("40 10 00 00 00 10 00 01").payload), "01");
  EXPECT_EQ(with("40 2A 01 02").sequence_number, 10);
  EXPECT_EQ(with("40 31 05 F1").st_min, 0xF1);
  EXPECT_EQ(with("40 30 05").type, PciType::invalid);
  EXPECT_EQ(with("40 00 07 01 02 03 04 05 06 07 CC CC", true).length, 7U);
  EXPECT_EQ(with("40 00 06 01 02 03 04 05 06 CC CC CC", true).type, PciType::invalid);
  EXPECT_EQ(with("40 00 0A 01 02 03 04 05 06 07 08 09", true).type, PciType::invalid);
}
TEST(Addresses, OnlyFramesWithOurAddressAreTaken) {
  Receiver rx({0x6F1, 0x600, false, Addressing::extended, 0x40, 0xF1});
  EXPECT_TRUE(rx.onFrame(0, on(0x600, "F2 02 41 0C")).nothing());  // to another node
  EXPECT_TRUE(rx.onFrame(0, on(0x600, "")).nothing());
  EXPECT_EQ(rx.onFrame(0, on(0x600, "F1 02 41 0C")).message, hex("41 0C"));
  const auto out = rx.onFrame(0, on(0x600, "F1 10 14 49 02 01 31 47"));
  ASSERT_TRUE(out.send);
  EXPECT_EQ(toHex(rx.frame(*out.send).payload(), " "), "40 30 00 00 cc cc cc cc");
  EXPECT_TRUE(rx.onFrame(1, on(0x600, "F2 21 01 02 03 04 05 06")).nothing());
  EXPECT_TRUE(rx.receiving());
}
TEST(Addresses, SenderTakesFlowControlWithItsAddressOnly) {
  Sender tx({0x6F1, 0x600, false, Addressing::extended, 0x40, 0xF1});
  const auto first = tx.start(0, counting(20));
  ASSERT_TRUE(first.send);
  EXPECT_EQ(toHex(first.send->payload().first(3), " "), "40 10 14");
  (void)tx.onConfirmed(0);
  EXPECT_TRUE(tx.onFrame(1, on(0x600, "F2 30 00 00")).nothing());
  EXPECT_TRUE(tx.onFrame(1, on(0x600, "30 00 00")).nothing());
  EXPECT_TRUE(tx.onFrame(1, on(0x600, "F1 30 00 00")).send);
}
TEST(Addresses, FunctionalMessagesAreSingleFramesOnly) {
  for (const Pair& pair : everyAddressing())
    for (const bool fd : {false, true}) {
      Sender::Settings s = fdSettings(fd);
      s.functional = true;
      const std::size_t most = (fd ? 62 : 7) - pair.prefixSize();
      Sender fits(pair, s);
      EXPECT_TRUE(fits.start(0, counting(most)).send);
      Sender tx(pair, s);
      const auto out = tx.start(0, counting(most + 1));
      EXPECT_EQ(out.failed, Failure::not_single);
      EXPECT_FALSE(out.send || tx.sending());
    }
}

// ---- every time of ISO 15765-2, one test each. Figures: 1000 ms timeouts, N_Br and N_Cs below 0.9 of them
// (ISO 15765-2:2016 as quoted by an open-source UDS library's documentation, chapter CAN).

TEST(Times, NAsOurFrameIsNotConfirmed) {
  Sender tx(kTester);
  (void)tx.start(0, counting(20));
  (void)tx.onConfirmed(0);
  ASSERT_TRUE(tx.onFrame(10, on(0x7E8, "30 00 00")).send);  // a consecutive frame has it as well
  EXPECT_EQ(tx.nextDeadline(), 1000 * kNsPerMs + 10);
  EXPECT_EQ(tx.onTime(1000 * kNsPerMs + 10).failed, Failure::timeout_as);
}
TEST(Times, NArOurFlowControlIsNotConfirmed) {
  Receiver rx(kTester, {.times = {.n_ar_ns = 25 * kNsPerMs}});  // legislated OBD, ISO 15765-4
  ASSERT_TRUE(rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34")).send);
  EXPECT_TRUE(rx.onTime(25 * kNsPerMs - 1).nothing());
  const auto out = rx.onTime(25 * kNsPerMs);
  EXPECT_EQ(out.failed, Failure::timeout_ar);
  EXPECT_EQ(out.partial.size(), 6U);
  EXPECT_FALSE(rx.receiving());
}
TEST(Times, NArEndsWithAConsecutiveFrameThatOvertookTheConfirmation) {
  Receiver rx(kTester, {.block_size = 1, .times = {}});
  (void)rx.onFrame(0, on(0x7E8, "10 1B 49 02 01 31 47 34"));
  ASSERT_TRUE(rx.onFrame(1, on(0x7E8, "21 41 48 35 39 48 34 35")).send);
  rx.onConfirmed(2);  // that of the first flow control
  EXPECT_EQ(rx.nextDeadline(), 1000 * kNsPerMs + 1);
  EXPECT_EQ(rx.onTime(1000 * kNsPerMs + 1).failed, Failure::timeout_ar);
}
TEST(Times, NBsRunsFromTheConfirmedFirstFrameAndFromTheLastOfABlock) {
  Sender tx(kTester);
  (void)tx.start(0, counting(40));
  (void)tx.onConfirmed(5 * kNsPerMs);
  EXPECT_EQ(tx.nextDeadline(), 1005 * kNsPerMs);
  (void)tx.onFrame(600 * kNsPerMs, on(0x7E8, "30 01 00"));
  (void)tx.onConfirmed(601 * kNsPerMs);
  EXPECT_EQ(tx.nextDeadline(), 1601 * kNsPerMs);
  EXPECT_TRUE(tx.onTime(1601 * kNsPerMs - 1).nothing());
  EXPECT_EQ(tx.onTime(1601 * kNsPerMs).failed, Failure::timeout_bs);
}
TEST(Times, NBrIsKeptByWaitFramesWhileTheReceiverIsHeld) {
  Receiver rx(kTester, {.block_size = 3, .hold = true, .waits_max = 2, .times = {}});
  EXPECT_FALSE(rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34")).send);
  for (Ns at : {450 * kNsPerMs, 900 * kNsPerMs}) {
    EXPECT_EQ(rx.nextDeadline(), at);
    const auto out = rx.onTime(at);
    ASSERT_TRUE(out.send);
    EXPECT_EQ(toHex(rx.frame(*out.send).payload().first(1)), "31");
    rx.onConfirmed(at);
    // a frame that does not wait for its turn changes nothing
    EXPECT_TRUE(rx.onFrame(at, on(0x7E8, "21 41 48 35 39 48 34 35")).nothing());
  }
  const IsoTpTimes t;
  EXPECT_LE(2 * t.n_br_ns, t.n_bs_ns * 9 / 10);  // leaves as much for N_Ar
  EXPECT_EQ(rx.onTime(1350 * kNsPerMs).failed, Failure::wait_overrun);
  EXPECT_FALSE(rx.proceed(1351 * kNsPerMs).send);
}
TEST(Times, NBrEndsWithProceed) {
  Receiver rx(kTester, {.block_size = 3, .st_min = 0xF1, .hold = true, .times = {}});
  EXPECT_TRUE(rx.proceed(0).nothing());
  (void)rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34"));
  (void)rx.onTime(450 * kNsPerMs);
  const auto out = rx.proceed(451 * kNsPerMs);  // the FC.WAIT is not even confirmed
  ASSERT_TRUE(out.send);
  EXPECT_EQ(*out.send, (FlowControl{FlowStatus::cts, 3, 0xF1}));
  EXPECT_TRUE(rx.proceed(452 * kNsPerMs).nothing());
  rx.onConfirmed(453 * kNsPerMs);
  EXPECT_EQ(rx.nextDeadline(), 1451 * kNsPerMs);  // still N_Ar
  rx.onConfirmed(454 * kNsPerMs);
  EXPECT_EQ(rx.nextDeadline(), 1454 * kNsPerMs);  // N_Cr
  (void)rx.onFrame(500 * kNsPerMs, on(0x7E8, "21 41 48 35 39 48 34 35"));
  EXPECT_TRUE(rx.onFrame(501 * kNsPerMs, on(0x7E8, "22 47 31 31 38 33 34 31")).message);
}
TEST(Times, NCsWhatCouldOnlyArriveAfterNCrIsNotSent) {
  for (const bool late : {false, true}) {
    Sender tx(kTester);
    (void)tx.start(0, counting(20));
    (void)tx.onConfirmed(0);
    (void)tx.onFrame(0, on(0x7E8, "30 00 7F"));
    (void)tx.onConfirmed(10 * kNsPerMs);
    EXPECT_EQ(tx.nextDeadline(), 137 * kNsPerMs);
    const auto out = tx.onTime(910 * kNsPerMs + (late ? 1 : 0));  // the owner was busy
    EXPECT_EQ(out.send.has_value(), !late);
    if (late) {
      EXPECT_EQ(out.failed, Failure::timeout_cs);
    }
  }
}
TEST(Times, NCrRunsFromTheConfirmedFlowControl) {
  Receiver rx(kTester);
  (void)rx.onFrame(0, on(0x7E8, "10 14 49 02 01 31 47 34"));
  rx.onConfirmed(30 * kNsPerMs);
  EXPECT_EQ(rx.nextDeadline(), 1030 * kNsPerMs);
  EXPECT_TRUE(rx.onTime(1030 * kNsPerMs - 1).nothing());
  EXPECT_EQ(rx.onTime(1030 * kNsPerMs).failed, Failure::timeout_cr);
}
TEST(Times, SeparationInMicrosecondsIsNeverCutShort) {
  for (unsigned st = 0xF1; st <= 0xF9; ++st) {
    Sender tx(kTester);
    (void)tx.start(0, counting(30));
    (void)tx.onConfirmed(0);
    const Bytes fc = {0x30, 0, static_cast<std::uint8_t>(st)};
    ASSERT_TRUE(tx.onFrame(0, CanFrame::make(0x7E8, false, fc)).send);
    const Ns gap_ns = (st - 0xF0) * 100'000;
    EXPECT_TRUE(tx.onConfirmed(7).nothing());
    EXPECT_EQ(tx.nextDeadline(), 7 + gap_ns);
    EXPECT_TRUE(tx.onTime(7 + gap_ns - 1).nothing());
    EXPECT_TRUE(tx.onTime(7 + gap_ns).send);
  }
}

}  // namespace
}  // namespace pin16::protocol
