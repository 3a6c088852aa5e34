// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// The tone of the wiggle test: its pitch follows a value, its lowest value comes back once a second as a
/// short marker, and error bursts are clicks. Pure: samples out of numbers. The loudspeaker is
/// gui/speaker.hpp.

#include <cmath>
#include <span>

namespace pin16::gui {

/// 220 Hz at 0, three octaves to `top` and there it stays: own figures; a semitone is about a thirty-sixth of
/// the range, 0.44 V of 16 V, and everything lies where small loudspeakers still sound.
inline constexpr double kLowest_hz = 220, kOctaves = 3;
[[nodiscard]] inline double pitchOf(double value, double top) {
  const double share = std::fmin(1.0, std::fmax(0.0, value / top));
  return kLowest_hz * std::exp2(kOctaves * share);
}

/// One owner, one thread. Its phase never jumps: pitch changes glide, on and off are ramps.
class ToneGenerator {
 public:
  explicit ToneGenerator(int rate_hz) : rate_hz_(rate_hz) {}
  void on(bool on) { wanted_ = on ? 1 : 0; }
  void follow(double pitch_hz) { pitch_hz_ = pitch_hz; }
  /// 0: no marker.
  void hold(double pitch_hz) { held_hz_ = pitch_hz; }
  void click() { ring_s_ = 0; }
  void fill(std::span<float> out);
  /// Once on and off again, nothing more is to be heard.
  [[nodiscard]] bool quiet() const { return loudness_ <= 0 && wanted_ <= 0; }

  static constexpr double kMarkEvery_s = 1.0, kMarkLong_s = 0.12;

 private:
  double rate_hz_;
  double pitch_hz_ = kLowest_hz, held_hz_ = 0;
  double now_hz_ = kLowest_hz, phase_ = 0, second_s_ = 0;
  double wanted_ = 0, loudness_ = 0;
  double ring_s_ = 1;  ///< since the click
};

}  // namespace pin16::gui
