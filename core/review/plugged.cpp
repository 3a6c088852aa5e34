// SPDX-License-Identifier: Apache-2.0
#include "core/review/plugged.hpp"

namespace pin16::review {
namespace {

using event::Kind;
using Place = plugin::Chunk::Place;

Place place(const event::Header& h, Ns t_ns) { return {h.sequence, t_ns, h.link, h.flags}; }

template <class T>
void put(plugin::Chunk& chunk, const event::Batch& batch, const event::Header& h, Ns t_ns) {
  if (auto record = batch.record<T>(h)) chunk.add(place(h, t_ns), std::move(*record));
}

}  // namespace

plugin::Chunk& Plugged::room() {
  if (chunk_->full()) flush();
  return *chunk_;
}

void Plugged::flush() {
  if (chunk_->events().empty()) return;
  host_.take(std::move(chunk_));
  chunk_ = host_.emptyChunk();
}

void Plugged::frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t wire_bits,
                    Ns wire_ns) {
  room().add(place(h, t_ns), frame, wire_bits, wire_ns);
}

void Plugged::record(const event::Batch& batch, const event::Header& h, Ns t_ns) {
  plugin::Chunk& to = room();
  switch (h.kind) {
    case Kind::sample:
    case Kind::reading:
      if (auto m = batch.record<event::Measurement>(h)) to.add(place(h, t_ns), h.kind, std::move(*m));
      return;
    case Kind::link: {
      // To a plugin a link is a bus: of a meter it gets the samples only.
      const auto state = batch.record<event::LinkState>(h);
      if (state && state->meter) meters_.insert(h.link);
      if (state && !state->meter) put<event::LinkState>(to, batch, h, t_ns);
      return;
    }
    case Kind::loss:
      return put<event::Loss>(to, batch, h, t_ns);
    case Kind::sent:
      return put<event::Sent>(to, batch, h, t_ns);
    case Kind::power:
      return put<event::Power>(to, batch, h, t_ns);
    case Kind::note:
      return put<event::Note>(to, batch, h, t_ns);
    case Kind::gap:
      if (meters_.contains(h.link)) return;
      if (auto gap = batch.record<event::Gap>(h)) {
        for (Ns* t : {&gap->from_ns, &gap->to_ns})
          if (*t != kNoTime) *t += batch.utc_offset_ns;
        to.add(place(h, t_ns), std::move(*gap));
      }
      return;
    case Kind::bytes: {
      if (meters_.contains(h.link)) return;
      const ByteView bytes = batch.payload(h);
      return to.addSerial(place(h, t_ns), Bytes(bytes.begin(), bytes.end()));
    }
    default:
      return;
  }
}

void Plugged::message(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Message& message) {
  room().add({sequence, t_ns, link, 0}, message);
}
void Plugged::exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Exchange& exchange) {
  room().add({sequence, t_ns, link, 0}, exchange);
}

}  // namespace pin16::review
