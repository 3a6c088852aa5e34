// SPDX-License-Identifier: Apache-2.0
/// The same bench through at: and through bench:. The roll call must find the same modules with the same
/// VINs; check must come to the same verdicts of traffic, answer and timing. What the medium explains is
/// named.

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>
#include <map>
#include <thread>

#include "run_pin16.hpp"
#include "tests/bench/at_desk.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

/// The adapter in a thread of its own, as it would be in a device of its own.
class Served {
 public:
  explicit Served(const std::string& scenario, double age_s, bench::AtHabits habits = {})
      : desk_(io_, *bench::loadScenario((kScenarios / scenario).string()), std::move(habits), age_s),
        thread_([this] { io_.run(); }) {}
  ~Served() {
    io_.stop();
    thread_.join();
  }
  Served(const Served&) = delete;
  Served& operator=(const Served&) = delete;
  [[nodiscard]] std::string path() const { return desk_.path(); }

 private:
  boost::asio::io_context io_;
  bench::AtDesk desk_;
  std::thread thread_;
};

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

TEST_P(AtScenario, TheRollCallFindsTheSame) {
  const TemporaryFolder f;
  const std::string job = (kScenarios / GetParam() / "job.toml").string();
  const Ran bench = runPin16({"rollcall", "bench:" + (kScenarios / GetParam()).string(), "--job", job,
                              "--json", "--rate-known", "-o", "b.pcapng"},
                             f.path());
  const Served served(GetParam(), 3);
  const Ran at = runPin16(
      {"rollcall", "at:" + served.path() + "?protocol=can11-500", "--job", job, "--json", "-o", "a.pcapng"},
      f.path());
  EXPECT_EQ(at.exit_code, bench.exit_code) << at.out << at.err;
  EXPECT_EQ(modules(at), modules(bench));
  // Whatever left and came on the serial line is in the capture.
  const std::string lines = runPin16({"review", "a.pcapng", "--lines"}, f.path()).out;
  EXPECT_THAT(lines, testing::HasSubstr("request 22 f1 90"));
}

TEST_P(AtScenario, CheckComesToTheSameVerdicts) {
  const TemporaryFolder f;
  const fs::path scenario = kScenarios / GetParam();
  fs::copy_file(scenario / "job.toml", f.file("job.toml"));
  const auto steps = [&](const Ran& ran) {
    std::map<std::string, std::string> out;
    boost::system::error_code fault;
    const auto doc = json::parse(ran.out, fault);
    if (fault) {
      ADD_FAILURE() << ran.out << ran.err;
      return out;
    }
    for (const auto& s : doc.at("steps").as_array()) out[text(s.at("name"))] = text(s.at("verdict"));
    out["overall"] = text(doc.at("overall"));
    return out;
  };
  const auto bench = steps(runPin16(
      {"check", "--job", "job.toml", "bench:" + scenario.string(), "--ask", "--json", "-o", "b.pcapng"},
      f.path()));
  // An adapter brings one point of the supply: the others are typed, as they stand on the bench.
  writeFile(f.file("said.txt"), runPin16({"bench", scenario.string(), "--readings"}, f.path()).out);
  const Served served(GetParam(), 3);
  const Ran ran =
      runPin16({"check", "--job", "job.toml", "at:" + served.path() + "?protocol=can11-500&monitor=on",
                "--ask", "--operator", "said.txt", "--json", "-o", "a.pcapng"},
               f.path());
  EXPECT_EQ(steps(ran), bench) << ran.err;
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
  const Served served("own-battery-sound", 3);
  const Ran r =
      runPin16({"query", "at:" + served.path() + "?protocol=can11-500", "09 02", "-o", "q.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 0) << r.err;
  EXPECT_THAT(r.out, testing::HasSubstr("0PN16BEN6H0000001"));
}

TEST(AtCommands, WithoutAProtocolOrByJobAloneNothingIsAsked) {
  const TemporaryFolder f;
  const Served served("own-battery-sound", 3);
  EXPECT_EQ(runPin16({"query", "at:" + served.path(), "09 02", "-o", "q.pcapng"}, f.path()).exit_code, 2);
  const Ran r = runPin16({"rollcall", "at:" + served.path(), "--job",
                          (kScenarios / "own-battery-sound/job.toml").string(), "-o", "r.pcapng"},
                         f.path());
  EXPECT_EQ(r.exit_code, 4) << r.out << r.err;
}

}  // namespace
}  // namespace pin16::test
