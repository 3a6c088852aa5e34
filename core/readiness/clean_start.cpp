// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/clean_start.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>
#include <vector>

#include "core/circuit/circuit.hpp"

namespace pin16::readiness {
namespace {

using circuit::Happening;

constexpr double kStep_s = 0.01;
constexpr int kHalvings = 12;
constexpr double kLimitMost_A = 30;  // of what is tried (own figure)

struct Run {
  int starts = 0;
  double lowest_V = 1e9, last_V = 0;
  double gap_ms = 0;
  double watched_s = 0;
};

/// The network as the job says, with `limit_A` (0: none) and `more_ohm` in the feed.
class Network {
 public:
  static Result<Network> make(const job::Job& job, double limit_A, double more_ohm) {
    const job::Feed& f = *job.feed;
    const circuit::ModuleLoad load = moduleOf(job);
    circuit::Netlist n;
    if (limit_A > 0)
      n.supply("source", "plus", "0",
               {f.emf_V, std::max(f.series_ohm, circuit::kSupplySeriesMin_ohm), limit_A, limit_A, 0});
    else
      n.source("source", "plus", "0", f.emf_V, f.series_ohm);
    n.toggle("switch", "plus", "switched", true);
    if (f.fuse_A > 0)
      n.fuse("fuse", "switched", "fused", f.fuse_A);
    else
      n.resistor("fuse", "switched", "fused", circuit::kContact_ohm);
    n.lead("lead", "fused", "led", f.lead_mm2, f.lead_length_m);
    n.resistor("joints", "led", "module", std::max(f.joints_ohm + more_ohm, circuit::kResistanceMin_ohm));
    n.module("load", "module", "0", load);
    auto compiled = n.compile();
    if (!compiled) return compiled.error();
    return Network(std::move(*compiled), load);
  }
  static circuit::ModuleLoad moduleOf(const job::Job& job) {
    circuit::ModuleLoad load;
    const job::Start& s = job.module.start;
    load.start_V = s.start_V.value_or(load.start_V);
    load.stop_V = s.stop_V.value_or(load.stop_V);
    load.boot_A = s.boot_A.value_or(load.boot_A);
    load.boot_s = s.boot_s.value_or(load.boot_s);
    load.run_A = s.run_A.value_or(load.run_A);
    if (s.capacitance_uF) load.capacitance_F = *s.capacitance_uF * 1e-6;
    load.fold_V = std::min(load.fold_V, load.stop_V);
    return load;
  }

  /// Switches on, watches until `most` starts, and with `gap` opens the switch until the module stops.
  Result<Run> run(int most, bool gap) {
    circuit::Params params = circuit_.defaults();
    circuit::State state = circuit_.initial(params);
    circuit::Workspace work(circuit_);
    const auto at = *circuit_.node("module");
    const auto load = *circuit_.branch("load");
    Run out;
    // Not longer than the boot in one go: the lowest volts lie in it.
    const double step_s = std::min(kStep_s, load_.boot_s > 0 ? load_.boot_s / 4 : kStep_s);
    while (state.t_s < kWatched_s && out.starts < most) {
      if (auto s = circuit_.step(params, step_s, state, work); !s) return s.error();
      for (const Happening& h : work.happenings())
        if (h.branch.index == load.index && h.kind == Happening::Kind::starts) ++out.starts;
      out.last_V = work.solution().volts(at);
      if (out.starts > 0) out.lowest_V = std::min(out.lowest_V, out.last_V);
    }
    out.watched_s = state.t_s;
    if (!gap || out.starts != 1) return out;
    params[*circuit_.param("switch", "open")] = 1;
    const double from_s = state.t_s;
    while (out.gap_ms < kGapMost_ms) {
      if (auto s = circuit_.step(params, 1e-3, state, work); !s) return s.error();
      out.gap_ms = (state.t_s - from_s) * 1e3;
      for (const Happening& h : work.happenings())
        if (h.branch.index == load.index && h.kind == Happening::Kind::stops) {
          out.gap_ms = (h.t_s - from_s) * 1e3;
          return out;
        }
    }
    return out;
  }

 private:
  Network(circuit::Circuit c, const circuit::ModuleLoad& load) : circuit_(std::move(c)), load_(load) {}
  circuit::Circuit circuit_;
  circuit::ModuleLoad load_;
};

Result<Run> run(const job::Job& job, double limit_A, double more_ohm, int most, bool gap = false) {
  auto network = Network::make(job, limit_A, more_ohm);
  if (!network) return network.error();
  return network->run(most, gap);
}

std::string assumedOf(const job::Start& s) {
  const circuit::ModuleLoad usual;
  std::vector<std::string> all;
  const auto add = [&](const auto& given, std::string what) {
    if (!given) all.push_back(std::move(what));
  };
  add(s.start_V, fmt::format("start at {:g} V", usual.start_V));
  add(s.stop_V, fmt::format("stop at {:g} V", usual.stop_V));
  add(s.boot_A, fmt::format("{:g} A at first", usual.boot_A));
  add(s.boot_s, fmt::format("for {:g} s", usual.boot_s));
  add(s.run_A, fmt::format("then {:g} A", usual.run_A));
  add(s.capacitance_uF, fmt::format("{:g} uF", usual.capacitance_F * 1e6));
  return fmt::format("{}", fmt::join(all, ", "));
}

}  // namespace

Result<std::optional<CleanStart>> predictStart(const job::Job& job) {
  if (!job.feed) return std::optional<CleanStart>();
  const double limit_A = job.feed->limit_A;
  const auto as_said = run(job, limit_A, 0, kStartsMost, true);
  if (!as_said) return as_said.error();
  CleanStart out;
  out.possible = as_said->starts > 0;
  out.starts = as_said->starts;
  out.watched_s = as_said->watched_s;
  out.lowest_V = out.possible ? as_said->lowest_V : 0;
  out.steady_V = as_said->last_V;
  out.longest_gap_ms = as_said->gap_ms;
  out.assumed = assumedOf(job.module.start);
  const auto once = [&](double limit, double more) {
    const auto r = run(job, limit, more, 2);
    return r && r->starts == 1;
  };
  if (limit_A > 0 && once(kLimitMost_A, 0)) {
    double bad = 0.01, good = kLimitMost_A;
    for (int i = 0; i < kHalvings; ++i) {
      const double middle = (bad + good) / 2;
      (once(middle, 0) ? good : bad) = middle;
    }
    out.limit_least_A = good;
  }
  if (out.clean()) {
    double good = 0, bad = kMoreMost_ohm;
    for (int i = 0; i < kHalvings; ++i) {
      const double middle = (bad + good) / 2;
      (once(limit_A, middle) ? good : bad) = middle;
    }
    out.more_ohm = good;
  }
  return std::optional(out);
}

std::string startText(const std::optional<CleanStart>& start) {
  if (!start) return {};
  const CleanStart& s = *start;
  std::string text;
  if (!s.possible) {
    text = fmt::format("As the job says, only {:.1f} V reach the module: it will not start.", s.steady_V);
  } else if (s.clean()) {
    text = fmt::format(
        "As the job says, the module starts once: {:.1f} V at least, {:.1f} V when it runs; {:.2g} ohm more "
        "in the feed it "
        "would bear, and gaps of up to {:.1f} ms.",
        s.lowest_V, s.steady_V, s.more_ohm, s.longest_gap_ms);
  } else {
    text = fmt::format(
        "As the job says, the module would start again and again ({} times in {:.2g} s, down to {:.1f} V), "
        "and "
        "each start may "
        "count as a power-up: do not switch on.",
        s.starts, s.watched_s, s.lowest_V);
  }
  if (s.limit_least_A)
    text += fmt::format(" The supply's limit must be {:.1f} A at least.", *s.limit_least_A + 0.05);
  else if (!s.clean())
    text += " Thicker and shorter leads, better joints, a stronger source.";
  if (!s.assumed.empty()) text += " Estimated, not from the job: " + s.assumed + ".";
  return text;
}

double shareSeen(double gap_s, double every_s, double aperture_s) {
  return every_s <= 0 ? 1 : std::clamp((gap_s + std::max(aperture_s, 0.0)) / every_s, 0.0, 1.0);
}

}  // namespace pin16::readiness
