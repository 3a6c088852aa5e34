// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::StartsWith;

std::string fault(std::string_view toml) {
  const auto j = parseJob(toml, "yard.toml");
  EXPECT_FALSE(j) << toml;
  if (j) return "";
  EXPECT_EQ(j.error().kind, ErrorKind::input);
  EXPECT_FALSE(j.error().advice.empty()) << j.error().text();
  return j.error().text();
}

/// The text after a sound [job] table, which takes lines 1 and 2.
std::string faultBelow(const std::string& rest) { return fault("[job]\narrangement = \"removed\"\n" + rest); }

TEST(JobFile, TheExampleOfTheDocumentIsRead) {
  std::ifstream in(PIN16_SOURCE_DIR "/docs/job-file.md");
  const std::string doc((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  const std::size_t from = doc.find("```toml\n");
  ASSERT_NE(from, std::string::npos);
  const std::size_t start = from + 8;
  const auto j = parseJob(doc.substr(start, doc.find("```", start) - start), "example");
  ASSERT_TRUE(j) << j.error().text();
  EXPECT_EQ(j->name, "Yard 14, silver van");
  EXPECT_EQ(j->arrangement, Arrangement::fed_in_place);
  EXPECT_EQ(j->access, Access::gateway);
  EXPECT_FALSE(j->sealed);
  EXPECT_EQ(j->power_up_budget, 4);
  EXPECT_EQ(j->nominal_V, 12);
  EXPECT_EQ(j->module.name, "restraint control module");
  ASSERT_TRUE(j->module.address);
  EXPECT_EQ(j->module.address->request_id, 0x7A1U);
  EXPECT_EQ(j->module.address->answer_id, 0x7A9U);
  EXPECT_EQ(j->module.current_steady_max_A, 0.6);
  EXPECT_EQ(j->bus.bitrate, 500000U);
  ASSERT_EQ(j->links.size(), 1U);
  EXPECT_EQ(j->links[0].uri, "socketcan:can0");
  ASSERT_EQ(j->readings.size(), 1U);
  EXPECT_EQ(j->readings[0].point, "R(pin6,pin14)");
  EXPECT_EQ(j->limits.value("supply.interface_min_V"), 8.0);
  EXPECT_EQ(j->limits.get("supply.interface_min_V").source, "job: label on the interface");
  // The module's own limits take the place of the general ones.
  EXPECT_EQ(j->limits.value("supply.module_min_V"), 9.5);
  EXPECT_EQ(j->limits.get("supply.module_min_V").confidence, "job");
}

TEST(JobFile, AuthorityAndTheGradeOfASealedJobsLinks) {
  const auto j = parseJob(
      "[job]\narrangement = \"removed\"\nsealed = true\nsilence = \"proven\"\n[authority]\nwho = \"A\"\n"
      "what = \"B\"\nwhen = \"C\"\n",
      "a");
  ASSERT_TRUE(j) << j.error().text();
  EXPECT_EQ(j->silence, event::Silence::proven);
  ASSERT_TRUE(j->authority);
  EXPECT_EQ(j->authority->what, "B");
}

TEST(JobFile, TheShortestOne) {
  const auto j = parseJob("[job]\narrangement = \"own-battery\"\n", "a");
  ASSERT_TRUE(j) << j.error().text();
  EXPECT_FALSE(j->module.address);
  EXPECT_FALSE(j->bus.bitrate);
  EXPECT_FALSE(j->power_up_budget);
  EXPECT_EQ(j->limits.value("supply.module_min_V"), 9.0);
}

TEST(JobFile, A24VoltJobTakesTheModulesLimitsFor24Volts) {
  const auto j =
      parseJob("[job]\narrangement = \"removed\"\nnominal_V = 24\n[module]\nsupply_min_V = 20\n", "a");
  ASSERT_TRUE(j) << j.error().text();
  EXPECT_EQ(j->limits.value("supply.module_min_24_V"), 20);
  EXPECT_EQ(j->limits.value("supply.module_min_V"), 9);
}

TEST(JobFile, EveryErrorNamesItsPlaceAndWhatWasExpected) {
  struct Row {
    const char* rest;
    const char* place;
    const char* expected;
  };
  const Row rows[] = {
      {"sealed = 1", "yard.toml:3: job.sealed: ", "true or false"},
      {"silence = \"cannot\"", "yard.toml:3: job.silence: ", "\"proven\" or \"claimed\""},
      {"[authority]\nwho = \"A\"\nwhen = \"today\"", "yard.toml:3: authority: ", "does not say what"},
      {"sealled = true", "yard.toml:3: job.sealled: ", "Did you mean 'sealed'"},
      {"power_up_budget = -1", "yard.toml:3: job.power_up_budget: ", "from 0 to 1000"},
      {"power_up_budget = 2.5", "yard.toml:3: job.power_up_budget: ", "whole number"},
      {"nominal_V = 13", "yard.toml:3: job.nominal_V: ", "12 or 24"},
      {"name = \"\"", "yard.toml:3: job.name: ", "not empty"},
      {"access = \"gatway\"", "yard.toml:3: job.access: ", "Did you mean 'gateway'"},
      {"[modul]\nname = \"x\"", "yard.toml:3: modul: ", "Did you mean 'module'"},
      {"[module]\nrequest_id = 0x7A1", "yard.toml:4: module.request_id: ", "come together"},
      {"[module]\nanswer_id = 0x7A1", "yard.toml:4: module.answer_id: ", "come together"},
      {"[module]\nrequest_id = 0x800\nanswer_id = 1", "yard.toml:4: module.request_id: ", "extended = true"},
      {"[module]\nextended = true\nrequest_id = 0x20000000\nanswer_id = 1",
       "yard.toml:5: module.request_id: ", "0x1FFFFFFF"},
      {"[module]\nrequest_id = 1\nanswer_id = 1", "yard.toml:5: module.answer_id: ", "another identifier"},
      {"[module]\nrequest_id = \"7A1\"\nanswer_id = 1", "yard.toml:4: module.request_id: ", "whole number"},
      {"[module]\nline_address = 0xF1", "yard.toml:4: module.line_address: ", "from 0 to 239"},
      {"[module]\nline_address = 0x7A9", "yard.toml:4: module.line_address: ", "one byte"},
      {"[module]\nline_address = 0x33", "yard.toml:4: module.line_address: ", "everybody"},
      {"[module]\nline_address = \"58\"", "yard.toml:4: module.line_address: ", "whole number"},
      {"[bus]\nprotocol = \"kwp\"", "yard.toml:4: bus.protocol: ", "\"kwp-fast\""},
      {"[bus]\nprotocol = \"can11-500\"", "yard.toml:4: bus.protocol: ", "On CAN omit it"},
      {"[module]\nsupply_min_V = 16\nsupply_max_V = 9",
       "yard.toml:5: module.supply_max_V: ", "more than supply_min_V"},
      {"[module]\nsupply_min_V = \"9\"", "yard.toml:4: module.supply_min_V: ", "a number from 0 to 60 V"},
      {"[module]\ncurrent_steady_min_A = -1",
       "yard.toml:4: module.current_steady_min_A: ", "from 0 to 100 A"},
      {"[bus]\nbitrate = 500", "yard.toml:4: bus.bitrate: ", "from 5000 to 1000000"},
      {"[bus]\nbitrates = 500000", "yard.toml:4: bus.bitrates: ", "Did you mean 'bitrate'"},
      {"[[link]]\nrole = \"bus\"", "yard.toml:3: link: ", "no uri"},
      {"[[link]]\nuri = \"can0\"", "yard.toml:4: link.uri: ", "SCHEME:TARGET"},
      {"[link]\nuri = \"socketcan:can0\"", "yard.toml:3: link: ", "[[link]]"},
      {"[[reading]]\ntext = \"R(pin6,pin14)=61 power=on\"", "yard.toml:4: reading.text: ", "worthless"},
      {"[[reading]]\ntext = \"R(squib1,squib2)=2 power=off\"",
       "yard.toml:4: reading.text: ", "never measured"},
      {"[[reading]]\ntxt = \"\"", "yard.toml:3: reading: ", "no text"},
      {"[limits]\n\"supply.modul_min_V\" = { value = 9, source = \"x\" }",
       "yard.toml:4: limits.\"supply.modul_min_V\"", "Did you mean 'supply.module_min_V'"},
      {"[limits]\n\"supply.module_min_V\" = 9", "yard.toml:4: limits.\"supply.module_min_V\"",
       "with its source"},
      {"[limits]\n\"supply.module_min_V\" = { value = 9 }", "yard.toml:4: limits.\"supply.module_min_V\"",
       "needs value and source"},
      {"[limits]\n\"supply.module_min_V\" = { value = 9, source = \"x\" }\n[module]\nsupply_min_V = 9",
       "yard.toml:", "both given"},
      {"name = yard", "yard.toml:3: ", "not TOML"},
  };
  for (const Row& row : rows)
    EXPECT_THAT(faultBelow(row.rest), AllOf(StartsWith(row.place), HasSubstr(row.expected))) << row.rest;
  EXPECT_THAT(fault("[job]\n"), AllOf(StartsWith("yard.toml:1: job: "), HasSubstr("arrangement")));
  EXPECT_THAT(fault("[job]\narrangement = \"own-batery\"\n"),
              AllOf(StartsWith("yard.toml:2: job.arrangement: "), HasSubstr("Did you mean 'own-battery'")));
  EXPECT_THAT(fault(""), HasSubstr("[job] is missing"));
  EXPECT_THAT(fault("job = 3\n"), AllOf(StartsWith("yard.toml:1: job: "), HasSubstr("expected a table")));
}

TEST(JobFile, AFileThatIsNotThere) {
  const auto j = readJob("/nowhere/job.toml");
  ASSERT_FALSE(j);
  EXPECT_EQ(j.error().kind, ErrorKind::input);
  EXPECT_EQ(j.error().place, "/nowhere/job.toml");
  EXPECT_FALSE(readJob("/"));
}

}  // namespace
}  // namespace pin16::job
