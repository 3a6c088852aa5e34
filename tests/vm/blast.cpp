// SPDX-License-Identifier: Apache-2.0
/// vm_blast IFACE COUNT RATE LOG: numbered frames for the tests in the guest, no part of Pin16.
///
/// COUNT classic frames with identifiers 100..1FF, payload = number (32 bit, little-endian) and A5 A5 A5 A5,
/// at RATE frames/s (0: as fast as it goes), then 1 s of silence, then the marked frame 7FF with the number
/// COUNT. COUNT 0: until SIGTERM. LOG gets a line "number utc_ns" after each handful of frames was handed
/// over, the time read before and so never late; stdout says how many were sent.

#include <linux/can.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <thread>

namespace {

constexpr unsigned kHandful = 32;
volatile std::sig_atomic_t stop = 0;

can_frame numbered(std::uint32_t id, std::uint32_t number) {
  can_frame f{};
  f.can_id = id;
  f.len = 8;
  std::memcpy(f.data, &number, sizeof number);
  std::memset(f.data + sizeof number, 0xA5, sizeof number);
  return f;
}

long long utcNow() {
  timespec t{};
  clock_gettime(CLOCK_REALTIME, &t);
  return t.tv_sec * 1'000'000'000LL + t.tv_nsec;
}

/// All of them, however often the queue is full; false on any other error.
bool sendAll(int fd, std::array<can_frame, kHandful>& frames, unsigned count) {
  std::array<iovec, kHandful> vectors{};
  std::array<mmsghdr, kHandful> messages{};
  for (unsigned i = 0; i < count; ++i) {
    vectors[i] = {&frames[i], sizeof frames[i]};
    messages[i].msg_hdr.msg_iov = &vectors[i];
    messages[i].msg_hdr.msg_iovlen = 1;
  }
  for (unsigned sent = 0; sent < count;) {
    const int n = sendmmsg(fd, &messages[sent], count - sent, 0);
    if (n > 0) {
      sent += static_cast<unsigned>(n);
    } else if (errno == ENOBUFS) {
      std::this_thread::sleep_for(std::chrono::microseconds(50));
    } else if (errno != EINTR) {
      std::perror("sendmmsg");
      return false;
    }
  }
  return true;
}

int openOn(const char* name) {
  const int fd = socket(PF_CAN, SOCK_RAW, CAN_RAW);
  sockaddr_can address{};
  address.can_family = AF_CAN;
  address.can_ifindex = static_cast<int>(if_nametoindex(name));
  setsockopt(fd, SOL_CAN_RAW, CAN_RAW_FILTER, nullptr, 0);  // never read
  return bind(fd, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0 ? fd : -1;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 5) {
    std::fprintf(stderr, "usage: vm_blast IFACE COUNT RATE LOG\n");
    return 2;
  }
  const auto count = static_cast<std::uint32_t>(std::strtoul(argv[2], nullptr, 10));
  const double rate_per_s = std::strtod(argv[3], nullptr);
  const int fd = openOn(argv[1]);
  std::FILE* log = std::fopen(argv[4], "w");
  if (fd < 0 || log == nullptr) {
    std::perror("vm_blast");
    return 1;
  }
  std::signal(SIGTERM, [](int) { stop = 1; });
  // Paced: one by one, so that the rate is even; flat out: by handfuls.
  const unsigned step = rate_per_s > 0 ? 1 : kHandful;
  const auto start = std::chrono::steady_clock::now();
  std::uint32_t sent = 0;
  while (stop == 0 && (count == 0 || sent < count)) {
    if (rate_per_s > 0)
      std::this_thread::sleep_until(
          start + std::chrono::nanoseconds(static_cast<long long>(sent * 1e9 / rate_per_s)));
    std::array<can_frame, kHandful> frames;
    const unsigned now = count == 0 ? step : std::min<unsigned>(step, count - sent);
    for (unsigned i = 0; i < now; ++i) frames[i] = numbered(0x100 + ((sent + i) & 0xFF), sent + i);
    const long long t_utc_ns = utcNow();
    if (!sendAll(fd, frames, now)) return 1;
    sent += now;
    std::fprintf(log, "%u %lld\n", sent - 1, t_utc_ns);
  }
  const double took_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  if (count != 0) {
    std::this_thread::sleep_for(std::chrono::seconds(1));
    std::array<can_frame, kHandful> mark;
    mark[0] = numbered(0x7FF, count);
    if (!sendAll(fd, mark, 1)) return 1;
    ++sent;
  }
  std::fclose(log);
  std::printf("%u frames sent, %.0f frames/s\n", sent, sent / took_s);
  return 0;
}
