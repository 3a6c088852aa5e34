// SPDX-License-Identifier: Apache-2.0
#pragma once
/// How often power came in a capture, and things woke: kept apart by how it is known.

#include <map>
#include <string>
#include <vector>

#include "core/event/frame.hpp"
#include "core/event/records.hpp"
#include "core/limits/limits.hpp"

namespace pin16::review {

struct PointRises {
  std::string point;
  std::uint64_t rises = 0;
  Ns last_ns = kNoTime;  ///< UTC
};
struct PowerFacts {
  std::uint64_t declared = 0;  ///< power-ups that an operator typed
  std::uint64_t measured = 0;  ///< that a link reported
  /// Per supply point that was sampled: from below supply.absent_max_V to supply.module_min_V. What is above
  /// at its first sample has not risen here. By name.
  std::vector<PointRises> rises;
  /// Traffic of others began on a bus that was silent for bus.asleep_ms, no supply having risen since:
  /// something called it awake. Requests and answers of diagnostics are no such traffic.
  std::uint64_t wake_ups = 0;
  Ns removed_ns = kNoTime;  ///< power was last taken off, UTC; kNoTime: it was not, or came again
  /// Of one point, the most: what a single meter at the feed saw.
  [[nodiscard]] std::uint64_t supplyRises() const;
};

/// Takes the stream in order, times UTC. One owner, one thread.
class PowerCounter {
 public:
  explicit PowerCounter(const limits::Limits& limits);
  void power(Ns t_ns, const event::Power& p);
  void sample(Ns t_ns, const event::Measurement& m);
  void state(std::uint16_t link, Ns t_ns, const event::LinkState& state);
  void gap(std::uint16_t link, Ns to_ns);  ///< kNoLink: all
  void frame(std::uint16_t link, Ns t_ns, const event::CanFrame& frame, bool outbound);
  [[nodiscard]] PowerFacts facts() const;

 private:
  double threshold_V_, dead_V_;
  Ns asleep_ns_;
  PowerFacts facts_;
  event::PowerState power_ = event::PowerState::unknown;
  struct Point {
    PointRises rises;
    bool armed = false;
  };
  std::map<std::string, Point> points_;
  std::map<std::uint16_t, Ns> quiet_since_ns_;  ///< by link: since when it could have heard something
  Ns rose_ns_ = kNoTime;                        ///< any point, or what a link reported
};

}  // namespace pin16::review
