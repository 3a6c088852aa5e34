// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Times on a K-line from the bytes that were seen on it: initialisation at 5 baud (W1 to W4), gaps between
/// bytes and messages (P1 to P4), as ISO 9141-2 and ISO 14230-2 name them. The wake-up pattern of the fast
/// initialisation is no byte and not seen here. Byte times are as exact as the link states its own.

#include <cmath>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

namespace pin16::kline {

/// 8N1 at 10400 baud.
constexpr double kByte_ms = 10 * 1e3 / 10400;
constexpr std::uint8_t kSync = 0x55;
constexpr double kRounding_ms = 1e-6;

struct Times {
  std::vector<double> ms;
  std::vector<std::uint64_t> sequences;
  void add(double value_ms, std::uint64_t sequence) {
    ms.push_back(value_ms);
    sequences.push_back(sequence);
  }
};

class Line {
 public:
  /// A byte that ended at `t_ms` (any origin); ours or the other side's.
  void byte(double t_ms, std::uint8_t value, bool ours, std::uint64_t sequence) {
    const double start_ms = t_ms - kByte_ms;
    // Bytes without a gap between them differ by rounding.
    const double gap_ms = start_ms - last_ms_;
    if (seen_) gap(std::abs(gap_ms) < kRounding_ms ? 0 : gap_ms, value, ours, sequence);
    // An address byte takes 2 s at 5 baud and is told when it is over: silence came before it.
    if (ours && (!seen_ || start_ms - last_ms_ > kIdle_ms) && state_ == State::talking)
      state_ = State::address, address_ = value;
    seen_ = true;
    last_ms_ = t_ms;
    last_ours_ = ours;
  }
  [[nodiscard]] const std::map<std::string, Times>& times() const { return times_; }

 private:
  enum class State : std::uint8_t { talking, address, sync, key1, key2, inverted };
  static constexpr double kIdle_ms = 300;  // W5: idle before an address byte, ISO 14230-2

  void gap(double ms, std::uint8_t value, bool ours, std::uint64_t sequence) {
    const auto next = [&](State to, const char* name) {
      state_ = to;
      times_[name].add(ms, sequence);
    };
    switch (state_) {
      case State::address:
        if (!ours && value == kSync) return next(State::sync, "W1");
        break;  // no initialisation: an ordinary request after a pause
      case State::sync:
        if (!ours) return next(State::key1, "W2");
        break;
      case State::key1:
        if (!ours) return next(State::key2, "W3"), void(key2_ = value);
        break;
      case State::key2:
        if (ours && value == static_cast<std::uint8_t>(~key2_)) return next(State::inverted, "W4");
        break;
      case State::inverted:
        if (!ours && value == static_cast<std::uint8_t>(~address_)) return next(State::talking, "W4");
        break;
      case State::talking:
        break;
    }
    state_ = State::talking;
    if (last_ours_ && ours) times_[ms <= kIdle_ms ? "P4" : "P3"].add(ms, sequence);
    if (last_ours_ && !ours) times_["P2"].add(ms, sequence);
    // Above P1 a new message of the other side begins, which is not told apart from a slow one here: P2
    // bounds it.
    if (!last_ours_ && !ours) times_[ms <= kBetweenMessages_ms ? "P1" : "P2"].add(ms, sequence);
    if (!last_ours_ && ours) times_["P3"].add(ms, sequence);
  }

  static constexpr double kBetweenMessages_ms = 25;  // P2 min, ISO 14230-2: an answer of another module

  bool seen_ = false, last_ours_ = false;
  double last_ms_ = 0;
  State state_ = State::talking;
  std::uint8_t address_ = 0, key2_ = 0;
  std::map<std::string, Times> times_;
};

}  // namespace pin16::kline
