// SPDX-License-Identifier: Apache-2.0
#include "core/plugin/local.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>
#include <string_view>

#include "core/protocol/services.hpp"
#include "core/protocol/vin.hpp"

namespace pin16::plugin {
namespace {

constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t kTablesMax = 256;  // settings, series, counters of one plugin (own figure)
constexpr std::size_t kAskedMax = 64;    // questions waiting at once (own figure)

pin16_text plain(std::string_view s) { return {s.data(), s.size()}; }

/// A text that is one: a pointer where there is a length, of sane size, UTF-8 without control characters.
bool sane(pin16_text t) {
  if (t.size == 0) return true;
  if (t.data == nullptr || t.size > kTextMax) return false;
  std::size_t i = 0;
  const auto at = [&](std::size_t k) { return static_cast<unsigned char>(t.data[k]); };
  while (i < t.size) {
    const unsigned char c = at(i);
    const std::size_t more = c < 0x80                ? 0
                             : c >= 0xC2 && c < 0xE0 ? 1
                             : c >= 0xE0 && c < 0xF0 ? 2
                             : c >= 0xF0 && c < 0xF5 ? 3
                                                     : 9;
    if (more == 9 || i + more >= t.size || (c < 0x20 && c != '\n' && c != '\t')) return false;
    for (std::size_t k = 1; k <= more; ++k)
      if ((at(i + k) & 0xC0U) != 0x80U) return false;
    i += more + 1;
  }
  return true;
}

bool isName(std::string_view s, char joint) {
  const auto letter = [](char c) { return c >= 'a' && c <= 'z'; };
  // Units keep their letters: supply_min_V.
  const auto ok = [&](char c) {
    return letter(c) || (c >= '0' && c <= '9') || c == joint || (joint == '_' && c >= 'A' && c <= 'Z');
  };
  return !s.empty() && s.size() <= 64 && letter(s[0]) && std::all_of(s.begin(), s.end(), ok);
}

std::string_view view(pin16_text t) { return {t.data, t.size}; }

Error unusable(std::string what) {
  return {ErrorKind::input, "not a usable plugin: " + std::move(what), "",
          "rebuild it against this Pin16's plugin.h"};
}

/// Copies a table, checking names; `one` makes a row and may complain.
template <class Row, class Make>
Status copyTable(const Row* rows, std::size_t count, const char* what, char joint, const Make& one) {
  if (count > kTablesMax || (count != 0 && rows == nullptr))
    return unusable(
        fmt::format("its table of {} has {} rows, at most {} are possible", what, count, kTablesMax));
  std::set<std::string> names;
  for (std::size_t i = 0; i < count; ++i) {
    if (!sane(rows[i].name) || !sane(rows[i].help) || !isName(view(rows[i].name), joint))
      return unusable(
          fmt::format("row {} of its {} has no proper name (lower case, digits, '{}')", i, what, joint));
    if (!names.insert(std::string(view(rows[i].name))).second)
      return unusable(fmt::format("the name {} stands twice among its {}", view(rows[i].name), what));
    if (auto made = one(rows[i]); !made) return made;
  }
  return {};
}

bool inRange(const SettingFacts& s, double v) { return std::isfinite(v) && v >= s.least && v <= s.most; }

}  // namespace

JobFacts::JobFacts()
    : supply_min_V(kNaN), supply_max_V(kNaN), current_steady_min_A(kNaN), current_steady_max_A(kNaN) {}

Result<Facts> readFacts(const pin16_plugin& p) {
  if (p.size != sizeof(pin16_plugin))
    return unusable(
        fmt::format("its description has {} bytes, this Pin16's has {}", p.size, sizeof(pin16_plugin)));
  if (!sane(p.name) || !isName(view(p.name), '-'))
    return unusable("its name is not lower case letters, digits and hyphens");
  if (!sane(p.version) || !sane(p.summary)) return unusable("version or summary is not a text");
  if (p.create == nullptr || p.take == nullptr || p.finish == nullptr || p.destroy == nullptr ||
      (p.asks != 0 && p.answered == nullptr))
    return unusable("one of its functions is missing");
  Facts f;
  f.name = view(p.name);
  f.version = view(p.version);
  f.summary = view(p.summary);
  f.kinds = p.kinds;
  f.asks = p.asks != 0;
  Status read =
      copyTable(p.settings, p.setting_count, "settings", '_', [&](const pin16_setting& s) -> Status {
        if (!sane(s.unit) || !sane(s.text) || s.type > PIN16_TEXT)
          return unusable(fmt::format("setting {} is of no known type", view(s.name)));
        SettingFacts& to = f.settings.emplace_back();
        to.name = view(s.name), to.help = view(s.help), to.unit = view(s.unit), to.type = s.type;
        to.least = s.least, to.most = s.most, to.number = s.number, to.text = view(s.text);
        if (s.type == PIN16_NUMBER && !inRange(to, s.number))
          return unusable(
              fmt::format("the default of setting {} is outside {} to {}", to.name, s.least, s.most));
        return {};
      });
  if (read)
    read = copyTable(p.series, p.series_count, "series", '-', [&](const pin16_series& s) -> Status {
      if (!sane(s.unit) || !sane(s.limit_low) || !sane(s.limit_high) || s.chart > PIN16_CHART_BARS)
        return unusable(fmt::format("series {} has an unknown chart or unit", view(s.name)));
      SeriesFacts& to = f.series.emplace_back();
      to.name = view(s.name), to.unit = view(s.unit), to.help = view(s.help), to.chart = s.chart;
      to.limit_low = view(s.limit_low), to.limit_high = view(s.limit_high);
      return {};
    });
  if (read)
    read = copyTable(p.counters, p.counter_count, "counters", '-', [&](const pin16_counter& c) -> Status {
      f.counters.push_back({std::string(view(c.name)), std::string(view(c.help))});
      return {};
    });
  if (!read) return read.error();
  return f;
}

Status checkSettings(const Facts& facts, const Settings& settings) {
  for (const auto& [name, value] : settings) {
    const auto it = std::find_if(facts.settings.begin(), facts.settings.end(),
                                 [&n = name](const SettingFacts& s) { return s.name == n; });
    if (it == facts.settings.end()) {
      std::string known;
      for (const SettingFacts& s : facts.settings) known += (known.empty() ? "" : ", ") + s.name;
      return Error{ErrorKind::input, fmt::format("plugin {} has no setting {}", facts.name, name),
                   "[plugin." + facts.name + "]",
                   known.empty() ? "it has none: take the line out" : "it knows " + known};
    }
    const char* wanted = nullptr;
    if (it->type == PIN16_NUMBER &&
        !(std::holds_alternative<double>(value) && inRange(*it, std::get<double>(value))))
      wanted = "a number";
    if (it->type == PIN16_SWITCH && !std::holds_alternative<bool>(value)) wanted = "true or false";
    if (it->type == PIN16_TEXT && !std::holds_alternative<std::string>(value)) wanted = "a text in quotes";
    if (wanted == nullptr) continue;
    return Error{
        ErrorKind::input, fmt::format("setting {} of plugin {} wants {}", name, facts.name, wanted),
        "[plugin." + facts.name + "]",
        it->type == PIN16_NUMBER ? fmt::format("from {} to {} {}", it->least, it->most, it->unit) : ""};
  }
  return {};
}

/// The functions of pin16_host: each finds its Local in the context, checks, and keeps a copy.
struct Local::Functions {
  static Local& self(void* context) { return *static_cast<Local*>(context); }

  static int limit(void* context, pin16_text name, pin16_limit* out) {
    Local& l = self(context);
    if (out == nullptr || !sane(name)) return 0;
    const auto& all = l.limits_.all();
    const auto it =
        std::find_if(all.begin(), all.end(), [&](const limits::Limit& x) { return x.name == view(name); });
    if (it == all.end()) return 0;
    *out = {it->value, plain(it->unit), plain(it->source)};
    return 1;
  }
  static const SettingFacts* setting(const Local& l, pin16_text name) {
    if (!sane(name)) return nullptr;
    const auto& all = l.results_.facts.settings;
    const auto it =
        std::find_if(all.begin(), all.end(), [&](const SettingFacts& s) { return s.name == view(name); });
    return it == all.end() ? nullptr : &*it;
  }
  static int number(void* context, pin16_text name, double* out) {
    const Local& l = self(context);
    const SettingFacts* s = setting(l, name);
    if (s == nullptr || out == nullptr || s->type == PIN16_TEXT) return 0;
    *out = s->number;
    if (const auto given = l.settings_.find(s->name); given != l.settings_.end())
      *out = std::holds_alternative<bool>(given->second) ? (std::get<bool>(given->second) ? 1.0 : 0.0)
                                                         : std::get<double>(given->second);
    return 1;
  }
  static int words(void* context, pin16_text name, pin16_text* out) {
    const Local& l = self(context);
    const SettingFacts* s = setting(l, name);
    if (s == nullptr || out == nullptr || s->type != PIN16_TEXT) return 0;
    const auto given = l.settings_.find(s->name);
    *out = plain(given == l.settings_.end() ? s->text : std::get<std::string>(given->second));
    return 1;
  }
  static const pin16_job* job(void* context) { return &self(context).plain_job_; }

  static void sample(void* context, std::uint32_t series, std::int64_t t_ns, double value,
                     double uncertainty) {
    Local& l = self(context);
    if (l.failed()) return;
    if (series >= l.results_.points.size()) return l.drop("a sample of a series that it has not");
    if (!std::isfinite(value) || std::isnan(uncertainty)) return l.drop("a sample that is not a number");
    if (l.points_ >= kPointsMax) return l.drop("more samples than are kept");
    ++l.points_;
    l.results_.points[series].push_back({t_ns, value, uncertainty});
  }
  static void count(void* context, std::uint32_t counter, std::uint64_t add) {
    Local& l = self(context);
    if (l.failed()) return;
    if (counter >= l.results_.counters.size()) return l.drop("a counter that it has not");
    l.results_.counters[counter] += add;
  }
  static void finding(void* context, const pin16_finding* f) {
    static constexpr std::string_view steps[] = {"",          "source", "feed",    "ground", "connector",
                                                 "interface", "levels", "traffic", "answer", "timing"};
    Local& l = self(context);
    if (l.failed()) return;
    if (f == nullptr) return l.drop("a finding that is none");
    if (l.findings_ >= kFindingsMax) return l.drop("more findings than are kept");
    auto code = l.text(f->code);
    auto words = l.text(f->text);
    auto step = l.text(f->step);
    auto figures = l.figures(f->figures, f->figure_count);
    if (!code || !words || !step || !figures) return;
    if (!isName(*code, '-')) return l.drop("a finding without a proper code");
    if (std::find(std::begin(steps), std::end(steps), *step) == std::end(steps))
      return l.drop("a finding for a step that there is not");
    if (!(f->confidence >= 0 && f->confidence <= 1) || f->weight > PIN16_AGAINST ||
        f->event_count > kRowsMax || (f->event_count != 0 && f->events == nullptr))
      return l.drop("a finding with a value out of range");
    ++l.findings_;
    Finding& to = l.results_.findings.emplace_back();
    to.code = *std::move(code), to.text = *std::move(words), to.step = *std::move(step);
    to.figures = *std::move(figures);
    to.events.assign(f->events, f->events + f->event_count);
    to.confidence = f->confidence, to.t_ns = f->t_ns, to.link = f->link;
    to.weight = static_cast<Weight>(f->weight);
  }
  static void section(void* context, const pin16_section* s) {
    Local& l = self(context);
    if (l.failed()) return;
    if (s == nullptr) return l.drop("a section that is none");
    if (l.sections_ >= kSectionsMax) return l.drop("more sections than are kept");
    auto title = l.text(s->title);
    auto words = l.text(s->text);
    auto rows = l.figures(s->rows, s->row_count);
    if (!title || !words || !rows) return;
    ++l.sections_;
    l.results_.sections.push_back({*std::move(title), *std::move(words), *std::move(rows)});
  }
  static void evidence(void* context, const pin16_evidence* e) {
    Local& l = self(context);
    if (l.failed()) return;
    if (e == nullptr || !std::isfinite(e->value)) return l.drop("evidence that is not a number");
    if (l.evidence_ >= kEvidenceMax) return l.drop("more evidence than is kept");
    auto point = l.text(e->point);
    auto unit = l.text(e->unit);
    if (!point || !unit) return;
    ++l.evidence_;
    l.results_.evidence.push_back({*std::move(point), *std::move(unit), e->value, e->uncertainty, e->t_ns});
  }
  static int ask(void* context, const pin16_request* r) {
    Local& l = self(context);
    if (l.failed() || !l.asking_ || l.finishing_ || r == nullptr || l.asked_.size() >= kAskedMax) return 0;
    if (r->payload.data == nullptr || r->payload.size == 0 || r->payload.size > 64) return 0;
    l.asked_.push_back({r->tag,
                        r->request_id,
                        r->answer_id,
                        r->extended != 0,
                        {r->payload.data, r->payload.data + r->payload.size}});
    return 1;
  }
  static int name(void* context, pin16_text what, std::uint32_t number, pin16_text* out) {
    (void)context;
    if (out == nullptr || !sane(what)) return 0;
    std::string_view found;
    if (view(what) == "service" && number <= 0xFF)
      found = protocol::serviceName(static_cast<std::uint8_t>(number));
    if (view(what) == "response-code" && number <= 0xFF)
      found = protocol::nrcName(static_cast<std::uint8_t>(number));
    if (view(what) == "identifier" && number <= 0xFFFF)
      found = protocol::didName(static_cast<std::uint16_t>(number));
    *out = plain(found);  // compiled-in tables
    return found.empty() ? 0 : 1;
  }
  static int vin(void* context, pin16_bytes request, pin16_bytes answer, pin16_text* out) {
    Local& l = self(context);
    if (out == nullptr || (request.size != 0 && request.data == nullptr) ||
        (answer.size != 0 && answer.data == nullptr))
      return 0;
    const auto found = protocol::vinOf({request.data, request.size}, {answer.data, answer.size});
    if (!found) return 0;
    l.vin_ = *found;
    *out = plain(l.vin_);
    const protocol::VinCheck check = protocol::checkVin(l.vin_);
    return !check.well_formed ? 3 : check.digit_matches ? 1 : 2;
  }
  static void failed(void* context, pin16_text why) {
    self(context).fail(sane(why) && why.size != 0 ? std::string(view(why)) : "it gave up without a reason");
  }
};

Local::Local(const pin16_plugin& plugin, Facts facts, limits::Limits limits, JobFacts job, Settings settings)
    : plugin_(plugin), limits_(std::move(limits)), job_(std::move(job)), settings_(std::move(settings)) {
  results_.facts = std::move(facts);
  results_.points.resize(results_.facts.series.size());
  results_.counters.resize(results_.facts.counters.size());
  plain_job_ = {plain(job_.name),
                plain(job_.arrangement),
                plain(job_.access),
                plain(job_.module),
                job_.request_id,
                job_.answer_id,
                job_.extended ? 1 : 0,
                job_.sealed ? 1 : 0,
                job_.nominal_V,
                job_.supply_min_V,
                job_.supply_max_V,
                job_.current_steady_min_A,
                job_.current_steady_max_A,
                job_.bitrate,
                job_.power_up_budget,
                job_.line_address,
                0};
  host_ = {sizeof(pin16_host),  PIN16_PLUGIN_MINOR,  this,
           &Functions::limit,   &Functions::number,  &Functions::words,
           &Functions::job,     &Functions::sample,  &Functions::count,
           &Functions::finding, &Functions::section, &Functions::evidence,
           &Functions::ask,     &Functions::name,    &Functions::vin,
           &Functions::failed};
}

Local::~Local() {
  if (self_ != nullptr) guarded("destroy", [&] { plugin_.destroy(self_); });
}

template <class F>
void Local::guarded(const char* where, F&& call) {
  try {
    call();
  } catch (const std::exception& e) {
    fail(fmt::format("{}() let an exception out: {}", where, e.what()));
  } catch (...) {
    fail(fmt::format("{}() let an exception out", where));
  }
}

void Local::fail(std::string why) {
  if (failed()) return;
  results_.failed = why.empty() ? "ended without a reason" : std::move(why);
}

void Local::drop(const char* why) {
  if (results_.dropped++ == 0) results_.dropped_why = why;
}

std::optional<std::string> Local::text(pin16_text t) {
  if (sane(t)) return std::string(view(t));
  drop("a text that is none (no pointer, longer than is kept, or not UTF-8)");
  return std::nullopt;
}

std::optional<std::vector<Figure>> Local::figures(const pin16_figure* rows, std::size_t count) {
  if (count > kRowsMax || (count != 0 && rows == nullptr)) {
    drop("a table that is none, or longer than is kept");
    return std::nullopt;
  }
  std::vector<Figure> out;
  out.reserve(count);
  for (std::size_t i = 0; i < count; ++i) {
    const pin16_figure& row = rows[i];
    auto what = text(row.what);
    auto unit = text(row.unit);
    auto limit_name = text(row.limit_name);
    auto words = text(row.text);
    if (!what || !unit || !limit_name || !words) return std::nullopt;
    out.push_back({*std::move(what), *std::move(unit), *std::move(limit_name), *std::move(words),
                   std::isfinite(row.value) ? row.value : kNaN, row.uncertainty});
  }
  return out;
}

Results Local::takeResults() { return takeFrom(results_); }

void Local::start() {
  guarded("create", [&] { self_ = plugin_.create(&host_); });
  if (self_ == nullptr) fail("create() gave nothing");
}

void Local::take(std::span<const pin16_event> events, std::uint64_t kinds) {
  if (failed() || self_ == nullptr || (kinds & results_.facts.kinds) == 0) return;
  if ((kinds & ~results_.facts.kinds) == 0)
    return guarded("take", [&] { plugin_.take(self_, events.data(), events.size()); });
  wanted_.clear();
  for (const pin16_event& e : events)
    if ((PIN16_KIND_BIT(e.kind) & results_.facts.kinds) != 0) wanted_.push_back(e);
  guarded("take", [&] { plugin_.take(self_, wanted_.data(), wanted_.size()); });
}

void Local::answered(std::uint64_t tag, const pin16_exchange* exchange, const std::string& refused) {
  if (failed() || self_ == nullptr || plugin_.answered == nullptr) return;
  guarded("answered", [&] { plugin_.answered(self_, tag, exchange, plain(refused)); });
}

void Local::finish(Ns end_ns) {
  if (failed() || self_ == nullptr) return;
  finishing_ = true;
  guarded("finish", [&] { plugin_.finish(self_, end_ns); });
}

}  // namespace pin16::plugin
