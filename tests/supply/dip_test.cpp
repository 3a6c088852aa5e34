// SPDX-License-Identifier: Apache-2.0
// When did the supply dip? The bench switches its source off at known times (another process, CLOCK_BOOTTIME
// is one for the whole machine); the truth is the scenario's own clock, not anything that was measured.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <optional>
#include <random>

#include "core/supply/supply.hpp"
#include "tests/link/paced_pty.hpp"
#include "tests/supply/support.hpp"

namespace pin16::supply {
namespace {

constexpr int kDips = 100;
constexpr double kGood_V = 6;

constexpr double kDip_s = 0.07;

/// Dips of 70 ms, a random time apart.
std::vector<double> addDips(bench::Scenario& s, double from_s) {
  std::mt19937 random(0xD1B);
  std::vector<double> at_s;
  double t_s = from_s;
  for (int i = 0; i < kDips; ++i) {
    bench::Fault f;
    f.name = "source-off";
    f.at_s = t_s;
    f.until_s = t_s + kDip_s;
    s.timed_faults.push_back(f);
    at_s.push_back(t_s);
    t_s += 2 * kDip_s + 0.02 * static_cast<double>(random() % 1000) / 1000;
  }
  return at_s;
}

/// 0: a pty's own, no rate.
class DipTiming : public testing::TestWithParam<std::uint32_t> {};
INSTANTIATE_TEST_SUITE_P(Baud, DipTiming, testing::Values(0U, 115200U));

TEST_P(DipTiming, TheSampleThatFirstShowsADipContainsItsTrueTime) {
  auto scenario = *bench::loadScenario("removed-sound");
  std::erase_if(scenario.meters, [](const bench::Meter& m) { return m.point != "V(src+,src-)"; });
  const auto at_s = addDips(scenario, 1.5);
  const Folder folder;
  const ServedBench bench(scenario, {{"scpi?slow_ms=2"}, folder.path(), 0});
  std::optional<link::PacedPty> cable;
  if (GetParam() != 0) cable.emplace(folder.file("scpi"), GetParam());
  addMeterSchemes();
  boost::asio::io_context io;
  link::KeepingHost host;
  auto made = link::makeLink(
      *link::parseUri("scpi:" + (cable ? cable->path() : folder.file("scpi")) + "?V=V(src+,src-)&every_ms=5"),
      {io, host, 0});
  ASSERT_TRUE(made) << made.error().text();
  (*made)->open();
  const Ns end_ns = bench.start_boot_ns + std::llround((at_s.back() + 0.2) * 1e9);
  ASSERT_TRUE(link::runUntil(
      io, [&] { return bootNow() > end_ns; }, std::chrono::seconds(60)));
  (*made)->close();

  // A fall through 6 V: whoever reads the record knows no more than this sample and its stated error.
  const auto samples = samplesOf(host);
  int falls = 0, contained = 0;
  std::vector<Ns> errors;
  for (std::size_t i = 1; i < samples.size(); ++i) {
    const Sample& s = samples[i];
    if (s.m.value >= kGood_V || samples[i - 1].m.value < kGood_V) continue;
    ++falls;
    errors.push_back(s.m.time_error_ns);
    const bool in_it = std::any_of(at_s.begin(), at_s.end(), [&](double t_s) {
      return std::abs(bench.start_boot_ns + std::llround(t_s * 1e9) - s.t_ns) <= s.m.time_error_ns;
    });
    contained += in_it ? 1 : 0;
  }
  ASSERT_GE(falls, kDips / 4) << "a machine so busy shows nothing";
  std::sort(errors.begin(), errors.end());
  const auto ms = [](Ns t_ns) { return toMs(t_ns); };
  std::printf(
      "%d of %d dips seen, %d within the stated error; stated: median %.1f ms, nine of ten below %.1f ms, "
      "worst %.1f ms\n",
      falls, kDips, contained, ms(errors[errors.size() / 2]), ms(errors[errors.size() * 9 / 10]),
      ms(errors.back()));
  EXPECT_GE(100 * contained, 99 * falls);
  // On a busy machine both processes are held for longer than a dip: then dips go unseen and the stated
  // errors grow, but they stay true. How fine it is, is a claim for a quiet machine (tests/run-long.sh).
  if (std::getenv("PIN16_QUIET") == nullptr) return;
  EXPECT_GE(falls, 99);
  EXPECT_LE(errors[errors.size() * 9 / 10], 20 * kNsPerMs);
}

}  // namespace
}  // namespace pin16::supply
