// SPDX-License-Identifier: Apache-2.0
/// How often the reasons name the right cause, how honest their probabilities are, and what that costs,
/// against the checklist and a random order. Truths come from the model with tolerances wider and differently
/// shaped than assumed (Draw, wide), or from a file that something else wrote (--truths FILE.jsonl, a JSON
/// object a line: {"arrangement": .., "cause": .., "readings": {id: value}}, "OL" for over-range, cause
/// "outside:NAME" for what the catalogue lacks). Noise, missing and wrong readings are added here.

#include <fmt/format.h>

#include <algorithm>
#include <boost/json.hpp>
#include <boost/json/src.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <map>
#include <numeric>

#include "checklist.hpp"
#include "core/reasons/reasoner.hpp"
#include "core/reasons/text.hpp"
#include "outside.hpp"

namespace pin16::study {
namespace {

using namespace reasons;

struct Truth {
  Arrangement arrangement = Arrangement::own_battery;
  std::string name;
  std::vector<std::size_t> causes;  ///< empty: outside the catalogue
  std::array<double, kReadings> value{};
  Bench bench;           ///< of truths from the model
  bool gateway = false;  ///< as the job says
};

struct Noise {
  double times = 1.5, missing = 0.10, wrong = 0.02;
};

/// What the technician gets: a fixed world, so that every policy meets the same readings.
class World {
 public:
  World(const Truth& t, const Noise& n, std::uint64_t seed) : shown_(t.value), missing_(kReadings, false) {
    Draw d(seed * 7919 + 17);
    for (std::size_t r = 0; r < kReadings; ++r) {
      const Reading& reading = readings()[r];
      const double gauss =
          std::sqrt(-2 * std::log(d.share() + 1e-12)) * std::cos(6.283185307179586 * d.share());
      const bool absent = d.share() < n.missing, wrong = d.share() < n.wrong;
      const double how = d.share(), how_much = d.share();
      double& v = shown_[r];
      if (std::isnan(v) || (reading.arrangements & bit(t.arrangement)) == 0) {
        missing_[r] = true;
        continue;
      }
      missing_[r] = absent;
      if (reading.unit == Unit::answer) {
        if (wrong) v = std::floor(how * static_cast<double>(reading.answers.size()));
        continue;
      }
      // Half widths are two standard deviations.
      const double sd = 0.5 * n.times * (reading.error_abs + reading.error_rel * std::abs(v));
      if (v < kOpen_ohm || reading.unit != Unit::ohm) v += gauss * sd;
      if (wrong) {
        if (reading.unit == Unit::ohm)
          v = how < 0.4 ? kOpen_ohm : how < 0.7 ? 0.2 : std::pow(10, 5 * how_much);
        else
          v = how < 0.4 ? 0 : how < 0.7 ? v * (how_much < 0.5 ? 0.5 : -1) : 14 * how_much;
      }
      if (reading.unit == Unit::ohm) v = std::clamp(v, 0.0, kOpen_ohm);
    }
  }
  [[nodiscard]] double operator[](std::size_t r) const { return shown_[r]; }
  [[nodiscard]] bool missing(std::size_t r) const { return missing_[r]; }
  [[nodiscard]] const std::vector<bool>& allMissing() const { return missing_; }

 private:
  std::array<double, kReadings> shown_;
  std::vector<bool> missing_;
};

struct Outcome {
  bool top1 = false, top3 = false, certain = false, unexplained = false;
  double p = 0, p_truth = 0, wrong_sum = 0, surprise = 0, worst = 0;
  int measurements = 0, power_ups = 0;
  double minutes = 0;
  std::string named;
};

struct Cost {
  int measurements = 0, power_ups = 0;
  double minutes = 0;
  bool powered = false;
  void add(std::size_t r) {
    const Reading& reading = readings()[r];
    const bool on = reading.power == Power::on;
    if (on && !powered) ++power_ups;
    power_ups += reading.power_ups;
    if (reading.power != Power::any) powered = on;
    ++measurements;
    minutes += reading.minutes;
  }
};

constexpr int kCap = 12, kMendsMost = 3, kAfterMend = 6;  ///< readings after each mend (own figures)
int g_cap = 12;
bool g_wide = true;  ///< truths wider and differently shaped than assumed
double g_handling = Policy{}.handling_minutes, g_power_up = Policy{}.power_up_minutes;

bool certain(const Reasoner& m) { return m.ranking().front().probability >= 0.95; }

/// `cap`: most readings beyond those of `c`.
Cost byPolicy(Reasoner& m, const World& w, int cap, Cost c = {}) {
  cap += c.measurements;
  Policy policy;
  policy.handling_minutes = g_handling, policy.power_up_minutes = g_power_up;
  std::vector<bool> gone = w.allMissing();
  for (const std::size_t r : m.gate()) gone[r] = false;  // asked again until it is there
  while (c.measurements < cap) {
    policy.powered = c.powered;
    const auto next = m.next(policy, gone);
    if (next.empty()) break;
    const std::size_t r = next.front().reading;
    m.observe({r, w[r], -1});
    c.add(r);
  }
  return c;
}

/// What was named is mended, in vain where it is not there: the run goes on with further readings, until
/// nothing known explains them or the cause is met. True: the alarm came.
bool alarmByMending(Reasoner& m, const World& w, const Truth& t, Cost& c) {
  for (int mends = 0; !m.unexplained(); ++mends) {
    const auto named = m.ranking().front().causes;
    const bool there = std::any_of(t.causes.begin(), t.causes.end(), [&](std::size_t k) {
      return std::find(named.begin(), named.end(), k) != named.end();
    });
    if (there || named.front() == kSound || mends == kMendsMost) return false;
    m.mended(named);
    c = byPolicy(m, w, kAfterMend, c);
  }
  return true;
}

/// Everything that can be had.
Cost byAll(Reasoner& m, const World& w) {
  Cost c;
  for (std::size_t r = 0; r < kReadings; ++r)
    if (!w.missing(r)) m.observe({r, w[r], -1}), c.add(r);
  return c;
}

/// The checklist, to the same certainty or (`short_form`) to its first faulty block.
Cost byChecklist(Reasoner& m, const World& w, bool short_form) {
  Cost c;
  std::vector<bool> allowed;
  for (const Check& k : checklist()) allowed.push_back(!w.missing(*findReading(k.reading)));
  ChecklistRun run(allowed);
  while (run.next() < checklist().size() && !(short_form ? run.over() : certain(m))) {
    const Check& k = checklist()[run.next()];
    const std::size_t r = *findReading(k.reading);
    m.observe({r, w[r], -1});
    c.add(r);
    run.take(readings()[r].unit == Unit::answer
                 ? sound(k, readings()[r].answers[static_cast<std::size_t>(w[r])])
                 : sound(k, w[r]));
  }
  return c;
}

Cost byRandom(Reasoner& m, const World& w, std::uint64_t seed) {
  Cost c;
  for (const std::size_t r : randomOrder(kReadings, seed)) {
    if (w.missing(r)) continue;
    if (certain(m)) break;
    m.observe({r, w[r], -1});
    c.add(r);
  }
  return c;
}

Outcome judge(const Reasoner& m, const Truth& t, const Cost& c) {
  Outcome o;
  o.measurements = c.measurements, o.power_ups = c.power_ups, o.minutes = c.minutes;
  const auto ranking = m.ranking();
  const auto holds = [&](const Ranked& r) {
    return std::any_of(t.causes.begin(), t.causes.end(), [&](std::size_t k) {
      return std::find(r.causes.begin(), r.causes.end(), k) != r.causes.end();
    });
  };
  o.p = std::min(ranking[0].probability, 1.0);
  o.certain = o.p >= 0.95;
  o.top1 = holds(ranking[0]);
  for (std::size_t i = 0; i < 3 && i < ranking.size(); ++i) o.top3 = o.top3 || holds(ranking[i]);
  for (const Ranked& r : ranking)
    if (holds(r)) o.p_truth = std::max(o.p_truth, r.probability);
  o.named = ranking[0].causes[0] == kSound ? "sound" : causes()[ranking[0].causes[0]].id;
  for (const Fit& f : m.fits())
    o.wrong_sum += f.wrong, o.surprise += f.surprise, o.worst = std::max(o.worst, f.surprise);
  o.unexplained = m.unexplained();
  return o;
}

/// Expected calibration error over ten bins of equal count, and its 95 % upper bootstrap bound.
struct Calibration {
  double ece = 0, upper = 0;
  std::string table;
};
double eceOf(std::vector<std::pair<double, bool>> all, std::string* table) {
  std::sort(all.begin(), all.end());
  double sum = 0;
  const std::size_t n = all.size();
  for (std::size_t b = 0; b < 10; ++b) {
    const std::size_t from = b * n / 10, to = (b + 1) * n / 10;
    if (to == from) continue;
    double p = 0, hit = 0;
    for (std::size_t i = from; i < to; ++i) p += all[i].first, hit += all[i].second ? 1 : 0;
    const auto count = static_cast<double>(to - from);
    sum += std::abs(p - hit) / static_cast<double>(n);
    if (table)
      *table += fmt::format("    {:>6.3f} said, {:>6.3f} true, {} runs\n", p / count, hit / count, to - from);
  }
  return sum;
}
Calibration calibration(const std::vector<Outcome>& all) {
  std::vector<std::pair<double, bool>> pairs;
  for (const auto& o : all) pairs.emplace_back(o.p, o.top1);
  Calibration c;
  c.ece = eceOf(pairs, &c.table);
  Draw d(4711);
  std::vector<double> boots;
  for (int k = 0; k < 500; ++k) {
    auto again = pairs;
    for (auto& x : again) x = pairs[d.next() % pairs.size()];
    boots.push_back(eceOf(std::move(again), nullptr));
  }
  std::sort(boots.begin(), boots.end());
  c.upper = boots[474];
  return c;
}

void report(const std::string& what, const std::vector<Outcome>& all, bool capped) {
  if (all.empty()) return;
  const auto n = static_cast<double>(all.size());
  double top1 = 0, top3 = 0, brier = 0, log = 0, used = 0, minutes = 0, ups = 0, sure = 0;
  for (const auto& o : all) {
    top1 += o.top1, top3 += o.top3, sure += o.certain;
    brier += (o.p - o.top1) * (o.p - o.top1);
    log += std::log2(std::max(o.p_truth, 1e-6));
    used += capped && !o.certain ? kCap : o.measurements;
    minutes += o.minutes, ups += o.power_ups;
  }
  const Calibration c = calibration(all);
  fmt::print(
      "{:<44} n {:<5} top-1 {:.3f} top-3 {:.3f} brier {:.3f} log2 {:.2f} ece {:.3f} (<= {:.3f}) measurements "
      "{:.1f} minutes {:.1f} power-ups {:.2f} certain {:.2f}\n",
      what, all.size(), top1 / n, top3 / n, brier / n, log / n, c.ece, c.upper, used / n, minutes / n,
      ups / n, sure / n);
  if (std::getenv("PIN16_RELIABILITY") != nullptr) fmt::print("{}", c.table);
  std::fflush(stdout);
}

std::optional<Truth> drawTruth(Arrangement a, bool gateway, std::vector<std::size_t> which,
                               std::uint64_t seed) {
  Draw d(seed, g_wide);
  for (const std::size_t c : which)
    if (!gateway && std::string_view(causes()[c].id).starts_with("gateway-")) return std::nullopt;
  for (int tries = 0; tries < 400; ++tries) {
    Truth t;
    t.arrangement = a, t.gateway = gateway;
    t.bench = soundBench({a, gateway}, d);
    bool can = true;
    for (const std::size_t c : which) can = can && inject(c, t.bench, d);
    if (!can) return std::nullopt;
    const Predicted p = predict(t.bench);
    if (p.answers) continue;
    t.value = p.value;
    t.causes = which;
    for (const std::size_t c : which) t.name += (t.name.empty() ? "" : " + ") + std::string(causes()[c].id);
    return t;
  }
  return std::nullopt;
}

std::vector<std::size_t> causesOf(Arrangement a) {
  std::vector<std::size_t> out;
  const Priors p = priors(a);
  for (std::size_t c = 0; c < causes().size(); ++c)
    if (p.weight[c] > 0 && (causes()[c].arrangements & bit(a)) != 0) out.push_back(c);
  return out;
}

/// A cause as often as the priors say.
std::size_t byPrior(Arrangement a, Draw& d) {
  const Priors p = priors(a);
  double at = d.share() * std::accumulate(p.weight.begin(), p.weight.end(), 0.0);
  for (std::size_t c = 0; c < p.weight.size(); ++c)
    if ((at -= p.weight[c]) < 0) return c;
  return p.weight.size() - 1;
}

Result<std::vector<Truth>> readTruths(const std::string& file) {
  std::ifstream in(file);
  if (!in)
    return Error{ErrorKind::input, "cannot be read", file, "give a file of truths, a JSON object a line"};
  std::vector<Truth> out;
  std::string line;
  for (int number = 1; std::getline(in, line); ++number) {
    if (line.empty()) continue;
    const std::string place = fmt::format("{}:{}", file, number);
    boost::json::error_code ec;
    const auto doc = boost::json::parse(line, ec);
    if (ec || !doc.is_object()) return Error{ErrorKind::input, "is no JSON object", place, ""};
    const auto& o = doc.as_object();
    Truth t;
    const std::string a = o.at("arrangement").as_string().c_str();
    t.arrangement = a == "removed"        ? Arrangement::removed
                    : a == "fed-in-place" ? Arrangement::fed_in_place
                                          : Arrangement::own_battery;
    t.name = o.at("cause").as_string().c_str();
    if (!t.name.starts_with("outside")) {
      const auto c = findCause(t.name);
      if (!c) return Error{ErrorKind::input, "there is no cause named '" + t.name + "'", place, ""};
      t.causes = {*c};
    }
    t.value.fill(std::nan(""));
    for (const auto& [id, value] : o.at("readings").as_object()) {
      const auto r = findReading(std::string_view(id.data(), id.size()));
      if (!r)
        return Error{ErrorKind::input, "there is no reading named '" + std::string(id) + "'", place, ""};
      if (value.is_string()) {
        const std::string text = value.as_string().c_str();
        const auto obs = parseObservation(std::string(id) + "=" + text);
        if (!obs) return Error{ErrorKind::input, obs.error().what, place, ""};
        t.value[*r] = obs->value;
      } else if (value.is_number()) {
        t.value[*r] = value.to_number<double>();
      }
    }
    // Such a bench has a gateway if it has the gateway's fuse.
    t.gateway =
        t.arrangement != Arrangement::removed && !std::isnan(t.value[*findReading("V(gwfeed,chassis)")]);
    out.push_back(std::move(t));
  }
  return out;
}

double since(std::chrono::steady_clock::time_point from) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - from).count();
}

}  // namespace

int run(int argc, char** argv) {
  std::size_t count = 100;
  std::uint64_t seed = 1000;
  std::string truths_file, only, show;
  bool two = false, outside = false, opponents = false, no_pairs = false, list = false, flat = false,
       all = false, no_mend = false;
  Noise noise;
  Options options;
  double at_least = 0;
  bool enough = true;
  for (int i = 1; i < argc; ++i) {
    const std::string_view a = argv[i];
    const auto value = [&]() -> const char* { return i + 1 < argc ? argv[++i] : ""; };
    if (a == "--benches")
      count = std::strtoul(value(), nullptr, 10);
    else if (a == "--seed")
      seed = std::strtoull(value(), nullptr, 10);
    else if (a == "--truths")
      truths_file = value();
    else if (a == "--arrangement")
      only = value();
    else if (a == "--two")
      two = true;
    else if (a == "--outside")
      outside = true;
    else if (a == "--opponents")
      opponents = true;
    else if (a == "--no-pairs")
      no_pairs = true;
    else if (a == "--cap")
      g_cap = std::atoi(value());
    else if (a == "--power-up-minutes")
      g_power_up = std::atof(value());
    else if (a == "--handling")
      g_handling = std::atof(value());
    else if (a == "--clean")
      noise = {1, 0, 0};
    else if (a == "--at-least")
      at_least = std::atof(value());
    else if (a == "--samples")
      options.samples = std::strtoul(value(), nullptr, 10);
    else if (a == "--pair-samples")
      options.pair_samples = std::strtoul(value(), nullptr, 10);
    else if (a == "--pair-share")
      options.pair_share = std::atof(value());
    else if (a == "--no-mend")
      no_mend = true;
    else if (a == "--flat")
      flat = true;
    else if (a == "--all")
      all = true;
    else if (a == "--as-assumed")
      g_wide = false;
    else if (a == "--list")
      list = true;
    else if (a == "--show")
      show = value();
    else {
      fmt::print(stderr,
                 "usage: study [--benches N] [--seed S] [--arrangement A] [--two | --outside] [--opponents] "
                 "[--no-mend] [--no-pairs] [--pair-samples N] [--pair-share P] [--clean] [--as-assumed] "
                 "[--all] [--list] [--show CAUSE|misses|all] [--truths "
                 "FILE.jsonl]\n");
      return 2;
    }
  }
  options.pairs = !no_pairs;
  std::vector<Truth> from_file;
  if (!truths_file.empty()) {
    auto read = readTruths(truths_file);
    if (!read) {
      fmt::print(stderr, "{}\n", read.error().text());
      return 2;
    }
    from_file = std::move(*read);
  }
  for (const Arrangement a : {Arrangement::own_battery, Arrangement::fed_in_place, Arrangement::removed}) {
    const std::string name = job::toText(a);
    if (!only.empty() && only != name) continue;
    // The job says whether a gateway lies between: two reasoners, except on the table.
    std::vector<Reasoner> both;
    for (const bool gateway : {false, true}) {
      if (gateway && a == Arrangement::removed) continue;
      auto start = std::chrono::steady_clock::now();
      both.push_back(Reasoner::prepare({a, gateway}, priors(a), options));
      Reasoner& m = both.back();
      const double prepared_s = since(start);
      for (const char* text : {"V(src+,src-)=12.6V", "interface-lamp=lit", "I(feed)=0.3A"})
        m.observe(*parseObservation(text));
      start = std::chrono::steady_clock::now();
      m.observe(*parseObservation("V(pin6,pin4)=2.5V"));
      (void)m.ranking();
      const double posterior_s = since(start);
      const std::size_t candidates = m.next({}).size();
      fmt::print(
          "{}{}: {} hypotheses, {} samples, {:.1f} MB, prepared in {:.2f} s; posterior {:.1f} ms, with the "
          "next of {} measurements {:.1f} ms\n",
          name, gateway ? " behind a gateway" : "", m.hypotheses(), m.samples(),
          static_cast<double>(m.bytes()) / 1e6, prepared_s, 1e3 * posterior_s, candidates,
          1e3 * since(start));
    }
    if (list) {
      for (const auto& m : both)
        for (const auto& g : m.groups()) {
          if (g.size() < 2) continue;
          fmt::print("  group:");
          for (const std::size_t c : g) fmt::print(" {}", causes()[c].id);
          fmt::print("\n");
        }
      for (const auto& m : both)
        for (const std::size_t c : m.impossible())
          fmt::print("  never with the symptom: {}\n", causes()[c].id);
    }
    std::vector<Truth> truths;
    const auto here = causesOf(a);
    if (!truths_file.empty()) {
      for (const Truth& t : from_file)
        if (t.arrangement == a && t.causes.empty() == outside) truths.push_back(t);
    } else {
      Draw pick(seed * 31 + static_cast<std::uint64_t>(a));
      for (std::size_t i = 0; truths.size() < count && i < count * 20; ++i) {
        if (outside) {
          Truth t;
          t.arrangement = a;
          if (auto p = drawOutside(a, seed * 100000 + i, t.name))
            t.value = *p, t.gateway = !std::isnan((*p)[*findReading("V(gwfeed,chassis)")]),
            truths.push_back(t);
          continue;
        }
        const auto any = [&] { return flat ? here[pick.next() % here.size()] : byPrior(a, pick); };
        const bool gateway =
            a != Arrangement::removed && pick.chance(a == Arrangement::own_battery ? 0.35 : 0.4);
        std::vector<std::size_t> which = {any()};
        if (two) {
          which.push_back(any());
          if (which[0] == which[1]) continue;
        }
        if (auto t = drawTruth(a, gateway, which, seed * 100000 + i)) truths.push_back(std::move(*t));
      }
    }
    std::vector<Outcome> policy, capped, list_short, list_long, random;
    std::map<std::string, int> confused;
    int second = 0, mended = 0, alarms = 0;
    for (std::size_t i = 0; i < truths.size(); ++i) {
      const Truth& t = truths[i];
      Reasoner& m = both[t.gateway ? 1 : 0];
      const World w(t, noise, seed * 1000 + i);
      m.forget();
      m.leaveOut(w.allMissing());
      Cost spent = all ? byAll(m, w) : byPolicy(m, w, g_cap);
      Outcome o = judge(m, t, spent);
      if (!o.unexplained) o.unexplained = alarmByMending(m, w, t, spent);
      policy.push_back(o);
      alarms += o.unexplained;
      if (!show.empty() && (show == "all" || t.name == show || (show == "misses" && !o.top1))) {
        fmt::print("  {} -> {} {:.2f}: wrong {:.2f} surprise {:.1f} worst {:.1f} ", t.name, o.named, o.p,
                   o.wrong_sum, o.surprise, o.worst);
        for (const auto& e : m.evidence())
          fmt::print(" {}={}", readings()[e.reading].id, valueText(e.reading, e.value));
        fmt::print("\n");
      }
      if (!o.top1 && !t.causes.empty()) ++confused[t.name + " -> " + o.named];
      if (opponents) {
        m.forget();
        list_long.push_back(judge(m, t, byChecklist(m, w, false)));
        m.forget();
        list_short.push_back(judge(m, t, byChecklist(m, w, true)));
        m.forget();
        random.push_back(judge(m, t, byRandom(m, w, seed + i)));
      }
      if (two && o.top1 && !no_mend) {
        // Mend what was named, measure again.
        const auto named = m.ranking().front();
        const bool first = [&] {
          m.forget();
          byPolicy(m, w, g_cap);
          return std::find(named.causes.begin(), named.causes.end(), t.causes[0]) != named.causes.end();
        }();
        const std::size_t gone = t.causes[first ? 0 : 1], left = t.causes[first ? 1 : 0];
        const auto besides = m.besides(gone);
        Truth rest;
        Draw d(seed * 100000 + i * 3 + 1, true);
        rest.arrangement = a;
        const auto one = drawTruth(a, t.gateway, {left}, seed * 100000 + i * 3 + 1);
        if (!one) continue;
        ++mended;
        Priors after = priors(a);
        const double sum = std::accumulate(after.weight.begin(), after.weight.end(), 0.0);
        for (std::size_t c = 0; c < after.weight.size(); ++c)
          after.weight[c] = 0.3 * after.weight[c] / sum + 0.7 * besides[c];
        after.weight[gone] = 0;
        Options quick = options;
        quick.pairs = false;
        Reasoner again = Reasoner::prepare({a, t.gateway}, after, quick);
        const World anew(*one, noise, seed * 2000 + i);
        again.leaveOut(anew.allMissing());
        const Outcome r = judge(again, *one, byPolicy(again, anew, g_cap));
        second += r.top1;
      }
    }
    const std::string what = name + (outside ? " outside" : two ? " two causes" : "");
    report(what + ", by information", policy, true);
    const auto right = std::count_if(policy.begin(), policy.end(), [](const Outcome& o) { return o.top1; });
    if (static_cast<double>(right) < at_least * static_cast<double>(policy.size())) enough = false;
    report(what + ", checklist to the same stop", list_long, false);
    report(what + ", checklist to first fault", list_short, false);
    report(what + ", random order", random, false);
    fmt::print("{}: \"nothing known explains these readings\" in {:.3f}\n", what,
               truths.empty() ? 0 : alarms / static_cast<double>(truths.size()));
    if (two && mended > 0)
      fmt::print("{}: after mending the first, the other is named first in {:.3f} of {}\n", what,
                 second / static_cast<double>(mended), mended);
    if (list) {
      std::vector<std::pair<int, std::string>> most;
      for (const auto& [k, v] : confused) most.emplace_back(v, k);
      std::sort(most.rbegin(), most.rend());
      for (std::size_t i = 0; i < most.size() && i < 15; ++i)
        fmt::print("  {} x {}\n", most[i].first, most[i].second);
    }
  }
  return enough ? 0 : 1;
}

}  // namespace pin16::study

int main(int argc, char** argv) { return pin16::study::run(argc, argv); }
