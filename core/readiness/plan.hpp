// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What to ask the operator for, and what to say before power is asked for. Pure functions, any thread.

#include <string>
#include <vector>

#include "core/job/job.hpp"
#include "core/readiness/evidence.hpp"

namespace pin16::readiness {

/// One measurement to ask for. The reading typed for it carries this power state and condition.
struct Question {
  const job::Point* point = nullptr;
  event::PowerState power = event::PowerState::unknown;
  std::string with;     ///< condition, or empty
  std::string step;     ///< the step that it serves
  bool needed = false;  ///< its step is needed in this arrangement
};

/// What is not measured yet, in the order of asking: nothing powered, source only (both free), then on.
[[nodiscard]] std::vector<Question> nextQuestions(const job::Job& job, const Evidence& evidence);

/// The step that a point serves.
[[nodiscard]] const char* stepOf(const job::Point& point);

/// To be shown before the words "power on": what a power-up may change, how many there were, the budget.
[[nodiscard]] std::string powerUpWarning(const job::Job& job, const std::vector<job::PowerUp>& ledger);

/// Short, for the start of a job.
[[nodiscard]] std::vector<std::string> cautions(const job::Job& job);

}  // namespace pin16::readiness
