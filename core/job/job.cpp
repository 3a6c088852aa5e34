// SPDX-License-Identifier: Apache-2.0
#include "core/job/job.hpp"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "core/event/frame.hpp"
#include "core/job/nearest.hpp"

namespace pin16::job {
namespace {

/// The file being read; keeps the first error, so that the readers below need no checks between fields.
struct File {
  std::string name;
  std::optional<Error> error;
  void fail(const toml::source_region& at, const std::string& field, std::string what,
            std::string advice = {}) {
    if (error) return;
    std::string place = fmt::format("{}:{}", name, at.begin.line);
    if (!field.empty()) place += ": " + field;
    error = Error{ErrorKind::input, std::move(what), std::move(place), std::move(advice)};
  }
};

/// One table of the file. Each field is asked for by name; done() then refuses what nobody asked for.
class Section {
 public:
  Section(File& file, std::string name, const toml::table& table)
      : file_(file), name_(std::move(name)), table_(table) {}

  void text(const char* key, std::string& out) {
    if (const toml::node* n = find(key)) {
      const auto v = n->value_exact<std::string>();
      if (!v || v->empty())
        fail(*n, key, "expected a text that is not empty", fmt::format("Write {} = \"...\"", key));
      else
        out = *v;
    }
  }
  void flag(const char* key, bool& out) {
    if (const toml::node* n = find(key)) {
      if (const auto v = n->value_exact<bool>())
        out = *v;
      else
        fail(*n, key, "expected true or false",
             fmt::format("Write {0} = true or {0} = false, without quotes", key));
    }
  }
  template <class E>
  void choice(const char* key, E& out, std::initializer_list<E> all) {
    const toml::node* n = find(key);
    if (n == nullptr) return;
    const auto v = n->value_exact<std::string>();
    std::vector<std::string> names;
    for (const E e : all) {
      names.emplace_back(toText(e));
      if (v && *v == names.back()) {
        out = e;
        return;
      }
    }
    fail(*n, key, fmt::format("expected one of \"{}\"", fmt::join(names, "\", \"")),
         suggestion(v.value_or(""), names));
  }
  void number(const char* key, std::optional<double>& out, double least, double most, const char* unit) {
    if (const toml::node* n = find(key)) {
      const auto v = n->value<double>();
      if (!n->is_number() || !v || !std::isfinite(*v) || *v < least || *v > most)
        fail(*n, key, fmt::format("expected a number from {} to {} {}", least, most, unit),
             "Decimals take a point; the unit is in the field's name");
      else
        out = *v;
    }
  }
  void integer(const char* key, std::optional<std::int64_t>& out, std::int64_t least, std::int64_t most,
               const std::string& advice) {
    if (const toml::node* n = find(key)) {
      const auto v = n->value_exact<std::int64_t>();
      if (!v || *v < least || *v > most)
        fail(*n, key, fmt::format("expected a whole number from {} to {}", least, most), advice);
      else
        out = *v;
    }
  }
  [[nodiscard]] const toml::node* find(const char* key) {
    asked_.emplace_back(key);
    return table_.get(key);
  }
  [[nodiscard]] bool has(const char* key) const { return table_.contains(key); }
  void fail(const toml::node& at, const char* key, std::string what, std::string advice = {}) {
    file_.fail(at.source(), fieldName(key), std::move(what), std::move(advice));
  }
  void failHere(std::string what, std::string advice) {
    file_.fail(table_.source(), name_, std::move(what), std::move(advice));
  }
  void done() {
    for (const auto& [key, node] : table_) {
      const std::string name(key.str());
      if (std::find(asked_.begin(), asked_.end(), name) == asked_.end())
        file_.fail(key.source(), fieldName(name), "this field is not known", suggestion(name, asked_));
    }
  }
  static std::string suggestion(const std::string& word, const std::vector<std::string>& names) {
    const auto near = nearest(word, names, 1);
    if (!near.empty()) return fmt::format("Did you mean '{}'?", near.front());
    return fmt::format("Known are: {}", fmt::join(names, ", "));
  }

 private:
  [[nodiscard]] std::string fieldName(std::string_view key) const {
    return name_.empty() ? std::string(key) : fmt::format("{}.{}", name_, key);
  }
  File& file_;
  std::string name_;
  const toml::table& table_;
  std::vector<std::string> asked_;
};

void readHead(Section s, Job& job) {
  s.text("name", job.name);
  if (!s.has("arrangement"))
    s.failHere("the arrangement is missing",
               "Add arrangement = \"own-battery\", \"fed-in-place\" or \"removed\": what is expected follows "
               "from it");
  s.choice("arrangement", job.arrangement,
           {Arrangement::own_battery, Arrangement::fed_in_place, Arrangement::removed});
  s.choice("access", job.access, {Access::connector, Access::gateway, Access::direct});
  s.flag("sealed", job.sealed);
  std::string silence;
  s.text("silence", silence);
  if (silence == "proven")
    job.silence = event::Silence::proven;
  else if (!silence.empty() && silence != "claimed")
    s.fail(*s.find("silence"), "silence", "expected \"proven\" or \"claimed\"",
           "How silent the links of a sealed job must be: proven by the kernel, or claimed by the device");
  std::optional<std::int64_t> budget;
  s.integer("power_up_budget", budget, 0, 1000, "How often the module may be powered up for this job");
  if (budget) job.power_up_budget = static_cast<int>(*budget);
  std::optional<std::int64_t> alike;
  s.integer("stop_after_alike", alike, 1, 100, "How many attempts in a row may end alike before you stop");
  if (alike) job.stop_after_alike = static_cast<int>(*alike);
  std::optional<std::int64_t> nominal;
  s.integer("nominal_V", nominal, 12, 24, "Write nominal_V = 12 or nominal_V = 24");
  if (nominal && *nominal != 12 && *nominal != 24)
    s.fail(*s.find("nominal_V"), "nominal_V", "expected 12 or 24", "Write nominal_V = 12 or nominal_V = 24");
  if (nominal) job.nominal_V = static_cast<double>(*nominal);
  s.number("wait_s", job.wait_s, 0, 86400, "s");
  s.text("wait_source", job.wait_source);
  if (job.wait_s && job.wait_source.empty())
    s.fail(*s.find("wait_s"), "wait_s", "no source given",
           "Add wait_source = \"...\": there is no general figure, name this vehicle's service information");
  s.done();
}

void readAddress(Section& s, Module& module) {
  bool extended = false;
  s.flag("extended", extended);
  const std::uint32_t most = extended ? event::kExtendedMask : event::kStandardMask;
  const std::string advice = extended ? "29-bit identifiers end at 0x1FFFFFFF"
                                      : "11-bit identifiers end at 0x7FF; for 29 bits write extended = true";
  std::optional<std::int64_t> request, answer;
  s.integer("request_id", request, 0, most, advice);
  s.integer("answer_id", answer, 0, most, advice);
  if (s.has("request_id") != s.has("answer_id")) {
    const char* const present = s.has("request_id") ? "request_id" : "answer_id";
    s.fail(*s.find(present), present, "request_id and answer_id come together",
           "Write both, or omit both when they are unknown");
  } else if (request && answer) {
    if (*request == *answer)
      s.fail(*s.find("answer_id"), "answer_id", "expected another identifier than request_id",
             "Omit both when they are unknown");
    module.address =
        Address{static_cast<std::uint32_t>(*request), static_cast<std::uint32_t>(*answer), extended};
  }
}

/// ISO 14230-2 and SAE J1979: F0 to FF are testers, 33 everybody.
void readLineAddress(Section& s, Module& module) {
  constexpr std::int64_t kEverybody = 0x33, kLast = 0xEF;
  std::optional<std::int64_t> address;
  s.integer("line_address", address, 0, kLast,
            "The module's own address on K-line or J1850, one byte, for instance 0x58; F0 to FF are testers");
  if (!address) return;
  if (*address == kEverybody)
    s.fail(*s.find("line_address"), "line_address", "0x33 addresses everybody, not one module",
           "Write the module's own address, or omit it when it is unknown");
  module.line_address = static_cast<std::uint8_t>(*address);
}

void readBand(Section& s, const char* min_key, const char* max_key, double most, const char* unit,
              std::optional<double>& min, std::optional<double>& max) {
  s.number(min_key, min, 0, most, unit);
  s.number(max_key, max, 0, most, unit);
  if (min && max && *min >= *max)
    s.fail(*s.find(max_key), max_key, fmt::format("expected more than {} ({})", min_key, *min),
           "Check the two against the label or the service information");
}

/// ISO 3779: 17 characters, capital letters without I, O, Q, and digits.
void readVin(Section& s, Module& module) {
  constexpr std::size_t kLength = 17;
  s.text("vin", module.vin);
  if (module.vin.empty()) return;
  if (module.vin.size() != kLength ||
      module.vin.find_first_not_of("0123456789ABCDEFGHJKLMNPRSTUVWXYZ") != std::string::npos)
    s.fail(*s.find("vin"), "vin",
           fmt::format("expected 17 capital letters and digits, got {} characters", module.vin.size()),
           "Without I, O and Q, as on the plate; omit it when it is unknown");
}

void readModule(Section s, Module& module) {
  s.text("name", module.name);
  readVin(s, module);
  s.text("pins", module.pins);
  readAddress(s, module);
  readLineAddress(s, module);
  readBand(s, "supply_min_V", "supply_max_V", 60, "V", module.supply_min_V, module.supply_max_V);
  readBand(s, "current_steady_min_A", "current_steady_max_A", 100, "A", module.current_steady_min_A,
           module.current_steady_max_A);
  readBand(s, "stop_V", "start_V", 60, "V", module.start.stop_V, module.start.start_V);
  s.number("boot_A", module.start.boot_A, 0.001, 100, "A");
  s.number("boot_s", module.start.boot_s, 0, 60, "s");
  s.number("run_A", module.start.run_A, 0.001, 100, "A");
  s.number("capacitance_uF", module.start.capacitance_uF, 0.1, 1e5, "uF");
  s.done();
}

void readAuthority(Section s, Job& job) {
  Authority a;
  for (const auto& [key, out] :
       {std::pair<const char*, std::string*>{"who", &a.who}, {"what", &a.what}, {"when", &a.when}}) {
    if (!s.has(key))
      s.failHere(fmt::format("the authority does not say {}", key),
                 "Write who gave it, what may be kept, and when it was given; without all three content is "
                 "blanked: leave the table out");
    s.text(key, *out);
  }
  s.done();
  job.authority = std::move(a);
}

void readBus(Section s, BusFacts& bus) {
  std::optional<std::int64_t> bitrate;
  s.integer("bitrate", bitrate, 5000, 1000000, "In bit/s, for instance 500000; omit it when it is unknown");
  if (bitrate) bus.bitrate = static_cast<std::uint32_t>(*bitrate);
  s.text("protocol", bus.protocol);
  const std::vector<std::string> lines = {"pwm-41600", "vpw-10400", "iso9141-2", "kwp-5baud", "kwp-fast"};
  if (!bus.protocol.empty() && std::find(lines.begin(), lines.end(), bus.protocol) == lines.end())
    s.fail(*s.find("protocol"), "protocol", fmt::format("expected one of \"{}\"", fmt::join(lines, "\", \"")),
           "On CAN omit it: bitrate and module.extended say it");
  s.flag("fd", bus.fd);
  s.flag("rate_fixed", bus.rate_fixed);
  s.done();
}

void readLink(Section s, Job& job) {
  LinkEntry link;
  if (!s.has("uri")) s.failHere("the link has no uri", "Write uri = \"socketcan:can0\"");
  s.text("uri", link.uri);
  s.text("role", link.role);
  if (!link.uri.empty() && link.uri.find(':') == std::string::npos)
    s.fail(*s.find("uri"), "uri", "expected SCHEME:TARGET", "Write for instance uri = \"socketcan:can0\"");
  s.done();
  job.links.push_back(std::move(link));
}

/// A point that a meter stands for, in its full name.
void readMeterPoint(Section& s, const char* key, const std::string& unit, std::string& out) {
  std::string text;
  s.text(key, text);
  if (text.empty()) return;
  const auto found = lookUpPoint(text);
  if (!found)
    s.fail(*s.find(key), key, found.error().what, found.error().advice);
  else if (found->point->unit != unit)
    s.fail(*s.find(key), key, fmt::format("{} is not measured in {}", found->point->name, unit),
           "docs/points.md lists the points with their units");
  else
    out = text;
}

void readMeter(Section s, Job& job) {
  MeterEntry meter;
  if (!s.has("uri")) s.failHere("the meter has no uri", "Write uri = \"scpi:/dev/ttyUSB0\"");
  s.text("uri", meter.uri);
  if (!meter.uri.empty() && meter.uri.find(':') == std::string::npos)
    s.fail(*s.find("uri"), "uri", "expected SCHEME:TARGET", "Write for instance uri = \"scpi:/dev/ttyUSB0\"");
  readMeterPoint(s, "volts", "V", meter.volts);
  readMeterPoint(s, "amperes", "A", meter.amperes);
  s.number("uncertainty_V", meter.uncertainty_V, 0, 60, "V");
  s.number("uncertainty_A", meter.uncertainty_A, 0, 100, "A");
  s.number("input_ohm", meter.input_ohm, 1, 1e12, "ohm");
  s.done();
  const auto in_uri = [&meter](const char* option) { return meter.uri.find(option) != std::string::npos; };
  const bool named = in_uri("?V=") || in_uri("&V=") || in_uri("?I=") || in_uri("&I=");
  if (meter.volts.empty() && meter.amperes.empty() && !named)
    s.failHere("nobody said where the meter is clipped on",
               "Add volts = \"V(pin16,pin4)\" or amperes = \"I(feed)\"; docs/points.md lists the points");
  if (named && (!meter.volts.empty() || !meter.amperes.empty()))
    s.failHere("the points are named in the uri and beside it", "Keep one of the two");
  job.meters.push_back(std::move(meter));
}

void readReading(Section s, Job& job) {
  if (!s.has("text"))
    s.failHere("the reading has no text", "Write text = \"V(pin16,pin4)=12.4V power=source\"");
  std::string text;
  s.text("text", text);
  s.done();
  if (text.empty()) return;
  auto m = parseReading(text);
  if (!m)
    s.fail(*s.find("text"), "text", m.error().what, m.error().advice);
  else
    job.readings.push_back(std::move(*m));
}

void readLimit(Section s, const std::string& name, Job& job) {
  std::optional<double> value;
  std::string source;
  if (!s.has("value") || !s.has("source"))
    s.failHere("a limit needs value and source",
               "Write \"" + name + "\" = { value = 9.5, source = \"where from\" }");
  s.number("value", value, -1e9, 1e9, "in the limit's unit");
  s.text("source", source);
  s.done();
  if (!value || source.empty()) return;
  if (auto done = job.limits.replace(name, *value, "job: " + source); !done) {
    std::vector<std::string> names;
    for (const auto& l : job.limits.all()) names.push_back(l.name);
    s.failHere(done.error().what, Section::suggestion(name, names) + " docs/limits.md lists the names");
  }
}

void readLimits(File& file, const toml::table& table, Job& job) {
  for (const auto& [key, node] : table) {
    const std::string name(key.str());
    if (const toml::table* t = node.as_table())
      readLimit(Section(file, "limits.\"" + name + "\"", *t), name, job);
    else
      file.fail(node.source(), "limits.\"" + name + "\"", "expected a value with its source",
                "Write \"" + name + "\" = { value = 9.5, source = \"where from\" }");
  }
}

void readFeed(Section s, Job& job) {
  if (!s.has("emf_V")) s.failHere("the source's volts are missing", "Add emf_V = 12.6, as measured at rest");
  Feed feed;
  const auto number = [&](const char* key, double& to, double least, double most, const char* unit) {
    std::optional<double> v;
    s.number(key, v, least, most, unit);
    if (v) to = *v;
  };
  number("emf_V", feed.emf_V, 1, 60, "V");
  number("series_ohm", feed.series_ohm, 0, 100, "ohm");
  number("limit_A", feed.limit_A, 0.01, 1000, "A");
  number("lead_mm2", feed.lead_mm2, 0.05, 100, "mm2");
  number("lead_length_m", feed.lead_length_m, 0.01, 200, "m");
  number("joints_ohm", feed.joints_ohm, 0, 100, "ohm");
  number("fuse_A", feed.fuse_A, 0.1, 100, "A");
  s.done();
  job.feed = feed;
}

void readOurs(Section s, Ours& ours) {
  s.number("termination_ohm", ours.termination_ohm, 10, 1e6, "ohm");
  s.number("pin16_A", ours.pin16_A, 0, 10, "A");
  bool isolated = true, mains = false, joined = false;
  s.flag("usb_isolated", isolated);
  s.flag("computer_on_mains", mains);
  s.flag("computers_joined", joined);
  ours.ground_tied = !isolated && (mains || joined);
  std::optional<double> path;
  s.number("ground_path_ohm", path, 1e-3, 1e6, "ohm");
  if (path) ours.ground_path_ohm = *path;
  s.done();
}

void readPlugins(File& file, const toml::table& table, Job& job) {
  for (const auto& [key, node] : table) {
    const std::string name = fmt::format("plugin.{}", key.str());
    const toml::table* settings = node.as_table();
    if (settings == nullptr) {
      file.fail(node.source(), name, "expected a table with the plugin's settings",
                fmt::format("Write [{}] on a line of its own, its settings below it", name));
      continue;
    }
    PluginSettings& to = job.plugins[std::string(key.str())];
    for (const auto& [setting, value] : *settings) {
      PluginValue& v = to[std::string(setting.str())];
      if (const auto on = value.value_exact<bool>())
        v = *on;
      else if (const auto text = value.value_exact<std::string>())
        v = *text;
      else if (const auto number = value.value<double>();
               number && value.is_number() && std::isfinite(*number))
        v = *number;
      else
        file.fail(value.source(), fmt::format("{}.{}", name, setting.str()),
                  "expected a number, true or false, or a text in quotes",
                  "`pin16 plugins` lists the settings");
    }
  }
}

/// The named table of the file's top level, if it is there and is one.
template <class F>
void withTable(File& file, Section& top, const char* name, F use) {
  const toml::node* n = top.find(name);
  if (n == nullptr) return;
  if (const toml::table* t = n->as_table())
    use(*t);
  else
    file.fail(n->source(), name, "expected a table", fmt::format("Write [{}] on a line of its own", name));
}

template <class F>
void withEach(File& file, Section& top, const char* name, F use) {
  const toml::node* n = top.find(name);
  if (n == nullptr) return;
  const toml::array* a = n->as_array();
  if (a == nullptr || !std::all_of(a->begin(), a->end(), [](const toml::node& e) { return e.is_table(); })) {
    file.fail(n->source(), name, "expected a list of tables",
              fmt::format("Write [[{}]] on a line of its own", name));
    return;
  }
  for (const toml::node& e : *a) use(*e.as_table());
}

/// The module's own supply limits take the place of the general ones.
void applyModuleLimits(Section& top, Job& job) {
  const bool is_24 = job.nominal_V > 12;
  const auto apply = [&](const std::optional<double>& value, const char* name, const char* field) {
    if (!value) return;
    if (job.limits.get(name).confidence == "job")
      top.failHere(fmt::format("{} and the limit \"{}\" are both given", field, name), "Keep one of the two");
    else
      (void)job.limits.replace(name, *value,
                               std::string("job: ") + field);  // the name exists: get() found it
  };
  apply(job.module.supply_min_V, is_24 ? "supply.module_min_24_V" : "supply.module_min_V",
        "module.supply_min_V");
  apply(job.module.supply_max_V, is_24 ? "supply.module_max_24_V" : "supply.module_max_V",
        "module.supply_max_V");
}

Job readAll(File& file, const toml::table& root) {
  Job job;
  job.file = file.name;
  Section top(file, "", root);
  if (!root.contains("job")) top.failHere("the table [job] is missing", "docs/job-file.md has an example");
  withTable(file, top, "job", [&](const toml::table& t) { readHead(Section(file, "job", t), job); });
  withTable(file, top, "module",
            [&](const toml::table& t) { readModule(Section(file, "module", t), job.module); });
  withTable(file, top, "bus", [&](const toml::table& t) { readBus(Section(file, "bus", t), job.bus); });
  withTable(file, top, "feed", [&](const toml::table& t) { readFeed(Section(file, "feed", t), job); });
  withTable(file, top, "ours", [&](const toml::table& t) { readOurs(Section(file, "ours", t), job.ours); });
  withTable(file, top, "authority",
            [&](const toml::table& t) { readAuthority(Section(file, "authority", t), job); });
  withTable(file, top, "limits", [&](const toml::table& t) { readLimits(file, t, job); });
  withTable(file, top, "plugin", [&](const toml::table& t) { readPlugins(file, t, job); });
  withEach(file, top, "link", [&](const toml::table& t) { readLink(Section(file, "link", t), job); });
  withEach(file, top, "meter", [&](const toml::table& t) { readMeter(Section(file, "meter", t), job); });
  withEach(file, top, "reading",
           [&](const toml::table& t) { readReading(Section(file, "reading", t), job); });
  top.done();
  applyModuleLimits(top, job);
  return job;
}

}  // namespace

const char* toText(Arrangement a) {
  switch (a) {
    case Arrangement::own_battery:
      return "own-battery";
    case Arrangement::fed_in_place:
      return "fed-in-place";
    case Arrangement::removed:
      return "removed";
  }
  return "?";
}

const char* toText(Access a) {
  switch (a) {
    case Access::connector:
      return "connector";
    case Access::gateway:
      return "gateway";
    case Access::direct:
      return "direct";
  }
  return "?";
}

std::string meterUri(const MeterEntry& meter) {
  std::string uri = meter.uri;
  const auto add = [&uri](const char* key, const std::string& value) {
    uri += uri.find('?') == std::string::npos ? '?' : '&';
    uri.append(key).append("=").append(value);
  };
  if (!meter.volts.empty()) add("V", meter.volts);
  if (!meter.amperes.empty()) add("I", meter.amperes);
  if (meter.uncertainty_V) add("u_V", fmt::format("{}", *meter.uncertainty_V));
  if (meter.uncertainty_A) add("u_A", fmt::format("{}", *meter.uncertainty_A));
  if (meter.input_ohm) add("input_ohm", fmt::format("{}", *meter.input_ohm));
  return uri;
}

Result<Job> parseJob(std::string_view toml_text, const std::string& file_name) {
  File file{file_name, std::nullopt};
  try {
    const toml::table root = toml::parse(toml_text, std::string_view(file_name));
    Job job = readAll(file, root);
    if (file.error) return *file.error;
    return job;
  } catch (const toml::parse_error& e) {
    file.fail(e.source(), "", fmt::format("not TOML: {}", e.description()),
              "docs/job-file.md has an example");
    return *file.error;
  }
}

Result<Job> readJob(const std::string& path) {
  std::error_code ignored;
  if (std::filesystem::is_directory(path, ignored))
    return Error{ErrorKind::input, "this is a folder, not a job file", path,
                 "Give the file in it, for instance job.toml"};
  std::ifstream in(path, std::ios::binary);
  if (!in)
    return Error{ErrorKind::input, "the job file cannot be read", path, "Check the path and its permissions"};
  const std::string text((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
  return parseJob(text, path);
}

}  // namespace pin16::job
