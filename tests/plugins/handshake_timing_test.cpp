// SPDX-License-Identifier: Apache-2.0
#include <cmath>

#include "tests/plugin/stage.hpp"

namespace pin16::plugin {
namespace {

using testing::counterOf;
using testing::findingOf;
using testing::rowOf;
using testing::Stage;

Results timing(Stage& s) { return s.play(testing::shipped("handshake-timing")); }

event::Exchange exchange(event::Ended ended, double response_ms = -1, double complete_ms = -1) {
  event::Exchange x;
  x.request_id = 0x7E0;
  x.answer_id = 0x7E8;
  x.request = {0x22, 0xF1, 0x90};
  x.ended = ended;
  x.response_ms = response_ms;
  x.complete_ms = complete_ms < 0 ? response_ms : complete_ms;
  return x;
}

TEST(HandshakeTiming, QuantilesAreExact) {
  Stage s;
  // 1, 2, ... 100 ms in a scrambled order: shortest 1, median 50.5, 95 % 95.05 (linear between neighbours),
  // longest 100.
  for (int i = 0; i < 100; ++i) s.exchange(200.0 * i, exchange(event::Ended::answered, (i * 37) % 100 + 1));
  const Results r = timing(s);
  EXPECT_DOUBLE_EQ(rowOf(r, "response times", "7E8 response, shortest")->value, 1);
  EXPECT_DOUBLE_EQ(rowOf(r, "response times", "7E8 response, median")->value, 50.5);
  EXPECT_NEAR(rowOf(r, "response times", "7E8 response, 95 %")->value, 95.05, 1e-9);
  EXPECT_DOUBLE_EQ(rowOf(r, "response times", "7E8 response, longest")->value, 100);
  EXPECT_EQ(r.points[0].size(), 100U);
}

TEST(HandshakeTiming, LatePendingAndSilentAreCounted) {
  Stage s;
  event::Exchange late = exchange(event::Ended::answered, 120);
  late.late = true;
  s.exchange(0, late);
  event::Exchange pending = exchange(event::Ended::answered, 30, 2500);
  pending.pending = 3;
  s.exchange(1000, pending);
  s.exchange(5000, exchange(event::Ended::silent), 6000);
  event::Exchange functional = exchange(event::Ended::silent);
  functional.functional = true;
  s.exchange(7000, functional, 8000);
  const Results r = timing(s);
  EXPECT_EQ(counterOf(r, "exchanges"), 4U);
  EXPECT_EQ(counterOf(r, "late"), 1U);
  EXPECT_EQ(counterOf(r, "pending"), 3U);
  EXPECT_EQ(counterOf(r, "silent"), 2U);
  ASSERT_NE(findingOf(r, "late-answers"), nullptr);
  EXPECT_EQ(findingOf(r, "late-answers")->step, "timing");
  // The late and the silent physical one are trouble; silence after a functional request is none.
  ASSERT_NE(findingOf(r, "trouble-and-supply"), nullptr);
  EXPECT_NE(findingOf(r, "trouble-and-supply")->text.find("2 silent, late or broken exchanges"),
            std::string::npos);
}

/// A segmented answer of 20 bytes: first frame, flow control with block size and STmin, consecutive frames at
/// times.
void segmented(Stage& s, double from_ms, std::uint8_t block, std::uint8_t st_min,
               const std::vector<double>& at_ms) {
  s.frame(from_ms, 0x7E8, {0x10, 0x14, 0x62, 0xF1, 0x90, 1, 2, 3});
  s.frame(from_ms + 1, 0x7E0, {0x30, block, st_min, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC}, false, true);
  std::uint8_t sn = 1;
  for (const double t : at_ms)
    s.frame(from_ms + t, 0x7E8, {static_cast<std::uint8_t>(0x20 | sn++), 0, 0, 0, 0, 0, 0, 0});
}

TEST(HandshakeTiming, OnALineByAddressAndItsOwnLimits) {
  Stage s;
  const auto line = [](event::Medium medium, double response_ms) {
    event::Exchange x = exchange(event::Ended::answered, response_ms);
    x.request_id = 0x33;
    x.answer_id = 0x10;
    x.medium = medium;
    return x;
  };
  s.exchange(0, line(event::Medium::iso14230_4, 30));
  s.exchange(1000, line(event::Medium::iso14230_4, 40));
  for (const double at_ms : {3000.0, 5500.0, 9000.0}) {
    event::Message m;
    m.id = 0xF1;
    m.complete = true;
    m.payload = {0x3E};
    m.medium = event::Medium::iso14230_4;
    m.header = {0xC1, 0x33, 0xF1};
    s.message(at_ms, m);
  }
  Results r = timing(s);
  EXPECT_EQ(counterOf(r, "exchanges"), 2U);
  const Figure* row = rowOf(r, "response times", "address 10 response, longest");
  ASSERT_NE(row, nullptr);
  EXPECT_EQ(row->value, 40);
  EXPECT_EQ(row->limit_name, "timing.kline_p2_max_ms");
  row = rowOf(r, "keep-alive", "between two tester-present on K-line, longest");
  ASSERT_NE(row, nullptr);
  EXPECT_EQ(row->value, 3500);
  Stage j1850;
  j1850.exchange(0, line(event::Medium::j1850_pwm, 30));
  r = timing(j1850);
  EXPECT_EQ(rowOf(r, "response times", "address 10 response, longest")->limit_name, "")
      << "only one from memory is known";
}

TEST(HandshakeTiming, StMinAndBlockSizeKeptOrBrokenAndByWhom) {
  Stage kept;
  segmented(kept, 0, 0, 10, {12, 22, 32});
  const Results fine = timing(kept);
  EXPECT_EQ(counterOf(fine, "st-min-broken"), 0U);
  EXPECT_EQ(counterOf(fine, "block-size-broken"), 0U);
  EXPECT_NEAR(rowOf(fine, "flow control", "between consecutive frames, shortest")->value, 10, 1e-6);

  Stage hasty;
  segmented(hasty, 0, 0, 10, {12, 15, 25});
  const Results r = timing(hasty);
  EXPECT_EQ(counterOf(r, "st-min-broken"), 1U);
  ASSERT_NE(findingOf(r, "st-min-broken"), nullptr);
  EXPECT_NE(findingOf(r, "st-min-broken")->text.find("7E8 sent 1 consecutive frame"), std::string::npos);

  // ISO 15765-2: F1 to F9 are 100 to 900 us; reserved values count as 127 ms.
  Stage micro;
  segmented(micro, 0, 0, 0xF5, {2, 2.5, 3.0});
  EXPECT_EQ(counterOf(timing(micro), "st-min-broken"), 0U);
  Stage reserved;
  segmented(reserved, 0, 0, 0x80, {2, 102, 230});
  EXPECT_EQ(counterOf(timing(reserved), "st-min-broken"), 1U) << "100 ms is less than 127 ms, 128 ms is not";

  Stage block;
  segmented(block, 0, 2, 0, {2, 3, 4});
  EXPECT_EQ(counterOf(timing(block), "block-size-broken"), 1U) << "the third one needed another flow control";
}

TEST(HandshakeTiming, LegislatedNetworkTimesOverTheirLimitAreAWarning) {
  Stage s;
  // ISO 15765-4: N_Cr 150 ms; here 200 ms between two consecutive frames.
  segmented(s, 0, 0, 0, {2, 202});
  const Results r = timing(s);
  const Finding* f = findingOf(r, "network-time-over");
  ASSERT_NE(f, nullptr);
  EXPECT_EQ(f->weight, Weight::warning);
  EXPECT_NEAR(f->figures[0].value, 200, 1e-6);
}

TEST(HandshakeTiming, PowerUpToFirstFrameAndFirstAnswer) {
  Stage s;
  s.power(100, event::PowerState::on);
  s.frame(350, 0x3A0, {1});
  s.exchange(1100, exchange(event::Ended::answered, 8));
  const Results r = timing(s);
  EXPECT_NEAR(rowOf(r, "after power-up", "power-up 1 to the first frame")->value, 250, 1e-6);
  EXPECT_NEAR(rowOf(r, "after power-up", "power-up 1 to the first answer")->value, 1008, 1e-6);
}

TEST(HandshakeTiming, KeepAliveGaps) {
  Stage s;
  for (const double t : {0.0, 2000.0, 4000.0, 10500.0})
    s.message(t, {0x7E0, false, true, {0x3E, 0x80}, "", testing::kStart_ns});
  const Results r = timing(s);
  EXPECT_NEAR(rowOf(r, "keep-alive", "between two tester-present, longest")->value, 6500, 1e-6);
}

TEST(HandshakeTiming, SilentExchangesAgainstDipsOfTheSupply) {
  Stage s;
  s.sample(0, "V(feed,chassis)", 12.0);
  for (const double t : {10000.0, 30000.0, 50000.0}) {
    s.sample(t, "V(feed,chassis)", 8.5);
    s.sample(t + 100, "V(feed,chassis)", 12.0);
    s.exchange(t + 20, exchange(event::Ended::silent), t + 1020);
  }
  s.sample(100000, "V(feed,chassis)", 12.0);
  const Results r = timing(s);
  const Finding* f = findingOf(r, "trouble-and-supply");
  ASSERT_NE(f, nullptr);
  EXPECT_NE(f->text.find("3 of 3 silent, late or broken exchanges began within 40 ms of a dip below 9.0 V"),
            std::string::npos)
      << f->text;
  // Three dips of +/-40 ms in 100 s: 0.24 %; three of three by chance 0.0024^3 (binomial, by hand).
  EXPECT_NEAR(f->figures[1].value, std::pow(0.0024, 3), 1e-12);
  EXPECT_EQ(f->step, "feed");

  // Without samples it says that it cannot tell.
  Stage blind;
  blind.exchange(0, exchange(event::Ended::silent), 1000);
  const Results dark = timing(blind);
  EXPECT_NE(findingOf(dark, "trouble-and-supply")->text.find("cannot be told"), std::string::npos);
}

/// ISO 9141-2: address 33 at 5 baud, 55, key bytes 08 08, F7 back, CC; then a request and its answer. `w2_ms`
/// is the pause between the synchronisation byte and key byte 1. A byte at 10400 baud takes 0.96 ms.
void kline(Stage& s, double w2_ms) {
  event::LinkState l;
  l.uri = "kline:/dev/ttyUSB1";
  s.link(0, l);
  constexpr double kByte = 10 * 1e3 / 10400;
  double t = 2000;
  const auto at = [&](double pause_ms, std::uint8_t value, bool ours) {
    s.serial(t += pause_ms + kByte, {value}, ours);
  };
  s.serial(t, {0x33}, true);
  at(100, 0x55, false);
  at(w2_ms, 0x08, false);
  at(10, 0x08, false);
  at(30, 0xF7, true);
  at(30, 0xCC, false);
  // 68 6A F1 01 00 C4 (checksum: SAE J1979 example), 7 ms between bytes; the answer 40 ms later, its bytes 1
  // ms apart.
  double pause = 60;
  for (const std::uint8_t b : Bytes{0x68, 0x6A, 0xF1, 0x01, 0x00, 0xC4}) at(pause, b, true), pause = 7;
  pause = 40;
  for (const std::uint8_t b : Bytes{0x48, 0x6B, 0x10, 0x41, 0x00, 0xBE, 0x3E, 0xB8, 0x11, 0xC9})
    at(pause, b, false), pause = 1;
}

TEST(HandshakeTiming, KLineInitialisationAndGapsByTheirNames) {
  Stage s;
  kline(s, 12);
  const Results r = timing(s);
  const auto longest = [&](const char* what) {
    const Figure* f = rowOf(r, "K-line", std::string(what) + " longest");
    EXPECT_NE(f, nullptr) << what;
    return f == nullptr ? -1 : f->value;
  };
  EXPECT_NEAR(longest("W1"), 100, 1e-3);
  EXPECT_NEAR(longest("W2"), 12, 1e-3);
  EXPECT_NEAR(longest("W3"), 10, 1e-3);
  EXPECT_NEAR(longest("W4"), 30, 1e-3);
  EXPECT_NEAR(longest("P3"), 60, 1e-3);
  EXPECT_NEAR(longest("P4"), 7, 1e-3);
  EXPECT_NEAR(longest("P2"), 40, 1e-3);
  EXPECT_NEAR(longest("P1"), 1, 1e-3);
  EXPECT_EQ(findingOf(r, "kline-time-broken"), nullptr) << testing::allTexts(r);
}

TEST(HandshakeTiming, AKLineTimeOutsideItsLimitIsNamed) {
  Stage s;
  kline(s, 35);  // W2: 5 to 20 ms
  const Results r = timing(s);
  const Finding* f = findingOf(r, "kline-time-broken");
  ASSERT_NE(f, nullptr);
  EXPECT_NE(f->text.find("W2 1 time"), std::string::npos) << f->text;
  EXPECT_EQ(f->weight, Weight::warning);
}

TEST(HandshakeTiming, BytesOfAnAdapterAreNoKLine) {
  Stage s;
  s.serial(0, {0x33}, true);
  s.serial(100, {0x55}, false);
  const Results r = timing(s);
  EXPECT_EQ(rowOf(r, "K-line", "W1 longest"), nullptr);
}

}  // namespace
}  // namespace pin16::plugin
