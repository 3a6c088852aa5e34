// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/isotp.hpp"

#include <algorithm>
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

Pci parseSingle(ByteView d, bool fd) {
  const std::size_t n = d[0] & 0x0FU;
  // Above 8 bytes the low nibble must be 0 and the length is in the next byte; up to 8 it is the nibble.
  const bool escape = fd && d.size() > kClassicSize;
  if (escape) {
    if (n != 0 || d[1] <= kSingleFrameMax || d[1] + std::size_t{2} > d.size()) return {};
    return {.type = PciType::single, .length = d[1], .payload = d.subspan(2, d[1])};
  }
  if (n == 0 || n + 1 > d.size() || n > kSingleFrameMax) return {};
  return {.type = PciType::single, .length = static_cast<std::uint32_t>(n), .payload = d.subspan(1, n)};
}

Pci parseFirst(ByteView d) {
  if (d.size() < kClassicSize) return {};  // a first frame fills its frame
  std::uint32_t n = (d[0] & 0x0FU) << 8U | d[1];
  std::size_t pci_size = kFirstShort;
  if (n == 0) {
    pci_size = kFirstEscape;
    n = std::uint32_t{d[2]} << 24U | std::uint32_t{d[3]} << 16U | std::uint32_t{d[4]} << 8U | d[5];
    if (n <= kShortLengthMax) return {};
  }
  // What a single frame of this size holds needs no first frame.
  const std::size_t single_max = d.size() == kClassicSize ? kSingleFrameMax : d.size() - 2;
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

Bytes firstHead(std::size_t n) {
  const auto byte = [n](unsigned shift) { return static_cast<std::uint8_t>(n >> shift); };
  if (n <= kShortLengthMax) return {static_cast<std::uint8_t>(0x10U | n >> 8U), byte(0)};
  return {0x10, 0x00, byte(24), byte(16), byte(8), byte(0)};
}

bool isData(const event::CanFrame& f, std::uint32_t id, bool extended) {
  return !f.error() && !f.remote() && f.extended() == extended && f.id() == id;
}

}  // namespace

Pci parsePci(ByteView d, bool fd) {
  if (d.empty()) return {};
  switch (d[0] >> 4U) {
    case 0:
      return parseSingle(d, fd);
    case 1:
      return parseFirst(d);
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

Bytes buildSingle(ByteView message, bool fd) {
  if (message.empty() || message.size() > (fd ? kFdSize - 2 : kSingleFrameMax)) return {};
  const auto n = static_cast<std::uint8_t>(message.size());
  return withPayload(n <= kSingleFrameMax ? Bytes{n} : Bytes{0, n}, message);
}

Bytes buildFlowControl(const FlowControl& fc) {
  return padded(
      {static_cast<std::uint8_t>(0x30U | static_cast<unsigned>(fc.status)), fc.block_size, fc.st_min});
}

const char* toText(Failure f) {
  switch (f) {
    case Failure::timeout_as:
      return "our frame was not confirmed on the bus in time (N_As)";
    case Failure::timeout_bs:
      return "no flow control came in time (N_Bs)";
    case Failure::timeout_cr:
      return "the next consecutive frame did not come in time (N_Cr)";
    case Failure::wrong_sn:
      return "a consecutive frame has the wrong sequence number";
    case Failure::invalid_fs:
      return "a flow control has a reserved flow status";
    case Failure::wait_overrun:
      return "the receiver asked to wait too often";
    case Failure::overflow:
      return "the message is longer than the receiver takes";
    case Failure::unexpected_pdu:
      return "a new message began before this one was whole";
  }
  return "?";
}

// ---- Receiver

event::CanFrame Receiver::frame(const FlowControl& fc) const {
  return event::CanFrame::make(pair_.tx_id, pair_.extended, buildFlowControl(fc));
}

Receiver::Output Receiver::onFrame(Ns t_ns, const event::CanFrame& frame) {
  if (!isData(frame, pair_.rx_id, pair_.extended)) return {};
  const Pci pci = parsePci(frame.payload(), frame.fd());
  switch (pci.type) {
    case PciType::single:
      return onSingle(pci);
    case PciType::first:
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
  receiving_ = false;
  Output out;
  out.failed = why;
  out.partial = std::exchange(buffer_, {});
  return out;
}

Receiver::Output Receiver::onSingle(const Pci& pci) {
  Output out = receiving_ ? abort(Failure::unexpected_pdu) : Output{};
  out.message.emplace(pci.payload.begin(), pci.payload.end());
  return out;
}

Receiver::Output Receiver::onFirst(Ns t_ns, const Pci& pci, std::size_t frame_size) {
  if (settings_.functional) return {};  // functional requests are single frames
  Output out = receiving_ ? abort(Failure::unexpected_pdu) : Output{};
  if (pci.length > settings_.most) {
    if (!out.failed) out.failed = Failure::overflow;
    out.send = FlowControl{FlowStatus::overflow, 0, 0};
    return out;
  }
  receiving_ = true;
  length_ = pci.length;
  frame_size_ = frame_size;
  buffer_.assign(pci.payload.begin(), pci.payload.end());
  expected_sn_ = 1;
  left_in_block_ = settings_.block_size;
  deadline_ns_ = t_ns + settings_.times.n_cr_ns;
  out.started = true;
  out.send = FlowControl{FlowStatus::cts, settings_.block_size, settings_.st_min};
  return out;
}

Receiver::Output Receiver::onConsecutive(Ns t_ns, const Pci& pci, std::size_t frame_size) {
  if (!receiving_) return {};
  const std::size_t missing = length_ - buffer_.size();
  const bool last = missing <= frame_size_ - 1;
  if (last ? pci.payload.size() < missing : frame_size != frame_size_) return {};
  if (pci.sequence_number != expected_sn_) return abort(Failure::wrong_sn);

  const ByteView part = pci.payload.first(std::min(missing, pci.payload.size()));
  buffer_.insert(buffer_.end(), part.begin(), part.end());
  expected_sn_ = (expected_sn_ + 1) & 0x0F;
  deadline_ns_ = t_ns + settings_.times.n_cr_ns;
  Output out;
  if (buffer_.size() == length_) {
    receiving_ = false;
    out.message = std::exchange(buffer_, {});
  } else if (settings_.block_size != 0 && --left_in_block_ == 0) {
    left_in_block_ = settings_.block_size;
    out.send = FlowControl{FlowStatus::cts, settings_.block_size, settings_.st_min};
  }
  return out;
}

Receiver::Output Receiver::onTime(Ns now_ns) {
  if (!receiving_ || now_ns < deadline_ns_) return {};
  return abort(Failure::timeout_cr);
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

Sender::Output Sender::give(Ns now_ns, const Bytes& data) {
  state_ = State::confirming;
  deadline_ns_ = now_ns + settings_.times.n_as_ns;
  Output out;
  out.send = event::CanFrame::make(pair_.tx_id, pair_.extended, data, settings_.fd);
  return out;
}

Sender::Output Sender::start(Ns now_ns, Bytes message) {
  if (sending() || message.empty()) return {};
  message_ = std::move(message);
  next_sn_ = 1;
  left_in_block_ = 0;
  waits_ = 0;
  owed_ = false;
  any_consecutive_ = false;
  last_consecutive_ns_ = kNoTime;
  if (const Bytes single = buildSingle(message_, settings_.fd); !single.empty()) {
    at_ = message_.size();
    return give(now_ns, single);
  }
  const Bytes head = firstHead(message_.size());
  at_ = (settings_.fd ? kFdSize : kClassicSize) - head.size();
  return give(now_ns, withPayload(head, ByteView(message_).first(at_)));
}

Sender::Output Sender::nextConsecutive(Ns now_ns) {
  const std::size_t most = (settings_.fd ? kFdSize : kClassicSize) - 1;
  const ByteView part = ByteView(message_).subspan(at_, std::min(most, message_.size() - at_));
  const Bytes data = withPayload({static_cast<std::uint8_t>(0x20U | next_sn_)}, part);
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
  if (!isData(frame, pair_.rx_id, pair_.extended)) return {};
  const Pci pci = parsePci(frame.payload(), frame.fd());
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
      return nextConsecutive(now_ns);
    case State::idle:
      break;
  }
  return {};
}

}  // namespace pin16::protocol
