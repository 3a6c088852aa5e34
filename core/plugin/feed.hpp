// SPDX-License-Identifier: Apache-2.0
#pragma once
/// From the one stream to what plugins see: events of plugin.h with their bodies, in chunks that own all
/// memory they point into, so that a chunk may be worked on in another thread or packed for another process.

#include <deque>
#include <functional>
#include <memory>
#include <utility>
#include <vector>

#include "core/event/frame.hpp"
#include "core/event/records.hpp"
#include "core/plugin/include/pin16/plugin.h"

namespace pin16::plugin {

/// Events of one chunk and the records that their bodies point into. Not copied, not moved: handed on by
/// pointer.
class Chunk {
 public:
  Chunk();
  Chunk(const Chunk&) = delete;
  Chunk& operator=(const Chunk&) = delete;

  [[nodiscard]] const std::vector<pin16_event>& events() const { return events_; }
  [[nodiscard]] bool full() const { return events_.size() >= kEvents; }
  /// Which kinds are in it: PIN16_KIND_BIT().
  [[nodiscard]] std::uint64_t kinds() const { return kinds_; }
  void clear();

  /// Where an event stands; `t_ns` UTC.
  struct Place {
    std::uint64_t sequence = 0;
    Ns t_ns = kNoTime;
    std::uint16_t link = event::kNoLink;
    std::uint8_t flags = 0;
  };
  void add(const Place& at, const event::CanFrame& frame, std::uint32_t wire_bits, Ns wire_ns);
  void add(const Place& at, event::Kind sample_or_reading, event::Measurement record);
  void add(const Place& at, event::LinkState record);
  void add(const Place& at, event::Loss record);
  void add(const Place& at, event::Gap record);  ///< its times UTC already
  void add(const Place& at, event::Sent record);
  void add(const Place& at, event::Power record);
  void add(const Place& at, event::Note record);
  /// Their times UTC; of a line medium they become the kinds of minor 1.
  void add(const Place& at, event::Message record);
  void add(const Place& at, event::Exchange record);
  void addSerial(const Place& at, Bytes bytes);

  /// Appends everything to `out`, for another process on this machine; unpack() fills a cleared chunk again
  /// and is false, with whatever was whole, if the bytes are none of pack().
  void pack(Bytes& out) const;
  [[nodiscard]] bool unpack(ByteView bytes);

  static constexpr std::size_t kEvents = 1024;

 private:
  template <class Record, class Body>
  using Store = std::deque<std::pair<Record, Body>>;
  template <class Body>
  void push(const Place& at, pin16_kind kind, const Body& body, const void* record);

  std::vector<pin16_event> events_;
  std::vector<const void*> records_;  // that the events' bodies were made of; null: a frame
  std::uint64_t kinds_ = 0;
  std::vector<pin16_frame> frames_;  // of fixed size: bodies point into it
  std::size_t frame_count_ = 0;
  Store<event::Measurement, pin16_measurement> measurements_;
  Store<event::LinkState, pin16_link_state> links_;
  Store<event::Loss, pin16_loss> losses_;
  Store<event::Gap, pin16_gap> gaps_;
  Store<event::Sent, pin16_sent> sent_;
  Store<event::Power, pin16_power> powers_;
  Store<event::Note, pin16_note> notes_;
  Store<event::Message, pin16_message> messages_;
  Store<event::Exchange, pin16_exchange> exchanges_;
  Store<event::Message, pin16_line_message> line_messages_;
  Store<event::Exchange, pin16_line_exchange> line_exchanges_;
  Store<Bytes, pin16_serial> serials_;
};

/// The body of an exchange; views `record`.
[[nodiscard]] pin16_exchange body(const event::Exchange& record);

}  // namespace pin16::plugin
