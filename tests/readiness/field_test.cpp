// SPDX-License-Identifier: Apache-2.0
// Situations of the field as synthetic events: what each is called, and what it must not be taken for.
// That they look like this is common practice, no source, unless a source is named.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "build.hpp"

namespace pin16::readiness {
namespace {

using event::Ended;
using event::PowerState;
using event::Silence;
using job::Access;
using ::testing::HasSubstr;
using ::testing::Not;
using enum job::Arrangement;

Sheet sheetOf(const job::Job& job, const Stream& s) { return assess(job, s.evidence(), asking()); }
std::string firstCode(const Sheet& s) { return s.first_thing ? s.first_thing->code : ""; }

const Figure& figure(const Step& s, const std::string& what) {
  const auto it =
      std::find_if(s.figures.begin(), s.figures.end(), [&](const Figure& f) { return f.what == what; });
  if (it == s.figures.end()) throw std::invalid_argument("no figure " + what);
  return *it;
}

job::Job bandOf(job::Arrangement a) {
  job::Job j = jobOf(a);
  j.module.current_steady_min_A = 0.1;
  j.module.current_steady_max_A = 0.6;
  return j;
}

std::vector<double> flat(double value, std::size_t count) { return std::vector<double>(count, value); }

std::vector<double> joined(std::initializer_list<std::vector<double>> parts) {
  std::vector<double> out;
  for (const auto& p : parts) out.insert(out.end(), p.begin(), p.end());
  return out;
}

// ---- feed on the supply side

TEST(SupplySide, FuseOutIsToldByTheLoadBlade) {
  for (const bool signs : {true, false}) {
    Stream s = soundFedInPlace();
    s.reading("V(loadblade,chassis)=0.01 power=on u=0.02");
    s.reading(signs ? "I(feed)=2.6 power=on u=0.01" : "I(feed)=0.012 power=on u=0.001");
    if (signs) s.reading("signs=seen").otherAnswered();
    const Sheet sheet = sheetOf(bandOf(fed_in_place), s);
    EXPECT_EQ(verdict(sheet, "feed"), "faulty feed-supply-side") << signs;
    EXPECT_EQ(firstCode(sheet), "feed-supply-side");
    EXPECT_THAT(step(sheet, "feed").text, HasSubstr("the module's fuse is out"));
  }
}

TEST(SupplySide, FuseInWithoutSignsOnlyTheCurrentTells) {
  Stream s = soundFedInPlace();
  s.reading("V(loadblade,chassis)=12.5 power=on u=0.02").reading("I(feed)=2.4 power=on u=0.01");
  const Sheet sheet = sheetOf(bandOf(fed_in_place), s);
  EXPECT_EQ(verdict(sheet, "feed"), "faulty feed-current-high");
  EXPECT_THAT(step(sheet, "feed").text, HasSubstr("only the current tells"));
  EXPECT_THAT(sheet.first_thing->text, HasSubstr("supply blade"));
  // Without the job's band the current decides nothing: the usual figure is from memory.
  EXPECT_EQ(verdict(sheetOf(jobOf(fed_in_place), s), "feed"), "sound");
}

TEST(SupplySide, FuseInWithSignsIsNamed) {
  for (const int sign : {0, 1, 2}) {
    Stream s = soundFedInPlace();
    s.reading("V(loadblade,chassis)=12.5 power=on u=0.02").reading("I(feed)=2.4 power=on u=0.01");
    if (sign == 0) s.reading("signs=seen");
    if (sign == 1) s.otherAnswered();
    if (sign == 2)
      s.reading("V(supplyblade,chassis)=0 power=source").reading("V(supplyblade,chassis)=12.5 power=on");
    EXPECT_EQ(verdict(sheetOf(bandOf(fed_in_place), s), "feed"), "faulty feed-supply-side-fuse-in") << sign;
  }
}

TEST(SupplySide, OthersAwakeAloneAreAWarning) {
  Stream s = soundFedInPlace();
  s.otherAnswered();
  EXPECT_EQ(verdict(sheetOf(jobOf(fed_in_place), s), "feed"), "marginal feed-others-awake");
  // Behind a gateway others have to be fed; in its own vehicle they are.
  EXPECT_EQ(verdict(sheetOf(jobOf(fed_in_place, Access::gateway), s), "feed"), "sound");
  Stream own = soundOwnBattery();
  EXPECT_EQ(verdict(sheetOf(jobOf(own_battery), own.otherAnswered()), "feed"), "sound");
}

TEST(SupplySide, NoSignsProveNothing) {
  Stream s = soundFedInPlace();
  s.reading("signs=none");
  EXPECT_EQ(verdict(sheetOf(jobOf(fed_in_place), s), "feed"), "sound");
}

// ---- a source that goes off by itself

Stream pack(const std::vector<double>& volts) {
  Stream s;
  s.reading("lamp=lit").reading("R(pin6,pin14)=60 power=off").link().power(PowerState::on);
  s.course("I(feed)", {0.31, 0.31}, 0.01).course("V(src+,src-)", volts);
  return s;
}

TEST(PackShutsOff, ACleanStepToZeroUnderLightLoad) {
  const Sheet sheet = sheetOf(jobOf(removed), pack(joined({flat(12.4, 21), flat(0.0, 8)})));
  EXPECT_EQ(verdict(sheet, "source"), "faulty source-shuts-off");
  EXPECT_EQ(firstCode(sheet), "source-shuts-off");
  const Step& source = step(sheet, "source");
  EXPECT_THAT(source.text, HasSubstr("2.0 s after"));
  EXPECT_NEAR(figure(source, "good until it went off").value, 2.0, 1e-6);
  EXPECT_NEAR(figure(source, "from good to dead").value, 0.1, 1e-6);
  EXPECT_THAT(sheet.first_thing->text, HasSubstr("dummy load"));
}

TEST(PackShutsOff, TheSameDelayEachTimeIsSaid) {
  Stream s = pack(joined({flat(12.4, 21), flat(0.0, 5), flat(12.4, 22), flat(0.0, 5)}));
  EXPECT_THAT(step(sheetOf(jobOf(removed), s), "source").text,
              HasSubstr("2 times, each time after 2.0 to 2.1 s"));
}

TEST(PackShutsOff, WhatIsOverIsAWarning) {
  Stream s = pack(joined({flat(12.4, 21), flat(0.0, 5), flat(12.4, 10)}));
  const Sheet sheet = sheetOf(jobOf(removed), s);
  EXPECT_EQ(verdict(sheet, "source"), "marginal source-shuts-off");
  EXPECT_THAT(step(sheet, "source").text, HasSubstr("It is back now"));
}

TEST(PackShutsOff, SwitchingOffByHandOrGivingInIsSomethingElse) {
  Stream off = pack(flat(12.4, 21));
  off.power(PowerState::off);
  for (int i = 0; i < 5; ++i) off.sample("V(src+,src-)", 0, "V", 0.02, PowerState::off);
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), off), "source"), "sound");
  std::vector<double> giving_in;
  for (double v = 12.4; v > 0; v -= 0.3) giving_in.push_back(v);
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), pack(giving_in)), "source"), "faulty source-flat");
}

// ---- a source that sags

std::vector<double> sagging(double from_V, double per_s, std::size_t count) {
  std::vector<double> out;
  for (std::size_t i = 0; i < count; ++i)  // +-3 mV as a 0.02 V meter scatters
    out.push_back(from_V - per_s * 0.1 * static_cast<double>(i) + (i % 2 == 0 ? 0.003 : -0.003));
  return out;
}

TEST(Sagging, TimeLeftAboveTheLimitWithItsUncertainty) {
  // 12.4 V falling 1.8 V/min reaches 10 V (9 V code C plus 1 V total drop) after 80 s.
  const Sheet sheet = sheetOf(jobOf(removed), pack(sagging(12.4, 0.03, 41)));
  EXPECT_EQ(verdict(sheet, "source"), "faulty source-sags");
  const Figure& left = figure(step(sheet, "source"), "time left above 10.00 V");
  EXPECT_NEAR(left.value, 80 - 4, 1.5);  // 4 s of it were watched
  EXPECT_GT(left.uncertainty, 0);
  EXPECT_LT(left.uncertainty, 8);
  EXPECT_EQ(left.limit, 120);
  EXPECT_NEAR(figure(step(sheet, "source"), "fall").value, 1.8, 0.1);
}

TEST(Sagging, EnoughForAShortAttemptOnlyIsMarginal) {
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), pack(sagging(12.4, 0.006, 61))), "source"),
            "marginal source-sags");
}

TEST(Sagging, AStandingSourceIsNotAccused) {
  for (const double per_s : {0.0, -0.004, 0.0005})  // 0.03 V/min: more than an hour
    EXPECT_EQ(verdict(sheetOf(jobOf(removed), pack(sagging(12.4, per_s, 41))), "source"), "sound") << per_s;
}

// ---- a plug that bounces

Stream bounced(const std::vector<double>& volts) {
  Stream s;
  s.reading("R(feedpath)=0.2 u=0.02").power(PowerState::on).course("V(feed,chassis)", volts);
  return s;
}

TEST(Bounce, SeveralRisesAtSwitchOnAreAWarningNotAFault) {
  const job::Job job = jobOf(fed_in_place);
  const Stream s = bounced(joined({{12.5, 0, 12.5, 0, 0, 12.5}, flat(12.6, 20)}));
  const Sheet sheet = sheetOf(job, s);
  EXPECT_EQ(verdict(sheet, "feed"), "marginal feed-bounces");
  const Figure& f = figure(step(sheet, "feed"), "rises through 9.00 V at switch-on");
  EXPECT_EQ(f.value, 3);
  EXPECT_EQ(f.limit, 1);
  EXPECT_THAT(step(sheet, "feed").text, HasSubstr("came 3 times"));
  EXPECT_THAT(step(sheet, "feed").text, HasSubstr("The meter looks every 0.10 s"));
  EXPECT_EQ(risesAtSwitchOn(job, s.evidence()), 3U);
  EXPECT_THAT(findCode("feed-bounces").to_do, HasSubstr("switch open"));
}

TEST(Bounce, TheVoltsOfTheGapsDoNotSpeakAgainstNow) {
  const Sheet sheet = sheetOf(jobOf(fed_in_place), bounced(joined({{12.5, 0, 12.5}, flat(12.6, 20)})));
  EXPECT_THAT(step(sheet, "feed").text, HasSubstr("V(feed,chassis) is 12.50 V"));
  EXPECT_EQ(verdict(sheetOf(jobOf(fed_in_place), bounced({12.5, 0, 12.5, 0})), "feed"),
            "faulty feed-no-voltage");
}

TEST(Bounce, OneSwitchOnIsNone) {
  const job::Job job = jobOf(fed_in_place);
  const Stream s = bounced(joined({{0, 0, 6}, flat(12.6, 20)}));
  EXPECT_EQ(risesAtSwitchOn(job, s.evidence()), 1U);
  EXPECT_EQ(verdict(sheetOf(job, s), "feed"), "sound");
  EXPECT_EQ(risesAtSwitchOn(job, Evidence()), 0U);
}

TEST(Bounce, LaterGapsAreAContactNotASwitchOn) {
  const Stream s = bounced(joined({flat(12.6, 60), {0}, flat(12.6, 20)}));
  EXPECT_EQ(verdict(sheetOf(jobOf(fed_in_place), s), "feed"), "marginal feed-interrupted");
  EXPECT_EQ(risesAtSwitchOn(jobOf(fed_in_place), s.evidence()), 1U);
}

TEST(Bounce, TheCurrentTellsOfGapsBeyondTheVoltmeter) {
  Stream s;
  s.power(PowerState::on).course("I(feed)", joined({{0.5, 0, 0.5, 0}, flat(0.3, 20)}), 0.1, 0.01);
  EXPECT_EQ(risesAtSwitchOn(bandOf(removed), s.evidence()), 3U);
  EXPECT_EQ(verdict(sheetOf(bandOf(removed), s), "feed"), "marginal feed-bounces");
}

// ---- restarts, by the frames of who restarts

Stream steadyFrames(Stream s, int count) {
  for (int i = 0; i < count; ++i) s.wait(0.02).frames(1, 0x300).frames(1, 0x301);
  return s;
}

TEST(Restart, FramesThatStopAndBeginAgainAreOne) {
  Stream s;
  s.link().power(PowerState::on);
  s = steadyFrames(s, 80);
  s = steadyFrames(s.wait(0.9), 80);
  const Sheet sheet = sheetOf(jobOf(removed), s);
  EXPECT_EQ(verdict(sheet, "feed"), "marginal module-restarts");
  EXPECT_EQ(figure(step(sheet, "feed"), "starts seen in regular frames").value, 2);
  EXPECT_THAT(step(sheet, "feed").text, HasSubstr("stopped for 0.9"));
  ASSERT_EQ(s.evidence().restarts().size(), 1U);  // both identifiers together
}

TEST(Restart, WhatIsNoneIsNotCalledOne) {
  const auto restarts = [](const Stream& s) { return s.evidence().restarts().size(); };
  Stream on;
  on.link().power(PowerState::on);
  EXPECT_EQ(restarts(steadyFrames(steadyFrames(on, 80).wait(0.2), 80)), 0U);  // jitter
  EXPECT_EQ(restarts(steadyFrames(steadyFrames(on, 20).wait(0.9), 80)), 0U);  // half a second shows no pace
  EXPECT_EQ(
      restarts(steadyFrames(steadyFrames(on, 80).wait(0.9).link(event::LinkCondition::gone).link(), 80)), 0U);
  EXPECT_EQ(
      restarts(steadyFrames(steadyFrames(on, 80).power(PowerState::off).wait(0.9).power(PowerState::on), 80)),
      0U);
  event::LinkState deaf;
  deaf.uri = "at:adapter", deaf.condition = event::LinkCondition::up;
  deaf.medium_explains = {"traffic: frames of others are not heard while it asks"};
  EXPECT_EQ(
      restarts(steadyFrames(steadyFrames(Stream().add(0, deaf).power(PowerState::on), 80).wait(0.9), 80)),
      0U);
  Stream answers = on;
  for (int i = 0; i < 80; ++i) answers.wait(0.02).frames(1, 0x7A9);
  answers.wait(2).frames(1, 0x7A9);
  Evidence e;
  e.setModule(0x7A9, false);
  answers.feed(e);
  EXPECT_TRUE(e.restarts().empty());  // it answers when it is asked
}

TEST(Bounce, PowerEventsInQuickSuccessionAreOneSwitchOn) {
  Stream s;
  for (int i = 0; i < 3; ++i) s.power(PowerState::on).power(PowerState::source);
  s.power(PowerState::on);
  EXPECT_EQ(risesAtSwitchOn(jobOf(removed), s.evidence()), 4U);
  s.power(PowerState::off).wait(10).power(PowerState::on);  // by hand, another power-up
  EXPECT_EQ(risesAtSwitchOn(jobOf(removed), s.evidence()), 1U);
}

TEST(PackShutsOff, OfASourceThatWentOffTheFeedSaysThatNothingArrives) {
  Stream s = pack(joined({flat(12.4, 21), flat(0.0, 8)}));
  s.course("V(feed,chassis)", {12.4, 12.4, 0.0, 0.0});
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), s), "feed"), "faulty feed-no-voltage");
}

// ---- gateway

TEST(Gateway, NobodyAcknowledgesNamesItsFeed) {
  Stream s;
  s.reading("V(src+,src-)=12.4 power=on").reading("V(pin16,pin4)=12.3 power=on");
  s.controller("error-passive").power(PowerState::on).wait(3).errors(20, CAN_ERR_ACK).asked(Ended::silent);
  const Sheet sheet = sheetOf(jobOf(own_battery, Access::gateway), s);
  EXPECT_EQ(verdict(sheet, "traffic"), "faulty gateway-silent");
  EXPECT_EQ(sheet.overall, Overall::not_ready);
  EXPECT_THAT(sheet.first_thing->text, HasSubstr("gateway's feed"));
}

TEST(Gateway, AcknowledgedButNothingComesThrough) {
  Stream s;
  s.controller("error-active").power(PowerState::on).wait(3).asked(Ended::silent).asked(Ended::silent);
  const Sheet sheet = sheetOf(jobOf(own_battery, Access::gateway), s);
  EXPECT_EQ(verdict(sheet, "traffic"), "sound");  // silence is normal there
  EXPECT_EQ(verdict(sheet, "answer"), "faulty gateway-no-answer");
  // Another module's answer through it: then the gateway works, and the module is silent.
  s.otherAnswered();
  EXPECT_EQ(verdict(sheetOf(jobOf(own_battery, Access::gateway), s), "answer"), "faulty module-silent");
}

// ---- alone

TEST(Alone, AListenOnlyLinkSeesOneNodeThatNobodyAcknowledges) {
  // ISO 11898-1 error types as linux/can/error.h places them: at the acknowledge slot or its delimiter.
  for (const int place : {CAN_ERR_PROT_LOC_ACK, CAN_ERR_PROT_LOC_ACK_DEL}) {
    Stream s;
    s.controller("error-active", Silence::proven).power(PowerState::on).wait(3);
    s.protocolErrors(30, CAN_ERR_PROT_FORM, static_cast<std::uint8_t>(place));
    EXPECT_EQ(verdict(sheetOf(jobOf(removed), s), "traffic"), "marginal traffic-lone-sender");
    EXPECT_EQ(verdict(sheetOf(jobOf(own_battery), s), "traffic"), "faulty traffic-lone-sender");
    EXPECT_THAT(step(sheetOf(jobOf(removed), s), "traffic").text, HasSubstr("only listens"));
    EXPECT_THAT(step(sheetOf(jobOf(removed), s), "answer").text, HasSubstr("cannot ask"));
  }
}

TEST(Alone, OrOneFrameAgainAndAgain) {
  // An error-passive sender's error flag is recessive, so a listener takes the frame for valid each time
  // (Bosch CAN specification 2.0, error signalling); it comes again at once.
  Stream s;
  s.controller("error-active", Silence::proven).power(PowerState::on).wait(3).repeats(200, 0x3A0);
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), s), "traffic"), "marginal traffic-lone-sender");
  // The same bytes at a decent pace are a periodic message.
  Stream calm;
  calm.controller("error-active", Silence::proven).power(PowerState::on);
  for (int i = 0; i < 60; ++i) calm.wait(0.01).repeats(1, 0x3A0);
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), calm), "traffic"), "sound");
  // An interface that acknowledges would have ended it.
  Stream active;
  active.controller("error-active").power(PowerState::on).wait(3).repeats(200, 0x3A0);
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), active), "traffic"), "sound");
}

TEST(Alone, OurOwnSendingTellsThatWeAreAlone) {
  Stream s;
  s.controller("error-passive").power(PowerState::on).wait(3).errors(40, CAN_ERR_ACK);
  const Sheet sheet = sheetOf(jobOf(removed), s);
  EXPECT_EQ(verdict(sheet, "traffic"), "faulty traffic-unacknowledged");
  EXPECT_THAT(step(sheet, "traffic").text, HasSubstr("we are alone"));
  EXPECT_THAT(step(sheet, "traffic").text, HasSubstr("error-passive, only acknowledges were missing"));
}

TEST(Alone, ADriverThatPlacesTheErrorInsteadOfNamingItCountsTheSame) {
  Stream s;
  s.controller("error-passive").power(PowerState::on).wait(3);
  s.protocolErrors(40, CAN_ERR_PROT_TX, CAN_ERR_PROT_LOC_ACK);
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), s), "traffic"), "faulty traffic-unacknowledged");
}

TEST(Alone, AShortedBusIsToldApart) {
  Stream s;
  s.controller("bus-off").power(PowerState::on).wait(3);
  s.protocolErrors(32, std::uint8_t{CAN_ERR_PROT_TX | CAN_ERR_PROT_BIT}, CAN_ERR_PROT_LOC_ID28_21);
  const Sheet sheet = sheetOf(jobOf(removed), s);
  EXPECT_THAT(step(sheet, "traffic").text, HasSubstr("bus-off"));
  EXPECT_THAT(step(sheet, "traffic").text, Not(HasSubstr("we are alone")));
  EXPECT_EQ(step(sheet, "traffic").verdict, Verdict::faulty);
  EXPECT_EQ(s.evidence().links().at(0).own_bit_errors, 32U);
}

// ---- two sources

TEST(TwoSources, WiresLiftedByItAreNotCalledShorted) {
  Stream s;
  s.reading("V(pin6,pin4)=13.8 power=on u=0.03").reading("V(pin14,pin4)=13.7 power=on u=0.03");
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), s), "levels"), "faulty levels-wire-shorted");
  s.reading("V(pin4,interface-)=24 power=on u=0.02");
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), s), "levels"), "faulty levels-off");
}

TEST(TwoSources, AnInterfaceThatFloatsIsNamed) {
  // ISO 16750-2:2023 section 4: ground offset 1.0 V between separate supply paths, all functions stay.
  const auto said = [](const char* reading) {
    Stream s;
    s.reading("V(chassis,src-)=10mV power=on u=1mV").reading(reading);
    return verdict(sheetOf(jobOf(removed), s), "ground");
  };
  EXPECT_EQ(said("V(pin4,interface-)=0.02 power=source u=0.02"), "sound");
  EXPECT_EQ(said("V(pin4,interface-)=0.99 power=source u=0.02"), "marginal ground-floating");
  EXPECT_EQ(said("V(pin4,interface-)=14.3 power=source u=0.02"), "faulty ground-floating");
  EXPECT_EQ(said("V(interface-,pin4)=14.3 power=source u=0.02"), "faulty ground-floating");
  Stream works = soundRemoved();
  works.reading("V(pin4,interface-)=1.6 power=on u=0.02");
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), works), "ground"), "marginal ground-floating");
}

// ---- an answer after the wait

TEST(Late, AnAnswerAfterTheWaitIsTimingNotSilence) {
  Stream s;
  s.link().power(PowerState::on).asked(Ended::silent).wait(1.5).frames(1, 0x7A9);
  const Sheet sheet = sheetOf(jobOf(removed), s);
  EXPECT_EQ(verdict(sheet, "timing"), "faulty module-beyond-wait");
  EXPECT_EQ(verdict(sheet, "answer"), "marginal module-beyond-wait");
  const Figure& f = figure(step(sheet, "timing"), "response after the wait");
  EXPECT_NEAR(f.value, 1500, 5);
  EXPECT_EQ(f.limit, 1000);
  EXPECT_EQ(figure(step(sheet, "timing"), "median response").limit, 50);
  EXPECT_EQ(firstCode(sheet), "module-beyond-wait");
}

TEST(Late, AFrameOfALaterRequestIsNotItsAnswer) {
  Stream s;
  s.link().power(PowerState::on).asked(Ended::silent).wait(0.06).frames(1, 0x7A9).asked(Ended::answered, 10);
  const Sheet sheet = sheetOf(jobOf(removed), s);
  EXPECT_EQ(verdict(sheet, "answer"), "marginal module-intermittent");
  EXPECT_EQ(verdict(sheet, "timing"), "sound");
}

TEST(Late, OthersFramesAreNotItsAnswer) {
  Stream s;
  s.link().power(PowerState::on).asked(Ended::silent).wait(1.5).frames(5, 0x7E8);
  EXPECT_EQ(verdict(sheetOf(jobOf(removed), s), "answer"), "faulty module-silent");
}

}  // namespace
}  // namespace pin16::readiness
