// SPDX-License-Identifier: Apache-2.0
#include "core/recorder/wire.hpp"

#include <algorithm>
#include <cstring>

namespace pin16::recorder {

namespace {
struct BatchHead {
  Ns utc_offset_ns = 0;
  std::uint32_t count = 0;
};

void putHead(Bytes& out, MessageType type, std::size_t payload_size) {
  const auto length = static_cast<std::uint32_t>(payload_size + 1);
  out.resize(kMessageHeader);
  std::memcpy(out.data(), &length, sizeof length);
  out[4] = static_cast<std::uint8_t>(type);
}
}  // namespace

Bytes encode(MessageType type, ByteView payload) {
  Bytes out;
  out.reserve(kMessageHeader + payload.size());
  putHead(out, type, payload.size());
  out.insert(out.end(), payload.begin(), payload.end());
  return out;
}

Bytes encodeBatch(const event::Batch& batch) {
  const BatchHead head{batch.utc_offset_ns, static_cast<std::uint32_t>(batch.headers.size())};
  const std::size_t headers_size = batch.headers.size() * sizeof(event::Header);
  Bytes out;
  out.reserve(kMessageHeader + sizeof head + headers_size + batch.arena.size());
  putHead(out, MessageType::batch, sizeof head + headers_size + batch.arena.size());
  const auto put = [&out](const void* p, std::size_t n) {
    const auto* b = static_cast<const std::uint8_t*>(p);
    out.insert(out.end(), b, b + n);
  };
  put(&head, sizeof head);
  put(batch.headers.data(), headers_size);
  put(batch.arena.data(), batch.arena.size());
  return out;
}

bool decodeBatch(ByteView payload, event::Batch& batch) {
  BatchHead head;
  if (payload.size() < sizeof head) return false;
  std::memcpy(&head, payload.data(), sizeof head);
  payload = payload.subspan(sizeof head);
  if (head.count > payload.size() / sizeof(event::Header)) return false;
  batch.clear();
  batch.utc_offset_ns = head.utc_offset_ns;
  batch.headers.resize(head.count);
  if (head.count != 0)
    std::memcpy(static_cast<void*>(batch.headers.data()), payload.data(), head.count * sizeof(event::Header));
  payload = payload.subspan(head.count * sizeof(event::Header));
  batch.arena.assign(payload.begin(), payload.end());
  return std::all_of(batch.headers.begin(), batch.headers.end(), [&](const event::Header& h) {
    return h.offset <= batch.arena.size() && h.length <= batch.arena.size() - h.offset;
  });
}

std::uint8_t* Splitter::room(std::size_t n) {
  if (begin_ > 0) {
    std::memmove(buffer_.data(), buffer_.data() + begin_, end_ - begin_);
    end_ -= begin_;
    begin_ = 0;
  }
  if (buffer_.size() < end_ + n) buffer_.resize(end_ + n);
  return buffer_.data() + end_;
}

std::optional<Splitter::Piece> Splitter::next() {
  if (broken_ || end_ - begin_ < kMessageHeader) return std::nullopt;
  std::uint32_t length = 0;
  std::memcpy(&length, buffer_.data() + begin_, sizeof length);
  if (length == 0 || length > kMessageMax) {
    broken_ = true;
    return std::nullopt;
  }
  if (end_ - begin_ < sizeof length + length) return std::nullopt;
  const Piece piece{static_cast<MessageType>(buffer_[begin_ + 4]),
                    ByteView(buffer_.data() + begin_ + kMessageHeader, length - 1)};
  begin_ += sizeof length + length;
  return piece;
}

}  // namespace pin16::recorder
