// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Does a capture still agree with the hashes written beside it while it was recorded?

#include <cstdint>
#include <optional>
#include <string>

#include "core/base/result.hpp"

namespace pin16::capture {

/// Bytes [offset, offset + length) of the file.
struct Range {
  std::uint64_t offset = 0;
  std::uint64_t length = 0;
};

struct VerifyReport {
  std::uint64_t size_bytes = 0;
  bool sum_present = false;  ///< FILE.sha256 is there and readable; it is missing after a crash
  bool sum_agrees = false;
  bool blocks_present = false;  ///< FILE.blocks is there
  /// The file agrees with FILE.sha256 (if that is missing: never).
  bool whole = false;
  /// Every byte before this one is vouched for by FILE.blocks, or by the sum if that agrees.
  std::uint64_t vouched_bytes = 0;
  /// First block of FILE.blocks that the file does not agree with, cut short where the file ends.
  std::optional<Range> first_difference;
  /// Trailing bytes that no line vouches for: recorded shortly before a crash, or added later.
  std::optional<Range> unvouched;
  std::string text;  ///< the finding, for people: one sentence or two
};

/// Reads PATH, PATH.sha256 and PATH.blocks. ErrorKind::input if PATH itself cannot be read; missing or broken
/// sidecars are findings, not errors. Any thread.
[[nodiscard]] Result<VerifyReport> verify(const std::string& path);

}  // namespace pin16::capture
