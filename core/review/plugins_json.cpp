// SPDX-License-Identifier: Apache-2.0
#include "core/review/plugins_json.hpp"

#include <boost/json.hpp>
#include <cmath>

#include "core/event/batch.hpp"

namespace pin16::review {
namespace {

namespace json = boost::json;

json::value timeValue(Ns t_ns) { return t_ns == kNoTime ? json::value(nullptr) : json::value(t_ns); }
json::value orNull(double v) { return v < 0 || std::isnan(v) ? json::value(nullptr) : json::value(v); }

const char* weightText(plugin::Weight w) {
  switch (w) {
    case plugin::Weight::warning:
      return "warning";
    case plugin::Weight::against:
      return "against";
    case plugin::Weight::fact:
      break;
  }
  return "fact";
}

json::object value(const plugin::Figure& f) {
  return {
      {"what", f.what},        {"value", std::isnan(f.value) ? json::value(nullptr) : json::value(f.value)},
      {"unit", f.unit},        {"uncertainty", orNull(f.uncertainty)},
      {"limit", f.limit_name}, {"text", f.text}};
}
json::object value(const plugin::Point& p) {
  return {{"t_ns", timeValue(p.t_ns)}, {"value", p.value}, {"uncertainty", orNull(p.uncertainty)}};
}

// Declared before list(), which no argument-dependent look-up would help.
json::object value(const plugin::Finding& f);
json::object value(const plugin::Section& s);
json::object value(const plugin::Evidence& e);
json::object value(const plugin::Results& r);
json::object value(const plugin::Refused& r);

template <class T>
json::array list(const std::vector<T>& rows) {
  json::array out;
  out.reserve(rows.size());
  for (const T& row : rows) out.push_back(value(row));
  return out;
}

json::object value(const plugin::Finding& f) {
  return {{"code", f.code},
          {"text", f.text},
          {"step", f.step.empty() ? json::value(nullptr) : json::value(f.step)},
          {"weight", weightText(f.weight)},
          {"confidence", f.confidence},
          {"t_ns", timeValue(f.t_ns)},
          {"link", f.link == event::kNoLink ? json::value(nullptr) : json::value(f.link)},
          {"figures", list(f.figures)},
          {"events", json::value_from(f.events)}};
}
json::object value(const plugin::Section& s) {
  return {{"title", s.title}, {"text", s.text}, {"rows", list(s.rows)}};
}
json::object value(const plugin::Evidence& e) {
  return {{"point", e.point},
          {"value", e.value},
          {"unit", e.unit},
          {"uncertainty", orNull(e.uncertainty)},
          {"t_ns", timeValue(e.t_ns)}};
}

const char* chartText(std::uint32_t chart) {
  constexpr const char* names[] = {"line", "step", "dots", "bars"};
  return chart < 4 ? names[chart] : names[0];
}

json::object value(const plugin::Results& r) {
  json::array series, counters;
  for (std::size_t i = 0; i < r.facts.series.size(); ++i) {
    const plugin::SeriesFacts& s = r.facts.series[i];
    series.push_back({{"name", s.name},
                      {"unit", s.unit},
                      {"help", s.help},
                      {"chart", chartText(s.chart)},
                      {"limit_low", s.limit_low},
                      {"limit_high", s.limit_high},
                      {"points", i < r.points.size() ? list(r.points[i]) : json::array()}});
  }
  for (std::size_t i = 0; i < r.facts.counters.size(); ++i)
    counters.push_back({{"name", r.facts.counters[i].name},
                        {"help", r.facts.counters[i].help},
                        {"count", i < r.counters.size() ? r.counters[i] : 0}});
  return {{"name", r.facts.name},
          {"version", r.facts.version},
          {"failed", r.failed.empty() ? json::value(nullptr) : json::value(r.failed)},
          {"dropped", r.dropped},
          {"dropped_why", r.dropped_why},
          {"series", std::move(series)},
          {"counters", std::move(counters)},
          {"findings", list(r.findings)},
          {"sections", list(r.sections)},
          {"evidence", list(r.evidence)}};
}
json::object value(const plugin::Refused& r) { return {{"path", r.path}, {"reason", r.reason}}; }

}  // namespace

json::array pluginsValue(const std::vector<plugin::Results>& all) { return list(all); }
json::array refusedValue(const std::vector<plugin::Refused>& all) { return list(all); }

}  // namespace pin16::review
