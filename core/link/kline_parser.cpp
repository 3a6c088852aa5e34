// SPDX-License-Identifier: Apache-2.0
#include "core/link/kline_parser.hpp"

#include <algorithm>

#include "core/link/line_format.hpp"

namespace pin16::link {
namespace {

constexpr std::size_t kLegislatedMax = kLineHeader + kLegislatedDataMax + 1;
constexpr std::uint8_t kLengthMask = 0x3F, kModeMask = 0xC0, kException = 0x40;

}  // namespace

void KLineParser::restart(event::Medium medium) {
  medium_ = medium;
  bytes_.clear();
  ends_ns_.clear();
}

void KLineParser::take(Ns t_ns, ByteView bytes, std::vector<KLineItem>& out) {
  if (bytes.empty()) return;
  // Before these bytes the line may have been quiet long enough without anybody having asked.
  const Ns first_end_ns = t_ns - static_cast<Ns>(bytes.size() - 1) * kKLineByte_ns;
  if (!bytes_.empty() && first_end_ns - kKLineByte_ns - ends_ns_.back() >= quiet_ns_) cut(true, out);
  std::size_t left = bytes.size();
  for (const std::uint8_t byte : bytes) {
    --left;
    Ns end_ns = t_ns - static_cast<Ns>(left) * kKLineByte_ns;
    if (!ends_ns_.empty()) end_ns = std::max(end_ns, ends_ns_.back());
    bytes_.push_back(byte);
    ends_ns_.push_back(end_ns);
    if (medium_ != event::Medium::iso9141_2 || bytes_.size() >= kBurstMax) cut(false, out);
  }
}

void KLineParser::onTime(Ns now_ns, std::vector<KLineItem>& out) {
  if (!bytes_.empty() && now_ns >= due()) cut(true, out);
}

bool KLineParser::sumRight(std::size_t at, std::size_t size) const {
  return bytes_[at + size - 1] == checkByte(medium_, ByteView(bytes_).subspan(at, size - 1));
}

bool KLineParser::headerAt(std::size_t at) const {
  return at + 1 < bytes_.size() &&
         ((bytes_[at] == 0x48 && bytes_[at + 1] == 0x6B) || (bytes_[at] == 0x68 && bytes_[at + 1] == 0x6A));
}

/// Size of the message at `at`; 0: none begins here, or (`more`) it is not all there.
std::size_t KLineParser::wholeKwp(std::size_t at, bool& more) const {
  const std::uint8_t format = bytes_[at];
  const unsigned mode = format & kModeMask;
  if (mode == kException) return 0;
  std::size_t header = mode == 0 ? 1 : kLineHeader;
  std::size_t data = format & kLengthMask;
  if (data == 0) {  // the length has a byte of its own
    if (at + header >= bytes_.size()) return more = true, 0;
    data = bytes_[at + header];
    ++header;
  }
  if (data == 0) return 0;
  const std::size_t size = header + data + 1;
  if (at + size > bytes_.size()) return more = true, 0;
  return sumRight(at, size) ? size : 0;
}

std::size_t KLineParser::wholeLegislated(std::size_t at) const {
  if (!headerAt(at)) return 0;
  const std::size_t left = bytes_.size() - at;
  std::size_t found = 0;
  for (std::size_t size = kLineHeader + 2; size <= std::min(left, kLegislatedMax); ++size) {
    if (!sumRight(at, size)) continue;
    if (at + size == bytes_.size() || headerAt(at + size)) return size;
    if (found == 0) found = size;
  }
  return found;
}

KLineItem KLineParser::message(std::size_t at, std::size_t size) const {
  KLineItem item;
  item.line.medium = medium_;
  std::size_t header = kLineHeader;
  if (medium_ == event::Medium::iso14230_4) {
    header = (bytes_[at] & kModeMask) == 0 ? 1 : kLineHeader;
    if ((bytes_[at] & kLengthMask) == 0) ++header;
  }
  const auto begin = bytes_.begin() + static_cast<std::ptrdiff_t>(at);
  item.line.header.assign(begin, begin + static_cast<std::ptrdiff_t>(header));
  item.line.data.assign(begin + static_cast<std::ptrdiff_t>(header),
                        begin + static_cast<std::ptrdiff_t>(size - 1));
  item.line.first_ns = ends_ns_[at] - kKLineByte_ns;
  item.end_ns = ends_ns_[at + size - 1];
  return item;
}

void KLineParser::tellDamage(std::size_t from, std::size_t to, std::vector<KLineItem>& out) {
  if (from == to) return;
  KLineItem item;
  item.damaged = true;
  item.bytes.assign(bytes_.begin() + static_cast<std::ptrdiff_t>(from),
                    bytes_.begin() + static_cast<std::ptrdiff_t>(to));
  item.end_ns = ends_ns_[to - 1];
  item.why = "no whole message with a right sum";
  damaged_ += item.bytes.size();
  out.push_back(std::move(item));
}

void KLineParser::drop(std::size_t count) {
  bytes_.erase(bytes_.begin(), bytes_.begin() + static_cast<std::ptrdiff_t>(count));
  ends_ns_.erase(ends_ns_.begin(), ends_ns_.begin() + static_cast<std::ptrdiff_t>(count));
}

/// Takes out every message; what cannot become one is damage. `quiet`: nothing more belongs to what is there.
void KLineParser::cut(bool quiet, std::vector<KLineItem>& out) {
  std::size_t at = 0, strange = 0;  // strange..at: no message begins there
  while (at < bytes_.size()) {
    bool more = medium_ != event::Medium::iso14230_4 && bytes_.size() - at <= kLegislatedMax;
    if (more && !quiet) break;  // a pause tells
    const std::size_t size = medium_ == event::Medium::iso14230_4 ? wholeKwp(at, more) : wholeLegislated(at);
    if (size != 0) {
      tellDamage(strange, at, out);
      out.push_back(message(at, size));
      strange = at += size;
      continue;
    }
    if (more && !quiet) break;
    ++at;
  }
  tellDamage(strange, at, out);
  drop(at);
}

std::size_t KLineEcho::match(ByteView bytes) {
  std::size_t n = 0;
  while (n < bytes.size() && n < expected_.size() && bytes[n] == expected_[n]) ++n;
  if (n < bytes.size() && n < expected_.size()) {
    collided_ = true;
    expected_.clear();
  } else {
    expected_.erase(expected_.begin(), expected_.begin() + static_cast<std::ptrdiff_t>(n));
  }
  return n;
}

}  // namespace pin16::link
