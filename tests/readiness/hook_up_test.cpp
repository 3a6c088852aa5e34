// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/hook_up.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "build.hpp"
#include "core/readiness/cautions.hpp"

namespace pin16::readiness {
namespace {

using enum job::Arrangement;
using event::PowerState;
using ::testing::HasSubstr;
using ::testing::Not;

std::string codesOf(const job::Job& j) {
  std::string out;
  for (const HookUpItem& i : hookUp(j)) out += i.code + " ";
  return out;
}
std::vector<HookUpState> stateOf(const job::Job& j, const Stream& s) {
  const Evidence e = s.evidence();
  return hookUpState(j, e, assess(j, e, {}));
}
const HookUpState& at(const std::vector<HookUpState>& all, std::string_view code) {
  const auto found = std::find_if(all.begin(), all.end(), [&](const auto& s) { return s.what.code == code; });
  if (found == all.end()) throw std::invalid_argument(std::string(code));
  return *found;
}
Stream& tick(Stream& s, std::string_view code, const std::string& reason = {}) {
  return s.add(event::kNoLink, hookUpTick(code, "Kim", reason));
}

// Common practice, no source: feed and ground before the interface, the monitor before power, power last.
TEST(HookUp, EveryArrangementHasItsOrderAndPowerIsLast) {
  EXPECT_EQ(codesOf(jobOf(own_battery)),
            "feed-off clamp connector interface computer bus-quiet program power ");
  EXPECT_EQ(codesOf(jobOf(fed_in_place)),
            "feed-off slot clamp connector interface computer bus-quiet program power ");
  EXPECT_EQ(codesOf(jobOf(removed)),
            "feed-off fixed leads clamp termination interface computer bus-quiet program power ");
}

TEST(HookUp, NothingAsksToMeasureAtAModuleOrAtLoops) {
  for (const auto a : {own_battery, fed_in_place, removed})
    for (const HookUpItem& i : hookUp(jobOf(a))) {
      EXPECT_FALSE(i.text.empty() || i.why.empty()) << i.code;
      for (const char* word : {"easure", "deployment", "squib", "loop"})
        EXPECT_THAT(i.text + i.why + i.seen, Not(HasSubstr(word))) << i.code;
    }
}

TEST(HookUp, ThePinsOfTheJobAreShownWhereTheyAreJoined) {
  job::Job j = jobOf(removed);
  EXPECT_THAT(hookUp(j)[2].text, HasSubstr("service information"));
  j.module.pins = "1 and 20 feed, 21 ground";
  EXPECT_THAT(hookUp(j)[2].text, HasSubstr("1 and 20 feed, 21 ground"));
}

TEST(HookUp, InstrumentsTickWhatTheySeeAndOpenItAgain) {
  const job::Job j = jobOf(fed_in_place);
  Stream s;
  EXPECT_EQ(at(stateOf(j, s), "interface").tick, Tick::open);
  EXPECT_EQ(at(stateOf(j, s), "feed-off").tick, Tick::open);  // nobody knows yet
  s.power(PowerState::off);
  EXPECT_EQ(at(stateOf(j, s), "feed-off").tick, Tick::seen);
  s.reading("V(interface+,interface-)=12.8 power=source u=0.03").reading("lamp=lit");
  auto all = stateOf(j, s);
  EXPECT_EQ(at(all, "interface").tick, Tick::seen);
  EXPECT_FALSE(at(all, "interface").reason.empty());
  EXPECT_TRUE(at(all, "interface").by.empty());
  // The ground's drop: low by a reading with current, then not any more.
  s.reading("V(chassis,src-)=15mV power=source u=2mV with=\"10 ohm dummy\"");
  EXPECT_EQ(at(stateOf(j, s), "clamp").tick, Tick::seen);
  s.reading("V(chassis,src-)=0.9V power=source u=2mV with=\"10 ohm dummy\"");
  EXPECT_EQ(at(stateOf(j, s), "clamp").tick, Tick::open);
  s.reading("lamp=dark").reading("V(interface+,interface-)=0.1 power=source u=0.03");
  EXPECT_EQ(at(stateOf(j, s), "interface").tick, Tick::open);
}

TEST(HookUp, ABusIsQuietAfterListeningWithoutErrorsOrAnotherTester) {
  const job::Job j = jobOf(own_battery);
  Stream s;
  s.link().frames(20).wait(3);
  EXPECT_EQ(at(stateOf(j, s), "bus-quiet").tick, Tick::open);  // too short
  s.wait(4).frames(1);
  EXPECT_EQ(at(stateOf(j, s), "bus-quiet").tick, Tick::seen);
  event::Exchange other;
  other.request_id = 0x7E0, other.answer_id = 0x7E8, other.ended = event::Ended::answered;
  Evidence e = s.evidence();
  e.add(other, 0);
  EXPECT_EQ(at(hookUpState(j, e, assess(j, e, {})), "bus-quiet").tick, Tick::open);
  s.errors(1, CAN_ERR_PROT);
  EXPECT_EQ(at(stateOf(j, s), "bus-quiet").tick, Tick::open);
  Stream down;
  down.link(event::LinkCondition::missing).wait(9);
  EXPECT_EQ(at(stateOf(j, down), "bus-quiet").tick, Tick::open);
}

TEST(HookUp, PowerIsLockedUntilEverythingBeforeItIsTickedOrPassedOverWithAReason) {
  const job::Job j = jobOf(own_battery);
  Stream s;
  EXPECT_TRUE(at(stateOf(j, s), "power").locked);
  std::vector<std::string> codes;
  for (const HookUpItem& i : hookUp(j)) codes.push_back(i.code);
  for (const std::string& code : codes) {
    if (code == "power") continue;
    EXPECT_TRUE(at(stateOf(j, s), "power").locked) << code;
    tick(s, code, code == "computer" ? "its cable is known" : "");
  }
  const auto all = stateOf(j, s);
  EXPECT_FALSE(at(all, "power").locked);
  EXPECT_EQ(at(all, "power").tick, Tick::open);
  EXPECT_EQ(hookUpOpen(all), "");
  EXPECT_EQ(at(all, "connector").tick, Tick::by_hand);
  EXPECT_EQ(at(all, "connector").by, "Kim");
  EXPECT_EQ(at(all, "computer").tick, Tick::overridden);
  EXPECT_EQ(at(all, "computer").reason, "its cable is known");
  // Taken back: locked again.
  s.add(event::kNoLink, event::Clearance{"hook-up.connector", event::Known::no, "Kim", ""});
  EXPECT_EQ(hookUpOpen(stateOf(j, s)), "connector");
  EXPECT_TRUE(at(stateOf(j, s), "power").locked);
  // Power that has come is told as it is.
  s.power(PowerState::on);
  EXPECT_EQ(at(stateOf(j, s), "power").tick, Tick::seen);
  EXPECT_FALSE(at(stateOf(j, s), "power").locked);
}

TEST(HookUp, ATickIsNoClearanceBeforePower) {
  const job::Job j = jobOf(own_battery);
  Stream s;
  for (const HookUpItem& i : hookUp(j)) tick(s, i.code);
  for (const Interlocked& i : standing(j, s.evidence())) EXPECT_EQ(i.standing, Standing::unknown);
}

TEST(HookUp, ThePlanSaysOrderStartBudgetAndCautions) {
  job::Job j = jobOf(fed_in_place);
  j.power_up_budget = 4;
  std::string plan = planText(j, {{"2026-11-25T17:39:43Z", "declared", ""}});
  for (const char* part : {"fed-in-place", "  2. slot", "This one would be 2 of 4", "high-voltage",
                           "not predicted", "licensed practice"})
    EXPECT_THAT(plan, HasSubstr(part));
  EXPECT_LT(plan.find(" interface "), plan.find("  9. power"));
  j.feed = job::Feed{};
  j.feed->emf_V = 12.6;
  EXPECT_THAT(planText(j, {}), HasSubstr("the module starts once"));
  j.feed->limit_A = 0.05;
  EXPECT_THAT(planText(j, {}), Not(HasSubstr("the module starts once")));
}

TEST(Cautions, AreReadOnceAJobAndAgainForAnotherArrangement) {
  job::Job j = jobOf(removed);
  EXPECT_EQ(keepCautionsRead(j, "Kim").error().kind, ErrorKind::usage);  // no file to keep it beside
  j.file = ::testing::TempDir() + "cautions-job.toml";
  std::filesystem::remove(j.file + ".scene");
  auto read = cautionsRead(j);
  ASSERT_TRUE(read);
  EXPECT_FALSE(*read);
  EXPECT_EQ(keepCautionsRead(j, "").error().kind, ErrorKind::usage);
  ASSERT_TRUE(keepCautionsRead(j, "Kim"));
  read = cautionsRead(j);
  ASSERT_TRUE(read && *read);
  EXPECT_EQ((*read)->by, "Kim");
  EXPECT_THAT(cautionsNote(j, **read), HasSubstr("(removed) read by Kim, 2"));
  j.arrangement = fed_in_place;
  read = cautionsRead(j);
  ASSERT_TRUE(read);
  EXPECT_FALSE(*read);
  std::ofstream(j.file + ".scene") << "nonsense\nmore\n";
  EXPECT_FALSE(cautionsRead(j));
}

}  // namespace
}  // namespace pin16::readiness
