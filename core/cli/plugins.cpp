// SPDX-License-Identifier: Apache-2.0
// `pin16 plugins`: what was found, what it does and what can be set; and the helper process (internal).
#include <fmt/format.h>

#include <boost/json.hpp>

#include "core/cli/options.hpp"
#include "core/plugin/host.hpp"

namespace pin16::cli {
namespace {

namespace json = boost::json;
using plugin::SettingFacts;

const char* typeText(const SettingFacts& s) {
  return s.type == PIN16_NUMBER ? "number" : s.type == PIN16_SWITCH ? "switch" : "text";
}
std::string defaultText(const SettingFacts& s) {
  if (s.type == PIN16_TEXT) return "\"" + s.text + "\"";
  if (s.type == PIN16_SWITCH) return s.number != 0 ? "true" : "false";
  return fmt::format("{}, from {} to {}{}", s.number, s.least, s.most, s.unit.empty() ? "" : " " + s.unit);
}
json::value defaultValue(const SettingFacts& s) {
  if (s.type == PIN16_TEXT) return json::value(s.text);
  if (s.type == PIN16_SWITCH) return s.number != 0;
  return s.number;
}

void show(const plugin::Facts& f, const plugin::Found& at) {
  fmt::print("{} {}  {}\n  {}\n  {}\n", f.name, f.version,
             at.shipped ? "(shipped)" : "(in a process of its own)", f.summary, at.path);
  for (const SettingFacts& s : f.settings) fmt::print("  {} = {}: {}\n", s.name, defaultText(s), s.help);
}

json::object value(const plugin::Facts& f, const plugin::Found& at) {
  json::array settings, series, counters;
  for (const SettingFacts& s : f.settings) {
    json::object o{{"name", s.name},
                   {"type", typeText(s)},
                   {"unit", s.unit},
                   {"default", defaultValue(s)},
                   {"help", s.help}};
    o["least"] = s.type == PIN16_NUMBER ? json::value(s.least) : json::value(nullptr);
    o["most"] = s.type == PIN16_NUMBER ? json::value(s.most) : json::value(nullptr);
    settings.push_back(std::move(o));
  }
  for (const auto& s : f.series) series.push_back({{"name", s.name}, {"unit", s.unit}, {"help", s.help}});
  for (const auto& c : f.counters) counters.push_back({{"name", c.name}, {"help", c.help}});
  return {{"name", f.name},
          {"version", f.version},
          {"summary", f.summary},
          {"path", at.path},
          {"shipped", at.shipped},
          {"asks", f.asks},
          {"settings", std::move(settings)},
          {"series", std::move(series)},
          {"counters", std::move(counters)}};
}

}  // namespace

int plugins(const Options& o) {
  plugin::Search search = plugin::search(o.plugins);
  json::array all, refused;
  for (const plugin::Found& at : search.found) {
    const auto runner = at.shipped ? plugin::runHere(at.path) : plugin::runApart(at.path);
    if (!runner) {
      search.refused.push_back({at.path, runner.error().what});
      continue;
    }
    if (o.json)
      all.push_back(value((*runner)->facts(), at));
    else
      show((*runner)->facts(), at);
  }
  for (const plugin::Refused& r : search.refused) {
    if (o.json)
      refused.push_back({{"path", r.path}, {"reason", r.reason}});
    else
      fmt::print("not loaded: {}\n  {}\n", r.path, r.reason);
  }
  if (o.json)
    fmt::print("{}\n", json::serialize(json::object{{"schema", "pin16-plugins"},
                                                    {"version", 1},
                                                    {"plugins", std::move(all)},
                                                    {"refused", std::move(refused)}}));
  else if (search.found.empty() && search.refused.empty())
    fmt::print("no plugin was found\n");
  return search.refused.empty() ? kExitReady : kExitNotReady;
}

}  // namespace pin16::cli
