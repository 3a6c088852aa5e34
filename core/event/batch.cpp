// SPDX-License-Identifier: Apache-2.0
#include "core/event/batch.hpp"

namespace pin16::event {

void Batch::writeFrame(Bytes& out, const CanFrame& f) {
  const ByteView data = f.payload();
  const std::uint8_t head[kFrameHeaderSize] = {static_cast<std::uint8_t>(f.word >> 24),
                                               static_cast<std::uint8_t>(f.word >> 16),
                                               static_cast<std::uint8_t>(f.word >> 8),
                                               static_cast<std::uint8_t>(f.word),
                                               f.length,
                                               f.fd_flags,
                                               0,
                                               0};
  out.insert(out.end(), head, head + kFrameHeaderSize);
  out.insert(out.end(), data.begin(), data.end());
}

std::optional<CanFrame> Batch::readFrame(ByteView b) {
  if (b.size() < kFrameHeaderSize) return std::nullopt;
  CanFrame f;
  f.word = std::uint32_t{b[0]} << 24 | std::uint32_t{b[1]} << 16 | std::uint32_t{b[2]} << 8 | b[3];
  f.length = b[4];
  f.fd_flags = b[5];
  if (f.length > kFdDataMax) return std::nullopt;
  const std::size_t carried = f.remote() ? 0 : f.length;
  if (carried > b.size() - kFrameHeaderSize) return std::nullopt;
  if (carried != 0) std::memcpy(f.data.data(), b.data() + kFrameHeaderSize, carried);
  // Other writers leave the FD flag out; more than 8 data bytes can only be an FD frame.
  if (f.length > kClassicDataMax) f.fd_flags |= kFdFormat;
  return f;
}

void Batch::addRaw(std::uint64_t sequence, Ns t_ns, std::uint16_t link, Kind kind, ByteView bytes,
                   std::uint8_t flags) {
  Header h;
  h.sequence = sequence;
  h.t_ns = t_ns;
  h.offset = static_cast<std::uint32_t>(arena.size());
  h.length = static_cast<std::uint32_t>(bytes.size());
  h.link = link;
  h.kind = kind;
  h.flags = flags;
  arena.insert(arena.end(), bytes.begin(), bytes.end());
  headers.push_back(h);
}

void Batch::addFrame(std::uint64_t sequence, Ns t_ns, std::uint16_t link, const CanFrame& f,
                     std::uint8_t flags) {
  Header h;
  h.sequence = sequence;
  h.t_ns = t_ns;
  h.offset = static_cast<std::uint32_t>(arena.size());
  h.link = link;
  h.kind = Kind::frame;
  h.flags = flags;
  writeFrame(arena, f);
  h.length = static_cast<std::uint32_t>(arena.size()) - h.offset;
  headers.push_back(h);
}

}  // namespace pin16::event
