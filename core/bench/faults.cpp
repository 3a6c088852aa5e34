// SPDX-License-Identifier: Apache-2.0
// Every fault that the bench can inject: what it changes, and nothing else. Default figures follow the spans
// of field practice (own estimates where no source is named).
#include <fmt/core.h>

#include <algorithm>
#include <functional>
#include <tuple>

#include "core/bench/scenario.hpp"
#include "core/circuit/circuit.hpp"

namespace pin16::bench {
namespace {

using job::Arrangement;

constexpr unsigned kOwn = 1, kFed = 2, kRemoved = 4, kOutside = kFed | kRemoved, kAny = 7;

unsigned bit(Arrangement a) {
  switch (a) {
    case Arrangement::own_battery:
      return kOwn;
    case Arrangement::fed_in_place:
      return kFed;
    case Arrangement::removed:
      return kRemoved;
  }
  return 0;
}

struct Entry {
  const char* name;
  unsigned arrangements;
  std::function<void(Scenario&, Module&, const Fault&)> apply;
};

const std::vector<Entry>& entries() {
  static const std::vector<Entry> table = {
      {"source-flat", kAny,
       [](Scenario& s, Module&, const Fault& f) {
         s.source.emf_V = f.V.value_or(10.6);
         s.source.series_ohm = f.ohm.value_or(0.6);
       }},
      {"source-off", kAny, [](Scenario& s, Module&, const Fault&) { s.source.output_open = true; }},
      {"rig-fuse-open", kOutside, [](Scenario& s, Module&, const Fault&) { s.rig.fuse_open = true; }},
      {"feed-lead-poor", kOutside,
       [](Scenario& s, Module&, const Fault& f) { s.rig.joint_ohm = f.ohm.value_or(3); }},
      {"supply-side-feed", kFed, [](Scenario& s, Module&, const Fault&) { s.rig.supply_blade = true; }},
      {"module-fuse-open", kOwn,
       [](Scenario& s, Module&, const Fault&) { s.vehicle.module_fuse_open = true; }},
      {"connector-fuse-open", kAny, [](Scenario& s, Module&, const Fault&) { s.connector.fuse_open = true; }},
      {"pin16-open", kAny,
       [](Scenario& s, Module&, const Fault&) { s.connector.pin16_ohm = circuit::kOpen_ohm; }},
      {"pin4-open", kAny,
       [](Scenario& s, Module&, const Fault&) { s.connector.pin4_ohm = circuit::kOpen_ohm; }},
      {"pin5-open", kAny,
       [](Scenario& s, Module&, const Fault&) { s.connector.pin5_ohm = circuit::kOpen_ohm; }},
      {"pin6-open", kAny,
       [](Scenario& s, Module&, const Fault&) { s.connector.pin6_ohm = circuit::kOpen_ohm; }},
      {"pin14-open", kAny,
       [](Scenario& s, Module&, const Fault&) { s.connector.pin14_ohm = circuit::kOpen_ohm; }},
      {"ground-poor", kAny,
       [](Scenario& s, Module&, const Fault& f) {
         (s.arrangement == Arrangement::own_battery ? s.vehicle.ground_ohm : s.rig.clamp_ohm) =
             f.ohm.value_or(1);
       }},
      {"ground-open", kOutside,
       [](Scenario& s, Module&, const Fault&) { s.rig.clamp_ohm = circuit::kOpen_ohm; }},
      {"module-feed-open", kAny, [](Scenario&, Module& m, const Fault&) { m.feed_ohm = circuit::kOpen_ohm; }},
      {"module-feed-poor", kAny,
       [](Scenario&, Module& m, const Fault& f) { m.feed_ohm = f.ohm.value_or(8); }},
      {"module-ground-poor", kAny,
       [](Scenario&, Module& m, const Fault& f) { m.ground_ohm = f.ohm.value_or(2); }},
      {"module-dead", kAny, [](Scenario&, Module& m, const Fault&) { m.start_V = m.stop_V = 1e3; }},
      {"module-transceiver-dead", kAny,
       [](Scenario&, Module& m, const Fault&) { m.transceiver_dead = true; }},
      {"module-mute", kAny, [](Scenario&, Module& m, const Fault&) { m.mute = true; }},
      {"late-answers", kAny, [](Scenario&, Module& m, const Fault& f) { m.delay_ms = f.ms.value_or(400); }},
      {"pending-answers", kAny, [](Scenario&, Module& m, const Fault&) { m.pending = 3; }},
      {"wrong-bit-rate", kAny, [](Scenario& s, Module& m, const Fault&) { m.bitrate = s.bus.bitrate / 2; }},
      {"termination-missing", kAny,
       [](Scenario& s, Module&, const Fault&) {
         if (!s.bus.terminations_ohm.empty()) s.bus.terminations_ohm.pop_back();
       }},
      {"termination-none", kAny, [](Scenario& s, Module&, const Fault&) { s.bus.terminations_ohm.clear(); }},
      {"termination-extra", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.bus.terminations_ohm.push_back(f.ohm.value_or(120)); }},
      {"bus-short", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.bus.short_between_ohm = f.ohm.value_or(1); }},
      {"high-to-ground", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.bus.high_to_ground_ohm = f.ohm.value_or(1); }},
      {"high-to-supply", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.bus.high_to_supply_ohm = f.ohm.value_or(1); }},
      {"low-to-ground", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.bus.low_to_ground_ohm = f.ohm.value_or(1); }},
      {"low-to-supply", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.bus.low_to_supply_ohm = f.ohm.value_or(1); }},
      {"wrong-slot", kFed,
       [](Scenario& s, Module&, const Fault& f) { s.rig.wrong_slot_ohm = f.ohm.value_or(15); }},
      {"source-over", kOutside, [](Scenario& s, Module&, const Fault& f) { s.source.emf_V = f.V.value_or(24); }},
      {"source-reversed", kOutside, [](Scenario& s, Module&, const Fault&) { s.source.emf_V = -s.source.emf_V; }},
      {"source-ripple", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.source.ripple_Vpp = f.V.value_or(12); }},
      {"booster-beside", kAny,
       [](Scenario& s, Module&, const Fault& f) {
         s.source.booster_V = f.V.value_or(13.5);
         s.source.booster_ohm = f.ohm.value_or(0.03);
       }},
      {"feed-lead-open", kOutside,
       [](Scenario& s, Module&, const Fault&) { s.rig.joint_ohm = circuit::kOpen_ohm; }},
      {"connector-not-fed", kAny,
       [](Scenario& s, Module&, const Fault&) { s.connector.fed_from = Connector::Feed::none; }},
      {"ground-offset", kOwn | kFed,
       [](Scenario& s, Module&, const Fault& f) {
         s.connector.shared_ground_ohm = f.ohm.value_or(0.5);
         s.connector.shared_ground_A = f.A.value_or(10);
       }},
      {"module-ground-open", kAny,
       [](Scenario&, Module& m, const Fault&) { m.ground_ohm = circuit::kOpen_ohm; }},
      {"module-shorted", kAny, [](Scenario&, Module& m, const Fault& f) { m.short_ohm = f.ohm.value_or(1); }},
      {"module-open", kAny,
       [](Scenario&, Module& m, const Fault&) {
         m.start_V = m.stop_V = 1e3;
         m.sleep_A = 1e-6;
       }},
      {"module-restarts", kAny,
       [](Scenario&, Module& m, const Fault& f) { m.restarts_every_s = f.ms.value_or(2000) / 1e3; }},
      {"module-asleep", kAny,
       [](Scenario&, Module& m, const Fault&) { m.wake_up = Module::WakeUp::bus, m.wake_id = 0x7F0; }},
      {"module-boots-late", kAny,
       [](Scenario&, Module& m, const Fault& f) { m.boot_s = f.ms.value_or(8000) / 1e3; }},
      {"module-refuses", kAny,
       [](Scenario&, Module& m, const Fault&) {
         for (Answer& a : m.answers) a.refusal = 0x33, a.data.clear();  // securityAccessDenied, ISO 14229-1
       }},
      {"module-bits-off", kAny,  // its clock is off: garbles what it sends, and goes bus-off again and again
       [](Scenario& s, Module& m, const Fault&) { m.bitrate = s.bus.bitrate * 97 / 100; }},
      {"module-jams", kAny, [](Scenario&, Module& m, const Fault&) { m.jams = true; }},
      {"high-open-at-module", kAny,
       [](Scenario&, Module& m, const Fault&) { m.high_ohm = circuit::kOpen_ohm; }},
      {"low-open-at-module", kAny,
       [](Scenario&, Module& m, const Fault&) { m.low_ohm = circuit::kOpen_ohm; }},
      {"pins-swapped", kAny, [](Scenario& s, Module&, const Fault&) { s.connector.swapped = true; }},
      {"bus-leak", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.bus.high_to_ground_ohm = f.ohm.value_or(60); }},
      {"kline-to-ground", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.kline->to_ground_ohm = f.ohm.value_or(1); }},
      {"kline-open", kAny, [](Scenario& s, Module&, const Fault&) { s.kline->pin7_ohm = circuit::kOpen_ohm; }},
      {"interface-contact-open", kAny,
       [](Scenario& s, Module&, const Fault&) {
         s.connector.pin4_ohm = s.connector.pin5_ohm = circuit::kOpen_ohm;
       }},
      {"interface-bus-dead", kAny,
       [](Scenario& s, Module&, const Fault&) { s.interface.transceiver_dead = true; }},
      {"interface-dead", kAny, [](Scenario& s, Module&, const Fault&) { s.interface.dead = true; }},
      {"interface-listen-only", kAny,
       [](Scenario& s, Module&, const Fault&) { s.interface.listen_only = true; }},
      {"floating-reference", kAny,
       [](Scenario& s, Module&, const Fault& f) {
         s.interface.from_source = s.interface.ties_grounds = false;
         s.interface.own_V = 12.6;
         s.interface.own_offset_V = f.V.value_or(20);
         s.interface.own_offset_ohm = f.ohm.value_or(1000);
       }},
      {"source-sags", kAny,
       [](Scenario& s, Module&, const Fault& f) { s.source.sag_V_per_s = f.V.value_or(0.5); }},
      {"source-shuts-off", kAny,
       [](Scenario& s, Module&, const Fault& f) {
         s.source.off_below_A = f.A.value_or(1);
         s.source.off_after_s = f.ms.value_or(3000) / 1e3;
       }},
      {"source-limited", kAny,
       [](Scenario& s, Module&, const Fault& f) {
         s.source.limit_A = f.A.value_or(0.4);
         s.source.limit_foldback = 0.5;
       }},
      {"plug-bounces", kAny,
       [](Scenario& s, Module&, const Fault& f) {
         s.rig.bounce_ms.clear();
         s.rig.bounce_count = 5;
         s.rig.bounce_spread_ms = f.ms.value_or(200);
       }},
      {"further-feed-open", kAny,
       [](Scenario&, Module& m, const Fault&) { m.further_feed_ohm = circuit::kOpen_ohm; }},
      {"slow-when-low", kAny,
       [](Scenario&, Module& m, const Fault& f) {
         m.low_V = f.V.value_or(13);
         m.low_delay_factor = 20;
       }},
      {"gateway-unpowered", kAny,
       [](Scenario& s, Module&, const Fault&) { s.modules.back().feed_ohm = circuit::kOpen_ohm; }},
      {"gateway-silent", kAny, [](Scenario& s, Module&, const Fault&) { s.gateway->silent = true; }},
  };
  return table;
}

}  // namespace

std::vector<std::string> faultNames() {
  std::vector<std::string> out;
  for (const Entry& e : entries()) out.emplace_back(e.name);
  return out;
}

Status applyFault(Scenario& s, const Fault& fault) {
  const auto entry =
      std::find_if(entries().begin(), entries().end(), [&](const Entry& e) { return fault.name == e.name; });
  if (entry == entries().end()) {
    std::string known;
    for (const std::string& name : faultNames()) known += (known.empty() ? "" : ", ") + name;
    return Error{ErrorKind::input, fmt::format("there is no fault named \"{}\"", fault.name), s.file,
                 "known faults: " + known};
  }
  if ((entry->arrangements & bit(s.arrangement)) == 0)
    return Error{
        ErrorKind::input,
        fmt::format("fault {} cannot exist in arrangement {}", fault.name, job::toText(s.arrangement)),
        s.file, ""};
  for (const auto& [prefix, table, there] : {std::tuple{"gateway-", "[gateway]", s.gateway.has_value()},
                                             std::tuple{"kline-", "[kline]", s.kline.has_value()}})
    if (fault.name.starts_with(prefix) && !there)
      return Error{ErrorKind::input,
                   fmt::format("fault {} cannot exist: this scenario has no {}", fault.name, table), s.file,
                   ""};
  const auto module = fault.module.empty()
                          ? s.modules.begin()
                          : std::find_if(s.modules.begin(), s.modules.end(),
                                         [&](const Module& m) { return m.name == fault.module; });
  if (module == s.modules.end())
    return Error{ErrorKind::input, fmt::format("fault {} names no module of this scenario", fault.name),
                 s.file, ""};
  entry->apply(s, *module, fault);
  s.faults.push_back(fault.name);
  return {};
}

}  // namespace pin16::bench
