// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The person at the bench, or a file that speaks for them: what `check` asks and what comes back.

#include <string>
#include <vector>

#include "core/base/result.hpp"
#include "core/event/records.hpp"

namespace pin16::cli {

/// One thing the operator says, in the order said.
struct Saying {
  enum class What { reading, power, note, clearance } what = What::note;
  event::Measurement reading;
  event::PowerState power = event::PowerState::unknown;
  std::string note;
  event::Clearance clearance;
};

/// What to say of one interlock: `yes`, `no`, `unknown`, or `because REASON` (not known, go on all the same).
/// ErrorKind::input.
[[nodiscard]] Result<event::Clearance> parseClearance(const std::string& code, const std::string& answer,
                                                      const std::string& by);

/// A file of answers: one a line, `#` starts a comment. A reading (docs/points.md), `power off|source|on`,
/// `clear CODE yes|no|unknown|because REASON` (docs/readiness.md) or `note TEXT`. ErrorKind::input names file
/// and line; `by` is who says all this.
[[nodiscard]] Result<std::vector<Saying>> readOperatorFile(const std::string& path,
                                                           const std::string& by = {});

/// A line typed at the terminal; empty when the operator only pressed Enter, or input ended.
[[nodiscard]] std::string askTerminal(const std::string& question);
[[nodiscard]] bool operatorPresent();  ///< standard input and standard error are a terminal

}  // namespace pin16::cli
