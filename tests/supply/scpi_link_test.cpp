// SPDX-License-Identifier: Apache-2.0
// The SCPI links through ptys and sockets: against instruments of the test itself, which keep every byte that
// comes, and against the bench's instrument served by another process.
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <termios.h>

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/write.hpp>
#include <map>

#include "core/supply/scpi_text.hpp"
#include "core/supply/supply.hpp"
#include "tests/supply/support.hpp"

namespace pin16::supply {
namespace {

namespace asio = boost::asio;
namespace fs = std::filesystem;
using event::LinkCondition;
using testing::Each;
using testing::Gt;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;

std::string plainAnswer(const std::string& query) {
  static const std::map<std::string, std::string> kAnswers = {{"*IDN?", "Pin16,test,0,1"},
                                                              {"MEAS:VOLT?", "12.6"},
                                                              {"MEAS:CURR?", "0.35"},
                                                              {"STAT:QUES:COND?", "2"},
                                                              {"SYST:ERR?", "0,\"No error\""}};
  const auto it = kAnswers.find(query);
  return it == kAnswers.end() ? "" : it->second;
}

/// An instrument of the test's own on a pty that can be pulled out.
class Port {
 public:
  Port(asio::io_context& io, std::string link) : io_(io), link_(std::move(link)) {}
  ~Port() { unplug(); }
  Port(const Port&) = delete;
  Port& operator=(const Port&) = delete;

  void plug() {
    const int fd = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    ASSERT_GE(fd, 0);
    ASSERT_EQ(::grantpt(fd), 0);
    ASSERT_EQ(::unlockpt(fd), 0);
    const char* name = ::ptsname(fd);
    std::error_code ignored;
    fs::remove(link_, ignored);
    fs::create_symlink(name, link_);
    host_ = std::make_unique<asio::posix::stream_descriptor>(io_, fd);
    line_.clear();
    read();
  }
  void unplug() {
    std::error_code ignored;
    fs::remove(link_, ignored);
    host_.reset();
  }
  std::function<std::string(const std::string&)> answer = plainAnswer;
  std::string heard;  ///< every byte

 private:
  void read() {
    host_->async_wait(asio::posix::stream_descriptor::wait_read,
                      [this, mine = host_.get()](const boost::system::error_code& ec) {
                        if (ec || host_.get() != mine) return;
                        char room[256];
                        const ssize_t n = ::read(host_->native_handle(), room, sizeof room);
                        for (ssize_t i = 0; i < n; ++i) take(room[i]);
                        if (n > 0 || errno == EAGAIN) return read();
                        // Nobody has it open: look again in a while.
                        later_.expires_after(std::chrono::milliseconds(5));
                        later_.async_wait([this, mine](const boost::system::error_code& fault) {
                          if (!fault && host_.get() == mine) read();
                        });
                      });
  }
  void take(char c) {
    heard += c;
    if (c != '\n' && c != '\r') {
      line_ += c;
      return;
    }
    const std::string text = line_.empty() ? "" : answer(std::exchange(line_, {}));
    if (text.empty()) return;
    const std::string all = text + "\n";
    EXPECT_EQ(::write(host_->native_handle(), all.data(), all.size()), static_cast<ssize_t>(all.size()));
  }

  asio::io_context& io_;
  asio::steady_timer later_{io_};
  const std::string link_;
  std::unique_ptr<asio::posix::stream_descriptor> host_;
  std::string line_;
};

/// A meter's link with what it told.
struct Meter {
  explicit Meter(const std::string& text) {
    addMeterSchemes();
    const auto uri = link::parseUri(text);
    if (!uri) throw std::runtime_error(uri.error().text());
    auto made = link::makeLink(*uri, {io, host, 3});
    if (!made) throw std::runtime_error(made.error().text());
    link = *std::move(made);
  }
  [[nodiscard]] bool until(std::size_t samples) {
    const std::size_t wanted = samplesOf(host).size() + samples;
    return link::runUntil(io, [&] { return samplesOf(host).size() >= wanted; });
  }
  [[nodiscard]] bool until(LinkCondition condition) {
    return link::runUntil(io, [&] { return link->state().condition == condition; });
  }
  void run(int ms) {
    const auto end = std::chrono::steady_clock::now() + std::chrono::milliseconds(ms);
    link::runUntil(io, [&] { return std::chrono::steady_clock::now() >= end; });
  }
  asio::io_context io;
  link::KeepingHost host;
  std::unique_ptr<link::Link> link;
};

/// Lines of what was written; the bytes left over behind the last end of line.
std::pair<std::vector<std::string>, std::string> linesOf(const std::string& bytes) {
  std::vector<std::string> lines(1);
  for (const char c : bytes) {
    if (c == '\n' || c == '\r') {
      if (!lines.back().empty()) lines.emplace_back();
    } else {
      lines.back() += c;
    }
  }
  const std::string rest = lines.back();
  lines.pop_back();
  return {lines, rest};
}

MATCHER(IsAQueryOfTheList, "") {
  std::string text = arg;
  if (const auto at = text.find(" (@"); at != std::string::npos && text.ends_with(')')) {
    const std::string number = text.substr(at + 3, text.size() - at - 4);
    if (number.empty() || number.find_first_not_of("0123456789") != std::string::npos) return false;
    text.resize(at);
  }
  return std::find(kQueries.begin(), kQueries.end(), text) != kQueries.end();
}

// The must: meters are read, never set. Every byte that reaches the far end of the pty is of the list.
TEST(ScpiPty, OnlyQueriesOfTheListAreEverWritten) {
  const Folder folder;
  Meter meter("scpi:" + folder.file("scpi") + "?V=V(pin16,pin4)&I=I(feed)&channel=2&every_ms=5&wait_ms=30");
  Port port(meter.io, folder.file("scpi"));
  int turn = 0;
  // As good and as bad as can be: silent, damaged, late, refusing, in error, at its limit.
  port.answer = [&turn](const std::string& query) -> std::string {
    const std::string head = query.substr(0, query.find(' '));
    switch (++turn % 11) {
      case 3:
        return "";
      case 5:
        return "#\x02";
      case 7:
        return "9.91E37";
      case 9:
        return head == "SYST:ERR?" ? "-113,\"Undefined header\"" : plainAnswer(head);
      default:
        return head == "STAT:QUES:COND?" ? "1" : plainAnswer(head);
    }
  };
  port.plug();
  meter.link->open();
  ASSERT_TRUE(meter.until(200U));
  meter.link->close();
  meter.run(50);
  const auto [lines, rest] = linesOf(port.heard);
  EXPECT_THAT(lines, SizeIs(Gt(200U)));
  EXPECT_THAT(lines, Each(IsAQueryOfTheList()));
  EXPECT_EQ(rest, "") << "no half line";
  EXPECT_THAT(meter.host.frames, IsEmpty());
  // And all of it is on the stream: the last query may still be on its way.
  std::string told;
  for (const auto& r : meter.host.records)
    if (r.kind == event::Kind::bytes) told.append(r.packed.begin(), r.packed.end());
  for (const auto q : kQueries) {
    if (port.heard.find(q) != std::string::npos) {
      EXPECT_THAT(told, HasSubstr(std::string(q)));
    }
  }
}

TEST(ScpiPty, SaysWhoItIsAndWhatItReads) {
  const Folder folder;
  Meter meter("scpi:" + folder.file("scpi") + "?V=V(src+,src-)&I=I(feed)&u_V=0.02&input_ohm=1e7&every_ms=10");
  Port port(meter.io, folder.file("scpi"));
  port.plug();
  EXPECT_EQ(meter.link->state().condition, LinkCondition::opening);
  meter.link->open();
  ASSERT_TRUE(meter.until(10U));
  EXPECT_EQ(meter.link->state().condition, LinkCondition::up);
  EXPECT_EQ(meter.link->state().description, "Pin16,test,0,1");
  EXPECT_TRUE(meter.link->state().meter);
  EXPECT_GE(meter.link->state().time_error_ns, 0);
  for (const auto& s : samplesOf(meter.host)) {
    EXPECT_DOUBLE_EQ(s.m.value, s.m.point == "I(feed)" ? 0.35 : 12.6);
    EXPECT_EQ(s.m.instrument, "Pin16,test,0,1");
  }
  meter.link->close();
  EXPECT_EQ(meter.link->state().condition, LinkCondition::finished);
  EXPECT_THAT(meter.host.all<event::Gap>(), IsEmpty());
}

TEST(ScpiPty, AHundredTimesUnpluggedAndPluggedInAgainItGoesOn) {
  const Folder folder;
  Meter meter("scpi:" + folder.file("scpi") + "?V=V(pin16,pin4)&every_ms=5");
  Port port(meter.io, folder.file("scpi"));
  port.plug();
  meter.link->open();
  ASSERT_TRUE(meter.until(3U));
  constexpr int kTimes = 100;
  for (int i = 0; i < kTimes; ++i) {
    port.unplug();
    ASSERT_TRUE(link::runUntil(meter.io, [&] { return meter.link->state().condition != LinkCondition::up; }))
        << i;
    port.plug();
    ASSERT_TRUE(meter.until(3U)) << i;
    ASSERT_EQ(meter.link->state().condition, LinkCondition::up);
  }
  meter.link->close();
  const auto gaps = meter.host.all<event::Gap>();
  EXPECT_THAT(gaps, SizeIs(kTimes));
  const auto samples = samplesOf(meter.host);
  for (const auto& g : gaps) {
    EXPECT_LT(g.from_ns, g.to_ns);
    EXPECT_TRUE(std::none_of(samples.begin(), samples.end(),
                             [&](const Sample& s) { return s.t_ns > g.from_ns && s.t_ns < g.to_ns; }));
  }
  EXPECT_THAT(linesOf(port.heard).first, Each(IsAQueryOfTheList()));
}

bench::Scenario scenario(const char* name) { return *bench::loadScenario(name); }

/// What the scenario's meter reads with the power on, as solved without any instrument between.
double solved(const bench::Scenario& s, const std::string& point) {
  const auto all = bench::readings(s);
  for (const auto& r : *all)
    if (r.point == point && r.power == event::PowerState::on) return r.value;
  throw std::runtime_error("no reading of " + point);
}

void expectSolved(Meter& meter, const bench::Scenario& s) {
  const auto samples = samplesOf(meter.host);
  ASSERT_THAT(samples, Not(IsEmpty()));
  // The scenario's first V() meter and first I() meter, see core/bench/serve_scpi.hpp.
  for (auto it = samples.end() - 2; it != samples.end(); ++it)
    EXPECT_NEAR(it->m.value, solved(s, it->m.point), 0.04) << it->m.point;
}

TEST(ScpiBench, ByPtyAndByTcpTheBenchsValuesAreThoseOfItsCircuit) {
  const Folder folder;
  const auto s = scenario("fed-in-place-sound");
  const ServedBench bench(s, {{"scpi"}, folder.path(), 0});
  ASSERT_GT(bench.port, 0);
  const std::string points = "?V=V(src+,src-)&I=I(feed)&every_ms=20";
  Meter serial("scpi:" + folder.file("scpi") + points);
  Meter network("scpi-tcp:127.0.0.1:" + std::to_string(bench.port) + points);
  for (Meter* meter : {&serial, &network}) {
    meter->link->open();
    meter->run(2500);  // the module has started
    EXPECT_EQ(meter->link->state().condition, LinkCondition::up);
    EXPECT_EQ(meter->link->state().description, "Pin16,bench supply,0,1");
    EXPECT_EQ(meter->link->state().text, "");
    EXPECT_THAT(samplesOf(meter->host), SizeIs(Gt(10U)));
    expectSolved(*meter, s);
    meter->link->close();
    EXPECT_THAT(meter->host.all<event::Gap>(), IsEmpty());
  }
}

TEST(ScpiBench, ItsCurrentLimitIsTold) {
  const Folder folder;
  auto s = scenario("removed-sound");
  ASSERT_TRUE(bench::applyFault(s, {"source-limited", "", {}, {}, {}, 0.1, {}, {}}));
  const ServedBench bench(s, {{"scpi"}, folder.path(), 0});
  Meter meter("scpi:" + folder.file("scpi") + "?V=V(src+,src-)");
  meter.link->open();
  EXPECT_TRUE(link::runUntil(
      meter.io, [&] { return meter.link->state().text.find("limits its current") != std::string::npos; }));
  meter.link->close();
}

struct Manner {
  const char* name;
  const char* serve;
  const char* more;  ///< options of the link
  bool whole;        ///< nothing is missed
};
void PrintTo(const Manner& m, std::ostream* out) { *out << m.serve; }
class ScpiManner : public testing::TestWithParam<Manner> {};

TEST_P(ScpiManner, IsReadAllTheSame) {
  const Manner& p = GetParam();
  const Folder folder;
  const auto s = scenario("fed-in-place-sound");
  const ServedBench bench(s, {{std::string("scpi?") + p.serve}, folder.path(), 0});
  Meter meter("scpi:" + folder.file("scpi") + "?V=V(src+,src-)&I=I(feed)&every_ms=10" + p.more);
  meter.link->open();
  // As long as it takes on a busy machine.
  EXPECT_TRUE(link::runUntil(meter.io, [&] {
    return samplesOf(meter.host).size() > 20 && (p.whole || !meter.host.all<event::Gap>().empty());
  }));
  meter.link->close();
  const auto samples = samplesOf(meter.host);
  for (const auto& one : samples) {
    if (one.m.point == "V(src+,src-)") {
      EXPECT_NEAR(one.m.value, 12.6, 0.2);
    } else {
      EXPECT_LT(one.m.value, 1.0);
    }
  }
  if (p.whole) {
    EXPECT_THAT(meter.host.all<event::Gap>(), IsEmpty());
  }
}

INSTANTIATE_TEST_SUITE_P(Bench, ScpiManner,
                         testing::Values(Manner{"Slow", "slow_ms=60", "&wait_ms=1500", true},
                                         Manner{"Noisy", "noise=0.2", "&wait_ms=300", false},
                                         Manner{"Units", "units=1&end=crlf", "&wait_ms=1500", true},
                                         Manner{"CarriageReturns", "end=cr", "&end=cr&wait_ms=1500", true},
                                         Manner{"Knows little", "no=status&no=errors&no=identity",
                                                "&wait_ms=400", true},
                                         Manner{"Dying", "dies_after=60&dead_ms=400", "&wait_ms=150", false}),
                         [](const auto& one) {
                           std::string name = one.param.name;
                           std::erase(name, ' ');
                           return name;
                         });

TEST(ScpiBench, AnOverloadedInputGivesGapsAndNoFigure) {
  const Folder folder;
  const ServedBench bench(scenario("fed-in-place-sound"), {{"scpi?overload_V=5"}, folder.path(), 0});
  Meter meter("scpi:" + folder.file("scpi") + "?V=V(src+,src-)&every_ms=10");
  meter.link->open();
  EXPECT_TRUE(link::runUntil(meter.io,
                             [&] { return meter.link->state().text.find("overload") != std::string::npos; }));
  for (const auto& s : samplesOf(meter.host)) EXPECT_LT(s.m.value, 5);
  meter.link->close();
}

// Stops for good: the state says so, and the link goes on trying without asking for anything but its queries.
TEST(ScpiBench, ADeadInstrumentIsToldAndTriedAgain) {
  const Folder folder;
  const ServedBench bench(scenario("removed-sound"), {{"scpi?dies_after=20"}, folder.path(), 0});
  Meter meter("scpi:" + folder.file("scpi") + "?V=V(src+,src-)&every_ms=10&wait_ms=50");
  meter.link->open();
  ASSERT_TRUE(meter.until(LinkCondition::up));
  ASSERT_TRUE(meter.until(LinkCondition::failed));
  EXPECT_THAT(meter.link->state().text, HasSubstr("does not answer"));
  EXPECT_THAT(meter.link->state().advice, HasSubstr("switch it on"));
  meter.run(1000);
  meter.link->close();
  const auto gaps = meter.host.all<event::Gap>();
  ASSERT_THAT(gaps, Not(IsEmpty()));
  EXPECT_THAT(gaps.back().reason, HasSubstr("did not come back"));
}

TEST(ScpiTcp, ATwicePulledCableIsTwoGaps) {
  using Tcp = asio::ip::tcp;
  asio::io_context look;
  const auto port =
      Tcp::acceptor(look, Tcp::endpoint(asio::ip::address_v4::loopback(), 0)).local_endpoint().port();
  Meter meter("scpi-tcp:127.0.0.1:" + std::to_string(port) + "?V=V(pin16,pin4)&every_ms=5");
  meter.link->open();
  ASSERT_TRUE(meter.until(LinkCondition::missing));
  EXPECT_THAT(meter.link->state().text, HasSubstr("no connection to 127.0.0.1"));
  std::string heard;
  for (int i = 0; i < 3; ++i) {
    Tcp::acceptor acceptor(meter.io, Tcp::endpoint(asio::ip::address_v4::loopback(), port));
    Tcp::socket peer(meter.io);
    std::array<char, 256> room{};
    std::string line;
    std::function<void()> read = [&] {
      peer.async_read_some(asio::buffer(room), [&](const boost::system::error_code& ec, std::size_t n) {
        if (ec) return;
        for (std::size_t k = 0; k < n; ++k) {
          heard += room[k];
          if (room[k] != '\n') {
            line += room[k];
            continue;
          }
          asio::write(peer, asio::buffer(plainAnswer(std::exchange(line, {})) + "\n"));
        }
        read();
      });
    };
    acceptor.async_accept(peer, [&](const boost::system::error_code& ec) {
      if (!ec) read();
    });
    ASSERT_TRUE(meter.until(5U));
    EXPECT_EQ(meter.link->state().condition, LinkCondition::up);
    EXPECT_EQ(meter.link->state().description, "Pin16,test,0,1");
    acceptor.close();
    peer.close();
    ASSERT_TRUE(link::runUntil(meter.io, [&] { return meter.link->state().condition != LinkCondition::up; }));
  }
  meter.link->close();
  EXPECT_THAT(meter.host.all<event::Gap>(), SizeIs(3)) << "the third did not end";
  EXPECT_THAT(linesOf(heard).first, Each(IsAQueryOfTheList()));
}

}  // namespace
}  // namespace pin16::supply
