// SPDX-License-Identifier: Apache-2.0
#include <algorithm>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

using enum Arrangement;
using event::PowerState;

const char* const kPractice = "common practice, no source";
const char* const kManuals =
    "vehicle workshop manuals (makers not named): battery disconnected or network asleep, all modules "
    "connected";
const char* const kDrop = "encyclopedia article on the voltage drop test";

// In the order in which they are asked for: nothing powered, then the source only, then the one power-up.
std::vector<Point> makePoints() {
  const std::vector<Arrangement> all = {own_battery, fed_in_place, removed};
  const std::vector<Arrangement> in_vehicle = {own_battery, fed_in_place};
  const std::vector<Arrangement> fed = {fed_in_place, removed};
  return {
      {"R(pin6,pin14)", "ohm",
       "Power off, bus asleep, our interface and all other equipment unplugged. Meter on 200 ohm between pin "
       "6 "
       "and pin 14 of a breakout, less what the leads read when touched together.",
       PowerState::off, 1.5, all, kManuals},
      {"R(pin6,pin4)", "ohm",
       "Power off, bus asleep. Meter on 20 kohm between pin 6 and pin 4 of a breakout; OL counts as open.",
       PowerState::off, 1, all, kManuals},
      {"R(pin14,pin4)", "ohm",
       "Power off, bus asleep. Meter on 20 kohm between pin 14 and pin 4 of a breakout; OL counts as open.",
       PowerState::off, 1, all, kManuals},
      {"R(pin6,pin16)", "ohm",
       "Power off, bus asleep. Meter on 20 kohm between pin 6 and pin 16 of a breakout; OL counts as open.",
       PowerState::off, 1, all, kPractice},
      {"R(pin14,pin16)", "ohm",
       "Power off, bus asleep. Meter on 20 kohm between pin 14 and pin 16 of a breakout; OL counts as open.",
       PowerState::off, 1, all, kPractice},
      {"V(src+,src-)", "V",
       "Meter on DC volts, red on the source's plus, black on its minus, mind the sign. Once at rest, once "
       "with a load (a 55 W lamp, or the module on), noted with it.",
       PowerState::source, 1, all, kPractice},
      {"V(supplyblade,chassis)", "V",
       "Module fuse out, key off. One blade of the emptied slot against bare chassis; the blade with battery "
       "voltage is the supply side. Both dead: an ignition-fed slot cannot be told with the key off.",
       PowerState::source, 1, in_vehicle, kPractice},
      {"V(loadblade,chassis)", "V",
       "The other blade of the slot against bare chassis. Slot empty: about 0 V, not a few volts that fade. "
       "Feed or fuse in place and power on: the voltage that goes to the module. Do not bridge the blades.",
       PowerState::source, 1, in_vehicle, kPractice},
      {"R(feedpath)", "ohm",
       "Dummy load of about 10 ohm, 25 W from the feed's end at the slot to the module's ground area, the "
       "module "
       "not joined. Volts at the dummy without and with it; R = difference / amperes. The dummy gets hot.",
       PowerState::source, 3, fed, kPractice},
      {"V(chassis,src-)", "V",
       "With current flowing (the 10 ohm dummy, or the module on): meter on 2 V, bare chassis away from the "
       "clamp "
       "(on the table: the ground post) against the source's minus.",
       PowerState::source, 1, all, kDrop},
      {"V(pin16,pin4)", "V",
       "Meter on DC volts at a breakout, pin 16 against pin 4, first as it is, then with a load of 0.5 to 1 "
       "A. "
       "Never push probes into the contacts, never bridge pins.",
       PowerState::source, 1, all, kPractice},
      {"V(pin16,pin5)", "V", "As before, but pin 16 against pin 5.", PowerState::source, 0.5, all, kPractice},
      {"V(pin4,pin5)", "V", "Meter on 2 V at the breakout, pin 4 against pin 5, the interface plugged in.",
       PowerState::source, 0.5, all, kPractice},
      {"V(pin4,interface-)", "V",
       "Meter on DC volts, pin 4 of the breakout against the minus of the interface's own supply lead, bus "
       "plugged in. A second source (computer, charger) counts too.",
       PowerState::source, 0.5, fed,
       "ground offset between supplies: ISO 16750-2:2023 section 4 (secondary)"},
      {"lamp", "", "Look at the interface: is its supply lamp lit or dark?", PowerState::source, 0.2, all,
       kPractice},
      {"V(interface+,interface-)", "V",
       "Meter on DC volts at the interface's own supply lead, plus against minus, plugged in.",
       PowerState::source, 1, all, kPractice},
      {"V(feed,chassis)", "V",
       "Power on. The clip of the feed lead (on the table: where the lead joins the harness) against bare "
       "chassis "
       "(ground post).",
       PowerState::on, 1, fed, kPractice},
      {"signs",
       "",
       "Look and listen as the power comes on: lights, chime, radio, blower anywhere else in the vehicle? "
       "Write seen or none.",
       PowerState::on,
       0.1,
       {fed_in_place},
       kPractice},
      {"I(feed)", "A",
       "Power on, after 10 s. DC clamp around the lead to the slot alone, or the 10 A jack in the lead; the "
       "mA jack "
       "starves the module.",
       PowerState::on, 1.2, all, kPractice},
      {"V(pin6,pin4)", "V", "Power on. Meter on DC volts at the breakout, pin 6 against pin 4.",
       PowerState::on, 1, all, "levels from CAN transceiver data sheet SLLSF80B (ISO 11898-2)"},
      {"V(pin14,pin4)", "V", "Power on. Meter on DC volts at the breakout, pin 14 against pin 4.",
       PowerState::on, 1, all, "levels from CAN transceiver data sheet SLLSF80B (ISO 11898-2)"},
  };
}

}  // namespace

const std::vector<Point>& points() {
  static const std::vector<Point> table = makePoints();
  return table;
}

const Point* findPoint(std::string_view name) {
  const auto& table = points();
  const auto it = std::find_if(table.begin(), table.end(), [&](const Point& p) { return p.name == name; });
  return it == table.end() ? nullptr : &*it;
}

}  // namespace pin16::job
