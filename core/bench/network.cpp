// SPDX-License-Identifier: Apache-2.0
#include "core/bench/network.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

namespace pin16::bench {
namespace {

using circuit::Netlist;
using event::PowerState;
using job::Arrangement;

constexpr double kNominal_V = 12;  // draws are stated at this
constexpr double kRecessive_V = 2.5, kInput_ohm = 15e3, kBiasOn_ohm = 100, kBiasOff_ohm = 1e6;
constexpr double kDriver_V = 5, kDriver_ohm = 45;
constexpr double kTie_ohm = 1e-3;

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
  return driver == kInterface ? fmt::format("interface.{}", what) : part(driver, what);
}

void addSource(Netlist& n, const Scenario& s) {
  n.source("source", "cell", "src-", s.source.emf_V, s.source.series_ohm);
  n.toggle("output", "cell", "src+", !s.source.output_open);
  // Battery cable or plug of the rig: the switch between power off and source.
  n.toggle("main", "src+", "out", false, ownBattery(s) ? s.vehicle.main_ohm : circuit::kContact_ohm);
}

void addRig(Netlist& n, const Scenario& s) {
  n.fuse("rig.fuse", "out", "rig1", s.rig.fuse_A, s.rig.fuse_open);
  n.lead("rig.feed", "rig1", "rig2", s.rig.feed.mm2, s.rig.feed.length_m, s.celsius);
  n.resistor("rig.joint", "rig2", "rig3", s.rig.joint_ohm);
  n.toggle("rig.switch", "rig3", "feed", false);
  const char* to = s.arrangement == Arrangement::removed ? "harness"
                   : s.rig.supply_blade                  ? "supplyblade"
                                                         : "loadblade";
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
  n.resistor("pin16", "pin16wire", "pin16", c.pin16_ohm);
  n.resistor("pin4", "chassis", "pin4", c.pin4_ohm);
  n.resistor("pin5", "chassis", "pin5", c.pin5_ohm);
  n.resistor("pin6", "high", "pin6", c.pin6_ohm);
  n.resistor("pin14", "low", "pin14", c.pin14_ohm);
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
  if (i.from_source) {
    n.lead("interface.plus", "out", "interface+", i.lead.mm2, i.lead.length_m, s.celsius);
    n.lead("interface.minus", "interface-", "src-", i.lead.mm2, i.lead.length_m, s.celsius);
    if (i.ties_grounds) n.resistor("interface.tie", "interface-", "interface.ref", kTie_ohm);
  } else {
    n.toggle("plug16", "pin16", "interface+", true);
    n.resistor("interface.tie", "interface-", "interface.ref", kTie_ohm);
  }
  n.resistor("interface.load", "interface+", "interface-", kNominal_V / i.current_A);
  n.toggle("plug4", "pin4", "interface.ref", true);
  n.toggle("plug5", "pin5", "interface.ref", true);
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

void addModule(Netlist& n, const Scenario& s, std::size_t i) {
  const Module& m = s.modules[i];
  const char* bar = ownBattery(s) ? "out" : "busbar";
  const char* feed = m.feed == Module::Feed::bus_bar ? bar : vehicle(s) ? "loadblade" : "harness";
  n.toggle(part(i, "switch"), feed, part(i, "feed"), true);
  n.lead(part(i, "harness"), part(i, "feed"), part(i, "joint"), m.harness.mm2, m.harness.length_m, s.celsius);
  n.resistor(part(i, "joint"), part(i, "joint"), part(i, "+"), m.feed_ohm);
  n.resistor(part(i, "load"), part(i, "+"), part(i, "-"), kNominal_V / m.sleep_A);
  n.resistor(part(i, "ground"), part(i, "-"), "chassis", m.ground_ohm);
  addTransceiver(n, i, "high", "low", part(i, "-"));
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
  if (point == "I(feed)") return PointName{Kind::feed_current, {}, {}};
  if (point == "R(feedpath)") return PointName{Kind::feed_path, {}, {}};
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
  for (std::size_t i = 0; i < s.modules.size(); ++i) {
    if (!vehicle(s) && s.modules[i].feed == Module::Feed::bus_bar)
      return Error{
          ErrorKind::input,
          fmt::format("module {} hangs on a bus bar, but there is none on the table", s.modules[i].name),
          s.file, "write feed = \"slot\""};
    addModule(n, s, i);
  }
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
  return out;
}

circuit::Params Network::params(const Condition& c, std::optional<std::size_t> driver) const {
  const Scenario& s = *scenario_;
  circuit::Params p = circuit_.defaults();
  const auto set = [&](std::string_view element, std::string_view parameter, double value) {
    if (const auto at = circuit_.param(element, parameter)) p[*at] = value;
  };
  const auto close = [&](std::string_view element, bool closed) { set(element, "open", closed ? 0 : 1); };
  const bool on = c.power == PowerState::on;
  close("main", c.power != PowerState::off);
  close("rig.switch", on || c.dummy != Dummy::none);
  close("clip", on);
  close("slot", on && (ownBattery(s) || s.vehicle.module_fuse_left_in));
  close("ignition", on || !s.vehicle.slot_ignition_fed);
  close("dummy.switch", c.dummy == Dummy::loaded);
  set("loads", "ohm", on ? s.vehicle.loads_on_ohm : s.vehicle.loads_off_ohm);
  for (const char* plug : {"plug16", "plug4", "plug5", "plug6", "plug14"}) close(plug, c.interface_plugged);

  const auto transceiver = [&](std::size_t who, bool alive) {
    set(driverPart(who, "bias"), "emf_V", alive ? kRecessive_V : 0);
    set(driverPart(who, "bias"), "series_ohm", alive ? kBiasOn_ohm : kBiasOff_ohm);
    if (driver == who)
      for (const char* wire : {"drive_high", "drive_low"})
        set(driverPart(who, wire), "series_ohm", kDriver_ohm);
  };
  transceiver(kInterface, c.interface_alive && c.interface_plugged);
  for (std::size_t i = 0; i < s.modules.size(); ++i) {
    const Module& m = s.modules[i];
    const ModuleState state = i < c.modules.size() ? c.modules[i] : ModuleState::asleep;
    close(part(i, "switch"), on || !m.ignition_only);
    const double draw_A = state == ModuleState::running   ? m.run_A
                          : state == ModuleState::booting ? m.boot_A
                                                          : m.sleep_A;
    set(part(i, "load"), "ohm", kNominal_V / draw_A);
    transceiver(i, state == ModuleState::running && !m.transceiver_dead);
  }
  return p;
}

Result<double> Network::volts(const Condition& c, std::optional<std::size_t> driver, circuit::Node a,
                              circuit::Node b) const {
  const auto solution = circuit_.solve(params(c, driver));
  if (!solution) return solution.error();
  return solution->volts(a, b);
}

Result<double> Network::read(const Condition& c) const {
  using Kind = PointName::Kind;
  switch (point_.kind) {
    case Kind::lamp: {
      const auto v = interfaceVolts(c);
      if (!v) return v.error();
      return *v >= scenario_->interface.supply_min_V && !scenario_->interface.dead ? 1.0 : 0.0;
    }
    case Kind::ohms: {
      const auto r = circuit_.resistance_ohm(params(c, std::nullopt), a_, b_);
      if (!r) return r.error();
      return std::min(*r, kOhmsMax);
    }
    case Kind::feed_current: {
      const auto solution = circuit_.solve(params(c, std::nullopt));
      if (!solution) return solution.error();
      return solution->ampere(*circuit_.branch(ownBattery(*scenario_) ? "slot" : "rig.switch"));
    }
    case Kind::feed_path: {
      Condition open = c;
      open.dummy = Dummy::open;
      Condition loaded = c;
      loaded.dummy = Dummy::loaded;
      const auto none = circuit_.solve(params(open, std::nullopt));
      const auto with = circuit_.solve(params(loaded, std::nullopt));
      if (!none) return none.error();
      if (!with) return with.error();
      // Volts at the feed without and with the dummy, over its current: everything in the path.
      const double current_A = with->ampere(*circuit_.branch("dummy"));
      const double drop_V = none->volts(a_, b_) - with->volts(a_, b_);
      return std::abs(current_A) < 1e-6 ? kOhmsMax : std::min(drop_V / current_A, kOhmsMax);
    }
    case Kind::volts:
      break;
  }
  const auto recessive = volts(c, std::nullopt, a_, b_);
  if (!recessive) return recessive.error();
  double mean_V = *recessive;
  for (std::size_t i = 0; i < c.dominant_share.size(); ++i) {
    if (c.dominant_share[i] == 0) continue;
    const auto dominant = volts(c, i, a_, b_);
    if (!dominant) return dominant.error();
    mean_V += c.dominant_share[i] * (*dominant - *recessive);
  }
  return mean_V;
}

Result<double> Network::moduleVolts(const Condition& c, std::size_t module) const {
  return volts(c, std::nullopt, *circuit_.node(part(module, "+")), *circuit_.node(part(module, "-")));
}

Result<double> Network::interfaceVolts(const Condition& c) const {
  return volts(c, std::nullopt, *circuit_.node("interface+"), *circuit_.node("interface-"));
}

Result<Heard> Network::hears(const Condition& c, std::size_t sender, std::size_t receiver) const {
  const bool at_interface = receiver == kInterface;
  const circuit::Node high = *circuit_.node(at_interface ? "interface.high" : "high");
  const circuit::Node low = *circuit_.node(at_interface ? "interface.low" : "low");
  const circuit::Node ground = *circuit_.node(at_interface ? "interface.ref" : part(receiver, "-"));
  const auto quiet = circuit_.solve(params(c, std::nullopt));
  if (!quiet) return quiet.error();
  const auto dominant = circuit_.solve(params(c, sender));
  if (!dominant) return dominant.error();
  // Return to recessive once the driver lets go: the wires' capacitance through what lies between them.
  const auto between_ohm = circuit_.resistance_ohm(params(c, std::nullopt), high, low);
  if (!between_ohm) return between_ohm.error();

  const auto inCommonMode = [&](const circuit::Solution& s) {
    const double mean_V = (s.volts(high, ground) + s.volts(low, ground)) / 2;
    return mean_V >= kCommonModeMin_V && mean_V <= kCommonModeMax_V;
  };
  const double dominant_V = dominant->volts(high, low);
  if (dominant_V < kSeenDominant_V || !inCommonMode(*quiet) || !inCommonMode(*dominant))
    return Heard::nothing;
  const auto rate = [&](std::size_t who) {
    const std::uint32_t own = who == kInterface ? 0 : scenario_->modules[who].bitrate;
    return own == 0 ? scenario_->bus.bitrate : own;
  };
  const double fall_s =
      *between_ohm * scenario_->bus.capacitance_pF * 1e-12 * std::log(dominant_V / kSeenRecessive_V);
  const bool clear = quiet->volts(high, low) <= kSeenRecessive_V && fall_s <= kSettleShare / rate(sender) &&
                     rate(sender) == rate(receiver);
  return clear ? Heard::clear : Heard::garbled;
}

std::vector<std::string> Network::floating(const Condition& c) const {
  return circuit_.floating(params(c, std::nullopt));
}

}  // namespace pin16::bench
