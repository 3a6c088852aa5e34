// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/witness.hpp"

#include <gtest/gtest.h>

#include <string>

#include "core/protocol/isotp.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;
using event::Ended;

constexpr Ns ms(double t) { return fromMs(t); }

struct Witnessed : ::testing::Test {
  limits::Limits limits;
  std::vector<event::Message> messages;
  std::vector<Ns> message_times;
  std::vector<event::Exchange> exchanges;
  Witness witness{limits,
                  [this](Ns t, const event::Message& m) {
                    message_times.push_back(t);
                    messages.push_back(m);
                  },
                  [this](Ns, const event::Exchange& x) { exchanges.push_back(x); }};

  /// "0222F190..." at `t` milliseconds; identifiers above 7FF are 29 bit.
  void put(double t, std::uint32_t id, const char* hex, bool outbound = false, bool fd = false) {
    witness.frame(ms(t), CanFrame::make(id, id > 0x7FF, *fromHex(hex), fd), outbound);
  }
  std::string payload(std::size_t i) {
    return i < messages.size() ? toHex(messages[i].payload) : "no such message";
  }
  void expectEnded(std::size_t i, Ended ended) {
    ASSERT_LT(i, exchanges.size());
    EXPECT_STREQ(toText(exchanges[i].ended), toText(ended));
  }
};

TEST_F(Witnessed, MultiFrameVinOnTheLegislatedIdentifiers) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(20, 0x7E8, "101462F190544553");
  put(21, 0x7E0, "300000CCCCCCCCCC");
  put(22, 0x7E8, "2130303030303030");
  put(23, 0x7E8, "22303030303030 31");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(payload(0), "22f190");
  EXPECT_EQ(payload(1), "62f1905445533030303030303030303030303031");
  EXPECT_TRUE(messages[1].complete);
  EXPECT_EQ(messages[1].first_ns, ms(20));
  EXPECT_EQ(message_times[1], ms(23));
  ASSERT_EQ(exchanges.size(), 1U);
  const auto& x = exchanges[0];
  EXPECT_EQ(x.ended, Ended::answered);
  EXPECT_EQ(x.request_id, 0x7E0U);
  EXPECT_EQ(x.answer_id, 0x7E8U);
  EXPECT_EQ(toHex(x.answer), payload(1));
  EXPECT_DOUBLE_EQ(x.response_ms, 20);
  EXPECT_DOUBLE_EQ(x.complete_ms, 23);
  EXPECT_FALSE(x.late);
  EXPECT_FALSE(x.ours);
}

TEST_F(Witnessed, OwnRequestIsMarkedOurs) {
  put(0, 0x7E0, "023E00CCCCCCCCCC", true);
  put(5, 0x7E8, "027E00CCCCCCCCCC");
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_TRUE(exchanges[0].ours);
}

// ISO 14229-2: P2 server 50 ms (core/limits/timing.cpp).
TEST_F(Witnessed, LaterThanP2IsLate) {
  put(0, 0x18DA10F1, "023E00CCCCCCCCCC");
  put(50, 0x18DAF110, "027E00CCCCCCCCCC");
  put(100, 0x18DA10F1, "023E00CCCCCCCCCC");
  put(150.1, 0x18DAF110, "027E00CCCCCCCCCC");
  ASSERT_EQ(exchanges.size(), 2U);
  EXPECT_FALSE(exchanges[0].late);
  EXPECT_TRUE(exchanges[1].late);
  EXPECT_TRUE(exchanges[1].extended);
}

TEST_F(Witnessed, LimitInForceDecidesLate) {
  ASSERT_TRUE(limits.replace("timing.p2_server_max_ms", 20, "test"));
  std::vector<event::Exchange> seen;
  Witness strict(
      limits, [](Ns, const event::Message&) {}, [&](Ns, const event::Exchange& x) { seen.push_back(x); });
  strict.frame(0, CanFrame::make(0x7E0, false, *fromHex("023E00")), false);
  strict.frame(ms(30), CanFrame::make(0x7E8, false, *fromHex("027E00")), false);
  ASSERT_EQ(seen.size(), 1U);
  EXPECT_TRUE(seen[0].late);
}

TEST_F(Witnessed, NegativeAnswer) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(8, 0x7E8, "037F2233CCCCCCCC");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::negative);
  EXPECT_EQ(toHex(exchanges[0].answer), "7f2233");
}

TEST_F(Witnessed, PendingIsCountedAndItsTimeIsP2Star) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(40, 0x7E8, "037F2278CCCCCCCC");
  put(4000, 0x7E8, "037F2278CCCCCCCC");
  put(8900, 0x7E8, "0462F19041CCCCCC");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_EQ(exchanges[0].pending, 2);
  EXPECT_DOUBLE_EQ(exchanges[0].response_ms, 40) << "the first response kept P2";
  EXPECT_DOUBLE_EQ(exchanges[0].complete_ms, 8900);
  EXPECT_FALSE(exchanges[0].late);
}

TEST_F(Witnessed, SilentAfterPending) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(40, 0x7E8, "037F2278CCCCCCCC");
  put(5900, 0x123, "FF");
  EXPECT_TRUE(exchanges.empty());
  put(6100, 0x123, "FF");  // P2* 5000 ms and a margin of 1000 ms
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::silent);
  EXPECT_EQ(exchanges[0].pending, 1);
}

TEST_F(Witnessed, SilentOnceTheClientsWaitIsOver) {
  put(0, 0x7E3, "0322F190CCCCCCCC");
  put(1000, 0x123, "FF");
  EXPECT_TRUE(exchanges.empty());
  put(1001, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::silent);
  EXPECT_EQ(exchanges[0].answer_id, 0x7EBU) << "where the answer was expected";
  EXPECT_DOUBLE_EQ(exchanges[0].response_ms, -1);
}

TEST_F(Witnessed, SilentByTimeAlone) {
  put(0, 0x7E3, "0322F190CCCCCCCC");
  witness.advance(ms(1001));
  expectEnded(0, Ended::silent);
}

TEST_F(Witnessed, TesterThatAsksAnewHasGivenUp) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(300, 0x7E0, "0322F187CCCCCCCC");
  put(310, 0x7E8, "0462F18741CCCCCC");
  ASSERT_EQ(exchanges.size(), 2U);
  expectEnded(0, Ended::silent);
  expectEnded(1, Ended::answered);
}

TEST_F(Witnessed, CaptureThatEndsFirstIsNotSilence) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(500, 0x123, "FF");
  witness.finish();
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::not_seen);
}

TEST_F(Witnessed, CaptureThatGoesOnWithoutFramesIsSilence) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  witness.finish(ms(1500));
  expectEnded(0, Ended::silent);
}

TEST_F(Witnessed, GapLosesTheLink) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "101462F190544553");
  put(15, 0x7E3, "023E00CCCCCCCCCC");
  witness.gap(ms(20), ms(3000));
  ASSERT_EQ(exchanges.size(), 2U);
  expectEnded(0, Ended::link_lost);
  expectEnded(1, Ended::link_lost);
  ASSERT_EQ(messages.size(), 3U);
  EXPECT_FALSE(messages[2].complete);
  EXPECT_EQ(payload(2), "62f190544553");
  put(3001, 0x7E8, "2130303030303030");
  EXPECT_EQ(messages.size(), 3U) << "what broke off stays broken off";
}

TEST_F(Witnessed, WrongSequenceNumberBreaksTheAnswerOff) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "101462F190544553");
  put(11, 0x7E0, "300000CCCCCCCCCC");
  put(12, 0x7E8, "2230303030303030");
  put(13, 0x7E8, "2130303030303030");
  put(14, 0x7E8, "22303030303030 31");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_FALSE(messages[1].complete);
  EXPECT_EQ(messages[1].reason, toText(Failure::wrong_sn));
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::incomplete);
  EXPECT_EQ(toHex(exchanges[0].answer), "62f190544553");
}

// ISO 15765-2: N_Cr 1000 ms (core/limits/timing.cpp).
TEST_F(Witnessed, ConsecutiveFrameLaterThanNcrBreaksOff) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "101462F190544553");
  put(11, 0x7E0, "300000CCCCCCCCCC");
  put(1011, 0x7E8, "2130303030303030");  // exactly in time
  put(2012, 0x7E8, "22303030303030 31");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(messages[1].reason, toText(Failure::timeout_cr));
  expectEnded(0, Ended::incomplete);
}

TEST_F(Witnessed, FirstFrameThatNobodyTakesBreaksOff) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "101462F190544553");
  put(1011, 0x123, "FF");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(messages[1].reason, toText(Failure::timeout_bs));
}

TEST_F(Witnessed, NewMessageEndsTheOneBefore) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "101462F190544553");
  put(20, 0x7E8, "037F2233CCCCCCCC");
  ASSERT_EQ(messages.size(), 3U);
  EXPECT_EQ(messages[1].reason, toText(Failure::unexpected_pdu));
  EXPECT_TRUE(messages[2].complete);
}

TEST_F(Witnessed, OverflowAndWaitOfTheReceiver) {
  put(0, 0x7E0, "1014 2EF190 545453");
  put(900, 0x7E8, "310000CCCCCCCCCC");   // wait
  put(1800, 0x7E8, "320000CCCCCCCCCC");  // overflow
  ASSERT_EQ(messages.size(), 1U);
  EXPECT_EQ(messages[0].reason, toText(Failure::overflow));
}

TEST_F(Witnessed, SequenceNumberWrapsAndBlocksHaveTheirOwnFlowControl) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(1, 0x7E8, "10C8 62F190 010203");  // 200 bytes
  std::uint8_t sn = 1;
  for (int got = 6; got < 200; got += 7) {
    if ((sn - 1) % 4 == 0) put(2, 0x7E0, "300400CCCCCCCCCC");
    Bytes cf(8, 0xEE);
    cf[0] = static_cast<std::uint8_t>(0x20 | (sn++ & 0x0F));
    witness.frame(ms(3), CanFrame::make(0x7E8, false, cf), false);
  }
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_TRUE(messages[1].complete);
  EXPECT_EQ(messages[1].payload.size(), 200U);
}

TEST_F(Witnessed, FdSingleFirstAndConsecutiveFrames) {
  put(0, 0x7E0, "0322F190CCCCCCCC", false, true);
  Bytes ff(64, 0x41);
  ff[0] = 0x10, ff[1] = 100, ff[2] = 0x62, ff[3] = 0xF1, ff[4] = 0x90;
  witness.frame(ms(1), CanFrame::make(0x7E8, false, ff, true), false);
  put(2, 0x7E0, "300000CCCCCCCCCC", false, true);
  Bytes cf(48, 0x42);
  cf[0] = 0x21;
  witness.frame(ms(3), CanFrame::make(0x7E8, false, cf, true), false);
  Bytes single(24, 0x43);
  single[0] = 0, single[1] = 20, single[2] = 0x2E;
  witness.frame(ms(4), CanFrame::make(0x7E0, false, single, true), false);
  ASSERT_EQ(messages.size(), 3U);
  EXPECT_EQ(messages[1].payload.size(), 100U);
  EXPECT_EQ(messages[1].payload[61], 0x41);
  EXPECT_EQ(messages[1].payload[62], 0x42);
  EXPECT_EQ(messages[2].payload.size(), 20U);
}

TEST_F(Witnessed, FunctionalRequestHasOneExchangeForEachModule) {
  put(0, 0x7DF, "020100CCCCCCCCCC");
  put(10, 0x7E8, "064100BE3FA813CC");
  put(30, 0x7EA, "06410080000001CC");
  put(70, 0x7EB, "06410080000001CC");
  put(2000, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 3U);
  EXPECT_EQ(exchanges[0].answer_id, 0x7E8U);
  EXPECT_EQ(exchanges[1].answer_id, 0x7EAU);
  EXPECT_TRUE(exchanges[0].functional);
  EXPECT_DOUBLE_EQ(exchanges[1].response_ms, 30);
  EXPECT_FALSE(exchanges[1].late);
  EXPECT_TRUE(exchanges[2].late);
}

TEST_F(Witnessed, FunctionalRequestThatNobodyAnswersIsOneSilentExchange) {
  put(0, 0x18DB33F1, "020902CCCCCCCCCC");
  put(2000, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::silent);
  EXPECT_TRUE(exchanges[0].functional);
  EXPECT_EQ(exchanges[0].answer_id, 0U);
}

TEST_F(Witnessed, FunctionalVinInterleavedFromTwoModules) {
  put(0, 0x7DF, "020902CCCCCCCCCC");
  put(10, 0x7E8, "1014490201414141");
  put(11, 0x7E9, "1014490201424242");
  put(12, 0x7E0, "300000CCCCCCCCCC");
  put(13, 0x7E1, "300000CCCCCCCCCC");
  for (const char* cf : {"2141414141414141", "2241414141414141"}) {
    put(14, 0x7E8, cf);
    put(14, 0x7E9, cf);
  }
  ASSERT_EQ(exchanges.size(), 2U);
  EXPECT_EQ(exchanges[0].answer.size(), 20U);
  EXPECT_EQ(exchanges[0].answer_id, 0x7E8U);
  EXPECT_EQ(exchanges[1].answer_id, 0x7E9U);
}

TEST_F(Witnessed, ModuleOutsideTheLegislatedRangeAnswersAFunctionalRequest) {
  put(0, 0x7DF, "020902CCCCCCCCCC");
  put(10, 0x5A8, "1014490201414141");
  put(12, 0x5A0, "300000CCCCCCCCCC");
  put(14, 0x5A8, "2141414141414141");
  put(15, 0x5A8, "2241414141414141");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_EQ(exchanges[0].answer_id, 0x5A8U);
  put(100, 0x5A0, "023E00CCCCCCCCCC");  // its physical request identifier is known by its flow control
  put(101, 0x5A8, "027E00CCCCCCCCCC");
  ASSERT_EQ(exchanges.size(), 2U);
  EXPECT_EQ(exchanges[1].request_id, 0x5A0U);
}

TEST_F(Witnessed, SuppressedTesterPresentOpensNoExchange) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7DF, "023E80CCCCCCCCCC");
  put(20, 0x7E8, "0462F19041CCCCCC");
  put(3000, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_EQ(messages.size(), 3U);
}

TEST_F(Witnessed, IdentifiersAreLearnedFromARequestAndItsAnswer) {
  put(0, 0x6A1, "0322F190CCCCCCCC");
  EXPECT_TRUE(messages.empty()) << "one plausible frame proves nothing";
  put(15, 0x6B1, "0462F19041CCCCCC");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(messages[0].id, 0x6A1U);
  EXPECT_EQ(message_times[0], 0);
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].request_id, 0x6A1U);
  EXPECT_EQ(exchanges[0].answer_id, 0x6B1U);
  EXPECT_DOUBLE_EQ(exchanges[0].response_ms, 15);
}

TEST_F(Witnessed, IdentifiersAreLearnedFromFlowControl) {
  put(0, 0x6A1, "1014 2EF190 545453");  // a request of several frames
  put(1, 0x6B1, "300000CCCCCCCCCC");
  put(2, 0x6A1, "2130303030303030");
  put(3, 0x6A1, "22303030303030 31");
  put(10, 0x6B1, "036EF190CCCCCCCC");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(messages[0].payload.size(), 20U);
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_EQ(exchanges[0].answer_id, 0x6B1U);
}

TEST_F(Witnessed, RequestWithoutEchoIsReportedOnceFlowControlProvesIt) {
  put(0, 0x6A1, "0103CCCCCCCCCCCC");
  put(10, 0x6B1, "100A 4304 0101 0102");
  put(11, 0x6A1, "300000CCCCCCCCCC");
  EXPECT_TRUE(messages.empty());
  put(12, 0x6B1, "2101030104CCCCCC");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(payload(0), "03");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_DOUBLE_EQ(exchanges[0].response_ms, 10);
}

TEST_F(Witnessed, AnswerBehindP2StarTeachesNothing) {
  put(0, 0x6A1, "0322F190CCCCCCCC");
  put(5001, 0x6B1, "0462F19041CCCCCC");
  EXPECT_TRUE(messages.empty());
}

TEST_F(Witnessed, HintMakesIdentifiersKnown) {
  witness.hint(0x6A1, 0x6B1, false);
  put(0, 0x6A1, "0322F190AABBCCDD");  // padding alone would have made it ordinary
  put(2000, 0x123, "FF");
  ASSERT_EQ(messages.size(), 1U);
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::silent);
  EXPECT_EQ(exchanges[0].answer_id, 0x6B1U);
}

TEST_F(Witnessed, OrdinaryTrafficIsNotTakenForDiagnostics) {
  std::uint32_t x = 1;
  for (int i = 0; i < 50000; ++i) {
    Bytes data(8);
    for (auto& b : data) b = static_cast<std::uint8_t>((x = x * 1664525U + 1013904223U) >> 24);
    data[0] &= 0x3F;  // as often as can be a valid PCI
    witness.frame(ms(i), CanFrame::make(0x100 + (x >> 8) % 0x400, false, data), false);
  }
  witness.finish();
  EXPECT_TRUE(messages.empty());
  EXPECT_TRUE(exchanges.empty());
}

TEST_F(Witnessed, IdentifierThatOnceSentOtherThingsStaysOrdinary) {
  put(0, 0x6B1, "FE00000000000000");
  put(1, 0x6A1, "0322F190CCCCCCCC");
  put(2, 0x6B1, "0462F19041CCCCCC");
  EXPECT_TRUE(messages.empty());
}

TEST_F(Witnessed, FramesWithoutTimeArePutTogetherButNotTimed) {
  const auto timeless = [&](std::uint32_t id, const char* hex) {
    witness.frame(kNoTime, CanFrame::make(id, false, *fromHex(hex)), false);
  };
  timeless(0x7E0, "0322F190CCCCCCCC");
  timeless(0x7E8, "101462F190544553");
  timeless(0x7E0, "300000CCCCCCCCCC");
  timeless(0x7E8, "2130303030303030");
  timeless(0x7E8, "22303030303030 31");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_DOUBLE_EQ(exchanges[0].response_ms, -1);
  EXPECT_FALSE(exchanges[0].late);
  witness.frame(INT64_MAX, CanFrame::make(0x7E0, false, *fromHex("023E00")), false);
  witness.frame(INT64_MIN + 1, CanFrame::make(0x7E8, false, *fromHex("027E00")), false);
  EXPECT_EQ(exchanges.size(), 2U) << "absurd times count as none";
}

TEST_F(Witnessed, StampsThatStepBackTimeNothingOut) {
  put(3600000, 0x7E0, "023E00CCCCCCCCCC");
  put(3600001, 0x7E8, "027E00CCCCCCCCCC");
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "101462F190544553");
  put(11, 0x7E0, "300000CCCCCCCCCC");
  put(12, 0x7E8, "2130303030303030");
  put(13, 0x7E8, "22303030303030 31");
  ASSERT_EQ(exchanges.size(), 2U);
  expectEnded(1, Ended::answered);
  EXPECT_DOUBLE_EQ(exchanges[1].response_ms, 10);
}

TEST_F(Witnessed, ClaimedLengthOfFourGigabytesAllocatesNothing) {
  put(0, 0x7E0, "1000FFFFFFFF3601");
  put(1, 0x7E8, "300000CCCCCCCCCC");
  put(2, 0x7E0, "2102030405060708");
  witness.finish();
  ASSERT_EQ(messages.size(), 1U);
  EXPECT_EQ(messages[0].payload.size(), 9U);
  EXPECT_LT(messages[0].payload.capacity(), 4096U);
}

TEST_F(Witnessed, ErrorAndRemoteFramesAreIgnored) {
  CanFrame error = CanFrame::make(0x7E0, false, *fromHex("0322F190CCCCCCCC"));
  error.word |= event::kErrorFlag;
  witness.frame(0, error, false);
  CanFrame remote = CanFrame::make(0x7E0, false, *fromHex("0322F190CCCCCCCC"));
  remote.word |= event::kRemoteFlag;
  witness.frame(0, remote, false);
  EXPECT_TRUE(messages.empty());
}

// ---- addressing with a prefix (ISO 15765-2: extended, N_TA; mixed, N_AE)

TEST_F(Witnessed, ExtendedAddressingIsLearnedFromARequestAndItsAnswer) {
  put(0, 0x6F1, "1203 22F190 CCCCCC");
  EXPECT_TRUE(messages.empty()) << "one plausible frame proves nothing";
  put(10, 0x612, "F105 62F190 4142 CC");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(payload(0), "22f190");
  EXPECT_EQ(messages[0].prefix, 0x12);
  EXPECT_EQ(payload(1), "62f1904142");
  EXPECT_EQ(messages[1].prefix, 0xF1);
  EXPECT_FALSE(messages[1].mixed);
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_EQ(exchanges[0].request_prefix, 0x12);
  EXPECT_EQ(exchanges[0].answer_id, 0x612U);
  EXPECT_EQ(exchanges[0].answer_prefix, 0xF1);
}

TEST_F(Witnessed, AnotherNodeOfAProvenTesterNeedsNoProof) {
  put(0, 0x6F1, "1203 22F190 CCCCCC");
  put(10, 0x612, "F105 62F190 4142 CC");
  put(100, 0x6F1, "4003 22F190 CCCCCC");
  put(1200, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 2U);
  expectEnded(1, Ended::silent);
  EXPECT_EQ(exchanges[1].request_prefix, 0x40);
  EXPECT_EQ(exchanges[1].answer_id, 0U) << "nobody knows where from";
  put(1300, 0x6F1, "4003 22F190 CCCCCC");
  put(1310, 0x640, "F103 7F2231 CCCCCC");
  ASSERT_EQ(exchanges.size(), 3U);
  expectEnded(2, Ended::negative);
  EXPECT_EQ(exchanges[2].answer_id, 0x640U);
}

TEST_F(Witnessed, ExtendedAddressingIsLearnedFromFlowControlAndTheAnswer) {
  put(0, 0x6F1, "12100D 2EF198 0102");
  put(1, 0x612, "F1300000 CCCCCCCC");
  put(2, 0x6F1, "1221 030405060708");
  put(3, 0x6F1, "1222 090A");  // the last frame is not padded
  put(9, 0x612, "F103 6EF198 CCCCCC");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(payload(0), "2ef1980102030405060708090a");
  EXPECT_EQ(messages[0].first_ns, 0);
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_DOUBLE_EQ(exchanges[0].request_ms, 3);
}

TEST_F(Witnessed, PendingBeforeTheProofIsNotForgotten) {
  put(0, 0x6A1, "0322F190CCCCCCCC");
  put(40, 0x6B1, "037F2278CCCCCCCC");
  EXPECT_TRUE(messages.empty()) << "a pending alone proves nothing";
  put(900, 0x6B1, "0462F19041CCCCCC");
  ASSERT_EQ(messages.size(), 3U);
  EXPECT_EQ(payload(1), "7f2278");
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].pending, 1);
  EXPECT_DOUBLE_EQ(exchanges[0].response_ms, 40);
  EXPECT_FALSE(exchanges[0].late);
}

TEST_F(Witnessed, MixedAddressingHasTheSamePrefixBothWays) {
  put(0, 0x6A1, "A503 22F190 CCCCCC");
  put(10, 0x6B1, "A51014 62F1905445");
  put(11, 0x6A1, "A5300000 CCCCCCCC");
  put(12, 0x6B1, "A521 303030303030");
  put(13, 0x6B1, "A522 303030303030");
  put(14, 0x6B1, "A523 303031 CCCCCC");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(messages[1].payload.size(), 20U);
  EXPECT_TRUE(messages[1].complete);
  EXPECT_TRUE(messages[0].mixed);
  EXPECT_TRUE(messages[1].mixed);
  EXPECT_EQ(messages[1].prefix, 0xA5);
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_TRUE(exchanges[0].mixed);
}

TEST_F(Witnessed, MixedAddressingOf29BitIsKnownByItsIdentifiers) {
  put(0, 0x18CE10F1, "A503 22F190 CCCCCC");
  put(5, 0x18CEF110, "A503 7F2231 CCCCCC");
  put(10, 0x18CD33F1, "A502 3E00 CCCCCCCC");
  put(15, 0x18CEF110, "A502 7E00 CCCCCCCC");
  put(16, 0x18CEF158, "A502 7E00 CCCCCCCC");
  put(17, 0x18CEF958, "A502 7E00 CCCCCCCC");  // goes to another tester
  put(2000, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 3U);
  expectEnded(0, Ended::negative);
  EXPECT_TRUE(exchanges[0].mixed);
  EXPECT_TRUE(exchanges[1].functional);
  EXPECT_EQ(exchanges[2].answer_id, 0x18CEF158U);
}

TEST_F(Witnessed, FixedFunctionalAnswersGoToTheTesterThatAsked) {
  put(0, 0x18DB33F1, "020100 CCCCCCCCCC");
  put(1, 0x18DB33F9, "020100 CCCCCCCCCC");
  put(5, 0x18DAF910, "064100 BE3FA813CC");
  put(6, 0x18DAF110, "064100 BE3FA813CC");
  put(2000, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 2U);
  EXPECT_EQ(exchanges[0].request_id, 0x18DB33F9U);
  EXPECT_EQ(exchanges[0].answer_id, 0x18DAF910U);
  EXPECT_EQ(exchanges[1].request_id, 0x18DB33F1U);
}

TEST_F(Witnessed, RequestThatASecondNodeAnswersIsFunctional) {
  for (const double t : {0.0, 2000.0}) {
    put(t, 0x6F1, "DF03 22F190 CCCCCC");
    put(t + 10, 0x612, "F104 62F19041 CCCC");
    put(t + 12, 0x640, "F104 62F19042 CCCC");
    put(t + 14, 0x660, "F103 7F2231 CCCCCC");
  }
  put(4000, 0x123, "FF");
  ASSERT_EQ(exchanges.size(), 6U);
  EXPECT_FALSE(exchanges[0].functional) << "not to be known yet";
  for (std::size_t i = 1; i < 6; ++i) EXPECT_TRUE(exchanges[i].functional) << i;
  EXPECT_EQ(exchanges[4].answer_id, 0x640U);
  EXPECT_EQ(exchanges[5].answer_id, 0x660U);
}

TEST_F(Witnessed, FdFramesWithAPrefix) {
  put(0, 0x6F1, "1203 22F190 CCCCCC", false, true);
  Bytes ff(64, 0x41);
  ff[0] = 0xF1, ff[1] = 0x10, ff[2] = 130, ff[3] = 0x62, ff[4] = 0xF1, ff[5] = 0x90;
  witness.frame(ms(1), CanFrame::make(0x612, false, ff, true), false);
  put(2, 0x6F1, "12300000 CCCCCCCC", false, true);
  Bytes cf(64, 0x42);
  cf[0] = 0xF1, cf[1] = 0x21;
  witness.frame(ms(3), CanFrame::make(0x612, false, cf, true), false);
  Bytes last(12, 0x43);  // 7 bytes are left, and padding
  last[0] = 0xF1, last[1] = 0x22;
  witness.frame(ms(4), CanFrame::make(0x612, false, last, true), false);
  Bytes single(24, 0x44);
  single[0] = 0x12, single[1] = 0, single[2] = 21, single[3] = 0x2E;
  witness.frame(ms(5), CanFrame::make(0x6F1, false, single, true), false);
  ASSERT_EQ(messages.size(), 3U);
  ASSERT_EQ(messages[1].payload.size(), 130U);
  EXPECT_EQ(messages[1].payload[60], 0x41);
  EXPECT_EQ(messages[1].payload[61], 0x42);
  EXPECT_EQ(messages[1].payload[122], 0x42);
  EXPECT_EQ(messages[1].payload[123], 0x43);
  EXPECT_EQ(messages[2].payload.size(), 21U);
}

TEST_F(Witnessed, LengthOf32Bits) {
  put(0, 0x7E0, "1000 00001388 3601");  // 5000 bytes
  put(1, 0x7E8, "300000CCCCCCCCCC");
  std::uint8_t sn = 1;
  for (int got = 2; got < 5000; got += 7, sn = (sn + 1) & 0x0F) {
    Bytes cf(8, 0x55);
    cf[0] = static_cast<std::uint8_t>(0x20 | sn);
    witness.frame(ms(2), CanFrame::make(0x7E0, false, cf), false);
  }
  ASSERT_EQ(messages.size(), 1U);
  EXPECT_TRUE(messages[0].complete);
  EXPECT_EQ(messages[0].payload.size(), 5000U);
}

// ---- several that could be meant

TEST_F(Witnessed, TwoThatAskedTheSameTeachNothing) {
  put(0, 0x701, "0322F190CCCCCCCC");
  put(1, 0x702, "0322F190CCCCCCCC");
  put(10, 0x70A, "0462F19041CCCCCC");
  EXPECT_TRUE(messages.empty());
  put(100, 0x701, "0322F187CCCCCCCC");
  put(110, 0x709, "0462F18741CCCCCC");
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].request_id, 0x701U);
}

TEST_F(Witnessed, FlowControlTellsWhoOfTwoHadAsked) {
  put(0, 0x701, "0322F190CCCCCCCC");
  put(1, 0x702, "0322F190CCCCCCCC");
  put(10, 0x70A, "1014 62F190545445");
  put(11, 0x702, "300000CCCCCCCCCC");
  put(12, 0x70A, "2130303030303030");
  put(13, 0x70A, "2230303030303031");
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].request_id, 0x702U);
  EXPECT_EQ(exchanges[0].answer_id, 0x70AU);
}

TEST_F(Witnessed, LoneFlowControlAndLoneRequestAreNobodysPartner) {
  for (int i = 0; i < 20; ++i) {
    put(i * 100, 0x440, "3000000000000000");
    put(i * 100 + 1, 0x430, "0322F19000000000");
  }
  put(2000, 0x701, "0322F190CCCCCCCC");
  put(2010, 0x709, "1014 62F190545445");
  put(2011, 0x440, "3000000000000000");
  put(2012, 0x701, "300000CCCCCCCCCC");
  put(2013, 0x709, "2130303030303030");
  put(2014, 0x709, "2230303030303031");
  put(2020, 0x721, "0462F19041CCCCCC");  // its own request was missed
  ASSERT_EQ(messages.size(), 2U);
  ASSERT_EQ(exchanges.size(), 1U);
  EXPECT_EQ(exchanges[0].request_id, 0x701U);
}

// ---- flow control and lost frames

TEST_F(Witnessed, TimesOfAnAnswerInBlocksWithWaiting) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(40, 0x7E8, "037F2278CCCCCCCC");
  put(4000, 0x7E8, "037F2278CCCCCCCC");
  put(5000, 0x7E8, "1022 62F190545445");
  put(5003, 0x7E0, "310000CCCCCCCCCC");  // wait
  put(5900, 0x7E0, "310000CCCCCCCCCC");
  put(6800, 0x7E0, "30020ACCCCCCCCCC");  // two frames, 10 ms apart
  put(6810, 0x7E8, "2130303030303030");
  put(6822, 0x7E8, "2230303030303030");
  put(6830, 0x7E0, "30020ACCCCCCCCCC");
  put(6831, 0x7E8, "2330303030303030");
  put(6840, 0x7E8, "2430303030303030");
  ASSERT_EQ(exchanges.size(), 1U);
  const auto& x = exchanges[0];
  EXPECT_EQ(x.ended, Ended::answered);
  EXPECT_DOUBLE_EQ(x.response_ms, 40);
  EXPECT_EQ(x.pending_ms, (std::vector<double>{40, 4000}));
  EXPECT_DOUBLE_EQ(x.answer_ms, 5000);
  EXPECT_DOUBLE_EQ(x.flow_ms, 1800);
  EXPECT_EQ(x.waits, 2);
  EXPECT_DOUBLE_EQ(x.st_min_ms, 10);
  EXPECT_DOUBLE_EQ(x.separation_min_ms, 9);
  EXPECT_DOUBLE_EQ(x.separation_max_ms, 12) << "not over a flow control";
  EXPECT_DOUBLE_EQ(x.complete_ms, 6840);
}

TEST_F(Witnessed, BlockThatIsNotFollowedByFlowControlBreaksOff) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "1022 62F190545445");
  put(11, 0x7E0, "300100CCCCCCCCCC");
  put(12, 0x7E8, "2130303030303030");
  put(1013, 0x123, "FF");  // the receiver has restarted and knows nothing of it
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_EQ(messages[1].reason, toText(Failure::timeout_bs));
  EXPECT_EQ(messages[1].payload.size(), 13U);
  expectEnded(0, Ended::incomplete);
}

TEST_F(Witnessed, ReservedFlowStatusEndsTheMessage) {
  put(0, 0x7E0, "1014 2EF190545453");
  put(1, 0x7E8, "350000CCCCCCCCCC");
  ASSERT_EQ(messages.size(), 1U);
  EXPECT_EQ(messages[0].reason, toText(Failure::invalid_fs));
}

TEST_F(Witnessed, MissingFlowControlHarmsNothing) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "1014 62F190545445");
  put(12, 0x7E8, "2130303030303030");
  put(13, 0x7E8, "2230303030303031");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
  EXPECT_DOUBLE_EQ(exchanges[0].flow_ms, -1);
  EXPECT_DOUBLE_EQ(exchanges[0].st_min_ms, -1);
}

TEST_F(Witnessed, FlowControlOfASecondTesterHarmsNothing) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "1014 62F190545445");
  put(11, 0x7E0, "300000CCCCCCCCCC");
  put(11.5, 0x7E0, "30000ACCCCCCCCCC");
  put(12, 0x7E8, "2130303030303030");
  put(12.5, 0x7E0, "300000CCCCCCCCCC");
  put(13, 0x7E8, "2230303030303031");
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
}

TEST_F(Witnessed, EndOfOneAndBeginningOfAnotherMessageDoNotJoin) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "100A 62F190414141");
  put(11, 0x7E0, "300000CCCCCCCCCC");
  // missed: its consecutive frame
  put(20, 0x7E0, "0322F191CCCCCCCC");
  // missed: the next first frame
  put(31, 0x7E0, "300000CCCCCCCCCC");
  put(32, 0x7E8, "2142424242CCCCCC");
  for (const auto& m : messages) EXPECT_TRUE(m.payload.size() == 3 || !m.complete) << toHex(m.payload);
  ASSERT_EQ(messages.size(), 3U);
  EXPECT_EQ(payload(2), "62f190414141");
}

TEST_F(Witnessed, ConsecutiveFrameOfTheWrongSizeBreaksOff) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "1014 62F190545445");
  put(11, 0x7E0, "300000CCCCCCCCCC");
  put(12, 0x7E8, "21303030");
  put(13, 0x7E8, "2230303030303031");
  ASSERT_EQ(messages.size(), 2U);
  EXPECT_FALSE(messages[1].complete);
  EXPECT_EQ(payload(1), "62f190545445");
}

TEST_F(Witnessed, ModuleThatRestartsBeginsANewAnswer) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(10, 0x7E8, "1014 62F190545445");
  put(11, 0x7E0, "300000CCCCCCCCCC");
  put(12, 0x7E8, "2130303030303030");
  put(400, 0x7E0, "0322F190CCCCCCCC");
  put(410, 0x7E8, "1014 62F190545445");
  put(411, 0x7E0, "300000CCCCCCCCCC");
  put(412, 0x7E8, "2130303030303030");
  put(413, 0x7E8, "2230303030303031");
  ASSERT_EQ(messages.size(), 4U);
  EXPECT_FALSE(messages[2].complete);
  EXPECT_TRUE(messages[3].complete);
  ASSERT_EQ(exchanges.size(), 2U);
  expectEnded(0, Ended::incomplete);
  expectEnded(1, Ended::answered);
}

TEST_F(Witnessed, AskingAnewDoesNotEndAnAnswerUnderWay) {
  put(0, 0x7DF, "020902CCCCCCCCCC");
  put(10, 0x7E8, "1014490201414141");
  put(12, 0x7E0, "300000CCCCCCCCCC");
  put(13, 0x7DF, "020100CCCCCCCCCC");
  put(14, 0x7E8, "2141414141414141");
  put(15, 0x7E8, "2241414141414141");
  put(20, 0x7E8, "064100BE3FA813CC");
  ASSERT_EQ(exchanges.size(), 2U);
  expectEnded(0, Ended::answered);
  EXPECT_EQ(exchanges[0].answer.size(), 20U);
  expectEnded(1, Ended::answered);
}

TEST_F(Witnessed, SuppressedRequestThatIsRefusedIsAnExchange) {
  put(0, 0x7E0, "0322F190CCCCCCCC");
  put(5, 0x7E0, "021083CCCCCCCCCC");  // diagnosticSessionControl, no positive answer wanted
  put(10, 0x7E8, "037F1022CCCCCCCC");
  put(20, 0x7E8, "0462F19041CCCCCC");
  ASSERT_EQ(exchanges.size(), 2U);
  expectEnded(0, Ended::negative);
  EXPECT_EQ(toHex(exchanges[0].request), "1083");
  expectEnded(1, Ended::answered);
}

// ISO 14229-1, ReadDataByPeriodicIdentifier (2A): the data come unasked, their first byte is the periodic
// identifier.
TEST_F(Witnessed, PeriodicDataAreNoRequests) {
  put(0, 0x7E0, "032A0101CCCCCCCC");
  put(5, 0x7E8, "016ACCCCCCCCCCCC");
  for (int i = 1; i < 20; ++i) put(i * 100, 0x7E8, "0501AABBCCDDCCCC");
  put(5000, 0x123, "FF");
  EXPECT_EQ(messages.size(), 21U);
  ASSERT_EQ(exchanges.size(), 1U);
  expectEnded(0, Ended::answered);
}

// ---- what is not ISO-TP

/// SAE J1939-21: TP.CM on 18ECxxxx (RTS 10, CTS 11, end 13, BAM 20), TP.DT on 18EBxxxx; the size is chosen so
/// that RTS reads as a first frame of service 01.
TEST_F(Witnessed, TransportOfHeavyVehiclesIsNotTakenForIsoTp) {
  for (int round = 0; round < 20; ++round) {
    const double t = round * 300;
    put(t, 0x18EC1020, "10F90125FFCAFE00");  // 505 bytes in 37 packets
    put(t + 1, 0x18EC2010, "112501FFFFCAFE00");
    for (int i = 1; i <= 37; ++i) {
      Bytes dt(8, 0xFF);
      dt[0] = static_cast<std::uint8_t>(i);
      if (i == 1) dt[1] = 0x3E, dt[2] = 0x00;
      witness.frame(ms(t + 1 + i), CanFrame::make(0x18EB1020, true, dt), false);
    }
    put(t + 50, 0x18EC2010, "13F90125FFCAFE00");
    put(t + 60, 0x18ECFF30, "20160004FFCAFE00");
    for (int i = 1; i <= 4; ++i) {
      Bytes dt(8, 0x31);
      dt[0] = static_cast<std::uint8_t>(i);
      witness.frame(ms(t + 60 + i * 50), CanFrame::make(0x18EBFF30, true, dt), false);
    }
  }
  witness.finish();
  EXPECT_TRUE(messages.empty());
}

/// Invented: length and parts as in ISO-TP, but nobody gives flow control; read with a prefix or without.
TEST_F(Witnessed, SegmentsThatNobodyControlsAreNotTakenForIsoTp) {
  for (int round = 0; round < 50; ++round) {
    const double t = round * 100;
    put(t, 0x3A0, "1014 62F190414141");
    put(t + 1, 0x3A0, "2141414141414141");
    put(t + 2, 0x3A0, "2241414141414141");
    put(t + 3, 0x3A8, "0101010101010101");
    put(t + 10, 0x3B0, "0510 1462F1904141");
    put(t + 11, 0x3B0, "0521 414141414141");
    put(t + 12, 0x3B0, "0522 414141414141");
  }
  witness.finish();
  EXPECT_TRUE(messages.empty());
}

/// The flow control was meant for somebody else, twice within a long time.
TEST_F(Witnessed, FlowControlByChanceProvesNothingTheFirstTime) {
  put(0, 0x3A0, "1014 2EF190414141");
  put(0.5, 0x6A1, "300000CCCCCCCCCC");
  put(1, 0x3A0, "2141414141414141");
  put(2, 0x3A0, "2241414141414141");
  put(50, 0x6B1, "0462F19041CCCCCC");
  witness.finish();
  EXPECT_TRUE(messages.empty());
}

/// Data without any PCI beside a conversation (UUDT: an identifier of its own for periodic data).
TEST_F(Witnessed, UnacknowledgedDataAreNotTakenForIsoTp) {
  put(0, 0x241, "0322F190CCCCCCCC");
  put(10, 0x641, "0462F19041CCCCCC");
  for (int i = 0; i < 50; ++i) {
    Bytes data(8, static_cast<std::uint8_t>(i));
    data[0] = static_cast<std::uint8_t>(1 + i % 3);
    witness.frame(ms(20 + i * 10), CanFrame::make(0x541, false, data), false);
  }
  witness.finish();
  EXPECT_EQ(messages.size(), 2U);
}

}  // namespace
}  // namespace pin16::protocol
