// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

using event::PowerState;
using ::testing::HasSubstr;

event::Measurement good(std::string_view text) {
  auto m = parseReading(text);
  EXPECT_TRUE(m) << text << ": " << (m ? "" : m.error().text());
  return m ? *m : event::Measurement{};
}

std::string refusal(std::string_view text) {
  const auto m = parseReading(text);
  EXPECT_FALSE(m) << text;
  if (m) return "";
  EXPECT_EQ(m.error().kind, ErrorKind::usage);
  return m.error().text();
}

TEST(Reading, AllParts) {
  const auto m = good(
      "V(pin16,pin4)=12.4V power=source u=0.02 with=\"1 A load\" by=Kim meter=\"handheld meter, cal 2026\"");
  EXPECT_EQ(m.point, "V(pin16,pin4)");
  EXPECT_DOUBLE_EQ(m.value, 12.4);
  EXPECT_EQ(m.unit, "V");
  EXPECT_EQ(m.power, PowerState::source);
  EXPECT_DOUBLE_EQ(m.uncertainty, 0.02);
  EXPECT_EQ(m.condition, "1 A load");
  EXPECT_EQ(m.by, "Kim");
  EXPECT_EQ(m.instrument, "handheld meter, cal 2026");
}

TEST(Reading, UnitsAreBroughtToTheBaseUnit) {
  EXPECT_DOUBLE_EQ(good("V(chassis,src-)=35mV").value, 0.035);
  EXPECT_DOUBLE_EQ(good("V(chassis,src-)=35 mV").value, 0.035);
  EXPECT_DOUBLE_EQ(good("I(feed)=310mA power=on").value, 0.31);
  EXPECT_DOUBLE_EQ(good("R(pin6,pin4)=22kohm power=off u=1").uncertainty, 1000);
  EXPECT_DOUBLE_EQ(good("R(pin6,pin4)=2.2Mohm power=off").value, 2.2e6);
  EXPECT_DOUBLE_EQ(good("R(feedpath)=40mohm").value, 0.04);
  EXPECT_DOUBLE_EQ(good("R(pin6,pin14)=61 power=off u=0.5").value, 61);
}

TEST(Reading, OpenStandsForAnOverRangeOhmmeter) {
  EXPECT_DOUBLE_EQ(good("R(pin6,pin14)=OL power=off").value, 1e9);
  EXPECT_DOUBLE_EQ(good("R(pin6,pin14)=open power=off").value, 1e9);
  EXPECT_THAT(refusal("V(pin16,pin4)=OL"), HasSubstr("not a number"));
}

TEST(Reading, SwappedProbesChangeTheSign) {
  const auto m = good("v( pin4, pin16 ) = -12.4");
  EXPECT_EQ(m.point, "V(pin16,pin4)");
  EXPECT_DOUBLE_EQ(m.value, 12.4);
  EXPECT_DOUBLE_EQ(good("R(pin14,pin6)=60 power=off").value, 60);
}

TEST(Reading, Lamp) {
  EXPECT_EQ(good("lamp=lit").value, 1);
  EXPECT_EQ(good("lamp=dark").value, 0);
  EXPECT_THAT(refusal("lamp=green"), HasSubstr("lamp=lit or lamp=dark"));
  EXPECT_EQ(good("signs=seen power=on").value, 1);
  EXPECT_EQ(good("signs=none power=on").value, 0);
  EXPECT_THAT(refusal("signs=lit"), HasSubstr("signs=seen or signs=none"));
}

TEST(Reading, OhmsNeedThePowerOffAndSaidSo) {
  EXPECT_THAT(refusal("R(pin6,pin14)=61"), HasSubstr("power=off"));
  EXPECT_THAT(refusal("R(pin6,pin14)=61 power=on"), HasSubstr("worthless"));
  EXPECT_THAT(refusal("R(pin6,pin4)=61 power=source"), HasSubstr("worthless"));
}

TEST(Reading, TheFeedPathIsTakenByDummyLoad) {
  EXPECT_EQ(good("R(feedpath)=0.2").power, PowerState::source);
  EXPECT_THAT(refusal("R(feedpath)=0.2 power=on"), HasSubstr("dummy load"));
}

TEST(Reading, DeploymentCircuitsAndTheModulesContactsAreRefused) {
  for (const char* point : {"R(squib1,squib2)", "V(loop1,chassis)", "R(deploy1)", "V(modpin,modgnd)",
                            "R(feed,modpin)", "V(module terminal 3,chassis)", "V(Module,chassis)",
                            "R(pretensioner)", "V(modH,modL)", "R(driver airbag)", "V(SQUIB,chassis)"}) {
    EXPECT_THAT(refusal(std::string(point) + "=2 power=off"), HasSubstr("never measured")) << point;
  }
}

TEST(Reading, AnUnknownPointGetsTheNearestNames) {
  EXPECT_THAT(refusal("V(pin16,pin6)=12"), HasSubstr("V(pin16,pin4)"));
  EXPECT_THAT(refusal("V(pin16,pn4)=12"), HasSubstr("Did you mean V(pin16,pin4)"));
  EXPECT_THAT(refusal("nonsense=12"), HasSubstr("docs/points.md"));
}

TEST(Reading, MistakesAreNamed) {
  EXPECT_THAT(refusal("V(pin16,pin4)=12,4"), HasSubstr("write 12.4, not 12,4"));
  EXPECT_THAT(refusal("V(pin16,pin4)=12.4ohm"), HasSubstr("expected V"));
  EXPECT_THAT(refusal("V(pin16,pin4)=12.4 12.5"), HasSubstr("'12.5' is not understood"));
  EXPECT_THAT(refusal("V(pin16,pin4)=12.4 pwr=on"), HasSubstr("Did you mean power=?"));
  EXPECT_THAT(refusal("V(pin16,pin4)=12.4 power=hot"), HasSubstr("power=off"));
  EXPECT_THAT(refusal("V(pin16,pin4)=12.4 u=-1"), HasSubstr("below zero"));
  EXPECT_THAT(refusal("V(pin16,pin4)=12.4 with="), HasSubstr("has no value"));
  EXPECT_THAT(refusal("V(pin16,pin4)=12.4 with=\"1 A"), HasSubstr("not closed"));
  EXPECT_THAT(refusal("V(pin16,pin4)="), HasSubstr("no value"));
  EXPECT_THAT(refusal("V(pin16,pin4)"), HasSubstr("not a reading"));
  EXPECT_THAT(refusal("V(pin16,pin4)=nan"), HasSubstr("not a number"));
  EXPECT_THAT(refusal("V(pin16,pin4)=1e999"), HasSubstr("not a number"));
  EXPECT_THAT(refusal("R(pin6,pin14)=-3 power=off"), HasSubstr("below zero"));
  EXPECT_THAT(refusal(""), HasSubstr("not a reading"));
}

}  // namespace
}  // namespace pin16::job
