// SPDX-License-Identifier: Apache-2.0
#include <cmath>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {

const std::vector<FuseRow>& fuseTable() {
  // Mini blade family, typical cold resistance. Rows marked memory were not seen in the sheet; they are
  // inputs of a simulation, never a limit.
  static constexpr const char* kSheet = "manufacturer datasheet, mini blade family 32 V";
  static const std::vector<FuseRow> rows = {
      {3, 0.03173, kSheet, "memory"},           {5, 0.01785, kSheet, "memory"},
      {7.5, 0.01085, kSheet, "read-secondary"}, {10, 0.0074, kSheet, "memory"},
      {15, 0.00458, kSheet, "read-secondary"},  {20, 0.00321, kSheet, "memory"},
      {25, 0.00236, kSheet, "memory"},          {30, 0.00186, kSheet, "memory"},
  };
  return rows;
}

OpeningBand openingBand(double multiple) {
  // "manufacturer datasheet, mini blade family 32 V" (secondary transcription, read), conditions of the
  // sheet: 110 % at least 100 h, 135 % 0.75 to 600 s, 200 % 0.15 to 5 s, 350 % 0.08 to 0.5 s, 600 % 0.03 to
  // 0.1 s.
  struct Gate {
    double multiple, least_s, most_s;
  };
  static constexpr Gate kGates[] = {
      {1.1, 360000, INFINITY}, {1.35, 0.75, 600}, {2, 0.15, 5}, {3.5, 0.08, 0.5}, {6, 0.03, 0.1}};
  OpeningBand band{0, INFINITY};
  for (const Gate& g : kGates)
    if (g.multiple <= multiple) band.latest_s = g.most_s;
  for (const Gate& g : kGates)
    if (g.multiple >= multiple) {
      band.earliest_s = g.least_s;
      break;
    }
  return band;
}

}  // namespace pin16::circuit
