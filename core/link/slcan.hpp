// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The link "slcan:DEVICE?bitrate=RATE&listen=yes|no&baud=RATE": a serial CAN adapter that speaks the ASCII
/// protocol of the kernel's slcan driver (slcan_parser.hpp).
///
/// Opening: `V` tells that it is an adapter and that all before it is answered; another kind of device gets
/// nothing else. Then `C`, `N`, `S0`..`S8`, `Z1`, and `L` or `O`. Each is answered within 0.7 s or the port
/// is closed and tried again; V, N and Z1 may go unanswered. Listens unless `listen=no`. An adapter that
/// refuses `L` stays closed: open, it would acknowledge.
///
/// Times: `adapter` where stamps come (slcan_clock.hpp), else `user`. time_error_ns is measured, rounded up
/// to 1, 2 or 5 times a power of ten: the longest answer so far; with stamps 1 ms and the shortest. Frames of
/// our own carry the time at which the adapter's `z` was read: the adapter has them, which is not yet an
/// acknowledgement.
///
/// Bus errors and states of the controller become error frames as the kernel's driver makes them. Lost
/// frames (event::Loss, adapter): each overrun told, and each line that cannot be read, counts as one; it may
/// have been more. `F` is asked once a second; an adapter that answered it and falls silent is opened anew.

#include <cstdint>
#include <span>

#include "core/link/link.hpp"

namespace pin16::link {

/// What `S0` to `S8` stand for, bit/s: drivers/net/can/slcan of the kernel.
[[nodiscard]] std::span<const std::uint32_t> slcanRates();

[[nodiscard]] Scheme slcanScheme();

}  // namespace pin16::link
