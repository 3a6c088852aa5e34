// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/vin.hpp"

#include <fmt/format.h>

#include <array>

namespace pin16::protocol {
namespace {

constexpr std::size_t kCheckDigit = 8;  // position 9
// 49 CFR 565.15(c) Tables III and IV: weights by position, values of A..Z (-1 = not allowed).
constexpr std::array<int, kVinLength> kWeights = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
constexpr std::array<int, 26> kLetters = {1, 2,  3, 4,  5, 6, 7, 8, -1, 1, 2, 3, 4,
                                          5, -1, 7, -1, 9, 2, 3, 4, 5,  6, 7, 8, 9};

int valueOf(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'A' && c <= 'Z') return kLetters[static_cast<std::size_t>(c - 'A')];
  return -1;
}

}  // namespace

VinCheck checkVin(std::string_view vin) {
  VinCheck check;
  if (vin.size() != kVinLength) return check;
  int sum = 0;
  for (std::size_t i = 0; i < kVinLength; ++i) {
    const int value = valueOf(vin[i]);
    if (value < 0) return check;
    sum += value * kWeights[i];
  }
  check.well_formed = true;
  check.expected = sum % 11 == 10 ? 'X' : static_cast<char>('0' + sum % 11);
  check.digit_matches = vin[kCheckDigit] == check.expected;
  return check;
}

std::string vinRemark(std::string_view vin) {
  const VinCheck check = checkVin(vin);
  if (!check.well_formed) return "not the form of a VIN (17 characters, 0-9 and A-Z without I, O, Q)";
  if (check.digit_matches) return "check digit matches";
  return fmt::format("check digit would be {} (it is mandatory in North America only)", check.expected);
}

}  // namespace pin16::protocol
