// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Who has read a job's cautions: shown once a job, acknowledged with a name, kept in its record of the
/// scene.

#include <optional>
#include <string>

#include "core/job/job.hpp"

namespace pin16::readiness {

struct CautionsRead {
  std::string by, utc;
};
/// The newest reading of the cautions of this arrangement; nothing: nobody has, or the arrangement has
/// changed since. ErrorKind::input: the record cannot be read.
[[nodiscard]] Result<std::optional<CautionsRead>> cautionsRead(const job::Job& job);
/// ErrorKind::usage without a name, or for a job without a file; ErrorKind::record.
[[nodiscard]] Status keepCautionsRead(const job::Job& job, const std::string& by);
/// For the capture: "cautions of this job (removed) read by Kim, 2026-...".
[[nodiscard]] std::string cautionsNote(const job::Job& job, const CautionsRead& read);

}  // namespace pin16::readiness
