// SPDX-License-Identifier: Apache-2.0
#include "core/job/draft.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

namespace pin16::job {
namespace {

using ::testing::HasSubstr;
using ::testing::SizeIs;

Draft least() { return {{"job.arrangement", "removed"}}; }
Draft with(const std::string& key, const std::string& text) {
  Draft d = least();
  d.emplace_back(key, text);
  return d;
}
std::string read(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

TEST(JobDraft, EveryFieldArrivesInTheJob) {
  const Draft draft = {
      {"job.name", "van \"7\", row \\ 4"},
      {"job.arrangement", "fed-in-place"},
      {"job.access", "gateway"},
      {"job.sealed", "true"},
      {"job.silence", "proven"},
      {"job.power_up_budget", "4"},
      {"job.stop_after_alike", "3"},
      {"job.nominal_V", "24"},
      {"job.wait_s", "90"},
      {"job.wait_source", "service information"},
      {"module.name", "restraint control module"},
      {"module.vin", "0PN16BEN6H0000001"},
      {"module.pins", "1 feed, 21 ground"},
      {"module.request_id", "18DA58F1"},
      {"module.answer_id", "0x18DAF158"},
      {"module.extended", "true"},
      {"module.line_address", "58"},
      {"module.supply_min_V", "9.5"},
      {"module.supply_max_V", " 32 "},
      {"bus.bitrate", "500000"},
      {"bus.protocol", "kwp-fast"},
      {"bus.fd", "true"},
      {"bus.rate_fixed", "true"},
      {"feed.emf_V", "25.2"},
      {"feed.series_ohm", "1e-2"},
      {"feed.limit_A", "5"},
      {"feed.fuse_A", "7.5"},
      {"feed.lead_mm2", "1.5"},
      {"feed.lead_length_m", "10"},
      {"feed.joints_ohm", "0.03"},
      {"ours.pin16_A", "0.05"},
      {"ours.termination_ohm", "120"},
      {"ours.usb_isolated", "false"},
      {"ours.computer_on_mains", "true"},
      {"link.0.uri", "socketcan:can0"},
      {"link.1.uri", "slcan:/dev/ttyACM0"},
      {"link.1.role", "module's own bus"},
      {"meter.0.uri", "scpi:/dev/ttyUSB2"},
      {"meter.0.volts", "V(src+,src-)"},
      {"meter.0.amperes", "I(feed)"},
      {"meter.0.uncertainty_V", "0.02"},
  };
  const auto job = parseJob(draftText(draft), "j");
  ASSERT_TRUE(job) << job.error().text() << draftText(draft);
  EXPECT_EQ(job->name, "van \"7\", row \\ 4");
  EXPECT_EQ(job->arrangement, Arrangement::fed_in_place);
  EXPECT_EQ(job->access, Access::gateway);
  EXPECT_TRUE(job->sealed);
  EXPECT_EQ(job->silence, event::Silence::proven);
  EXPECT_EQ(job->power_up_budget, 4);
  EXPECT_EQ(job->stop_after_alike, 3);
  EXPECT_DOUBLE_EQ(job->nominal_V, 24);
  EXPECT_EQ(job->wait_s, 90);
  EXPECT_EQ(job->wait_source, "service information");
  EXPECT_EQ(job->module.name, "restraint control module");
  EXPECT_EQ(job->module.vin, "0PN16BEN6H0000001");
  EXPECT_EQ(job->module.pins, "1 feed, 21 ground");
  ASSERT_TRUE(job->module.address);
  EXPECT_EQ(job->module.address->request_id, 0x18DA58F1U);
  EXPECT_EQ(job->module.address->answer_id, 0x18DAF158U);
  EXPECT_TRUE(job->module.address->extended);
  EXPECT_EQ(job->module.line_address, 0x58);
  EXPECT_EQ(job->module.supply_min_V, 9.5);
  EXPECT_EQ(job->module.supply_max_V, 32);
  EXPECT_EQ(job->bus.bitrate, 500000U);
  EXPECT_EQ(job->bus.protocol, "kwp-fast");
  EXPECT_TRUE(job->bus.fd && job->bus.rate_fixed);
  ASSERT_TRUE(job->feed);
  EXPECT_DOUBLE_EQ(job->feed->emf_V, 25.2);
  EXPECT_DOUBLE_EQ(job->feed->series_ohm, 0.01);
  EXPECT_DOUBLE_EQ(job->feed->fuse_A, 7.5);
  EXPECT_DOUBLE_EQ(job->feed->lead_length_m, 10);
  EXPECT_TRUE(job->ours.ground_tied);
  ASSERT_THAT(job->links, SizeIs(2));
  EXPECT_EQ(job->links[1].uri, "slcan:/dev/ttyACM0");
  EXPECT_EQ(job->links[1].role, "module's own bus");
  ASSERT_THAT(job->meters, SizeIs(1));
  EXPECT_EQ(job->meters[0].amperes, "I(feed)");
  EXPECT_FALSE(checkDraft(draft));
}

TEST(JobDraft, WhatIsEmptyIsLeftOut) {
  const Draft draft = {{"job.arrangement", "removed"}, {"job.name", "  "}, {"bus.bitrate", ""}};
  EXPECT_EQ(draftText(draft).find("bitrate"), std::string::npos);
  const auto job = parseJob(draftText(draft), "j");
  ASSERT_TRUE(job);
  EXPECT_FALSE(job->bus.bitrate);
  EXPECT_FALSE(job->module.address);
}

TEST(JobDraft, EachFaultNamesTheFieldItStandsIn) {
  const std::vector<std::array<const char*, 3>> faults = {
      {"module.supply_min_V", "9,5", "point"},
      {"module.supply_min_V", "nine", "number"},
      {"module.supply_min_V", "09", "number"},
      {"module.supply_min_V", "9 = 3\n[bus]", "number"},
      {"module.vin", "0PN16BEN6H000000I", "17"},
      {"module.vin", "123", "17"},
      {"module.request_id", "7E0", "come together"},
      {"module.request_id", "seven", "whole number"},
      {"bus.bitrate", "4999", "5000"},
      {"job.power_up_budget", "-1", "0 to 1000"},
      {"job.wait_s", "90", "source"},
      {"job.sealed", "yes", "true or false"},
      {"link.0.uri", "can0", "SCHEME:TARGET"},
  };
  for (const auto& [key, text, says] : faults) {
    const auto fault = checkDraft(with(key, text));
    ASSERT_TRUE(fault) << key << " " << text;
    EXPECT_EQ(fault->key, key) << fault->error.text();
    EXPECT_THAT(fault->error.text(), HasSubstr(says)) << key;
  }
}

TEST(JobDraft, OfSeveralLinksTheFaultyOneIsNamed) {
  Draft d = least();
  d.emplace_back("link.0.uri", "socketcan:can0");
  d.emplace_back("link.1.uri", "can1");
  d.emplace_back("meter.0.uri", "scpi:/dev/ttyUSB0");
  auto fault = checkDraft(d);
  ASSERT_TRUE(fault);
  EXPECT_EQ(fault->key, "link.1.uri");
  d[2].second = "socketcan:can1";
  fault = checkDraft(d);
  ASSERT_TRUE(fault);
  EXPECT_EQ(fault->key, "meter.0");  // nobody said where it is clipped on
}

TEST(JobDraft, AFileIsMadeOnceAndNeverOverwritten) {
  const std::string file = ::testing::TempDir() + "draft-job.toml";
  std::filesystem::remove(file);
  const auto job = createJob(file, with("job.name", "yard 4"));
  ASSERT_TRUE(job) << job.error().text();
  EXPECT_EQ(job->file, file);
  EXPECT_EQ(job->name, "yard 4");
  const std::string first = read(file);
  const auto again = createJob(file, with("job.name", "another"));
  ASSERT_FALSE(again);
  EXPECT_EQ(again.error().kind, ErrorKind::usage);
  EXPECT_EQ(read(file), first);
  // A link to somewhere counts as a file too, even one that leads nowhere.
  const std::string dangling = ::testing::TempDir() + "draft-link.toml";
  std::filesystem::remove(dangling);
  std::filesystem::create_symlink(::testing::TempDir() + "draft-nowhere.toml", dangling);
  EXPECT_FALSE(createJob(dangling, least()));
  EXPECT_FALSE(std::filesystem::exists(::testing::TempDir() + "draft-nowhere.toml"));
}

TEST(JobDraft, SettingsOfPluginsAreAppendedAndNothingIsRewritten) {
  const std::string file = ::testing::TempDir() + "draft-plugins.toml";
  const std::string before = "# mine\n[job]\narrangement = \"removed\"";  // without an end of line
  std::ofstream(file) << before;
  const std::map<std::string, PluginSettings> all = {
      {"bus-voltage", {{"dip_V", 0.8}, {"step_A", 1.0}}},
      {"other", {{"on", true}, {"what", std::string("a \"b\"")}}},
      {"none", {}}};
  ASSERT_TRUE(keepPluginSettings(file, all));
  EXPECT_THAT(read(file), ::testing::StartsWith(before + "\n"));
  const auto job = readJob(file);
  ASSERT_TRUE(job) << job.error().text();
  EXPECT_EQ(job->plugins.at("bus-voltage"), all.at("bus-voltage"));
  EXPECT_EQ(job->plugins.at("other"), all.at("other"));
  EXPECT_FALSE(job->plugins.contains("none"));
  const std::string after = read(file);
  ASSERT_TRUE(keepPluginSettings(file, all));  // the same again
  EXPECT_EQ(read(file), after);
  const Status other = keepPluginSettings(file, {{"bus-voltage", {{"dip_V", 0.9}}}});
  ASSERT_FALSE(other);
  EXPECT_THAT(other.error().text(), HasSubstr("[plugin.bus-voltage]"));
  EXPECT_EQ(read(file), after);
}

TEST(JobDraft, AFaultyDraftLeavesNoFile) {
  const std::string file = ::testing::TempDir() + "draft-faulty.toml";
  std::filesystem::remove(file);
  EXPECT_FALSE(createJob(file, with("bus.bitrate", "fast")));
  EXPECT_FALSE(std::filesystem::exists(file));
}

}  // namespace
}  // namespace pin16::job
