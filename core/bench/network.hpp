// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The circuit of a scenario: supply path, grounds, connector, interface and bus wires in one netlist; what a
/// meter at a named point reads in it, and whether one node's dominant level reaches another.
///
/// Bus drivers, from the typical levels of ISO 11898-2 transceivers (data sheet SLLSF80B: recessive 2.5 V,
/// dominant 3.5 and 1.5 V at 60 ohm, about 0 V with biasing off): a driven wire hangs on 5 V or 0 V through
/// 45 ohm (1.5 V at 2.0 V / 60 ohm). Every transceiver lays 2 x 15 kohm between the wires (a module without
/// terminator measures 10 to 50 kohm, workshop manual), whose middle it holds at 2.5 V while alive and leaves
/// to 1 Mohm otherwise (a leak of microamperes, from memory: shapes the simulation, judges nothing).
///
/// Time: a module's input capacitance is a source of the volts it had, behind step / capacitance (backward
/// Euler), fed by an ideal diode: so one charge serves every network of the scenario, each meter's included.

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/bench/scenario.hpp"
#include "core/circuit/circuit.hpp"

namespace pin16::bench {

enum class ModuleState : std::uint8_t { asleep, inrush, booting, running };

/// What a sender's bits are at a receiver: `clear` needs dominant and recessive levels beyond the thresholds,
/// recessive in time for the sample point, and one bit rate.
enum class Heard : std::uint8_t { nothing, garbled, clear };

/// A driver of the bus: a module by its index (the gateway's is that of its transceiver on the module's
/// bus), the interface, or the gateway's transceiver on the connector's wires.
inline constexpr std::size_t kInterface = SIZE_MAX;
inline constexpr std::size_t kGateway = SIZE_MAX - 1;

inline constexpr double kDummy_ohm = 10;  ///< wire-wound dummy load (common practice, no source)

/// The proof of the feed's path without the module: the feed live and open, or loaded with kDummy_ohm.
enum class Dummy : std::uint8_t { none, open, loaded };

/// In which condition the network is looked at.
struct Condition {
  event::PowerState power = event::PowerState::off;
  bool interface_plugged = true;
  Dummy dummy = Dummy::none;
  std::vector<ModuleState> modules;     ///< as many as the scenario has
  bool interface_alive = false;         ///< its transceiver biases the bus
  std::uint32_t interface_bitrate = 0;  ///< that it is set to; 0 the bus's
  /// Of time, for each module, the gateway's second transceiver and the interface; empty: a quiet bus.
  std::vector<double> dominant_share;
  // Of the source: as worn by now, and whether it has shut itself off.
  std::optional<double> emf_V, series_ohm;
  bool source_off = false;
  bool contact_open = false;  ///< the module's feed, in a bounce
  /// The modules' input capacitances, charged as by now, over the next step_s; step_s 0: at rest, no current.
  std::vector<double> reserve_V;
  double step_s = 0;
};

/// What the supply of a condition comes to.
struct Supply {
  std::vector<double>
      module_V;  ///< at each module's terminals, the lowest of its feeds, in a ripple's trough
  std::vector<double> reserve_V;  ///< of its input capacitance at the end of the step
  double interface_V = 0;
  double source_A = 0;
  double source_V = 0;  ///< of it, before its switch
};

/// A point in SPICE notation, taken apart.
struct PointName {
  enum class Kind { volts, ripple, ohms, feed_current, feed_path, lamp, signs } kind = Kind::volts;
  std::string a, b;
};
[[nodiscard]] std::optional<PointName> parsePoint(std::string_view point);

/// Immutable once made; any thread. With a meter, its input resistance is part of the network.
class Network {
 public:
  /// ErrorKind::input: the scenario cannot be wired (unknown fuse rating, a bus-bar module on the table), or
  /// the meter's point has no such node.
  [[nodiscard]] static Result<Network> make(const Scenario& scenario, const Meter* meter = nullptr);

  /// What the meter reads; only for a network made with one. Volts are the mean over dominant and recessive
  /// time, as a slow meter shows; ohms above kOhmsMax read kOhmsMax.
  [[nodiscard]] Result<double> read(const Condition& condition) const;
  static constexpr double kOhmsMax = 60e6;  ///< range of a hand-held meter (common practice, no source)

  [[nodiscard]] Result<Supply> supply(const Condition& condition) const;
  /// `nothing` too between the two sides of a gateway.
  [[nodiscard]] Result<Heard> hears(const Condition& condition, std::size_t sender,
                                    std::size_t receiver) const;
  /// Nodes without a path to the source's minus in that condition.
  [[nodiscard]] std::vector<std::string> floating(const Condition& condition) const;

 private:
  /// Where things stand in the circuit, looked up once; kNowhere what this arrangement does not have.
  static constexpr std::size_t kNowhere = SIZE_MAX;
  struct Transceiver {
    std::size_t bias_V = kNowhere, bias_ohm = kNowhere, high_ohm = kNowhere, low_ohm = kNowhere;
    circuit::Node high, low, ground;
    bool connector_side = false;
  };
  struct Feed {
    std::size_t load = kNowhere, switch_open = kNowhere;
    bool switched = false;  ///< by the ignition
    double share = 1;
    circuit::Node plus;
  };
  struct Wired {
    std::vector<Feed> feeds;
    circuit::Node minus;
    Transceiver transceiver;
    std::size_t reserve_V = kNowhere, reserve_ohm = kNowhere, diode_open = kNowhere;
    circuit::Branch diode;
    circuit::Node diode_in;
  };
  struct Places {
    std::size_t main = kNowhere, output = kNowhere, rig_switch = kNowhere, clip = kNowhere, slot = kNowhere,
                ignition = kNowhere, dummy = kNowhere, loads_ohm = kNowhere, emf_V = kNowhere,
                series_ohm = kNowhere;
    std::vector<std::size_t> plugs;
    Transceiver interface, gateway;
    std::vector<Wired> modules;
    circuit::Node interface_plus, interface_minus, source_plus, source_minus;
    circuit::Branch source;
  };
  void findPlaces();
  [[nodiscard]] Transceiver findTransceiver(const std::string& prefix, const std::string& high,
                                            const std::string& low, const std::string& ground,
                                            bool connector_side) const;
  [[nodiscard]] circuit::Params params(const Condition& condition, std::optional<std::size_t> driver) const;
  [[nodiscard]] const Transceiver& transceiver(std::size_t driver) const;
  [[nodiscard]] Result<circuit::Solution> solve(const Condition& condition,
                                                std::optional<std::size_t> driver) const;
  [[nodiscard]] Result<circuit::Solution> solveDiodes(circuit::Params& params) const;
  [[nodiscard]] Result<double> volts(const Condition& condition, std::optional<std::size_t> driver,
                                     circuit::Node a, circuit::Node b) const;

  std::shared_ptr<const Scenario> scenario_;
  circuit::Circuit circuit_;
  Places places_;
  PointName point_;
  circuit::Node a_, b_;
};

}  // namespace pin16::bench
