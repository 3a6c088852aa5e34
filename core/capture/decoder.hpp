// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the two file formats have in common. Private to core/capture.

#include <bit>
#include <cstring>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "core/capture/index.hpp"
#include "core/capture/reader.hpp"
#include "core/capture/window.hpp"

namespace pin16::capture {

/// An unsigned integer of the file; `swapped` = the file's byte order is not little-endian.
template <class T>
[[nodiscard]] T load(ByteView bytes, std::size_t at, bool swapped) {
  T v = 0;
  std::memcpy(&v, bytes.data() + at, sizeof v);
  if (!swapped) return v;
  if constexpr (sizeof v == 2) return static_cast<T>(__builtin_bswap16(v));
  if constexpr (sizeof v == 4) return __builtin_bswap32(v);
  if constexpr (sizeof v == 8) return __builtin_bswap64(v);
}

/// Walks one file from its start to its end, one block or record a step. Ended by step() returning false.
class Decoder {
 public:
  static constexpr std::size_t kMostEventsOfAStep = 2;

  Decoder(Window& window, CaptureFacts& facts, std::uint64_t offset)
      : window_(window), facts_(facts), offset_(offset) {}
  virtual ~Decoder() = default;
  Decoder(const Decoder&) = delete;
  Decoder& operator=(const Decoder&) = delete;

  virtual bool step(event::Batch& batch) = 0;
  [[nodiscard]] std::uint64_t offset() const { return offset_; }
  /// Where the next step reads. A decoder of the same file that has taken all earlier steps that changed()
  /// and is told to go() there goes on exactly as this one.
  [[nodiscard]] Place place() const { return {offset_, last_sequence_}; }
  virtual void go(const Place& place) {
    offset_ = place.offset;
    last_sequence_ = place.sequence;
    changed_ = false;
  }
  /// Whether a step since the last call changed more than place().
  [[nodiscard]] bool takeChanged() { return std::exchange(changed_, false); }

 protected:
  void damage(event::Batch& batch, std::uint64_t offset, const std::string& reason);
  /// A SocketCAN frame as captured; damage if it is not one.
  void frame(event::Batch& batch, std::uint16_t link, Ns t_utc_ns, ByteView data, std::uint8_t flags,
             std::optional<std::uint64_t> sequence);
  void note(const std::string& sentence);
  /// The sequence number of the next event: the restored one, or the next of our own count.
  std::uint64_t number(std::optional<std::uint64_t> restored);
  /// How a read that came short is to be reported: the end of the file, or a device that fails.
  [[nodiscard]] std::string shortRead() const;

  Window& window_;
  CaptureFacts& facts_;
  std::uint64_t offset_;
  std::uint64_t last_sequence_ = 0;
  std::uint64_t sequence_base_ = 0;  ///< added to restored numbers
  bool changed_ = false;             ///< takeChanged()

 private:
  bool xl_noted_ = false;
};

[[nodiscard]] std::unique_ptr<Decoder> makePcapngDecoder(Window& window, CaptureFacts& facts);
/// `swapped` and `nanoseconds` as the magic number says.
[[nodiscard]] std::unique_ptr<Decoder> makePcapDecoder(Window& window, CaptureFacts& facts, bool swapped,
                                                       bool nanoseconds);

}  // namespace pin16::capture
