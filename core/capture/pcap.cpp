// SPDX-License-Identifier: Apache-2.0
/// Classic pcap, as in pcap-savefile(5): a file header, then records of seconds, fraction, captured and
/// original length.

#include <fmt/format.h>

#include "core/capture/decoder.hpp"
#include "core/capture/format.hpp"

namespace pin16::capture {
namespace {

using namespace event;

constexpr std::size_t kFileHeader = 24;
constexpr std::size_t kLinktypeAt = 20;
constexpr std::size_t kRecordHeader = 16;
/// Above the longest CAN frame there is (CAN XL, 2060 bytes): longer is a damaged length.
constexpr std::uint32_t kMaxCanRecord = 4096;
/// Own figure: the format has no marks, so a record is believed after damage only near in time to the last.
constexpr std::uint32_t kPlausibleStep_s = 86400;

struct RecordHeader {
  std::uint32_t seconds = 0;
  std::uint32_t fraction = 0;
  std::uint32_t captured = 0;
  std::uint32_t original = 0;
};

class PcapDecoder : public Decoder {
 public:
  PcapDecoder(Window& window, CaptureFacts& facts, bool swapped, bool nanoseconds)
      : Decoder(window, facts, kFileHeader), swapped_(swapped), nanoseconds_(nanoseconds) {}

  void go(const Place& place) override {
    Decoder::go(place);
    ended_ = false;
    last_seconds_ = 0;
  }

  bool step(Batch& batch) override {
    if (ended_ || (!started_ && !start(batch))) return false;
    const ByteView head = window_.at(offset_, kRecordHeader);
    if (head.empty() && window_.error() == 0) return false;
    if (head.size() < kRecordHeader)
      return lose(batch, fmt::format("record header: {} after {} bytes", shortRead(), head.size()));
    const RecordHeader r = parse(head);
    if (r.captured > most())
      return lose(batch, fmt::format("record says {} bytes, {} is the most", r.captured, most()));
    std::uint8_t last = 0;
    if (r.captured != 0 && !window_.peek(offset_ + kRecordHeader + r.captured - 1, &last, 1))
      return lose(batch, fmt::format("record says {} bytes, {} before", r.captured, shortRead()));
    if (can_) {
      const ByteView all = window_.at(offset_, kRecordHeader + r.captured);
      frame(batch, 0, timeOf(r), all.subspan(kRecordHeader), 0, std::nullopt);
      last_seconds_ = r.seconds;
    } else {
      ++facts_.skipped.packets;
    }
    offset_ += kRecordHeader + r.captured;
    return true;
  }

 private:
  bool start(Batch& batch) {
    started_ = true;
    changed_ = true;
    const ByteView head = window_.at(0, kFileHeader);
    if (head.size() < kFileHeader) {
      offset_ = 0;
      return lose(batch,
                  fmt::format("file header: {} after {} of {} bytes", shortRead(), head.size(), kFileHeader));
    }
    const auto linktype = static_cast<std::uint16_t>(load<std::uint32_t>(head, kLinktypeAt, swapped_));
    can_ = linktype == kLinktypeCan;
    if (can_) {
      LinkFacts link;
      link.name = "interface 0";
      link.linktype = linktype;
      facts_.links.push_back(link);
    } else {
      note(fmt::format("link type {} carries no CAN frames that are read, {} does", linktype, kLinktypeCan));
    }
    return true;
  }

  [[nodiscard]] std::uint32_t most() const { return can_ ? kMaxCanRecord : kMaxBlock; }
  [[nodiscard]] std::uint32_t fractions() const { return nanoseconds_ ? 1'000'000'000 : 1'000'000; }

  [[nodiscard]] RecordHeader parse(ByteView b) const {
    return {load<std::uint32_t>(b, 0, swapped_), load<std::uint32_t>(b, 4, swapped_),
            load<std::uint32_t>(b, 8, swapped_), load<std::uint32_t>(b, 12, swapped_)};
  }
  [[nodiscard]] Ns timeOf(const RecordHeader& r) const {
    if (r.fraction >= fractions()) return kNoTime;
    return Ns{r.seconds} * kNsPerSecond + Ns{r.fraction} * (kNsPerSecond / fractions());
  }

  /// A record that can be believed without a mark: a frame's lengths agree, and it is near in time.
  [[nodiscard]] bool plausible(std::uint64_t at, std::uint64_t& end) {
    std::uint8_t bytes[kRecordHeader + kFrameHeaderSize];
    if (!window_.peek(at, bytes, sizeof bytes)) return false;
    const RecordHeader r = parse(bytes);
    const std::uint32_t step_s =
        r.seconds > last_seconds_ ? r.seconds - last_seconds_ : last_seconds_ - r.seconds;
    const std::uint8_t length = bytes[kRecordHeader + 4];
    end = at + kRecordHeader + r.captured;
    return r.fraction < fractions() && r.captured >= kFrameHeaderSize &&
           r.captured <= kFrameHeaderSize + kFdDataMax && r.original >= r.captured &&
           r.original <= kMaxCanRecord && length <= kFdDataMax &&
           (last_seconds_ == 0 || step_s <= kPlausibleStep_s);
  }
  [[nodiscard]] bool atEnd(std::uint64_t at) {
    std::uint8_t byte = 0;
    return at != 0 && window_.peek(at - 1, &byte, 1) && !window_.peek(at, &byte, 1);
  }

  /// Reports, and goes on where two records in a row are plausible.
  bool lose(Batch& batch, const std::string& reason) {
    const std::uint64_t from = offset_;
    for (std::uint64_t at = from + 1; can_ && window_.at(at, kRecordHeader).size() == kRecordHeader; ++at) {
      std::uint64_t end = 0;
      std::uint64_t after = 0;
      if (!plausible(at, end) || !(plausible(end, after) || atEnd(end))) continue;
      damage(batch, from, fmt::format("{}; read on at byte {}", reason, at));
      offset_ = at;
      return true;
    }
    damage(batch, from, reason + "; nothing behind it could be read");
    ended_ = true;
    return false;
  }

  const bool swapped_;
  const bool nanoseconds_;
  bool started_ = false;
  bool ended_ = false;
  bool can_ = false;
  std::uint32_t last_seconds_ = 0;
};

}  // namespace

std::unique_ptr<Decoder> makePcapDecoder(Window& window, CaptureFacts& facts, bool swapped,
                                         bool nanoseconds) {
  return std::make_unique<PcapDecoder>(window, facts, swapped, nanoseconds);
}

}  // namespace pin16::capture
