// SPDX-License-Identifier: Apache-2.0
/// `pin16 review --sheet` must say of a capture what `pin16 check` said while it was recorded.

#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>

#include "run_pin16.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;

class ReviewSheet : public testing::TestWithParam<const char*> {};

TEST_P(ReviewSheet, SaysWhatCheckSaid) {
  const TemporaryFolder folder;
  const std::string scenario = GetParam();
  fs::copy_file(fs::path(PIN16_SOURCE_DIR) / "captures/scenarios" / scenario / "job.toml",
                folder.file("job.toml"));
  const Ran live =
      runPin16({"check", "--job", "job.toml", "bench:" + scenario, "--ask", "--json", "-o", "c.pcapng"},
               folder.path());
  const Ran later = runPin16({"review", "c.pcapng", "--job", "job.toml", "--sheet", "--json"}, folder.path());
  ASSERT_FALSE(live.out.empty()) << live.err;
  ASSERT_FALSE(later.out.empty()) << later.err;
  const auto was = boost::json::parse(live.out), is = boost::json::parse(later.out);
  EXPECT_EQ(live.exit_code, later.exit_code);
  EXPECT_EQ(was.at("overall"), is.at("overall"));
  EXPECT_EQ(was.at("first_thing"), is.at("first_thing"));
  for (std::size_t i = 0; i < 9; ++i) {
    const auto &a = was.at("steps").at(i), &b = is.at("steps").at(i);
    EXPECT_EQ(a.at("name"), b.at("name"));
    EXPECT_EQ(a.at("verdict"), b.at("verdict"))
        << a.at("name") << " was " << a.at("text") << ", is " << b.at("text");
  }
}

INSTANTIATE_TEST_SUITE_P(Captures, ReviewSheet,
                         testing::Values("connector-fuse-open", "own-battery-sound", "poor-ground",
                                         "late-answers", "removed-sound"));

TEST(ReviewSheetText, ListsTheSupplyPathAndNeedsAJob) {
  const TemporaryFolder folder;
  // No links: nothing is sampled after what is typed.
  writeFile(folder.file("job.toml"), "[job]\nname = \"a test\"\narrangement = \"own-battery\"\n");
  (void)runPin16({"check", "--job", "job.toml", "--reading", "V(src+,src-)=12.6V power=source", "--reading",
                  "V(pin16,pin4)=0.01V power=source", "-o", "c.pcapng"},
                 folder.path());
  const Ran r = runPin16({"review", "c.pcapng", "--job", "job.toml", "--sheet"}, folder.path());
  EXPECT_EQ(r.exit_code, 1);
  EXPECT_NE(r.out.find("connector  V(pin16,pin4)              0.010 V       expected 12.60 V !"),
            std::string::npos)
      << r.out;
  EXPECT_EQ(runPin16({"review", "c.pcapng", "--sheet"}, folder.path()).exit_code, 2);
}

}  // namespace
}  // namespace pin16::test
