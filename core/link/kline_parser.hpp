// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Bytes of a K-line, cut or joined anywhere, to whole messages with a right sum. Pure: no I/O, time is
/// injected, memory bounded. One thread.
///
/// ISO 14230-2: the format byte (A1 A0 L5..L0) tells addresses and length; 01xxxxxx is no such header. A
/// message is told once its last byte is there.
/// ISO 9141-2: nothing tells the length (SAE J1979: 1 to 7 bytes of data behind the header); a message ends
/// where the line goes quiet. Messages that were joined on the way are parted where a sum is right and the
/// next byte begins a header (48 6B, 68 6A).
///
/// What makes no message is damage: told with its bytes, and reading goes on at the next byte that can begin
/// one. Times are those of the bytes' ends; of bytes that came in one read, the last one's is the read's, the
/// others lie 10 bits each before it.

#include <cstdint>
#include <string>
#include <vector>

#include "core/event/records.hpp"

namespace pin16::link {

/// 8N1 at 10400 bit/s (ISO 9141-2, ISO 14230-1): 10 bits.
inline constexpr std::uint32_t kKLineBaud = 10400;
inline constexpr Ns kKLineByte_ns = 10 * kNsPerSecond / kKLineBaud;

struct KLineItem {
  bool damaged = false;
  event::Line line;     ///< not damaged; its first_ns is set, `ours` not
  Ns end_ns = kNoTime;  ///< of the last byte
  Bytes bytes;          ///< damaged: what made no message
  std::string why;      ///< damaged
};

class KLineParser {
 public:
  /// Longest message: format, addresses, length byte, 255 data bytes, sum.
  static constexpr std::size_t kMessageMax = 4 + 255 + 1;
  /// ISO 9141-2: more than this without a pause is parted without waiting for one (six whole messages).
  static constexpr std::size_t kBurstMax = 66;

  /// `quiet_ns`: after so long without a byte a message is over (P1 max, and what the port may add).
  KLineParser(event::Medium medium, Ns quiet_ns) : medium_(medium), quiet_ns_(quiet_ns) {}
  /// Appends what `bytes`, of which the last ended at `t_ns`, complete.
  void take(Ns t_ns, ByteView bytes, std::vector<KLineItem>& out);
  /// Time passes without bytes.
  void onTime(Ns now_ns, std::vector<KLineItem>& out);
  /// When onTime() is due; kNoTime: nothing waits.
  [[nodiscard]] Ns due() const { return bytes_.empty() ? kNoTime : ends_ns_.back() + quiet_ns_; }
  [[nodiscard]] std::size_t pending() const { return bytes_.size(); }
  /// Bytes so far that made no message.
  [[nodiscard]] std::uint64_t damaged() const { return damaged_; }
  /// Forgets what has begun; `medium` from now on.
  void restart(event::Medium medium);

 private:
  void cut(bool quiet, std::vector<KLineItem>& out);
  [[nodiscard]] std::size_t wholeKwp(std::size_t at, bool& more) const;
  [[nodiscard]] std::size_t wholeLegislated(std::size_t at) const;
  [[nodiscard]] bool sumRight(std::size_t at, std::size_t size) const;
  [[nodiscard]] bool headerAt(std::size_t at) const;
  [[nodiscard]] KLineItem message(std::size_t at, std::size_t size) const;
  void tellDamage(std::size_t from, std::size_t to, std::vector<KLineItem>& out);
  void drop(std::size_t count);

  event::Medium medium_;
  Ns quiet_ns_;
  Bytes bytes_;
  std::vector<Ns> ends_ns_;  ///< of each byte
  std::uint64_t damaged_ = 0;
};

/// Takes the echo of our own bytes out of what is received: on one wire everything sent comes back.
class KLineEcho {
 public:
  /// These go out and must come back in this order.
  void expect(ByteView bytes) { expected_.insert(expected_.end(), bytes.begin(), bytes.end()); }
  /// How many of `bytes`, from the first on, are echo. After a byte that differs nothing more is expected,
  /// and collided() is true until forget().
  [[nodiscard]] std::size_t match(ByteView bytes);
  [[nodiscard]] bool waiting() const { return !expected_.empty(); }
  [[nodiscard]] bool collided() const { return collided_; }
  void forget() {
    expected_.clear();
    collided_ = false;
  }

 private:
  Bytes expected_;
  bool collided_ = false;
};

}  // namespace pin16::link
