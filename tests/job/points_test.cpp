// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <algorithm>
#include <cctype>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <set>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

std::string lowered(std::string s) {
  std::transform(s.begin(), s.end(), s.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return s;
}

TEST(Points, NoneAsksForDeploymentLoopsOrTheModulesOwnTerminals) {
  for (const Point& p : points())
    for (const char* word :
         {"squib", "loop", "deploy", "igniter", "pretension", "inflator", "airbag", "air bag", "module's own",
          "module's terminal", "module's pin", "module pin", "module plug"}) {
      EXPECT_EQ(lowered(p.name + " " + p.how).find(word), std::string::npos) << p.name << ": " << word;
    }
}

TEST(Points, AreCompleteAndNamedOnce) {
  std::set<std::string> names;
  for (const Point& p : points()) {
    EXPECT_TRUE(names.insert(p.name).second) << p.name;
    EXPECT_GT(p.how.size(), 20U) << p.name;
    EXPECT_FALSE(p.arrangements.empty()) << p.name;
    EXPECT_FALSE(p.source.empty()) << p.name;
    EXPECT_GT(p.minutes, 0) << p.name;
    EXPECT_NE(p.when, event::PowerState::unknown) << p.name;
    EXPECT_EQ(findPoint(p.name), &p);
  }
  EXPECT_EQ(findPoint("V(pin16)"), nullptr);
}

TEST(Points, OhmmeterPointsNeedThePowerOff) {
  for (const Point& p : points()) {
    if (p.unit == "ohm" && p.name != "R(feedpath)") {
      EXPECT_EQ(p.when, event::PowerState::off) << p.name;
      EXPECT_NE(lowered(p.how).find("power off"), std::string::npos) << p.name;
    }
  }
}

TEST(Points, EveryPointCanBeTyped) {
  for (const Point& p : points()) {
    const std::string value = p.name == "lamp" ? "lit" : p.unit.empty() ? "seen" : "1" + p.unit;
    const std::string power = p.when == event::PowerState::off      ? "off"
                              : p.when == event::PowerState::source ? "source"
                                                                    : "on";
    const auto m = parseReading(p.name + "=" + value + " power=" + power);
    ASSERT_TRUE(m) << p.name << ": " << m.error().text();
    EXPECT_EQ(m->point, p.name);
  }
}

std::string document() {
  static const char* const kWhen[] = {"", "power off", "source on, module not fed", "module on"};
  std::string out =
      "<!-- SPDX-License-Identifier: Apache-2.0 -->\n# Measuring points\n\nMade from the table in "
      "`core/job/points.cpp`; the test `job` compares it (`PIN16_UPDATE_DOCS=1` writes it "
      "anew).\n\nDeployment "
      "circuits and a module's own terminals are never measured: a reading there is refused, whatever it is "
      "called.\n"
      "Ohms are taken with the power off and say so. Everything up to \"module not fed\" costs no "
      "power-up.\nNames are "
      "written as in SPICE: `V(a,b)` is the voltage of a against b; `V(b,a)` is taken too, with the other "
      "sign.\n\n"
      "| point | unit | when | min | arrangements | how | source |\n|---|---|---|---|---|---|---|\n";
  for (const Point& p : points()) {
    std::string where;
    for (const Arrangement a : p.arrangements) where += (where.empty() ? "" : ", ") + std::string(toText(a));
    char minutes[32];
    std::snprintf(minutes, sizeof minutes, "%g", p.minutes);
    out += "| `" + p.name + "` | " + p.unit + " | " + kWhen[static_cast<std::size_t>(p.when)] + " | " +
           minutes + " | " + where + " | " + p.how + " | " + p.source + " |\n";
  }
  return out;
}

TEST(Points, DocumentMatchesTheTable) {
  const std::string file = PIN16_SOURCE_DIR "/docs/points.md";
  if (std::getenv("PIN16_UPDATE_DOCS") != nullptr) std::ofstream(file) << document();
  std::ifstream in(file);
  const std::string text((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  EXPECT_EQ(text, document()) << "run this test with PIN16_UPDATE_DOCS=1";
}

}  // namespace
}  // namespace pin16::job
