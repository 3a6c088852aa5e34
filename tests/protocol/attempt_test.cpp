// SPDX-License-Identifier: Apache-2.0
/// One hand-written trace a rung, with its answer. Published sources beside each: negative response codes
/// from ISO 14229-1 Annex A as in names.cpp; times from ISO 14229-2 (P2* server 5 s, S3 5 s) and ISO 15765-2
/// (N_Bs, N_Cr 1 s) as in core/limits; what a lone sender does from the CAN specification's fault confinement
/// rules.

#include "core/protocol/attempt.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/can/error.h>

#include <string>

#include "core/protocol/witness.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;
using event::Known;
using event::Silence;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

/// A stream as the census feeds it, on one link.
struct Stage {
  limits::Limits limits;
  AttemptWatch watch{limits};
  Witness witness{limits, [this](Ns, const event::Message& m) { watch.message(0, m); },
                  [this](Ns, const event::Exchange& x) { watch.exchange(0, x); }};

  explicit Stage(Silence silence = Silence::proven, bool declared = true) {
    event::LinkState s;
    s.uri = "socketcan:can0";
    s.silence = silence;
    watch.state(0, 0, s);
    if (declared) begin(0);
  }
  void knowModule() {
    watch.hint(0x7A1, 0x7A9, false);
    witness.hint(0x7A1, 0x7A9, false);
  }
  void begin(double t_ms) {
    event::Attempt a;
    a.how = "operator";
    watch.declared(fromMs(t_ms), a);
  }
  void end(double t_ms) {
    event::Attempt a;
    a.begins = false;
    a.how = "operator";
    watch.declared(fromMs(t_ms), a);
  }
  void put(double t_ms, std::uint32_t id, const char* hex) {
    const CanFrame f = CanFrame::make(id, id > 0x7FF, *fromHex(hex));
    watch.frame(0, fromMs(t_ms), f, false);
    witness.frame(fromMs(t_ms), f, false);
  }
  /// As Linux gives it: class in the identifier, kind and place of the violation in bytes 2 and 3.
  void error(double t_ms, std::uint8_t place) {
    CanFrame f;
    f.word = event::kErrorFlag | CAN_ERR_PROT | CAN_ERR_BUSERROR;
    f.length = 8;
    f.data[2] = CAN_ERR_PROT_FORM;
    f.data[3] = place;
    watch.frame(0, fromMs(t_ms), f, false);
  }
  void volts(double t_ms, const char* point, double value) {
    event::Measurement m;
    m.point = point;
    m.unit = "V";
    m.value = value;
    watch.sample(fromMs(t_ms), m);
  }
  /// A request in one frame, then an answer of 20 bytes.
  void vin(double t_ms) {
    put(t_ms, 0x7E0, "0322F190CCCCCCCC");
    put(t_ms + 20, 0x7E8, "101462F190544553");
    put(t_ms + 21, 0x7E0, "300000CCCCCCCCCC");
    put(t_ms + 22, 0x7E8, "2130303030303030");
    put(t_ms + 23, 0x7E8, "2230303030303031");
  }
  AttemptReport only(double end_ms) {
    witness.finish(fromMs(end_ms));
    watch.finish(fromMs(end_ms));
    const auto all = watch.reports();
    EXPECT_EQ(all.size(), 1U);
    return all.empty() ? AttemptReport() : all.back();
  }
};

TEST(AttemptLadder, NoBitOnADeadBus) {
  Stage s;
  const AttemptReport r = s.only(8000);
  EXPECT_EQ(r.rung, Rung::no_bit);
  EXPECT_THAT(r.excludes, IsEmpty());  // nothing can be said of the bus
  EXPECT_EQ(r.progress_ns, kNoTime);
  EXPECT_EQ(r.acknowledged, Known::unknown);
}

TEST(AttemptLadder, NoBitAmongTheTrafficOfOthersClearsOurOwnConnection) {
  Stage s;
  for (int i = 0; i < 100; ++i) s.put(i * 10, 0x120, "8001FF0000000000");
  const AttemptReport r = s.only(8000);
  EXPECT_EQ(r.rung, Rung::no_bit);
  EXPECT_EQ(r.frames, 100U);
  EXPECT_THAT(r.excludes, Contains(HasSubstr("our own connection")));
}

TEST(AttemptLadder, ErrorsOnly) {
  Stage s;
  for (int i = 0; i < 40; ++i) s.error(i, CAN_ERR_PROT_LOC_DATA);
  const AttemptReport r = s.only(8000);
  EXPECT_EQ(r.rung, Rung::errors_only);
  EXPECT_EQ(r.error_frames, 40U);
  EXPECT_THAT(r.remains, Contains(HasSubstr("bit rate")));
}

TEST(AttemptLadder, AStrayErrorIsNotErrorsOnly) {
  Stage s;
  for (int i = 0; i < 200; ++i) s.put(i * 10, 0x120, "8001FF0000000000");
  s.error(1500, CAN_ERR_PROT_LOC_DATA);
  EXPECT_EQ(s.only(8000).rung, Rung::no_bit);
}

// CAN fault confinement: 16 tries with an error flag each, then error-passive, and for ever: TEC stays at
// 128.
TEST(AttemptLadder, UnacknowledgedByTheFrameThatComesAgainAtOnce) {
  Stage s(Silence::proven);
  for (int i = 0; i < 16; ++i) s.error(0.25 * i, CAN_ERR_PROT_LOC_ACK_DEL);
  for (int i = 0; i < 4000; ++i) s.put(4 + 0.25 * i, 0x7E0, "023E00CCCCCCCCCC");
  const AttemptReport r = s.only(8000);
  EXPECT_EQ(r.rung, Rung::unacknowledged);
  EXPECT_EQ(r.acknowledged, Known::no);
  EXPECT_EQ(r.requests, 1U);
  EXPECT_EQ(r.repeats, 3999U);
  EXPECT_THAT(r.excludes, Contains(HasSubstr("short")));
  EXPECT_THAT(r.cannot_know, IsEmpty());
}

TEST(AttemptLadder, UnacknowledgedByErrorsInItsPlaceAlone) {
  Stage s(Silence::proven);
  for (int i = 0; i < 64; ++i) s.error(0.25 * i, CAN_ERR_PROT_LOC_ACK);
  EXPECT_EQ(s.only(8000).rung, Rung::unacknowledged);
}

TEST(AttemptLadder, UnacknowledgedOnAnIdentifierThatNobodyKnows) {
  Stage s;
  for (int i = 0; i < 400; ++i) s.put(0.25 * i, 0x6F1, "1203220102CCCCCC");
  EXPECT_EQ(s.only(8000).rung, Rung::unacknowledged);
}

TEST(AttemptLadder, SilentSaysWhetherAnybodyElseAcknowledged) {
  for (const Silence silence : {Silence::proven, Silence::claimed, Silence::cannot}) {
    Stage s(silence);
    for (int i = 0; i < 3; ++i) s.put(i * 2000, 0x7E0, "021003CCCCCCCCCC");
    const AttemptReport r = s.only(9000);
    EXPECT_EQ(r.rung, Rung::silent);
    EXPECT_EQ(r.requests, 3U);
    EXPECT_EQ(r.silent, 3U);
    if (silence == Silence::cannot) {
      EXPECT_EQ(r.acknowledged, Known::unknown);
      EXPECT_THAT(r.cannot_know, Contains(HasSubstr("our own link acknowledges")));
    } else {
      EXPECT_EQ(r.acknowledged, Known::yes);
      EXPECT_THAT(r.evidence, Contains(HasSubstr("a node other than us acknowledged")));
      EXPECT_EQ(r.cannot_know.empty(), silence == Silence::proven);
    }
    EXPECT_EQ(r.progress_ns, 0);  // asking again is no progress
  }
}

TEST(AttemptLadder, SilentOnIdentifiersThatOnlyTheJobKnows) {
  Stage s;
  s.knowModule();
  s.put(100, 0x7A1, "021003CCCCCCCCCC");
  EXPECT_EQ(s.only(9000).rung, Rung::silent);
}

TEST(AttemptLadder, SilentOnIdentifiersThatNobodyKnowsByTheFormOfTheRequest) {
  Stage s;
  s.put(100, 0x6A1, "021003CCCCCCCCCC");
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::silent);
  EXPECT_THAT(r.evidence, Contains(HasSubstr("by its form alone")));
}

TEST(AttemptLadder, WhatOnlyLooksLikeARequestOnceIsNone) {
  Stage s;
  s.put(100, 0x321, "0210030000000000");
  s.put(200, 0x321, "7F10030000000000");
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::no_bit);
  EXPECT_EQ(r.requests, 0U);
}

TEST(AttemptLadder, SilentWhereARequestInPartsGetsNoFlowControl) {
  Stage s;
  s.put(0, 0x7E0, "10123101FF000102");
  s.put(2000, 0x100, "00");
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::silent);
  EXPECT_EQ(r.breaker, Breaker::module);
}

// ISO 14229-1 Annex A.1: 22 conditionsNotCorrect, 33 securityAccessDenied, 7F serviceNotSupportedInActive
// Session, 93 voltageTooLow.
TEST(AttemptLadder, NegativeByItsNameAndNotWiring) {
  struct Code {
    const char* answer;
    int code;
    const char* name;
    const char* group;
  };
  for (const Code& c : {Code{"037F2222CCCCCCCC", 0x22, "conditionsNotCorrect", "condition"},
                        Code{"037F2233CCCCCCCC", 0x33, "securityAccessDenied", "lock"},
                        Code{"037F227FCCCCCCCC", 0x7F, "serviceNotSupportedInActiveSession", "session"},
                        Code{"037F2293CCCCCCCC", 0x93, "voltageTooLow", "supply"}}) {
    Stage s;
    s.vin(0);
    s.put(1000, 0x7E0, "03220102CCCCCCCC");
    s.put(1010, 0x7E8, c.answer);
    const AttemptReport r = s.only(9000);
    EXPECT_EQ(r.rung, Rung::negative);
    EXPECT_EQ(r.code, c.code);
    EXPECT_EQ(r.answered, 1U);
    EXPECT_THAT(r.evidence, Contains(HasSubstr(c.name)));
    EXPECT_THAT(r.excludes, Contains(HasSubstr("wiring")));
    EXPECT_THAT(r.remains, Contains(HasSubstr(c.group)));
    EXPECT_EQ(r.progress_ns, fromMs(1010));
  }
}

TEST(AttemptLadder, ARefusalThatLaterAnswersFollowedIsNotWhereItStopped) {
  Stage s;
  s.put(0, 0x7E0, "03220102CCCCCCCC");
  s.put(10, 0x7E8, "037F2231CCCCCCCC");
  s.vin(1000);
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::through);
  EXPECT_EQ(r.negative, 1U);
}

// ISO 14229-2: after 78 the server has P2* = 5 s; the client's margin is ours.
TEST(AttemptLadder, PendingThenNothing) {
  Stage s;
  s.put(0, 0x7E0, "04310102 03CCCCCC");
  s.put(30, 0x7E8, "037F3178CCCCCCCC");
  s.put(4900, 0x7E8, "037F3178CCCCCCCC");
  s.put(20000, 0x100, "00");
  const AttemptReport r = s.only(20000);
  EXPECT_EQ(r.rung, Rung::pending);
  EXPECT_EQ(r.progress_ns, fromMs(4900));
  EXPECT_THAT(r.excludes, Contains(HasSubstr("lock")));
}

TEST(AttemptLadder, CutByTheModuleWithTheDipBeforeIt) {
  Stage s;
  double sampled = 0;
  const auto meterUntil = [&](double t_ms) {
    for (; sampled <= t_ms; sampled += 100)
      s.volts(sampled, "V(interface+,interface-)", sampled >= 1900 ? 7.1 : 12.4);
  };
  meterUntil(1000);
  s.put(1000, 0x7E0, "0322FFFFCCCCCCCC");
  s.put(1020, 0x7E8, "110062FFFF000102");  // 256 bytes
  s.put(1021, 0x7E0, "300000CCCCCCCCCC");
  for (int i = 1; i <= 14; ++i) {
    const double t_ms = 1030 + 60 * (i - 1);
    meterUntil(t_ms);
    s.put(t_ms, 0x7E8, (std::string("2") + "0123456789ABCDEF"[i % 16] + "00000000000000").c_str());
  }
  meterUntil(3000);
  s.put(9000, 0x100, "00");
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::cut);
  EXPECT_EQ(r.breaker, Breaker::module);
  EXPECT_THAT(r.evidence, Contains(HasSubstr("104 of 256 bytes")));  // 6 and 14 times 7
  EXPECT_EQ(r.progress_ns, fromMs(1030 + 13 * 60));
  ASSERT_EQ(r.supply.size(), 1U);
  EXPECT_EQ(r.supply[0].first, 12.4);
  EXPECT_EQ(r.supply[0].lowest_before, 12.4);  // it sank 90 ms after the last frame
  EXPECT_EQ(r.supply[0].lowest_after, 7.1);
  EXPECT_EQ(r.supply[0].lowest_ns, fromMs(1900));
}

TEST(AttemptLadder, CutByTheOtherEquipmentThatGivesNoFlowControl) {
  Stage s;
  s.put(0, 0x7E0, "0322FFFFCCCCCCCC");
  s.put(20, 0x7E8, "110062FFFF000102");
  s.put(9000, 0x100, "00");
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::cut);
  EXPECT_EQ(r.breaker, Breaker::tester);
  EXPECT_THAT(r.evidence, Contains(HasSubstr("N_Bs")));
}

TEST(AttemptLadder, CutStaysTheDeepestWhenTheRetriesAreSilent) {
  Stage s;
  s.put(0, 0x7E0, "0322FFFFCCCCCCCC");
  s.put(20, 0x7E8, "110062FFFF000102");
  s.put(21, 0x7E0, "300000CCCCCCCCCC");
  s.put(22, 0x7E8, "2100000000000000");
  for (int i = 1; i < 4; ++i) s.put(i * 3000, 0x7E0, "0322FFFFCCCCCCCC");
  const AttemptReport r = s.only(20000);
  EXPECT_EQ(r.rung, Rung::cut);
  EXPECT_EQ(r.silent, 3U);
}

TEST(AttemptLadder, Through) {
  Stage s;
  s.put(0, 0x7E0, "021003CCCCCCCCCC");
  s.put(10, 0x7E8, "065003003201F4CC");
  s.vin(100);
  s.put(2000, 0x7E0, "023E00CCCCCCCCCC");  // TesterPresent, unanswered: not the read-out's matter
  s.put(4000, 0x7E0, "021001CCCCCCCCCC");
  const AttemptReport r = s.only(20000);
  EXPECT_EQ(r.rung, Rung::through);
  EXPECT_EQ(r.answered, 2U);
  EXPECT_THAT(r.cannot_know, Contains(HasSubstr("the other program")));
}

TEST(AttemptLadder, WhereTheModuleIsKnownOnlyItsOwnExchangesCount) {
  Stage s;
  s.knowModule();
  s.vin(0);
  s.put(1000, 0x7A1, "0322F190CCCCCCCC");
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::silent);
  EXPECT_EQ(r.answered, 0U);
}

TEST(AttemptLadder, FunctionalRequestsThatNobodyAnswersCountOnlyAlone) {
  Stage s;
  s.vin(0);
  s.put(1000, 0x7DF, "020100CCCCCCCCCC");
  EXPECT_EQ(s.only(9000).rung, Rung::through);
  Stage alone;
  alone.put(1000, 0x7DF, "020100CCCCCCCCCC");
  EXPECT_EQ(alone.only(9000).rung, Rung::silent);
}

TEST(AttemptLadder, AGapSaysWhatCannotBeKnown) {
  Stage s;
  s.put(0, 0x7E0, "0322FFFFCCCCCCCC");
  s.put(20, 0x7E8, "110062FFFF000102");
  s.watch.gap(0, fromMs(500), fromMs(3500), "the adapter was unplugged");
  s.witness.gap(fromMs(500), fromMs(3500));
  const AttemptReport r = s.only(9000);
  EXPECT_EQ(r.rung, Rung::cut);
  EXPECT_EQ(r.breaker, Breaker::unknown);
  EXPECT_THAT(r.cannot_know, Contains(HasSubstr("3.0 s: the adapter was unplugged")));
  EXPECT_THAT(r.cannot_know, Contains(HasSubstr("the recording or the link ended first")));
}

TEST(AttemptBounds, UndeclaredItBeginsWithTheFirstRequestAndEndsInSilence) {
  Stage s(Silence::proven, false);
  s.put(500, 0x100, "00");
  s.vin(1000);
  s.put(30000, 0x7E0, "03220102CCCCCCCC");
  s.put(200000, 0x100, "00");
  s.vin(210000);
  s.witness.finish(fromMs(220000));
  s.watch.finish(fromMs(220000));
  const auto all = s.watch.reports();
  ASSERT_EQ(all.size(), 2U);
  EXPECT_FALSE(all[0].declared);
  EXPECT_EQ(all[0].begin_ns, fromMs(1000));
  EXPECT_EQ(all[0].end_ns, fromMs(30000));
  EXPECT_EQ(all[0].ended, "silence");
  EXPECT_EQ(all[0].rung, Rung::silent);
  EXPECT_EQ(all[1].rung, Rung::through);
}

TEST(AttemptBounds, OurOwnRequestsAreNoAttempt) {
  Stage s(Silence::cannot, false);
  const CanFrame f = CanFrame::make(0x7E0, false, *fromHex("0322F190CCCCCCCC"));
  s.watch.frame(0, 0, f, true);
  EXPECT_THAT(s.watch.reports(), IsEmpty());
}

TEST(AttemptBounds, DeclaredOnesTakeThePlaceOfTheOthers) {
  Stage s(Silence::proven, false);
  s.vin(0);
  s.begin(5000);
  s.put(6000, 0x7E0, "03220102CCCCCCCC");
  s.end(7500);
  s.vin(8000);  // after its end
  const AttemptReport r = s.only(9000);
  EXPECT_TRUE(r.declared);
  EXPECT_EQ(r.ended, "operator");
  EXPECT_EQ(r.end_ns, fromMs(7500));
  EXPECT_EQ(r.rung, Rung::silent);
}

TEST(AttemptBounds, ThePulseTellsAStallFromAnEnd) {
  Stage s;
  EXPECT_TRUE(s.watch.pulse().open);
  EXPECT_FALSE(s.watch.pulse().seen);
  s.vin(100);
  EXPECT_TRUE(s.watch.pulse().through);
  EXPECT_EQ(s.watch.pulse().progress_ns, fromMs(123));
  s.put(200, 0x7E0, "0322FFFFCCCCCCCC");
  s.put(220, 0x7E8, "110062FFFF000102");
  s.put(3000, 0x100, "00");
  EXPECT_FALSE(s.watch.pulse().through);
}

}  // namespace
}  // namespace pin16::protocol
