// SPDX-License-Identifier: Apache-2.0
/// The same bench through at: and through bench:. The roll call must find the same modules with the same
/// VINs. What check says over each medium: media_test.cpp.

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>
#include <map>

#include "run_pin16.hpp"
#include "tests/bench/at_desk.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

using Served = bench::DeskInThread<bench::AtDesk>;

std::string text(const json::value& v) { return std::string(v.as_string()); }

/// "7A1>7A9 VIN", by request identifier.
std::map<std::int64_t, std::string> modules(const Ran& ran) {
  std::map<std::int64_t, std::string> out;
  boost::system::error_code fault;
  const auto doc = json::parse(ran.out, fault);
  if (fault) {
    ADD_FAILURE() << ran.out << ran.err;
    return out;
  }
  for (const auto& m : doc.at("modules").as_array())
    out[m.at("request_id").to_number<std::int64_t>()] =
        fmt::format("{:X} {}", m.at("answer_id").to_number<std::int64_t>(),
                    m.at("vin").is_null() ? "-" : text(m.at("vin")));
  return out;
}

class AtScenario : public testing::TestWithParam<const char*> {};

/// The scenario with everything up at once: `rollcall` asks as soon as its links are up.
std::string quickly(const TemporaryFolder& f, const std::string& name) {
  std::string text = readFile((kScenarios / name / "scenario.toml").string());
  for (const auto& [from, to] :
       {std::pair("power_on_s = 0.5", "power_on_s = 0.05"), std::pair("boot_s = 0.6", "boot_s = 0.1"),
        std::pair("boot_s = 0.3", "boot_s = 0.1")}) {
    const std::size_t at = text.find(from);
    if (at != std::string::npos) text.replace(at, std::string(from).size(), to);
  }
  fs::create_directory(f.file("quick"));
  writeFile(f.file("quick/scenario.toml"), text);
  return f.file("quick");
}

TEST_P(AtScenario, TheRollCallFindsTheSame) {
  const TemporaryFolder f;
  const std::string job = (kScenarios / GetParam() / "job.toml").string();
  const std::string scenario = quickly(f, GetParam());
  const Ran bench =
      runPin16({"rollcall", "bench:" + scenario, "--job", job, "--json", "-o", "b.pcapng"}, f.path());
  const Served served(scenario, bench::AtHabits{});
  const Ran at = runPin16(
      {"rollcall", "at:" + served.path() + "?protocol=can11-500", "--job", job, "--json", "-o", "a.pcapng"},
      f.path());
  EXPECT_EQ(at.exit_code, bench.exit_code) << at.out << at.err;
  EXPECT_EQ(modules(at), modules(bench));
  EXPECT_EQ(modules(at).empty(), std::string(GetParam()) == "module-silent") << "something was compared";
  EXPECT_THAT(runPin16({"review", "a.pcapng", "--lines"}, f.path()).out, testing::HasSubstr("22 f1 90"));
}

INSTANTIATE_TEST_SUITE_P(Some, AtScenario,
                         testing::Values("own-battery-sound", "removed-sound", "module-silent"),
                         [](const auto& each) {
                           std::string name = each.param;
                           std::replace(name.begin(), name.end(), '-', '_');
                           return name;
                         });

TEST(AtCommands, QueryGivesTheVin) {
  const TemporaryFolder f;
  const Served served((kScenarios / "own-battery-sound").string(), bench::AtHabits{});
  const Ran r =
      runPin16({"query", "at:" + served.path() + "?protocol=can11-500", "09 02", "-o", "q.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 0) << r.err;
  EXPECT_THAT(r.out, testing::HasSubstr("0PN16BEN6H0000001"));
}

TEST(AtCommands, TheSearchNeedsItsWordSaysWhatItSendsAndObeysTheGate) {
  const TemporaryFolder f;
  const Served served((kScenarios / "own-battery-sound").string(), bench::AtHabits{});
  const std::string at = "at:" + served.path();
  const fs::path job = kScenarios / "own-battery-sound/job.toml";
  EXPECT_EQ(runPin16({"query", at + "?protocol=search", "09 02", "-o", "n.pcapng"}, f.path()).exit_code, 2);
  const Ran found = runPin16({"query", at, "09 02", "--search", "-o", "q.pcapng"}, f.path());
  EXPECT_EQ(found.exit_code, 0) << found.err;
  EXPECT_THAT(found.out, testing::HasSubstr("0PN16BEN6H0000001"));
  EXPECT_THAT(found.err, testing::HasSubstr("sends 01 00 to all modules"));
  EXPECT_THAT(runPin16({"review", "q.pcapng", "--lines"}, f.path()).out, testing::HasSubstr("request 01 00"));
  // A check that does not ask; a link that has its protocol; a sealed job.
  const auto check = [&](const std::vector<std::string>& more) {
    std::vector<std::string> call = {"check", "--job", "job.toml", "--search", "-o", "c.pcapng"};
    call.insert(call.end(), more.begin(), more.end());
    return runPin16(call, f.path()).exit_code;
  };
  fs::copy_file(job, f.file("job.toml"));
  EXPECT_EQ(check({at}), 2);
  EXPECT_EQ(check({at + "?protocol=can11-500", "--ask"}), 2);
  std::string sealed = readFile(job.string());
  sealed.replace(sealed.find("sealed = false"), 14, "sealed = true");
  writeFile(f.file("job.toml"), sealed);
  EXPECT_EQ(check({at, "--ask"}), 4);
  EXPECT_FALSE(fs::exists(f.file("c.pcapng"))) << "nothing was opened";
}

TEST(AtCommands, WithoutAProtocolOrByJobAloneNothingIsAsked) {
  const TemporaryFolder f;
  const Served served((kScenarios / "own-battery-sound").string(), bench::AtHabits{});
  EXPECT_EQ(runPin16({"query", "at:" + served.path(), "09 02", "-o", "q.pcapng"}, f.path()).exit_code, 2);
  const Ran r = runPin16({"rollcall", "at:" + served.path(), "--job",
                          (kScenarios / "own-battery-sound/job.toml").string(), "-o", "r.pcapng"},
                         f.path());
  EXPECT_EQ(r.exit_code, 4) << r.out << r.err;
}

}  // namespace
}  // namespace pin16::test
