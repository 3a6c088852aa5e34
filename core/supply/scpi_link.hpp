// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The links "scpi:PORT" and "scpi-tcp:HOST:PORT": a supply or multimeter that answers SCPI queries, read
/// round by round, never set. What is written to it is scpi_text.hpp's list, how it is read
/// scpi_dialogue.hpp's.
///
/// Options of both, beside those of meter_options.hpp: `channel=1..99` (a channel list behind the query),
/// `ask=read|fetch` (READ? or FETC? in place of MEAS, for one quantity), `end=lf|crlf|cr` (of a query, lf),
/// `wait_ms=500` (for an answer); of scpi: `baud=115200`.

#include "core/link/link.hpp"

namespace pin16::supply {
[[nodiscard]] link::Scheme scpiScheme();
[[nodiscard]] link::Scheme scpiTcpScheme();
/// IANA's service name scpi-raw.
inline constexpr const char* kScpiPort = "5025";
}  // namespace pin16::supply
