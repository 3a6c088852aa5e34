// SPDX-License-Identifier: Apache-2.0
#include "core/capture/reader.hpp"

#include <fmt/format.h>

#include "core/can/wire_bits.hpp"
#include "core/capture/decoder.hpp"
#include "core/capture/format.hpp"
#include "core/capture/index_builder.hpp"

namespace pin16::capture {
namespace {

using namespace event;

/// A batch is handed over before its arena passes this, whatever the number of events: offsets are 32 bits.
constexpr std::size_t kBatchBytes = 1U << 20U;
/// Captured length of a CAN FD frame (CANFD_MTU of linux/can.h). Before Linux 5.19 nothing else told it from
/// a classic one.
constexpr std::size_t kFdMtu = 72;
constexpr std::size_t kLengthAt = 4;
constexpr std::size_t kFdFlagsAt = 5;
/// In the length byte's place of a CAN XL frame (CANXL_XLF of linux/can.h).
constexpr std::uint8_t kXlFlag = 0x80;
constexpr std::uint32_t kPcapMicroseconds = 0xA1B2C3D4;
constexpr std::uint32_t kPcapNanoseconds = 0xA1B23C4D;
constexpr std::size_t kMagicBytes = 12;  // of pcapng: block type, length, byte order

bool isPcapng(ByteView head) {
  return head.size() == kMagicBytes && load<std::uint32_t>(head, 0, false) == kSectionHeader &&
         (load<std::uint32_t>(head, 8, false) == kByteOrderMagic ||
          load<std::uint32_t>(head, 8, true) == kByteOrderMagic);
}

}  // namespace

void Decoder::damage(Batch& batch, std::uint64_t offset, const std::string& reason) {
  batch.add(number(std::nullopt), kNoTime, kNoLink, Kind::damage, Damage{offset, reason});
}

void Decoder::frame(Batch& batch, std::uint16_t link, Ns t_utc_ns, ByteView data, std::uint8_t flags,
                    std::optional<std::uint64_t> sequence) {
  if (data.size() < kFrameHeaderSize) {
    damage(batch, offset_,
           fmt::format("CAN frame of {} bytes, its header alone takes {}", data.size(), kFrameHeaderSize));
    return;
  }
  const std::uint8_t length = data[kLengthAt];
  if ((length & kXlFlag) != 0) {
    ++facts_.skipped.packets;
    if (!xl_noted_) note("CAN XL frames are not read");
    xl_noted_ = true;
    return;
  }
  const bool remote = (data[0] & (kRemoteFlag >> 24U)) != 0;
  const std::size_t carried = remote ? 0 : length;
  if (length > kFdDataMax || carried > data.size() - kFrameHeaderSize) {
    damage(batch, offset_,
           fmt::format("CAN frame says {} data bytes, {} are there, {} is the most", length,
                       data.size() - kFrameHeaderSize, kFdDataMax));
    return;
  }
  batch.addRaw(number(sequence), t_utc_ns, link, Kind::frame, data.first(kFrameHeaderSize + carried), flags);
  Header& header = batch.headers.back();
  if (length > kClassicDataMax || data.size() == kFdMtu) batch.arena[header.offset + kFdFlagsAt] |= kFdFormat;
  if (const auto whole = batch.frame(header)) header.wire_bits = can::packWireBits(can::wireBits(*whole));
}

void Decoder::note(const std::string& sentence) {
  auto& notes = facts_.skipped.notes;
  if (notes.size() < Skipped::kMaxNotes) notes.push_back(sentence);
}

std::uint64_t Decoder::number(std::optional<std::uint64_t> restored) {
  last_sequence_ = restored ? *restored + sequence_base_ : last_sequence_ + 1;
  return last_sequence_;
}

std::string Decoder::shortRead() const {
  return window_.error() == 0 ? "the file ends"
                              : fmt::format("reading fails ({})", std::strerror(window_.error()));
}

Reader::Reader() : window_(std::make_unique<Window>()) {}
Reader::~Reader() = default;

Result<std::unique_ptr<Reader>> Reader::open(const std::string& path) {
  std::unique_ptr<Reader> r(new Reader);
  if (auto opened = r->window_->open(path); !opened) return opened.error();
  auto decoder = decoderFor(*r->window_, r->facts_, path);
  if (!decoder) return decoder.error();
  r->decoder_ = std::move(*decoder);
  return r;
}

Result<std::unique_ptr<Decoder>> Reader::decoderFor(Window& window, CaptureFacts& facts,
                                                    const std::string& path) {
  const ByteView head = window.at(0, kMagicBytes);
  if (isPcapng(head)) return makePcapngDecoder(window, facts);
  for (const bool swapped : {false, true}) {
    const auto magic = head.size() >= 4 ? load<std::uint32_t>(head, 0, swapped) : 0;
    if (magic != kPcapMicroseconds && magic != kPcapNanoseconds) continue;
    return makePcapDecoder(window, facts, swapped, magic == kPcapNanoseconds);
  }
  const std::string begins = head.empty() ? "is empty" : "begins with " + toHex(head, " ");
  return Error{ErrorKind::input,
               begins + ", a pcapng (0a 0d 0d 0a) or pcap (d4 c3 b2 a1) capture was expected", path,
               "Give a capture file; text logs must be converted to pcapng first"};
}

bool Reader::next(Batch& batch) {
  batch.clear();
  batch.utc_offset_ns = 0;
  while (batch.headers.size() + Decoder::kMostEventsOfAStep <= kBatchEvents &&
         batch.arena.size() < kBatchBytes) {
    if (builder_ ? !builder_->step(*decoder_, batch) : !decoder_->step(batch)) break;
  }
  return !batch.headers.empty();
}

void Reader::keepIndex() { builder_ = std::make_unique<IndexBuilder>(); }

Index Reader::takeIndex() { return builder_ ? builder_->take() : Index(); }

std::uint64_t Reader::offset() const { return decoder_->offset(); }

}  // namespace pin16::capture
