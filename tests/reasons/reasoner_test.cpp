// SPDX-License-Identifier: Apache-2.0
#include "core/reasons/reasoner.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "core/reasons/explain.hpp"
#include "core/reasons/text.hpp"

namespace pin16::reasons {
namespace {

Reasoner make(Arrangement a, bool pairs = false, unsigned threads = 1, std::uint64_t seed = 1) {
  Options o;
  o.pairs = pairs, o.threads = threads, o.seed = seed;
  return Reasoner::prepare({a, a == Arrangement::removed ? std::optional<bool>(false) : std::nullopt},
                           priors(a), o);
}
void tell(Reasoner& m, const std::string& text) {
  const auto o = parseObservation(text);
  ASSERT_TRUE(o) << o.error().text();
  m.observe(*o);
}
double of(const Reasoner& m, const char* id) {
  double p = 0;
  for (const Ranked& r : m.ranking())
    if (std::any_of(r.causes.begin(), r.causes.end(),
                    [&](std::size_t c) { return c != kSound && std::string_view(causes()[c].id) == id; }))
      p = r.probability;
  return p;
}

TEST(Posterior, IsThePriorBeforeAnythingIsMeasured) {
  Reasoner m = make(Arrangement::removed);
  const auto p = m.present();
  const Priors prior = priors(Arrangement::removed);
  double sum = 0;
  for (std::size_t c = 0; c < causes().size(); ++c) sum += prior.weight[c];
  for (std::size_t c = 0; c < causes().size(); ++c) {
    if (std::find(m.impossible().begin(), m.impossible().end(), c) != m.impossible().end()) continue;
    EXPECT_NEAR(p[c], 0.99 * prior.weight[c] / sum, 0.02) << causes()[c].id;
  }
}

TEST(Posterior, SumsToOne) {
  Reasoner m = make(Arrangement::fed_in_place);
  tell(m, "I(feed)=0.2A");
  tell(m, "interface-lamp=off");
  double sum = 0;
  for (const Ranked& r : m.ranking()) sum += r.probability;
  EXPECT_NEAR(sum, 1, 1e-9);
}

TEST(Posterior, DoesNotDependOnOrderOrThreads) {
  Reasoner a = make(Arrangement::own_battery, true, 1), b = make(Arrangement::own_battery, true, 2);
  tell(a, "V(pin16,pin4)=0.1V"), tell(a, "interface-lamp=off");
  tell(b, "interface-lamp=off"), tell(b, "V(pin16,pin4)=0.1V");
  const auto p = a.present(), q = b.present();
  for (std::size_t c = 0; c < p.size(); ++c) EXPECT_NEAR(p[c], q[c], 1e-12);
}

TEST(Posterior, AReadingTakenAnewReplacesTheOlderOne) {
  Reasoner a = make(Arrangement::removed), b = make(Arrangement::removed);
  tell(a, "R(rigfuse)=OL"), tell(a, "R(rigfuse)=0.02ohm");
  tell(b, "R(rigfuse)=0.02ohm");
  EXPECT_EQ(a.evidence().size(), 1U);
  EXPECT_NEAR(of(a, "rig-fuse-open"), of(b, "rig-fuse-open"), 1e-12);
}

// Bayes' rule by hand for one answer: prior, the samples' share of that answer, and the flat part.
TEST(Posterior, OneAnswerByHand) {
  Reasoner m = make(Arrangement::removed);
  const double before = of(m, "listen-only");
  tell(m, "adapter-mode=listen only");
  // 3 % flat over three answers; listen-only benches whose adapter answers say so.
  const double lowest = before * (0.97 * 0.8 + 0.01), others = (1 - before) * (0.97 * 0 + 0.01);
  EXPECT_GT(of(m, "listen-only"), lowest / (lowest + others) - 0.03);
  EXPECT_LT(of(m, "listen-only"), 1);
}

TEST(Posterior, OneWrongReadingDoesNotDecideAgainstThree) {
  Reasoner m = make(Arrangement::own_battery);
  tell(m, "R(connfuse)=OL"), tell(m, "V(connfuse supply,chassis)=12.5V"), tell(m, "V(pin16,pin4)=0V");
  tell(m, "interface-lamp=lit");  // cannot be
  EXPECT_EQ(std::string(causes()[m.ranking().front().causes.front()].id), "conn-fuse-open");
  const auto fits = m.fits();
  const auto worst = std::max_element(fits.begin(), fits.end(),
                                      [](const Fit& a, const Fit& b) { return a.wrong < b.wrong; });
  EXPECT_STREQ(readings()[m.evidence()[worst->observation].reading].id, "interface-lamp");
  EXPECT_GT(worst->wrong, 0.5);
}

TEST(Groups, HoldWhatNoReadingParts) {
  Reasoner m = make(Arrangement::removed);
  const auto together = [&](const char* a, const char* b) {
    return std::any_of(m.groups().begin(), m.groups().end(), [&](const auto& g) {
      const auto in = [&](const char* id) {
        return std::find(g.begin(), g.end(), *findCause(id)) != g.end();
      };
      return in(a) && in(b);
    });
  };
  EXPECT_TRUE(together("wake-missing", "module-asleep"));
  EXPECT_TRUE(together("rig-fuse-open", "rig-fuse-small"));
  EXPECT_FALSE(together("rig-fuse-open", "feed-lead-open"));
  // Without the readings that part them they are one.
  std::vector<bool> gone(kReadings, false);
  for (const char* id : {"rollcall", "answer@29bit"}) gone[*findReading(id)] = true;
  m.leaveOut(gone);
  EXPECT_TRUE(together("wrong-address", "wrong-id-size"));
}

TEST(NextMeasurement, NeverPowersOnBeforeTheSafetyChecks) {
  for (const Arrangement a : {Arrangement::own_battery, Arrangement::fed_in_place, Arrangement::removed}) {
    Reasoner m = make(a);
    for (int i = 0; i < 6; ++i) {
      const auto next = m.next({});
      ASSERT_FALSE(next.empty());
      const bool open = m.gate().empty();
      for (const Next& n : next)
        EXPECT_TRUE(open || readings()[n.reading].power != Power::on) << readings()[n.reading].id;
      m.observe({next.front().reading,
                 readings()[next.front().reading].unit == Unit::answer ? 0
                 : readings()[next.front().reading].unit == Unit::ohm  ? 5000
                                                                       : 12.6,
                 -1});
    }
  }
}

// Only one cause in fifty shows by it, but that one is the leader: its expected bits are those of a yes or
// no.
TEST(NextMeasurement, WhatOnlyARareCauseShowsByIsWorthItsBits) {
  Options o;
  o.pairs = false;
  Reasoner m = Reasoner::prepare({Arrangement::own_battery, false}, priors(Arrangement::own_battery), o);
  for (const char* text : {"V(src+,src-)=12.6V", "V(pin16,pin4)=0V"}) m.observe(*parseObservation(text));
  double p = 0;
  for (const char* id : {"conn-fuse-open", "shared-fuse-outlet"}) p += m.present()[*findCause(id)];
  ASSERT_GT(p, 0.3);
  const double yes_or_no_bits = -p * std::log2(p) - (1 - p) * std::log2(1 - p);
  for (const Next& n : m.next({}))
    if (std::string_view(readings()[n.reading].id) == "R(connfuse)") {
      EXPECT_GT(n.bits, 0.75 * yes_or_no_bits);
      return;
    }
  FAIL() << "R(connfuse) was not proposed";
}

TEST(Posterior, WhatWasMendedInVainIsOutAndItsPairIsTheOther) {
  Reasoner m = Reasoner::prepare({Arrangement::own_battery, false}, priors(Arrangement::own_battery), {});
  for (const char* text : {"V(src+,src-)=12.6V", "V(pin16,pin4)=0V", "R(connfuse)=OL"})
    m.observe(*parseObservation(text));
  const auto first = m.ranking().front().causes;
  ASSERT_TRUE(std::find(first.begin(), first.end(), *findCause("conn-fuse-open")) != first.end());
  m.mended(first);
  double all = 0;
  for (const auto& r : m.ranking()) {
    all += r.probability;
    if (r.causes == first) {
      EXPECT_EQ(r.probability, 0);
    }
  }
  EXPECT_GE(all, 1 - 1e-9);  // pairs that stay count twice
  for (const std::size_t c : first) EXPECT_EQ(m.present()[c], 0);
  m.forget();
  EXPECT_GT(m.present()[first.front()], 0);
}

TEST(Posterior, AfterTwoMendsInVainThreeFaultsAreNoExplanation) {
  Reasoner m = make(Arrangement::own_battery, true);
  for (const char* text :
       {"V(src+,src-)=12.6V", "R(connfuse)=0.01ohm", "V(connfuse supply,chassis)=12.4V", "V(pin16,pin4)=0V",
        "interface-lamp=off", "R(pin14,pin4)=0.6ohm", "V(pin14,pin4)=0V", "V(pin6,pin4)=0.1V"})
    tell(m, text);
  EXPECT_FALSE(m.unexplained());  // pin 16 open, and CAN low on ground
  m.mended({*findCause("crash-cutoff")});
  EXPECT_FALSE(m.unexplained());
  const auto before = m.present();
  m.mended({*findCause("module-locked")});
  EXPECT_TRUE(m.unexplained());
  EXPECT_GT(m.present()[*findCause("pin16-open")], 0.9 * before[*findCause("pin16-open")]);
}

TEST(NextMeasurement, KeepsToTheBudgetOfPowerUps) {
  Reasoner m = make(Arrangement::removed);
  tell(m, "R(feed,chassis)=20kohm"), tell(m, "V(src+,src-)=12.6V");
  Policy none;
  none.power_ups_left = 0;
  for (const Next& n : m.next(none)) EXPECT_EQ(n.power_ups, 0) << readings()[n.reading].id;
  const auto all = m.next({});
  EXPECT_TRUE(std::any_of(all.begin(), all.end(), [](const Next& n) { return n.power_ups > 0; }));
}

TEST(NextMeasurement, EndsWhenCertain) {
  Reasoner m = make(Arrangement::removed);
  for (const char* t : {"R(rigfuse)=OL", "V(src+,feed)=12.6V", "V(src+,src-)=12.6V", "R(feed,chassis)=20kohm",
                        "V(feed,chassis)=0V", "I(src)=0A", "I(feed)=0A"})
    tell(m, t);
  EXPECT_GE(m.ranking().front().probability, 0.95);
  EXPECT_TRUE(m.next({}).empty());
}

// Expected information against its definition, by the answers themselves: the bits of a yes/no reading are
// the entropy now less the mean entropy after each answer.
TEST(NextMeasurement, ExpectedBitsAreThoseThatTheAnswersBring) {
  Reasoner m = make(Arrangement::removed);
  tell(m, "R(feed,chassis)=20kohm"), tell(m, "V(src+,src-)=12.6V"), tell(m, "error-class=none"),
      tell(m, "I(feed)=0.3A");
  const auto entropyNow = [](const Reasoner& r) {
    double h = 0;
    for (const Ranked& x : r.ranking())
      if (x.probability > 0) h -= x.probability * std::log2(x.probability);
    return h;
  };
  const double before = entropyNow(m);
  for (const Next& n : m.next({})) {
    if (std::string_view(readings()[n.reading].id) != "answer@29bit") continue;
    double after = 0, total = 0;
    for (int answer = 0; answer < 2; ++answer) {
      Reasoner tried = make(Arrangement::removed);
      for (const auto& o : m.evidence()) tried.observe(o);
      // P(answer) from the ratio of a cause's probability before and after: Bayes' rule.
      tried.observe({n.reading, static_cast<double>(answer), -1});
      const double cause_before = of(m, "wrong-id-size"), cause_after = of(tried, "wrong-id-size");
      const double likelihood = answer == 1 ? 0.985 : 0.015;  // 97 % as the sample says, 3 % flat
      const double p = cause_before * likelihood / cause_after;
      total += p;
      after += p * entropyNow(tried);
    }
    EXPECT_NEAR(total, 1, 0.02);
    EXPECT_NEAR(n.bits, before - after, 0.02);
    return;
  }
  FAIL() << "answer@29bit was not proposed";
}

TEST(Readings, InAndOutOfText) {
  const auto value = [](const char* text) { return parseObservation(text)->value; };
  EXPECT_NEAR(value("V(pin16,pin4)=0.1V;power=source"), 0.1, 1e-12);
  EXPECT_NEAR(value("V(pin16,pin4)=100mV"), 0.1, 1e-12);
  EXPECT_NEAR(value("R(pin6,pin4)=2.2kohm power=off"), 2200, 1e-9);
  EXPECT_EQ(value("R(rigfuse)=OL"), kOpen_ohm);
  EXPECT_EQ(value("lamp=dark"), 0);
  EXPECT_EQ(value("adapter-mode=listen only"), 1);
  EXPECT_EQ(value("i(feed) pattern=cycling"), 1);
  for (const char* bad : {"V(pin16,pin4)", "V(pin16,pin4)=high", "V(pin16,pin4)=1ohm", "adapter-mode=loud",
                          "V(module+,module-)=12V", "R(squib1,squib2)=2ohm", "no-such=1"})
    EXPECT_FALSE(parseObservation(bad)) << bad;
  EXPECT_EQ(oddsText(0.7), "7 in 10");
  EXPECT_EQ(oddsText(0.96), "19 in 20");
}

// ---- what `why` has to be right about

std::string firstOf(const Reasoner& m) {
  const auto c = m.ranking().front().causes;
  return c.front() == kSound ? "sound" : causes()[c.front()].id;
}
const Explained* explained(const Answer& a, const char* id) {
  for (const Explained& e : a.ranked)
    for (const std::size_t c : e.causes)
      if (c != kSound && std::string_view(causes()[c].id) == id) return &e;
  return nullptr;
}

TEST(Why, DeadConnectorWithEverythingElseFine) {
  Reasoner m = make(Arrangement::own_battery, true);
  for (const char* t : {"V(src+,src-)=12.6V;power=source", "V(pin16,pin4)=0.1V;power=source", "lamp=dark",
                        "dash-signs=some", "V(slot load,chassis)=12.4V"})
    tell(m, t);
  EXPECT_EQ(
      firstOf(m),
      "conn-fuse-open");  // common practice, no source: an unlit lamp points first to the connector's fuse
  const Answer a = explain(m, {}, {});
  EXPECT_NE(a.ranked.front().sentence.find("V(pin16,pin4)"), std::string::npos);
  ASSERT_FALSE(a.next.empty());
  const std::string next = readings()[a.next.front().reading].id;
  EXPECT_THAT(next, testing::AnyOf("R(connfuse)", "V(connfuse supply,chassis)", "V(outlet,chassis)",
                                   "R(connfuse,pin16)", "V(pin16,chassis)"));
}

// Given the others none of them weighs anything: they are named all the same.
TEST(Why, ReadingsThatSayTheSameAreNamed) {
  Reasoner m = make(Arrangement::own_battery, true);
  for (const char* t : {"V(pin16,pin4)=0.01V;power=on", "V(pin16,chassis)=0.01V;power=on",
                        "V(interface+,interface-)=0.01V;power=on", "lamp=dark"})
    tell(m, t);
  const Answer a = explain(m, {}, {});
  const Explained& first = a.ranked.front();
  for (const Say& s : first.in_favour) EXPECT_LT(s.llr, 2) << s.measured;
  EXPECT_NE(first.sentence.find("V(pin16,pin4)"), std::string::npos) << first.sentence;
  EXPECT_NE(first.sentence.find("nothing speaks against it"), std::string::npos) << first.sentence;
}

TEST(Why, SupplySideFeedWithSigns) {
  Reasoner m = make(Arrangement::fed_in_place, true);
  for (const char* t : {"V(src+,src-)=12.5V", "signs=seen", "I(feed)=4.2A"}) tell(m, t);
  EXPECT_EQ(firstOf(m), "supply-side-feed");
  EXPECT_GE(m.ranking().front().probability, 0.7);
}

TEST(Why, SupplySideFeedWithoutSigns) {
  Reasoner m = make(Arrangement::fed_in_place, true);
  for (const char* t : {"V(src+,src-)=12.5V", "R(feed,chassis)=8ohm", "signs=none", "I(feed)=3.9A"})
    tell(m, t);
  const Answer a = explain(m, {}, {});
  EXPECT_TRUE(firstOf(m) == "supply-side-feed" || firstOf(m) == "wrong-slot") << firstOf(m);
  EXPECT_NE(explained(a, "supply-side-feed"), nullptr);
  ASSERT_FALSE(a.next.empty());
  EXPECT_THAT(std::string(readings()[a.next.front().reading].id),
              testing::AnyOf("slot-check", "V(slot load,chassis)"));
}

TEST(Why, RemovedModuleAloneWithAListenOnlyAdapter) {
  Reasoner m = make(Arrangement::removed, true);
  for (const char* t : {"R(feed,chassis)=20kohm", "V(src+,src-)=12.6V", "I(feed)=0.3A",
                        "adapter-mode=listen only", "identifiers=module"})
    tell(m, t);
  EXPECT_EQ(firstOf(m), "listen-only");
  EXPECT_GE(m.ranking().front().probability, 0.9);
}

TEST(Why, ModuleAndInterfaceOnTwoSources) {
  Reasoner m = make(Arrangement::removed, true);
  for (const char* t : {"R(feed,chassis)=20kohm", "V(src+,src-)=12.6V", "V(ifgnd,chassis)=17V", "lamp=lit",
                        "V(pin6,pin4)=12V"})
    tell(m, t);
  EXPECT_EQ(firstOf(m), "two-sources-floating");
  EXPECT_NE(explain(m, {}, {}).ranked.front().sentence.find("V(ifgnd,chassis)"), std::string::npos);
}

}  // namespace
}  // namespace pin16::reasons
