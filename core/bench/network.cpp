// SPDX-License-Identifier: Apache-2.0
#include "core/bench/network.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace pin16::bench {
namespace {

using circuit::Netlist;
using event::PowerState;
using job::Arrangement;

constexpr double kNominal_V = 12;  // draws are stated at this
constexpr double kRecessive_V = 2.5, kInput_ohm = 15e3, kBiasOn_ohm = 100, kBiasOff_ohm = 1e6;
constexpr double kDriver_V = 5, kDriver_ohm = 45;
constexpr double kTie_ohm = 1e-3;
constexpr double kOutlet_ohm = 0.02, kOutletFuse_A = 15;  // wire; common value, from memory
constexpr double kWake_A = 0.005;                         // of an ignition wire (own figure)
constexpr double kShows_V = 6;                            // lights glow, chimes sound (own figure)
constexpr double kOwnSource_ohm = 0.05;                   // of the interface's own source (own figure)
constexpr double kFold_V = 6;  // below it a constant power becomes a resistor (as circuit::ModuleLoad has it)
constexpr double kConducts_A = 1e-9;  // below this, and above it backwards, a diode does not
constexpr int kDiodeRounds = 20;      // each settles in two or three

// Receiver thresholds: data sheet SLLSFP9 (ISO 11898-2), <= 0.5 V recessive, >= 0.9 V dominant.
constexpr double kSeenRecessive_V = 0.5, kSeenDominant_V = 0.9;
// Common mode of older receivers, from memory: shapes the simulated behaviour, judges nothing.
constexpr double kCommonModeMin_V = -2, kCommonModeMax_V = 7;
// Share of a bit after which the level must stand (own figure, sample point at about 80 % less both delays).
constexpr double kSettleShare = 0.7;

bool vehicle(const Scenario& s) { return s.arrangement != Arrangement::removed; }
bool ownBattery(const Scenario& s) { return s.arrangement == Arrangement::own_battery; }

std::string part(std::size_t module, const char* what) { return fmt::format("module{}.{}", module, what); }
std::string driverPart(std::size_t driver, const char* what) {
  if (driver == kInterface) return fmt::format("interface.{}", what);
  return driver == kGateway ? fmt::format("gateway.{}", what) : part(driver, what);
}

struct Pair {
  const char* high;
  const char* low;
};
Pair innerWires() { return {"high", "low"}; }
Pair connectorWires(const Scenario& s) {
  return s.gateway ? Pair{"connector.high", "connector.low"} : innerWires();
}
Pair wiresOf(const Scenario& s, const Module& m) {
  return m.bus == Module::Side::connector ? connectorWires(s) : innerWires();
}

void addSource(Netlist& n, const Scenario& s) {
  const Source& o = s.source;
  if (o.limit_A > 0)
    n.supply("source", "cell", "src-",
             {o.emf_V, std::max(o.series_ohm, circuit::kSupplySeriesMin_ohm), o.limit_A,
              o.limit_A * (1 - o.limit_foldback), 0});
  else
    n.source("source", "cell", "src-", o.emf_V, o.series_ohm);
  n.toggle("output", "cell", "src+", !s.source.output_open);
  if (o.booster_V > 0) n.source("booster", "src+", "src-", o.booster_V, o.booster_ohm);
  // Battery cable or plug of the rig: the switch between power off and source.
  n.toggle("main", "src+", "out", false, ownBattery(s) ? s.vehicle.main_ohm : circuit::kContact_ohm);
}

void addRig(Netlist& n, const Scenario& s) {
  n.fuse("rig.fuse", "out", "rig1", s.rig.fuse_A, s.rig.fuse_open);
  n.lead("rig.feed", "rig1", "rig2", s.rig.feed.mm2, s.rig.feed.length_m, s.celsius);
  n.resistor("rig.joint", "rig2", "rig3", s.rig.joint_ohm);
  n.toggle("rig.switch", "rig3", "feed", false);
  const char* to = s.arrangement == Arrangement::removed ? "harness"
                   : s.rig.wrong_slot_ohm                ? "otherblade"
                   : s.rig.supply_blade                  ? "supplyblade"
                                                         : "loadblade";
  if (s.rig.wrong_slot_ohm && vehicle(s))
    n.resistor("othercircuit", "otherblade", "chassis", *s.rig.wrong_slot_ohm);
  n.toggle("clip", "feed", to, false, s.rig.clip_ohm);
  n.resistor("clamp", "chassis", "clampwire", s.rig.clamp_ohm);
  n.lead("rig.ground", "clampwire", "src-", s.rig.ground.mm2, s.rig.ground.length_m, s.celsius);
}

void addVehicle(Netlist& n, const Scenario& s) {
  const char* bar = ownBattery(s) ? "out" : "busbar";
  if (ownBattery(s)) n.resistor("strap", "chassis", "src-", s.vehicle.ground_ohm);
  n.resistor("loads", bar, "chassis", s.vehicle.loads_off_ohm);
  n.toggle("ignition", bar, "supplyblade", true);
  n.fuse("module_fuse", "supplyblade", "slotfuse", s.vehicle.module_fuse_A, s.vehicle.module_fuse_open);
  n.toggle("slot", "slotfuse", "loadblade", false);
}

void addConnector(Netlist& n, const Scenario& s) {
  const Connector& c = s.connector;
  if (c.fed_from == Connector::Feed::bus_bar)
    n.fuse("connector_fuse", ownBattery(s) ? "out" : "busbar", "pin16wire", c.fuse_A, c.fuse_open);
  if (c.fed_from == Connector::Feed::source)
    n.fuse("connector_fuse", "out", "pin16wire", c.fuse_A, c.fuse_open);
  using Outlet = Vehicle::Outlet;
  if (vehicle(s) && s.vehicle.outlet == Outlet::connector_fuse)
    n.resistor("outlet", "pin16wire", "outlet", kOutlet_ohm);
  if (vehicle(s) && s.vehicle.outlet == Outlet::own_fuse)
    n.fuse("outlet", ownBattery(s) ? "out" : "busbar", "outlet", kOutletFuse_A, false);
  n.resistor("pin16", "pin16wire", "pin16", c.pin16_ohm);
  const char* ground = "chassis";
  if (c.shared_ground_ohm > 0) {
    ground = "sharedground";
    n.resistor("shared_ground", ground, "chassis", c.shared_ground_ohm);
    if (c.shared_ground_A > 0)
      n.resistor("shared_load", ownBattery(s) || !vehicle(s) ? "out" : "feed", ground,
                 kNominal_V / c.shared_ground_A);
  }
  n.resistor("pin4", ground, "pin4", c.pin4_ohm);
  n.resistor("pin5", ground, "pin5", c.pin5_ohm);
  const Pair wires = connectorWires(s);
  n.resistor("pin6", c.swapped ? wires.low : wires.high, "pin6", c.pin6_ohm);
  n.resistor("pin14", c.swapped ? wires.high : wires.low, "pin14", c.pin14_ohm);
}

void addTransceiver(Netlist& n, std::size_t driver, const std::string& high, const std::string& low,
                    const std::string& ground) {
  const std::string middle = driverPart(driver, "middle");
  n.resistor(driverPart(driver, "input_high"), high, middle, kInput_ohm);
  n.resistor(driverPart(driver, "input_low"), low, middle, kInput_ohm);
  n.source(driverPart(driver, "bias"), middle, ground, 0, kBiasOff_ohm);
  n.source(driverPart(driver, "drive_high"), high, ground, kDriver_V, circuit::kOpen_ohm);
  n.source(driverPart(driver, "drive_low"), low, ground, 0, circuit::kOpen_ohm);
}

void addInterface(Netlist& n, const Scenario& s) {
  const Interface& i = s.interface;
  if (i.own_V > 0) {
    n.source("interface.own", "interface+", "interface-", i.own_V, kOwnSource_ohm);
    n.source("interface.offset", "interface-", "src-", i.own_offset_V, i.own_offset_ohm);
    n.resistor("interface.tie", "interface-", "interface.ref", kTie_ohm);
  } else if (i.from_source) {
    n.lead("interface.plus", "out", "interface+", i.lead.mm2, i.lead.length_m, s.celsius);
    n.lead("interface.minus", "interface-", "src-", i.lead.mm2, i.lead.length_m, s.celsius);
    if (i.ties_grounds) n.resistor("interface.tie", "interface-", "interface.ref", kTie_ohm);
  } else {
    n.toggle("plug16", "pin16", "interface+", true);
    n.resistor("interface.tie", "interface-", "interface.ref", kTie_ohm);
  }
  n.resistor("interface.load", "interface+", "interface-", kNominal_V / i.current_A);
  if (i.own_V == 0 || i.ties_grounds) {
    n.toggle("plug4", "pin4", "interface.ref", true);
    n.toggle("plug5", "pin5", "interface.ref", true);
  }
  n.toggle("plug6", "pin6", "interface.high", true);
  n.toggle("plug14", "pin14", "interface.low", true);
  if (i.termination_ohm > 0)
    n.resistor("interface.termination", "interface.high", "interface.low", i.termination_ohm);
  addTransceiver(n, kInterface, "interface.high", "interface.low", "interface.ref");
}

void addBus(Netlist& n, const Scenario& s) {
  const Bus& b = s.bus;
  for (std::size_t i = 0; i < b.terminations_ohm.size(); ++i)
    n.resistor(fmt::format("termination{}", i), "high", "low", b.terminations_ohm[i]);
  // A chafed wire touches the module's feed: the slot's load side, on the table the harness.
  const char* supply = vehicle(s) ? "loadblade" : "harness";
  if (b.short_between_ohm) n.resistor("short.between", "high", "low", *b.short_between_ohm);
  if (b.high_to_ground_ohm) n.resistor("short.high_ground", "high", "chassis", *b.high_to_ground_ohm);
  if (b.high_to_supply_ohm) n.resistor("short.high_supply", "high", supply, *b.high_to_supply_ohm);
  if (b.low_to_ground_ohm) n.resistor("short.low_ground", "low", "chassis", *b.low_to_ground_ohm);
  if (b.low_to_supply_ohm) n.resistor("short.low_supply", "low", supply, *b.low_to_supply_ohm);
}

void addKLine(Netlist& n, const Scenario& s) {
  const KLineWires& k = *s.kline;
  n.resistor("pin7", "kline", "pin7", k.pin7_ohm);
  n.toggle("plug7", "pin7", "interface.k", true);
  n.resistor("interface.pull_up", "interface.k", "interface+", k.interface_pull_up_ohm);
  // Each wire hangs on something, if only on a leak.
  n.resistor("kline.leak", "kline", "chassis", kBiasOff_ohm);
  if (k.module_pull_up_ohm > 0) n.resistor("kline.pull_up", "kline", part(0, "+"), k.module_pull_up_ohm);
  if (k.to_ground_ohm) n.resistor("kline.ground", "kline", "chassis", *k.to_ground_ohm);
  if (k.to_supply_ohm)
    n.resistor("kline.supply", "kline", vehicle(s) ? "loadblade" : "harness", *k.to_supply_ohm);
}

/// The bus wires at a module: the bus's, or behind a branch of its own.
std::pair<std::string, std::string> busAt(const Scenario& s, std::size_t i) {
  const Module& m = s.modules[i];
  const Pair wires = wiresOf(s, m);
  return {m.high_ohm > 0 ? part(i, "high") : wires.high, m.low_ohm > 0 ? part(i, "low") : wires.low};
}

/// Where a feed comes from; nullptr: this arrangement has no such place.
const char* feedNode(const Scenario& s, Module::Feed feed) {
  switch (feed) {
    case Module::Feed::slot:
      return vehicle(s) ? "loadblade" : "harness";
    case Module::Feed::bus_bar:
    case Module::Feed::ignition:
      return !vehicle(s) ? nullptr : ownBattery(s) ? "out" : "busbar";
    case Module::Feed::rig:
      return ownBattery(s) ? nullptr : "feed";
    case Module::Feed::source:
      return "out";
  }
  return nullptr;
}

std::string feedPart(std::size_t module, std::size_t feed, const char* what) {
  return part(module, what) + (feed == 0 ? "" : fmt::format("{}", feed));
}

double feedShare(const Module& m, std::size_t feed) {
  const std::size_t wires = m.wake_up == Module::WakeUp::ignition ? 1 : 0;
  const std::size_t carrying = m.feeds.size() - wires;
  return feed < carrying ? 1 / static_cast<double>(carrying) : 0;
}

Status addModule(Netlist& n, const Scenario& s, std::size_t i) {
  const Module& m = s.modules[i];
  for (std::size_t f = 0; f < m.feeds.size(); ++f) {
    const char* from = feedNode(s, m.feeds[f]);
    if (from == nullptr)
      return Error{ErrorKind::input,
                   vehicle(s)
                       ? fmt::format("{} is fed by a rig, but there is none on its own battery", m.name)
                       : fmt::format("{} hangs on a bus bar, but there is none on the table", m.name),
                   s.file, vehicle(s) ? "write bus-bar or slot" : "write slot or rig"};
    const auto name = [&](const char* what) { return feedPart(i, f, what); };
    const bool reserve = f == 0 && m.reserve_uF > 0;
    n.toggle(name("switch"), from, name("feed"), true);
    n.lead(name("harness"), name("feed"), name("joint"), m.harness.mm2, m.harness.length_m, s.celsius);
    n.resistor(name("joint"), name("joint"), reserve ? name("in") : name("+"),
               f == 0 ? m.feed_ohm : m.further_feed_ohm);
    if (m.draw == Module::Draw::power)
      n.consumer(name("load"), name("+"), part(i, "-"),
                 {.law = circuit::Law::power, .amount = kNominal_V * m.sleep_A, .fold_V = kFold_V});
    else
      n.resistor(name("load"), name("+"), part(i, "-"), kNominal_V / m.sleep_A);
    if (!reserve) continue;
    n.toggle(name("diode"), name("in"), name("+"), true);
    n.source(name("reserve"), name("+"), part(i, "-"), 0, circuit::kOpen_ohm);
  }
  if (m.short_ohm) n.resistor(part(i, "short"), feedPart(i, 0, "+"), part(i, "-"), *m.short_ohm);
  n.resistor(part(i, "ground"), part(i, "-"), "chassis", m.ground_ohm);
  const auto [high, low] = busAt(s, i);
  if (m.high_ohm > 0) n.resistor(part(i, "branch_high"), wiresOf(s, m).high, high, m.high_ohm);
  if (m.low_ohm > 0) n.resistor(part(i, "branch_low"), wiresOf(s, m).low, low, m.low_ohm);
  if (m.termination_ohm > 0) n.resistor(part(i, "termination"), high, low, m.termination_ohm);
  addTransceiver(n, i, high, low, part(i, "-"));
  return {};
}

void addGateway(Netlist& n, const Scenario& s) {
  const Pair wires = connectorWires(s);
  for (std::size_t i = 0; i < s.gateway->terminations_ohm.size(); ++i)
    n.resistor(fmt::format("connector.termination{}", i), wires.high, wires.low,
               s.gateway->terminations_ohm[i]);
  addTransceiver(n, kGateway, wires.high, wires.low, part(s.modules.size() - 1, "-"));
}

Error unknownNode(const Scenario& s, const Meter& m) {
  return {ErrorKind::input,
          fmt::format("there is no point {} in arrangement {}", m.point, toText(s.arrangement)), s.file,
          "see docs/scenario-file.md for the points"};
}

}  // namespace

std::optional<PointName> parsePoint(std::string_view point) {
  using Kind = PointName::Kind;
  if (point == "lamp") return PointName{Kind::lamp, {}, {}};
  if (point == "signs") return PointName{Kind::signs, {}, {}};
  if (point == "I(feed)") return PointName{Kind::feed_current, {}, {}};
  if (point == "R(feedpath)") return PointName{Kind::feed_path, {}, {}};
  if (point.starts_with("Vac(")) {
    auto of = parsePoint("V" + std::string(point.substr(3)));
    if (of) of->kind = Kind::ripple;
    return of;
  }
  if (point.size() < 6 || point[1] != '(' || point.back() != ')') return std::nullopt;
  if (point[0] != 'V' && point[0] != 'R') return std::nullopt;
  const std::string_view inner = point.substr(2, point.size() - 3);
  const auto comma = inner.find(',');
  if (comma == std::string_view::npos) return std::nullopt;
  return PointName{point[0] == 'V' ? Kind::volts : Kind::ohms, std::string(inner.substr(0, comma)),
                   std::string(inner.substr(comma + 1))};
}

Result<Network> Network::make(const Scenario& s, const Meter* meter) {
  Netlist n("src-");
  addSource(n, s);
  if (!ownBattery(s)) addRig(n, s);
  if (vehicle(s)) addVehicle(n, s);
  addConnector(n, s);
  addInterface(n, s);
  addBus(n, s);
  for (std::size_t i = 0; i < s.modules.size(); ++i)
    if (Status added = addModule(n, s, i); !added) return added.error();
  if (s.gateway) addGateway(n, s);
  if (s.kline) addKLine(n, s);
  if (!vehicle(s) && s.connector.fed_from == Connector::Feed::bus_bar)
    return Error{ErrorKind::input, "the connector is fed from a bus bar, but there is none on the table",
                 s.file, "write connector.fed_from = \"source\" or \"none\""};
  const char* feed_point = ownBattery(s) ? "supplyblade" : "feed";
  n.toggle("dummy.switch", feed_point, "dummy", false);
  n.resistor("dummy", "dummy", "chassis", kDummy_ohm);

  Network out;
  out.scenario_ = std::make_shared<const Scenario>(s);
  if (meter != nullptr) {
    const auto point = parsePoint(meter->point);
    if (!point) return unknownNode(s, *meter);
    out.point_ = *point;
    // In the vehicle's own slot the feed is the load blade.
    for (std::string* node : {&out.point_.a, &out.point_.b})
      if (ownBattery(s) && *node == "feed") *node = "loadblade";
    if (point->kind == PointName::Kind::signs)
      out.point_.a = ownBattery(s) ? "out" : "busbar", out.point_.b = "chassis";
    if (point->kind == PointName::Kind::feed_path) out.point_.a = feed_point, out.point_.b = "chassis";
    if (!out.point_.a.empty()) {
      const auto plain = n.compile();
      if (!plain) return plain.error();
      if (!plain->node(out.point_.a) || !plain->node(out.point_.b)) return unknownNode(s, *meter);
      // An ohmmeter is no load; a voltmeter is.
      if (point->kind != PointName::Kind::ohms)
        n.voltmeter("meter", out.point_.a, out.point_.b, meter->input_ohm);
    }
  }
  auto circuit = n.compile();
  if (!circuit) {
    Error e = circuit.error();
    e.place = s.file;
    return e;
  }
  out.circuit_ = *std::move(circuit);
  if (!out.point_.a.empty()) {
    out.a_ = *out.circuit_.node(out.point_.a);
    out.b_ = *out.circuit_.node(out.point_.b);
  }
  out.findPlaces();
  return out;
}

Network::Transceiver Network::findTransceiver(const std::string& prefix, const std::string& high,
                                              const std::string& low, const std::string& ground,
                                              bool connector_side) const {
  const auto at = [&](const char* element, const char* parameter) {
    return *circuit_.param(prefix + element, parameter);
  };
  Transceiver t;
  t.bias_V = at(".bias", "emf_V");
  t.bias_ohm = at(".bias", "series_ohm");
  t.high_ohm = at(".drive_high", "series_ohm");
  t.low_ohm = at(".drive_low", "series_ohm");
  t.high = *circuit_.node(high);
  t.low = *circuit_.node(low);
  t.ground = *circuit_.node(ground);
  t.connector_side = connector_side;
  return t;
}

void Network::findPlaces() {
  const Scenario& s = *scenario_;
  const auto at = [&](const std::string& element, const char* parameter) {
    return circuit_.param(element, parameter).value_or(kNowhere);
  };
  Places& p = places_;
  p.main = at("main", "open");
  p.output = at("output", "open");
  p.rig_switch = at("rig.switch", "open");
  p.clip = at("clip", "open");
  p.slot = at("slot", "open");
  p.ignition = at("ignition", "open");
  p.dummy = at("dummy.switch", "open");
  p.loads_ohm = at("loads", "ohm");
  p.emf_V = at("source", "emf_V");
  p.series_ohm = at("source", "series_ohm");
  for (const char* plug : {"plug16", "plug4", "plug5", "plug6", "plug7", "plug14"})
    p.plugs.push_back(at(plug, "open"));
  p.interface =
      findTransceiver("interface", "interface.high", "interface.low", "interface.ref", s.gateway.has_value());
  p.interface_plus = *circuit_.node("interface+");
  p.interface_minus = *circuit_.node("interface-");
  p.source_plus = *circuit_.node("cell");
  p.source_minus = *circuit_.node("src-");
  p.source = *circuit_.branch("source");
  for (std::size_t i = 0; i < s.modules.size(); ++i) {
    const Module& m = s.modules[i];
    Wired w;
    const auto wires = busAt(s, i);
    w.minus = *circuit_.node(part(i, "-"));
    w.transceiver = findTransceiver(fmt::format("module{}", i), wires.first, wires.second, part(i, "-"),
                                    s.gateway && m.bus == Module::Side::connector);
    for (std::size_t f = 0; f < m.feeds.size(); ++f) {
      Feed feed;
      feed.load = at(feedPart(i, f, "load"), m.draw == Module::Draw::power ? "amount" : "ohm");
      feed.switch_open = at(feedPart(i, f, "switch"), "open");
      feed.switched =
          m.feeds[f] == Module::Feed::ignition || (m.ignition_only && m.feeds[f] == Module::Feed::bus_bar);
      feed.share = feedShare(m, f);
      feed.plus = *circuit_.node(feedPart(i, f, "+"));
      w.feeds.push_back(feed);
    }
    if (m.reserve_uF > 0) {
      w.reserve_V = at(part(i, "reserve"), "emf_V");
      w.reserve_ohm = at(part(i, "reserve"), "series_ohm");
      w.diode_open = at(part(i, "diode"), "open");
      w.diode = *circuit_.branch(part(i, "diode"));
      w.diode_in = *circuit_.node(part(i, "in"));
    }
    p.modules.push_back(std::move(w));
  }
  if (s.gateway)
    p.gateway = findTransceiver("gateway", connectorWires(s).high, connectorWires(s).low,
                                part(s.modules.size() - 1, "-"), true);
}

const Network::Transceiver& Network::transceiver(std::size_t driver) const {
  if (driver == kInterface) return places_.interface;
  return driver == kGateway ? places_.gateway : places_.modules[driver].transceiver;
}

circuit::Params Network::params(const Condition& c, std::optional<std::size_t> driver) const {
  const Scenario& s = *scenario_;
  circuit::Params p = circuit_.defaults();
  const auto set = [&p](std::size_t at, double value) {
    if (at != kNowhere) p[at] = value;
  };
  const auto close = [&set](std::size_t at, bool closed) { set(at, closed ? 0 : 1); };
  const bool on = c.power == PowerState::on;
  const bool contact = !c.contact_open;
  close(places_.main, c.power != PowerState::off);
  close(places_.output, !s.source.output_open && !c.source_off);
  close(places_.rig_switch, (on && contact) || c.dummy != Dummy::none);
  close(places_.clip, on);
  // On its own battery the slot's contact is the one that bounces.
  close(places_.slot, on && (ownBattery(s) ? contact : s.vehicle.module_fuse_left_in));
  close(places_.ignition, on || !s.vehicle.slot_ignition_fed);
  close(places_.dummy, c.dummy == Dummy::loaded);
  set(places_.loads_ohm, on ? s.vehicle.loads_on_ohm : s.vehicle.loads_off_ohm);
  if (c.emf_V) set(places_.emf_V, *c.emf_V);
  if (c.series_ohm) set(places_.series_ohm, std::max(*c.series_ohm, circuit::kSupplySeriesMin_ohm));
  for (const std::size_t plug : places_.plugs) close(plug, c.interface_plugged);

  const auto drive = [&](std::size_t who, bool alive) {
    const Transceiver& t = transceiver(who);
    set(t.bias_V, alive ? kRecessive_V : 0);
    set(t.bias_ohm, alive ? kBiasOn_ohm : kBiasOff_ohm);
    if (driver == who) set(t.high_ohm, kDriver_ohm), set(t.low_ohm, kDriver_ohm);
  };
  drive(kInterface, c.interface_alive && c.interface_plugged && !s.interface.transceiver_dead);
  for (std::size_t i = 0; i < s.modules.size(); ++i) {
    const Module& m = s.modules[i];
    const Wired& w = places_.modules[i];
    const ModuleState state = i < c.modules.size() ? c.modules[i] : ModuleState::asleep;
    const double draw_A = state == ModuleState::running   ? m.run_A
                          : state == ModuleState::booting ? m.boot_A
                          : state == ModuleState::inrush  ? m.inrush_A
                                                          : m.sleep_A;
    for (const Feed& f : w.feeds) {
      close(f.switch_open, on || !f.switched);
      const double share_A = f.share > 0 ? draw_A * f.share : kWake_A;
      set(f.load, m.draw == Module::Draw::power ? kNominal_V * share_A : kNominal_V / share_A);
    }
    if (w.reserve_ohm != kNowhere && c.step_s > 0) {
      set(w.reserve_V, i < c.reserve_V.size() ? c.reserve_V[i] : 0);
      set(w.reserve_ohm, c.step_s / (m.reserve_uF * 1e-6));
    }
    const bool on_bus = state == ModuleState::running && !m.transceiver_dead;
    drive(i, on_bus);
    if (m.jams && on_bus) set(w.transceiver.high_ohm, kDriver_ohm), set(w.transceiver.low_ohm, kDriver_ohm);
    if (s.gateway && i + 1 == s.modules.size()) drive(kGateway, state == ModuleState::running);
  }
  return p;
}

/// Opens the diodes that would conduct backwards.
Result<circuit::Solution> Network::solveDiodes(circuit::Params& p) const {
  for (int round = 0; round < kDiodeRounds; ++round) {
    auto solution = circuit_.solve(p);
    if (!solution) return solution;
    bool again = false;
    for (const Wired& w : places_.modules) {
      if (w.diode_open == kNowhere) continue;
      const bool open = p[w.diode_open] != 0;
      const bool conducts = open ? solution->volts(w.diode_in, w.feeds[0].plus) > kConducts_A
                                 : solution->ampere(w.diode) > -kConducts_A;
      if (conducts == !open) continue;
      p[w.diode_open] = conducts ? 0 : 1;
      again = true;
    }
    if (!again) return solution;
  }
  return Error{ErrorKind::internal, "the diodes of the bench do not settle", scenario_->file, ""};
}

Result<circuit::Solution> Network::solve(const Condition& c, std::optional<std::size_t> driver) const {
  circuit::Params p = params(c, driver);
  return solveDiodes(p);
}

Result<double> Network::volts(const Condition& c, std::optional<std::size_t> driver, circuit::Node a,
                              circuit::Node b) const {
  const auto solution = solve(c, driver);
  if (!solution) return solution.error();
  return solution->volts(a, b);
}

Result<double> Network::read(const Condition& c) const {
  using Kind = PointName::Kind;
  switch (point_.kind) {
    case Kind::lamp: {
      const auto v = supply(c);
      if (!v) return v.error();
      return v->interface_V >= scenario_->interface.supply_min_V && !scenario_->interface.dead ? 1.0 : 0.0;
    }
    case Kind::ohms: {
      const auto r = circuit_.resistance_ohm(params(c, std::nullopt), a_, b_);
      if (!r) return r.error();
      return std::min(*r, kOhmsMax);
    }
    case Kind::feed_current: {
      const auto solution = solve(c, std::nullopt);
      if (!solution) return solution.error();
      return solution->ampere(*circuit_.branch(ownBattery(*scenario_) ? "slot" : "rig.switch"));
    }
    case Kind::feed_path: {
      Condition open = c;
      open.dummy = Dummy::open;
      Condition loaded = c;
      loaded.dummy = Dummy::loaded;
      const auto none = solve(open, std::nullopt);
      const auto with = solve(loaded, std::nullopt);
      if (!none) return none.error();
      if (!with) return with.error();
      // Volts at the feed without and with the dummy, over its current: everything in the path.
      const double current_A = with->ampere(*circuit_.branch("dummy"));
      const double drop_V = none->volts(a_, b_) - with->volts(a_, b_);
      return std::abs(current_A) < 1e-6 ? kOhmsMax : std::min(drop_V / current_A, kOhmsMax);
    }
    case Kind::signs: {
      const auto v = volts(c, std::nullopt, a_, b_);
      if (!v) return v.error();
      return scenario_->vehicle.visible_signs && *v >= kShows_V ? 1.0 : 0.0;
    }
    case Kind::ripple: {
      const auto v = volts(c, std::nullopt, a_, b_);
      if (!v) return v.error();
      const double emf_V = c.emf_V.value_or(scenario_->source.emf_V);
      // A sine, as a slow meter takes it; it falls along the path as the volts do.
      const double rms_V = scenario_->source.ripple_Vpp / (2 * std::numbers::sqrt2);
      return emf_V == 0 ? 0 : rms_V * std::abs(*v / emf_V);
    }
    case Kind::volts:
      break;
  }
  const auto recessive = volts(c, std::nullopt, a_, b_);
  if (!recessive) return recessive.error();
  double mean_V = *recessive;
  for (std::size_t i = 0; i < c.dominant_share.size(); ++i) {
    if (c.dominant_share[i] == 0) continue;
    const std::size_t count = scenario_->modules.size();
    const auto dominant = volts(c, i < count ? i : i == count ? kGateway : kInterface, a_, b_);
    if (!dominant) return dominant.error();
    mean_V += c.dominant_share[i] * (*dominant - *recessive);
  }
  return mean_V;
}

Result<Supply> Network::supply(const Condition& c) const {
  const auto solution = solve(c, std::nullopt);
  if (!solution) return solution.error();
  Supply out;
  for (const Wired& w : places_.modules) {
    double lowest_V = kOhmsMax;
    for (const Feed& f : w.feeds) lowest_V = std::min(lowest_V, solution->volts(f.plus, w.minus));
    out.module_V.push_back(lowest_V - scenario_->source.ripple_Vpp / 2);
    out.reserve_V.push_back(solution->volts(w.feeds[0].plus, w.minus));
  }
  out.interface_V = solution->volts(places_.interface_plus, places_.interface_minus);
  out.source_A = solution->ampere(places_.source);
  out.source_V = solution->volts(places_.source_plus, places_.source_minus);
  return out;
}

Result<Heard> Network::hears(const Condition& c, std::size_t sender, std::size_t receiver) const {
  const Transceiver& from = transceiver(sender);
  const Transceiver& at = transceiver(receiver);
  if (from.connector_side != at.connector_side) return Heard::nothing;
  if (scenario_->interface.transceiver_dead && (sender == kInterface || receiver == kInterface))
    return Heard::nothing;
  const auto quiet = solve(c, std::nullopt);
  if (!quiet) return quiet.error();
  const auto dominant = solve(c, sender);
  if (!dominant) return dominant.error();
  // Return to recessive once the driver lets go: the wires' capacitance through what lies between them.
  const auto between_ohm = circuit_.resistance_ohm(params(c, std::nullopt), at.high, at.low);
  if (!between_ohm) return between_ohm.error();

  const auto inCommonMode = [&](const circuit::Solution& s) {
    const double mean_V = (s.volts(at.high, at.ground) + s.volts(at.low, at.ground)) / 2;
    return mean_V >= kCommonModeMin_V && mean_V <= kCommonModeMax_V;
  };
  const double dominant_V = dominant->volts(at.high, at.low);
  if (dominant_V < kSeenDominant_V || !inCommonMode(*quiet) || !inCommonMode(*dominant))
    return Heard::nothing;
  const auto rate = [&](std::size_t who) {
    const std::uint32_t own = who == kInterface ? c.interface_bitrate
                              : who == kGateway ? 0
                                                : scenario_->modules[who].bitrate;
    return own == 0 ? scenario_->bus.bitrate : own;
  };
  const double capacitance_pF =
      at.connector_side ? scenario_->gateway->capacitance_pF : scenario_->bus.capacitance_pF;
  const double fall_s = *between_ohm * capacitance_pF * 1e-12 * std::log(dominant_V / kSeenRecessive_V);
  const bool clear = quiet->volts(at.high, at.low) <= kSeenRecessive_V &&
                     fall_s <= kSettleShare / rate(sender) && rate(sender) == rate(receiver);
  return clear ? Heard::clear : Heard::garbled;
}

std::vector<std::string> Network::floating(const Condition& c) const {
  return circuit_.floating(params(c, std::nullopt));
}

}  // namespace pin16::bench
