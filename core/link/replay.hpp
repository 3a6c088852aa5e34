// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The link "replay:FILE?pace=real|fast&link=N": a capture, played again as if it were live.
///
/// Frames and what else was observed or declared (bytes, samples, losses, gaps, damage, power, readings,
/// notes) get times on CLOCK_BOOTTIME with the intervals of the file, the first one now; with pace=fast they
/// are handed over without waiting, so their times run ahead of the clock. Frames keep whose they were, and
/// the link says how silent the recorded one was, so that what was concluded from the capture is concluded
/// again. Not played: what tells of the run that recorded them (clock, clients, sent, refused: this run sends
/// and refuses nothing) and what it concluded.
///
/// One link of the file is played: number N, else that of the first frame; the state says if there are
/// others. The samples of its meters are played with it.

#include "core/link/link.hpp"

namespace pin16::link {
[[nodiscard]] Scheme replayScheme();
}  // namespace pin16::link
