// SPDX-License-Identifier: Apache-2.0
#include "core/can/error_text.hpp"

#include <gtest/gtest.h>

#include <fstream>
#include <map>
#include <set>
#include <sstream>

namespace pin16::can {
namespace {

using event::CanFrame;

/// Every CAN_ERR_* number of the system's own header, by name.
std::map<std::string, std::uint32_t> headerDefines() {
  std::ifstream in("/usr/include/linux/can/error.h");
  std::map<std::string, std::uint32_t> out;
  std::string line;
  while (std::getline(in, line)) {
    std::istringstream words(line);
    std::string define, name, value;
    words >> define >> name >> value;
    if (define == "#define" && name.starts_with("CAN_ERR_"))
      out[name] = static_cast<std::uint32_t>(std::stoul(value, nullptr, 0));
  }
  return out;
}

CanFrame errorFrame(std::uint32_t classes, Bytes data = {}) {
  data.resize(8, 0);
  CanFrame f = CanFrame::make(0, false, data);
  f.word = event::kErrorFlag | classes;
  return f;
}

struct Place {
  std::string prefix;
  std::uint32_t error_class;
  std::size_t byte;
};
// Longest prefix first: which data byte of which class a define belongs to, as the header's comments say.
const Place kPlaces[] = {
    {"CAN_ERR_PROT_LOC_", 0x08, 3}, {"CAN_ERR_PROT_", 0x08, 2},    {"CAN_ERR_CRTL_", 0x04, 1},
    {"CAN_ERR_TRX_", 0x10, 4},      {"CAN_ERR_LOSTARB_", 0x02, 0},
};

TEST(ErrorText, EveryDefineOfTheKernelHeaderIsWordedAndNoTwoAlike) {
  const auto defines = headerDefines();
  ASSERT_GE(defines.size(), 58U) << "linux/can/error.h of 6.1 has that many: is it read?";
  std::map<std::string, std::string> texts;
  std::size_t classes = 0;
  for (const auto& [name, value] : defines) {
    if (name == "CAN_ERR_DLC") continue;  // length of an error frame, nothing to word
    const Place* place = nullptr;
    for (const Place& p : kPlaces)
      if (place == nullptr && name.starts_with(p.prefix)) place = &p;
    CanFrame frame = errorFrame(place == nullptr ? value : place->error_class);
    if (place != nullptr)
      frame.data[place->byte] = static_cast<std::uint8_t>(value);
    else
      ++classes;
    const std::string text = errorText(frame);
    EXPECT_EQ(text.find("unknown"), std::string::npos) << name << ": " << text;
    EXPECT_FALSE(text.empty()) << name;
    // "unspecified" and the bare class are the same frame: a fact of the header, not of the wording.
    if (value == 0 || place == nullptr) continue;
    EXPECT_NE(text, errorText(errorFrame(place->error_class))) << name << " adds nothing";
    for (const auto& [other, other_text] : texts) EXPECT_NE(text, other_text) << name << " and " << other;
    texts[name] = text;
  }
  EXPECT_EQ(classes, errorClasses().size()) << "a class of the header is missing from the table";
  std::set<std::string_view> names;
  for (const ErrorClass& c : errorClasses()) EXPECT_TRUE(names.insert(c.name).second) << c.name;
}

TEST(ErrorText, AllThatAFrameSaysInOneLine) {
  // Frames that a serial-line CAN driver makes of a device's messages: 200000A8 (ACK), 20000204 with
  // counters.
  EXPECT_EQ(errorText(errorFrame(0x88, {0, 0, 0x84, 0x08})),
            "protocol violation: bit stuffing error, while sending, in the CRC sequence; bus error");
  EXPECT_EQ(errorText(errorFrame(0x204, {0, 0x04, 0, 0, 0, 0, 0x32, 0x64})),
            "controller: receive errors reached the warning level; "
            "error counters: tx 50 (error-active) rx 100 (error-warning)");
  EXPECT_EQ(errorText(errorFrame(0x02, {17})), "arbitration lost: in bit 17");
  EXPECT_EQ(errorText(errorFrame(0x10, {0, 0, 0, 0, 0x75})),
            "transceiver: CAN high is shorted to battery, CAN low is shorted to ground");
}

TEST(ErrorText, WhatTheHeaderDoesNotNameIsGivenInHex) {
  EXPECT_EQ(errorText(errorFrame(0x04, {0, 0x80})), "controller: unknown bits 0x80");
  EXPECT_EQ(errorText(errorFrame(0x08, {0, 0, 0x02, 0x1F})),
            "protocol violation: frame format error, unknown location 0x1f");
  EXPECT_EQ(errorText(errorFrame(0x1000)), "unknown class 0x1000");
  EXPECT_EQ(errorText(errorFrame(0)), "error without a class");
  EXPECT_EQ(errorText(CanFrame::make(0x7E8, false, Bytes{1})), "") << "no error frame";
}

// CAN with Flexible Data-Rate specification V1.0 (2012) clause 7 and linux/can/error.h.
TEST(ErrorText, CounterThresholds) {
  EXPECT_EQ(stateOfCounter(95), "error-active");
  EXPECT_EQ(stateOfCounter(96), "error-warning");
  EXPECT_EQ(stateOfCounter(127), "error-warning");
  EXPECT_EQ(stateOfCounter(128), "error-passive");
  EXPECT_EQ(stateOfCounter(255), "error-passive");
  EXPECT_EQ(stateOfCounter(256), "bus-off");
}

}  // namespace
}  // namespace pin16::can
