// SPDX-License-Identifier: Apache-2.0
#include "core/cli/observations.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>

#include "core/reasons/text.hpp"

namespace pin16::cli {
namespace {

using reasons::Observation;

/// The answer's index, by its words.
Observation said(const char* id, const char* answer) {
  return *reasons::parseObservation(fmt::format("{}={}", id, answer));
}

void addBus(const readiness::Evidence& e, const job::Job& job, bool module_heard, bool others_heard,
            std::vector<Observation>& out) {
  for (const readiness::LinkFacts* l : e.buses()) {
    if (!l->ever_up) continue;
    out.push_back(said("adapter-answers", "yes"));
    if (l->state.listen_only != event::Known::unknown)
      out.push_back(
          said("adapter-mode", l->state.listen_only == event::Known::yes ? "listen only" : "normal"));
    const bool asked = e.sent() > 0;
    if (l->frames > 0 || e.listened_s() >= 3)
      out.push_back(said("identifiers", module_heard && others_heard ? "both"
                                        : module_heard               ? "module"
                                        : others_heard               ? "others"
                                                                     : "none"));
    if (asked || l->error_frames > 0)
      out.push_back(
          said("error-class",
               l->error_frames > 0
                   ? (l->error_classes.contains(CAN_ERR_PROT) && l->own_bit_errors > 0 ? "bit" : "format")
               : l->unacknowledged > 0 ? "acknowledge"
                                       : "none"));
    if (asked && l->state.controller != "unknown")
      out.push_back(said("controller-state", l->bus_off || l->state.controller == "bus-off" ? "bus-off"
                                             : l->state.controller == "error-passive"       ? "passive"
                                                                                            : "active"));
  }
  for (const readiness::ExchangeFacts& x : e.exchanges()) {
    const bool own = job.module.address && x.request_id == job.module.address->request_id;
    if (!own && x.ended == event::Ended::answered) out.push_back(said("rollcall", "others"));
    if (own && x.came_after_ms >= 0) out.push_back(said("answer@longwait", "yes"));
    if (own && x.ended == event::Ended::negative) out.push_back(said("answer@longwait", "refused"));
  }
}

}  // namespace

std::vector<Observation> observationsOf(const readiness::Evidence& evidence, const job::Job& job,
                                        bool module_heard, bool others_heard,
                                        std::vector<std::string>* ignored) {
  std::vector<Observation> out;
  for (const auto& p : evidence.points()) {
    event::Measurement m;
    m.point = p.point, m.value = p.last, m.unit = p.unit, m.uncertainty = p.uncertainty, m.power = p.power,
    m.condition = p.condition;
    if (const auto o = reasons::observationOf(m))
      out.push_back(*o);
    else if (ignored != nullptr)
      ignored->push_back(p.point);
  }
  addBus(evidence, job, module_heard, others_heard, out);
  std::erase_if(out, [&](const Observation& o) {
    return (reasons::readings()[o.reading].arrangements & reasons::bit(job.arrangement)) == 0;
  });
  return out;
}

std::vector<bool> notToBeHad(const job::Job& job) {
  std::vector<bool> out(reasons::kReadings, false);
  if (!job.sealed) return out;
  for (std::size_t r = 0; r < reasons::kReadings; ++r) {
    const std::string_view id = reasons::readings()[r].id, risk = reasons::readings()[r].risk;
    if (id.starts_with("answer@") || id == "rollcall" || id == "reseat" ||
        risk.find("request") != std::string_view::npos)
      out[r] = true;
  }
  return out;
}

}  // namespace pin16::cli
