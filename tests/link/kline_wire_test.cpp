// SPDX-License-Identifier: Apache-2.0
// The thread that makes levels and bytes: order, never early, ended at once. How late it is on this machine
// is no matter of a unit test; the link tells it with each initialisation.
#include "core/link/kline_wire.hpp"

#include <gtest/gtest.h>

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <future>

#include "core/link/kline_parser.hpp"
#include "core/link/kline_pty.hpp"
#include "tests/link/link_double.hpp"
#include "tests/link/pty_device.hpp"

namespace pin16::link {
namespace {

/// What was done to the line; read only after the job's end.
struct Record {
  std::string text;
  std::vector<Ns> times;
};
class RecordingPort final : public KLinePort {
 public:
  explicit RecordingPort(Record& record, int works = 1000) : record_(record), works_(works) {}
  bool setLow(bool low) override { return put(low ? "L" : "H"); }
  bool write(std::uint8_t byte) override { return put(toHex({&byte, 1})); }

 private:
  bool put(const std::string& what) {
    if (works_-- <= 0) return false;
    record_.text += what + " ";
    record_.times.push_back(bootNow());
    return true;
  }
  Record& record_;
  int works_;
};

KLineDone perform(KLineWire& wire, KLineJob job) {
  std::promise<KLineDone> done;
  wire.start(std::move(job), [&](KLineDone d) { done.set_value(std::move(d)); });
  return done.get_future().get();
}
Bytes hex(const char* text) { return fromHex(text).value(); }

TEST(KLineWire, WakeUpPatternThenBytesNeverEarly) {
  Record r;
  KLineWire wire(std::make_unique<RecordingPort>(r));
  const Ns not_before = bootNow() + 20 * kNsPerMs;
  const KLineDone d = perform(wire, wakeUp(hex("C1 33 F1 81 66"), not_before));
  ASSERT_TRUE(d.ok);
  EXPECT_EQ(r.text, "L H c1 33 f1 81 66 ");
  EXPECT_GE(d.begin_ns, not_before);
  ASSERT_EQ(d.times_ns.size(), 7U);
  EXPECT_GE(d.times_ns[0], not_before);
  EXPECT_GE(d.times_ns[1] - d.begin_ns, 25 * kNsPerMs);
  EXPECT_GE(d.times_ns[2] - d.begin_ns, 50 * kNsPerMs);
  for (std::size_t i = 3; i < 7; ++i)  // P4 min 5 ms, also after a late byte
    EXPECT_GE(d.times_ns[i] - d.times_ns[i - 1], kKLineByte_ns + 5 * kNsPerMs);
  EXPECT_GE(d.worst_ns, 0);
}
TEST(KLineWire, OneJobAfterTheOther) {
  Record r;
  KLineWire wire(std::make_unique<RecordingPort>(r));
  std::promise<void> first;
  wire.start(bytesJob(hex("01 02"), 0), [&](const KLineDone&) { first.set_value(); });
  EXPECT_TRUE(perform(wire, bytesJob(hex("03"), 0)).ok);
  first.get_future().get();
  EXPECT_EQ(r.text, "01 02 03 ");
}
TEST(KLineWire, IsEndedInTheMiddleWithTheLineHigh) {
  Record r;
  std::promise<KLineDone> done;
  {
    KLineWire wire(std::make_unique<RecordingPort>(r));
    wire.start(fiveBaud(0x00, 0), [&](KLineDone d) { done.set_value(std::move(d)); });
  }
  EXPECT_FALSE(done.get_future().get().ok);
  EXPECT_TRUE(r.text == "H " || r.text == "L H ") << r.text;  // 2 s were not waited for
}
TEST(KLineWire, APortThatFailsEndsTheJob) {
  Record r;
  KLineWire wire(std::make_unique<RecordingPort>(r, 2));
  const KLineDone d = perform(wire, bytesJob(hex("01 02 03 04"), 0));
  EXPECT_FALSE(d.ok);
  EXPECT_EQ(d.times_ns.size(), 3U);
}
TEST(KLineWire, FinishWaitsForWhatWasGiven) {
  Record r;
  KLineWire wire(std::make_unique<RecordingPort>(r));
  std::atomic<bool> ended = false;
  wire.start(bytesJob(hex("C1 33 F1 82 67"), bootNow() + 30 * kNsPerMs),
             [&](const KLineDone& d) { ended = d.ok; });
  wire.finish(20 * kNsPerSecond);
  EXPECT_TRUE(ended);
  EXPECT_EQ(r.text, "c1 33 f1 82 67 ");
  bool refused = false;
  wire.start(bytesJob(hex("01"), 0), [&](const KLineDone& d) { refused = !d.ok; });
  EXPECT_TRUE(refused);
}

/// What the other end of a pty receives of a port.
std::string received(bool as_pty) {
  boost::asio::io_context io;
  const TestFolder folder;
  PtyDevice device(io, folder.file("kline"));
  const int fd = ::open(device.pty().c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  {
    const auto port = makeKLinePort(fd, as_pty, KLineDrive::brk);
    (void)port->setLow(true);
    (void)port->setLow(false);
    EXPECT_TRUE(port->write(0x10));
    EXPECT_TRUE(port->write(0xC1));
  }
  ::close(fd);
  (void)runUntil(io, [&] { return device.heard.find('\xC1') != std::string::npos; });
  return device.heard;
}
TEST(KLinePort, InBandLevelsGoToAPtyOnly) {
  EXPECT_EQ(received(false), "\x10\xC1") << "a real port gets its bytes and nothing else";
  const std::string pty = received(true);
  std::string events;
  for (std::size_t cut = 0; cut <= pty.size(); ++cut) {  // cut anywhere
    KLinePtyReader reader;
    events.clear();
    Ns last = 0;
    const auto take = [&](std::string_view part) {
      reader.take(
          part,
          [&](std::uint8_t b) {
            events += toHex({&b, 1}) + " ";
          },
          [&](bool low, Ns t) {
            events += low ? "L " : "H ";
            EXPECT_GE(t, last);
            last = t;
          });
    };
    take(std::string_view(pty).substr(0, cut));
    take(std::string_view(pty).substr(cut));
    // The last level is that of letting the port go.
    EXPECT_EQ(events.substr(0, 10), "L H 10 c1 ") << cut;
  }
}

}  // namespace
}  // namespace pin16::link
