// SPDX-License-Identifier: Apache-2.0
#include "core/bench/scenario.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

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

Fault fault(const std::string& name) {
  Fault f;
  f.name = name;
  return f;
}

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

// Each fault changes something that an interface or a meter can notice in at least one arrangement (a dead
// pin 16 cannot get deader): the printed solution, or the behaviour on the bus that it sets.
TEST(Faults, EachCanBeNoticed) {
  const auto names = faultNames();
  EXPECT_GT(names.size(), 20U);
  for (const std::string& name : names) {
    bool noticed = false;
    for (const char* base : {"own-battery-sound", "pin16-dead-fed-in-place", "removed-sound"}) {
      const auto sound = loadScenario(base);
      ASSERT_TRUE(sound) << sound.error().text();
      Scenario s = *sound;
      if (!applyFault(s, fault(name))) continue;
      EXPECT_EQ(s.faults, std::vector<std::string>{name});
      const Module& a = sound->modules[0];
      const Module& b = s.modules[0];
      const bool behaves_else = a.mute != b.mute || a.delay_ms != b.delay_ms || a.pending != b.pending ||
                                a.bitrate != b.bitrate || a.transceiver_dead != b.transceiver_dead;
      s.faults.clear();
      noticed = noticed || behaves_else || *print(*sound) != *print(s);
    }
    EXPECT_TRUE(noticed) << name;
  }
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
