// SPDX-License-Identifier: Apache-2.0
/// A serial CAN adapter at full speed on a pty, and how late its frames reach the host of the link.
///
///   slcan_speed measure SECONDS FRAMES_PER_S    both ends; prints figures; fails if a frame is lost or p99 >
///   5 ms slcan_speed device PATH SECONDS FRAMES_PER_S    the adapter alone behind PATH; prints the frames it
///   wrote
///
/// 7000 frames/s is above what 500 kbit/s carry (8 data bytes: about 4500). Each frame bears the time of its
/// writing as data and its number as identifier. A frame that the pty does not take is thrown away, as an
/// adapter does.
#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>
#include <vector>

#include "core/base/clock.hpp"
#include "core/link/link.hpp"

namespace {

using namespace pin16;

constexpr std::uint32_t kNumbers = 0x800;  // 11 bit identifiers
constexpr double kLateMost_ms = 5;

class Device {
 public:
  Device() {
    fd_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (fd_ < 0 || ::grantpt(fd_) != 0 || ::unlockpt(fd_) != 0) std::abort();
    char name[128];
    ::ptsname_r(fd_, name, sizeof name);
    name_ = name;
    theirs_ = ::open(name, O_RDWR | O_NOCTTY);
    termios raw{};
    ::tcgetattr(theirs_, &raw);
    ::cfmakeraw(&raw);
    ::tcsetattr(theirs_, TCSANOW, &raw);
  }
  [[nodiscard]] const std::string& name() const { return name_; }

  /// Answers until opened, then sends; the number of frames sent, thrown away ones included.
  std::uint64_t run(double seconds, double frames_per_s) {
    while (!open_) answer(1000);
    const Ns start_ns = bootNow();
    const auto total = static_cast<std::uint64_t>(seconds * frames_per_s);
    for (std::uint64_t n = 0; n < total;) {
      const double passed_s = static_cast<double>(bootNow() - start_ns) * 1e-9;
      const auto due = std::min(total, static_cast<std::uint64_t>(passed_s * frames_per_s));
      for (; n < due; ++n) frame(n);
      const timespec pause{0, 500'000};
      ::nanosleep(&pause, nullptr);
      answer(0);
    }
    return total;
  }
  /// What the host still asks.
  void settle() {
    for (int i = 0; i < 20; ++i) answer(100);
  }

 private:
  void answer(int wait_ms) {
    pollfd p{fd_, POLLIN, 0};
    char room[4096];
    if (::poll(&p, 1, wait_ms) <= 0) return;
    const ssize_t n = ::read(fd_, room, sizeof room);
    for (ssize_t i = 0; i < n; ++i) {
      if (room[i] != '\r') {
        line_ += room[i];
        continue;
      }
      put(line_ == "V" ? "V0001\r" : line_ == "N" ? "N0001\r" : line_ == "F" ? "F00\r" : "\r");
      open_ = open_ || line_ == "L";
      line_.clear();
    }
  }
  void put(const std::string& text) {
    if (::write(fd_, text.data(), text.size()) != static_cast<ssize_t>(text.size())) ++thrown_;
  }
  void frame(std::uint64_t n) {
    const Ns now_ns = bootNow();
    put(fmt::format("t{:03X}8{:016X}{:04X}\r", n % kNumbers, static_cast<std::uint64_t>(now_ns),
                    now_ns / kNsPerMs % 60'000));
  }
  int fd_ = -1, theirs_ = -1;
  std::string name_, line_;
  bool open_ = false;
  std::uint64_t thrown_ = 0;
};

class Measure final : public link::Host {
 public:
  explicit Measure(std::size_t expected) { late_ns.reserve(expected); }
  void onFrame(std::uint16_t, Ns t_ns, const event::CanFrame& f, bool) override {
    const Ns now_ns = bootNow();
    std::uint64_t written_ns = 0;
    for (const std::uint8_t byte : f.payload()) written_ns = written_ns << 8U | byte;
    late_ns.push_back(now_ns - static_cast<Ns>(written_ns));
    worst_time_ns = std::max(worst_time_ns, std::abs(t_ns - static_cast<Ns>(written_ns)));
    lost += (f.id() + kNumbers - next_) % kNumbers;
    next_ = (f.id() + 1) % kNumbers;
  }
  void onRecord(std::uint16_t, Ns, event::Kind kind, ByteView packed) override {
    event::Loss loss;
    if (kind == event::Kind::loss && unpack(packed, loss)) told += loss.count;
  }
  std::vector<Ns> late_ns;
  Ns worst_time_ns = 0;
  std::uint64_t lost = 0, told = 0;

 private:
  std::uint32_t next_ = 0;
};

double cpu_s() {
  rusage use{};
  ::getrusage(RUSAGE_SELF, &use);
  return static_cast<double>(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
         static_cast<double>(use.ru_utime.tv_usec + use.ru_stime.tv_usec) * 1e-6;
}

int measure(double seconds, double frames_per_s) {
  Device device;
  const pid_t child = ::fork();
  if (child == 0) {
    device.run(seconds, frames_per_s);
    device.settle();
    ::_exit(0);
  }
  const auto total = static_cast<std::size_t>(seconds * frames_per_s);
  Measure host(total);
  boost::asio::io_context io;
  const auto uri = link::parseUri("slcan:" + device.name());
  auto made = link::makeLink(*uri, {io, host, 0});
  const Ns start_ns = bootNow();
  const double before_s = cpu_s();
  (*made)->open();
  const Ns end_ns = start_ns + fromSeconds(seconds + 1);
  while (bootNow() < end_ns && host.late_ns.size() + host.lost < total)
    io.run_one_for(std::chrono::milliseconds(20));
  const double share = (cpu_s() - before_s) / (static_cast<double>(bootNow() - start_ns) * 1e-9);
  (*made)->close();
  ::waitpid(child, nullptr, 0);
  const std::uint64_t lost = total - host.late_ns.size();
  std::sort(host.late_ns.begin(), host.late_ns.end());
  const auto late_ms = [&](double part) {
    if (host.late_ns.empty()) return 1e9;
    const auto at = static_cast<std::size_t>(part * static_cast<double>(host.late_ns.size() - 1));
    return static_cast<double>(host.late_ns[at]) * 1e-6;
  };
  fmt::print("serial CAN: {:.0f} frames/s for {:.0f} s: {} frames, {} lost, {} told as lost\n", frames_per_s,
             seconds, host.late_ns.size(), lost, host.told);
  fmt::print(
      "written to handed over: median {:.3f} ms, p99 {:.3f} ms, most {:.3f} ms; time stamp off by at most "
      "{:.3f} ms\n",
      late_ms(0.5), late_ms(0.99), late_ms(1), static_cast<double>(host.worst_time_ns) * 1e-6);
  fmt::print("processor: {:.1f} % of one\n", 100 * share);
  const bool good = lost == 0 && host.told == 0 && late_ms(0.99) <= kLateMost_ms;
  fmt::print("{}\n", good ? "passed" : "FAILED: expected 0 lost and p99 at most 5 ms");
  return good ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> args(argv + 1, argv + argc);
  if (args.size() == 3 && args[0] == "measure") return measure(std::stod(args[1]), std::stod(args[2]));
  if (args.size() == 4 && args[0] == "device") {
    Device device;
    ::unlink(args[1].c_str());
    if (::symlink(device.name().c_str(), args[1].c_str()) != 0) return 2;
    fmt::print("{}\n", device.run(std::stod(args[2]), std::stod(args[3])));
    std::fflush(stdout);
    device.settle();
    return 0;
  }
  fmt::print(stderr, "usage: slcan_speed measure SECONDS FRAMES_PER_S | device PATH SECONDS FRAMES_PER_S\n");
  return 2;
}
