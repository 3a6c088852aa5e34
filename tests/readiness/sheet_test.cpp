// SPDX-License-Identifier: Apache-2.0
// The whole sheet: arrangements, what decides, hints that never decide, JSON, text.
#include "core/readiness/sheet.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <iterator>
#include <set>

#include "build.hpp"
#include "core/readiness/plan.hpp"

namespace pin16::readiness {
namespace {

using event::Ended;
using event::PowerState;
using job::Access;
using ::testing::ElementsAreArray;
using ::testing::HasSubstr;
using ::testing::StartsWith;
using enum job::Arrangement;

std::string firstCode(const Sheet& s) { return s.first_thing ? s.first_thing->code : ""; }

TEST(Sheet, EachArrangementSoundIsReady) {
  for (const auto& [arrangement, stream] :
       {std::pair{own_battery, soundOwnBattery()}, std::pair{fed_in_place, soundFedInPlace()},
        std::pair{removed, soundRemoved()}}) {
    const Sheet s = assess(jobOf(arrangement), stream.evidence(), asking());
    EXPECT_EQ(s.overall, Overall::ready) << toPlainText(s);
    EXPECT_FALSE(s.first_thing) << toPlainText(s);
    EXPECT_FALSE(s.deciding);
    std::vector<std::string> names;
    for (const Step& x : s.steps) {
      names.push_back(x.name);
      EXPECT_TRUE(x.verdict == Verdict::sound || !x.needed) << x.name << "\n" << toPlainText(s);
    }
    EXPECT_THAT(names, ElementsAreArray(kSteps));
  }
}

TEST(Sheet, OneFaultInEachArrangementIsNamedFirst) {
  struct Row {
    job::Arrangement arrangement;
    const char* reading;
    const char* code;
  };
  const Row rows[] = {
      {own_battery, "V(src+,src-)=8.2 power=on u=0.03", "source-flat"},
      {own_battery, "V(pin16,pin4)=0 power=on u=0.03", "connector-no-power"},
      {own_battery, "V(loadblade,chassis)=0 power=on u=0.03", "feed-no-voltage"},
      {own_battery, "V(chassis,src-)=0.9 power=on u=0.01", "ground-drop"},
      {own_battery, "lamp=dark", "interface-no-supply"},
      {fed_in_place, "V(feed,chassis)=6 power=on u=0.03", "feed-low"},
      {fed_in_place, "R(feedpath)=3 u=0.02", "feed-path-resistance"},
      {fed_in_place, "V(pin16,pin4)=24 power=source", "connector-over-voltage"},
      {fed_in_place, "V(interface+,interface-)=0 power=source", "interface-no-supply"},
      {removed, "V(src+,src-)=17 power=on u=0.1", "source-over-voltage"},
      {removed, "V(chassis,src-)=0.9 power=on u=0.01", "ground-drop"},
  };
  for (const Row& row : rows) {
    Stream s = row.arrangement == own_battery    ? soundOwnBattery()
               : row.arrangement == fed_in_place ? soundFedInPlace()
                                                 : soundRemoved();
    const Sheet sheet = assess(jobOf(row.arrangement), s.reading(row.reading).evidence(), asking());
    EXPECT_EQ(sheet.overall, Overall::not_ready) << row.reading;
    EXPECT_EQ(firstCode(sheet), row.code) << row.reading << "\n" << toPlainText(sheet);
  }
}

TEST(Sheet, ConnectorFuseOpenInOwnBattery) {
  Stream s;
  s.reading("V(src+,src-)=12.4 power=on")
      .reading("V(pin16,pin4)=0 power=on")
      .reading("lamp=dark")
      .link()
      .wait(3);
  const Sheet sheet = assess(jobOf(own_battery), s.evidence(), asking());
  EXPECT_EQ(sheet.overall, Overall::not_ready);
  EXPECT_EQ(firstCode(sheet), "connector-no-power");
  EXPECT_THAT(sheet.first_thing->text, HasSubstr("fuse"));
}

TEST(Sheet, Pin16DeadInFedInPlaceIsStillReady) {
  const Sheet s = assess(jobOf(fed_in_place), soundFedInPlace().evidence(), asking());
  EXPECT_EQ(verdict(s, "connector"), "sound");
  EXPECT_EQ(s.overall, Overall::ready);
}

TEST(Sheet, BehindAGatewaySilenceDoesNotStandInTheWay) {
  Stream s;
  s.reading("V(src+,src-)=12.4 power=on").reading("V(pin16,pin4)=12.3 power=on").link().wait(5);
  s.asked(Ended::answered, 9);
  EXPECT_EQ(assess(jobOf(own_battery, Access::gateway), s.evidence(), asking()).overall, Overall::ready);
  EXPECT_EQ(assess(jobOf(own_battery), s.evidence(), asking()).overall, Overall::not_ready);
}

TEST(Sheet, NothingMeasuredIsUndecidedAndTheCheapestReadingDecides) {
  const Evidence nothing;
  const Sheet own = assess(jobOf(own_battery), nothing, {});
  EXPECT_EQ(own.overall, Overall::undecided);
  ASSERT_TRUE(own.deciding);
  EXPECT_EQ(own.deciding->point, "V(src+,src-)");
  const Sheet fed = assess(jobOf(fed_in_place), nothing, {});
  EXPECT_EQ(fed.deciding->point, "lamp");
  const Sheet table = assess(jobOf(removed), nothing, {});
  EXPECT_EQ(table.deciding->point, "R(pin6,pin14)");  // nothing powered yet
  EXPECT_THAT(table.deciding->how, HasSubstr("Power off"));
}

TEST(Sheet, UndecidedGoesOnToListeningAndAsking) {
  Stream s;
  s.reading("V(src+,src-)=12.4 power=on").reading("V(pin16,pin4)=12.3 power=on");
  EXPECT_EQ(assess(jobOf(own_battery), s.evidence(), {}).deciding->point, "listen");
  s.link().frames(50);
  const Sheet passive = assess(jobOf(own_battery), s.evidence(), {});
  EXPECT_EQ(passive.overall, Overall::undecided);
  EXPECT_EQ(passive.deciding->point, "ask");
  EXPECT_THAT(passive.sentence, HasSubstr("answer, timing"));
  job::Job unknown = jobOf(own_battery);
  unknown.module.address.reset();
  EXPECT_EQ(assess(unknown, s.evidence(), {}).deciding->point, "roll call");
}

TEST(Sheet, ASealedJobIsReadyAsFarAsListeningTells) {
  job::Job sealed = jobOf(own_battery);
  sealed.sealed = true;
  Stream s;
  s.reading("V(src+,src-)=12.4 power=on").reading("V(pin16,pin4)=12.3 power=on").link().frames(50);
  const Sheet sheet = assess(sealed, s.evidence(), {});
  EXPECT_EQ(sheet.overall, Overall::ready);
  EXPECT_THAT(sheet.sentence, StartsWith("Ready as far as listening tells"));
  EXPECT_THAT(sheet.sentence, HasSubstr("not asked (sealed): answer, timing"));
  EXPECT_THAT(sheet.sentence, HasSubstr("not measured and not needed here: feed, ground, levels"));
}

TEST(Sheet, AnyFaultyStepIsNotReadyEvenIfNotNeeded) {
  Stream s = soundOwnBattery();
  s.reading("V(pin4,pin5)=0.5 power=on u=0.01");
  EXPECT_EQ(assess(jobOf(own_battery), s.evidence(), asking()).overall, Overall::not_ready);
}

TEST(Sheet, AMarginalStepIsReadyAndNamed) {
  Stream s = soundOwnBattery();
  s.reading("R(pin6,pin14)=120 power=off u=0.5");
  const Sheet sheet = assess(jobOf(own_battery), s.evidence(), asking());
  EXPECT_EQ(sheet.overall, Overall::ready);
  EXPECT_THAT(sheet.sentence, HasSubstr("marginal: levels"));
  EXPECT_EQ(firstCode(sheet), "levels-one-termination");
}

/// The verdicts of a stream as one text.
std::string verdicts(const job::Job& job, const Stream& s) {
  const Sheet sheet = assess(job, s.evidence(), asking());
  std::string out = toText(sheet.overall);
  for (const Step& x : sheet.steps) out += " " + verdict(sheet, x.name);
  return out;
}

std::vector<std::pair<job::Job, Stream>> cases() {
  std::vector<std::pair<job::Job, Stream>> out = {{jobOf(own_battery), soundOwnBattery()},
                                                  {jobOf(fed_in_place), soundFedInPlace()},
                                                  {jobOf(removed), soundRemoved()}};
  for (const char* more : {"I(feed)=4.45 power=on u=0.05", "V(chassis,src-)=0.07 power=on u=0.001"}) {
    Stream s = soundFedInPlace();
    out.emplace_back(jobOf(fed_in_place), s.reading(more));
  }
  return out;
}

TEST(Sheet, LimitsFromMemoryNeverDecide) {
  const limits::Limits tables;
  std::size_t hints = 0;
  for (const limits::Limit& l : tables.all()) {
    if (l.confidence != "memory") continue;
    ++hints;
    for (const auto& [job, stream] : cases())
      for (const double value : {-1e9, 0.0, 1e9}) {
        job::Job changed = job;
        ASSERT_TRUE(changed.limits.replace(l.name, value, "test"));
        EXPECT_EQ(verdicts(changed, stream), verdicts(job, stream)) << l.name << " = " << value;
      }
  }
  EXPECT_GT(hints, 0U);
  // They are shown, as hints.
  Stream s = soundFedInPlace();
  const Sheet sheet = assess(jobOf(fed_in_place), s.reading("I(feed)=4.45 power=on").evidence(), asking());
  const auto& figures = step(sheet, "feed").figures;
  EXPECT_TRUE(std::any_of(figures.begin(), figures.end(), [](const Figure& f) { return f.hint && f.ok; }));
  EXPECT_THAT(step(sheet, "feed").text, HasSubstr("decides nothing"));
}

/// Every other limit of the three tables is alive: some value of it changes some verdict.
TEST(Sheet, EveryOtherLimitDecidesSomething) {
  auto all = cases();
  const auto add = [&](const job::Job& job, std::initializer_list<const char*> readings) {
    Stream s;
    for (const char* r : readings) s.reading(r);
    all.emplace_back(job, s);
  };
  job::Job is_24 = jobOf(own_battery);
  is_24.nominal_V = 24;
  add(is_24,
      {"V(src+,src-)=25.2 power=source", "V(src+,src-)=24.6 power=on", "V(loadblade,chassis)=24 power=on"});
  add(is_24, {"V(src+,src-)=25.2 power=source"});
  for (const char* r :
       {"V(src+,src-)=12.6 power=source", "R(pin6,pin14)=3 power=off", "R(pin6,pin14)=40 power=off",
        "R(pin6,pin14)=120 power=off", "R(pin6,pin14)=90 power=off", "R(pin6,pin14)=60 power=off",
        "R(pin6,pin4)=22kohm power=off", "V(pin6,pin4)=2.5 power=on", "V(pin6,pin4)=12 power=on",
        "V(pin6,pin4)=0.3 power=on", "V(pin6,pin4)=0.05 power=on", "V(src+,src-)=0.5 power=on"})
    add(jobOf(own_battery), {r});
  Stream errors, silent;
  errors.link().frames(100).errors(1, CAN_ERR_PROT);
  silent.link().wait(3);
  all.emplace_back(jobOf(own_battery), errors);
  all.emplace_back(jobOf(own_battery), silent);
  Stream cut, sags, bounces, floats, alone;
  std::vector<double> volts(30, 12.4);
  volts.insert(volts.end(), 5, 0.0);
  all.emplace_back(jobOf(removed), cut.power(PowerState::on).course("V(src+,src-)", volts));
  volts.clear();
  for (int i = 0; i < 60; ++i) volts.push_back(12.4 - 0.006 * 0.1 * i);
  all.emplace_back(jobOf(removed), sags.power(PowerState::on).course("V(src+,src-)", volts));
  all.emplace_back(jobOf(removed),
                   bounces.power(PowerState::on).course("V(feed,chassis)", {12.5, 0, 12.5, 12.5}));
  all.emplace_back(jobOf(removed), floats.reading("V(pin4,interface-)=0.5 power=on"));
  all.emplace_back(jobOf(removed), alone.link().protocolErrors(30, 0, CAN_ERR_PROT_LOC_ACK));
  for (const auto& table : {limits::supplyLimits(), limits::groundLimits(), limits::busLimits()})
    for (const limits::Limit& l : table) {
      if (l.confidence == "memory") continue;
      if (l.name.starts_with("supply.code_"))
        continue;                               // bus-voltage names the codes, no step is judged by them
      if (l.name == "bus.asleep_ms") continue;  // review counts wake-ups by it, no step is judged
      bool alive = false;
      for (const auto& [job, stream] : all)
        for (const double value : {-1e8, 1e8}) {
          job::Job changed = job;
          ASSERT_TRUE(changed.limits.replace(l.name, value, "test"));
          alive = alive || verdicts(changed, stream) != verdicts(job, stream);
        }
      EXPECT_TRUE(alive) << l.name;
    }
}

TEST(Sheet, TheJobsOwnLimitDecidesAndIsNamed) {
  job::Job job = jobOf(own_battery);
  ASSERT_TRUE(job.limits.replace("supply.module_min_V", 12.0, "job: label on the module"));
  const Sheet s = assess(job, soundOwnBattery().evidence(), asking());
  EXPECT_EQ(verdict(s, "source"), "faulty source-flat");
  EXPECT_THAT(step(s, "source").figures.back().limit_source, HasSubstr("label on the module"));
}

TEST(Sheet, Json) {
  Stream s = soundOwnBattery();
  s.reading("V(pin16,pin4)=0 power=on u=0.02").add(0, event::Sent{{1}, "request 22 F190"});
  Asked asked = asking();
  asked.capture = "a.pcapng";
  asked.power_ups = {{"t", "declared", "one"}, {"t", "measured", "two"}};
  job::Job job = jobOf(own_battery);
  job.power_up_budget = 4;
  const auto v = boost::json::parse(toJson(assess(job, s.evidence(), asked)));
  EXPECT_EQ(v.at("schema").as_string(), "pin16-check");
  EXPECT_EQ(v.at("version").as_int64(), 1);
  EXPECT_EQ(v.at("overall").as_string(), "not-ready");
  EXPECT_EQ(v.at("first_thing").at("code").as_string(), "connector-no-power");
  EXPECT_EQ(v.at("first_thing").at("step").as_string(), "connector");
  EXPECT_TRUE(v.at("deciding_reading").is_null());
  EXPECT_EQ(v.at("power_ups").to_number<int>(), 2);
  EXPECT_EQ(v.at("power_up_budget").to_number<int>(), 4);
  EXPECT_EQ(v.at("sent").to_number<int>(), 1);
  EXPECT_EQ(v.at("capture").as_string(), "a.pcapng");
  EXPECT_EQ(v.at("links").at(0).at("uri").as_string(), "socketcan:can0");
  EXPECT_EQ(v.at("links").at(0).at("silence").as_string(), "proven");
  EXPECT_EQ(v.at("losses").at("total").to_number<int>(), 0);
  const auto& steps = v.at("steps").as_array();
  ASSERT_EQ(steps.size(), kSteps.size());
  for (std::size_t i = 0; i < steps.size(); ++i) EXPECT_EQ(steps[i].at("name").as_string(), kSteps[i]);
  const auto& figure = steps[3].at("figures").at(0);
  EXPECT_DOUBLE_EQ(figure.at("value").to_number<double>(), 0);
  EXPECT_EQ(figure.at("unit").as_string(), "V");
  EXPECT_DOUBLE_EQ(figure.at("uncertainty").to_number<double>(), 0.02);
  EXPECT_DOUBLE_EQ(figure.at("limit").to_number<double>(), 9.0);
  EXPECT_THAT(std::string(figure.at("limit_source").as_string()), HasSubstr("ISO 16750-2"));
  EXPECT_FALSE(figure.at("ok").as_bool());
}

TEST(Sheet, JsonOfAnUndecidedOne) {
  const auto v = boost::json::parse(toJson(assess(jobOf(removed), Evidence(), {})));
  EXPECT_EQ(v.at("overall").as_string(), "undecided");
  EXPECT_EQ(v.at("deciding_reading").at("point").as_string(), "R(pin6,pin14)");
  EXPECT_TRUE(v.at("first_thing").is_null());
  EXPECT_TRUE(v.at("capture").is_null());
  EXPECT_EQ(v.at("steps").at(7).at("verdict").as_string(), "not-measured");
}

std::vector<std::string> lines(const std::string& text) {
  std::vector<std::string> out(1);
  for (const char c : text) {
    if (c == '\n')
      out.emplace_back();
    else
      out.back() += c;
  }
  return out;
}

std::size_t columns(const std::string& line) {
  return static_cast<std::size_t>(std::count_if(
      line.begin(), line.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}

TEST(Sheet, TextFitsTheTerminalAndSaysTheVerdictFirst) {
  Stream faulty = soundOwnBattery();
  faulty.reading("V(pin16,pin4)=0 power=on u=0.02").reading("R(pin6,pin14)=OL power=off");
  job::Job sealed = jobOf(own_battery);
  sealed.sealed = true;
  const std::pair<Sheet, const char*> rows[] = {
      {assess(jobOf(own_battery), soundOwnBattery().evidence(), asking()), "READY"},
      {assess(jobOf(fed_in_place), soundFedInPlace().evidence(), asking()), "READY"},
      {assess(jobOf(removed), soundRemoved().evidence(), asking()), "READY"},
      {assess(jobOf(own_battery), faulty.evidence(), asking()),
       "NOT READY: the diagnostic connector has no supply"},
      {assess(sealed, Evidence(), {}), "UNDECIDED"},
  };
  for (const auto& [sheet, first] : rows) {
    const std::string text = toPlainText(sheet);
    const auto all = lines(text);
    EXPECT_THAT(all[0], StartsWith(first));
    for (const std::string& line : all) EXPECT_LE(columns(line), 100U) << line;
    std::size_t at = 0;
    for (const char* name : kSteps) {  // in order, each behind its mark and word
      const std::size_t found = text.find(std::string(" ") + name + " ", at);
      ASSERT_NE(found, std::string::npos) << name << "\n" << text;
      at = found;
    }
    EXPECT_EQ(text.find("\x1b"), std::string::npos);
  }
  const std::string text = toPlainText(rows[3].first);
  EXPECT_THAT(lines(text)[1], StartsWith("First: "));
  EXPECT_THAT(text, HasSubstr("[connector-no-power]"));
  EXPECT_THAT(text, HasSubstr("\u2715 faulty"));
  EXPECT_THAT(text, HasSubstr("\u25b2 marginal"));
  EXPECT_THAT(text, HasSubstr("\u25cf sound"));
  EXPECT_THAT(toPlainText(rows[4].first), HasSubstr("\u25cb not measured"));
  EXPECT_THAT(toPlainText(rows[4].first), HasSubstr("\u2013 not asked"));
}

TEST(Sheet, VerdictsForTheRecord) {
  const auto events = verdictEvents(assess(jobOf(removed), Evidence(), {}));
  ASSERT_EQ(events.size(), kSteps.size() + 1);
  EXPECT_EQ(events.back().step, "overall");
  EXPECT_EQ(events.back().verdict, "undecided");
}

/// Nothing may ask for a measurement at deployment circuits or at the module itself.
void expectNothingForbidden(const std::string& text) {
  for (const char* word : {"squib", "loop", "deploy", "igniter", "pretension", "airbag", "air bag",
                           "module's own terminal", "module's pin", "module's plug"})
    EXPECT_EQ(text.find(word), std::string::npos) << word << ": " << text;
}

TEST(Codes, NoPointAndNoSheetAsksForAnythingForbidden) {
  for (const job::Point& p : job::points()) expectNothingForbidden(p.name + ": " + p.how);
  auto all = cases();
  for (const char* reading :
       {"V(loadblade,chassis)=0 power=on", "V(feed,chassis)=0 power=on", "I(feed)=9 power=on", "lamp=dark",
        "V(pin4,interface-)=9 power=on", "R(pin6,pin14)=OL power=off", "V(pin6,pin4)=0 power=on",
        "V(src+,src-)=0 power=on", "V(chassis,src-)=2 power=on", "signs=seen power=on"})
    for (const auto a : {own_battery, fed_in_place, removed}) {
      Stream s;
      all.emplace_back(jobOf(a), s.reading(reading).link().wait(4).asked(Ended::silent).otherAnswered());
    }
  for (const auto& [job, stream] : all) {
    const Sheet sheet = assess(job, stream.evidence(), asking());
    for (const Step& x : sheet.steps) expectNothingForbidden(x.text);
    if (sheet.deciding) expectNothingForbidden(sheet.deciding->how);
  }
}

TEST(Codes, AreWellFormedAndAskForNothingForbidden) {
  std::set<std::string> seen;
  for (const Code& c : codes()) {
    EXPECT_TRUE(seen.insert(c.code).second) << c.code;
    EXPECT_TRUE(std::find(kSteps.begin(), kSteps.end(), std::string_view(c.step)) != kSteps.end()) << c.code;
    for (const char* text : {c.to_do, c.to_do_fed, c.to_do_removed}) expectNothingForbidden(text);
    for (const auto a : {own_battery, fed_in_place, removed})
      EXPECT_GT(std::string(c.toDo(a)).size(), 40U) << c.code;
  }
  EXPECT_THROW((void)findCode("no-such"), std::logic_error);
}

std::string codesTable() {
  std::string out = "<!-- codes -->\n| code | step | meaning | what to do |\n|---|---|---|---|\n";
  for (const Code& c : codes()) {
    out += std::string("| `") + c.code + "` | " + c.step + " | " + c.meaning + " | " + c.to_do;
    if (*c.to_do_fed != '\0') out += std::string("<br>fed-in-place: ") + c.to_do_fed;
    if (*c.to_do_removed != '\0') out += std::string("<br>removed: ") + c.to_do_removed;
    out += " |\n";
  }
  return out;
}

TEST(Codes, DocumentMatchesTheTable) {
  const std::string file = PIN16_SOURCE_DIR "/docs/readiness.md";
  const auto read = [&] {
    std::ifstream in(file);
    return std::string((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  };
  std::string text = read();
  const std::size_t at = text.find("<!-- codes -->");
  ASSERT_NE(at, std::string::npos);
  if (std::getenv("PIN16_UPDATE_DOCS") != nullptr) std::ofstream(file) << text.substr(0, at) + codesTable();
  EXPECT_EQ(read().substr(at), codesTable()) << "run this test with PIN16_UPDATE_DOCS=1";
}

TEST(Plan, FreeQuestionsComeFirstAndAnsweredOnesGo) {
  for (const auto a : {own_battery, fed_in_place, removed}) {
    const auto all = nextQuestions(jobOf(a), Evidence());
    ASSERT_FALSE(all.empty());
    EXPECT_EQ(all.front().point->name, "R(pin6,pin14)");
    for (std::size_t i = 1; i < all.size(); ++i) EXPECT_LE(all[i - 1].power, all[i].power);
    for (const Question& q : all) EXPECT_NE(q.power, PowerState::unknown);
  }
  Stream s;
  s.reading("R(pin6,pin14)=60 power=off").reading("V(src+,src-)=12.6 power=source");
  const auto rest = nextQuestions(jobOf(own_battery), s.evidence());
  EXPECT_TRUE(std::none_of(rest.begin(), rest.end(), [](const Question& q) {
    return q.point->name == "R(pin6,pin14)" ||
           (q.point->name == "V(src+,src-)" && q.power == PowerState::source);
  }));
  EXPECT_TRUE(std::any_of(rest.begin(), rest.end(), [](const Question& q) {
    return q.point->name == "V(src+,src-)" && q.power == PowerState::on;
  }));
}

/// Whoever answers every question with a good value gets a sheet without unmeasured readings.
TEST(Plan, AnsweringEverythingLeavesOnlyListeningAndAsking) {
  for (const auto a : {own_battery, fed_in_place, removed}) {
    Evidence e;
    for (const Question& q : nextQuestions(jobOf(a), e)) {
      const std::string& n = q.point->name;
      std::string value = q.power == PowerState::off ? "OL" : "12.5";
      if (n == "R(pin6,pin14)") value = "60";
      if (n == "lamp") value = "lit";
      if (n == "R(feedpath)" || n == "I(feed)") value = "0.3";
      if (n == "V(chassis,src-)" || n == "V(pin4,pin5)" || n == "V(pin4,interface-)") value = "0.01";
      if (n == "signs") value = "none";
      if (n == "V(pin6,pin4)" || n == "V(pin14,pin4)") value = "2.5";
      if (n == "V(loadblade,chassis)" && q.power == PowerState::source) value = "0";
      const char* const states[] = {"", "off", "source", "on"};
      auto m = job::parseReading(n + "=" + value + " power=" + states[static_cast<std::size_t>(q.power)]);
      ASSERT_TRUE(m) << m.error().text();
      m->condition = q.with;
      e.add(*m, true);
    }
    EXPECT_TRUE(nextQuestions(jobOf(a), e).empty());
    const Sheet s = assess(jobOf(a), e, {});
    for (const Step& x : s.steps)
      if (x.name != "traffic" && x.name != "answer" && x.name != "timing") {
        EXPECT_EQ(x.verdict, Verdict::sound) << toPlainText(s);
      }
  }
}

TEST(Plan, ThePowerUpWarningNamesWhatItChangesAndTheBudget) {
  // 49 CFR 563.5(b): ignition cycle, download = power cycles applied to the recording device at the download.
  // 49 CFR 563.9(b): events that are no air bag deployment may be overwritten.
  job::Job job = jobOf(own_battery);
  const std::string first = powerUpWarning(job, {});
  EXPECT_THAT(first, HasSubstr("49 CFR 563.5"));
  EXPECT_THAT(first, HasSubstr("49 CFR 563.9"));
  EXPECT_THAT(first, HasSubstr("No power-up is in this job's ledger"));
  job.power_up_budget = 2;
  EXPECT_THAT(powerUpWarning(job, {{"2026-11-25T17:39:43Z", "declared", ""}}),
              HasSubstr("This one would be 2 of 2"));
  EXPECT_THAT(powerUpWarning(job, {{"a", "declared", ""}, {"b", "declared", ""}}), HasSubstr("used up"));
}

TEST(Plan, CautionsGiveNoGeneralWaitingTime) {
  // Published waits differ from 10 s to 15 min by platform (workshop manual pages): none is printed.
  for (const auto a : {own_battery, fed_in_place, removed}) {
    std::string all;
    for (const std::string& c : cautions(jobOf(a))) all += c + "\n";
    EXPECT_THAT(all, HasSubstr("no general figure"));
    EXPECT_THAT(all, HasSubstr("Never measure at deployment loops"));
    EXPECT_THAT(all, HasSubstr("licensed practice"));
    EXPECT_EQ(all.find_first_of("0123456789"), std::string::npos) << all;
  }
}

}  // namespace
}  // namespace pin16::readiness
