// SPDX-License-Identifier: Apache-2.0
#pragma once
#include "core/cli/options.hpp"
#include "core/plugin/host.hpp"

namespace pin16::cli {

/// What the command line says about plugins.
[[nodiscard]] inline plugin::HostOptions pluginOptions(const Options& o) {
  return {o.plugins, o.no_plugins, o.threads, false};
}

}  // namespace pin16::cli
