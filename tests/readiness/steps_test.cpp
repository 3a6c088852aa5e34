// SPDX-License-Identifier: Apache-2.0
// Each step by itself: readings in, verdict and code out, at the published figures.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "build.hpp"

namespace pin16::readiness {
namespace {

using event::Ended;
using event::PowerState;
using job::Access;
using job::Arrangement;
using ::testing::HasSubstr;
using enum job::Arrangement;

struct Row {
  std::vector<const char*> readings;
  const char* expected;
};

void check(const job::Job& job, const char* step_name, const std::vector<Row>& rows) {
  for (const Row& row : rows) {
    Stream s;
    std::string all;
    for (const char* r : row.readings) s.reading(r), all += std::string(r) + "; ";
    EXPECT_EQ(verdict(assess(job, s.evidence(), {}), step_name), row.expected) << all;
  }
}

TEST(SourceStep, OwnBattery) {
  // Limits: supply code C (ISO 16750-2:2010) plus 1.0 V total drop (repair manual note, SAE figures): 10 V
  // loaded; at rest 11.6 V is 0 % and 12.0 V 25 % charge (public mailing-list note on flooded batteries).
  check(jobOf(own_battery), "source",
        {{{}, "not-measured"},
         {{"V(src+,src-)=12.6 power=source", "V(src+,src-)=12.3 power=on"}, "sound"},
         {{"V(src+,src-)=12.6 power=source"}, "marginal source-unloaded"},
         {{"V(src+,src-)=12.6 power=source with=\"55 W lamp\""}, "sound"},
         {{"V(src+,src-)=11.8 power=source u=0.03"}, "marginal source-flat"},
         {{"V(src+,src-)=11.61 power=source u=0.03"}, "marginal source-flat"},
         {{"V(src+,src-)=11.5 power=source u=0.03"}, "faulty source-flat"},
         {{"V(src+,src-)=12.6 power=source", "V(src+,src-)=9.8 power=on u=0.03"}, "faulty source-flat"},
         {{"V(src+,src-)=10.0 power=on u=0.03"}, "marginal source-flat"},
         {{"V(src+,src-)=16.5 power=on u=0.03"}, "faulty source-over-voltage"},
         {{"V(src+,src-)=24.8 power=source"}, "faulty source-over-voltage"},
         {{"V(src+,src-)=0.02 power=source u=0.02"}, "faulty source-none"},
         {{"V(src+,src-)=-12.6 power=source"}, "faulty source-reversed"}});
}

TEST(SourceStep, ASourceFromOutsideIsJudgedUnderLoadOnly) {
  check(jobOf(removed), "source",
        {{{"V(src+,src-)=11.2 power=source"}, "marginal source-unloaded"},
         {{"V(src+,src-)=11.2 power=on"}, "sound"},
         {{"V(src+,src-)=17 power=source u=0.1"}, "faulty source-over-voltage"}});
}

TEST(SourceStep, A24VoltSystemHasItsOwnLimits) {
  job::Job job = jobOf(own_battery);
  job.nominal_V = 24;  // ISO 16750-2:2010 code H: 18 to 32 V
  check(job, "source",
        {{{"V(src+,src-)=25.2 power=source", "V(src+,src-)=24.6 power=on"}, "sound"},
         {{"V(src+,src-)=18.5 power=on u=0.05"}, "faulty source-flat"},
         {{"V(src+,src-)=23.0 power=source u=0.05"}, "faulty source-flat"},
         {{"V(src+,src-)=33 power=on u=0.05"}, "faulty source-over-voltage"}});
}

TEST(SourceStep, TheLowestSampleUnderLoadCounts) {
  Stream s;
  for (const double v : {12.4, 9.0, 12.4}) s.sample("V(src+,src-)", v, "V", 0.02, PowerState::on);
  EXPECT_EQ(verdict(assess(jobOf(own_battery), s.evidence(), {}), "source"), "faulty source-flat");
}

TEST(FeedStep, FedInPlace) {
  check(jobOf(fed_in_place), "feed",
        {{{}, "not-measured"},
         {{"R(feedpath)=0.2 u=0.02"}, "sound"},
         // 0.79 ohm: 1.0 V lost at the 1.26 A of a 10 ohm dummy on 12.6 V
         {{"R(feedpath)=0.78 u=0.022"}, "marginal feed-path-resistance"},
         {{"R(feedpath)=1.2 u=0.02"}, "faulty feed-path-resistance"},
         {{"V(feed,chassis)=12.7 power=on"}, "sound"},
         {{"V(feed,chassis)=9.02 power=on u=0.03"}, "marginal feed-low"},
         {{"V(feed,chassis)=8.5 power=on u=0.03"}, "faulty feed-low"},
         {{"V(feed,chassis)=0.1 power=on u=0.03"}, "faulty feed-no-voltage"},
         {{"V(feed,chassis)=16.4 power=on u=0.03"}, "faulty feed-over-voltage"},
         {{"V(src+,src-)=12.9 power=on u=0.02", "V(feed,chassis)=11.5 power=on u=0.02"}, "faulty feed-low"},
         {{"V(src+,src-)=12.9 power=on u=0.02", "V(feed,chassis)=12.4 power=on u=0.02"}, "sound"},
         {{"V(feed,chassis)=12.7 power=on", "V(loadblade,chassis)=0.0 power=on"}, "faulty feed-supply-side"},
         {{"V(loadblade,chassis)=0.0 power=on"}, "faulty feed-no-voltage"},
         // before power the load blade is dead: no fault
         {{"V(supplyblade,chassis)=12.6 power=source", "V(loadblade,chassis)=0 power=source"},
          "not-measured"}});
}

TEST(FeedStep, TheBladesAreToldApartOnlyIfOneIsLive) {
  const auto text = [](const char* supply, const char* load) {
    Stream s;
    s.reading(supply).reading(load);
    return step(assess(jobOf(fed_in_place), s.evidence(), {}), "feed").text;
  };
  EXPECT_THAT(text("V(supplyblade,chassis)=12.6 power=source", "V(loadblade,chassis)=0 power=source"),
              HasSubstr("told apart"));
  EXPECT_THAT(text("V(supplyblade,chassis)=0 power=source", "V(loadblade,chassis)=0 power=source"),
              HasSubstr("ignition-fed"));
  EXPECT_THAT(text("V(supplyblade,chassis)=12.6 power=source", "V(loadblade,chassis)=5 power=source"),
              HasSubstr("second feed or a reserve"));
  // Read again, it has fallen by more than both readings can be wrong, or it has not.
  const auto twice = [](const char* first, const char* then) {
    Stream s;
    s.reading("V(supplyblade,chassis)=12.6 power=source").reading(first).reading(then);
    return step(assess(jobOf(fed_in_place), s.evidence(), {}), "feed").text;
  };
  EXPECT_THAT(twice("V(loadblade,chassis)=9 power=source u=0.1", "V(loadblade,chassis)=5 power=source u=0.1"),
              HasSubstr("a reserve that empties"));
  EXPECT_THAT(
      twice("V(loadblade,chassis)=9 power=source u=0.1", "V(loadblade,chassis)=8.9 power=source u=0.1"),
      HasSubstr("a second feed"));
}

TEST(FeedStep, CurrentDecidesOnlyByTheJobsBand) {
  job::Job job = jobOf(fed_in_place);
  // Currents of case 08 (shared ngspice netlists): 0.45 A the module alone, 4.45 A with the rest of the rail.
  check(job, "feed",
        {{{"I(feed)=4.45 power=on u=0.05"}, "sound"}, {{"I(feed)=0.45 power=on u=0.05"}, "sound"}});
  job.module.current_steady_min_A = 0.1;
  job.module.current_steady_max_A = 0.6;
  check(job, "feed",
        {{{"I(feed)=4.45 power=on u=0.05"}, "faulty feed-current-high"},
         {{"I(feed)=0.45 power=on u=0.05"}, "sound"},
         {{"I(feed)=0.62 power=on u=0.05"}, "marginal feed-current-high"},
         {{"I(feed)=2mA power=on u=1mA"}, "faulty feed-current-low"}});
}

TEST(FeedStep, OwnBatteryAndRemoved) {
  check(jobOf(own_battery), "feed",
        {{{"V(loadblade,chassis)=12.3 power=on"}, "sound"},
         {{"V(loadblade,chassis)=0 power=on u=0.02"}, "faulty feed-no-voltage"}});
  check(jobOf(removed), "feed", {{{"V(feed,chassis)=13 power=on"}, "sound"}});
}

TEST(GroundStep, DropUnderLoad) {
  // 0.1 V: encyclopedia article on the voltage drop test, ground.
  check(jobOf(fed_in_place), "ground",
        {{{}, "not-measured"},
         {{"V(chassis,src-)=0.0 power=source"}, "not-measured"},  // no current: tells nothing
         {{"V(chassis,src-)=30mV power=source with=\"10 ohm dummy\" u=2mV"}, "sound"},
         {{"V(chassis,src-)=0.5 power=on u=0.01"}, "faulty ground-drop"},
         {{"V(chassis,src-)=-0.5 power=on u=0.01"}, "faulty ground-drop"},
         {{"V(chassis,src-)=0.1 power=on u=0.01"}, "marginal ground-drop"},
         {{"V(pin4,pin5)=0.4 power=source u=0.01"}, "faulty ground-split"},
         {{"V(pin4,pin5)=0.01 power=source"}, "sound"}});
}

TEST(ConnectorStep, OwnBattery) {
  check(
      jobOf(own_battery), "connector",
      {{{}, "not-measured"},
       {{"V(pin16,pin4)=12.5 power=source"}, "sound"},
       {{"V(pin16,pin4)=0.0 power=source u=0.02"}, "faulty connector-no-power"},
       {{"V(pin16,pin4)=12.5 power=source", "V(pin16,pin4)=5 power=source with=\"1 A load\""},
        "faulty connector-low"},
       {{"V(pin16,pin4)=5 power=source with=\"1 A load\"", "V(pin16,pin4)=12.5 power=source"},
        "faulty connector-low"},
       {{"V(pin16,pin4)=9.01 power=source u=0.03"}, "marginal connector-low"},
       {{"V(pin16,pin4)=16.5 power=source u=0.03"}, "faulty connector-over-voltage"},
       {{"V(pin16,pin4)=27 power=source"}, "faulty connector-over-voltage"},
       {{"V(pin16,pin4)=0 power=source u=0.1", "V(pin16,pin5)=12.5 power=source"},
        "faulty connector-ground-open"},
       {{"V(pin16,pin4)=12.5 power=source", "V(pin16,pin5)=0 power=source u=0.1"},
        "marginal connector-signal-ground-open"},
       {{"V(src+,src-)=12.6 power=on u=0.02", "V(pin16,pin4)=11.2 power=on u=0.02"}, "faulty connector-low"},
       // measured again after the mend
       {{"V(pin16,pin4)=0 power=source", "V(pin16,pin4)=12.5 power=source"}, "sound"},
       {{"V(pin16,pin4)=0 power=source", "V(pin16,pin4)=12.4 power=on"}, "sound"}});
}

TEST(ConnectorStep, FedInPlaceNothingAtPin16IsExpected) {
  check(jobOf(fed_in_place), "connector",
        {{{}, "not-measured"},
         {{"V(pin16,pin4)=0.02 power=on"}, "sound"},
         {{"V(pin16,pin4)=12.6 power=on"}, "sound"},
         {{"V(pin16,pin4)=4 power=on"}, "marginal connector-stray-voltage"},
         {{"V(pin16,pin4)=24 power=on"}, "faulty connector-over-voltage"}});
  Stream s;
  s.reading("V(pin16,pin4)=0.02 power=on");
  EXPECT_THAT(step(assess(jobOf(fed_in_place), s.evidence(), {}), "connector").text, HasSubstr("expected"));
}

TEST(ConnectorStep, RemovedTheBreakoutNeedsASupplyOnlyIfTheInterfaceHangsOnIt) {
  check(jobOf(removed), "connector",
        {{{"V(pin16,pin4)=12.9 power=on"}, "sound"},
         {{"V(pin16,pin4)=0 power=on u=0.02"}, "faulty connector-no-power"},
         {{"V(pin16,pin4)=0 power=on u=0.02", "lamp=lit"}, "sound"},
         {{"V(pin16,pin4)=0 power=on u=0.02", "V(interface+,interface-)=12.8 power=on"}, "sound"},
         {{"V(pin16,pin4)=20 power=on u=0.02", "lamp=lit"}, "faulty connector-over-voltage"}});
}

TEST(InterfaceStep, SupplyAndLamp) {
  check(jobOf(fed_in_place), "interface",
        {{{}, "not-measured"},
         {{"lamp=lit"}, "sound"},
         {{"lamp=dark"}, "faulty interface-no-supply"},
         {{"lamp=dark", "lamp=lit"}, "sound"},
         {{"V(interface+,interface-)=12.5 power=source"}, "sound"},
         {{"V(interface+,interface-)=2 power=source"}, "faulty interface-no-supply"},
         {{"V(interface+,interface-)=9 power=source u=0.05"}, "marginal interface-no-supply"},
         {{"V(interface+,interface-)=18 power=source"}, "faulty interface-over-voltage"}});
}

TEST(InterfaceStep, TheLinkToTheComputer) {
  const job::Job job = jobOf(fed_in_place);
  Stream missing;
  missing.link(event::LinkCondition::missing, "There is no interface can0.", "ip link show type can");
  const Sheet s = assess(job, missing.evidence(), {});
  EXPECT_EQ(verdict(s, "interface"), "faulty interface-link");
  EXPECT_THAT(step(s, "interface").text, HasSubstr("ip link show type can"));
  Stream up;
  EXPECT_EQ(verdict(assess(job, up.link().evidence(), {}), "interface"), "not-measured");
  EXPECT_EQ(verdict(assess(job, up.frames(1).evidence(), {}), "interface"), "sound");
  EXPECT_EQ(
      verdict(assess(job, up.link(event::LinkCondition::gone, "can0 vanished.").evidence(), {}), "interface"),
      "faulty interface-link");
}

TEST(LevelsStep, Termination) {
  // 60 (accept 55-65), 120, 40, open, 0-5 ohm: workshop manuals (makers not named), public cable-supplier
  // table.
  for (const Arrangement a : {own_battery, fed_in_place, removed})
    check(jobOf(a), "levels",
          {{{}, "not-measured"},
           {{"R(pin6,pin14)=60 power=off u=0.5"}, "sound"},
           {{"R(pin6,pin14)=64.8 power=off u=0.5"}, "marginal levels-odd-termination"},
           {{"R(pin6,pin14)=120 power=off u=0.5"}, "faulty levels-one-termination"},
           {{"R(pin6,pin14)=40 power=off u=0.5"}, "faulty levels-extra-termination"},
           {{"R(pin6,pin14)=50 power=off u=0.5"}, "faulty levels-odd-termination"},
           {{"R(pin6,pin14)=90 power=off u=0.5"}, "faulty levels-odd-termination"},
           {{"R(pin6,pin14)=2 power=off u=0.5"}, "faulty levels-short"},
           {{"R(pin6,pin14)=20 power=off u=0.5"}, "faulty levels-short"},
           {{"R(pin6,pin14)=22kohm power=off"}, "faulty levels-open"},
           {{"R(pin6,pin14)=OL power=off"}, "faulty levels-open"},
           // a wire on a rail keeps its 60 ohm to the other one (workshop manual table)
           {{"R(pin6,pin14)=60 power=off", "R(pin6,pin4)=0.5 power=off"}, "faulty levels-wire-shorted"},
           {{"R(pin6,pin14)=60 power=off", "R(pin14,pin16)=3 power=off"}, "faulty levels-wire-shorted"},
           {{"R(pin6,pin14)=60 power=off", "R(pin6,pin4)=OL power=off", "R(pin14,pin4)=22kohm power=off"},
            "sound"}});
}

TEST(LevelsStep, Volts) {
  // Recessive 2.0 to 3.0 V each line, -0.1 to 0.1 V asleep: CAN transceiver data sheet SLLSF80B (ISO
  // 11898-2).
  check(jobOf(own_battery), "levels",
        {{{"V(pin6,pin4)=2.7 power=on u=0.03", "V(pin14,pin4)=2.3 power=on u=0.03"}, "sound"},
         {{"V(pin6,pin4)=0.02 power=on u=0.03", "V(pin14,pin4)=0.01 power=on u=0.03"}, "faulty bus-asleep"},
         {{"V(pin6,pin4)=0.02 power=off", "V(pin14,pin4)=0.01 power=off"}, "not-measured"},
         {{"V(pin6,pin4)=12.2 power=on u=0.03", "V(pin14,pin4)=12.0 power=on u=0.03"},
          "faulty levels-wire-shorted"},
         {{"V(pin6,pin4)=2.5 power=on u=0.03", "V(pin14,pin4)=0.0 power=on u=0.03"},
          "faulty levels-wire-shorted"},
         {{"V(pin6,pin4)=1.2 power=on u=0.03", "V(pin14,pin4)=1.1 power=on u=0.03"}, "faulty levels-off"},
         {{"V(pin6,pin4)=2.02 power=on u=0.03"}, "marginal levels-off"}});
  check(
      jobOf(own_battery, Access::gateway), "levels",
      {{{"V(pin6,pin4)=0.02 power=on u=0.03", "V(pin14,pin4)=0.01 power=on u=0.03"}, "marginal bus-asleep"}});
}

TEST(LevelsStep, WhatWorksAllTheSameIsMarginal) {
  Stream s;
  s.reading("R(pin6,pin14)=120 power=off u=0.5").link().frames(500);
  EXPECT_EQ(verdict(assess(jobOf(own_battery), s.evidence(), {}), "levels"),
            "marginal levels-one-termination");
  s.errors(100, CAN_ERR_PROT);
  EXPECT_EQ(verdict(assess(jobOf(own_battery), s.evidence(), {}), "levels"), "faulty levels-one-termination");
  s.asked(Ended::answered, 5);
  EXPECT_EQ(verdict(assess(jobOf(own_battery), s.evidence(), {}), "levels"),
            "marginal levels-one-termination");
  Stream woken;
  woken.reading("V(pin6,pin4)=0 power=on").reading("V(pin14,pin4)=0 power=on").link().frames(5);
  EXPECT_EQ(verdict(assess(jobOf(own_battery), woken.evidence(), {}), "levels"), "sound");
}

TEST(TrafficStep, FramesAndErrors) {
  const job::Job job = jobOf(own_battery);
  const auto said = [&](Stream& s) { return verdict(assess(job, s.evidence(), {}), "traffic"); };
  Stream none;
  EXPECT_EQ(said(none), "not-measured");
  Stream frames;
  EXPECT_EQ(said(frames.link().frames(200)), "sound");
  EXPECT_EQ(said(frames.errors(1, CAN_ERR_PROT)), "sound");
  EXPECT_EQ(said(frames.errors(20, CAN_ERR_PROT)), "marginal traffic-errors");
  Stream errors;
  EXPECT_EQ(said(errors.link().errors(9, CAN_ERR_PROT | CAN_ERR_BUSERROR)), "faulty traffic-errors-only");
  Stream alone;
  EXPECT_EQ(said(alone.link().errors(9, CAN_ERR_ACK | CAN_ERR_BUSERROR)), "faulty traffic-unacknowledged");
  Stream off;
  EXPECT_EQ(said(off.link().frames(5).errors(1, CAN_ERR_BUSOFF)), "faulty traffic-bus-off");
}

TEST(TrafficStep, SilenceMeansWhatArrangementAndAccessSay) {
  const auto said = [](const job::Job& job, Stream s) {
    return verdict(assess(job, s.evidence(), {}), "traffic");
  };
  Stream brief, silent, on;
  brief.link().wait(0.5);
  silent.link().wait(4);
  on.link().power(PowerState::on).wait(4);
  Stream unfed = silent;
  unfed.power(PowerState::source);
  EXPECT_EQ(said(jobOf(own_battery), brief), "not-measured");
  EXPECT_EQ(said(jobOf(own_battery), silent), "faulty traffic-none");
  EXPECT_EQ(said(jobOf(own_battery), unfed), "not-measured");
  EXPECT_EQ(said(jobOf(fed_in_place), silent), "not-measured");
  EXPECT_EQ(said(jobOf(fed_in_place), on), "faulty traffic-none");
  EXPECT_EQ(said(jobOf(fed_in_place, Access::gateway), on), "sound");
  EXPECT_EQ(said(jobOf(removed), on), "marginal traffic-none");
}

TEST(TrafficStep, LossesAreSaid) {
  Stream s;
  s.link().frames(5).add(0, event::Loss{event::LossPlace::queue, 17});
  EXPECT_THAT(step(assess(jobOf(own_battery), s.evidence(), {}), "traffic").text,
              HasSubstr("17 frames were lost"));
}

TEST(AnswerStep, IsJudgedOnTheJobsOwnModule) {
  const job::Job job = jobOf(own_battery);
  const auto said = [&](const Stream& s) { return verdict(assess(job, s.evidence(), asking()), "answer"); };
  Stream none, good, negative, silent, mixed, broken, pending, lost;
  EXPECT_EQ(said(none), "not-measured");
  EXPECT_EQ(said(good.asked(Ended::answered, 10)), "sound");
  EXPECT_EQ(said(negative.asked(Ended::negative, 10)), "marginal module-negative");
  EXPECT_EQ(said(silent.asked(Ended::silent).asked(Ended::silent)), "faulty module-silent");
  EXPECT_EQ(said(mixed.asked(Ended::answered, 10).asked(Ended::silent)), "marginal module-intermittent");
  EXPECT_EQ(said(broken.asked(Ended::incomplete, 10)), "faulty module-incomplete");
  EXPECT_EQ(said(pending.asked(Ended::silent, 10, false, 3)), "faulty module-incomplete");
  EXPECT_EQ(said(lost.asked(Ended::link_lost)), "not-measured");
}

TEST(AnswerStep, WhatDidNotGetOntoTheBusAskedNobody) {
  const job::Job job = jobOf(own_battery);
  const auto said = [&](const Stream& s) { return verdict(assess(job, s.evidence(), asking()), "answer"); };
  Stream disturbed, alone, noisy, quiet;
  disturbed.link().errors(1, CAN_ERR_PROT | CAN_ERR_BUSERROR).asked(Ended::silent).asked(Ended::silent);
  EXPECT_EQ(said(disturbed), "not-measured");
  EXPECT_THAT(step(assess(job, disturbed.evidence(), asking()), "answer").text,
              HasSubstr("nobody was asked"));
  alone.link().errors(3, CAN_ERR_ACK).asked(Ended::silent);
  EXPECT_EQ(said(alone), "not-measured");
  // Others are heard in spite of errors: then the module is silent.
  noisy.link().frames(9).errors(1, CAN_ERR_PROT | CAN_ERR_BUSERROR).asked(Ended::silent);
  EXPECT_EQ(said(noisy), "faulty module-silent");
  quiet.link().asked(Ended::silent);
  EXPECT_EQ(said(quiet), "faulty module-silent");
}

/// One of ours on a line medium to module 58, or to everybody.
event::Exchange onLine(event::Medium medium, Ended ended, bool functional, std::uint32_t from,
                       double response_ms = -1) {
  event::Exchange e;
  e.medium = medium;
  e.functional = functional;
  e.request_id = functional ? 0x6A : 0x58;
  e.answer_id = from;
  e.ours = e.confirmed = true;
  e.ended = ended;
  e.response_ms = response_ms;
  return e;
}
Stream lineLink(event::Medium medium) {
  event::LinkState s;
  s.uri = "kline:x", s.condition = event::LinkCondition::up, s.medium = medium;
  s.time_error_ns = kNsPerMs;
  Stream out;
  out.add(0, s);
  return out;
}

TEST(AnswerStep, OnALineTheJobsModuleIsItsAddress) {
  using event::Medium;
  job::Job job = jobOf(own_battery);
  job.module.line_address = 0x58;
  const auto said = [&](const Stream& s) { return verdict(assess(job, s.evidence(), asking()), "answer"); };
  EXPECT_EQ(said(lineLink(Medium::iso14230_4)
                     .exchange(onLine(Medium::iso14230_4, Ended::answered, false, 0x58, 30))),
            "sound");
  EXPECT_EQ(
      said(lineLink(Medium::iso14230_4).exchange(onLine(Medium::iso14230_4, Ended::silent, false, 0x58))),
      "faulty module-silent");
  for (const Medium m : {Medium::iso9141_2, Medium::j1850_pwm, Medium::j1850_vpw}) {
    EXPECT_EQ(said(lineLink(m).exchange(onLine(m, Ended::answered, true, 0x58, 30))), "sound");
    // Only everybody can be asked: silence of one proves nothing.
    const Stream other = lineLink(m).exchange(onLine(m, Ended::answered, true, 0x10, 30));
    EXPECT_EQ(said(other), "not-measured");
    EXPECT_THAT(step(assess(job, other.evidence(), asking()), "answer").text,
                HasSubstr("no proof of absence"));
  }
  // The address as an identifier of CAN is another module, and without an address nobody is the job's.
  Stream can;
  can.link().exchange(onLine(Medium::can, Ended::answered, false, 0x58, 30));
  EXPECT_EQ(said(can), "not-measured");
  job.module.line_address.reset();
  const Stream unknown =
      lineLink(Medium::iso14230_4).exchange(onLine(Medium::iso14230_4, Ended::answered, true, 0x58, 30));
  EXPECT_EQ(said(unknown), "not-measured");
  EXPECT_THAT(step(assess(job, unknown.evidence(), asking()), "answer").text, HasSubstr("line_address"));
}

TEST(AnswerStep, OthersAnswersProveTheWayNotTheTarget) {
  Stream s;
  event::Exchange other;
  other.request_id = 0x7DF, other.answer_id = 0x7E8, other.functional = true, other.ours = true;
  other.ended = Ended::answered, other.response_ms = 20;
  s.exchange(other);
  const Sheet sheet = assess(jobOf(own_battery), s.evidence(), asking());
  EXPECT_EQ(verdict(sheet, "answer"), "not-measured");
  EXPECT_THAT(step(sheet, "answer").text,
              HasSubstr("7E8 answered: that proves connector, bus and gateway, not"));
  EXPECT_EQ(verdict(sheet, "timing"), "not-measured");
}

TEST(AnswerStep, ASilentRequestToAllProvesNothing) {
  Stream s;
  event::Exchange all;
  all.request_id = 0x7DF, all.functional = true, all.ours = true, all.ended = Ended::silent;
  s.exchange(all);
  const Sheet vehicle = assess(jobOf(own_battery), s.evidence(), asking());
  EXPECT_EQ(verdict(vehicle, "answer"), "not-measured");
  EXPECT_THAT(step(vehicle, "answer").text, HasSubstr("no proof of absence"));
  EXPECT_THAT(step(assess(jobOf(removed), s.evidence(), asking()), "answer").text,
              HasSubstr("means nothing"));
}

TEST(AnswerStep, AFunctionalAnswerOnTheModulesIdentifierCounts) {
  Stream s;
  event::Exchange e;
  e.request_id = 0x7DF, e.answer_id = 0x7A9, e.functional = true, e.ours = true, e.ended = Ended::answered;
  s.exchange(e);
  EXPECT_EQ(verdict(assess(jobOf(own_battery), s.evidence(), asking()), "answer"), "sound");
}

TEST(AnswerStep, TheSameNumberWithAnotherLengthIsAnotherModule) {
  Stream s;
  event::Exchange e;
  e.request_id = 0x7A1, e.answer_id = 0x7A9, e.extended = true, e.ours = true, e.ended = Ended::answered;
  s.exchange(e);
  EXPECT_EQ(verdict(assess(jobOf(own_battery), s.evidence(), asking()), "answer"), "not-measured");
}

TEST(AnswerStep, SealedUnknownAndPassive) {
  Stream s;
  job::Job sealed = jobOf(own_battery);
  sealed.sealed = true;
  EXPECT_EQ(verdict(assess(sealed, s.evidence(), {}), "answer"), "not-asked");
  EXPECT_EQ(verdict(assess(sealed, s.evidence(), {}), "timing"), "not-asked");
  job::Job unknown = jobOf(own_battery);
  unknown.module.address.reset();
  EXPECT_THAT(step(assess(unknown, s.evidence(), asking()), "answer").text, HasSubstr("--sweep"));
  EXPECT_THAT(step(assess(jobOf(own_battery), s.evidence(), {}), "answer").text, HasSubstr("--ask"));
  s.add(0, event::Refused{"22f190", "the rate is not proven"});
  EXPECT_THAT(step(assess(jobOf(own_battery), s.evidence(), asking()), "answer").text,
              HasSubstr("the rate is not proven"));
}

TEST(AnswerStep, AWitnessedAnswerCountsEvenInASealedJob) {
  job::Job sealed = jobOf(own_battery);
  sealed.sealed = true;
  Evidence e;
  event::Exchange x;
  x.request_id = 0x7A1, x.answer_id = 0x7A9, x.ended = Ended::answered, x.response_ms = 9;
  e.add(x, 0);
  const Sheet s = assess(sealed, e, {});
  EXPECT_EQ(verdict(s, "answer"), "sound");
  EXPECT_THAT(step(s, "timing").text, HasSubstr("receive times"));
}

TEST(TimingStep, AgainstP2Server) {
  // P2 server max 50 ms: ISO 14229-2, quoted by an open-source UDS library's documentation.
  const job::Job job = jobOf(own_battery);
  const auto said = [&](std::initializer_list<double> times_ms) {
    Stream s;
    s.link();
    for (const double t : times_ms) s.asked(Ended::answered, t);
    return verdict(assess(job, s.evidence(), asking()), "timing");
  };
  EXPECT_EQ(said({10, 12, 49.5}), "sound");
  EXPECT_EQ(said({10, 12, 49.95}), "marginal module-slow");  // the link's times are good to 0.1 ms
  EXPECT_EQ(said({10, 12, 80}), "marginal module-slow");
  EXPECT_EQ(said({60, 70, 80}), "faulty module-slow");
  EXPECT_EQ(said({}), "not-measured");
  Stream late;
  late.link().asked(Ended::answered, 20, true, 2);
  const Sheet s = assess(job, late.evidence(), asking());
  EXPECT_EQ(verdict(s, "timing"), "marginal module-slow");
  EXPECT_THAT(step(s, "timing").text, HasSubstr("\"pending\" 2 times"));
}

TEST(TimingStep, OnALineByItsOwnLimit) {
  // P2 max 50 ms of a K-line: SAE J1979, quoted in a public document; of J1850 only one from memory is known.
  using event::Medium;
  job::Job job = jobOf(own_battery);
  job.module.line_address = 0x58;
  const auto sheet = [&](Medium m, double response_ms) {
    return assess(job, lineLink(m).exchange(onLine(m, Ended::answered, true, 0x58, response_ms)).evidence(),
                  asking());
  };
  EXPECT_EQ(verdict(sheet(Medium::iso9141_2, 40), "timing"), "sound");
  EXPECT_EQ(verdict(sheet(Medium::iso9141_2, 80), "timing"), "faulty module-slow");
  EXPECT_EQ(verdict(sheet(Medium::j1850_vpw, 80), "timing"), "sound");
  EXPECT_THAT(step(sheet(Medium::j1850_vpw, 80), "timing").text, HasSubstr("no limit"));
}

TEST(TimingStep, MinimumMedianMaximum) {
  Stream s;
  s.link()
      .asked(Ended::answered, 10)
      .asked(Ended::answered, 30)
      .asked(Ended::answered, 14)
      .asked(Ended::negative, 12);
  const Sheet sheet = assess(jobOf(own_battery), s.evidence(), asking());
  const auto& f = step(sheet, "timing").figures;
  ASSERT_EQ(f.size(), 3U);
  EXPECT_DOUBLE_EQ(f[0].value, 10);
  EXPECT_DOUBLE_EQ(f[1].value, 13);
  EXPECT_DOUBLE_EQ(f[2].value, 30);
  EXPECT_DOUBLE_EQ(f[2].uncertainty, 0.1);
}

}  // namespace
}  // namespace pin16::readiness
