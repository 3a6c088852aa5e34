// SPDX-License-Identifier: Apache-2.0
#include "core/base/clock.hpp"

#include <fmt/format.h>
#include <sys/timex.h>

#include <cstdio>
#include <ctime>
#include <string_view>

namespace pin16 {
namespace {
Ns read(clockid_t id) {
  timespec t{};
  clock_gettime(id, &t);
  return Ns{t.tv_sec} * kNsPerSecond + t.tv_nsec;
}
}  // namespace

Ns bootNow() { return read(CLOCK_BOOTTIME); }

ClockPair readClocks() {
  // The tightest of three bracketed reads: a preemption between the two would look like an offset step.
  ClockPair best;
  Ns best_span = INT64_MAX;
  for (int i = 0; i < 3; ++i) {
    const Ns before = read(CLOCK_BOOTTIME);
    const Ns utc = read(CLOCK_REALTIME);
    const Ns after = read(CLOCK_BOOTTIME);
    if (after - before < best_span) {
      best_span = after - before;
      best = {before + (after - before) / 2, utc};
    }
  }
  return best;
}

ClockState readClockState() {
  timex t{};
  const int state = adjtimex(&t);
  ClockState out;
  if (state < 0) return out;
  out.synchronised = state != TIME_ERROR && (t.status & STA_UNSYNC) == 0;
  out.estimated_error_ns = Ns{t.esterror} * 1000;
  return out;
}

std::string utcText(Ns t_utc_ns) {
  if (t_utc_ns == kNoTime) return "no time";
  Ns seconds = t_utc_ns / kNsPerSecond;
  Ns rest = t_utc_ns % kNsPerSecond;
  if (rest < 0) {
    rest += kNsPerSecond;
    --seconds;
  }
  const std::time_t s = seconds;
  std::tm tm{};
  gmtime_r(&s, &tm);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:06}Z", tm.tm_year + 1900, tm.tm_mon + 1,
                     tm.tm_mday, tm.tm_hour, tm.tm_min, tm.tm_sec, rest / 1000);
}

std::optional<Ns> parseUtc(const std::string& text) {
  std::tm t{};
  const char* rest = strptime(text.c_str(), "%Y-%m-%dT%H:%M:%S", &t);
  if (rest == nullptr) return std::nullopt;
  Ns local_ns = Ns{timegm(&t)} * kNsPerSecond;
  if (*rest == '.')
    for (Ns digit_ns = kNsPerSecond / 10; *++rest >= '0' && *rest <= '9'; digit_ns /= 10)
      local_ns += (*rest - '0') * digit_ns;
  if (std::string_view(rest) == "Z") return local_ns;
  int hours = 0, minutes = 0, used = 0;
  char sign = 0;
  if (std::sscanf(rest, "%c%2d:%2d%n", &sign, &hours, &minutes, &used) != 3 || (sign != '+' && sign != '-') ||
      rest[used] != 0)
    return std::nullopt;
  const Ns ahead_ns = (Ns{hours} * 3600 + Ns{minutes} * 60) * kNsPerSecond;
  return sign == '+' ? local_ns - ahead_ns : local_ns + ahead_ns;
}

}  // namespace pin16
