// SPDX-License-Identifier: Apache-2.0
// Visible signs: what hangs on the bus bar shows itself when that is fed, and nothing shows by itself.
#include <gtest/gtest.h>

#include <algorithm>

#include "core/bench/bench.hpp"

namespace pin16::bench {
namespace {

double signsOf(const char* name, bool visible) {
  auto scenario =
      readScenario(std::string(PIN16_SOURCE_DIR "/captures/scenarios/") + name + "/scenario.toml");
  if (!scenario) throw std::runtime_error(scenario.error().text());
  scenario->vehicle.visible_signs = visible;
  Meter meter;
  meter.point = "signs";
  meter.when = {event::PowerState::on};
  scenario->meters = {meter};
  const auto all = readings(*scenario);
  if (!all || all->size() != 1) throw std::runtime_error("no reading");
  EXPECT_EQ(readingText(all->front()),
            all->front().value > 0.5 ? "signs=seen power=on meter=bench" : "signs=none power=on meter=bench");
  return all->front().value;
}

TEST(Signs, AreSeenOnlyIfTheBusBarIsFedAndShows) {
  EXPECT_EQ(signsOf("supply-side-fuse-out", true), 1);
  EXPECT_EQ(signsOf("supply-side-fuse-out", false), 0);
  EXPECT_EQ(signsOf("supply-side-fuse-in", true), 1);
  EXPECT_EQ(signsOf("fed-in-place-sound", true), 0);  // only the module is fed
  EXPECT_EQ(signsOf("own-battery-sound", true), 1);
}

}  // namespace
}  // namespace pin16::bench
