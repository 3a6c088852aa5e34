// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The bench as the reasons see it: one flat set of parameters, drawn with tolerances, changed by causes,
/// from which every reading follows. Small and quick on purpose (about 200,000 benches have to be predicted
/// for a job): supply path, grounds, connector and interface are one network of resistances and EMFs, solved
/// once a state of the module; the bus wires a second one that hangs on the first one's potentials. A test
/// compares both with core/bench's network, which core/circuit solves. Pure functions, any thread.

#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string_view>

#include "core/reasons/catalogue.hpp"

namespace pin16::reasons {

/// What is known of the job before anything was measured.
struct Setting {
  Arrangement arrangement = Arrangement::own_battery;
  std::optional<bool> gateway;  ///< the connector reaches the module through one; nothing: unknown
};

/// Random numbers (splitmix64), doubles only, no library distributions: the same everywhere.
class Draw {
 public:
  /// Ranges are 12 % wider to each side than stated. `wide`: for the study's truths; a third wider to each
  /// side than stated and U-shaped instead of flat, chances are pulled towards one half, so that what is
  /// reasoned about is not what is assumed.
  explicit Draw(std::uint64_t seed, bool wide = false) : x_(seed * 0xD1342543DE82EF95U + 1), wide_(wide) {}
  [[nodiscard]] double share();  ///< 0 to 1
  [[nodiscard]] double flat(double low, double high);
  [[nodiscard]] double log(double low, double high);  ///< flat in the logarithm; low > 0
  [[nodiscard]] bool chance(double p);
  [[nodiscard]] std::uint64_t next();

 private:
  [[nodiscard]] double stretched();
  std::uint64_t x_;
  bool wide_;
};

inline constexpr double kOpen_ohm = 3e7;  ///< what an ohmmeter shows as over-range, from here on

struct Bench {
  Arrangement arrangement = Arrangement::own_battery;
  // Source. `label` and others below: indices into the reading's answers.
  double emf_V = 12.6, series_ohm = 0.02, limit_A = 0, ac_V = 0.01, lamp_ohm = 2.8;
  bool source_open = false, pack_cuts = false;
  int label = 0, parted = 0;  ///< parted: 1 crash cut-off, 2 main fuse
  // Feed.
  double rig_fuse_ohm = 0.02, lead_ohm = 0.05, main_ohm = 0.01, module_fuse_ohm = 0.01, wire_ohm = 0.03;
  double others_ohm = 4;  ///< other circuits on the supply side, or those of the wrong slot
  int slot = 0;           ///< 0 right, 1 other slot, 2 other side
  bool rating_small = false, signs_show = true, probed_at_clip = true;
  bool key_on = true, needs_second = false, second_given = true, needs_wake = false, wake_given = true;
  // Grounds.
  double clamp_ohm = 0.01, module_ground_ohm = 0.01, ground_offset_V = 0;
  // Connector.
  bool connector_behind_fuse = false;  ///< of the rig: it hangs behind the in-line fuse
  bool connector_fed = true, outlet_shares = false, outlet_live = true, timer_off = false;
  double connector_fuse_ohm = 0.01, pin16_ohm = 0.03, pin4_ohm = 0.02, pin5_ohm = 0.05;
  double contact16_ohm = 0.01, contact4_ohm = 0.01;
  bool returns_by_4 = true, returns_by_5 = false;
  bool plugged_device = false;
  // Interface.
  double interface_ohm = 120, interface_min_V = 7;
  double own_V = 0, own_offset_V = 0;  ///< a source of its own
  bool own_lead = false;               ///< fed by a lead from the same source instead of pin 16
  bool interface_dead = false, lamp_dead = true, port_right = true, port_asleep = false, listen_only = false;
  bool bus_side_dead = false, bus_contact_open = false, monitor_acknowledges = false;
  // Bus.
  double term_trunk_ohm = 120, term_far_ohm = 120, term_extra_ohm = kOpen_ohm;
  bool far_in_module = false;
  double input_ohm = 15e3, bias_leak_ohm = 3e5;
  /// Of each of a driver's two outputs, from 5 V: 1.5 to 3 V between the wires at 60 ohm (ISO 11898-2,
  /// can_physical.csv).
  double driver_ohm = 45;
  double between_ohm = kOpen_ohm, high_ground_ohm = kOpen_ohm, high_supply_ohm = kOpen_ohm;
  double low_ground_ohm = kOpen_ohm, low_supply_ohm = kOpen_ohm;
  bool open_pin6 = false, open_pin14 = false, open_high = false, open_low = false, swapped = false;
  bool jammed = false, rings = false, other_tester = false, wide_common_mode = true;
  double share = 0.05;  ///< of time dominant, all frames together
  // Addressing.
  bool gateway = false, gateway_fed = true, gateway_filters = false;
  bool rate_wrong = false, pair_wrong = false, k_line = false, size_wrong = false, address_wrong = false,
       fd = false;
  // The others on the bus, and the module.
  bool others = false, others_answer = true;
  double sleep_A = 0.001, boot_A = 0.7, run_A = 0.3, start_V = 7.5, stop_V = 6.5, off_ohm = 2e4;
  double short_ohm = kOpen_ohm;
  bool asleep = false, slow = false, locked = false, bus_off = false, dead_open = false, driver_dead = false,
       stuck = false, resets = false, early = false, half_alive = false, only_early = false, sends = true;
  /// Chances already taken, for what the rest of the parameters leaves open.
  std::array<double, 12> coin{};
};

[[nodiscard]] Bench soundBench(const Setting& setting, Draw& draw);
/// False: the cause cannot exist on this bench (no gateway, another arrangement).
bool inject(std::size_t cause, Bench& bench, Draw& draw);

/// Volts, amperes, ohms, or the index of the answer; NaN: cannot be taken (no adapter, no gateway).
struct Predicted {
  std::array<double, kReadings> value{};
  bool answers = false;  ///< the module answers as asked: no symptom
  [[nodiscard]] double operator[](R r) const { return value[static_cast<std::size_t>(r)]; }
};
[[nodiscard]] Predicted predict(const Bench& bench);

}  // namespace pin16::reasons
