// SPDX-License-Identifier: Apache-2.0
/// The same bench through kline: and through bench:. The VINs must be the same; what the medium explains is
/// named: only legislated responders answer on a K-line, by address instead of identifier.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>
#include <map>
#include <set>

#include "core/bench/serve_kline.hpp"
#include "run_pin16.hpp"
#include "tests/bench/at_desk.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

class Served : public bench::DeskInThread<bench::Desk<bench::KLineLead, bench::KLineHabits>> {
 public:
  explicit Served(const std::string& scenario, event::Medium medium = event::Medium::iso14230_4)
      : DeskInThread(scenario, habits(medium)) {}
  [[nodiscard]] std::string uri(const char* options) const { return "kline:" + path() + options; }

 private:
  static bench::KLineHabits habits(event::Medium medium) {
    bench::KLineHabits h;
    h.medium = medium;
    h.tolerance_ms = 20;  // how exactly a loaded machine keeps 25 ms is no matter of this test
    if (medium == event::Medium::iso9141_2) h.key1 = h.key2 = 0x08;
    return h;
  }
};

json::value document(const Ran& ran) {
  boost::system::error_code fault;
  auto doc = json::parse(ran.out, fault);
  if (fault) ADD_FAILURE() << ran.out << ran.err;
  return doc;
}
std::string text(const json::value& v) { return v.is_null() ? "-" : std::string(v.as_string()); }

/// VINs by answer identifier or address.
std::map<std::int64_t, std::string> vins(const json::value& doc) {
  std::map<std::int64_t, std::string> out;
  for (const auto& m : doc.at("modules").as_array())
    out[m.at("answer_id").to_number<std::int64_t>()] = text(m.at("vin"));
  return out;
}

TEST(KLineCommands, TheRollCallGivesTheLegislatedModulesWithTheSameVins) {
  const TemporaryFolder f;
  const std::string scenario = (kScenarios / "own-battery-sound").string();
  const Ran bench = runPin16({"rollcall", "bench:" + scenario, "--json", "-o", "b.pcapng"}, f.path());
  const auto on_can = vins(document(bench));
  ASSERT_FALSE(on_can.empty()) << bench.out << bench.err;
  for (const auto& [medium, options] : {std::pair(event::Medium::iso14230_4, "?init=fast"),
                                        std::pair(event::Medium::iso9141_2, "?init=5baud")}) {
    const Served served(scenario, medium);
    const Ran kline = runPin16(
        {"rollcall", served.uri(options), "--json", "-o", std::string(toText(medium)) + ".pcapng"}, f.path());
    EXPECT_EQ(kline.exit_code, 0) << kline.out << kline.err;
    const auto doc = document(kline);
    std::map<std::int64_t, std::string> expected;  // 7E8 has address 10
    for (const auto& [id, vin] : on_can) expected[id >= 0x7E8 && id <= 0x7EF ? 0x10 + id - 0x7E8 : id] = vin;
    EXPECT_EQ(vins(doc), expected);
    for (const auto& m : doc.at("modules").as_array()) EXPECT_EQ(text(m.at("medium")), toText(medium));
    EXPECT_EQ(text(doc.at("links").at(0).at("medium")), toText(medium));
  }
  // What was on the line is in the capture, and the capture is whole.
  EXPECT_EQ(runPin16({"verify", "iso14230-4.pcapng"}, f.path()).exit_code, 0);
  const std::string lines = runPin16({"review", "iso14230-4.pcapng", "--lines"}, f.path()).out;
  EXPECT_THAT(lines, testing::HasSubstr("iso14230-4 message sent c2 33 f1: 01 00"));
  EXPECT_THAT(lines, testing::HasSubstr("initialised: W5 "));
  // Seen from the messages alone, the same exchanges come out.
  const auto again = document(runPin16({"review", "iso14230-4.pcapng", "--json"}, f.path()));
  std::set<std::string> answers;
  for (const auto& x : again.at("exchanges").as_array())
    if (text(x.at("ended")) == "answered") answers.insert(text(x.at("request")) + " " + text(x.at("answer")));
  EXPECT_THAT(answers, testing::Contains("0902 490201"
                                         "30504e313642454e364830303030303031"));
}

TEST(KLineCommands, QueryGivesTheVinAndOneModuleByItsAddress) {
  const TemporaryFolder f;
  const Served served((kScenarios / "own-battery-sound").string());
  const Ran r = runPin16({"query", served.uri("?init=fast"), "09 02", "01 00", "-o", "q.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 0) << r.out << r.err;
  EXPECT_THAT(r.out, testing::HasSubstr("0PN16BEN6H0000001"));
  const Ran one =
      runPin16({"query", served.uri("?init=fast"), "@A9 1A 90", "--json", "-o", "o.pcapng"}, f.path());
  EXPECT_EQ(one.exit_code, 0) << one.out << one.err;
  const auto doc = document(one);
  const auto& x = doc.at("exchanges").at(0);
  EXPECT_EQ(text(x.at("answer")), "5a9030504e313642454e364830303030303031");
  EXPECT_EQ(x.at("answer_id").to_number<int>(), 0xA9);
  EXPECT_EQ(text(x.at("medium")), "iso14230-4");
}

TEST(KLineCommands, NothingIsAskedWithoutAWayOrWhatIsNotOnTheList) {
  const TemporaryFolder f;
  const Served served((kScenarios / "own-battery-sound").string());
  EXPECT_EQ(runPin16({"query", served.uri(""), "01 00", "-o", "1.pcapng"}, f.path()).exit_code, 4);
  EXPECT_EQ(runPin16({"query", served.uri("?init=fast"), "@A9 10 89", "-o", "2.pcapng"}, f.path()).exit_code,
            4);
  EXPECT_EQ(runPin16({"query", served.uri("?init=fast"), "@A9 3E", "-o", "3.pcapng"}, f.path()).exit_code, 4);
  EXPECT_EQ(runPin16({"query", served.uri("?init=quick"), "01 00", "-o", "4.pcapng"}, f.path()).exit_code, 2);
  for (const char* file : {"1.pcapng", "2.pcapng", "3.pcapng"})
    EXPECT_THAT(runPin16({"review", file, "--lines"}, f.path()).out,
                testing::Not(testing::HasSubstr("sent c")));
}

TEST(KLineCommands, ListenHearsWithoutSending) {
  const TemporaryFolder f;
  const Served served((kScenarios / "own-battery-sound").string());
  const Ran r = runPin16({"listen", served.uri(""), "--for", "1", "--json", "-o", "l.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 0) << r.out << r.err;
  const auto doc = document(r);
  EXPECT_TRUE(doc.at("sent").as_array().empty());
  EXPECT_EQ(text(doc.at("links").at(0).at("state").at("medium")), "iso14230-4");
}

// On CAN, no frame on a powered bus is a fault; a K-line is silent by nature, and check must not call that
// one.
TEST(KLineCommands, CheckTakesSilenceForNoFault) {
  const TemporaryFolder f;
  const fs::path scenario = kScenarios / "own-battery-sound";
  fs::copy_file(scenario / "job.toml", f.file("job.toml"));
  writeFile(f.file("said.txt"), runPin16({"bench", scenario.string(), "--readings"}, f.path()).out);
  const Served served(scenario.string());
  const auto steps = [&](std::vector<std::string> more) {
    std::vector<std::string> words = {"check",  "--job",      "job.toml", served.uri("?init=fast"),
                                      "--json", "--operator", "said.txt"};
    words.insert(words.end(), more.begin(), more.end());
    const auto doc = document(runPin16(words, f.path()));
    std::map<std::string, std::string> out;
    for (const auto& s : doc.at("steps").as_array()) out[text(s.at("name"))] = text(s.at("verdict"));
    return out;
  };
  const auto passive = steps({"-o", "p.pcapng"});
  EXPECT_EQ(passive.at("traffic"), "not-measured");
  EXPECT_EQ(passive.at("connector"), "sound");
  const auto asked = steps({"--ask", "-o", "a.pcapng"});
  EXPECT_EQ(asked.at("traffic"), "sound");
  EXPECT_NE(asked.at("answer"), "faulty") << "the job's module has no identifier on a K-line";
}

}  // namespace
}  // namespace pin16::test
