// SPDX-License-Identifier: Apache-2.0
// The bench's supply as an instrument, on simulated time. Its manners follow IEEE 488.2 (responses parted by
// semicolons, -410 interrupted) and SCPI-99 (short and long forms, -113, 9.91E37), from memory.
#include "core/bench/serve_scpi.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "core/bench/bench.hpp"
#include "core/bench/serve.hpp"

namespace pin16::bench {
namespace {

using testing::HasSubstr;
using testing::StartsWith;

struct Desk : World::Observer {
  explicit Desk(const Scenario& scenario, const ScpiManners& manners = {}) {
    auto made = World::make(scenario, *this, 0);
    if (!made) throw std::runtime_error(made.error().text());
    world = *std::move(made);
    instrument.emplace(*world, manners, [this](std::string_view text) { out += text; });
    world->advance(now);
  }
  void onFrame(Ns, const event::CanFrame&, bool) override {}
  void onSample(Ns, const event::Measurement&) override {}
  void onPower(Ns, const event::Power&) override {}
  void onController(Ns, std::string_view, int) override {}
  std::string ask(const std::string& line) {
    out.clear();
    instrument->take(now, line + "\n");
    return std::exchange(out, {});
  }
  double number(const std::string& line) { return std::stod(ask(line)); }

  Ns now = 3000 * kNsPerMs;
  std::string out;
  std::unique_ptr<World> world;
  std::optional<ScpiInstrument> instrument;
};

TEST(ScpiInstrument, AnswersEveryFormOfItsQueries) {
  Desk d(*loadScenario("own-battery-sound"));
  EXPECT_EQ(d.ask("*IDN?"), "Pin16,bench supply,0,1\n");
  for (const char* q :
       {"MEAS:VOLT?", "meas:volt?", "MEASure:VOLTage:DC?", ":MEAS:VOLT? (@1)", " READ? ", "FETCh?"})
    EXPECT_NEAR(d.number(q), 12.54, 0.06) << q;
  EXPECT_NEAR(d.number("MEAS:CURR?"), 0.31, 0.03);
  EXPECT_EQ(d.ask("STAT:QUES:COND?"), "2\n");
  EXPECT_EQ(d.ask("MEAS:VOLT? (@99)"), "9.91E37\n");
  EXPECT_THAT(d.ask("*IDN?;STATus:QUEStionable:CONDition?"), "Pin16,bench supply,0,1;2\n");
  EXPECT_EQ(d.ask("SYST:ERR?"), "0,\"No error\"\n");
}

TEST(ScpiInstrument, CannotBeSet) {
  Desk d(*loadScenario("own-battery-sound"));
  for (const char* command :
       {"VOLT 5", "OUTP OFF", "*RST", "MEAS:VOLT", "SOUR:VOLT? MAX", "MEASU:VOLT?", "*IDN? (@1)"}) {
    EXPECT_EQ(d.ask(command), "") << command;
    EXPECT_EQ(d.ask("SYST:ERR?"), "-113,\"Undefined header\"\n") << command;
  }
  for (int i = 0; i < 20; ++i) (void)d.ask("VOLT 5");
  std::string last;
  for (int i = 0; i < 8; ++i) last = d.ask("SYST:ERR?");
  EXPECT_EQ(last, "-350,\"Queue overflow\"\n");
  EXPECT_EQ(d.ask("SYST:ERR?"), "0,\"No error\"\n");
}

TEST(ScpiInstrument, TellsThatTheSourceIsAtItsLimit) {
  for (const double foldback : {0.0, 0.5}) {
    Scenario s = *loadScenario("removed-sound");
    s.source.limit_A = 0.1;
    s.source.limit_foldback = foldback;
    EXPECT_EQ(Desk(s).ask("STAT:QUES:COND?"), "1\n") << foldback;
    s.source.limit_A = 5;
    EXPECT_EQ(Desk(s).ask("STAT:QUES:COND?"), "2\n") << foldback;
  }
}

TEST(ScpiInstrument, ASlowOneMeasuresBeforeItAnswersAndANewQueryInterrupts) {
  ScpiManners m;
  m.slow_ms = 50;
  Desk d(*loadScenario("own-battery-sound"), m);
  EXPECT_EQ(d.ask("MEAS:VOLT?"), "");
  while (d.instrument->nextDue() != kNoTime) d.instrument->onTime(d.now = d.instrument->nextDue());
  EXPECT_EQ(d.now, 3050 * kNsPerMs);
  EXPECT_THAT(d.out, StartsWith("+1.2"));
  (void)d.ask("MEAS:VOLT?");
  (void)d.ask("SYST:ERR?");
  while (d.instrument->nextDue() != kNoTime) d.instrument->onTime(d.now = d.instrument->nextDue());
  EXPECT_EQ(d.out, "-410,\"Query INTERRUPTED\"\n");
}

TEST(ScpiInstrument, ManyAtOnceAreServedAndASecondAdapterIsNot) {
  const auto wrong = [](std::vector<std::string> devices) {
    const auto served =
        serve(*loadScenario("removed-sound"), {std::move(devices), "/nonexistent", 1}, [](const Served&) {});
    EXPECT_FALSE(served);
    EXPECT_EQ(served.error().kind, ErrorKind::usage);
    return served.error().text();
  };
  EXPECT_THAT(wrong({"scpi", "scpi?noise=1"}), HasSubstr("named twice"));
  EXPECT_THAT(wrong({"slcan?x=1"}), HasSubstr("no options"));
}

TEST(ScpiManners, SayWhatIsWrong) {
  EXPECT_THAT(scpiManners({{"slow", "1"}}).error().text(), HasSubstr("no option \"slow\""));
  for (const auto& bad : std::vector<std::pair<std::string, std::string>>{{"noise", "2"},
                                                                          {"noise", "x"},
                                                                          {"slow_ms", "-1"},
                                                                          {"slow_ms", ""},
                                                                          {"no", "thing"},
                                                                          {"end", "nul"},
                                                                          {"units", "yes"}})
    EXPECT_FALSE(scpiManners({bad})) << bad.first;
  EXPECT_TRUE(scpiManners({{"noise", "0.5"}, {"no", "status"}, {"no", "errors"}, {"end", "crlf"}}));
}

}  // namespace
}  // namespace pin16::bench
