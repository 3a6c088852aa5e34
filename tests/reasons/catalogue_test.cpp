// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <set>
#include <sstream>

#include "core/reasons/model.hpp"
#include "core/reasons/reasoner.hpp"
#include "core/reasons/text.hpp"

namespace pin16::reasons {
namespace {

constexpr Arrangement kArrangements[] = {Arrangement::own_battery, Arrangement::fed_in_place,
                                         Arrangement::removed};

std::string lowered(std::string text) {
  for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return text;
}

TEST(Catalogue, HasAtLeastSixtyCausesEachWhole) {
  EXPECT_GE(causes().size(), 60U);
  std::set<std::string> ids;
  for (const Cause& c : causes()) {
    SCOPED_TRACE(c.id);
    EXPECT_TRUE(ids.insert(c.id).second);
    for (const char* text : {c.title, c.step, c.physics, c.confirm, c.mend, c.source}) EXPECT_NE(*text, 0);
    double sum = 0;
    for (const Arrangement a : kArrangements) {
      const double w = c.weight[static_cast<std::size_t>(a)];
      sum += w;
      EXPECT_EQ(w > 0, (c.arrangements & bit(a)) != 0) << job::toText(a);
    }
    EXPECT_GT(sum, 0);
  }
}

// Nothing asks for deployment circuits or for a module's own contacts, whatever it is called, and nothing
// proposes to take a module out.
TEST(Catalogue, NeverAsksForDeploymentCircuitsOrTheModulesContacts) {
  std::vector<std::string> texts;
  for (const Cause& c : causes())
    for (const char* t : {c.id, c.title, c.confirm, c.mend, c.caution}) texts.push_back(lowered(t));
  for (const Reading& r : readings())
    for (const char* t : {r.id, r.how, r.meter, r.instrument}) texts.push_back(lowered(t));
  for (const std::string& t : texts)
    for (const char* word : {"squib", "loop", "deploy", "igniter", "pretension", "airbag", "modpin", "modgnd",
                             "modh", "modl", "module pin", "module connector", "module terminal",
                             "module side", "remove the module", "take the module out", "unbolt"})
      EXPECT_EQ(t.find(word), std::string::npos) << word << " in: " << t;
}

TEST(Catalogue, OhmsAreTakenWithThePowerOffOnly) {
  for (const Reading& r : readings()) {
    EXPECT_EQ(r.unit == Unit::ohm, std::string(r.id).starts_with("R(")) << r.id;
    EXPECT_TRUE(r.unit != Unit::ohm || r.power == Power::off) << r.id;
    EXPECT_EQ(r.unit == Unit::answer, !r.answers.empty()) << r.id;
    EXPECT_GT(r.minutes, 0) << r.id;
    EXPECT_NE(*r.how, 0) << r.id;
    EXPECT_EQ(*r.meter != 0, r.unit != Unit::answer) << r.id;
  }
  EXPECT_FALSE(parseObservation("R(pin6,pin14)=60ohm;power=on"));
  EXPECT_FALSE(parseObservation("R(feed,chassis)=60ohm power=source"));
}

TEST(Catalogue, ReadingsOfTheTableAreThoseOfTheModel) {
  ASSERT_EQ(readings().size(), kReadings);
  EXPECT_STREQ(readings()[static_cast<std::size_t>(R::r_feed_chassis)].id, "R(feed,chassis)");
  EXPECT_STREQ(readings()[static_cast<std::size_t>(R::v_pin16_pin4)].id, "V(pin16,pin4)");
  EXPECT_STREQ(readings()[static_cast<std::size_t>(R::identifiers)].id, "identifiers");
  EXPECT_STREQ(readings()[static_cast<std::size_t>(R::v_interface)].id, "V(interface+,interface-)");
}

// Each cause can be injected, shows the symptom, and its readings differ from the sound bench's.
TEST(Catalogue, EachCauseCanBeInjectedAndShows) {
  for (const Arrangement a : kArrangements)
    for (std::size_t c = 0; c < causes().size(); ++c) {
      if ((causes()[c].arrangements & bit(a)) == 0) continue;
      SCOPED_TRACE(std::string(causes()[c].id) + " " + job::toText(a));
      int silent = 0, differs = 0;
      for (std::uint64_t seed = 1; seed <= 150; ++seed) {
        Draw d(seed), same(seed);
        Bench b = soundBench({a, false}, d);
        const Predicted sound = predict(soundBench({a, false}, same));
        ASSERT_TRUE(inject(c, b, d));
        const Predicted p = predict(b);
        silent += p.answers ? 0 : 1;
        for (std::size_t r = 0; r < kReadings; ++r)
          if (!(p.value[r] == sound.value[r]) && !(std::isnan(p.value[r]) && std::isnan(sound.value[r]))) {
            ++differs;
            break;
          }
      }
      EXPECT_GE(silent, 1);
      EXPECT_GE(differs, 1);
    }
}

TEST(Catalogue, TheSoundBenchAnswers) {
  for (const Arrangement a : kArrangements)
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
      Draw d(seed);
      EXPECT_TRUE(predict(soundBench({a, std::nullopt}, d)).answers) << job::toText(a) << " seed " << seed;
    }
}

// No cause may be indistinguishable from the sound bench unless a group says so: the symptom parts it.
TEST(Catalogue, ReplacedPriorsNameTheirFaults) {
  const std::string file = testing::TempDir() + "priors.csv";
  const auto write = [&](const char* text) { std::ofstream(file) << text; };
  Priors p = priors(Arrangement::removed);
  write("# own jobs\nrig-fuse-open,20,own jobs of two years\n");
  EXPECT_TRUE(replacePriors(p, file));
  EXPECT_EQ(p.weight[*findCause("rig-fuse-open")], 20);
  EXPECT_EQ(p.source[*findCause("rig-fuse-open")], "own jobs of two years");
  write("\nrig-fuse-open,20\n");
  auto s = replacePriors(p, file);
  ASSERT_FALSE(s);
  EXPECT_THAT(s.error().text(), testing::HasSubstr(":2:"));
  write("no-such,20,x\n");
  s = replacePriors(p, file);
  ASSERT_FALSE(s);
  EXPECT_THAT(s.error().text(), testing::HasSubstr("no-such"));
  write("rig-fuse-open,-1,x\n");
  EXPECT_FALSE(replacePriors(p, file));
  std::remove(file.c_str());
}

std::string arrangementsText(unsigned bits) {
  std::string out;
  for (const Arrangement a : kArrangements)
    if ((bits & bit(a)) != 0) out += (out.empty() ? "" : ", ") + std::string(job::toText(a));
  return out;
}

// docs/reasons.md has both tables; PIN16_UPDATE_DOCS=1 writes them anew.
TEST(Catalogue, ThePageHasBothTables) {
  std::ostringstream tables;
  const char* const powers[] = {"off", "source", "on", "as it is"};
  tables << "| reading | power | min | arrangements | how | source |\n|---|---|---|---|---|---|\n";
  for (const Reading& r : readings())
    tables << "| `" << r.id << "` | " << powers[static_cast<std::size_t>(r.power)] << " | " << r.minutes
           << " | " << arrangementsText(r.arrangements) << " | " << r.how
           << (*r.risk != 0 ? std::string("; caution: ") + r.risk : "") << " | " << r.source << " |\n";
  tables << "\n## Causes\nWeights are relative, given that nobody answers: own-battery / fed-in-place / "
            "removed.\n\n| cause | what | on the bench | confirm | mend | weight | source "
            "|\n|---|---|---|---|---|---|---|\n";
  for (const Cause& c : causes())
    tables << "| `" << c.id << "` | " << c.title << " | " << c.physics << " | " << c.confirm << " | "
           << c.mend << (*c.caution != 0 ? std::string("; caution: ") + c.caution : "") << " | "
           << c.weight[0] << " / " << c.weight[1] << " / " << c.weight[2] << " | " << c.source << " |\n";
  const std::string path = std::string(PIN16_SOURCE_DIR) + "/docs/reasons.md";
  std::ifstream in(path);
  std::stringstream whole;
  whole << in.rdbuf();
  const std::string mark = "## Readings\n";
  const std::size_t at = whole.str().find(mark);
  ASSERT_NE(at, std::string::npos);
  const std::string wanted = whole.str().substr(0, at + mark.size()) + tables.str();
  if (std::getenv("PIN16_UPDATE_DOCS") != nullptr)
    std::ofstream(path) << wanted;
  else
    EXPECT_EQ(whole.str(), wanted) << "run test_reasons with PIN16_UPDATE_DOCS=1";
}

}  // namespace
}  // namespace pin16::reasons
