// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/path.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/circuit/circuit.hpp"
#include "core/readiness/plan.hpp"
#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

using job::Arrangement;
using Branch = Joint::Branch;

struct Place {
  Branch branch;
  const char* point;
  bool module_on = false;  ///< only values with the module fed say what it gets
};

std::vector<Place> placesOf(Arrangement a) {
  std::vector<Place> out{{Branch::source, "V(src+,src-)"}};
  if (a == Arrangement::own_battery)
    out.push_back({Branch::feed, "V(loadblade,chassis)", true});
  else
    out.push_back({Branch::feed, "V(feed,chassis)", true});
  if (a == Arrangement::fed_in_place) out.push_back({Branch::feed, "V(loadblade,chassis)", true});
  out.insert(out.end(), {{Branch::feed, "I(feed)", true},
                         {Branch::connector, "V(pin16,pin4)"},
                         {Branch::connector, "V(pin16,pin5)"},
                         {Branch::interface, "V(interface+,interface-)"},
                         {Branch::interface, "lamp"},
                         {Branch::ground, "V(chassis,src-)"},
                         {Branch::ground, "V(pin4,pin5)"},
                         {Branch::bus, "V(pin6,pin4)", true},
                         {Branch::bus, "V(pin14,pin4)", true},
                         {Branch::bus, "R(pin6,pin14)"}});
  return out;
}

/// Of the feed from the source to the module, one way and back, as the job says.
std::optional<double> feedOhm(const job::Job& job) {
  if (!job.feed) return std::nullopt;
  const job::Feed& f = *job.feed;
  return circuit::leadResistance_ohm(f.lead_mm2, f.lead_length_m, 20) + f.joints_ohm;
}

std::optional<double> current(const job::Job& job, const Evidence& evidence) {
  if (const PointFacts* i = evidence.newest("I(feed)", isOn)) return i->last;
  return job.module.start.run_A;
}

/// By what the source shows and the job says of the way; nothing where it does not.
std::optional<double> expectedAt(const Place& place, const job::Job& job, const Evidence& evidence) {
  const std::string_view point = place.point;
  if (point == "V(src+,src-)") return job.feed ? std::optional(job.feed->emf_V) : std::nullopt;
  const PointFacts* source = evidence.newest("V(src+,src-)", isOn);
  if (source == nullptr) source = evidence.newest("V(src+,src-)");
  if (source == nullptr) return std::nullopt;
  if (place.branch == Branch::feed && point[0] == 'V') {
    const auto ohm = feedOhm(job);
    const auto ampere = current(job, evidence);
    // In its own vehicle the wires are not known: the loss that is allowed is the limit's affair.
    if (ohm && ampere) return source->last - *ohm * *ampere;
    return job.arrangement == Arrangement::own_battery ? std::optional(source->last) : std::nullopt;
  }
  const bool own = job.arrangement == Arrangement::own_battery;
  if (point == "V(pin16,pin4)" || point == "V(pin16,pin5)")
    return own ? std::optional(source->last) : std::nullopt;
  if (point == "V(interface+,interface-)") return source->last;
  return std::nullopt;
}

/// Figures are named "POINT, condition".
bool isOf(const Figure& f, std::string_view point) {
  return f.what.starts_with(point) && (f.what.size() == point.size() || f.what[point.size()] == ',');
}

}  // namespace

std::string amountText(double value, const std::string& unit) { return amount(value, unit); }

std::string limitText(const Figure& f) {
  if (f.kind == Figure::Kind::none) return {};
  const char* word = f.hint ? "usually to" : f.kind == Figure::Kind::at_least ? "at least" : "at most";
  return fmt::format("{} {}", word, amount(f.limit, f.unit));
}

std::string Joint::text() const {
  if (!measured) return {};
  if (point == "lamp") return *measured > 0.5 ? "lit" : "dark";
  return amount(*measured, unit);
}

std::vector<Joint> supplyPath(const job::Job& job, const Evidence& evidence, const Sheet& sheet) {
  std::vector<Joint> out;
  for (const Place& place : placesOf(job.arrangement)) {
    const job::Point* point = job::findPoint(place.point);
    Joint j;
    j.branch = place.branch;
    j.point = place.point;
    j.unit = point->unit;
    j.step = stepOf(*point);
    const PointFacts* facts = evidence.newest(place.point, isOn);
    if (facts == nullptr && !place.module_on) facts = evidence.newest(place.point);
    if (facts != nullptr) {
      j.measured = facts->last;
      j.uncertainty = facts->uncertainty;
      j.stand = Joint::Stand::shown;
    }
    j.expected = expectedAt(place, job, evidence);
    if (j.expected) j.expected_text = amount(*j.expected, j.unit);
    for (const Step& step : sheet.steps)
      for (const Figure& f : step.figures) {
        if (!isOf(f, place.point) || f.kind == Figure::Kind::none) continue;
        if (j.expected_text.empty()) j.expected_text = limitText(f);
        if (j.measured && !f.hint && j.stand != Joint::Stand::differs)
          j.stand = f.ok ? Joint::Stand::fits : Joint::Stand::differs;
      }
    out.push_back(std::move(j));
  }
  return out;
}

std::string fuseText(const job::Job& job) {
  return job.feed && job.feed->fuse_A > 0 ? fmt::format("fuse {:g} A", job.feed->fuse_A) : std::string();
}

std::string leadText(const job::Job& job) {
  return job.feed ? fmt::format("lead {:g} m, {:g} mm\u00b2", job.feed->lead_length_m, job.feed->lead_mm2)
                  : std::string();
}

std::string toPlainText(const std::vector<Joint>& path) {
  constexpr const char* kBranches[] = {"source", "feed", "connector", "interface", "ground", "bus"};
  std::string out;
  for (const Joint& j : path)
    out += fmt::format("  {:<11}{:<27}{:<14}{}{}\n", kBranches[static_cast<std::size_t>(j.branch)], j.point,
                       j.measured ? j.text() : "not measured",
                       j.expected_text.empty() ? "" : "expected " + j.expected_text,
                       j.stand == Joint::Stand::differs ? " !" : "");
  return out;
}

}  // namespace pin16::readiness
