// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Direct-current networks: a netlist built by name, compiled once to an immutable circuit, solved as often
/// as wanted for a flat vector of parameters by modified nodal analysis. Linear elements only: the operating
/// point does not depend on a start value. No threads inside; a Circuit may be shared by any of them.
///
/// Floating nodes: every node has a conductance of kGmin_S to the reference, as circuit simulators use, so a
/// node without a path of its own settles at 0 V instead of making the matrix singular. It draws at most
/// 15 pA from a 12 V node. An open fuse or switch leaks through kOpen_ohm. floating() names the nodes that
/// hang on the reference only by such leaks: their volts mean nothing to a person without a meter's load.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"

namespace pin16::circuit {

inline constexpr double kGmin_S = 1e-12;      ///< SPICE's customary default
inline constexpr double kOpen_ohm = 1e9;      ///< an open fuse or contact (own figure)
inline constexpr double kContact_ohm = 1e-3;  ///< a closed contact, unless stated (own figure)
inline constexpr double kMeterInput_ohm =
    10e6;  ///< a hand-held digital voltmeter (common practice, no source)
inline constexpr double kCopperRho_ohm_mm2_per_m = 1.0 / 58;  ///< annealed copper at 20 C, IEC 60028
inline constexpr double kCopperAlpha_per_K = 0.00393;         ///< at 20 C, IEC 60028
inline constexpr double kResistanceMin_ohm = 1e-9;

/// Resistance of one copper conductor.
[[nodiscard]] double leadResistance_ohm(double mm2, double length_m, double celsius);

/// Typical cold resistance of a blade fuse by its rating.
struct FuseRow {
  double rating_A;
  double cold_ohm;
  const char* source;
  const char* confidence;  ///< read, memory: see limits::Limit
};
[[nodiscard]] const std::vector<FuseRow>& fuseTable();

/// Index of a node; 0 is the reference.
struct Node {
  std::uint32_t index = 0;
};
/// Index of an element, and so of its current.
struct Branch {
  std::uint32_t index = 0;
};

/// One value for each parameter of a circuit; start from Circuit::defaults().
using Params = std::vector<double>;

struct Solution {
  std::vector<double> node_V;  ///< against the reference
  std::vector<double>
      branch_A;  ///< from an element's first node through it to its second; a source: out of plus
  [[nodiscard]] double volts(Node a, Node b = {}) const { return node_V[a.index] - node_V[b.index]; }
  [[nodiscard]] double ampere(Branch b) const { return branch_A[b.index]; }
};

enum class Element : std::uint8_t { resistor, source, load, lead, fuse, toggle };

class Circuit {
 public:
  [[nodiscard]] std::optional<Node> node(std::string_view name) const;
  [[nodiscard]] std::optional<Branch> branch(std::string_view name) const;
  /// Where an element's parameter stands in Params. Names by element: resistor `ohm`; source `emf_V`,
  /// `series_ohm`; load `ampere`; lead `mm2`, `length_m`, `celsius`; fuse `ohm`, `open`; toggle `ohm`,
  /// `open`.
  [[nodiscard]] std::optional<std::size_t> param(std::string_view element, std::string_view parameter) const;
  [[nodiscard]] const Params& defaults() const { return defaults_; }

  /// The operating point. ErrorKind::input if a parameter is out of range (named) or the network contradicts
  /// itself, for instance two stiff sources in parallel.
  [[nodiscard]] Result<Solution> solve(const Params& params) const;
  /// What an ohmmeter reads between two nodes of the dead network: all EMFs and loads at zero, the sources'
  /// own resistances, fuses and switches as the parameters say.
  [[nodiscard]] Result<double> resistance_ohm(const Params& params, Node a, Node b) const;
  /// Names of the nodes that reach the reference only through opens.
  [[nodiscard]] std::vector<std::string> floating(const Params& params) const;

 private:
  friend class Netlist;
  struct Part {
    std::string name;
    Element kind;
    std::uint32_t a, b;
    std::uint32_t first_param;
  };
  [[nodiscard]] double ohms(const Part& part, const Params& params) const;
  [[nodiscard]] Status check(const Params& params) const;
  [[nodiscard]] Result<Solution> solveWith(const Params& params, bool dead, std::uint32_t from,
                                           std::uint32_t to, double injected_A) const;

  std::vector<std::string> nodes_;
  std::vector<Part> parts_;
  Params defaults_;
};

/// Builds a circuit. Nodes come into being by being named. Mistakes are kept and reported by compile().
class Netlist {
 public:
  explicit Netlist(std::string reference = "0");

  void resistor(std::string name, std::string_view a, std::string_view b, double ohm);
  /// An EMF with its own resistance, which may be 0.
  void source(std::string name, std::string_view plus, std::string_view minus, double emf_V,
              double series_ohm);
  /// Draws a constant current from `from` to `to`, whatever the volts: give it a path.
  void load(std::string name, std::string_view from, std::string_view to, double ampere);
  void lead(std::string name, std::string_view a, std::string_view b, double mm2, double length_m,
            double celsius = 20);
  /// Resistance from fuseTable(); a rating that is not in it is a mistake.
  void fuse(std::string name, std::string_view a, std::string_view b, double rating_A, bool open = false);
  void toggle(std::string name, std::string_view a, std::string_view b, bool closed,
              double ohm = kContact_ohm);
  /// A meter is part of what it measures: without it there are no ghost volts.
  void voltmeter(std::string name, std::string_view a, std::string_view b,
                 double input_ohm = kMeterInput_ohm) {
    resistor(std::move(name), a, b, input_ohm);
  }

  /// ErrorKind::input naming the first mistake: a name used twice, an unknown rating, a value out of range.
  [[nodiscard]] Result<Circuit> compile() const;

 private:
  void add(std::string name, Element kind, std::string_view a, std::string_view b,
           std::vector<double> params);
  std::uint32_t nodeIndex(std::string_view name);

  Circuit made_;
  std::string mistake_;
};

}  // namespace pin16::circuit
