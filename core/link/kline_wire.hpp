// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What has to happen on a K-line at exact times: levels of an initialisation, bytes with their pauses (P4).
///
/// One thread of its own (KLineWire) does one job after the other on a duplicate of the port's descriptor, by
/// absolute times of CLOCK_BOOTTIME: it sleeps until shortly before, then waits by looking at the clock. Each
/// step's real time is taken and its distance from the planned one told with the job's end.
///
/// Below that is one primitive, KLinePort: the level of the line, and a byte. On a real port the level is a
/// break (TIOCSBRK, TIOCCBRK: the transmit line held low), or a modem line for leads that are driven so. A
/// pseudo terminal carries neither: only if the port is one, both are told in band (kline_pty.hpp), for the
/// bench's served module and for tests. Everything above is the same.

#include <cstdint>
#include <functional>
#include <memory>
#include <thread>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"
#include "core/base/queue.hpp"

namespace pin16::link {

/// How a level is made; the lead decides.
enum class KLineDrive : std::uint8_t {
  brk,  ///< break: TXD held low
  rts,  ///< RTS set: common practice for leads with an L line, no source
  dtr,
};

class KLinePort {
 public:
  virtual ~KLinePort() = default;
  /// False: the port cannot, or is gone.
  virtual bool setLow(bool low) = 0;
  virtual bool write(std::uint8_t byte) = 0;
};
/// On a duplicate of `fd`; `pty`: it is a pseudo terminal.
[[nodiscard]] std::unique_ptr<KLinePort> makeKLinePort(int fd, bool pty, KLineDrive drive);

/// One step: not before its time, which counts from the job's begin.
struct KLineStep {
  enum class What : std::uint8_t { low, high, byte } what = What::byte;
  Ns at_ns = 0;
  std::uint8_t byte = 0;
};

struct KLineJob {
  Ns not_before_ns = 0;
  std::vector<KLineStep> steps;
};
/// Address at 5 baud: start bit, 8 data bits from the lowest on, stop bit; 200 ms each (ISO 9141-2).
[[nodiscard]] KLineJob fiveBaud(std::uint8_t address, Ns not_before_ns);
/// 25 ms low, 25 ms high, then the bytes (ISO 14230-2).
[[nodiscard]] KLineJob wakeUp(ByteView start_communication, Ns not_before_ns);
/// Bytes, P4 apart.
[[nodiscard]] KLineJob bytesJob(ByteView bytes, Ns not_before_ns);
inline constexpr Ns kFiveBaudBit_ns = 200 * kNsPerMs;
/// Between bytes of ours: within P4, 5 to 20 ms, with room for what the port adds.
inline constexpr Ns kP4_ns = 6 * kNsPerMs;

/// What became of a job.
struct KLineDone {
  bool ok = false;           ///< false: the port cannot, or is gone
  std::vector<Ns> times_ns;  ///< of each step, when it was handed to the port
  Ns begin_ns = 0;           ///< planned
  Ns worst_ns = 0;           ///< latest step against its plan; it is never early
};

class KLineWire {
 public:
  /// `done` is called on the wire's thread.
  using Done = std::function<void(KLineDone)>;
  explicit KLineWire(std::unique_ptr<KLinePort> port);
  /// Ends at once, in the middle of a job too (the level is left high).
  ~KLineWire();
  KLineWire(const KLineWire&) = delete;
  KLineWire& operator=(const KLineWire&) = delete;

  void start(KLineJob job, Done done);
  /// Takes no more jobs and waits until those given are done, at most `most_ns`.
  void finish(Ns most_ns);

 private:
  struct Given {
    KLineJob job;
    Done done;
  };
  void run();
  [[nodiscard]] KLineDone perform(const KLineJob& job);
  /// False: it was told to end.
  [[nodiscard]] bool sleepUntil(Ns t_ns);

  std::unique_ptr<KLinePort> port_;
  Queue<Given> jobs_;
  int wake_fd_ = -1;  ///< eventfd: end at once
  int idle_fd_ = -1;  ///< eventfd: the thread has ended
  std::thread thread_;
};

}  // namespace pin16::link
