// SPDX-License-Identifier: Apache-2.0
#include "outside.hpp"

#include <cmath>

namespace pin16::study {

using namespace reasons;

std::optional<std::array<double, kReadings>> drawOutside(Arrangement a, std::uint64_t seed,
                                                         std::string& name) {
  Draw d(seed, true);
  Bench b = soundBench({a, std::nullopt}, d);
  struct Fault {
    const char* name;
    void (*before)(Bench&, Draw&);
    void (*after)(std::array<double, kReadings>&, Draw&);
  };
  const auto none = [](Bench&, Draw&) {};
  const auto as_is = [](std::array<double, kReadings>&, Draw&) {};
  static const auto at = [](std::array<double, kReadings>& v, R r) -> double& {
    return v[static_cast<std::size_t>(r)];
  };
  const Fault faults[] = {
      // Power comes and goes with the harness being moved: each reading from one of two benches.
      {"intermittent-feed", [](Bench& x, Draw&) { x.stuck = true; },
       [](std::array<double, kReadings>& v, Draw& r) {
         for (const R k :
              {R::v_src_on, R::v_feed_chassis, R::v_slot_load_chassis, R::v_pin16_pin4, R::v_pin16_chassis,
               R::v_adapter, R::i_feed, R::i_src, R::v_pin6_pin4, R::v_pin14_pin4})
           if (r.chance(0.5)) at(v, k) *= 0.1;
         if (r.chance(0.5)) at(v, R::interface_lamp) = 0;
         if (r.chance(0.5)) at(v, R::i_feed_pattern) = 1;
       }},
      // The meter's battery is low: all volts read a third too high.
      {"meter-reads-high", [](Bench& x, Draw&) { x.stuck = true; },
       [](std::array<double, kReadings>& v, Draw&) {
         for (std::size_t i = 0; i < kReadings; ++i)
           if (readings()[i].unit == Unit::volt) v[i] *= 1.35;
       }},
      {"pin16-resistive",
       [](Bench& x, Draw& r) { x.pin16_ohm = r.log(60, 400), x.own_lead = false, x.own_V = 0; }, as_is},
      {"half-shorted-module", [](Bench& x, Draw& r) { x.short_ohm = r.log(6, 14), x.stuck = true; }, as_is},
      // Both wires pulled to half the supply by a wet plug.
      {"both-wires-leak-to-supply",
       [](Bench& x, Draw& r) {
         x.high_supply_ohm = r.log(40, 300), x.low_supply_ohm = x.high_supply_ohm * 1.1, x.rings = true;
       },
       as_is},
      {"both-wires-to-ground",
       [](Bench& x, Draw& r) { x.high_ground_ohm = r.log(0.5, 20), x.low_ground_ohm = r.log(0.5, 20); },
       as_is},
      {"three-causes",
       [](Bench& x, Draw& r) {
         x.clamp_ohm = r.log(1, 6), x.pin4_ohm = kOpen_ohm, x.high_ground_ohm = 3, x.listen_only = true;
       },
       as_is},
      // Ground of the connector hangs on the supply.
      {"pin4-on-supply", [](Bench& x, Draw&) { x.stuck = true; },
       [](std::array<double, kReadings>& v, Draw&) {
         const double supply = at(v, R::v_feed_chassis);
         at(v, R::v_pin4) = supply, at(v, R::v_pin16_pin4) = 0, at(v, R::interface_lamp) = 0,
               at(v, R::adapter_answers) = 0;
         at(v, R::adapter_mode) = 2, at(v, R::identifiers) = 5, at(v, R::error_class) = 5,
               at(v, R::controller_state) = 3;
         at(v, R::v_pin6_pin4) -= supply, at(v, R::v_pin14_pin4) -= supply, at(v, R::r_pin4_chassis) = 150;
       }},
      {"wrong-terminators",
       [](Bench& x, Draw& r) {
         x.term_trunk_ohm = r.flat(8, 15), x.term_far_ohm = r.flat(8, 15), x.rings = true;
       },
       as_is},
      {"driver-weak", [](Bench& x, Draw&) { x.rings = true; },
       [](std::array<double, kReadings>& v, Draw& r) {
         at(v, R::v_pin6_pin4) = at(v, R::v_pin14_pin4) = r.flat(0.8, 1.6), at(v, R::v_pin6_pin14) = 0;
       }},
  };
  (void)none;
  const Fault& f = faults[seed % (sizeof faults / sizeof faults[0])];
  name = std::string("outside:") + f.name;
  f.before(b, d);
  const Predicted p = predict(b);
  if (p.answers) return std::nullopt;
  auto v = p.value;
  f.after(v, d);
  return v;
}

}  // namespace pin16::study
