// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The link "at:PORT?protocol=NAME&baud=38400": a serial OBD-II adapter with an AT command set, on CAN
/// (can11-500, can29-500, can11-250, can29-250), J1850 (pwm-41600, vpw-10400) or a K-line (iso9141-2,
/// kwp-5baud, kwp-fast). Commands, protocol numbers and habits of such adapters: common practice, no source;
/// they differ much, so each ability is tried, none is believed from what the adapter says of itself.
///
/// options
///   protocol  the one that is set, by number of the legislated list (1 to 9). `search` (of CAN), with
///             Context::search_permit only: each is set in turn and 01 00 sent to all by a permit of the
///             gate, until one is answered. The adapter's own search is never used. Found once, it is kept
///             when the adapter is plugged in again; found not, the link stays failed.
///   baud      of the serial port, 38400 unless given
///   answer    identifier on which the asked module answers, hex; needed for one outside 7E8-7EF and 18DAF1xx
///             on a busy bus: without it everything is let through while such a module is asked
///   monitor   on: everything on the bus is shown between requests (monitor all); off unless given
///   named     job: the protocol was filled in from a job file, not named by the operator (rateNamed())
///
/// What leaves. Serial bytes are (1) atControls(), (2) header, filter and address settings made from a permit
/// or from `answer`, (3) a permit's frame or message as hex digits, (4) a blank that ends listening. Never an
/// empty line: it would repeat the last request. Nothing but (4) is written unless the adapter has shown its
/// prompt. A request line begins with a blank, which is ignored at a prompt and is what gets lost if the
/// adapter was not at one.
///
/// Sending. With the adapter's formatting off (raw) its frame is the permit's frame, byte for byte. An
/// adapter that cannot do that gets the request without length byte and padding, which it makes itself; the
/// state says so, and also if it may send a request of its own before the first one (initialisation not
/// bypassed).
///   Flow control: raw, and its own one turned off: a permit's flow control frame is sent as any other; to do
///   that, listening is ended, the header set, and frames within that time are not seen. Otherwise the
///   adapter sends it by itself, at once: the permit for it is then used up without a byte leaving and
///   without event::Sent, and a note says who sends it. If it did not, the consecutive frames stay away and
///   the exchange ends as it would.
///
/// Confirmation. The adapter reports no sending. Our frame is handed in as confirmed once a frame came that
/// answers it (service + 40 or 7F; a consecutive frame after flow control), because who answers has received
/// it without error and so acknowledged it; its time is when the line was written: response times include the
/// way through the serial port and the adapter. NO DATA proves nothing: somebody may have acknowledged and
/// kept silent. CAN ERROR, BUS ERROR and FB ERROR say that something is wrong on the bus; each becomes an
/// error frame without detail and a note.
///
/// Line media. A permit's message goes out as its data, its header set before; the adapter adds length and
/// check byte. On a K-line the first one of a session makes the adapter initialise the line, as the permit
/// allows: only a permit with LineStart is written while no session is open. The session is open from BUS
/// INIT: OK until P3 max of silence, a message 82, an error of the initialisation, or the port; keeping it is
/// the asker's, the adapter's own messages for that are off. Our message is handed in as `ours` once it was
/// answered, or the prompt came without a word that says otherwise; else link::Host::onUnsent. Its end, and
/// the begin of an answer, are reckoned by the bytes' own times. What comes in must be a whole message with a
/// right check byte.
///
/// Times are those of reading the line's first byte (origin "user"); time_error_ns is the longest round trip
/// of a command while starting. Lines queue in the adapter: a frame of 8 bytes takes 5.2 ms at 38400 bit/s.
/// On line media the longest legislated message's time comes on top: adapters show one when it begins or when
/// it is whole.
///
/// Silence: cannot. While asked to listen or monitor it may acknowledge; nobody can tell.
///
/// Supply: once a second, when the adapter is at its prompt and no request of ours was sent nor answered for
/// 1.1 s, the adapter's own reading becomes a sample V(pin16,pin4), uncertainty 2 % and half a digit
/// (uncalibrated, from memory), time = middle of question and answer, aperture_ns = the time between them,
/// time_error_ns half of it. Not while monitoring, nor while an exchange is open (exchangeOver()). A request
/// that follows such a reading says so (event::Sent::after_poll_ms): one that came while it ran has waited
/// for its end.
///
/// LV RESET, or a prompt that nobody asked for: the adapter has restarted and lost its settings; the link is
/// gone from then until the dialogue is through again.

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/link/link.hpp"

namespace pin16::link {

/// A protocol as the adapter numbers it.
struct AtProtocol {
  std::string_view name;     ///< of the URI
  std::string_view command;  ///< that sets it
  std::string_view number;   ///< as the adapter tells it
  std::uint32_t bitrate = 0;
  bool extended = false;
  event::Medium medium = event::Medium::can;
};
[[nodiscard]] std::span<const AtProtocol> atProtocols();
/// As a search tries them.
[[nodiscard]] std::vector<AtProtocol> atSearchOrder();

/// Every control string of this link that is fixed, without the CR that ends it.
[[nodiscard]] std::span<const std::string_view> atControls();
/// Settings for sending with this identifier and hearing `answer` (else the legislated answers, else all).
struct AtAddressing {
  std::string header;       ///< ATSH
  std::string priority;     ///< 29 bit, if the header is refused: ATCP, then
  std::string header_rest;  ///< ATSH with the lower three bytes
  std::string filter, mask;
};
/// ATSH for a message of a line medium.
[[nodiscard]] std::string atLineHeader(const event::Line& line);
[[nodiscard]] AtAddressing atAddressing(std::uint32_t word, std::optional<std::uint32_t> answer);

/// Takes protocol (then with named=job) and answer from the hints, where the URI does not say them.
[[nodiscard]] Scheme atScheme();

}  // namespace pin16::link
