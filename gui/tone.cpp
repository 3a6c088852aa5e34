// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/tone.hpp"

#include <algorithm>
#include <numbers>

namespace pin16::gui {
namespace {
constexpr double kLoud = 0.35, kRamp_s = 0.02;
/// A change of pitch is there after a few of these.
constexpr double kGlide_s = 0.008;
/// A click rings: 2.5 kHz, gone after 10 ms.
constexpr double kRing_hz = 2500, kRingFades_s = 0.003, kRingLong_s = 0.02;
constexpr double kTurn = 2 * std::numbers::pi;
}  // namespace

void ToneGenerator::fill(std::span<float> out) {
  const double step_s = 1 / rate_hz_;
  const double glide = 1 - std::exp(-step_s / kGlide_s);
  for (float& sample : out) {
    second_s_ += step_s;
    if (second_s_ >= kMarkEvery_s) second_s_ -= kMarkEvery_s;
    const bool marking = held_hz_ > 0 && second_s_ < kMarkLong_s;
    now_hz_ += glide * ((marking ? held_hz_ : pitch_hz_) - now_hz_);
    loudness_ += std::clamp(wanted_ - loudness_, -step_s / kRamp_s, step_s / kRamp_s);
    phase_ += kTurn * now_hz_ * step_s;
    if (phase_ >= kTurn) phase_ -= kTurn;
    double value = loudness_ * std::sin(phase_);
    if (ring_s_ < kRingLong_s) {
      value += std::exp(-ring_s_ / kRingFades_s) * std::sin(kTurn * kRing_hz * ring_s_);
      ring_s_ += step_s;
    }
    sample = static_cast<float>(kLoud * value);
  }
}

}  // namespace pin16::gui
