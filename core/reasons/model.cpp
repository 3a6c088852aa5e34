// SPDX-License-Identifier: Apache-2.0
#include "core/reasons/model.hpp"

#include <algorithm>
#include <limits>

namespace pin16::reasons {
namespace {

constexpr double kMeter_S = 1e-7;  // a 10 Mohm voltmeter ties a floating point to the reference
constexpr double kLeak_S = 1e-10;  // of what an ohmmeter looks at
constexpr double kNominal_V = 12;
constexpr double kOff_S = 1e-10;
constexpr double kBias_V = 2.5;
constexpr double kDominant_V = 0.9, kRecessive_V = 0.5;  // receiver thresholds, data sheet SLLSFP9
constexpr double kRings_ohm = 1000;  // more between the wires: too slow a return to recessive (own figure)
constexpr double kShows_V = 6;
/// What is remembered as the range of a tolerance is mostly too narrow (own figure).
constexpr double kWider = 0.24;
constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

double siemens(double ohm) { return ohm >= kOpen_ohm ? kOff_S : 1 / std::max(ohm, 1e-4); }
double beside(double a_ohm, double b_ohm) { return 1 / (1 / a_ohm + 1 / b_ohm); }

/// Conductances between N nodes and the reference, and what flows in; solved by elimination. Symmetric and
/// diagonally dominant, so without pivoting.
template <std::size_t N>
class Net {
 public:
  /// Every node is tied to the reference by `leak_S`, so that none floats.
  explicit Net(double leak_S) {
    for (std::size_t i = 0; i < N; ++i) g_[i][i] = leak_S;
  }
  void join(std::size_t a, std::size_t b, double s) {
    g_[a][a] += s, g_[b][b] += s, g_[a][b] -= s, g_[b][a] -= s;
  }
  void ground(std::size_t a, double s, double at_V = 0) { g_[a][a] += s, i_[a] += s * at_V; }
  void flow(std::size_t a, double ampere) { i_[a] += ampere; }
  /// An EMF of a against b, behind a resistance.
  void emf(std::size_t a, std::size_t b, double v, double s) {
    join(a, b, s), i_[a] += s * v, i_[b] -= s * v;
  }
  [[nodiscard]] std::array<double, N> solve() const {
    auto g = g_;
    auto x = i_;
    for (std::size_t k = 0; k < N; ++k)
      for (std::size_t r = k + 1; r < N; ++r) {
        if (g[r][k] == 0) continue;
        const double f = g[r][k] / g[k][k];
        for (std::size_t c = k; c < N; ++c) g[r][c] -= f * g[k][c];
        x[r] -= f * x[k];
      }
    for (std::size_t k = N; k-- > 0;) {
      for (std::size_t c = k + 1; c < N; ++c) x[k] -= g[k][c] * x[c];
      x[k] /= g[k][k];
    }
    return x;
  }

 private:
  std::array<std::array<double, N>, N> g_{};
  std::array<double, N> i_{};
};

// Reference: the source's minus.
enum Node : std::size_t {
  kSrc,
  kFeed,
  kBar,
  kSlot,
  kMod,
  kModMinus,
  kChassis,
  kFuseIn,
  kFuseOut,
  kPin16,
  kIfPlus,
  kIfMinus,
  kPin4,
  kPin5,
  kNodes
};

struct SupplyState {
  std::array<double, kNodes> v{};
  double source_A = 0, feed_A = 0;
  bool limited = false;
  [[nodiscard]] double volts(Node a, Node b) const { return v[a] - v[b]; }
  void mix(const SupplyState& o, double share) {
    for (std::size_t i = 0; i < kNodes; ++i) v[i] += share * (o.v[i] - v[i]);
    source_A += share * (o.source_A - source_A), feed_A += share * (o.feed_A - feed_A);
    limited = limited || o.limited;
  }
};

bool own(const Bench& b) { return b.arrangement == Arrangement::own_battery; }

/// The supply network with the module drawing as a resistance.
SupplyState solveSupply(const Bench& b, double module_ohm) {
  Net<kNodes> n(kMeter_S);
  const auto build = [&](bool limited) {
    n = Net<kNodes>(kMeter_S);
    if (b.source_open)
      n.ground(kSrc, kOff_S);
    else if (limited)
      n.flow(kSrc, b.limit_A);
    else
      n.ground(kSrc, siemens(b.series_ohm), b.emf_V);
    const Node into = b.slot == 2 ? kBar : kSlot;
    double slot_S = 0;
    if (own(b)) {
      n.join(kSrc, kBar, b.parted != 0 ? kOff_S : siemens(b.main_ohm));
      slot_S = b.key_on ? siemens(b.module_fuse_ohm) : kOff_S;
      n.join(kBar, kSlot, slot_S);
      n.join(kFeed, kSlot, siemens(0.001));  // in the vehicle's own slot the feed is its load side
      n.join(kBar, kChassis, siemens(b.key_on ? b.others_ohm : 400));
    } else {
      n.join(kSrc, kFeed, siemens(b.rig_fuse_ohm + b.lead_ohm));
      if (b.slot == 1)
        n.join(kFeed, kChassis, siemens(b.others_ohm));
      else
        n.join(kFeed, into, siemens(0.005));
      if (b.slot == 2) n.join(kBar, kChassis, siemens(b.others_ohm));
    }
    n.join(kSlot, kMod, siemens(b.wire_ohm));
    n.join(kMod, kModMinus, siemens(beside(module_ohm, b.short_ohm)));
    n.join(kModMinus, kChassis, siemens(b.module_ground_ohm));
    n.ground(kChassis, siemens(b.clamp_ohm));
    const Node above = own(b) ? kBar : b.connector_behind_fuse ? kFeed : kSrc;
    const bool live = b.connector_fed && !(b.timer_off);
    n.join(above, kFuseIn, live ? siemens(0.02) : kOff_S);
    n.join(kFuseIn, kFuseOut, siemens(b.connector_fuse_ohm));
    n.join(kFuseOut, kPin16, siemens(b.pin16_ohm));
    n.emf(kPin4, kChassis, b.ground_offset_V, siemens(b.pin4_ohm));
    n.emf(kPin5, kChassis, b.ground_offset_V, siemens(b.pin5_ohm));
    if (b.own_V > 0) {
      n.emf(kIfPlus, kIfMinus, b.own_V, siemens(0.1));
      n.emf(kIfMinus, kChassis, b.own_offset_V, 1e-5);
    } else {
      if (b.own_lead) {
        n.join(kSrc, kIfPlus, siemens(0.05));
        n.ground(kIfMinus, siemens(0.05));
      } else {
        n.join(kPin16, kIfPlus, siemens(b.contact16_ohm));
      }
      if (b.returns_by_4) n.join(kPin4, kIfMinus, siemens(b.contact4_ohm));
      if (b.returns_by_5) n.join(kPin5, kIfMinus, siemens(b.contact4_ohm));
    }
    n.join(kIfPlus, kIfMinus, siemens(b.interface_dead ? 1e4 : b.interface_ohm));
    return slot_S;
  };
  SupplyState s;
  double slot_S = build(false);
  s.v = n.solve();
  s.source_A = b.source_open ? 0 : (b.emf_V - s.v[kSrc]) * siemens(b.series_ohm);
  if (b.limit_A > 0 && s.source_A > b.limit_A) {
    s.limited = true;
    slot_S = build(true);
    s.v = n.solve();
    s.source_A = b.limit_A;
  }
  if (own(b))
    s.feed_A = (s.v[kBar] - s.v[kSlot]) * slot_S;
  else
    s.feed_A = (s.v[kSrc] - s.v[kFeed]) * siemens(b.rig_fuse_ohm + b.lead_ohm);
  // The lead to the slot alone: without the connector where that hangs behind the fuse.
  if (!own(b) && b.connector_behind_fuse && b.connector_fed)
    s.feed_A -= (s.v[kFeed] - s.v[kFuseIn]) * siemens(0.02);
  return s;
}

/// 0 steady, 1 cycling, 2 drops: the answers of "I(feed) pattern".
struct Fed {
  SupplyState supply;
  bool running = false;
  int pattern = 0;
};

Fed feedModule(const Bench& b) {
  Fed out;
  const double sleep_ohm = kNominal_V / b.sleep_A;
  if (b.pack_cuts) {
    Bench off = b;
    off.source_open = true;
    out.supply = solveSupply(off, sleep_ohm);
    out.pattern = 2;
    return out;
  }
  const bool called = !b.dead_open && b.short_ohm >= kOpen_ohm && (!b.needs_second || b.second_given) &&
                      (!b.needs_wake || b.wake_given) && !b.asleep && (!own(b) || b.key_on);
  const auto at = [&](double ampere) { return solveSupply(b, kNominal_V / ampere); };
  const auto volts = [](const SupplyState& s) { return s.volts(kMod, kModMinus); };
  out.supply = solveSupply(b, b.dead_open ? kOpen_ohm : sleep_ohm);
  if (!called || volts(out.supply) < b.start_V || volts(out.supply) > 17.5) return out;
  const SupplyState boot = at(b.boot_A);
  if (volts(boot) < b.stop_V) {
    // Stops again: starts anew once its volts recover, or hangs where the limit holds it.
    const bool hangs = boot.limited && at(b.run_A).limited && b.coin[0] < 0.6;
    out.pattern = hangs ? 0 : 1;
    if (hangs)
      out.supply = boot;
    else
      out.supply.mix(boot, b.coin[1]);  // a meter shows something between
    return out;
  }
  out.supply = at(b.run_A);
  out.running = volts(out.supply) >= b.stop_V;
  // A ripple takes the volts below the threshold in each half wave, or only spoils the bits.
  if (b.resets || b.ac_V > 0.4 + 1.6 * b.coin[1]) out.running = false;
  if (!out.running) out.pattern = 1;
  return out;
}

// ---- bus wires: interface, its pins, the trunk, the module's end; reference: the chassis

enum Wire : std::size_t { kIfH, kIfL, kPin6, kPin14, kTrunkH, kTrunkL, kModH, kModL, kWires };

struct Rails {
  double if_V = 0, module_V = 0, supply_V = 0;  // against the chassis
  bool if_alive = false, module_alive = false, trunk_alive = false;
};
enum class Driver : std::uint8_t { none, interface, module, trunk };

void addEnds(Net<kWires>& n, const Bench& b) {
  const double plug = b.bus_contact_open ? kOff_S : 10;
  n.join(kIfH, b.swapped ? kPin14 : kPin6, plug), n.join(kIfL, b.swapped ? kPin6 : kPin14, plug);
  n.join(kPin6, kTrunkH, b.open_pin6 ? kOff_S : 10), n.join(kPin14, kTrunkL, b.open_pin14 ? kOff_S : 10);
  n.join(kTrunkH, kTrunkL, siemens(b.term_trunk_ohm));
  if (b.gateway)
    n.join(kModH, kModL, 1.0 / 60), n.join(kTrunkH, kTrunkL, siemens(b.term_far_ohm));
  else {
    n.join(kTrunkH, kModH, b.open_high ? kOff_S : 10), n.join(kTrunkL, kModL, b.open_low ? kOff_S : 10);
    if (b.far_in_module)
      n.join(kModH, kModL, siemens(b.term_far_ohm));
    else
      n.join(kTrunkH, kTrunkL, siemens(b.term_far_ohm));
  }
  n.join(kTrunkH, kTrunkL, siemens(b.between_ohm));
  n.ground(kTrunkH, siemens(b.high_ground_ohm)), n.ground(kTrunkL, siemens(b.low_ground_ohm));
}

std::array<double, kWires> solveWires(const Bench& b, const Rails& r, Driver driver) {
  Net<kWires> n(kMeter_S);
  addEnds(n, b);
  n.join(kIfH, kIfL, siemens(b.term_extra_ohm));
  n.ground(kTrunkH, siemens(b.high_supply_ohm), r.supply_V);
  n.ground(kTrunkL, siemens(b.low_supply_ohm), r.supply_V);
  const auto hang = [&](std::size_t high, std::size_t low, double at_V, bool alive, bool drives) {
    const double s = 1 / b.input_ohm;
    n.join(high, low, alive ? 0 : s / 2);
    if (alive)
      n.ground(high, s, at_V + kBias_V), n.ground(low, s, at_V + kBias_V);
    else
      n.ground(high, 1 / (b.input_ohm + b.bias_leak_ohm), at_V),
          n.ground(low, 1 / (b.input_ohm + b.bias_leak_ohm), at_V);
    if (drives) n.ground(high, 1 / b.driver_ohm, at_V + 5), n.ground(low, 1 / b.driver_ohm, at_V);
  };
  hang(kIfH, kIfL, r.if_V, r.if_alive && !b.bus_side_dead, driver == Driver::interface && !b.bus_side_dead);
  hang(kModH, kModL, r.module_V, r.module_alive, driver == Driver::module);
  hang(kTrunkH, kTrunkL, 0, r.trunk_alive, driver == Driver::trunk || b.jammed);
  return n.solve();
}

/// What a meter reads between wires of the dead bus, nothing of ours plugged in.
void busOhms(const Bench& b, Predicted& p) {
  Net<kWires> n(kLeak_S);
  addEnds(n, b);
  if (b.plugged_device || b.term_extra_ohm < kOpen_ohm) n.join(kTrunkH, kTrunkL, siemens(b.term_extra_ohm));
  const double leak_S = 1 / (b.input_ohm + b.bias_leak_ohm);
  for (const std::size_t w : {kModH, kModL, kTrunkH, kTrunkL}) n.ground(w, leak_S);
  n.join(kModH, kModL, 0.5 / b.input_ohm), n.join(kTrunkH, kTrunkL, 0.5 / b.input_ohm);
  // To the supply: its own way to ground is the dead module and whatever else hangs there.
  const double rail_ohm = std::min(b.off_ohm, b.others_ohm * 100);
  n.ground(kTrunkH, siemens(b.high_supply_ohm + rail_ohm)),
      n.ground(kTrunkL, siemens(b.low_supply_ohm + rail_ohm));
  const auto ohms = [&](std::size_t a, std::optional<std::size_t> c) {
    Net<kWires> m = n;
    m.flow(a, 1);
    if (c) m.flow(*c, -1);
    const auto v = m.solve();
    const double r = v[a] - (c ? v[*c] : 0);
    return r > 8e6 ? kOpen_ohm : r;
  };
  const auto set = [&p](R r, double v) { p.value[static_cast<std::size_t>(r)] = v; };
  set(R::r_pin6_pin14, ohms(kPin6, kPin14));
  const double h = ohms(kPin6, std::nullopt), l = ohms(kPin14, std::nullopt);
  set(R::r_pin6_pin4, h), set(R::r_pin14_pin4, l);
  // Against pin 16: the direct way of a short, else by ground and what hangs between supply and ground.
  const auto toSupply = [&](bool open, double direct, double other, double to_ground) {
    const double between = p[R::r_pin6_pin14];
    double way = beside(direct, other + between);
    if (open) way = kOpen_ohm;
    return std::min(kOpen_ohm, beside(way, to_ground + rail_ohm));
  };
  set(R::r_pin6_pin16, toSupply(b.open_pin6, b.high_supply_ohm, b.low_supply_ohm, h));
  set(R::r_pin14_pin16, toSupply(b.open_pin14, b.low_supply_ohm, b.high_supply_ohm, l));
}

struct Hearing {
  bool own_dominant = true, own_recessive = true;
  bool to_module = false, from_module = false, to_trunk = false, from_trunk = false;
  bool garbled = false;
  bool beyond = false;  ///< the module runs, but what we send lies outside of its receiver's range
};

}  // namespace

std::uint64_t Draw::next() {
  x_ += 0x9E3779B97F4A7C15U;
  std::uint64_t z = x_;
  z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
  z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
  return z ^ (z >> 31U);
}
double Draw::share() { return static_cast<double>(next() >> 11U) * 0x1p-53; }
double Draw::stretched() {
  const double u = share();
  if (!wide_) return u + kWider * (u - 0.5);
  return 0.5 - 0.8333 * std::cos(u * 3.141592653589793);  // arcsine law, a third wider to each side
}
double Draw::flat(double low, double high) {
  const double v = low + (high - low) * stretched();
  return low > 0 ? std::max(v, low * 0.5) : v;
}
double Draw::log(double low, double high) { return low * std::pow(high / low, stretched()); }
bool Draw::chance(double p) {
  if (wide_ && p > 0 && p < 1) p = 0.75 * p + 0.125;
  return share() < p;
}

Bench soundBench(const Setting& s, Draw& d) {
  Bench b;
  b.arrangement = s.arrangement;
  const bool fed = s.arrangement == Arrangement::fed_in_place,
             removed = s.arrangement == Arrangement::removed;
  b.emf_V = d.flat(12.2, 13.4);
  b.series_ohm = d.log(0.006, 0.06);
  b.ac_V = d.log(0.001, 0.02);
  b.lamp_ohm = d.flat(2.4, 3.2);
  if (!own(b) && d.chance(0.25)) b.limit_A = d.log(3, 10), b.series_ohm = d.log(0.01, 0.05);
  b.rig_fuse_ohm = d.log(0.01, 0.05);
  b.lead_ohm = d.log(0.02, 0.2);
  b.main_ohm = d.log(0.002, 0.02);
  b.module_fuse_ohm = d.log(0.006, 0.03);
  b.wire_ohm = d.log(0.01, 0.15);
  b.others_ohm = d.log(2, 12);
  b.signs_show = d.chance(0.7);
  b.probed_at_clip = d.chance(0.5);
  b.needs_second = d.chance(own(b) ? 0.4 : 0.5);
  b.needs_wake = d.chance(0.4);
  b.clamp_ohm = own(b) ? d.log(0.001, 0.02) : d.log(0.01, 0.1);
  b.module_ground_ohm = d.log(0.003, 0.05);
  b.connector_behind_fuse = removed || d.chance(0.6);
  b.outlet_shares = d.chance(0.3);
  b.outlet_live = fed ? b.outlet_shares || d.chance(0.2) : d.chance(0.9);
  b.connector_fuse_ohm = removed ? d.log(0.005, 0.05) : d.log(0.006, 0.03);
  b.pin16_ohm = d.log(0.02, 0.2);
  b.pin4_ohm = d.log(0.01, 0.15);
  b.pin5_ohm = d.log(0.02, 0.3);
  b.contact16_ohm = d.log(0.005, 0.05);
  b.contact4_ohm = d.log(0.005, 0.05);
  const double back = d.share();
  b.returns_by_4 = back<0.85, b.returns_by_5 = back> 0.55;
  b.interface_ohm = d.log(40, 250);
  b.interface_min_V = d.flat(6, 8.5);
  // Fed in place by its slot alone, pin 16 mostly stays dead and the interface has a lead from the same
  // source.
  b.own_lead = !own(b) && d.chance(fed ? 0.5 : 0.12);
  if (fed && b.own_lead) b.connector_fed = d.chance(0.3);
  b.lamp_dead = d.chance(0.7);
  b.monitor_acknowledges = false;
  b.term_trunk_ohm = d.flat(117, 123);
  b.term_far_ohm = d.flat(117, 123);
  b.far_in_module = d.chance(removed ? 0.4 : 0.3);
  b.input_ohm = d.log(9e3, 3e4);
  b.bias_leak_ohm = d.log(3e4, 2e6);
  b.wide_common_mode = d.chance(0.5);
  b.share = d.log(0.01, 0.25);
  b.driver_ohm = d.log(25, 70);
  b.gateway = !removed && (s.gateway ? *s.gateway : d.chance(own(b) ? 0.35 : 0.4));
  b.others = own(b) ? d.chance(0.85) : fed && d.chance(0.15);
  b.others_answer = d.chance(0.75);
  b.sleep_A = d.log(0.0002, 0.005);
  b.boot_A = d.log(0.4, 2.0);
  b.run_A = std::min(d.log(0.1, 0.6), b.boot_A);
  b.start_V = d.flat(7, 9);
  b.stop_V = b.start_V - d.flat(0.5, 1.5);
  b.off_ohm = d.log(2e3, 2e5);
  b.sends = d.chance(own(b) ? 0.8 : 0.6);
  for (double& c : b.coin) c = d.share();
  // Of what hangs on the supply side some sleep or is switched off: then nothing shows.
  if (!own(b) && d.chance(0.3)) b.others_ohm = d.log(50, 3000), b.signs_show = false;
  return b;
}

bool inject(std::size_t cause, Bench& b, Draw& d) {
  using Apply = void (*)(Bench&, Draw&);
  struct Row {
    std::string_view id;
    Apply apply;
  };
  // Figures of reference/causes.csv ("physics"), estimates.
  static const std::vector<Row> rows = {
      {"source-flat", [](Bench& x, Draw& r) { x.emf_V = r.flat(8.5, 11.8), x.series_ohm = r.log(0.1, 1.5), x.limit_A = 0, x.boot_A = r.log(0.8, 2.5), x.start_V = r.flat(8, 9.5), x.stop_V = x.start_V - r.flat(0.3, 1); }},
      {"source-off", [](Bench& x, Draw&) { x.source_open = true; }},
      {"pack-shuts-off", [](Bench& x, Draw& r) { x.pack_cuts = true, x.limit_A = 0, x.label = r.chance(0.92) ? 1 : 0; }},
      {"limit-too-low", [](Bench& x, Draw& r) { x.limit_A = r.log(0.05, 0.35); }},
      {"inrush-trips", [](Bench& x, Draw& r) { x.limit_A = x.run_A + (x.boot_A - x.run_A) * r.flat(0.05, 0.6) + (x.own_lead || x.connector_fed ? 12 / x.interface_ohm : 0); }},
      {"source-over", [](Bench& x, Draw& r) { x.emf_V = r.flat(18, 28), x.label = r.chance(0.3) ? 2 : 0; }},
      {"source-reversed", [](Bench& x, Draw&) { x.emf_V = -x.emf_V, x.limit_A = 0; }},
      {"source-ripple", [](Bench& x, Draw& r) { x.ac_V = r.log(0.4, 2), x.label = r.chance(0.8) ? 2 : 0, x.rings = true; }},
      {"rig-fuse-open", [](Bench& x, Draw&) { x.rig_fuse_ohm = kOpen_ohm; }},
      {"rig-fuse-small", [](Bench& x, Draw&) { x.rig_fuse_ohm = kOpen_ohm, x.rating_small = true; }},
      {"feed-lead-open", [](Bench& x, Draw&) { x.lead_ohm = kOpen_ohm; }},
      {"feed-lead-thin", [](Bench& x, Draw& r) { x.lead_ohm = r.log(0.6, 12); }},
      {"supply-side-feed", [](Bench& x, Draw&) { x.slot = 2; }},
      {"wrong-slot", [](Bench& x, Draw& r) { x.slot = 1, x.others_ohm = r.log(4, 2000); }},
      {"module-fuse-open", [](Bench& x, Draw&) { x.module_fuse_ohm = kOpen_ohm; }},
      {"module-feed-open", [](Bench& x, Draw&) { x.wire_ohm = kOpen_ohm; }},
      {"module-feed-poor", [](Bench& x, Draw& r) { x.wire_ohm = r.log(2, 15); }},
      {"second-feed-missing", [](Bench& x, Draw&) { x.needs_second = true, x.second_given = false; }},
      {"wake-missing", [](Bench& x, Draw&) { x.needs_wake = true, x.wake_given = false; }},
      {"ignition-off", [](Bench& x, Draw&) { x.key_on = false; }},
      {"conn-fuse-open", [](Bench& x, Draw& r) { x.connector_fuse_ohm = kOpen_ohm; if (x.outlet_shares) x.outlet_shares = false, x.outlet_live = own(x) && r.chance(0.9); }},
      {"shared-fuse-outlet", [](Bench& x, Draw&) { x.connector_fuse_ohm = kOpen_ohm, x.outlet_shares = true; }},
      {"conn-not-fed", [](Bench& x, Draw&) { x.connector_fed = false; }},
      {"pin16-open", [](Bench& x, Draw&) { x.pin16_ohm = kOpen_ohm; }},
      {"clamp-poor", [](Bench& x, Draw& r) { x.clamp_ohm = r.log(0.5, 20); }},
      {"clamp-open", [](Bench& x, Draw&) { x.clamp_ohm = kOpen_ohm; }},
      {"vehicle-ground-poor", [](Bench& x, Draw& r) { x.clamp_ohm = r.log(0.3, 3); }},
      {"pin4-open", [](Bench& x, Draw&) { x.pin4_ohm = kOpen_ohm, x.returns_by_4 = true, x.returns_by_5 = false, x.own_lead = false, x.connector_fed = true; }},
      {"pin5-open", [](Bench& x, Draw&) { x.pin5_ohm = kOpen_ohm, x.returns_by_5 = true, x.returns_by_4 = false, x.own_lead = false, x.connector_fed = true; }},
      {"module-ground-open", [](Bench& x, Draw& r) { x.module_ground_ohm = r.chance(0.6) ? kOpen_ohm : r.log(5, 200); }},
      {"two-sources-floating", [](Bench& x, Draw& r) { x.own_V = r.flat(11.8, 13.5), x.own_offset_V = r.chance(0.5) ? r.flat(8, 30) : -r.flat(8, 30), x.own_lead = false; }},
      {"ground-offset", [](Bench& x, Draw& r) { x.ground_offset_V = r.flat(2.5, 8) * (r.chance(0.7) ? 1 : -1), x.own_lead = false, x.connector_fed = true, x.wide_common_mode = false; }},
      {"canh-short-gnd", [](Bench& x, Draw& r) { x.high_ground_ohm = r.log(0.1, 5); }},
      {"canh-short-bat", [](Bench& x, Draw& r) { x.high_supply_ohm = r.log(0.1, 5); }},
      {"canl-short-gnd", [](Bench& x, Draw& r) { x.low_ground_ohm = r.log(0.1, 5), x.rings = true; }},
      {"canl-short-bat", [](Bench& x, Draw& r) { x.low_supply_ohm = r.log(0.1, 5); }},
      {"can-short-hl", [](Bench& x, Draw& r) { x.between_ohm = r.log(0.1, 5); }},
      {"canh-open-conn", [](Bench& x, Draw&) { x.open_pin6 = true; }},
      {"canl-open-conn", [](Bench& x, Draw&) { x.open_pin14 = true; }},
      {"canh-open-mod", [](Bench& x, Draw&) { x.open_high = true; }},
      {"canl-open-mod", [](Bench& x, Draw&) { x.open_low = true; }},
      {"can-swapped", [](Bench& x, Draw&) { x.swapped = true; }},
      {"term-none", [](Bench& x, Draw&) { x.term_trunk_ohm = x.term_far_ohm = kOpen_ohm; }},
      {"term-one", [](Bench& x, Draw& r) { (r.chance(0.5) ? x.term_trunk_ohm : x.term_far_ohm) = kOpen_ohm, x.rings = true; }},
      {"term-extra", [](Bench& x, Draw& r) { x.term_extra_ohm = r.flat(40, 125), x.rings = true; }},
      {"bus-leak", [](Bench& x, Draw& r) { x.rings = true; const double ohm = r.log(50, 900); const double w = r.share(); (w < 0.34 ? x.between_ohm : w < 0.5 ? x.high_supply_ohm : w < 0.67 ? x.low_supply_ohm : w < 0.84 ? x.high_ground_ohm : x.low_ground_ohm) = ohm; }},
      {"bus-jammed", [](Bench& x, Draw&) { x.jammed = true; }},
      {"wrong-bit-rate", [](Bench& x, Draw&) { x.rate_wrong = true; }},
      {"wrong-pair", [](Bench& x, Draw& r) { x.pair_wrong = true; if (x.arrangement == Arrangement::removed) x.term_trunk_ohm = x.term_far_ohm = r.chance(0.5) ? 120 : kOpen_ohm; }},
      {"wrong-protocol", [](Bench& x, Draw&) { x.k_line = true; }},
      {"wrong-id-size", [](Bench& x, Draw&) { x.size_wrong = true; }},
      {"wrong-address", [](Bench& x, Draw&) { x.address_wrong = true; }},
      {"gateway-unpowered", [](Bench& x, Draw&) { x.gateway = true, x.gateway_fed = false; }},
      {"gateway-filters", [](Bench& x, Draw&) { x.gateway = true, x.gateway_filters = true; }},
      {"listen-only", [](Bench& x, Draw&) { x.listen_only = true; }},
      {"other-tester", [](Bench& x, Draw&) { x.other_tester = true; }},
      {"module-asleep", [](Bench& x, Draw&) { x.asleep = true; }},
      {"module-slow", [](Bench& x, Draw&) { x.slow = true; }},
      {"module-locked", [](Bench& x, Draw&) { x.locked = true; }},
      {"module-busoff", [](Bench& x, Draw&) { x.bus_off = true; }},
      {"module-dead-open", [](Bench& x, Draw&) { x.dead_open = true; }},
      {"module-dead-short",
       [](Bench& x, Draw& r) {
         x.short_ohm = r.log(0.2, 4);
         // What a lead's or slot's fuse of 7.5 to 10 A makes of it.
         if (12 / x.short_ohm > r.flat(8, 14) && r.chance(0.8))
           (own(x) ? x.module_fuse_ohm : x.rig_fuse_ohm) = kOpen_ohm;
       }},
      {"module-trx-dead", [](Bench& x, Draw&) { x.driver_dead = true; }},
      {"module-stuck", [](Bench& x, Draw&) { x.stuck = true; }},
      {"module-resets", [](Bench& x, Draw&) { x.resets = true; }},
      {"asked-too-early", [](Bench& x, Draw&) { x.early = true; }},
      {"interface-dead", [](Bench& x, Draw&) { x.interface_dead = true; }},
      {"interface-contact", [](Bench& x, Draw& r) { (r.chance(0.6) ? x.contact16_ohm : x.contact4_ohm) = kOpen_ohm, x.own_lead = false, x.connector_fed = true; }},
      {"interface-bus-dead", [](Bench& x, Draw&) { x.bus_side_dead = true; }},
      {"wrong-port", [](Bench& x, Draw&) { x.port_right = false; }},
      {"crash-cutoff", [](Bench& x, Draw&) { x.parted = 1; }},
      {"main-fuse-open", [](Bench& x, Draw&) { x.parted = 2; }},
      {"accessory-timer", [](Bench& x, Draw&) { x.timer_off = true, x.outlet_shares = true; }},
      {"plugged-device", [](Bench& x, Draw& r) { x.plugged_device = true, x.rings = true; if (r.chance(0.5)) x.term_extra_ohm = 120; x.other_tester = r.chance(0.4); }},
      {"terminal-spread", [](Bench& x, Draw&) { x.bus_contact_open = true; }},
      {"bus-empty", [](Bench& x, Draw& r) { x.open_high = x.open_low = true, x.others = false, x.monitor_acknowledges = r.chance(0.5); }},
      {"port-asleep", [](Bench& x, Draw&) { x.port_asleep = true; }},
      {"reserve-half-alive", [](Bench& x, Draw&) { x.half_alive = true; }},
      {"answers-only-early", [](Bench& x, Draw&) { x.only_early = true; }},
      {"fd-mismatch", [](Bench& x, Draw&) { x.fd = true; }},
  };
  static const std::vector<Apply> by_cause = [] {
    std::vector<Apply> out(causes().size(), nullptr);
    for (const Row& row : rows)
      if (const auto at = findCause(row.id)) out[*at] = row.apply;
    return out;
  }();
  if (by_cause[cause] == nullptr || (causes()[cause].arrangements & bit(b.arrangement)) == 0) return false;
  if (b.gateway && std::string_view(causes()[cause].id) == "bus-empty") return false;
  by_cause[cause](b, d);
  return true;
}

namespace {

/// Answers, errors and frames of one bench; the parts that need the wires solved once.
struct Talk {
  const Bench& b;
  bool adapter = false;  ///< it has supply, lives, and the program reaches it
  bool running = false;
  bool on_can = false;  ///< the module takes part in a CAN bus
  bool trunk = false;   ///< others or the gateway do, at the connector
  Hearing h{};

  /// The wires carry from the interface to the module and back.
  [[nodiscard]] bool carries() const {
    if (b.gateway)
      return h.to_trunk && h.from_trunk && b.gateway_fed && !b.gateway_filters && !b.open_high && !b.open_low;
    return h.to_module && h.from_module;
  }
  [[nodiscard]] bool clean() const { return !b.rate_wrong && legible(); }
  /// At its own rate.
  [[nodiscard]] bool legible() const { return !h.garbled && !b.fd && !b.jammed; }
  [[nodiscard]] bool traffic() const { return (on_can && b.sends && !b.gateway) || (trunk && b.others); }
  /// Somebody acknowledges what we send.
  [[nodiscard]] bool acknowledged() const {
    if (!clean()) return false;
    const bool module = on_can && !b.gateway && !b.pair_wrong && h.to_module;
    return module || (trunk && h.to_trunk) || b.other_tester || b.monitor_acknowledges;
  }
};

Talk talk(const Bench& b, const Fed& fed) {
  Talk t{b};
  const double if_V = fed.supply.volts(kIfPlus, kIfMinus);
  const bool lit = if_V >= b.interface_min_V;
  t.adapter = lit && !b.interface_dead && b.port_right && !b.port_asleep;
  t.running = fed.running;
  t.on_can = t.running && !b.k_line && !b.driver_dead;
  const bool bar = own(b) ? fed.supply.volts(kBar, kChassis) > 8 && b.key_on : fed.supply.v[kFeed] > 8;
  // Key off: now and then others are still awake, for instance after a door was opened.
  const bool awake = !own(b) || b.key_on || (b.coin[9] < 0.35 && fed.supply.volts(kBar, kChassis) > 8);
  t.trunk = b.gateway ? b.gateway_fed && awake && (bar || (own(b) && !b.key_on))
                      : b.others && awake && (bar || (own(b) && !b.key_on));

  Rails r;
  r.if_V = fed.supply.volts(kIfMinus, kChassis), r.module_V = fed.supply.volts(kModMinus, kChassis);
  r.supply_V = own(b) ? fed.supply.volts(kBar, kChassis) : fed.supply.volts(kSlot, kChassis);
  r.if_alive = lit && !b.interface_dead;
  r.module_alive = t.on_can, r.trunk_alive = t.trunk;
  const auto quiet = solveWires(b, r, Driver::none);
  const auto mine = solveWires(b, r, Driver::interface);
  const double low_V = b.wide_common_mode ? -12 : -2, high_V = b.wide_common_mode ? 12 : 7;
  const auto hears = [&](const std::array<double, kWires>& v, std::size_t high, std::size_t low,
                         double at_V) {
    const auto inside = [&](const std::array<double, kWires>& w) {
      const double mean = (w[high] + w[low]) / 2 - at_V;
      return mean >= low_V && mean <= high_V;
    };
    return v[high] - v[low] >= kDominant_V && quiet[high] - quiet[low] <= kRecessive_V && inside(v) &&
           inside(quiet);
  };
  Hearing& h = t.h;
  h.own_dominant = mine[kIfH] - mine[kIfL] >= kDominant_V;
  h.own_recessive = quiet[kIfH] - quiet[kIfL] <= kDominant_V;
  h.to_module = hears(mine, kModH, kModL, r.module_V);
  h.to_trunk = hears(mine, kTrunkH, kTrunkL, 0);
  const double mean_V = (mine[kModH] + mine[kModL]) / 2 - r.module_V;
  h.beyond = t.on_can && !b.gateway && (mean_V < low_V || mean_V > high_V);
  if (t.on_can) h.from_module = hears(solveWires(b, r, Driver::module), kIfH, kIfL, r.if_V);
  if (t.trunk) h.from_trunk = hears(solveWires(b, r, Driver::trunk), kIfH, kIfL, r.if_V);
  const double between = beside(beside(b.term_trunk_ohm, b.term_far_ohm), b.term_extra_ohm);
  h.garbled = b.rings || between > kRings_ohm;
  return t;
}

/// How the module answers when asked as `v` says: 0 not, 1 yes, 2 it refuses.
struct Try {
  bool other_rate = false, other_size = false, long_wait = false, later = false, k_line = false, pair = false,
       address = false, restart = false;
};
int answer(const Talk& t, const Try& v) {
  const Bench& b = t.b;
  if (!t.adapter || !t.running || b.stuck || b.bus_off || b.rate_wrong != v.other_rate) return 0;
  if (b.driver_dead && !b.k_line) return 0;
  if (b.k_line != v.k_line || b.size_wrong != v.other_size || b.pair_wrong != v.pair ||
      b.address_wrong != v.address)
    return 0;
  if (b.early && !v.later) return 0;
  if ((b.half_alive || b.only_early) && !v.restart) return 0;
  if (b.slow && !v.long_wait) return 0;
  if (!b.k_line) {
    if (b.listen_only || b.bus_side_dead || (b.bus_contact_open && !v.pair) || (!t.carries() && !v.pair) ||
        !t.legible() || b.other_tester)
      return 0;
  }
  return b.locked ? 2 : 1;
}

enum Class { kNone, kAck, kForm, kBitError, kStuck, kNoAdapter };

int errorClass(const Talk& t) {
  const Bench& b = t.b;
  if (!t.adapter) return kNoAdapter;
  if (b.listen_only) return b.rate_wrong && t.traffic() && !b.bus_side_dead ? kForm : kNone;
  // A dead driver: the controller may see its own bits or not, and nobody acknowledges.
  if (b.bus_side_dead) return b.coin[2] < 0.35 ? kNone : b.coin[2] < 0.7 ? kAck : kBitError;
  if (b.bus_contact_open) return kAck;
  if (b.jammed || !t.h.own_recessive) return kStuck;
  if (!t.h.own_dominant) return kBitError;
  if (t.h.garbled) return t.trunk || t.on_can ? (b.coin[2] < 0.5 ? kBitError : kForm) : kAck;
  // What it then makes of the wires is anybody's guess: silence, or error flags over our bits.
  if (t.h.beyond) return b.coin[2] < 0.5 ? kAck : kBitError;
  if (b.rate_wrong || b.fd) return t.traffic() || t.trunk || t.on_can ? kForm : kAck;
  if (b.bus_off && t.on_can && b.coin[3] < 0.7 && !b.gateway) return b.coin[4] < 0.5 ? kForm : kBitError;
  return t.acknowledged() ? kNone : kAck;
}

int controllerState(const Bench& b, int error) {
  switch (error) {
    case kNoAdapter:
      return 3;
    case kAck:
      return 1;  // never bus-off: ISO 11898-1 rule on acknowledge errors
    case kBitError:
      return b.coin[5] < 0.8 ? 2 : 1;
    case kStuck:
      return b.coin[5] < 0.5 ? 2 : 1;
    case kForm:
      return b.coin[5] < 0.6 ? 1 : b.coin[5] < 0.8 ? 0 : 2;
    default:
      return 0;
  }
}

int identifiers(const Talk& t) {
  const Bench& b = t.b;
  if (!t.adapter) return 5;
  if (b.bus_side_dead || b.bus_contact_open || b.rate_wrong || b.fd || b.jammed) return 0;
  const bool garbled = t.h.garbled && b.coin[6] < 0.5;
  if (b.other_tester) return 4;
  const bool module = t.on_can && b.sends && !b.gateway && !b.pair_wrong && t.h.from_module && !garbled &&
                      !(b.bus_off && b.coin[7] < 0.5);
  const bool others = t.trunk && b.others && (!b.gateway || b.coin[8] < 0.2) && t.h.from_trunk && !garbled;
  return module && others ? 3 : module ? 2 : others ? 1 : 0;
}

/// Repaired copies for what a try at the bench would change.
Talk with(const Bench& changed) { return talk(changed, feedModule(changed)); }

/// What giving the module something it lacked comes to: 0 nothing, 1 it answers, 2 it starts and keeps
/// silent.
int started(const Fed& before, const Bench& given) {
  const Fed after = feedModule(given);
  if (answer(talk(given, after), {}) == 1) return 1;
  const auto draws = [](const Fed& f) { return f.running || f.pattern == 1; };
  return draws(after) && !draws(before) ? 2 : 0;
}

void setAnswers(const Bench& b, const Fed& fed, const Talk& t, Predicted& p) {
  const auto set = [&p](R r, double v) { p.value[static_cast<std::size_t>(r)] = v; };
  const int error = errorClass(t);
  const bool lit =
      fed.supply.volts(kIfPlus, kIfMinus) >= b.interface_min_V && !(b.interface_dead && b.lamp_dead);
  set(R::interface_lamp, lit ? 1 : 0);
  set(R::v_adapter, t.adapter ? fed.supply.volts(kIfPlus, kIfMinus) : kNaN);
  set(R::port_list, b.port_right ? 0 : 1);
  set(R::adapter_answers, t.adapter ? 1 : 0);
  set(R::adapter_mode, !t.adapter ? 2 : b.listen_only ? 1 : 0);
  set(R::error_class, error);
  set(R::controller_state, controllerState(b, error));
  set(R::identifiers, identifiers(t));
  const bool frames = t.adapter && !b.bus_side_dead && !b.bus_contact_open && t.traffic() && !t.h.garbled &&
                      (t.h.from_module || t.h.from_trunk);
  set(R::rate_scan, frames && b.rate_wrong && !b.fd ? 1 : 0);
  set(R::fd_scan, frames && b.fd && !b.rate_wrong ? 1 : 0);
  const auto asked = [&](const Try& v) { return answer(t, v); };
  const auto yes = [&](const Try& v) { return asked(v) != 0 ? 1.0 : 0.0; };
  set(R::pair_scan, b.pair_wrong && t.adapter && t.running && !b.k_line && !b.bus_side_dead ? 1 : 0);
  // A refusal shows who is there too, where the roll call's request is refused at all.
  const int rolled = asked({.address = b.address_wrong});
  const bool module = rolled == 1 || (rolled == 2 && b.coin[8] < 0.75);
  const bool others = t.adapter && !b.listen_only && !b.bus_side_dead && !b.bus_contact_open && t.trunk &&
                      b.others_answer && (b.others || b.gateway) && t.h.to_trunk && t.h.from_trunk &&
                      t.clean() && b.coin[9] < 0.85;
  set(R::rollcall, module ? 2 : others ? 1 : 0);
  set(R::answer_29bit, yes({.other_size = true}));
  set(R::answer_longwait, asked({.long_wait = true}));
  set(R::answer_again, yes({.later = true}));
  set(R::answer_all,
      asked({.other_size = b.size_wrong, .long_wait = true, .later = true, .address = b.address_wrong}));
  set(R::answer_rate, t.traffic() ? kNaN : yes({.other_rate = true}));
  set(R::answer_kline, yes({.k_line = true}));
  const int again = asked({.later = true, .restart = true});
  set(R::answer_restart, again == 0 ? 0 : b.only_early ? 1 : 2);
  p.answers = asked({}) == 1;
  if (b.needs_wake || b.asleep || !b.key_on || b.timer_off) {
    Bench woken = b;
    woken.wake_given = true, woken.asleep = false, woken.key_on = true, woken.timer_off = false;
    set(R::answer_wake, started(fed, woken));
  } else {
    set(R::answer_wake, 0);
  }
  Bench both = b;
  both.needs_second = false;
  set(R::answer_feed2, b.needs_second && !b.second_given ? started(fed, both) : 0);
  set(R::interface_alone, b.interface_dead || !b.port_right || b.port_asleep ? 0 : 1);
  Bench other = b;
  other.interface_dead = other.bus_side_dead = other.listen_only = other.port_asleep =
      other.bus_contact_open = false;
  other.port_right = true;
  other.contact16_ohm = other.contact4_ohm = 0.02;
  if (other.term_extra_ohm < kOpen_ohm && !b.plugged_device)
    other.term_extra_ohm = kOpen_ohm, other.rings = false;
  const Talk o = with(other);
  const auto heard = [](const Talk& x) {
    return x.adapter &&
           (identifiers(x) > 0 || (errorClass(x) == kNone && !x.b.listen_only && !x.b.bus_side_dead));
  };
  set(R::answer_otherif, !o.adapter ? 2 : answer(o, {}) == 1 ? 1 : heard(o) && !heard(t) ? 3 : 0);
  const bool touched = b.port_asleep || b.bus_contact_open || b.contact16_ohm > 10 || b.contact4_ohm > 10;
  set(R::reseat, touched && b.coin[10] < 0.9 ? 1 : 0);
  if (b.gateway) {
    Bench direct = b;
    direct.gateway = false;
    direct.gateway_filters = false;
    direct.others = false;
    const Talk d = with(direct);
    set(R::answer_direct, answer(d, {}) == 1 ? 1 : identifiers(d) == 2 ? 2 : 0);
  } else {
    set(R::answer_direct, kNaN);
  }
}

void setSupply(const Bench& b, const Fed& fed, Predicted& p) {
  const auto set = [&p](R r, double v) { p.value[static_cast<std::size_t>(r)] = v; };
  const auto open = [](double ohm) { return std::min(ohm, kOpen_ohm); };
  const SupplyState& s = fed.supply;
  const auto v = [&s](Node a, Node c) { return s.volts(a, c); };
  // Power off.
  const double module_ohm = b.dead_open ? kOpen_ohm : beside(b.off_ohm, b.short_ohm);
  double slot_ohm = open(b.wire_ohm + module_ohm + b.module_ground_ohm);
  // A gateway that is fed from the same clip lies beside.
  if (b.gateway && b.gateway_fed && !own(b)) slot_ohm = beside(slot_ohm, 3e3 * std::pow(30, b.coin[5]));
  set(R::r_feed_chassis, b.slot != 0 && b.probed_at_clip ? b.others_ohm : slot_ohm);
  set(R::r_rigfuse, open(b.rig_fuse_ohm)), set(R::r_rigfuse_clip, open(b.lead_ohm));
  set(R::r_connfuse, open(b.connector_fuse_ohm)), set(R::r_modfuse, open(b.module_fuse_ohm));
  set(R::r_connfuse_pin16, open(b.pin16_ohm));
  set(R::r_pin4_chassis, open(b.pin4_ohm)), set(R::r_pin5_chassis, open(b.pin5_ohm));
  set(R::r_src_chassis, open(b.clamp_ohm));
  set(R::slot_check, b.slot), set(R::fuse_rating, b.rating_small ? 1 : 0), set(R::source_label, b.label);
  set(R::battery_look, b.parted), set(R::connector_look, b.plugged_device ? 1 : 0);
  // A lead that is off is mostly seen, a broken one is not.
  const bool off = b.open_high || b.open_low || b.open_pin6 || b.open_pin14;
  set(R::bus_leads, b.swapped ? 1 : b.pair_wrong ? 2 : off && b.coin[7] < 0.6 ? 3 : 0);
  // Source alone.
  const double emf = b.source_open ? 0 : b.emf_V;
  set(R::v_src, emf);
  double loaded = emf * b.lamp_ohm / (b.lamp_ohm + b.series_ohm);
  if (b.limit_A > 0 && loaded / b.lamp_ohm > b.limit_A) loaded = b.limit_A * b.lamp_ohm;
  set(R::v_src_load, loaded), set(R::vac_src, b.source_open ? 0 : b.ac_V);
  set(R::vac_pin16, v(kPin16, kPin4) < 1 ? 0 : b.ac_V);
  // Module fed.
  set(R::v_src_on, s.v[kSrc]);
  set(R::limit_lamp, b.limit_A > 0 && fed.pattern == 1 ? 2 : s.limited ? 1 : 0);
  set(R::v_feed_chassis, v(kFeed, kChassis)), set(R::v_slot_load_chassis, v(kSlot, kChassis));
  set(R::v_slot_supply_chassis, v(kBar, kChassis));
  set(R::v_chassis, s.v[kChassis]), set(R::v_src_feed, v(kSrc, kFeed));
  set(R::v_pin16_pin4, v(kPin16, kPin4)), set(R::v_pin16_chassis, v(kPin16, kChassis));
  set(R::v_connfuse_supply_chassis, v(kFuseIn, kChassis));
  const bool fed_bar = own(b) && b.parted == 0;
  set(R::v_outlet_chassis, b.outlet_shares                            ? v(kFuseOut, kChassis)
                           : b.outlet_live && fed_bar && !b.timer_off ? v(kBar, kChassis)
                           : b.outlet_live && !own(b)                 ? v(kSrc, kChassis)
                                                                      : 0);
  set(R::v_interface, v(kIfPlus, kIfMinus));
  set(R::v_pin4, s.v[kPin4]), set(R::v_ifgnd_chassis, v(kIfMinus, kChassis));
  const double rail = own(b) ? (b.key_on ? v(kBar, kChassis) : 0) : v(kFeed, kChassis);
  const bool second = b.needs_second || own(b) ? b.second_given : b.coin[11] < 0.5;
  set(R::v_feed2_chassis, second ? rail : 0);
  set(R::i_feed, s.feed_A), set(R::i_src, s.source_A), set(R::i_feed_pattern, fed.pattern);
  set(R::v_gwfeed_chassis, !b.gateway ? kNaN : !b.gateway_fed ? 0 : rail);
  const bool others_live = own(b)        ? v(kBar, kChassis) > kShows_V && b.key_on
                           : b.slot == 2 ? v(kBar, kChassis) > kShows_V
                                         : b.slot == 1 && v(kFeed, kChassis) > kShows_V;
  set(R::dash_signs, others_live && (own(b) || b.signs_show) ? 1 : 0);
  set(R::warning_lamp, !others_live ? 0 : fed.running && b.coin[1] < 0.4 ? 2 : 1);
}

void setLevels(const Bench& b, const Fed& fed, const Talk& t, Predicted& p) {
  const auto set = [&p](R r, double v) { p.value[static_cast<std::size_t>(r)] = v; };
  Rails r;
  r.if_V = fed.supply.volts(kIfMinus, kChassis), r.module_V = fed.supply.volts(kModMinus, kChassis);
  r.supply_V = own(b) ? fed.supply.volts(kBar, kChassis) : fed.supply.volts(kSlot, kChassis);
  r.if_alive = fed.supply.volts(kIfPlus, kIfMinus) >= b.interface_min_V && !b.interface_dead;
  r.module_alive = t.on_can, r.trunk_alive = t.trunk;
  const auto quiet = solveWires(b, r, Driver::none);
  const bool module = t.on_can && b.sends && !b.gateway && !b.pair_wrong;
  const bool trunk = t.trunk && b.others && !b.gateway;
  auto v = quiet;
  if (module || trunk) {
    // A lone sender that nobody acknowledges repeats its frame for ever.
    const bool alone =
        module && !trunk &&
        (b.listen_only || b.rate_wrong || b.fd || !t.adapter || b.bus_side_dead || b.bus_contact_open);
    const double share = alone ? 0.4 : b.share;
    const auto dominant = solveWires(b, r, module ? Driver::module : Driver::trunk);
    for (std::size_t i = 0; i < kWires; ++i) v[i] += share * (dominant[i] - quiet[i]);
  }
  const double pin4 = fed.supply.volts(kPin4, kChassis);
  set(R::v_pin6_pin4, v[kPin6] - pin4), set(R::v_pin14_pin4, v[kPin14] - pin4);
  set(R::v_pin6_pin14, v[kPin6] - v[kPin14]);
  const bool pulled = (b.k_line && t.running && b.coin[3] < 0.8) || (!b.k_line && own(b) && b.coin[3] < 0.1);
  set(R::v_pin7_pin4, pulled ? fed.supply.volts(kMod, kChassis) - pin4 : 0);
}

}  // namespace

Predicted predict(const Bench& b) {
  Predicted p;
  const Fed fed = feedModule(b);
  const Talk t = talk(b, fed);
  busOhms(b, p);
  setSupply(b, fed, p);
  setLevels(b, fed, t, p);
  setAnswers(b, fed, t, p);
  return p;
}

}  // namespace pin16::reasons
