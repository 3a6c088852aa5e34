// SPDX-License-Identifier: Apache-2.0
#include "core/link/netlink.hpp"

#include <fmt/format.h>
#include <libmnl/libmnl.h>
#include <linux/can/netlink.h>
#include <linux/if.h>
#include <linux/if_arp.h>
#include <linux/if_link.h>
#include <linux/rtnetlink.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <memory>

namespace pin16::link {
namespace {

constexpr std::uint32_t kFdMtu = 72;       // sizeof(struct canfd_frame)
constexpr std::uint32_t kRateUnset = ~0U;  // CAN_BITRATE_UNKNOWN: a serial-line driver told by its user space

struct SocketCloser {
  void operator()(mnl_socket* s) const { mnl_socket_close(s); }
};
using Socket = std::unique_ptr<mnl_socket, SocketCloser>;

struct Mode {
  std::uint32_t bit;
  const char* name;  // as iproute2 writes it
};
constexpr Mode kModes[] = {
    {CAN_CTRLMODE_LOOPBACK, "loopback"},
    {CAN_CTRLMODE_LISTENONLY, "listen-only"},
    {CAN_CTRLMODE_3_SAMPLES, "triple-sampling"},
    {CAN_CTRLMODE_ONE_SHOT, "one-shot"},
    {CAN_CTRLMODE_BERR_REPORTING, "berr-reporting"},
    {CAN_CTRLMODE_FD, "fd"},
    {CAN_CTRLMODE_PRESUME_ACK, "presume-ack"},
    {CAN_CTRLMODE_FD_NON_ISO, "fd-non-iso"},
    {CAN_CTRLMODE_CC_LEN8_DLC, "cc-len8-dlc"},
};

const char* stateText(std::uint32_t state) {
  constexpr const char* names[] = {"error-active", "error-warning", "error-passive",
                                   "bus-off",      "stopped",       "sleeping"};
  return state < std::size(names) ? names[state] : "unknown";
}

/// The attribute's payload as T; a longer one of a newer kernel is cut, a shorter one refused.
template <class T>
std::optional<T> as(const nlattr* a) {
  T value{};
  if (mnl_attr_get_payload_len(a) < sizeof value) return std::nullopt;
  std::memcpy(&value, mnl_attr_get_payload(a), sizeof value);
  return value;
}

std::string text(const nlattr* a) {
  const auto* p = static_cast<const char*>(mnl_attr_get_payload(a));
  return {p, strnlen(p, mnl_attr_get_payload_len(a))};
}

/// Calls each(attribute) for all that lie whole within [first, end).
template <class F>
void walk(const nlattr* first, const std::uint8_t* end, F each) {
  for (const nlattr* a = first;
       mnl_attr_ok(a, static_cast<int>(end - reinterpret_cast<const std::uint8_t*>(a))); a = mnl_attr_next(a))
    each(a);
}
template <class F>
void walkNested(const nlattr* nest, F each) {
  const auto* p = static_cast<const std::uint8_t*>(mnl_attr_get_payload(nest));
  walk(reinterpret_cast<const nlattr*>(p), p + mnl_attr_get_payload_len(nest), each);
}

void readBitTiming(const nlattr* a, std::uint32_t& bitrate, std::uint16_t* sample_point_permille) {
  const auto t = as<can_bittiming>(a);
  if (!t || t->bitrate == kRateUnset) return;
  bitrate = t->bitrate;
  if (sample_point_permille != nullptr && t->sample_point <= 1000)
    *sample_point_permille = static_cast<std::uint16_t>(t->sample_point);
}

void readCanData(const nlattr* nest, CanFacts& f) {
  walkNested(nest, [&f](const nlattr* a) {
    switch (mnl_attr_get_type(a)) {
      case IFLA_CAN_BITTIMING:
        readBitTiming(a, f.bitrate, &f.sample_point_permille);
        break;
      case IFLA_CAN_DATA_BITTIMING:
        readBitTiming(a, f.data_bitrate, nullptr);
        break;
      case IFLA_CAN_CLOCK:
        if (const auto c = as<can_clock>(a)) f.clock_Hz = c->freq;
        break;
      case IFLA_CAN_STATE:
        if (const auto s = as<std::uint32_t>(a)) f.controller = stateText(*s);
        break;
      case IFLA_CAN_CTRLMODE:
        if (const auto m = as<can_ctrlmode>(a)) f.control_modes = m->flags;
        break;
      case IFLA_CAN_RESTART_MS:
        f.restart_ms = as<std::uint32_t>(a);
        break;
      case IFLA_CAN_BERR_COUNTER:
        if (const auto c = as<can_berr_counter>(a)) {
          f.tx_errors = c->txerr;
          f.rx_errors = c->rxerr;
        }
        break;
      default:
        break;
    }
  });
}

void readDeviceStats(const nlattr* a, CanCounters& c) {
  const auto s = as<can_device_stats>(a);
  if (!s) return;
  c.bus_errors = s->bus_error;
  c.arbitration_lost = s->arbitration_lost;
  c.error_warnings = s->error_warning;
  c.error_passives = s->error_passive;
  c.bus_offs = s->bus_off;
  c.restarts = s->restarts;
}

void readLinkInfo(const nlattr* nest, CanFacts& f) {
  // The kind decides what the other two mean; it need not come first.
  const nlattr* data = nullptr;
  const nlattr* stats = nullptr;
  walkNested(nest, [&](const nlattr* a) {
    switch (mnl_attr_get_type(a)) {
      case IFLA_INFO_KIND:
        f.kind = text(a);
        break;
      case IFLA_INFO_DATA:
        data = a;
        break;
      case IFLA_INFO_XSTATS:
        stats = a;
        break;
      default:
        break;
    }
  });
  if (f.kind != "can") return;
  if (data != nullptr) readCanData(data, f);
  if (stats != nullptr) readDeviceStats(stats, f.counters);
}

void readStats(const nlattr* a, CanCounters& c) {
  rtnl_link_stats64 s{};  // a kernel may give a shorter one: what is not there stays 0
  std::memcpy(&s, mnl_attr_get_payload(a), std::min<std::size_t>(sizeof s, mnl_attr_get_payload_len(a)));
  c.received = s.rx_packets;
  c.sent = s.tx_packets;
  c.receive_errors = s.rx_errors;
  c.send_errors = s.tx_errors;
  c.receive_dropped = s.rx_dropped;
  c.send_dropped = s.tx_dropped;
  c.overruns = s.rx_over_errors;
}

std::string driverOf(const CanFacts& f) {
  std::error_code ec;
  const auto target = std::filesystem::read_symlink("/sys/class/net/" + f.name + "/device/driver", ec);
  return ec ? f.kind : target.filename().string();
}

Error kernelError(const std::string& what) {
  return {ErrorKind::link, what + " (rtnetlink): " + std::strerror(errno), "", ""};
}

}  // namespace

event::Known CanFacts::fd() const {
  if (mtu == 0) return event::Known::unknown;
  return mtu >= kFdMtu ? event::Known::yes : event::Known::no;
}

event::Known CanFacts::listenOnly() const {
  if (virtualBus()) return event::Known::no;  // knows no modes at all
  if (!control_modes) return event::Known::unknown;
  return (*control_modes & CAN_CTRLMODE_LISTENONLY) != 0 ? event::Known::yes : event::Known::no;
}

bool CanFacts::loopback() const { return control_modes && (*control_modes & CAN_CTRLMODE_LOOPBACK) != 0; }

std::string CanFacts::modesText() const {
  if (virtualBus()) return "none";
  if (!control_modes) return "unknown";
  std::string out;
  for (const Mode& m : kModes)
    if ((*control_modes & m.bit) != 0) out += (out.empty() ? "" : ", ") + std::string(m.name);
  return out.empty() ? "none" : out;
}

std::string rateText(std::uint32_t bit_per_s) { return fmt::format("{:g} kbit/s", bit_per_s / 1000.0); }

std::string describe(const CanFacts& f) {
  if (f.virtualBus()) return f.name + ": virtual interface (" + f.kind + "), no wire and no bus behind it";
  std::string out = f.name + ": CAN controller, driver " + (f.driver.empty() ? "unknown" : f.driver);
  out += f.bitrate == 0 ? ", bit rate unknown" : ", " + rateText(f.bitrate);
  if (f.data_bitrate != 0) out += ", data phase " + rateText(f.data_bitrate);
  if (f.sample_point_permille != 0)
    out += fmt::format(", sample point {:g} %", f.sample_point_permille / 10.0);
  out += ", modes: " + f.modesText();
  if (f.loopback()) return out + "; its controller is off the bus and hears only itself";
  switch (f.listenOnly()) {
    case event::Known::yes:
      return out + "; sends nothing and acknowledges nothing";
    case event::Known::no:
      return out + "; acknowledges what it receives";
    default:
      return out + "; must be taken to acknowledge what it receives";
  }
}

std::string bringUpLine(const CanFacts& f) {
  if (f.virtualBus() || f.bitrate != 0) return "sudo ip link set " + f.name + " up";
  return "sudo ip link set " + f.name +
         " up type can bitrate RATE listen-only on   (RATE: the bus's own, e.g. 500000)";
}

std::optional<CanFacts> parseLinkMessage(ByteView message) {
  nlmsghdr header{};
  if (message.size() < sizeof header) return std::nullopt;
  std::memcpy(&header, message.data(), sizeof header);
  constexpr std::size_t kFixed = NLMSG_HDRLEN + NLMSG_ALIGN(sizeof(ifinfomsg));
  if (header.nlmsg_type != RTM_NEWLINK || header.nlmsg_len < kFixed || header.nlmsg_len > message.size())
    return std::nullopt;
  ifinfomsg info{};
  std::memcpy(&info, message.data() + NLMSG_HDRLEN, sizeof info);
  if (info.ifi_type != ARPHRD_CAN) return std::nullopt;

  CanFacts f;
  f.index = info.ifi_index;
  f.up = (info.ifi_flags & IFF_UP) != 0;
  walk(reinterpret_cast<const nlattr*>(message.data() + kFixed), message.data() + header.nlmsg_len,
       [&f](const nlattr* a) {
         switch (mnl_attr_get_type(a)) {
           case IFLA_IFNAME:
             f.name = text(a);
             break;
           case IFLA_MTU:
             if (const auto mtu = as<std::uint32_t>(a)) f.mtu = *mtu;
             break;
           case IFLA_STATS64:
             readStats(a, f.counters);
             break;
           case IFLA_LINKINFO:
             readLinkInfo(a, f);
             break;
           default:
             break;
         }
       });
  return f;
}

namespace {

Result<std::vector<CanFacts>> dumpOnce() {
  const Socket socket(mnl_socket_open2(NETLINK_ROUTE, SOCK_CLOEXEC));
  if (!socket || mnl_socket_bind(socket.get(), 0, MNL_SOCKET_AUTOPID) < 0)
    return kernelError("the kernel gives no interface facts");
  std::array<char, 512> request{};
  nlmsghdr* header = mnl_nlmsg_put_header(request.data());
  header->nlmsg_type = RTM_GETLINK;
  header->nlmsg_flags = NLM_F_REQUEST | NLM_F_DUMP;
  header->nlmsg_seq = 1;
  auto* info = static_cast<ifinfomsg*>(mnl_nlmsg_put_extra_header(header, sizeof(ifinfomsg)));
  info->ifi_family = AF_UNSPEC;
  if (mnl_socket_sendto(socket.get(), header, header->nlmsg_len) < 0)
    return kernelError("the kernel takes no question about interfaces");

  std::vector<CanFacts> all;
  const mnl_cb_t onMessage = [](const nlmsghdr* h, void* out) {
    auto f = parseLinkMessage({reinterpret_cast<const std::uint8_t*>(h), h->nlmsg_len});
    if (f) static_cast<std::vector<CanFacts>*>(out)->push_back(std::move(*f));
    return MNL_CB_OK;
  };
  std::vector<char> answer(32768);  // MNL_SOCKET_DUMP_SIZE
  for (int going = MNL_CB_OK; going > MNL_CB_STOP;) {
    const ssize_t n = mnl_socket_recvfrom(socket.get(), answer.data(), answer.size());
    if (n < 0) return kernelError("reading interface facts failed");
    going = mnl_cb_run(answer.data(), static_cast<std::size_t>(n), 1, mnl_socket_get_portid(socket.get()),
                       onMessage, &all);
    if (going < 0) return kernelError("reading interface facts failed");
  }
  for (CanFacts& f : all) f.driver = driverOf(f);
  return all;
}

}  // namespace

Result<std::vector<CanFacts>> readCanInterfaces() {
  constexpr int kTries = 3;  // EINTR: an interface changed during the answer, which is then not whole
  auto all = dumpOnce();
  for (int i = 1; i < kTries && !all && errno == EINTR; ++i) all = dumpOnce();
  return all;
}

Result<std::optional<CanFacts>> readCanInterface(const std::string& name) {
  auto all = readCanInterfaces();
  if (!all) return all.error();
  for (CanFacts& f : *all)
    if (f.name == name) return std::optional(std::move(f));
  return std::optional<CanFacts>();
}

int openLinkWatch() {
  const int fd = socket(AF_NETLINK, SOCK_RAW | SOCK_NONBLOCK | SOCK_CLOEXEC, NETLINK_ROUTE);
  if (fd < 0) return -1;
  sockaddr_nl address{};
  address.nl_family = AF_NETLINK;
  address.nl_groups = RTMGRP_LINK;
  if (bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0) return fd;
  close(fd);
  return -1;
}

void drainLinkWatch(int fd) {
  std::array<char, 8192> waste;
  for (;;) {
    const ssize_t n = recv(fd, waste.data(), waste.size(), 0);
    // ENOBUFS says that some were lost: the caller asks for the facts anew in any case.
    if (n == 0 || (n < 0 && errno != ENOBUFS && errno != EINTR)) return;
  }
}

}  // namespace pin16::link
