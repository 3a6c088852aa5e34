// SPDX-License-Identifier: Apache-2.0
/// Meters in the commands: the bench served as adapter and instrument at once, one bench behind both, in
/// another process. The truth is the scenario's; expected verdicts follow from its faults.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <sstream>

#include "run_pin16.hpp"
#include "tests/supply/support.hpp"

namespace pin16::test {
namespace {

namespace json = boost::json;
using testing::HasSubstr;
using testing::Not;

/// A bench with adapter and instrument, and the calls that read both.
struct Yard {
  explicit Yard(const bench::Scenario& s)
      : served(s, {{"slcan", "scpi"}, folder.path(), 0}),
        tcp("scpi-tcp:127.0.0.1:" + std::to_string(served.port)),
        bus("slcan:" + folder.file("slcan") + "?bitrate=500000&listen=no") {}
  /// The scenario's V() meters in order: source, supply blade, load blade, interface, pin 16 to 4, ...
  [[nodiscard]] std::vector<std::string> meters() const {
    return {"scpi:" + folder.file("scpi") + "?V=V(src+,src-)&I=I(feed)&u_V=0.02&u_A=0.01",
            tcp + "?channel=3&V=V(loadblade,chassis)&u_V=0.02", tcp + "?channel=5&V=V(pin16,pin4)&u_V=0.02"};
  }
  [[nodiscard]] Ran check(std::vector<std::string> uris, const std::string& job) const {
    std::vector<std::string> call = {"check", "--job", job, "--json", "--ask", "--operator", "say.txt"};
    call.insert(call.end(), uris.begin(), uris.end());
    return runPin16(call, folder.path());
  }
  TemporaryFolder folder;
  supply::ServedBench served;
  std::string tcp, bus;
};

std::string verdict(const json::value& sheet, const char* step) {
  for (const auto& s : sheet.at("steps").as_array())
    if (s.at("name").as_string() == step) return s.at("verdict").as_string().c_str();
  return "no such step";
}

std::string jobFile(const TemporaryFolder& folder, const std::string& more = "") {
  writeFile(folder.file("say.txt"), "power on\n");
  writeFile(folder.file("job.toml"),
            "[job]\nname = \"a test\"\narrangement = \"own-battery\"\n[module]\nrequest_id = "
            "0x7A1\nanswer_id = 0x7A9\n"
            "current_steady_min_A = 0.1\ncurrent_steady_max_A = 0.6\n[bus]\nbitrate = 500000\n" +
                more);
  return "job.toml";
}

bench::Scenario scenario(const char* name) { return *bench::loadScenario(name); }

TEST(Meters, DecideSourceFeedAndConnectorLikeAnyReading) {
  struct Case {
    const char* what;
    bench::Scenario scenario;
    const char *source, *feed, *connector;
  };
  auto flat = scenario("own-battery-sound");
  ASSERT_TRUE(bench::applyFault(flat, {"source-flat", "", {}, 8.5, {}, {}, {}, {}}));
  for (const Case& c : {Case{"sound", scenario("own-battery-sound"), "sound", "sound", "sound"},
                        Case{"fuse", scenario("connector-fuse-open"), "sound", "sound", "faulty"},
                        Case{"flat", flat, "faulty", "faulty", "faulty"}}) {
    const Yard yard(c.scenario);
    auto uris = yard.meters();
    uris.push_back(yard.bus);
    const Ran with = yard.check(uris, jobFile(yard.folder));
    const auto sheet = json::parse(with.out);
    EXPECT_EQ(verdict(sheet, "source"), c.source) << c.what << with.err;
    EXPECT_EQ(verdict(sheet, "feed"), c.feed) << c.what << with.out;
    EXPECT_EQ(verdict(sheet, "connector"), c.connector) << c.what;
    // The same call without the meters knows nothing of the supply.
    const Ran without = yard.check({yard.bus}, "job.toml");
    EXPECT_EQ(verdict(json::parse(without.out), "source"), "not-measured") << c.what;
    EXPECT_EQ(verdict(json::parse(without.out), "connector"), "not-measured") << c.what;
  }
}

TEST(Meters, AreNoBusToTheStepsAndAreNotAsked) {
  const Yard yard(scenario("own-battery-sound"));
  auto uris = yard.meters();
  uris.push_back(yard.bus);  // the bus comes last: link 3
  const Ran r = yard.check(uris, jobFile(yard.folder));
  const auto sheet = json::parse(r.out);
  EXPECT_EQ(verdict(sheet, "traffic"), "sound") << r.out;
  EXPECT_EQ(verdict(sheet, "answer"), "sound");
  EXPECT_EQ(verdict(sheet, "timing"), "sound");
  EXPECT_THAT(r.err, Not(HasSubstr("meter cannot be asked")));
  const auto& links = sheet.at("links").as_array();
  ASSERT_EQ(links.size(), 4U);
  for (std::size_t i = 0; i < 4; ++i) EXPECT_EQ(links[i].at("meter").as_bool(), i < 3);
  EXPECT_EQ(links[0].at("condition").as_string(), "up");

  // A meter that is not there is no fault of the interface.
  const Ran missing = yard.check({"scpi:/dev/pin16-none?V=V(src+,src-)", yard.bus}, "job.toml");
  EXPECT_EQ(verdict(json::parse(missing.out), "interface"), "sound") << missing.out;
  EXPECT_THAT(missing.err, HasSubstr("there is no /dev/pin16-none"));
}

TEST(Meters, OfACheckAreLoggedOnTheFramesClockAndEachStatesItsTimeError) {
  const Yard yard(scenario("own-battery-sound"));
  const Ran r = yard.check({yard.meters().front(), yard.bus}, jobFile(yard.folder));
  const auto sheet = json::parse(r.out);
  const Ran lines =
      runPin16({"review", std::string(sheet.at("capture").as_string()), "--lines"}, yard.folder.path());
  // Each line begins with its UTC time, in digits of one length: texts compare as times do.
  std::string first_frame, last_frame;
  std::vector<std::string> volts, amperes;
  std::istringstream in(lines.out);
  for (std::string line; std::getline(in, line);) {
    const std::string time = line.substr(0, line.find(' '));
    if (line.find("3A0") != std::string::npos && line.find(" sample ") == std::string::npos) {
      if (first_frame.empty()) first_frame = time;
      last_frame = time;
    }
    if (line.find(" sample ") == std::string::npos) continue;
    const bool is_volts = line.find("V(src+,src-)") != std::string::npos;
    ASSERT_TRUE(is_volts || line.find("I(feed)") != std::string::npos) << line;
    auto& times = is_volts ? volts : amperes;
    // How old the first one was cannot be told: its instrument does not say how long it measures.
    if (!times.empty()) {
      EXPECT_THAT(line, HasSubstr("time +- "));
    }
    times.push_back(time);
  }
  ASSERT_FALSE(first_frame.empty()) << lines.out.substr(0, 2000) << r.err;
  for (const auto& times : {volts, amperes}) {
    const auto among = std::count_if(times.begin(), times.end(),
                                     [&](const auto& t) { return t >= first_frame && t <= last_frame; });
    EXPECT_GT(among, 20) << "between the first and the last frame of the module";
  }
}

TEST(Meters, OfTheJobAreReadUnlessTheCallNamesOthers) {
  const Yard yard(scenario("connector-fuse-open"));
  const std::string job =
      jobFile(yard.folder, "[[link]]\nuri = \"" + yard.bus + "\"\n[[meter]]\nuri = \"" + yard.tcp +
                               "?channel=5\"\nvolts = \"V(pin16,pin4)\"\nuncertainty_V = 0.02\n");
  const auto connector = [](const Ran& r) { return verdict(json::parse(r.out), "connector"); };
  EXPECT_EQ(connector(yard.check({}, job)), "faulty");
  EXPECT_EQ(connector(yard.check({yard.bus}, job)), "faulty")
      << "a bus named in the call leaves the job's meters";
  EXPECT_EQ(connector(yard.check({"scpi:" + yard.folder.file("scpi") + "?V=V(src+,src-)"}, job)),
            "not-measured")
      << "a meter named in the call takes their place";
}

TEST(Meters, CannotBeAskedAndSaySo) {
  const Yard yard(scenario("own-battery-sound"));
  const std::string meter = yard.meters().front();
  for (const auto& call :
       std::vector<std::vector<std::string>>{{"query", meter, "01 0C"}, {"rollcall", meter}}) {
    const Ran r = runPin16(call, yard.folder.path());
    EXPECT_EQ(r.exit_code, 2) << r.err;
    EXPECT_THAT(r.err, HasSubstr("meter"));
  }
  const Ran looked = runPin16({"links", "--check", meter}, yard.folder.path());
  EXPECT_EQ(looked.exit_code, 0) << looked.err;
  EXPECT_THAT(looked.out, HasSubstr("it answers: Pin16,bench supply,0,1"));
  EXPECT_THAT(looked.out, Not(HasSubstr("heard no frame")));
}

TEST(Meters, AreInTheRecordingWithEverySample) {
  const Yard yard(scenario("own-battery-sound"));
  const Ran r =
      runPin16({"listen", yard.meters().front(), yard.bus, "--for", "2", "--json", "-o", "run.pcapng"},
               yard.folder.path());
  ASSERT_EQ(r.exit_code, 0) << r.err;
  const auto doc = json::parse(r.out);
  EXPECT_GT(doc.at("samples").as_int64(), 30);
  EXPECT_GT(doc.at("frames").as_int64(), 30);
  const auto& links = doc.at("links").as_array();
  ASSERT_EQ(links.size(), 2U);
  EXPECT_TRUE(links[0].at("state").at("meter").as_bool());
  EXPECT_FALSE(links[1].at("state").at("meter").as_bool());
  const Ran lines = runPin16({"review", "run.pcapng", "--lines"}, yard.folder.path());
  EXPECT_THAT(lines.out, HasSubstr("sample V(src+,src-) = "));
  EXPECT_THAT(lines.out, HasSubstr("sample I(feed) = "));
  EXPECT_THAT(lines.out, HasSubstr("instrument Pin16,bench supply,0,1"));
  EXPECT_THAT(lines.out, HasSubstr("time +- "));
  // Played again, its samples go with the bus that was recorded beside it.
  const Ran again =
      runPin16({"listen", "replay:run.pcapng?pace=fast", "--for", "1", "--json"}, yard.folder.path());
  EXPECT_EQ(json::parse(again.out).at("samples").as_int64(), doc.at("samples").as_int64()) << again.err;
}

}  // namespace
}  // namespace pin16::test
