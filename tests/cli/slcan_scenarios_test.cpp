// SPDX-License-Identifier: Apache-2.0
/// The same bench once as `bench:` and once behind its serial CAN adapter on a pty: `check` and `rollcall`
/// must say the same of bus and modules.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/serialize.hpp>
#include <boost/json/value.hpp>
#include <filesystem>

#include "run_pin16.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

struct Case {
  const char* scenario;
  const char* modules;  ///< who answers 22 F190, and its VIN, as scenario.toml has it
};
class SlcanScenario : public testing::TestWithParam<Case> {};

json::value run(const std::vector<std::string>& call, const TemporaryFolder& f) {
  const Ran ran = runPin16(call, f.path());
  boost::system::error_code fault;
  auto document = json::parse(ran.out, fault);
  EXPECT_FALSE(fault) << ran.exit_code << ran.err;
  return document;
}

/// Every verdict, and what is said of the module's answers, the roll call of `check`.
std::string verdicts(const json::value& sheet) {
  std::string all = "overall " + std::string(sheet.at("overall").as_string());
  for (const auto& step : sheet.at("steps").as_array()) {
    const std::string_view name = step.at("name").as_string();
    all += fmt::format("\n{} {}", name, std::string_view(step.at("verdict").as_string()));
    if (name == "answer") all += fmt::format(": {}", std::string_view(step.at("text").as_string()));
  }
  return all;
}

std::string modules(const json::value& roll) {
  std::string all;
  for (const auto& m : roll.at("modules").as_array())
    all += fmt::format("{:X} {:X} {}; ", m.at("request_id").to_number<int>(),
                       m.at("answer_id").to_number<int>(), std::string_view(m.at("vin").as_string()));
  return all;
}

TEST_P(SlcanScenario, SaysTheSameAsOverBench) {
  const std::string scenario = GetParam().scenario;
  const TemporaryFolder f;
  fs::copy_file(kScenarios / scenario / "job.toml", f.file("job.toml"));
  const std::string bench = "bench:" + (kScenarios / scenario).string();
  const std::string slcan = "slcan:" + f.file("at/slcan") + "?bitrate=500000&listen=no";
  writeFile(f.file("said.txt"),
            runPin16({"bench", (kScenarios / scenario).string(), "--readings"}, f.path()).out);
  const auto check = [&](const std::string& uri, const char* capture) {
    fs::remove(f.file("job.toml.ledger"));
    return run(
        {"check", "--job", "job.toml", uri, "--ask", "--operator", "said.txt", "--json", "-o", capture}, f);
  };
  const std::string expected = verdicts(check(bench, "b.pcapng"));
  const ServedBench served((kScenarios / scenario).string(), "slcan", f.file("at"));
  ASSERT_THAT(served.ready(), testing::HasSubstr("\"device\":\"slcan\""));
  EXPECT_EQ(verdicts(check(slcan, "s.pcapng")), expected);
  const auto roll =
      run({"rollcall", slcan, "--job", "job.toml", "--rate-known", "--json", "-o", "r.pcapng"}, f);
  EXPECT_EQ(modules(roll), GetParam().modules);
  EXPECT_EQ(std::string(roll.at("links").at(0).at("condition").as_string()), "finished");
  EXPECT_EQ(std::string(roll.at("links").at(0).at("description").as_string()),
            "serial CAN adapter, version 0101, serial number P016");
}
INSTANTIATE_TEST_SUITE_P(
    Three, SlcanScenario,
    testing::Values(Case{"own-battery-sound", "7A1 7A9 0PN16BEN6H0000001; 7E0 7E8 0PN16BEN6H0000001; "},
                    Case{"removed-sound", "7A1 7A9 0PN16BEN6H0000001; "}, Case{"module-silent", ""}),
    [](const auto& each) {
      std::string name = each.param.scenario;
      std::replace(name.begin(), name.end(), '-', '_');
      return name;
    });

TEST(SlcanCommands, QueryThroughAListenOnlyLinkIsExit3WithTheWarning) {
  const TemporaryFolder f;
  const ServedBench served((kScenarios / "own-battery-sound").string(), "slcan", f.file("at"));
  const Ran r =
      runPin16({"query", "slcan:" + f.file("at/slcan"), "09 02", "--rate-known", "-o", "q.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 3) << r.err;
  EXPECT_THAT(r.err, testing::HasSubstr("acknowledge"));
  EXPECT_THAT(runPin16({"review", "q.pcapng"}, f.path()).out, testing::HasSubstr("Sent by us   nothing"));
}

TEST(SlcanCommands, ARecordingHasTheFramesAndTheSerialBytes) {
  const TemporaryFolder f;
  const ServedBench served((kScenarios / "own-battery-sound").string(), "slcan", f.file("at"));
  const Ran r =
      runPin16({"listen", "slcan:" + f.file("at/slcan"), "--for", "2", "--json", "-o", "l.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 0) << r.err;
  const auto doc = json::parse(r.out);
  EXPECT_GT(doc.at("frames").to_number<int>(), 50);
  EXPECT_EQ(doc.at("losses").at("total").to_number<int>(), 0);
  EXPECT_EQ(doc.at("links").at(0).at("state").at("silence").as_string(), "claimed");
  EXPECT_EQ(doc.at("links").at(0).at("state").at("time_origin").as_string(), "adapter");
  EXPECT_EQ(runPin16({"verify", "l.pcapng"}, f.path()).exit_code, 0);
  const std::string lines = runPin16({"review", "l.pcapng", "--lines"}, f.path()).out;
  for (const char* bytes : {"bytes sent 56 0d 56 0d", "bytes received 56 30 31 30 31 0d", "bytes sent 43 0d"})
    EXPECT_NE(lines.find(bytes), std::string::npos) << bytes;
}

TEST(SlcanCommands, TheRateSearchSaysTheRate) {
  const TemporaryFolder f;
  const ServedBench served((kScenarios / "own-battery-sound").string(), "slcan", f.file("at"));
  const Ran r = runPin16({"links", "--rate-search", "slcan:" + f.file("at/slcan")}, f.path());
  EXPECT_EQ(r.exit_code, 0) << r.err;
  EXPECT_THAT(r.out, testing::HasSubstr("500000 bit/s carries valid frames"));
  EXPECT_EQ(runPin16({"links", "--rate-search", "slcan:" + f.file("none")}, f.path()).exit_code, 3);
  EXPECT_EQ(runPin16({"links", "--rate-search", "bench:own-battery-sound"}, f.path()).exit_code, 2);
}

}  // namespace
}  // namespace pin16::test
