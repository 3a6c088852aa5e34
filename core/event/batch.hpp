// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Batches: how events travel. An array of fixed 32-byte headers and an arena of payload bytes.
/// Ownership: a Batch owns its arena, or (review) its payload offsets point into `external`, a mapping that
/// must outlive the call. Nothing keeps a batch past the call that handed it over. No threads inside.

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/pack.hpp"
#include "core/event/frame.hpp"
#include "core/event/records.hpp"

namespace pin16::event {

/// Largest number of events in a live batch, and the longest a live event waits in one
/// (docs/architecture.md).
inline constexpr std::size_t kBatchEvents = 1024;
inline constexpr Ns kBatchAge_ns = 5 * kNsPerMs;

inline constexpr std::uint8_t kOutbound = 0x01;  ///< Header::flags: sent by our own link

struct Header {
  std::uint64_t sequence = 0;   ///< the order; never repeats within a run
  Ns t_ns = kNoTime;            ///< live: CLOCK_BOOTTIME; review: UTC of the file
  std::uint32_t offset = 0;     ///< of the payload
  std::uint32_t length = 0;     ///< of the payload
  std::uint32_t wire_bits = 0;  ///< frames: bits on the wire as can::packWireBits, 0 = not computed
  std::uint16_t link = kNoLink;
  Kind kind = Kind::note;
  std::uint8_t flags = 0;
};
static_assert(sizeof(Header) == 32);

class Batch {
 public:
  std::vector<Header> headers;
  Bytes arena;
  ByteView external;     ///< if not empty, payloads lie here instead of in the arena
  Ns utc_offset_ns = 0;  ///< UTC = t_ns + this; 0 in review, where times are UTC

  [[nodiscard]] ByteView payload(const Header& h) const {
    const ByteView all = external.empty() ? ByteView(arena) : external;
    return all.subspan(h.offset, h.length);
  }
  /// The frame of an event of Kind::frame; nothing if its payload is not one (too short, length field
  /// beyond the payload or above 64).
  [[nodiscard]] std::optional<CanFrame> frame(const Header& h) const { return readFrame(payload(h)); }
  /// The packed record of an event; nothing if the payload is not one.
  template <class T>
  [[nodiscard]] std::optional<T> record(const Header& h) const {
    T r;
    if (!unpack(payload(h), r)) return std::nullopt;
    return r;
  }
  void clear() {
    headers.clear();
    arena.clear();
    external = {};
  }

  void addFrame(std::uint64_t sequence, Ns t_ns, std::uint16_t link, const CanFrame& f, std::uint8_t flags);
  void addRaw(std::uint64_t sequence, Ns t_ns, std::uint16_t link, Kind kind, ByteView payload,
              std::uint8_t flags = 0);
  template <class T>
  void add(std::uint64_t sequence, Ns t_ns, std::uint16_t link, Kind kind, const T& record) {
    addRaw(sequence, t_ns, link, kind, pack(record));
  }

  /// SocketCAN header and data as in a capture of LINKTYPE_CAN_SOCKETCAN (frame.hpp).
  static void writeFrame(Bytes& out, const CanFrame& f);
  [[nodiscard]] static std::optional<CanFrame> readFrame(ByteView bytes);
};

/// Whatever takes batches: recorder, census, readiness, windows. Called on the producer's thread.
class Sink {
 public:
  virtual ~Sink() = default;
  virtual void take(const Batch& batch) = 0;
};

}  // namespace pin16::event
