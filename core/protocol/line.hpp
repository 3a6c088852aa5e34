// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Requests and answers on line media (K-line, J1850): how a request is addressed, who answered, and how an
/// answer of several messages is joined. Pure functions, any thread. Header forms: link/line_format.hpp.

#include <optional>
#include <string>
#include <vector>

#include "core/event/records.hpp"
#include "core/link/line_format.hpp"
#include "core/protocol/target.hpp"

namespace pin16::protocol {

/// The legislated functional address: 33 on ISO 14230-4, 6A elsewhere.
[[nodiscard]] std::uint8_t functionalAddress(event::Medium medium);
/// As `target` reads on this medium: a functional CAN target becomes the functional address; others stay.
[[nodiscard]] Target onMedium(const Target& target, event::Medium medium);
/// The message of a request. The target is one of this medium (Gate sees to it), the length fits.
[[nodiscard]] event::Line lineRequest(event::Medium medium, const Target& target, ByteView pdu);
/// Whether a message may carry an answer to a request to `target`, by address alone.
[[nodiscard]] bool mayAnswer(const Target& target, const event::Line& line);

/// Answers of one module to one request, joined.
struct Joined {
  Bytes answer;       ///< as SAE J1979 defines it for CAN: 43 count codes; 49 02 01 text
  bool whole = true;  ///< no more messages can follow, as far as the answer itself tells
  std::string fault;  ///< not empty: a message is missing or strange
};
/// `parts`: data of the messages, service byte first, in the order seen; at least one. Of one message only
/// the answer is that message. Service 03, 07, 0A: three codes a message, filled up with 0000. Service 09,
/// even infotype: number of the message, then 4 bytes, text filled up with 00 in front (SAE J1979, from
/// memory); a module that gives all in one longer message (ISO 14230-2) is taken too. Others: what follows
/// the echoed bytes is appended.
[[nodiscard]] Joined joinAnswer(const std::vector<Bytes>& parts);

}  // namespace pin16::protocol
