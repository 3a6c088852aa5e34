// SPDX-License-Identifier: Apache-2.0
// The gate on K-line and J1850: what the far end receives is the list and nothing else.
#include <gtest/gtest.h>

#include <set>
#include <string>

#include "core/protocol/gate.hpp"
#include "core/protocol/line.hpp"
#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

using event::Medium;

constexpr Medium kMedia[] = {Medium::iso9141_2, Medium::iso14230_4, Medium::j1850_pwm, Medium::j1850_vpw};
const GateSettings kVouched{.sealed = false, .rate_fixed = true, .module_request_ids = {}};

Target at(std::uint8_t address) { return {address, std::nullopt, false, false, true}; }

/// A world whose link 0 is that medium; with a session, which a request to `to` has begun.
struct LineWorld : World {
  explicit LineWorld(Medium m, bool session = false, GateSettings settings = kVouched,
                     const Target& to = functionalTarget())
      : World(std::move(settings), /*proven=*/false) {
    medium(m);
    if (!session) return;
    ask(to, "07");
    until(now + ms(1100));
    medium(m, /*session=*/true);
    far_lines.clear();
  }
};
/// What the asker sends by itself to keep an open session.
void addKeeping(std::set<std::string>& expected, Medium m, bool session) {
  if (session) expected.insert(m == Medium::iso14230_4 ? "3e" : "0100");
}

/// Asks, and lets the silence pass (also what the load rule of J1850 counts).
void tryOut(World& w, const Target& target, const Bytes& request) {
  Ask a;
  a.target = target;
  a.request = request;
  w.ask(a);
  w.until(w.now + ms(1100));
}

/// Data of what the far end received; header and check byte compared with `header` (its first byte without
/// the length) and the addresses.
std::set<std::string> received(const World& w, unsigned first, unsigned to, Medium m) {
  std::set<std::string> out;
  for (const Bytes& line : w.far_lines) {
    const std::size_t data = line.size() - 4;
    EXPECT_EQ(line[0], first + (m == Medium::iso14230_4 ? data : 0U));
    EXPECT_EQ(line[1], to);
    EXPECT_EQ(line[2], 0xF1);
    EXPECT_EQ(line.back(), link::checkByte(m, ByteView(line).first(line.size() - 1)));
    out.insert(toHex(ByteView(line).subspan(3, data)));
  }
  return out;
}

Error refusalOf(World& w, const Target& target, const char* request) {
  const std::size_t before = w.far_lines.size();
  w.refused.clear();
  w.results.clear();
  w.ask(target, request);
  EXPECT_EQ(w.far_lines.size(), before);
  EXPECT_TRUE(w.far.empty());
  EXPECT_EQ(w.refused.size(), 1U);
  EXPECT_EQ(w.results.size(), 1U);
  if (w.results.size() != 1 || w.results[0].state) return {};
  EXPECT_EQ(w.results[0].state.error().kind, ErrorKind::gate);
  return w.results[0].state.error();
}

// ---- the list. The expected sets are written out here from the architecture page, not from the gate.

TEST(GateLineList, EveryServiceByteAtEveryLengthToEverybody) {
  for (const Medium m : kMedia)
    for (const bool session : {false, true}) {
      if (session && !event::isKLine(m)) continue;
      LineWorld w(m, session);
      const Bytes more = hex("90 90 0C 00 01 02 03 04");
      for (unsigned service = 0; service < 256; ++service)
        for (std::size_t n = 0; n <= more.size(); ++n) {
          Bytes r = {static_cast<std::uint8_t>(service)};
          r.insert(r.end(), more.begin(), more.begin() + static_cast<std::ptrdiff_t>(n));
          tryOut(w, functionalTarget(), r);
        }
      const unsigned first = m == Medium::iso14230_4 ? 0xC0 : m == Medium::j1850_pwm ? 0x61 : 0x68;
      std::set<std::string> expected = {"0190", "029090", "03", "0690", "07", "0990", "0a"};
      addKeeping(expected, m, session);
      EXPECT_EQ(received(w, first, m == Medium::iso14230_4 ? 0x33 : 0x6A, m), expected)
          << event::toText(m) << session;
    }
}
TEST(GateLineList, EveryServiceByteAtEveryLengthToOneModule) {
  for (const bool session : {false, true}) {
    LineWorld w(Medium::iso14230_4, session, kVouched, at(0x58));
    const Bytes more = hex("90 90 0C 00 01 02 03 04");
    for (unsigned service = 0; service < 256; ++service)
      for (std::size_t n = 0; n <= more.size(); ++n) {
        Bytes r = {static_cast<std::uint8_t>(service)};
        r.insert(r.end(), more.begin(), more.begin() + static_cast<std::ptrdiff_t>(n));
        tryOut(w, at(0x58), r);
      }
    std::set<std::string> expected = {"0190", "029090", "03", "0690", "07", "0990", "0a", "1a90"};
    addKeeping(expected, Medium::iso14230_4, session);
    EXPECT_EQ(received(w, 0x80, 0x58, Medium::iso14230_4), expected);
  }
}
TEST(GateLineList, EverySubFunctionOfTheServicesThatHaveOne) {
  LineWorld w(Medium::iso14230_4, true, kVouched, at(0x10));
  std::set<std::string> expected;
  addKeeping(expected, Medium::iso14230_4, true);
  for (const unsigned service :
       {0x10U, 0x11U, 0x14U, 0x18U, 0x19U, 0x1AU, 0x21U, 0x22U, 0x27U, 0x31U, 0x3EU, 0x81U, 0x82U, 0x83U})
    for (unsigned sub = 0; sub < 256; ++sub)
      for (const char* more : {"", "90", "90 00"}) {
        Bytes r = {static_cast<std::uint8_t>(service), static_cast<std::uint8_t>(sub)};
        const Bytes tail = hex(more);
        r.insert(r.end(), tail.begin(), tail.end());
        tryOut(w, at(0x10), r);
      }
  for (unsigned option = 0x80; option <= 0x9F; ++option)
    expected.insert("1a" + toHex(Bytes{static_cast<std::uint8_t>(option)}));
  EXPECT_EQ(received(w, 0x80, 0x10, Medium::iso14230_4), expected);
}
TEST(GateLineList, EveryPairOfFirstBytes) {
  for (const Medium m : kMedia) {
    LineWorld w(m);
    std::set<std::string> expected;
    for (unsigned service = 0; service < 256; ++service)
      for (unsigned second = 0; second < 256; ++second) {
        const Bytes r = {static_cast<std::uint8_t>(service), static_cast<std::uint8_t>(second)};
        tryOut(w, functionalTarget(), r);
        if (service == 0x01 || service == 0x06 || service == 0x09) expected.insert(toHex(r));
      }
    const unsigned first = m == Medium::iso14230_4 ? 0xC0 : m == Medium::j1850_pwm ? 0x61 : 0x68;
    EXPECT_EQ(received(w, first, m == Medium::iso14230_4 ? 0x33 : 0x6A, m), expected);
    EXPECT_EQ(expected.size(), 3U * 256);
  }
}

// ---- addresses

TEST(GateLineAddress, EveryAddressByte) {
  LineWorld w(Medium::iso14230_4);
  for (unsigned a = 0; a < 256; ++a) tryOut(w, at(static_cast<std::uint8_t>(a)), hex("1A 90"));
  std::set<unsigned> to;
  for (const Bytes& line : w.far_lines) to.insert(line[1]);
  EXPECT_EQ(to.size(), 239U);  // not 33, which is everybody's, nor F0-FF, testers and reserved
  EXPECT_FALSE(to.contains(0x33));
  EXPECT_EQ(*to.rbegin(), 0xEFU);
}
TEST(GateLineAddress, NothingButTheFunctionalOneWhereNoOtherIsDefined) {
  for (const Medium m : {Medium::iso9141_2, Medium::j1850_pwm, Medium::j1850_vpw}) {
    LineWorld w(m);
    EXPECT_NE(refusalOf(w, at(0x10), "01 00").what.find("no request to one module"), std::string::npos);
    EXPECT_NE(refusalOf(w, at(0x6A), "01 00").what.find("functional address"), std::string::npos);
  }
}
TEST(GateLineAddress, CanIdentifiersStayOnCanAndLineAddressesOffIt) {
  LineWorld k(Medium::iso14230_4);
  EXPECT_NE(refusalOf(k, physical(0x7E0), "01 00").what.find("CAN identifier"), std::string::npos);
  World can(kVouched);
  EXPECT_NE(refusalOf(can, at(0x10), "01 00").what.find("this link is CAN"), std::string::npos);
  Target t = at(0x10);
  t.functional = true;
  EXPECT_NE(refusalOf(k, t, "01 00").what.find("functional address"), std::string::npos);
}
TEST(GateLineAddress, OnlyObdToEverybody) {
  LineWorld w(Medium::iso14230_4);
  EXPECT_NE(refusalOf(w, functionalTarget(), "1A 90").what.find("everybody"), std::string::npos);
}

// ---- initialisation and session

TEST(GateLineStart, ComesWithARequestOnAKLineAndNowhereElse) {
  LineWorld kwp(Medium::iso14230_4);
  tryOut(kwp, functionalTarget(), hex("01 00"));
  ASSERT_EQ(kwp.starts.size(), 1U);
  EXPECT_EQ(kwp.starts[0].address, 0x33);
  // C1 33 F1 81 66: published example frame
  EXPECT_EQ(toHex(link::lineBytes(kwp.starts[0].start_communication)), "c133f18166");
  tryOut(kwp, at(0xE9), hex("1A 90"));
  ASSERT_EQ(kwp.starts.size(), 2U);
  EXPECT_EQ(kwp.starts[1].address, 0xE9);
  EXPECT_EQ(toHex(link::lineBytes(kwp.starts[1].start_communication)), "81e9f181dc");  // the same source
  LineWorld iso(Medium::iso9141_2);
  tryOut(iso, functionalTarget(), hex("01 00"));
  ASSERT_EQ(iso.starts.size(), 1U);
  EXPECT_EQ(iso.starts[0].address, 0x33);
  EXPECT_TRUE(iso.starts[0].start_communication.data.empty());
  for (const Medium m : {Medium::j1850_pwm, Medium::j1850_vpw}) {
    LineWorld w(m);
    tryOut(w, functionalTarget(), hex("01 00"));
    EXPECT_EQ(w.far_lines.size(), 1U);
    EXPECT_TRUE(w.starts.empty());
  }
}
event::LinkState upOn(Medium m) {
  event::LinkState s;
  s.condition = event::LinkCondition::up;
  s.medium = m;
  return s;
}
TEST(GateLineSession, KeepingAndEndingOnlyWhileOursIsOpen) {
  for (const Medium m : kMedia) {
    limits::Limits limits;
    Gate gate(kVouched, limits);
    event::LinkState s = upOn(m);
    gate.onLinkState(0, 0, s);
    EXPECT_FALSE(gate.keepSession(0, 0));
    EXPECT_FALSE(gate.endSession(0, 0));
    ASSERT_TRUE(gate.request(0, 0, onMedium(functionalTarget(), m), hex("01 00")));
    EXPECT_FALSE(gate.keepSession(0, 0));
    s.session = true;
    gate.onLinkState(0, 0, s);
    const auto keep = gate.keepSession(0, ms(10));
    ASSERT_EQ(static_cast<bool>(keep), event::isKLine(m));
    const auto end = gate.endSession(0, ms(20));
    EXPECT_EQ(static_cast<bool>(end), m == Medium::iso14230_4);
    if (keep) {
      EXPECT_EQ(toHex(keep->line().data), m == Medium::iso14230_4 ? "3e" : "0100");
    }
    if (keep) {
      EXPECT_FALSE(keep->start());
    }
    if (end) {
      EXPECT_EQ(toHex(link::lineBytes(end->line())), "c133f18267");
    }
    s.condition = event::LinkCondition::gone;
    gate.onLinkState(0, 0, s);
    EXPECT_FALSE(gate.keepSession(0, ms(30)));
    EXPECT_FALSE(gate.endSession(0, ms(30)));
  }
}
TEST(GateLineSession, OneThatNoRequestOfOursBeganIsNotOurs) {
  limits::Limits limits;
  Gate gate(kVouched, limits);
  event::LinkState s = upOn(Medium::iso14230_4);
  s.session = true;
  gate.onLinkState(0, 0, s);
  EXPECT_FALSE(gate.keepSession(0, 0));
  EXPECT_FALSE(gate.endSession(0, 0));
}
TEST(GateLineSession, IsKeptBetweenRequestsAndEndedWithoutLettingItBegin) {
  LineWorld w(Medium::iso14230_4);
  tryOut(w, functionalTarget(), hex("01 00"));
  w.medium(Medium::iso14230_4, /*session=*/true);
  w.until(w.now + ms(20000));
  // One each 2.5 s at most (a shorter silence than P3 max, 5 s: ISO 14230-2), nothing else.
  ASSERT_GE(w.far_lines.size(), 1U + 7);
  ASSERT_LE(w.far_lines.size(), 1U + 8);
  for (std::size_t i = 1; i < w.far_lines.size(); ++i) EXPECT_EQ(toHex(w.far_lines[i]), "c133f13e23");
  const std::size_t before = w.far_lines.size();
  w.asker.endSessions(w.now);
  ASSERT_EQ(w.far_lines.size(), before + 1);
  EXPECT_EQ(toHex(w.far_lines.back()), "c133f18267");
  w.until(w.now + ms(20000));
  EXPECT_EQ(w.far_lines.size(), before + 1);
}
TEST(GateLineSession, WithOthersIsEndedBeforeOneModuleIsAsked) {
  LineWorld w(Medium::iso14230_4);
  tryOut(w, functionalTarget(), hex("01 00"));
  w.medium(Medium::iso14230_4, /*session=*/true);
  tryOut(w, functionalTarget(), hex("01 0C"));
  tryOut(w, at(0x58), hex("1A 90"));
  std::vector<std::string> lines;
  for (const Bytes& line : w.far_lines) lines.push_back(toHex(line));
  // Sums by arithmetic.
  EXPECT_EQ(lines, (std::vector<std::string>{"c233f10100e7", "c233f1010cf3", "c133f18267", "8258f11a9075"}));
  w.medium(Medium::iso14230_4);  // its end was seen, and the module's own session began
  w.medium(Medium::iso14230_4, /*session=*/true);
  tryOut(w, at(0x58), hex("1A 91"));
  EXPECT_EQ(w.far_lines.size(), 5U) << "the same one goes on";
  EXPECT_EQ(w.starts.back().address, 0x58);
}
TEST(GateLineSession, IsNotKeptOnceTheGateIsShutOrAnotherTesterCame) {
  LineWorld w(Medium::iso14230_4, true);
  w.gate.shut("attempt");
  w.until(w.now + ms(20000));
  EXPECT_TRUE(w.far_lines.empty());
  EXPECT_EQ(w.notes.size(), 1U);
  w.asker.endSessions(w.now);
  EXPECT_TRUE(w.far_lines.empty());
  LineWorld foreign(Medium::iso14230_4, true);
  foreign.answer("C2 33 F1 01 0C", Medium::iso14230_4);
  foreign.until(foreign.now + ms(9000));
  EXPECT_TRUE(foreign.far_lines.empty());
}

// ---- shut

TEST(GateLineShut, Sealed) {
  for (const Medium m : kMedia) {
    LineWorld w(m, false, {.sealed = true, .rate_fixed = true, .module_request_ids = {}});
    EXPECT_NE(refusalOf(w, functionalTarget(), "01 00").what.find("sealed"), std::string::npos);
  }
}
TEST(GateLineShut, ByItsOwner) {
  for (const Medium m : kMedia) {
    LineWorld w(m);
    w.gate.shut("attempt");
    EXPECT_NE(refusalOf(w, functionalTarget(), "01 00").what.find("attempt"), std::string::npos);
  }
}
TEST(GateLineShut, UntilTheMediumIsNamedOrAMessageWasHeard) {
  for (const Medium m : kMedia) {
    LineWorld w(m, false, {});
    EXPECT_NE(refusalOf(w, functionalTarget(), "01 00").what.find("nobody named"), std::string::npos);
    w.gate.nameRate(0);
    tryOut(w, functionalTarget(), hex("01 00"));
    EXPECT_EQ(w.far_lines.size(), 1U);
    LineWorld heard(m, false, {});
    heard.answer("48 6B 10 41 00", m);
    tryOut(heard, functionalTarget(), hex("01 00"));
    EXPECT_EQ(heard.far_lines.size(), 1U);
  }
}
TEST(GateLineShut, TenSecondsAfterAnotherTesterOnEveryLink) {
  for (const Medium m : kMedia) {
    LineWorld w(m);
    w.answer(m == Medium::iso14230_4 ? "C2 33 F1 01 0C" : "68 6A F1 01 0C", m);
    EXPECT_NE(refusalOf(w, functionalTarget(), "01 00").what.find("another tester"), std::string::npos);
    w.until(w.now + ms(9999));
    EXPECT_NE(refusalOf(w, functionalTarget(), "01 00").what.find("another tester"), std::string::npos);
    w.until(w.now + ms(2));
    tryOut(w, functionalTarget(), hex("01 00"));
    EXPECT_EQ(w.far_lines.size(), 1U);
    World can(kVouched);
    can.medium(m, false, 1);
    can.answer("68 6A F1 01 0C", m, 1);
    can.ask(functionalTarget(), "01 00");
    EXPECT_TRUE(can.far.empty());
  }
}
TEST(GateLineShut, FivePercentOfAJ1850BusNotOfAKLine) {
  for (const Medium m : kMedia) {
    limits::Limits limits;
    Gate gate(kVouched, limits);
    event::LinkState s = upOn(m);
    s.bitrate = m == Medium::j1850_pwm ? 41600 : 10400;
    gate.onLinkState(0, 0, s);
    int let_out = 0;
    for (int i = 0; i < 999; ++i)
      if (gate.request(0, ms(i), onMedium(functionalTarget(), m), hex("01 00"))) ++let_out;
    // 5 % of 10400 or 41600 bits, 6 bytes and 20 bits each
    EXPECT_EQ(let_out, m == Medium::j1850_vpw ? 7 : m == Medium::j1850_pwm ? 30 : 999);
  }
}
TEST(GateLineShut, OurOwnMessageSeenByOurOtherLinkIsNoTester) {
  LineWorld w(Medium::iso14230_4);
  w.medium(Medium::iso14230_4, false, 1);
  tryOut(w, functionalTarget(), hex("01 00"));
  w.answer("C2 33 F1 01 00", Medium::iso14230_4, 1);
  tryOut(w, functionalTarget(), hex("01 0C"));
  EXPECT_EQ(w.far_lines.size(), 2U);
}

}  // namespace
}  // namespace pin16::protocol
