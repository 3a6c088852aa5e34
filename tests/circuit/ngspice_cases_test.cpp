// SPDX-License-Identifier: Apache-2.0
// Networks of the job, element for element, against values that ngspice 39 gave for them
// (data/ngspice_cases.csv, with its tolerances: |difference| <= abs_tol + rel_tol * |expected|), and against
// the closed form in the same row where there is one. Two demonstrations of the simulator's own behaviour and
// the case in which it finds no answer are not in the table.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <optional>
#include <span>
#include <sstream>
#include <stdexcept>
#include <vector>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {
namespace {

struct Expected {
  double value = 0;
  double tolerance = 0;
  std::optional<double> closed_form;
  int checked = 0;
};
using Table = std::map<std::string, std::map<std::string, Expected>>;

Table readTable() {
  std::ifstream in(PIN16_SOURCE_DIR "/tests/circuit/data/ngspice_cases.csv");
  Table table;
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    std::istringstream fields(line);
    std::string name, quantity, expected, unit, abs_tol, rel_tol, closed_form;
    std::getline(fields, name, ',');
    std::getline(fields, quantity, ',');
    std::getline(fields, expected, ',');
    std::getline(fields, unit, ',');
    std::getline(fields, abs_tol, ',');
    std::getline(fields, rel_tol, ',');
    std::getline(fields, closed_form, ',');
    const double value = std::stod(expected);
    Expected& row = table[name][quantity];
    row.value = value;
    row.tolerance = std::stod(abs_tol) + std::stod(rel_tol) * std::abs(value);
    if (!closed_form.empty()) row.closed_form = std::stod(closed_form);
  }
  return table;
}

/// Compiles a netlist and checks quantities against one case; at the end every row must have been checked.
class Case {
 public:
  Case(const Netlist& netlist, const std::string& name, Start start = Start::running)
      : name_(name), rows_(readTable()[name]) {
    auto circuit = netlist.compile();
    if (!circuit) throw std::runtime_error(circuit.error().text());
    circuit_ = *std::move(circuit);
    workspace_.emplace(circuit_);
    params = circuit_.defaults();
    state = circuit_.initial(params);
    operate(start);
  }
  ~Case() {
    EXPECT_FALSE(rows_.empty()) << name_;
    for (const auto& [quantity, row] : rows_) EXPECT_EQ(row.checked, 1) << name_ << " " << quantity;
  }
  Case(const Case&) = delete;
  Case& operator=(const Case&) = delete;

  Outcome operate(Start start) {
    const auto outcome = circuit_.operate(params, start, state, *workspace_);
    if (!outcome) throw std::runtime_error(outcome.error().text());
    return *outcome;
  }
  /// A transient begins with what the netlist says, as `uic` does.
  void begin() { state = circuit_.initial(params); }
  void step(double dt_s) {
    const Status s = circuit_.step(params, dt_s, state, *workspace_);
    if (!s) throw std::runtime_error(s.error().text());
  }
  void set(const char* element, const char* parameter, double value) {
    params[circuit_.param(element, parameter).value()] = value;
  }
  [[nodiscard]] const Analysis& analyse() {
    const Status s = circuit_.analyse(params, *workspace_);
    if (!s) throw std::runtime_error(s.error().text());
    return workspace_->analysis();
  }
  [[nodiscard]] double volts(const char* a, const char* b = "0") const {
    return workspace_->solution().volts(circuit_.node(a).value(), circuit_.node(b).value());
  }
  [[nodiscard]] double ampere(const char* element) const {
    return workspace_->solution().ampere(circuit_.branch(element).value());
  }
  [[nodiscard]] std::span<const Happening> happenings() const { return workspace_->happenings(); }
  void is(const std::string& quantity, double value) {
    Expected& row = rows_[quantity];
    ++row.checked;
    EXPECT_NEAR(value, row.value, row.tolerance) << name_ << " " << quantity << " (ngspice 39)";
    if (row.closed_form) {
      EXPECT_NEAR(value, *row.closed_form, row.tolerance) << name_ << " " << quantity << " (closed form)";
    }
  }
  Params params;
  State state;

 private:
  std::string name_;
  std::map<std::string, Expected> rows_;
  Circuit circuit_;
  std::optional<Workspace> workspace_;
};

Consumer power(double watt, double fold_V) { return {.law = Law::power, .amount = watt, .fold_V = fold_V}; }

TEST(NgspiceCases, ResistiveModuleThroughFuseAndLeads) {
  Netlist n;
  n.source("B", "src", "0", 12.60, 0.020);
  n.fuse("F", "src", "fo", 7.5);
  n.resistor("L", "fo", "mp", 0.031425);
  n.resistor("M", "mp", "mn", 24);
  n.resistor("G", "mn", "j", 0.031425);
  n.resistor("J", "j", "0", 0.005);
  Case c(n, "01_resistive");
  c.is("v_src", c.volts("src"));
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("v_gnd_lift", c.volts("mn"));
  c.is("v_fuse", c.volts("src", "fo"));
  c.is("v_lead", c.volts("fo", "mp"));
  c.is("i_src", c.ampere("B"));
  c.is("p_mod", c.volts("mp", "mn") * c.ampere("B"));
}

TEST(NgspiceCases, TwoLoadsOnSharedLeads) {
  Netlist n;
  n.source("B", "src", "0", 12.20, 0.030);
  n.fuse("F", "src", "fo", 5);
  n.resistor("L", "fo", "d", 0.200);
  n.resistor("L2", "d", "mp", 0.050);
  n.load("M", "mp", "mn", 0.35);
  n.resistor("G2", "mn", "g", 0.050);
  n.load("I", "d", "g", 0.12);
  n.resistor("G", "g", "0", 0.200);
  Case c(n, "02_ccurrent_shared_leads");
  c.is("v_src", c.volts("src"));
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("v_ifc", c.volts("d", "g"));
  c.is("v_gnd_mod", c.volts("mn"));
  c.is("v_gnd_ifc", c.volts("g"));
  c.is("v_gnd_diff", c.volts("mn", "g"));
  c.is("i_src", c.ampere("B"));
}

TEST(NgspiceCases, BlownFuseShowsGhostVoltsOnTheMeter) {
  Netlist n;
  n.source("B", "src", "0", 12.40, 0.020);
  n.fuse("F", "src", "fo", 7.5, true);
  n.voltmeter("Vfuse", "src", "fo");
  n.resistor("L", "fo", "mp", 0.05);
  n.resistor("M", "mp", "0", 10e3);
  n.voltmeter("Vload", "mp", "0");
  Case c(n, "07_blown_fuse");
  c.is("v_src", c.volts("src"));
  c.is("v_load_side", c.volts("mp"));
  c.is("v_across_fuse", c.volts("src", "fo"));
  c.is("i_src", c.ampere("B"));
}

TEST(NgspiceCases, FeedOnTheLoadSide) {
  Netlist n;
  n.source("B", "src", "0", 13.0, 0.010);
  n.fuse("F", "src", "fo", 5);
  n.resistor("L", "fo", "ls", 0.080);
  n.resistor("H", "ls", "mp", 0.060);
  n.load("M", "mp", "mn", 0.45);
  n.resistor("G", "mn", "0", 0.050);
  Case c(n, "08a_right_side");
  c.is("v_slot", c.volts("ls"));
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("i_src", c.ampere("B"));
  c.is("v_inline_fuse", c.volts("src", "fo"));
}

TEST(NgspiceCases, FeedOnTheSupplySideWithTheFuseIn) {
  Netlist n;
  n.source("B", "src", "0", 13.0, 0.010);
  n.fuse("F", "src", "fo", 5);
  n.resistor("L", "fo", "bus", 0.080);
  n.load("X", "bus", "0", 4.0);
  n.fuse("Fm", "bus", "ls", 7.5);
  n.resistor("H", "ls", "mp", 0.060);
  n.load("M", "mp", "mn", 0.45);
  n.resistor("G", "mn", "0", 0.050);
  Case c(n, "08b_wrong_side");
  c.is("v_bus", c.volts("bus"));
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("i_src", c.ampere("B"));
  c.is("v_inline_fuse", c.volts("src", "fo"));
  c.is("v_module_fuse", c.volts("bus", "ls"));
}

TEST(NgspiceCases, CorrodedGround) {
  Netlist n;
  n.source("B", "src", "0", 12.6, 0.020);
  n.resistor("F", "src", "fo", 0.0077);
  n.resistor("L", "fo", "mp", 0.040);
  n.load("M", "mp", "mn", 1.2);
  n.resistor("G", "mn", "0", 0.50);
  n.resistor("Li", "src", "ip", 0.10);
  n.load("I", "ip", "in", 0.10);
  n.resistor("Gi", "in", "0", 0.02);
  Case c(n, "09_bad_ground");
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("v_gnd_lift", c.volts("mn"));
  c.is("v_gnd_offset", c.volts("mn", "in"));
  c.is("v_ifc", c.volts("ip", "in"));
  c.is("i_src", c.ampere("B"));
}

void twoSources(const std::string& name, double link_ohm) {
  Netlist n;
  n.source("A", "sa", "0", 12.4, 0.020);
  n.resistor("La", "sa", "mp", 0.070);
  n.load("M", "mp", "mn", 0.80);
  n.resistor("Ga", "mn", "0", 0.10);
  n.source("B", "pb", "nb", 5.0, 0.10);
  n.load("I", "pb", "nb", 0.25);
  n.resistor("Stray", "pb", "0", 100e3);
  n.resistor("Link", "nb", "mn", link_ohm);
  Case c(n, name);
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("v_ifc", c.volts("pb", "nb"));
  c.is("v_gnd_mod", c.volts("mn"));
  c.is("v_ref_offset", c.volts("nb", "mn"));
  c.is("i_a", c.ampere("A"));
  c.is("i_b", c.ampere("B"));
}
TEST(NgspiceCases, TwoSourcesWithoutACommonGround) { twoSources("10_two_sources_nostrap", 1e6); }
TEST(NgspiceCases, TwoSourcesStrapped) { twoSources("10_two_sources_strap", 0.05); }

TEST(NgspiceCases, WarmCopper) {
  Netlist n;
  n.source("B", "src", "0", 12.0, 0.025);
  n.resistor("L", "src", "mp", 0.115639);
  n.load("M", "mp", "mn", 1.5);
  n.resistor("G", "mn", "0", 0.115639);
  Case c(n, "16_temperature_copper");
  c.is("v_src", c.volts("src"));
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("v_gnd_lift", c.volts("mn"));
}

TEST(NgspiceCases, ConstantPowerOnAStiffSource) {
  Netlist n;
  n.source("B", "src", "0", 12.20, 0.050);
  n.resistor("L", "src", "mp", 0.060);
  n.consumer("M", "mp", "mn", power(6, 0.5));
  n.resistor("G", "mn", "0", 0.040);
  Case c(n, "03_cpower_stiff", Start::cold);
  c.is("v_src", c.volts("src"));
  c.is("v_mod", c.volts("mp", "mn"));
  c.is("i_src", c.ampere("B"));
  c.is("v_gnd", c.volts("mn"));
  EXPECT_EQ(c.analyse().outcome, Outcome::one);
  EXPECT_NEAR(c.analyse().margin, 6 / (12.2 * 12.2 / (4 * 0.15)), 1e-6);
}

Netlist bistable() {
  Netlist n;
  n.source("B", "mp", "0", 12, 1.5);
  n.consumer("M", "mp", "0", power(20, 3));
  return n;
}
TEST(NgspiceCases, ConstantPowerAlreadyRunningStaysHigh) {
  Case c(bistable(), "04_cpower_bistable_high", Start::running);
  c.is("v_mod", c.volts("mp"));
  c.is("i_src", c.ampere("B"));
  c.is("p_mod", c.volts("mp") * c.ampere("M"));
  EXPECT_EQ(c.analyse().outcome, Outcome::several);
  EXPECT_NEAR(c.analyse().margin, 20.0 / 24, 1e-6);
}
TEST(NgspiceCases, ConstantPowerSwitchedOnStaysInBrownOut) {
  Case c(bistable(), "04_cpower_bistable_low", Start::cold);
  c.is("v_mod", c.volts("mp"));
  c.is("i_src", c.ampere("B"));
  c.is("p_mod", c.volts("mp") * c.ampere("M"));
}

TEST(NgspiceCases, ConstantPowerBeyondTheLimitFoldsBackFromEitherStart) {
  Netlist n;
  n.source("B", "mp", "0", 12, 1.5);
  n.consumer("M", "mp", "0", power(30, 6));
  Case c(n, "05_cpower_beyond_limit", Start::running);
  c.is("v_mod", c.volts("mp"));
  c.is("i_src", c.ampere("B"));
  c.is("p_mod", c.volts("mp") * c.ampere("M"));
  EXPECT_EQ(c.analyse().outcome, Outcome::one);
  EXPECT_NEAR(c.analyse().margin, 30.0 / 24, 1e-6);
}

TEST(NgspiceCases, ConstantPowerNearTheLimitAndItsMargin) {
  Netlist n;
  n.source("B", "mp", "0", 12, 1.5);
  n.consumer("M", "mp", "0", power(23.99, 1));
  Case c(n, "05c_cpower_near_limit", Start::running);
  c.is("v_mod", c.volts("mp"));
  c.is("i_src", c.ampere("B"));
  EXPECT_NEAR(c.analyse().margin, 23.99 / 24, 1e-6);
}

TEST(NgspiceCases, ReserveCapacitorInrush) {
  Netlist n;
  n.source("B", "mp", "0", 12.60, 0.12);
  n.resistor("P", "mp", "c", 2.2);
  n.capacitor("C", "c", "0", 4700e-6);
  Case c(n, "06_reserve_inrush");
  c.begin();
  double peak_A = 0, least_V = 1e9;
  for (int i = 0; i < 500; ++i) {
    c.step(2e-6);
    peak_A = std::max(peak_A, c.ampere("C"));
    least_V = std::min(least_V, c.volts("mp"));
  }
  c.is("i_peak", peak_A);
  c.is("v_mod_min", least_V);
  c.step(9e-3);
  c.is("v_c_10ms", c.volts("c"));
  c.is("i_10ms", c.ampere("C"));
  c.step(40e-3);
  c.is("v_c_50ms", c.volts("c"));
}

TEST(NgspiceCases, WeakBatteryWithABooster) {
  Netlist n;
  n.source("Weak", "bus", "0", 9.8, 0.15);
  n.source("Booster", "b2", "0", 12.9, 0.03);
  n.resistor("R2l", "b2", "bus", 0.02);
  n.load("X", "bus", "0", 1.5);
  n.resistor("L", "bus", "mp", 0.12);
  n.consumer("M", "mp", "0", power(6, 1));
  Case c(n, "11_parallel_booster");
  c.is("v_bus", c.volts("bus"));
  c.is("v_mod", c.volts("mp"));
  c.is("i_booster", c.ampere("Booster"));
  c.is("i_weak_batt", c.ampere("Weak"));
  c.is("i_mod", c.ampere("M"));
}

TEST(NgspiceCases, FlatBattery) {
  Netlist n;
  n.battery("B", "bus", "0", {.rest_V = {10.6, 10.6, 10.6, 10.6, 10.6}, .series_ohm = 0.60});
  n.load("X", "bus", "0", 0.8);
  n.resistor("L", "bus", "mp", 0.25);
  n.consumer("M", "mp", "0", power(8, 5.5));
  Case c(n, "12_flat_battery");
  c.is("v_bus", c.volts("bus"));
  c.is("v_mod", c.volts("mp"));
  c.is("i_mod", c.ampere("M"));
  c.is("i_src", c.ampere("B"));
}

TEST(NgspiceCases, SlowlyFallingSourceCollapses) {
  Case c(bistable(), "13_dc_sweep_collapse");
  double collapse_V = 0;
  for (int i = 0; i <= 4000; ++i) {
    const double emf_V = 14 - 0.001 * i;
    c.set("B", "emf_V", emf_V);
    ASSERT_EQ(c.operate(i == 0 ? Start::running : Start::state), Outcome::one) << emf_V;
    if (i == 0) c.is("v_at_14", c.volts("mp"));
    if (i == 2000) c.is("v_at_12", c.volts("mp"));
    if (i == 3000) c.is("v_at_11", c.volts("mp"));
    if (i == 3500) c.is("v_at_10p5", c.volts("mp"));
    if (collapse_V == 0 && c.volts("mp") < 4) collapse_V = emf_V;
  }
  c.is("e_collapse", collapse_V);
}

TEST(NgspiceCases, InputCapacitorHoldsUpThroughAGap) {
  Netlist n;
  n.source("B", "emf", "0", 12.6, 0);
  n.toggle("S", "emf", "s", true, 0.05);
  n.source("Drop", "s", "d1", 0.6, 0);
  n.diode("D", "d1", "c", {.saturation_A = 1e-12, .ideality = 0.01});
  n.capacitor("C", "c", "0", 1000e-6, 11.97);
  n.load("M", "c", "0", 0.30);
  Case c(n, "14_dropout_holdup");
  c.begin();
  c.step(4.9e-3);
  c.is("v_before", c.volts("c"));
  c.step(0.15e-3);
  c.set("S", "open", 1);
  c.step(9.95e-3);
  c.is("v_end_gap", c.volts("c"));
  c.step(0.10015e-3);
  c.set("S", "open", 0);
  c.step(19.89985e-3);
  c.is("v_after", c.volts("c"));
}

TEST(NgspiceCases, LockOutWithoutASteadyStateCycles) {
  Netlist n;
  n.source("B", "mp", "0", 12, 3);
  n.capacitor("C", "mp", "0", 470e-6);
  Consumer m = power(10, 3);
  m.start_V = 9.5;
  m.stop_V = 9.0;
  m.off_ohm = 9.25 / 0.005;  // 5 mA where it spends its time
  n.consumer("M", "mp", "0", m);
  n.watch("W", "mp", "0", 9.2);
  Case c(n, "15_uvlo_hiccup");
  EXPECT_EQ(c.operate(Start::cold), Outcome::cycling);
  EXPECT_EQ(c.operate(Start::running), Outcome::cycling);
  EXPECT_EQ(c.analyse().outcome, Outcome::cycling);
  c.begin();
  double most_V = 0, least_V = 1e9, sum_V = 0;
  std::vector<double> rises_s;
  for (int i = 0; i < 6000; ++i) {
    c.step(10e-6);
    for (const Happening& h : c.happenings())
      if (h.kind == Happening::Kind::rises) rises_s.push_back(h.t_s);
    if (i < 2000) continue;
    most_V = std::max(most_V, c.volts("mp"));
    least_V = std::min(least_V, c.volts("mp"));
    sum_V += c.volts("mp") / 4000;
  }
  c.is("v_max", most_V);
  c.is("v_min", least_V);
  c.is("v_avg", sum_V);
  ASSERT_GE(rises_s.size(), 4U);
  c.is("t_rise1", rises_s[2]);
  c.is("t_rise2", rises_s[3]);
}

}  // namespace
}  // namespace pin16::circuit
