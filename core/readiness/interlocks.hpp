// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What must be cleared before anybody is asked to switch the module's power on: people and restraints first.
/// Each answer is given by a person, with a name, and is an event. Pure functions, any thread.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/event/records.hpp"
#include "core/job/job.hpp"
#include "core/readiness/evidence.hpp"

namespace pin16::readiness {

struct Interlock {
  std::string code;      ///< "still"; stable
  std::string question;  ///< to be answered by yes or no
  std::string why;       ///< what can happen, one sentence
};

/// Those of this job, in the order of asking.
[[nodiscard]] std::vector<Interlock> interlocks(const job::Job& job);

/// How one stands: cleared or overridden lets power come, the others do not.
enum class Standing { cleared, overridden, not_cleared, unknown };
[[nodiscard]] const char* toText(Standing s);  ///< "cleared", "overridden", "not-cleared", "unknown"
struct Interlocked {
  Interlock what;
  Standing standing = Standing::unknown;
  std::string by;      ///< who answered
  std::string reason;  ///< of an override
  Ns t_ns = kNoTime;   ///< of the answer, as the evidence's events
};
[[nodiscard]] std::vector<Interlocked> standing(const job::Job& job, const Evidence& evidence);
[[nodiscard]] bool mayPower(const std::vector<Interlocked>& all);
/// "not cleared: dry, people"; empty if nothing stands in the way.
[[nodiscard]] std::string inTheWay(const std::vector<Interlocked>& all);

/// A supply point that shows more volts than the module may get, beyond its uncertainty, or is reversed: why
/// nothing more may be plugged in or switched on; nothing if there is none. 12 V jobs: 16 V (ISO 16750-2
/// Table 1), the job's own limit if stricter.
[[nodiscard]] std::optional<std::string> stopBefore(const job::Job& job, const Evidence& evidence);

}  // namespace pin16::readiness
