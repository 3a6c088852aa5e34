// SPDX-License-Identifier: GPL-3.0-or-later
// The tone of the wiggle test: its pitch by zero crossings against the stated mapping, no jumps, markers and
// clicks.
#include "gui/tone.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <numbers>
#include <vector>

namespace pin16::gui {
namespace {

constexpr int kRate_hz = 48000;

std::vector<float> play(ToneGenerator& tone, double seconds) {
  std::vector<float> out(static_cast<std::size_t>(seconds * kRate_hz));
  // In the odd pieces that a sound system asks for.
  for (std::size_t at = 0; at < out.size();) {
    const std::size_t piece = std::min<std::size_t>(317, out.size() - at);
    tone.fill({out.data() + at, piece});
    at += piece;
  }
  return out;
}

/// From the first to the last upward crossing.
double pitch(std::span<const float> of) {
  double first = -1, last = -1;
  int count = 0;
  for (std::size_t i = 1; i < of.size(); ++i) {
    if (!(of[i - 1] < 0 && of[i] >= 0)) continue;
    const double at = static_cast<double>(i) - of[i] / (of[i] - of[i - 1]);
    if (first < 0) first = at;
    last = at;
    ++count;
  }
  return count < 2 ? 0 : (count - 1) * kRate_hz / (last - first);
}

double greatestStep(std::span<const float> of) {
  double most = 0;
  for (std::size_t i = 1; i < of.size(); ++i)
    most = std::max(most, static_cast<double>(std::abs(of[i] - of[i - 1])));
  return most;
}

TEST(Tone, PitchFollowsTheValueAsStated) {
  EXPECT_DOUBLE_EQ(pitchOf(0, 16), 220);
  EXPECT_DOUBLE_EQ(pitchOf(16, 16), 1760);  // three octaves
  EXPECT_DOUBLE_EQ(pitchOf(-3, 16), 220);
  EXPECT_DOUBLE_EQ(pitchOf(40, 16), 1760);
  ToneGenerator tone(kRate_hz);
  tone.on(true);
  for (const double volts : {12.6, 9.0, 0.0, 16.0, 4.2}) {
    tone.follow(pitchOf(volts, 16));
    (void)play(tone, 0.2);
    EXPECT_NEAR(pitch(play(tone, 0.5)), 220 * std::pow(2, 3 * volts / 16), 0.5) << volts;
  }
}

TEST(Tone, NeitherOnNorOffNorAnyChangeOfPitchJumps) {
  ToneGenerator tone(kRate_hz);
  std::vector<float> all = play(tone, 0.05);
  const auto more = [&](double s) {
    const auto part = play(tone, s);
    all.insert(all.end(), part.begin(), part.end());
  };
  tone.on(true);
  more(0.31);
  for (const double volts : {16.0, 0.0, 12.6, 3.0, 16.0}) {
    tone.follow(pitchOf(volts, 16));
    tone.hold(pitchOf(volts / 2, 16));
    more(0.137);
  }
  tone.on(false);
  more(0.2);
  // No step is greater than the highest pitch makes at full loudness: 2 pi f / rate times the amplitude.
  const float loudest = *std::max_element(all.begin(), all.end());
  EXPECT_LE(greatestStep(all), 1.02 * loudest * 2 * std::numbers::pi * 1760 / kRate_hz);
  EXPECT_GT(loudest, 0.3);
  EXPECT_LE(loudest, 0.36);
  EXPECT_TRUE(tone.quiet());
  EXPECT_EQ(all.back(), 0);
  EXPECT_EQ(all.front(), 0);
}

TEST(Tone, TheLowestValueComesBackOnceASecond) {
  ToneGenerator tone(kRate_hz);
  tone.on(true);
  tone.follow(pitchOf(12.6, 16));
  tone.hold(pitchOf(6, 16));
  (void)play(tone, 1.0);
  const auto second = play(tone, 1.0);
  const std::span<const float> all(second);
  // Within the marker, once it is reached; behind it the value itself.
  EXPECT_NEAR(pitch(all.subspan(kRate_hz * 60 / 1000, kRate_hz * 55 / 1000)), pitchOf(6, 16), 3);
  EXPECT_NEAR(pitch(all.subspan(kRate_hz / 4, kRate_hz / 2)), pitchOf(12.6, 16), 0.5);
}

TEST(Tone, AnErrorBurstIsAClickAlsoWithoutATone) {
  ToneGenerator tone(kRate_hz);
  tone.click();
  const auto first = play(tone, 0.02);
  EXPECT_GT(*std::max_element(first.begin(), first.end()), 0.15F);
  EXPECT_EQ(greatestStep(play(tone, 0.1)), 0) << "one click, then nothing";
}

}  // namespace
}  // namespace pin16::gui
