// SPDX-License-Identifier: Apache-2.0
/// `check` at a terminal: the dialogue as a person has it, over a pty.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "run_pin16.hpp"

namespace pin16::test {
namespace {

using testing::HasSubstr;
using testing::Not;

bool has(const std::string& text, const char* what) { return text.find(what) != std::string::npos; }

std::string job(const TemporaryFolder& f) {
  writeFile(f.file("job.toml"), "[job]\nname = \"a test\"\narrangement = \"own-battery\"\n");
  return "job.toml";
}

/// Skips measurements, answers what comes before power by `lock`.
std::string run(const TemporaryFolder& f, const std::function<std::string(const std::string&)>& lock) {
  return dialogue(f.path(), {"check", "--job", job(f), "--for", "0.1", "-o", "t.pcapng"},
                  [&](const std::string& asked) -> std::string {
                    if (has(asked, "Your name")) return "Kim";
                    if (has(asked, "go on without knowing")) return lock(asked);
                    if (has(asked, "switch the module's power on")) return "on";
                    return "";
                  });
}

TEST(Terminal, PowerIsAskedForOnceAllIsCleared) {
  const TemporaryFolder f;
  const std::string said = run(f, [](const std::string&) { return "yes"; });
  const auto before = said.find("waited:"), power = said.find("switch the module's power on");
  ASSERT_NE(power, std::string::npos) << said;
  EXPECT_LT(before, power);
  EXPECT_THAT(readFile(f.file("job.toml.ledger")), HasSubstr("declared"));
  const std::string lines = runPin16({"review", "t.pcapng", "--lines"}, f.path()).out;
  EXPECT_THAT(lines, HasSubstr("before power: people? yes (Kim)"));
}

TEST(Terminal, OneThatIsNotClearedKeepsPowerOff) {
  for (const char* answer : {"no", ""}) {
    const TemporaryFolder f;
    const std::string said =
        run(f, [&](const std::string& asked) { return has(asked, "people:") ? answer : "yes"; });
    EXPECT_THAT(said, Not(HasSubstr("switch the module's power on")));
    EXPECT_THAT(said, HasSubstr("power stays off: not "));
    EXPECT_EQ(readFile(f.file("job.toml.ledger")), "");
  }
}

TEST(Terminal, AReasonGoesOnTheRecordAndAWordThatIsNoneIsAskedAgain) {
  const TemporaryFolder f;
  bool slipped = false;
  const std::string said = run(f, [&](const std::string& asked) -> std::string {
    if (!has(asked, "dry:") && !has(asked, "'ja'")) return "yes";
    return std::exchange(slipped, true) ? "because it lay in a dry shed" : "ja";
  });
  EXPECT_THAT(said, HasSubstr("'ja' is no answer"));
  EXPECT_THAT(said, HasSubstr("switch the module's power on"));
  EXPECT_THAT(runPin16({"review", "t.pcapng", "--lines"}, f.path()).out,
              HasSubstr("before power: dry? overridden: it lay in a dry shed (Kim)"));
}

TEST(Terminal, TooManyVoltsEndTheDialogue) {
  const TemporaryFolder f;
  const std::string said = dialogue(
      f.path(), {"check", "--job", job(f), "--for", "0.1", "-o", "t.pcapng"},
      [](const std::string& asked) -> std::string { return has(asked, "V(pin16,pin4)") ? "25.2" : ""; });
  EXPECT_THAT(said, HasSubstr("plug nothing in"));
  EXPECT_THAT(said, Not(HasSubstr("lamp, power")));
  EXPECT_THAT(said, Not(HasSubstr("switch the module's power on")));
}

TEST(Terminal, AFaultyCheckGoesOnAskingAndRecordsIt) {
  const TemporaryFolder f;
  std::vector<std::string> after;  // what was asked below the sheet
  const std::string said =
      dialogue(f.path(), {"check", "--job", job(f), "--for", "0.1", "-o", "t.pcapng"},
               [&](const std::string& asked) -> std::string {
                 if (has(asked, "answer, or - if it cannot be had")) {
                   after.push_back(asked);
                   return has(asked, "R(connfuse): ") ? "OL" : after.size() > 6 ? "" : "-";
                 }
                 if (has(asked, "source: V(src+,src-)")) return "12.6";
                 if (has(asked, "connector: V(pin16,pin4)")) return "0";
                 if (has(asked, "lamp, power")) return "dark";
                 return "";
               });
  EXPECT_THAT(said, HasSubstr("Why it does not answer:"));
  ASSERT_FALSE(after.empty()) << said;
  EXPECT_THAT(said, HasSubstr("The diagnostic connector fuse is open"));
  EXPECT_THAT(said, HasSubstr("R(connfuse) OL"));  // weighed
  for (const std::string& asked : after) EXPECT_THAT(asked, Not(HasSubstr("\nV(src+,src-): ")));
  const std::string lines = runPin16({"review", "t.pcapng", "--lines"}, f.path()).out;
  EXPECT_THAT(lines, HasSubstr("R(connfuse)"));
}

TEST(Terminal, WhoLeavesPowerOffIsNotAskedForItAgainAndAgain) {
  const TemporaryFolder f;
  int offered = 0;
  const std::string said = dialogue(f.path(), {"check", "--job", job(f), "--for", "0.1", "-o", "t.pcapng"},
                                    [&](const std::string& asked) -> std::string {
                                      if (has(asked, "answer, or - if it cannot be had")) return "-";
                                      if (has(asked, "Your name")) return "Kim";
                                      if (has(asked, "go on without knowing")) return "yes";
                                      if (has(asked, "switch the module's power on")) ++offered;
                                      if (has(asked, "source: V(src+,src-)")) return "12.6";
                                      if (has(asked, "connector: V(pin16,pin4)")) return "0";
                                      return "";
                                    });
  EXPECT_THAT(said, HasSubstr("Why it does not answer:"));
  EXPECT_LE(offered, 2);  // once for the sheet, once for the reasons
}

TEST(Terminal, WhyAsksTakesTheAnswerAndRanksAnew) {
  const TemporaryFolder f;
  writeFile(f.file("removed.toml"),
            "[job]\nname = \"a test\"\narrangement = \"removed\"\naccess = \"direct\"\n");
  std::vector<std::string> asked;
  const std::string said =
      dialogue(f.path(), {"why", "--job", "removed.toml"}, [&](const std::string& text) -> std::string {
        asked.push_back(text);
        if (asked.size() > 4) return "";
        return has(text, "R(feed,chassis): ") ? "20kohm" : has(text, "V(src+,src-): ") ? "12.6V" : "-";
      });
  ASSERT_GE(asked.size(), 4U) << said;
  const std::string first = asked[0] + asked[1];  // the safety checks
  EXPECT_THAT(first, HasSubstr("R(feed,chassis): "));
  EXPECT_THAT(first, HasSubstr("V(src+,src-): "));
  EXPECT_THAT(said, HasSubstr("Measure next:"));
  EXPECT_NE(asked[2].substr(asked[2].rfind("\n\n") + 1), asked[3]);  // what cannot be had is not asked again
}

}  // namespace
}  // namespace pin16::test
