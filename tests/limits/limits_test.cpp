// SPDX-License-Identifier: Apache-2.0
#include "core/limits/limits.hpp"

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <set>

namespace pin16::limits {
namespace {

TEST(Limits, CarryThePublishedFigures) {
  const Limits l;
  // ISO 16750-2:2010 Table 1 (public excerpt): code C 9 to 16 V, code H 18 to 32 V.
  EXPECT_EQ(l.value("supply.module_min_V"), 9.0);
  EXPECT_EQ(l.value("supply.module_max_V"), 16.0);
  EXPECT_EQ(l.value("supply.module_min_24_V"), 18.0);
  EXPECT_EQ(l.value("supply.module_max_24_V"), 32.0);
  // Repair manual note attributing its figures to the Society of Automotive Engineers: any circuit, total.
  EXPECT_EQ(l.value("supply.circuit_drop_max_V"), 1.0);
  // Encyclopedia article on the voltage drop test: ground.
  EXPECT_EQ(l.value("ground.drop_max_V"), 0.1);
  // Public mailing-list note on flooded batteries: 0 % and 25 % charge.
  EXPECT_EQ(l.value("supply.battery_rest_empty_V"), 11.6);
  EXPECT_EQ(l.value("supply.battery_rest_low_V"), 12.0);
  // Vehicle workshop manual text: 60 ohm, accept 55 to 65; 0 to 5 ohm is a short.
  EXPECT_EQ(l.value("bus.termination_min_ohm"), 55);
  EXPECT_EQ(l.value("bus.termination_max_ohm"), 65);
  EXPECT_EQ(l.value("bus.short_max_ohm"), 5);
  // CAN transceiver data sheet SLLSF80B, ISO 11898-2: recessive 2.0 to 3.0 V each line; -0.1 to 0.1 V asleep.
  EXPECT_EQ(l.value("bus.recessive_min_V"), 2.0);
  EXPECT_EQ(l.value("bus.recessive_max_V"), 3.0);
  EXPECT_EQ(l.value("bus.asleep_max_V"), 0.1);
}

TEST(Limits, ComputedOnesFollowFromTheirInputs) {
  const Limits l;
  // Ohm's law: 1.0 V lost at the current that 10 ohm draws from 12.6 V.
  EXPECT_NEAR(l.value("supply.feed_path_max_ohm"), 1.0 / (12.6 / 10), 0.005);
  EXPECT_EQ(l.value("supply.battery_rest_empty_24_V"), 2 * l.value("supply.battery_rest_empty_V"));
  EXPECT_EQ(l.value("supply.battery_rest_low_24_V"), 2 * l.value("supply.battery_rest_low_V"));
  // Two and three 120 ohm in parallel lie inside and outside the accepted band.
  EXPECT_GT(120.0 / 2, l.value("bus.termination_min_ohm"));
  EXPECT_LT(120.0 / 2, l.value("bus.termination_max_ohm"));
  EXPECT_GT(120.0 / 3, l.value("bus.extra_termination_min_ohm"));
  EXPECT_LT(120.0 / 3, l.value("bus.extra_termination_max_ohm"));
}

TEST(Limits, AreCompleteAndNamedOnce) {
  static const std::set<std::string> kUnits = {"V", "A", "ohm", "ms", "s", "1"};
  static const std::set<std::string> kConfidences = {
      "read", "read-secondary", "computed", "derived", "practice", "own", "memory"};
  const Limits tables;
  std::set<std::string> names;
  for (const Limit& l : tables.all()) {
    EXPECT_TRUE(names.insert(l.name).second) << l.name;
    EXPECT_TRUE(kUnits.contains(l.unit)) << l.name << " " << l.unit;
    EXPECT_TRUE(kConfidences.contains(l.confidence)) << l.name << " " << l.confidence;
    EXPECT_FALSE(l.source.empty()) << l.name;
    EXPECT_EQ(l.confidence == "memory", l.name.starts_with("hint.")) << l.name;
  }
}

TEST(Limits, AReplacedOneSaysWhoReplacedIt) {
  Limits l;
  ASSERT_TRUE(l.replace("supply.module_min_V", 9.5, "label on the module"));
  EXPECT_EQ(l.get("supply.module_min_V").value, 9.5);
  EXPECT_EQ(l.get("supply.module_min_V").source, "label on the module");
  EXPECT_EQ(l.get("supply.module_min_V").confidence, "job");
  EXPECT_FALSE(l.replace("supply.module_min", 9.5, "typo"));
  EXPECT_THROW((void)l.get("supply.module_min"), std::logic_error);
}

std::string document() {
  std::string out =
      "<!-- SPDX-License-Identifier: Apache-2.0 -->\n# Limits\n\nMade from the tables in `core/limits`; the "
      "test "
      "`limits` compares it (`PIN16_UPDATE_DOCS=1` writes it anew).\nA job may replace a limit by name and "
      "must say "
      "why ([job-file.md](job-file.md)). Confidence `memory` is a hint:\nshown, never decides. `own` is a "
      "figure of "
      "this project, `read-secondary` one seen in a page that repeats a standard.\n\n"
      "| name | value | unit | source | confidence |\n|---|---|---|---|---|\n";
  const Limits tables;
  for (const Limit& l : tables.all()) {
    char value[32];
    std::snprintf(value, sizeof value, "%g", l.value);
    out +=
        "| `" + l.name + "` | " + value + " | " + l.unit + " | " + l.source + " | " + l.confidence + " |\n";
  }
  return out;
}

TEST(Limits, DocumentMatchesTheTables) {
  const std::string file = PIN16_SOURCE_DIR "/docs/limits.md";
  if (std::getenv("PIN16_UPDATE_DOCS") != nullptr) std::ofstream(file) << document();
  std::ifstream in(file);
  const std::string text((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  EXPECT_EQ(text, document()) << "run this test with PIN16_UPDATE_DOCS=1";
}

}  // namespace
}  // namespace pin16::limits
