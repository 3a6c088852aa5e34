// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Supply networks and bus wires: a netlist built by name, compiled once to an immutable circuit, solved as
/// often as wanted for a flat vector of parameters by modified nodal analysis and Newton's method
/// (docs/circuit.md). Three questions can be asked:
///   operate()  the steady state that is reached from a named start, or that there is none, or that it
///   cycles; analyse()  both starts compared, and how near the demand is to the most that the network can
///   give; step()     what happens in the next dt seconds: capacitors, lock-outs, fuses, charge.
/// What elements remember (charge, lock-out, melted fuse) is a State that the caller owns and passes in. All
/// memory of a calculation is a Workspace, made once; with it nothing is allocated (solve(), resistance_ohm()
/// and floating() are the convenient forms that do allocate). No threads inside; a Circuit may be shared by
/// any of them, a Workspace and a State belong to one.
///
/// Floating nodes: every node has a conductance of kGmin_S to the reference, as circuit simulators use, so a
/// node without a path of its own settles at 0 V instead of making the matrix singular. It draws at most
/// 15 pA from a 12 V node. An open fuse or switch leaks through kOpen_ohm. floating() names the nodes that
/// hang on the reference only by such leaks: their volts mean nothing to a person without a meter's load.

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
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
inline constexpr double kSupplySeriesMin_ohm = 1e-6;  ///< of a current-limited supply
inline constexpr double kThermal_V = 0.025864186;     ///< kT/q at 27 C, SPICE's customary temperature
inline constexpr double kLockoutDelay_s = 10e-6;      ///< shortest stay on or off (own figure)
inline constexpr double kFuseCooling_s = 10;          ///< a fuse forgets overload in this time (own figure)

/// Resistance of one copper conductor.
[[nodiscard]] double leadResistance_ohm(double mm2, double length_m, double celsius);
/// Cross-section of an American wire gauge, ASTM B258: d = 0.127 mm * 92^((36 - gauge) / 39).
[[nodiscard]] double gaugeArea_mm2(double gauge);

/// Typical cold resistance of a blade fuse by its rating.
struct FuseRow {
  double rating_A;
  double cold_ohm;
  const char* source;
  const char* confidence;  ///< read, memory: see limits::Limit
};
[[nodiscard]] const std::vector<FuseRow>& fuseTable();

/// Between which times a blade fuse opens at a multiple of its rating. Between two gates of the data sheet
/// nothing is interpolated: not sooner than the next higher gate's minimum, not later than the next lower
/// gate's maximum.
struct OpeningBand {
  double earliest_s;  ///< 0 above the last gate
  double latest_s;    ///< infinite below 135 %
};
[[nodiscard]] OpeningBand openingBand(double multiple);

/// Index of a node; 0 is the reference.
struct Node {
  std::uint32_t index = 0;
};
/// Index of an element, and so of its current and its memory.
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

enum class Element : std::uint8_t {
  resistor,
  source,
  load,
  lead,
  fuse,
  toggle,
  battery,
  supply,
  diode,
  capacitor,
  consumer,
  watch
};

/// What a consumer draws while it runs.
enum class Law : std::uint8_t { ohmic, current, power };

/// A load with a will of its own: a module, an interface. Off it is a resistance. It starts when its volts
/// reach `start_V`, draws `boot_amount` for `boot_s`, then `amount`, and stops when its volts fall below
/// `stop_V`. Both at 0: always on. Below `fold_V` a current or power law becomes the resistance that meets it
/// there, so that the load stays passive and draws nothing at 0 V; `fold_V` 0 is the ideal law, which may
/// have no operating point at all.
struct Consumer {
  Law law = Law::power;
  double amount = 0;  ///< ohm, A or W, by the law
  double fold_V = 0;
  double start_V = 0;
  double stop_V = 0;
  double boot_amount = 0;
  double boot_s = 0;
  double off_ohm = kOpen_ohm;
};

/// Rest volts against charge, at 100, 75, 50, 25 and 0 %.
using RestVolts = std::array<double, 5>;
/// "BCI service table", flooded, 27 C, rested; confidence memory: shapes a simulation, judges nothing.
inline constexpr RestVolts kFloodedRest_V = {12.65, 12.45, 12.24, 12.06, 11.89};
/// "usual maker tables", AGM; confidence memory.
inline constexpr RestVolts kAgmRest_V = {12.85, 12.6, 12.3, 12.0, 11.8};

/// EMF follows charge; charge follows the current drawn. Discharge at more than the 20 h rate takes charge
/// faster by (I/I20)^(n-1), so that t = 20 h * (C / (I * 20 h))^n. Charging is not rate-dependent.
struct Battery {
  RestVolts rest_V = kFloodedRest_V;
  double series_ohm = 0.006;  ///< starter battery 45-70 Ah, "lead-acid handbooks" (memory)
  double capacity_Ah = 60;    ///< at the 20 h rate
  double charge = 1;          ///< to begin with, 0 to 1
  double exponent = 1.2;      ///< n, "several public battery models": 1.1-1.3 usual for lead-acid
};

/// A bench supply: EMF behind a resistance up to `limit_A`; beyond that the current falls on a line from
/// `limit_A` at the full EMF to `short_A` at 0 V (equal: constant current). It takes no current back. Longer
/// in its limit than `trip_s` it cuts off for good; 0: never.
struct Supply {
  double emf_V = 13;
  double series_ohm = 0.01;
  double limit_A = 5;
  double short_A = 5;
  double trip_s = 0;
};

/// I = saturation_A * (exp(V / (ideality * kThermal_V)) - 1).
struct Diode {
  double saturation_A = 1e-9;
  double ideality = 1.5;
};

/// Draw of a module as people state it: amperes at 12 V. See Netlist::module().
struct ModuleLoad {
  double sleep_A = 0.0005;
  double boot_A = 0.6;
  double run_A = 0.3;
  double boot_s = 0.5;
  double start_V = 8;
  double stop_V = 6.5;
  double fold_V = 6;
  double capacitance_F = 220e-6;  ///< input capacitor; "general knowledge": 47-470 uF; 0 none
  double capacitor_ohm = 0.1;     ///< its series resistance (own figure)
};

/// Bus wires, typical levels of ISO 11898-2 transceivers (data sheet SLLSF80B: recessive 2.5 V, dominant 3.5
/// and 1.5 V at 60 ohm, about 0 V with biasing off): a driven wire hangs on 5 V or 0 V through 45 ohm.
struct Transceiver {
  double input_ohm = 15e3;  ///< each wire to the middle of the bias
  double bias_V = 2.5;
  double bias_ohm = 100;
  double bias_off_ohm = 1e6;
  double driver_V = 5;
  double driver_ohm = 45;
};
enum class Wire : std::uint8_t { off, recessive, dominant };

enum class Mode : std::uint8_t {
  steady,   ///< elements that have no modes
  off,      ///< consumer locked out
  booting,  ///< consumer started less than boot_s ago
  running,  ///< consumer
  melted,   ///< fuse
  tripped,  ///< supply cut off for good
};

/// What one element remembers.
struct Memory {
  double volts = 0;     ///< across it, last solved; capacitor: its charge as volts
  double quantity = 0;  ///< battery: charge 0 to 1; fuse: share of its life used up, opens at 1
  double since_s = 0;   ///< time of the last change of mode; supply: entered its limit
  Mode mode = Mode::steady;
  bool limiting = false;  ///< supply in its current limit
};

/// The branch history of a circuit, one Memory an element. Made by Circuit::initial(), copied freely.
struct State {
  double t_s = 0;
  double step_s = 0;  ///< last internal step, where the next begins; 0 unknown
  std::vector<Memory> memory;
  [[nodiscard]] const Memory& operator[](Branch b) const { return memory[b.index]; }
  [[nodiscard]] Memory& operator[](Branch b) { return memory[b.index]; }
};

/// From where a steady state is approached: `cold` all volts 0 and every lock-out off (a module is being
/// switched on); `running` full volts and every consumer past its boot; `state` as the given State remembers.
enum class Start : std::uint8_t { cold, running, state };

/// `one`: a steady state (from this start). `several`: the starts end differently. `none`: no volts satisfy
/// the ideal power laws. `cycling`: consumers start and stop for ever.
enum class Outcome : std::uint8_t { one, several, none, cycling };

/// Something that happened during step().
struct Happening {
  enum class Kind : std::uint8_t { starts, runs, stops, melts, limits, leaves_limit, trips, rises, falls };
  double t_s = 0;
  Branch branch;
  Kind kind = Kind::starts;
};

/// Both starts compared.
struct Analysis {
  Outcome outcome = Outcome::one;
  Outcome from_cold = Outcome::one, from_running = Outcome::one;
  Solution cold, running;  ///< meaningful where the outcome of that start is `one`
  State cold_state, running_state;
  /// Demand over the largest demand that can be met with every consumer at or above its fold and stop volts,
  /// all demands scaled by one factor; so with one load P/Pmax, and above 1 it cannot be met. 0: nothing
  /// demands current or power. Limited to 1/kMarginMin.
  double margin = 0;
};
inline constexpr double kMarginMin = 1e-4;

class Circuit;

/// Memory of calculations on one circuit, and their results. Made once; may be reused for any parameters.
class Workspace {
 public:
  explicit Workspace(const Circuit& circuit);
  ~Workspace();
  Workspace(Workspace&&) noexcept;
  Workspace& operator=(Workspace&&) noexcept;

  /// Of the last operate() that came to `one`, or at the end of the last step().
  [[nodiscard]] const Solution& solution() const;
  /// Of the last analyse().
  [[nodiscard]] const Analysis& analysis() const;
  /// Of the last step(), in order of time.
  [[nodiscard]] std::span<const Happening> happenings() const;
  static constexpr std::size_t kHappeningsMax = 256;

 private:
  friend class Circuit;
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

class Circuit {
 public:
  [[nodiscard]] std::optional<Node> node(std::string_view name) const;
  [[nodiscard]] std::optional<Branch> branch(std::string_view name) const;
  /// Where an element's parameter stands in Params. Names by element: resistor `ohm`; source `emf_V`,
  /// `series_ohm`; load `ampere`; lead `mm2`, `length_m`, `celsius`; fuse `ohm`, `open`, `rating_A`, `slow`;
  /// toggle `ohm`, `open`; battery `rest_100_V`, `rest_75_V`, `rest_50_V`, `rest_25_V`, `rest_0_V`,
  /// `series_ohm`, `capacity_Ah`, `charge`, `exponent`; supply, diode and consumer the names of their
  /// structures' members; capacitor `farad`, `volts` (to begin with); watch `volts`.
  [[nodiscard]] std::optional<std::size_t> param(std::string_view element, std::string_view parameter) const;
  [[nodiscard]] const Params& defaults() const { return defaults_; }

  /// Everything cold: consumers with a lock-out off, capacitors and charge as the parameters say, fuses
  /// whole.
  [[nodiscard]] State initial(const Params& params) const;

  /// The steady state reached from a start: `one` (workspace.solution(), and the state's modes and volts are
  /// brought there, capacitors' too; time, charge and melted fuses stay), `none` or `cycling` (state
  /// untouched). Fuses do not melt: compare with openingBand(). A start other than `state` resets supplies.
  /// ErrorKind::input if a parameter is out of range (named) or the network contradicts itself, for instance
  /// two stiff sources in parallel; ErrorKind::internal if Newton's method does not settle.
  [[nodiscard]] Result<Outcome> operate(const Params& params, Start start, State& state,
                                        Workspace& workspace) const;
  /// operate() from cold and from running, and the margin: see workspace.analysis(). Errors as above.
  [[nodiscard]] Status analyse(const Params& params, Workspace& workspace) const;
  /// Advances the state by dt_s, in steps of its own choice; the parameters hold for the whole of it, so
  /// change them between two calls. Ends early, with state.t_s short of it, only after kHappeningsMax
  /// happenings. Errors as above; the state then is undefined.
  [[nodiscard]] Status step(const Params& params, double dt_s, State& state, Workspace& workspace) const;

  /// The operating point from `running`. Errors as operate(), and ErrorKind::input when there is none or the
  /// circuit cycles.
  [[nodiscard]] Result<Solution> solve(const Params& params) const;
  /// What an ohmmeter reads between two nodes of the dead network: all EMFs and loads at zero, the sources'
  /// own resistances, fuses and switches as the parameters say, consumers off, diodes not conducting.
  [[nodiscard]] Result<double> resistance_ohm(const Params& params, Node a, Node b) const;
  /// Names of the nodes that reach the reference only through opens.
  [[nodiscard]] std::vector<std::string> floating(const Params& params) const;

 private:
  friend class Netlist;
  friend class Workspace;
  struct Solver;
  struct Part {
    std::string name;
    Element kind;
    Law law;
    std::uint32_t a, b;
    std::uint32_t first_param;
  };
  [[nodiscard]] double ohms(const Part& part, const Params& params) const;
  [[nodiscard]] Status check(const Params& params) const;
  [[nodiscard]] Status checkPart(const Part& part, const Params& params) const;
  void reset(const Params& params, State& state) const;

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
  /// Resistance from fuseTable(); a rating that is not in it is a mistake. In step() it melts, at the
  /// openingBand()'s earliest (`slow` 0) to latest (1) time, in proportion of logarithms between (own
  /// choice).
  void fuse(std::string name, std::string_view a, std::string_view b, double rating_A, bool open = false,
            double slow = 0.5);
  void toggle(std::string name, std::string_view a, std::string_view b, bool closed,
              double ohm = kContact_ohm);
  void battery(std::string name, std::string_view plus, std::string_view minus, const Battery& battery);
  void supply(std::string name, std::string_view plus, std::string_view minus, const Supply& supply);
  void diode(std::string name, std::string_view anode, std::string_view cathode, const Diode& diode = {});
  /// `volts` to begin with. Open for a steady state.
  void capacitor(std::string name, std::string_view a, std::string_view b, double farad, double volts = 0);
  void consumer(std::string name, std::string_view plus, std::string_view minus, const Consumer& consumer);
  /// A consumer `name` of constant power and its input capacitor: `name.esr` from plus to node
  /// `name.capacitor`, `name.capacitor` from there to minus.
  void module(const std::string& name, std::string_view plus, std::string_view minus, const ModuleLoad& load);
  /// `name.input_high`, `name.input_low`, `name.bias` (source), `name.drive_high`, `name.drive_low` (sources)
  /// and node `name.middle`; Wire::off until drive() says otherwise.
  void transceiver(const std::string& name, std::string_view high, std::string_view low,
                   std::string_view ground, const Transceiver& transceiver = {});
  /// A meter is part of what it measures: without it there are no ghost volts.
  void voltmeter(std::string name, std::string_view a, std::string_view b,
                 double input_ohm = kMeterInput_ohm) {
    resistor(std::move(name), a, b, input_ohm);
  }
  /// Draws nothing; step() reports when the volts from a to b rise or fall through `volts`.
  void watch(std::string name, std::string_view a, std::string_view b, double volts);

  /// ErrorKind::input naming the first mistake: a name used twice, an unknown rating, a value out of range.
  [[nodiscard]] Result<Circuit> compile() const;

 private:
  void add(std::string name, Element kind, std::string_view a, std::string_view b, std::vector<double> params,
           Law law = Law::ohmic);
  std::uint32_t nodeIndex(std::string_view name);

  Circuit made_;
  std::string mistake_;
};

/// Sets a transceiver's wires in a circuit's parameters. ErrorKind::input if there is no such transceiver.
[[nodiscard]] Status drive(const Circuit& circuit, Params& params, std::string_view transceiver, Wire wire,
                           const Transceiver& values = {});

}  // namespace pin16::circuit
