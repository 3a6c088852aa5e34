// SPDX-License-Identifier: Apache-2.0
// Times worked by hand from P2 server 50 ms, P2* server 5000 ms (ISO 14229-2), N_Cr 1000 ms (ISO 15765-2),
// and our own wait of 1000 ms and margin of 1000 ms.
#include "core/protocol/asker.hpp"

#include <gtest/gtest.h>

#include <algorithm>

#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

using event::Ended;

const char* const kVin1 = "10 14 62 F1 90 31 47 34";
const char* const kVin2 = "21 41 48 35 39 48 34 35";
const char* const kVin3 = "22 47 31 31 38 33 34 31";

const event::Exchange& only(const World& w) {
  EXPECT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results.at(0).exchanges.size(), 1U);
  EXPECT_EQ(w.exchanges.size(), 1U);
  return w.results.at(0).exchanges.at(0);
}

TEST(Asker, PhysicalSingleFrameAnswer) {
  World w;  // now 1000 ms
  w.ask(physical(0x7E0), "22 F1 86");
  w.inboundAt(ms(1012.5), on(0x7E8, "04 62 F1 86 01 CC CC CC"));
  const auto& e = only(w);
  EXPECT_EQ(e.ended, Ended::answered);
  EXPECT_EQ(toHex(e.answer), "62f18601");
  EXPECT_EQ(e.answer_id, 0x7E8U);
  EXPECT_DOUBLE_EQ(e.response_ms, 12.5);
  EXPECT_DOUBLE_EQ(e.complete_ms, 12.5);
  EXPECT_FALSE(e.late);
  EXPECT_TRUE(e.ours);
  EXPECT_EQ(e.request_ns, ms(1000));
  EXPECT_TRUE(w.results[0].confirmed);
  EXPECT_EQ(w.asker.nextDeadline(), kNoTime);
}
TEST(Asker, MultiFrameAnswerGetsFlowControlAndIsWhole) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  ASSERT_EQ(w.far.size(), 2U);
  EXPECT_EQ(w.far[1], on(0x7E0, "30 00 00 CC CC CC CC CC"));
  w.inboundAt(ms(1021), on(0x7E8, kVin2));
  w.inboundAt(ms(1023), on(0x7E8, kVin3));
  const auto& e = only(w);
  EXPECT_EQ(e.ended, Ended::answered);
  EXPECT_EQ(e.answer.size(), 20U);
  EXPECT_DOUBLE_EQ(e.response_ms, 20);
  EXPECT_DOUBLE_EQ(e.complete_ms, 23);
  ASSERT_EQ(w.messages.size(), 1U);
  EXPECT_TRUE(w.messages[0].complete);
  EXPECT_EQ(w.messages[0].payload, e.answer);
  EXPECT_EQ(w.messages[0].first_ns, ms(1020));
}
TEST(Asker, TimesRunFromTheConfirmedFrame) {
  World w;
  w.confirms = false;
  w.ask(physical(0x7E0), "22 F1 86");
  w.until(ms(1030));  // it took 30 ms to win the bus
  w.outbound(w.far[0]);
  w.inboundAt(ms(1070), on(0x7E8, "04 62 F1 86 01"));
  EXPECT_DOUBLE_EQ(only(w).response_ms, 40);
  EXPECT_FALSE(only(w).late);
}
TEST(Asker, WithoutConfirmationTimesRunFromSending) {
  World w;
  w.confirms = false;
  w.ask(physical(0x7E0), "22 F1 86");
  w.inboundAt(ms(1040), on(0x7E8, "04 62 F1 86 01"));
  EXPECT_DOUBLE_EQ(only(w).response_ms, 40);
  EXPECT_FALSE(w.results[0].confirmed);
}
TEST(Asker, AnAdapterThatOnlyTakesFramesProvesNoAcknowledge) {
  World w;
  event::LinkState up;
  up.condition = event::LinkCondition::up;
  up.bitrate = 500000;
  up.own_frames = event::OwnFrames::taken;
  w.state(up);
  w.inbound(on(0x123, "00"));
  w.confirms = false;
  w.ask(physical(0x7E0), "22 F1 86");
  w.until(ms(1030));
  w.outbound(w.far[0]);
  w.until(ms(3000));
  EXPECT_EQ(only(w).ended, event::Ended::silent);
  EXPECT_FALSE(only(w).confirmed);
  EXPECT_FALSE(w.results[0].confirmed);
  EXPECT_EQ(only(w).request_ns, ms(1030)) << "its times run from there all the same";

  w.exchanges.clear();
  w.results.clear();
  w.ask(physical(0x7E0), "22 F1 86");
  w.until(ms(3030));
  w.outbound(w.far[1]);
  w.inboundAt(ms(3050), on(0x7E8, "04 62 F1 86 01"));
  EXPECT_DOUBLE_EQ(only(w).response_ms, 20);
  EXPECT_TRUE(only(w).confirmed) << "who answers has received it";
  EXPECT_TRUE(w.results[0].confirmed);
}
TEST(Asker, ARequestThatFollowedAReadingOfTheMeterIsMarked) {
  World w;
  event::Sent sent;
  w.on_send = [&](const event::CanFrame& f) {
    event::Batch::writeFrame(sent.frame, f);
    w.asker.onSent(0, sent);
  };
  sent.after_poll_ms = 12.5;
  w.ask(physical(0x7E0), "22 F1 86");
  w.inboundAt(ms(1010), on(0x7E8, "04 62 F1 86 01"));
  sent.after_poll_ms = -1;
  w.ask(physical(0x7E0), "22 F1 86");
  w.until(ms(3000));
  ASSERT_EQ(w.exchanges.size(), 2U);
  EXPECT_EQ(w.exchanges[0].after_poll_ms, 12.5);
  EXPECT_EQ(w.exchanges[1].ended, event::Ended::silent);
  EXPECT_EQ(w.exchanges[1].after_poll_ms, -1);
  sent.frame = {0, 0, 7, 0xE1};  // not this request
  sent.after_poll_ms = 1;
  w.on_send = [&](const event::CanFrame&) { w.asker.onSent(0, sent); };
  w.ask(physical(0x7E0), "22 F1 86");
  w.until(ms(5000));
  EXPECT_EQ(w.exchanges[2].after_poll_ms, -1);
}
TEST(Asker, TellsTheLinkWhenAnExchangeIsOver) {
  World w;
  w.ask(physical(0x7E0), "22 F1 86");
  EXPECT_TRUE(w.over.empty());
  w.inboundAt(ms(1010), on(0x7E8, "04 62 F1 86 01"));
  EXPECT_EQ(w.over, std::vector<std::uint16_t>{0});
  w.link_fails = true;
  w.ask(physical(0x7E0), "22 F1 86");
  EXPECT_EQ(w.over.size(), 2U) << "nothing was sent";
}
TEST(Asker, ExactlyP2IsInTimeOneMicrosecondMoreIsLate) {
  for (const bool late : {false, true}) {
    World w;
    w.ask(physical(0x7E0), "22 F1 86");
    w.inboundAt(ms(1050) + (late ? 1000 : 0), on(0x7E8, "04 62 F1 86 01"));
    EXPECT_EQ(only(w).ended, Ended::answered);
    EXPECT_EQ(only(w).late, late);
  }
}
TEST(Asker, SlowerThanP2ButWithinOurWaitIsSeenAndLate) {
  World w;
  w.ask(physical(0x7E0), "22 F1 86");
  w.inboundAt(ms(1999), on(0x7E8, "04 62 F1 86 01"));
  EXPECT_TRUE(only(w).late);
  EXPECT_DOUBLE_EQ(only(w).response_ms, 999);
}
TEST(Asker, SilentAfterTheWait) {
  World w;
  w.ask(physical(0x7E0), "22 F1 86");
  EXPECT_EQ(w.asker.nextDeadline(), ms(2000));
  w.until(ms(2000) - 1);
  EXPECT_TRUE(w.results.empty());
  w.until(ms(2000));
  EXPECT_EQ(only(w).ended, Ended::silent);
  EXPECT_EQ(only(w).answer_id, 0x7E8U);  // where it was expected
  EXPECT_LT(only(w).response_ms, 0);
  w.inboundAt(ms(2001), on(0x7E8, "04 62 F1 86 01"));  // too late: belongs to nothing
  EXPECT_EQ(w.results.size(), 1U);
}
TEST(Asker, RequestThatIsOverIsClosedAtTheGate) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.until(ms(2000));
  EXPECT_EQ(only(w).ended, Ended::silent);
  w.inboundAt(ms(2001), on(0x7E8, kVin1));
  EXPECT_EQ(w.far.size(), 1U);
  EXPECT_FALSE(w.gate.flowControl(0, w.now, {0x7E0, 0x7E8, false, false}, FlowControl{}));
}
TEST(Asker, OwnWaitIsKept) {
  World w;
  Ask a;
  a.target = physical(0x650);
  a.request = hex("22 F1 90");
  a.wait_ns = ms(250);
  w.ask(a);
  w.until(ms(1250));
  EXPECT_EQ(only(w).ended, Ended::silent);
  EXPECT_EQ(only(w).answer_id, 0U);
}
TEST(Asker, Negative) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1005), on(0x7E8, "03 7F 22 31"));
  EXPECT_EQ(only(w).ended, Ended::negative);
  EXPECT_EQ(toHex(only(w).answer), "7f2231");
}
TEST(Asker, PendingTwiceThenAnswered) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1040), on(0x7E8, "03 7F 22 78"));
  EXPECT_EQ(w.asker.nextDeadline(), ms(1040 + 5000 + 1000));
  w.inboundAt(ms(5000), on(0x7E8, "03 7F 22 78"));
  w.inboundAt(ms(9999), on(0x7E8, kVin1));  // 4999 ms after the last "pending"
  w.inboundAt(ms(10000), on(0x7E8, kVin2));
  w.inboundAt(ms(10001), on(0x7E8, kVin3));
  const auto& e = only(w);
  EXPECT_EQ(e.ended, Ended::answered);
  EXPECT_EQ(e.pending, 2);
  EXPECT_FALSE(e.late);
  EXPECT_DOUBLE_EQ(e.response_ms, 40);
  EXPECT_DOUBLE_EQ(e.complete_ms, 9001);
  EXPECT_EQ(w.messages.size(), 3U);
}
TEST(Asker, AfterPendingLaterThanP2StarIsLate) {
  World w;
  w.ask(physical(0x7E0), "22 F1 86");
  w.inboundAt(ms(1040), on(0x7E8, "03 7F 22 78"));
  w.inboundAt(ms(6041), on(0x7E8, "04 62 F1 86 01"));
  EXPECT_EQ(only(w).ended, Ended::answered);
  EXPECT_TRUE(only(w).late);
}
TEST(Asker, PendingThenNothingIsSilentWithItsCount) {
  World w;
  w.ask(physical(0x7E0), "22 F1 86");
  w.inboundAt(ms(1040), on(0x7E8, "03 7F 22 78"));
  w.until(ms(7040) - 1);
  EXPECT_TRUE(w.results.empty());
  w.until(ms(7040));
  EXPECT_EQ(only(w).ended, Ended::silent);
  EXPECT_EQ(only(w).pending, 1);
}
TEST(Asker, IncompleteOnNCr) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.inboundAt(ms(1030), on(0x7E8, kVin2));
  w.until(ms(2030) - 1);
  EXPECT_TRUE(w.results.empty());
  w.until(ms(2030));
  EXPECT_EQ(only(w).ended, Ended::incomplete);
  EXPECT_TRUE(only(w).answer.empty());
  ASSERT_EQ(w.messages.size(), 1U);
  EXPECT_FALSE(w.messages[0].complete);
  EXPECT_EQ(w.messages[0].payload.size(), 13U);
  EXPECT_NE(w.messages[0].reason.find("N_Cr"), std::string::npos);
}
TEST(Asker, IncompleteOnWrongSequenceNumber) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.inboundAt(ms(1021), on(0x7E8, kVin3));
  EXPECT_EQ(only(w).ended, Ended::incomplete);
}
TEST(Asker, IncompleteWhenTheModuleTurnsToSomethingElse) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.inboundAt(ms(1021), on(0x7E8, "03 7F 3E 11"));
  EXPECT_EQ(only(w).ended, Ended::incomplete);
}
TEST(Asker, AnswerThatBeginsAnewIsTaken) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.inboundAt(ms(1100), on(0x7E8, kVin1));
  w.inboundAt(ms(1101), on(0x7E8, kVin2));
  w.inboundAt(ms(1102), on(0x7E8, kVin3));
  EXPECT_EQ(only(w).ended, Ended::answered);
  ASSERT_EQ(w.messages.size(), 2U);
  EXPECT_FALSE(w.messages[0].complete);
  EXPECT_EQ(w.far.size(), 3U);  // request, two flow controls
}
TEST(Asker, TooLongAnswerIsAnsweredOverflow) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020),
              on(0x7E8, "10 00 00 00 10 00 62 F1"));  // 4096 bytes; two bytes do not prove it is ours
  EXPECT_EQ(w.far.size(), 1U);
  w.until(ms(2000));
  EXPECT_EQ(only(w).ended, Ended::silent);
  World v;
  v.ask(functionalTarget(), "03");
  v.inboundAt(ms(1020), on(0x7E8, "10 00 00 00 10 00 43 F1"));
  ASSERT_EQ(v.far.size(), 2U);
  EXPECT_EQ(v.far[1], on(0x7E0, "32 00 00 CC CC CC CC CC"));
  v.until(ms(2000));
  EXPECT_EQ(only(v).ended, Ended::incomplete);
}
TEST(Asker, OthersTrafficIsNotOurAnswer) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1001), on(0x7E9, "04 62 F1 90 31"));  // another module
  w.inboundAt(ms(1002), on(0x7E8, "04 62 F1 8C 31"));  // another identifier
  w.inboundAt(ms(1003), on(0x7E8, "03 7F 19 11"));     // another service
  w.inboundAt(ms(1004), on(0x7E8, "21 31 31 31 31 31 31 31"));
  w.inboundAt(ms(1005), on(0x7E8, "04 62 F1 90 31", true));  // 29 bit
  EXPECT_TRUE(w.results.empty());
  w.until(ms(2000));
  EXPECT_EQ(only(w).ended, Ended::silent);
}
TEST(Asker, AnswerIdentifierIsLearnedByTheAnswerItself) {
  World w;
  w.ask(physical(0x6A1), "22 F1 90");
  w.inboundAt(ms(1003), on(0x123, "04 62 F1 8C 31"));
  w.inboundAt(ms(1010), on(0x6B9, kVin1));
  ASSERT_EQ(w.far.size(), 2U);
  EXPECT_EQ(w.far[1].id(), 0x6A1U);
  w.inboundAt(ms(1011), on(0x700, "04 62 F1 90 31"));  // the first one counts
  w.inboundAt(ms(1012), on(0x6B9, kVin2));
  w.inboundAt(ms(1013), on(0x6B9, kVin3));
  EXPECT_EQ(only(w).answer_id, 0x6B9U);
  EXPECT_EQ(only(w).ended, Ended::answered);
}
TEST(Asker, GivenAnswerIdentifierIsTheOnlyOne) {
  World w;
  w.ask({0x6A1, 0x6B9, false, false}, "22 F1 86");
  w.inboundAt(ms(1003), on(0x700, "04 62 F1 86 01"));
  EXPECT_TRUE(w.results.empty());
  w.inboundAt(ms(1004), on(0x6B9, "04 62 F1 86 01"));
  EXPECT_EQ(only(w).ended, Ended::answered);
}
TEST(Asker, TwentyNineBitAnswer) {
  World w;
  w.ask(physical(0x18DA58F1, true), "22 F1 90");
  w.inboundAt(ms(1003), on(0x18DAF158, kVin1, true));
  ASSERT_EQ(w.far.size(), 2U);
  EXPECT_EQ(w.far[1], on(0x18DA58F1, "30 00 00 CC CC CC CC CC", true));
}
TEST(Asker, FunctionalCollectsSeveralModulesUntilTheWaitIsOver) {
  World w;
  w.ask(functionalTarget(), "09 02");
  w.inboundAt(ms(1010), on(0x7E8, "10 14 49 02 01 31 47 34"));
  w.inboundAt(ms(1011), on(0x7EA, "10 14 49 02 01 31 47 34"));
  ASSERT_EQ(w.far.size(), 3U);
  EXPECT_EQ(w.far[1].id(), 0x7E0U);
  EXPECT_EQ(w.far[2].id(), 0x7E2U);
  for (const std::uint32_t id : {0x7E8U, 0x7EAU})
    for (const char* cf : {kVin2, kVin3}) w.inboundAt(w.now + ms(1), on(id, cf));
  w.inboundAt(ms(1060), on(0x7E9, "03 7F 09 11"));  // above P2
  w.inboundAt(ms(1061), on(0x123, "02 49 02"));     // no legislated responder
  EXPECT_TRUE(w.results.empty());
  w.until(ms(2000));
  ASSERT_EQ(w.results.size(), 1U);
  const auto& e = w.results[0].exchanges;
  ASSERT_EQ(e.size(), 3U);
  EXPECT_EQ(e[0].answer_id, 0x7E8U);
  EXPECT_EQ(e[0].ended, Ended::answered);
  EXPECT_DOUBLE_EQ(e[0].response_ms, 10);
  EXPECT_EQ(e[1].answer_id, 0x7E9U);
  EXPECT_EQ(e[1].ended, Ended::negative);
  EXPECT_TRUE(e[1].late);
  EXPECT_EQ(e[2].answer_id, 0x7EAU);
  EXPECT_DOUBLE_EQ(e[2].complete_ms, 15);
  EXPECT_TRUE(e[2].functional);
  EXPECT_EQ(w.exchanges.size(), 3U);
}
TEST(Asker, FunctionalWaitsForWhatIsUnderWay) {
  World w;
  w.ask(functionalTarget(), "01 00");
  w.inboundAt(ms(1010), on(0x7E8, "03 7F 01 78"));
  w.inboundAt(ms(1020), on(0x7E9, "06 41 00 BE 3F A8 13"));
  w.until(ms(3000));
  EXPECT_TRUE(w.results.empty());
  w.inboundAt(ms(3001), on(0x7E8, "06 41 00 BE 3F A8 13"));
  w.until(w.now);
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results[0].exchanges.size(), 2U);
  EXPECT_EQ(w.results[0].exchanges[0].pending, 1);
}
TEST(Asker, FunctionalSilenceIsOneSilentExchange) {
  World w;
  w.ask(functionalTarget(), "01 00");
  w.until(ms(2000));
  EXPECT_EQ(only(w).ended, Ended::silent);
  EXPECT_EQ(only(w).answer_id, 0U);
}
TEST(Asker, OneAtATimeOnALinkOthersQueue) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.ask(physical(0x7E1), "22 F1 91");
  EXPECT_EQ(w.far.size(), 1U);
  w.inboundAt(ms(1010), on(0x7E8, "03 7F 22 31"));
  ASSERT_EQ(w.far.size(), 2U);
  EXPECT_EQ(w.far[1].id(), 0x7E1U);
  Ask other;  // another link does not wait
  other.link = 1;
  other.target = functionalTarget();
  other.request = hex("01 00");
  w.inbound(on(0x123, "00"), 1);
  w.ask(other);
  EXPECT_EQ(w.far.size(), 3U);
}
TEST(Asker, SpacingIsKept) {
  World w;
  for (const std::uint32_t id : {0x650U, 0x651U}) {
    Ask a;
    a.target = physical(id);
    a.request = hex("22 F1 90");
    a.wait_ns = ms(10);
    a.spacing_ns = ms(60);
    w.ask(a);
  }
  w.until(ms(1060) - 1);
  EXPECT_EQ(w.far.size(), 1U);
  w.until(ms(1060));
  EXPECT_EQ(w.far.size(), 2U);
}
TEST(Asker, RefusalIsAnEventAndTheQueueGoesOn) {
  World w;
  w.ask(physical(0x7E0), "10 03");
  w.ask(physical(0x7E0), "22 F1 90");
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results[0].state.error().kind, ErrorKind::gate);
  ASSERT_EQ(w.refused.size(), 1U);
  EXPECT_EQ(w.refused[0].request, "1003");
  EXPECT_TRUE(w.exchanges.empty());
  ASSERT_EQ(w.far.size(), 1U);
}
TEST(Asker, LinkThatCannotSend) {
  World w;
  w.link_fails = true;
  w.ask(physical(0x7E0), "22 F1 90");
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_EQ(w.results[0].state.error().kind, ErrorKind::link);
  EXPECT_TRUE(w.exchanges.empty());
  w.link_fails = false;
  w.ask(physical(0x7E0), "22 F1 90");
  EXPECT_EQ(w.far.size(), 1U);
}
TEST(Asker, LinkLostEndsTheOpenOneAndTheWaiting) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.ask(physical(0x7E1), "22 F1 90");
  event::LinkState gone;
  gone.condition = event::LinkCondition::gone;
  gone.text = "unplugged";
  w.state(gone);
  ASSERT_EQ(w.results.size(), 2U);
  EXPECT_EQ(w.results[0].exchanges.at(0).ended, Ended::link_lost);
  EXPECT_EQ(w.results[1].state.error().kind, ErrorKind::link);
  EXPECT_EQ(w.exchanges.size(), 1U);
  EXPECT_EQ(w.asker.nextDeadline(), kNoTime);
}
TEST(Asker, ShutDuringAnAnswerMeansNoFlowControlAndIncomplete) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.gate.shut("hand-over");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  EXPECT_EQ(w.far.size(), 1U);
  EXPECT_EQ(only(w).ended, Ended::incomplete);
  EXPECT_EQ(w.refused.size(), 1U);
  ASSERT_EQ(w.messages.size(), 1U);
  EXPECT_NE(w.messages[0].reason.find("hand-over"), std::string::npos);
}
TEST(Asker, ModuleThatAnswersWithinSendAndAskerThatAsksWithinDone) {
  World w;
  w.on_send = [&](const event::CanFrame& f) {
    if (f.data[0] == 0x30) {
      w.inbound(on(0x7E8, kVin2));
      w.inbound(on(0x7E8, kVin3));
    } else {
      w.inbound(on(0x7E8, kVin1));
    }
  };
  int rounds = 0;
  std::function<void(const AskResult&)> again = [&](const AskResult& r) {
    ASSERT_TRUE(r.state);
    EXPECT_EQ(r.exchanges.at(0).answer.size(), 20U);
    if (++rounds == 5) return;
    Ask a;
    a.target = physical(0x7E0);
    a.request = hex("22 F1 90");
    w.asker.ask(a, w.now, again);
  };
  Ask a;
  a.target = physical(0x7E0);
  a.request = hex("22 F1 90");
  w.asker.ask(a, w.now, again);
  EXPECT_EQ(rounds, 5);
}

// ---- the times of an exchange

TEST(AskerTimes, HandedConfirmedFirstFlowSeparationsLast) {
  World w;
  w.confirms = false;
  w.ask(functionalTarget(), "09 0A");
  w.until(ms(1004));
  w.outbound(w.far[0]);
  w.inboundAt(ms(1024), on(0x7E8, "10 1B 49 0A 01 31 47 34"));
  ASSERT_EQ(w.far.size(), 2U);
  w.until(ms(1026));
  w.outbound(w.far[1]);
  w.inboundAt(ms(1030), on(0x7E8, kVin2));
  w.inboundAt(ms(1035), on(0x7E8, kVin3));
  w.inboundAt(ms(1037.5), on(0x7E8, "23 47 31 31 38 33 34 31"));
  w.until(ms(3000));
  const auto& e = only(w);
  EXPECT_TRUE(e.confirmed);
  EXPECT_EQ(e.handed_ns, ms(1000));
  EXPECT_EQ(e.request_ns, ms(1004));
  EXPECT_DOUBLE_EQ(e.response_ms, 20);
  EXPECT_DOUBLE_EQ(e.answer_ms, 20);
  EXPECT_DOUBLE_EQ(e.flow_ms, 2);
  EXPECT_DOUBLE_EQ(e.separation_min_ms, 2.5);
  EXPECT_DOUBLE_EQ(e.separation_max_ms, 5);
  EXPECT_DOUBLE_EQ(e.complete_ms, 33.5);
  EXPECT_TRUE(e.pending_ms.empty());
}
TEST(AskerTimes, EachPendingAndTheAnswerAfterThem) {
  World w;
  w.ask(physical(0x18DA10F1, true), "22 F1 90");
  for (const double at : {1040.0, 5000.0, 9000.0}) w.inboundAt(ms(at), on(0x18DAF110, "03 7F 22 78", true));
  w.inboundAt(ms(9500), on(0x18DAF110, kVin1, true));
  w.inboundAt(ms(9501), on(0x18DAF110, kVin2, true));
  w.inboundAt(ms(9502), on(0x18DAF110, kVin3, true));
  const auto& e = only(w);
  EXPECT_EQ(e.pending, 3);
  EXPECT_EQ(e.pending_ms, (std::vector<double>{40, 4000, 8000}));
  EXPECT_DOUBLE_EQ(e.response_ms, 40);
  EXPECT_DOUBLE_EQ(e.answer_ms, 8500);
  EXPECT_DOUBLE_EQ(e.complete_ms, 8502);
  EXPECT_DOUBLE_EQ(e.separation_max_ms, 1);
}
TEST(AskerTimes, PendingAloneIsNoAnswer) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1040), on(0x7E8, "03 7F 22 78"));
  w.until(ms(9000));
  EXPECT_EQ(only(w).pending_ms, std::vector<double>{40});
  EXPECT_LT(only(w).answer_ms, 0);
  EXPECT_LT(only(w).flow_ms, 0);
}
TEST(AskerTimes, ConfirmationThatComesAfterTheAnswerBeganStillCounts) {
  World w;
  w.confirms = false;
  w.ask(physical(0x7E0), "22 F1 90");
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.now = ms(1005);  // the report of the link comes late, its time is right
  w.outbound(w.far[0]);
  w.now = ms(1020);
  w.inboundAt(ms(1021), on(0x7E8, kVin2));
  w.inboundAt(ms(1022), on(0x7E8, kVin3));
  EXPECT_TRUE(only(w).confirmed);
  EXPECT_EQ(only(w).request_ns, ms(1005));
  EXPECT_DOUBLE_EQ(only(w).response_ms, 15);
  EXPECT_DOUBLE_EQ(only(w).complete_ms, 17);
}
TEST(AskerTimes, NArOfOurFlowControlEndsTheAnswer) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.confirms = false;  // the bus took the request, not the flow control
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.until(ms(2020) - 1);
  EXPECT_TRUE(w.results.empty());
  w.until(ms(2020));
  EXPECT_EQ(only(w).ended, Ended::incomplete);
  ASSERT_EQ(w.messages.size(), 1U);
  EXPECT_NE(w.messages[0].reason.find("N_Ar"), std::string::npos);
}
TEST(AskerTimes, NCrRunsFromTheConfirmedFlowControl) {
  World w;
  w.ask(physical(0x7E0), "22 F1 90");
  w.confirms = false;
  w.inboundAt(ms(1020), on(0x7E8, kVin1));
  w.until(ms(1500));
  w.outbound(w.far[1]);
  w.until(ms(2500) - 1);
  EXPECT_TRUE(w.results.empty());
  w.until(ms(2500));
  EXPECT_NE(w.messages.at(0).reason.find("N_Cr"), std::string::npos);
}

// ---- only what answers our own request is acknowledged

TEST(AskerFlowControl, NoneForWhatWasOnTheBusBeforeOurRequest) {
  World w;
  w.confirms = false;
  w.ask(physical(0x7E0), "22 F1 90");
  w.until(ms(1010));
  w.outbound(w.far[0]);
  w.now = ms(1009);
  w.inbound(on(0x7E8, kVin1));  // reported late: the answer to an earlier request of the same kind
  EXPECT_EQ(w.far.size(), 1U);
  w.now = ms(1011);
  w.inbound(on(0x7E8, kVin1));
  EXPECT_EQ(w.far.size(), 2U);
}
TEST(AskerFlowControl, NoneForOtherFirstFrames) {
  World w;
  w.inbound(on(0x7E8, kVin1));  // nothing was asked
  w.ask(physical(0x7E0), "22 F1 90");
  w.inbound(on(0x7E9, kVin1));                      // another module
  w.inbound(on(0x18DAF110, kVin1, true));           // another format
  w.inbound(on(0x7E8, "10 14 62 F1 91 31 47 34"));  // another identifier
  w.inbound(on(0x7E8, "10 14 59 02 FF 31 47 34"));  // another service
  w.inbound(on(0x7E8, "10 14 22 F1 90 31 47 34"));  // a request
  w.inbound(on(0x7E8, "F1 10 14 62 F1 90 31 47"));  // extended addressing
  w.inbound(on(0x7E8, "10 00 00 00 00 14 62 F1"));  // a wrong escape
  EXPECT_EQ(w.far.size(), 1U);
  w.inbound(on(0x7E8, kVin1));
  EXPECT_EQ(w.far.size(), 2U);
  w.inbound(on(0x7E8, "10 14 62 F1 91 31 47 34"));  // it turns to something else
  EXPECT_EQ(w.far.size(), 2U);
  EXPECT_EQ(only(w).ended, Ended::incomplete);
  w.inbound(on(0x7E8, kVin1));  // ours is over
  EXPECT_EQ(w.far.size(), 2U);
}
TEST(AskerFlowControl, NoneAfterTheAnswerOfAFunctionalRequestIsWhole) {
  World w;
  w.ask(functionalTarget(), "09 02");
  w.inbound(on(0x7E8, "10 14 49 02 01 31 47 34"));
  w.inbound(on(0x7E8, kVin2));
  w.inbound(on(0x7E8, kVin3));
  w.inbound(on(0x7E8, "10 14 49 02 01 31 47 34"));
  EXPECT_EQ(w.far.size(), 2U);
}

// ---- many answers to one functional request

TEST(AskerFunctional, EightAnswersInterleavedAtRandomOverManyRounds) {
  std::uint64_t state = 7;  // xorshift64
  const auto below = [&](std::size_t n) {
    state ^= state << 13, state ^= state >> 7, state ^= state << 17;
    return static_cast<std::size_t>(state % n);
  };
  for (int round = 0; round < 60; ++round) {
    const bool extended = round % 2 == 1;
    World w;
    struct Far {
      std::uint32_t request_id, answer_id;
      Bytes message;
      Sender sender;
      std::optional<event::CanFrame> next;
      bool begun = false;
    };
    std::vector<Far> modules;
    for (std::uint32_t i = 0; i < 8; ++i) {
      const std::uint32_t request_id = extended ? 0x18DA00F1 + ((0x10 + i) << 8) : 0x7E0 + i;
      const std::uint32_t answer_id = *answerIdOf(request_id, extended);
      Bytes message = hex("49 04 01");
      const std::size_t more = below(120);
      for (std::size_t k = 0; k < more; ++k) message.push_back(static_cast<std::uint8_t>(below(256)));
      const Pair pair = {answer_id, request_id, extended};
      modules.push_back({request_id, answer_id, message, Sender(pair), std::nullopt, false});
    }
    w.ask(functionalTarget(extended), "09 04");
    std::size_t heard = 1;  // of what we sent
    for (bool all = false; !all;) {
      w.now += ms(0.25);
      const auto hear = [&] {
        for (; heard < w.far.size(); ++heard)
          for (Far& m : modules)
            if (const auto o = m.sender.onFrame(w.now, w.far[heard]); o.send) m.next = o.send;
      };
      Far& m = modules[below(modules.size())];
      if (!m.begun) {
        m.begun = true;
        m.next = m.sender.start(w.now, m.message).send;
      }
      if (m.next) {
        const event::CanFrame f = *m.next;
        m.next.reset();
        w.inbound(f);
        m.next = m.sender.onConfirmed(w.now).send;
        hear();
      }
      all = std::all_of(modules.begin(), modules.end(),
                        [](const Far& x) { return x.begun && !x.sender.sending(); });
    }
    w.until(w.now + ms(2000));
    ASSERT_EQ(w.results.size(), 1U);
    const auto& exchanges = w.results[0].exchanges;
    ASSERT_EQ(exchanges.size(), 8U);
    std::size_t flows = 0;
    for (std::size_t i = 0; i < 8; ++i) {
      const auto& e = exchanges[i];
      EXPECT_EQ(e.answer_id, modules[i].answer_id);
      EXPECT_EQ(e.ended, Ended::answered);
      EXPECT_TRUE(e.functional && e.confirmed);
      EXPECT_TRUE(e.answer == modules[i].message) << round;
      EXPECT_GE(e.complete_ms, e.answer_ms);
      EXPECT_EQ(e.flow_ms >= 0, modules[i].message.size() > 7);
      flows += modules[i].message.size() > 7 ? 1 : 0;
    }
    EXPECT_EQ(w.far.size(), 1 + flows);
    EXPECT_EQ(w.exchanges.size(), 8U);
  }
}

}  // namespace
}  // namespace pin16::protocol
