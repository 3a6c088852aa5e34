// SPDX-License-Identifier: Apache-2.0
#include "core/reasons/explain.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/base/text.hpp"
#include "core/reasons/decide.hpp"
#include "core/reasons/text.hpp"

namespace pin16::reasons {
namespace {

constexpr double kWeighs = 0.4;    // log-likelihood ratio from which a reading is worth mentioning
constexpr double kShown = 0.015;   // probability of a rank
constexpr double kDoubtful = 0.3;  // probability that a reading is wrong from which it is pointed out
constexpr std::size_t kRanks = 6, kNexts = 5, kShortRanks = 3;

std::string predictedText(const Weight& w, std::size_t r) {
  const Reading& reading = readings()[r];
  if (reading.unit == Unit::answer) return valueText(r, w.middle);
  const std::string low = valueText(r, w.low), high = valueText(r, w.high);
  return low == high ? low : low + " to " + high;
}

std::string listed(const std::vector<Say>& says, bool predicted) {
  std::string out;
  for (std::size_t i = 0; i < says.size() && i < 3; ++i)
    out += fmt::format("{}{} {}{}",
                       i == 0                                           ? ""
                       : i + 1 == std::min<std::size_t>(says.size(), 3) ? " and "
                                                                        : ", ",
                       readings()[says[i].reading].id, says[i].measured,
                       predicted ? fmt::format(" (it would be {})", says[i].predicted) : "");
  return out;
}

/// Minutes that a mend takes, by the step it belongs to (estimates).
double mendMinutes(const Cause& c) {
  const std::string_view step = c.step;
  if (step == "source" || step == "interface") return 3;
  if (step == "feed" || step == "ground" || step == "connector") return 8;
  return step == "levels" ? 30 : 20;
}

/// The ranks by probability over work, numbered as they stand.
std::string mendOrderText(const Answer& a) {
  std::vector<double> faults;
  std::vector<Action> actions;
  for (std::size_t i = 0; i < a.ranked.size(); ++i) {
    const std::size_t c = a.ranked[i].causes.front();
    faults.push_back(a.ranked[i].probability);
    actions.push_back({c == kSound ? 60 : mendMinutes(causes()[c]), std::vector<double>(a.ranked.size(), 0)});
    actions.back().mends[i] = 1;
  }
  std::string out;
  for (const std::size_t i : ratioOrder(faults, actions))
    out += fmt::format("{}{}", out.empty() ? "" : ", ", i + 1);
  return out;
}

const char* powerText(Power p) {
  return p == Power::off      ? "power off"
         : p == Power::source ? "source on, module not fed"
         : p == Power::any    ? "power as it is"
                              : "module fed";
}

}  // namespace

std::string titleOf(const std::vector<std::size_t>& group) {
  if (group.front() == kSound) return "Nothing on this side is wrong: look at the other equipment";
  std::string out = causes()[group.front()].title;
  for (std::size_t i = 1; i < group.size(); ++i) out += fmt::format("; or {}", causes()[group[i]].title);
  return out;
}

std::string howText(const Next& next) {
  const Reading& r = readings()[next.reading];
  std::string out = fmt::format("{}: {} ({}", r.id, r.how, powerText(r.power));
  if (*r.meter != 0) out += fmt::format(", {}, range {}", r.instrument, r.meter);
  out += ")";
  if (*r.risk != 0) out += fmt::format(". Caution: {}", r.risk);
  return out;
}

Answer explain(const Reasoner& m, const Policy& policy, const std::vector<bool>& left_out) {
  Answer out;
  out.observations = m.evidence().size();
  const auto ranking = m.ranking();
  const auto fits = m.fits();
  out.unexplained = m.unexplained();
  out.certain = ranking.front().probability >= policy.stop_at;
  for (const Ranked& r : ranking) {
    if (out.ranked.size() == kRanks || (r.probability < kShown && !out.ranked.empty())) break;
    Explained e;
    e.causes = r.causes, e.probability = std::min(r.probability, 1.0);
    std::vector<Say> alike, against;  // in words
    for (const Weight& w : m.weigh(r.causes)) {
      const Observation& o = m.evidence()[w.observation];
      Say s{o.reading, w.llr, valueText(o.reading, o.value), predictedText(w, o.reading)};
      if (w.llr >= kWeighs) e.in_favour.push_back(s);
      if (w.llr <= -kWeighs) e.against.push_back(s);
      // What the cause predicts as well, if less surely than others do, is nothing to say against it.
      const bool fits_it = readings()[o.reading].unit == Unit::answer ? s.measured == s.predicted
                                                                      : w.low <= o.value && o.value <= w.high;
      if (w.llr <= -kWeighs && !fits_it) against.push_back(s);
      if (w.alone >= kWeighs && w.llr > -kWeighs)
        alike.push_back({o.reading, w.alone, s.measured, s.predicted});
      const Fit& f = fits[w.observation];
      if (out.ranked.empty() && f.wrong >= kDoubtful)
        out.misfits.push_back({o.reading, f.wrong, s.measured, s.predicted});
    }
    const auto heavier = [](const Say& a, const Say& b) { return std::abs(a.llr) > std::abs(b.llr); };
    for (auto* says : {&e.in_favour, &e.against, &alike, &against})
      std::stable_sort(says->begin(), says->end(), heavier);
    if (!e.in_favour.empty())
      e.sentence = "For it: " + listed(e.in_favour, false);
    else if (!alike.empty())  // each one could be missing
      e.sentence = "For it: " + listed(alike, false) + (alike.size() > 1 ? ", which say the same" : "");
    else
      e.sentence = "Nothing speaks for it";
    e.sentence +=
        against.empty() ? "; nothing speaks against it." : "; against it: " + listed(against, true) + ".";
    if (e.in_favour.empty() && alike.empty() && against.empty())
      e.sentence = "No reading speaks for it or against it yet; this is how often it is met.";
    out.ranked.push_back(std::move(e));
  }
  out.next = m.next(policy, left_out);
  if (out.next.size() > kNexts) out.next.resize(kNexts);
  // The reading that tells most, whatever it costs and whatever has to come before it.
  Policy free = policy;
  free.powered = true, free.stop_at = 2, free.power_ups_left = 1000;
  const auto all = m.next(free, left_out);
  const auto most =
      std::max_element(all.begin(), all.end(), [](const Next& a, const Next& b) { return a.bits < b.bits; });
  if (most == all.end()) return out;
  const char* id = readings()[most->reading].id;
  const double now = out.ranked.front().probability;
  if (most->against < now - 0.02)
    out.mind.push_back(
        fmt::format("{} {} would make the first one {}", id, most->against_if, oddsText(most->against)));
  if (most->in_favour > now + 0.02)
    out.mind.push_back(fmt::format("{} {} would make it {}", id, most->for_if, oddsText(most->in_favour)));
  return out;
}

std::string toShortText(const Answer& a) {
  std::string out =
      a.unexplained ? "Why it does not answer: nothing I know explains these readings. What comes nearest:\n"
                    : "Why it does not answer:\n";
  for (std::size_t i = 0; i < a.ranked.size() && i < kShortRanks; ++i) {
    const Explained& e = a.ranked[i];
    out +=
        wrapped(fmt::format("  {}. {}:", i + 1, oddsText(e.probability)), " " + titleOf(e.causes) + ".", 5);
    out += wrapped("    ", " " + e.sentence, 5);
  }
  const std::size_t first = a.ranked.front().causes.front();
  if (a.certain && first != kSound) {
    out += wrapped("  To mend it:", fmt::format(" {}.", causes()[first].mend), 5);
    if (*causes()[first].caution != 0)
      out += wrapped("  Caution:", fmt::format(" {}.", causes()[first].caution), 5);
  }
  if (!a.next.empty()) {
    const Next& n = a.next.front();
    out += wrapped("  Measure next:",
                   fmt::format(" {}{}.", howText(n),
                               n.power_ups > 0 ? fmt::format(". Costs {} power-up{}", n.power_ups,
                                                             n.power_ups == 1 ? "" : "s")
                                               : ""),
                   5);
  } else if (!a.certain) {
    out += wrapped("  No reading that may be taken here tells more. Mend in this order:",
                   " " + mendOrderText(a) + ".", 5);
  }
  return out;
}

std::string toPlainText(const Answer& a, bool numbers) {
  std::string out;
  const auto line = [&out](const std::string& text) { out += text + "\n"; };
  if (a.unexplained) {
    line("Nothing I know explains these readings.");
    for (const Misfit& f : a.misfits)
      line(
          fmt::format("  {} {} does not fit: expected {}", readings()[f.reading].id, f.measured, f.expected));
    line(
        "  Take those readings again first; if they stay, the cause is not in the catalogue. What comes "
        "nearest:");
  } else if (a.observations == 0) {
    line(
        "Nothing was measured yet; this is how often each cause is met when nobody answers (estimates, "
        "docs/reasons.md):");
  }
  int rank = 0;
  for (const Explained& e : a.ranked) {
    line(fmt::format("{}. {}: {}{}", ++rank, oddsText(e.probability), titleOf(e.causes),
                     numbers ? fmt::format(" [{:.3f}]", e.probability) : ""));
    line("   " + e.sentence);
    if (e.causes.size() > 1) line("   No reading that may be taken here parts these.");
    if (numbers)
      for (const auto* says : {&e.in_favour, &e.against})
        for (const Say& s : *says)
          line(fmt::format("   {:+6.2f}  {}: measured {}, predicted {}", s.llr, readings()[s.reading].id,
                           s.measured, s.predicted));
  }
  const Explained& first = a.ranked.front();
  if (first.causes.front() != kSound) {
    const Cause& c = causes()[first.causes.front()];
    line(fmt::format("To confirm the first: {}. To mend it: {}.", c.confirm, c.mend));
    if (*c.caution != 0) line(fmt::format("Caution: {}.", c.caution));
  }
  if (!a.unexplained)
    for (const Misfit& f : a.misfits)
      line(fmt::format(
          "Contradiction: {} {} does not fit the rest, {} expected: take it again ({} that it is wrong).",
          readings()[f.reading].id, f.measured, f.expected, oddsText(f.wrong)));
  if (a.next.empty()) {
    if (a.certain) {
      line("Certain enough: mend it, then measure again; a second cause may hide behind the first.");
    } else {
      line("No reading that may be taken here tells more: what stands above cannot be told apart.");
      line("Mend in this order, most worth for its work first: " + mendOrderText(a) + ".");
    }
    return out;
  }
  line("Measure next:");
  for (std::size_t i = 0; i < a.next.size(); ++i) {
    const Next& n = a.next[i];
    line(fmt::format("{} {}{}{}", i == 0 ? "  >" : "   ", howText(n),
                     n.gate ? ". Has to be known before power comes on" : "",
                     n.power_ups > 0
                         ? fmt::format(". Costs {} power-up{}", n.power_ups, n.power_ups == 1 ? "" : "s")
                         : ""));
    if (numbers) line(fmt::format("    {:.2f} bits, {:g} minutes", n.bits, n.minutes));
  }
  for (const auto& text : a.mind) line("What would change my mind: " + text + ".");
  return out;
}

}  // namespace pin16::reasons
