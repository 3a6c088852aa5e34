// SPDX-License-Identifier: Apache-2.0
/// The commands as a user types them, over the simulated bench: exit codes, what goes to stdout, what is
/// refused.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>

#include "run_pin16.hpp"

namespace pin16::test {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

const std::string kScenarios = std::string(PIN16_SOURCE_DIR) + "/captures/scenarios/";
const std::string kSound = "bench:" + kScenarios + "own-battery-sound";

std::string jobFile(const TemporaryFolder& folder, const std::string& more) {
  writeFile(folder.file("job.toml"), "[job]\nname = \"a test\"\narrangement = \"own-battery\"\n" + more);
  return "job.toml";
}

TEST(Bench, TheListTellsWhatIsComplainedOfAndTheAnswersOnlyOnAsking) {
  const TemporaryFolder f;
  const Ran list = runPin16({"bench", "--list"}, f.path());
  ASSERT_EQ(list.exit_code, 0) << list.err;
  EXPECT_THAT(list.out, HasSubstr("own-battery   The interface stays dark"));
  EXPECT_THAT(list.out, Not(HasSubstr("fuse")));
  const Ran answers = runPin16({"bench", "--list", "--answers"}, f.path());
  EXPECT_THAT(answers.out, HasSubstr("connector-fuse-open: own battery, connector fuse open."));
  EXPECT_EQ(runPin16({"bench"}, f.path()).exit_code, 2);
  EXPECT_EQ(runPin16({"bench", "--answers"}, f.path()).exit_code, 2);
  EXPECT_EQ(runPin16({"bench", "own-battery-sound", "--list"}, f.path()).exit_code, 2);
}

TEST(Commands, AWrongCallIsExit2AndNamesTheHelp) {
  const TemporaryFolder f;
  for (const auto& wrong : std::vector<std::vector<std::string>>{{},
                                                                 {"nonsense"},
                                                                 {"listen"},
                                                                 {"check"},
                                                                 {"query", kSound},
                                                                 {"listen", "can0"},
                                                                 {"listen", "nonsense:x"}}) {
    const Ran r = runPin16(wrong, f.path());
    EXPECT_EQ(r.exit_code, 2) << r.err;
    EXPECT_THAT(r.out, IsEmpty());
    EXPECT_THAT(r.err, HasSubstr("pin16: "));
  }
}

TEST(Commands, BenchServesADeviceAndSaysWhereItIs) {
  const TemporaryFolder f;
  const Ran served = runPin16(
      {"bench", kScenarios + "own-battery-sound", "--serve", "slcan", "--at", "devices", "--for", "0.1"},
      f.path());
  EXPECT_EQ(served.exit_code, 0) << served.err;
  EXPECT_THAT(served.out,
              testing::StartsWith("{\"schema\":\"pin16-bench-device\",\"version\":1,"
                                  "\"device\":\"slcan\",\"path\":\"devices/slcan\",\"pty\":\"/dev/pts/"));
  EXPECT_THAT(served.out,
              HasSubstr("\"bitrate\":500000,\"listen_only\":false,\"supplied\":true,\"port\":null}\n"));
  for (const auto& wrong :
       std::vector<std::vector<std::string>>{{"--serve", "slcan"},
                                             {"--at", "devices"},
                                             {"--for", "1"},
                                             {"--serve", "lamp", "--at", "devices"},
                                             {"--serve", "slcan", "--at", "devices", "--readings"}}) {
    std::vector<std::string> call = {"bench", kScenarios + "own-battery-sound"};
    call.insert(call.end(), wrong.begin(), wrong.end());
    const Ran refused = runPin16(call, f.path());
    EXPECT_EQ(refused.exit_code, 2) << refused.err;
    EXPECT_THAT(refused.out, IsEmpty());
  }
}

TEST(Commands, HelpIsExit0OnStdout) {
  const TemporaryFolder f;
  const Ran r = runPin16({"--help"}, f.path());
  EXPECT_EQ(r.exit_code, 0);
  EXPECT_THAT(r.out, HasSubstr("rollcall"));
}

TEST(Commands, AMisspeltJobFieldIsExit2WithFileLineAndField) {
  const TemporaryFolder f;
  const Ran r = runPin16({"check", "--job", jobFile(f, "sealled = true\n")}, f.path());
  EXPECT_EQ(r.exit_code, 2);
  EXPECT_THAT(r.err, HasSubstr("job.toml:4"));
  EXPECT_THAT(r.err, HasSubstr("sealled"));
}

TEST(Commands, ReadingsWithPowerOnInOhmsAreRefused) {
  const TemporaryFolder f;
  const Ran r =
      runPin16({"check", "--job", jobFile(f, ""), "--reading", "R(pin6,pin14)=60 power=on"}, f.path());
  EXPECT_EQ(r.exit_code, 2) << r.err;
}

TEST(Commands, QueryDecodesAndSessionControlIsRefusedWith4) {
  const TemporaryFolder f;
  const Ran good = runPin16({"query", kSound, "09 02", "-o", "q.pcapng"}, f.path());
  EXPECT_EQ(good.exit_code, 0) << good.err;
  EXPECT_THAT(good.out, HasSubstr("0PN16BEN6H0000001"));
  const Ran bad = runPin16({"query", kSound, "@7A1 10 03", "-o", "r.pcapng"}, f.path());
  EXPECT_EQ(bad.exit_code, 4) << bad.err;
  EXPECT_THAT(runPin16({"review", "r.pcapng"}, f.path()).out, HasSubstr("Sent by us   nothing"));
}

TEST(Commands, QueryGivesDecodedFiguresAsData) {
  const TemporaryFolder f;
  const Ran r =
      runPin16({"query", kSound, "01 0C", "09 02", "@7A1 22 F190", "--json", "-o", "q.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 0) << r.err;
  const auto doc = boost::json::parse(r.out).as_object();
  const auto& exchanges = doc.at("exchanges").as_array();
  ASSERT_EQ(exchanges.size(), 3U);
  const auto& speed = exchanges[0].at("decoded").at(0);
  EXPECT_EQ(speed.at("id").as_string(), "0C");
  EXPECT_EQ(speed.at("what").as_string(), "engine speed");
  EXPECT_EQ(speed.at("value").to_number<double>(), 0);
  EXPECT_EQ(speed.at("unit").as_string(), "1/min");
  EXPECT_TRUE(speed.at("settled").as_bool());
  for (const std::size_t i : {1U, 2U}) {
    const auto& vin = exchanges[i].at("decoded").at(0);
    EXPECT_EQ(vin.at("text").as_string(), "0PN16BEN6H0000001");
    EXPECT_EQ(vin.at("note").as_string(), "check digit matches");
    EXPECT_TRUE(vin.at("value").is_null());
  }
  for (const auto& x : exchanges) EXPECT_EQ(x.at("problem").as_string(), "");
}

TEST(Commands, ASealedJobAsksNothingWhateverTheCall) {
  const TemporaryFolder f;
  const std::string job = jobFile(f, "sealed = true\n[module]\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n");
  const Ran r = runPin16({"check", "--job", job, kSound, "--ask", "-o", "s.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 4) << r.out << r.err;
  EXPECT_THAT(r.out, HasSubstr("not asked"));
  const std::string review = runPin16({"review", "s.pcapng", "--json"}, f.path()).out;
  EXPECT_THAT(review, HasSubstr("\"sent\":[]"));
  EXPECT_THAT(review, Not(HasSubstr("\"refused\":[]")));
}

TEST(Commands, CheckIsPassiveWithoutAsk) {
  const TemporaryFolder f;
  const Ran r = runPin16({"check", "--job", jobFile(f, ""), kSound, "-o", "p.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 1) << r.err;
  EXPECT_THAT(runPin16({"review", "p.pcapng", "--json"}, f.path()).out, HasSubstr("\"sent\":[]"));
}

TEST(Commands, AnOperatorFileSpeaksInOrderAndIsRecorded) {
  const TemporaryFolder f;
  writeFile(f.file("said.txt"),
            "# before power\nV(src+,src-)=12.5V power=source u=0.02\nR(pin6,pin14)=61 power=off u=0.5\n"
            "note lid open\npower on\nV(pin16,pin4)=0.03V power=on u=0.02\n");
  const Ran r =
      runPin16({"check", "--job", jobFile(f, ""), "--operator", "said.txt", "--for", "0.2", "-o", "o.pcapng"},
               f.path());
  EXPECT_EQ(r.exit_code, 1) << r.err;
  EXPECT_THAT(r.out, HasSubstr("connector-no-power"));
  const std::string lines = runPin16({"review", "o.pcapng", "--lines"}, f.path()).out;
  EXPECT_THAT(lines, HasSubstr("lid open"));
  EXPECT_THAT(lines, HasSubstr("V(pin16,pin4)"));
  EXPECT_THAT(readFile(f.file("job.toml.ledger")), HasSubstr("declared"));
}

TEST(Commands, AnOperatorFileThatIsWrongNamesItsLine) {
  const TemporaryFolder f;
  writeFile(f.file("said.txt"), "V(src+,src-)=12.5V power=source\npower of\n");
  const Ran r = runPin16({"check", "--job", jobFile(f, ""), "--operator", "said.txt"}, f.path());
  EXPECT_EQ(r.exit_code, 2);
  EXPECT_THAT(r.err, HasSubstr("said.txt:2"));
}

TEST(Commands, AnOperatorFileClearsWhatComesBeforePower) {
  const TemporaryFolder f;
  writeFile(f.file("said.txt"), "clear people yes\nclear dry because it lay in a dry shed\nclear loops no\n");
  const Ran r = runPin16({"check", "--job", jobFile(f, ""), "--operator", "said.txt", "--by", "Kim", "--json",
                          "--for", "0.1", "-o", "o.pcapng"},
                         f.path());
  const auto sheet = boost::json::parse(r.out);
  std::string standing;
  for (const auto& i : sheet.at("interlocks").as_array())
    standing += std::string(i.at("code").as_string()) + "=" + std::string(i.at("standing").as_string()) + " ";
  EXPECT_EQ(
      standing,
      "still=unknown people=cleared dry=overridden loops=not-cleared high-voltage=unknown volts=unknown "
      "waited=unknown ");
  EXPECT_EQ(sheet.at("interlocks").at(2).at("reason").as_string(), "it lay in a dry shed");
  EXPECT_EQ(sheet.at("interlocks").at(2).at("by").as_string(), "Kim");
  for (const char* wrong :
       {"clear people perhaps", "clear people", "clear peple yes", "clear dry because "}) {
    writeFile(f.file("said.txt"), wrong);
    EXPECT_EQ(runPin16({"check", "--job", "job.toml", "--operator", "said.txt"}, f.path()).exit_code, 2)
        << wrong;
  }
}

TEST(Commands, ReadingsComeFromATable) {
  const TemporaryFolder f;
  writeFile(f.file("r.csv"), "point,value,unit,power,u\n\"V(pin16,pin4)\",0.03,V,on,0.02\n");
  const Ran r = runPin16(
      {"check", "--job", jobFile(f, ""), "--readings", "r.csv", "--for", "0.1", "-o", "o.pcapng"}, f.path());
  EXPECT_THAT(r.out, HasSubstr("connector-no-power"));
  writeFile(f.file("r.csv"), "point,value\nV(pin16,pin4),0.03\n");
  const Ran bad = runPin16({"check", "--job", "job.toml", "--readings", "r.csv"}, f.path());
  EXPECT_EQ(bad.exit_code, 2);
  EXPECT_THAT(bad.err, HasSubstr("r.csv:2"));
}

TEST(Commands, VerifyFindsTheChangedRange) {
  const TemporaryFolder f;
  EXPECT_EQ(runPin16({"listen", kSound, "--for", "1", "-o", "v.pcapng"}, f.path()).exit_code, 0);
  EXPECT_EQ(runPin16({"verify", "v.pcapng"}, f.path()).exit_code, 0);
  std::string bytes = readFile(f.file("v.pcapng"));
  bytes[bytes.size() / 2] = static_cast<char>(bytes[bytes.size() / 2] ^ 1);
  writeFile(f.file("v.pcapng"), bytes);
  const Ran r = runPin16({"verify", "v.pcapng"}, f.path());
  EXPECT_EQ(r.exit_code, 1) << r.out;
}

TEST(Commands, DamageInAReviewedFileIsExit1AndTheRestIsShown) {
  const TemporaryFolder f;
  EXPECT_EQ(runPin16({"listen", kSound, "--for", "1", "-o", "d.pcapng"}, f.path()).exit_code, 0);
  const std::string bytes = readFile(f.file("d.pcapng"));
  writeFile(f.file("cut.pcapng"), bytes.substr(0, bytes.size() - 10));
  const Ran r = runPin16({"review", "cut.pcapng", "--json"}, f.path());
  EXPECT_EQ(r.exit_code, 1);
  EXPECT_THAT(r.out, HasSubstr("\"offset\":"));
  EXPECT_EQ(runPin16({"review", "job.toml"}, f.path()).exit_code, 2);
}

TEST(Commands, BenchReadingsAreReadingsThatCheckTakes) {
  const TemporaryFolder f;
  const Ran bench = runPin16({"bench", kScenarios + "own-battery-sound", "--readings"}, f.path());
  ASSERT_EQ(bench.exit_code, 0) << bench.err;
  writeFile(f.file("said.txt"), bench.out);
  const Ran r =
      runPin16({"check", "--job", jobFile(f, ""), "--operator", "said.txt", "--for", "0.2", "-o", "b.pcapng"},
               f.path());
  EXPECT_EQ(r.exit_code, 1) << r.err;  // undecided: nobody listened
  EXPECT_THAT(r.out, HasSubstr("UNDECIDED"));
}

TEST(Commands, NoteNeedsARecording) {
  const TemporaryFolder f;
  setenv("XDG_RUNTIME_DIR", f.path().c_str(), 1);
  EXPECT_EQ(runPin16({"note", "hello"}, f.path()).exit_code, 2);
  unsetenv("XDG_RUNTIME_DIR");
}

}  // namespace
}  // namespace pin16::test
