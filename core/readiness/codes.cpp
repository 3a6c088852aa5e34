// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <stdexcept>

#include "core/readiness/sheet.hpp"

namespace pin16::readiness {

const char* Code::toDo(job::Arrangement a) const {
  const char* special = a == job::Arrangement::fed_in_place ? to_do_fed
                        : a == job::Arrangement::removed    ? to_do_removed
                                                            : "";
  return *special != '\0' ? special : to_do;
}

const std::vector<Code>& codes() {
  static const std::vector<Code> table = {
      {"source-none", "source", "the source gives nothing",
       "Look at the battery's clamps, its isolator and any crash cut-off beside it; clean and tighten, then "
       "measure "
       "at the posts again. Eye protection on.",
       "Is the source switched on, its output enabled, its clamps tight? A jump pack may have cut out: press "
       "its "
       "button and measure again.",
       "Is the supply switched on, its output enabled, the leads tight? Measure at its terminals again."},
      {"source-reversed", "source", "plus and minus are swapped",
       "Stop: connect nothing to it. Are the meter leads swapped? If not, swap the source's leads with the "
       "power "
       "off, and check interface and fuses before you go on."},
      {"source-over-voltage", "source", "the source gives more than the module may get",
       "Stop: take the power off and connect nothing. Is something charging or boosting the battery, or are "
       "two "
       "batteries in series? Remove it and measure again.",
       "Stop: take the power off and connect nothing. Leave boost, override and 24 V outputs alone; set or "
       "change "
       "the source, then measure again.",
       "Stop: take the power off. Set the supply to 12.5 to 13.5 V (24 V module: its own figure), "
       "over-voltage trip "
       "at the limit, sense leads fitted or off, then measure again."},
      {"source-flat", "source", "the source is flat or weak",
       "Everything else on the battery off, then measure again. Still low: charge it, or change to a source "
       "from "
       "outside. Not into a cracked, frozen or leaking battery; no booster in parallel with a flat one.",
       "Change or charge the source; a flat vehicle battery in parallel drains it, so leave that one "
       "disconnected.",
       "Raise the supply's voltage or current limit, power off first, or change the source. A limit below "
       "the start "
       "current makes the module start again and again."},
      {"source-unloaded", "source", "the source was only measured at rest",
       "Measure the source once more with a load on it (a 55 W lamp, or the module once it is on): at rest a "
       "weak "
       "battery looks good."},
      {"source-shuts-off", "source", "the source went off by itself under load",
       "Find the timer or cut-off that did it: accessory outlets and battery savers go off by themselves. "
       "Take the "
       "supply from the battery's own posts instead.",
       "A jump pack takes one module for no load and cuts out. Use a battery or a bench supply; or hang the "
       "10 ohm "
       "dummy load (it gets hot) beside the module before power, and see that the pack stays on.",
       "A jump pack takes one module for no load and cuts out. Use a battery or a bench supply; or hang the "
       "10 ohm "
       "dummy load (it gets hot) beside the module before power, and see that the pack stays on."},
      {"source-sags", "source", "the source sags and will not last for a read-out attempt",
       "Do not begin the attempt on it. Everything else on the battery off; charge it, or change to a source "
       "from "
       "outside that stands still under load for two minutes.",
       "Do not begin the attempt on it: change to a charged source first, power off while you change, and "
       "watch it "
       "under load for two minutes.",
       "Do not begin the attempt on it: change to a charged source or a mains supply first, power off while "
       "you "
       "change, and watch it under load for two minutes."},
      {"feed-no-voltage", "feed", "nothing arrives at the module's feed",
       "Power off, then look at the module's fuse: pulled, blown, wrong slot? Find why it opened before you "
       "renew it "
       "with the same rating.",
       "Power off, then from the source on: switch, in-line fuse, clip on the right slot and on its load "
       "blade. Do "
       "not bridge the fuse.",
       "Power off, then from the supply on: switch, in-line fuse, plug and pin of the feed lead. Do not "
       "bridge the "
       "fuse."},
      {"feed-low", "feed", "too little voltage arrives at the module's feed",
       "Compare source and feed under load; where they part is the bad joint. Clean fuse and blades with the "
       "power "
       "off.",
       "Power off. Shorter, thicker feed lead, fresh clip; then prove the path with the 10 ohm dummy load "
       "before the "
       "module is powered again.",
       "Power off. Shorter, thicker feed lead; then prove the path with the 10 ohm dummy load before the "
       "module is "
       "powered again."},
      {"feed-over-voltage", "feed", "more than the module may get at its feed",
       "Stop: take the power off. Nothing goes back on before the source measures right with nothing "
       "connected."},
      {"feed-supply-side", "feed", "the feed sits on the supply blade of the slot, the module gets nothing",
       "Power off, then move the feed to the other blade: the load blade, the one without battery voltage in "
       "the "
       "emptied slot."},
      {"feed-supply-side-fuse-in", "feed",
       "the feed reaches the supply side with the module's fuse in: the module runs, and all else on that "
       "side too",
       "Power off, then take the module's fuse out and feed the load blade alone, the one without battery "
       "voltage in "
       "the emptied slot."},
      {"feed-others-awake", "feed", "others are awake although this module alone should be fed",
       "If you feed several modules on purpose, all is well. Else power off and look at the slot: feed on "
       "the load "
       "blade alone, the module's fuse out."},
      {"feed-bounces", "feed", "the feed bounced at switch-on: several starts instead of one",
       "It is over, this power-up may be used. Next time plug in with the switch open, then switch on once; "
       "each "
       "bounce can count as a power-up."},
      {"feed-interrupted", "feed", "the feed went away and came back while the power was on",
       "Hands off the leads for the attempt. Before it, power off and fasten clip, plug and in-line fuse so "
       "that a "
       "pull at the lead moves none of them."},
      {"module-restarts", "feed", "a module stopped sending and began anew while the power was on",
       "Power off and look for a bad contact in its feed and ground; with steady volts there it restarts by "
       "itself, or the "
       "bus went to sleep and was woken. Each restart can count as one more ignition cycle."},
      {"feed-path-resistance", "feed", "the feed path has too much resistance",
       "Power off, then check the path joint by joint with the dummy load: clip, in-line fuse, lead, ground "
       "clamp. "
       "No power-up is needed for this."},
      {"feed-current-high", "feed", "more current than this module alone draws",
       "Power off. Something else hangs on this feed: is a second consumer on the fuse?",
       "Power off. More than one module is fed: is the feed on the supply blade with the module's fuse still "
       "in, or "
       "in another circuit's slot? Move it to the load blade.",
       "Power off. Something else hangs on the lead: feed the module alone."},
      {"feed-current-low", "feed", "less current than this module draws when it runs",
       "The module sleeps or is not fed: check its fuse and, if it has one, its second (ignition) feed.",
       "The module sleeps or is not fed: check slot and blade, and the second (ignition) feed if it has one; "
       "power "
       "off before you change anything.",
       "The module sleeps or is not fed: check the second (ignition) feed or wake-up lead if it has one; "
       "power off "
       "before you change anything."},
      {"ground-drop", "ground", "too much voltage is lost in the ground",
       "Power off; clean and tighten the battery's ground strap at both ends, then measure again under the "
       "same load.",
       "Power off; move the ground clamp to bright metal bolted through the body near the module's ground, "
       "not paint, "
       "seat rail or hinge, then measure again with the dummy load.",
       "Power off; clean and tighten the leads at the ground post, then measure again with the dummy load."},
      {"ground-masked", "ground", "a computer of ours may hide a bad ground",
       "Computers on their batteries, one of them isolated from the vehicle; then measure the ground's drop "
       "again with "
       "everything of ours unplugged and the same current."},
      {"ground-split", "ground", "the two grounds of the diagnostic connector differ",
       "Unplug other equipment and computers on mains, then measure pin 4 against pin 5 again; still apart: "
       "trace the "
       "ground wires of the connector."},
      {"ground-floating", "ground", "the interface's source and the module's have no ground in common",
       "Power off, then hang interface and module on one source; if there must be two, join their minus by "
       "one thick "
       "lead first. Computers run on their own battery."},
      {"connector-no-power", "connector", "the diagnostic connector has no supply",
       "Check the connector's fuse (often shared with the accessory outlet: look into that for metal) and "
       "renew it "
       "with the same rating. Fuse good: look for a pushed-back contact at pin 16.",
       "Hang the interface on the same source as the module instead.",
       "Join pin 16 of the breakout to the source's plus through a fuse, or give the interface its own lead "
       "from the "
       "same source."},
      {"connector-low", "connector", "the diagnostic connector has too little supply",
       "Measure again with 0.5 to 1 A of load and compare with the battery: a loss under load is corrosion "
       "at fuse, "
       "contact or ground. Clean with the power off.",
       "Hang the interface on the same source as the module instead.",
       "Shorter, thicker leads to the breakout, clean contacts; measure again under load."},
      {"connector-over-voltage", "connector",
       "the diagnostic connector has more than a 12 V (24 V) system may have",
       "Stop: do not plug the interface in, and unplug what is in. Find out which system this is and what "
       "charges or "
       "boosts it."},
      {"connector-ground-open", "connector", "pin 4 (chassis ground) of the connector is open",
       "Look for a pushed-back contact at pin 4 and trace its ground wire; an interface that returns through "
       "pin 4 "
       "gets nothing."},
      {"connector-signal-ground-open", "connector", "pin 5 (signal ground) of the connector is open",
       "Look for a pushed-back contact at pin 5; it matters only to an interface that returns through pin "
       "5."},
      {"connector-stray-voltage", "connector", "a voltage at pin 16 that is neither dead nor a supply",
       "Load pin 16 with a lamp and measure again; if it falls away it was a stray voltage.",
       "Do not hang the interface on pin 16; give it its own lead from the same source as the module."},
      {"interface-no-supply", "interface", "the interface has no supply",
       "Reseat its plug, then measure pin 16 against pin 4; with good volts there and the lamp dark, take "
       "another "
       "interface.",
       "Give the interface its own lead from the same source as the module, check that lead's fuse, then "
       "look at the "
       "lamp again.",
       "Give the interface its own lead from the same source as the module, check that lead's fuse, then "
       "look at the "
       "lamp again."},
      {"interface-over-voltage", "interface", "the interface gets more than it may",
       "Stop: unplug the interface and take the power off; measure the source with nothing connected."},
      {"interface-link", "interface", "the interface's link to the computer does not work",
       "Reseat its cable at both ends and look at `pin16 links`; it needs no power-up."},
      {"levels-short", "levels", "the two bus wires touch, or something of few ohms lies between them",
       "Power off, unplug our interface and all other equipment one by one while the meter stays on; it "
       "stays low: a "
       "wire is chafed or a plug is wet.",
       "",
       "Power off, unplug interface and harness one by one while the meter stays on: wet plug, bent pin, "
       "swapped "
       "leads?"},
      {"levels-one-termination", "levels", "one termination is missing or a branch of the bus is open",
       "One end of the bus is not reached: look for an unplugged module or a broken wire. The bus may still "
       "work on "
       "short leads.",
       "", "Put one 120 ohm resistor across the two bus wires."},
      {"levels-extra-termination", "levels", "one termination too many",
       "Unplug our interface and all other equipment one by one, power off, and measure each time: the one "
       "that "
       "brings back 60 ohm has a termination to switch off.",
       "", "Take one of the 120 ohm resistors off, or switch off the interface's own termination."},
      {"levels-our-termination", "levels", "our own termination is one too many",
       "Switch the termination in our adapter off; the bus has its own two."},
      {"levels-odd-termination", "levels", "the bus resistance fits neither one, two nor three terminations",
       "Null the meter leads, clean the contacts, measure again with the power off and the bus asleep."},
      {"levels-open", "levels", "no termination is seen at all",
       "Are the breakout's pins 6 and 14 through? If so this bus is not on pins 6 and 14, or both wires are "
       "broken.",
       "",
       "Put two 120 ohm resistors (60 ohm in all) across the two bus wires, and check the leads to the "
       "module's "
       "harness plug."},
      {"levels-wire-shorted", "levels", "a bus wire is shorted to ground or to supply",
       "Power off, then follow the wires from the connector: chafed at a bracket, crushed by the crash, wet "
       "plug? 60 "
       "ohm between the wires does not rule this out.",
       "", "Power off, then check the bus leads for a swapped or touching pin."},
      {"levels-off", "levels", "the bus wires are neither asleep nor at their idle level",
       "Measure both wires again with the interface unplugged; if it comes right the interface disturbs, "
       "else look "
       "for a bad ground or an open wire."},
      {"bus-asleep", "levels", "the bus sleeps: both wires near 0 V with the power on",
       "Wake it: ignition on (this counts as a power-up for the modules behind it), then measure again.",
       "Is the module really fed, on all its feeds? If so it waits for ignition status or a wake-up: power "
       "off before "
       "you add a feed.",
       "Is the module really fed, on all its feeds? If so it waits for an ignition feed or a wake-up lead: "
       "power off "
       "before you add one."},
      {"traffic-none", "traffic", "the bus is silent",
       "Ignition on? Interface on the right pair of pins and at the right rate? Listen again; nothing is "
       "sent for "
       "this.",
       "Is the module powered on all its feeds? Many need an ignition feed before they speak. Right pins, "
       "right rate?",
       "Many modules on the table speak only when asked, or need an ignition feed: check feeds, pins, bit "
       "rate, 60 "
       "ohm."},
      {"traffic-errors-only", "traffic", "there are bits on the bus but no valid frame",
       "Take the interface off at once if it is not listen-only. Then try the other usual bit rates by "
       "listening, and "
       "check for classic against FD, swapped wires, 60 ohm."},
      {"traffic-errors", "traffic", "many error frames among the traffic",
       "Unplug our interface and all other equipment one by one; then move plugs and leads gently while the "
       "error "
       "count is watched. Check 60 ohm with the power off."},
      {"traffic-unacknowledged", "traffic", "nobody acknowledged what we sent",
       "No powered node hears this interface: right pins, right rate, gateway powered, ignition on?",
       "No powered node hears this interface: is the module fed, are the bus wires through to it?",
       "No powered node hears this interface: is the module fed, are the bus leads on the right pins?"},
      {"traffic-lone-sender", "traffic", "nobody acknowledges what one node sends: it is alone",
       "Only one node is awake on these wires. Ignition on? Are the other modules and the gateway fed, their "
       "fuses in?",
       "Only one node is awake on these wires. If that is the module, good: the other equipment's interface "
       "has to "
       "acknowledge it. Is that one plugged in and not set to listen-only?",
       "The module is alive and alone, because our interface only listens. That is no fault: the other "
       "equipment's "
       "interface has to acknowledge it; plug that in, and it must not be set to listen-only."},
      {"gateway-silent", "traffic",
       "the gateway does not acknowledge: it is not powered, or not on these pins",
       "Look at the gateway's feed first: its fuse, and the ignition status it waits for. Then the "
       "connector's bus "
       "wires. The module behind it may be well.",
       "The gateway needs its own feed too: find its fuse slot, power off, and feed its load blade from the "
       "same "
       "source as the module. Or take another way to the module's bus."},
      {"traffic-bus-off", "traffic", "our interface took itself off the bus",
       "Our sending met only errors: wrong rate, short or swapped wires. Unplug, measure 60 ohm with the "
       "power off, "
       "prove the rate by listening only."},
      {"module-silent", "answer", "the job's module does not answer",
       "Wait ten seconds and ask again (no new power-up). Then free checks: right identifiers, ignition "
       "status, "
       "gateway powered, the module's fuse.",
       "Wait ten seconds and ask again (no new power-up). Then: is every feed of the module there (ignition "
       "feed "
       "too), and is the gateway fed?",
       "Wait ten seconds and ask again (no new power-up). Then: all feeds and grounds, 60 ohm, right "
       "identifiers and "
       "rate."},
      {"gateway-no-answer", "answer", "the gateway acknowledges, but nothing comes through it",
       "Ignition status and the gateway's own feeds first: many pass nothing on until they see ignition. "
       "Then the "
       "module's fuse, then its identifiers.",
       "Feed the gateway's second (ignition) supply as well, power off before you add it; many pass nothing "
       "on until "
       "they see ignition. Then the module's feed and its identifiers."},
      {"module-negative", "answer", "the module answers, but refuses",
       "The wiring is good: the module lives and says no. It is a matter of condition, session or lock, for "
       "the other "
       "equipment to settle."},
      {"module-incomplete", "answer", "the module's answer broke off, or it only said \"pending\"",
       "Watch the supply at the module while you ask again; a dip means a weak feed or contact. If the volts "
       "stand, "
       "the module is busy: wait."},
      {"module-intermittent", "answer", "the module answers only sometimes",
       "Ask several times with hands off, then with the plugs moved gently; watch volts and error frames "
       "meanwhile."},
      {"module-slow", "timing", "the module answers later than the standard allows",
       "Measure the supply at the feed first: low volts slow some modules. Else give the other equipment a "
       "longer "
       "wait."},
      {"module-beyond-wait", "timing", "the module answers later than a client waits",
       "Measure the supply at the feed first: low volts slow some modules. Then give the other equipment a "
       "wait longer "
       "than the time shown; else it will call this module silent."},
  };
  return table;
}

const Code& findCode(std::string_view code) {
  const auto& table = codes();
  const auto it = std::find_if(table.begin(), table.end(), [&](const Code& c) { return code == c.code; });
  if (it == table.end()) throw std::logic_error("no code " + std::string(code));
  return *it;
}

}  // namespace pin16::readiness
