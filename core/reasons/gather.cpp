// SPDX-License-Identifier: Apache-2.0
#include "core/reasons/gather.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>
#include <cmath>
#include <string_view>

#include "core/reasons/text.hpp"

namespace pin16::reasons {
namespace {

constexpr double kDark_V = 5;      // no interface for a 12 V connector runs below (own figure)
constexpr double kHeardFor_s = 3;  // a shorter silence says nothing of slow periodic frames (own figure)

Observation said(const char* id, const char* answer) {
  return *parseObservation(fmt::format("{}={}", id, answer));
}

const char* errorClass(const readiness::LinkFacts& l) {
  if (l.error_frames > 0)
    return l.error_classes.contains(CAN_ERR_PROT) && l.own_bit_errors > 0 ? "bit" : "format";
  return l.unacknowledged > 0 ? "acknowledge" : "none";
}

const char* controller(const readiness::LinkFacts& l) {
  if (l.bus_off || l.state.controller == "bus-off") return "bus-off";
  return l.state.controller == "error-passive" ? "passive" : "active";
}

/// The interface in question is dark: a link of ours that is up all the same has a supply of its own and says
/// nothing about it.
bool interfaceDark(const readiness::Evidence& e, const job::Job& job) {
  const readiness::PointFacts* lamp = e.newest("lamp");
  const readiness::PointFacts* volts = e.newest("V(interface+,interface-)");
  // On the vehicle's own battery it hangs on pin 16.
  if (lamp == nullptr && volts == nullptr && job.arrangement == Arrangement::own_battery)
    volts = e.newest("V(pin16,pin4)");
  return (lamp != nullptr && lamp->last == 0) || (volts != nullptr && std::abs(volts->last) < kDark_V);
}

void fromBus(const readiness::Evidence& e, const job::Job& job, std::vector<Observation>& out) {
  // On the table nobody but the module is there to be heard.
  const bool alone = job.arrangement == Arrangement::removed;
  const bool module = e.moduleHeard() || (alone && e.othersHeard()), others = e.othersHeard() && !alone;
  const bool dark = interfaceDark(e, job);
  for (const readiness::LinkFacts* l : e.buses()) {
    if (!l->ever_up || dark) continue;
    out.push_back(said("adapter-answers", "yes"));
    if (l->state.listen_only != event::Known::unknown)
      out.push_back(
          said("adapter-mode", l->state.listen_only == event::Known::yes ? "listen only" : "normal"));
    const bool asked = e.sent() > 0;
    if (l->frames > 0 || e.listened_s() >= kHeardFor_s)
      out.push_back(said("identifiers", module && others ? "both"
                                        : module         ? "module"
                                        : others         ? "others"
                                                         : "none"));
    if (asked || l->error_frames > 0) out.push_back(said("error-class", errorClass(*l)));
    if (asked && l->state.controller != "unknown") out.push_back(said("controller-state", controller(*l)));
  }
  bool functional = false;
  for (const readiness::ExchangeFacts& x : e.exchanges())
    functional = functional || (x.ours && x.functional && x.medium == event::Medium::can);
  if (functional && !dark) out.push_back(said("rollcall", "nobody"));  // unless somebody answered, below
  for (const readiness::ExchangeFacts& x : e.exchanges()) {
    const bool own = job.module.address && x.request_id == job.module.address->request_id;
    if (!own && x.ended == event::Ended::answered) out.push_back(said("rollcall", "others"));
    if (own && x.ended == event::Ended::answered && x.late) out.push_back(said("answer@longwait", "yes"));
    if (own && x.came_after_ms >= 0) out.push_back(said("answer@longwait", "yes"));
    if (own && x.ended == event::Ended::negative) out.push_back(said("answer@longwait", "refused"));
  }
}

}  // namespace

Gathered gather(const readiness::Evidence& e, const job::Job& job) {
  Gathered out;
  for (const readiness::PointFacts& p : e.points()) {
    event::Measurement m;
    // A bus level is an average; for supplies the newest counts.
    const bool level = p.point.starts_with("V(pin6,") || p.point.starts_with("V(pin14,");
    m.point = p.point, m.value = level ? p.mean() : p.last, m.unit = p.unit, m.uncertainty = p.uncertainty,
    m.power = p.power, m.condition = p.condition;
    const auto o = observationOf(m);
    if (o && (readings()[o->reading].arrangements & bit(job.arrangement)) != 0)
      out.observations.push_back(*o);
    else
      out.ignored.push_back(p.point);
  }
  fromBus(e, job, out.observations);
  if (e.restarts().size() > 1) out.observations.push_back(said("I(feed) pattern", "cycling"));
  const auto& a = job.module.address;
  out.answered = std::any_of(e.exchanges().begin(), e.exchanges().end(), [&](const auto& x) {
    return a && x.request_id == a->request_id && x.ended == event::Ended::answered && !x.late;
  });
  return out;
}

std::vector<bool> ruledOut(const job::Job& job) {
  std::vector<bool> out(kReadings, false);
  if (!job.sealed) return out;
  for (std::size_t r = 0; r < kReadings; ++r) {
    const std::string_view id = readings()[r].id, risk = readings()[r].risk;
    out[r] = id.starts_with("answer@") || id == "rollcall" || id == "reseat" ||
             risk.find("request") != std::string_view::npos;
  }
  return out;
}

Setting settingOf(const job::Job& job) { return {job.arrangement, job.access == job::Access::gateway}; }

Policy policyOf(const job::Job& job, bool powered) {
  Policy p;
  p.powered = powered;
  if (!job.power_up_budget) return p;
  const auto ledger = job::readLedger(job);
  p.power_ups_left = std::max(0, *job.power_up_budget - (ledger ? job::countPower(*ledger).powerUps() : 0));
  return p;
}

}  // namespace pin16::reasons
