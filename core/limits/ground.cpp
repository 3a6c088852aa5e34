// SPDX-License-Identifier: Apache-2.0
#include "core/limits/limits.hpp"

namespace pin16::limits {

std::vector<Limit> groundLimits() {
  return {
      {"ground.drop_max_V", 0.1, "V",
       "encyclopedia article on the voltage drop test, ground, general guideline", "read"},
      // Between the grounds of two supplies: all functions stay within it, beyond it nothing is promised.
      {"ground.reference_max_V", 1.0, "V",
       "ISO 16750-2:2023 section 4, ground offset, as listed clause by clause in a public test-bench "
       "repository",
       "read-secondary"},
      // A hint: shown, never decides.
      {"hint.module_ground_drop_V", 0.05, "V", "workshop practice for electronic modules", "memory"},
  };
}

}  // namespace pin16::limits
