// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the kernel says of its CAN interfaces, over rtnetlink (linux/if_link.h, linux/can/netlink.h). A
/// driver gives what it has: everything may be unknown. No state; any thread.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/base/hex.hpp"
#include "core/base/result.hpp"
#include "core/event/records.hpp"

namespace pin16::link {

/// Counters since the interface was made (rtnl_link_stats64, can_device_stats).
struct CanCounters {
  std::uint64_t received = 0;
  std::uint64_t sent = 0;
  std::uint64_t receive_errors = 0;
  std::uint64_t send_errors = 0;
  std::uint64_t receive_dropped = 0;
  std::uint64_t send_dropped = 0;
  std::uint64_t overruns = 0;
  std::uint32_t bus_errors = 0;
  std::uint32_t arbitration_lost = 0;
  std::uint32_t error_warnings = 0;  ///< changes to that state
  std::uint32_t error_passives = 0;  ///< changes to that state
  std::uint32_t bus_offs = 0;        ///< changes to that state
  std::uint32_t restarts = 0;
};

struct CanFacts {
  int index = 0;  ///< of the interface; a new one if it was removed and made again
  std::string name;
  std::string kind;    ///< rtnetlink kind: can, vcan, vxcan, slcan; empty unknown
  std::string driver;  ///< sysfs' driver, else the kind; empty unknown
  bool up = false;     ///< the administrative UP flag (the operational state lags behind by up to a second)
  std::uint32_t mtu = 0;           ///< 72: CAN FD frames can be carried
  std::uint32_t bitrate = 0;       ///< bit/s; 0 unknown
  std::uint32_t data_bitrate = 0;  ///< bit/s; 0 unknown or none
  std::uint16_t sample_point_permille = 0;
  std::uint32_t clock_Hz = 0;
  std::optional<std::uint32_t> restart_ms;     ///< 0: no restart by itself after bus-off
  std::optional<std::uint32_t> control_modes;  ///< CAN_CTRLMODE_* bits in force
  std::string controller = "unknown";          ///< as event::LinkState::controller
  std::int32_t tx_errors = -1;                 ///< transmit error counter; -1 unknown
  std::int32_t rx_errors = -1;                 ///< receive error counter; -1 unknown
  CanCounters counters;

  [[nodiscard]] bool virtualBus() const { return kind == "vcan" || kind == "vxcan"; }
  [[nodiscard]] event::Known fd() const;
  [[nodiscard]] event::Known listenOnly() const;
  [[nodiscard]] bool loopback() const;
  /// "listen-only, fd" as iproute2 names them; "none"; "unknown" if the driver does not say.
  [[nodiscard]] std::string modesText() const;
};

/// The interface in one sentence, with what it does to its bus.
[[nodiscard]] std::string describe(const CanFacts& facts);
/// The `ip link` line that brings it up. Pin16 itself never changes an interface.
[[nodiscard]] std::string bringUpLine(const CanFacts& facts);

/// One RTM_NEWLINK message; nothing if it is cut short, another message, or not a CAN interface. The driver
/// is left to readCanInterfaces: it is not in the message.
[[nodiscard]] std::optional<CanFacts> parseLinkMessage(ByteView message);

/// All CAN interfaces. ErrorKind::link if the kernel does not answer.
[[nodiscard]] Result<std::vector<CanFacts>> readCanInterfaces();
/// The interface of that name; nothing inside if there is none, or none that is CAN.
[[nodiscard]] Result<std::optional<CanFacts>> readCanInterface(const std::string& name);

/// A non-blocking socket that becomes readable when any interface changes; the caller closes it. -1 if the
/// kernel refuses (callers then only poll).
[[nodiscard]] int openLinkWatch();
/// Reads away all that waits in such a socket.
void drainLinkWatch(int fd);

}  // namespace pin16::link
