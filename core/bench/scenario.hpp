// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What is: the real state of a simulated job, read from scenario.toml (docs/scenario-file.md). A fault is a
/// change of these numbers and nothing else; no fault carries a reading or a verdict.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/hex.hpp"
#include "core/base/result.hpp"
#include "core/event/records.hpp"
#include "core/job/job.hpp"

namespace pin16::bench {

struct Lead {
  double mm2 = 1.5;
  double length_m = 1;
};

/// Battery of the vehicle (own-battery), or battery, pack or bench supply from outside.
struct Source {
  double emf_V = 12.6;
  double series_ohm = 0.02;
  bool output_open = false;  ///< switched off, isolator open
  // Charge: EMF and resistance go straight from their full to their empty value as charge is drawn.
  double capacity_Ah = 0;  ///< left in it at the start; 0 endless
  double empty_V = 10.5;
  std::optional<double> series_empty_ohm;  ///< none: stays series_ohm
  double sag_V_per_s = 0;                  ///< EMF falls so fast from the moment the source is connected
  // A pack that takes a light load for none: off, and stays off.
  double off_below_A = 0;  ///< 0 never
  double off_after_s = 30;
  // A bench supply's limit: above limit_A the current is held and the volts give way; with foldback it is
  // held at limit_A * (1 - foldback * (1 - V / EMF)).
  double limit_A = 0;  ///< 0 none
  double limit_foldback = 0;
  double ripple_Vpp = 0;  ///< of a charger or a noisy supply: what it feeds must do with the troughs
  // A second source beside it, its plus on src+.
  double booster_V = 0;  ///< 0 none
  double booster_ohm = 0.02;
};

/// The leads from an outside source; fed-in-place and removed.
struct Rig {
  double fuse_A = 7.5;
  bool fuse_open = false;
  Lead feed;
  Lead ground;
  double joint_ohm = 0.001;   ///< in the feed lead: crimps, corrosion
  double clip_ohm = 0.005;    ///< adapter in the fuse slot, or plug at the module's harness
  double clamp_ohm = 0.005;   ///< ground clamp on the body, or joint at the ground post
  bool supply_blade = false;  ///< the feed sits on the supply blade instead of the load blade
  /// The feed sits in the slot of another circuit, which takes the current of such a resistor.
  std::optional<double> wrong_slot_ohm;
  /// The contact that feeds the module bounces at switch-on (any arrangement): instants at which it opens,
  /// closes, opens, ... after power on.
  std::vector<double> bounce_ms;
  /// Or so many gaps at instants drawn by the seed, all within bounce_spread_ms.
  int bounce_count = 0;
  double bounce_spread_ms = 20;
};

/// The vehicle's wiring; on the table only the module's own harness of it exists.
struct Vehicle {
  double main_ohm = 0.003;     ///< battery terminal to the bus bar
  double loads_off_ohm = 400;  ///< everything else on the bus bar, at rest
  double loads_on_ohm = 4;     ///< everything else on the bus bar, ignition on
  double ground_ohm = 0.002;   ///< battery minus to body
  double module_fuse_A = 10;
  bool module_fuse_open = false;
  bool module_fuse_left_in = false;  ///< fed-in-place: left in the slot beside the feed
  bool slot_ignition_fed = false;
  bool visible_signs = false;  ///< what hangs on the bus bar shows itself when fed: lights, chime
  /// The accessory outlet: on the connector's fuse, or fed as that fuse is.
  enum class Outlet { none, connector_fuse, own_fuse };
  Outlet outlet = Outlet::none;
};

struct Connector {
  enum class Feed { bus_bar, source, none };
  Feed fed_from = Feed::bus_bar;
  double fuse_A = 10;
  bool fuse_open = false;
  double pin16_ohm = 0.01;  ///< wire and contact
  double pin4_ohm = 0.01;
  double pin5_ohm = 0.02;
  double pin6_ohm = 0.1;
  double pin14_ohm = 0.1;
  bool swapped = false;  ///< the bus wires lie on each other's pins
  // Pins 4 and 5 share a ground joint with something that takes a large current.
  double shared_ground_ohm = 0;  ///< 0 they do not
  double shared_ground_A = 0;
};

struct Interface {
  bool from_source = false;   ///< its own lead from the source; else from pin 16 and pin 4
  bool ties_grounds = false;  ///< with its own lead: supply minus joined to pins 4 and 5 inside
  Lead lead;
  double current_A = 0.12;     ///< at 12 V
  double supply_min_V = 7;     ///< lamp lit and transceiver alive above this
  double termination_ohm = 0;  ///< built in; 0 none
  bool listen_only = false;
  bool dead = false;              ///< lamp and transceiver do nothing, whatever the volts
  bool transceiver_dead = false;  ///< lamp lit, computer served, nothing on the bus
  /// A source of its own (second battery, charger, computer); 0 none. Its minus is the transceiver's
  /// reference; pins 4 and 5 are joined to it only if ties_grounds. Against the first source's minus it hangs
  /// at own_offset_V through own_offset_ohm (leak of a charger, other wiring).
  double own_V = 0;
  double own_offset_V = 0;
  double own_offset_ohm = 1e6;
};

struct Bus {
  std::uint32_t bitrate = 500000;
  std::vector<double> terminations_ohm = {120, 120};
  double capacitance_pF = 600;  ///< between the wires, cables and nodes together
  std::optional<double> short_between_ohm;
  std::optional<double> high_to_ground_ohm, high_to_supply_ohm, low_to_ground_ohm, low_to_supply_ohm;
};

/// The K-line as wires: pulled up to the interface's supply (ISO 9141: 510 ohm in the tester, public pin-out
/// page) and in some vehicles by the job's module too.
struct KLineWires {
  double interface_pull_up_ohm = 510;
  double module_pull_up_ohm = 0;  ///< 0 none
  double pin7_ohm = 0.1;          ///< wire and contact
  std::optional<double> to_ground_ohm, to_supply_ohm;
};

/// What a module answers to one request: service + 0x40, the rest of the request, then `data`; or a refusal.
struct Answer {
  Bytes request;
  Bytes data;
  std::uint8_t refusal = 0;  ///< not 0: 7F, service, this code (ISO 14229-1, ISO 14230-3)
};

struct Periodic {
  std::uint32_t id = 0;
  bool extended = false;
  std::uint8_t length = 8;
  double every_ms = 100;
};

/// What other equipment does: it asks one request after the other, and gives up at the first that has no
/// whole positive answer.
struct ReadOut {
  std::vector<Bytes> requests;
  std::optional<double> begins_s;  ///< after the start; nothing: when it is told to
  double wait_ms = 1000;           ///< for an answer
  double pending_wait_ms = 5000;   ///< for the one behind "response pending"
  int repeats = 2;                 ///< asks so often again what has no answer
  double pause_ms = 20;            ///< from an answer to the next request
  enum class FlowControl { sent, none, overflow };
  FlowControl flow_control = FlowControl::sent;
};

struct Module {
  std::string name;
  /// Through the job's fuse slot (on the table the harness), elsewhere from the bus bar, from it when the
  /// ignition is on, by a further lead of the rig from its feed, or by a lead from the source that the rig's
  /// switch does not part.
  enum class Feed { slot, bus_bar, ignition, rig, source };
  /// All are needed. They share the draw evenly; with wake_up = ignition the last is a wake wire (5 mA).
  std::vector<Feed> feeds = {Feed::slot};
  Lead harness;
  double feed_ohm = 0.01;           ///< joint at the module, supply
  double further_feed_ohm = 0.01;   ///< the same of each feed after the first
  double ground_ohm = 0.01;         ///< module ground to body or ground post
  std::optional<double> short_ohm;  ///< its input is shorted so
  // Draw at 12 V. In each of its states the module is a resistor, or (a switching regulator) a constant power
  // down to 6 V and a resistor below.
  enum class Draw { resistor, power };
  Draw draw = Draw::resistor;
  double sleep_A = 0.0005;
  double boot_A = 0.6;
  double run_A = 0.3;
  double inrush_A = 0;  ///< instead of boot_A for the first inrush_ms of a start
  double inrush_ms = 1;
  double boot_s = 0.5;
  double start_V = 8;           ///< starts above this
  double stop_V = 6.5;          ///< stops below this
  double reset_ms = 50;         ///< stopped, it starts again after this at the earliest
  double restarts_every_s = 0;  ///< it runs no longer than this and starts anew; 0 it stays
  bool ignition_only = false;   ///< its bus-bar feed is switched by the ignition: fed only with power on
  /// What starts it once fed: the feed itself, a frame on its bus, or the ignition wire (its last feed).
  enum class WakeUp { feed, bus, ignition };
  WakeUp wake_up = WakeUp::feed;
  std::uint32_t wake_id = 0;  ///< wake_up = bus: only this identifier; 0 any frame
  double reserve_uF = 0;      ///< input capacitance behind a diode: carries it through short gaps

  enum class Side { inner, connector };  ///< with a gateway: behind it, or on the connector's own wires
  Side bus = Side::inner;

  std::uint32_t bitrate = 0;         ///< 0: the bus's
  double high_ohm = 0, low_ohm = 0;  ///< its own branch of each bus wire; 0 it sits on the bus
  double termination_ohm = 0;        ///< in it, behind that branch; 0 none
  bool transceiver_dead = false;
  bool jams = false;             ///< drives dominant without end while it runs
  bool mute = false;             ///< runs and acknowledges, sends nothing of its own accord or on request
  std::uint32_t request_id = 0;  ///< 0: not a diagnostic server
  std::uint32_t answer_id = 0;
  bool extended = false;
  bool functional = false;  ///< answers the legislated functional request identifier too
  double delay_ms = 5;
  double jitter_ms = 2;  ///< added, evenly spread
  /// Below low_V at its terminals delay and jitter grow, straight up to low_delay_factor at stop_V.
  double low_V = 0;  ///< 0: they do not
  double low_delay_factor = 1;
  int pending = 0;  ///< answers "response pending" (7F xx 78) this often first
  double pending_every_ms = 1000;
  double separation_ms = 0;  ///< STmin in its own flow control
  std::vector<Answer> answers;
  std::vector<Periodic> periodic;
  /// It is other equipment and no server: request_id is what it sends on, answer_id what it listens to. On
  /// the bus from its first request on.
  std::optional<ReadOut> read_out;
};

/// Parts the connector's bus wires from the module's. Supply and start are those of a module: it is the last
/// of Scenario::modules, named "gateway".
struct Gateway {
  std::vector<double> terminations_ohm = {120, 120};  ///< of the connector's wires
  double capacitance_pF = 300;                        ///< of the connector's wires
  double delay_ms = 0.5;                              ///< from the end of a frame to the start of its copy
  bool forwards_periodic = false;  ///< else only the requests and answers of the modules behind it
  bool silent = false;             ///< runs and acknowledges, forwards nothing
};

/// One instrument that reads one point. Nodes of V() and R() are those of docs/scenario-file.md.
struct Meter {
  std::string point;
  std::string instrument = "bench";
  double uncertainty = 0.02;  ///< half width, unit of the point
  double input_ohm = 10e6;
  bool interface_unplugged = false;
  std::vector<event::PowerState> when;
};

/// One `[[fault]]` entry. `ohm`, `V`, `A`, `ms` replace the fault's own figure where it has one.
struct Fault {
  std::string name;
  std::string module;  ///< which module; empty the first
  std::optional<double> ohm, V, ms, A;
  /// Only from at_s to until_s after the start; no at_s: from the start, no until_s: for good.
  std::optional<double> at_s, until_s;
};

struct Scenario {
  std::string file;
  std::string name;
  std::string text;       ///< what is, its fault with it
  std::string complaint;  ///< what the technician knows before anything is measured: nothing of the fault
  job::Arrangement arrangement = job::Arrangement::own_battery;
  std::uint64_t seed = 1;   ///< of meter noise and response jitter
  double power_on_s = 0.5;  ///< feed switched on this long after the link opened
  bool told = false;        ///< it is not: whoever holds the World switches, and starts the read-out
  double celsius = 20;
  Source source;
  Rig rig;
  Vehicle vehicle;
  Connector connector;
  Interface interface;
  Bus bus;
  std::optional<KLineWires> kline;
  std::vector<Module> modules;
  std::optional<Gateway> gateway;
  std::vector<Meter> meters;
  std::vector<std::string> faults;  ///< applied, in order, for print()
  std::vector<Fault> timed_faults;  ///< of those with times; checked, not applied
};

/// Errors (ErrorKind::input) name file, line and field. Unknown keys are errors.
[[nodiscard]] Result<Scenario> readScenario(const std::string& path);
[[nodiscard]] Result<Scenario> parseScenario(std::string_view toml, const std::string& file_name);

/// Applies it at once, whatever its times. ErrorKind::input listing the known names, if there is no such
/// fault or it cannot exist in this arrangement.
Status applyFault(Scenario& scenario, const Fault& fault);
[[nodiscard]] std::vector<std::string> faultNames();

}  // namespace pin16::bench
