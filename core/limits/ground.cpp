// SPDX-License-Identifier: Apache-2.0
#include "core/limits/limits.hpp"

namespace pin16::limits {

std::vector<Limit> groundLimits() {
  return {
      {"ground.drop_max_V", 0.1, "V",
       "encyclopedia article on the voltage drop test, ground, general guideline", "read"},
      // A hint: shown, never decides.
      {"hint.module_ground_drop_V", 0.05, "V", "workshop practice for electronic modules", "memory"},
  };
}

}  // namespace pin16::limits
