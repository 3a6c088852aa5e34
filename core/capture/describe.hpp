// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One plain line for every event: the comment that a general reader of a capture shows, and what the
/// command prints.

#include <string>

#include "core/event/batch.hpp"

namespace pin16::capture {

/// One line without time, link and line feed; control characters become blanks, long data is cut and its
/// length said. A payload that is not what its kind says gives a line that says so. Any thread.
[[nodiscard]] std::string describe(const event::Header& header, const event::Batch& batch);

/// "up, 500000 bit/s, listen-only (proven), ...": a link's state without its name.
[[nodiscard]] std::string describeState(const event::LinkState& state);

}  // namespace pin16::capture
