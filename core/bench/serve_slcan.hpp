// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The bench's interface as a serial CAN adapter: the ASCII protocol that the kernel's slcan driver speaks, a
/// command a line, ended by CR. Done is answered by CR, refused by BEL. What the driver makes of the lines
/// from the adapter is proven in tests/vm.
///
/// | from the host | means |
/// |---|---|
/// | `S0` .. `S8` | 10, 20, 50, 100, 125, 250, 500, 800, 1000 kbit/s; only while closed |
/// | `O`, `L`, `C` | open, open listen-only, close; opening needs a rate, empties queue and error counters |
/// | `tIIIN..`, `TIIIIIIIIN..`, `rIIIN`, `RIIIIIIIIN` | send a frame, N bytes; answered `z` or `Z`: queued |
/// | `F` | `Fxx`: flags since the last `F` (below); only while open |
/// | `Z0`, `Z1` | time stamps off, on: four hex digits, ms within the minute; only while closed |
/// | `V`, `N` | version, serial number |
///
/// To the host: frames in the same form, `eN` and N letters for bus errors, `s`, state letter, receive and
/// transmit error counter of three digits each. Its computer side lives from the computer: without supply on
/// the bench it still answers, hears nothing and refuses frames. The bench counts no receive errors: 000.

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <utility>

#include "core/bench/served_device.hpp"
#include "core/bench/world.hpp"

namespace pin16::bench {

/// What an adapter of less virtue does; the defaults are as in the table above.
struct SlcanHabits {
  Ns delay_ns = 0;           ///< slow: everything is written that much later
  unsigned noise_every = 0;  ///< noisy: a line of rubbish before each so-many-th line; 0 never
  bool stamps = true;        ///< knows Z1
  bool listens = true;       ///< knows L
  bool tells = true;         ///< knows V, N and F
  bool confirms = true;      ///< z and Z; else CR alone
};

/// Pure protocol: no I/O, no clock, no threads.
class SlcanAdapter final : public ServedDevice {
 public:
  /// `world` must outlive the adapter and is closed to it until the host opens it.
  SlcanAdapter(World& world, Ns now_ns, Write write, const SlcanHabits& habits = {});

  void take(Ns now_ns, std::string_view bytes) override;
  [[nodiscard]] Ns nextDue() const override { return late_.empty() ? kNoTime : late_.front().first; }
  void onTime(Ns now_ns) override;
  void onFrame(Ns t_ns, const event::CanFrame& frame, bool outbound) override;
  void onController(std::string_view state, int tx_errors) override;
  void onOverrun() override;

  /// Longest line from the host: `T`, 8 + 1 + 16 hex digits.
  static constexpr std::size_t kLineMax = 26;
  // Flags of `F`.
  static constexpr unsigned kQueueFull = 0x02, kWarning = 0x04, kOverrun = 0x08, kPassive = 0x20,
                            kBusError = 0x80;

 private:
  void obey(Ns now_ns, std::string_view line);
  [[nodiscard]] bool open(Ns now_ns, bool listen_only);
  [[nodiscard]] bool sendFrame(Ns now_ns, std::string_view line);
  void frameLine(Ns t_ns, const event::CanFrame& frame);
  void errorLine(const event::CanFrame& frame);
  void say(std::string text);

  World& world_;
  Write write_;
  SlcanHabits habits_;
  Xorshift noise_{1};
  unsigned lines_ = 0;
  Ns now_ns_;
  std::deque<std::pair<Ns, std::string>> late_;  ///< waits for its time
  std::string line_;
  bool too_long_ = false;
  bool open_ = false;
  bool stamps_ = false;
  std::uint32_t bitrate_ = 0;  ///< 0: not set yet
  unsigned flags_ = 0;
};

}  // namespace pin16::bench
