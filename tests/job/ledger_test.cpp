// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

class Ledger : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = (std::filesystem::temp_directory_path() / "pin16-ledger-XXXXXX").string();
    ASSERT_NE(::mkdtemp(name.data()), nullptr);
    folder_ = name;
    job_.file = folder_ / "job.toml";
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }
  [[nodiscard]] std::string file() const { return job_.file + ".ledger"; }
  void write(const std::string& text) const { std::ofstream(file(), std::ios::binary) << text; }
  [[nodiscard]] std::string content() const {
    std::ifstream in(file(), std::ios::binary);
    return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  }
  std::filesystem::path folder_;
  Job job_;
};

TEST_F(Ledger, EntriesComeBackInOrder) {
  ASSERT_TRUE(readLedger(job_));
  EXPECT_TRUE(readLedger(job_)->empty());
  ASSERT_TRUE(appendPowerUp(job_, {"2026-11-25T17:39:43Z", "measured", "V(feed,chassis) rose"}));
  ASSERT_TRUE(appendPowerUp(job_, {"2026-11-26T08:00:00Z", "declared", "ignition\ton\n"}));
  const auto all = readLedger(job_);
  ASSERT_TRUE(all);
  ASSERT_EQ(all->size(), 2U);
  EXPECT_EQ((*all)[0].how, "measured");
  EXPECT_EQ((*all)[1].text, "ignition on ");
}

TEST_F(Ledger, WhatWasWrittenIsNeverRewritten) {
  ASSERT_TRUE(appendPowerUp(job_, {"a", "declared", "one"}));
  const std::string before = content();
  ASSERT_TRUE(appendPowerUp(job_, {"b", "declared", "two"}));
  EXPECT_EQ(content().substr(0, before.size()), before);
}

TEST_F(Ledger, AnEntryCutOffByACrashStillCounts) {
  for (const char* torn :
       {"2026-11-25T17", "2026-11-25T17:39:43Z\tmeas", "2026-11-25T17:39:43Z\tmeasured\tV(fe"}) {
    write(std::string("2026-11-24T00:00:00Z\tdeclared\tone\n") + torn);
    ASSERT_TRUE(readLedger(job_)) << torn;
    EXPECT_EQ(readLedger(job_)->size(), 2U) << torn;
    ASSERT_TRUE(appendPowerUp(job_, {"2026-11-26T00:00:00Z", "declared", "next"}));
    const auto all = readLedger(job_);
    ASSERT_TRUE(all) << all.error().text();
    ASSERT_EQ(all->size(), 3U) << torn;
    EXPECT_EQ((*all)[2].text, "next");
  }
}

TEST_F(Ledger, ALineThatIsNoEntryIsNamed) {
  write("2026-11-24T00:00:00Z\tdeclared\tone\nscribble\n2026-11-24T00:00:00Z\tdeclared\ttwo\n");
  const auto all = readLedger(job_);
  ASSERT_FALSE(all);
  EXPECT_EQ(all.error().place, file() + ":2");
}

TEST_F(Ledger, AJobWithoutAFileHasNone) {
  const Job memory_only;
  ASSERT_TRUE(readLedger(memory_only));
  EXPECT_TRUE(readLedger(memory_only)->empty());
  const auto done = appendPowerUp(memory_only, {"t", "declared", ""});
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().kind, ErrorKind::usage);
}

TEST_F(Ledger, AnUnknownKindOfEntryIsRefused) {
  EXPECT_FALSE(appendPowerUp(job_, {"t", "guessed", ""}));
  EXPECT_FALSE(std::filesystem::exists(file()));
}

TEST_F(Ledger, AFolderThatCannotBeWrittenIsAnErrorOfTheRecord) {
  job_.file = (folder_ / "gone" / "job.toml").string();
  const auto done = appendPowerUp(job_, {"t", "declared", ""});
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().kind, ErrorKind::record);
}

TEST_F(Ledger, CountsApartWhatCameHow) {
  EXPECT_EQ(removedAt({}), std::nullopt);
  std::vector<PowerUp> all = {{"2026-11-25T10:00:00Z", "declared", ""},
                              {"2026-11-25T10:01:00Z", "missed", ""},
                              {"2026-11-25T10:02:00Z", "removed", ""},
                              {"2026-11-25T11:00:00Z", "measured", ""},
                              {"2026-11-25T11:01:00Z", "woke", ""}};
  const PowerCounts c = countPower(all);
  EXPECT_EQ(c.supplyRises(), 2);
  EXPECT_EQ(c.powerUps(), 1);
  EXPECT_EQ(toText(c), "1 measured, 1 declared; 1 did not reach the module; 1 wake-up");
  EXPECT_EQ(lastRise(all), "2026-11-25T11:00:00Z");
  EXPECT_EQ(removedAt(all), std::nullopt);  // it came again
  all.push_back({"2026-11-25T12:00:00.500000Z", "removed", ""});
  EXPECT_EQ(removedAt(all), parseUtc("2026-11-25T13:00:00.5+01:00"));
  for (const auto& e : all) ASSERT_TRUE(appendPowerUp(job_, e)) << e.how;
  EXPECT_EQ(readLedger(job_)->size(), all.size());
}

}  // namespace
}  // namespace pin16::job
