// SPDX-License-Identifier: Apache-2.0
#include "core/link/netlink.hpp"

#include <gtest/gtest.h>
#include <libmnl/libmnl.h>
#include <linux/can/netlink.h>
#include <linux/if.h>
#include <linux/if_arp.h>
#include <linux/rtnetlink.h>

#include <cstring>
#include <fstream>
#include <map>

namespace pin16::link {
namespace {

std::vector<Bytes> recorded() {
  std::ifstream in(PIN16_SOURCE_DIR "/tests/link/data/links.txt");
  std::vector<Bytes> all;
  for (std::string line; std::getline(in, line);)
    if (!line.empty() && line[0] != '#') all.push_back(fromHex(line).value());
  return all;
}

/// The expected values are those of iproute2 for the same interfaces, quoted in the file.
class RecordedLinks : public testing::Test {
 protected:
  void SetUp() override {
    ASSERT_EQ(recorded().size(), 5U);
    for (const Bytes& m : recorded())
      if (auto f = parseLinkMessage(m)) by_name_[f->name] = *f;
  }
  std::map<std::string, CanFacts> by_name_;
};

TEST_F(RecordedLinks, OnlyCanInterfacesAreTaken) {
  EXPECT_EQ(by_name_.size(), 4U);
  EXPECT_FALSE(by_name_.contains("lo"));
}

TEST_F(RecordedLinks, ControllerThatIsUp) {
  const CanFacts& f = by_name_["can0"];
  EXPECT_EQ(f.index, 2);
  EXPECT_EQ(f.kind, "can");
  EXPECT_TRUE(f.up);
  EXPECT_EQ(f.mtu, 16U);
  EXPECT_EQ(f.fd(), event::Known::no);
  EXPECT_EQ(f.bitrate, 500000U);
  EXPECT_EQ(f.data_bitrate, 0U);
  EXPECT_EQ(f.sample_point_permille, 875);
  EXPECT_EQ(f.clock_Hz, 8000000U);
  EXPECT_EQ(f.restart_ms, 0U);
  EXPECT_EQ(f.listenOnly(), event::Known::no);
  EXPECT_EQ(f.modesText(), "none");
  EXPECT_EQ(f.controller, "error-active");
  EXPECT_EQ(f.tx_errors, 0);
  EXPECT_EQ(f.rx_errors, 0);
  EXPECT_EQ(f.counters.sent, 1U);
  EXPECT_EQ(f.counters.received, 0U);
}

TEST_F(RecordedLinks, ControllerThatIsDownAndListenOnly) {
  const CanFacts& f = by_name_["can1"];
  EXPECT_FALSE(f.up);
  EXPECT_EQ(f.bitrate, 250000U);
  EXPECT_EQ(f.sample_point_permille, 750);
  EXPECT_EQ(f.restart_ms, 100U);
  EXPECT_EQ(f.listenOnly(), event::Known::yes);
  EXPECT_EQ(f.modesText(), "listen-only, one-shot");
  EXPECT_EQ(f.controller, "stopped");
  EXPECT_EQ(bringUpLine(f), "sudo ip link set can1 up");
}

TEST_F(RecordedLinks, VirtualInterfaceKnowsNeitherRateNorModes) {
  const CanFacts& f = by_name_["vcan0"];
  EXPECT_TRUE(f.up);
  EXPECT_TRUE(f.virtualBus());
  EXPECT_EQ(f.fd(), event::Known::yes);
  EXPECT_EQ(f.bitrate, 0U);
  EXPECT_EQ(f.controller, "unknown");
  EXPECT_EQ(f.tx_errors, -1);
  EXPECT_EQ(f.restart_ms, std::nullopt);
  EXPECT_EQ(f.counters.sent, 1U);
  EXPECT_EQ(by_name_["vcan1"].fd(), event::Known::no);
  EXPECT_FALSE(by_name_["vcan1"].up);
}

TEST_F(RecordedLinks, EveryCutShortMessageIsSurvived) {
  for (const Bytes& whole : recorded()) {
    for (std::size_t n = 0; n < whole.size(); ++n) {
      Bytes cut(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(n));
      EXPECT_FALSE(parseLinkMessage(cut)) << "the length field promises more than there is";
      if (n < sizeof(std::uint32_t)) continue;
      const auto length = static_cast<std::uint32_t>(n);
      std::memcpy(cut.data(), &length, sizeof length);
      (void)parseLinkMessage(cut);  // under the sanitizers: no read behind the end
    }
  }
}

/// No emulated controller has CAN FD: this message is made with libmnl by the layout of linux/can/netlink.h.
class MadeMessage {
 public:
  MadeMessage() : header_(mnl_nlmsg_put_header(bytes_)) {
    header_->nlmsg_type = RTM_NEWLINK;
    auto* info = static_cast<ifinfomsg*>(mnl_nlmsg_put_extra_header(header_, sizeof(ifinfomsg)));
    info->ifi_type = ARPHRD_CAN;
    info->ifi_flags = IFF_UP;
    mnl_attr_put_strz(header_, IFLA_IFNAME, "can7");
    mnl_attr_put_u32(header_, IFLA_MTU, 72);
  }
  template <class T>
  void put(std::uint16_t type, const T& value) {
    mnl_attr_put(header_, type, sizeof value, &value);
  }
  nlattr* nest(std::uint16_t type) { return mnl_attr_nest_start(header_, type); }
  void end(nlattr* nest) { mnl_attr_nest_end(header_, nest); }
  nlmsghdr* header() { return header_; }
  [[nodiscard]] CanFacts parsed() const {
    return parseLinkMessage({reinterpret_cast<const std::uint8_t*>(bytes_), header_->nlmsg_len}).value();
  }

 private:
  alignas(nlmsghdr) char bytes_[4096] = {};
  nlmsghdr* header_;
};

TEST(MadeLinkMessage, FlexibleDataRateControllerInTrouble) {
  MadeMessage m;
  nlattr* info = m.nest(IFLA_LINKINFO);
  nlattr* data = m.nest(IFLA_INFO_DATA);  // ahead of the kind: the order is the kernel's affair
  m.put(IFLA_CAN_BITTIMING, can_bittiming{500000, 800, 0, 0, 0, 0, 0, 0});
  m.put(IFLA_CAN_DATA_BITTIMING, can_bittiming{2000000, 750, 0, 0, 0, 0, 0, 0});
  m.put(IFLA_CAN_CTRLMODE, can_ctrlmode{0, CAN_CTRLMODE_FD | CAN_CTRLMODE_LOOPBACK});
  m.put(IFLA_CAN_STATE, std::uint32_t{CAN_STATE_ERROR_PASSIVE});
  m.put(IFLA_CAN_BERR_COUNTER, can_berr_counter{136, 12});
  m.end(data);
  mnl_attr_put_strz(m.header(), IFLA_INFO_KIND, "can");
  m.put(IFLA_INFO_XSTATS, can_device_stats{1, 2, 3, 4, 5, 6});
  m.end(info);

  const CanFacts f = m.parsed();
  EXPECT_EQ(f.name, "can7");
  EXPECT_EQ(f.bitrate, 500000U);
  EXPECT_EQ(f.data_bitrate, 2000000U);
  EXPECT_EQ(f.sample_point_permille, 800);
  EXPECT_EQ(f.fd(), event::Known::yes);
  EXPECT_TRUE(f.loopback());
  EXPECT_EQ(f.modesText(), "loopback, fd");
  EXPECT_EQ(f.controller, "error-passive");
  EXPECT_EQ(f.tx_errors, 136);
  EXPECT_EQ(f.rx_errors, 12);
  EXPECT_EQ(f.counters.bus_errors, 1U);
  EXPECT_EQ(f.counters.bus_offs, 4U);
  EXPECT_EQ(f.counters.arbitration_lost, 5U);
  EXPECT_EQ(f.counters.restarts, 6U);
}

TEST(MadeLinkMessage, WhatADriverDoesNotSayIsUnknown) {
  MadeMessage m;
  nlattr* info = m.nest(IFLA_LINKINFO);
  mnl_attr_put_strz(m.header(), IFLA_INFO_KIND, "can");
  nlattr* data = m.nest(IFLA_INFO_DATA);
  m.put(IFLA_CAN_BITTIMING, can_bittiming{0xFFFFFFFF, 0, 0, 0, 0, 0, 0, 0});  // CAN_BITRATE_UNKNOWN
  m.put(IFLA_CAN_STATE, std::uint32_t{99});
  m.put(IFLA_CAN_BERR_COUNTER, std::uint8_t{1});  // too short
  m.end(data);
  m.end(info);

  const CanFacts f = m.parsed();
  EXPECT_EQ(f.bitrate, 0U);
  EXPECT_EQ(f.controller, "unknown");
  EXPECT_EQ(f.tx_errors, -1);
  EXPECT_EQ(f.listenOnly(), event::Known::unknown);
  EXPECT_EQ(f.modesText(), "unknown");
  EXPECT_NE(bringUpLine(f).find("listen-only on"), std::string::npos);
}

}  // namespace
}  // namespace pin16::link
