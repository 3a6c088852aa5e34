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

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/bench/scenario.hpp"
#include "core/circuit/circuit.hpp"

namespace pin16::bench {

enum class ModuleState : std::uint8_t { asleep, booting, running };

/// What a sender's bits are at a receiver: `clear` needs dominant and recessive levels beyond the thresholds,
/// recessive in time for the sample point, and one bit rate.
enum class Heard : std::uint8_t { nothing, garbled, clear };

/// A driver of the bus: a module by its index, or the interface.
inline constexpr std::size_t kInterface = SIZE_MAX;

inline constexpr double kDummy_ohm = 10;  ///< wire-wound dummy load (common practice, no source)

/// The proof of the feed's path without the module: the feed live and open, or loaded with kDummy_ohm.
enum class Dummy : std::uint8_t { none, open, loaded };

/// In which condition the network is looked at.
struct Condition {
  event::PowerState power = event::PowerState::off;
  bool interface_plugged = true;
  Dummy dummy = Dummy::none;
  std::vector<ModuleState> modules;    ///< as many as the scenario has
  bool interface_alive = false;        ///< its transceiver biases the bus
  std::vector<double> dominant_share;  ///< of time, for each module; empty: a quiet bus
};

/// A point in SPICE notation, taken apart.
struct PointName {
  enum class Kind { volts, ohms, feed_current, feed_path, lamp } kind = Kind::volts;
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

  /// Volts between a module's supply and ground terminals.
  [[nodiscard]] Result<double> moduleVolts(const Condition& condition, std::size_t module) const;
  [[nodiscard]] Result<double> interfaceVolts(const Condition& condition) const;
  [[nodiscard]] Result<Heard> hears(const Condition& condition, std::size_t sender,
                                    std::size_t receiver) const;
  /// Nodes without a path to the source's minus in that condition.
  [[nodiscard]] std::vector<std::string> floating(const Condition& condition) const;

 private:
  [[nodiscard]] circuit::Params params(const Condition& condition, std::optional<std::size_t> driver) const;
  [[nodiscard]] Result<double> volts(const Condition& condition, std::optional<std::size_t> driver,
                                     circuit::Node a, circuit::Node b) const;

  std::shared_ptr<const Scenario> scenario_;
  circuit::Circuit circuit_;
  PointName point_;
  circuit::Node a_, b_;
};

}  // namespace pin16::bench
