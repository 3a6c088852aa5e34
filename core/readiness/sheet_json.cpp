// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <boost/json.hpp>

#include "core/readiness/sheet.hpp"

namespace pin16::readiness {
namespace {

namespace json = boost::json;

json::value orNull(bool present, json::value v) { return present ? std::move(v) : json::value(nullptr); }

json::object figureJson(const Figure& f) {
  json::object o;
  o["what"] = f.what;
  o["value"] = f.value;
  o["unit"] = f.unit;
  o["uncertainty"] = orNull(f.uncertainty >= 0, f.uncertainty);
  const bool limited = f.kind != Figure::Kind::none;
  o["limit"] = orNull(limited, f.limit);
  o["limit_kind"] = orNull(limited, f.kind == Figure::Kind::at_least ? "at-least" : "at-most");
  o["limit_source"] = orNull(limited, json::value(f.limit_source));
  o["hint"] = f.hint;
  o["ok"] = f.ok;
  return o;
}

json::object stepJson(const Step& s) {
  json::object o;
  o["name"] = s.name;
  o["needed"] = s.needed;
  o["verdict"] = toText(s.verdict);
  o["code"] = orNull(!s.code.empty(), json::value(s.code));
  o["plugin"] = orNull(!s.plugin.empty(), json::value(s.plugin));
  o["text"] = s.text;
  json::array figures;
  for (const Figure& f : s.figures) figures.push_back(figureJson(f));
  o["figures"] = std::move(figures);
  return o;
}

const char* conditionText(event::LinkCondition c) {
  constexpr std::array<const char*, 8> kNames = {"opening",   "up",   "down",     "missing",
                                                 "forbidden", "gone", "finished", "failed"};
  const auto i = static_cast<std::size_t>(c);
  return i < kNames.size() ? kNames[i] : "unknown";
}

json::object linkJson(const event::LinkState& l) {
  constexpr std::array<const char*, 3> kSilence = {"cannot", "claimed", "proven"};
  const auto silence = static_cast<std::size_t>(l.silence);
  json::object o;
  o["uri"] = l.uri;
  o["condition"] = conditionText(l.condition);
  o["silence"] = silence < kSilence.size() ? kSilence[silence] : "unknown";
  o["bitrate"] = orNull(l.bitrate != 0, l.bitrate);
  o["controller"] = l.controller;
  o["time_origin"] = l.time_origin;
  o["meter"] = l.meter;
  o["own_frames"] = toText(l.own_frames);
  o["medium_explains"] = json::value_from(l.medium_explains);
  o["medium"] = toText(l.medium);
  return o;
}

json::object interlockJson(const Interlocked& i) {
  json::object o;
  o["code"] = i.what.code;
  o["question"] = i.what.question;
  o["standing"] = toText(i.standing);
  o["by"] = orNull(!i.by.empty(), json::value(i.by));
  o["reason"] = orNull(!i.reason.empty(), json::value(i.reason));
  o["t_ns"] = orNull(i.t_ns != kNoTime, i.t_ns);
  return o;
}

json::object lossesJson(const Sheet& s) {
  json::object o;
  o["kernel"] = s.losses[0];
  o["adapter"] = s.losses[1];
  o["queue"] = s.losses[2];
  o["total"] = s.losses[0] + s.losses[1] + s.losses[2];
  return o;
}

/// As short as it reads back the same; Boost.JSON writes 12.4 as 1.24E1.
std::string scalar(const json::value& v) {
  return v.is_double() ? fmt::format("{}", v.get_double()) : json::serialize(v);
}

/// Boost.JSON writes on one line; people read this too.
void write(std::string& out, const json::value& v, int depth) {
  const auto line = [&](int d) { out += '\n' + std::string(static_cast<std::size_t>(d) * 2, ' '); };
  const auto flat = [](const json::value& x) {
    return !x.is_structured() || (x.is_array() && x.get_array().empty()) ||
           (x.is_object() && x.get_object().empty());
  };
  if (flat(v)) {
    out += scalar(v);
    return;
  }
  const char* separator = "";
  out += v.is_array() ? '[' : '{';
  const auto next = [&] {
    out += separator;
    separator = ",";
    line(depth + 1);
  };
  if (v.is_array()) {
    for (const json::value& e : v.get_array()) next(), write(out, e, depth + 1);
  } else {
    for (const auto& [key, e] : v.get_object()) {
      next();
      out += json::serialize(json::value(key)) + ": ";
      write(out, e, depth + 1);
    }
  }
  line(depth);
  out += v.is_array() ? ']' : '}';
}

}  // namespace

std::string toJson(const Sheet& s, const std::string& reasons) {
  json::object o;
  o["schema"] = "pin16-check";
  o["version"] = 1;
  o["job"] = {
      {"name", s.job_name}, {"arrangement", s.arrangement}, {"access", s.access}, {"sealed", s.sealed}};
  o["overall"] = toText(s.overall);
  o["sentence"] = s.sentence;
  o["deciding_reading"] = nullptr;
  if (s.deciding)
    o["deciding_reading"] = {
        {"step", s.deciding->step}, {"point", s.deciding->point}, {"how", s.deciding->how}};
  o["first_thing"] = nullptr;
  if (s.first_thing)
    o["first_thing"] = {
        {"step", s.first_thing->step}, {"code", s.first_thing->code}, {"text", s.first_thing->text}};
  json::array steps;
  for (const Step& step : s.steps) steps.push_back(stepJson(step));
  o["steps"] = std::move(steps);
  json::array interlocks;
  for (const Interlocked& i : s.interlocks) interlocks.push_back(interlockJson(i));
  o["interlocks"] = std::move(interlocks);
  o["power_ups"] = s.power.powerUps();
  o["power_up_budget"] = orNull(s.power_up_budget.has_value(), s.power_up_budget.value_or(0));
  o["sent"] = s.sent;
  o["frames"] = s.frames;
  o["error_frames"] = s.error_frames;
  o["losses"] = lossesJson(s);
  o["gaps"] = s.gaps;
  json::array links;
  for (const event::LinkState& l : s.links) links.push_back(linkJson(l));
  o["links"] = std::move(links);
  o["capture"] = orNull(!s.capture.empty(), json::value(s.capture));
  o["ledger"] = {{"supply_rises", s.power.supplyRises()},
                 {"measured", s.power.measured},
                 {"declared", s.power.declared},
                 {"inferred", s.power.inferred},
                 {"missed", s.power.missed},
                 {"wake_ups", s.power.wake_ups}};
  o["reasons"] = json::parse(reasons);
  std::string out;
  write(out, o, 0);
  return out + "\n";
}

}  // namespace pin16::readiness
