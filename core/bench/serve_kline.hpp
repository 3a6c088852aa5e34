// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The bench's modules on a K-line behind a plain lead, seen from the lead's serial port: every byte of the
/// host comes back as echo, and after an initialisation the modules answer. Levels reach it as in
/// link/kline_pty.hpp, because a pty carries no break. Formats and times: ISO 9141-2, ISO 14230-2 and -4,
/// from the same tables as the link's, but read and made here on their own: no code of the link is used
/// beyond the check byte and the pty's coding.
///
/// Initialisation at 5 baud of 33 wakes every legislated module (functional in the scenario), of another
/// address the module with it; so does StartCommunication after the wake-up pattern. Pattern and bits are
/// judged: low 25 ms, +-1 ms unless told otherwise; levels in the middle of each 200 ms. The first module
/// that woke answers an initialisation at 5 baud for all (ISO 14230-2 leaves that to the modules; own rule).
///
/// Addresses and answers: line_modules.hpp.
/// Without supply at the connector the lead has none: nothing comes back, no echo either.

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/base/hex.hpp"
#include "core/base/result.hpp"
#include "core/bench/line_modules.hpp"
#include "core/bench/served_device.hpp"
#include "core/bench/world.hpp"
#include "core/link/kline_pty.hpp"

namespace pin16::bench {

struct KLineHabits {
  event::Medium medium = event::Medium::iso14230_4;
  bool five_baud = true, fast = true;  ///< ways of initialisation that wake the modules
  std::uint8_t key1 = 0xEF, key2 = 0x8F;
  double w1_ms = 100, w2_ms = 10, w3_ms = 10, w4_ms = 35;
  double p1_ms = 1;         ///< between bytes of an answer
  double p2_ms = 30;        ///< to the answer; a module's own delay counts if it is longer
  double tolerance_ms = 1;  ///< of the wake-up pattern's low time
  bool whole = false;       ///< ISO 14230: a long answer in one message, not in five of service 09
  bool echo = true;         ///< else the lead keeps it away
  bool held_low = false;    ///< the line is shorted: zeros come back
  double noise_share = 0;   ///< of the bytes to the host: another one, lost, or one more
  std::uint64_t seed = 1;
};
/// Of `--serve kline?key=value`. ErrorKind::usage.
[[nodiscard]] Result<KLineHabits> kLineHabits(
    const std::vector<std::pair<std::string, std::string>>& options);

/// Pure behaviour: no I/O, no clock, no threads.
class KLineLead final : public ServedDevice {
 public:
  KLineLead(World& world, Ns now_ns, Write write, KLineHabits habits = {});

  void take(Ns now_ns, std::string_view bytes) override;
  [[nodiscard]] Ns nextDue() const override;
  void onTime(Ns now_ns) override;

  /// Data of the requests that the modules took, with their target address before it.
  std::vector<Bytes> requests;
  /// Addresses that woke somebody or nobody, in order.
  std::vector<std::uint8_t> addresses;
  /// Longest distance of a level from its time, of the initialisations so far.
  [[nodiscard]] Ns worstLevel_ns() const { return worst_ns_; }
  [[nodiscard]] bool inSession() const { return !awake_.empty(); }

 private:
  struct Edge {
    bool low = false;
    Ns t_ns = 0;
  };
  void onLevel(bool low, Ns t_ns);
  void onByte(Ns now_ns, std::uint8_t byte);
  void readAddress(Ns now_ns);
  [[nodiscard]] bool wokenByPattern();
  void takeMessage(Ns now_ns);
  void answer(Ns now_ns, std::uint8_t target, bool functional, const Bytes& data);
  Ns sendMessage(Ns from_ns, std::uint8_t source, const Bytes& data);
  void later(Ns t_ns, std::uint8_t byte) { out_.emplace_back(t_ns, byte); }
  void put(std::uint8_t byte);
  [[nodiscard]] bool supplied() const { return world_.condition().interface_alive; }
  void sessionLost();

  World& world_;
  Write write_;
  KLineHabits habits_;
  Xorshift random_;
  link::KLinePtyReader reader_;
  bool low_ = false;
  std::vector<Edge> edges_;  ///< of the initialisation under way
  Ns address_due_ns_ = kNoTime;
  std::optional<std::uint8_t> await_inverse_;  ///< inverted key byte 2 from the host
  std::uint8_t address_ = 0;
  bool pattern_ = false;  ///< the wake-up pattern was seen, StartCommunication may come
  std::vector<std::size_t> awake_;
  Bytes in_;
  Ns in_ns_ = kNoTime;  ///< last byte of the host
  std::deque<std::pair<Ns, std::uint8_t>> out_;
  Ns last_ns_ = kNoTime;  ///< last byte on the line
  Ns worst_ns_ = 0;
};

}  // namespace pin16::bench
