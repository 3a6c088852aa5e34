// SPDX-License-Identifier: Apache-2.0
// The dialogue on simulated time, against instruments written down by hand from IEEE 488.2 and SCPI-99 (from
// memory): a query is answered by one line, in the order of the queries; an unknown header gives no answer
// and error -113.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <deque>
#include <map>
#include <random>

#include "core/supply/scpi_dialogue.hpp"

namespace pin16::supply {
namespace {

using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;

constexpr Ns kMs = kNsPerMs;

/// An instrument: what it answers to each line (nothing: "") and how long that takes.
struct Desk {
  struct Sample {
    Ns t_ns;
    event::Measurement m;
  };
  explicit Desk(ScpiSettings settings = bothQuantities())
      : d(std::move(settings),
          {[this](std::string_view q) { heard(std::string(q)); },
           [this](Ns t, const event::Measurement& m) {
             samples.push_back({t, m});
           },
           [this](const event::Gap& g) { gaps.push_back(g); }, [this](Ns) { told.push_back(d.facts()); }}) {
    answers = {{"*IDN?", "Pin16,bench supply,0,1"},
               {"MEAS:VOLT?", "+1.26000E+01"},
               {"MEAS:CURR?", "+3.50000E-01"},
               {"STAT:QUES:COND?", "2"},
               {"SYST:ERR?", "0,\"No error\""}};
  }
  static ScpiSettings bothQuantities() {
    ScpiSettings s;
    s.meter.every_ns = 50 * kMs;
    s.meter.quantities = {{'V', "V(pin16,pin4)", 1, 0.02, 10e6}, {'A', "I(feed)", 1, 0.01, -1}};
    return s;
  }
  static ScpiSettings voltsOnly() {
    ScpiSettings s = bothQuantities();
    s.meter.quantities.pop_back();
    return s;
  }

  void heard(std::string q) {
    written.push_back(q);
    while (!q.empty() && (q.back() == '\n' || q.back() == '\r')) q.pop_back();
    const std::string text = answer ? answer(q) : answers[q];
    if (!text.empty()) coming.emplace_back(now + delay, text + "\n");
  }
  void give(const std::string& text) {
    d.take(now, {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
  }
  void start() { d.start(now); }
  void run(Ns span) {
    const Ns end = now + span;
    for (;;) {
      const Ns due = d.nextDue();
      const Ns answer_ns = coming.empty() ? kNoTime : coming.front().first;
      const bool line = answer_ns != kNoTime && (due == kNoTime || answer_ns <= due);
      const Ns next = line ? answer_ns : due;
      if (next == kNoTime || next > end) break;
      now = std::max(now, next);
      if (line) {
        const std::string text = coming.front().second;
        coming.pop_front();
        give(text);
      } else {
        d.onTime(now);
      }
    }
    now = end;
  }
  [[nodiscard]] std::size_t count(const std::string& point) const {
    return static_cast<std::size_t>(
        std::count_if(samples.begin(), samples.end(), [&](const Sample& s) { return s.m.point == point; }));
  }

  Ns now = 1000 * kMs;
  Ns delay = 2 * kMs;
  std::map<std::string, std::string> answers;
  std::function<std::string(const std::string&)> answer;
  std::deque<std::pair<Ns, std::string>> coming;
  std::vector<std::string> written;
  std::vector<Sample> samples;
  std::vector<event::Gap> gaps;
  std::vector<ScpiDialogue::Facts> told;
  ScpiDialogue d;
};

/// A line of the list, with a channel or without.
bool allowed(std::string line) {
  while (!line.empty() && (line.back() == '\n' || line.back() == '\r')) line.pop_back();
  if (const auto at = line.find(" (@"); at != std::string::npos) line.resize(at);
  return std::find(kQueries.begin(), kQueries.end(), line) != kQueries.end();
}

TEST(ScpiDialogue, ReadsBothQuantitiesInTheirRhythm) {
  Desk desk;
  desk.start();
  desk.run(1000 * kMs);
  EXPECT_EQ(desk.written.front(), "*IDN?\n");
  EXPECT_NEAR(static_cast<double>(desk.count("V(pin16,pin4)")), 20, 1);
  EXPECT_NEAR(static_cast<double>(desk.count("I(feed)")), 20, 1);
  EXPECT_THAT(desk.gaps, IsEmpty());
  const auto& m = desk.samples[2].m;
  EXPECT_EQ(m.point, "V(pin16,pin4)");
  EXPECT_DOUBLE_EQ(m.value, 12.6);
  EXPECT_EQ(m.unit, "V");
  EXPECT_DOUBLE_EQ(m.uncertainty, 0.02);
  EXPECT_DOUBLE_EQ(m.input_ohm, 10e6);
  EXPECT_EQ(m.instrument, "Pin16,bench supply,0,1");
  EXPECT_EQ(m.power, event::PowerState::unknown);
  EXPECT_TRUE(desk.d.facts().answers);
  EXPECT_EQ(desk.d.facts().text, "");
  EXPECT_THAT(desk.written, Contains("STAT:QUES:COND?\n"));
}

TEST(ScpiDialogue, TheTimeIsTheMiddleOfQueryAndAnswerAndTheErrorCoversBothEnds) {
  Desk desk(Desk::voltsOnly());
  desk.delay = 8 * kMs;
  std::vector<Ns> sent;
  desk.answer = [&](const std::string& q) -> std::string {
    if (q == "MEAS:VOLT?") sent.push_back(desk.now);
    return desk.answers[q];
  };
  desk.start();
  desk.run(300 * kMs);
  ASSERT_GE(desk.samples.size(), 4U);
  EXPECT_EQ(desk.samples[0].m.time_error_ns, -1) << "how old a first value may be is not known";
  for (std::size_t i = 1; i < 4; ++i) {
    const auto& s = desk.samples[i];
    EXPECT_EQ(s.t_ns, sent[i] + 4 * kMs);
    // As old as the query before, at most; not younger than the answer.
    EXPECT_EQ(s.t_ns - s.m.time_error_ns, sent[i - 1]);
    EXPECT_GE(s.t_ns + s.m.time_error_ns, sent[i] + 8 * kMs);
  }
}

TEST(ScpiDialogue, AKnownApertureNarrowsTheTime) {
  ScpiSettings s = Desk::voltsOnly();
  s.meter.aperture_ns = 10 * kMs;
  Desk desk(s);
  desk.start();
  desk.run(200 * kMs);
  ASSERT_THAT(desk.samples, Not(IsEmpty()));
  for (const auto& one : desk.samples) {
    EXPECT_EQ(one.m.time_error_ns, 1 * kMs + 15 * kMs);
    EXPECT_EQ(one.m.aperture_ns, 10 * kMs);
  }
  EXPECT_EQ(desk.d.facts().time_error_ns, 16 * kMs);
}

TEST(ScpiDialogue, ChannelAskAndLineEndAreOfTheQueryOnly) {
  ScpiSettings s = Desk::voltsOnly();
  s.channel = 3;
  s.instead = Query::read;
  s.end = "\r\n";
  Desk desk(s);
  desk.answers["READ? (@3)"] = "5.0";
  desk.start();
  desk.run(100 * kMs);
  EXPECT_THAT(desk.written, Contains("READ? (@3)\r\n"));
  EXPECT_THAT(desk.written, Not(Contains(HasSubstr("MEAS"))));
  ASSERT_THAT(desk.samples, Not(IsEmpty()));
  EXPECT_EQ(desk.samples.front().m.value, 5);
}

TEST(ScpiDialogue, SwappedNodesTurnTheSign) {
  ScpiSettings s = Desk::voltsOnly();
  s.meter.quantities[0].factor = -1;
  Desk desk(s);
  desk.start();
  desk.run(100 * kMs);
  ASSERT_THAT(desk.samples, Not(IsEmpty()));
  EXPECT_DOUBLE_EQ(desk.samples.front().m.value, -12.6);
}

TEST(ScpiDialogue, OverloadIsAGapAndNotAValue) {
  Desk desk(Desk::voltsOnly());
  desk.start();
  desk.run(500 * kMs);
  const std::size_t before = desk.samples.size();
  const Ns last_ns = desk.samples.back().t_ns;
  desk.answers["MEAS:VOLT?"] = "9.9E37";
  desk.run(1000 * kMs);
  EXPECT_EQ(desk.samples.size(), before);
  EXPECT_THAT(desk.d.facts().text, HasSubstr("overload"));
  EXPECT_THAT(desk.gaps, IsEmpty()) << "it is told when it ends";
  desk.answers["MEAS:VOLT?"] = "12.5";
  desk.run(200 * kMs);
  ASSERT_THAT(desk.gaps, SizeIs(1));
  EXPECT_EQ(desk.gaps[0].from_ns, last_ns);
  EXPECT_EQ(desk.gaps[0].to_ns, desk.samples[before].t_ns);
  EXPECT_THAT(desk.gaps[0].reason, HasSubstr("V(pin16,pin4): overload"));
  EXPECT_EQ(desk.d.facts().text, "");
}

TEST(ScpiDialogue, NotANumberIsAGapThatTheEndOfTheRunTells) {
  Desk desk(Desk::voltsOnly());
  desk.start();
  desk.run(200 * kMs);
  desk.answers["MEAS:VOLT?"] = "9.91E37";
  desk.run(500 * kMs);
  desk.d.finish(desk.now);
  ASSERT_THAT(desk.gaps, SizeIs(1));
  EXPECT_EQ(desk.gaps[0].to_ns, desk.now);
  EXPECT_THAT(desk.gaps[0].reason, HasSubstr("no value came after it"));
}

TEST(ScpiDialogue, ALateAnswerIsNotTakenForThatOfAnotherQuery) {
  Desk desk;
  desk.start();
  desk.run(200 * kMs);
  // The volts come 900 ms late, in order, as 488.2 wants it: then what was asked after them.
  int slow = 1;
  desk.answer = [&](const std::string& q) -> std::string {
    if (q == "MEAS:VOLT?" && slow-- > 0) desk.delay = 900 * kMs;
    return desk.answers[q];
  };
  desk.run(1400 * kMs);
  desk.delay = 2 * kMs;
  desk.run(2000 * kMs);
  for (const auto& s : desk.samples)
    EXPECT_DOUBLE_EQ(s.m.value, s.m.point == "I(feed)" ? 0.35 : 12.6) << s.m.point;
  EXPECT_THAT(desk.gaps, Not(IsEmpty()));
}

TEST(ScpiDialogue, AnAnswerGivenTwiceIsTakenOnce) {
  Desk desk;
  desk.answer = [&](const std::string& q) -> std::string {
    const std::string one = desk.answers[q];
    return q == "MEAS:VOLT?" ? one + "\n" + one : one;
  };
  desk.start();
  desk.run(500 * kMs);
  EXPECT_GT(desk.count("I(feed)"), 5U);
  for (const auto& s : desk.samples)
    EXPECT_DOUBLE_EQ(s.m.value, s.m.point == "I(feed)" ? 0.35 : 12.6) << s.m.point;
}

TEST(ScpiDialogue, HalfALineIsAMissedValueAndItsRestIsThrownAway) {
  Desk desk(Desk::voltsOnly());
  desk.start();
  desk.run(200 * kMs);
  const std::size_t before = desk.samples.size();
  int broken = 1;
  desk.answer = [&](const std::string& q) -> std::string {
    if (q == "MEAS:VOLT?" && broken > 0) {
      --broken;
      desk.coming.emplace_back(desk.now + kMs, "+1.2");
      desk.coming.emplace_back(desk.now + 501 * kMs, "6000E+01\n");
      return "";
    }
    return desk.answers[q];
  };
  desk.run(1000 * kMs);
  EXPECT_GT(desk.samples.size(), before + 3);
  for (const auto& s : desk.samples) EXPECT_DOUBLE_EQ(s.m.value, 12.6);
  ASSERT_THAT(desk.gaps, SizeIs(1));
  EXPECT_THAT(desk.gaps[0].reason, HasSubstr("cut short"));
}

TEST(ScpiDialogue, AnEchoIsNoAnswer) {
  Desk desk;
  desk.answer = [&](const std::string& q) { return q + "\r\n" + desk.answers[q]; };
  desk.start();
  desk.run(500 * kMs);
  EXPECT_GT(desk.samples.size(), 10U);
  EXPECT_THAT(desk.gaps, IsEmpty());
}

TEST(ScpiDialogue, WhatItRefusesIsNamedInItsOwnWordsAndAskedLessOften) {
  Desk desk;
  int asked = 0, errors = 0;
  desk.answer = [&](const std::string& q) -> std::string {
    if (q == "MEAS:CURR?") {
      ++asked, ++errors;
      return "";
    }
    if (q == "SYST:ERR?" && errors > 0) {
      --errors;
      return "-113,\"Undefined header\"";
    }
    return desk.answers[q];
  };
  desk.start();
  desk.run(10000 * kMs);
  EXPECT_THAT(desk.d.facts().text, HasSubstr("I(feed): Undefined header (-113)"));
  EXPECT_LE(asked, 6);
  EXPECT_GT(desk.count("V(pin16,pin4)"), 120U) << "the other quantity goes on";
  EXPECT_FALSE(desk.d.failed());
}

TEST(ScpiDialogue, WithoutIdentityErrorsAndStatusItsValuesAreReadAllTheSame) {
  Desk desk;
  desk.answers.erase("*IDN?");
  desk.answers.erase("SYST:ERR?");
  desk.answers.erase("STAT:QUES:COND?");
  desk.start();
  desk.run(10000 * kMs);
  EXPECT_FALSE(desk.d.failed());
  EXPECT_TRUE(desk.d.facts().answers);
  EXPECT_EQ(desk.d.facts().identity, "");
  EXPECT_GT(desk.count("V(pin16,pin4)"), 100U);
  EXPECT_LE(std::count(desk.written.begin(), desk.written.end(), "STAT:QUES:COND?\n"), 2)
      << "what it does not know is not asked for ever";
}

TEST(ScpiDialogue, ASupplyAtItsLimitIsTold) {
  Desk desk;
  desk.start();
  desk.run(2500 * kMs);
  EXPECT_EQ(desk.d.facts().text, "");
  desk.answers["STAT:QUES:COND?"] = "1";
  desk.run(1500 * kMs);
  EXPECT_THAT(desk.d.facts().text, HasSubstr("limits its current"));
  desk.answers["STAT:QUES:COND?"] = "2";
  desk.run(1500 * kMs);
  EXPECT_EQ(desk.d.facts().text, "");
  EXPECT_THAT(desk.gaps, IsEmpty());
}

TEST(ScpiDialogue, SilenceEndsInFailureAndNothingMoreIsAsked) {
  Desk desk;
  desk.start();
  desk.run(300 * kMs);
  desk.answer = [](const std::string&) { return std::string(); };
  desk.run(5000 * kMs);
  EXPECT_TRUE(desk.d.failed());
  const std::size_t said = desk.written.size();
  desk.run(5000 * kMs);
  EXPECT_EQ(desk.written.size(), said);
  EXPECT_EQ(desk.d.nextDue(), kNoTime);
  desk.answer = nullptr;
  desk.d.stop();
  desk.start();
  desk.run(500 * kMs);
  EXPECT_FALSE(desk.d.failed());
  EXPECT_TRUE(desk.d.facts().answers);
}

TEST(ScpiDialogue, NothingIsSaidAfterTheEnd) {
  Desk desk;
  desk.start();
  desk.run(100 * kMs);
  desk.d.stop();
  const std::size_t said = desk.written.size();
  desk.run(1000 * kMs);
  desk.give("12.6\n");
  EXPECT_EQ(desk.written.size(), said);
}

int mutations() {
  const char* more = std::getenv("PIN16_MUTATIONS");
  return more != nullptr ? std::max(std::atoi(more), 1) : 20000;
}

/// One answer that goes wrong in one of nine ways.
std::string damaged(Desk& desk, std::string text, int& errors, std::mt19937& random) {
  switch (random() % 9) {
    case 0:
      return "";
    case 1:
      ++errors;
      return "";
    case 2:
      return text.substr(0, random() % (text.size() + 1));
    case 3:
      return text + "\n" + text;
    case 4:
      return "9.91E37";
    case 5:
      desk.delay = 700 * kMs;
      return text;
    case 6:
      return std::string(600, '#');
    case 7:
      text.insert(random() % (text.size() + 1), "\x05!");
      return text;
    default:
      return "\n\r\n" + text + "\n\n#\n";
  }
}

/// The value is what was sent, or the number that a cut answer still is.
bool wasSent(const event::Measurement& m) {
  const std::string whole = m.point == "I(feed)" ? "+3.50000E-01" : "+1.26000E+01";
  for (std::size_t n = 1; n <= whole.size(); ++n)
    if (const Reading r = parseValue(whole.substr(0, n), m.unit[0]);
        r.kind == Reading::Kind::value && r.value == m.value)
      return true;
  return false;
}

// 20 000 damaged answers: whatever comes, only queries of the list go out, no value is taken that was not
// sent, times run forward, gaps lie between values of their point.
TEST(ScpiDialogue, WhateverComesOnlyQueriesGoOutAndGapsFillTheHoles) {
  std::mt19937 random(0x16);
  int count = 0;
  while (count < mutations()) {
    Desk desk;
    int errors = 0;
    desk.answer = [&](const std::string& q) -> std::string {
      std::string text = desk.answers[q];
      if (q == "SYST:ERR?" && errors > 0) --errors, text = "-113,\"Undefined header\"";
      desk.delay = static_cast<Ns>(1 + random() % 20) * kMs;
      if (random() % 4 != 0) return text;
      ++count;
      return damaged(desk, text, errors, random);
    };
    desk.start();
    desk.run(3000 * kMs);
    if (desk.d.failed()) desk.d.stop(), desk.coming.clear(), desk.start(), desk.run(1000 * kMs);
    desk.d.finish(desk.now);
    for (const std::string& line : desk.written) ASSERT_TRUE(allowed(line)) << line;
    std::map<std::string, std::vector<Ns>> times;
    for (const auto& s : desk.samples) {
      ASSERT_TRUE(wasSent(s.m)) << s.m.point << " " << s.m.value;
      auto& all = times[s.m.point];
      ASSERT_TRUE(all.empty() || all.back() < s.t_ns);
      all.push_back(s.t_ns);
    }
    for (const event::Gap& g : desk.gaps) {
      ASSERT_LT(g.from_ns, g.to_ns);
      const auto& all = times[g.reason.substr(0, g.reason.find(':'))];
      ASSERT_TRUE(std::none_of(all.begin(), all.end(), [&](Ns t) { return t > g.from_ns && t < g.to_ns; }))
          << g.reason << ": a value within the gap";
    }
  }
}

}  // namespace
}  // namespace pin16::supply
