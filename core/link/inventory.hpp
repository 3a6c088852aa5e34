// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What `pin16 links` shows, and the own-adapter check of `pin16 links --check`. One call a thread.

#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include "core/base/result.hpp"
#include "core/event/records.hpp"
#include "core/link/link.hpp"
#include "core/link/netlink.hpp"

namespace pin16::link {

struct CanEntry {
  CanFacts facts;
  std::string uri;     ///< socketcan:can0
  std::string text;    ///< in one sentence
  std::string advice;  ///< the line that brings it up; empty if it is
};

/// A serial port as sysfs tells it; ports are never opened to see what they are.
struct SerialEntry {
  std::string device;                ///< /dev/ttyACM0
  std::string driver;                ///< empty unknown
  std::string vendor;                ///< USB id, four hex digits; empty if not USB
  std::string product;               ///< USB id, four hex digits
  std::string serial;                ///< USB serial number; empty none
  std::string text;                  ///< the device's own words; empty none
  std::vector<std::string> held_by;  ///< "name (pid)": who has it open, as far as we may see
  bool may_open = true;              ///< permission; says nothing of `held_by`
  std::string advice;                ///< the command that gives the permission; empty if it is there
};

struct Inventory {
  std::vector<CanEntry> can;
  std::string can_text;  ///< why `can` is empty; empty if it is not
  std::vector<SerialEntry> serial;
};
[[nodiscard]] Inventory takeInventory();
/// Fills held_by, may_open and advice; opens nothing.
void lookAtAccess(SerialEntry& port);
/// The serial ports below `class_tty`, a directory as /sys/class/tty; nothing of their access.
[[nodiscard]] std::vector<SerialEntry> findSerialPorts(const std::string& class_tty = "/sys/class/tty");

/// What was found by opening an adapter and listening; nothing is ever sent for it.
struct CheckedLink {
  event::LinkState state;  ///< while it was open
  std::uint64_t frames = 0;
  std::uint64_t error_frames = 0;
  std::uint64_t lost = 0;
};
struct CheckReport {
  std::vector<CheckedLink> links;       ///< the link asked for, then the second one if named
  std::uint64_t common = 0;             ///< frames that both heard; 0 with one link
  bool opened = false;                  ///< every link came up
  std::vector<std::string> proven;      ///< what this shows, one sentence each
  std::vector<std::string> not_proven;  ///< what it does not
  std::vector<std::string> next;        ///< what the operator can do about that: sentences and command lines
};
/// Opens the link (and a second one), listens for `listen`. Errors are makeLink()'s; a link that does not
/// come up is a report with `opened` false.
[[nodiscard]] Result<CheckReport> checkAdapter(const Uri& uri, const std::optional<Uri>& with,
                                               std::chrono::milliseconds listen = std::chrono::seconds(2));

}  // namespace pin16::link
