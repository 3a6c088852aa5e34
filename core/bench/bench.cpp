// SPDX-License-Identifier: Apache-2.0
#include "core/bench/bench.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <tuple>

#include "core/bench/world.hpp"

namespace pin16::bench {
namespace {

namespace fs = std::filesystem;
using event::PowerState;

constexpr std::array kStates = {PowerState::off, PowerState::source, PowerState::on};
// Long enough for every module to have started, or to show that it does not settle. What comes later (a pack
// that shuts off, a timed fault) is not in the readings.
constexpr Ns kSettle_ns = 10 * kNsPerSecond;

std::vector<fs::path> places() {
  std::vector<fs::path> out;
  if (const char* own = std::getenv("PIN16_SCENARIOS")) out.emplace_back(own);
  out.emplace_back(PIN16_SCENARIOS_DIR);
  std::error_code ignored;
  const fs::path program = fs::read_symlink("/proc/self/exe", ignored);
  out.push_back(program.parent_path().parent_path() / "share/pin16/scenarios");
  return out;
}

bool isScenario(const fs::path& p) {
  std::error_code ignored;
  return fs::is_regular_file(p / "scenario.toml", ignored);
}

class Nobody : public World::Observer {
 public:
  void onFrame(Ns, const event::CanFrame&, bool) override {}
  void onSample(Ns, const event::Measurement&) override {}
  void onPower(Ns, const event::Power& power) override { state = power.state; }
  void onController(Ns, std::string_view, int) override {}
  PowerState state = PowerState::unknown;
};

struct Settled {
  std::array<Condition, kStates.size()> conditions;
  std::array<Scenario, kStates.size()> scenarios;  ///< with the faults that are on then
  int starts = 0;
};

/// The conditions at the end of each power state, from the bench in motion.
Result<Settled> settledConditions(const Scenario& scenario) {
  Scenario quiet = scenario;
  quiet.meters.clear();
  Nobody nobody;
  auto world = World::make(quiet, nobody, 0);
  if (!world) return world.error();
  Settled out;
  for (std::size_t i = 0; i < kStates.size(); ++i) {
    Ns until = 0;
    while ((*world)->nextDue() != kNoTime && (nobody.state != kStates[i] || until < kSettle_ns)) {
      until = (*world)->nextDue();
      if (nobody.state == kStates[i] && kStates[i] != PowerState::on) break;
      (*world)->advance(until);
    }
    out.conditions[i] = (*world)->condition();
    out.scenarios[i] = (*world)->scenario();
  }
  out.starts = (*world)->starts();
  return out;
}

Result<double> readPoint(const Scenario& scenario, const Meter& meter, Condition condition) {
  const auto network = Network::make(scenario, &meter);
  if (!network) return network.error();
  condition.interface_plugged = !meter.interface_unplugged;
  return network->read(condition);
}

const char* unitOf(std::string_view point) {
  if (point.starts_with("V(")) return "V";
  if (point.starts_with("I(")) return "A";
  return point.starts_with("R(") ? "ohm" : "";
}

/// Ohms mean something on a dead network only; the feed's path is proven with the source on and a dummy load.
bool applies(std::string_view point, PowerState state) {
  if (point == "R(feedpath)") return state == PowerState::source;
  if (point.starts_with("R(")) return state == PowerState::off;
  return true;
}

std::string valueText(std::string_view point, double value) {
  if (point == "signs") return value != 0 ? "seen" : "none";
  if (point == "lamp") return value != 0 ? "lit" : "dark";
  if (point.starts_with("R(")) return fmt::format("{:.4g}", value);
  return fmt::format("{:.4f}", std::abs(value) < 5e-5 ? 0.0 : value);
}

const char* powerText(PowerState p) {
  switch (p) {
    case PowerState::off:
      return "off";
    case PowerState::source:
      return "source";
    case PowerState::on:
      return "on";
    case PowerState::unknown:
      break;
  }
  return "unknown";
}

std::string quoted(const std::string& text) {
  return text.find(' ') == std::string::npos ? text : "\"" + text + "\"";
}

}  // namespace

Result<std::string> findScenario(std::string_view name) {
  if (isScenario(name)) return std::string(name);
  std::vector<std::string> known;
  for (const fs::path& place : places()) {
    if (isScenario(place / name)) return (place / name).string();
    std::error_code ignored;
    for (const auto& entry : fs::directory_iterator(place, ignored))
      if (isScenario(entry.path())) known.push_back(entry.path().filename().string());
  }
  std::sort(known.begin(), known.end());
  known.erase(std::unique(known.begin(), known.end()), known.end());
  std::string list;
  for (const std::string& k : known) list += (list.empty() ? "" : ", ") + k;
  return Error{ErrorKind::input, fmt::format("there is no scenario \"{}\"", name), "bench",
               list.empty() ? "name a directory that holds scenario.toml, or set PIN16_SCENARIOS"
                            : "known scenarios: " + list};
}

Result<Scenario> loadScenario(std::string_view name) {
  const auto directory = findScenario(name);
  if (!directory) return directory.error();
  return readScenario(*directory + "/scenario.toml");
}

std::vector<Listed> listScenarios() {
  std::vector<Listed> out;
  for (const fs::path& place : places()) {
    std::error_code ignored;
    for (const auto& entry : fs::directory_iterator(place, ignored)) {
      if (!isScenario(entry.path())) continue;
      if (auto s = loadScenario(entry.path().string()))
        out.push_back({entry.path().filename().string(), s->arrangement, s->complaint, s->name, s->text});
    }
    if (!out.empty()) break;
  }
  std::sort(out.begin(), out.end(), [](const Listed& a, const Listed& b) {
    return std::tie(a.arrangement, a.complaint, a.name) < std::tie(b.arrangement, b.complaint, b.name);
  });
  return out;
}

event::Measurement measured(const Meter& meter, double value, PowerState power, Xorshift& noise) {
  event::Measurement m;
  m.point = meter.point;
  m.unit = unitOf(meter.point);
  m.power = power;
  m.instrument = meter.instrument;
  if (meter.point == "lamp" || meter.point == "signs") {
    m.value = value;
    return m;
  }
  const bool over_range = meter.point.starts_with("R(") && value >= Network::kOhmsMax;
  m.value = over_range ? value : value + meter.uncertainty * (noise.share() - 0.5) / 2;
  m.uncertainty = meter.uncertainty;
  if (meter.point.starts_with("V(")) m.input_ohm = meter.input_ohm;
  if (meter.interface_unplugged) m.condition = "interface unplugged";
  if (meter.point == "R(feedpath)") m.condition = fmt::format("{} ohm load", kDummy_ohm);
  return m;
}

Result<std::vector<event::Measurement>> readings(const Scenario& scenario) {
  const auto settled = settledConditions(scenario);
  if (!settled) return settled.error();
  Xorshift noise(scenario.seed);
  std::vector<event::Measurement> out;
  for (std::size_t i = 0; i < kStates.size(); ++i)
    for (const Meter& m : scenario.meters) {
      if (std::find(m.when.begin(), m.when.end(), kStates[i]) == m.when.end()) continue;
      const auto value = readPoint(settled->scenarios[i], m, settled->conditions[i]);
      if (!value) return value.error();
      out.push_back(measured(m, *value, kStates[i], noise));
    }
  return out;
}

std::string readingText(const event::Measurement& r) {
  std::string out = r.point + "=" + valueText(r.point, r.value) + r.unit;
  out += fmt::format(" power={}", powerText(r.power));
  if (r.uncertainty >= 0) out += fmt::format(" u={:g}", r.uncertainty);
  if (!r.condition.empty()) out += " with=" + quoted(r.condition);
  if (!r.instrument.empty()) out += " meter=" + quoted(r.instrument);
  return out;
}

Result<std::string> print(const Scenario& scenario) {
  const auto settled = settledConditions(scenario);
  if (!settled) return settled.error();
  std::string out = fmt::format("{}\narrangement {}", scenario.name, job::toText(scenario.arrangement));
  for (const std::string& f : scenario.faults) out += fmt::format(", fault {}", f);
  for (const Fault& f : scenario.timed_faults) {
    out += fmt::format(", fault {} from {:g} s", f.name, f.at_s.value_or(0));
    if (f.until_s) out += fmt::format(" to {:g} s", *f.until_s);
  }
  if (!scenario.text.empty()) out += "\n" + scenario.text;
  out += fmt::format("\n\n{:<26} {:>12} {:>12} {:>12}\n", "point", "off", "source", "on");
  for (const char* point :
       {"V(src+,src-)", "V(supplyblade,chassis)", "V(loadblade,chassis)", "V(feed,chassis)", "I(feed)",
        "R(feedpath)", "V(chassis,src-)", "V(pin16,pin4)", "V(pin16,pin5)", "V(pin4,pin5)",
        "V(interface+,interface-)", "V(pin4,interface-)", "lamp", "signs", "R(pin6,pin14)", "R(pin6,pin4)",
        "R(pin14,pin4)", "V(pin6,pin4)", "V(pin14,pin4)"}) {
    Meter meter;
    meter.point = point;
    if (!Network::make(scenario, &meter)) continue;  // no such point in this arrangement
    std::string row = fmt::format("{:<26}", fmt::format("{} {}", point, unitOf(point)));
    for (std::size_t i = 0; i < kStates.size(); ++i) {
      if (!applies(point, kStates[i])) {
        row += fmt::format(" {:>12}", "-");
        continue;
      }
      const auto value = readPoint(settled->scenarios[i], meter, settled->conditions[i]);
      if (!value) return value.error();
      row += fmt::format(" {:>12}", valueText(point, *value));
    }
    out += row + "\n";
  }
  out += "\n";
  const auto network = Network::make(settled->scenarios.back());
  if (!network) return network.error();
  const Condition& on = settled->conditions.back();
  const auto supply = network->supply(on);
  if (!supply) return supply.error();
  for (std::size_t i = 0; i < scenario.modules.size(); ++i) {
    const char* state = on.modules[i] == ModuleState::running  ? "running"
                        : on.modules[i] == ModuleState::asleep ? "not running"
                                                               : "starting";
    out += fmt::format("{}: {}, {:.2f} V at its terminals\n", scenario.modules[i].name, state,
                       supply->module_V[i] + 0.0);
  }
  if (settled->starts > 1)
    out += fmt::format("{} does not settle: {} starts in {} s\n", scenario.modules[0].name, settled->starts,
                       kSettle_ns / kNsPerSecond);
  for (const std::string& node : network->floating(on))
    if (node.find('.') == std::string::npos) out += fmt::format("floating when on: {}\n", node);
  return out;
}

}  // namespace pin16::bench
