// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>

#include "core/base/pack.hpp"
#include "core/job/job.hpp"

namespace pin16::job {
namespace {

using event::Measurement;
using event::PowerState;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

class ReadingTable : public ::testing::Test {
 protected:
  Result<std::vector<Measurement>> table(const std::string& text) {
    std::ofstream(path_, std::ios::binary) << text;
    return readReadings(path_);
  }
  std::string refusal(const std::string& text) {
    const auto t = table(text);
    EXPECT_FALSE(t) << text;
    if (t) return "";
    EXPECT_EQ(t.error().kind, ErrorKind::input);
    return t.error().text();
  }
  const std::string path_ = ::testing::TempDir() + "readings-" +
                            ::testing::UnitTest::GetInstance()->current_test_info()->name() + ".csv";
};

TEST_F(ReadingTable, EachLineMeansWhatItWouldMeanTyped) {
  const auto t = table(
      "point,value,unit,power,u,with,by,meter\n"
      "\"V(pin16,pin4)\",12.4,V,source,0.02,1 A load,Kim,\"handheld meter, cal 2026\"\n"
      "lamp,lit,,source,,,,\n");
  ASSERT_TRUE(t) << t.error().text();
  const auto typed = parseReading(
      "V(pin16,pin4)=12.4V power=source u=0.02 with=\"1 A load\" by=Kim meter=\"handheld meter, cal 2026\"");
  const auto lamp = parseReading("lamp=lit power=source");
  ASSERT_TRUE(typed && lamp);
  ASSERT_THAT(*t, SizeIs(2));
  EXPECT_EQ(pack((*t)[0]), pack(*typed));
  EXPECT_EQ(pack((*t)[1]), pack(*lamp));
}

TEST_F(ReadingTable, ColumnsInAnyOrderAndOnlyThoseWanted) {
  const auto t = table("value,point\n61,\"R(pin6,pin14)\"\n");
  ASSERT_FALSE(t);  // ohms without power=off are refused, as typed
  EXPECT_THAT(t.error().text(), HasSubstr(".csv:2"));
  const auto off = table("power,value,point\noff,61,\"R(pin6,pin14)\"\n");
  ASSERT_TRUE(off) << off.error().text();
  ASSERT_THAT(*off, SizeIs(1));
  EXPECT_DOUBLE_EQ((*off)[0].value, 61);
  EXPECT_EQ((*off)[0].power, PowerState::off);
}

// As spreadsheets of countries with a decimal comma write it: byte order mark, semicolons, CRLF.
TEST_F(ReadingTable, SemicolonsMeanDecimalCommas) {
  const auto t = table("\xEF\xBB\xBFpoint;value;power;u\r\nV(pin16,pin4);12,41;source;0,02\r\n");
  ASSERT_TRUE(t) << t.error().text();
  ASSERT_THAT(*t, SizeIs(1));
  EXPECT_DOUBLE_EQ((*t)[0].value, 12.41);
  EXPECT_DOUBLE_EQ((*t)[0].uncertainty, 0.02);
}

// RFC 4180, 2: line ends and doubled quotes inside quoted cells, a last line without an end.
TEST_F(ReadingTable, QuotedCells) {
  const auto t = table("point,value,power,with\n\n\"V(pin16,pin4)\",12,source,\"10 ohm\nload\"");
  ASSERT_TRUE(t) << t.error().text();
  ASSERT_THAT(*t, SizeIs(1));
  EXPECT_EQ((*t)[0].condition, "10 ohm\nload");
  EXPECT_THAT(refusal("point,value,with\nlamp,lit,\"a \"\"b\"\"\"\n"),
              HasSubstr("csv:2: a quotation mark in"));
}

TEST_F(ReadingTable, WhatIsWrongIsNamedWithItsLine) {
  EXPECT_THAT(refusal(""), HasSubstr("names of the columns"));
  EXPECT_THAT(refusal("point,volts\n"), HasSubstr("csv:1: 'volts' is not a known column"));
  EXPECT_THAT(refusal("point,value,value\n"), HasSubstr("'value' stands twice"));
  EXPECT_THAT(refusal("value\n1\n"), HasSubstr("must name the columns"));
  EXPECT_THAT(refusal("point,value\nlamp,lit\nV(pin16,pin4),12\n"),
              HasSubstr("csv:3: 3 cells where the first line names 2. put cells that hold a comma"));
  EXPECT_THAT(refusal("point,value\nlamp,\"lit\n\nmore"), HasSubstr("csv:2: a quotation mark is not closed"));
  EXPECT_THAT(refusal("point,value\nla\"mp,lit\n"), HasSubstr("csv:2: a quotation mark inside a cell"));
  EXPECT_THAT(refusal("point,value\n\"lamp\"s,lit\n"), HasSubstr("csv:2: a quotation mark inside a cell"));
  EXPECT_THAT(refusal("point,value\nlamp,lit\nlamp,purple\n"), HasSubstr("csv:3"));
  const auto none = readReadings("/nowhere/readings.csv");
  ASSERT_FALSE(none);
  EXPECT_THAT(none.error().text(), HasSubstr("/nowhere/readings.csv: cannot be read"));
}

TEST_F(ReadingTable, OnlyNamesOfColumnsAreNoReadings) {
  const auto t = table("point,value\n");
  ASSERT_TRUE(t);
  EXPECT_THAT(*t, IsEmpty());
}

}  // namespace
}  // namespace pin16::job
