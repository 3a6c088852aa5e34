// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A job: one module to be reached, what is known of it, how it is powered, and with what it is observed.
/// The TOML form is documented in docs/job-file.md.

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "core/base/hex.hpp"
#include "core/base/result.hpp"
#include "core/event/records.hpp"
#include "core/limits/limits.hpp"

namespace pin16::job {

enum class Arrangement {
  own_battery,   ///< in the vehicle, its own battery
  fed_in_place,  ///< in the vehicle, fed from outside at the fuse slot
  removed,       ///< on the table, bench-powered
};
enum class Access {
  connector,  ///< the module's bus is on the diagnostic connector
  gateway,    ///< the connector reaches it through a gateway: no traffic is normal
  direct,     ///< our leads are on the module's own bus
};
[[nodiscard]] const char* toText(Arrangement a);
[[nodiscard]] const char* toText(Access a);

/// CAN identifiers of the module's diagnostics, ISO 15765-2 normal addressing.
struct Address {
  std::uint32_t request_id = 0;
  std::uint32_t answer_id = 0;
  bool extended = false;
};

/// How the module starts, where known.
struct Start {
  std::optional<double> start_V, stop_V;  ///< starts at, gives up below
  std::optional<double> boot_A, boot_s;   ///< draws at 12 V, so long
  std::optional<double> run_A;            ///< then, at 12 V
  std::optional<double> capacitance_uF;   ///< of its input
};

/// What feeds the module, as far as a clean start can be predicted from it: `[feed]`.
struct Feed {
  double emf_V = 0;  ///< at rest
  double series_ohm = 0.02;
  double limit_A = 0;  ///< of a bench supply; 0 none
  double fuse_A = 0;   ///< in the lead; 0 none
  double lead_mm2 = 1.5;
  double lead_length_m = 2;  ///< there and back
  double joints_ohm = 0.02;  ///< clips, plugs, clamp
};

struct Module {
  std::string name = "module";
  std::string vin;   ///< of the vehicle that it belongs to, 17 characters; empty unknown
  std::string pins;  ///< what is known of its connector, for the person who joins it; empty unknown
  std::optional<Address> address;  ///< nothing: unknown
  /// On K-line the physical address, on J1850 the node address; nothing: unknown.
  std::optional<std::uint8_t> line_address;
  std::optional<double> supply_min_V;  ///< the module's own limits, where known
  std::optional<double> supply_max_V;
  std::optional<double> current_steady_min_A;  ///< band in which the module alone draws
  std::optional<double> current_steady_max_A;
  Start start;
};

struct BusFacts {
  std::optional<std::uint32_t> bitrate;  ///< bit/s
  std::string protocol;  ///< of a line medium, as adapters name it (core/link/at.hpp); empty: CAN, or unknown
  bool fd = false;
  bool rate_fixed = false;  ///< the operator vouches for rate and format (the gate may send without proof)
};

/// What our own equipment does to what it measures, `[ours]`.
struct Ours {
  std::optional<double> termination_ohm;  ///< switched on in our adapter; nothing: none
  std::optional<double> pin16_A;          ///< drawn from pin 16
  /// A conductor from our interface's ground over a computer to the source's minus: not isolated, and a
  /// computer on mains (or two that are joined). It lies beside the ground that is to be judged.
  bool ground_tied = false;
  double ground_path_ohm = 0.1;  ///< of that way: cable screens and earth wires (own figure)
};

struct LinkEntry {
  std::string uri;
  std::string role;  ///< free text; empty = "bus"
};

/// An instrument with a data port, `[[meter]]`. Whether the URI fits is said by its scheme (core/supply).
struct MeterEntry {
  std::string uri;
  std::string volts;    ///< the point that its volts belong to; empty: none named here
  std::string amperes;  ///< likewise
  std::optional<double> uncertainty_V, uncertainty_A;
  std::optional<double> input_ohm;
};
/// The entry as one URI, its fields as options.
[[nodiscard]] std::string meterUri(const MeterEntry& meter);

/// `[authority]`: who allowed that the content of an attempt is kept, what, and when, as in the paper.
struct Authority {
  std::string who, what, when;
};

/// Settings of one plugin as written; whether they fit is said by the plugin's own description (core/plugin).
using PluginValue = std::variant<double, bool, std::string>;
using PluginSettings = std::map<std::string, PluginValue>;

struct Job {
  std::string file;  ///< where it was read from; empty if made in memory
  std::string name = "unnamed job";
  Arrangement arrangement = Arrangement::own_battery;
  Access access = Access::connector;
  bool sealed = false;  ///< no stimulus allowed: the gate stays shut
  /// Least grade of silence that a link of a sealed job must have to be opened, `[job] silence`.
  event::Silence silence = event::Silence::claimed;
  std::optional<Authority> authority;  ///< to keep full content during attempts; nothing: it is blanked
  std::optional<int> power_up_budget;
  std::optional<int> stop_after_alike;  ///< attempts in a row that end alike: the stop rule
  double nominal_V = 12;                ///< 12 or 24
  /// How long all supplies must be off before a restraint system counts as empty: the vehicle's own figure.
  std::optional<double> wait_s;
  std::string wait_source;  ///< where that figure stands; not empty if there is one
  Module module;
  BusFacts bus;
  Ours ours;
  std::optional<Feed> feed;
  std::vector<LinkEntry> links;
  std::vector<MeterEntry> meters;
  std::vector<event::Measurement> readings;       ///< typed beforehand into the file
  limits::Limits limits;                          ///< with the job's overrides in force
  std::map<std::string, PluginSettings> plugins;  ///< [plugin.NAME]
};

/// Reads a job file. Errors (ErrorKind::input) name file, line, field, what was expected, what to do.
/// Unknown keys are errors: a misspelt limit must not pass silently.
[[nodiscard]] Result<Job> readJob(const std::string& path);
[[nodiscard]] Result<Job> parseJob(std::string_view toml, const std::string& file_name);

/// A typed reading: "POINT=VALUE[UNIT] [power=off|source|on] [u=UNCERTAINTY] [with=CONDITION] [by=NAME]
/// [meter=INSTRUMENT]", e.g. "V(pin16,pin4)=12.4V power=source u=0.02", "R(pin6,pin14)=61 power=off",
/// "lamp=lit". Blanks inside a value need quotes: with="10 ohm load". ErrorKind::usage names what is wrong;
/// refused: ohms with power on, and points at deployment loops or the module's own terminals
/// (docs/points.md lists the points).
[[nodiscard]] Result<event::Measurement> parseReading(std::string_view text);

/// Readings of a CSV file (RFC 4180), one a line. The first line names the columns: `point` and `value`, and
/// of `unit power u with by meter` those that are wanted; each line means what it would mean typed. With
/// semicolons between the cells the decimal sign is a comma. ErrorKind::input names file and line.
[[nodiscard]] Result<std::vector<event::Measurement>> readReadings(const std::string& path);

/// One measuring point a technician may be asked for (docs/points.md is made from this table).
struct Point {
  std::string name;  ///< "V(pin16,pin4)"
  std::string unit;
  std::string how;         ///< how to take it, for cold hands, one or two sentences
  event::PowerState when;  ///< power state in which it means something
  double minutes = 1;
  std::vector<Arrangement> arrangements;
  std::string source;  ///< of the practice, or "common practice, no source"
};
[[nodiscard]] const std::vector<Point>& points();
[[nodiscard]] const Point* findPoint(std::string_view name);
/// A point as a person writes it: any case, blanks, the nodes of a voltage swapped.
struct NamedPoint {
  const Point* point = nullptr;
  double sign = 1;  ///< -1: the nodes were swapped, the value takes the other sign
};
/// ErrorKind::usage: not a known point, or one that is never measured.
[[nodiscard]] Result<NamedPoint> lookUpPoint(std::string_view text);

/// The append-only ledger of power beside the job file (FILE.ledger), one line each: "UTC<TAB>HOW<TAB>text".
/// A job without a file has none. HOW:
///   measured, declared, inferred  the supply of the module's feed rose, and how that is known
///   missed    the rise before it did not reach the module
///   woke      something called the module or its bus awake while it was fed, no supply rose
///   removed   power was taken off
struct PowerUp {
  std::string utc;
  std::string how;
  std::string text;
};
struct PowerCounts {
  int measured = 0, declared = 0, inferred = 0;
  int missed = 0;
  int wake_ups = 0;
  [[nodiscard]] int supplyRises() const { return measured + declared + inferred; }
  [[nodiscard]] int powerUps() const { return supplyRises() - missed; }  ///< of the module
};
/// "1 measured, 1 declared; 1 did not reach the module; 2 wake-ups".
[[nodiscard]] std::string toText(const PowerCounts& counts);
[[nodiscard]] PowerCounts countPower(const std::vector<PowerUp>& ledger);
/// When the last rise was (UTC text); empty: none yet.
[[nodiscard]] std::string lastRise(const std::vector<PowerUp>& ledger);
/// When power was taken off, if it has not come since.
[[nodiscard]] std::optional<Ns> removedAt(const std::vector<PowerUp>& ledger);
[[nodiscard]] Result<std::vector<PowerUp>> readLedger(const Job& job);
[[nodiscard]] Status appendPowerUp(const Job& job, const PowerUp& entry);

/// One attempt of the other equipment, in the append-only FILE.attempts beside the job file: one line each,
/// seven fields parted by tabs, "-" for a number that is not known.
struct AttemptEntry {
  std::string utc;
  std::string rung;
  std::optional<int> power_up;  ///< its number in the ledger
  std::optional<int> cycles;    ///< "ignition cycle, download" (49 CFR 563.5), typed from the other's report
  std::string changed, said, capture;
};
/// Empty for a job without a file.
[[nodiscard]] Result<std::vector<AttemptEntry>> readAttempts(const Job& job);
[[nodiscard]] Status appendAttempt(const Job& job, const AttemptEntry& entry);
/// Whether the job's stop rule is reached, one sentence; empty: it is not, or there is none.
[[nodiscard]] std::string stopText(const Job& job, const std::vector<AttemptEntry>& attempts);
/// The typed counts of the first and the last attempt that has one, against the ledger's power-ups between
/// them: consistent or not, and never more than that. Empty: fewer than two counts.
[[nodiscard]] std::string reconcileCycles(const std::vector<AttemptEntry>& attempts);

/// The key of the job's digests (protocol/envelope.hpp), 32 bytes, in FILE.key beside the job file as hex,
/// readable by its owner only; made when first asked for, and never changed, so that the digests of all of
/// the job's attempts can be compared. Empty for a job without a file. ErrorKind::input: there is one, and it
/// is no key, or others may read it; ErrorKind::record: it could not be made.
[[nodiscard]] Result<Bytes> digestKey(const Job& job);

}  // namespace pin16::job
