// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/isotp.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <deque>
#include <memory>
#include <string>

namespace pin16::protocol {
namespace {

using event::CanFrame;

constexpr Pair kTester = {0x7E0, 0x7E8, false};  // sends 7E0
constexpr Pair kModule = {0x7E8, 0x7E0, false};

Bytes hex(const char* text) { return fromHex(text).value(); }
Pci pci(const char* text, bool fd = false) {
  static Bytes held;  // the view in Pci outlives this call
  held = hex(text);
  return parsePci(held, fd);
}
Bytes counting(std::size_t n) {
  Bytes b(n);
  for (std::size_t i = 0; i < n; ++i) b[i] = static_cast<std::uint8_t>(i * 7 + i / 256);
  return b;
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

/// Two ends and a bus between them that can lose, double or swap frames. Each frame takes 250 us.
struct Wire {
  explicit Wire(bool fd, Receiver::Settings rs = {})
      : tx(kTester, {.fd = fd, .waits_max = 10, .times = {}}), rx(kModule, rs) {}
  Sender tx;
  Receiver rx;
  Ns now_ns = 0;
  std::size_t count = 0;                      ///< data frames that went over
  std::size_t lose = 0, twice = 0, swap = 0;  ///< the number of the frame this happens to, 0 = never
  std::deque<CanFrame> sent;
  std::vector<Ns> sent_at_ns;
  std::optional<Bytes> got;
  std::optional<Failure> tx_failed, rx_failed;
  bool tx_done = false;

  void take(const Sender::Output& o) {
    if (o.failed) tx_failed = o.failed;
    if (o.done) tx_done = true;
    if (o.send) carry(*o.send);
  }
  void carry(const CanFrame& f) {
    now_ns += 250'000;
    sent.push_back(f);
    sent_at_ns.push_back(now_ns);
    pending_confirm = true;
    ++count;
    if (count == lose) return;
    if (count == swap) {
      held = f;
      return;
    }
    deliver(f);
    if (count == twice) deliver(f);
    if (held) {
      const CanFrame late = *held;
      held.reset();
      deliver(late);
    }
  }
  void deliver(const CanFrame& f) {
    const auto o = rx.onFrame(now_ns, f);
    if (o.failed) rx_failed = o.failed;
    if (o.message) got = o.message;
    if (o.send) answers.push_back(rx.frame(*o.send));
  }
  void run(const Bytes& message) {
    take(tx.start(now_ns, message));
    for (int guard = 0; guard < 20000; ++guard) {
      if (pending_confirm) {
        pending_confirm = false;
        take(tx.onConfirmed(now_ns));
      } else if (!answers.empty()) {
        const CanFrame fc = answers.front();
        answers.pop_front();
        now_ns += 250'000;
        take(tx.onFrame(now_ns, fc));
      } else {
        Ns due = tx.nextDeadline();
        if (due == kNoTime || (rx.nextDeadline() != kNoTime && rx.nextDeadline() < due))
          due = rx.nextDeadline();
        if (due == kNoTime) return;
        now_ns = std::max(now_ns, due);
        take(tx.onTime(now_ns));
        const auto o = rx.onTime(now_ns);
        if (o.failed) rx_failed = o.failed;
      }
    }
    FAIL() << "no end";
  }
  bool pending_confirm = false;
  std::optional<CanFrame> held;
  std::deque<CanFrame> answers;
};

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
  EXPECT_EQ(w.now_ns, 250'000 + 1000 * kNsPerMs);
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

// ---- an outside peer: scapy's ISOTP().fragment()

std::string run(const std::string& command) {
  std::string out;
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) return out;
  std::array<char, 4096> part{};
  while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe)) out.append(part.data(), n);
  EXPECT_EQ(pclose(pipe), 0) << command;
  return out;
}

TEST(Sender, FragmentsLikeScapy) {
  const std::string lines =
      run("/usr/bin/python3 -c \"\nimport logging; logging.disable(50)\nfrom scapy.main import load_contrib\n"
          "load_contrib('isotp')\nfrom scapy.contrib.isotp import ISOTP\n"
          "for n in (1,2,6,7,8,13,14,20,62,63,100,111,112,255,256,1000,4094,4095,4096,5000):\n"
          "  print(n, *[bytes(f.data).hex() for f in ISOTP(bytes((i*7+i//256)%256 for i in range(n)),"
          "rx_id=0x7e0).fragment()])\n\" 2>/dev/null");
  std::size_t lengths = 0;
  std::size_t at = 0;
  while (at < lines.size()) {
    const std::size_t end = lines.find('\n', at);
    const std::string line = lines.substr(at, end - at);
    at = end + 1;
    Receiver::Settings rs;
    rs.most = 8000;
    Wire w(false, rs);
    const std::size_t n = std::stoul(line);
    w.run(counting(n));
    std::string ours = std::to_string(n);
    std::string theirs = ours;
    std::size_t word = line.find(' ');
    for (const CanFrame& f : w.sent) {
      ours += " " + toHex(f.payload());
      ASSERT_NE(word, std::string::npos) << n;
      const std::size_t next = line.find(' ', word + 1);
      std::string fragment = line.substr(word + 1, next == std::string::npos ? next : next - word - 1);
      while (fragment.size() < 16) fragment += "cc";  // scapy does not pad
      theirs += " " + fragment;
      word = next;
    }
    EXPECT_EQ(word, std::string::npos) << n;
    EXPECT_EQ(ours, theirs);
    ++lengths;
  }
  EXPECT_EQ(lengths, 20U);
}

}  // namespace
}  // namespace pin16::protocol
