// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Inside of the room: where each element's parameters stand behind Part::first_param, and their names.

#include <array>
#include <span>
#include <string_view>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {

enum ContactParam : std::uint8_t { kContactOhm, kContactIsOpen, kFuseRating, kFuseSlow };
enum BatteryParam : std::uint8_t {
  kBatteryRest,  // five of them
  kBatterySeries = 5,
  kBatteryCapacity,
  kBatteryCharge,
  kBatteryExponent
};
enum SupplyParam : std::uint8_t { kSupplyEmf, kSupplySeries, kSupplyLimit, kSupplyShort, kSupplyTrip };
enum DiodeParam : std::uint8_t { kDiodeSaturation, kDiodeIdeality };
enum CapacitorParam : std::uint8_t { kCapacitorFarad, kCapacitorVolts };
enum ConsumerParam : std::uint8_t {
  kConsumerAmount,
  kConsumerFold,
  kConsumerStart,
  kConsumerStop,
  kConsumerBootAmount,
  kConsumerBootTime,
  kConsumerOff
};

inline std::span<const std::string_view> parameterNames(Element kind) {
  static constexpr std::array<std::string_view, 1> kResistor{"ohm"};
  static constexpr std::array<std::string_view, 2> kSource{"emf_V", "series_ohm"};
  static constexpr std::array<std::string_view, 1> kLoad{"ampere"};
  static constexpr std::array<std::string_view, 3> kLead{"mm2", "length_m", "celsius"};
  static constexpr std::array<std::string_view, 4> kFuse{"ohm", "open", "rating_A", "slow"};
  static constexpr std::array<std::string_view, 2> kToggle{"ohm", "open"};
  static constexpr std::array<std::string_view, 9> kBattery{"rest_100_V",  "rest_75_V", "rest_50_V",
                                                            "rest_25_V",   "rest_0_V",  "series_ohm",
                                                            "capacity_Ah", "charge",    "exponent"};
  static constexpr std::array<std::string_view, 5> kSupply{"emf_V", "series_ohm", "limit_A", "short_A",
                                                           "trip_s"};
  static constexpr std::array<std::string_view, 2> kDiode{"saturation_A", "ideality"};
  static constexpr std::array<std::string_view, 2> kCapacitor{"farad", "volts"};
  static constexpr std::array<std::string_view, 7> kConsumer{"amount",      "fold_V", "start_V", "stop_V",
                                                             "boot_amount", "boot_s", "off_ohm"};
  static constexpr std::array<std::string_view, 1> kWatch{"volts"};
  switch (kind) {
    case Element::resistor:
      return kResistor;
    case Element::source:
      return kSource;
    case Element::load:
      return kLoad;
    case Element::lead:
      return kLead;
    case Element::fuse:
      return kFuse;
    case Element::toggle:
      return kToggle;
    case Element::battery:
      return kBattery;
    case Element::supply:
      return kSupply;
    case Element::diode:
      return kDiode;
    case Element::capacitor:
      return kCapacitor;
    case Element::consumer:
      return kConsumer;
    case Element::watch:
      return kWatch;
  }
  return {};
}

}  // namespace pin16::circuit
