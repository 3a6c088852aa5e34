// SPDX-License-Identifier: Apache-2.0
/// What our own equipment does to what it measures.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "build.hpp"
#include "core/circuit/circuit.hpp"

namespace pin16::readiness {
namespace {

using enum job::Arrangement;
using ::testing::HasSubstr;
using ::testing::Not;

job::Job jobWith(const std::string& ours, const char* arrangement = "own-battery") {
  const auto j =
      job::parseJob(std::string("[job]\narrangement = \"") + arrangement + "\"\n[ours]\n" + ours, "job.toml");
  if (!j) throw std::invalid_argument(j.error().text());
  return *j;
}

const Figure* figure(const Step& s, const std::string& what) {
  for (const Figure& f : s.figures)
    if (f.what.find(what) != std::string::npos) return &f;
  return nullptr;
}

Step levels(const job::Job& j, double ohm) {
  Stream s;
  s.reading("R(pin6,pin14)=" + std::to_string(ohm) + " power=off u=0.5 with=\"interface unplugged\"");
  return step(assess(j, s.evidence(), {}), "levels");
}

// Three 120 ohm terminations in parallel are 40 ohm: vehicle workshop manuals (bus.extra_termination_*), and
// Ohm's law.
TEST(Footprint, AThirdTerminationIsOneTooMany) {
  const Step with = levels(jobWith("termination_ohm = 120\n"), 60);
  EXPECT_EQ(with.verdict, Verdict::marginal);
  EXPECT_EQ(with.code, "levels-our-termination");
  ASSERT_NE(figure(with, "with our 120"), nullptr);
  EXPECT_NEAR(figure(with, "with our 120")->value, 40, 1e-9);
  const Step without = levels(jobWith(""), 60);
  EXPECT_EQ(without.verdict, Verdict::sound);
  EXPECT_EQ(figure(without, "with our"), nullptr);
}

TEST(Footprint, WhatIsAmissWithoutUsIsNotCalledOurs) {
  const Step s = levels(jobWith("termination_ohm = 120\n"), 120);
  EXPECT_EQ(s.code, "levels-one-termination");
  ASSERT_NE(figure(s, "with our 120"), nullptr);
  EXPECT_NEAR(figure(s, "with our 120")->value, 60, 1e-9);
}

constexpr const char* kTied = "usb_isolated = false\ncomputer_on_mains = true\n";

Step ground(const job::Job& j, double drop_V, double current_A, const std::string& with = "") {
  Stream s;
  s.power(event::PowerState::on)
      .reading("V(chassis,src-)=" + std::to_string(drop_V) + " power=on u=0.001" +
               (with.empty() ? "" : " with=\"" + with + "\""));
  if (current_A > 0) s.reading("I(feed)=" + std::to_string(current_A) + " power=on u=0.01");
  return step(assess(j, s.evidence(), {}), "ground");
}

// 0.5 ohm at 1 A, alone and with 0.1 ohm beside it, solved as a network (core/circuit, which is compared with
// ngspice).
TEST(Footprint, AComputerBesideABadGroundHidesIt) {
  const auto drop = [](double beside_ohm) {
    circuit::Netlist n;
    n.load("module", "0", "chassis", 1.0);
    n.resistor("ground", "chassis", "0", 0.5);
    if (beside_ohm > 0) n.resistor("computer", "chassis", "0", beside_ohm);
    const auto c = n.compile();
    if (!c) throw std::logic_error(c.error().text());
    return c->solve(c->defaults())->volts(*c->node("chassis"));
  };
  const double bad_V = drop(0), masked_V = drop(0.1);
  EXPECT_NEAR(bad_V, 0.5, 1e-6);
  EXPECT_NEAR(masked_V, 0.0833, 1e-4);

  const Step seen = ground(jobWith(kTied), masked_V, 1.0);
  EXPECT_EQ(seen.verdict, Verdict::marginal);
  EXPECT_EQ(seen.code, "ground-masked");
  ASSERT_NE(figure(seen, "without our computer"), nullptr);
  EXPECT_NEAR(figure(seen, "without our computer")->value, bad_V, 1e-3);
  EXPECT_THAT(seen.text, HasSubstr("0.833 A of 1.00 A may go through it"));
  EXPECT_THAT(seen.text, HasSubstr("Measure once more"));
}

TEST(Footprint, NothingIsHiddenByWhatIsNotTied) {
  for (const char* ours : {"", "usb_isolated = true\ncomputer_on_mains = true\n", "usb_isolated = false\n"})
    EXPECT_EQ(ground(jobWith(ours), 0.083, 1.0).verdict, Verdict::sound) << ours;
  EXPECT_EQ(ground(jobWith("usb_isolated = false\ncomputers_joined = true\n"), 0.083, 1.0).code,
            "ground-masked");
  EXPECT_EQ(ground(jobWith(kTied), 0.083, 1.0, "all of ours unplugged").verdict, Verdict::sound);
}

TEST(Footprint, AGoodGroundStaysGoodBesideAComputer) {
  // 10 mohm at 1 A beside 0.1 ohm: 9.1 mV, of which the ground alone would make 10 mV.
  const Step s = ground(jobWith(kTied), 0.00909, 1.0);
  EXPECT_EQ(s.verdict, Verdict::sound);
  EXPECT_NEAR(figure(s, "without our computer")->value, 0.01, 1e-4);
}

TEST(Footprint, WithoutACurrentOrWithTooMuchOfItNothingIsProven) {
  EXPECT_EQ(ground(jobWith(kTied), 0.05, 0).code, "ground-masked");
  EXPECT_EQ(ground(jobWith(kTied), 0.09, 0.5).code, "ground-masked");  // 0.9 A could flow beside it, 0.5 A do
}

TEST(Footprint, AWrongEntryNamesItsField) {
  const auto j =
      job::parseJob("[job]\narrangement = \"removed\"\n[ours]\ntermination_ohm = 2\n", "yard.toml");
  ASSERT_FALSE(j);
  EXPECT_THAT(j.error().text(), HasSubstr("ours.termination_ohm"));
}

}  // namespace
}  // namespace pin16::readiness
