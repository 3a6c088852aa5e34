// SPDX-License-Identifier: Apache-2.0
#include "core/job/scene.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <set>

namespace pin16::job {
namespace {

using ::testing::HasSubstr;
using ::testing::SizeIs;

class SceneFile : public ::testing::Test {
 protected:
  void SetUp() override {
    job_.file =
        ::testing::TempDir() + "scene-" + ::testing::UnitTest::GetInstance()->current_test_info()->name();
    std::filesystem::remove(sceneFile(job_));
  }
  void write(const std::string& text) const { std::ofstream(sceneFile(job_), std::ios::binary) << text; }
  Job job_;
};

TEST_F(SceneFile, EntriesComeBackAsTheyWere) {
  ASSERT_TRUE(readScene(job_));
  EXPECT_THAT(*readScene(job_), SizeIs(0));
  ASSERT_TRUE(appendScene(job_, {"2026-11-27T18:00:00Z", "found", "Kim", "fuses: 10 A, red, whole"}));
  ASSERT_TRUE(appendScene(job_, {"2026-11-27T18:00:01Z", "note", "", "two\tlines\nin one"}));
  const auto all = readScene(job_);
  ASSERT_TRUE(all);
  ASSERT_THAT(*all, SizeIs(2));
  EXPECT_EQ((*all)[0].text, "fuses: 10 A, red, whole");
  EXPECT_EQ((*all)[0].by, "Kim");
  EXPECT_EQ((*all)[1].text, "two lines in one");
}

TEST_F(SceneFile, WhatACrashCutOffDoesNotSwallowTheNextEntry) {
  for (const char* cut :
       {"2026-11-27T1", "2026-11-27T18:00:00Z\tfou", "2026-11-27T18:00:00Z\tfound\tKim\tfuses: 1"}) {
    write(std::string("2026-11-27T17:00:00Z\tperson\t\tKim, technician\n") + cut);
    EXPECT_TRUE(readScene(job_)) << cut;
    ASSERT_TRUE(appendScene(job_, {"2026-11-27T18:00:02Z", "meter", "", "M1, calibrated 2026-03-01"}));
    const auto all = readScene(job_);
    ASSERT_TRUE(all) << all.error().text();
    ASSERT_THAT(*all, SizeIs(3)) << cut;
    EXPECT_EQ((*all)[2].text, "M1, calibrated 2026-03-01");
    EXPECT_THAT((*all)[1].utc + (*all)[1].text, HasSubstr("2026-11-27T1"));
  }
}

TEST_F(SceneFile, ALineThatIsNoneIsNamed) {
  write("2026-11-27T17:00:00Z\tperson\t\tKim\nnonsense\n");
  const auto all = readScene(job_);
  ASSERT_FALSE(all);
  EXPECT_THAT(all.error().text(), HasSubstr(".scene:2"));
}

TEST_F(SceneFile, APhotosEntryIsTakenApart) {
  const std::string hex(64, 'a');
  const auto p = photoOf({"t", "photo", "", hex + " 1234 photos/front left.jpg"});
  ASSERT_TRUE(p);
  EXPECT_EQ(p->bytes, 1234U);
  EXPECT_EQ(p->path, "photos/front left.jpg");
  for (const auto& bad : std::vector<std::string>{hex, hex + " x y", "abc 1 y", hex + " 1 "})
    EXPECT_FALSE(photoOf({"t", "photo", "", bad})) << bad;
  EXPECT_FALSE(photoOf({"t", "note", "", hex + " 1 y"}));
}

TEST(SceneItems, CodesAreUniqueAndNothingIsMeasuredAtLoops) {
  for (const auto a : {Arrangement::own_battery, Arrangement::fed_in_place, Arrangement::removed})
    for (const auto& items : {asFound(a), asLeft(a)}) {
      std::set<std::string> codes;
      for (const SceneItem& i : items) {
        EXPECT_TRUE(codes.insert(i.code).second) << i.code;
        EXPECT_EQ(i.code.find(": "), std::string::npos);
        if (i.question.find("restraint") != std::string::npos) {
          EXPECT_THAT(i.question, HasSubstr("never measured"));
        }
      }
    }
}

}  // namespace
}  // namespace pin16::job
