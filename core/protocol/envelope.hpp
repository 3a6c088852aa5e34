// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What of a frame may be kept during an attempt of the other equipment: the envelope, not the letter.
///
/// Kept are identifier, direction, length, time, the addressing prefix, the PCI (ISO 15765-2: length,
/// sequence number, flow control whole), the service byte, the parameter that names what is meant
/// (sub-function, identifier, PID, block counter; kParameters) and the code of a negative answer. Everything
/// else is 00, in requests as in answers: keys travel in requests. Padding may hold remains of older
/// messages: it becomes 00, or, where it was not one byte throughout, 00 FF 00 ..., because the witness tells
/// other traffic by that. Of frames that are no ISO 15765-2 the first two bytes are kept. While an identifier
/// can be read with and without a prefix, only what both readings allow is kept.
///
/// Of each message that the witness sees, whole or broken off, an HMAC-SHA-256 over its payload stays, under
/// a key that is not in the capture: who has the file that the other equipment saved, and the key, can prove
/// that it is what went over the wires; without the key short contents cannot be guessed.
///
/// One owner, one thread (the recorder's io thread). Messages under way are held in memory; what is freed is
/// not overwritten: the process must not be dumped (recorder.cpp).

#include <cstdint>
#include <map>
#include <memory>
#include <tuple>
#include <vector>

#include "core/event/frame.hpp"
#include "core/event/records.hpp"
#include "core/limits/limits.hpp"
#include "core/protocol/witness.hpp"

namespace pin16::protocol {

/// The frame with everything blanked that is content, by the readings that are possible.
[[nodiscard]] event::CanFrame blanked(const event::CanFrame& frame, Witness::Readings readings);

/// How many bytes of a message are kept, from the service byte on.
[[nodiscard]] std::size_t keptBytes(ByteView message);

class Envelope {
 public:
  struct Made {
    std::uint16_t link = event::kNoLink;
    Ns t_ns = kNoTime;
    event::Digest digest;
  };
  Envelope(const limits::Limits& limits, Bytes key) : limits_(limits), key_(std::move(key)) {}

  /// The job's module; before the first frame.
  void hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended);
  /// Its content is not the bus's (a replayed file, blanked maybe): frames are blanked, nothing is digested.
  void noDigests(std::uint16_t link) { no_digests_[link] = true; }
  /// The frame as it may be kept. Error and remote frames have no content.
  [[nodiscard]] event::CanFrame take(std::uint16_t link, Ns t_ns, const event::CanFrame& frame,
                                     bool outbound);
  /// The same of a K-line or J1850 message: header, service and parameters stay.
  [[nodiscard]] event::Line take(std::uint16_t link, Ns t_ns, event::Line line);
  void gap(std::uint16_t link, Ns from_ns, Ns to_ns);
  void advance(Ns now_ns);
  /// The recording ends: messages under way are digested as far as they came.
  void finish(Ns end_ns);
  /// Those made since the last call.
  [[nodiscard]] std::vector<Made> takeDigests() { return std::exchange(made_, {}); }

 private:
  Witness& witness(std::uint16_t link);

  limits::Limits limits_;
  const Bytes key_;
  std::vector<std::tuple<std::uint32_t, std::uint32_t, bool>> hints_;
  std::map<std::uint16_t, std::unique_ptr<Witness>> witnesses_;
  std::map<std::uint16_t, bool> no_digests_;
  std::vector<Made> made_;
};

}  // namespace pin16::protocol
