// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/gate.hpp"

#include <gtest/gtest.h>
#include <linux/can/error.h>

#include <set>
#include <string>

#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

/// What the far end received: the payloads of the single frames; each must be padded to 8 bytes with CC.
std::set<std::string> received(const World& w) {
  std::set<std::string> out;
  for (const auto& f : w.far) {
    EXPECT_EQ(f.length, 8);
    const std::size_t n = f.data[0];
    EXPECT_GE(n, 1U);
    EXPECT_LE(n, 7U);
    for (std::size_t i = n + 1; i < 8; ++i) EXPECT_EQ(f.data[i], 0xCC);
    out.insert(toHex(f.payload().subspan(1, n)));
  }
  return out;
}
/// Asks, and lets the silence pass.
void tryOut(World& w, const Target& target, Bytes request) {
  Ask a;
  a.target = target;
  a.request = std::move(request);
  w.ask(a);
  w.until(w.now + ms(1100));
}
void expectRefused(World& w, const Target& target, const char* request, const char* reason) {
  const std::size_t before = w.far.size();
  w.refused.clear();
  w.results.clear();
  w.ask(target, request);
  EXPECT_EQ(w.far.size(), before);
  ASSERT_EQ(w.results.size(), 1U);
  ASSERT_FALSE(w.results[0].state);
  EXPECT_EQ(w.results[0].state.error().kind, ErrorKind::gate);
  EXPECT_NE(w.results[0].state.error().text().find(reason), std::string::npos)
      << w.results[0].state.error().text();
  ASSERT_EQ(w.refused.size(), 1U);
  EXPECT_EQ(w.refused[0].request, toHex(hex(request)));
  EXPECT_NE(w.refused[0].reason.find(reason), std::string::npos);
}
void expectSent(World& w, const Target& target, const char* request) {
  const std::size_t before = w.far.size();
  w.ask(target, request);
  EXPECT_EQ(w.far.size(), before + 1);
  w.until(w.now + ms(1100));
}

// ---- the list. The expected sets are written out here from the architecture page, not from the gate.

TEST(GateList, EveryServiceByteAloneAndWithOneToSixBytesMore) {
  World w;
  const Bytes more = hex("F1 90 0C 00 01 02 03");
  for (unsigned service = 0; service < 256; ++service)
    for (std::size_t n = 0; n <= more.size(); ++n) {
      Bytes r = {static_cast<std::uint8_t>(service)};
      r.insert(r.end(), more.begin(), more.begin() + static_cast<std::ptrdiff_t>(n));
      tryOut(w, physical(0x7E0), r);
    }
  const std::set<std::string> expected = {
      "01f1",       "01f190",       "01f1900c",
      "01f1900c00", "01f1900c0001", "01f1900c000102",  // 1 to 6 PIDs
      "02f190",     "02f1900c00",   "02f1900c000102",  // 1 to 3 pairs
      "03",         "06f1",         "07",
      "09f1",       "0a",  //
      "22f190",            // exactly one identifier
  };
  EXPECT_EQ(received(w), expected);
}
TEST(GateList, TheSameToEverybodyWithoutUds) {
  for (const bool extended : {false, true}) {
    World w;
    const Bytes more = hex("F1 90 0C 00 01 02 03");
    for (unsigned service = 0; service < 256; ++service)
      for (std::size_t n = 0; n <= more.size(); ++n) {
        Bytes r = {static_cast<std::uint8_t>(service)};
        r.insert(r.end(), more.begin(), more.begin() + static_cast<std::ptrdiff_t>(n));
        tryOut(w, functionalTarget(extended), r);
      }
    const std::set<std::string> expected = {
        "01f1",       "01f190",         "01f1900c", "01f1900c00", "01f1900c0001", "01f1900c000102", "02f190",
        "02f1900c00", "02f1900c000102", "03",       "06f1",       "07",           "09f1",           "0a"};
    EXPECT_EQ(received(w), expected);
    for (const auto& f : w.far) EXPECT_EQ(f.id(), extended ? 0x18DB33F1U : 0x7DFU);
  }
}
TEST(GateList, EverySubFunctionOf10And19And3E) {
  World w;
  for (const unsigned service : {0x10U, 0x19U, 0x3EU})
    for (unsigned sub = 0; sub < 256; ++sub)
      for (const char* more : {"", "FF", "FF FF", "FF FF FF FF", "FF FF FF FF FF"}) {
        Bytes r = {static_cast<std::uint8_t>(service), static_cast<std::uint8_t>(sub)};
        const Bytes tail = hex(more);
        r.insert(r.end(), tail.begin(), tail.end());
        tryOut(w, physical(0x7E0), r);
      }
  EXPECT_EQ(received(w), (std::set<std::string>{"1901ff", "1902ff", "190a"}));
}
TEST(GateList, EveryIdentifierOf22) {
  World w;
  for (unsigned did = 0; did < 0x10000; ++did)
    tryOut(w, physical(0x7E0), {0x22, static_cast<std::uint8_t>(did >> 8U), static_cast<std::uint8_t>(did)});
  EXPECT_EQ(received(w),
            (std::set<std::string>{"22f180", "22f181", "22f182", "22f183", "22f184", "22f185", "22f186",
                                   "22f187", "22f188", "22f189", "22f18a", "22f18b", "22f18c", "22f18d",
                                   "22f18e", "22f18f", "22f190", "22f191", "22f192", "22f193", "22f194",
                                   "22f195", "22f196", "22f197", "22f198", "22f199", "22f19a", "22f19b",
                                   "22f19c", "22f19d", "22f19e", "22f19f"}));
}
TEST(GateList, EventRecordFunctionsOfARestraintModule) {  // FA00-FA18: ISO 14229-1 Annex C, ISO 26021
  World w;
  for (unsigned did = 0xFA00; did <= 0xFA18; ++did)
    for (const bool extended : {false, true})
      expectRefused(w, extended ? physical(0x18DA10F1, true) : physical(0x7E0),
                    ("22" + toHex(Bytes{0xFA, static_cast<std::uint8_t>(did)})).c_str(), "not on the list");
  EXPECT_TRUE(w.far.empty());
}
TEST(GateList, SessionControlAndTesterPresentOnCan) {
  // Every sub-function with and without the "suppress positive response" bit, at every length, to one module
  // and to everybody, 11 and 29 bit: 10 would end another tester's session or enter 04, the way to deployment
  // procedures; 3E wakes and holds.
  World w;
  for (const auto& target :
       {physical(0x7E0), functionalTarget(), physical(0x18DA58F1, true), functionalTarget(true)})
    for (const unsigned service : {0x10U, 0x3EU})
      for (unsigned sub = 0; sub < 256; ++sub)
        for (std::size_t n = 1; n <= 7; ++n) {
          Bytes r(n, 0x00);
          r[0] = static_cast<std::uint8_t>(service);
          if (n > 1) r[1] = static_cast<std::uint8_t>(sub);
          expectRefused(w, target, toHex(r).c_str(), "not on the list");
        }
  EXPECT_TRUE(w.far.empty());
}
TEST(GateList, WhatTheFarEndReceivedIsTheListAndNothingElse) {
  // Every pair of first bytes at 2, 3 and 4 bytes of length; the list written out once more, from the
  // architecture page.
  for (const bool extended : {false, true}) {
    World w;
    std::set<std::string> expected;
    for (unsigned service = 0; service < 256; ++service)
      for (unsigned second = 0; second < 256; ++second)
        for (std::size_t n = 2; n <= 4; ++n) {
          Bytes r(n, 0x90);
          r[0] = static_cast<std::uint8_t>(service);
          r[1] = static_cast<std::uint8_t>(second);
          tryOut(w, extended ? physical(0x18DA58F1, true) : physical(0x7E0), r);
          const bool one_to_six_pids = service == 0x01;
          const bool pid_and_frame = service == 0x02 && n == 3;
          const bool one_parameter = (service == 0x06 || service == 0x09) && n == 2;
          const bool identification = service == 0x22 && second == 0xF1 && n == 3;  // F190
          const bool codes_by_mask = service == 0x19 && (second == 0x01 || second == 0x02) && n == 3;
          const bool supported_codes = service == 0x19 && second == 0x0A && n == 2;
          if (one_to_six_pids || pid_and_frame || one_parameter || identification || codes_by_mask ||
              supported_codes)
            expected.insert(toHex(r));
        }
    EXPECT_EQ(received(w), expected);
    EXPECT_EQ(expected.size(), 256U * 3 + 256 + 2 * 256 + 1 + 2 + 1);
  }
}
TEST(GateList, EveryLengthOfEveryListedService) {
  World w;
  const std::pair<const char*, std::set<std::size_t>> lengths[] = {
      {"01 0C 0C 0C 0C 0C 0C 0C", {2, 3, 4, 5, 6, 7}},
      {"02 0C 00 0C 00 0C 00 0C", {3, 5, 7}},
      {"03 00 00 00 00 00 00 00", {1}},
      {"06 01 01 01 01 01 01 01", {2}},
      {"07 00 00 00 00 00 00 00", {1}},
      {"09 02 02 02 02 02 02 02", {2}},
      {"0A 00 00 00 00 00 00 00", {1}},
      {"22 F1 90 F1 90 F1 90 F1", {3}},
      {"19 01 FF FF FF FF FF FF", {3}},
      {"19 02 FF FF FF FF FF FF", {3}},
      {"19 0A FF FF FF FF FF FF", {2}}};
  for (const auto& [text, allowed] : lengths)
    for (std::size_t n = 0; n <= 8; ++n) {
      Bytes r = hex(text);
      r.resize(n);
      if (allowed.contains(n))
        expectSent(w, physical(0x7E0), toHex(r).c_str());
      else
        expectRefused(w, physical(0x7E0), toHex(r).c_str(), "not on the list");
    }
}
TEST(GateList, OtherLengthsOf22) {
  World w;
  for (const char* r : {"22", "22 F1", "22 F1 90 F1 8C", "22 F1 90 00", "22 F1 90 F1 8C F1 91"})
    expectRefused(w, physical(0x7E0), r, "not on the list");
}
TEST(GateList, NothingAndTooMuch) {
  World w;
  expectRefused(w, physical(0x7E0), "", "not on the list");
  expectRefused(w, physical(0x7E0), "01 01 02 03 04 05 06 07", "not on the list");
}

// ---- addresses

TEST(GateAddress, Wrong) {
  World w;
  Target t = physical(0x7E0);
  t.functional = true;
  expectRefused(w, t, "01 00", "functional address");
  t = physical(0x7DF);
  expectRefused(w, t, "01 00", "functional address");
  expectRefused(w, functionalTarget(), "22 F1 90", "not sent to everybody");
  expectRefused(w, functionalTarget(true), "19 0A", "not sent to everybody");
  expectRefused(w, physical(0x800), "22 F1 90", "no CAN identifier");
  expectRefused(w, physical(0x20000000, true), "22 F1 90", "no CAN identifier");
  for (const std::uint32_t id : {0x18DA10F0U, 0x18DAF110U, 0x18DB10F1U, 0x00000123U, 0x0CDA10F1U})
    expectRefused(w, physical(id, true), "22 F1 90", "not a 29-bit request identifier");
}
TEST(GateAddress, Right) {
  World w;
  for (const std::uint32_t id : {0x7E0U, 0x7E7U, 0x600U, 0x6FFU, 0x712U})
    expectSent(w, physical(id), "22 F1 90");
  expectSent(w, physical(0x18DA58F1, true), "22 F1 90");
  EXPECT_TRUE(w.far.back().extended());
}
TEST(GateAddress, IdentifierOfAnotherNodeIsRefused) {
  World w;
  w.inbound(on(0x650, "11 22 33"));
  expectRefused(w, physical(0x650), "22 F1 90", "another node");
  w.inbound(on(0x18DAF110, "02 41 00", true));
  expectSent(w, physical(0x651), "22 F1 90");
}

// ---- shut

TEST(GateShut, SealedJob) {
  World w({.sealed = true, .rate_fixed = true, .module_request_ids = {}});
  expectRefused(w, functionalTarget(), "01 00", "sealed");
}
TEST(GateShut, ByItsOwnerForGood) {
  World w;
  w.gate.shut("attempt");
  w.gate.shut("another reason");
  expectRefused(w, functionalTarget(), "01 00", "shut: attempt");
  w.until(ms(1e6));
  expectRefused(w, functionalTarget(), "01 00", "shut: attempt");
}
TEST(GateShut, TenSecondsAfterAnotherTester) {
  const std::pair<std::uint32_t, bool> ids[] = {{0x7DF, false}, {0x7E0, false},     {0x7E7, false},
                                                {0x6A1, false}, {0x18DB33F1, true}, {0x18DA10F1, true}};
  for (const auto& [id, extended] : ids) {
    World w({.sealed = false, .rate_fixed = false, .module_request_ids = {0x6A1}});
    const Ns seen = w.now;
    w.inbound(on(id, "02 3E 80 00 00 00 00 00", extended));
    expectRefused(w, functionalTarget(), "01 00", "another tester");
    w.until(seen + ms(10000) - 1);
    expectRefused(w, functionalTarget(), "01 00", "another tester");
    w.until(seen + ms(10000));
    expectSent(w, functionalTarget(), "01 00");
  }
}
TEST(GateShut, OrdinaryTrafficAndOurOwnFramesAreNoTester) {
  World w;
  w.inbound(on(0x7E8, "06 41 00 BE 3F A8 13"));
  w.inbound(on(0x100, "02 3E 80"));
  expectSent(w, physical(0x7E0), "22 F1 90");
  expectSent(w, functionalTarget(), "01 00");
}
TEST(GateShut, OurFrameSeenByOurOtherAdapterIsNoTester) {
  World w;
  w.inbound(on(0x123, "00"), 1);
  w.on_send = [&](const event::CanFrame& f) { w.inbound(f, 1); };
  expectSent(w, functionalTarget(), "01 00");
  expectSent(w, functionalTarget(), "01 00");
  w.now += ms(200);  // the same frame without us having sent it
  w.inbound(on(0x7DF, "02 01 00 CC CC CC CC CC"), 1);
  expectRefused(w, functionalTarget(), "01 00", "another tester");
}
TEST(GateShut, RateNotProven) {
  World w({}, /*proven=*/false);
  expectRefused(w, functionalTarget(), "01 00", "proven");
  w.feed(on(0x123, "00"), /*out=*/true, 0);  // our own frame proves nothing
  expectRefused(w, functionalTarget(), "01 00", "proven");
  event::CanFrame error;
  error.word = event::kErrorFlag | CAN_ERR_PROT;
  error.length = 8;
  w.inbound(error);
  expectRefused(w, functionalTarget(), "01 00", "proven");
  w.inbound(on(0x123, "00"), 1);  // nor does a frame on another link
  expectRefused(w, functionalTarget(), "01 00", "proven");
  w.inbound(on(0x123, "00"));
  expectSent(w, functionalTarget(), "01 00");
}
TEST(GateShut, ProofIsLostWithAnotherRateOrADownLink) {
  World w;
  event::LinkState s;
  s.condition = event::LinkCondition::up;
  s.bitrate = 500000;
  s.rx_errors = 3;  // counters move: the proof stays
  w.state(s);
  expectSent(w, functionalTarget(), "01 00");
  s.bitrate = 250000;
  w.state(s);
  expectRefused(w, functionalTarget(), "01 00", "proven");
  w.inbound(on(0x123, "00"));
  s.condition = event::LinkCondition::gone;
  w.state(s);
  s.condition = event::LinkCondition::up;
  w.state(s);
  expectRefused(w, functionalTarget(), "01 00", "proven");
}
TEST(GateShut, RateFixedByTheOperatorOrNoRateNeedsNoProof) {
  World fixed({.sealed = false, .rate_fixed = true, .module_request_ids = {}}, false);
  expectSent(fixed, functionalTarget(), "01 00");
  event::LinkState s;
  s.condition = event::LinkCondition::up;
  s.driver = "vcan";
  World virtual_can({}, false);
  virtual_can.state(s);
  expectSent(virtual_can, functionalTarget(), "01 00");
  s.driver = "";
  s.bitrate = 500000;
  s.time_origin = "simulated";
  World bench({}, false);
  bench.state(s);
  expectSent(bench, functionalTarget(), "01 00");
}

TEST(GateShut, ARateVouchedForInTheRunCountsForThatLinkUntilItErrsOrChanges) {
  World w({}, false);
  event::LinkState s;
  s.condition = event::LinkCondition::up;
  s.bitrate = 500000;
  w.state(s);
  w.state(s, 1);
  expectRefused(w, functionalTarget(), "01 00", "proven");
  EXPECT_TRUE(Gate::isForWantOfProof(w.refused[0]));
  ASSERT_TRUE(w.gate.vouchRate(0));
  s.rx_errors = 1;  // counters move
  w.state(s);
  expectSent(w, functionalTarget(), "01 00");
  Ask other;
  other.link = 1;
  other.target = functionalTarget();
  other.request = hex("01 00");
  w.results.clear();
  w.ask(other);
  ASSERT_FALSE(w.results.at(0).state) << "nobody vouched for the other link";
  s.bitrate = 250000;
  w.state(s);
  expectRefused(w, functionalTarget(), "01 00", "proven");
  ASSERT_TRUE(w.gate.vouchRate(0));
  s.condition = event::LinkCondition::gone;
  w.state(s);
  s.condition = event::LinkCondition::up;
  w.state(s);
  expectRefused(w, functionalTarget(), "01 00", "proven");
  ASSERT_TRUE(w.gate.vouchRate(0));
  event::CanFrame error;
  error.word = event::kErrorFlag | CAN_ERR_PROT;
  error.length = 8;
  w.inbound(error);
  expectRefused(w, functionalTarget(), "01 00", "proven");
}
TEST(GateShut, NobodyVouchesInASealedJobOnceShutOrForALineMedium) {
  World sealed({.sealed = true, .rate_fixed = false, .module_request_ids = {}}, false);
  const Status no = sealed.gate.vouchRate(0);
  ASSERT_FALSE(no);
  EXPECT_EQ(no.error().kind, ErrorKind::gate);
  expectRefused(sealed, functionalTarget(), "01 00", "sealed");
  EXPECT_FALSE(Gate::isForWantOfProof(sealed.refused[0]));
  World shut({}, false);
  shut.gate.shut("an attempt runs");
  EXPECT_FALSE(shut.gate.vouchRate(0));
  expectRefused(shut, functionalTarget(), "01 00", "attempt");
  World line({}, false);
  event::LinkState s;
  s.condition = event::LinkCondition::up;
  s.medium = event::Medium::iso14230_4;
  line.state(s);
  EXPECT_FALSE(line.gate.vouchRate(0)) << "the first contact wakes modules: the URI names the medium";
}

// A link that hears nothing before it asks: its operator named the rate in its URI.
TEST(GateShut, RateNamedForALinkCountsForThatLinkOnly) {
  World w({}, false);
  w.gate.nameRate(0);
  event::LinkState up;
  up.condition = event::LinkCondition::up;
  up.bitrate = 250000;
  w.state(up);
  expectSent(w, functionalTarget(), "01 00");
  Ask other;
  other.link = 1;
  other.target = functionalTarget();
  other.request = hex("01 00");
  w.state(up, 1);
  w.results.clear();
  w.ask(other);
  ASSERT_EQ(w.results.size(), 1U);
  EXPECT_FALSE(w.results[0].state);
  up.condition = event::LinkCondition::gone;
  w.state(up);
  up.condition = event::LinkCondition::up;
  w.state(up);
  expectSent(w, functionalTarget(), "01 00");  // the protocol is set anew as named
}
// ISO 15765-4:2005, 4.2.1: who sends at a wrong bit rate must notice and stop at once.
TEST(GateShut, ANamedRateIsWithdrawnByTheFirstErrorUnlessAFrameHasProvenIt) {
  event::CanFrame error;
  error.word = event::kErrorFlag | CAN_ERR_PROT | CAN_ERR_BUSERROR;
  error.length = 8;
  World w({}, false);
  w.gate.nameRate(0);
  w.ask(functionalTarget(), "01 00");
  w.until(w.now + ms(300));  // an adapter tells it after its own tries
  w.inbound(error);
  w.until(w.now + ms(2000));
  expectRefused(w, functionalTarget(), "01 00", "proven");
  w.inbound(on(0x123, "00"));
  expectSent(w, functionalTarget(), "01 00");

  World proven({}, false);
  proven.gate.nameRate(0);
  proven.inbound(on(0x7E8, "06 41 00 BE 3F A8 13"));
  proven.inbound(error);
  expectSent(proven, functionalTarget(), "01 00");
}

event::CanFrame errorFrame(std::uint32_t error_class) {
  event::CanFrame e;
  e.word = event::kErrorFlag | error_class;
  e.length = 8;
  return e;
}
TEST(GateShut, FiveErrorFramesWithin100msOfOurSending) {
  World w;
  w.ask(functionalTarget(), "01 00");
  for (int i = 0; i < 4; ++i) w.inbound(errorFrame(CAN_ERR_PROT | CAN_ERR_BUSERROR));
  w.until(w.now + ms(99));
  w.inbound(errorFrame(CAN_ERR_ACK));
  w.until(w.now + ms(20000));
  expectRefused(w, functionalTarget(), "01 00", "5 error frames");
}
TEST(GateShut, FourErrorFramesOrLaterOnesAreNoBurst) {
  World w;
  w.ask(functionalTarget(), "01 00");
  for (int i = 0; i < 4; ++i) w.inbound(errorFrame(CAN_ERR_PROT));
  w.until(w.now + ms(101));
  for (int i = 0; i < 50; ++i) w.inbound(errorFrame(CAN_ERR_PROT));  // not of our doing
  w.until(w.now + ms(1000));
  expectSent(w, functionalTarget(), "01 00");
  for (int i = 0; i < 50; ++i) w.inbound(errorFrame(CAN_ERR_LOSTARB));  // lost arbitration is no fault
  expectSent(w, functionalTarget(), "01 00");
}
TEST(GateShut, BusOffWhenWeSent) {
  World w;
  w.ask(functionalTarget(), "01 00");
  w.inbound(errorFrame(CAN_ERR_BUSOFF));
  w.until(w.now + ms(2000));
  expectRefused(w, functionalTarget(), "01 00", "bus-off");
}
TEST(GateShut, ErrorsBurstOnThatLinkOnly) {
  World w;
  w.inbound(on(0x123, "00"), 1);
  w.ask(functionalTarget(), "01 00");
  for (int i = 0; i < 5; ++i) w.inbound(errorFrame(CAN_ERR_PROT));
  Ask a;
  a.link = 1;
  a.target = functionalTarget();
  a.request = hex("01 00");
  const std::size_t before = w.far.size();
  w.ask(a);
  EXPECT_EQ(w.far.size(), before + 1);
}

// ---- load. Worst case bits of 8 byte frames: 135 and 160 (CAN schedulability literature; Linux
// can/length.h).

TEST(GateLoad, BitsOfAFrame) {
  EXPECT_EQ(frameBitsMax(false), 135U);
  EXPECT_EQ(frameBitsMax(true), 160U);
}
TEST(GateLoad, FivePercentOfTheBusInASecond) {
  for (const auto& [bitrate, extended, expected] : {std::tuple{500000U, false, 185U},  // 25000 bits / 135
                                                    std::tuple{500000U, true, 156U},   // 25000 / 160
                                                    std::tuple{125000U, false, 46U},   // 6250 / 135
                                                    std::tuple{0U, false, 185U}}) {  // unknown: as 500 kbit/s
    limits::Limits limits;
    Gate gate({.sealed = false, .rate_fixed = true, .module_request_ids = {}}, limits);
    event::LinkState s;
    s.condition = event::LinkCondition::up;
    s.bitrate = bitrate;
    gate.onLinkState(0, 0, s);
    std::size_t let_out = 0;
    for (int i = 0; i < 999; ++i)
      if (gate.request(0, ms(1) * i, functionalTarget(extended), hex("01 00"))) ++let_out;
    EXPECT_EQ(let_out, expected);
    EXPECT_TRUE(
        gate.request(0, ms(1000), functionalTarget(extended), hex("01 00")));  // the first one is 1 s old
    const auto no = gate.request(0, ms(1000), functionalTarget(extended), hex("01 00"));
    ASSERT_FALSE(no);
    EXPECT_NE(no.error().what.find("5 %"), std::string::npos) << no.error().what;
  }
}
TEST(GateLoad, AJobMakesItStricterNeverLaxer) {
  limits::Limits lax;
  ASSERT_TRUE(lax.replace("gate.load_max_share", 1, "a job"));
  ASSERT_TRUE(lax.replace("gate.quiet_after_foreign_ms", 0, "a job"));
  Gate gate({.sealed = false, .rate_fixed = true, .module_request_ids = {}}, lax);
  std::size_t let_out = 0;
  for (int i = 0; i < 999; ++i)
    if (gate.request(0, ms(1) * i, functionalTarget(), hex("01 00"))) ++let_out;
  EXPECT_EQ(let_out, 185U);
  gate.onFrame(0, ms(5000), on(0x7DF, "02 01 00"), false);
  EXPECT_FALSE(gate.request(0, ms(6000), functionalTarget(), hex("01 00")));

  limits::Limits strict;
  ASSERT_TRUE(strict.replace("gate.load_max_share", 0.001, "a job"));  // 500 bits: 3 frames
  Gate careful({.sealed = false, .rate_fixed = true, .module_request_ids = {}}, strict);
  let_out = 0;
  for (int i = 0; i < 10; ++i)
    if (careful.request(0, ms(1) * i, functionalTarget(), hex("01 00"))) ++let_out;
  EXPECT_EQ(let_out, 3U);
}

// ---- flow control

constexpr FlowControl kGoOn = {FlowStatus::cts, 0, 0};
const char* const kVinBegins = "10 14 49 02 01 31 47 34";
Target module(std::uint32_t request_id, std::uint32_t answer_id) {
  return {request_id, answer_id, false, false};
}

struct FlowControlGate : ::testing::Test {
  limits::Limits limits;
  Gate gate{{.sealed = false, .rate_fixed = true, .module_request_ids = {}}, limits};
  void asked(const Target& t = functionalTarget()) { ASSERT_TRUE(gate.request(0, 0, t, hex("09 02"))); }
  void begins(std::uint32_t id, const char* text = kVinBegins) {
    gate.onFrame(0, ms(10), on(id, text), false);
  }
  bool lets(const Target& t, Ns now = ms(11), FlowControl fc = kGoOn) {
    return static_cast<bool>(gate.flowControl(0, now, t, fc));
  }
};
TEST_F(FlowControlGate, OnceForEachFirstFrame) {
  asked();
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8)));
  begins(0x7E8);
  const auto permit = gate.flowControl(0, ms(11), module(0x7E0, 0x7E8), kGoOn);
  ASSERT_TRUE(permit);
  EXPECT_EQ(permit->frame(), on(0x7E0, "30 00 00 CC CC CC CC CC"));
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8)));
  begins(0x7E9);
  EXPECT_FALSE(lets(module(0x7E0, 0x7E9)));  // not that module's own request identifier
  EXPECT_TRUE(lets(module(0x7E1, 0x7E9)));
}
TEST_F(FlowControlGate, GoesOutInTheFormatOfTheFirstFrame) {
  asked();
  event::CanFrame first = on(0x7E8, kVinBegins);
  first.fd_flags = event::kFdFormat;
  gate.onFrame(0, ms(10), first, false);
  const auto permit = gate.flowControl(0, ms(11), module(0x7E0, 0x7E8), kGoOn);
  ASSERT_TRUE(permit);
  EXPECT_TRUE(permit->frame().fd()) << "the Linux kernel takes no other on an FD channel";
}
TEST_F(FlowControlGate, NeverWithoutARequestOfOurs) {
  begins(0x7E8);
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8)));
}
TEST_F(FlowControlGate, NotAfterTheRequestIsOver) {
  asked();
  begins(0x7E8);
  gate.closed(0);
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8)));
}
TEST_F(FlowControlGate, NotForAnAnswerToSomethingElse) {
  asked();
  begins(0x7E8, "10 14 62 F1 90 31 47 34");
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8)));
}
TEST_F(FlowControlGate, NotForAnotherModuleThanTheOneAsked) {
  asked(physical(0x7E0));
  begins(0x7E9);
  EXPECT_FALSE(lets(module(0x7E1, 0x7E9)));
  EXPECT_FALSE(lets(module(0x7E0, 0x7E9)));
}
TEST_F(FlowControlGate, NotOnceTheSenderHasGivenUp) {
  asked();
  begins(0x7E8);
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8), ms(1011)));
  EXPECT_TRUE(lets(module(0x7E0, 0x7E8), ms(1010)));
}
TEST_F(FlowControlGate, NotAfterAnotherTesterCame) {
  asked();
  begins(0x7E8);
  gate.onFrame(0, ms(10), on(0x7E0, "30 00 00"), false);
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8)));
}
TEST_F(FlowControlGate, NotAfterTheGateWasShut) {
  asked();
  begins(0x7E8);
  gate.shut("hand-over");
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8)));
}
TEST_F(FlowControlGate, BlocksAndReservedStatusAreRefusedOverflowIsNot) {
  asked();
  begins(0x7E8);
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8), ms(11), {FlowStatus::cts, 8, 0}));
  EXPECT_FALSE(lets(module(0x7E0, 0x7E8), ms(11), {FlowStatus::reserved, 0, 0}));
  EXPECT_FALSE(lets(functionalTarget()));
  EXPECT_TRUE(lets(module(0x7E0, 0x7E8), ms(11), {FlowStatus::overflow, 0, 0}));
}

}  // namespace
}  // namespace pin16::protocol
