// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The simulated bench as the rest of Pin16 sees it: scenarios by name, their solved points, what meters
/// would read, and the link scheme `bench:SCENARIO`.

#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"
#include "core/bench/network.hpp"
#include "core/bench/scenario.hpp"
#include "core/bench/server.hpp"
#include "core/event/records.hpp"

namespace pin16::bench {

/// The directory that holds scenario.toml (and job.toml, expect.toml): `name` itself if it is such a
/// directory, else looked for under $PIN16_SCENARIOS, the source tree's captures/scenarios, and
/// share/pin16/scenarios beside the program. ErrorKind::input naming the scenarios that exist.
[[nodiscard]] Result<std::string> findScenario(std::string_view name);
/// findScenario, then readScenario.
[[nodiscard]] Result<Scenario> loadScenario(std::string_view name);

/// One that can be tried. Its name, title and text give the answer away.
struct Listed {
  std::string name;  ///< of its folder
  job::Arrangement arrangement = job::Arrangement::own_battery;
  std::string complaint;
  std::string title, text;
};
/// Those of the first place of findScenario() that has any, by arrangement and complaint; unreadable ones are
/// left out.
[[nodiscard]] std::vector<Listed> listScenarios();

/// What a meter shows for a value: with its uncertainty, and a noise of at most a quarter of it.
[[nodiscard]] event::Measurement measured(const Meter& meter, double value, event::PowerState power,
                                          Xorshift& noise);

/// What the scenario's meters read, each in the power states it is meant for, modules started.
[[nodiscard]] Result<std::vector<event::Measurement>> readings(const Scenario& scenario);
/// One line in the syntax of job::parseReading.
[[nodiscard]] std::string readingText(const event::Measurement& reading);

/// The solved scenario as text: every point of the arrangement in each power state, modules started.
[[nodiscard]] Result<std::string> print(const Scenario& scenario);

/// Registers `bench:` with the link room; idempotent.
void addBenchScheme();

}  // namespace pin16::bench
