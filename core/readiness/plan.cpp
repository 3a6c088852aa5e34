// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/plan.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

using event::PowerState;
using job::Arrangement;

bool offered(const job::Point& p, Arrangement a) {
  return std::find(p.arrangements.begin(), p.arrangements.end(), a) != p.arrangements.end();
}

bool answered(const Evidence& e, const Question& q) {
  return e.newest(q.point->name, [&](const PointFacts& f) {
    if (!q.with.empty()) return f.loaded();
    return f.power == q.power || (q.power == PowerState::source && f.power == PowerState::unknown);
  }) != nullptr;
}

/// The ground drop means something only while current flows.
std::string conditionOf(const job::Point& p, const job::Job& job) {
  if (p.name != "V(chassis,src-)") return {};
  return job.arrangement == Arrangement::own_battery ? "lamp load" : "10 ohm dummy";
}

}  // namespace

const char* stepOf(const job::Point& point) {
  const std::string& n = point.name;
  if (n == "V(src+,src-)") return "source";
  if (n == "V(chassis,src-)" || n == "V(pin4,pin5)" || n == "V(pin4,interface-)") return "ground";
  if (n == "V(pin16,pin4)" || n == "V(pin16,pin5)") return "connector";
  if (n == "lamp" || n == "V(interface+,interface-)") return "interface";
  if (n == "V(pin6,pin4)" || n == "V(pin14,pin4)" || n.starts_with("R(pin")) return "levels";
  return "feed";
}

std::vector<Question> nextQuestions(const job::Job& job, const Evidence& evidence) {
  std::vector<Question> out;
  const auto add = [&](const job::Point& p, PowerState power, std::string with) {
    Question q{&p, power, std::move(with), stepOf(p), isNeeded(job, stepOf(p))};
    if (!answered(evidence, q)) out.push_back(std::move(q));
  };
  for (const job::Point& p : job::points())
    if (offered(p, job.arrangement)) add(p, p.when, conditionOf(p, job));
  // Worth a second look once the module is on.
  for (const char* name : {"V(src+,src-)", "V(loadblade,chassis)"}) {
    const job::Point* p = job::findPoint(name);
    if (offered(*p, job.arrangement)) add(*p, PowerState::on, {});
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const Question& a, const Question& b) { return a.power < b.power; });
  return out;
}

std::string powerUpWarning(const job::Job& job, const std::vector<job::PowerUp>& ledger) {
  const auto past = static_cast<std::size_t>(job::countPower(ledger).powerUps());
  std::string text =
      "Before power: each power-up raises the recorder's ignition-cycle count (49 CFR 563.5), and an event "
      "that is "
      "not locked may be overwritten by a later one (49 CFR 563.9). Module fixed, in its mounted attitude, "
      "not moved "
      "or struck while powered; people clear. ";
  text += past == 0 ? "No power-up is in this job's ledger yet."
                    : fmt::format("This job's ledger has {} power-up{}, the last at {}.", past,
                                  past == 1 ? "" : "s", job::lastRise(ledger));
  if (!job.power_up_budget) return text + " The job sets no budget.";
  const auto budget = static_cast<std::size_t>(*job.power_up_budget);
  if (past >= budget)
    return text +
           fmt::format(" The budget of {} is used up: agree on another way, or on a new budget, first.",
                       budget);
  return text + fmt::format(" This one would be {} of {}.", past + 1, budget);
}

std::vector<std::string> cautions(const job::Job& job) {
  std::vector<std::string> out = {
      "Restraints keep stored energy after power is taken off: wait as long as this vehicle's own service "
      "information says; there is no general figure.",
      "People clear of restraints before power; nobody inside, nobody at the doors; the vehicle stands and "
      "stays "
      "still.",
      "Never measure at deployment loops or at a module's own terminals: a meter can fire a restraint.",
  };
  if (job.arrangement == Arrangement::removed)
    out.emplace_back(
        "Fix the module rigidly in its mounted attitude before power; do not move or strike it while "
        "powered. Wet or "
        "damaged: no power.");
  else
    out.emplace_back(
        "High voltage on board: assume it is live and charged; leave it to people qualified for it.");
  out.emplace_back(
      "Batteries give off hydrogen: eye protection, no sparks, last clamp away from the battery; never into "
      "a "
      "cracked, frozen or leaking one.");
  out.emplace_back(
      "Follow the vehicle's service information, local codes and licensed practice; this is no "
      "substitute for them.");
  return out;
}

}  // namespace pin16::readiness
