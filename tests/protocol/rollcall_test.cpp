// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/rollcall.hpp"

#include <gtest/gtest.h>

#include <algorithm>

#include "core/protocol/services.hpp"
#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

/// Runs one with a blocking `ask`.
RollCall callTheRoll(RollCallPlan plan, const limits::Limits& limits,
                     const std::function<AskResult(const Ask&)>& ask) {
  RollCall roll(std::move(plan), limits);
  while (const auto next = roll.next()) roll.take(ask(*next));
  return roll;
}

/// A module on the far end: answers within the asker's real state machines, on simulated time.
struct Module {
  std::uint32_t request_id;
  std::uint32_t answer_id;
  double after_ms;
  bool functional = false;  ///< answers 01 00
  bool vin = true;          ///< else 22 F190 is answered negative
};

/// Runs a roll call through asker and gate against such modules.
struct Bench {
  World w;
  std::vector<Module> modules;
  bool extended = false;

  AskResult ask(const Ask& a) {
    std::optional<AskResult> result;
    w.asker.ask(a, w.now, [&](const AskResult& r) { result = r; });
    std::size_t seen = 0;
    while (!result) {
      for (; seen < w.far.size(); ++seen) schedule(w.far[seen]);
      const Ns due = w.asker.nextDeadline();
      if (!coming.empty() && coming.front().first <= due) {
        w.now = std::max(w.now, coming.front().first);
        const event::CanFrame f = coming.front().second;
        coming.erase(coming.begin());
        w.inbound(f);
      } else {
        w.until(due);
      }
    }
    w.far.clear();
    return *result;
  }
  void schedule(const event::CanFrame& f) {
    const bool functional = f.id() == kFunctional11 || f.id() == kFunctional29;
    if (f.data[0] != 0x30) ++asked[f.id()];
    for (const Module& m : modules) {
      if (functional ? !m.functional : m.request_id != f.id()) continue;
      if (f.data[0] == 0x30) {
        put(1, m, "21 31 31 31 31 31 31 31");
        put(2, m, "22 31 31 31 31 31 31 31");
      } else if (functional) {
        put(m.after_ms, m, "06 41 00 BE 3F A8 13");
      } else {
        put(m.after_ms, m, m.vin ? "10 14 62 F1 90 31 31 31" : "03 7F 22 11");
      }
    }
  }
  void put(double after_ms, const Module& m, const char* text) {
    coming.emplace_back(w.now + ms(after_ms), on(m.answer_id, text, extended));
    std::stable_sort(coming.begin(), coming.end(),
                     [](const auto& a, const auto& b) { return a.first < b.first; });
  }
  RollCall run(RollCallPlan plan) {
    plan.links = {0};
    return callTheRoll(std::move(plan), w.limits, [this](const Ask& a) { return ask(a); });
  }
  std::vector<std::pair<Ns, event::CanFrame>> coming;
  std::map<std::uint32_t, int> asked;
};

TEST(RollCall, DefaultAsksEverybodyThenEachThatAnsweredThenTheJobsModule) {
  Bench b;
  b.modules = {
      {0x7E0, 0x7E8, 10, true}, {0x7E2, 0x7EA, 30, true, false}, {0x6A1, 0x6B9, 20}, {0x7E5, 0x7ED, 5}};
  RollCallPlan plan;
  plan.module = Target{0x6A1, 0x6B9, false, false};
  const RollCall roll = b.run(plan);
  const auto m = roll.modules();
  ASSERT_EQ(m.size(), 3U);
  EXPECT_EQ(m[0].request_id, 0x6A1U);
  EXPECT_EQ(m[0].answer_id, 0x6B9U);
  EXPECT_EQ(m[0].vin, std::string(17, '1'));
  EXPECT_DOUBLE_EQ(m[0].response_ms_median, 20);
  EXPECT_EQ(m[1].request_id, 0x7E0U);
  EXPECT_EQ(m[1].answered, 3U);
  EXPECT_EQ(m[2].request_id, 0x7E2U);
  EXPECT_FALSE(m[2].vin);  // negative, but there
  EXPECT_DOUBLE_EQ(m[2].response_ms_max, 30);
  EXPECT_EQ(b.asked[0x7DF], 3);
  EXPECT_EQ(b.asked[0x7E0], 3);
  EXPECT_EQ(b.asked[0x7E5], 0);  // nobody told us of it
  EXPECT_EQ(b.asked[kFunctional29], 0);
  EXPECT_EQ(roll.unsent(), 0U);
}
TEST(RollCall, TwentyNineBitIfNobodyAnswersElevenBit) {
  Bench b;
  b.extended = true;
  b.modules = {{0x18DA10F1, 0x18DAF110, 12, true}};
  const auto m = b.run({}).modules();
  // 11-bit requests in this bench match no 29-bit module but are functional: they must not be answered there
  ASSERT_EQ(m.size(), 1U);
  EXPECT_EQ(m[0].request_id, 0x18DA10F1U);
  EXPECT_TRUE(m[0].extended);
  EXPECT_EQ(b.asked[kFunctional29], 3);
}
TEST(RollCall, ModuleThatAnswersOnlyToEverybodyIsListedWithTheseTimes) {
  Bench b;
  b.modules = {{0x111, 0x7E8, 17, true}};  // 7E0 stays silent
  const auto m = b.run({}).modules();
  ASSERT_EQ(m.size(), 1U);
  EXPECT_EQ(m[0].asked, 3U);
  EXPECT_EQ(m[0].answered, 0U);
  EXPECT_DOUBLE_EQ(m[0].response_ms_min, 17);
}
TEST(RollCall, NobodyThere) {
  Bench b;
  RollCallPlan plan;
  plan.module = Target{0x7E0, std::nullopt, false, false};
  const RollCall roll = b.run(plan);
  EXPECT_TRUE(roll.modules().empty());
  EXPECT_EQ(roll.sent(), 9U);  // 3 x 7DF, 3 x 7E0, 3 x 18DB33F1
}
TEST(RollCall, SweepFindsAndConfirms) {
  Bench b;
  b.modules = {{0x603, 0x60B, 10}, {0x6FF, 0x5FF, 90}};
  RollCallPlan plan;
  plan.sweep = parseSweep("600-6FF").operator*();
  const RollCall roll = b.run(plan);
  const auto m = roll.modules();
  ASSERT_EQ(m.size(), 2U);
  EXPECT_EQ(m[0].request_id, 0x603U);
  EXPECT_EQ(m[0].answer_id, 0x60BU);
  EXPECT_EQ(m[1].answer_id, 0x5FFU);
  EXPECT_TRUE(m[1].late);
  EXPECT_EQ(b.asked[0x603], 4);  // found, and three that are timed
  EXPECT_EQ(b.asked[0x604], 1);
  EXPECT_EQ(b.asked[0x60B], 0);  // it answers with that one: not asked on it
  EXPECT_EQ(roll.unsent(), 1U);
}
TEST(RollCall, LateAnswerIsNotPutToTheNextIdentifier) {
  Bench b;
  b.modules = {{0x603, 0x60B, 300}};  // the sweep waits 250 ms: it answers while 604 is asked
  RollCallPlan plan;
  plan.sweep = SweepRange{0x600, 0x60A, false};
  const auto m = b.run(plan).modules();
  ASSERT_EQ(m.size(), 1U);
  EXPECT_EQ(m[0].request_id, 0x603U);
  EXPECT_DOUBLE_EQ(m[0].response_ms_median, 300);
}
TEST(RollCall, SweepKeepsItsSpacing) {
  Bench b;
  b.modules = {{0x7E0, 0x7E8, 1, false, false}, {0x7E1, 0x7E9, 1, false, false}};
  RollCallPlan plan;
  plan.sweep = SweepRange{0x7E0, 0x7E1, false};
  const Ns began = b.w.now;
  (void)b.run(plan);
  EXPECT_GE(b.w.now - began, ms(7 * 60));  // 8 requests, answered at once
}
TEST(RollCall, RefusalsAreCountedAndTold) {
  Bench b;
  b.w.gate.shut("attempt");
  const RollCall roll = b.run({});
  EXPECT_EQ(roll.sent(), 0U);
  EXPECT_EQ(roll.unsent(), 3U);
  ASSERT_TRUE(roll.firstError());
  EXPECT_EQ(roll.firstError()->kind, ErrorKind::gate);
}
TEST(RollCall, MinMedianMax) {
  RollCallPlan plan;
  plan.links = {0};
  plan.module = Target{0x7E0, std::nullopt, false, false};
  plan.repeats = plan.functional_repeats = 4;
  int n = 0;
  const auto roll = callTheRoll(plan, limits::Limits{}, [&](const Ask& a) {
    AskResult r;
    event::Exchange& e = r.exchanges.emplace_back();
    if (a.target.functional) return r;
    e.ended = event::Ended::negative;
    e.answer_id = 0x7E8;
    e.response_ms = std::vector<double>{40, 10, 30, 12}[static_cast<std::size_t>(n++)];
    return r;
  });
  const auto m = roll.modules();
  ASSERT_EQ(m.size(), 1U);
  EXPECT_DOUBLE_EQ(m[0].response_ms_min, 10);
  EXPECT_DOUBLE_EQ(m[0].response_ms_median, 21);
  EXPECT_DOUBLE_EQ(m[0].response_ms_max, 40);
}
TEST(RollCallOnALine, TheJobsModuleIsAskedAtItsOwnAddressOnIso14230) {
  for (const auto medium : {event::Medium::iso14230_4, event::Medium::iso9141_2, event::Medium::j1850_vpw}) {
    RollCallPlan plan;
    plan.links = {0};
    plan.module = Target{0x7A1, 0x7A9, false, false};  // of CAN: not asked here
    plan.line_module = 0xA9;
    plan.repeats = 2;
    plan.functional_repeats = 1;
    std::vector<std::string> asked;
    const auto roll = callTheRoll(plan, limits::Limits{}, [&](const Ask& a) {
      asked.push_back(
          (a.target.functional ? "all " : idText(a.target.request_id, false, a.target.line) + " ") +
          toHex(a.request));
      AskResult r;
      event::Exchange& e = r.exchanges.emplace_back();
      e.medium = medium;
      e.request = a.request;
      e.functional = a.target.functional;
      e.answer_id = a.target.functional ? 0x10 : 0xA9;
      e.ended = event::Ended::answered;
      e.response_ms = 30;
      e.answer = a.request;
      e.answer[0] = static_cast<std::uint8_t>(e.answer[0] + 0x40);
      if (!a.target.functional) e.answer.insert(e.answer.end(), 17, '1');
      return r;
    });
    std::vector<std::string> expected = {"all 0100", "all 0902"};
    if (medium == event::Medium::iso14230_4) expected.insert(expected.end(), {"A9 1a90", "A9 1a90"});
    EXPECT_EQ(asked, expected);
    const auto modules = roll.modules();
    ASSERT_EQ(modules.size(), medium == event::Medium::iso14230_4 ? 2U : 1U);
    if (modules.size() < 2) continue;
    EXPECT_EQ(modules[1].answer_id, 0xA9U);
    EXPECT_EQ(modules[1].vin, std::string(17, '1'));
    EXPECT_EQ(modules[1].answered, 2U);
  }
}
TEST(ParseSweep, Ranges) {
  EXPECT_EQ(*parseSweep("7E0-7EF"), (SweepRange{0x7E0, 0x7EF, false}));
  EXPECT_EQ(*parseSweep("18DA00F1-18DAFFF1"), (SweepRange{0x18DA00F1, 0x18DAFFF1, true}));
  for (const char* wrong :
       {"", "7E0", "7EF-7E0", "7E0-18DA00F1", "700-800", "18DA00F1-18DB33F1", "x-y", "7E0-7EF-7F0"})
    EXPECT_EQ(parseSweep(wrong).error().kind, ErrorKind::usage) << wrong;
}

}  // namespace
}  // namespace pin16::protocol
