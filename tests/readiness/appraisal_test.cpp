// SPDX-License-Identifier: Apache-2.0
// A capture appraised later says what was said live: steps from the recorded observations only.

#include "core/readiness/appraisal.hpp"

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>

#include "core/capture/writer.hpp"

namespace pin16::readiness {
namespace {

using event::Batch;
using event::CanFrame;
using event::Kind;

class AppraisalTest : public ::testing::Test {
 protected:
  AppraisalTest() {
    std::string name = (std::filesystem::temp_directory_path() / "pin16-appraisal-XXXXXX").string();
    if (mkdtemp(name.data()) != nullptr) dir_ = name;
  }
  ~AppraisalTest() override {
    std::error_code ignored;
    std::filesystem::remove_all(dir_, ignored);
  }
  [[nodiscard]] std::string file() const { return (dir_ / "c.pcapng").string(); }
  std::filesystem::path dir_;
};

job::Job vehicleJob() {
  job::Job job;
  job.name = "test";
  job.module.address = job::Address{0x7A1, 0x7A9, false};
  job.bus.bitrate = 500000;
  return job;
}

event::Measurement typed(const char* point, double value, event::PowerState power) {
  event::Measurement m;
  m.point = point;
  m.value = value;
  m.unit = point[0] == 'R' ? "ohm" : "V";
  m.uncertainty = 0.02;
  m.power = power;
  return m;
}

/// A vehicle whose pin 16 shows `pin16_V`, a talking bus, and another tester whose request is answered.
void record(const std::string& file, double pin16_V, const char* recorded_verdict) {
  capture::SectionFacts facts;
  facts.utc_offset_ns = 1'700'000'000 * kNsPerSecond;
  auto writer = capture::Writer::create(file, facts);
  ASSERT_TRUE(writer) << writer.error().text();
  Batch b;
  std::uint64_t n = 0;
  Ns t = kNsPerSecond;
  event::LinkState state;
  state.uri = "socketcan:can0";
  state.condition = event::LinkCondition::up;
  state.bitrate = 500000;
  state.listen_only = event::Known::yes;
  state.silence = event::Silence::proven;
  b.add(++n, t, 0, Kind::link, state);
  b.add(++n, t, event::kNoLink, Kind::reading, typed("R(pin6,pin14)", 60, event::PowerState::off));
  b.add(++n, t, event::kNoLink, Kind::reading, typed("V(src+,src-)", 12.6, event::PowerState::source));
  b.add(++n, t, event::kNoLink, Kind::power, event::Power{event::PowerState::on, "declared", ""});
  b.add(++n, t, event::kNoLink, Kind::reading, typed("V(src+,src-)", 12.5, event::PowerState::on));
  b.add(++n, t, event::kNoLink, Kind::reading, typed("V(pin16,pin4)", pin16_V, event::PowerState::on));
  const Ns asked = t + 2 * kNsPerSecond;
  for (int i = 0; i < 400; ++i) {
    t += 10 * kNsPerMs;
    b.addFrame(++n, t, 0, CanFrame::make(0xC8, false, *fromHex("0102030405060708")), 0);
    if (t == asked) {
      b.addFrame(++n, t + kNsPerMs, 0, CanFrame::make(0x7A1, false, *fromHex("0322f19000000000")), 0);
      b.addFrame(++n, t + 9 * kNsPerMs, 0, CanFrame::make(0x7A9, false, *fromHex("0662f190414243 00")), 0);
    }
  }
  b.add(++n, t, event::kNoLink, Kind::verdict, event::Verdict{"connector", recorded_verdict, "said live"});
  ASSERT_TRUE((*writer)->take(b));
  ASSERT_TRUE((*writer)->finish());
}

Sheet appraised(const std::string& file, std::unique_ptr<Appraisal>* out = nullptr) {
  plugin::HostOptions none;
  none.none = true;
  auto a = Appraisal::open(file, vehicleJob(), none);
  EXPECT_TRUE(a) << a.error().text();
  while ((*a)->next()) {
  }
  (*a)->finish();
  Sheet sheet = (*a)->sheet();
  if (out != nullptr) *out = std::move(*a);
  return sheet;
}

std::string verdictOf(const Sheet& s, const std::string& step) {
  for (const Step& x : s.steps)
    if (x.name == step) return toText(x.verdict);
  return "none";
}

TEST_F(AppraisalTest, StepsFollowFromWhatWasObservedNotFromWhatWasSaidOfIt) {
  record(file(), 12.4, "faulty");
  std::unique_ptr<Appraisal> a;
  const Sheet sheet = appraised(file(), &a);
  EXPECT_EQ(verdictOf(sheet, "connector"), "sound");
  EXPECT_EQ(verdictOf(sheet, "source"), "sound");
  EXPECT_EQ(verdictOf(sheet, "traffic"), "sound");
  EXPECT_EQ(verdictOf(sheet, "answer"), "sound") << "the other tester's exchange proves that it answers";
  EXPECT_EQ(toText(sheet.overall), std::string("ready")) << sheet.sentence;
  EXPECT_TRUE(a->evidence().moduleHeard());
  EXPECT_TRUE(a->evidence().othersHeard());
  EXPECT_EQ(a->summary().recorded.verdicts.size(), 1U);
  EXPECT_EQ(sheet.capture, file());
  // The same pass gave the index and the time axis.
  EXPECT_EQ(a->takeIndex().events, 409U);
  const auto bars = a->timeline().bars(a->timeline().firstNs(), a->timeline().lastNs() + 1, 100);
  ASSERT_EQ(bars.bars.size(), 1U);
  EXPECT_EQ(bars.bars[0].request_id, 0x7A1U);
  EXPECT_EQ(bars.bars[0].ended, event::Ended::answered);
  EXPECT_NEAR(toMs(bars.bars[0].to_ns - bars.bars[0].from_ns), 8, 0.4);
}

TEST_F(AppraisalTest, ADeadPin16IsFaultyAgain) {
  record(file(), 0.01, "sound");
  const Sheet sheet = appraised(file());
  EXPECT_EQ(verdictOf(sheet, "connector"), "faulty");
  EXPECT_EQ(toText(sheet.overall), std::string("not-ready"));
  ASSERT_TRUE(sheet.first_thing);
  EXPECT_EQ(sheet.first_thing->code, "connector-no-power");
}

TEST_F(AppraisalTest, AFileThatIsNoCaptureIsAnError) {
  plugin::HostOptions none;
  none.none = true;
  EXPECT_FALSE(Appraisal::open(dir_.string(), vehicleJob(), none));
}

}  // namespace
}  // namespace pin16::readiness
