// SPDX-License-Identifier: Apache-2.0
/// The same bench over bench:, slcan: and at:, each device served by a process of its own. `check` must come
/// to the same verdicts and the roll call to the same modules and VINs; a step may differ only where the link
/// says in `medium_explains` what it cannot show of that step's subject.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>
#include <map>
#include <set>

#include "run_pin16.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

/// Which subjects of `medium_explains` may change a step's verdict.
const std::map<std::string, std::set<std::string>> kExplained = {
    {"traffic", {"acknowledge", "error frames", "traffic", "controller"}},
    {"timing", {"times"}},
};

std::string text(const json::value& v) { return std::string(v.as_string()); }

struct Said {
  std::map<std::string, std::string> steps;
  std::set<std::string> explains;  ///< subjects
};
Said said(const Ran& ran) {
  Said out;
  boost::system::error_code fault;
  const auto doc = json::parse(ran.out, fault);
  if (fault) {
    ADD_FAILURE() << ran.exit_code << ran.out << ran.err;
    return out;
  }
  for (const auto& s : doc.at("steps").as_array()) out.steps[text(s.at("name"))] = text(s.at("verdict"));
  for (const auto& sentence : doc.at("links").at(0).at("medium_explains").as_array()) {
    const std::string all = text(sentence);
    out.explains.insert(all.substr(0, all.find(':')));
  }
  return out;
}

/// "7A1 7A9 VIN", of a roll call.
std::set<std::string> modules(const Ran& ran) {
  std::set<std::string> out;
  boost::system::error_code fault;
  const auto doc = json::parse(ran.out, fault);
  if (fault) {
    ADD_FAILURE() << ran.exit_code << ran.out << ran.err;
    return out;
  }
  for (const auto& m : doc.at("modules").as_array())
    out.insert(fmt::format("{:X} {:X} {}", m.at("request_id").to_number<std::int64_t>(),
                           m.at("answer_id").to_number<std::int64_t>(),
                           m.at("vin").is_null() ? "-" : text(m.at("vin"))));
  return out;
}

class Media : public testing::TestWithParam<const char*> {};

TEST_P(Media, DifferOnlyInWhatTheMediumExplains) {
  const TemporaryFolder f;
  const std::string scenario = (kScenarios / GetParam()).string();
  fs::copy_file(scenario + "/job.toml", f.file("job.toml"));
  writeFile(f.file("said.txt"), runPin16({"bench", scenario, "--readings"}, f.path()).out);
  int captures = 0;
  const auto capture = [&] { return fmt::format("{}.pcapng", ++captures); };
  const auto check = [&](const std::string& uri) {
    fs::remove(f.file("job.toml.ledger"));
    return said(runPin16({"check", "--job", "job.toml", uri, "--ask", "--rate-known", "--operator",
                          "said.txt", "--json", "-o", capture()},
                         f.path()));
  };
  const auto roll = [&](const std::string& uri) {
    return modules(runPin16({"rollcall", uri, "--job", "job.toml", "--rate-known", "--json", "-o", capture()},
                            f.path()));
  };
  const Said bench = check("bench:" + scenario);
  EXPECT_EQ(bench.steps.size(), 9U);
  EXPECT_TRUE(bench.explains.empty()) << "the bench shows everything";
  std::map<std::string, std::set<std::string>> found;
  for (const auto& [device, options] :
       {std::pair<std::string, std::string>{"slcan", "?bitrate=500000&listen=no"},
        {"at", "?protocol=can11-500&monitor=on"}}) {
    const ServedBench served(scenario, device, f.file("at"));
    const std::string uri = device + ":" + f.file("at/" + device) + options;
    Said it = check(uri);
    EXPECT_TRUE(it.explains.contains("acknowledge")) << device;
    for (const auto& [step, verdict] : bench.steps) {
      if (it.steps[step] == verdict) continue;
      const auto subjects = kExplained.find(step);
      const bool explained =
          subjects != kExplained.end() &&
          std::any_of(subjects->second.begin(), subjects->second.end(),
                      [&, &explains = it.explains](const auto& s) { return explains.contains(s); });
      EXPECT_TRUE(explained) << device << ", " << step << ": " << it.steps.at(step)
                             << ", over bench: " << verdict;
    }
    found[device] = roll(uri);  // by now everything is up
  }
  EXPECT_EQ(found["slcan"], found["at"]);
}
INSTANTIATE_TEST_SUITE_P(Some, Media,
                         testing::Values("own-battery-sound", "removed-sound", "module-silent",
                                         "late-answers", "answer-after-the-wait", "removed-alone-asking"),
                         [](const auto& each) {
                           std::string name = each.param;
                           std::replace(name.begin(), name.end(), '-', '_');
                           return name;
                         });

}  // namespace
}  // namespace pin16::test
