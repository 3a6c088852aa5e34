// SPDX-License-Identifier: Apache-2.0
#include "core/bench/scenario.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>

#include "core/bench/bench.hpp"
#include "core/bench/network.hpp"

namespace pin16::bench {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

constexpr const char* kSmall = R"(
[scenario]
name = "small"
arrangement = "removed"
[connector]
fed_from = "source"
[[module]]
name = "unit"
)";

std::string withLine(const std::string& line) { return std::string(kSmall) + line + "\n"; }

TEST(ScenarioFile, DefaultsMakeAWorkingBench) {
  const auto s = parseScenario(kSmall, "small.toml");
  ASSERT_TRUE(s) << s.error().text();
  EXPECT_EQ(s->arrangement, job::Arrangement::removed);
  EXPECT_TRUE(Network::make(*s));
}

TEST(ScenarioFile, MistakesNameFileLineAndField) {
  const struct {
    const char* line;
    const char* expected;
  } cases[] = {
      {"delay_mss = 3", "module.delay_mss is not a field"},
      {"delay_ms = \"3\"", "module.delay_ms must be a number"},
      {"delay_ms = -1", "module.delay_ms must be a number from 0"},
      {"feed = \"roof\"", "module.feed must be one of slot, bus-bar"},
      {"request_id = 0x20000000", "module.request_id must be a whole number from 0 to 536870911"},
      {"mute = 1", "module.mute must be true or false"},
      {"[[module.answer]]\nrequest = \"22F19\"", "answer.request must be hex digits"},
      {"[[meter]]\npoint = \"lamp\"\nwhen = \"never\"", "meter.when must be one or more of off, source, on"},
      {"[bus]\nbitrate = 3", "bus.bitrate must be at least 1000"},
      {"feeds = []", "module.feeds must be a list of words"},
      {"feeds = [\"slot\", \"roof\"]", "module.feeds must be one of slot, bus-bar, ignition, rig"},
      {"wake_up = \"ignition\"", "must name the ignition wire last"},
      {"[rig]\nbounce_ms = [3, 2]", "rig.bounce_ms must rise"},
      {"[[fault]]\nname = \"module-mute\"\nat_s = 3\nuntil_s = 2", "fault.until_s must be after at_s"},
      {"[[fault]]\nname = \"gateway-silent\"", "has no [gateway]"},
      {"[[fault]]\nname = \"gremlin\"", "there is no fault named \"gremlin\""},
      {"[[fault]]\nname = \"supply-side-feed\"", "cannot exist in arrangement removed"},
      {"[[fault]]\nname = \"module-mute\"\nmodule = \"nobody\"", "names no module"},
      {"x = = 1", "not a valid TOML file"},
  };
  for (const auto& c : cases) {
    const auto s = parseScenario(withLine(c.line), "small.toml");
    ASSERT_FALSE(s) << c.line;
    EXPECT_EQ(s.error().kind, ErrorKind::input);
    EXPECT_THAT(s.error().what, HasSubstr(c.expected));
    EXPECT_THAT(s.error().place, HasSubstr("small.toml"));
  }
  EXPECT_THAT(parseScenario(withLine("delay_mss = 3"), "small.toml").error().place,
              HasSubstr("small.toml:9"));
  EXPECT_THAT(parseScenario("[scenario]\nname = \"x\"", "x.toml").error().what, HasSubstr("[[module]]"));
}

TEST(ScenarioFile, WiringThatCannotBeIsRefused) {
  auto bar = parseScenario(withLine("feed = \"bus-bar\""), "small.toml");
  ASSERT_TRUE(bar);
  EXPECT_THAT(Network::make(*bar).error().what, HasSubstr("none on the table"));
  auto rating = parseScenario(withLine("[rig]\nfuse_A = 6"), "small.toml");
  ASSERT_TRUE(rating);
  EXPECT_THAT(Network::make(*rating).error().what, HasSubstr("no blade fuse of 6 A"));
  const auto small = parseScenario(kSmall, "small.toml");
  Meter blade;
  blade.point = "V(supplyblade,chassis)";
  EXPECT_THAT(Network::make(*small, &blade).error().what,
              HasSubstr("there is no point V(supplyblade,chassis)"));
}

TEST(Shipped, EveryScenarioReadsWiresAndHasItsJob) {
  int count = 0;
  for (const auto& entry : fs::directory_iterator(PIN16_SOURCE_DIR "/captures/scenarios")) {
    if (!entry.is_directory()) continue;
    const std::string name = entry.path().filename().string();
    const auto s = loadScenario(name);
    ASSERT_TRUE(s) << s.error().text();
    EXPECT_TRUE(readings(*s)) << name;
    const auto job = job::readJob((entry.path() / "job.toml").string());
    ASSERT_TRUE(job) << job.error().text();
    EXPECT_EQ(job->arrangement, s->arrangement) << name;
    ASSERT_EQ(job->links.size(), 1U) << name;
    EXPECT_EQ(job->links[0].uri, "bench:" + name);
    EXPECT_TRUE(fs::exists(entry.path() / "expect.toml")) << name;
    ++count;
  }
  EXPECT_GE(count, 5);
}

TEST(Shipped, ComplaintsAreWhatATechnicianKnowsAndGiveNoFaultAway) {
  const auto all = listScenarios();
  ASSERT_GE(all.size(), 20U);
  std::set<std::string> told;
  for (const Listed& s : all) {
    EXPECT_FALSE(s.complaint.empty()) << s.name;
    EXPECT_TRUE(told.insert(s.complaint).second) << "cannot be told from another one: " << s.name;
    for (const char* word :
         {"sound", "fuse", "ground", "paint", "terminat", "clamp", "blade", "gateway", "silent", "late ",
          "sag", "empty", "bounce", "transceiver", "listen-only", "second battery"})
      EXPECT_EQ(s.complaint.find(word), std::string::npos) << s.name << " tells its answer: " << word;
  }
  EXPECT_TRUE(std::is_sorted(all.begin(), all.end(),
                             [](const Listed& a, const Listed& b) { return a.arrangement < b.arrangement; }));
}

// The page that describes the format: its example is a scenario, and it names every fault.
TEST(ScenarioFile, IsDescribedAsItIs) {
  std::ifstream in(PIN16_SOURCE_DIR "/docs/scenario-file.md");
  const std::string page{std::istreambuf_iterator<char>(in), {}};
  for (const std::string& name : faultNames()) EXPECT_THAT(page, HasSubstr(name));
  const auto begin = page.find("```toml\n") + 8;
  const auto s = parseScenario(page.substr(begin, page.find("```", begin) - begin), "scenario-file.md");
  ASSERT_TRUE(s) << s.error().text();
  EXPECT_TRUE(readings(*s));
}

TEST(Shipped, UnknownNameListsTheKnownOnes) {
  const auto s = loadScenario("no-such-thing");
  ASSERT_FALSE(s);
  EXPECT_THAT(s.error().advice, HasSubstr("own-battery-sound"));
}

}  // namespace
}  // namespace pin16::bench
