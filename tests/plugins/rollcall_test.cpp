// SPDX-License-Identifier: Apache-2.0
#include "tests/plugin/stage.hpp"

namespace pin16::plugin {
namespace {

using testing::counterOf;
using testing::findingOf;
using testing::rowOf;
using testing::Stage;

Results call(Stage& s) { return s.play(testing::shipped("rollcall")); }

event::Exchange answered(std::uint32_t request_id, std::uint32_t answer_id, Bytes request, Bytes answer,
                         bool functional = false) {
  event::Exchange x;
  x.request_id = request_id;
  x.answer_id = answer_id;
  x.functional = functional;
  x.request = std::move(request);
  x.answer = std::move(answer);
  x.ended = event::Ended::answered;
  x.response_ms = x.complete_ms = 10;
  return x;
}
Bytes vinAnswer(const std::string& vin) {
  Bytes out{0x62, 0xF1, 0x90};
  out.insert(out.end(), vin.begin(), vin.end());
  return out;
}

TEST(Rollcall, NamesModulesServicesAndRefusals) {
  Stage s;
  // 01 00 answered 41 00 BE 1F A8 13: PIDs 01 03-07 0C-10 11 13 15 1C 1F 20 (SAE J1979, worked by hand: bits
  // of BE = 10111110, 1F = 00011111, A8 = 10101000, 13 = 00010011, 6 + 5 + 3 + 3 = 17).
  s.exchange(0, answered(0x7DF, 0x7E8, {0x01, 0x00}, {0x41, 0x00, 0xBE, 0x1F, 0xA8, 0x13}, true));
  event::Exchange no = answered(0x7E0, 0x7E8, {0x22, 0xF1, 0x91}, {0x7F, 0x22, 0x31});
  no.ended = event::Ended::negative;
  s.exchange(20, no);
  event::Exchange silent;
  silent.request_id = 0x7E1;
  silent.request = {0x22, 0xF1, 0x90};
  s.exchange(40, silent, 1040);
  const Results r = call(s);
  EXPECT_EQ(counterOf(r, "modules"), 1U);
  EXPECT_EQ(counterOf(r, "asked"), 3U);
  EXPECT_EQ(counterOf(r, "negative"), 1U);
  const Figure* row = rowOf(r, "who answered", "7E8");
  ASSERT_NE(row, nullptr);
  EXPECT_EQ(row->value, 10) << "median of the answers";
  EXPECT_NE(row->text.find("asked on 7E0"), std::string::npos) << row->text;
  EXPECT_NE(row->text.find("22 with requestOutOfRange"), std::string::npos) << row->text;
  EXPECT_NE(row->text.find("17 PIDs supported"), std::string::npos) << row->text;
  ASSERT_NE(rowOf(r, "who answered", "7E1"), nullptr);
  EXPECT_NE(rowOf(r, "who answered", "7E1")->text.find("never answered"), std::string::npos);
}

event::Exchange onLine(event::Medium medium, std::uint32_t from, Bytes request, Bytes answer) {
  event::Exchange x = answered(medium == event::Medium::iso14230_4 ? 0x33 : 0x6A, from, std::move(request),
                               std::move(answer), true);
  x.medium = medium;
  x.request_header = {0x68, 0x6A, 0xF1};
  x.answer_header = {0x48, 0x6B, static_cast<std::uint8_t>(from)};
  return x;
}

TEST(Rollcall, ModulesOnALineHaveAddresses) {
  Stage s;
  s.job.module.line_address = 0xA9;
  Bytes vin{0x49, 0x02, 0x01};
  for (const char c : std::string("11111111111111111")) vin.push_back(static_cast<std::uint8_t>(c));
  s.exchange(0, onLine(event::Medium::j1850_vpw, 0x10, {0x01, 0x00}, {0x41, 0x00, 0xBE, 0x1F, 0xA8, 0x13}));
  s.exchange(100, onLine(event::Medium::j1850_vpw, 0xA9, {0x09, 0x02}, vin));
  // The same number as an identifier of CAN is another module.
  s.exchange(200, answered(0x6A, 0x10, {0x01, 0x00}, {0x41, 0x00, 0x80, 0x00, 0x00, 0x00}));
  const Results r = call(s);
  EXPECT_EQ(counterOf(r, "modules"), 3U);
  const Figure* row = rowOf(r, "who answered", "address 10");
  ASSERT_NE(row, nullptr);
  EXPECT_NE(row->text.find("17 PIDs supported"), std::string::npos) << row->text;
  ASSERT_NE(rowOf(r, "who answered", "010"), nullptr);
  ASSERT_NE(findingOf(r, "vin"), nullptr);
  EXPECT_NE(findingOf(r, "vin")->text.find("address A9"), std::string::npos);
  ASSERT_NE(findingOf(r, "job-module-answers"), nullptr);
  EXPECT_NE(findingOf(r, "job-module-answers")->text.find("address A9"), std::string::npos);
}

TEST(Rollcall, TheJobsModuleOnALineThatIsSilent) {
  Stage s;
  s.job.module.line_address = 0x58;
  event::Exchange x;
  x.request_id = x.answer_id = 0x58;
  x.request = {0x1A, 0x90};
  x.medium = event::Medium::iso14230_4;
  s.exchange(0, x, 1000);
  const Results r = call(s);
  ASSERT_NE(findingOf(r, "job-module-silent"), nullptr);
  EXPECT_NE(findingOf(r, "job-module-silent")->text.find("address 58"), std::string::npos);
}

TEST(Rollcall, NumbersThatDisagreeAreAWarning) {
  Stage s;
  // 11111111111111111: the check digit of seventeen ones holds (49 CFR 565.15, common worked example).
  s.exchange(0, answered(0x7E0, 0x7E8, {0x22, 0xF1, 0x90}, vinAnswer("11111111111111111")));
  Results r = call(s);
  ASSERT_NE(findingOf(r, "vin"), nullptr) << testing::allTexts(r);
  EXPECT_EQ(findingOf(r, "vin-check-digit"), nullptr);
  s.exchange(50, answered(0x7A1, 0x7A9, {0x22, 0xF1, 0x90}, vinAnswer("11111111211111111")));
  r = call(s);
  ASSERT_NE(findingOf(r, "vin-disagrees"), nullptr) << testing::allTexts(r);
  EXPECT_EQ(findingOf(r, "vin-disagrees")->weight, Weight::warning);
  ASSERT_NE(findingOf(r, "vin-check-digit"), nullptr) << "2 instead of 1 in the ninth place";
  EXPECT_NE(findingOf(r, "vin-check-digit")->text.find("North America only"), std::string::npos);
}

TEST(Rollcall, TheJobsModuleAnswersOrAnswersElsewhereOrIsSilent) {
  const auto with = [](std::uint32_t answer_id) {
    Stage s;
    s.job.module.address = job::Address{0x7A1, 0x7A9, false};
    if (answer_id != 0) {
      s.exchange(0, answered(0x7A1, answer_id, {0x22, 0xF1, 0x8C}, {0x62, 0xF1, 0x8C, 1}));
    } else {
      event::Exchange silent;
      silent.request_id = 0x7A1;
      silent.request = {0x22, 0xF1, 0x8C};
      s.exchange(0, silent, 1000);
    }
    return call(s);
  };
  EXPECT_NE(findingOf(with(0x7A9), "job-module-answers"), nullptr);
  const Results elsewhere = with(0x7AA);
  ASSERT_NE(findingOf(elsewhere, "answers-elsewhere"), nullptr);
  EXPECT_NE(findingOf(elsewhere, "answers-elsewhere")->text.find("7AA, not on 7A9"), std::string::npos);
  EXPECT_NE(findingOf(with(0), "job-module-silent"), nullptr);
}

}  // namespace
}  // namespace pin16::plugin
