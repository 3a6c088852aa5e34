// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What can be wrong and what can be measured, as two tables compiled in. Nothing here asks for deployment
/// circuits or for a module's own contacts, and nothing proposes to remove a module (a test walks both).

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"
#include "core/job/job.hpp"

namespace pin16::reasons {

using job::Arrangement;
[[nodiscard]] constexpr unsigned bit(Arrangement a) { return 1U << static_cast<unsigned>(a); }
inline constexpr unsigned kOwn = bit(Arrangement::own_battery), kFed = bit(Arrangement::fed_in_place),
                          kRemoved = bit(Arrangement::removed), kAll = kOwn | kFed | kRemoved,
                          kRig = kFed | kRemoved, kVehicle = kOwn | kFed;

enum class Unit : std::uint8_t { volt, ampere, ohm, answer };
/// In which power state a reading is taken: nothing powered; the source alone; the module fed; as it is (a
/// look).
enum class Power : std::uint8_t { off, source, on, any };

/// One measurement or look.
struct Reading {
  const char* id;  ///< "V(pin16,pin4)": what is written before the "=" of a reading
  Unit unit;
  Power power;
  const char* instrument;
  double error_abs, error_rel;  ///< of the instrument, half width, unit of the reading
  /// Error of our model of it: volts, amperes; ohms in decades. The floor under the instrument's error
  /// (own figures, after a trial that found twice 0.12 V + 2 %, 0.03 V on drops best).
  double model_abs, model_rel;
  double minutes;  ///< estimate
  int power_ups;   ///< beyond the switching on
  const char* risk;
  const char* meter;                 ///< range
  const char* how;                   ///< points and answers
  std::vector<const char*> answers;  ///< of Unit::answer
  unsigned arrangements;             ///< bit() of each
  const char* source;                ///< of the practice
};
/// Ids of the table in its order, for the model.
enum class R : std::uint8_t {
  r_feed_chassis,
  r_rigfuse,
  r_rigfuse_clip,
  r_connfuse,
  r_modfuse,
  r_connfuse_pin16,
  r_pin4_chassis,
  r_pin5_chassis,
  r_src_chassis,
  r_pin6_pin14,
  r_pin6_pin4,
  r_pin14_pin4,
  r_pin6_pin16,
  r_pin14_pin16,
  slot_check,
  fuse_rating,
  source_label,
  v_src,
  v_src_load,
  vac_src,
  v_src_on,
  limit_lamp,
  v_feed_chassis,
  v_slot_load_chassis,
  v_chassis,
  v_src_feed,
  v_pin16_pin4,
  v_pin16_chassis,
  v_connfuse_supply_chassis,
  v_outlet_chassis,
  v_pin4,
  v_ifgnd_chassis,
  v_feed2_chassis,
  i_feed,
  i_src,
  i_feed_pattern,
  v_pin6_pin4,
  v_pin14_pin4,
  v_pin6_pin14,
  v_pin7_pin4,
  v_gwfeed_chassis,
  v_adapter,
  interface_lamp,
  dash_signs,
  warning_lamp,
  port_list,
  adapter_answers,
  adapter_mode,
  identifiers,
  error_class,
  controller_state,
  rate_scan,
  pair_scan,
  rollcall,
  answer_29bit,
  answer_longwait,
  answer_again,
  answer_wake,
  answer_kline,
  answer_direct,
  answer_otherif,
  reseat,
  battery_look,
  connector_look,
  fd_scan,
  answer_restart,
  answer_all,
  answer_rate,
  bus_leads,
  v_slot_supply_chassis,
  interface_alone,
  vac_pin16,
  answer_feed2,
  v_interface,
  count
};
inline constexpr std::size_t kReadings = static_cast<std::size_t>(R::count);
[[nodiscard]] const std::vector<Reading>& readings();
[[nodiscard]] std::optional<std::size_t> findReading(std::string_view id);

/// One cause.
struct Cause {
  const char* id;
  const char* title;
  const char* step;  ///< of the readiness sheet
  unsigned arrangements;
  const char* physics;  ///< what it changes on the bench (model.cpp does it)
  const char* confirm;
  const char* mend;
  const char* caution;           ///< danger in looking or mending; empty: none known
  std::array<double, 3> weight;  ///< prior, relative, by arrangement; given that nobody answers
  const char* source;            ///< of the prior
};
[[nodiscard]] const std::vector<Cause>& causes();
[[nodiscard]] std::optional<std::size_t> findCause(std::string_view id);
/// Ids of causes that are mended in the same way, so that nobody needs to part them.
[[nodiscard]] const std::vector<std::vector<const char*>>& sameMend();

/// Priors in force. A user's file replaces them by id: CSV, `id,weight,source` a line, comments with #.
struct Priors {
  std::vector<double> weight;  ///< a cause each
  std::vector<std::string> source;
};
[[nodiscard]] Priors priors(Arrangement a);
/// ErrorKind::input naming the line: an unknown id, a weight that is not a number from 0 on, no source.
Status replacePriors(Priors& priors, const std::string& csv_file);

}  // namespace pin16::reasons
