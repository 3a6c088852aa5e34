// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/isotp.hpp"

#include <algorithm>
#include <initializer_list>
#include <limits>
#include <utility>

namespace pin16::protocol {
namespace {

constexpr std::size_t kClassicSize = 8;
constexpr std::size_t kFdSize = 64;
constexpr std::size_t kFirstShort = 2;   // PCI bytes of a first frame with a 12-bit length
constexpr std::size_t kFirstEscape = 6;  // with the 32-bit length
constexpr std::size_t kShortLengthMax = 4095;
constexpr std::size_t kFlowControlSize = 3;
constexpr std::uint32_t kNoBlock = std::numeric_limits<std::uint32_t>::max();

// `d` begins with the PCI, `size` is that of the whole frame: the prefix takes from what it can hold.
Pci parseSingle(ByteView d, bool fd, std::size_t size) {
  const std::size_t n = d[0] & 0x0FU;
  const std::size_t short_max = kSingleFrameMax - (size - d.size());
  // Above 8 bytes the low nibble must be 0 and the length is in the next byte; up to 8 it is the nibble.
  const bool escape = fd && size > kClassicSize;
  if (escape) {
    if (n != 0 || d[1] <= short_max || d[1] + std::size_t{2} > d.size()) return {};
    return {.type = PciType::single, .length = d[1], .payload = d.subspan(2, d[1])};
  }
  if (n == 0 || n + 1 > d.size() || n > short_max) return {};
  return {.type = PciType::single, .length = static_cast<std::uint32_t>(n), .payload = d.subspan(1, n)};
}

Pci parseFirst(ByteView d, std::size_t size) {
  if (size < kClassicSize) return {};  // a first frame fills its frame
  std::uint32_t n = (d[0] & 0x0FU) << 8U | d[1];
  std::size_t pci_size = kFirstShort;
  if (n == 0) {
    pci_size = kFirstEscape;
    n = std::uint32_t{d[2]} << 24U | std::uint32_t{d[3]} << 16U | std::uint32_t{d[4]} << 8U | d[5];
    if (n <= kShortLengthMax) return {};
  }
  // What a single frame of this size holds needs no first frame.
  const std::size_t single_max = d.size() - (size == kClassicSize ? 1 : 2);
  if (n <= single_max) return {};
  return {.type = PciType::first, .length = n, .payload = d.subspan(pci_size)};
}

/// The next data length that a frame can have.
std::size_t frameSize(std::size_t n) {
  for (const std::size_t size : {8U, 12U, 16U, 20U, 24U, 32U, 48U})
    if (n <= size) return size;
  return kFdSize;
}

Bytes padded(Bytes data) {
  data.resize(frameSize(data.size()), kPadByte);
  return data;
}

Bytes withPayload(Bytes head, ByteView payload) {
  head.insert(head.end(), payload.begin(), payload.end());
  return padded(std::move(head));
}

Bytes withPrefix(std::optional<std::uint8_t> prefix, std::initializer_list<std::uint8_t> pci) {
  Bytes out;
  out.reserve(kFdSize);
  if (prefix) out.push_back(*prefix);
  for (const std::uint8_t b : pci) out.push_back(b);  // insert() makes g++ 12 see an overread that is none
  return out;
}

Bytes firstHead(std::size_t n, std::optional<std::uint8_t> prefix) {
  const auto byte = [n](unsigned shift) { return static_cast<std::uint8_t>(n >> shift); };
  if (n <= kShortLengthMax) return withPrefix(prefix, {static_cast<std::uint8_t>(0x10U | n >> 8U), byte(0)});
  return withPrefix(prefix, {0x10, 0x00, byte(24), byte(16), byte(8), byte(0)});
}

// ISO 15765-2: N_TAtype in bits 16 to 23, N_TA in 8 to 15, N_SA in 0 to 7; priority 6 above (DA and DB as in
// Wireshark's packet-obd-ii.c; CE and CD from memory).
constexpr std::uint32_t kNormalPhysical = 0x18DA0000;
constexpr std::uint32_t kNormalFunctional = 0x18DB0000;
constexpr std::uint32_t kMixedPhysical = 0x18CE0000;
constexpr std::uint32_t kMixedFunctional = 0x18CD0000;

}  // namespace

std::uint32_t fixedId(const FixedId& id) {
  const std::uint32_t normal = id.functional ? kNormalFunctional : kNormalPhysical;
  const std::uint32_t mixed = id.functional ? kMixedFunctional : kMixedPhysical;
  return (id.mixed ? mixed : normal) | std::uint32_t{id.target} << 8U | id.source;
}

std::optional<FixedId> parseFixedId(std::uint32_t id29) {
  FixedId out;
  out.target = static_cast<std::uint8_t>(id29 >> 8U);
  out.source = static_cast<std::uint8_t>(id29);
  const std::uint32_t type = id29 & 0xFFFF0000U;
  out.mixed = type == kMixedPhysical || type == kMixedFunctional;
  out.functional = type == kNormalFunctional || type == kMixedFunctional;
  if (type != kNormalPhysical && !out.mixed && !out.functional) return std::nullopt;
  return out;
}

Pair Pair::normalFixed(std::uint8_t target, std::uint8_t source) {
  return {fixedId({false, false, target, source}),
          fixedId({false, false, source, target}),
          true,
          Addressing::normal_fixed,
          0,
          0};
}

Pair Pair::mixed(std::uint8_t target, std::uint8_t source, std::uint8_t extension) {
  return {fixedId({true, false, target, source}),
          fixedId({true, false, source, target}),
          true,
          Addressing::mixed,
          extension,
          extension};
}

bool Pair::receives(const event::CanFrame& f) const {
  if (f.error() || f.remote() || f.extended() != extended || f.id() != rx_id) return false;
  return prefixSize() == 0 || (f.length != 0 && f.data[0] == rx_prefix);
}

Pci parsePci(ByteView frame, bool fd, std::size_t prefix) {
  if (frame.size() <= prefix) return {};
  const ByteView d = frame.subspan(prefix);
  switch (d[0] >> 4U) {
    case 0:
      return parseSingle(d, fd, frame.size());
    case 1:
      return parseFirst(d, frame.size());
    case 2:
      if (d.size() < 2) return {};
      return {.type = PciType::consecutive,
              .sequence_number = static_cast<std::uint8_t>(d[0] & 0x0FU),
              .payload = d.subspan(1)};
    case 3:
      if (d.size() < kFlowControlSize) return {};
      return {.type = PciType::flow_control,
              .flow_status = static_cast<FlowStatus>(std::min(d[0] & 0x0F, 3)),
              .block_size = d[1],
              .st_min = d[2],
              .payload = {}};
    default:
      return {};
  }
}

Ns stMinToNs(std::uint8_t st_min) {
  constexpr Ns kLongest = 127 * kNsPerMs;
  if (st_min <= 0x7F) return st_min * kNsPerMs;
  if (st_min >= 0xF1 && st_min <= 0xF9) return (st_min - 0xF0) * (kNsPerMs / 10);
  return kLongest;
}

Bytes buildSingle(ByteView message, bool fd, std::optional<std::uint8_t> prefix) {
  const std::size_t before = prefix ? 1 : 0;
  if (message.empty() || message.size() + before > (fd ? kFdSize - 2 : kSingleFrameMax)) return {};
  const auto n = static_cast<std::uint8_t>(message.size());
  const bool escape = message.size() + before > kSingleFrameMax;
  return withPayload(escape ? withPrefix(prefix, {0, n}) : withPrefix(prefix, {n}), message);
}

Bytes buildFlowControl(const FlowControl& fc, std::optional<std::uint8_t> prefix) {
  const auto pci = static_cast<std::uint8_t>(0x30U | static_cast<unsigned>(fc.status));
  return padded(withPrefix(prefix, {pci, fc.block_size, fc.st_min}));
}

const char* toText(Failure f) {
  switch (f) {
    case Failure::timeout_as:
      return "our frame was not confirmed on the bus in time (N_As)";
    case Failure::timeout_ar:
      return "our flow control was not confirmed on the bus in time (N_Ar)";
    case Failure::timeout_bs:
      return "no flow control came in time (N_Bs)";
    case Failure::timeout_cs:
      return "the next consecutive frame was not sent in time (N_Cs)";
    case Failure::timeout_cr:
      return "the next consecutive frame did not come in time (N_Cr)";
    case Failure::wrong_sn:
      return "a consecutive frame has the wrong sequence number";
    case Failure::invalid_fs:
      return "a flow control has a reserved flow status";
    case Failure::wait_overrun:
      return "the receiver made the sender wait too often (N_WFTmax)";
    case Failure::overflow:
      return "the message is longer than the receiver takes";
    case Failure::unexpected_pdu:
      return "a new message began before this one was whole";
    case Failure::not_single:
      return "a functionally addressed message must fit a single frame";
  }
  return "?";
}

// ---- Receiver

event::CanFrame Receiver::frame(const FlowControl& fc) const {
  return event::CanFrame::make(pair_.tx_id, pair_.extended, buildFlowControl(fc, pair_.prefix()), fd_);
}

Receiver::Output Receiver::onFrame(Ns t_ns, const event::CanFrame& frame) {
  if (!pair_.receives(frame)) return {};
  const Pci pci = parsePci(frame.payload(), frame.fd(), pair_.prefixSize());
  switch (pci.type) {
    case PciType::single:
      return onSingle(pci);
    case PciType::first:
      if (!settings_.functional) fd_ = frame.fd();
      return onFirst(t_ns, pci, frame.length);
    case PciType::consecutive:
      return onConsecutive(t_ns, pci, frame.length);
    case PciType::flow_control:
    case PciType::invalid:
      return {};
  }
  return {};
}

Receiver::Output Receiver::abort(Failure why) {
  state_ = State::idle;
  Output out;
  out.failed = why;
  out.partial = std::exchange(buffer_, {});
  return out;
}

Receiver::Output Receiver::onSingle(const Pci& pci) {
  Output out = receiving() ? abort(Failure::unexpected_pdu) : Output{};
  out.message.emplace(pci.payload.begin(), pci.payload.end());
  return out;
}

Receiver::Output Receiver::onFirst(Ns t_ns, const Pci& pci, std::size_t frame_size) {
  if (settings_.functional) return {};  // functional requests are single frames
  Output out = receiving() ? abort(Failure::unexpected_pdu) : Output{};
  if (pci.length > settings_.most) {
    if (!out.failed) out.failed = Failure::overflow;
    out.send = FlowControl{FlowStatus::overflow, 0, 0};
    return out;
  }
  length_ = pci.length;
  frame_size_ = frame_size;
  buffer_.assign(pci.payload.begin(), pci.payload.end());
  expected_sn_ = 1;
  unconfirmed_ = 0;
  out.started = true;
  flow(t_ns, out);
  return out;
}

/// A first frame or a block is in: flow control is due.
void Receiver::flow(Ns t_ns, Output& out) {
  left_in_block_ = settings_.block_size;
  waits_ = 0;
  held_ = settings_.hold;
  if (!held_) return give(t_ns, FlowStatus::cts, out);
  state_ = State::holding;
  deadline_ns_ = t_ns + settings_.times.n_br_ns;
}

void Receiver::give(Ns t_ns, FlowStatus status, Output& out) {
  out.send = FlowControl{status, settings_.block_size, settings_.st_min};
  state_ = State::confirming;
  deadline_ns_ = t_ns + settings_.times.n_ar_ns;
  ++unconfirmed_;
}

void Receiver::onConfirmed(Ns t_ns) {
  if (unconfirmed_ == 0 || --unconfirmed_ > 0 || state_ != State::confirming) return;
  state_ = held_ ? State::holding : State::receiving;
  deadline_ns_ = t_ns + (held_ ? settings_.times.n_br_ns : settings_.times.n_cr_ns);
}

Receiver::Output Receiver::proceed(Ns now_ns) {
  Output out;
  if (!receiving() || !held_) return out;
  held_ = false;
  give(now_ns, FlowStatus::cts, out);
  return out;
}

Receiver::Output Receiver::onConsecutive(Ns t_ns, const Pci& pci, std::size_t frame_size) {
  if (!receiving() || held_) return {};
  const std::size_t missing = length_ - buffer_.size();
  const bool last = missing <= frame_size_ - pair_.prefixSize() - 1;
  if (last ? pci.payload.size() < missing : frame_size != frame_size_) return {};
  if (pci.sequence_number != expected_sn_) return abort(Failure::wrong_sn);

  const ByteView part = pci.payload.first(std::min(missing, pci.payload.size()));
  buffer_.insert(buffer_.end(), part.begin(), part.end());
  expected_sn_ = (expected_sn_ + 1) & 0x0F;
  state_ = State::receiving;
  deadline_ns_ = t_ns + settings_.times.n_cr_ns;
  Output out;
  if (buffer_.size() == length_) {
    state_ = State::idle;
    out.message = std::exchange(buffer_, {});
  } else if (settings_.block_size != 0 && --left_in_block_ == 0) {
    flow(t_ns, out);
  }
  return out;
}

Receiver::Output Receiver::onTime(Ns now_ns) {
  if (!receiving() || now_ns < deadline_ns_) return {};
  if (state_ == State::confirming) return abort(Failure::timeout_ar);
  if (state_ == State::receiving) return abort(Failure::timeout_cr);
  if (waits_ >= settings_.waits_max) return abort(Failure::wait_overrun);
  ++waits_;
  Output out;
  give(now_ns, FlowStatus::wait, out);
  return out;
}

// ---- Sender

Sender::Output Sender::end(std::optional<Failure> why) {
  state_ = State::idle;
  message_.clear();
  Output out;
  out.failed = why;
  out.done = !why;
  return out;
}

std::size_t Sender::frameMax() const { return settings_.fd ? frameSize(settings_.tx_dl) : kClassicSize; }

Sender::Output Sender::give(Ns now_ns, const Bytes& data) {
  state_ = State::confirming;
  deadline_ns_ = now_ns + settings_.times.n_as_ns;
  Output out;
  out.send = event::CanFrame::make(pair_.tx_id, pair_.extended, data, settings_.fd);
  return out;
}

Sender::Output Sender::start(Ns now_ns, Bytes message) {
  if (sending() || message.empty()) return {};
  const Bytes single = message.size() + pair_.prefixSize() + (frameMax() > kClassicSize ? 2 : 1) > frameMax()
                           ? Bytes{}
                           : buildSingle(message, settings_.fd, pair_.prefix());
  if (settings_.functional && single.empty()) return end(Failure::not_single);
  message_ = std::move(message);
  next_sn_ = 1;
  left_in_block_ = 0;
  waits_ = 0;
  owed_ = false;
  any_consecutive_ = false;
  last_consecutive_ns_ = kNoTime;
  if (!single.empty()) {
    at_ = message_.size();
    return give(now_ns, single);
  }
  const Bytes head = firstHead(message_.size(), pair_.prefix());
  at_ = frameMax() - head.size();
  return give(now_ns, withPayload(head, ByteView(message_).first(at_)));
}

Sender::Output Sender::nextConsecutive(Ns now_ns) {
  const std::size_t most = frameMax() - pair_.prefixSize() - 1;
  const ByteView part = ByteView(message_).subspan(at_, std::min(most, message_.size() - at_));
  const Bytes data =
      withPayload(withPrefix(pair_.prefix(), {static_cast<std::uint8_t>(0x20U | next_sn_)}), part);
  at_ += part.size();
  next_sn_ = (next_sn_ + 1) & 0x0F;
  if (left_in_block_ != kNoBlock) --left_in_block_;
  any_consecutive_ = true;
  return give(now_ns, data);
}

Sender::Output Sender::consecutiveAfterGap(Ns t_ns) {
  // STmin holds between any two consecutive frames, also where flow control came between them.
  const Ns due_ns = last_consecutive_ns_ == kNoTime ? t_ns : last_consecutive_ns_ + st_min_ns_;
  if (due_ns <= t_ns) return nextConsecutive(t_ns);
  state_ = State::gap;
  free_ns_ = t_ns;
  deadline_ns_ = due_ns;
  return {};
}

Sender::Output Sender::onConfirmed(Ns t_ns) {
  if (owed_) {
    owed_ = false;
    return {};
  }
  if (state_ != State::confirming) return {};
  if (at_ == message_.size()) return end(std::nullopt);
  if (any_consecutive_) last_consecutive_ns_ = t_ns;
  if (fcComesNext()) {
    state_ = State::waiting_fc;
    deadline_ns_ = t_ns + settings_.times.n_bs_ns;
    return {};
  }
  return consecutiveAfterGap(t_ns);
}

Sender::Output Sender::onFrame(Ns t_ns, const event::CanFrame& frame) {
  if (!pair_.receives(frame)) return {};
  const Pci pci = parsePci(frame.payload(), frame.fd(), pair_.prefixSize());
  if (pci.type != PciType::flow_control) return {};
  const bool awaited = state_ == State::waiting_fc || (state_ == State::confirming && fcComesNext());
  if (!awaited) return {};
  if (state_ == State::confirming) {
    owed_ = true;
    if (any_consecutive_) last_consecutive_ns_ = t_ns;
  }
  switch (pci.flow_status) {
    case FlowStatus::cts:
      waits_ = 0;
      left_in_block_ = pci.block_size == 0 ? kNoBlock : pci.block_size;
      st_min_ns_ = stMinToNs(pci.st_min);
      return consecutiveAfterGap(t_ns);
    case FlowStatus::wait:
      if (++waits_ > settings_.waits_max) return end(Failure::wait_overrun);
      state_ = State::waiting_fc;
      deadline_ns_ = t_ns + settings_.times.n_bs_ns;
      return {};
    case FlowStatus::overflow:
      return end(Failure::overflow);
    case FlowStatus::reserved:
      return end(Failure::invalid_fs);
  }
  return {};
}

Sender::Output Sender::onTime(Ns now_ns) {
  if (state_ == State::idle || now_ns < deadline_ns_) return {};
  switch (state_) {
    case State::confirming:
      return end(Failure::timeout_as);
    case State::waiting_fc:
      return end(Failure::timeout_bs);
    case State::gap:
      if (now_ns - free_ns_ > settings_.times.n_cs_ns) return end(Failure::timeout_cs);
      return nextConsecutive(now_ns);
    case State::idle:
      break;
  }
  return {};
}

}  // namespace pin16::protocol
