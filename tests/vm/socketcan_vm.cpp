// SPDX-License-Identifier: Apache-2.0
/// The SocketCAN link against a real kernel: run as root in the guest by guest.sh, never on a host, because
/// it changes interfaces. The peers are iproute2, cansend (can-utils) and vm_blast.

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <linux/can.h>
#include <linux/can/isotp.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <optional>
#include <string>
#include <thread>

#include "core/limits/limits.hpp"
#include "core/link/inventory.hpp"
#include "core/link/netlink.hpp"
#include "core/protocol/gate.hpp"
#include "tests/link/link_double.hpp"
#include "tests/protocol/wire.hpp"

namespace pin16::link {
namespace {

using event::LinkCondition;

int sh(const std::string& command) { return std::system(command.c_str()); }

class SocketCanVm : public testing::Test {
 protected:
  void TearDown() override {
    if (link_) link_->close();
    sh("ip link del vcan9 2>/dev/null; ip link set vcan0 up; ip link set vcan1 up");
    sh("ip link set can1 down; ip link set can1 type can bitrate 500000 listen-only off; ip link set can1 "
       "up");
  }
  void open(const std::string& uri) {
    auto made = makeLink(*parseUri(uri), {io_, host_, 0});
    ASSERT_TRUE(made) << made.error().text();
    link_ = std::move(*made);
    link_->open();
  }
  bool waitFor(LinkCondition c) {
    return runUntil(io_, [&] { return link_->state().condition == c; });
  }
  bool waitForFrame(const event::CanFrame& f) {
    return runUntil(io_, [&] { return host_.has(f); });
  }
  /// 22 F190 to 7E0 by the gate of a job whose rate the operator vouches for.
  Result<Permit> permit() {
    protocol::GateSettings settings;
    settings.rate_fixed = true;
    protocol::Gate gate(settings, limits::Limits());
    protocol::Target target;
    target.request_id = 0x7E0;
    target.answer_id = 0x7E8;
    return gate.request(0, bootNow(), target, Bytes{0x22, 0xF1, 0x90});
  }

  boost::asio::io_context io_;
  KeepingHost host_;
  std::unique_ptr<Link> link_;
};

event::CanFrame frame(std::uint32_t word, const Bytes& data, std::uint8_t fd_flags = 0) {
  event::CanFrame f;
  f.word = word;
  f.length = static_cast<std::uint8_t>(data.size());
  f.fd_flags = fd_flags;
  std::copy(data.begin(), data.end(), f.data.begin());
  return f;
}

TEST_F(SocketCanVm, EveryFormOfFrameArrivesAsItWasSent) {
  open("socketcan:vcan0");
  ASSERT_EQ(link_->state().condition, LinkCondition::up);
  const Ns before_ns = bootNow();
  sh("cansend vcan0 123#DEADBEEF; cansend vcan0 1ABCDEF0#01; cansend vcan0 321#R; cansend vcan0 7FF#");
  sh("cansend vcan0 124##3$(printf '%064d' 0)");  // 32 bytes, BRS and ESI
  sh("cansend vcan0 20000088#0000020000000000");  // an error frame, as a driver would hand it in
  sh("cansend vcan0 20000040#0000000000000000");  // bus-off
  const event::CanFrame last = frame(event::kErrorFlag | 0x40, Bytes(8, 0));
  ASSERT_TRUE(waitForFrame(last));
  EXPECT_TRUE(host_.has(frame(0x123, {0xDE, 0xAD, 0xBE, 0xEF})));
  EXPECT_TRUE(host_.has(frame(event::kExtendedFlag | 0x1ABCDEF0, {1})));
  EXPECT_TRUE(host_.has(frame(event::kRemoteFlag | 0x321, {})));
  EXPECT_TRUE(host_.has(frame(0x7FF, {})));
  EXPECT_TRUE(host_.has(frame(0x124, Bytes(32, 0), event::kFdFormat | event::kFdBrs | event::kFdEsi)));
  EXPECT_TRUE(host_.has(frame(event::kErrorFlag | 0x88, {0, 0, 2, 0, 0, 0, 0, 0})));
  ASSERT_EQ(host_.frames.size(), 7U);
  for (std::size_t i = 0; i < host_.frames.size(); ++i) {
    EXPECT_FALSE(host_.frames[i].outbound) << "sent from this host, but not by us";
    EXPECT_GE(host_.frames[i].t_boot_ns, i == 0 ? before_ns : host_.frames[i - 1].t_boot_ns);
    EXPECT_LE(host_.frames[i].t_boot_ns, bootNow());
  }
  EXPECT_EQ(link_->state().time_origin, "kernel");
}

TEST_F(SocketCanVm, OwnFrameIsConfirmedAsOutbound) {
  open("socketcan:vcan0");
  auto p = permit();
  ASSERT_TRUE(p) << p.error().text();
  const event::CanFrame wanted = p->frame();
  const Status sent = link_->send(*std::move(p));
  ASSERT_TRUE(sent) << sent.error().text();
  ASSERT_TRUE(waitForFrame(wanted));
  EXPECT_TRUE(host_.frames[0].outbound);
  const auto records = host_.all<event::Sent>();
  ASSERT_EQ(records.size(), 1U);
  Bytes bytes;
  event::Batch::writeFrame(bytes, wanted);
  EXPECT_EQ(records[0].frame, bytes);
}

TEST_F(SocketCanVm, OwnFrameOverAControllerReachesTheOtherOne) {
  open("socketcan:can0");
  auto other = makeLink(*parseUri("socketcan:can1"), {io_, host_, 1});
  ASSERT_TRUE(other);
  (*other)->open();
  auto p = permit();
  ASSERT_TRUE(p);
  const event::CanFrame wanted = p->frame();
  ASSERT_TRUE(link_->send(*std::move(p)));
  ASSERT_TRUE(runUntil(io_, [&] { return host_.frames.size() == 2; }));
  for (const auto& f : host_.frames) {
    EXPECT_EQ(f.frame, wanted);
    EXPECT_EQ(f.outbound, f.link == 0);
  }
  (*other)->close();
}

TEST_F(SocketCanVm, MissingInterfaceIsTakenUpWhenItAppears) {
  open("socketcan:vcan9");
  EXPECT_EQ(link_->state().condition, LinkCondition::missing);
  EXPECT_EQ(link_->state().text, "there is no interface vcan9");
  const std::string& advice = link_->state().advice;
  EXPECT_EQ(sh("sudo() { \"$@\"; }; " + advice), 0) << advice;  // already root
  EXPECT_TRUE(waitFor(LinkCondition::up)) << "the advice mends it";
  EXPECT_TRUE(host_.all<event::Gap>().empty()) << "nothing was ever seen before";
}

TEST_F(SocketCanVm, InterfaceThatIsDownIsSaidAndTheAdviceMendsIt) {
  sh("ip link set vcan1 down");
  open("socketcan:vcan1");
  EXPECT_EQ(link_->state().condition, LinkCondition::down);
  EXPECT_EQ(link_->state().advice, "sudo ip link set vcan1 up");
  sh("ip link set vcan1 up");
  EXPECT_TRUE(waitFor(LinkCondition::up));
}

TEST_F(SocketCanVm, DownAndUpAgainIsAGapAndKeepsWhatWasQueued) {
  open("socketcan:vcan1");
  sh("cansend vcan1 123#01");
  ASSERT_TRUE(waitForFrame(frame(0x123, {1})));
  const Ns seen_ns = host_.frames[0].t_boot_ns;
  sh("cansend vcan1 123#02; ip link set vcan1 down");
  ASSERT_TRUE(waitFor(LinkCondition::down));
  EXPECT_TRUE(host_.has(frame(0x123, {2}))) << "it was in the queue when the interface went down";
  EXPECT_EQ(link_->state().advice, "sudo ip link set vcan1 up");
  auto p = permit();
  ASSERT_TRUE(p);
  const Status refused = link_->send(*std::move(p));
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().kind, ErrorKind::link);
  EXPECT_NE(refused.error().text().find("down"), std::string::npos);
  EXPECT_TRUE(host_.all<event::Sent>().empty());
  sh("ip link set vcan1 up");
  ASSERT_TRUE(waitFor(LinkCondition::up));
  sh("cansend vcan1 123#03");
  ASSERT_TRUE(waitForFrame(frame(0x123, {3})));
  const auto gaps = host_.all<event::Gap>();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_EQ(gaps[0].reason, "vcan1 was down");
  EXPECT_GE(gaps[0].from_ns, seen_ns);
  EXPECT_LT(gaps[0].from_ns, gaps[0].to_ns);
  EXPECT_LE(gaps[0].to_ns, host_.frames.back().t_boot_ns);
}

TEST_F(SocketCanVm, DownAndUpBetweenTwoLooksIsAGapToo) {
  open("socketcan:vcan1");
  sh("ip link set vcan1 down; ip link set vcan1 up");  // no handler runs in between
  ASSERT_TRUE(runUntil(io_, [&] { return !host_.all<event::Gap>().empty(); }));
  EXPECT_EQ(host_.all<event::Gap>()[0].reason, "vcan1 was down");
  sh("cansend vcan1 123#04");
  EXPECT_TRUE(waitForFrame(frame(0x123, {4})));
}

TEST_F(SocketCanVm, InterfaceThatVanishesIsGoneAndComesBackUnderANewIndex) {
  sh("ip link add dev vcan9 type vcan; ip link set vcan9 up");
  open("socketcan:vcan9");
  ASSERT_EQ(link_->state().condition, LinkCondition::up);
  sh("cansend vcan9 123#05; ip link del vcan9");
  ASSERT_TRUE(waitFor(LinkCondition::gone));
  EXPECT_NE(link_->state().text.find("vanished"), std::string::npos);
  EXPECT_NE(link_->state().advice.find("ip link"), std::string::npos);
  sh("ip link add dev vcan9 type vcan; ip link set vcan9 up");
  ASSERT_TRUE(waitFor(LinkCondition::up));
  sh("cansend vcan9 123#06");
  ASSERT_TRUE(waitForFrame(frame(0x123, {6})));
  ASSERT_EQ(host_.all<event::Gap>().size(), 1U);
  EXPECT_EQ(host_.all<event::Gap>()[0].reason, "vcan9 vanished");
}

TEST_F(SocketCanVm, GapThatNeverEndedIsToldAtClosing) {
  open("socketcan:vcan1");
  sh("ip link set vcan1 down");
  ASSERT_TRUE(waitFor(LinkCondition::down));
  link_->close();
  const auto gaps = host_.all<event::Gap>();
  ASSERT_EQ(gaps.size(), 1U);
  EXPECT_NE(gaps[0].reason.find("did not come back"), std::string::npos);
}

TEST_F(SocketCanVm, FactsAreThoseOfTheController) {
  open("socketcan:can0");
  const event::LinkState& s = link_->state();
  EXPECT_EQ(s.condition, LinkCondition::up);
  EXPECT_EQ(s.bitrate, 500000U);
  EXPECT_EQ(s.sample_point_permille, 875);
  EXPECT_EQ(s.fd, event::Known::no);
  EXPECT_EQ(s.listen_only, event::Known::no);
  EXPECT_EQ(s.silence, event::Silence::cannot);
  EXPECT_EQ(s.controller, "error-active");
  EXPECT_EQ(s.tx_errors, 0);
  EXPECT_EQ(s.rx_errors, 0);
  EXPECT_FALSE(s.driver.empty());
  EXPECT_EQ(s.buffer_bytes, 8U << 20);
}

TEST_F(SocketCanVm, ListenOnlyIsProvenAndRefusesToSendWithTheWarning) {
  open("socketcan:can1");
  sh("ip link set can1 down; ip link set can1 type can bitrate 250000 listen-only on; ip link set can1 up");
  ASSERT_TRUE(runUntil(io_, [&] { return link_->state().silence == event::Silence::proven; }));
  ASSERT_TRUE(waitFor(LinkCondition::up));
  EXPECT_EQ(link_->state().bitrate, 250000U);
  auto p = permit();
  ASSERT_TRUE(p);
  const Status refused = link_->send(*std::move(p));
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().kind, ErrorKind::link);
  EXPECT_NE(refused.error().text().find("listen-only"), std::string::npos);
  EXPECT_NE(refused.error().text().find("acknowledge"), std::string::npos);
  EXPECT_TRUE(host_.all<event::Sent>().empty());
}

TEST_F(SocketCanVm, InterfaceThatIsNoCanInterfaceIsSaid) {
  open("socketcan:lo");
  EXPECT_EQ(link_->state().condition, LinkCondition::failed);
  EXPECT_EQ(link_->state().text, "lo exists, but is not a CAN interface");
}

/// `count` frames flat out, then 1 s of silence and the marked frame. Returns what the sender says it sent.
std::uint64_t blast(boost::asio::io_context& io, const KeepingHost& host, unsigned count) {
  std::FILE* sender =
      popen(fmt::format("{} vcan0 {} 0 /tmp/blast.log", std::getenv("VM_BLAST"), count).c_str(), "r");
  if (sender == nullptr) return 0;
  EXPECT_TRUE(runUntil(
      io, [&] { return !host.frames.empty() && host.frames.back().frame.id() == 0x7FF; },
      std::chrono::seconds(60)));
  unsigned sent = 0;
  EXPECT_EQ(std::fscanf(sender, "%u", &sent), 1);
  pclose(sender);
  return sent;
}

TEST_F(SocketCanVm, NothingIsLostWithTheLargeBuffer) {
  open("socketcan:vcan0");
  const std::uint64_t sent = blast(io_, host_, 100000);
  EXPECT_EQ(sent, 100001U);
  EXPECT_EQ(host_.frames.size(), sent);
  EXPECT_EQ(host_.lost(), 0U);
}

TEST_F(SocketCanVm, WhatTheSmallestBufferLosesIsCountedToTheFrame) {
  open("socketcan:vcan0?buffer=1");
  EXPECT_LT(link_->state().buffer_bytes, 4096U) << "the least that the kernel gives";
  const std::uint64_t sent = blast(io_, host_, 20000);
  EXPECT_GT(host_.lost(), 0U);
  EXPECT_EQ(host_.frames.size() + host_.lost(), sent);
}

TEST_F(SocketCanVm, LossesAtTheEndAreKnownWithoutALaterFrame) {
  open("socketcan:vcan0?buffer=1");
  sh("cangen vcan0 -g 0 -n 500");  // nobody reads meanwhile
  link_->close();
  EXPECT_LT(host_.frames.size(), 500U);
  EXPECT_EQ(host_.frames.size() + host_.lost(), 500U);
}

TEST_F(SocketCanVm, InventoryAndCheckTellWhatIsThere) {
  const Inventory inventory = takeInventory();
  ASSERT_EQ(inventory.can.size(), 4U);
  EXPECT_EQ(inventory.can[0].uri, "socketcan:can0");
  sh("ip link set vcan1 down");
  for (const CanEntry& e : takeInventory().can) EXPECT_EQ(e.advice.empty(), e.facts.name != "vcan1");

  // Both controllers hear what a third socket sends over can0; the check itself sends nothing.
  std::thread sender([] { sh("sleep 0.5; cansend can0 123#07"); });
  const auto r = checkAdapter(*parseUri("socketcan:can0"), *parseUri("socketcan:can1"));
  sender.join();
  ASSERT_TRUE(r);
  EXPECT_TRUE(r->opened);
  EXPECT_EQ(r->common, 1U);
  ASSERT_EQ(r->links.size(), 2U);
  EXPECT_EQ(r->links[0].frames, 1U);
  EXPECT_EQ(r->links[1].frames, 1U);
  bool told = false;
  for (const std::string& line : r->next) told = told || line.find("cansend can0") != std::string::npos;
  EXPECT_TRUE(told);
}

// ---- the kernel's own ISO-TP (net/can/isotp.c) as the other end of ours

/// Our Sender and Receiver on a raw socket, a CAN_ISOTP socket as the module.
class IsoTpVm : public testing::Test {
 protected:
  void open(const protocol::Pair& pair, bool fd) {
    close();
    const std::uint32_t flag = pair.extended ? CAN_EFF_FLAG : 0;
    kernel_ = socket(PF_CAN, SOCK_DGRAM, CAN_ISOTP);
    ASSERT_GE(kernel_, 0);
    can_isotp_options options{};
    options.flags = CAN_ISOTP_TX_PADDING;
    options.frame_txtime = CAN_ISOTP_DEFAULT_FRAME_TXTIME;
    options.txpad_content = protocol::kPadByte;
    if (pair.prefixSize() == 1) {
      options.flags |= CAN_ISOTP_EXTEND_ADDR | CAN_ISOTP_RX_EXT_ADDR;
      options.ext_address = pair.rx_prefix;
      options.rx_ext_address = pair.tx_prefix;
    }
    ASSERT_EQ(setsockopt(kernel_, SOL_CAN_ISOTP, CAN_ISOTP_OPTS, &options, sizeof options), 0);
    const can_isotp_fc_options flow{.bs = 8, .stmin = 0xF1, .wftmax = 0};
    ASSERT_EQ(setsockopt(kernel_, SOL_CAN_ISOTP, CAN_ISOTP_RECV_FC, &flow, sizeof flow), 0);
    const can_isotp_ll_options fd_frames{.mtu = CANFD_MTU, .tx_dl = 64, .tx_flags = 0};
    if (fd) {
      ASSERT_EQ(setsockopt(kernel_, SOL_CAN_ISOTP, CAN_ISOTP_LL_OPTS, &fd_frames, sizeof fd_frames), 0);
    }
    sockaddr_can at{};
    at.can_family = AF_CAN;
    at.can_ifindex = static_cast<int>(if_nametoindex("vcan0"));
    at.can_addr.tp.tx_id = pair.rx_id | flag;
    at.can_addr.tp.rx_id = pair.tx_id | flag;
    ASSERT_EQ(bind(kernel_, reinterpret_cast<const sockaddr*>(&at), sizeof at), 0);

    raw_ = socket(PF_CAN, SOCK_RAW, CAN_RAW);
    ASSERT_GE(raw_, 0);
    const int on = 1;
    ASSERT_EQ(setsockopt(raw_, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, &on, sizeof on), 0);
    sockaddr_can any{};
    any.can_family = AF_CAN;
    any.can_ifindex = at.can_ifindex;
    ASSERT_EQ(bind(raw_, reinterpret_cast<const sockaddr*>(&any), sizeof any), 0);
  }
  void close() {
    for (int* s : {&kernel_, &raw_}) {
      if (*s >= 0) ::close(*s);
      *s = -1;
    }
  }
  void TearDown() override { close(); }

  void put(const event::CanFrame& f) const {
    canfd_frame out{};
    out.can_id = f.word;
    out.len = f.length;
    std::copy(f.data.begin(), f.data.end(), out.data);
    const std::size_t size = f.fd() ? CANFD_MTU : CAN_MTU;
    EXPECT_EQ(write(raw_, &out, size), static_cast<ssize_t>(size));
  }
  /// The next frame of the kernel within a millisecond.
  [[nodiscard]] std::optional<event::CanFrame> take() const {
    pollfd p{.fd = raw_, .events = POLLIN, .revents = 0};
    if (poll(&p, 1, 1) <= 0) return std::nullopt;
    canfd_frame in{};
    const ssize_t n = read(raw_, &in, sizeof in);
    event::CanFrame f;
    f.word = in.can_id;
    f.length = in.len;
    f.fd_flags = n == CANFD_MTU ? event::kFdFormat : std::uint8_t{0};
    std::copy(std::begin(in.data), std::end(in.data), f.data.begin());
    return f;
  }
  /// From us to the kernel and back.
  void roundTrip(const protocol::Pair& pair, bool fd, std::size_t length) {
    const Bytes message = protocol::counting(length);
    // An emulated machine on a busy one may stand still for a second, which is no matter here.
    constexpr Ns kPatience_ns = 10 * kNsPerSecond;
    auto sender = protocol::fdSettings(fd);
    sender.times.n_bs_ns = kPatience_ns;
    protocol::Sender tx(pair, sender);
    const auto act = [&](protocol::Sender::Output out) {
      while (out.send) {  // a raw socket takes it at once: confirmed
        put(*out.send);
        out = tx.onConfirmed(bootNow());
      }
      EXPECT_FALSE(out.failed) << protocol::toText(*out.failed);
    };
    act(tx.start(bootNow(), message));
    while (tx.sending()) {
      if (const auto f = take()) act(tx.onFrame(bootNow(), *f));
      act(tx.onTime(bootNow()));
    }
    Bytes got(length + 1);
    pollfd p{.fd = kernel_, .events = POLLIN, .revents = 0};
    ASSERT_EQ(poll(&p, 1, 2000), 1) << length;
    got.resize(static_cast<std::size_t>(std::max<ssize_t>(0, read(kernel_, got.data(), got.size()))));
    ASSERT_EQ(got, message);

    protocol::Receiver::Settings settings;
    settings.block_size = 5;
    settings.st_min = 0xF2;
    settings.times.n_cr_ns = kPatience_ns;
    protocol::Receiver rx(pair, settings);
    ASSERT_EQ(write(kernel_, message.data(), message.size()), static_cast<ssize_t>(length));
    for (std::optional<Bytes> whole; !whole;) {
      const auto f = take();
      const auto out = f ? rx.onFrame(bootNow(), *f) : rx.onTime(bootNow());
      ASSERT_FALSE(out.failed) << protocol::toText(*out.failed);
      whole = out.message;
      if (out.send) {
        // The kernel (net/can/isotp.c, 6.1; from memory) waits for flow control from when its own frame has
        // come back to it: one that the other processor sends sooner is ignored, and the transfer is over.
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
        put(rx.frame(*out.send));
        rx.onConfirmed(bootNow());
      }
      if (whole) {
        ASSERT_EQ(*whole, message);
      }
    }
  }

  int kernel_ = -1;
  int raw_ = -1;
};

TEST_F(IsoTpVm, KernelAndWeAgreeInEveryAddressingClassicAndFd) {
  for (const protocol::Pair& pair : protocol::everyAddressing(7))
    for (const bool fd : {false, true}) {
      ASSERT_NO_FATAL_FAILURE(open(pair, fd));
      for (const std::size_t n : {1U, 5U, 6U, 7U, 8U, 61U, 62U, 63U, 200U, 1000U, 4095U}) {
        SCOPED_TRACE(fmt::format("{} bytes to {:X}, fd {}", n, pair.tx_id, fd));
        ASSERT_NO_FATAL_FAILURE(roundTrip(pair, fd, n));
      }
    }
}

}  // namespace
}  // namespace pin16::link
