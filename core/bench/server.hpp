// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The diagnostic server inside a simulated module: takes frames, answers over ISO 15765-2. Time is injected,
/// no I/O, no threads.
///
/// Unknown requests: ISO 14229-1 negative responses 11 (service), 31 (identifier), 13 (length); none of 11
/// and 31 to a functional request, and none to an unsupported item of a legislated service (ISO 15031-5). To
/// an unknown item of service 1A (KWP, ISO 14230-3) 12, from memory.

#include <cstdint>
#include <deque>
#include <utility>
#include <vector>

#include "core/bench/scenario.hpp"
#include "core/event/frame.hpp"
#include "core/protocol/isotp.hpp"

namespace pin16::bench {

/// ISO 15765-4: the legislated functional request identifiers.
inline constexpr std::uint32_t kFunctionalStandard = 0x7DF;
inline constexpr std::uint32_t kFunctionalExtended = 0x18DB33F1;

/// A small generator of our own, so that a seed gives the same numbers everywhere.
class Xorshift {
 public:
  explicit Xorshift(std::uint64_t seed) : state_(seed * 0x9E3779B97F4A7C15ULL | 1U) {}
  /// Evenly spread over 0..1, 1 excluded.
  double share() {
    state_ ^= state_ << 13U;
    state_ ^= state_ >> 7U;
    state_ ^= state_ << 17U;
    return static_cast<double>(state_ >> 11U) * 0x1p-53;
  }

 private:
  std::uint64_t state_;
};

/// What the module says to a request, service byte first; empty: nothing.
[[nodiscard]] Bytes answerOf(const Module& module, const Bytes& request, bool functional);

class Server {
 public:
  Server(const Module& module, std::uint64_t seed);

  struct Outgoing {
    event::CanFrame frame;
    bool of_answer = false;  ///< onConfirmed() is awaited for it
  };
  /// The module is another one from now on (a fault); what is under way stays.
  void change(const Module& module) { module_ = module; }
  /// Delay and jitter of answers planned from now on are multiplied by it.
  void slow(double factor) { slow_factor_ = factor; }

  /// Each returns what the module now wants to send.
  [[nodiscard]] std::vector<Outgoing> onFrame(Ns t_ns, const event::CanFrame& frame);
  [[nodiscard]] std::vector<Outgoing> onConfirmed(Ns t_ns);
  [[nodiscard]] std::vector<Outgoing> onTime(Ns t_ns);
  /// When onTime() wants to be called next; kNoTime never.
  [[nodiscard]] Ns nextDeadline() const;

 private:
  void plan(Ns t_ns, const Bytes& request, bool functional);
  void take(const protocol::Sender::Output& from_sender, std::vector<Outgoing>& out);

  Module module_;
  double slow_factor_ = 1;
  Xorshift random_;
  protocol::Receiver physical_;
  protocol::Receiver functional_;
  protocol::Sender sender_;
  std::deque<std::pair<Ns, Bytes>> planned_;  ///< answers and when each starts
};

}  // namespace pin16::bench
