// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Files that are never overwritten: those beside a job, only ever appended to, a line at a time, fields
/// parted by tabs, and new ones.

#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"

namespace pin16::job {

/// A field of a line: what would break the line becomes a blank.
[[nodiscard]] std::string field(std::string text);
/// Whether the file's last line lacks its end: a crash cut it off.
[[nodiscard]] bool cutOff(const std::string& file, std::string& last_line);
/// Appends `text`, which is on disk when this returns, with the name of a new file. `what` names the file to
/// people. ErrorKind::record.
[[nodiscard]] Status appendTo(const std::string& file, std::string_view text, const std::string& what,
                              const std::string& advice);
/// A new file with this text, on disk when this returns. ErrorKind::usage if there is one of that name: it
/// stays as it is. ErrorKind::record.
[[nodiscard]] Status createNew(const std::string& file, std::string_view text, const std::string& what);

}  // namespace pin16::job
