// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The simulated bench behind devices that other programs open: one bench in motion, tied to the clock, and
/// for each device a pty that behaves as the device would.

#include <functional>
#include <string>
#include <vector>

#include "core/base/result.hpp"
#include "core/bench/scenario.hpp"

namespace pin16::bench {

struct ServeOptions {
  std::vector<std::string> devices;  ///< each once, of servable()
  std::string directory;             ///< made if missing; gets a link named as the device for each
  double for_s = 0;                  ///< 0: until SIGTERM, SIGINT or SIGHUP
};

struct Served {
  std::string device;
  std::string path;       ///< the link
  std::string pty;        ///< what it points to
  bool supplied = false;  ///< the interface's supply, now that the source is connected
};

/// Devices that serve() can be.
[[nodiscard]] std::vector<std::string> servable();

/// Runs until told to end; `ready` is called for each device once the source is connected, the module not yet
/// fed, and its link can be opened. Removes the links at the end. ErrorKind::usage: a device that cannot be
/// served; input: the scenario or the directory; link: no pty. One call a process at a time (signals).
Status serve(const Scenario& scenario, const ServeOptions& options,
             const std::function<void(const Served&)>& ready);

}  // namespace pin16::bench
