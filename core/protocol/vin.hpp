// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Vehicle identification numbers: form (ISO 3779) and check digit (49 CFR 565.15(c)).

#include <string>
#include <string_view>

namespace pin16::protocol {

inline constexpr std::size_t kVinLength = 17;

struct VinCheck {
  bool well_formed = false;    ///< 17 of 0-9 A-Z without I, O, Q
  char expected = '\0';        ///< check digit that the other 16 characters ask for; only if well formed
  bool digit_matches = false;  ///< position 9 is that digit
};
/// The check digit is mandatory in North America only: elsewhere a mismatch means nothing. A match is no
/// proof of a real number either (17 zeros match).
[[nodiscard]] VinCheck checkVin(std::string_view vin);
/// For people, one sentence: what checkVin() found, with that reservation.
[[nodiscard]] std::string vinRemark(std::string_view vin);

}  // namespace pin16::protocol
