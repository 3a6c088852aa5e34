// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A job that is being made: what a form holds, as typed, written as a job file and judged by the loader of
/// job files. Pure but for createJob().

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "core/job/job.hpp"

namespace pin16::job {

/// Fields by key, "job.name", "module.request_id", "link.0.uri", with the text that stands in them; an empty
/// one is left out. Which field is a text, a number or a flag follows from its key. Identifiers and addresses
/// are hexadecimal with or without 0x, as in the commands.
using Draft = std::vector<std::pair<std::string, std::string>>;

/// The file that the draft makes. What is no number where one is wanted is written as a text, for the loader
/// to refuse by the field's name.
[[nodiscard]] std::string draftText(const Draft& draft);

/// What the loader says of it. `key`: the field, "link.0" of a table that lacks one, or empty.
struct DraftFault {
  std::string key;
  Error error;
};
/// The first fault, or nothing.
[[nodiscard]] std::optional<DraftFault> checkDraft(const Draft& draft);

/// Writes a draft without a fault into a new file and reads it back. Never overwrites one: ErrorKind::usage
/// if there is a file of this name, ErrorKind::record if it cannot be written, ErrorKind::input for a fault.
[[nodiscard]] Result<Job> createJob(const std::string& file, const Draft& draft);

/// Appends settings of plugins to a job file, a table each; what stands there stays, byte for byte, and a
/// table that is there already with other values is an error that says so. Empty ones are left out.
[[nodiscard]] Status keepPluginSettings(const std::string& file,
                                        const std::map<std::string, PluginSettings>& plugins);

}  // namespace pin16::job
