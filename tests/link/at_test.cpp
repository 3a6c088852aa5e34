// SPDX-License-Identifier: Apache-2.0
// The link at:: what its URI takes, what its settings look like, and devices on its port that are none.
// Against the bench's adapter it is proven in tests/bench/at_link_test.cpp.
#include "core/link/at.hpp"

#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <stdlib.h>
#include <unistd.h>

#include <boost/asio/posix/stream_descriptor.hpp>
#include <functional>

#include "tests/link/link_double.hpp"

namespace pin16::link {
namespace {

using event::LinkCondition;
using testing::HasSubstr;

Error refusal(const std::string& uri) {
  boost::asio::io_context io;
  KeepingHost host;
  const auto made = makeLink(*parseUri(uri), {io, host, 0});
  return made ? Error{ErrorKind::internal, "made", "", ""} : made.error();
}

TEST(AtUri, EveryOptionIsChecked) {
  const std::pair<const char*, const char*> cases[] = {
      {"at:/dev/ttyUSB0", "not named"},
      {"at:/dev/ttyUSB0?protocol=search", "on several buses"},
      {"at:/dev/ttyUSB0?protocol=auto", "on several buses"},
      {"at:/dev/ttyUSB0?protocol=kwp-fast&answer=7A9", "means nothing on iso14230-4"},
      {"at:/dev/ttyUSB0?protocol=iso9141", "is none"},
      {"at:/dev/ttyUSB0?protocol=can11-125", "is none"},
      {"at:/dev/ttyUSB0?protocol=can11-500&baud=fast", "baud"},
      {"at:/dev/ttyUSB0?protocol=can11-500&answer=800", "11 bits"},
      {"at:/dev/ttyUSB0?protocol=can29-500&answer=20000000", "29 bits"},
      {"at:/dev/ttyUSB0?protocol=can11-500&answer=xyz", "answer"},
      {"at:/dev/ttyUSB0?protocol=can11-500&monitor=yes", "neither on nor off"},
      {"at:/dev/ttyUSB0?protocol=can11-500&named=me", "means nothing"},
      {"at:/dev/ttyUSB0?protocol=can11-500&bitrate=500000", "unknown option"}};
  for (const auto& [uri, why] : cases) {
    const Error e = refusal(uri);
    EXPECT_EQ(e.kind, ErrorKind::usage) << uri;
    EXPECT_THAT(e.text(), HasSubstr(why)) << uri;
    EXPECT_FALSE(e.advice.empty()) << uri;
  }
}

// Numbers of the legislated list: common practice, no source.
TEST(AtUri, ProtocolsHaveTheirNumbers) {
  const std::pair<const char*, const char*> numbers[] = {
      {"can11-500", "6"}, {"can29-500", "7"}, {"can11-250", "8"}, {"can29-250", "9"}, {"pwm-41600", "1"},
      {"vpw-10400", "2"}, {"iso9141-2", "3"}, {"kwp-5baud", "4"}, {"kwp-fast", "5"}};
  ASSERT_EQ(atProtocols().size(), std::size(numbers));
  for (std::size_t i = 0; i < std::size(numbers); ++i) {
    EXPECT_EQ(atProtocols()[i].name, numbers[i].first);
    EXPECT_EQ(atProtocols()[i].number, numbers[i].second);
    EXPECT_EQ(atProtocols()[i].command, std::string("ATSP") + numbers[i].second);
  }
}

// No fixed string may be taken for a request: a line of hex digits is one.
TEST(AtControls, NoneIsARequest) {
  for (const auto c : atControls()) {
    EXPECT_TRUE(c.starts_with("AT")) << c;
    EXPECT_EQ(c.find_first_of("\r\n >"), std::string_view::npos) << c;
  }
}

TEST(AtControls, HeadersAndFilters) {
  const auto same = [](std::uint32_t word, std::optional<std::uint32_t> answer, const char* header,
                       const char* filter, const char* mask) {
    const auto a = atAddressing(word, answer);
    EXPECT_EQ(a.header, header);
    EXPECT_EQ(a.filter, filter) << header;
    EXPECT_EQ(a.mask, mask) << header;
  };
  // ISO 15765-4: answers 7E8-7EF and 18DAF1xx.
  same(0x7DF, {}, "ATSH7DF", "ATCF7E8", "ATCM7F8");
  same(0x7E0, 0x7A9, "ATSH7E0", "ATCF7E8", "ATCM7F8");
  same(0x7A1, 0x7A9, "ATSH7A1", "ATCF7A9", "ATCM7FF");
  same(0x7A1, {}, "ATSH7A1", "ATCF000", "ATCM000");
  same(0x18DB33F1 | event::kExtendedFlag, {}, "ATSH18DB33F1", "ATCF18DAF100", "ATCM1FFFFF00");
  same(0x18DA58F1 | event::kExtendedFlag, {}, "ATSH18DA58F1", "ATCF18DAF100", "ATCM1FFFFF00");
  const auto a = atAddressing(0x18DA58F1 | event::kExtendedFlag, {});
  EXPECT_EQ(a.priority, "ATCP18");
  EXPECT_EQ(a.header_rest, "ATSHDA58F1");
}

TEST(AtUri, AJobFillsInWhatIsMissing) {
  addBuiltInSchemes();
  EXPECT_EQ(completeUri("at:/dev/ttyUSB0", {500000, false, 0x7A9}),
            "at:/dev/ttyUSB0?protocol=can11-500&named=job&answer=7A9");
  EXPECT_EQ(completeUri("at:/dev/ttyUSB0?baud=115200", {250000, true, {}}),
            "at:/dev/ttyUSB0?baud=115200&protocol=can29-250&named=job");
  EXPECT_EQ(completeUri("at:/dev/ttyUSB0?protocol=can11-500", {250000, true, {}}),
            "at:/dev/ttyUSB0?protocol=can11-500");
  EXPECT_EQ(completeUri("at:/dev/ttyUSB0", {125000, false, {}}), "at:/dev/ttyUSB0");
  EXPECT_EQ(completeUri("at:/dev/ttyUSB0", {500000, false, 0x7A9, "vpw-10400"}),
            "at:/dev/ttyUSB0?protocol=vpw-10400&named=job");
  EXPECT_EQ(completeUri("at:/dev/ttyUSB0?protocol=kwp-fast", {500000, false, 0x7A9, "vpw-10400"}),
            "at:/dev/ttyUSB0?protocol=kwp-fast");
  EXPECT_EQ(completeUri("socketcan:can0", {500000, false, 0x7A9}), "socketcan:can0");
}

// ---- wrong devices

/// A pty whose far end answers by a function.
class Scripted {
 public:
  using Answer = std::function<std::string(const std::string& got)>;
  Scripted(boost::asio::io_context& io, Answer answer) : answer_(std::move(answer)), line_(io) {
    fd_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    char name[128];
    if (::grantpt(fd_) != 0 || ::unlockpt(fd_) != 0 || ::ptsname_r(fd_, name, sizeof name) != 0)
      throw std::runtime_error("no pty");
    path = name;
    theirs_ = ::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    line_.assign(fd_);
    read();
  }
  ~Scripted() { ::close(theirs_); }
  Scripted(const Scripted&) = delete;
  Scripted& operator=(const Scripted&) = delete;
  void say(const std::string& text) const {
    if (::write(fd_, text.data(), text.size()) < 0) ADD_FAILURE() << "pty";
  }
  std::string path;
  std::string got;

 private:
  void read() {
    line_.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                     [this](const boost::system::error_code& ec) {
                       if (ec) return;
                       char in[512];
                       const ssize_t n = ::read(fd_, in, sizeof in);
                       if (n > 0) {
                         const std::string text(in, static_cast<std::size_t>(n));
                         got += text;
                         const std::string back = answer_(text);
                         if (!back.empty()) say(back);
                       }
                       read();
                     });
  }
  Answer answer_;
  boost::asio::posix::stream_descriptor line_;
  int fd_ = -1, theirs_ = -1;
};

std::string stateOn(const Scripted::Answer& answer, std::string* got = nullptr,
                    LinkCondition condition = LinkCondition::failed) {
  boost::asio::io_context io;
  KeepingHost host;
  Scripted far(io, answer);
  auto made = makeLink(*parseUri("at:" + far.path + "?protocol=can11-500"), {io, host, 0});
  (*made)->open();
  EXPECT_TRUE(runUntil(io, [&] { return (*made)->state().condition == condition; }));
  const std::string text = (*made)->state().text + " | " + (*made)->state().advice;
  (*made)->close();
  if (got != nullptr) *got = far.got;
  EXPECT_TRUE(host.frames.empty());
  return text;
}

TEST(AtWrongDevice, OneThatSaysNothing) {
  std::string got;
  EXPECT_THAT(stateOn([](const std::string&) { return ""; }, &got), HasSubstr("nothing answers"));
  EXPECT_EQ(got, " ATZ\r") << "nothing else was written";
}
TEST(AtWrongDevice, APlugThatLoopsBack) {
  EXPECT_THAT(stateOn([](const std::string& got) { return got; }), HasSubstr("does not speak AT commands"));
}
TEST(AtWrongDevice, ASerialCanAdapterThatAnswersEveryLineWithBel) {
  EXPECT_THAT(stateOn([](const std::string& got) { return got.ends_with('\r') ? "\a" : ""; }),
              HasSubstr("does not speak AT commands"));
}
TEST(AtWrongDevice, AModemThatGivesNoPrompt) {
  EXPECT_THAT(stateOn([](const std::string& got) { return got.ends_with('\r') ? "\r\nOK\r\n" : ""; }),
              HasSubstr("does not speak AT commands"));
}
TEST(AtWrongDevice, AWrongBaudRateLooksLikeNoise) {
  EXPECT_THAT(stateOn([](const std::string&) { return "\xfe\x80\x3f\xf8\xe0"; }),
              HasSubstr("does not speak"));
}
TEST(AtWrongDevice, AShellWithAPrompt) {
  EXPECT_THAT(
      stateOn([](const std::string& got) { return got.ends_with('\r') ? "unknown command\r\n> " : ""; }),
      HasSubstr("refuses ATH1"));
}
TEST(AtWrongDevice, OneThatStaysInAutomaticSearch) {
  EXPECT_THAT(
      stateOn([](const std::string& got) {
        return got.find("DPN") != std::string::npos ? "A6\r\r>" : got.ends_with('\r') ? "OK\r\r>" : "";
      }),
      HasSubstr("automatic search"));
}
TEST(AtWrongDevice, OneThatKeepsAnotherProtocol) {
  EXPECT_THAT(stateOn([](const std::string& got) {
                return got.find("DPN") != std::string::npos ? "3\r\r>" : got.ends_with('\r') ? "OK\r\r>" : "";
              }),
              HasSubstr("protocol \"3\" after ATSP6"));
}
TEST(AtLinkScripted, WhatWasGoingOnIsEndedFirst) {
  // Somebody left it monitoring: the blank ends that, and the reset falls on a prompt.
  bool monitoring = true;
  std::string got;
  (void)stateOn(
      [&](const std::string& text) -> std::string {
        if (std::exchange(monitoring, false))
          return text == " " ? "7E8 03 7F\rSTOPPED\r\r>" : "7E8 03\rSTOPPED\r>";
        if (text.find("DPN") != std::string::npos) return "6\r\r>";
        return text.ends_with('\r') ? "OK\r\r>" : "";
      },
      &got, LinkCondition::up);
  EXPECT_TRUE(got.starts_with(" ATZ\rATE0\rATL0\rATS0\rATH1\rATI\r")) << got;
}

/// An adapter that obliges, until it says something of its own accord.
struct Obliging {
  explicit Obliging(const std::string& options = "")
      : far(io,
            [](const std::string& got) -> std::string {
              if (got.find("DPN") != std::string::npos) return "6\r\r>";
              if (got.find("ATMA") != std::string::npos) return "";
              if (got.find("ATRV") != std::string::npos) return "12.6V\r\r>";
              return got.ends_with('\r') ? "OK\r\r>" : "";
            }),
        at(*makeLink(*parseUri("at:" + far.path + "?protocol=can11-500" + options), {io, host, 0})) {
    at->open();
    EXPECT_TRUE(runUntil(io, [&] { return at->state().condition == LinkCondition::up; }));
  }
  ~Obliging() { at->close(); }
  [[nodiscard]] bool becomes(LinkCondition c) {
    return runUntil(io, [&] { return at->state().condition == c; });
  }
  boost::asio::io_context io;
  KeepingHost host;
  Scripted far;
  std::unique_ptr<Link> at;
};

TEST(AtLinkScripted, ALowVoltageResetIsNamed) {
  Obliging o;
  o.far.say("\r\rLV RESET\r\r>");
  ASSERT_TRUE(o.becomes(LinkCondition::gone));
  EXPECT_THAT(o.at->state().text, HasSubstr("supply was too low (LV RESET)"));
  EXPECT_THAT(o.at->state().advice, HasSubstr("V(pin16,pin4)"));
  ASSERT_TRUE(o.becomes(LinkCondition::up));
  EXPECT_EQ(o.host.all<event::Gap>().size(), 1U);
}
TEST(AtLinkScripted, APromptThatNobodyAskedForIsARestart) {
  Obliging o;
  o.far.say("\r\rOBD adapter\r\r>");
  ASSERT_TRUE(o.becomes(LinkCondition::gone));
  EXPECT_THAT(o.at->state().text, HasSubstr("restarted by itself"));
  EXPECT_TRUE(o.becomes(LinkCondition::up));
}
TEST(AtLinkScripted, ASearchEndsTheLink) {
  Obliging o;
  o.far.say("SEARCHING...\r");
  ASSERT_TRUE(o.becomes(LinkCondition::gone));
  EXPECT_THAT(o.at->state().text, HasSubstr("every bus"));
}
TEST(AtLinkScripted, EachWordOfTroubleIsANote) {
  for (const char* word : {"BUS BUSY", "UNABLE TO CONNECT", "DATA ERROR", "ACT ALERT", "LP ALERT",
                           "CAN ERROR", "BUS ERROR", "FB ERROR", "RX ERROR"}) {
    Obliging o;
    o.far.say(std::string(word) + "\r");
    EXPECT_TRUE(runUntil(o.io, [&] { return !o.host.all<event::Note>().empty(); })) << word;
    EXPECT_EQ(o.host.all<event::Note>()[0].text, std::string("the adapter says ") + word);
    EXPECT_EQ(o.host.all<event::Note>()[0].by, "adapter");
    const std::string w = word;
    const bool bus = w == "CAN ERROR" || w == "BUS ERROR" || w == "FB ERROR" || w == "RX ERROR";
    EXPECT_EQ(o.host.frames.size(), bus ? 1U : 0U) << word;
    EXPECT_EQ(o.at->state().condition, LinkCondition::up);
  }
}
TEST(AtLinkScripted, WhatTheAdapterCallsDamagedIsAnErrorFrame) {
  Obliging o("&monitor=on");
  ASSERT_TRUE(runUntil(o.io, [&] { return o.far.got.ends_with("ATMA\r"); }));
  o.far.say("3A0 01 02 03\r3A0 01 02 <RX ERROR\r");
  ASSERT_TRUE(runUntil(o.io, [&] { return o.host.frames.size() == 2; }));
  EXPECT_EQ(o.host.frames[0].frame.id(), 0x3A0U);
  EXPECT_FALSE(o.host.frames[0].outbound);
  EXPECT_TRUE(o.host.frames[1].frame.error());
}
// In monitoring nothing need ever come: that it is still there must be found out.
TEST(AtLinkScripted, AnAdapterThatFallsSilentWhileMonitoringIsFoundOut) {
  Obliging o("&monitor=on");
  ASSERT_TRUE(o.becomes(LinkCondition::gone));  // it does not stop at the blank
  EXPECT_THAT(o.at->state().text, HasSubstr("no longer answers"));
}

}  // namespace
}  // namespace pin16::link
