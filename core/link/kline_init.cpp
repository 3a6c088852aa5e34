// SPDX-License-Identifier: Apache-2.0
#include "core/link/kline_init.hpp"

#include <fmt/format.h>

#include <utility>

#include "core/base/clock.hpp"
#include "core/link/kline_parser.hpp"
#include "core/link/line_format.hpp"

namespace pin16::link {
namespace {

constexpr std::uint8_t kSync = 0x55, kStarted = 0xC1, kKwpKey2 = 0x8F, kNegative = 0x7F;
/// What is late is waited for and called so: twice the limit, and 100 ms for the port (own figure).
constexpr double kPatience = 2, kPort_ms = 100;
/// In the middle of W4, 25 to 50 ms.
constexpr Ns kReplyAfter_ns = 35 * kNsPerMs;

std::uint8_t inverse(std::uint8_t byte) { return static_cast<std::uint8_t>(~byte); }

std::string limitText(const InitTime& t) {
  if (t.min_ms >= 0 && t.max_ms >= 0) return fmt::format("{:g} to {:g}", t.min_ms, t.max_ms);
  return t.max_ms >= 0 ? fmt::format("at most {:g}", t.max_ms) : fmt::format("at least {:g}", t.min_ms);
}

}  // namespace

std::optional<event::Medium> mediumOf(std::uint8_t key1, std::uint8_t key2) {
  if (key1 == key2 && (key1 == 0x08 || key1 == 0x94)) return event::Medium::iso9141_2;
  if (key2 == kKwpKey2) return event::Medium::iso14230_4;
  return std::nullopt;
}

std::string toText(const InitOutcome& o) {
  std::string out;
  for (const InitTime& t : o.times)
    out += fmt::format("{}{} {:.1f} ms ({}{})", out.empty() ? "" : ", ", t.name, t.ms, limitText(t),
                       t.ok() ? "" : ": OUTSIDE");
  if (o.done) out += fmt::format("; key bytes {:02X} {:02X}: {}", o.key1, o.key2, event::toText(o.medium));
  if (!o.fault.empty()) out += fmt::format("{}{}", out.empty() ? "" : "; ", o.fault);
  return out;
}

KLineInit::KLineInit(const limits::Limits& limits, std::uint8_t address)
    : limits_(limits), address_(address) {}

void KLineInit::note(const char* name, double ms, const char* min_limit, const char* max_limit) {
  so_far_.times.push_back(
      {name, ms, min_limit != nullptr ? limit(min_limit) : -1, max_limit != nullptr ? limit(max_limit) : -1});
}

void KLineInit::expect(Await what, Ns from_ns, const char* limit_max) {
  await_ = what;
  from_ns_ = from_ns;
  deadline_ns_ = from_ns + fromMs(kPatience * limit(limit_max) + kPort_ms) + kKLineByte_ns;
}

void KLineInit::fail(std::string fault) {
  so_far_.fault = std::move(fault);
  outcome_ = so_far_;
}

void KLineInit::finish(event::Medium medium) {
  so_far_.medium = medium;
  so_far_.done = true;
  outcome_ = so_far_;
}

void KLineInit::addressSent(Ns t_ns) { expect(Await::sync, t_ns, "timing.kline_w1_max_ms"); }
void KLineInit::startSent(Ns t_ns) { expect(Await::started, t_ns, "timing.kline_p2_max_ms"); }

void KLineInit::onByte(Ns t_ns, std::uint8_t byte) {
  if (outcome_) return;
  const Ns began_ns = t_ns - kKLineByte_ns;
  switch (await_) {
    case Await::nothing:
    case Await::sending:
    case Await::started:
      return;  // our own low levels, seen as bytes
    case Await::sync:
      note("W1", toMs(began_ns - from_ns_), "timing.kline_w1_min_ms", "timing.kline_w1_max_ms");
      if (byte != kSync)
        return fail(
            fmt::format("{:02X} instead of the synchronisation byte 55: another rate than {} bit/s, or "
                        "a disturbed line",
                        byte, kKLineBaud));
      return expect(Await::key1, t_ns, "timing.kline_w2_max_ms");
    case Await::key1:
      note("W2", toMs(began_ns - from_ns_), "timing.kline_w2_min_ms", "timing.kline_w2_max_ms");
      so_far_.key1 = byte;
      return expect(Await::key2, t_ns, "timing.kline_w3_max_ms");
    case Await::key2:
      note("W3", toMs(began_ns - from_ns_), nullptr, "timing.kline_w3_max_ms");
      so_far_.key2 = byte;
      from_ns_ = t_ns;
      await_ = Await::sending;
      deadline_ns_ = kNoTime;
      reply_ = Reply{inverse(byte), t_ns + kReplyAfter_ns};
      return;
    case Await::inverse: {
      note("W4 of the module", toMs(began_ns - from_ns_), "timing.kline_w4_min_ms", "timing.kline_w4_max_ms");
      if (byte != inverse(address_))
        return fail(fmt::format("{:02X} instead of the inverted address {:02X}", byte, inverse(address_)));
      const auto medium = mediumOf(so_far_.key1, so_far_.key2);
      if (!medium)
        return fail(
            fmt::format("key bytes {:02X} {:02X} are of no legislated protocol (08 08, 94 94, or 8F "
                        "second)",
                        so_far_.key1, so_far_.key2));
      return finish(*medium);
    }
  }
}

std::optional<KLineInit::Reply> KLineInit::takeReply() { return std::exchange(reply_, std::nullopt); }

void KLineInit::inverseSent(Ns begin_ns, Ns t_ns) {
  if (outcome_ || await_ != Await::sending) return;
  note("W4 of ours", toMs(begin_ns - from_ns_), "timing.kline_w4_min_ms", "timing.kline_w4_max_ms");
  expect(Await::inverse, t_ns, "timing.kline_w4_max_ms");
}

void KLineInit::onLine(const event::Line& line) {
  if (outcome_ || await_ != Await::started || line.data.empty()) return;
  note("P2", toMs(line.first_ns - from_ns_), nullptr, "timing.kline_p2_max_ms");
  if (line.data[0] == kNegative)
    return fail(fmt::format("StartCommunication was refused: {}", toHex(line.data, " ")));
  if (line.data.size() != 3 || line.data[0] != kStarted)
    return fail(fmt::format("{} instead of the answer to StartCommunication", toHex(line.data, " ")));
  so_far_.key1 = line.data[1];
  so_far_.key2 = line.data[2];
  if (mediumOf(so_far_.key1, so_far_.key2) != event::Medium::iso14230_4)
    return fail(fmt::format("key bytes {:02X} {:02X} are not of ISO 14230-4 (8F second)", so_far_.key1,
                            so_far_.key2));
  finish(event::Medium::iso14230_4);
}

void KLineInit::onTime(Ns now_ns) {
  if (outcome_ || deadline_ns_ == kNoTime || now_ns < deadline_ns_) return;
  switch (await_) {
    case Await::sync:
      return fail("nobody answered the address: no module on this line, no supply, or another address");
    case Await::key1:
      return fail("no key byte after the synchronisation byte");
    case Await::key2:
      return fail("no second key byte");
    case Await::inverse:
      return fail("no inverted address after our inverted key byte");
    case Await::started:
      return fail("nobody answered StartCommunication: no module on this line, no supply, or only 5 baud");
    case Await::nothing:
    case Await::sending:
      return;
  }
}

}  // namespace pin16::link
