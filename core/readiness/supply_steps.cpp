// SPDX-License-Identifier: Apache-2.0
// Source, feed, ground, connector, interface.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/readiness/clean_start.hpp"
#include "core/readiness/course.hpp"
#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

using event::PowerState;
using job::Arrangement;
using limits::Limit;

/// A rise counts again once the volts fell by this part of the limit: the steps of the reset test in ISO
/// 16750-2:2023 section 4 (5 %), so that noise about the limit is no rise.
constexpr double kRearm = 0.95;
constexpr Ns kSettling_ns = kNsPerSecond;  // own figure

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

/// Went off by itself while it was loaded: a clean step, not a battery that gives in. From when on it is to
/// be judged: since it came back, kNoTime if it did not.
Ns judgeCuts(StepMaker& m, const Case& c, const PointFacts& f) {
  const Trace* t = c.evidence.trace(f.point);
  if (t == nullptr || f.typed || !isOn(f)) return 0;
  const double good = c.limit("supply.module_min_V").value, dead = c.limit("supply.absent_max_V").value;
  const auto all = cuts(*t, good, dead, c.limit("supply.clean_step_max_s").value);
  if (all.empty()) return 0;
  const Cut& last = all.back();
  m.worsen(last.lasts ? Verdict::faulty : Verdict::marginal, "source-shuts-off");
  for (const Cut& cut : all) m.show({"good until it went off", cut.after_s, cut.step_s, "s"});
  m.judge({"from good to dead", last.step_s, -1, "s"},
          {atMost(c.limit("supply.clean_step_max_s"), "source-shuts-off")});
  const auto [least, most] = std::minmax_element(
      all.begin(), all.end(), [](const Cut& a, const Cut& b) { return a.after_s < b.after_s; });
  m.say(all.size() == 1
            ? fmt::format("The source held {} and went off by itself in one step, {:.1f} s after the "
                          "module's power came on.",
                          amount(last.before, "V"), last.after_s)
            : fmt::format("The source went off by itself {} times, each time after {:.1f} to {:.1f} s.",
                          all.size(), least->after_s, most->after_s));
  if (const PointFacts* i = c.evidence.newest("I(feed)", isOn); i != nullptr && !i->typed)
    m.say(fmt::format("The module's feed took {} at most: a pack may take that for no load.",
                      amount(i->max, "A")));
  if (last.lasts) return kNoTime;
  m.say("It is back now.");
  return rises(*t, good, dead).at_ns.back();
}

/// A standing source may still go off by itself, later than it was watched.
void tellPack(StepMaker& m, const Case& c, double watched_s) {
  const Limit& pack = c.job.limits.get("hint.pack_off_after_s");
  if (c.is(Arrangement::own_battery) || watched_s >= pack.value) return;
  m.say(fmt::format(
      "Watched for {:.0f} s; if it is a jump pack it may take one module for no load and go off after "
      "some {:.0f} s (from memory, decides nothing): `--for` sets how long to watch.",
      watched_s, pack.value));
}

/// Seconds left until a sagging source reaches the least that it must hold.
void judgeSag(StepMaker& m, const Case& c, const PointFacts& f) {
  const Trace* t = c.evidence.trace(f.point);
  if (t == nullptr || f.typed || !isOn(f) || t->samples.empty()) return;
  // The module's start and the first giving in of any battery are no trend.
  const Ns began_ns = c.evidence.powerOns().empty() ? t->samples.front().t_ns : c.evidence.powerOns().back();
  const auto line = trend(*t, began_ns + kSettling_ns);
  if (!line) return;
  m.show({"watched under load", line->span_s, -1, "s"});
  const double fall = -line->slope_per_s;
  if (fall <= 1.5 * line->slope_error_per_s) {  // within three standard errors: it stands
    tellPack(m, c, line->span_s);
    return;
  }
  const Limit least = sourceUnderLoad(c);
  const double left_s = (line->last - least.value) / fall;
  const double u_s = left_s * line->slope_error_per_s / fall;
  const Limit &needed = c.limit("supply.hold_short_s"), &wanted = c.limit("supply.hold_long_s");
  if (left_s <= 0 || left_s - u_s >= wanted.value) return;  // already judged by its volts, or far away
  m.show({"fall", fall * 60, line->slope_error_per_s * 60, "V/min"});
  const Value left{fmt::format("time left above {}", amount(least.value, "V")), left_s, u_s, "s"};
  if (m.judge(left, {atLeast(needed, "source-sags")}) == Verdict::sound)
    m.judge(left, {atLeast(wanted, "source-sags")}, Verdict::marginal);
  const bool minutes = left_s >= 300;
  m.say(fmt::format(
      "It sags by {:.2f} +/- {:.2f} V a minute: about {:.0f} +/- {:.0f} {} are left above {} (seen for "
      "{:.0f} s only).",
      fall * 60, line->slope_error_per_s * 60, minutes ? left_s / 60 : left_s,
      std::max(1.0, minutes ? u_s / 60 : u_s), minutes ? "minutes" : "seconds", amount(least.value, "V"),
      line->span_s));
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
  for (const PointFacts* measured : all) {
    const Ns from_ns = judgeCuts(m, c, *measured);
    if (from_ns == kNoTime) {
      any_loaded = true;
      continue;
    }
    const PointFacts now = since(*measured, c.evidence.trace(measured->point), from_ns);
    const PointFacts* f = from_ns > 0 ? &now : measured;
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
      judgeSag(m, c, *f);
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

/// What speaks for others being fed too, when this module alone should be; empty if nothing does.
std::string othersAwake(const Case& c) {
  if (!c.is(Arrangement::fed_in_place) || c.behindGateway()) return {};
  const PointFacts* signs = c.evidence.newest("signs");
  if (signs != nullptr && signs->last > 0.5) return "lights, chime or the like came on elsewhere";
  const auto others = othersThatAnswered(c);
  if (!others.empty()) return fmt::format("{} answered", fmt::join(others, ", "));
  const PointFacts* load = c.evidence.newest("V(loadblade,chassis)", isOn);
  if (load != nullptr && load->last < c.limit("supply.absent_max_V").value && c.evidence.frames() > 0)
    return "there is traffic although the module gets nothing";
  return {};
}

/// The supply blade was dead until the feed came on: the feed reaches the supply side.
bool feedReachesSupplySide(const Case& c) {
  if (!c.is(Arrangement::fed_in_place)) return false;
  const double dead = c.limit("supply.absent_max_V").value;
  const auto before = [](const PointFacts& f) { return f.power == PowerState::source; };
  const PointFacts* was = c.evidence.newest("V(supplyblade,chassis)", before);
  const PointFacts* is = c.evidence.newest("V(supplyblade,chassis)", isOn);
  return was != nullptr && is != nullptr && was->last < dead && is->last >= dead;
}

/// Rises at switch-on, and later ones; from when on the feed has stood.
struct Course {
  std::size_t at_switch_on = 0;
  std::size_t later = 0;
  bool stands = true;
  Ns since_ns = 0;
  double span_s = 0;       ///< from the first rise to the last at switch-on
  double every_s = -1;     ///< between samples, the usual distance
  double aperture_s = -1;  ///< of one; -1 unknown
};

void addRises(Course& course, const std::vector<Ns>& at_ns, double window_s, bool later_too) {
  const auto in_window = [&](Ns t_ns) { return toSeconds(t_ns - at_ns.front()) <= window_s; };
  const auto count = static_cast<std::size_t>(std::count_if(at_ns.begin(), at_ns.end(), in_window));
  if (count > course.at_switch_on) {
    course.at_switch_on = count;
    course.span_s = toSeconds(at_ns[count - 1] - at_ns.front());
  }
  if (later_too) course.later = std::max(course.later, at_ns.size() - count);
}

/// Of the last switching-on: power events that follow each other closely are one.
Course courseOf(const job::Job& job, const Evidence& evidence) {
  const Asked nothing;
  const Case c{job, evidence, nothing};
  Course out;
  const double window_s = job.limits.value("supply.switch_on_max_s");
  const double min_V = c.limit("supply.module_min_V").value;
  std::vector<Ns> ons;
  for (const Ns t_ns : evidence.powerOns()) {
    if (!ons.empty() && toSeconds(t_ns - ons.front()) > window_s) ons.clear();
    ons.push_back(t_ns);
  }
  const Ns from_ns = ons.empty() ? 0 : ons.front();
  if (!ons.empty()) addRises(out, ons, window_s, false);
  for (const char* point : {"V(loadblade,chassis)", "V(feed,chassis)"}) {
    const Trace* t = evidence.trace(point);
    if (t == nullptr) continue;
    const Rises r = rises(*t, min_V, kRearm * min_V, from_ns);
    if (r.at_ns.empty()) continue;
    addRises(out, r.at_ns, window_s, true);
    out.stands = out.stands && r.above_at_end;
    out.since_ns = std::max(out.since_ns, r.at_ns.back());
    out.every_s =
        std::max(out.every_s, toSeconds(t->samples.back().t_ns - t->samples.front().t_ns) /
                                  static_cast<double>(std::max<std::size_t>(t->samples.size() - 1, 1)));
    if (t->aperture_ns >= 0) out.aperture_s = toSeconds(t->aperture_ns);
  }
  // The current tells of gaps beyond the voltmeter's clips; later it may fall for other reasons.
  if (const Trace* t = evidence.trace("I(feed)"); t != nullptr && job.module.current_steady_min_A) {
    const double min_A = *job.module.current_steady_min_A;
    const Rises r = rises(*t, min_A, min_A / 2, from_ns);
    if (!r.at_ns.empty()) addRises(out, r.at_ns, window_s, false);
  }
  return out;
}

/// A bounce of a plug pushed in by hand; capacitors of modules bear some milliseconds (own figure).
constexpr double kShortGap_s = 0.01;

void judgeRises(StepMaker& m, const Case& c, const Course& course) {
  const Limit& most = c.limit("supply.rises_max");
  const double min_V = c.limit("supply.module_min_V").value;
  if (course.at_switch_on > 1) {
    m.judge({fmt::format("rises through {} at switch-on", amount(min_V, "V")),
             static_cast<double>(course.at_switch_on), -1, ""},
            {atMost(most, "feed-bounces")}, Verdict::marginal);
    m.say(fmt::format(
        "At switch-on the feed came {} times within {:.1f} s: each time the module may have started "
        "anew and counted one more ignition cycle (49 CFR 563.5).",
        course.at_switch_on, course.span_s));
  }
  if (course.later > 0) {
    m.judge({"times the feed came back", static_cast<double>(course.later) + 1, -1, ""},
            {atMost(most, "feed-interrupted")}, Verdict::marginal);
    m.say(fmt::format("Later it went away and came back {}.", counted(course.later, "time")));
  }
  if (course.at_switch_on == 0 || course.every_s <= 0) return;
  const double aperture_s = std::max(course.aperture_s, 0.0);
  m.say(fmt::format("The meter looks every {:.2f} s{}: a gap of {:.0f} ms is seen in {:.0f} of 100 cases.",
                    course.every_s,
                    course.aperture_s >= 0 ? fmt::format(" for {:.0f} ms", aperture_s * 1e3) : "",
                    kShortGap_s * 1e3, 100 * shareSeen(kShortGap_s, course.every_s, aperture_s)));
}

void judgeRestarts(StepMaker& m, const Case& c) {
  const auto& all = c.evidence.restarts();
  if (all.empty() || !c.evidence.fed()) return;
  m.judge({"starts seen in regular frames", static_cast<double>(all.size()) + 1, -1, ""},
          {atMost(c.limit("supply.rises_max"), "module-restarts")}, Verdict::marginal);
  m.say(
      fmt::format("Frames that had come regularly stopped for {:.2f} s and began again{}: their sender "
                  "restarted, or slept.",
                  toSeconds(all.back().began_ns - all.back().stopped_ns),
                  all.size() == 1 ? "" : fmt::format(", the last of {} times", all.size())));
}

void judgeFeedVoltage(StepMaker& m, const Case& c, const PointFacts& f) {
  const double dead = c.limit("supply.absent_max_V").value;
  const Limit& max = c.limit("supply.module_max_V");
  const bool over = f.max > max.value;
  const char* low_code = f.last < dead ? "feed-no-voltage" : "feed-low";
  const PointFacts* clip = c.evidence.newest("V(feed,chassis)", isOn);
  const bool supply_side = f.point == "V(loadblade,chassis)" && f.max < dead &&
                           c.is(Arrangement::fed_in_place) && clip != nullptr && clip->max > dead;
  if (supply_side) low_code = "feed-supply-side";
  m.judge(valueOf(f, over ? f.max : f.min),
          {atLeast(c.limit("supply.module_min_V"), low_code), atMost(max, "feed-over-voltage")});
  m.say(fmt::format("{} is {} with the power on.", f.point, amount(over ? f.max : f.min, "V")));
  if (supply_side)
    m.say(fmt::format(
        "The clip has {}, the load blade nothing: the feed sits on the supply blade and the module's "
        "fuse is out.",
        amount(clip->last, "V")));
  judgeDropTo(m, c, f, "feed-low");
}

void judgeFeedCurrent(StepMaker& m, const Case& c) {
  const PointFacts* f = c.evidence.newest("I(feed)", isOn);
  if (f == nullptr) return;
  const Value v = valueOf(*f, f->last);
  const auto& module = c.job.module;
  const std::string awake = othersAwake(c);
  const bool whole_side = !awake.empty() || feedReachesSupplySide(c);
  std::vector<Bound> band;
  if (module.current_steady_min_A)
    band.push_back({Figure::Kind::at_least, *module.current_steady_min_A, "job: module.current_steady_min_A",
                    "job", "feed-current-low"});
  if (module.current_steady_max_A)
    band.push_back({Figure::Kind::at_most, *module.current_steady_max_A, "job: module.current_steady_max_A",
                    "job", whole_side ? "feed-supply-side-fuse-in" : "feed-current-high"});
  if (!band.empty()) {
    if (m.judge(v, band) == Verdict::sound) {
      m.say(fmt::format("It draws {}, within the job's band.", amount(v.value, "A")));
      return;
    }
    m.say(fmt::format("It draws {}, not within the job's band.", amount(v.value, "A")));
    if (module.current_steady_max_A && v.value > *module.current_steady_max_A &&
        c.is(Arrangement::fed_in_place))
      m.say(fmt::format("More than this module is fed{}.",
                        awake.empty() ? "; only the current tells so far" : ": " + awake));
    return;
  }
  m.seen();
  if (m.hint(v, c.job.limits.get("hint.several_modules_A")))
    m.say(fmt::format(
        "It draws {}. One module alone usually draws less (from memory, decides nothing): is the feed "
        "on the supply side?",
        amount(v.value, "A")));
}

/// Others are awake though this module alone should be fed: by itself a warning.
void judgeOthersAwake(StepMaker& m, const Case& c) {
  const std::string awake = othersAwake(c);
  if (awake.empty() || m.verdict() == Verdict::faulty) return;
  m.worsen(Verdict::marginal, "feed-others-awake");
  m.say(fmt::format("More than this module is fed: {}.", awake));
  if (askedInVain(c) && c.evidence.newest("V(loadblade,chassis)", isOn) == nullptr)
    m.say(
        "With the module silent that is what a feed on the supply blade with the fuse out looks like: "
        "measure "
        "the load blade.");
}

void judgeFeedPath(StepMaker& m, const Case& c) {
  const PointFacts* f = c.evidence.newest("R(feedpath)");
  if (f == nullptr) return;
  m.judge(valueOf(*f, f->last), {atMost(c.limit("supply.feed_path_max_ohm"), "feed-path-resistance")});
  m.say(fmt::format("The dummy load shows {} in the path, at no power-up.", amount(f->last, "ohm")));
}

/// What keeps a load blade up: a reserve empties, a second feed does not.
std::string holdsUp(const PointFacts& load) {
  const double first = load.before.value_or(load.max);
  const double error = 2 * std::max(load.uncertainty, 0.0);
  if (!load.before && load.count < 2)
    return "a second feed or a reserve still holds it up; a second reading some time later tells which.";
  return first - load.last > error
             ? fmt::format("it fell from {} to {}: a reserve that empties, still alive.", amount(first, "V"),
                           amount(load.last, "V"))
             : fmt::format("it stands at {}: a second feed.", amount(load.last, "V"));
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
    m.say("The load blade of the emptied slot is not dead: " + holdsUp(*load) +
          " Nothing is joined or unjoined before it is dead.");
}

}  // namespace

std::size_t risesAtSwitchOn(const job::Job& job, const Evidence& evidence) {
  return courseOf(job, evidence).at_switch_on;
}

Step feedStep(const Case& c) {
  StepMaker m("feed", isNeeded(c.job, "feed"));
  const Course course = courseOf(c.job, c.evidence);
  for (const char* point : {"V(loadblade,chassis)", "V(feed,chassis)"})
    if (const PointFacts* f = c.evidence.newest(point, isOn))
      // What is over is told by the rises; the volts are judged as they are since.
      judgeFeedVoltage(
          m, c,
          course.stands && course.since_ns > 0 ? since(*f, c.evidence.trace(point), course.since_ns) : *f);
  judgeFeedPath(m, c);
  judgeFeedCurrent(m, c);
  judgeOthersAwake(m, c);
  judgeRises(m, c, course);
  judgeRestarts(m, c);
  tellBlades(m, c);
  if (m.verdict() == Verdict::not_measured)
    m.say(c.is(Arrangement::own_battery) ? "Nothing was measured at the module's fuse."
                                         : "Neither the feed's voltage nor its path was measured.");
  return m.done();
}

namespace {

/// Our computer's way beside the ground carries part of the current and makes a bad ground look good: what it
/// would read without, from the drop and the current that flowed.
void judgeMaskedGround(StepMaker& m, const Case& c, const PointFacts& drop, double drop_V) {
  const job::Ours& ours = c.job.ours;
  if (!ours.ground_tied || drop.condition.find("unplugged") != std::string::npos) return;
  const std::string again = "Measure once more with everything of ours unplugged (with=\"unplugged, ...\").";
  const PointFacts* current = c.evidence.newest("I(feed)", isOn);
  if (current == nullptr || current->last <= 0) {
    m.say("Our computer is tied to the source's minus and may hide a bad ground; the current is not known. " +
          again);
    m.worsen(Verdict::marginal, "ground-masked");
    return;
  }
  const double ours_A = drop_V / ours.ground_path_ohm;
  if (ours_A >= current->last) {
    m.say(fmt::format("Our computer's way could carry all of the {} that flows: the ground is not proven. {}",
                      amount(current->last, "A"), again));
    m.worsen(Verdict::marginal, "ground-masked");
    return;
  }
  const double ground_ohm = drop_V / (current->last - ours_A);
  m.say(fmt::format("Our computer is tied to the source's minus: {} of {} may go through it.",
                    amount(ours_A, "A"), amount(current->last, "A")));
  const Value without{drop.point + " without our computer", ground_ohm * current->last, -1, "V"};
  if (m.judge(without, {atMost(c.limit("ground.drop_max_V"), "ground-masked")}, Verdict::marginal) !=
      Verdict::sound)
    m.say(again);
}

}  // namespace

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
    judgeMaskedGround(m, c, *f, v.value);
  } else if (c.evidence.newest("V(chassis,src-)") != nullptr) {
    m.say("V(chassis,src-) was measured without current: that tells nothing.");
  }
  if (const PointFacts* f = c.evidence.newest("V(pin4,pin5)", notOff)) {
    const Value v = valueOf(*f, std::max(std::abs(f->max), std::abs(f->min)));
    m.judge(v, {atMost(max, "ground-split")});
    m.say(fmt::format("Pins 4 and 5 differ by {}.", amount(v.value, "V")));
  }
  if (const PointFacts* f = c.evidence.newest("V(pin4,interface-)", notOff)) {
    const Value v = valueOf(*f, std::max(std::abs(f->max), std::abs(f->min)));
    const bool works = c.evidence.frames() > 0 || c.moduleAnswered();
    const Verdict verdict = m.judge(v, {atMost(c.limit("ground.reference_max_V"), "ground-floating")},
                                    works ? Verdict::marginal : Verdict::faulty);
    m.say(verdict == Verdict::sound
              ? fmt::format("The interface's minus is within {} of pin 4.", amount(v.value, "V"))
              : fmt::format(
                    "The interface's minus lies {} off pin 4: its source and the module's have no ground in "
                    "common{}.",
                    amount(v.value, "V"), works ? "; frames come through all the same" : ""));
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
      if (c.is(Arrangement::fed_in_place)) {
        if (all == &at4 || at4.empty()) judgePin16Unfed(m, c, *f);
      } else {
        judgePin16(m, c, *f, all == &at5);
      }
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
  if (const auto& ours_A = c.job.ours.pin16_A; ours_A && *ours_A > 0 && m.verdict() != Verdict::not_measured)
    m.show({"of it our own draw at pin 16", *ours_A, -1, "A"});
  return m.done();
}

namespace {

using event::LinkCondition;

bool works(const LinkFacts& l) {
  return l.state.condition == LinkCondition::up || l.state.condition == LinkCondition::finished;
}

void judgeLinks(StepMaker& m, const Case& c) {
  const auto links = c.evidence.buses();
  const auto broken = std::find_if(links.begin(), links.end(), [](const LinkFacts* l) {
    return !works(*l) && l->state.condition != LinkCondition::opening && !l->state.uri.empty();
  });
  if (broken == links.end()) return;
  const bool another_works =
      std::any_of(links.begin(), links.end(), [](const LinkFacts* l) { return works(*l); });
  const event::LinkState& state = (*broken)->state;
  m.worsen(another_works ? Verdict::marginal : Verdict::faulty, "interface-link");
  m.say(fmt::format("{}: {}{}{}", state.uri, state.text.empty() ? "does not work." : state.text,
                    state.advice.empty() ? "" : ". Mend: ", state.advice));
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
