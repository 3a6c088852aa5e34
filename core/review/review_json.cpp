// SPDX-License-Identifier: Apache-2.0
#include <boost/json.hpp>

#include "core/protocol/isotp.hpp"
#include "core/review/plugins_json.hpp"
#include "core/review/review.hpp"

namespace pin16::review {
namespace {

namespace json = boost::json;

constexpr int kVersion = 1;

json::value timeValue(Ns t_utc_ns) {
  return t_utc_ns == kNoTime ? json::value(nullptr) : json::value(t_utc_ns);
}
/// -1 = unknown.
json::value orNull(double v) { return v < 0 ? json::value(nullptr) : json::value(v); }
json::value orNull(std::int64_t v) { return v < 0 ? json::value(nullptr) : json::value(v); }
/// 0 = unknown.
json::value rateValue(std::uint32_t v) { return v == 0 ? json::value(nullptr) : json::value(v); }
json::value knownValue(event::Known k) {
  return k == event::Known::unknown ? json::value(nullptr) : json::value(k == event::Known::yes);
}
json::value linkValue(std::uint16_t link) {
  return link == event::kNoLink ? json::value(nullptr) : json::value(link);
}
const char* silenceText(event::Silence s) {
  switch (s) {
    case event::Silence::proven:
      return "proven";
    case event::Silence::claimed:
      return "claimed";
    case event::Silence::cannot:
      break;
  }
  return "cannot";
}

/// Shares are null where no bit rate is known.
json::object loadValue(const std::optional<can::Load>& load, Ns window_ns) {
  json::object o;
  o["mean"] = load ? json::value(load->mean) : json::value(nullptr);
  o["peak"] = load ? json::value(load->peak) : json::value(nullptr);
  o["window_ms"] = window_ns / kNsPerMs;
  return o;
}

json::object stateValue(const event::LinkState& s) {
  json::object o;
  o["uri"] = s.uri;
  o["bitrate"] = rateValue(s.bitrate);
  o["data_bitrate"] = rateValue(s.data_bitrate);
  o["sample_point"] =
      s.sample_point_permille == 0 ? json::value(nullptr) : json::value(s.sample_point_permille / 1000.0);
  o["fd"] = knownValue(s.fd);
  o["listen_only"] = knownValue(s.listen_only);
  o["silence"] = silenceText(s.silence);
  o["controller"] = s.controller;
  o["tx_errors"] = orNull(std::int64_t{s.tx_errors});
  o["rx_errors"] = orNull(std::int64_t{s.rx_errors});
  o["buffer_bytes"] = rateValue(s.buffer_bytes);
  o["time_origin"] = s.time_origin;
  o["time_error_ns"] = orNull(std::int64_t{s.time_error_ns});
  o["driver"] = s.driver;
  o["meter"] = s.meter;
  o["own_frames"] = toText(s.own_frames);
  o["medium_explains"] = json::value_from(s.medium_explains);
  o["medium"] = toText(s.medium);
  return o;
}

json::object value(const LinkSummary& l, Ns window_ns) {
  json::object o;
  o["name"] = l.name;
  o["description"] = l.description;
  o["state"] = l.state ? json::value(stateValue(*l.state)) : json::value(nullptr);
  o["frames"] = l.frames;
  o["error_frames"] = l.error_frames;
  o["bus_load"] = loadValue(l.load, window_ns);
  return o;
}
json::object value(const Identifier& i) {
  return {{"link", i.link}, {"id", i.id}, {"extended", i.extended}, {"count", i.count}};
}
json::object value(const ErrorClassCount& c) { return {{"class", c.name}, {"count", c.count}}; }
json::object value(const Losses& l) {
  return {{"kernel", l.kernel}, {"adapter", l.adapter}, {"queue", l.queue}, {"total", l.total()}};
}
json::object value(const Row<event::Gap>& g) {
  return {{"link", linkValue(g.link)},
          {"from_ns", timeValue(g.record.from_ns)},
          {"to_ns", timeValue(g.record.to_ns)},
          {"reason", g.record.reason}};
}
json::object value(const event::Damage& d) { return {{"offset", d.offset}, {"reason", d.reason}}; }
/// Members for what normal addressing does not have.
void addAddressing(json::object& o, std::uint32_t id, bool extended, bool mixed, std::int16_t prefix) {
  const auto fixed = extended ? protocol::parseFixedId(id) : std::nullopt;
  o["addressing"] = prefix >= 0 ? (mixed ? "mixed" : "extended") : fixed ? "normal-fixed" : "normal";
  o["target"] = fixed ? json::value(fixed->target) : json::value(nullptr);
  o["source"] = fixed ? json::value(fixed->source) : json::value(nullptr);
}
/// -1 = none.
json::value prefixValue(std::int16_t prefix) {
  return prefix < 0 ? json::value(nullptr) : json::value(prefix);
}

json::object value(const Row<event::Message>& m) {
  json::object o{{"link", m.link},
                 {"id", m.record.id},
                 {"extended", m.record.extended},
                 {"payload", toHex(m.record.payload)},
                 {"complete", m.record.complete},
                 {"t_ns", timeValue(m.t_ns)},
                 {"first_ns", timeValue(m.record.first_ns)},
                 {"reason", m.record.complete ? json::value(nullptr) : json::value(m.record.reason)}};
  addAddressing(o, m.record.id, m.record.extended, m.record.mixed, m.record.prefix);
  o["prefix"] = prefixValue(m.record.prefix);
  o["medium"] = toText(m.record.medium);
  return o;
}
json::object value(const Row<event::Exchange>& row) {
  const event::Exchange& x = row.record;
  const bool negative = x.ended == event::Ended::negative && x.answer.size() > 2;
  json::object o{{"link", row.link},
                 {"request_id", x.request_id},
                 {"answer_id", x.answer_id == 0 ? json::value(nullptr) : json::value(x.answer_id)},
                 {"extended", x.extended},
                 {"functional", x.functional},
                 {"ours", x.ours},
                 {"service", x.request.empty() ? json::value(nullptr) : json::value(x.request[0])},
                 {"request", toHex(x.request)},
                 {"answer", toHex(x.answer)},
                 {"ended", toText(x.ended)},
                 {"code", negative ? json::value(x.answer[2]) : json::value(nullptr)},
                 {"late", x.late},
                 {"pending", x.pending},
                 {"response_ms", orNull(x.response_ms)},
                 {"complete_ms", orNull(x.complete_ms)},
                 {"t_ns", timeValue(row.t_ns)}};
  o["request_ms"] = orNull(x.request_ms);
  o["pending_ms"] = json::value_from(x.pending_ms);
  o["answer_ms"] = orNull(x.answer_ms);
  o["flow_ms"] = orNull(x.flow_ms);
  o["separation_ms_min"] = orNull(x.separation_min_ms);
  o["separation_ms_max"] = orNull(x.separation_max_ms);
  o["st_min_ms"] = orNull(x.st_min_ms);
  o["waits"] = x.waits;
  o["after_poll_ms"] = orNull(x.after_poll_ms);
  addAddressing(o, x.request_id, x.extended, x.mixed, x.request_prefix);
  o["request_prefix"] = prefixValue(x.request_prefix);
  o["answer_prefix"] = prefixValue(x.answer_prefix);
  o["medium"] = toText(x.medium);
  return o;
}
json::object value(const protocol::SupplyCourse& c) {
  return {{"point", c.point},
          {"unit", c.unit},
          {"first", c.first},
          {"lowest_before", c.lowest_before},
          {"lowest_after", c.lowest_after},
          {"last", c.last},
          {"lowest_ns", timeValue(c.lowest_ns)},
          {"values", c.values}};
}
const char* breakerText(protocol::Breaker b) {
  switch (b) {
    case protocol::Breaker::module:
      return "module";
    case protocol::Breaker::tester:
      return "other-equipment";
    default:
      return "unknown";
  }
}
json::object value(const protocol::AttemptReport& a) {
  json::array supply;
  for (const auto& c : a.supply) supply.push_back(value(c));
  return {{"rung", toName(a.rung)},
          {"t_ns", timeValue(a.begin_ns)},
          {"power_up", orNull(std::int64_t{a.power_up})},
          {"end_ns", timeValue(a.end_ns)},
          {"declared", a.declared},
          {"ended", a.ended.empty() ? json::value(nullptr) : json::value(a.ended)},
          {"content", a.declared && !a.full ? "blanked" : "full"},
          {"link", linkValue(a.link)},
          {"progress_ns", timeValue(a.progress_ns)},
          {"progress", a.progress},
          {"requests", a.requests},
          {"answered", a.answered},
          {"negative", a.negative},
          {"silent", a.silent},
          {"pending", a.pending},
          {"cut", a.cut},
          {"frames", a.frames},
          {"error_frames", a.error_frames},
          {"repeats", a.repeats},
          {"code", orNull(std::int64_t{a.code})},
          {"acknowledged", knownValue(a.acknowledged)},
          {"broken_by",
           a.breaker == protocol::Breaker::none ? json::value(nullptr) : json::value(breakerText(a.breaker))},
          {"supply", std::move(supply)},
          {"evidence", json::value_from(a.evidence)},
          {"excludes", json::value_from(a.excludes)},
          {"remains", json::value_from(a.remains)},
          {"cannot_know", json::value_from(a.cannot_know)},
          {"changed", a.changed},
          {"said", a.said}};
}
json::object value(const Row<event::Digest>& d) {
  return {{"link", linkValue(d.link)},
          {"id", d.record.id},
          {"extended", d.record.extended},
          {"prefix", prefixValue(d.record.prefix)},
          {"length", d.record.length},
          {"complete", d.record.complete},
          {"hmac", toHex(d.record.hmac)},
          {"t_ns", timeValue(d.t_ns)},
          {"first_ns", timeValue(d.record.first_ns)}};
}
json::object value(const Row<event::Sent>& s) {
  return {{"link", linkValue(s.link)},
          {"t_ns", timeValue(s.t_ns)},
          {"frame", toHex(s.record.frame)},
          {"purpose", s.record.purpose}};
}
json::object value(const Row<event::Refused>& r) {
  return {{"link", linkValue(r.link)},
          {"t_ns", timeValue(r.t_ns)},
          {"request", r.record.request},
          {"reason", r.record.reason}};
}
json::object value(const Row<event::Verdict>& v) {
  return {{"t_ns", timeValue(v.t_ns)},
          {"step", v.record.step},
          {"verdict", v.record.verdict},
          {"text", v.record.text}};
}

template <class T, class... More>
json::array list(const std::vector<T>& rows, More... more) {
  json::array out;
  out.reserve(rows.size());
  for (const T& row : rows) out.push_back(value(row, more...));
  return out;
}

json::object recordedValue(const Recorded& r) {
  return {{"messages", r.messages},
          {"exchanges", r.exchanges},
          {"findings", r.findings},
          {"verdicts", list(r.verdicts)}};
}

json::object powerValue(const PowerFacts& p) {
  json::array rises;
  for (const PointRises& r : p.rises)
    rises.push_back(json::object{{"point", r.point}, {"rises", r.rises}, {"last_ns", timeValue(r.last_ns)}});
  return {{"declared", p.declared},
          {"measured", p.measured},
          {"supply_rises", std::move(rises)},
          {"wake_ups", p.wake_ups},
          {"removed_ns", timeValue(p.removed_ns)}};
}

json::object clockValue(const ClockFacts& c) {
  return {{"synchronised", knownValue(c.synchronised)},
          {"moves", c.moves},
          {"worst_error_ns", orNull(std::int64_t{c.worst_error_ns})}};
}

}  // namespace

std::string toJson(const Summary& s) {
  json::object o;
  o["schema"] = "pin16-review";
  o["version"] = kVersion;
  o["file"] = s.file;
  o["application"] = s.application;
  o["links"] = list(s.links, s.load_window_ns);
  o["frames"] = s.frames;
  o["identifiers"] = list(s.identifiers);
  o["error_frames"] = s.error_frames;
  o["error_classes"] = list(s.error_classes);
  o["losses"] = value(s.losses);
  o["gaps"] = list(s.gaps);
  o["damage"] = list(s.damage);
  o["bus_load"] = loadValue(s.load, s.load_window_ns);
  o["messages"] = list(s.messages);
  o["exchanges"] = list(s.exchanges);
  o["attempts"] = list(s.attempts);
  o["digests"] = list(s.digests);
  o["passes"] = json::object{{"same", s.passes.same}, {"different", s.passes.different}};
  o["power"] = powerValue(s.power);
  o["blanked_from_ns"] = timeValue(s.blanked_from_ns);
  o["sent"] = list(s.sent);
  o["refused"] = list(s.refused);
  o["samples"] = s.samples;
  o["readings"] = s.readings;
  o["notes"] = s.notes;
  o["recorded"] = recordedValue(s.recorded);
  o["clock"] = clockValue(s.clock);
  o["first_ns"] = timeValue(s.first_ns);
  o["last_ns"] = timeValue(s.last_ns);
  o["plugins"] = pluginsValue(s.plugins);
  o["plugins_refused"] = refusedValue(s.plugins_refused);
  o["skipped"] = json::value_from(s.skipped);
  return json::serialize(o);
}

}  // namespace pin16::review
