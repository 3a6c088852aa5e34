// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The link "socketcan:NAME?buffer=BYTES": a CAN interface of the kernel.
///
/// Receives classic and FD frames and every class of error frame in batches, with the kernel's time stamps or
/// the adapter's; counts what the kernel dropped (event::Loss). What was dropped before a frame is told with
/// that frame; what was dropped at the end, with no frame behind it, at the next look (1 s) or at close().
/// Keeps the interface's facts fresh over rtnetlink. An interface that is missing, down, forbidden or gone is
/// a LinkState with the line that mends it; the link tries again by itself, at once when the kernel reports a
/// change, else after 0.25 to 2 s, and on return emits the event::Gap from last to first seen. "Seen" is the
/// later of the last frame and the last look that found the interface up: a silent bus is not a gap.
///
/// Never changes an interface: rate, mode and up or down are the operator's.

#include "core/link/link.hpp"

namespace pin16::link {
[[nodiscard]] Scheme socketCanScheme();
}  // namespace pin16::link
