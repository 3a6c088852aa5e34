// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Events as lines on stdout: `listen --lines`, `review --lines`, `review --find`.

#include <string_view>

#include "core/event/batch.hpp"

namespace pin16::cli {

/// "2026-11-25T17:39:43.123456Z  0  7E8 [8] 03 7f ...": UTC, link, what.
void printEvents(const event::Batch& batch);
void printEvent(Ns t_utc_ns, std::uint16_t link, bool outbound, std::string_view text);

}  // namespace pin16::cli
