// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The recorder process: owns links, gate, active exchanges and the capture file; clients attach over a Unix
/// socket. `pin16 record` (internal) runs it; session.hpp is its client side.

#include "core/recorder/wire.hpp"

namespace pin16::recorder {

/// A recorder that outlives its owner ends by itself after this long (own figure).
inline constexpr Ns kOrphan_ns = 600 * kNsPerSecond;
/// Bytes waiting for a slow client before batches are left out for it (and counted as an event).
inline constexpr std::size_t kClientQueueBytes = 64U << 20U;
/// Below this much free disk a finding is recorded (own figure: about 10 minutes of a saturated bus).
inline constexpr std::uint64_t kLowDisk_bytes = 200U << 20U;

/// Runs until told to finish, by a client, SIGTERM or SIGINT. Writes one reply message (wire.hpp) to
/// `ready_fd` once the socket listens or start-up failed, then closes it. Returns the exit code.
[[nodiscard]] int runRecorder(const Config& config, int ready_fd);

}  // namespace pin16::recorder
