// SPDX-License-Identifier: Apache-2.0
/// The recorder as its own process, over the simulated bench: what its clients do to it.

#include "core/recorder/session.hpp"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>

#include "core/can/wire_bits.hpp"
#include "core/capture/reader.hpp"
#include "core/capture/verify.hpp"
#include "core/recorder/recorder.hpp"

namespace pin16::recorder {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;

class Counter : public event::Sink {
 public:
  void take(const event::Batch& batch) override {
    for (const auto& h : batch.headers) {
      ++kinds[h.kind];
      // Filled where a frame enters a batch: from a live link in the recorder, from a file in its reader.
      if (const auto f = h.kind == event::Kind::frame ? batch.frame(h) : std::nullopt) {
        EXPECT_EQ(h.wire_bits, can::packWireBits(can::wireBits(*f)));
      }
      if (h.kind == event::Kind::note)
        if (const auto note = batch.record<event::Note>(h)) notes.push_back(*note);
      last_sequence = h.sequence;
    }
  }
  std::map<event::Kind, int> kinds;
  std::vector<event::Note> notes;
  std::uint64_t last_sequence = 0;
};

class RecorderProcess : public testing::Test {
 protected:
  void SetUp() override {
    setenv("PIN16_PROGRAM", PIN16_BINARY, 1);
    std::string pattern = (std::filesystem::temp_directory_path() / "pin16-rec-XXXXXX").string();
    folder_ = mkdtemp(pattern.data());
    setenv("XDG_RUNTIME_DIR", folder_.c_str(), 1);
    config_.uris = {std::string("bench:") + PIN16_SOURCE_DIR + "/captures/scenarios/own-battery-sound"};
    config_.file = folder_ + "/c.pcapng";
    config_.command = "a test";
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }

  /// Polls until so many frames were seen.
  void seeFrames(Session& session, int frames) {
    const Ns end = bootNow() + 20 * kNsPerSecond;
    const int goal = counter_.kinds[event::Kind::frame] + frames;
    while (counter_.kinds[event::Kind::frame] < goal) {
      ASSERT_LT(bootNow(), end) << "too few frames";
      ASSERT_TRUE(session.poll(counter_, milliseconds(100)));
    }
  }
  std::map<event::Kind, int> kindsOfFile() {
    Counter counter;
    auto reader = capture::Reader::open(config_.file);
    EXPECT_TRUE(reader);
    if (reader)
      for (event::Batch b; (*reader)->next(b);) counter.take(b);
    return counter.kinds;
  }
  /// By whom, as the file has it.
  std::string vouchedFor() {
    Counter counter;
    std::string by;
    auto reader = capture::Reader::open(config_.file);
    EXPECT_TRUE(reader);
    if (reader)
      for (event::Batch b; (*reader)->next(b);) counter.take(b);
    for (const event::Note& n : counter.notes)
      if (n.text.find("is vouched for") != std::string::npos) by += n.by + ";";
    return by;
  }
  Result<Reply> finish(Session& session) {
    Command end;
    end.action = Action::finish;
    return session.call(end, counter_);
  }

  std::string folder_;
  Config config_;
  Counter counter_;
};

Command askEverybody() {
  Command ask;
  ask.action = Action::ask;
  ask.request_id = 0x7DF;
  ask.functional = true;
  ask.packed = {0x01, 0x00};
  return ask;
}

TEST_F(RecorderProcess, WhatTheClientSawIsInTheFileAndVerifies) {
  auto session = Session::start(config_);
  ASSERT_TRUE(session) << session.error().text();
  seeFrames(**session, 20);
  Command note;
  note.action = Action::note;
  note.text = "door opened";
  ASSERT_TRUE((*session)->call(note, counter_));
  const auto reply = finish(**session);
  ASSERT_TRUE(reply) << reply.error().text();
  session->reset(nullptr);
  const auto kinds = kindsOfFile();
  EXPECT_EQ(kinds.at(event::Kind::frame), counter_.kinds[event::Kind::frame]);
  EXPECT_EQ(kinds.at(event::Kind::note), counter_.kinds[event::Kind::note]);
  const auto report = capture::verify(config_.file);
  ASSERT_TRUE(report);
  EXPECT_TRUE(report->whole);
}

TEST_F(RecorderProcess, AnExistingCaptureIsNeverOverwritten) {
  { std::ofstream(config_.file) << "mine"; }
  const auto session = Session::start(config_);
  ASSERT_FALSE(session);
  EXPECT_EQ(session.error().kind, ErrorKind::record);
}

TEST_F(RecorderProcess, AWrongLinkIsAUsageErrorBeforeAnythingStarts) {
  config_.uris = {"nonsense:can0"};
  const auto session = Session::start(config_);
  ASSERT_FALSE(session);
  EXPECT_EQ(session.error().kind, ErrorKind::usage);
}

TEST_F(RecorderProcess, TheGateOfASealedRunRefusesAndTheRefusalIsRecorded) {
  config_.sealed = true;
  auto session = Session::start(config_);
  ASSERT_TRUE(session) << session.error().text();
  seeFrames(**session, 5);
  const Command ask = askEverybody();
  const auto reply = (*session)->call(ask, counter_);
  ASSERT_FALSE(reply);
  EXPECT_EQ(reply.error().kind, ErrorKind::gate);
  Command vouch;
  vouch.action = Action::vouch;
  const auto vouched = (*session)->call(vouch, counter_);
  ASSERT_FALSE(vouched);
  EXPECT_EQ(vouched.error().kind, ErrorKind::gate);
  ASSERT_TRUE(finish(**session));
  const auto kinds = kindsOfFile();
  EXPECT_EQ(kinds.count(event::Kind::sent), 0U);
  EXPECT_EQ(vouchedFor(), "") << "what was refused is not noted as done";
  EXPECT_GE(kinds.at(event::Kind::refused), 1);
}

TEST_F(RecorderProcess, OnceAnAttemptHasBegunEveryRequestIsRefusedEvenAfterItsEnd) {
  auto session = Session::start(config_);
  ASSERT_TRUE(session) << session.error().text();
  seeFrames(**session, 5);
  const Command ask = askEverybody();
  ASSERT_TRUE((*session)->call(ask, counter_));  // so the refusals below are the attempt's
  Command vouch;
  vouch.action = Action::vouch;
  vouch.by = "A";
  ASSERT_TRUE((*session)->call(vouch, counter_));
  vouch.link = 9;
  EXPECT_FALSE((*session)->call(vouch, counter_)) << "there is no such link";
  vouch.link = 0;
  for (const bool begins : {true, false}) {
    event::Attempt mark;
    mark.begins = begins;
    Command attempt;
    attempt.action = Action::attempt;
    attempt.packed = pack(mark);
    ASSERT_TRUE((*session)->call(attempt, counter_));
    const auto reply = (*session)->call(ask, counter_);
    ASSERT_FALSE(reply);
    EXPECT_EQ(reply.error().kind, ErrorKind::gate);
    EXPECT_NE(reply.error().text().find("attempt"), std::string::npos) << reply.error().text();
    const auto vouched = (*session)->call(vouch, counter_);
    ASSERT_FALSE(vouched);
    EXPECT_EQ(vouched.error().kind, ErrorKind::gate);
  }
  ASSERT_TRUE(finish(**session));
  const auto kinds = kindsOfFile();
  EXPECT_EQ(vouchedFor(), "A;") << "who vouched stands in the file, once";
  EXPECT_EQ(kinds.at(event::Kind::attempt), 2);
  EXPECT_EQ(kinds.at(event::Kind::refused), 2);
}

/// Ends it as a crash would, with room for a dump; whether the system wrote one.
bool dumpsCore(const Config& config, const std::string& folder) {
  const rlimit any{RLIM_INFINITY, RLIM_INFINITY};
  setrlimit(RLIMIT_CORE, &any);
  const auto before = std::filesystem::current_path();
  std::filesystem::current_path(folder);
  auto session = Session::start(config);
  std::filesystem::current_path(before);
  EXPECT_TRUE(session) << session.error().text();
  if (!session) return false;
  kill((*session)->recorderPid(), SIGABRT);
  int status = 0;
  EXPECT_EQ(waitpid((*session)->recorderPid(), &status, 0), (*session)->recorderPid());
  EXPECT_TRUE(WIFSIGNALED(status));
  return WCOREDUMP(status);
}

TEST_F(RecorderProcess, DuringAnAttemptACrashLeavesNoDump) {
  if (!dumpsCore(config_, folder_)) GTEST_SKIP() << "this system writes no dumps: nothing can be shown";
  config_.file = folder_ + "/attempt.pcapng";
  config_.attempt = pack(event::Attempt());
  EXPECT_FALSE(dumpsCore(config_, folder_));
}

TEST_F(RecorderProcess, AKilledOwnerLosesNothingAndANoteStillReachesTheRecording) {
  config_.outlive_owner = true;
  config_.socket = folder_ + "/r.sock";
  const pid_t owner = fork();
  if (owner == 0) {
    Counter counter;
    auto session = Session::start(config_);
    if (!session) _exit(1);
    for (;;) (void)(*session)->poll(counter, milliseconds(100));
  }
  auto watcher = Session::attach(config_.socket, "watcher");
  for (int i = 0; i < 100 && !watcher; ++i) {
    usleep(50'000);
    watcher = Session::attach(config_.socket, "watcher");
  }
  ASSERT_TRUE(watcher) << watcher.error().text();
  seeFrames(**watcher, 10);
  kill(owner, SIGKILL);
  waitpid(owner, nullptr, 0);
  seeFrames(**watcher, 20);  // it goes on
  ASSERT_TRUE(finish(**watcher));
  EXPECT_TRUE(capture::verify(config_.file)->whole);
  // hello of owner and watcher, and the owner's end
  EXPECT_GE(kindsOfFile().at(event::Kind::client), 3);
}

TEST_F(RecorderProcess, AShortCommandsRecorderEndsWithItsOwner) {
  config_.socket = folder_ + "/r.sock";
  {
    auto session = Session::start(config_);
    ASSERT_TRUE(session);
    seeFrames(**session, 5);
  }
  for (int i = 0; i < 200 && std::filesystem::exists(config_.socket); ++i) usleep(20'000);
  EXPECT_FALSE(std::filesystem::exists(config_.socket));
  EXPECT_TRUE(capture::verify(config_.file)->whole);
}

TEST_F(RecorderProcess, TermSignalClosesTheFileInGoodOrder) {
  auto session = Session::start(config_);
  ASSERT_TRUE(session);
  seeFrames(**session, 5);
  kill((*session)->recorderPid(), SIGTERM);
  waitpid((*session)->recorderPid(), nullptr, 0);
  EXPECT_TRUE(capture::verify(config_.file)->whole);
}

TEST_F(RecorderProcess, AKilledRecorderIsARecordErrorAndTheFileStillOpens) {
  auto session = Session::start(config_);
  ASSERT_TRUE(session);
  seeFrames(**session, 50);
  kill((*session)->recorderPid(), SIGKILL);
  Status state;
  for (int i = 0; i < 100 && state; ++i) state = (*session)->poll(counter_, milliseconds(50));
  ASSERT_FALSE(state);
  EXPECT_EQ(state.error().kind, ErrorKind::record);
  EXPECT_GE(kindsOfFile()[event::Kind::frame], 1);
}

}  // namespace
}  // namespace pin16::recorder
