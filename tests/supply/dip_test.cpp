// SPDX-License-Identifier: Apache-2.0
// When did the supply dip? The bench switches its source off at known times (another process, CLOCK_BOOTTIME
// is one for the whole machine); the truth is the scenario's own clock, not anything that was measured.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "core/supply/supply.hpp"
#include "tests/supply/support.hpp"

namespace pin16::supply {
namespace {

constexpr int kDips = 100;
constexpr double kGood_V = 6;

/// Dips of 45 ms, a random time apart.
std::vector<double> addDips(bench::Scenario& s, double from_s) {
  std::mt19937 random(0xD1B);
  std::vector<double> at_s;
  double t_s = from_s;
  for (int i = 0; i < kDips; ++i) {
    bench::Fault f;
    f.name = "source-off";
    f.at_s = t_s;
    f.until_s = t_s + 0.045;
    s.timed_faults.push_back(f);
    at_s.push_back(t_s);
    t_s += 0.09 + 0.02 * static_cast<double>(random() % 1000) / 1000;
  }
  return at_s;
}

TEST(DipTiming, TheSampleThatFirstShowsItContainsTheTrueTime) {
  auto s = *bench::loadScenario("removed-sound");
  std::erase_if(s.meters, [](const bench::Meter& m) { return m.point != "V(src+,src-)"; });
  const auto at_s = addDips(s, 1.5);
  const Folder folder;
  const ServedBench bench(s, {{"scpi?slow_ms=2"}, folder.path(), 0});
  addMeterSchemes();
  boost::asio::io_context io;
  link::KeepingHost host;
  auto made = link::makeLink(*link::parseUri("scpi:" + folder.file("scpi") + "?V=V(src+,src-)&every_ms=5"),
                             {io, host, 0});
  ASSERT_TRUE(made) << made.error().text();
  (*made)->open();
  const Ns end_ns = bench.start_boot_ns + std::llround((at_s.back() + 0.2) * 1e9);
  ASSERT_TRUE(link::runUntil(
      io, [&] { return bootNow() > end_ns; }, std::chrono::seconds(60)));
  (*made)->close();

  const auto samples = samplesOf(host);
  int found = 0, contained = 0;
  Ns worst_error_ns = 0, worst_off_ns = 0;
  for (const double t_s : at_s) {
    const Ns true_ns = bench.start_boot_ns + std::llround(t_s * 1e9);
    // The fall through 6 V that is nearest to it.
    const Sample* first = nullptr;
    for (std::size_t i = 1; i < samples.size(); ++i) {
      const bool falls = samples[i - 1].m.value >= kGood_V && samples[i].m.value < kGood_V;
      if (falls &&
          (first == nullptr || std::abs(samples[i].t_ns - true_ns) < std::abs(first->t_ns - true_ns)))
        first = &samples[i];
    }
    ASSERT_NE(first, nullptr);
    const Ns off_ns = std::abs(first->t_ns - true_ns);
    if (off_ns < 45 * kNsPerMs) ++found;
    if (first->m.time_error_ns >= 0 && off_ns <= first->m.time_error_ns) ++contained;
    worst_error_ns = std::max(worst_error_ns, first->m.time_error_ns);
    worst_off_ns = std::max(worst_off_ns, off_ns);
  }
  RecordProperty("worst_stated_ms", std::to_string(static_cast<double>(worst_error_ns) / 1e6));
  std::printf("%d of %d dips found, %d within the stated error; worst stated %.1f ms, worst off %.1f ms\n",
              found, kDips, contained, static_cast<double>(worst_error_ns) / 1e6,
              static_cast<double>(worst_off_ns) / 1e6);
  EXPECT_GE(found, 99);
  EXPECT_GE(contained, 99);
  // A machine under load holds the processes now and then: the stated error is larger then, and still true.
  std::vector<Ns> errors;
  for (const auto& one : samples)
    if (one.m.time_error_ns >= 0) errors.push_back(one.m.time_error_ns);
  ASSERT_FALSE(errors.empty());
  std::nth_element(errors.begin(), errors.begin() + static_cast<std::ptrdiff_t>(errors.size() / 2),
                   errors.end());
  const Ns median_ns = errors[errors.size() / 2];
  std::printf("stated errors: median %.1f ms\n", static_cast<double>(median_ns) / 1e6);
  EXPECT_LE(median_ns, 20 * kNsPerMs);
}

}  // namespace
}  // namespace pin16::supply
