// SPDX-License-Identifier: Apache-2.0
/// Ports that are missing, forbidden, held, unplugged, that hang, and who holds them; over ptys.
#include "core/link/serial_line.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include <csignal>
#include <fstream>

#include "tests/link/link_double.hpp"
#include "tests/link/pty_device.hpp"

namespace pin16::link {
namespace {

using testing::Contains;
using testing::HasSubstr;

struct Line {
  Line(boost::asio::io_context& io, const std::string& path)
      : line(io, path, {},
             {[this] { ++opened; },
              [this](Ns t_ns, ByteView bytes) {
                last_ns = t_ns;
                read.append(reinterpret_cast<const char*>(bytes.data()), bytes.size());
              },
              [this](Ns, ByteView bytes) { written += bytes.size(); },
              [this](const SerialTrouble& t, bool was_open) {
                troubles.push_back(t);
                lost += was_open;
              }}) {}
  bool write(const std::string& text) {
    return line.write({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
  }
  int opened = 0, lost = 0;
  std::size_t written = 0;
  Ns last_ns = 0;
  std::string read;
  std::vector<SerialTrouble> troubles;
  SerialLine line;
};

TEST(SerialLineTest, BytesPassBothWaysUnchanged) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  Line l(io, folder.file("dev"));
  l.line.open();
  ASSERT_EQ(l.opened, 1);
  EXPECT_TRUE(l.line.isPty());
  std::string all;
  for (int c = 0; c < 256; ++c) all += static_cast<char>(c);
  const Ns before_ns = bootNow();
  device.write(all);
  EXPECT_TRUE(l.write(all));
  EXPECT_TRUE(runUntil(io, [&] { return l.read.size() == 256 && device.heard.size() == 256; }));
  EXPECT_EQ(l.read, all) << "no line discipline may touch them";
  EXPECT_EQ(device.heard, all);
  EXPECT_EQ(l.written, 256U);
  EXPECT_GE(l.last_ns, before_ns);
  EXPECT_LE(l.last_ns, bootNow());
}

TEST(SerialLineTest, APortThatIsMissingIsSaidAndTakenWhenItComes) {
  const TestFolder folder;
  boost::asio::io_context io;
  Line l(io, folder.file("dev"));
  l.line.open();
  ASSERT_EQ(l.troubles.size(), 1U);
  EXPECT_EQ(l.troubles[0].condition, event::LinkCondition::missing);
  EXPECT_THAT(l.troubles[0].text, HasSubstr("there is no " + folder.file("dev")));
  EXPECT_THAT(l.troubles[0].advice, HasSubstr("pin16 links"));
  EXPECT_FALSE(l.write("x"));
  PtyDevice device(io, folder.file("dev"));
  EXPECT_TRUE(runUntil(io, [&] { return l.opened == 1; }));
}

TEST(SerialLineTest, AFileIsNoPort) {
  const TestFolder folder;
  boost::asio::io_context io;
  std::ofstream(folder.file("dev")) << "x";
  Line l(io, folder.file("dev"));
  l.line.open();
  ASSERT_EQ(l.troubles.size(), 1U);
  EXPECT_THAT(l.troubles[0].text, HasSubstr("is no serial port"));
}

/// Opens as somebody who owns nothing, and shows the trouble on stderr.
void openAsNobody(const std::string& path) {
  constexpr uid_t kNobody = 65534;
  if (::getuid() == 0 && (::setgid(kNobody) != 0 || ::setuid(kNobody) != 0)) std::exit(9);
  boost::asio::io_context io;
  Line l(io, path);
  l.line.open();
  SerialEntry entry;
  entry.device = path;
  lookAtAccess(entry);
  if (l.troubles.size() != 1) std::exit(8);
  std::fprintf(stderr, "%d|%s|%s|%d|%s\n", static_cast<int>(l.troubles[0].condition),
               l.troubles[0].text.c_str(), l.troubles[0].advice.c_str(), static_cast<int>(entry.may_open),
               entry.advice.c_str());
  std::exit(0);
}

TEST(SerialLineDeathTest, APortWithoutPermissionIsSaidWithGroupAndCommand) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  ::chmod(folder.file("").c_str(), 0755);
  ::chmod(device.pty().c_str(), 0);
  EXPECT_EXIT(
      openAsNobody(device.pty()), testing::ExitedWithCode(0),
      "4\\|no permission to open /dev/pts/[0-9]+: it belongs to group .*\\|sudo usermod -aG [a-z0-9]+ "
      "\\$USER, then log in again\\|0\\|sudo usermod -aG");
}

TEST(SerialLineTest, APortInUseByAnotherIsLeftAlone) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  Line first(io, folder.file("dev")), second(io, folder.file("dev"));
  first.line.open();
  second.line.open();
  ASSERT_EQ(first.opened, 1);
  ASSERT_FALSE(second.troubles.empty());
  EXPECT_THAT(second.troubles[0].text, HasSubstr("in use"));
  EXPECT_THAT(second.troubles[0].advice, HasSubstr("leave it alone"));
  EXPECT_EQ(second.opened, 0);
  first.write("still mine");
  EXPECT_TRUE(runUntil(io, [&] { return device.heard == "still mine"; }));
  first.line.close();
  EXPECT_TRUE(runUntil(io, [&] { return second.opened == 1; })) << "freed by the first one";
}

TEST(SerialLineTest, WhoHoldsAPortIsNamedWithoutOpeningIt) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  int go[2];
  ASSERT_EQ(::pipe(go), 0);
  const pid_t child = ::fork();
  if (child == 0) {  // it inherits the descriptors of this test, the device among them
    if (::write(go[1], "x", 1) == 1) ::pause();
    ::_exit(0);
  }
  char c = 0;
  ASSERT_EQ(::read(go[0], &c, 1), 1);
  SerialEntry entry;
  entry.device = device.pty();
  lookAtAccess(entry);
  EXPECT_THAT(entry.held_by, Contains(HasSubstr(" (" + std::to_string(child) + ")")));
  EXPECT_TRUE(entry.may_open);
  EXPECT_EQ(entry.advice, "");
  ::kill(child, SIGKILL);
  ::waitpid(child, nullptr, 0);
  lookAtAccess(entry);
  EXPECT_TRUE(entry.held_by.empty()) << entry.held_by[0];
  ::close(go[0]);
  ::close(go[1]);
}

TEST(SerialLineTest, ADeviceThatGoesIsSaidOnceAndTakenAgain) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  Line l(io, folder.file("dev"));
  l.line.open();
  device.write("before");
  EXPECT_TRUE(runUntil(io, [&] { return l.read == "before"; }));
  device.unplug();
  EXPECT_TRUE(runUntil(io, [&] { return l.lost == 1; }));
  EXPECT_EQ(l.troubles[0].condition, event::LinkCondition::gone);
  EXPECT_FALSE(l.write("x"));
  device.plug();
  EXPECT_TRUE(runUntil(io, [&] { return l.opened == 2; }));
  device.write(" after");
  EXPECT_TRUE(runUntil(io, [&] { return l.read == "before after"; }));
  EXPECT_EQ(l.lost, 1);
}

TEST(SerialLineTest, ADeviceThatTakesNoBytesIsATroubleAfterASecond) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  Line l(io, folder.file("dev"));
  l.line.open();
  device.hang();
  const std::string much(SerialLine::kWaitingMost, 'x');
  while (l.write(much)) continue;
  EXPECT_EQ(l.lost, 0) << "too much is refused, no trouble yet";
  const Ns from_ns = bootNow();
  EXPECT_TRUE(runUntil(io, [&] { return l.lost == 1; }));
  EXPECT_GE(bootNow() - from_ns, 900 * kNsPerMs);
  EXPECT_THAT(l.troubles[0].text, HasSubstr("hangs"));
}

TEST(SerialLineTest, WhatIsWrittenWhileTheDeviceIsSlowArrivesWholeAndInOrder) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  Line l(io, folder.file("dev"));
  l.line.open();
  std::string all;
  for (int i = 0; i < 200; ++i) {
    const std::string piece = std::to_string(i) + std::string(97, '.');
    if (!l.write(piece)) {
      EXPECT_TRUE(runUntil(io, [&] { return device.heard.size() == all.size(); }));
      ASSERT_TRUE(l.write(piece));
    }
    all += piece;
  }
  EXPECT_TRUE(runUntil(io, [&] { return device.heard.size() >= all.size(); }));
  EXPECT_EQ(device.heard, all);
  EXPECT_EQ(l.written, all.size());
}

TEST(SerialLineTest, CloseIsTheEndOfAllCallbacks) {
  const TestFolder folder;
  boost::asio::io_context io;
  PtyDevice device(io, folder.file("dev"));
  Line l(io, folder.file("dev"));
  l.line.open();
  device.write("waiting");
  l.line.close();
  io.run_for(std::chrono::milliseconds(300));
  EXPECT_EQ(l.read, "");
  EXPECT_TRUE(l.troubles.empty());
  l.line.open();
  EXPECT_EQ(l.opened, 2);
}

}  // namespace
}  // namespace pin16::link
