// SPDX-License-Identifier: Apache-2.0
#include "core/bench/scenario.hpp"

#include <fmt/core.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <limits>
#include <set>

#include "core/circuit/circuit.hpp"
#include "core/event/frame.hpp"

namespace pin16::bench {
namespace {

/// Takes the fields of one table and remembers the first thing that is wrong with it.
class Fields {
 public:
  Fields(const toml::table& table, std::string where, const std::string& file, std::optional<Error>& error)
      : table_(table), where_(std::move(where)), file_(file), error_(error) {}
  ~Fields() {
    for (const auto& [key, node] : table_)
      if (!known_.contains(std::string(key.str())))
        fail(std::string(key.str()), node, "is not a field of a scenario");
  }
  Fields(const Fields&) = delete;
  Fields& operator=(const Fields&) = delete;

  void operator()(const char* key, double& out, double least = 0, double most = 1e12) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    const auto v = n->value<double>();
    if (!n->is_number() || !v || !(*v >= least && *v <= most))
      return fail(key, *n, fmt::format("must be a number from {} to {}", least, most));
    out = *v;
  }
  void operator()(const char* key, std::optional<double>& out, double least = 0, double most = 1e12) {
    double v = NAN;
    (*this)(key, v, least, most);
    if (!std::isnan(v)) out = v;
  }
  template <class Int>
  requires std::is_integral_v<Int>
  void operator()(const char* key, Int& out, std::int64_t most = std::numeric_limits<Int>::max()) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    const auto* v = n->as_integer();
    if (v == nullptr || v->get() < 0 || v->get() > most)
      return fail(key, *n, fmt::format("must be a whole number from 0 to {}", most));
    out = static_cast<Int>(v->get());
  }
  void operator()(const char* key, std::uint64_t& out) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    const auto* v = n->as_integer();
    if (v == nullptr || v->get() < 0) return fail(key, *n, "must be a whole number, 0 or more");
    out = static_cast<std::uint64_t>(v->get());
  }
  void operator()(const char* key, bool& out) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    if (!n->is_boolean()) return fail(key, *n, "must be true or false");
    out = n->as_boolean()->get();
  }
  void operator()(const char* key, std::string& out) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    if (!n->is_string()) return fail(key, *n, "must be a text in quotes");
    out = n->as_string()->get();
  }
  void operator()(const char* key, std::vector<double>& out) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    out.clear();
    const toml::array* list = n->as_array();
    if (list == nullptr) return fail(key, *n, "must be a list of numbers");
    for (const toml::node& e : *list) {
      const auto v = e.value<double>();
      if (!e.is_number() || !v || !(*v > 0)) return fail(key, e, "must be a list of numbers above 0");
      out.push_back(*v);
    }
  }
  /// Instants, each later than the one before.
  void rising(const char* key, std::vector<double>& out) {
    (*this)(key, out);
    for (std::size_t i = 1; i < out.size(); ++i)
      if (!(out[i] > out[i - 1])) return fail(key, *table_.get(key), "must rise from number to number");
  }
  void operator()(const char* key, Bytes& out) {
    std::string text;
    (*this)(key, text);
    if (text.empty()) return;
    if (auto bytes = fromHex(text))
      out = *bytes;
    else
      fail(key, *table_.get(key), "must be hex digits, two a byte");
  }
  void operator()(const char* key, std::vector<Bytes>& out) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    const toml::array* list = n->as_array();
    if (list == nullptr) return fail(key, *n, "must be a list of hex digits");
    for (const toml::node& e : *list) {
      const auto bytes = fromHex(e.value_or(std::string()));
      if (!bytes || bytes->empty()) return fail(key, e, "must be a list of hex digits, two a byte");
      out.push_back(*bytes);
    }
  }
  template <class T>
  using Words = std::initializer_list<std::pair<std::string_view, T>>;
  /// One of several words.
  template <class T>
  void choice(const char* key, T& out, Words<T> words) {
    std::string text;
    (*this)(key, text);
    if (!text.empty()) word(key, *table_.get(key), text, out, words);
  }
  /// A list of them, at least one.
  template <class T>
  void choices(const char* key, std::vector<T>& out, Words<T> words) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    const toml::array* list = n->as_array();
    if (list == nullptr || list->empty()) return fail(key, *n, "must be a list of words");
    out.clear();
    for (const toml::node& e : *list) {
      T value{};
      word(key, e, e.value_or(std::string()), value, words);
      out.push_back(value);
    }
  }
  /// A sub-table, if it is there.
  template <class F>
  void table(const char* key, F&& read) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    if (!n->is_table()) return fail(key, *n, "must be a table");
    Fields f(*n->as_table(), key, file_, error_);
    read(f);
  }
  /// Each table of an array of tables.
  template <class F>
  void tables(const char* key, F&& read) {
    const toml::node* n = take(key);
    if (n == nullptr) return;
    if (!n->is_array()) return fail(key, *n, "must be a list of tables");
    for (const toml::node& e : *n->as_array()) {
      if (!e.is_table()) return fail(key, e, "must be a list of tables");
      Fields f(*e.as_table(), key, file_, error_);
      read(f);
    }
  }
  void fail(const std::string& key, const toml::node& node, std::string_view what) {
    if (error_) return;
    const std::string field = where_.empty() ? key : where_ + "." + key;
    error_ = Error{ErrorKind::input, fmt::format("{} {}", field, what),
                   fmt::format("{}:{}", file_, node.source().begin.line), "see docs/scenario-file.md"};
  }
  void require(bool holds, const char* key, std::string_view what) {
    if (!holds) fail(key, table_, what);
  }

 private:
  template <class T>
  void word(const char* key, const toml::node& node, std::string_view text, T& out, Words<T> words) {
    std::string known;
    for (const auto& [word, value] : words) {
      if (word == text) {
        out = value;
        return;
      }
      known += known.empty() ? "" : ", ";
      known += word;
    }
    fail(key, node, "must be one of " + known);
  }
  const toml::node* take(const char* key) {
    known_.insert(key);
    return table_.get(key);
  }
  const toml::table& table_;
  std::string where_;
  const std::string& file_;
  std::optional<Error>& error_;
  std::set<std::string> known_;
};

void readLead(Fields& f, Lead& lead) {
  f("mm2", lead.mm2, 0.05, 120);
  std::optional<double> gauge;
  f("gauge", gauge, 0, 30);
  if (gauge) lead.mm2 = circuit::gaugeArea_mm2(*gauge);
  f("length_m", lead.length_m, 0.001, 200);
}

/// Supply and start: of a module, and of the gateway.
void readSupply(Fields& f, Module& m) {
  using Feed = Module::Feed;
  const Fields::Words<Feed> feeds = {{"slot", Feed::slot},
                                     {"bus-bar", Feed::bus_bar},
                                     {"ignition", Feed::ignition},
                                     {"rig", Feed::rig},
                                     {"source", Feed::source}};
  f.choice("feed", m.feeds.front(), feeds);
  f.choices("feeds", m.feeds, feeds);
  f.table("harness", [&](Fields& t) { readLead(t, m.harness); });
  f("feed_ohm", m.feed_ohm, 1e-6);
  f("further_feed_ohm", m.further_feed_ohm, 1e-6);
  f("ground_ohm", m.ground_ohm, 1e-6);
  f("short_ohm", m.short_ohm, 1e-3);
  f.choice("draw", m.draw, {{"resistor", Module::Draw::resistor}, {"power", Module::Draw::power}});
  f("sleep_A", m.sleep_A, 1e-6, 100);
  f("boot_A", m.boot_A, 1e-6, 100);
  f("run_A", m.run_A, 1e-6, 100);
  f("inrush_A", m.inrush_A, 0, 100);
  f("inrush_ms", m.inrush_ms, 0, 60e3);
  f("boot_s", m.boot_s, 0, 600);
  f("start_V", m.start_V, 0, 60);
  f("stop_V", m.stop_V, 0, 60);
  f("reset_ms", m.reset_ms, 1, 60e3);
  f("restarts_every_s", m.restarts_every_s, 0, 1e5);
  f("reserve_uF", m.reserve_uF, 0, 1e6);
  f.require(m.stop_V <= m.start_V, "stop_V", "must not be above start_V");
}

void readModule(Fields& f, Module& m) {
  using WakeUp = Module::WakeUp;
  f("name", m.name);
  readSupply(f, m);
  f("ignition_only", m.ignition_only);
  f.choice("wake_up", m.wake_up,
           {{"feed", WakeUp::feed}, {"bus", WakeUp::bus}, {"ignition", WakeUp::ignition}});
  f("wake_id", m.wake_id, event::kExtendedMask);
  f.choice("bus", m.bus, {{"inner", Module::Side::inner}, {"connector", Module::Side::connector}});
  f("bitrate", m.bitrate);
  f("high_ohm", m.high_ohm, 0);
  f("low_ohm", m.low_ohm, 0);
  f("termination_ohm", m.termination_ohm, 0);
  f("transceiver_dead", m.transceiver_dead);
  f("jams", m.jams);
  f("mute", m.mute);
  f("request_id", m.request_id, event::kExtendedMask);
  f("answer_id", m.answer_id, event::kExtendedMask);
  f("extended", m.extended);
  f("functional", m.functional);
  f("delay_ms", m.delay_ms, 0, 60e3);
  f("jitter_ms", m.jitter_ms, 0, 60e3);
  f("low_V", m.low_V, 0, 60);
  f("low_delay_factor", m.low_delay_factor, 1, 1e4);
  f("pending", m.pending, 1000);
  f("pending_every_ms", m.pending_every_ms, 1, 60e3);
  f("separation_ms", m.separation_ms, 0, 127);
  f.tables("answer", [&](Fields& t) {
    Answer a;
    std::string text;
    t("request", a.request);
    t("data", a.data);
    t("text", text);
    t("refusal", a.refusal);
    a.data.insert(a.data.end(), text.begin(), text.end());
    t.require(!a.request.empty(), "request", "is missing");
    m.answers.push_back(std::move(a));
  });
  f.tables("periodic", [&](Fields& t) {
    Periodic p;
    t("id", p.id, event::kExtendedMask);
    t("extended", p.extended);
    t("length", p.length, 8);
    t("every_ms", p.every_ms, 1, 60e3);
    m.periodic.push_back(p);
  });
  f.table("read_out", [&](Fields& t) {
    using FlowControl = ReadOut::FlowControl;
    ReadOut& r = m.read_out.emplace();
    t("requests", r.requests);
    t("begins_s", r.begins_s, 0, 1e5);
    t("wait_ms", r.wait_ms, 1, 60e3);
    t("pending_wait_ms", r.pending_wait_ms, 1, 60e3);
    t("repeats", r.repeats, 100);
    t("pause_ms", r.pause_ms, 0, 60e3);
    t.choice("flow_control", r.flow_control,
             {{"sent", FlowControl::sent}, {"none", FlowControl::none}, {"overflow", FlowControl::overflow}});
    t.require(!r.requests.empty(), "requests", "is missing");
    t.require(m.request_id != 0 && m.answer_id != 0, "requests",
              "needs the module's request_id and answer_id");
  });
  f.require(!m.name.empty(), "name", "is missing");
  f.require(m.wake_up != WakeUp::ignition || m.feeds.size() > 1, "feeds",
            "must name the ignition wire last: wake_up is ignition");
}

void readMeter(Fields& f, Meter& m) {
  std::string when = "on";
  f("point", m.point);
  f("instrument", m.instrument);
  f("uncertainty", m.uncertainty);
  f("input_ohm", m.input_ohm, 1);
  f("interface_unplugged", m.interface_unplugged);
  f("when", when);
  f.require(!m.point.empty(), "point", "is missing");
  for (const auto& [word, state] : {std::pair{"off", event::PowerState::off},
                                    {"source", event::PowerState::source},
                                    {"on", event::PowerState::on}})
    if ((" " + when + " ").find(fmt::format(" {} ", word)) != std::string::npos) m.when.push_back(state);
  f.require(!m.when.empty(), "when", "must be one or more of off, source, on, parted by blanks");
}

void readAll(Fields& f, Scenario& s, std::vector<Fault>& faults) {
  f.table("scenario", [&](Fields& t) {
    t("name", s.name);
    t("text", s.text);
    t("complaint", s.complaint);
    t.choice("arrangement", s.arrangement,
             {{"own-battery", job::Arrangement::own_battery},
              {"fed-in-place", job::Arrangement::fed_in_place},
              {"removed", job::Arrangement::removed}});
    t("seed", s.seed);
    t("power_on_s", s.power_on_s, 0, 600);
    t("celsius", s.celsius, -60, 120);
    t.require(!s.name.empty(), "name", "is missing");
  });
  f.table("source", [&](Fields& t) {
    t("emf_V", s.source.emf_V, -60, 60);
    t("series_ohm", s.source.series_ohm);
    t("output_open", s.source.output_open);
    t("capacity_Ah", s.source.capacity_Ah, 0, 1e4);
    t("empty_V", s.source.empty_V, 0, 60);
    t("series_empty_ohm", s.source.series_empty_ohm);
    t("sag_V_per_s", s.source.sag_V_per_s, 0, 60);
    t("off_below_A", s.source.off_below_A, 0, 100);
    t("off_after_s", s.source.off_after_s, 0, 1e5);
    t("limit_A", s.source.limit_A, 0, 1e4);
    t("limit_foldback", s.source.limit_foldback, 0, 0.99);
    t("ripple_Vpp", s.source.ripple_Vpp, 0, 30);
    t("booster_V", s.source.booster_V, 0, 60);
    t("booster_ohm", s.source.booster_ohm, 1e-6);
    t.require(s.source.limit_A == 0 || s.source.emf_V >= 0, "limit_A", "needs an emf_V of 0 or more");
  });
  f.table("rig", [&](Fields& t) {
    t("fuse_A", s.rig.fuse_A);
    t("fuse_open", s.rig.fuse_open);
    t.table("feed", [&](Fields& l) { readLead(l, s.rig.feed); });
    t.table("ground", [&](Fields& l) { readLead(l, s.rig.ground); });
    t("joint_ohm", s.rig.joint_ohm, 1e-6);
    t("clip_ohm", s.rig.clip_ohm, 1e-6);
    t("clamp_ohm", s.rig.clamp_ohm, 1e-6);
    t("supply_blade", s.rig.supply_blade);
    t("wrong_slot_ohm", s.rig.wrong_slot_ohm, 0.01);
    t.rising("bounce_ms", s.rig.bounce_ms);
    t("bounce_count", s.rig.bounce_count, 100);
    t("bounce_spread_ms", s.rig.bounce_spread_ms, 0.1, 10e3);
  });
  f.table("vehicle", [&](Fields& t) {
    t("main_ohm", s.vehicle.main_ohm, 1e-6);
    t("loads_off_ohm", s.vehicle.loads_off_ohm, 0.01);
    t("loads_on_ohm", s.vehicle.loads_on_ohm, 0.01);
    t("ground_ohm", s.vehicle.ground_ohm, 1e-6);
    t("module_fuse_A", s.vehicle.module_fuse_A);
    t("module_fuse_open", s.vehicle.module_fuse_open);
    t("module_fuse_left_in", s.vehicle.module_fuse_left_in);
    t("slot_ignition_fed", s.vehicle.slot_ignition_fed);
    t("visible_signs", s.vehicle.visible_signs);
    t.choice("outlet", s.vehicle.outlet,
             {{"none", Vehicle::Outlet::none},
              {"connector-fuse", Vehicle::Outlet::connector_fuse},
              {"own-fuse", Vehicle::Outlet::own_fuse}});
  });
  f.table("connector", [&](Fields& t) {
    t.choice("fed_from", s.connector.fed_from,
             {{"bus-bar", Connector::Feed::bus_bar},
              {"source", Connector::Feed::source},
              {"none", Connector::Feed::none}});
    t("fuse_A", s.connector.fuse_A);
    t("fuse_open", s.connector.fuse_open);
    t("pin16_ohm", s.connector.pin16_ohm, 1e-6);
    t("pin4_ohm", s.connector.pin4_ohm, 1e-6);
    t("pin5_ohm", s.connector.pin5_ohm, 1e-6);
    t("pin6_ohm", s.connector.pin6_ohm, 1e-6);
    t("pin14_ohm", s.connector.pin14_ohm, 1e-6);
    t("swapped", s.connector.swapped);
    t("shared_ground_ohm", s.connector.shared_ground_ohm, 0);
    t("shared_ground_A", s.connector.shared_ground_A, 0, 200);
    t.require(s.connector.shared_ground_A == 0 || s.connector.shared_ground_ohm > 0, "shared_ground_ohm",
              "must be given with shared_ground_A");
  });
  f.table("interface", [&](Fields& t) {
    t("from_source", s.interface.from_source);
    t("ties_grounds", s.interface.ties_grounds);
    t.table("lead", [&](Fields& l) { readLead(l, s.interface.lead); });
    t("current_A", s.interface.current_A, 1e-6, 100);
    t("supply_min_V", s.interface.supply_min_V);
    t("termination_ohm", s.interface.termination_ohm);
    t("listen_only", s.interface.listen_only);
    t("dead", s.interface.dead);
    t("transceiver_dead", s.interface.transceiver_dead);
    t("own_V", s.interface.own_V, 0, 60);
    t("own_offset_V", s.interface.own_offset_V, -60, 60);
    t("own_offset_ohm", s.interface.own_offset_ohm, 1e-3);
    t.require(s.interface.own_V == 0 || !s.interface.from_source, "own_V",
              "cannot be given together with from_source");
  });
  f.table("bus", [&](Fields& t) {
    t("bitrate", s.bus.bitrate);
    t("terminations_ohm", s.bus.terminations_ohm);
    t("capacitance_pF", s.bus.capacitance_pF, 1);
    t("short_between_ohm", s.bus.short_between_ohm, 1e-6);
    t("high_to_ground_ohm", s.bus.high_to_ground_ohm, 1e-6);
    t("high_to_supply_ohm", s.bus.high_to_supply_ohm, 1e-6);
    t("low_to_ground_ohm", s.bus.low_to_ground_ohm, 1e-6);
    t("low_to_supply_ohm", s.bus.low_to_supply_ohm, 1e-6);
    t.require(s.bus.bitrate >= 1000, "bitrate", "must be at least 1000 bit/s");
  });
  f.table("kline", [&](Fields& t) {
    KLineWires& k = s.kline.emplace();
    t("interface_pull_up_ohm", k.interface_pull_up_ohm, 1);
    t("module_pull_up_ohm", k.module_pull_up_ohm, 0);
    t("pin7_ohm", k.pin7_ohm, 1e-6);
    t("to_ground_ohm", k.to_ground_ohm, 1e-6);
    t("to_supply_ohm", k.to_supply_ohm, 1e-6);
  });
  f.tables("module", [&](Fields& t) { readModule(t, s.modules.emplace_back()); });
  f.table("gateway", [&](Fields& t) {
    Gateway& g = s.gateway.emplace();
    Module& m = s.modules.emplace_back();
    m.name = "gateway";
    m.feeds = {Module::Feed::bus_bar};
    readSupply(t, m);
    t("terminations_ohm", g.terminations_ohm);
    t("capacitance_pF", g.capacitance_pF, 1);
    t("delay_ms", g.delay_ms, 0, 1e3);
    t("forwards_periodic", g.forwards_periodic);
    t("silent", g.silent);
    t.require(s.modules.size() > 1, "feed", "needs a [[module]] behind it");
  });
  f.tables("meter", [&](Fields& t) { readMeter(t, s.meters.emplace_back()); });
  f.tables("fault", [&](Fields& t) {
    Fault& fault = faults.emplace_back();
    t("name", fault.name);
    t("module", fault.module);
    t("ohm", fault.ohm);
    t("V", fault.V, -60, 60);
    t("ms", fault.ms);
    t("A", fault.A);
    t("at_s", fault.at_s, 0, 1e5);
    t("until_s", fault.until_s, 0, 1e5);
    t.require(!fault.until_s || *fault.until_s > fault.at_s.value_or(0), "until_s", "must be after at_s");
  });
}

}  // namespace

Result<Scenario> parseScenario(std::string_view toml_text, const std::string& file_name) {
  toml::table table;
  try {
    table = toml::parse(toml_text, std::string_view(file_name));
  } catch (const toml::parse_error& e) {
    return Error{ErrorKind::input, fmt::format("not a valid TOML file: {}", e.description()),
                 fmt::format("{}:{}", file_name, e.source().begin.line), "see docs/scenario-file.md"};
  }
  Scenario s;
  s.file = file_name;
  std::vector<Fault> faults;
  std::optional<Error> error;
  {
    Fields f(table, "", file_name, error);
    readAll(f, s, faults);
    f.require(!s.name.empty(), "scenario", "is missing");
    f.require(!s.modules.empty(), "module", "is missing: at least one [[module]] is needed");
    const auto others = std::count_if(s.modules.begin(), s.modules.end(),
                                      [](const Module& m) { return m.read_out.has_value(); });
    f.require(others <= 1, "module", "can have read_out once: there is one other equipment");
    f.require(s.modules.empty() || !s.modules.front().read_out, "module",
              "must be the job's module first, not the other equipment");
  }
  if (error) return *error;
  for (const Fault& fault : faults) {
    const bool timed = fault.at_s || fault.until_s;
    Scenario tried = s;
    if (Status applied = applyFault(timed ? tried : s, fault); !applied) {
      Error e = applied.error();
      e.place = file_name;
      return e;
    }
    if (timed) s.timed_faults.push_back(fault);
  }
  return s;
}

Result<Scenario> readScenario(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in)
    return Error{ErrorKind::input, "no such scenario file, or no permission to read it", path,
                 "name a directory that holds scenario.toml"};
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  return parseScenario(text, path);
}

}  // namespace pin16::bench
