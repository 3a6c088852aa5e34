// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The simulated bench behind devices that other programs open: one bench in motion, tied to the clock, and
/// for each device a pty that behaves as the device would; the instrument also on a loopback TCP port.

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/result.hpp"
#include "core/bench/scenario.hpp"

namespace pin16::bench {

struct ServeOptions {
  /// NAME or NAME?key=value&key=value, each name once, of servable(); at most one of them a bus adapter: the
  /// bench has one interface.
  std::vector<std::string> devices;
  std::string directory;  ///< made if missing; gets a link named as the device for each
  double for_s = 0;       ///< 0: until SIGTERM, SIGINT or SIGHUP
  /// A FIFO, or "-" for standard input: what a person at the bench does, a line each: `power on`, `power
  /// off`, `read-out` (the other equipment begins). Then the feed comes when told, not by power_on_s. Empty:
  /// nobody.
  std::string operator_file{};
};

struct Served {
  std::string device;
  std::string path;       ///< the link
  std::string pty;        ///< what it points to
  bool supplied = false;  ///< the interface's supply, now that the source is connected; the instrument's: yes
  std::uint16_t port = 0;  ///< on 127.0.0.1, where it can be had there too; 0 none
  Ns start_boot_ns = 0;    ///< the instant that the scenario's times count from
};

/// What was really done, from the bench's own side.
struct Truth {
  int switched_on = 0;                    ///< of the feed
  int starts = 0;                         ///< of the job's module
  std::uint64_t our_frames = 0;           ///< that the interface began to send, repeats included
  std::string read_out;                   ///< how the other equipment's last one stands; empty: there is none
  std::uint64_t asked = 0, answered = 0;  ///< its requests
};

/// Devices that serve() can be.
[[nodiscard]] std::vector<std::string> servable();

/// Runs until told to end; `ready` is called for each device once the source is connected, the module not yet
/// fed, and its link can be opened. Removes the links at the end. ErrorKind::usage: a device that cannot be
/// served, or an option that it does not have; input: the scenario, the directory or what the operator says;
/// link: no pty, no port. One call a process at a time (signals).
Result<Truth> serve(const Scenario& scenario, const ServeOptions& options,
                    const std::function<void(const Served&)>& ready);

}  // namespace pin16::bench
