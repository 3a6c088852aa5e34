// SPDX-License-Identifier: Apache-2.0
/// Every scenario under captures/scenarios: `pin16 check --ask` over the simulated bench must say what
/// expect.toml says, and must not say it of another scenario's bench.

#include <fmt/format.h>
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

/// What `check` says of bench `scenario` with the job of `job`, against the expectation of `job`. `progress`
/// gets what it wrote on standard error, `ledger` its ledger of power-ups.
std::vector<std::string> differences(const std::string& scenario, const std::string& job,
                                     std::string* progress = nullptr, std::string* ledger = nullptr) {
  const TemporaryFolder folder;
  fs::copy_file(kScenarios / job / "job.toml", folder.file("job.toml"));  // its ledger lies beside it
  const Ran ran = runPin16({"check", "--job", "job.toml", "bench:" + (kScenarios / scenario).string(),
                            "--ask", "--json", "-o", "c.pcapng"},
                           folder.path());
  if (progress != nullptr) *progress = ran.err;
  if (ledger != nullptr) *ledger = readFile(folder.file("job.toml.ledger"));
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
  // Among the three causes that the sheet names; none named where the module answers.
  const auto cause = expect["cause"].value_or<std::string>("");
  const auto& reasons = sheet.at("reasons");
  compare("reasons", reasons.is_null() ? "none" : "some", cause.empty() ? "none" : "some");
  if (!reasons.is_null()) {
    compare("unexplained", reasons.at("unexplained").as_bool() ? "yes" : "no", "no");
    std::string named;
    const auto& causes = reasons.at("causes").as_array();
    for (std::size_t i = 0; i < causes.size() && i < 3; ++i)
      for (const auto& id : causes[i].at("group").as_array()) named += " " + text(id);
    if (cause != "open" && (named + " ").find(" " + cause + " ") == std::string::npos)
      out.push_back("causes" + named + ", expected " + cause);
  }
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

/// Sum of all "waiting for WHAT: up to N s".
double waits_s(const std::string& progress, std::size_t& count) {
  double sum = 0;
  count = 0;
  std::size_t at = 0;
  while ((at = progress.find("waiting for ", at)) != std::string::npos) {
    const std::size_t end = progress.find('\n', at);
    const std::size_t figure = progress.find(": up to ", at);
    if (figure >= end) throw std::runtime_error("a wait without its most: " + progress.substr(at, end - at));
    sum += std::stod(progress.substr(figure + 8));
    ++count;
    at = end;
  }
  return sum;
}

TEST_P(Scenario, CheckSaysWhatIsExpected) {
  std::string progress;
  const auto found = differences(GetParam(), GetParam(), &progress);
  EXPECT_TRUE(found.empty()) << joined(found);
  // The technician's time at real speed: what check waits for, at most, is told and adds up to under 60 s on
  // a sound bench.
  std::size_t count = 0;
  const double planned_s = waits_s(progress, count);
  EXPECT_GE(count, 3U) << progress;
  if (GetParam().ends_with("-sound")) {
    EXPECT_LT(planned_s, 60) << progress;
  }
  EXPECT_NE(progress.find("its waits may add up to " + fmt::format("{:.1f} s", planned_s)), std::string::npos)
      << progress;
}
std::string nameOf(std::string scenario) {
  std::replace(scenario.begin(), scenario.end(), '-', '_');
  return scenario;
}
INSTANTIATE_TEST_SUITE_P(All, Scenario, testing::ValuesIn(names()),
                         [](const auto& each) { return nameOf(each.param); });

TEST(Scenarios, TheIssuesOwnAreThere) {
  const auto all = names();
  for (const char* name :
       {"own-battery-sound", "fed-in-place-sound", "removed-sound", "connector-fuse-open",
        "pin16-dead-fed-in-place", "supply-side-fuse-out", "supply-side-fuse-out-no-signs",
        "supply-side-fuse-in", "supply-side-fuse-in-no-signs", "gateway-quiet-normal", "gateway-silent",
        "pack-shuts-off", "plug-bounces", "termination-missing", "removed-alone-listen-only",
        "removed-alone-asking", "two-sources-floating", "sagging-pack", "answer-after-the-wait"})
    EXPECT_NE(std::find(all.begin(), all.end(), name), all.end()) << name;
}

class Swapped : public testing::TestWithParam<std::pair<const char*, const char*>> {};

TEST_P(Swapped, FaultsAreNoticedBothWays) {
  const auto& [one, other] = GetParam();
  EXPECT_FALSE(differences(one, other).empty()) << one;
  EXPECT_FALSE(differences(other, one).empty()) << other;
}
INSTANTIATE_TEST_SUITE_P(Pairs, Swapped,
                         testing::Values(std::pair("connector-fuse-open", "own-battery-sound"),
                                         std::pair("removed-alone-listen-only", "removed-alone-asking"),
                                         std::pair("gateway-silent", "gateway-quiet-normal"),
                                         std::pair("supply-side-fuse-out", "supply-side-fuse-in"),
                                         std::pair("pack-shuts-off", "sagging-pack")),
                         [](const auto& each) { return nameOf(each.param.first); });

TEST(Scenarios, EachRiseOfAPlugThatBouncesIsInTheLedger) {
  std::string ledger;
  (void)differences("plug-bounces", "plug-bounces", nullptr, &ledger);
  EXPECT_NE(ledger.find("rise 1 of 3 at switch-on"), std::string::npos) << ledger;
  EXPECT_NE(ledger.find("rise 3 of 3 at switch-on"), std::string::npos) << ledger;
  EXPECT_EQ(ledger.find("rise 4"), std::string::npos) << ledger;
}

}  // namespace
}  // namespace pin16::test
