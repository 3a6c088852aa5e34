// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/vin.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace pin16::protocol {
namespace {

constexpr std::size_t kCheckDigit = 8;  // position 9
constexpr std::size_t kModelYear = 9;   // position 10
constexpr std::size_t kDigitsAtEnd = 4;
// 49 CFR 565.15(c) Tables III and IV: weights by position, values of A..Z (-1 = not allowed).
constexpr std::array<int, kVinLength> kWeights = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
constexpr std::array<int, 26> kLetters = {1, 2,  3, 4,  5, 6, 7, 8, -1, 1, 2, 3, 4,
                                          5, -1, 7, -1, 9, 2, 3, 4, 5,  6, 7, 8, 9};

int valueOf(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'A' && c <= 'Z') return kLetters[static_cast<std::size_t>(c - 'A')];
  return -1;
}

void addRemarks(VinCheck& check, std::string_view vin) {
  if (std::all_of(vin.begin(), vin.end(), [&](char c) { return c == vin[0]; }))
    check.remarks.emplace_back("all characters alike: hardly a real number");
  const char year = vin[kModelYear];
  if (year == 'U' || year == 'Z' || year == '0')
    check.remarks.push_back(
        fmt::format("position 10 is {}, no model year code of {}", year, kCheckDigitMandatoryIn));
  const std::string_view last = vin.substr(kVinLength - kDigitsAtEnd);
  if (!std::all_of(last.begin(), last.end(), [](char c) { return c >= '0' && c <= '9'; }))
    check.remarks.emplace_back("the last four characters are not all digits");
}

}  // namespace

VinCheck checkVin(std::string_view vin) {
  VinCheck check;
  int sum = 0;
  for (std::size_t i = 0; i < vin.size(); ++i) {
    const int value = valueOf(vin[i]);
    if (value < 0) {
      check.bad_position = i + 1;
      return check;
    }
    if (i < kVinLength) sum += value * kWeights[i];
  }
  if (vin.size() != kVinLength) return check;
  check.well_formed = true;
  check.expected = sum % 11 == 10 ? 'X' : static_cast<char>('0' + sum % 11);
  check.digit_matches = vin[kCheckDigit] == check.expected;
  addRemarks(check, vin);
  return check;
}

std::string vinRemark(std::string_view vin) {
  const VinCheck check = checkVin(vin);
  if (check.bad_position != 0)
    return fmt::format("not the form of a VIN: position {} is not one of 0-9 and A-Z without I, O, Q",
                       check.bad_position);
  if (!check.well_formed)
    return fmt::format("not the form of a VIN: {} characters instead of {}", vin.size(), kVinLength);
  std::string out = check.digit_matches
                        ? "check digit matches"
                        : fmt::format("check digit wrong, {} expected; it is mandatory in {} only",
                                      check.expected, kCheckDigitMandatoryIn);
  for (const auto& remark : check.remarks) out += "; " + remark;
  return out;
}

}  // namespace pin16::protocol
