// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The link "replay:FILE?pace=real|fast&link=N": a capture, played again as if it were live.
///
/// Frames and what else was observed or declared (bytes, samples, losses, gaps, damage, readings, notes) get
/// times on CLOCK_BOOTTIME with the intervals of the file, the first one now; with pace=fast they are handed
/// over without waiting, so their times run ahead of the clock. Not played: what tells of the run that
/// recorded them (clock, sent, refused, power, clients) and what it concluded. Frames that the recording run
/// itself had sent are frames as any other: this run sends nothing.
///
/// One link of the file is played: number N, else that of the first frame; the state says if there are
/// others.

#include "core/link/link.hpp"

namespace pin16::link {
[[nodiscard]] Scheme replayScheme();
}  // namespace pin16::link
