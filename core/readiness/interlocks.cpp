// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/interlocks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "core/readiness/sheet.hpp"
#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

using job::Arrangement;

// What a supply point may read below zero by a drop on a ground (own figure); below that it is reversed.
constexpr double kGroundDropMost_V = -1;

}  // namespace

std::vector<Interlock> interlocks(const job::Job& job) {
  const bool table = job.arrangement == Arrangement::removed;
  std::vector<Interlock> out;
  const auto add = [&](const char* code, std::string question, const char* why) {
    out.push_back({code, std::move(question), why});
  };
  // A fall of 2.5 mm gives 0.8 km/h, the time zero of 49 CFR 563.5: v = sqrt(2 g h).
  if (table)
    add("still", "Is the module fixed rigidly in its mounted attitude, and will nobody move or strike it?",
        "Moved or struck while powered, it may take that for an event; a fall of 2.5 mm is 0.8 km/h.");
  else
    add("still", "Does the vehicle stand, chocked, off any hook or fork, and will nobody move it?",
        "Moved or struck while powered, the module may take that for an event.");
  add("people",
      table ? "Are people clear of every restraint that is connected, and eyes protected?"
            : "Is nobody inside, at the doors or before a restraint, and is everybody told?",
      "A restraint that has not deployed can do so when power comes.");
  add("dry",
      table ? "Are the module and its connector dry, inside too as far as can be seen, and unbroken?"
            : "Is the module dry: no water line inside above its place, no wet carpet around it?",
      "Water between pins can fire a restraint or destroy what is stored.");
  add("loops",
      table ? "Is nothing but feed, ground and bus connected, or every restraint circuit sound?"
            : "Is the restraint wiring whole: none cut, crushed or pulled out; or made safe by trained "
              "people? Look, do not measure.",
      "A damaged circuit may be shorted to a feed; it is never measured.");
  if (!table)
    add("high-voltage", "Is there no high voltage on board, or is it made safe by somebody qualified for it?",
        "A damaged high-voltage system counts as live and charged.");
  add("volts",
      job.nominal_V > 12 ? "Is the source the 24 V that this job is for, both batteries in series as one?"
                         : "Is it a 12 V system: one 12 V source, no boost or 24 V output?",
      "Too many volts destroy the module and what is stored.");
  if (job.wait_s)
    add("waited",
        fmt::format("Were all supplies off for {:g} s{} before anything was joined or unjoined?", *job.wait_s,
                    job.wait_source.empty() ? "" : " (" + job.wait_source + ")"),
        "Until its reserve is empty a restraint system can act, and a module is only half off.");
  else
    add("waited",
        "Did you wait, with all supplies off, as long as this vehicle's own service information says before "
        "anything was joined or unjoined?",
        "Until its reserve is empty a restraint system can act; there is no general figure.");
  return out;
}

const char* toText(Standing s) {
  constexpr std::array<const char*, 4> kNames = {"cleared", "overridden", "not-cleared", "unknown"};
  return kNames.at(static_cast<std::size_t>(s));
}

std::vector<Interlocked> standing(const job::Job& job, const Evidence& evidence) {
  std::vector<Interlocked> out;
  for (Interlock& lock : interlocks(job)) {
    Interlocked& at = out.emplace_back();
    at.what = std::move(lock);
    const auto& answers = evidence.clearances();
    const auto found = answers.find(at.what.code);
    if (found == answers.end()) continue;
    const event::Clearance& c = found->second.clearance;
    at.by = c.by, at.reason = c.reason, at.t_ns = found->second.t_ns;
    at.standing = c.cleared == event::Known::yes  ? Standing::cleared
                  : c.cleared == event::Known::no ? Standing::not_cleared
                  : c.reason.empty()              ? Standing::unknown
                                                  : Standing::overridden;
    const Ns removed_ns = evidence.removedAt();
    if (at.what.code != "waited" || at.standing != Standing::cleared || !job.wait_s || removed_ns == kNoTime)
      continue;
    const double waited_s = toSeconds(at.t_ns - removed_ns);
    if (waited_s >= *job.wait_s) continue;
    at.standing = Standing::not_cleared;
    at.reason =
        fmt::format("said {:.0f} s after power was taken off, {:g} s are needed", waited_s, *job.wait_s);
  }
  return out;
}

bool mayPower(const std::vector<Interlocked>& all) {
  return std::all_of(all.begin(), all.end(), [](const Interlocked& i) {
    return i.standing == Standing::cleared || i.standing == Standing::overridden;
  });
}

std::string inTheWay(const std::vector<Interlocked>& all) {
  std::string no, unknown;
  for (const Interlocked& i : all) {
    std::string* to = i.standing == Standing::not_cleared ? &no
                      : i.standing == Standing::unknown   ? &unknown
                                                          : nullptr;
    if (to == nullptr) continue;
    *to += (to->empty() ? "" : ", ") + i.what.code;
    if (to == &no && !i.reason.empty()) *to += " (" + i.reason + ")";
  }
  return (no.empty() ? "" : "not cleared: " + no) + (no.empty() || unknown.empty() ? "" : "; ") +
         (unknown.empty() ? "" : "not answered: " + unknown);
}

std::optional<std::string> stopBefore(const job::Job& job, const Evidence& evidence) {
  const Asked asked;
  const Case c{job, evidence, asked};
  const limits::Limit& most = c.limit("supply.module_max_V");
  static constexpr std::array<std::array<const char*, 2>, 4> kPoints = {{
      {"V(src+,src-)", "source-over-voltage"},
      {"V(pin16,pin4)", "connector-over-voltage"},
      {"V(pin16,pin5)", "connector-over-voltage"},
      {"V(interface+,interface-)", "interface-over-voltage"},
  }};
  for (const auto& [point, over] : kPoints) {
    const PointFacts* f = evidence.newest(point);
    if (f == nullptr) continue;
    const double u = std::max(f->uncertainty, 0.0);
    const bool too_many = f->max - u > most.value;
    if (!too_many && f->max + u > kGroundDropMost_V) continue;
    return fmt::format(
        "{} shows {}{}: plug nothing in, switch nothing on. {}", point, amount(f->max, "V"),
        too_many ? fmt::format(", more than {} ({})", amount(most.value, "V"), most.source) : "",
        findCode(too_many ? over : "source-reversed").toDo(job.arrangement));
  }
  return std::nullopt;
}

}  // namespace pin16::readiness
