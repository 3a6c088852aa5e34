// SPDX-License-Identifier: Apache-2.0
// Generated networks of resistors and sources, each solved by `ngspice -b` as well: 0.1 % agreement.
#include <fmt/core.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {
namespace {

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

 private:
  std::uint64_t state_;
};

struct Generated {
  Netlist netlist;
  std::string spice;
  std::uint32_t nodes = 0;
};

std::string nodeName(std::uint32_t i) { return i == 0 ? "0" : fmt::format("n{}", i); }

/// A tree of resistors, so that nothing floats, then more resistors, EMFs with resistance, current loads.
Generated generate(std::uint64_t seed) {
  Xorshift random(seed);
  Generated g;
  g.nodes = 4 + random.below(12);
  g.spice = fmt::format("* generated {}\n.options reltol=1e-9 abstol=1e-15 vntol=1e-12 gmin=1e-15\n", seed);
  int count = 0;
  const auto resistor = [&](std::uint32_t a, std::uint32_t b) {
    const double ohm = std::pow(10.0, random.between(-2.5, 5));
    const std::string name = fmt::format("R{}", ++count);
    g.netlist.resistor(name, nodeName(a), nodeName(b), ohm);
    g.spice += fmt::format("{} {} {} {:.17g}\n", name, nodeName(a), nodeName(b), ohm);
  };
  for (std::uint32_t i = 1; i < g.nodes; ++i) resistor(i, random.below(i));
  for (std::uint32_t i = 0; i < g.nodes; ++i) {
    const std::uint32_t a = random.below(g.nodes);
    const std::uint32_t b = random.below(g.nodes);
    if (a != b) resistor(a, b);
  }
  const std::uint32_t sources = 1 + random.below(3);
  for (std::uint32_t i = 1; i <= sources; ++i) {
    const std::uint32_t plus = 1 + random.below(g.nodes - 1);
    const std::uint32_t minus = random.below(plus);
    const double emf_V = random.between(-14, 28);
    const double series_ohm = random.between(0.005, 1);
    g.netlist.source(fmt::format("V{}", i), nodeName(plus), nodeName(minus), emf_V, series_ohm);
    g.spice += fmt::format("V{0} e{0} {1} {2:.17g}\nRs{0} e{0} {3} {4:.17g}\n", i, nodeName(minus), emf_V,
                           nodeName(plus), series_ohm);
  }
  const std::uint32_t from = 1 + random.below(g.nodes - 1);
  const double ampere = random.between(0.01, 1);
  g.netlist.load("I1", nodeName(from), "0", ampere);
  g.spice += fmt::format("I1 {} 0 {:.17g}\n.control\nset numdgt=12\nop\n", nodeName(from), ampere);
  for (std::uint32_t i = 1; i < g.nodes; ++i) g.spice += fmt::format("print v({})\n", nodeName(i));
  g.spice += "quit\n.endc\n.end\n";
  return g;
}

/// "v(n3) = 1.2345e+00" lines of the simulator's text; its exit status says nothing of convergence.
std::map<std::string, double> runNgspice(const std::string& file) {
  std::map<std::string, double> out;
  FILE* pipe = popen(fmt::format("ngspice -b '{}' 2>&1", file).c_str(), "r");
  std::array<char, 512> line{};
  while (pipe != nullptr && std::fgets(line.data(), line.size(), pipe) != nullptr) {
    std::istringstream in(line.data());
    std::string name, equals;
    double value = 0;
    if (in >> name >> equals >> value && equals == "=" && name.starts_with("v(")) out[name] = value;
  }
  if (pipe != nullptr) pclose(pipe);
  return out;
}

TEST(NgspiceRandom, ThirtyGeneratedNetworksAgree) {
  std::string pattern = (std::filesystem::temp_directory_path() / "pin16-ngspice-XXXXXX").string();
  ASSERT_NE(mkdtemp(pattern.data()), nullptr);
  int compared = 0;
  for (std::uint64_t seed = 1; seed <= 30; ++seed) {
    const Generated g = generate(seed);
    const std::string file = fmt::format("{}/{}.cir", pattern, seed);
    std::ofstream(file) << g.spice;
    const auto theirs = runNgspice(file);
    ASSERT_EQ(theirs.size(), g.nodes - 1) << "ngspice (package ngspice) gave no answer for\n" << g.spice;

    const auto circuit = g.netlist.compile();
    ASSERT_TRUE(circuit) << circuit.error().text();
    const auto solution = circuit->solve(circuit->defaults());
    ASSERT_TRUE(solution) << solution.error().text();
    double largest_V = 0;
    for (const auto& [name, value] : theirs) largest_V = std::max(largest_V, std::abs(value));
    for (std::uint32_t i = 1; i < g.nodes; ++i) {
      const double reference_V = theirs.at(fmt::format("v(n{})", i));
      // 0.1 % of the value; near 0 V, a millionth of the largest, which is what the printed digits carry.
      EXPECT_NEAR(solution->volts(*circuit->node(nodeName(i))), reference_V,
                  1e-3 * std::abs(reference_V) + 1e-6 * largest_V)
          << "seed " << seed << " node " << i;
      ++compared;
    }
  }
  EXPECT_GT(compared, 200);
  std::filesystem::remove_all(pattern);
}

}  // namespace
}  // namespace pin16::circuit
