// SPDX-License-Identifier: Apache-2.0
#pragma once
/// An ISO-TP sender and a receiver with a bus between them, on simulated time.

#include <gtest/gtest.h>

#include <algorithm>
#include <deque>
#include <optional>
#include <random>
#include <utility>
#include <vector>

#include "core/protocol/isotp.hpp"

namespace pin16::protocol {

inline constexpr Pair kTester = {0x7E0, 0x7E8, false};  // sends 7E0
inline constexpr Pair kModule = {0x7E8, 0x7E0, false};
constexpr Ns kFrameTime_ns = 250'000;

inline Bytes counting(std::size_t n) {
  Bytes b(n);
  for (std::size_t i = 0; i < n; ++i) b[i] = static_cast<std::uint8_t>(i * 7 + i / 256);
  return b;
}
/// The same conversation seen from the other node.
inline Pair otherEnd(Pair p) {
  std::swap(p.tx_id, p.rx_id);
  std::swap(p.tx_prefix, p.rx_prefix);
  return p;
}
inline Sender::Settings fdSettings(bool fd) {
  Sender::Settings s;
  s.fd = fd;
  return s;
}

/// Every addressing, 11 and 29 bit; `n` gives each its own identifiers (below 0x40) and prefixes, from 1 on.
inline std::vector<Pair> everyAddressing(std::uint32_t n = 0) {
  const auto a = static_cast<std::uint8_t>(0x40 + n);
  const auto b = static_cast<std::uint8_t>(0x80 + n);
  const std::uint32_t id11 = 0x600 + 4 * n;
  const std::uint32_t id29 = 0x1ABC0000 + 4 * n;
  return {{id11, id11 + 1, false},
          {id29, id29 + 1, true},
          Pair::normalFixed(a, 0xF1),
          {id11 + 2, id11 + 3, false, Addressing::extended, a, b},
          {id29 + 2, id29 + 3, true, Addressing::extended, a, b},
          {id11 + 0x100, id11 + 0x101, false, Addressing::mixed, a, a},
          Pair::mixed(a, 0xF1, b)};
}

/// Numbers that repeat on every machine.
struct Dice {
  explicit Dice(std::uint64_t seed) : engine(seed) {}
  std::size_t below(std::size_t n) { return static_cast<std::size_t>(engine() % n); }
  Bytes bytes(std::size_t n) {
    Bytes b(n);
    for (auto& v : b) v = static_cast<std::uint8_t>(engine());
    return b;
  }
  std::mt19937_64 engine;
};

/// Two ends and a bus between them that can lose, double or swap frames. Each frame takes kFrameTime_ns.
struct Wire {
  Wire(Pair pair, const Sender::Settings& ss, const Receiver::Settings& rs)
      : tx(pair, ss), rx(otherEnd(pair), rs) {}
  explicit Wire(bool fd, const Receiver::Settings& rs = {}) : Wire(kTester, fdSettings(fd), rs) {}
  Sender tx;
  Receiver rx;
  Ns now_ns = 0;
  std::size_t count = 0;                      ///< data frames that went over
  std::size_t lose = 0, twice = 0, swap = 0;  ///< the number of the frame this happens to, 0 = never
  std::deque<event::CanFrame> sent, flow;
  std::optional<std::size_t> waits;  ///< a receiver that holds proceeds after so many FC.WAIT
  std::vector<Ns> sent_at_ns;
  std::optional<Bytes> got;
  std::optional<Failure> tx_failed, rx_failed;
  bool tx_done = false;

  void take(const Sender::Output& o) {
    if (o.failed) tx_failed = o.failed;
    if (o.done) tx_done = true;
    if (o.send) carry(*o.send);
  }
  void carry(const event::CanFrame& f) {
    now_ns += kFrameTime_ns;
    sent.push_back(f);
    sent_at_ns.push_back(now_ns);
    pending_confirm = true;
    ++count;
    if (count == lose) return;
    if (count == swap) {
      held = f;
      return;
    }
    deliver(f);
    if (count == twice) deliver(f);
    if (held) {
      const event::CanFrame late = *held;
      held.reset();
      deliver(late);
    }
  }
  void deliver(const event::CanFrame& f) {
    const auto o = rx.onFrame(now_ns, f);
    if (o.failed) rx_failed = o.failed;
    if (o.message) got = o.message;
    if (o.send) answers.push_back(rx.frame(*o.send));
  }
  void run(const Bytes& message) {
    take(tx.start(now_ns, message));
    for (int guard = 0; guard < 20000; ++guard) {
      if (pending_confirm) {
        pending_confirm = false;
        take(tx.onConfirmed(now_ns));
      } else if (!answers.empty()) {
        const event::CanFrame fc = answers.front();
        answers.pop_front();
        now_ns += kFrameTime_ns;
        flow.push_back(fc);
        rx.onConfirmed(now_ns);
        take(tx.onFrame(now_ns, fc));
      } else {
        Ns due = tx.nextDeadline();
        if (due == kNoTime || (rx.nextDeadline() != kNoTime && rx.nextDeadline() < due))
          due = rx.nextDeadline();
        if (due == kNoTime) return;
        now_ns = std::max(now_ns, due);
        take(tx.onTime(now_ns));
        const auto o = rx.onTime(now_ns);
        if (o.failed) rx_failed = o.failed;
        if (o.send) answers.push_back(rx.frame(*o.send));
      }
      if (waits && waitsInARow() == *waits) {
        const auto o = rx.proceed(now_ns);  // nothing unless held
        if (o.send) answers.push_back(rx.frame(*o.send));
      }
    }
    FAIL() << "no end";
  }
  [[nodiscard]] std::size_t waitsInARow() const {
    std::size_t n = 0;
    while (n < flow.size() && flow[flow.size() - 1 - n].data[rx.pair().prefixSize()] == 0x31) ++n;
    return n;
  }
  bool pending_confirm = false;
  std::optional<event::CanFrame> held;
  std::deque<event::CanFrame> answers;
};

}  // namespace pin16::protocol
