// SPDX-License-Identifier: Apache-2.0
#include "core/limits/limits.hpp"

namespace pin16::limits {

std::vector<Limit> supplyLimits() {
  const char* const iso = "ISO 16750-2:2010 Table 1, as quoted in a public excerpt";
  const char* const rest = "public mailing-list note on flooded batteries, at rest 6 h or more";
  const char* const drop =
      "repair manual note attributing the figures to the Society of Automotive Engineers";
  const char* const own = "own figure";
  return {
      // Supply code C of 12 V systems and code H of 24 V systems (0.75 of nominal in both).
      {"supply.module_min_V", 9.0, "V", std::string(iso) + ", supply code C", "read"},
      {"supply.module_max_V", 16.0, "V", std::string(iso) + ", supply code C", "read"},
      {"supply.module_min_24_V", 18.0, "V", std::string(iso) + ", supply code H", "read"},
      {"supply.module_max_24_V", 32.0, "V", std::string(iso) + ", supply code H", "read"},
      // The codes themselves, letters of the 2010 edition: A to D for 12 V systems, E to H for 24 V ones.
      {"supply.code_A_min_V", 6, "V", iso, "read"},
      {"supply.code_A_max_V", 16, "V", iso, "read"},
      {"supply.code_B_min_V", 8, "V", iso, "read"},
      {"supply.code_B_max_V", 16, "V", iso, "read"},
      {"supply.code_C_min_V", 9, "V", iso, "read"},
      {"supply.code_C_max_V", 16, "V", iso, "read"},
      {"supply.code_D_min_V", 10.5, "V", iso, "read"},
      {"supply.code_D_max_V", 16, "V", iso, "read"},
      {"supply.code_E_min_V", 10, "V", iso, "read"},
      {"supply.code_E_max_V", 32, "V", iso, "read"},
      {"supply.code_F_min_V", 16, "V", iso, "read"},
      {"supply.code_F_max_V", 32, "V", iso, "read"},
      {"supply.code_G_min_V", 22, "V", iso, "read"},
      {"supply.code_G_max_V", 32, "V", iso, "read"},
      {"supply.code_H_min_V", 18, "V", iso, "read"},
      {"supply.code_H_max_V", 32, "V", iso, "read"},
      {"supply.interface_min_V", 9.0, "V", std::string(iso) + ", supply code C taken for the interface",
       "read"},
      // At rest the voltage tells the charge only, not what the battery can deliver.
      {"supply.battery_rest_empty_V", 11.6, "V", std::string(rest) + ", 0 % charge", "read"},
      {"supply.battery_rest_low_V", 12.0, "V", std::string(rest) + ", 25 % charge", "read"},
      {"supply.battery_rest_empty_24_V", 23.2, "V", "two 12 V batteries in series; " + std::string(rest),
       "computed"},
      {"supply.battery_rest_low_24_V", 24.0, "V", "two 12 V batteries in series; " + std::string(rest),
       "computed"},
      {"supply.circuit_drop_max_V", 1.0, "V", std::string(drop) + ", any circuit, total", "read"},
      {"supply.feed_path_max_ohm", 0.79, "ohm",
       "1.0 V total drop (" + std::string(drop) + ") at the 1.26 A of a 10 ohm dummy load on 12.6 V",
       "computed"},
      {"supply.absent_max_V", 1.0, "V", std::string(own) + ": up to here a point is called dead", "own"},
      // How long a source must hold: minutes left above the least that it may give under load.
      {"supply.hold_short_s", 120, "s", std::string(own) + ": a read-out attempt takes 2 to 20 minutes",
       "own"},
      {"supply.hold_long_s", 1200, "s", std::string(own) + ": a read-out attempt takes 2 to 20 minutes",
       "own"},
      // From a good value to a dead one within this: switched off, not drained.
      {"supply.clean_step_max_s", 0.5, "s", own, "own"},
      // Each further rise can be a restart, and the module may count it as an ignition cycle (49 CFR 563.5).
      {"supply.rises_max", 1, "1",
       std::string(own) + ": one switch-on is one rise through the module's minimum", "own"},
      {"supply.switch_on_max_s", 2, "s",
       std::string(own) + ": drops within this after the first rise are bounces", "own"},
      // Hints: shown, never decide.
      {"hint.pack_off_after_s", 30, "s", "general knowledge on jump packs, no published figure found",
       "memory"},
      {"hint.module_current_max_A", 0.6, "A", "general knowledge, no published figure found", "memory"},
      {"hint.several_modules_A", 2.0, "A", "general knowledge, no published figure found", "memory"},
  };
}

}  // namespace pin16::limits
