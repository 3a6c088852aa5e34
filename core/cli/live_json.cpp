// SPDX-License-Identifier: Apache-2.0
#include "core/cli/live_json.hpp"

#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <boost/json/serialize.hpp>

#include "core/protocol/decoded.hpp"
#include "core/protocol/services.hpp"

namespace pin16::cli {
namespace {

namespace json = boost::json;
using event::Known;

json::value known(Known k) {
  return k == Known::unknown ? json::value(nullptr) : json::value(k == Known::yes);
}
json::value positive(std::int64_t v) { return v > 0 ? json::value(v) : json::value(nullptr); }
json::value nonNegative(double v) { return v >= 0 ? json::value(v) : json::value(nullptr); }

json::array texts(const std::vector<std::string>& lines) {
  json::array all;
  for (const auto& l : lines) all.emplace_back(l);
  return all;
}

json::object linkJson(const event::LinkState& s) {
  static constexpr const char* silence[] = {"cannot", "claimed", "proven"};
  static constexpr const char* condition[] = {"opening",   "up",   "down",     "missing",
                                              "forbidden", "gone", "finished", "failed"};
  return {{"uri", s.uri},
          {"description", s.description},
          {"condition", condition[static_cast<std::size_t>(s.condition) % 8]},
          {"text", s.text},
          {"advice", s.advice},
          {"silence", silence[static_cast<std::size_t>(s.silence) % 3]},
          {"listen_only", known(s.listen_only)},
          {"fd", known(s.fd)},
          {"bitrate", positive(s.bitrate)},
          {"controller", s.controller},
          {"buffer_bytes", positive(s.buffer_bytes)},
          {"time_origin", s.time_origin},
          {"driver", s.driver},
          {"meter", s.meter},
          {"own_frames", event::toText(s.own_frames)},
          {"medium_explains", texts(s.medium_explains)},
          {"medium", event::toText(s.medium)}};
}

json::array linksJson(const std::vector<event::LinkState>& links) {
  json::array all;
  for (const auto& l : links) all.push_back(linkJson(l));
  return all;
}

json::object document(const char* schema) { return {{"schema", schema}, {"version", 1}}; }

json::value figure(std::optional<double> v) { return v ? json::value(*v) : json::value(nullptr); }

json::array decodedJson(const protocol::Decoded& decoded) {
  json::array all;
  for (const auto& item : decoded.items)
    all.push_back(json::object{{"id", item.id},
                               {"what", item.what},
                               {"value", figure(item.value)},
                               {"unit", item.unit},
                               {"text", item.text},
                               {"bits", texts(item.bits)},
                               {"min", figure(item.min)},
                               {"max", figure(item.max)},
                               {"frame", item.frame ? json::value(*item.frame) : json::value(nullptr)},
                               {"note", item.note},
                               {"raw", item.raw},
                               {"settled", item.settled}});
  return all;
}

}  // namespace

std::string queryJson(const std::vector<event::LinkState>& links, const std::vector<Asked>& asked,
                      Ns utc_offset_ns, const std::string& capture) {
  json::object doc = document("pin16-query");
  doc["links"] = linksJson(links);
  json::array exchanges;
  for (const auto& a : asked) {
    for (const auto& x : a.exchanges) {
      const protocol::Decoded decoded =
          x.answer.empty() ? protocol::Decoded{} : protocol::decodeAnswer(x.request, x.answer, x.medium);
      json::object o{
          {"link", 0},
          {"request_id", x.request_id},
          {"answer_id", x.answer_id != 0 ? json::value(x.answer_id) : json::value(nullptr)},
          {"extended", x.extended},
          {"functional", x.functional},
          {"service", x.request.empty() ? 0 : x.request.front()},
          {"request", toHex(x.request)},
          {"answer", toHex(x.answer)},
          {"ended", event::toText(x.ended)},
          {"acknowledged", a.confirmed},
          {"late", x.late},
          {"pending", x.pending},
          {"response_ms", nonNegative(x.response_ms)},
          {"complete_ms", nonNegative(x.complete_ms)},
          {"after_poll_ms", nonNegative(x.after_poll_ms)},
          {"t_ns",
           x.request_ns == kNoTime ? json::value(nullptr) : json::value(x.request_ns + utc_offset_ns)},
          {"text", x.answer.empty() ? "" : protocol::describeAnswer(x.request, x.answer, x.medium)},
          {"decoded", decodedJson(decoded)},
          {"problem", decoded.problem},
          {"medium", event::toText(x.medium)}};
      exchanges.push_back(std::move(o));
    }
  }
  doc["exchanges"] = std::move(exchanges);
  doc["capture"] = capture;
  return json::serialize(doc);
}

std::string rollCallJson(const std::vector<event::LinkState>& links, const protocol::RollCall& roll,
                         const std::string& capture) {
  json::object doc = document("pin16-rollcall");
  doc["links"] = linksJson(links);
  json::array modules;
  for (const auto& m : roll.modules()) {
    modules.push_back(json::object{{"link", m.link},
                                   {"request_id", m.request_id},
                                   {"answer_id", m.answer_id},
                                   {"extended", m.extended},
                                   {"vin", m.vin ? json::value(*m.vin) : json::value(nullptr)},
                                   {"asked", m.asked},
                                   {"answered", m.answered},
                                   {"late", m.late},
                                   {"response_ms_min", m.response_ms_min},
                                   {"response_ms_median", m.response_ms_median},
                                   {"response_ms_max", m.response_ms_max},
                                   {"medium", event::toText(m.medium)}});
  }
  doc["modules"] = std::move(modules);
  doc["sent"] = roll.sent();
  doc["unsent"] = roll.unsent();
  doc["unsent_reason"] = roll.firstError() ? json::value(roll.firstError()->text()) : json::value(nullptr);
  doc["capture"] = capture;
  return json::serialize(doc);
}

std::string inventoryJson(const link::Inventory& inventory) {
  json::object doc = document("pin16-links");
  json::array can;
  for (const auto& e : inventory.can) {
    const auto& f = e.facts;
    can.push_back(json::object{
        {"uri", e.uri},
        {"kind", f.kind},
        {"driver", f.driver},
        {"up", f.up},
        {"bitrate", positive(f.bitrate)},
        {"data_bitrate", positive(f.data_bitrate)},
        {"sample_point",
         f.sample_point_permille > 0 ? json::value(f.sample_point_permille / 1000.0) : json::value(nullptr)},
        {"fd", known(f.fd())},
        {"listen_only", known(f.listenOnly())},
        {"modes", f.modesText()},
        {"controller", f.controller},
        {"tx_errors", nonNegative(f.tx_errors)},
        {"rx_errors", nonNegative(f.rx_errors)},
        {"text", e.text},
        {"advice", e.advice}});
  }
  doc["can"] = std::move(can);
  doc["can_text"] = inventory.can_text;
  json::array serial;
  for (const auto& s : inventory.serial)
    serial.push_back(json::object{{"device", s.device},
                                  {"driver", s.driver},
                                  {"vendor", s.vendor},
                                  {"product", s.product},
                                  {"serial", s.serial},
                                  {"text", s.text},
                                  {"held_by", texts(s.held_by)},
                                  {"may_open", s.may_open},
                                  {"advice", s.advice}});
  doc["serial"] = std::move(serial);
  return json::serialize(doc);
}

std::string checkReportJson(const link::CheckReport& report) {
  json::object doc = document("pin16-links-check");
  json::array links;
  for (const auto& l : report.links) {
    json::object o = linkJson(l.state);
    o["frames"] = l.frames;
    o["error_frames"] = l.error_frames;
    o["lost"] = l.lost;
    links.push_back(std::move(o));
  }
  doc["links"] = std::move(links);
  doc["opened"] = report.opened;
  doc["common_frames"] = report.common;
  doc["proven"] = texts(report.proven);
  doc["not_proven"] = texts(report.not_proven);
  doc["next"] = texts(report.next);
  return json::serialize(doc);
}

std::string rateReportJson(const link::RateReport& report) {
  json::object doc = document("pin16-links-rate-search");
  doc["uri"] = report.uri;
  doc["searched"] = report.searched;
  doc["found"] = positive(report.found);
  json::array tried;
  for (const auto& t : report.tried)
    tried.push_back(
        json::object{{"bitrate", t.bitrate}, {"frames", t.frames}, {"error_frames", t.error_frames}});
  doc["tried"] = std::move(tried);
  doc["text"] = report.text;
  doc["next"] = texts(report.next);
  return json::serialize(doc);
}

std::string verifyJson(const std::string& file, const capture::VerifyReport& r) {
  json::object doc = document("pin16-verify");
  const auto range = [](const std::optional<capture::Range>& v) -> json::value {
    if (!v) return nullptr;
    return json::object{{"offset", v->offset}, {"length", v->length}};
  };
  doc["file"] = file;
  doc["whole"] = r.whole;
  doc["size_bytes"] = r.size_bytes;
  doc["vouched_bytes"] = r.vouched_bytes;
  doc["first_difference"] = range(r.first_difference);
  doc["unvouched"] = range(r.unvouched);
  doc["text"] = r.text;
  return json::serialize(doc);
}

std::string findJsonHead(const std::string& file, const std::string& find) {
  json::object doc = document("pin16-find");
  doc["file"] = file;
  doc["find"] = find;
  std::string out = json::serialize(doc);
  out.pop_back();
  return out + R"(,"rows":[)";
}

std::string hitJson(const review::Hit& hit) {
  json::object o;
  o["sequence"] = hit.sequence;
  o["t_ns"] = hit.t_ns == kNoTime ? json::value(nullptr) : json::value(hit.t_ns);
  o["link"] = hit.link == event::kNoLink ? json::value(nullptr) : json::value(hit.link);
  o["kind"] = hit.kind;
  o["sent_by_us"] = hit.outbound;
  o["text"] = hit.text;
  return json::serialize(o);
}

std::string findJsonEnd(const review::Searched& searched) {
  const json::object end{{"found", searched.found}, {"damaged", searched.damaged}};
  return "]," + json::serialize(end).substr(1);
}

std::string sceneJson(const std::string& file, const std::vector<SceneRow>& rows) {
  json::object doc = document("pin16-scene");
  doc["file"] = file;
  json::array entries;
  for (const SceneRow& r : rows) {
    json::object o;
    o["utc"] = r.entry.utc;
    o["kind"] = r.entry.kind;
    o["by"] = r.entry.by.empty() ? json::value(nullptr) : json::value(r.entry.by);
    o["text"] = r.entry.text;
    o["photo"] = nullptr;
    if (r.photo)
      o["photo"] = {{"path", r.photo->path},
                    {"sha256", r.photo->sha256},
                    {"bytes", r.photo->bytes},
                    {"state", r.state}};
    entries.push_back(std::move(o));
  }
  doc["entries"] = std::move(entries);
  return json::serialize(doc);
}

std::string noteJson(const std::string& file, const std::string& text, const std::string& attempt,
                     bool ended) {
  json::object doc = document("pin16-note");
  doc["file"] = file;
  doc["noted"] = text.empty() ? json::value(nullptr) : json::value(text);
  doc["attempt"] = attempt.empty() ? json::value(nullptr) : json::value(attempt);
  doc["ended"] = ended;
  return json::serialize(doc);
}

}  // namespace pin16::cli
