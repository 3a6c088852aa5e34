// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/envelope.hpp"

#include <algorithm>
#include <bitset>
#include <utility>

#include "core/capture/hash.hpp"
#include "core/link/line_format.hpp"
#include "core/protocol/isotp.hpp"
#include "core/protocol/services.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;
using Mask = std::bitset<event::kFdDataMax>;

constexpr std::uint8_t kAnswerBit = 0x40;
constexpr std::size_t kOfOthers = 2;  // bytes of a frame that is no ISO 15765-2: what tells that it is none
constexpr std::size_t kFlowControl = 3;  // PCI, block size, STmin
constexpr std::size_t kRefusal = 3;      // 7F, service, code

/// Bytes behind the service that name what is meant and are alike in request and answer, as far as no content
/// can stand there in either: ISO 14229-1, SAE J1979 / ISO 15031-5, ISO 14230-3. Services not named: none.
constexpr std::pair<std::uint8_t, std::size_t> kParameters[] = {
    {0x01, 1}, {0x02, 2}, {0x05, 1}, {0x06, 1}, {0x08, 1}, {0x09, 1},  // OBD: PID, frame, MID, TID, infotype
    {0x10, 1}, {0x11, 1}, {0x19, 1}, {0x27, 1}, {0x28, 1}, {0x29, 1},
    {0x2C, 1}, {0x3E, 1},  // sub-function
    {0x83, 1}, {0x85, 1}, {0x86, 1}, {0x87, 1}, {0x22, 2}, {0x24, 2},
    {0x2E, 2}, {0x2F, 2},                                              // data identifier
    {0x31, 3},                                                         // sub-function and routine identifier
    {0x36, 1},                                                         // block counter
    {0x1A, 1}, {0x21, 1}, {0x30, 1}, {0x32, 1}, {0x33, 1}, {0x3B, 1},  // KWP2000: local identifier
};

std::size_t keptOf(ByteView message) {
  if (message.empty()) return 0;
  if (message[0] == kNegativeResponse) return kRefusal;
  const auto service = static_cast<std::uint8_t>(message[0] & ~kAnswerBit);
  const auto* const found = std::find_if(std::begin(kParameters), std::end(kParameters),
                                         [&](const auto& p) { return p.first == service; });
  return 1 + (found == std::end(kParameters) ? 0 : found->second);
}

void keepFirst(Mask& mask, std::size_t count) {
  for (std::size_t i = 0; i < std::min(count, mask.size()); ++i) mask.set(i);
}

struct Reading {
  Mask kept;
  std::size_t content_end = event::kFdDataMax;  ///< padding from here on
};

Reading read(const CanFrame& f, std::size_t prefix) {
  Reading out;
  const Pci pci = parsePci(f.payload(), f.fd(), prefix);
  const auto start = [&] { return static_cast<std::size_t>(pci.payload.data() - f.data.data()); };
  switch (pci.type) {
    case PciType::single:
      keepFirst(out.kept, start() + std::min(keptOf(pci.payload), pci.payload.size()));
      out.content_end = start() + pci.payload.size();
      break;
    case PciType::first:
      keepFirst(out.kept, start() + std::min(keptOf(pci.payload), pci.payload.size()));
      break;
    case PciType::consecutive:
      keepFirst(out.kept, prefix + 1);
      break;
    case PciType::flow_control:
      keepFirst(out.kept, prefix + kFlowControl);
      out.content_end = prefix + kFlowControl;
      break;
    case PciType::invalid:
      keepFirst(out.kept, kOfOthers);
      break;
  }
  return out;
}

}  // namespace

std::size_t keptBytes(ByteView message) { return std::min(keptOf(message), message.size()); }

CanFrame blanked(const CanFrame& f, Witness::Readings readings) {
  if (f.error() || f.remote()) return f;
  Reading reading;
  if (readings.plain || !readings.prefixed)
    reading = read(f, 0);
  else
    reading = read(f, 1);
  if (readings.plain && readings.prefixed) reading.kept &= read(f, 1).kept;
  CanFrame out = f;
  const ByteView all = f.payload();
  const ByteView padding = all.subspan(std::min(reading.content_end, all.size()));
  const bool mixed =
      std::any_of(padding.begin(), padding.end(), [&](std::uint8_t b) { return b != padding.front(); });
  for (std::size_t i = 0; i < out.data.size(); ++i) {
    const bool odd_padding = mixed && i >= reading.content_end && (i - reading.content_end) % 2 == 1;
    if (i >= all.size() || !reading.kept.test(i)) out.data[i] = odd_padding && i < all.size() ? 0xFF : 0x00;
  }
  return out;
}

void Envelope::hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended) {
  hints_.emplace_back(request_id, answer_id, extended);
}

Witness& Envelope::witness(std::uint16_t link) {
  auto& at = witnesses_[link];
  if (at) return *at;
  at = std::make_unique<Witness>(
      limits_,
      [this, link](Ns t_ns, const event::Message& m) {
        if (no_digests_.contains(link)) return;
        event::Digest d;
        d.id = m.id;
        d.extended = m.extended;
        d.prefix = m.prefix;
        d.mixed = m.mixed;
        d.complete = m.complete;
        d.length = static_cast<std::uint32_t>(m.payload.size());
        d.hmac = capture::hmacSha256(key_, m.payload);
        d.first_ns = m.first_ns;
        made_.push_back({link, t_ns, std::move(d)});
      },
      [](Ns, const event::Exchange&) {});
  for (const auto& [request_id, answer_id, extended] : hints_) at->hint(request_id, answer_id, extended);
  return *at;
}

CanFrame Envelope::take(std::uint16_t link, Ns t_ns, const CanFrame& frame, bool outbound) {
  if (frame.error() || frame.remote()) return frame;
  Witness& w = witness(link);
  w.frame(t_ns, frame, outbound);
  return blanked(frame, w.readings(frame));
}

event::Line Envelope::take(std::uint16_t link, Ns t_ns, event::Line line) {
  if (!no_digests_.contains(link)) {
    event::Digest d;
    d.id = link::sourceOf(line).value_or(0);
    d.complete = true;
    d.length = static_cast<std::uint32_t>(line.data.size());
    d.hmac = capture::hmacSha256(key_, line.data);
    d.first_ns = line.first_ns;
    made_.push_back({link, t_ns, std::move(d)});
  }
  std::size_t kept = std::min(keptOf(line.data), line.data.size());
  // An answer of several messages carries its message's number here (SAE J1979): without it none is whole.
  constexpr std::uint8_t kVehicleInformation = 0x49;
  if (line.data.size() > kept && line.data[0] == kVehicleInformation) ++kept;
  std::fill(line.data.begin() + static_cast<std::ptrdiff_t>(kept), line.data.end(), std::uint8_t{0});
  return line;
}

void Envelope::gap(std::uint16_t link, Ns from_ns, Ns to_ns) {
  for (auto& [index, w] : witnesses_)
    if (link == event::kNoLink || link == index) w->gap(from_ns, to_ns);
}

void Envelope::advance(Ns now_ns) {
  for (auto& [index, w] : witnesses_) w->advance(now_ns);
}

void Envelope::finish(Ns end_ns) {
  for (auto& [index, w] : witnesses_) w->finish(end_ns);
}

}  // namespace pin16::protocol
