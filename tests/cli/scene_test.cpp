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
