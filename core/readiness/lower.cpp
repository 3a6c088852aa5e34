// SPDX-License-Identifier: Apache-2.0
// What a plugin's finding may do to a verdict.
#include <fmt/format.h>

#include <algorithm>

#include "core/readiness/sheet.hpp"

namespace pin16::readiness {
namespace {

std::string sentence(const std::string& text) {
  return text.empty() || text.back() == '.' ? text : text + ".";
}

void lower(Step& step, const std::string& plugin, const plugin::Finding& f) {
  const Verdict to = f.weight == plugin::Weight::against ? Verdict::faulty : Verdict::marginal;
  const bool worse = (step.verdict == Verdict::sound && to != Verdict::sound) ||
                     (step.verdict == Verdict::marginal && to == Verdict::faulty);
  if (!worse) return;
  step.verdict = to;
  step.code = f.code;
  step.plugin = plugin;
  step.to_do = sentence(f.text);
  step.text += fmt::format("{}{} finds: {}", step.text.empty() ? "" : " ", plugin, step.to_do);
  for (const plugin::Figure& x : f.figures) {
    Figure shown;
    shown.what = plugin + ": " + x.what;
    shown.value = x.value;
    shown.unit = x.unit;
    shown.uncertainty = x.uncertainty;
    shown.ok = false;
    if (x.value == x.value) step.figures.push_back(std::move(shown));  // NaN: words only
  }
}

}  // namespace

void lower(std::vector<Step>& steps, const std::vector<plugin::Results>& plugins) {
  for (const plugin::Results& r : plugins)
    for (const plugin::Finding& f : r.findings) {
      if (f.weight == plugin::Weight::fact || f.confidence < kConfidenceMin) continue;
      const auto step =
          std::find_if(steps.begin(), steps.end(), [&](const Step& s) { return s.name == f.step; });
      if (step != steps.end()) lower(*step, r.facts.name, f);
    }
}

}  // namespace pin16::readiness
