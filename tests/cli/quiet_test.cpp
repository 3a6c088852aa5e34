// SPDX-License-Identifier: Apache-2.0
/// No bit leaves in a sealed job and during an attempt, whatever command, plugin or file tries: counted at
/// the far end of each kind of link, at the device and on the bus behind it. tests/vm counts for kernel
/// interfaces.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <filesystem>
#include <set>
#include <thread>

#include "core/bench/serve_at.hpp"
#include "core/bench/serve_kline.hpp"
#include "core/bench/serve_slcan.hpp"
#include "run_pin16.hpp"
#include "tests/bench/at_desk.hpp"

namespace pin16::test {
namespace {

using std::chrono::milliseconds;
using testing::HasSubstr;

const std::string kScenario = std::string(PIN16_SOURCE_DIR) + "/captures/scenarios/own-battery-sound";

using SlcanDesk = bench::DeskInThread<bench::Desk<bench::SlcanAdapter, bench::SlcanHabits>>;
using AtDesk = bench::DeskInThread<bench::AtDesk>;
using KLineDesk = bench::DeskInThread<bench::Desk<bench::KLineLead, bench::KLineHabits>>;

/// Frames that the interface began to send; a K-line has no such count, there every byte is one too many.
template <class OneDesk>
std::uint64_t framesOf(OneDesk& desk) {
  return desk.stopped().world->attempts(bench::kInterface);
}

/// A job that asks for all it can: a link that acknowledges, rate and format vouched for, a module to ask.
void askingJob(const TemporaryFolder& f, const std::string& uri, bool sealed) {
  writeFile(
      f.file("job.toml"),
      "[job]\nname = \"a test\"\narrangement = \"own-battery\"\n" +
          std::string(sealed ? "sealed = true\n" : "") +
          "[module]\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n[bus]\nbitrate = 500000\nrate_fixed = true\n"
          "[[link]]\nuri = \"" +
          uri + "\"\n");
}

/// Every command that could make a link speak, each in the loudest way that it has.
std::vector<std::vector<std::string>> everyCommand(const std::string& uri) {
  return {{"check", "--job", "job.toml", "--ask", "--rate-known", "--for", "0.2", "--sweep", "7E0-7E3",
           "--plugin", PIN16_ASKING},
          {"check", "--job", "job.toml", uri, "--ask", "--for", "0.2"},
          {"rollcall", uri, "--job", "job.toml", "--rate-known", "--sweep", "7E0-7E3"},
          {"query", uri, "01 00", "@7A1 22 F190", "--job", "job.toml", "--rate-known"},
          {"query", uri, "@33 01 00", "--job", "job.toml", "--rate-known"},
          {"listen", "--job", "job.toml", "--for", "0.5", "--plugin", PIN16_ASKING},
          {"listen", "--attempt", "--unchanged", "a test", "--job", "job.toml", "--for", "0.5", "--plugin",
           PIN16_ASKING},
          {"links"}};
}

void runAll(const TemporaryFolder& f, const std::string& uri, const std::set<std::string>& may_go_on) {
  int n = 0;
  while (std::filesystem::exists(f.file("c" + std::to_string(n) + ".pcapng"))) ++n;
  for (auto words : everyCommand(uri)) {
    const std::string command = words[0];
    if (command != "links") words.insert(words.end(), {"-o", "c" + std::to_string(n++) + ".pcapng"});
    const Ran ran = runPin16(words, f.path());
    if (may_go_on.contains(command)) continue;
    EXPECT_EQ(ran.exit_code, 4) << command << ran.out << ran.err;
  }
}

// ---- sealed

TEST(Quiet, SealedSerialCanAdapterThatWouldAcknowledgeIsNotEvenOpened) {
  const TemporaryFolder f;
  SlcanDesk desk(kScenario, bench::SlcanHabits{});
  const std::string uri = "slcan:" + desk.path() + "?bitrate=500000&listen=no";
  askingJob(f, uri, true);
  runAll(f, uri, {"links"});
  EXPECT_EQ(framesOf(desk), 0U);
  EXPECT_EQ(desk.stopped().from_host, "");
}

TEST(Quiet, SealedSerialCanAdapterThatListensSendsNothing) {
  const TemporaryFolder f;
  SlcanDesk desk(kScenario, bench::SlcanHabits{});
  const std::string uri = "slcan:" + desk.path() + "?bitrate=500000";
  askingJob(f, uri, true);
  runAll(f, uri, {"links", "listen"});
  EXPECT_EQ(framesOf(desk), 0U);
  EXPECT_THAT(desk.stopped().from_host, HasSubstr("L\r"));  // it was opened, listening
  EXPECT_THAT(desk.stopped().from_host, testing::Not(testing::ContainsRegex("[tTrRO][0-9A-F]*\r")));
}

TEST(Quiet, SealedAtAdapterCannotBeSilentAndIsNotEvenOpened) {
  const TemporaryFolder f;
  AtDesk desk(kScenario, bench::AtHabits{});
  const std::string uri = "at:" + desk.path() + "?protocol=can11-500";
  askingJob(f, uri, true);
  runAll(f, uri, {"links"});
  EXPECT_EQ(framesOf(desk), 0U);
  EXPECT_EQ(desk.stopped().from_host, "");
}

TEST(Quiet, SealedKLineLeadWritesNoByte) {
  const TemporaryFolder f;
  KLineDesk desk(kScenario, bench::KLineHabits{});
  const std::string uri = "kline:" + desk.path() + "?init=fast";
  askingJob(f, uri, true);
  runAll(f, uri, {"links", "listen"});
  EXPECT_EQ(desk.stopped().from_host, "");
}

TEST(Quiet, SealedBenchLinkGetsNoFrame) {
  const TemporaryFolder f;
  const std::string uri = "bench:" + kScenario;
  askingJob(f, uri, true);
  runAll(f, uri, {"links"});
  for (int i = 0; i < 7; ++i) {
    const std::string file = "c" + std::to_string(i) + ".pcapng";
    EXPECT_THAT(runPin16({"review", file, "--json", "--no-plugins"}, f.path()).out, HasSubstr("\"sent\":[]"))
        << i;
  }
}

TEST(Quiet, ACaptureThatHoldsRequestsSendsNoneWhenItIsReplayedBesideALink) {
  const TemporaryFolder f;
  const Ran asked =
      runPin16({"query", "bench:" + kScenario, "01 00", "--rate-known", "-o", "asked.pcapng"}, f.path());
  ASSERT_THAT(runPin16({"review", "asked.pcapng", "--json"}, f.path()).out,
              testing::Not(HasSubstr("\"sent\":[]")))
      << asked.err;
  SlcanDesk desk(kScenario, bench::SlcanHabits{});
  const std::string uri = "slcan:" + desk.path() + "?bitrate=500000";
  askingJob(f, uri, true);
  (void)runPin16(
      {"listen", "replay:asked.pcapng?pace=fast", uri, "--job", "job.toml", "--for", "1", "-o", "r.pcapng"},
      f.path());
  EXPECT_EQ(framesOf(desk), 0U);
}

// ---- during an attempt that another recording has

/// An attempt on a link of its own, recorded until the end of the test.
class Running {
 public:
  explicit Running(const TemporaryFolder& f)
      : f_(f), recording_([this] {
          (void)runPin16({"listen", "--attempt", "bench:" + kScenario, "--for", "60", "-o", "running.pcapng"},
                         f_.path());
        }) {
    for (int i = 0; i < 100 && runPin16({"note", "ready?"}, f_.path()).exit_code != 0; ++i)
      std::this_thread::sleep_for(milliseconds(200));
  }
  ~Running() {
    (void)runPin16({"note", "--end"}, f_.path());
    recording_.join();
  }

 private:
  const TemporaryFolder& f_;
  std::thread recording_;
};

TEST(Quiet, WhileAnAttemptIsRecordedNoOtherRecordingSendsOrAcknowledges) {
  const TemporaryFolder f;
  const Running attempt(f);
  {
    SlcanDesk desk(kScenario, bench::SlcanHabits{});
    const std::string uri = "slcan:" + desk.path() + "?bitrate=500000&listen=no";
    askingJob(f, uri, false);
    runAll(f, uri, {"links"});
    EXPECT_EQ(runPin16({"links", "--check", uri}, f.path()).exit_code, 4);
    EXPECT_EQ(runPin16({"links", "--rate-search", "slcan:" + desk.path()}, f.path()).exit_code, 4);
    EXPECT_EQ(framesOf(desk), 0U);
    EXPECT_EQ(desk.stopped().from_host, "");
  }
  {
    AtDesk desk(kScenario, bench::AtHabits{});
    const std::string uri = "at:" + desk.path() + "?protocol=can11-500";
    askingJob(f, uri, false);
    runAll(f, uri, {"links"});
    EXPECT_EQ(framesOf(desk), 0U);
    EXPECT_EQ(desk.stopped().from_host, "");
  }
  {
    KLineDesk desk(kScenario, bench::KLineHabits{});
    const std::string uri = "kline:" + desk.path() + "?init=fast";
    askingJob(f, uri, false);
    runAll(f, uri, {"links", "listen"});
    EXPECT_EQ(desk.stopped().from_host, "");
  }
}

// ---- during an attempt in the same recording

TEST(Quiet, OnTheLinkOfTheAttemptItselfNothingLeavesEither) {
  const TemporaryFolder f;
  SlcanDesk desk(kScenario, bench::SlcanHabits{});
  const std::string uri = "slcan:" + desk.path() + "?bitrate=500000&listen=no";
  askingJob(f, uri, false);
  std::thread listening([&] {
    (void)runPin16({"listen", "--attempt", "--job", "job.toml", "--plugin", PIN16_ASKING, "--for", "20", "-o",
                    "a.pcapng"},
                   f.path());
  });
  for (int i = 0; i < 100 && runPin16({"note", "ready?"}, f.path()).exit_code != 0; ++i)
    std::this_thread::sleep_for(milliseconds(200));
  runAll(f, uri, {"check", "rollcall", "query", "listen", "links"});  // the port is taken: 3, or 4
  (void)runPin16({"note", "--end"}, f.path());
  listening.join();
  EXPECT_EQ(framesOf(desk), 0U);
  EXPECT_THAT(desk.stopped().from_host, testing::Not(testing::ContainsRegex("[tTrR][0-9A-F]+\r")));
}

// The counts above can see something: unsealed and alone, the same calls do send.
TEST(Quiet, TheCountsAreNotBlind) {
  const TemporaryFolder f;
  SlcanDesk slcan(kScenario, bench::SlcanHabits{});
  (void)runPin16({"query", "slcan:" + slcan.path() + "?bitrate=500000&listen=no", "01 00", "--rate-known",
                  "-o", "s.pcapng"},
                 f.path());
  EXPECT_GT(framesOf(slcan), 0U);
  AtDesk at(kScenario, bench::AtHabits{});
  (void)runPin16(
      {"query", "at:" + at.path() + "?protocol=can11-500", "01 00", "--rate-known", "-o", "t.pcapng"},
      f.path());
  EXPECT_GT(framesOf(at), 0U);
  KLineDesk kline(kScenario, bench::KLineHabits{});
  (void)runPin16({"query", "kline:" + kline.path() + "?init=fast", "01 00", "-o", "k.pcapng"}, f.path());
  EXPECT_NE(kline.stopped().from_host, "");
}

}  // namespace
}  // namespace pin16::test
