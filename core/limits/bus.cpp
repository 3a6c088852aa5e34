// SPDX-License-Identifier: Apache-2.0
#include "core/limits/limits.hpp"

namespace pin16::limits {

std::vector<Limit> busLimits() {
  const char* const manual = "vehicle workshop manual text (maker not named), two 120 ohm in parallel";
  const char* const transceiver = "CAN transceiver data sheet SLLSF80B, driver table (ISO 11898-2)";
  const char* const own = "own figure";
  return {
      {"bus.termination_min_ohm", 55, "ohm", manual, "read"},
      {"bus.termination_max_ohm", 65, "ohm", manual, "read"},
      {"bus.short_max_ohm", 5, "ohm",
       "two vehicle workshop manuals (makers not named); public cable-supplier table", "read"},
      // Which name an out-of-band value gets: around the published 40 ohm (three terminations) and 120 ohm
      // (one).
      {"bus.extra_termination_min_ohm", 36, "ohm",
       "own figure: 40 ohm (public cable-supplier table) less 10 %", "own"},
      {"bus.extra_termination_max_ohm", 44, "ohm",
       "own figure: 40 ohm (public cable-supplier table) plus 10 %", "own"},
      {"bus.one_termination_min_ohm", 108, "ohm",
       "own figure: 120 ohm (two vehicle workshop manuals, makers not named) less 10 %", "own"},
      {"bus.one_termination_max_ohm", 132, "ohm",
       "own figure: 120 ohm (two vehicle workshop manuals, makers not named) plus 10 %", "own"},
      {"bus.wire_to_rail_min_ohm", 1000, "ohm",
       "common practice, no source: kilo-ohms to open, alike for both", "practice"},
      {"bus.asleep_max_V", 0.1, "V", std::string(transceiver) + ", bus biasing off", "read"},
      {"bus.recessive_min_V", 2.0, "V", std::string(transceiver) + ", recessive, each line", "read"},
      {"bus.recessive_max_V", 3.0, "V", std::string(transceiver) + ", recessive, each line", "read"},
      {"bus.dominant_high_max_V", 4.5, "V", std::string(transceiver) + ", CANH dominant", "read"},
      {"bus.dominant_low_min_V", 0.5, "V", std::string(transceiver) + ", CANL dominant", "read"},
      {"bus.error_share_max", 0.01, "1", own, "own"},
      // A frame that comes again at once, byte for byte: its sender got no acknowledge.
      {"bus.repeats_min", 20, "1", own, "own"},
      {"bus.listen_min_s", 2, "s", own, "own"},
      // A bus on which nothing was said for so long was asleep: what then begins is a wake-up.
      {"bus.asleep_ms", 2000, "ms", own, "own"},
  };
}

}  // namespace pin16::limits
