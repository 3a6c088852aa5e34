// SPDX-License-Identifier: Apache-2.0
/// What can be shown without a CAN interface; the rest runs in the guest (tests/vm).
#include "core/link/socketcan.hpp"

#include <gtest/gtest.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/syscall.h>

#include <cerrno>
#include <cstddef>
#include <cstdio>
#include <cstdlib>

#include "core/link/inventory.hpp"
#include "tests/link/link_double.hpp"

namespace pin16::link {
namespace {

/// From here on the kernel answers socket(AF_CAN, ...) of this process with `error`: a sandbox, or a kernel
/// without CAN. Only in a child process.
bool forbidCan(unsigned error) {
  sock_filter program[] = {
      BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(seccomp_data, nr)),
      BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, SYS_socket, 0, 3),
      BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(seccomp_data, args[0])),
      BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, AF_CAN, 0, 1),
      BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ERRNO | error),
      BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW),
  };
  const sock_fprog filter{std::size(program), program};
  return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
         prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &filter) == 0;
}

event::LinkState openAndLook(const char* uri) {
  boost::asio::io_context io;
  KeepingHost host;
  const auto link = makeLink(*parseUri(uri), {io, host, 0});
  (*link)->open();
  const event::LinkState state = (*link)->state();
  const bool told = host.all<event::LinkState>().size() == 1;
  (*link)->close();
  return told ? state : event::LinkState{};
}

/// Prints the state to stderr, where the death test reads it, and exits 0.
void showUnder(unsigned error) {
  if (!forbidCan(error)) std::exit(9);
  const event::LinkState s = openAndLook("socketcan:can0");
  std::fprintf(stderr, "%d|%s|%s\n", static_cast<int>(s.condition), s.text.c_str(), s.advice.c_str());
  std::exit(0);
}

TEST(SocketCanDeathTest, NoPermissionIsSaidWithWhatToDo) {
  EXPECT_EXIT(showUnder(EPERM), testing::ExitedWithCode(0),
              "4\\|no permission to open a CAN socket: .*\\|.*ip link");
  EXPECT_EXIT(showUnder(EACCES), testing::ExitedWithCode(0),
              "4\\|no permission to open a CAN socket: .*\\|.*ip link");
}

TEST(SocketCanDeathTest, KernelWithoutCanIsSaidPlainly) {
  EXPECT_EXIT(showUnder(EAFNOSUPPORT), testing::ExitedWithCode(0),
              "7\\|this kernel has no CAN.*\\|.*modprobe can-raw");
}

TEST(SocketCanTest, WhatThisMachineHasNotIsSaidAndTheRunGoesOn) {
  const event::LinkState s = openAndLook("socketcan:pin16none");
  const bool has_can = takeInventory().can_text.find("no CAN (") == std::string::npos;
  if (has_can) {
    EXPECT_EQ(s.condition, event::LinkCondition::missing);
    EXPECT_EQ(s.text, "there is no interface pin16none");
    EXPECT_NE(s.advice.find("sudo ip link set pin16none up type can bitrate"), std::string::npos) << s.advice;
  } else {
    EXPECT_EQ(s.condition, event::LinkCondition::failed);
    EXPECT_NE(s.text.find("this kernel has no CAN"), std::string::npos) << s.text;
    EXPECT_FALSE(s.advice.empty());
  }
  EXPECT_EQ(s.silence, event::Silence::cannot);
}

TEST(SocketCanTest, CloseIsTheLastWordAndNothingRunsAfterIt) {
  boost::asio::io_context io;
  KeepingHost host;
  auto link = makeLink(*parseUri("socketcan:pin16none"), {io, host, 0});
  ASSERT_TRUE(link);
  (*link)->open();
  (*link)->close();
  const auto states = host.all<event::LinkState>();
  ASSERT_EQ(states.size(), 2U);
  EXPECT_EQ(states[1].condition, event::LinkCondition::finished);
  link->reset();
  io.run();  // the cancelled handlers: returns, because none waits again
  EXPECT_EQ(host.records.size(), 2U);
}

}  // namespace
}  // namespace pin16::link
