// SPDX-License-Identifier: Apache-2.0
#include "core/plugin/feed.hpp"

#include <algorithm>
#include <cstring>
#include <iterator>
#include <type_traits>

#include "core/base/pack.hpp"

namespace pin16::plugin {
namespace {

pin16_text text(const std::string& s) { return {s.data(), s.size()}; }
pin16_bytes bytes(const Bytes& b) { return {b.data(), b.size()}; }
std::uint8_t flag(bool b) { return b ? 1 : 0; }
using plugin::body;  // of an exchange, declared in the header

pin16_measurement body(const event::Measurement& m) {
  return {text(m.point),
          text(m.unit),
          text(m.condition),
          text(m.instrument),
          m.value,
          m.uncertainty,
          m.input_ohm,
          m.aperture_ns,
          -1,
          static_cast<std::uint32_t>(m.power),
          0};
}
pin16_link_state body(const event::LinkState& s) {
  const std::int32_t listen_only = s.listen_only == event::Known::unknown ? -1
                                   : s.listen_only == event::Known::yes   ? 1
                                                                          : 0;
  return {text(s.uri),
          text(s.text),
          text(s.controller),
          text(s.time_origin),
          s.time_error_ns,
          static_cast<std::uint32_t>(s.condition),
          s.bitrate,
          s.data_bitrate,
          static_cast<std::uint32_t>(s.silence),
          s.tx_errors,
          s.rx_errors,
          listen_only,
          0};
}
pin16_gap body(const event::Gap& g) { return {g.from_ns, g.to_ns, text(g.reason)}; }
pin16_sent body(const event::Sent& s) { return {bytes(s.frame), text(s.purpose)}; }
pin16_power body(const event::Power& p) {
  return {text(p.how), text(p.text), static_cast<std::uint32_t>(p.state), 0};
}
pin16_note body(const event::Note& n) { return {text(n.text), text(n.by)}; }
pin16_message body(const event::Message& m) {
  return {m.id, flag(m.extended), flag(m.complete), 0, m.first_ns, bytes(m.payload), text(m.reason)};
}
pin16_serial body(const Bytes& b) { return {bytes(b)}; }
pin16_loss body(const event::Loss& l) { return {l.count, static_cast<std::uint32_t>(l.place), 0}; }

pin16_line_message lineBody(const event::Message& m) {
  return {sizeof(pin16_line_message), static_cast<std::uint32_t>(m.medium), bytes(m.header), body(m)};
}
pin16_line_exchange lineBody(const event::Exchange& x) {
  return {sizeof(pin16_line_exchange), static_cast<std::uint32_t>(x.medium), bytes(x.request_header),
          bytes(x.answer_header), body(x)};
}

/// Keeps the record, then the body that points into the kept one.
template <class Store, class Record>
const auto& keep(Store& store, Record record) {
  using Body = typename Store::value_type::second_type;
  auto& kept = store.emplace_back(std::move(record), Body{});
  if constexpr (std::is_same_v<Body, pin16_line_message> || std::is_same_v<Body, pin16_line_exchange>)
    kept.second = lineBody(kept.first);
  else
    kept.second = body(kept.first);
  return kept;
}

/// What stands before each event of a packed chunk.
struct Packed {
  Chunk::Place at;
  std::uint8_t kind = 0;
  template <class A>
  void fields(A& a) {
    a(at.sequence), a(at.t_ns), a(at.link), a(at.flags), a(kind);
  }
};
/// A packed frame; the data are those of the body.
struct PackedFrame {
  std::uint32_t word = 0, wire_bits = 0;
  std::uint8_t length = 0, fd_flags = 0;
  Ns wire_ns = 0;
  Bytes data;
  template <class A>
  void fields(A& a) {
    a(word), a(wire_bits), a(length), a(fd_flags), a(wire_ns), a(data);
  }
};
PackedFrame packed(const pin16_frame& f) {
  PackedFrame p;
  p.word = f.id | ((f.flags & PIN16_EXTENDED) != 0 ? event::kExtendedFlag : 0) |
           ((f.flags & PIN16_REMOTE) != 0 ? event::kRemoteFlag : 0) |
           ((f.flags & PIN16_ERROR) != 0 ? event::kErrorFlag : 0);
  p.fd_flags = static_cast<std::uint8_t>(((f.flags & PIN16_FD) != 0 ? event::kFdFormat : 0) |
                                         ((f.flags & PIN16_BRS) != 0 ? event::kFdBrs : 0) |
                                         ((f.flags & PIN16_ESI) != 0 ? event::kFdEsi : 0));
  p.wire_bits = f.wire_bits;
  p.wire_ns = f.wire_ns;
  p.length = f.length;
  p.data.assign(std::begin(f.data), std::end(f.data));
  return p;
}

}  // namespace

pin16_exchange body(const event::Exchange& x) {
  return {x.request_id,
          x.answer_id,
          flag(x.extended),
          flag(x.functional),
          flag(x.ours),
          flag(x.late),
          x.pending,
          static_cast<std::uint8_t>(x.ended),
          0,
          x.response_ms,
          x.complete_ms,
          x.request_ns,
          bytes(x.request),
          bytes(x.answer)};
}

Chunk::Chunk() {
  events_.reserve(kEvents);
  frames_.resize(kEvents);
}

void Chunk::clear() {
  events_.clear();
  records_.clear();
  kinds_ = 0;
  frame_count_ = 0;
  measurements_.clear();
  links_.clear();
  losses_.clear();
  gaps_.clear();
  sent_.clear();
  powers_.clear();
  notes_.clear();
  messages_.clear();
  exchanges_.clear();
  line_messages_.clear();
  line_exchanges_.clear();
  serials_.clear();
}

template <class Body>
void Chunk::push(const Place& at, pin16_kind kind, const Body& b, const void* record) {
  events_.push_back({at.sequence, at.t_ns, &b, at.link, static_cast<std::uint8_t>(kind), at.flags,
                     static_cast<std::uint32_t>(sizeof(Body))});
  records_.push_back(record);
  kinds_ |= PIN16_KIND_BIT(kind);
}

void Chunk::add(const Place& at, const event::CanFrame& f, std::uint32_t wire_bits, Ns wire_ns) {
  if (frame_count_ == frames_.size()) return;  // the owner looks at full(); a body must never move
  pin16_frame& out = frames_[frame_count_++];
  out.id = f.id();
  out.wire_bits = wire_bits;
  out.wire_ns = wire_ns;
  out.flags = static_cast<std::uint8_t>(
      (f.extended() ? PIN16_EXTENDED : 0) | (f.remote() ? PIN16_REMOTE : 0) | (f.error() ? PIN16_ERROR : 0) |
      (f.fd() ? PIN16_FD : 0) | (f.brs() ? PIN16_BRS : 0) | (f.esi() ? PIN16_ESI : 0));
  out.length = f.length;
  std::memcpy(out.data, f.data.data(), sizeof out.data);
  push(at, PIN16_FRAME, out, nullptr);
}
void Chunk::add(const Place& at, event::Kind kind, event::Measurement r) {
  const auto& kept = keep(measurements_, std::move(r));
  push(at, kind == event::Kind::sample ? PIN16_SAMPLE : PIN16_READING, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::LinkState r) {
  const auto& kept = keep(links_, std::move(r));
  push(at, PIN16_LINK, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::Loss r) {
  const auto& kept = keep(losses_, r);
  push(at, PIN16_LOSS, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::Gap r) {
  const auto& kept = keep(gaps_, std::move(r));
  push(at, PIN16_GAP, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::Sent r) {
  const auto& kept = keep(sent_, std::move(r));
  push(at, PIN16_SENT, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::Power r) {
  const auto& kept = keep(powers_, std::move(r));
  push(at, PIN16_POWER, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::Note r) {
  const auto& kept = keep(notes_, std::move(r));
  push(at, PIN16_NOTE, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::Message r) {
  if (r.medium != event::Medium::can) {
    const auto& kept = keep(line_messages_, std::move(r));
    return push(at, PIN16_LINE_MESSAGE, kept.second, &kept.first);
  }
  const auto& kept = keep(messages_, std::move(r));
  push(at, PIN16_MESSAGE, kept.second, &kept.first);
}
void Chunk::add(const Place& at, event::Exchange r) {
  if (r.medium != event::Medium::can) {
    const auto& kept = keep(line_exchanges_, std::move(r));
    return push(at, PIN16_LINE_EXCHANGE, kept.second, &kept.first);
  }
  const auto& kept = keep(exchanges_, std::move(r));
  push(at, PIN16_EXCHANGE, kept.second, &kept.first);
}
void Chunk::addSerial(const Place& at, Bytes b) {
  const auto& kept = keep(serials_, std::move(b));
  push(at, PIN16_BYTES, kept.second, &kept.first);
}

void Chunk::pack(Bytes& out) const {
  Packer put(out);
  const auto record = [&](const auto* r) { put(pin16::pack(*r)); };
  for (std::size_t i = 0; i < events_.size(); ++i) {
    const pin16_event& e = events_[i];
    put(Packed{{e.sequence, e.t_ns, e.link, e.flags}, e.kind});
    switch (e.kind) {
      case PIN16_FRAME: {
        const PackedFrame f = packed(*static_cast<const pin16_frame*>(e.body));
        record(&f);
        break;
      }
      case PIN16_SAMPLE:
      case PIN16_READING:
        record(static_cast<const event::Measurement*>(records_[i]));
        break;
      case PIN16_BYTES:
        put(*static_cast<const Bytes*>(records_[i]));
        break;
      case PIN16_LINK:
        record(static_cast<const event::LinkState*>(records_[i]));
        break;
      case PIN16_LOSS:
        record(static_cast<const event::Loss*>(records_[i]));
        break;
      case PIN16_GAP:
        record(static_cast<const event::Gap*>(records_[i]));
        break;
      case PIN16_SENT:
        record(static_cast<const event::Sent*>(records_[i]));
        break;
      case PIN16_POWER:
        record(static_cast<const event::Power*>(records_[i]));
        break;
      case PIN16_NOTE:
        record(static_cast<const event::Note*>(records_[i]));
        break;
      case PIN16_MESSAGE:
      case PIN16_LINE_MESSAGE:
        record(static_cast<const event::Message*>(records_[i]));
        break;
      case PIN16_EXCHANGE:
      case PIN16_LINE_EXCHANGE:
        record(static_cast<const event::Exchange*>(records_[i]));
        break;
      default:
        break;
    }
  }
}

bool Chunk::unpack(ByteView bytes) {
  const auto record = [](ByteView packed, auto&& made) { return pin16::unpack(packed, made); };
  while (!bytes.empty()) {
    // The head has a fixed size: nothing in it has a length of its own.
    static const std::size_t kHead = pin16::pack(Packed{}).size();
    if (bytes.size() < kHead + 4 || full()) return false;
    Packed head;
    if (!pin16::unpack(bytes.first(kHead), head)) return false;
    bytes = bytes.subspan(kHead);
    std::uint32_t length = 0;
    std::memcpy(&length, bytes.data(), sizeof length);
    if (length > bytes.size() - sizeof length) return false;
    const ByteView packed_body = bytes.subspan(sizeof length, length);
    bytes = bytes.subspan(sizeof length + length);
    const auto as = [&](auto made) {
      if (!record(packed_body, made)) return false;
      add(head.at, std::move(made));
      return true;
    };
    bool good = true;
    switch (head.kind) {
      case PIN16_FRAME: {
        PackedFrame f;
        good = record(packed_body, f) && f.length <= event::kFdDataMax && f.data.size() == event::kFdDataMax;
        if (!good) break;
        event::CanFrame frame;
        frame.word = f.word;
        frame.length = f.length;
        frame.fd_flags = f.fd_flags;
        std::copy(f.data.begin(), f.data.end(), frame.data.begin());
        add(head.at, frame, f.wire_bits, f.wire_ns);
        break;
      }
      case PIN16_SAMPLE:
      case PIN16_READING: {
        event::Measurement m;
        good = record(packed_body, m);
        if (good)
          add(head.at, head.kind == PIN16_SAMPLE ? event::Kind::sample : event::Kind::reading, std::move(m));
        break;
      }
      case PIN16_BYTES:
        addSerial(head.at, Bytes(packed_body.begin(), packed_body.end()));
        break;
      case PIN16_LINK:
        good = as(event::LinkState{});
        break;
      case PIN16_LOSS:
        good = as(event::Loss{});
        break;
      case PIN16_GAP:
        good = as(event::Gap{});
        break;
      case PIN16_SENT:
        good = as(event::Sent{});
        break;
      case PIN16_POWER:
        good = as(event::Power{});
        break;
      case PIN16_NOTE:
        good = as(event::Note{});
        break;
      case PIN16_MESSAGE:
      case PIN16_LINE_MESSAGE:
        good = as(event::Message{});
        break;
      case PIN16_EXCHANGE:
      case PIN16_LINE_EXCHANGE:
        good = as(event::Exchange{});
        break;
      default:
        good = false;
    }
    if (!good) return false;
  }
  return true;
}

}  // namespace pin16::plugin
