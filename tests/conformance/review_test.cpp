// SPDX-License-Identifier: Apache-2.0
// What review finds in a capture, against tshark's dissectors (ISO 15765, UDS, OBD-II) and, for a generated
// capture, against what scapy was told to put in. A program that is missing is said (FELL BACK) and skipped;
// finding nothing is no pass.
#include "core/review/review.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/wait.h>

#include <algorithm>
#include <boost/json.hpp>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>
#include <tuple>

namespace pin16::review {
namespace {

namespace json = boost::json;

constexpr std::uint8_t kAnswerBit = 0x40;
constexpr std::uint8_t kNegative = 0x7F;

/// Output of a shell command, its errors in ours; a command that fails fails the test.
std::string outputOf(const std::string& command) {
  FILE* const pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) {
    ADD_FAILURE() << "cannot run: " << command;
    return {};
  }
  std::string out;
  char part[65536];
  for (std::size_t n = 0; (n = fread(part, 1, sizeof part, pipe)) > 0;) out.append(part, n);
  const int status = pclose(pipe);
  EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0) << command << " ended with " << status;
  return out;
}

json::value parsed(const std::string& text) {
  boost::system::error_code error;
  json::value v = json::parse(text, error);
  EXPECT_FALSE(error) << error.message();
  return error ? json::value(json::object()) : v;
}

/// One whole message: identifier, 29 bit, payload in hex.
using Found = std::tuple<std::uint32_t, bool, std::string>;

struct Dissected {
  std::vector<Found> messages;         ///< in order of the last frame
  std::vector<std::uint8_t> services;  ///< of each message, as the dissector says: the request's
};

/// tshark takes ranges and single numbers.
std::string idList(const Summary& s, bool extended, bool prefixed) {
  std::set<std::uint32_t> ids;
  for (const auto& m : s.messages)
    if (m.record.extended == extended && (m.record.prefix >= 0) == prefixed) ids.insert(m.record.id);
  std::string out;
  for (const std::uint32_t id : ids) out += fmt::format("{}{:#x}", out.empty() ? "" : ",", id);
  return out;
}

/// One pass of tshark with the identifiers that review found; `service` is the field that names the service.
/// `prefixed`: with those that have a byte before the PCI, which tshark calls extended addressing.
Dissected dissect(const std::string& file, const Summary& s, const std::string& protocol,
                  const std::string& service, bool prefixed = false) {
  std::string command = "tshark -r '" + file + "' -d iso15765.subdissector," + protocol + " -Y " + protocol;
  for (const bool extended : {false, true})
    if (const std::string ids = idList(s, extended, prefixed); !ids.empty())
      command += fmt::format(" -o iso15765.can.{}ids:{}", extended ? "extended_" : "", ids);
  if (prefixed) command += " -o 'iso15765.addressing:Extended addressing'";
  Dissected out;
  const json::value packets = parsed(outputOf(command + " -T json -x"));
  if (!packets.is_array()) return out;
  for (const json::value& packet : packets.as_array()) {
    const json::object& layers = packet.at("_source").at("layers").as_object();
    const json::object& can = layers.at(layers.contains("can") ? "can" : "canfd").as_object();
    const std::string prefix = can.contains("can.id") ? "can" : "canfd";
    out.messages.emplace_back(std::stoul(std::string(can.at(prefix + ".id").as_string())),
                              can.at(prefix + ".flags.xtd").as_string() == "1",
                              std::string(layers.at(protocol + "_raw").at(0).as_string()));
    const json::string& named = layers.at(protocol).at(service).as_string();
    out.services.push_back(static_cast<std::uint8_t>(std::stoul(std::string(named), nullptr, 16)));
  }
  return out;
}

/// The request's service, as tshark counts it: 7F becomes 3F.
std::uint8_t serviceOf(const Bytes& payload) {
  return payload[0] == kNegative ? std::uint8_t{0x3F} : static_cast<std::uint8_t>(payload[0] & ~kAnswerBit);
}

/// Wireshark's packet-obd-ii.c takes requests on the functional identifiers only (7DF, 18DB33F1).
bool seenByObdDissector(const event::Message& m, std::uint8_t service) {
  const bool answer = (m.payload[0] & kAnswerBit) != 0;
  const bool functional = m.id == (m.extended ? 0x18DB33F1U : 0x7DFU);
  return service != 0 && service <= 0x0A && (answer || functional);
}

/// Messages that the dissector is known to miss: identifier, time of the last frame.
using Beyond = std::set<std::pair<std::uint32_t, Ns>>;

Dissected ours(const Summary& s, bool obd_only, bool prefixed = false, const Beyond& beyond = {}) {
  Dissected out;
  for (const auto& row : s.messages) {
    const event::Message& m = row.record;
    if (!m.complete || (m.prefix >= 0) != prefixed || beyond.contains({m.id, row.t_ns})) continue;
    const std::uint8_t service = serviceOf(m.payload);
    if (obd_only && !seenByObdDissector(m, service)) continue;
    out.messages.emplace_back(m.id, m.extended, toHex(m.payload));
    out.services.push_back(service);
  }
  return out;
}

Dissected obdOnly(const Dissected& all) {
  Dissected out;
  for (std::size_t i = 0; i < all.messages.size(); ++i) {
    if (all.services[i] == 0 || all.services[i] > 0x0A) continue;
    out.messages.push_back(all.messages[i]);
    out.services.push_back(all.services[i]);
  }
  return out;
}

std::uint64_t packetsThat(const std::string& file, const std::string& filter) {
  const std::string out = outputOf("tshark -r '" + file + "' -Y '" + filter + "' -T fields -e frame.number");
  return static_cast<std::uint64_t>(std::count(out.begin(), out.end(), '\n'));
}

void expectTsharkAgrees(const std::string& file, const Summary& s, const Beyond& beyond = {}) {
  EXPECT_EQ(s.frames, packetsThat(file, "can.flags.err==0 || canfd"));
  EXPECT_EQ(s.error_frames, packetsThat(file, "can.flags.err==1"));

  const Dissected uds = dissect(file, s, "uds", "uds.sid");
  const Dissected mine = ours(s, false, false, beyond);
  ASSERT_FALSE(mine.messages.empty());
  EXPECT_EQ(mine.messages, uds.messages);
  EXPECT_EQ(mine.services, uds.services);

  const Dissected obd = obdOnly(dissect(file, s, "obd-ii", "obd-ii.mode"));
  const Dissected my_obd = ours(s, true, false, beyond);
  ASSERT_FALSE(my_obd.messages.empty());
  EXPECT_EQ(my_obd.messages, obd.messages);
  EXPECT_EQ(my_obd.services, obd.services);
}

/// Whether a command works; a line says if not.
bool isThere(const std::string& command, const std::string& what) {
  const int status = std::system((command + " >/dev/null 2>&1").c_str());
  if (status == 0) return true;
  fmt::print("FELL BACK: {} is missing, nothing was compared with it\n", what);
  return false;
}
bool tsharkIsThere() { return isThere("command -v tshark", "tshark"); }

TEST(Conformance, TsharkAgreesOnARealCapture) {
  if (!tsharkIsThere()) GTEST_SKIP();
  const std::string file = PIN16_SOURCE_DIR "/captures/dumpcap-obd-uds.pcapng";
  const auto s = reviewFile(file);
  ASSERT_TRUE(s) << s.error().text();
  EXPECT_EQ(s->exchanges.size(), 9U);
  expectTsharkAgrees(file, *s);
}

struct Generated : ::testing::Test {
  std::filesystem::path folder;
  std::string capture;
  json::value truth;
  std::optional<Summary> summary;

  void SetUp() override {
    if (!isThere("/usr/bin/python3 -c 'import scapy'", "scapy")) GTEST_SKIP();
    std::string name = (std::filesystem::temp_directory_path() / "pin16-conformance-XXXXXX").string();
    ASSERT_NE(mkdtemp(name.data()), nullptr);
    folder = name;
    capture = (folder / "known.pcap").string();
    // The interpreter that Debian's scapy belongs to, not whatever PATH has first.
    outputOf("/usr/bin/python3 " PIN16_SOURCE_DIR "/tests/conformance/generate.py '" + capture + "' '" +
             (folder / "truth.json").string() + "' 2>'" + (folder / "errors").string() + "'");
    std::ifstream in(folder / "truth.json");
    ASSERT_TRUE(in) << "scapy generated nothing: " << std::ifstream(folder / "errors").rdbuf();
    std::stringstream text;
    text << in.rdbuf();
    truth = parsed(text.str());
    auto s = reviewFile(capture);
    ASSERT_TRUE(s) << s.error().text();
    summary = std::move(*s);
  }
  void TearDown() override {
    if (!folder.empty()) std::filesystem::remove_all(folder);
  }
};

/// `wanted` restricted to the keys that the truth has, row by row.
void expectRows(const json::value& truth, const json::value& found, const char* what) {
  const json::array& wanted = truth.at(what).as_array();
  const json::array& rows = found.at(what).as_array();
  ASSERT_FALSE(wanted.empty()) << what;
  ASSERT_EQ(rows.size(), wanted.size()) << what;
  for (std::size_t i = 0; i < wanted.size(); ++i)
    for (const auto& [key, value] : wanted[i].as_object()) {
      const json::value& got = rows[i].as_object().at(key);
      if (value.is_null() && key == "payload")
        continue;  // broken off: what is left of it is not the question
      const bool equal = value.is_double() && got.is_double()
                             ? std::abs(value.as_double() - got.as_double()) < 1e-9
                             : value == got;
      EXPECT_TRUE(equal) << what << " " << i << " " << key << ": wanted " << value << ", found " << got
                         << " in " << rows[i];
    }
}

TEST_F(Generated, ReviewFindsWhatWasPutIn) {
  const json::value found = parsed(toJson(*summary));
  EXPECT_EQ(found.at("frames"), truth.at("frames"));
  EXPECT_EQ(found.at("error_frames"), truth.at("error_frames"));
  EXPECT_EQ(found.at("last_ns"), truth.at("last_ns"));
  expectRows(truth, found, "identifiers");
  expectRows(truth, found, "messages");
  expectRows(truth, found, "exchanges");
  std::set<std::string> endings;
  for (const auto& x : summary->exchanges) endings.insert(toText(x.record.ended));
  EXPECT_EQ(endings, (std::set<std::string>{"answered", "negative", "incomplete", "silent", "not-seen"}));
}

TEST_F(Generated, TsharkAgrees) {
  if (!tsharkIsThere()) GTEST_SKIP();
  Beyond beyond;
  for (const json::value& m : truth.at("beyond_tshark").as_array())
    beyond.emplace(m.at("id").to_number<std::uint32_t>(), m.at("t_ns").to_number<Ns>());
  EXPECT_EQ(beyond.size(), 1U);
  expectTsharkAgrees(capture, *summary, beyond);
  const Dissected uds = dissect(capture, *summary, "uds", "uds.sid", true);
  const Dissected mine = ours(*summary, false, true);
  ASSERT_FALSE(mine.messages.empty());
  EXPECT_EQ(mine.messages, uds.messages);
  EXPECT_EQ(mine.services, uds.services);
}

/// Every shipped scenario, recorded as `check --ask` records it.
class Scenarios : public ::testing::TestWithParam<std::string> {};

TEST_P(Scenarios, TsharkAgreesWhereItCanTell) {
  if (!tsharkIsThere()) GTEST_SKIP();
  namespace fs = std::filesystem;
  std::string folder = (fs::temp_directory_path() / "pin16-scenario-XXXXXX").string();
  ASSERT_NE(mkdtemp(folder.data()), nullptr);
  const std::string scenario = PIN16_SOURCE_DIR "/captures/scenarios/" + GetParam();
  fs::copy_file(scenario + "/job.toml", folder + "/job.toml");  // its ledger is written beside it
  const std::string file = folder + "/c.pcapng";
  const std::string command = fmt::format(
      "XDG_RUNTIME_DIR='{0}' {1} check --job '{0}/job.toml' 'bench:{2}' --ask --no-plugins -o '{3}' "
      ">'{0}/out' 2>&1 </dev/null",
      folder, PIN16_BINARY, scenario, file);
  const int status = std::system(command.c_str());
  EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) <= 3) << command << " ended with " << status;
  const auto s = reviewFile(file, nullptr, {{}, true, 1, false});
  ASSERT_TRUE(s) << s.error().text();
  const std::string flags =
      outputOf("tshark -r '" + file + "' -Y 'can || canfd' -T fields -e can.flags.err -e frame.number");
  std::uint64_t errors = 0, frames = 0;
  std::istringstream in(flags);
  for (std::string line; std::getline(in, line);) ++(line.starts_with('1') ? errors : frames);
  EXPECT_EQ(s->frames, frames);
  EXPECT_EQ(s->error_frames, errors);
  const Dissected mine = ours(*s, false), my_obd = ours(*s, true);
  if (!mine.messages.empty()) {
    const Dissected uds = dissect(file, *s, "uds", "uds.sid");
    EXPECT_EQ(mine.messages, uds.messages);
    EXPECT_EQ(mine.services, uds.services);
  }
  if (!my_obd.messages.empty()) {
    EXPECT_EQ(my_obd.messages, obdOnly(dissect(file, *s, "obd-ii", "obd-ii.mode")).messages);
  }
  fs::remove_all(folder);
}

std::vector<std::string> scenarioNames() {
  std::vector<std::string> out;
  for (const auto& entry : std::filesystem::directory_iterator(PIN16_SOURCE_DIR "/captures/scenarios"))
    if (std::filesystem::exists(entry.path() / "scenario.toml"))
      out.push_back(entry.path().filename().string());
  std::sort(out.begin(), out.end());
  return out;
}
INSTANTIATE_TEST_SUITE_P(All, Scenarios, ::testing::ValuesIn(scenarioNames()), [](const auto& i) {
  std::string name = i.param;
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
});

/// Response times by tshark's frame times: a request's last frame on 7E0, flow control apart, to the first
/// frame of its answer on 7E8.
TEST(Conformance, ResponseTimesOfTheTimingPluginAreThoseOfTsharksFrameTimes) {
  setenv("PIN16_PROGRAM", PIN16_BINARY, 1);
  const std::string file = PIN16_SOURCE_DIR "/captures/dumpcap-obd-uds.pcapng";
  const std::string lines =
      outputOf("tshark -r '" + file + "' -T fields -e frame.time_epoch -e can.id -e data.data 2>/dev/null");
  std::vector<double> expected_ms;
  double asked_s = -1;
  std::istringstream in(lines);
  for (std::string line; std::getline(in, line);) {
    double t_s = 0;
    unsigned id = 0;
    char data[64] = {};
    if (std::sscanf(line.c_str(), "%lf %u %63s", &t_s, &id, data) != 3) continue;
    if (id == 0x7E0 && data[0] != '3') asked_s = t_s;
    if (id == 0x7E8 && asked_s >= 0 && (data[0] == '0' || data[0] == '1')) {
      expected_ms.push_back((t_s - asked_s) * 1e3);
      asked_s = -1;
    }
  }
  ASSERT_GE(expected_ms.size(), 3U) << lines;
  const auto summary = reviewFile(file);
  ASSERT_TRUE(summary) << summary.error().text();
  for (const plugin::Results& r : summary->plugins) {
    if (r.facts.name != "handshake-timing") continue;
    ASSERT_EQ(r.points.at(0).size(), expected_ms.size());
    for (std::size_t i = 0; i < expected_ms.size(); ++i)
      EXPECT_NEAR(r.points[0][i].value, expected_ms[i], 1e-3)
          << i;  // tshark prints ns, a double of epoch keeps 0.2 us
    return;
  }
  FAIL() << "handshake-timing was not there";
}

}  // namespace
}  // namespace pin16::review
