// SPDX-License-Identifier: Apache-2.0
// VINs against data/vin.csv: 49 CFR 565.15(c) Tables III and IV, and worked examples with their sources.
#include "core/protocol/vin.hpp"

#include <gtest/gtest.h>

#include "tests/protocol/csv.hpp"

namespace pin16::protocol {
namespace {

TEST(Vin, WorkedExamplesOfTheTable) {
  int checked = 0;
  for (const CsvRow& row : csvRows("vin.csv", 51)) {
    if (!row.at("item").starts_with("example ")) continue;
    const std::string vin = row.at("item").substr(8);
    EXPECT_TRUE(checkVin(vin).well_formed) << vin;
    EXPECT_TRUE(checkVin(vin).digit_matches) << vin;
    ++checked;
  }
  EXPECT_EQ(checked, 5);
}
TEST(Vin, ValuesAndWeightsOfTheTable) {
  // A lone character among zeros at position p gives value x weight modulo 11.
  std::map<char, int> values;
  std::map<std::size_t, int> weights;
  for (const CsvRow& row : csvRows("vin.csv", 51)) {
    const std::string& item = row.at("item");
    if (item.starts_with("value ")) values[item.at(6)] = std::stoi(row.at("value"));
    if (item.starts_with("weight position "))
      weights[std::stoul(item.substr(16))] = std::stoi(row.at("value"));
  }
  for (char c = '0'; c <= '9'; ++c) values[c] = c - '0';  // "digits 0-9: own value"
  ASSERT_EQ(values.size(), 23U + 10U);
  ASSERT_EQ(weights.size(), 17U);
  for (const auto& [c, value] : values)
    for (const auto& [position, weight] : weights) {
      std::string vin(17, '0');
      vin[position - 1] = c;
      const int rest = value * weight % 11;
      EXPECT_EQ(checkVin(vin).expected, rest == 10 ? 'X' : static_cast<char>('0' + rest)) << vin;
    }
}
TEST(Vin, OneWrongCharacterIsNoticed) {
  EXPECT_FALSE(checkVin("1G4AH59H45G118342").digit_matches);
  EXPECT_EQ(checkVin("1G4AH59H05G118341").expected, '4');
}
TEST(Vin,
     AWrongDigitSaysWhereItIsMandatory) {  // 49 CFR 565.15(c): North America; ISO 3779 has no check digit
  EXPECT_EQ(vinRemark("1G4AH59H05G118341"),
            "check digit wrong, 4 expected; it is mandatory in North America only");
  EXPECT_EQ(vinRemark("1G4AH59H45G118341"), "check digit matches");
  EXPECT_EQ(vinRemark("1M8GDM9AXKP042788"), "check digit matches");
}
TEST(Vin, LettersIOQAndOtherLengthsAreNotWellFormed) {
  for (const auto& [vin, position] : {std::pair{"IG4AH59H45G118341", 1U}, std::pair{"1G4AH59H45G11834O", 17U},
                                      std::pair{"1G4AH59H4QG118341", 10U}, std::pair{"1g4ah59h45g118341", 2U},
                                      std::pair{"1G4AH59H45G11834 ", 17U}, std::pair{"1G4AH59H45G11834", 0U},
                                      std::pair{"1G4AH59H45G1183411", 0U}, std::pair{"", 0U}}) {
    EXPECT_FALSE(checkVin(vin).well_formed) << vin;
    EXPECT_EQ(checkVin(vin).bad_position, position) << vin;
    EXPECT_NE(vinRemark(vin).find("not the form of a VIN: "), std::string::npos);
  }
  EXPECT_EQ(vinRemark("1G4AH59H45G11834"), "not the form of a VIN: 16 characters instead of 17");
  EXPECT_EQ(vinRemark("1G4AH59H45G11834O"),
            "not the form of a VIN: position 17 is not one of 0-9 and A-Z without I, O, Q");
}
TEST(Vin, OddOnesAreRemarkedNotRefused) {  // "do not rely on the check digit alone": vin.csv, 17 zeros
  const VinCheck zeros = checkVin("00000000000000000");
  EXPECT_TRUE(zeros.digit_matches);
  ASSERT_EQ(zeros.remarks.size(), 2U);
  EXPECT_EQ(zeros.remarks[0], "all characters alike: hardly a real number");
  // position 10 and the last four: from memory of 49 CFR 565.15(d) and ISO 3779
  EXPECT_EQ(checkVin("1G4AH59H4ZG118341").remarks,
            (std::vector<std::string>{"position 10 is Z, no model year code of North America"}));
  EXPECT_EQ(checkVin("1G4AH59H45G1183A1").remarks,
            (std::vector<std::string>{"the last four characters are not all digits"}));
  EXPECT_TRUE(checkVin("1G4AH59H45G118341").remarks.empty());
}

}  // namespace
}  // namespace pin16::protocol
