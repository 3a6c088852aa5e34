// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/hook_up.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "core/readiness/clean_start.hpp"
#include "core/readiness/plan.hpp"

namespace pin16::readiness {
namespace {

using event::PowerState;
using job::Arrangement;

constexpr std::string_view kPrefix = "hook-up.";
/// So long a bus must have been listened to before it counts as quiet (own figure, one S3 and more).
constexpr double kQuietLeast_s = 6;

// The order is common practice, no source: nothing powered, joints before consumers, what can be told for
// free before what costs a power-up, power last.
std::vector<HookUpItem> inVehicle(const job::Job& job) {
  const bool fed = job.arrangement == Arrangement::fed_in_place;
  std::vector<HookUpItem> out;
  const auto add = [&](const char* code, const char* text, const char* why, const char* seen = "") {
    out.push_back({code, text, why, seen});
  };
  if (fed) {
    add("feed-off", "Source joined to nothing, its switch open or its output off.",
        "An accessory plug that is pushed in by hand bounces, and each bounce can be a start.",
        "power is off: declared, or told by a meter");
    add("slot",
        "Module's fuse out; slot adapter with a fused lead on the load blade: the one without battery volts "
        "in "
        "the emptied slot.",
        "On the other blade the module gets nothing and the rest of the vehicle wakes.");
    add("clamp",
        "Ground clamp on bright metal near the module's ground, bolted through the body: not on paint, seat "
        "rail or hinge. The last clamp goes on away from the battery.",
        "Paint and hinges take volts under load.", "step ground is sound: its drop is low under load");
  } else {
    add("feed-off", "Ignition off, key away; everything else on the battery off.",
        "What is joined to a live module can start it, or start it twice.",
        "power is off: declared, or told by a meter");
    add("clamp", "Ground of the vehicle: battery strap and body strap tight and bright.",
        "A bad strap takes volts under load, and then the module starts again and again.",
        "step ground is sound: its drop is low under load");
  }
  add("connector",
      "Look into the diagnostic connector: straight, clean contacts, no device or splitter of somebody else. "
      "Then plug the interface in.",
      "A pushed-back contact and a forgotten device are found for free here.");
  add("interface",
      fed ? "Interface fed from the same splitter as the module; its lamp lights."
          : "Interface powered from pin 16; its lamp lights.",
      fed ? "Two sources without a common ground do not talk."
          : "An unlit lamp is most often the connector's fuse.",
      "step interface is sound");
  return out;
}

std::vector<HookUpItem> onTheTable(const job::Job& job) {
  std::vector<HookUpItem> out;
  const auto add = [&](const char* code, std::string text, const char* why, const char* seen = "") {
    out.push_back({code, std::move(text), why, seen});
  };
  add("feed-off", "Supply set to its volts and limit, then its output off.",
      "A limit below what the module draws at its start makes it start again and again.",
      "power is off: declared, or told by a meter");
  add("fixed", "Module fixed rigidly, in its mounted attitude, arrow forward.",
      "Moved or struck while powered, it may take that for an event.");
  add("leads",
      job.module.pins.empty()
          ? std::string(
                "Every feed and ground by the service information, the case bolt too if it is a ground.")
          : fmt::format(
                "Every feed and ground, the case bolt too if it is a ground. Its pins, as the job has "
                "them: {}.",
                job.module.pins),
      "A module with one of two feeds runs half, and is silent.");
  add("clamp", "Minus of the supply, the module's ground and the connector's ground on one post.",
      "Thin or loose leads take volts under load.", "step ground is sound: its drop is low under load");
  add("termination", "Two terminations of 120 ohm across the two wires of the bus.",
      "Taken out of the vehicle, the module lacks one or both.", "step levels is sound");
  add("interface", "Interface on the bus and fed from the same supply; its lamp lights.",
      "Two sources without a common ground do not talk.", "step interface is sound");
  return out;
}

/// Everything else that a list ends with, whatever the arrangement.
void addRest(std::vector<HookUpItem>& out) {
  out.push_back(
      {"computer",
       "Interface and its computer find each other; computers on their own battery, lids open, sleep "
       "off.",
       "It is free to find out now, and costs a power-up later.", ""});
  out.push_back({"bus-quiet", "Our monitor joined, listening only: no error frame, and no other tester asks.",
                 "An adapter at a wrong rate disturbs a bus that is evidence.",
                 fmt::format("a link is up, {:g} s without an error frame or another tester's request",
                             kQuietLeast_s)});
  out.push_back({"program", "The other program is one button away from its read-out.",
                 "Seconds of power are seconds in which something can happen.", ""});
  out.push_back({"power", "Power on, last and once, by the switch; then that button at once.",
                 "Each power-up counts.", "power is on: declared, or told by a meter"});
}

/// What an instrument says of the item; empty: it does not show it.
std::string seenOf(const std::string& code, const Evidence& e, const Sheet& sheet) {
  const auto sound = [&](const char* name) -> std::string {
    const auto s =
        std::find_if(sheet.steps.begin(), sheet.steps.end(), [&](const Step& x) { return x.name == name; });
    return s != sheet.steps.end() && s->verdict == Verdict::sound ? s->text : "";
  };
  if (code == "feed-off")
    return e.power() == PowerState::off || e.power() == PowerState::source ? "Power is off." : "";
  if (code == "clamp") return sound("ground");
  if (code == "interface") return sound("interface");
  if (code == "termination") return sound("levels");
  if (code == "power") return e.power() == PowerState::on ? "Power is on." : "";
  if (code != "bus-quiet") return {};
  const auto buses = e.buses();
  const bool up = std::any_of(buses.begin(), buses.end(), [](const LinkFacts* l) {
    return l->state.condition == event::LinkCondition::up;
  });
  // After power came the read-out itself is no disquiet.
  const Ns until_ns = e.power() == PowerState::on && !e.powerOns().empty() ? e.powerOns().back() : kNoTime;
  const bool asked = std::any_of(e.exchanges().begin(), e.exchanges().end(), [&](const ExchangeFacts& x) {
    return !x.ours && (until_ns == kNoTime || x.request_ns < until_ns);
  });
  if (!up || asked || e.errorFrames() > 0 || e.listened_s() < kQuietLeast_s) return {};
  return fmt::format("Listened for {:.0f} s: no error frame, nobody asked.", e.listened_s());
}

}  // namespace

std::vector<HookUpItem> hookUp(const job::Job& job) {
  auto out = job.arrangement == Arrangement::removed ? onTheTable(job) : inVehicle(job);
  addRest(out);
  return out;
}

const char* toText(Tick t) {
  constexpr std::array<const char*, 4> kNames = {"open", "seen", "by-hand", "overridden"};
  return kNames.at(static_cast<std::size_t>(t));
}

std::vector<HookUpState> hookUpState(const job::Job& job, const Evidence& evidence, const Sheet& sheet) {
  std::vector<HookUpState> out;
  // With power on the feed is not off any more, and rightly so.
  const bool on = evidence.power() == PowerState::on;
  bool open = false;
  for (HookUpItem& item : hookUp(job)) {
    HookUpState& at = out.emplace_back();
    at.what = std::move(item);
    at.reason = seenOf(at.what.code, evidence, sheet);
    const auto hand = evidence.clearances().find(std::string(kPrefix) + at.what.code);
    if (!at.reason.empty()) {
      at.tick = Tick::seen;
    } else if (hand != evidence.clearances().end()) {
      const event::Clearance& c = hand->second.clearance;
      at.by = c.by;
      if (c.cleared == event::Known::yes)
        at.tick = Tick::by_hand;
      else if (c.cleared == event::Known::unknown && !c.reason.empty())
        at.tick = Tick::overridden, at.reason = c.reason;
    }
    if (at.what.code == "feed-off" && on && at.tick == Tick::open)
      at.tick = Tick::seen, at.reason = "Power has come since.";
    if (at.what.code == "power")
      at.locked = open && at.tick == Tick::open;
    else
      open = open || at.tick == Tick::open;
  }
  return out;
}

std::string hookUpOpen(const std::vector<HookUpState>& all) {
  std::string out;
  for (const HookUpState& s : all)
    if (s.tick == Tick::open && s.what.code != "power") out += (out.empty() ? "" : ", ") + s.what.code;
  return out;
}

event::Clearance hookUpTick(std::string_view code, const std::string& by, const std::string& reason) {
  event::Clearance c;
  c.code = std::string(kPrefix) + std::string(code);
  c.cleared = reason.empty() ? event::Known::yes : event::Known::unknown;
  c.by = by;
  c.reason = reason;
  return c;
}

std::string planText(const job::Job& job, const std::vector<job::PowerUp>& ledger) {
  std::string out =
      fmt::format("{}: {}, by {}\n\nHook-up, in this order; nothing is powered before the last:\n", job.name,
                  toText(job.arrangement), toText(job.access));
  int number = 0;
  for (const HookUpItem& item : hookUp(job)) {
    out += fmt::format("{:>3}. {:<12} {}\n{:18}{}\n", ++number, item.code, item.text, "", item.why);
    if (!item.seen.empty()) out += fmt::format("{:18}Seen by itself: {}.\n", "", item.seen);
  }
  out += "\nBefore power, a person answers:\n";
  for (const Interlock& i : interlocks(job)) out += fmt::format("     {:<12} {}\n", i.code, i.question);
  out += "\nStart:\n     ";
  if (const auto start = predictStart(job); !start)
    out += start.error().text();
  else if (const std::string text = startText(*start); !text.empty())
    out += text;
  else
    out += "not predicted: the job does not say what feeds the module ([feed]).";
  out += "\n\nPower-ups:\n     " + powerUpWarning(job, ledger) + "\n\nCautions:\n";
  for (const std::string& c : cautions(job)) out += "   ! " + c + "\n";
  return out;
}

}  // namespace pin16::readiness
