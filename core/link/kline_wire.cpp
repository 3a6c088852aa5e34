// SPDX-License-Identifier: Apache-2.0
#include "core/link/kline_wire.hpp"

#include <fcntl.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <utility>

#include "core/link/kline_parser.hpp"
#include "core/link/kline_pty.hpp"

namespace pin16::link {
namespace {

/// From here on the clock is looked at instead of slept: a wake-up is seldom later than that (own figure).
constexpr Ns kLook_ns = 300'000;
constexpr Ns kWakeUpLow_ns = 25 * kNsPerMs, kWakeUp_ns = 50 * kNsPerMs;
constexpr Ns kP4Least_ns = 5 * kNsPerMs;
constexpr std::size_t kJobsMost = 16;

class Descriptor : public KLinePort {
 public:
  explicit Descriptor(int fd) : fd_(::fcntl(fd, F_DUPFD_CLOEXEC, 0)) {}
  ~Descriptor() override {
    if (fd_ >= 0) ::close(fd_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  bool write(std::uint8_t byte) override { return put({&byte, 1}); }

 protected:
  [[nodiscard]] int fd() const { return fd_; }
  bool put(ByteView bytes) const {
    ssize_t n = 0;
    do n = ::write(fd_, bytes.data(), bytes.size());
    while (n < 0 && errno == EINTR);
    return n == static_cast<ssize_t>(bytes.size());
  }

 private:
  int fd_;
};

class RealPort final : public Descriptor {
 public:
  RealPort(int fd, KLineDrive drive) : Descriptor(fd), drive_(drive) {}
  ~RealPort() override { (void)setLow(false); }
  bool setLow(bool low) override {
    if (drive_ == KLineDrive::brk) return ::ioctl(fd(), low ? TIOCSBRK : TIOCCBRK) == 0;
    const int line = drive_ == KLineDrive::rts ? TIOCM_RTS : TIOCM_DTR;
    return ::ioctl(fd(), low ? TIOCMBIS : TIOCMBIC, &line) == 0;
  }

 private:
  KLineDrive drive_;
};

class PtyPort final : public Descriptor {
 public:
  explicit PtyPort(int fd) : Descriptor(fd) {}
  bool setLow(bool low) override { return put(ptyLevel(low, bootNow())); }
  bool write(std::uint8_t byte) override { return put(ptyByte(byte)); }
};

int makeEvent() { return ::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK); }
void raise(int event) {
  const std::uint64_t one = 1;
  (void)!::write(event, &one, sizeof one);  // it is non-zero from the first time on
}

}  // namespace

std::unique_ptr<KLinePort> makeKLinePort(int fd, bool pty, KLineDrive drive) {
  if (pty) return std::make_unique<PtyPort>(fd);
  return std::make_unique<RealPort>(fd, drive);
}

KLineJob fiveBaud(std::uint8_t address, Ns not_before_ns) {
  KLineJob job{not_before_ns, {}};
  bool low = false;
  const auto level = [&](bool now_low, int bit) {
    if (now_low == low) return;
    low = now_low;
    job.steps.push_back({low ? KLineStep::What::low : KLineStep::What::high, bit * kFiveBaudBit_ns, 0});
  };
  level(true, 0);
  for (int bit = 0; bit < 8; ++bit) level(((address >> bit) & 1) == 0, bit + 1);
  level(false, 9);
  // The end of the stop bit, which changes no level.
  job.steps.push_back({KLineStep::What::high, 10 * kFiveBaudBit_ns, 0});
  return job;
}

KLineJob wakeUp(ByteView start_communication, Ns not_before_ns) {
  KLineJob job{not_before_ns, {{KLineStep::What::low, 0, 0}, {KLineStep::What::high, kWakeUpLow_ns, 0}}};
  Ns at_ns = kWakeUp_ns;
  for (const std::uint8_t byte : start_communication) {
    job.steps.push_back({KLineStep::What::byte, at_ns, byte});
    at_ns += kKLineByte_ns + kP4_ns;
  }
  return job;
}

KLineJob bytesJob(ByteView bytes, Ns not_before_ns) {
  KLineJob job{not_before_ns, {}};
  Ns at_ns = 0;
  for (const std::uint8_t byte : bytes) {
    job.steps.push_back({KLineStep::What::byte, at_ns, byte});
    at_ns += kKLineByte_ns + kP4_ns;
  }
  return job;
}

KLineWire::KLineWire(std::unique_ptr<KLinePort> port)
    : port_(std::move(port)), jobs_(kJobsMost), wake_fd_(makeEvent()), idle_fd_(makeEvent()), thread_([this] {
        run();
      }) {}

KLineWire::~KLineWire() {
  raise(wake_fd_);
  jobs_.close();
  thread_.join();
  ::close(wake_fd_);
  ::close(idle_fd_);
}

void KLineWire::start(KLineJob job, Done done) {
  auto refused = done;
  if (!jobs_.push({std::move(job), std::move(done)}, 1)) refused({});
}

void KLineWire::finish(Ns most_ns) {
  jobs_.close();
  pollfd idle{idle_fd_, POLLIN, 0};
  (void)::poll(&idle, 1, static_cast<int>(most_ns / kNsPerMs));
}

void KLineWire::run() {
  while (!jobs_.finished())
    if (auto given = jobs_.pop(std::chrono::seconds(1))) given->done(perform(given->job));
  raise(idle_fd_);
}

bool KLineWire::sleepUntil(Ns t_ns) {
  pollfd wake{wake_fd_, POLLIN, 0};
  for (;;) {
    const Ns left_ns = t_ns - bootNow();
    if (left_ns <= kLook_ns) break;
    const Ns nap_ns = left_ns - kLook_ns;
    const timespec nap{nap_ns / kNsPerSecond, nap_ns % kNsPerSecond};
    if (::ppoll(&wake, 1, &nap, nullptr) > 0) return false;
  }
  if (::poll(&wake, 1, 0) > 0) return false;
  while (bootNow() < t_ns) {
  }
  return true;
}

KLineDone KLineWire::perform(const KLineJob& job) {
  KLineDone done;
  done.begin_ns = std::max(job.not_before_ns, bootNow() + kLook_ns);
  Ns last_byte_ns = kNoTime;
  for (const KLineStep& step : job.steps) {
    const Ns planned_ns = done.begin_ns + step.at_ns;
    const bool is_byte = step.what == KLineStep::What::byte;
    // After a late byte the next one keeps its distance.
    const Ns from_ns = is_byte && last_byte_ns != kNoTime
                           ? std::max(planned_ns, last_byte_ns + kKLineByte_ns + kP4Least_ns)
                           : planned_ns;
    if (!sleepUntil(from_ns)) {
      (void)port_->setLow(false);
      return done;
    }
    const Ns now_ns = bootNow();
    const bool ok = is_byte ? port_->write(step.byte) : port_->setLow(step.what == KLineStep::What::low);
    if (is_byte) last_byte_ns = now_ns;
    done.times_ns.push_back(now_ns);
    done.worst_ns = std::max(done.worst_ns, now_ns - planned_ns);
    if (!ok) return done;
  }
  done.ok = true;
  return done;
}

}  // namespace pin16::link
