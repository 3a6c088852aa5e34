// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The initialisation of a K-line as a dialogue, ISO 9141-2 and ISO 14230-2. Pure: bytes and times in, what
/// to send out; time is injected. One thread.
///
/// At 5 baud: address byte | W1 | 55 | W2 | key byte 1 | W3 | key byte 2 | W4 | its inversion, from us | W4 |
/// inverted address. Fast: wake-up pattern (TiniL low, TWuP in all), StartCommunication, its answer
/// C1 key byte 1 key byte 2, within P2. Every time is kept beside its limit (limits/timing.cpp); one outside
/// of it is told and does not end the dialogue: only what is missing or differs does.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/event/records.hpp"
#include "core/limits/limits.hpp"

namespace pin16::link {

/// A time of the initialisation against its limit.
struct InitTime {
  std::string name;  ///< W1 .. W5, TiniL, TWuP, P2
  double ms = 0;
  double min_ms = -1, max_ms = -1;  ///< -1 none
  [[nodiscard]] bool ok() const { return (min_ms < 0 || ms >= min_ms) && (max_ms < 0 || ms <= max_ms); }
};

struct InitOutcome {
  bool done = false;
  std::string fault;  ///< not done: what is missing or differs
  event::Medium medium = event::Medium::iso9141_2;
  std::uint8_t key1 = 0, key2 = 0;
  std::vector<InitTime> times;
};
/// "W1 120.0 ms (60 to 300), W2 ...; key bytes 08 08": one outside of its limit is marked.
[[nodiscard]] std::string toText(const InitOutcome& outcome);

/// What key bytes mean: 08 08 and 94 94 are ISO 9141-2, 8F second is ISO 14230-4; nothing else is legislated.
[[nodiscard]] std::optional<event::Medium> mediumOf(std::uint8_t key1, std::uint8_t key2);

class KLineInit {
 public:
  KLineInit(const limits::Limits& limits, std::uint8_t address);

  /// A time of our own sending: W5, TiniL, TWuP. Names of its limits; none: nullptr.
  void note(const char* name, double ms, const char* min_limit, const char* max_limit);
  /// 5 baud: the address byte's stop bit ended at `t_ns`.
  void addressSent(Ns t_ns);
  /// Fast: StartCommunication ended at `t_ns`.
  void startSent(Ns t_ns);
  /// A byte of the other side that ended at `t_ns` (5 baud).
  void onByte(Ns t_ns, std::uint8_t byte);
  /// A whole message of the other side (fast).
  void onLine(const event::Line& line);
  /// Our inverted key byte began at `begin_ns` and ended at `t_ns`.
  void inverseSent(Ns begin_ns, Ns t_ns);
  /// What has to be sent now: the inverted key byte 2, not before `when`.
  struct Reply {
    std::uint8_t byte = 0;
    Ns not_before_ns = 0;
  };
  [[nodiscard]] std::optional<Reply> takeReply();
  /// When onTime() is due; kNoTime: nothing is awaited.
  [[nodiscard]] Ns deadline() const { return outcome_ ? kNoTime : deadline_ns_; }
  void onTime(Ns now_ns);
  /// Once it has come to an end.
  [[nodiscard]] const std::optional<InitOutcome>& outcome() const { return outcome_; }

 private:
  enum class Await : std::uint8_t { nothing, sync, key1, key2, sending, inverse, started };
  void expect(Await what, Ns from_ns, const char* limit_max);
  void fail(std::string fault);
  void finish(event::Medium medium);
  [[nodiscard]] double limit(const char* name) const { return limits_.value(name); }

  const limits::Limits& limits_;
  const std::uint8_t address_;
  Await await_ = Await::nothing;
  Ns from_ns_ = kNoTime;  ///< of the time that runs
  Ns deadline_ns_ = kNoTime;
  InitOutcome so_far_;
  std::optional<Reply> reply_;
  std::optional<InitOutcome> outcome_;
};

}  // namespace pin16::link
