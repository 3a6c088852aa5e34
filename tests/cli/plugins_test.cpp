// SPDX-License-Identifier: Apache-2.0
// Plugins as a user meets them: listed, run beside a recording, misbehaving, and heard in the sheet.
#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <cstdlib>
#include <filesystem>

#include "tests/cli/run_pin16.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

class PluginCommands : public ::testing::Test {
 protected:
  void SetUp() override {
    setenv("XDG_DATA_HOME", folder_.file("data").c_str(), 1);
    unsetenv("PIN16_PROGRAM");
  }
  std::string hostile(const std::string& mode) {
    const std::string to = folder_.file(mode + ".so");
    fs::copy_file(PIN16_HOSTILE, to, fs::copy_options::overwrite_existing);
    return to;
  }
  TemporaryFolder folder_;
  const std::string scenario_ = PIN16_SOURCE_DIR "/captures/scenarios/own-battery-sound";
};

TEST_F(PluginCommands, ListsTheShippedOnesWithTheirSettings) {
  const Ran text = runPin16({"plugins"}, folder_.path());
  EXPECT_EQ(text.exit_code, 0) << text.err;
  EXPECT_NE(text.out.find("bus-voltage 1.0  (shipped)"), std::string::npos) << text.out;
  EXPECT_NE(text.out.find("dip_V = 0.5, from 0.05 to 24 V"), std::string::npos) << text.out;
  const Ran ran = runPin16({"plugins", "--json"}, folder_.path());
  const json::value v = json::parse(ran.out);
  EXPECT_EQ(v.at("schema"), "pin16-plugins");
  EXPECT_EQ(v.at("plugins").as_array().size(), 5U);
}

TEST_F(PluginCommands, SaysWhyOneWasNotLoaded) {
  const std::string path = hostile("nothing");
  fs::permissions(path, fs::perms::others_write, fs::perm_options::add);
  const Ran ran = runPin16({"plugins", "--plugin", path}, folder_.path());
  EXPECT_EQ(ran.exit_code, 1);
  EXPECT_NE(ran.out.find("can be written by others"), std::string::npos) << ran.out;
  EXPECT_NE(ran.out.find("chmod go-w"), std::string::npos) << ran.out;
}

TEST_F(PluginCommands, AHostileOneLeavesTheCaptureIntactAndTheOthersTheirResults) {
  for (const char* mode : {"reads-null", "exits", "floods"}) {
    const Ran ran = runPin16(
        {"listen", "bench:" + scenario_, "--for", "1", "--json", "-o", "c.pcapng", "--plugin", hostile(mode)},
        folder_.path());
    EXPECT_EQ(ran.exit_code, 0) << mode << ran.err;
    const Ran verified = runPin16({"verify", "c.pcapng"}, folder_.path());
    EXPECT_EQ(verified.exit_code, 0) << mode << verified.out << verified.err;
    const json::value v = json::parse(ran.out);
    ASSERT_EQ(v.at("plugins").as_array().size(), 6U) << mode;
    for (const json::value& p : v.at("plugins").as_array())
      if (p.at("name") == "hostile") {
        EXPECT_TRUE(p.at("failed").is_string() || p.at("dropped").to_number<std::uint64_t>() > 0) << mode;
      } else {
        EXPECT_TRUE(p.at("failed").is_null()) << p.at("name") << ": " << p.at("failed");
      }
    for (const char* end : {"", ".sha256", ".blocks"})
      fs::remove(folder_.file(std::string("c.pcapng") + end));
  }
}

TEST_F(PluginCommands, AskThroughTheGateInCheckAskOnly) {
  writeFile(folder_.file("job.toml"), readFile(scenario_ + "/job.toml"));
  const auto answerStep = [&](std::vector<std::string> more) {
    std::vector<std::string> arguments{"check", "--job",    "job.toml", "bench:" + scenario_, "--json",
                                       "-o",    "c.pcapng", "--plugin", PIN16_ASKING};
    arguments.insert(arguments.end(), more.begin(), more.end());
    const Ran ran = runPin16(arguments, folder_.path());
    const json::value v = json::parse(ran.out);
    json::object found;
    for (const json::value& step : v.at("steps").as_array())
      if (step.at("name") == "answer") found = step.as_object();
    return found;
  };
  const json::object asked = answerStep({"--ask"});
  ASSERT_EQ(asked.at("plugin"), "asking") << asked;
  EXPECT_EQ(asked.at("verdict"), "marginal") << "a plugin's warning lowers it";
  const std::string text(asked.at("text").as_string());
  EXPECT_NE(text.find("answered with 14 bytes"), std::string::npos) << text;  // 62 F1 87 and P16-77-0042
  EXPECT_NE(text.find("refused: "), std::string::npos) << text;
  // What was refused never left; what left is on record.
  const json::value review =
      json::parse(runPin16({"review", "c.pcapng", "--json", "--no-plugins"}, folder_.path()).out);
  const std::string sent = json::serialize(review.at("sent")),
                    refused = json::serialize(review.at("refused"));
  EXPECT_EQ(sent.find("22fa13"), std::string::npos) << sent;
  EXPECT_NE(sent.find("22f187"), std::string::npos) << sent;
  EXPECT_NE(refused.find("22fa13"), std::string::npos) << refused;
  for (const char* end : {"", ".sha256", ".blocks"}) fs::remove(folder_.file(std::string("c.pcapng") + end));
  const json::object passive = answerStep({});
  EXPECT_TRUE(passive.at("plugin").is_null()) << "without --ask nothing is asked: " << passive;
}

TEST_F(PluginCommands, SettingsComeFromTheJobAndAreChecked) {
  const std::string job = readFile(scenario_ + "/job.toml");
  writeFile(folder_.file("job.toml"), job + "\n[plugin.bus-census]\nwindw_ms = 10\n");
  const Ran wrong = runPin16(
      {"review", PIN16_SOURCE_DIR "/captures/dumpcap-obd-uds.pcapng", "--job", "job.toml"}, folder_.path());
  EXPECT_EQ(wrong.exit_code, 2);
  EXPECT_NE(wrong.err.find("window_ms"), std::string::npos) << wrong.err;
  writeFile(folder_.file("job.toml"), job + "\n[plugin.bus-census]\nwindow_ms = 100\n");
  const Ran right = runPin16(
      {"review", PIN16_SOURCE_DIR "/captures/dumpcap-obd-uds.pcapng", "--job", "job.toml"}, folder_.path());
  EXPECT_EQ(right.exit_code, 0) << right.err;
  EXPECT_NE(right.out.find("window of 100 ms"), std::string::npos) << right.out;
  const Ran none =
      runPin16({"review", PIN16_SOURCE_DIR "/captures/dumpcap-obd-uds.pcapng", "--no-plugins", "--json"},
               folder_.path());
  EXPECT_TRUE(json::parse(none.out).at("plugins").as_array().empty());
}

}  // namespace
}  // namespace pin16::test
