// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <sstream>

#include "core/base/text.hpp"
#include "run_pin16.hpp"

namespace pin16::test {
namespace {

using testing::HasSubstr;

std::string job(const TemporaryFolder& f, const std::string& more = "") {
  writeFile(f.file("job.toml"), "[job]\nname = \"a test\"\narrangement = \"own-battery\"\n" + more +
                                    "[module]\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n");
  return "job.toml";
}

TEST(Why, NamesCauseReasonsAndNextMeasurement) {
  const TemporaryFolder f;
  const auto ran = runPin16(
      {"why", "--job", job(f), "--reading", "V(pin16,pin4)=0.1V;power=source", "--reading", "lamp=dark"},
      f.path());
  EXPECT_EQ(ran.exit_code, 1);
  EXPECT_THAT(ran.out, HasSubstr("The diagnostic connector fuse is open"));
  EXPECT_THAT(ran.out, HasSubstr("For it: V(pin16,pin4) 0.10 V"));
  EXPECT_THAT(ran.out, HasSubstr("Measure next:"));
}

TEST(Why, ReadsWhatACaptureHolds) {
  const TemporaryFolder f;
  const auto listened = runPin16({"listen", "bench:module-silent", "--for", "4", "-o", "a.pcapng"}, f.path());
  const auto ran = runPin16({"why", "--job", job(f), "--capture", "a.pcapng", "--json"}, f.path());
  EXPECT_EQ(ran.exit_code, 1) << ran.err;
  EXPECT_THAT(ran.out, HasSubstr("\"adapter-answers\""));
  EXPECT_THAT(ran.out, HasSubstr("\"identifiers\""));
}

TEST(Why, StandsBelowASheetThatIsNotSound) {
  const TemporaryFolder f;
  const std::vector<std::string> check = {"check",
                                          "--job",
                                          job(f),
                                          "--reading",
                                          "V(src+,src-)=12.6V power=source",
                                          "--reading",
                                          "V(pin16,pin4)=0V power=source",
                                          "--reading",
                                          "lamp=dark"};
  const auto ran = runPin16(check, f.path());
  EXPECT_EQ(ran.exit_code, 1) << ran.err;
  EXPECT_THAT(ran.out, HasSubstr("Why it does not answer:\n  1. "));
  EXPECT_THAT(ran.out, HasSubstr("The diagnostic connector fuse is open"));
  EXPECT_THAT(ran.out, HasSubstr("  Measure next: R(connfuse): "));
  std::istringstream lines(ran.out);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(columns(line), kTextWidth) << line;
}

TEST(Why, NothingStandsBelowAReadySheet) {
  const TemporaryFolder f;
  const auto ran = runPin16({"check", "--job", job(f), "bench:own-battery-sound", "--ask"}, f.path());
  EXPECT_EQ(ran.out.find("Why it does not answer"), std::string::npos) << ran.out;
}

TEST(Why, ASealedJobIsNeverToldToSend) {
  const TemporaryFolder f;
  const auto ran = runPin16(
      {"why", "--job", job(f, "sealed = true\n"), "--reading", "V(src+,src-)=12.6V", "--json"}, f.path());
  EXPECT_EQ(ran.exit_code, 1) << ran.err;
  const std::string next = ran.out.substr(ran.out.find("\"next\""));
  EXPECT_EQ(next.find("answer@"), std::string::npos);
  EXPECT_EQ(next.find("error-class"), std::string::npos);
  EXPECT_EQ(next.find("rollcall"), std::string::npos);
}

TEST(Why, SaysWhatIsWrongWithAReading) {
  const TemporaryFolder f;
  const auto refused = [&](const char* reading) {
    return runPin16({"why", "--job", job(f), "--reading", reading}, f.path());
  };
  EXPECT_EQ(refused("V(module+,module-)=12V").exit_code, 2);
  EXPECT_THAT(refused("V(module+,module-)=12V").err, HasSubstr("never measured"));
  EXPECT_EQ(refused("R(pin6,pin14)=60ohm;power=on").exit_code, 2);
  EXPECT_THAT(refused("R(rigfuse)=0.1ohm").err, HasSubstr("does not exist in arrangement own-battery"));
  EXPECT_THAT(refused("adapter-mode=loud").err, HasSubstr("it is one of"));
}

}  // namespace
}  // namespace pin16::test
