// SPDX-License-Identifier: Apache-2.0
/// Every scenario under captures/scenarios: `pin16 check --ask` over the simulated bench must say what
/// expect.toml says, and must not say it of another scenario's bench.

#include <gtest/gtest.h>
#include <toml++/toml.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>

#include "run_pin16.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

std::vector<std::string> names() {
  std::vector<std::string> all;
  for (const auto& entry : fs::directory_iterator(kScenarios))
    if (fs::exists(entry.path() / "expect.toml")) all.push_back(entry.path().filename().string());
  std::sort(all.begin(), all.end());
  return all;
}

std::string text(const boost::json::value& v) { return std::string(v.as_string()); }

/// What `check` says of bench `scenario` with the job of `job`, against the expectation of `job`.
std::vector<std::string> differences(const std::string& scenario, const std::string& job) {
  const TemporaryFolder folder;
  fs::copy_file(kScenarios / job / "job.toml", folder.file("job.toml"));  // its ledger lies beside it
  const Ran ran = runPin16({"check", "--job", "job.toml", "bench:" + (kScenarios / scenario).string(),
                            "--ask", "--json", "-o", "c.pcapng"},
                           folder.path());
  std::vector<std::string> out;
  boost::system::error_code fault;
  const auto sheet = boost::json::parse(ran.out, fault);
  if (fault) return {"no JSON: " + ran.out + ran.err};
  const auto expect = toml::parse_file((kScenarios / job / "expect.toml").string());
  const auto compare = [&](const std::string& what, const std::string& said, const std::string& expected) {
    if (said != expected) out.push_back(what + " said " + said + ", expected " + expected);
  };
  const auto overall = expect["overall"].value<std::string>().value();
  compare("overall", text(sheet.at("overall")), overall);
  compare("exit", std::to_string(ran.exit_code), overall == "ready" ? "0" : "1");
  const auto& first = sheet.at("first_thing");
  compare("first_thing", first.is_null() ? "" : text(first.at("code")),
          expect["first_thing_code"].value_or<std::string>(""));
  std::size_t compared = 0;
  for (const auto& step : sheet.at("steps").as_array()) {
    const std::string name = text(step.at("name"));
    compare(name, text(step.at("verdict")), expect["steps"][name].value_or<std::string>("(missing)"));
    ++compared;
  }
  compare("number of steps", std::to_string(compared), "9");
  if (!out.empty()) out.push_back(ran.out);
  return out;
}

std::string joined(const std::vector<std::string>& lines) {
  std::string all;
  for (const auto& l : lines) all += l + "\n";
  return all;
}

class Scenario : public testing::TestWithParam<std::string> {};

TEST_P(Scenario, CheckSaysWhatIsExpected) {
  const auto found = differences(GetParam(), GetParam());
  EXPECT_TRUE(found.empty()) << joined(found);
}
INSTANTIATE_TEST_SUITE_P(All, Scenario, testing::ValuesIn(names()), [](const auto& each) {
  std::string name = each.param;
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
});

TEST(Scenarios, TheIssuesOwnAreThere) {
  const auto all = names();
  for (const char* name : {"own-battery-sound", "fed-in-place-sound", "removed-sound", "connector-fuse-open",
                           "pin16-dead-fed-in-place"})
    EXPECT_NE(std::find(all.begin(), all.end(), name), all.end()) << name;
}

TEST(Scenarios, SwappedFaultsAreNoticedBothWays) {
  EXPECT_FALSE(differences("connector-fuse-open", "own-battery-sound").empty());
  EXPECT_FALSE(differences("own-battery-sound", "connector-fuse-open").empty());
}

}  // namespace
}  // namespace pin16::test
