// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The link "kline:PORT?init=5baud|fast&medium=iso9141-2|iso14230-4": a plain K-line lead on a serial port,
/// 10400 bit/s, 8N1. One thread, and that of kline_wire.hpp.
///
/// options
///   init    5baud or fast: how the line is initialised, as part of the first permitted request. Without it
///           nobody has named the way, and the gate lets nothing out until a whole message was heard
///   medium  form of the messages; iso14230-4 unless given, iso9141-2 with init=5baud. The key bytes of an
///           initialisation at 5 baud decide
///   echo    on unless given: what is sent comes back on the one wire. off: the lead keeps it away
///   drive   break unless given: levels by TXD; rts or dtr: by that modem line
///
/// What leaves. Nothing at opening. A permit's message with its sum, bytes P4 apart, not earlier than P3 min
/// after the last byte on the line; before the first one, or the first one after the session was lost, the
/// initialisation that the permit carries. Everything the gate let out is told by event::Sent before it
/// leaves.
///
/// Session. Open after an initialisation, LinkState.session; it ends P3 max after the last byte, with a
/// message 82, with a collision, or with the port. A module whose key bytes are those of the other medium
/// changes LinkState.medium; the request that woke it is then not sent (link::Host::onUnsent): the asker asks
/// again, in the form of that medium.
///
/// Echo. Our bytes as they come back are told as outbound at the time they were read, so the way through the
/// port is in both ends of a response time and cancels. Another byte instead is a collision: sending stops.
/// No echo within 100 ms (own figure): no supply at the lead, or the line held low. What comes in while
/// levels of an initialisation are on the line is their echo and left out.
///
/// Each initialisation is told by an event::Note: every time with its limit, key bytes, and by how much our
/// own levels were late (kline_wire.hpp). Bytes that make no message are counted in notes, at most one a
/// second.
///
/// Times are those of reads (origin "user"); of bytes that came in one read, 10 bits apart before it.
/// Silence: claimed. A lead that only listens drives nothing, but nobody reports that of a plain port.

#include "core/link/link.hpp"

namespace pin16::link {

[[nodiscard]] Scheme kLineScheme();

}  // namespace pin16::link
