// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;

class Attempts : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = (std::filesystem::temp_directory_path() / "pin16-attempts-XXXXXX").string();
    ASSERT_NE(::mkdtemp(name.data()), nullptr);
    folder_ = name;
    job_.file = folder_ / "job.toml";
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }
  static AttemptEntry entry(const char* rung, std::optional<int> power_up = {},
                            std::optional<int> cycles = {}) {
    return {"2026-11-27T10:00:00Z", rung, power_up, cycles, "", "", "a.pcapng"};
  }
  std::filesystem::path folder_;
  Job job_;
};

TEST_F(Attempts, ComeBackInOrderWithWhatWasSaid) {
  ASSERT_TRUE(readAttempts(job_));
  EXPECT_THAT(*readAttempts(job_), IsEmpty());
  AttemptEntry e = entry("silent", 1);
  e.changed = "other\tcable";
  e.said = "communication error";
  ASSERT_TRUE(appendAttempt(job_, e));
  ASSERT_TRUE(appendAttempt(job_, entry("through", 2, 1042)));
  const auto all = readAttempts(job_);
  ASSERT_TRUE(all) << all.error().text();
  ASSERT_EQ(all->size(), 2U);
  EXPECT_EQ((*all)[0].changed, "other cable");
  EXPECT_EQ((*all)[0].said, "communication error");
  EXPECT_FALSE((*all)[0].cycles);
  EXPECT_EQ((*all)[1].cycles, 1042);
}

TEST_F(Attempts, WhatACrashCutOffStaysAnAttempt) {
  for (const char* cut :
       {"2026", "2026\t", "2026\tsil", "2026\tsilent\t1\t-\tother ca", "2026\tsilent\t1\t-\t\t\ta.pc"}) {
    std::ofstream(job_.file + ".attempts") << "2026\tsilent\t1\t-\t\t\ta.pcapng\n" << cut;
    ASSERT_TRUE(appendAttempt(job_, entry("through", 2)));
    const auto all = readAttempts(job_);
    ASSERT_TRUE(all) << cut << ": " << all.error().text();
    ASSERT_EQ(all->size(), 3U) << cut;
    EXPECT_EQ((*all)[2].rung, "through");
  }
}

TEST_F(Attempts, ALineThatIsNoneNamesItsPlace) {
  std::ofstream(job_.file + ".attempts") << "2026\tsilent\n";
  const auto all = readAttempts(job_);
  ASSERT_FALSE(all);
  EXPECT_THAT(all.error().place, HasSubstr("job.toml.attempts:1"));
}

TEST_F(Attempts, TheStopRuleCountsLikeFailuresInARow) {
  EXPECT_THAT(stopText(job_, {entry("silent"), entry("silent"), entry("silent")}), IsEmpty());  // no rule
  job_.stop_after_alike = 3;
  EXPECT_THAT(stopText(job_, {entry("cut"), entry("silent"), entry("silent")}), IsEmpty());
  EXPECT_THAT(stopText(job_, {entry("cut"), entry("silent"), entry("silent"), entry("silent")}),
              HasSubstr("3 attempts in a row ended `silent`"));
  EXPECT_THAT(stopText(job_, {entry("through"), entry("through"), entry("through")}), IsEmpty());
}

// 49 CFR 563.8 Table III: 0 to 60,000, accuracy +/-1 cycle.
TEST_F(Attempts, IgnitionCyclesAreConsistentOrNotAndNeverMoreThanThat) {
  EXPECT_THAT(reconcileCycles({entry("through", 1, 1042)}), IsEmpty());
  EXPECT_THAT(reconcileCycles({entry("through", 1, 1042), entry("cut", 2), entry("through", 4, 1045)}),
              HasSubstr("by 3; this job's ledger has 3 power-ups between the two: consistent"));
  EXPECT_THAT(reconcileCycles({entry("through", 1, 1042), entry("through", 4, 1047)}),
              HasSubstr(": consistent"));
  EXPECT_THAT(reconcileCycles({entry("through", 1, 1042), entry("through", 4, 1048)}),
              HasSubstr("not consistent"));
  EXPECT_THAT(reconcileCycles({entry("through", 1, 59999), entry("through", 9, 60000)}),
              HasSubstr("tells nothing"));
}

TEST_F(Attempts, TheKeyIsMadeOnceAndForItsOwnerOnly) {
  const auto key = digestKey(job_);
  ASSERT_TRUE(key) << key.error().text();
  EXPECT_EQ(key->size(), 32U);
  struct stat facts {};
  ASSERT_EQ(stat((job_.file + ".key").c_str(), &facts), 0);
  EXPECT_EQ(facts.st_mode & 0777, 0600U);
  EXPECT_EQ(*digestKey(job_), *key);
  chmod((job_.file + ".key").c_str(), 0644);
  ASSERT_FALSE(digestKey(job_));
  EXPECT_THAT(digestKey(job_).error().text(), HasSubstr("chmod 600"));
  std::filesystem::remove(job_.file + ".key");
  EXPECT_NE(*digestKey(job_), *key);
  std::filesystem::remove(job_.file + ".key");
  std::ofstream(job_.file + ".key") << "abc\n";
  chmod((job_.file + ".key").c_str(), 0600);
  EXPECT_THAT(digestKey(job_).error().text(), HasSubstr("64 hex digits"));
  EXPECT_THAT(*digestKey(Job()), IsEmpty());
}

}  // namespace
}  // namespace pin16::job
