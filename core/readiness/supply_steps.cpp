// SPDX-License-Identifier: Apache-2.0
// Source, feed, ground, connector, interface.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

using event::PowerState;
using job::Arrangement;
using limits::Limit;

bool notOff(const PointFacts& f) { return f.power != PowerState::off; }

/// The least a source must hold under load: the module's minimum and what a sound circuit may lose on the
/// way.
Limit sourceUnderLoad(const Case& c) {
  Limit l = c.limit("supply.module_min_V");
  const Limit& drop = c.limit("supply.circuit_drop_max_V");
  l.source = fmt::format("{} V ({}) and {} V ({})", l.value, l.source, drop.value, drop.source);
  l.value += drop.value;
  return l;
}

/// The newest loaded measurement of the source, to compare others with; null if there is none.
const PointFacts* loadedSource(const Case& c) {
  return c.evidence.newest("V(src+,src-)", [](const PointFacts& f) { return f.loaded(); });
}

/// Half width of a difference of two values; -1 if neither is stated.
double together(double a, double b) {
  return a < 0 && b < 0 ? -1 : std::hypot(std::max(a, 0.0), std::max(b, 0.0));
}

/// What is lost between the source and a point that was measured in the same power state.
void judgeDropTo(StepMaker& m, const Case& c, const PointFacts& at, const char* code) {
  const PointFacts* src = loadedSource(c);
  if (src == nullptr || !at.loaded() || src->power != at.power) return;
  m.judge({"from source to " + at.point, src->mean() - at.mean(), together(src->uncertainty, at.uncertainty),
           "V"},
          {atMost(c.limit("supply.circuit_drop_max_V"), code)});
}

void judgeAtRest(StepMaker& m, const Case& c, const PointFacts& f) {
  const Value v = valueOf(f, f.min);
  const Limit& max = c.limit("supply.module_max_V");
  // The charge tables are those of a lead-acid battery; other sources show what they can under load only.
  if (!c.is(Arrangement::own_battery)) {
    m.judge(valueOf(f, f.max), {atMost(max, "source-over-voltage")});
    return;
  }
  const Verdict empty = m.judge(
      f.max > max.value ? valueOf(f, f.max) : v,
      {atLeast(c.limit("supply.battery_rest_empty_V"), "source-flat"), atMost(max, "source-over-voltage")});
  if (empty != Verdict::sound) return;
  const Limit& low = c.limit("supply.battery_rest_low_V");
  if (v.value >= low.value) return;
  m.worsen(Verdict::marginal, "source-flat");
  m.say(
      fmt::format("At rest {} is below {} ({}).", amount(v.value, "V"), amount(low.value, "V"), low.source));
}

}  // namespace

Step sourceStep(const Case& c) {
  StepMaker m("source", isNeeded(c.job, "source"));
  const auto all = relevant(c.evidence, "V(src+,src-)", notOff);
  if (all.empty()) {
    m.say("Nothing was measured at the source's terminals.");
    return m.done();
  }
  bool any_loaded = false;
  for (const PointFacts* f : all) {
    any_loaded = any_loaded || f->loaded();
    const double dead = c.limit("supply.absent_max_V").value;
    if (f->min < -dead) {
      m.show(valueOf(*f, f->min));
      m.worsen(Verdict::faulty, "source-reversed");
      m.say(fmt::format("The source reads {}: minus where plus should be.", amount(f->min, "V")));
    } else if (f->max < dead) {
      m.judge(valueOf(*f, f->max), {atLeast(c.limit("supply.module_min_V"), "source-none")});
      m.say(fmt::format("The source gives {}.", amount(f->max, "V")));
    } else if (f->loaded()) {
      const bool over = f->max > c.limit("supply.module_max_V").value;
      m.judge(valueOf(*f, over ? f->max : f->min),
              {atLeast(sourceUnderLoad(c), "source-flat"),
               atMost(c.limit("supply.module_max_V"), "source-over-voltage")});
      m.say(fmt::format("Under load the source holds {}.", amount(over ? f->max : f->min, "V")));
    } else {
      judgeAtRest(m, c, *f);
      m.say(fmt::format("At rest the source shows {}.", amount(f->last, "V")));
    }
  }
  if (!any_loaded && m.verdict() == Verdict::sound) {
    m.worsen(Verdict::marginal, "source-unloaded");
    m.say("Without a load that tells its charge, not what it can deliver.");
  }
  return m.done();
}

namespace {

void judgeFeedVoltage(StepMaker& m, const Case& c, const PointFacts& f) {
  const double dead = c.limit("supply.absent_max_V").value;
  const Limit& max = c.limit("supply.module_max_V");
  const bool over = f.max > max.value;
  const char* low_code = f.max < dead ? "feed-no-voltage" : "feed-low";
  const PointFacts* clip = c.evidence.newest("V(feed,chassis)", isOn);
  if (f.point == "V(loadblade,chassis)" && f.max < dead && c.is(Arrangement::fed_in_place) &&
      clip != nullptr && clip->min > dead)
    low_code = "feed-supply-side";
  m.judge(valueOf(f, over ? f.max : f.min),
          {atLeast(c.limit("supply.module_min_V"), low_code), atMost(max, "feed-over-voltage")});
  m.say(fmt::format("{} is {} with the power on.", f.point, amount(over ? f.max : f.min, "V")));
  judgeDropTo(m, c, f, "feed-low");
}

void judgeFeedCurrent(StepMaker& m, const Case& c) {
  const PointFacts* f = c.evidence.newest("I(feed)", isOn);
  if (f == nullptr) return;
  const Value v = valueOf(*f, f->last);
  const auto& module = c.job.module;
  std::vector<Bound> band;
  if (module.current_steady_min_A)
    band.push_back({Figure::Kind::at_least, *module.current_steady_min_A, "job: module.current_steady_min_A",
                    "job", "feed-current-low"});
  if (module.current_steady_max_A)
    band.push_back({Figure::Kind::at_most, *module.current_steady_max_A, "job: module.current_steady_max_A",
                    "job", "feed-current-high"});
  if (!band.empty()) {
    if (m.judge(v, band) == Verdict::sound)
      m.say(fmt::format("It draws {}, within the job's band.", amount(v.value, "A")));
    else
      m.say(fmt::format("It draws {}, not within the job's band.", amount(v.value, "A")));
    return;
  }
  m.seen();
  if (m.hint(v, c.job.limits.get("hint.several_modules_A")))
    m.say(fmt::format(
        "It draws {}. One module alone usually draws less (from memory, decides nothing): is the feed "
        "on the supply side?",
        amount(v.value, "A")));
}

void judgeFeedPath(StepMaker& m, const Case& c) {
  const PointFacts* f = c.evidence.newest("R(feedpath)");
  if (f == nullptr) return;
  m.judge(valueOf(*f, f->last), {atMost(c.limit("supply.feed_path_max_ohm"), "feed-path-resistance")});
  m.say(fmt::format("The dummy load shows {} in the path, at no power-up.", amount(f->last, "ohm")));
}

/// What the blades of the emptied slot tell before anything is powered.
void tellBlades(StepMaker& m, const Case& c) {
  const auto source_only = [](const PointFacts& f) { return f.power == PowerState::source; };
  const PointFacts* supply = c.evidence.newest("V(supplyblade,chassis)", source_only);
  const PointFacts* load = c.evidence.newest("V(loadblade,chassis)", source_only);
  const double dead = c.limit("supply.absent_max_V").value;
  if (supply != nullptr) m.show(valueOf(*supply, supply->last));
  if (load != nullptr) m.show(valueOf(*load, load->last));
  if (supply == nullptr || load == nullptr) return;
  if (supply->last > dead && load->last <= dead)
    m.say("The blades of the emptied slot are told apart: one has battery voltage, the load blade none.");
  else if (supply->last <= dead && load->last <= dead)
    m.say(
        "Both blades of the emptied slot are dead with the key off: an ignition-fed slot or no battery, so "
        "this "
        "does not tell them apart.");
  else if (load->last > dead)
    m.say("The load blade of the emptied slot is not dead: a second feed or a reserve still holds it up.");
}

}  // namespace

Step feedStep(const Case& c) {
  StepMaker m("feed", isNeeded(c.job, "feed"));
  for (const char* point : {"V(loadblade,chassis)", "V(feed,chassis)"})
    if (const PointFacts* f = c.evidence.newest(point, isOn)) judgeFeedVoltage(m, c, *f);
  judgeFeedPath(m, c);
  judgeFeedCurrent(m, c);
  tellBlades(m, c);
  if (m.verdict() == Verdict::not_measured)
    m.say(c.is(Arrangement::own_battery) ? "Nothing was measured at the module's fuse."
                                         : "Neither the feed's voltage nor its path was measured.");
  return m.done();
}

Step groundStep(const Case& c) {
  StepMaker m("ground", isNeeded(c.job, "ground"));
  const auto loaded = [](const PointFacts& f) { return f.loaded(); };
  const Limit& max = c.limit("ground.drop_max_V");
  if (const PointFacts* f = c.evidence.newest("V(chassis,src-)", loaded)) {
    const Value v = valueOf(*f, std::max(std::abs(f->max), std::abs(f->min)));
    const Verdict verdict = m.judge(v, {atMost(max, "ground-drop")});
    m.say(fmt::format("With current flowing the ground loses {}.", amount(v.value, "V")));
    const Limit& usual = c.job.limits.get("hint.module_ground_drop_V");
    if (verdict == Verdict::sound && v.value > usual.value) {
      m.hint(v, usual);
      m.say("Modules usually have less (from memory, decides nothing).");
    }
  } else if (c.evidence.newest("V(chassis,src-)") != nullptr) {
    m.say("V(chassis,src-) was measured without current: that tells nothing.");
  }
  if (const PointFacts* f = c.evidence.newest("V(pin4,pin5)", notOff)) {
    const Value v = valueOf(*f, std::max(std::abs(f->max), std::abs(f->min)));
    m.judge(v, {atMost(max, "ground-split")});
    m.say(fmt::format("Pins 4 and 5 differ by {}.", amount(v.value, "V")));
  }
  if (m.verdict() == Verdict::not_measured) m.say("The ground was not measured with current flowing.");
  return m.done();
}

namespace {

/// The interface has a sound supply of its own, whatever pin 16 gives.
bool interfaceSupplied(const Case& c) {
  const double min = c.limit("supply.interface_min_V").value;
  const PointFacts* v = c.evidence.newest("V(interface+,interface-)");
  const PointFacts* lamp = c.evidence.newest("lamp");
  return (v != nullptr && v->min >= min) || (lamp != nullptr && lamp->last > 0.5) || c.evidence.frames() > 0;
}

/// Fed in place: nothing on pin 16 is what one expects.
void judgePin16Unfed(StepMaker& m, const Case& c, const PointFacts& f) {
  const double dead = c.limit("supply.absent_max_V").value;
  const double min = c.limit("supply.interface_min_V").value;
  if (f.max > min) {
    m.judge(valueOf(f, f.max), {atMost(c.limit("supply.module_max_V"), "connector-over-voltage")});
    m.say(fmt::format("Pin 16 has {} too; keep module and interface on one source.", amount(f.max, "V")));
    return;
  }
  m.seen();
  m.show(valueOf(f, f.last));
  if (std::abs(f.last) <= dead) {
    m.say(
        fmt::format("{} at pin 16 is expected: the source feeds the module's slot, not the connector. The "
                    "interface hangs on the same source.",
                    amount(f.last, "V")));
  } else {
    m.worsen(Verdict::marginal, "connector-stray-voltage");
    m.say(fmt::format("{} at pin 16 is neither dead nor a supply.", amount(f.last, "V")));
  }
}

void judgePin16(StepMaker& m, const Case& c, const PointFacts& f, bool at_pin5) {
  const double dead = c.limit("supply.absent_max_V").value;
  const Limit& max = c.limit("supply.module_max_V");
  const bool over = f.max > max.value;
  // Against the other ground pin, as measured in the same state: it tells an open ground from a dead supply.
  const PointFacts* other = c.evidence.newest(at_pin5 ? "V(pin16,pin4)" : "V(pin16,pin5)",
                                              [&](const PointFacts& o) { return o.power == f.power; });
  const double min = c.limit("supply.interface_min_V").value;
  const char* low_code = f.max < dead ? "connector-no-power" : "connector-low";
  const bool other_good = other != nullptr && other->min >= min;
  if (other_good) low_code = at_pin5 ? "connector-signal-ground-open" : "connector-ground-open";
  const double v = over ? f.max : f.min;
  if (at_pin5 && other_good && v < min) {
    m.show(valueOf(f, v));
    m.worsen(Verdict::marginal, low_code);
  } else {
    m.judge(valueOf(f, v),
            {atLeast(c.limit("supply.interface_min_V"), low_code), atMost(max, "connector-over-voltage")});
  }
  m.say(
      fmt::format("{} is {}{}.", f.point, amount(v, "V"), f.condition.empty() ? "" : " with " + f.condition));
  if (!at_pin5 && v >= min) judgeDropTo(m, c, f, "connector-low");
}

}  // namespace

Step connectorStep(const Case& c) {
  StepMaker m("connector", isNeeded(c.job, "connector"));
  const auto at4 = relevant(c.evidence, "V(pin16,pin4)", notOff);
  const auto at5 = relevant(c.evidence, "V(pin16,pin5)", notOff);
  for (const auto* all : {&at4, &at5})
    for (const PointFacts* f : *all) {
      if (c.is(Arrangement::fed_in_place))
        judgePin16Unfed(m, c, *f);
      else
        judgePin16(m, c, *f, all == &at5);
    }
  if (m.verdict() == Verdict::not_measured) {
    m.say(c.is(Arrangement::own_battery) ? "Pin 16 was not measured."
          : c.is(Arrangement::fed_in_place)
              ? "Not needed: the connector is not fed from the module's slot, so about "
                "0 V at pin 16 is expected."
              : "There is no vehicle connector; the breakout's supply was not "
                "measured.");
  } else if (c.is(Arrangement::removed) && m.verdict() == Verdict::faulty &&
             m.code() != "connector-over-voltage" && interfaceSupplied(c)) {
    m = StepMaker("connector", isNeeded(c.job, "connector"));
    m.seen();
    for (const PointFacts* f : at4) m.show(valueOf(*f, f->last));
    m.say("Pin 16 of the breakout has no supply; the interface has its own, so nothing hangs on it.");
  }
  return m.done();
}

namespace {

using event::LinkCondition;

bool works(const LinkFacts& l) {
  return l.state.condition == LinkCondition::up || l.state.condition == LinkCondition::finished;
}

void judgeLinks(StepMaker& m, const Case& c) {
  const auto& links = c.evidence.links();
  const auto broken = std::find_if(links.begin(), links.end(), [](const LinkFacts& l) {
    return !works(l) && l.state.condition != LinkCondition::opening && !l.state.uri.empty();
  });
  if (broken == links.end()) return;
  const bool another_works = std::any_of(links.begin(), links.end(), works);
  m.worsen(another_works ? Verdict::marginal : Verdict::faulty, "interface-link");
  m.say(fmt::format("{}: {}{}{}", broken->state.uri,
                    broken->state.text.empty() ? "does not work." : broken->state.text,
                    broken->state.advice.empty() ? "" : ". Mend: ", broken->state.advice));
}

}  // namespace

Step interfaceStep(const Case& c) {
  StepMaker m("interface", isNeeded(c.job, "interface"));
  if (const PointFacts* f = c.evidence.newest("V(interface+,interface-)", notOff)) {
    const bool over = f->max > c.limit("supply.module_max_V").value;
    const double v = over ? f->max : f->min;
    m.judge(valueOf(*f, v), {atLeast(c.limit("supply.interface_min_V"), "interface-no-supply"),
                             atMost(c.limit("supply.module_max_V"), "interface-over-voltage")});
    m.say(fmt::format("The interface gets {}.", amount(v, "V")));
  }
  if (const PointFacts* f = c.evidence.newest("lamp")) {
    m.seen();
    m.say(f->last > 0.5 ? "Its lamp is lit." : "Its lamp is dark.");
    if (f->last <= 0.5) m.worsen(Verdict::faulty, "interface-no-supply");
  }
  judgeLinks(m, c);
  if (m.verdict() == Verdict::not_measured && c.evidence.frames() > 0) {
    m.seen();
    m.say("Frames come through the interface, so it lives; its supply was not measured.");
  }
  if (m.verdict() == Verdict::not_measured) m.say("Neither its supply nor its lamp was looked at.");
  return m.done();
}

}  // namespace pin16::readiness
