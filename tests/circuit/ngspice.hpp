// SPDX-License-Identifier: Apache-2.0
#pragma once
// Generated netlists in our words and in SPICE's, and what `ngspice -b` says about them.
#include <fmt/core.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <string>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {

class Xorshift {
 public:
  explicit Xorshift(std::uint64_t seed) : state_(seed * 0x9E3779B97F4A7C15ULL + 1) {}
  std::uint64_t next() {
    state_ ^= state_ << 13U;
    state_ ^= state_ >> 7U;
    state_ ^= state_ << 17U;
    return state_;
  }
  std::uint32_t below(std::uint32_t n) { return static_cast<std::uint32_t>(next() % n); }
  double between(double low, double high) {
    return low + (high - low) * static_cast<double>(next() >> 11U) / 9007199254740992.0;
  }
  double decades(double low, double high) {
    return std::pow(10.0, between(std::log10(low), std::log10(high)));
  }

 private:
  std::uint64_t state_;
};

inline std::string nodeName(std::uint32_t i) { return i == 0 ? "0" : fmt::format("n{}", i); }

/// One circuit, written twice.
class Generated {
 public:
  explicit Generated(const std::string& title, const char* options)
      : spice(fmt::format("* {}\n.options {}\n", title, options)) {}

  void resistor(std::uint32_t a, std::uint32_t b, double ohm) {
    const std::string name = next("R");
    netlist.resistor(name, nodeName(a), nodeName(b), ohm);
    spice += fmt::format("{} {} {} {:.17g}\n", name, nodeName(a), nodeName(b), ohm);
  }
  void source(std::uint32_t plus, std::uint32_t minus, double emf_V, double series_ohm) {
    const std::string name = next("V");
    netlist.source(name, nodeName(plus), nodeName(minus), emf_V, series_ohm);
    spice += fmt::format("{0} e{0} {1} {2:.17g}\nRs{0} e{0} {3} {4:.17g}\n", name, nodeName(minus), emf_V,
                         nodeName(plus), series_ohm);
  }
  void load(std::uint32_t from, double ampere) {
    const std::string name = next("I");
    netlist.load(name, nodeName(from), "0", ampere);
    spice += fmt::format("{} {} 0 {:.17g}\n", name, nodeName(from), ampere);
  }
  void diode(std::uint32_t anode, std::uint32_t cathode, const Diode& d) {
    const std::string name = next("D");
    netlist.diode(name, nodeName(anode), nodeName(cathode), d);
    spice += fmt::format("{0} {1} {2} m{0}\n.model m{0} D(IS={3:.17g} N={4:.17g})\n", name, nodeName(anode),
                         nodeName(cathode), d.saturation_A, d.ideality);
  }
  void capacitor(std::uint32_t a, double farad, double volts) {
    const std::string name = next("C");
    netlist.capacitor(name, nodeName(a), "0", farad, volts);
    spice += fmt::format("{} {} 0 {:.17g} IC={:.17g}\n", name, nodeName(a), farad, volts);
  }
  /// Constant above fold_V, a resistance below, as `V > fold ? P/V : P*V/fold^2`.
  void consumer(std::uint32_t plus, Law law, double amount, double fold_V) {
    const std::string name = next("B"), v = fmt::format("V({})", nodeName(plus));
    netlist.consumer(name, nodeName(plus), "0", {.law = law, .amount = amount, .fold_V = fold_V});
    spice += law == Law::power
                 ? fmt::format("{0} {1} 0 I = {2} > {3:.17g} ? {4:.17g}/{2} : {5:.17g}*{2}\n", name,
                               nodeName(plus), v, fold_V, amount, amount / (fold_V * fold_V))
                 : fmt::format("{0} {1} 0 I = {2} > {3:.17g} ? {4:.17g} : {5:.17g}*{2}\n", name,
                               nodeName(plus), v, fold_V, amount, amount / fold_V);
  }
  void supply(std::uint32_t plus, const Supply& s) {
    const std::string name = next("B"), v = fmt::format("V({})", nodeName(plus));
    netlist.supply(name, nodeName(plus), "0", s);
    spice += fmt::format(
        "{0} 0 {1} I = {2} > {3:.17g} ? 0 : min(({3:.17g}-{2})/{4:.17g}, {5:.17g}+{6:.17g}*max({2},0))\n",
        name, nodeName(plus), v, s.emf_V, s.series_ohm, s.short_A, (s.limit_A - s.short_A) / s.emf_V);
  }
  /// For an operating point; SPICE begins its search with `start_V` everywhere.
  void printAll(double start_V = 0) {
    if (start_V != 0)
      for (std::uint32_t i = 1; i < nodes; ++i)
        spice += fmt::format(".nodeset v({})={}\n", nodeName(i), start_V);
    spice += ".control\nset numdgt=12\nop\n";
    for (std::uint32_t i = 1; i < nodes; ++i) spice += fmt::format("print v({})\n", nodeName(i));
    spice += "quit\n.endc\n.end\n";
  }

  Netlist netlist;
  std::string spice;
  std::uint32_t nodes = 0;

 private:
  std::string next(const char* letter) { return fmt::format("{}{}", letter, ++count_); }
  int count_ = 0;
};

/// "name = 1.2345e+00" lines of the simulator's text; its exit status says nothing of convergence.
inline std::map<std::string, double> runNgspice(const std::string& text) {
  static const std::string folder = [] {
    std::string pattern = (std::filesystem::temp_directory_path() / "pin16-ngspice-XXXXXX").string();
    return std::string(mkdtemp(pattern.data()));
  }();
  const std::string file = folder + "/net.cir";
  std::filesystem::create_directories(folder);
  std::ofstream(file) << text;
  std::map<std::string, double> out;
  FILE* pipe = popen(fmt::format("ngspice -b '{}' 2>&1", file).c_str(), "r");
  std::array<char, 512> line{};
  while (pipe != nullptr && std::fgets(line.data(), line.size(), pipe) != nullptr) {
    std::istringstream in(line.data());
    std::string name, equals;
    double value = 0;
    if (in >> name >> equals >> value && equals == "=") out[name] = value;
  }
  if (pipe != nullptr) pclose(pipe);
  std::filesystem::remove_all(folder);
  return out;
}

/// A test without the simulator proves nothing: say so where run-all.sh counts it.
#define PIN16_NEEDS_NGSPICE()                                                                             \
  if (runNgspice("* there\nR1 a 0 1\nV1 a 0 1\n.control\nop\nprint v(a)\nquit\n.endc\n.end\n").empty()) { \
    std::puts("FELL BACK: ngspice (package ngspice) does not run; generated circuits were not compared"); \
    GTEST_SKIP();                                                                                         \
  }                                                                                                       \
  static_assert(true)

}  // namespace pin16::circuit
