// SPDX-License-Identifier: Apache-2.0
// The linear networks, element for element, against values that ngspice 39 gave for them
// (data/ngspice_linear.csv, with its tolerances: |difference| <= abs_tol + rel_tol * |expected|).
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <sstream>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {
namespace {

struct Expected {
  double value = 0;
  double tolerance = 0;
  int checked = 0;
};
using Table = std::map<std::string, std::map<std::string, Expected>>;

Table readTable() {
  std::ifstream in(PIN16_SOURCE_DIR "/tests/circuit/data/ngspice_linear.csv");
  Table table;
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    std::istringstream fields(line);
    std::string name, quantity, expected, unit, abs_tol, rel_tol;
    std::getline(fields, name, ',');
    std::getline(fields, quantity, ',');
    std::getline(fields, expected, ',');
    std::getline(fields, unit, ',');
    std::getline(fields, abs_tol, ',');
    std::getline(fields, rel_tol, ',');
    const double value = std::stod(expected);
    table[name][quantity] = {value, std::stod(abs_tol) + std::stod(rel_tol) * std::abs(value), 0};
  }
  return table;
}

/// Solves a netlist and checks quantities against one case; at the end every row must have been checked.
class Case {
 public:
  Case(const Netlist& netlist, const std::string& name) : name_(name), rows_(readTable()[name]) {
    const auto circuit = netlist.compile();
    if (!circuit) {
      ADD_FAILURE() << circuit.error().text();
      return;
    }
    circuit_ = *circuit;
    const auto solution = circuit_.solve(circuit_.defaults());
    if (!solution) {
      ADD_FAILURE() << solution.error().text();
      return;
    }
    solution_ = *solution;
  }
  ~Case() {
    EXPECT_FALSE(rows_.empty()) << name_;
    for (const auto& [quantity, row] : rows_) EXPECT_EQ(row.checked, 1) << name_ << " " << quantity;
  }
  Case(const Case&) = delete;
  Case& operator=(const Case&) = delete;

  [[nodiscard]] double volts(const char* a, const char* b = "0") const {
    return solution_.volts(circuit_.node(a).value(), circuit_.node(b).value());
  }
  [[nodiscard]] double ampere(const char* element) const {
    return solution_.ampere(circuit_.branch(element).value());
  }
  void is(const std::string& quantity, double value) {
    Expected& row = rows_[quantity];
    ++row.checked;
    EXPECT_NEAR(value, row.value, row.tolerance) << name_ << " " << quantity << " (ngspice 39)";
  }

 private:
  std::string name_;
  std::map<std::string, Expected> rows_;
  Circuit circuit_;
  Solution solution_;
};

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

}  // namespace
}  // namespace pin16::circuit
