// SPDX-License-Identifier: Apache-2.0
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

}  // namespace pin16::circuit
