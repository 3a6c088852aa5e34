// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Vehicle identification numbers: form (ISO 3779) and check digit (49 CFR 565.15(c)).

#include <string>
#include <string_view>
#include <vector>

namespace pin16::protocol {

inline constexpr std::size_t kVinLength = 17;

struct VinCheck {
  bool well_formed = false;      ///< 17 of 0-9 A-Z without I, O, Q
  std::size_t bad_position = 0;  ///< first character that is not allowed, from 1; 0 none
  char expected = '\0';          ///< check digit that the other 16 characters ask for; only if well formed
  bool digit_matches = false;    ///< position 9 is that digit
  /// What else is odd, for people. None of it makes a number wrong: the model year codes of position 10 (no
  /// U, Z, 0) and "the last four are digits" (ISO 3779) are from memory.
  std::vector<std::string> remarks;
};
/// Where the check digit is mandatory (49 CFR 565.15(c)); elsewhere a mismatch means nothing.
inline constexpr std::string_view kCheckDigitMandatoryIn = "North America";

/// A match is no proof of a real number (17 zeros match).
[[nodiscard]] VinCheck checkVin(std::string_view vin);
/// For people, one line: what checkVin() found, with those reservations.
[[nodiscard]] std::string vinRemark(std::string_view vin);

}  // namespace pin16::protocol
