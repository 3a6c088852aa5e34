// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/interlocks.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "build.hpp"

namespace pin16::readiness {
namespace {

using enum job::Arrangement;
using event::Known;
using ::testing::HasSubstr;
using ::testing::Not;

job::Job jobOf(job::Arrangement a) {
  job::Job j;
  j.arrangement = a;
  return j;
}

Stream& clear(Stream& s, const std::string& code, Known cleared, const std::string& reason = "") {
  return s.add(event::kNoLink, event::Clearance{code, cleared, "Kim", reason});
}

Stream allCleared(const job::Job& j) {
  Stream s;
  for (const Interlock& i : interlocks(j)) clear(s, i.code, Known::yes);
  return s;
}

TEST(Interlocks, EveryArrangementHasItsOwn) {
  for (const auto a : {own_battery, fed_in_place, removed}) {
    std::string codes;
    for (const Interlock& i : interlocks(jobOf(a))) {
      codes += i.code + " ";
      EXPECT_EQ(i.question.back() == '?' || i.question.find("? ") != std::string::npos, true) << i.question;
      EXPECT_FALSE(i.why.empty());
    }
    EXPECT_EQ(codes, a == removed ? "still people dry loops volts waited "
                                  : "still people dry loops high-voltage volts waited ");
  }
}

// 49 CFR 563.5: time zero is a change of 0.8 km/h; v = sqrt(2 g h).
TEST(Interlocks, TheFallThatMakesAnEvent) {
  const double v_mps = 0.8 / 3.6;
  EXPECT_NEAR(v_mps * v_mps / (2 * 9.80665) * 1e3, 2.5, 0.05);
  EXPECT_THAT(interlocks(jobOf(removed)).front().why, HasSubstr("2.5 mm is 0.8 km/h"));
}

TEST(Interlocks, NoGeneralFigureForTheWait) {
  job::Job j = jobOf(own_battery);
  EXPECT_THAT(interlocks(j).back().question, HasSubstr("this vehicle's own service information"));
  const std::string question = interlocks(j).back().question;
  for (const char c : question) EXPECT_FALSE(c >= '0' && c <= '9');
  j.wait_s = 90;
  j.wait_source = "manual, chapter 7";
  EXPECT_THAT(interlocks(j).back().question, HasSubstr("90 s (manual, chapter 7)"));
}

TEST(Interlocks, PowerComesOnlyWithAllOfThem) {
  const job::Job j = jobOf(fed_in_place);
  Stream none;
  EXPECT_FALSE(mayPower(standing(j, none.evidence())));
  EXPECT_EQ(inTheWay(standing(j, none.evidence())),
            "not answered: still, people, dry, loops, high-voltage, volts, waited");
  Stream all = allCleared(j);
  EXPECT_TRUE(mayPower(standing(j, all.evidence())));
  EXPECT_EQ(inTheWay(standing(j, all.evidence())), "");
  for (const Interlock& i : interlocks(j))
    for (const Known answer : {Known::no, Known::unknown}) {
      Stream s = allCleared(j);
      clear(s, i.code, answer);  // the newest counts
      const auto now = standing(j, s.evidence());
      EXPECT_FALSE(mayPower(now)) << i.code;
      EXPECT_EQ(inTheWay(now), (answer == Known::no ? "not cleared: " : "not answered: ") + i.code);
    }
}

TEST(Interlocks, NotKnownNeedsAReasonAndNoIsNoMatterOfReasons) {
  const job::Job j = jobOf(removed);
  Stream s = allCleared(j);
  clear(s, "dry", Known::unknown, "sealed housing");
  const auto now = standing(j, s.evidence());
  EXPECT_TRUE(mayPower(now));
  EXPECT_EQ(now[2].standing, Standing::overridden);
  EXPECT_EQ(now[2].reason, "sealed housing");
  EXPECT_EQ(now[2].by, "Kim");
  clear(s, "dry", Known::no, "sealed housing");
  EXPECT_FALSE(mayPower(standing(j, s.evidence())));
}

TEST(Interlocks, TheSheetSaysWhatStandsInTheWay) {
  const job::Job j = jobOf(own_battery);
  Stream s;
  s.reading("V(src+,src-)=12.6 power=source u=0.03 with=\"1 A load\"")
      .reading("V(pin16,pin4)=12.5 power=source u=0.03 with=\"1 A load\"")
      .power(event::PowerState::source);
  const Sheet before = assess(j, s.evidence(), {});
  ASSERT_TRUE(before.deciding);
  EXPECT_THAT(before.deciding->how, HasSubstr("Before power, not answered: still"));
  EXPECT_THAT(toPlainText(before), HasSubstr("Before power not answered: still"));
  EXPECT_THAT(toJson(before), HasSubstr("\"standing\": \"unknown\""));
  for (const Interlock& i : interlocks(j)) clear(s, i.code, Known::yes);
  const Sheet after = assess(j, s.evidence(), {});
  EXPECT_THAT(after.deciding->how, Not(HasSubstr("Before power")));
  EXPECT_THAT(toPlainText(after), Not(HasSubstr("Before power")));
  clear(s, "volts", Known::unknown, "label read");
  EXPECT_THAT(toPlainText(assess(j, s.evidence(), {})),
              HasSubstr("Before power volts was not known; Kim went on because: label read"));
}

// ISO 16750-2:2010 Table 1, supply code C: 16 V.
TEST(Interlocks, TooManyVoltsStopBeforeAnythingIsPluggedIn) {
  for (const char* point : {"V(src+,src-)", "V(pin16,pin4)", "V(pin16,pin5)", "V(interface+,interface-)"}) {
    const auto read = [&](const std::string& value) {
      Stream s;
      s.reading(point + std::string("=") + value + " power=source u=0.05");
      return stopBefore(jobOf(own_battery), s.evidence());
    };
    EXPECT_FALSE(read("12.6"));
    EXPECT_FALSE(read("16.04"));  // may still be 16
    ASSERT_TRUE(read("16.06"));
    EXPECT_THAT(*read("25.2"), HasSubstr("plug nothing in, switch nothing on"));
    EXPECT_FALSE(read("-0.1"));
    EXPECT_THAT(read("-12.5").value_or(""), HasSubstr("plug nothing in"));
  }
  job::Job truck = jobOf(own_battery);
  truck.nominal_V = 24;
  Stream s;
  s.reading("V(src+,src-)=25.2 power=source u=0.05");
  EXPECT_FALSE(stopBefore(truck, s.evidence()));
}

TEST(Interlocks, TheWaitCountsFromWhenPowerWasTakenOff) {
  job::Job j = jobOf(fed_in_place);
  j.wait_s = 60;
  const auto at = [&](const Stream& s) { return standing(j, s.evidence()).back(); };
  const auto power = [](Stream& s, event::PowerState state) {
    s.add(event::kNoLink, event::Power{state, "declared", ""});
  };
  Stream early;
  power(early, event::PowerState::on);
  power(early, event::PowerState::source);
  early.wait(20);
  clear(early, "waited", Known::yes);
  EXPECT_EQ(at(early).standing, Standing::not_cleared);
  EXPECT_THAT(inTheWay({at(early)}), HasSubstr("said 20 s after power was taken off, 60 s are needed"));
  Stream late;
  power(late, event::PowerState::on);
  power(late, event::PowerState::off);
  late.wait(61);
  clear(late, "waited", Known::yes);
  EXPECT_EQ(at(late).standing, Standing::cleared);
  Stream unknown;  // when it was is not known: the word counts
  clear(unknown, "waited", Known::yes);
  EXPECT_EQ(at(unknown).standing, Standing::cleared);
}

}  // namespace
}  // namespace pin16::readiness
