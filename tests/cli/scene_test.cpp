// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>

#include "core/base/clock.hpp"
#include "run_pin16.hpp"

namespace pin16::test {
namespace {

using testing::HasSubstr;
using testing::MatchesRegex;

std::string job(const TemporaryFolder& f) {
  writeFile(f.file("job.toml"), "[job]\narrangement = \"fed-in-place\"\n");
  return "job.toml";
}

// FIPS 180-4's example: the hash of "abc".
TEST(Scene, APictureIsKnownAgainOrNot) {
  const TemporaryFolder f;
  std::filesystem::create_directory(f.file("photos"));
  writeFile(f.file("photos/a b.jpg"), "abc");
  const Ran r =
      runPin16({"scene", "--job", job(f), "--photo", "photos/a b.jpg", "--by", "Kim", "--json"}, f.path());
  ASSERT_EQ(r.exit_code, 0) << r.err;
  const auto row = boost::json::parse(r.out).at("entries").at(0);
  EXPECT_EQ(row.at("photo").at("sha256").as_string(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(row.at("photo").at("path").as_string(), "photos/a b.jpg");
  EXPECT_EQ(row.at("by").as_string(), "Kim");
  // The case's folder may be moved.
  const TemporaryFolder g;
  std::filesystem::copy(f.path(), g.path(), std::filesystem::copy_options::recursive);
  EXPECT_EQ(runPin16({"scene", "--job", "job.toml"}, g.path()).exit_code, 0);
  writeFile(g.file("photos/a b.jpg"), "abd");
  const Ran changed = runPin16({"scene", "--job", "job.toml"}, g.path());
  EXPECT_EQ(changed.exit_code, 1);
  EXPECT_THAT(changed.out, HasSubstr("changed"));
  std::filesystem::remove(g.file("photos/a b.jpg"));
  EXPECT_THAT(runPin16({"scene", "--job", "job.toml"}, g.path()).out, HasSubstr("missing"));
  EXPECT_EQ(runPin16({"scene", "--job", "job.toml", "--photo", "none.jpg"}, g.path()).exit_code, 2);
}

TEST(Scene, CautionsAreShownAndKeptWithAName) {
  const TemporaryFolder f;
  const Ran nobody = runPin16({"scene", "--job", job(f), "--cautions"}, f.path());
  EXPECT_EQ(nobody.exit_code, 2);
  const Ran r = runPin16({"scene", "--job", "job.toml", "--cautions", "--by", "Kim"}, f.path());
  ASSERT_EQ(r.exit_code, 0) << r.err;
  EXPECT_THAT(r.err, HasSubstr("caution: Never measure at deployment loops"));
  EXPECT_THAT(r.out, HasSubstr("caution read, fed-in-place (Kim)"));
}

TEST(Plan, TheOrderOfTheHookUpAndTheBudgetBeforeAnythingIsJoined) {
  const TemporaryFolder f;
  writeFile(f.file("job.toml"),
            "[job]\narrangement = \"removed\"\npower_up_budget = 2\n[module]\npins = \"1 feed, 2 "
            "ground\"\n[feed]\nemf_V = 13.0\n");
  const Ran r = runPin16({"plan", "--job", "job.toml"}, f.path());
  ASSERT_EQ(r.exit_code, 0) << r.err;
  for (const char* part : {"  3. leads", "1 feed, 2 ground", " 10. power", "the module starts once",
                           "This one would be 1 of 2", "deployment loops"})
    EXPECT_THAT(r.out, HasSubstr(part));
  EXPECT_EQ(runPin16({"plan", "--job", "none.toml"}, f.path()).exit_code, 2);
  // The document says the same.
  const Ran j = runPin16({"plan", "--job", "job.toml", "--json"}, f.path());
  ASSERT_EQ(j.exit_code, 0) << j.err;
  const auto o = boost::json::parse(j.out).as_object();
  const auto& order = o.at("hook_up").as_array();
  ASSERT_EQ(order.size(), 10U);
  EXPECT_EQ(order[2].at("code"), "leads");
  EXPECT_EQ(order[9].at("code"), "power");
  EXPECT_EQ(o.at("start").at("starts"), 1);
  EXPECT_LE(o.at("start").at("lowest_V").as_double(), 13.0);
  EXPECT_EQ(o.at("power_ups").at("budget"), 2);
  EXPECT_EQ(o.at("power_ups").at("past"), 0);
  for (const auto& caution : o.at("cautions").as_array())
    EXPECT_THAT(r.out, HasSubstr(std::string(caution.as_string())));
  EXPECT_NE(runPin16({"plan", "--job", "none.toml", "--json"}, f.path()).exit_code, 0);
}

TEST(Plan, TicksOfTheHookUpCanBeGivenToCheck) {
  const TemporaryFolder f;
  writeFile(f.file("job.toml"),
            "[job]\narrangement = \"removed\"\n[[link]]\nuri = \"bench:removed-sound\"\n");
  writeFile(f.file("said.txt"), "clear hook-up.leads yes\nclear hook-up.fixed because held by hand\n");
  const Ran r = runPin16({"check", "--job", "job.toml", "--operator", "said.txt", "--by", "Kim", "--for",
                          "0.1", "-o", "c.pcapng"},
                         f.path());
  EXPECT_LT(r.exit_code, 2) << r.err;
  const std::string lines = runPin16({"review", "c.pcapng", "--lines"}, f.path()).out;
  EXPECT_THAT(lines, HasSubstr("hook-up.leads? yes (Kim)"));
  EXPECT_THAT(lines, HasSubstr("hook-up.fixed? overridden: held by hand (Kim)"));
  writeFile(f.file("said.txt"), "clear hook-up.slot yes\n");  // of another arrangement
  const Ran other = runPin16({"check", "--job", "job.toml", "--operator", "said.txt"}, f.path());
  EXPECT_EQ(other.exit_code, 2);
  EXPECT_THAT(other.err, HasSubstr("hook-up.leads"));
}

TEST(Scene, AnotherComputersClock) {
  const TemporaryFolder f;
  const auto offset = [&](Ns ahead_ns, const std::string& zone, Ns zone_ns) {
    const std::string shown = utcText(readClocks().utc_ns + ahead_ns + zone_ns).substr(0, 19) + zone;
    const Ran r =
        runPin16({"scene", "--job", job(f), "--clock", "imaging computer=" + shown, "--json"}, f.path());
    EXPECT_EQ(r.exit_code, 0) << r.err;
    return std::string(boost::json::parse(r.out).at("entries").as_array().back().at("text").as_string());
  };
  // 100 s and what the call takes; the seconds shown are cut off.
  EXPECT_THAT(offset(100 * kNsPerSecond, "Z", 0),
              MatchesRegex("imaging computer: \\+(9[5-9]|100)\\.[0-9] s .*"));
  EXPECT_THAT(offset(-3600 * kNsPerSecond, "+02:00", 7200 * kNsPerSecond),
              MatchesRegex("imaging computer: -360[0-5]\\.[0-9] s .*"));
  for (const char* wrong : {"imaging computer", "=2026-11-27T18:30:05Z", "x=2026-11-27T18:30:05", "x=noon",
                            "x=2026-11-27T18:30:05+01:00h"})
    EXPECT_EQ(runPin16({"scene", "--job", "job.toml", "--clock", wrong}, f.path()).exit_code, 2) << wrong;
}

TEST(Scene, TheChecklistFromAFileIsJudgedBeforeItIsKept) {
  const TemporaryFolder f;
  writeFile(f.file("said.txt"), "# arrival\nfuses: slot 12, 10 A, red, whole\nconnector: free, clean\n");
  const Ran r = runPin16({"scene", "--job", job(f), "--found", "--operator", "said.txt", "--person",
                          "Kim, technician", "--meter", "M1, calibrated 2026-03-01", "--note", "rain"},
                         f.path());
  ASSERT_EQ(r.exit_code, 0) << r.err;
  EXPECT_THAT(r.out, HasSubstr("found   fuses: slot 12, 10 A, red, whole"));
  EXPECT_THAT(r.out, HasSubstr("5 entries"));
  writeFile(f.file("said.txt"), "off: switched off\nfuse box: closed\n");
  const Ran bad = runPin16({"scene", "--job", "job.toml", "--left", "--operator", "said.txt"}, f.path());
  EXPECT_EQ(bad.exit_code, 2);
  EXPECT_THAT(bad.err, HasSubstr("said.txt:2"));
  EXPECT_THAT(runPin16({"scene", "--job", "job.toml"}, f.path()).out, HasSubstr("5 entries"));
  EXPECT_EQ(runPin16({"scene", "--job", "job.toml", "--found"}, f.path()).exit_code, 2);  // nobody to ask
}

}  // namespace
}  // namespace pin16::test
