// SPDX-License-Identifier: Apache-2.0
#include <boost/json.hpp>

#include "core/readiness/clean_start.hpp"
#include "core/readiness/hook_up.hpp"
#include "core/readiness/interlocks.hpp"
#include "core/readiness/plan.hpp"

namespace pin16::readiness {
namespace {

namespace json = boost::json;

json::value orNull(const std::string& text) {
  return text.empty() ? json::value(nullptr) : json::value(text);
}
template <class T>
json::value orNull(const std::optional<T>& value) {
  return value ? json::value(*value) : json::value(nullptr);
}

json::value startJson(const std::optional<CleanStart>& start) {
  if (!start) return nullptr;
  return json::object{{"possible", start->possible},
                      {"starts", start->starts},
                      {"watched_ms", start->watched_s * 1e3},
                      {"lowest_V", start->possible ? json::value(start->lowest_V) : json::value(nullptr)},
                      {"steady_V", start->steady_V},
                      {"longest_gap_ms", start->longest_gap_ms},
                      {"limit_least_A", orNull(start->limit_least_A)},
                      {"more_ohm", start->clean() ? json::value(start->more_ohm) : json::value(nullptr)},
                      {"assumed", orNull(start->assumed)},
                      {"text", startText(start)}};
}

json::object powerUpsJson(const job::Job& job, const std::vector<job::PowerUp>& ledger) {
  const job::PowerCounts counts = job::countPower(ledger);
  return {{"past", counts.powerUps()},
          {"budget", orNull(job.power_up_budget)},
          {"last", orNull(job::lastRise(ledger))},
          {"text", powerUpWarning(job, ledger)}};
}

}  // namespace

std::string planJson(const job::Job& job, const std::vector<job::PowerUp>& ledger) {
  json::object o;
  o["schema"] = "pin16-plan";
  o["version"] = 1;
  o["job"] = job.name;
  o["arrangement"] = toText(job.arrangement);
  o["access"] = toText(job.access);
  o["sealed"] = job.sealed;
  json::array order;
  for (const HookUpItem& i : hookUp(job))
    order.push_back(
        json::object{{"code", i.code}, {"text", i.text}, {"why", i.why}, {"seen", orNull(i.seen)}});
  o["hook_up"] = std::move(order);
  json::array questions;
  for (const Interlock& i : interlocks(job))
    questions.push_back(json::object{{"code", i.code}, {"question", i.question}, {"why", i.why}});
  o["before_power"] = std::move(questions);
  const auto start = predictStart(job);
  o["start"] = start ? startJson(*start) : json::value(nullptr);
  o["start_trouble"] = start ? json::value(nullptr) : json::value(start.error().text());
  o["power_ups"] = powerUpsJson(job, ledger);
  json::array cautious;
  for (const std::string& c : cautions(job)) cautious.push_back(json::value(c));
  o["cautions"] = std::move(cautious);
  return json::serialize(o);
}

}  // namespace pin16::readiness
