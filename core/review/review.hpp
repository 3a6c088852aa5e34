// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A capture from start to end in one thread: the reference for every faster path. And a Summary as JSON and
/// as text for a terminal.

#include <string>

#include "core/base/result.hpp"
#include "core/job/job.hpp"
#include "core/plugin/host.hpp"
#include "core/review/summary.hpp"

namespace pin16::review {

/// `hints`, if given: the module's identifiers, the bus's bit rate where the capture does not state it,
/// limits in force, plugins' settings. ErrorKind::input if the file cannot be read or is no capture, or a
/// plugin's setting does not fit; damage within is no error.
[[nodiscard]] Result<Summary> reviewFile(const std::string& path, const job::Job* hints = nullptr,
                                         const plugin::HostOptions& plugins = {});

/// Schema "pin16-review" version 1, one line without a line feed.
[[nodiscard]] std::string toJson(const Summary& summary);

/// At most 100 columns; long lists are cut and say so.
[[nodiscard]] std::string toText(const Summary& summary);

}  // namespace pin16::review
