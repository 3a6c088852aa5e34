// SPDX-License-Identifier: Apache-2.0
/// The link over ptys against devices scripted here, good and bad; against the bench's adapter: tests/bench.
#include "core/link/slcan.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/can/error.h>

#include <map>
#include <thread>

#include "core/link/inventory.hpp"
#include "core/link/rate_search.hpp"
#include "tests/link/link_double.hpp"
#include "tests/link/pty_device.hpp"

namespace pin16::link {
namespace {

using event::Known;
using event::LinkCondition;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

using Odd = std::map<std::string, std::string>;

/// Answers commands by a table; what is not in it is answered as a good adapter does.
class Script {
 public:
  explicit Script(Odd odd = {}) : odd_(std::move(odd)) {}
  std::string take(std::string_view bytes) {
    std::string out;
    for (const char c : bytes) {
      if (c != '\r') {
        line_ += c;
        continue;
      }
      commands.push_back(line_);
      out += answer(line_);
      line_.clear();
    }
    return out;
  }
  std::vector<std::string> commands;

 private:
  [[nodiscard]] std::string answer(const std::string& command) const {
    if (const auto own = odd_.find(command); own != odd_.end()) return own->second;
    if (const auto any = odd_.find("*"); any != odd_.end()) return any->second;
    if (command == "V") return "V1013\r";
    if (command == "N") return "NA123\r";
    if (command == "F") return "F00\r";
    return "\r";
  }
  Odd odd_;
  std::string line_;
};

struct Rig {
  explicit Rig(Odd odd = {}, const std::string& options = "")
      : script(std::move(odd)),
        device(io, folder.file("dev"), [this](std::string_view text) { device.write(script.take(text)); }) {
    auto made = makeLink(*parseUri("slcan:" + folder.file("dev") + options), {io, host, 0});
    if (!made) throw std::runtime_error(made.error().text());
    link = *std::move(made);
    link->open();
  }
  bool until(const std::function<bool()>& done) { return runUntil(io, done); }
  bool up() {
    return until([&] { return link->state().condition == LinkCondition::up; });
  }
  /// The first trouble there was.
  event::LinkState failed() {
    event::LinkState first;
    EXPECT_TRUE(until([&] {
      for (const auto& s : host.all<event::LinkState>())
        if (s.condition == LinkCondition::failed || s.condition == LinkCondition::gone) {
          first = s;
          return true;
        }
      return false;
    }));
    return first;
  }
  TestFolder folder;
  boost::asio::io_context io;
  KeepingHost host;
  Script script;
  PtyDevice device;
  std::unique_ptr<Link> link;
};

Result<std::unique_ptr<Link>> make(const std::string& uri) {
  static boost::asio::io_context io;
  static KeepingHost host;
  return makeLink(*parseUri(uri), {io, host, 0});
}

TEST(SlcanUri, WrongOptionsNameTheRightOnes) {
  const auto says = [](const char* uri) {
    const auto made = make(uri);
    EXPECT_FALSE(made) << uri;
    EXPECT_EQ(made.error().kind, ErrorKind::usage) << uri;
    return made.error().text();
  };
  EXPECT_THAT(says("slcan:/dev/ttyACM0?bitrate=83333"),
              HasSubstr("10000, 20000, 50000, 100000, 125000, 250000, 500000, 800000, 1000000"));
  EXPECT_THAT(says("slcan:/dev/ttyACM0?bitrate=fast"), HasSubstr("bitrate=fast is no rate"));
  EXPECT_THAT(says("slcan:/dev/ttyACM0?listen=maybe"), HasSubstr("neither yes nor no"));
  EXPECT_THAT(says("slcan:/dev/ttyACM0?listen=no"), HasSubstr("--rate-search slcan:/dev/ttyACM0"));
  EXPECT_THAT(says("slcan:/dev/ttyACM0?baud=0"), HasSubstr("baud=0"));
  EXPECT_THAT(says("slcan:/dev/ttyACM0?rate=500000"), HasSubstr("bitrate, listen, baud"));
  EXPECT_TRUE(make("slcan:/dev/ttyACM0?bitrate=1000000&listen=no&baud=921600"));
}

TEST(SlcanLinkTest, OpensListeningAndSaysWhatItKnows) {
  Rig r;
  ASSERT_TRUE(r.up());
  EXPECT_TRUE(r.until([&] { return r.link->state().controller == "error-active"; }));
  const event::LinkState s = r.link->state();
  EXPECT_EQ(s.description, "serial CAN adapter, version 1013, serial number A123");
  EXPECT_EQ(s.bitrate, 500000U);
  EXPECT_EQ(s.listen_only, Known::yes);
  EXPECT_EQ(s.silence, event::Silence::claimed);
  EXPECT_EQ(s.time_origin, "adapter");
  EXPECT_GT(s.time_error_ns, kNsPerMs);
  EXPECT_EQ(s.driver, "pty");
  const std::vector<std::string> dialogue = {"V", "V", "C", "N", "S6", "Z1", "L", "F"};
  EXPECT_EQ(r.script.commands, dialogue);
  r.link->close();
  EXPECT_TRUE(r.until([&] { return r.script.commands.back() == "C"; })) << "left closed";
  EXPECT_EQ(r.link->state().condition, LinkCondition::finished);
}

TEST(SlcanLinkTest, EveryByteBothWaysIsOnTheStream) {
  Rig r;
  ASSERT_TRUE(r.up());
  r.device.write("t1230\r");
  EXPECT_TRUE(r.until([&] { return r.host.frames.size() == 1; }));
  std::string all;
  for (const auto& record : r.host.records)
    if (record.kind == event::Kind::bytes) all.append(record.packed.begin(), record.packed.end());
  EXPECT_THAT(all, HasSubstr("V\rV\r"));
  EXPECT_THAT(all, HasSubstr("V1013\r"));
  EXPECT_THAT(all, HasSubstr("t1230\r"));
}

TEST(SlcanLinkTest, FramesErrorsStatesAndOverrunsArrive) {
  Rig r;
  ASSERT_TRUE(r.up());
  r.device.write("t4563112233\rT12ABCDEF2AA55\re1s\rsw000096\rsw000100\re1o\r");
  EXPECT_TRUE(r.until([&] { return r.host.frames.size() == 5; }));
  EXPECT_EQ(r.host.frames[0].frame.id(), 0x456U);
  EXPECT_EQ(r.host.frames[1].frame.id(), 0x12ABCDEFU);
  EXPECT_TRUE(r.host.frames[2].frame.error());
  EXPECT_EQ(r.host.frames[3].frame.word, event::kErrorFlag | CAN_ERR_CRTL | CAN_ERR_CNT);
  EXPECT_EQ(r.host.frames[4].frame.word, event::kErrorFlag | CAN_ERR_CRTL);
  EXPECT_EQ(r.host.lost(), 1U);
  for (const auto& loss : r.host.all<event::Loss>()) EXPECT_EQ(loss.place, event::LossPlace::adapter);
  EXPECT_TRUE(r.until([&] { return r.link->state().tx_errors == 100; })) << "at the next poll at latest";
  EXPECT_EQ(r.link->state().controller, "error-warning");
  EXPECT_EQ(r.link->state().rx_errors, 0);
}

TEST(SlcanLinkTest, LinesCutAtEveryByteAndGarbageBetweenThem) {
  Rig r(Odd{{"V", "\a"}, {"F", ""}});  // no answer comes in between
  ASSERT_TRUE(r.up());
  const std::string good = "t4563112233EA5F\r";
  for (std::size_t cut = 1; cut < good.size(); ++cut) {
    r.device.write(good.substr(0, cut));
    r.io.run_for(std::chrono::milliseconds(2));
    r.device.write(good.substr(cut));
    ASSERT_TRUE(r.until([&] { return r.host.frames.size() == cut; })) << cut;
  }
  r.device.write("\x80\x81garbage\r" + good);
  EXPECT_TRUE(r.until([&] { return r.host.frames.size() == good.size(); }));
  EXPECT_EQ(r.host.lost(), 1U) << "the line that could not be read";
}

TEST(SlcanLinkTest, StampsAreTheAdaptersOrNoneAsTheFramesShow) {
  Rig r;
  ASSERT_TRUE(r.up());
  r.device.write("t12300001\r");
  EXPECT_TRUE(r.until([&] { return r.host.frames.size() == 1; }));
  EXPECT_EQ(r.link->state().time_origin, "adapter");
  r.device.write("t1230\r");
  EXPECT_TRUE(r.until([&] { return r.host.frames.size() == 2; }));
  EXPECT_EQ(r.link->state().time_origin, "user") << "it promised stamps and gives none";
}

TEST(SlcanLinkTest, AnAdapterWithoutStampsVersionAndFlagsServesAllTheSame) {
  Rig r(Odd{{"Z1", "\a"}, {"V", "\a"}, {"N", "\a"}, {"F", "\a"}});
  ASSERT_TRUE(r.up());
  EXPECT_EQ(r.link->state().time_origin, "user");
  EXPECT_GT(r.link->state().time_error_ns, 0) << "measured";
  EXPECT_EQ(r.link->state().description, "serial CAN adapter");
  r.io.run_for(std::chrono::milliseconds(1500));
  EXPECT_EQ(std::count(r.script.commands.begin(), r.script.commands.end(), "F"), 1) << "not asked again";
  EXPECT_EQ(r.link->state().controller, "unknown");
  r.device.write("t1230\r");
  EXPECT_TRUE(r.until([&] { return r.host.frames.size() == 1; }));
}

TEST(SlcanLinkTest, AnAdapterThatIgnoresWhatItDoesNotKnowServesToo) {
  Rig r(Odd{{"Z1", ""}, {"V", ""}, {"N", ""}, {"F", ""}});
  ASSERT_TRUE(r.up());
  EXPECT_EQ(r.link->state().time_origin, "user");
}

TEST(SlcanLinkTest, AnAdapterThatWasLeftOpenIsClosedFirst) {
  Rig r(Odd{{"V", "t12380102030405060708\rV1013\rt1230\r"}, {"C", "t1230\r\r"}});
  ASSERT_TRUE(r.up());
  EXPECT_TRUE(r.host.frames.empty()) << "from before it was opened by us";
}

TEST(SlcanLinkTest, RefusedListenOnlyStaysClosedAndSaysWhy) {
  Rig r(Odd{{"L", "\a"}});
  const auto s = r.failed();
  EXPECT_THAT(s.text, HasSubstr("refuses listen-only"));
  EXPECT_THAT(s.advice, HasSubstr("listen=no"));
  EXPECT_EQ(s.listen_only, Known::no);
  EXPECT_EQ(s.silence, event::Silence::cannot);
  EXPECT_THAT(r.script.commands, Not(testing::Contains("O")));
}

TEST(SlcanLinkTest, ListenNoAcknowledgesAndSaysSo) {
  Rig r(Odd{}, "?bitrate=250000&listen=no");
  ASSERT_TRUE(r.up());
  EXPECT_THAT(r.script.commands, testing::IsSupersetOf({"S5", "O"}));
  EXPECT_THAT(r.script.commands, Not(testing::Contains("L")));
  EXPECT_EQ(r.link->state().silence, event::Silence::cannot);
  EXPECT_EQ(r.link->state().listen_only, Known::no);
}

TEST(SlcanLinkTest, ARefusedRateIsSaid) {
  Rig r(Odd{{"S6", "\a"}});
  EXPECT_THAT(r.failed().text, HasSubstr("refuses 500000 bit/s"));
}

TEST(SlcanLinkTest, ASilentDeviceIsSaidAndTriedAgain) {
  Rig r(Odd{{"*", ""}});
  const auto s = r.failed();
  EXPECT_THAT(s.text, HasSubstr("does not answer as a serial CAN adapter does"));
  EXPECT_THAT(s.advice, HasSubstr("pin16 links"));
  const auto asked = r.script.commands.size();
  EXPECT_TRUE(r.until([&] { return r.script.commands.size() > 2 * asked; })) << "again";
  EXPECT_EQ(r.host.all<event::LinkState>().size(), 2U) << "opening, failed; the same trouble is told once";
}

// An adapter with an AT command set echoes and prompts.
TEST(SlcanLinkTest, AnotherKindOfDeviceIsShownByWhatItSent) {
  Rig r(Odd{{"*", "V\r?\r\r>"}});
  const auto s = r.failed();
  EXPECT_THAT(s.text, HasSubstr("is no serial CAN adapter, or talks at another baud rate: it sent 56 0d 3f"));
  EXPECT_THAT(r.script.commands, testing::Each("V")) << "nothing that such a device might send or repeat";
}

TEST(SlcanLinkTest, AWrongBaudRateIsNonsenseToo) {
  Rig r(Odd{{"*", "\xF8\x80\xFE\xE0"}});
  EXPECT_THAT(r.failed().text, HasSubstr("it sent f8 80 fe e0"));
}

TEST(SlcanLinkTest, ADeviceThatFallsSilentIsOpenedAnewAndTheGapIsTold) {
  Rig r;
  ASSERT_TRUE(r.up());
  EXPECT_TRUE(r.until([&] { return r.link->state().controller == "error-active"; }));
  r.script = Script(Odd{{"*", ""}});
  EXPECT_TRUE(r.until([&] { return r.link->state().condition == LinkCondition::gone; }));
  EXPECT_THAT(r.link->state().text, HasSubstr("stopped answering"));
  r.script = Script();
  ASSERT_TRUE(r.up());
  const auto gaps = r.host.all<event::Gap>();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_LT(gaps[0].from_ns, gaps[0].to_ns);
}

TEST(SlcanLinkTest, UnpluggedAndBackAHundredTimes) {
  Rig r;
  ASSERT_TRUE(r.up());
  for (std::size_t i = 0; i < 100; ++i) {
    r.device.write("t1230\r");
    ASSERT_TRUE(r.until([&] { return r.host.frames.size() == 2 * i + 1; })) << i;
    r.device.write("t12");  // in the middle of a line
    r.device.unplug();
    ASSERT_TRUE(r.until([&] { return r.link->state().condition != LinkCondition::up; })) << i;
    r.device.plug();
    ASSERT_TRUE(r.up()) << i << r.link->state().text;
    r.device.write("t4563112233\r");
    ASSERT_TRUE(r.until([&] { return r.host.frames.size() == 2 * i + 2; })) << i;
    EXPECT_EQ(r.host.frames.back().frame.id(), 0x456U) << "nothing is left of the half line";
  }
  const auto gaps = r.host.all<event::Gap>();
  ASSERT_EQ(gaps.size(), 100U);
  for (const auto& g : gaps) EXPECT_LT(g.from_ns, g.to_ns);
  EXPECT_EQ(r.host.lost(), 0U);
}

TEST(SlcanLinkTest, CloseWhileOpeningIsTheLastWord) {
  Rig r(Odd{{"V", ""}});
  r.link->close();
  const auto records = r.host.records.size();
  r.io.run_for(std::chrono::milliseconds(1200));
  EXPECT_EQ(r.host.records.size(), records);
  EXPECT_EQ(r.link->state().condition, LinkCondition::finished);
}

// ---- the rate search, against a device on a thread of its own

/// A bus that speaks at one rate only.
class Bus {
 public:
  Bus(const std::string& path, std::string right, Odd odd = {})
      : script_(std::move(odd)), right_(std::move(right)), device_(io_, path, [this](std::string_view text) {
          const std::size_t before = script_.commands.size();
          device_.write(script_.take(text));
          for (std::size_t i = before; i < script_.commands.size(); ++i) speak(script_.commands[i]);
        }) {
    thread_ = std::thread([this] { io_.run(); });
  }
  ~Bus() { stop(); }
  Bus(const Bus&) = delete;
  Bus& operator=(const Bus&) = delete;
  std::vector<std::string> stop() {
    io_.stop();
    if (thread_.joinable()) thread_.join();
    return script_.commands;
  }

 private:
  void speak(const std::string& command) {
    if (command.starts_with('S')) rate_ = command;
    if (command != "L") return;
    for (int i = 0; i < 5; ++i) device_.write(rate_ == right_ ? "t12322A17\r" : "e1s\r");
  }
  boost::asio::io_context io_;
  Script script_;
  const std::string right_;
  std::string rate_;
  PtyDevice device_;
  std::thread thread_;
};

TEST(RateSearch, FindsTheRateAndNeverDrivesAWrongOne) {
  const TestFolder folder;
  Bus bus(folder.file("dev"), "S4");
  const auto r = searchRate(*parseUri("slcan:" + folder.file("dev") + "?bitrate=500000&listen=no"),
                            std::chrono::milliseconds(100));
  ASSERT_TRUE(r) << r.error().text();
  EXPECT_EQ(r->found, 125000U);
  ASSERT_EQ(r->tried.size(), 3U);
  EXPECT_EQ(r->tried[0].bitrate, 500000U);
  EXPECT_EQ(r->tried[0].frames, 0U);
  EXPECT_GT(r->tried[0].error_frames, 0U);
  EXPECT_GE(r->tried[2].frames, 3U) << "so many are enough, more may have come by then";
  ASSERT_EQ(r->next.size(), 1U);
  EXPECT_EQ(r->next[0], "slcan:" + folder.file("dev") + "?bitrate=125000&listen=yes");
  const auto commands = bus.stop();
  EXPECT_THAT(commands, Not(testing::Contains("O"))) << "listen=no in the URI does not count";
  EXPECT_EQ(std::count(commands.begin(), commands.end(), "L"), 3);
}

TEST(RateSearch, TriesAllAndSaysThatNothingFits) {
  const TestFolder folder;
  Bus bus(folder.file("dev"), "none");
  const auto r = searchRate(*parseUri("slcan:" + folder.file("dev")), std::chrono::milliseconds(50));
  ASSERT_TRUE(r) << r.error().text();
  EXPECT_EQ(r->found, 0U);
  EXPECT_EQ(r->tried.size(), slcanRates().size());
  EXPECT_THAT(r->text, HasSubstr("something is on the bus"));
}

TEST(RateSearch, RefusesAnAdapterThatCannotListenOnly) {
  const TestFolder folder;
  Bus bus(folder.file("dev"), "S6", Odd{{"L", "\a"}});
  const auto r = searchRate(*parseUri("slcan:" + folder.file("dev")), std::chrono::milliseconds(50));
  ASSERT_FALSE(r);
  EXPECT_EQ(r.error().kind, ErrorKind::link);
  EXPECT_THAT(r.error().text(), HasSubstr("refuses listen-only"));
  EXPECT_THAT(bus.stop(), Not(testing::Contains("O")));
}

TEST(RateSearch, GivesTheOperatorTheCommandsForAKernelInterface) {
  const auto r = searchRate(*parseUri("socketcan:can0"));
  ASSERT_TRUE(r);
  EXPECT_FALSE(r->searched);
  ASSERT_EQ(r->next.size(), slcanRates().size());
  EXPECT_EQ(r->next[0],
            "sudo ip link set can0 down; sudo ip link set can0 up type can bitrate 500000 listen-only on; "
            "pin16 links --check socketcan:can0");
}

TEST(RateSearch, OtherSchemesHaveNoRateToSearch) {
  const auto r = searchRate(*parseUri("replay:x"));
  ASSERT_FALSE(r);
  EXPECT_EQ(r.error().kind, ErrorKind::usage);
}

TEST(CheckAdapterTest, ASerialAdapterIsLookedAtWithoutSending) {
  const TestFolder folder;
  Bus bus(folder.file("dev"), "S6");
  const auto r =
      checkAdapter(*parseUri("slcan:" + folder.file("dev")), std::nullopt, std::chrono::milliseconds(500));
  ASSERT_TRUE(r);
  EXPECT_TRUE(r->opened);
  EXPECT_EQ(r->links[0].frames, 5U);
  EXPECT_THAT(r->proven[0], Not(HasSubstr("buffer")));
  for (const auto& c : bus.stop())
    EXPECT_FALSE(!c.empty() && std::string("tTrRO").find(c[0]) != std::string::npos) << c;
}

}  // namespace
}  // namespace pin16::link
