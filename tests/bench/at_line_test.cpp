// SPDX-License-Identifier: Apache-2.0
// The link at: on J1850 and K-line, over ptys against the bench's own adapter, whose habits are common
// practice, no source. Headers: public transcription of SAE J1979:2002 (reference table of the project).
#include <gmock/gmock.h>

#include <algorithm>

#include "core/link/line_format.hpp"
#include "tests/bench/at_rig.hpp"

namespace pin16::bench {
namespace {

using event::LinkCondition;
using event::Medium;
using link::runUntil;
using std::chrono::milliseconds;
using testing::Contains;
using testing::EndsWith;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using Rig = AtRig;

const char* const kVin = "30504e313642454e364830303030303031";  // 0PN16BEN6H0000001

struct Protocol {
  const char* name;
  Medium medium;
  const char* request;  ///< header of 01 00 to everybody
};
std::ostream& operator<<(std::ostream& out, const Protocol& p) { return out << p.name; }
const Protocol kAll[] = {{"pwm-41600", Medium::j1850_pwm, "616af1"},
                         {"vpw-10400", Medium::j1850_vpw, "686af1"},
                         {"iso9141-2", Medium::iso9141_2, "686af1"},
                         {"kwp-5baud", Medium::iso14230_4, "c233f1"},
                         {"kwp-fast", Medium::iso14230_4, "c233f1"}};
const Protocol& kVpw = kAll[1];
const Protocol& kIso9141 = kAll[2];
const Protocol& kFiveBaud = kAll[3];
const Protocol& kFast = kAll[4];

struct Line {
  explicit Line(const Protocol& p, AtHabits habits = {},
                Scenario scenario = *loadScenario("own-battery-sound"))
      : desk(io, scenario, on(p, std::move(habits))), rig(io, desk.uri("protocol=" + std::string(p.name))) {}
  static AtHabits on(const Protocol& p, AtHabits h) {
    if (h.medium == Medium::can) h.medium = p.medium;
    return h;
  }
  protocol::AskResult all(const char* request) { return rig.ask(protocol::functionalTarget(), request); }
  protocol::AskResult one(std::uint32_t address, const char* request) {
    return rig.ask({address, std::nullopt, false, false, true}, request);
  }
  [[nodiscard]] std::vector<Bytes> sent() const {
    std::vector<Bytes> out;
    for (const auto& s : rig.kept.all<event::Sent>()) out.push_back(s.frame);
    return out;
  }
  boost::asio::io_context io;
  AtDesk desk;
  Rig rig;
};

class AtLine : public testing::TestWithParam<Protocol> {};
INSTANTIATE_TEST_SUITE_P(Protocols, AtLine, testing::ValuesIn(kAll), [](const auto& i) {
  std::string name = i.param.name;
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
});

TEST_P(AtLine, GivesTheVinAndSendsOnlyWhatWasPermitted) {
  Line l(GetParam());
  ASSERT_TRUE(l.rig.comesUp()) << l.rig.at->state().text;
  const auto& state = l.rig.at->state();
  EXPECT_EQ(state.medium, GetParam().medium);
  EXPECT_EQ(state.silence, event::Silence::cannot);
  EXPECT_GE(state.time_error_ns, link::lineTime_ns(GetParam().medium, 11));
  const auto pids = l.all("0100");
  ASSERT_EQ(pids.exchanges.size(), 1U);
  EXPECT_EQ(pids.exchanges[0].ended, event::Ended::answered);
  EXPECT_EQ(pids.exchanges[0].answer_id, 0x10U);
  EXPECT_EQ(toHex(pids.exchanges[0].request_header), GetParam().request);
  EXPECT_TRUE(pids.confirmed);
  const auto vin = l.all("0902");
  EXPECT_EQ(vinOf(vin), kVin) << "five numbered messages, joined by us";
  EXPECT_EQ(l.rig.kept.all<event::Message>().size(), 6U);
  // What was on the line is what the gate let out, initialisations included.
  EXPECT_EQ(l.desk.adapter->on_line, l.sent());
  EXPECT_EQ(l.rig.written, l.desk.from_host) << "every byte is on the stream";
  EXPECT_EQ(state.session, event::isKLine(GetParam().medium));
  if (GetParam().medium != Medium::iso14230_4) return;
  // Another module needs a session of its own: the one with the legislated modules is ended before.
  EXPECT_EQ(vinOf(l.one(0xA9, "1A90")), kVin);
  EXPECT_THAT(l.desk.adapter->on_line, Contains(*fromHex("c133f18267")));
  EXPECT_EQ(l.desk.adapter->on_line, l.sent());
}

TEST_P(AtLine, ResponseTimesAreRightWithinTheirStatedError) {
  Scenario s = *loadScenario("own-battery-sound");
  for (auto& m : s.modules) m.delay_ms = 45, m.jitter_ms = 0;
  Line l(GetParam(), {}, s);
  ASSERT_TRUE(l.rig.comesUp());
  (void)l.all("0100");  // initialises
  const auto r = l.all("0100");
  ASSERT_EQ(r.exchanges.size(), 1U);
  // From the end of the request to the first byte of the answer; the bench counts 45 ms from its being taken,
  // and not less than 30 ms after the request.
  const std::size_t n = 6;
  double request_ms = toMs(link::lineTime_ns(GetParam().medium, n));
  if (event::isKLine(GetParam().medium)) request_ms += 5.0 * (n - 1);
  const double true_ms =
      event::isKLine(GetParam().medium) ? std::max(30.0, 45 - request_ms) : 45 - request_ms;
  const double answer_ms = toMs(link::lineTime_ns(GetParam().medium, 10));
  const double error_ms = toMs(l.rig.at->state().time_error_ns);
  std::printf("true %.1f ms or %.1f ms, said %.1f ms, error %.1f ms\n", true_ms - answer_ms, true_ms,
              r.exchanges[0].response_ms, error_ms);
  EXPECT_GE(r.exchanges[0].response_ms, true_ms - answer_ms - error_ms);
  EXPECT_LE(r.exchanges[0].response_ms, true_ms + error_ms + 20) << "20 ms for a busy machine";
}

TEST_P(AtLine, WithTheGateShutOnlyControlStringsAreWritten) {
  boost::asio::io_context io;
  AtDesk desk(io, *loadScenario("own-battery-sound"), {.medium = GetParam().medium});
  for (const char* more : {"", "&monitor=on"}) {
    Rig rig(io, desk.uri("protocol=" + std::string(GetParam().name) + more));
    rig.gate.shut("attempt");
    ASSERT_TRUE(rig.comesUp()) << rig.at->state().text;
    EXPECT_FALSE(rig.ask(protocol::functionalTarget(), "0100").state);
    rig.run(milliseconds(1500));
  }
  const auto fixed = fixedLines();
  for (const auto& line : linesOf(desk.from_host)) EXPECT_TRUE(fixed.contains(line)) << "\"" << line << "\"";
  EXPECT_THAT(desk.adapter->on_line, IsEmpty());
}

TEST_P(AtLine, NobodyThereIsSilentAndSoon) {
  Line l(GetParam(),
         {.medium = GetParam().medium == Medium::j1850_pwm ? Medium::j1850_vpw : Medium::j1850_pwm});
  ASSERT_TRUE(l.rig.comesUp());
  const Ns asked_ns = bootNow();
  const auto r = l.all("0100");
  EXPECT_LT(bootNow() - asked_ns, 6 * kNsPerSecond);
  ASSERT_EQ(r.exchanges.size(), 1U);
  EXPECT_EQ(r.exchanges[0].ended, event::Ended::silent);
  if (!event::isKLine(GetParam().medium)) {
    EXPECT_TRUE(r.confirmed) << "the adapter says NO DATA: it did send";
    return;
  }
  EXPECT_FALSE(r.confirmed);
  EXPECT_THAT(l.rig.notes(), Contains("the adapter says BUS INIT: ERROR"));
  EXPECT_FALSE(l.rig.at->state().session);
}

TEST_P(AtLine, NoiseNeverSendsWhatWasNotPermitted) {
  Line l(GetParam(), {.noise_share = 0.004, .seed = 5});
  int answered = 0;
  for (int i = 0; i < 8; ++i) {
    if (!l.rig.comesUp()) break;
    answered += vinOf(l.all("0902")) == kVin ? 1 : 0;
  }
  EXPECT_GE(answered, 1);
  const auto permitted = l.sent();
  for (const Bytes& b : l.desk.adapter->on_line) EXPECT_THAT(permitted, Contains(b)) << toHex(b, " ");
}

TEST(AtKLine, OneModuleIsWokenByItsOwnAddress) {
  for (const Protocol& p : {kFiveBaud, kFast}) {
    Line l(p);
    ASSERT_TRUE(l.rig.comesUp());
    EXPECT_EQ(vinOf(l.one(0xA9, "1A90")), kVin);
    const auto& on_line = l.desk.adapter->on_line;
    ASSERT_GE(on_line.size(), 2U);
    EXPECT_EQ(toHex(on_line[0]), p.name == std::string("kwp-fast") ? "81a9f1819c" : "a9");
    EXPECT_EQ(toHex(on_line[1]), "82a9f11a90c6");
    EXPECT_EQ(on_line, l.sent());
  }
}

TEST(AtKLine, ASessionIsKeptByPermitsAndEnded) {
  Line l(kFast);
  ASSERT_TRUE(l.rig.comesUp());
  (void)l.all("0100");
  ASSERT_TRUE(l.rig.at->state().session);
  l.rig.run(milliseconds(6500));  // longer than P3 max
  EXPECT_TRUE(l.rig.at->state().session);
  EXPECT_EQ(vinOf(l.all("0902")), kVin);
  l.rig.asker.endSessions(bootNow());
  EXPECT_TRUE(runUntil(l.io, [&] { return !l.rig.at->state().session; }));
  std::vector<std::string> data;
  for (const Bytes& b : l.desk.adapter->on_line) data.push_back(toHex(ByteView(b).subspan(3, b.size() - 4)));
  EXPECT_THAT(data, testing::ElementsAre("81", "0100", "3e", "3e", "0902", "82"));
  EXPECT_EQ(l.desk.adapter->on_line, l.sent());
  (void)l.all("0100");  // the next request begins a new one
  EXPECT_EQ(toHex(l.desk.adapter->on_line[6]), "c133f18166");
  EXPECT_TRUE(l.rig.at->state().session);
}

TEST(AtKLine, ASessionThatNobodyKeepsIsOver) {
  Line l(kIso9141);
  ASSERT_TRUE(l.rig.comesUp());
  (void)l.all("0100");
  ASSERT_TRUE(l.rig.at->state().session);
  l.rig.gate.shut("attempt");
  const std::size_t sent = l.sent().size();
  EXPECT_TRUE(runUntil(l.io, [&] { return !l.rig.at->state().session; }));
  EXPECT_THAT(l.rig.notes(), Contains(HasSubstr("P3 max")));
  l.rig.run(milliseconds(3000));
  EXPECT_EQ(l.sent().size(), sent);
  EXPECT_EQ(l.desk.adapter->on_line.size(), sent) << "nor did the adapter by itself";
}

TEST(AtKLine, AnAdapterThatWouldKeepSessionsByItselfIsNotUsed) {
  Line l(kFast, {.refuses = {"SW"}});
  EXPECT_TRUE(runUntil(l.io, [&] { return l.rig.at->state().condition == LinkCondition::failed; }));
  EXPECT_THAT(l.rig.at->state().text, HasSubstr("refuses ATSW00"));
  EXPECT_THAT(l.rig.at->state().advice, HasSubstr("nobody permitted"));
}

TEST(AtKLine, ALongMessageThatIsCutIsDamage) {
  Line l(kFast, {.refuses = {"AL"}});
  ASSERT_TRUE(l.rig.comesUp());
  EXPECT_THAT(l.rig.at->state().description, HasSubstr("cuts messages of more than 7 bytes"));
  EXPECT_EQ(vinOf(l.one(0xA9, "1A90")), "silent");
  EXPECT_THAT(l.rig.notes(), Contains(HasSubstr("that makes no message \"")));
}

TEST(AtKLine, DamageIsNotQuotedWhileContentIsBlanked) {
  Line l(kFast, {.refuses = {"AL"}});
  ASSERT_TRUE(l.rig.comesUp());
  l.rig.blanks = true;
  EXPECT_EQ(vinOf(l.one(0xA9, "1A90")), "silent");
  EXPECT_THAT(l.rig.notes(), Contains(EndsWith("that makes no message")));
  EXPECT_THAT(l.rig.notes(), Not(Contains(HasSubstr("\""))));
}

TEST(AtKLine, ARefusedHeaderSendsNothing) {
  Line l(kVpw, {.refuses = {"SH"}});
  ASSERT_TRUE(l.rig.comesUp());
  const Ns asked_ns = bootNow();
  EXPECT_EQ(vinOf(l.all("0100")), "silent");
  EXPECT_LT(bootNow() - asked_ns, 2 * kNsPerSecond);
  EXPECT_THAT(l.rig.notes(), Contains(HasSubstr("refuses ATSH686AF1: nothing was sent")));
  EXPECT_FALSE(l.all("0100").state);
  EXPECT_THAT(l.desk.adapter->on_line, IsEmpty());
  EXPECT_THAT(l.sent(), IsEmpty());
}

TEST(AtKLine, ARequestAfterAReadingOfTheSupplyIsMarked) {
  Line l(kVpw);
  ASSERT_TRUE(l.rig.comesUp());
  EXPECT_GE(l.all("0100").exchanges.at(0).after_poll_ms, 0) << "the dialogue ends with a reading";
  EXPECT_EQ(l.all("0100").exchanges.at(0).after_poll_ms, -1);
}

TEST(AtKLine, UnpluggedAndPluggedInTheRunGoesOn) {
  Line l(kFast);
  ASSERT_TRUE(l.rig.comesUp());
  EXPECT_EQ(vinOf(l.all("0902")), kVin);
  for (int i = 0; i < 5; ++i) {
    l.desk.unplug();
    ASSERT_TRUE(runUntil(l.io, [&] { return !l.rig.up(); }));
    l.desk.plug();
    ASSERT_TRUE(l.rig.comesUp()) << l.rig.at->state().text;
    EXPECT_FALSE(l.rig.at->state().session);
  }
  EXPECT_EQ(l.rig.kept.all<event::Gap>().size(), 5U);
  EXPECT_EQ(vinOf(l.all("0902")), kVin);
}

TEST(AtAdapterMedium, IsAnOption) {
  const auto h = atHabits({{"medium", "j1850-vpw"}, {"init", "fast"}});
  ASSERT_TRUE(h);
  EXPECT_EQ(h->medium, Medium::j1850_vpw);
  EXPECT_FALSE(h->five_baud);
  EXPECT_TRUE(h->fast);
  EXPECT_FALSE(atHabits({{"medium", "vpw"}}));
  EXPECT_FALSE(atHabits({{"init", "slow"}}));
}

}  // namespace
}  // namespace pin16::bench
