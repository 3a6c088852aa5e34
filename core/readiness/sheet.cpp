// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/sheet.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/readiness/plan.hpp"
#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

using event::PowerState;
using job::Arrangement;

/// Steps in which "not asked" (sealed) does not stand in the way of readiness.
bool mayBeUnasked(const Step& s) { return s.name == "answer" || s.name == "timing"; }

bool blocks(const Step& s) {
  if (!s.needed) return false;
  return s.verdict == Verdict::not_measured || (s.verdict == Verdict::not_asked && !mayBeUnasked(s));
}

std::string names(const std::vector<Step>& steps, bool (*wanted)(const Step&)) {
  std::vector<std::string> out;
  for (const Step& s : steps)
    if (wanted(s)) out.push_back(s.name);
  return fmt::format("{}", fmt::join(out, ", "));
}

/// Which points decide a step, the telling one first.
std::vector<const char*> decidingPoints(std::string_view step, Arrangement a) {
  if (step == "source") return {"V(src+,src-)"};
  if (step == "feed") return {a == Arrangement::own_battery ? "V(loadblade,chassis)" : "R(feedpath)"};
  if (step == "ground") return {"V(chassis,src-)"};
  if (step == "connector") return {"V(pin16,pin4)"};
  if (step == "interface") return {"lamp"};
  if (step == "levels") return {"R(pin6,pin14)"};
  return {};
}

struct Candidate {
  Deciding deciding;
  PowerState when = PowerState::on;
  double minutes = 0;
};

Candidate candidate(const Step& s, const job::Job& job, const Evidence& evidence) {
  for (const char* name : decidingPoints(s.name, job.arrangement)) {
    const job::Point* p = job::findPoint(name);
    return {{s.name, p->name, p->how}, p->when, p->minutes};
  }
  if (s.name == "traffic")
    return {{s.name, "listen", "Module powered, interface up: listen for a few seconds; nothing is sent."},
            PowerState::on,
            0.2};
  const event::Medium medium = mediumOf(evidence);
  if (!knowsModule(job, medium) && medium != event::Medium::can)
    return {{s.name, "roll call",
             "Find the module's address: `pin16 rollcall` shows who answers; write it into the job as "
             "module.line_address."},
            PowerState::on,
            2};
  if (!knowsModule(job, medium))
    return {{s.name, "roll call",
             "Find the module's identifiers: listen while the other equipment asks, or `pin16 rollcall "
             "--sweep`, then "
             "write them into the job."},
            PowerState::on,
            2};
  return {
      {s.name, "ask",
       onlyListening(evidence)
           ? "Module powered, and an interface that is not listen-only: run check again with --ask, if the "
             "case allows one read-only request."
           : "Module powered: run check again with --ask, if the case allows one read-only request."},
      PowerState::on,
      0.5};
}

/// Of all needed and unmeasured steps the cheapest reading: without power first, then by minutes.
/// `in_the_way`: of power, if it is not on.
std::optional<Deciding> decide(const std::vector<Step>& steps, const job::Job& job, const Evidence& evidence,
                               const std::string& in_the_way) {
  std::optional<Candidate> best;
  for (const Step& s : steps) {
    if (!blocks(s)) continue;
    Candidate c = candidate(s, job, evidence);
    if (!best || c.when < best->when || (c.when == best->when && c.minutes < best->minutes))
      best = std::move(c);
  }
  if (!best) return std::nullopt;
  if (best->when == PowerState::on && !in_the_way.empty())
    best->deciding.how = fmt::format("Before power, {}: see to it first. {}", in_the_way, best->deciding.how);
  return best->deciding;
}

std::optional<FirstThing> firstThing(const std::vector<Step>& steps, const job::Job& job) {
  for (const Verdict v : {Verdict::faulty, Verdict::marginal})
    for (const Step& s : steps)
      if (s.verdict == v)
        return FirstThing{s.name, s.code,
                          s.plugin.empty() ? findCode(s.code).toDo(job.arrangement) : s.to_do};
  return std::nullopt;
}

std::string readySentence(const Sheet& sheet) {
  const auto& steps = sheet.steps;
  const std::string marginal = names(steps, [](const Step& s) { return s.verdict == Verdict::marginal; });
  const std::string unmeasured =
      names(steps, [](const Step& s) { return s.verdict == Verdict::not_measured; });
  const std::string unasked = names(steps, [](const Step& s) { return s.verdict == Verdict::not_asked; });
  std::string text = unasked.empty() ? "Ready for the read-out attempt" : "Ready as far as listening tells";
  if (!marginal.empty()) text += "; marginal: " + marginal;
  if (!unasked.empty()) text += "; not asked (sealed): " + unasked;
  if (!unmeasured.empty()) text += "; not measured and not needed here: " + unmeasured;
  return text + ".";
}

std::string sentenceOf(const Sheet& sheet) {
  switch (sheet.overall) {
    case Overall::ready:
      return readySentence(sheet);
    case Overall::not_ready: {
      const std::string others =
          names(sheet.steps, [](const Step& s) { return s.verdict == Verdict::faulty; });
      const auto first = std::find_if(sheet.steps.begin(), sheet.steps.end(),
                                      [&](const Step& s) { return s.name == sheet.first_thing->step; });
      if (!first->plugin.empty()) return fmt::format("Not ready: {} Faulty: {}.", first->to_do, others);
      return fmt::format("Not ready: {}. Faulty: {}.", findCode(sheet.first_thing->code).meaning, others);
    }
    case Overall::undecided:
      return fmt::format("Undecided: not measured: {}. Next, {} decides.", names(sheet.steps, blocks),
                         sheet.deciding->point);
  }
  return {};
}

}  // namespace

const char* toText(Verdict v) {
  constexpr std::array<const char*, 5> kNames = {"sound", "marginal", "faulty", "not-measured", "not-asked"};
  return kNames.at(static_cast<std::size_t>(v));
}

const char* toText(Overall o) {
  constexpr std::array<const char*, 3> kNames = {"ready", "not-ready", "undecided"};
  return kNames.at(static_cast<std::size_t>(o));
}

Sheet assess(const job::Job& job, const Evidence& evidence, const Asked& asked) {
  const Case c{job, evidence, asked};
  Sheet sheet;
  sheet.job_name = job.name;
  sheet.arrangement = job::toText(job.arrangement);
  sheet.access = job::toText(job.access);
  sheet.sealed = job.sealed;
  sheet.steps = {sourceStep(c), feedStep(c),    groundStep(c), connectorStep(c), interfaceStep(c),
                 levelsStep(c), trafficStep(c), answerStep(c), timingStep(c)};
  lower(sheet.steps, asked.plugins);
  const auto is_faulty = [](const Step& s) { return s.verdict == Verdict::faulty; };
  sheet.overall = std::any_of(sheet.steps.begin(), sheet.steps.end(), is_faulty) ? Overall::not_ready
                  : std::any_of(sheet.steps.begin(), sheet.steps.end(), blocks)  ? Overall::undecided
                                                                                 : Overall::ready;
  sheet.interlocks = standing(job, evidence);
  if (sheet.overall == Overall::undecided)
    sheet.deciding = decide(sheet.steps, job, evidence,
                            c.poweredOn() || mayPower(sheet.interlocks) ? "" : inTheWay(sheet.interlocks));
  sheet.first_thing = firstThing(sheet.steps, job);
  sheet.sentence = sentenceOf(sheet);
  sheet.power = job::countPower(asked.power_ups);
  sheet.power_up_budget = job.power_up_budget;
  sheet.sent = evidence.sent();
  sheet.frames = evidence.frames();
  sheet.error_frames = evidence.errorFrames() + evidence.unacknowledged() + evidence.othersUnacknowledged();
  for (std::size_t i = 0; i < sheet.losses.size(); ++i)
    sheet.losses[i] = evidence.lost(static_cast<event::LossPlace>(i));
  sheet.gaps = evidence.gaps();
  for (const LinkFacts& l : evidence.links()) sheet.links.push_back(l.state);
  sheet.capture = asked.capture;
  return sheet;
}

std::vector<event::Verdict> verdictEvents(const Sheet& sheet) {
  std::vector<event::Verdict> out;
  for (const Step& s : sheet.steps) out.push_back({s.name, toText(s.verdict), s.text});
  out.push_back({"overall", toText(sheet.overall), sheet.sentence});
  return out;
}

}  // namespace pin16::readiness
