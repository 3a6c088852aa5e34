// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The order in which things are joined, power last, and how far it has come. What an instrument can see
/// ticks itself and opens again when it is seen no more; the rest is ticked by a person, each tick a recorded
/// clearance (event::Clearance) of code "hook-up.CODE". Pure functions, any thread.

#include <string>
#include <string_view>
#include <vector>

#include "core/job/job.hpp"
#include "core/readiness/sheet.hpp"

namespace pin16::readiness {

struct HookUpItem {
  std::string code;  ///< "clamp"; stable
  std::string text;  ///< what is done, for cold hands
  std::string why;   ///< one sentence
  std::string seen;  ///< what shows it to an instrument; empty: only a person can tell
};
/// Those of the job's arrangement, in order; the last one is "power".
[[nodiscard]] std::vector<HookUpItem> hookUp(const job::Job& job);

enum class Tick { open, seen, by_hand, overridden };
[[nodiscard]] const char* toText(Tick t);  ///< "open", "seen", "by-hand", "overridden"
struct HookUpState {
  HookUpItem what;
  Tick tick = Tick::open;
  std::string by;       ///< who ticked it by hand
  std::string reason;   ///< what was seen, or why it was overridden
  bool locked = false;  ///< power: something before it is open
};
[[nodiscard]] std::vector<HookUpState> hookUpState(const job::Job& job, const Evidence& evidence,
                                                   const Sheet& sheet);
/// Codes before power that are open, "clamp, computer"; empty: none.
[[nodiscard]] std::string hookUpOpen(const std::vector<HookUpState>& all);

/// The event of a tick by hand. `reason`: it is passed over, and why; empty: it was done.
[[nodiscard]] event::Clearance hookUpTick(std::string_view code, const std::string& by,
                                          const std::string& reason = {});

/// What `pin16 plan` prints: the order, what must be cleared before power, whether the module will start
/// once, the budget of power-ups, and the cautions. Newline at the end.
[[nodiscard]] std::string planText(const job::Job& job, const std::vector<job::PowerUp>& ledger);
/// The same as a document, schema pin16-plan (docs/json.md).
[[nodiscard]] std::string planJson(const job::Job& job, const std::vector<job::PowerUp>& ledger);

}  // namespace pin16::readiness
