// SPDX-License-Identifier: Apache-2.0
// Levels, traffic, answer, timing.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

using event::Ended;
using event::PowerState;
using job::Arrangement;
using limits::Limit;

/// Valid frames, few errors: whatever a meter said, this bus carries traffic.
bool cleanTraffic(const Case& c) {
  const auto frames = static_cast<double>(c.evidence.frames());
  return frames > 0 &&
         static_cast<double>(c.evidence.errorFrames()) <= c.limit("bus.error_share_max").value * frames;
}

const char* terminationCode(const Case& c, double ohm) {
  const auto within = [&](const char* min, const char* max) {
    return ohm >= c.limit(min).value && ohm <= c.limit(max).value;
  };
  if (ohm <= c.limit("bus.short_max_ohm").value) return "levels-short";
  if (within("bus.extra_termination_min_ohm", "bus.extra_termination_max_ohm"))
    return "levels-extra-termination";
  if (within("bus.one_termination_min_ohm", "bus.one_termination_max_ohm")) return "levels-one-termination";
  if (ohm < c.limit("bus.extra_termination_min_ohm").value) return "levels-short";
  if (ohm > c.limit("bus.one_termination_max_ohm").value) return "levels-open";
  return "levels-odd-termination";
}

/// The reading is of the bus without us; with our termination it gets less.
void judgeOurTermination(StepMaker& m, const Case& c, const PointFacts& f, Verdict without) {
  const auto& ours = c.job.ours.termination_ohm;
  if (!ours) return;
  Value with = valueOf(f, inParallel(f.last, *ours));
  with.what = fmt::format("{}, with our {}", f.point, amount(*ours, "ohm"));
  m.say(fmt::format("With our {} it is {}.", amount(*ours, "ohm"), amount(with.value, "ohm")));
  // What is amiss without us is not ours to mend.
  if (without != Verdict::sound) return m.show(with);
  m.judge(with,
          {atLeast(c.limit("bus.termination_min_ohm"), "levels-our-termination"),
           atMost(c.limit("bus.termination_max_ohm"), "levels-our-termination")},
          Verdict::marginal);
}

void judgeTermination(StepMaker& m, const Case& c) {
  const PointFacts* f = c.evidence.newest("R(pin6,pin14)");
  if (f == nullptr) return;
  const char* code = terminationCode(c, f->last);
  const Verdict v = m.judge(valueOf(*f, f->last), {atLeast(c.limit("bus.termination_min_ohm"), code),
                                                   atMost(c.limit("bus.termination_max_ohm"), code)});
  judgeOurTermination(m, c, *f, v);
  m.say(v == Verdict::sound ? fmt::format("{} between the wires: two terminations.", amount(f->last, "ohm"))
                            : fmt::format("{} between the wires: {}.", amount(f->last, "ohm"),
                                          v == Verdict::marginal ? "close to the edge of the accepted band"
                                                                 : findCode(code).meaning));
}

void judgeToRails(StepMaker& m, const Case& c) {
  for (const char* point : {"R(pin6,pin4)", "R(pin14,pin4)", "R(pin6,pin16)", "R(pin14,pin16)"}) {
    const PointFacts* f = c.evidence.newest(point);
    if (f == nullptr) continue;
    if (m.judge(valueOf(*f, f->last),
                {atLeast(c.limit("bus.wire_to_rail_min_ohm"), "levels-wire-shorted")}) != Verdict::sound)
      m.say(fmt::format("{} is only {}.", f->point, amount(f->last, "ohm")));
  }
}

struct Wires {
  const PointFacts* high = nullptr;
  const PointFacts* low = nullptr;
};

bool asleep(const Case& c, const PointFacts& f) {
  return std::abs(f.last) - std::max(f.uncertainty, 0.0) <= c.limit("bus.asleep_max_V").value;
}

/// Near a rail while the bus is awake. A low CANL alone is no sleep: the two wires sleep together.
bool atRail(const Case& c, const PointFacts& f) {
  const double u = std::max(f.uncertainty, 0.0);
  return f.last - u > c.limit("bus.dominant_high_max_V").value ||
         f.last + u < c.limit("bus.dominant_low_min_V").value;
}

void judgeVolts(StepMaker& m, const Case& c) {
  const auto fed = [](const PointFacts& f) {
    return f.power == PowerState::on || f.power == PowerState::unknown;
  };
  const Wires w{c.evidence.newest("V(pin6,pin4)", fed), c.evidence.newest("V(pin14,pin4)", fed)};
  if (w.high == nullptr && w.low == nullptr) return;
  const auto sleeps = [&](const PointFacts* f) { return f == nullptr || asleep(c, *f); };
  if (sleeps(w.high) && sleeps(w.low)) {
    for (const PointFacts* f : {w.high, w.low})
      if (f != nullptr) m.show(valueOf(*f, f->last));
    m.seen();
    if (c.evidence.frames() > 0) {
      m.say("Both wires were near 0 V when measured; frames were seen all the same.");
      return;
    }
    m.worsen(c.behindGateway() ? Verdict::marginal : Verdict::faulty, "bus-asleep");
    m.say("Both wires are near 0 V: the bus sleeps.");
    return;
  }
  // Against a ground that is not the sender's, a wire may stand anywhere without being shorted.
  const PointFacts* apart = c.evidence.newest("V(pin4,interface-)");
  const bool floats = apart != nullptr && std::abs(apart->last) > c.limit("ground.reference_max_V").value;
  if (floats) m.say("The interface's ground is not pin 4's, which lifts both wires.");
  for (const PointFacts* f : {w.high, w.low}) {
    if (f == nullptr) continue;
    const char* code = atRail(c, *f) && !floats ? "levels-wire-shorted" : "levels-off";
    m.judge(valueOf(*f, f->last),
            {atLeast(c.limit("bus.recessive_min_V"), code), atMost(c.limit("bus.recessive_max_V"), code)});
    m.say(fmt::format("{} is {}.", f->point, amount(f->last, "V")));
  }
}

}  // namespace

Step levelsStep(const Case& c) {
  StepMaker m("levels", isNeeded(c.job, "levels"));
  judgeTermination(m, c);
  judgeToRails(m, c);
  judgeVolts(m, c);
  if (m.verdict() == Verdict::not_measured) {
    m.say(c.is(Arrangement::removed)
              ? "The bus resistance was not measured: on the table it has to be 60 ohm in all."
              : "Neither the bus resistance nor its levels were measured.");
  } else if (m.verdict() == Verdict::faulty && (cleanTraffic(c) || c.moduleAnswered())) {
    m.soften();
    m.say("The bus carries traffic all the same, with little margin.");
  }
  return m.done();
}

namespace {

void tellLosses(StepMaker& m, const Case& c) {
  if (c.evidence.lost() > 0) m.say(fmt::format("{} frames were lost and are not judged.", c.evidence.lost()));
  if (c.evidence.gaps() > 0)
    m.say(fmt::format("{} times nothing could be seen for a while.", c.evidence.gaps()));
}

void judgeFrames(StepMaker& m, const Case& c) {
  const std::uint64_t frames = c.evidence.frames(), errors = c.evidence.errorFrames();
  m.seen();
  if (frames > 0)
    m.say(
        fmt::format("{} of {}.", counted(frames, "frame"), counted(c.evidence.distinctIds(), "identifier")));
  if (errors == 0) return;
  if (frames == 0) {
    m.worsen(Verdict::faulty, "traffic-errors-only");
    m.say(counted(errors, "error frame") + " and no valid frame.");
    return;
  }
  const double share = static_cast<double>(errors) / static_cast<double>(frames + errors);
  const Limit& max = c.limit("bus.error_share_max");
  if (m.judge({"share of error frames", share, -1, "1"}, {atMost(max, "traffic-errors")}) == Verdict::faulty)
    m.soften();  // frames do get through
  m.say(counted(errors, "error frame") + " among them.");
}

/// We only listen on it, so what is not acknowledged there is nobody's fault of ours.
bool onlyListens(const LinkFacts& l) {
  return l.own_frames == 0 &&
         (l.state.silence != event::Silence::cannot || l.state.listen_only == event::Known::yes);
}

}  // namespace

bool onlyListening(const Evidence& evidence) {
  const auto links = evidence.buses();
  return !links.empty() &&
         std::all_of(links.begin(), links.end(), [](const LinkFacts* l) { return onlyListens(*l); });
}

namespace {

/// Somebody sends, and nobody acknowledges it.
const LinkFacts* loneSender(const Case& c) {
  const auto least = static_cast<std::uint64_t>(c.limit("bus.repeats_min").value);
  const auto& links = c.evidence.links();
  const auto it = std::find_if(links.begin(), links.end(), [&](const LinkFacts& l) {
    const bool repeats_only =
        onlyListens(l) && l.repeats >= least && l.repeats + l.repeats / 10 + 1 >= l.frames;
    const bool refused_only = l.others_unacknowledged >= least && l.frames == 0 && l.error_frames == 0;
    return repeats_only || refused_only;
  });
  return it == links.end() ? nullptr : &*it;
}

void judgeLoneSender(StepMaker& m, const Case& c, const LinkFacts& l) {
  const Value v{l.repeats > 0 ? "repeats of one frame" : "frames that nobody acknowledged",
                static_cast<double>(l.repeats > 0 ? l.repeats : l.others_unacknowledged), -1, ""};
  const Limit& least = c.limit("bus.repeats_min");
  // On the table the other equipment's interface will be the second node; in a vehicle others should be
  // awake.
  m.judge(v, {{Figure::Kind::at_most, least.value, least.source, least.confidence, "traffic-lone-sender"}},
          c.is(Arrangement::removed) ? Verdict::marginal : Verdict::faulty);
  m.say(fmt::format(
      "One node sends, nobody acknowledges it{}: it is alone on these wires. Nothing here is shorted, "
      "or its bits would not come through.",
      onlyListens(l) ? ", and our interface only listens" : ", not even our interface"));
}

/// What we sent was acknowledged by nobody: said apart from a bus that destroys our bits.
void judgeOurOwn(StepMaker& m, const Case& c) {
  std::string controller = "unknown";
  std::uint64_t bit_errors = 0;
  for (const LinkFacts& l : c.evidence.links())
    if (l.unacknowledged > 0) {
      controller = l.state.controller;
      bit_errors += l.own_bit_errors;
    }
  m.worsen(Verdict::faulty, c.behindGateway() ? "gateway-silent" : "traffic-unacknowledged");
  m.show({"sent and not acknowledged", static_cast<double>(c.evidence.unacknowledged()), -1, ""});
  m.say(c.behindGateway() ? "What we sent was acknowledged by nobody: not even the gateway is awake."
                          : "What we sent was acknowledged by nobody: we are alone on these wires.");
  if (bit_errors == 0)
    m.say(fmt::format(
        "Our controller is {}, only acknowledges were missing: our bits came back whole, so it is no "
        "short and no wrong wire between the two.",
        controller == "unknown" ? "not bus-off" : controller));
}

void judgeSilence(StepMaker& m, const Case& c) {
  if (c.evidence.listened_s() < c.limit("bus.listen_min_s").value) {
    m.say("Not listened long enough to tell.");
    return;
  }
  if (!c.poweredOn()) {
    m.say("Silent, but nobody said that the module is powered.");
    return;
  }
  m.seen();
  m.show({"listened", c.evidence.listened_s(), -1, "s"});
  if (c.behindGateway()) {
    m.say("No frame: behind a gateway that is normal.");
  } else if (c.is(Arrangement::removed)) {
    m.worsen(Verdict::marginal, "traffic-none");
    m.say("No frame: on the table many modules speak only when asked.");
  } else {
    m.worsen(Verdict::faulty, "traffic-none");
    m.say(fmt::format("No frame in {:.0f} s.", c.evidence.listened_s()));
  }
}

/// K-line and J1850 alone: nothing moves there until a tester asks, so silence tells nothing.
bool onlyLineMedia(const std::vector<const LinkFacts*>& links) {
  return !links.empty() && std::all_of(links.begin(), links.end(), [](const LinkFacts* l) {
    return l->state.medium != event::Medium::can;
  });
}

void judgeLineMedia(StepMaker& m, const Case& c, event::Medium medium) {
  const auto& all = c.evidence.exchanges();
  const auto answers = static_cast<std::uint64_t>(
      std::count_if(all.begin(), all.end(), [](const ExchangeFacts& e) { return e.response_ms >= 0; }));
  m.say(fmt::format("{} is silent until a tester asks.", toText(medium)));
  if (answers == 0) return;
  m.seen();
  m.say(counted(answers, "answer") + " on it.");
}

}  // namespace

Step trafficStep(const Case& c) {
  StepMaker m("traffic", isNeeded(c.job, "traffic"));
  const auto links = c.evidence.buses();
  const bool ever_up = std::any_of(links.begin(), links.end(), [](const LinkFacts* l) { return l->ever_up; });
  const LinkFacts* lone = loneSender(c);
  if (lone != nullptr)
    judgeLoneSender(m, c, *lone);
  else if (c.evidence.frames() > 0 || c.evidence.errorFrames() > 0)
    judgeFrames(m, c);
  else if (!ever_up)
    m.say("No interface was up to listen.");
  else if (onlyLineMedia(links))
    judgeLineMedia(m, c, links.front()->state.medium);
  else if (c.evidence.unacknowledged() == 0)
    judgeSilence(m, c);
  if (c.evidence.frames() == 0 && c.evidence.unacknowledged() > 0) judgeOurOwn(m, c);
  if (std::any_of(links.begin(), links.end(), [](const LinkFacts* l) { return l->bus_off; })) {
    m.worsen(Verdict::faulty, "traffic-bus-off");
    m.say(
        "Our controller is bus-off: our bits did not come back as sent, so this is a disturbed bus, not a "
        "lonely "
        "one.");
  }
  const bool we_acknowledge = std::any_of(links.begin(), links.end(), [](const LinkFacts* l) {
    return l->ever_up && l->frames > 0 && l->state.silence == event::Silence::cannot;
  });
  if (we_acknowledge) m.say("Our link acknowledges: whether anybody else does is not shown.");
  tellLosses(m, c);
  return m.done();
}

namespace {

struct Tally {
  std::size_t answered = 0, negative = 0, incomplete = 0, silent = 0, unseen = 0;
  std::size_t disturbed = 0;   ///< did not get onto the bus
  std::size_t after_wait = 0;  ///< the answer came, but later than we waited
  std::uint8_t negative_code = 0;
  bool ours = false;
  [[nodiscard]] std::size_t ended() const { return answered + negative + incomplete + silent + after_wait; }
};

Tally tallyOwn(const Case& c) {
  Tally t;
  for (const ExchangeFacts& e : c.evidence.exchanges()) {
    if (!c.isOwn(e)) continue;
    t.ours = t.ours || e.ours;
    switch (e.ended) {
      case Ended::answered:
        ++t.answered;
        break;
      case Ended::negative:
        ++t.negative;
        t.negative_code = e.negative_code;
        break;
      case Ended::incomplete:
        ++t.incomplete;
        break;
      case Ended::silent:
        // "Pending" is a sign of life; what then did not come is a broken-off answer.
        ++(e.pending > 0          ? t.incomplete
           : e.came_after_ms >= 0 ? t.after_wait
           : c.reachedNobody(e)   ? t.disturbed
                                  : t.silent);
        break;
      case Ended::link_lost:
      case Ended::not_seen:
        ++t.unseen;
        break;
    }
  }
  return t;
}

std::string othersSentence(const Case& c) {
  const auto others = othersThatAnswered(c);
  if (others.empty()) return {};
  return fmt::format("{} answered: that proves {}, not the job's module.", fmt::join(others, ", "),
                     c.is(Arrangement::removed) ? "the bus" : "connector, bus and gateway");
}

std::string functionalSentence(const Case& c) {
  const bool silent =
      std::any_of(c.evidence.exchanges().begin(), c.evidence.exchanges().end(),
                  [](const ExchangeFacts& e) { return e.functional && e.ended == Ended::silent; });
  if (!silent) return {};
  return c.is(Arrangement::removed) ? "The request to all was not answered: on the table that means nothing."
                                    : "The request to all was not answered: a restraint module usually does "
                                      "not, so that is no proof of "
                                      "absence.";
}

void judgeTally(StepMaker& m, const Case& c, const Tally& t) {
  m.seen();
  m.show({"answered", static_cast<double>(t.answered), -1, ""});
  m.show({"asked", static_cast<double>(t.ended()), -1, ""});
  if (t.after_wait > 0)
    m.say(fmt::format("{} came after we had stopped waiting: see timing.", counted(t.after_wait, "answer")));
  if (t.answered == 0 && t.negative == 0 && t.incomplete == 0) {
    if (t.after_wait > 0) {
      m.worsen(Verdict::marginal, "module-beyond-wait");
      return;
    }
    const bool whole_path = c.behindGateway() && othersThatAnswered(c).empty() && c.evidence.frames() == 0;
    m.worsen(Verdict::faulty, whole_path ? "gateway-no-answer" : "module-silent");
    m.say(fmt::format("The job's module did not answer {}.", counted(t.silent, "request")));
    const auto links = c.evidence.buses();
    const bool can_tell = std::all_of(links.begin(), links.end(), [](const LinkFacts* l) {
      return l->state.own_frames == event::OwnFrames::acknowledged;
    });
    if (whole_path && can_tell && c.evidence.unacknowledged() == 0)
      m.say(
          "Something acknowledged them, so the gateway's interface is awake, but nothing comes through it.");
    return;
  }
  if (t.answered == 0 && t.negative == 0) {
    m.worsen(Verdict::faulty, "module-incomplete");
    m.say("The job's module began to answer and did not finish.");
    return;
  }
  if (t.answered == 0) {
    m.worsen(Verdict::marginal, "module-negative");
    m.say(fmt::format("The job's module answers and refuses (code {:02X}): it lives, the wiring is good.",
                      t.negative_code));
  } else {
    m.say(fmt::format("The job's module answered {} of {}{}.", t.answered + t.negative,
                      counted(t.ended(), "request"),
                      t.negative > 0 ? fmt::format(", {} of them by refusing", t.negative) : ""));
  }
  if (t.after_wait > 0) m.worsen(Verdict::marginal, "module-beyond-wait");
  if (t.silent + t.incomplete > 0) m.worsen(Verdict::marginal, "module-intermittent");
}

}  // namespace

Step answerStep(const Case& c) {
  StepMaker m("answer", isNeeded(c.job, "answer"));
  const Tally t = tallyOwn(c);
  if (t.ended() > 0) {
    judgeTally(m, c, t);
    if (!t.ours) m.say("Seen, not asked by us.");
  } else if (c.job.sealed) {
    m.notAsked();
    m.say("Sealed job: nothing is sent.");
  } else if (const event::Medium medium = c.medium();
             !knowsModule(c.job, medium) && medium != event::Medium::can) {
    m.say(
        fmt::format("The module's address on {} is not known: a roll call shows who answers, and "
                    "module.line_address in the job says which one it is.",
                    toText(medium)));
  } else if (!knowsModule(c.job, medium)) {
    m.say(
        "The module's identifiers are not known: listen for its answers while the other equipment asks, or "
        "find "
        "them with a roll call (`pin16 rollcall --sweep`).");
  } else if (t.disturbed > 0) {
    m.say("The request to the job's module did not get onto the bus: nobody was asked, see traffic.");
  } else if (t.unseen > 0) {
    m.say("The link was lost, or the capture ended, before an answer could come.");
  } else if (!c.asked.ask) {
    m.say("Nothing was asked: run check with --ask when the case allows one read-only request.");
  } else if (c.evidence.refused() > 0) {
    m.say("The request was not let out: " + c.evidence.lastRefusal() + ".");
  } else if (onlyListening(c.evidence)) {
    m.say(
        "The interface only listens, so it cannot ask: that needs an interface that takes part in the bus.");
  } else if (const event::Medium on = c.medium();
             on != event::Medium::can && on != event::Medium::iso14230_4) {
    m.say(
        fmt::format("On {} only everybody can be asked, and the job's module did not answer: many do not, so "
                    "that is no proof of absence.",
                    toText(on)));
  } else {
    m.say("The job's module was not asked.");
  }
  m.say(othersSentence(c));
  m.say(functionalSentence(c));
  return m.done();
}

namespace {

double median(std::vector<double> v) {
  std::sort(v.begin(), v.end());
  const std::size_t n = v.size() / 2;
  return v.size() % 2 == 1 ? v[n] : (v[n - 1] + v[n]) / 2;
}

/// The largest stated error of the links' times, ms; -1 if one states none.
double timeError_ms(const Case& c) {
  Ns worst_ns = -1;
  for (const LinkFacts* l : c.evidence.buses()) {
    if (!l->ever_up) continue;
    if (l->state.time_error_ns < 0) return -1;
    worst_ns = std::max(worst_ns, l->state.time_error_ns);
  }
  return worst_ns < 0 ? -1 : toMs(worst_ns);
}

}  // namespace

Step timingStep(const Case& c) {
  StepMaker m("timing", isNeeded(c.job, "timing"));
  std::vector<double> times_ms;
  std::size_t late = 0, pending = 0;
  bool witnessed = false, limited = true;
  event::Medium medium = event::Medium::can;
  double beyond_ms = -1;
  for (const ExchangeFacts& e : c.evidence.exchanges()) {
    const double took_ms = e.came_after_ms >= 0 ? e.came_after_ms : e.response_ms;
    if (!c.isOwn(e) || took_ms < 0) continue;
    beyond_ms = std::max(beyond_ms, e.came_after_ms);
    times_ms.push_back(took_ms);
    late += e.late ? 1 : 0;
    pending += e.pending;
    witnessed = witnessed || !e.ours;
    medium = e.medium;
    // Of J1850 only a value from memory is known.
    limited = limited && (medium == event::Medium::can || event::isKLine(medium));
  }
  if (times_ms.empty()) {
    if (c.job.sealed) m.notAsked();
    m.say(c.job.sealed ? "Sealed job: nothing is sent." : "No answer of the job's module to time.");
    return m.done();
  }
  const Limit& max =
      c.job.limits.get(event::isKLine(medium) ? "timing.kline_p2_max_ms" : "timing.p2_server_max_ms");
  const double u = timeError_ms(c), slowest = *std::max_element(times_ms.begin(), times_ms.end());
  if (beyond_ms >= 0) {
    m.judge({"response after the wait", beyond_ms, u, "ms"},
            {atMost(c.job.limits.get("timing.client_wait_ms"), "module-beyond-wait")});
    m.say(fmt::format(
        "An answer came {} after the request; a client that waits {} takes the module for silent.",
        amount(beyond_ms, "ms"), amount(c.job.limits.value("timing.client_wait_ms"), "ms")));
  }
  m.show({"shortest response", *std::min_element(times_ms.begin(), times_ms.end()), u, "ms"});
  if (!limited) {
    m.seen();
    m.show({"median response", median(times_ms), u, "ms"});
    m.show({"longest response", slowest, u, "ms"});
    m.say(fmt::format("{}, median {}, longest {}; no limit for {} is known.",
                      counted(times_ms.size(), "answer"), amount(median(times_ms), "ms"),
                      amount(slowest, "ms"), toText(medium)));
    return m.done();
  }
  const Verdict middle =
      m.judge({"median response", median(times_ms), u, "ms"}, {atMost(max, "module-slow")});
  // One late answer among timely ones is a warning; a late median is a slow module.
  if (m.judge({"longest response", slowest, u, "ms"}, {atMost(max, "module-slow")}) == Verdict::faulty &&
      middle != Verdict::faulty)
    m.soften();
  m.say(fmt::format("{}, median {}, longest {}.", counted(times_ms.size(), "answer"),
                    amount(median(times_ms), "ms"), amount(slowest, "ms")));
  if (pending > 0)
    m.say(fmt::format("It said \"pending\" {} times, which allows it {} more each.", pending,
                      amount(c.job.limits.value("timing.p2_star_server_max_ms"), "ms")));
  if (late > 0) {
    m.worsen(Verdict::marginal, "module-slow");
    m.say(fmt::format("{} came later than the limit in force.", late));
  }
  if (witnessed) m.say("Times of requests that were not ours are receive times.");
  return m.done();
}

}  // namespace pin16::readiness
