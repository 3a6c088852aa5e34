// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Events as lines on stdout: `listen --lines`, `review --lines`.

#include "core/event/batch.hpp"

namespace pin16::cli {

/// "2026-11-25T17:39:43.123456Z  0  7E8 [8] 03 7f ...": UTC, link, what.
void printEvents(const event::Batch& batch);

}  // namespace pin16::cli
