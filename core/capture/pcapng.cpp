// SPDX-License-Identifier: Apache-2.0
/// pcapng, as in draft-ietf-opsawg-pcapng.

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <type_traits>
#include <utility>

#include "core/capture/decoder.hpp"
#include "core/capture/format.hpp"
#include "core/capture/visit.hpp"

namespace pin16::capture {
namespace {

using namespace event;

__extension__ using Wide = __int128;

// Smallest whole block of each type: fixed fields and the 12 bytes around them.
constexpr std::uint32_t kMinSection = 28;
constexpr std::uint32_t kMinInterface = 20;
constexpr std::uint32_t kMinPacket = 32;  // enhanced and obsolete packet block alike
constexpr std::uint32_t kMinSimple = 16;
constexpr std::uint32_t kMinStatistics = 24;

constexpr std::size_t kTypeAndLength = 8;
constexpr std::size_t kTail = 4;  // the repeated length
/// Own figure, as kMaxLinks: bounds what a damaged file can make us keep.
constexpr std::size_t kMaxInterfaces = 4096;
constexpr std::uint8_t kTsresolDefault = 6;  // microseconds, when an interface does not say
constexpr std::uint8_t kPowerOfTwo = 0x80;

std::uint32_t minimumOf(std::uint32_t type) {
  switch (type) {
    case kSectionHeader:
      return kMinSection;
    case kInterfaceDescription:
      return kMinInterface;
    case kPacketBlock:
    case kEnhancedPacket:
      return kMinPacket;
    case kSimplePacket:
      return kMinSimple;
    case kInterfaceStatistics:
      return kMinStatistics;
    default:
      return kMinBlock;
  }
}

/// Types that are looked for after damage: any other number could be anything.
bool isKnown(std::uint32_t type) {
  switch (type) {
    case kSectionHeader:
    case kInterfaceDescription:
    case kPacketBlock:
    case kSimplePacket:
    case kNameResolution:
    case kInterfaceStatistics:
    case kEnhancedPacket:
    case kSystemdJournal:
    case kDecryptionSecrets:
    case kCustomCopied:
    case kCustomNotCopied:
      return true;
    default:
      return false;
  }
}

/// 10^exponent, exponent 0..19.
std::uint64_t tenTo(unsigned exponent) {
  std::uint64_t v = 1;
  for (; exponent != 0; --exponent) v *= 10;
  return v;
}

/// Ticks of if_tsresol and the seconds of if_tsoffset as UTC; kNoTime if 64 bits of ns do not hold it.
Ns toNs(std::uint64_t ticks, std::uint8_t tsresol, std::int64_t tsoffset_s) {
  constexpr unsigned kDigitsOfNs = 9;
  constexpr unsigned kMostDigits = 19;  // of a 64-bit divisor
  const unsigned exponent = tsresol & 0x7FU;
  Wide ns = 0;
  if ((tsresol & kPowerOfTwo) != 0) {
    ns = Wide{ticks} * kNsPerSecond >> exponent;
  } else if (exponent <= kDigitsOfNs) {
    ns = Wide{ticks} * tenTo(kDigitsOfNs - exponent);
  } else if (exponent <= kDigitsOfNs + kMostDigits) {
    ns = Wide{ticks} / tenTo(exponent - kDigitsOfNs);
  }
  ns += Wide{tsoffset_s} * kNsPerSecond;
  return ns > INT64_MIN && ns <= INT64_MAX ? static_cast<Ns>(ns) : kNoTime;
}

/// The options of a block, one by one; broken() once one reaches behind the block.
class Options {
 public:
  Options(ByteView rest, bool swapped) : rest_(rest), swapped_(swapped) {}
  bool next() {
    if (rest_.empty()) return false;
    if (rest_.size() < 4) return stop();
    code = load<std::uint16_t>(rest_, 0, swapped_);
    const std::size_t length = load<std::uint16_t>(rest_, 2, swapped_);
    if (code == kOptEnd) return false;
    const std::size_t padded = (length + 3) / 4 * 4;
    if (padded > rest_.size() - 4) return stop();
    value = rest_.subspan(4, length);
    rest_ = rest_.subspan(4 + padded);
    return true;
  }
  [[nodiscard]] bool broken() const { return broken_; }
  [[nodiscard]] std::string text() const { return {value.begin(), value.end()}; }
  /// Nothing if the option has another size.
  template <class T>
  [[nodiscard]] std::optional<T> as() const {
    if (value.size() != sizeof(T)) return std::nullopt;
    if constexpr (sizeof(T) == 1) return value[0];
    if constexpr (sizeof(T) != 1) return load<T>(value, 0, swapped_);
  }
  std::uint16_t code = 0;
  ByteView value;

 private:
  bool stop() {
    broken_ = true;
    return false;
  }
  ByteView rest_;
  const bool swapped_;
  bool broken_ = false;
};

enum class Use : std::uint8_t { can, records, bytes, none };

struct Interface {
  Use use = Use::none;
  bool ours = false;
  bool lost = false;   ///< its description could not be read
  bool noted = false;  ///< why its packets are skipped is said
  std::uint8_t tsresol = kTsresolDefault;
  std::uint16_t link = kNoLink;
  std::uint16_t linktype = 0;
  std::uint32_t snaplen = 0;
  std::int64_t tsoffset_s = 0;
  std::string name;
  LinkStatistics statistics;
};

/// The index in a comment "Pin16 link N"; nothing if it is another comment.
std::optional<std::uint16_t> linkOfComment(std::string_view comment) {
  if (!comment.starts_with(kLinkComment)) return std::nullopt;
  const auto n = toUnsigned(comment.substr(kLinkComment.size()));
  if (!n || *n >= kMaxLinks) return std::nullopt;
  return static_cast<std::uint16_t>(*n);
}

class PcapngDecoder : public Decoder {
 public:
  PcapngDecoder(Window& window, CaptureFacts& facts) : Decoder(window, facts, 0) {}

  void go(const Place& place) override {
    Decoder::go(place);
    ended_ = false;
  }

  bool step(Batch& batch) override {
    if (ended_) return false;
    const ByteView head = window_.at(offset_, kTypeAndLength);
    if (head.empty() && window_.error() == 0) return false;
    if (head.size() < kTypeAndLength)
      return lose(batch, 0, fmt::format("block header: {} after {} bytes", shortRead(), head.size()));
    std::uint32_t type = load<std::uint32_t>(head, 0, swapped_);
    bool swapped = swapped_;
    if (type == kSectionHeader && !orderOf(offset_, swapped))
      return lose(batch, type, "section header without a byte order");
    const auto length = load<std::uint32_t>(head, 4, swapped);
    if (length < minimumOf(type) || length > kMaxBlock || length % 4 != 0) {
      return lose(batch, type,
                  fmt::format("block of type {} says {} bytes, {} to {} in steps of 4 are possible", type,
                              length, minimumOf(type), kMaxBlock));
    }
    std::array<std::uint8_t, kTail> tail{};
    if (!window_.peek(offset_ + length - kTail, tail.data(), tail.size()))
      return lose(batch, type,
                  fmt::format("block of type {} says {} bytes, {} before", type, length, shortRead()));
    if (load<std::uint32_t>(tail, 0, swapped) != length) {
      return lose(batch, type,
                  fmt::format("block of type {} says {} bytes at its start and {} at its end", type, length,
                              load<std::uint32_t>(tail, 0, swapped)));
    }
    const ByteView block = window_.at(offset_, length);
    if (block.size() == length) take(batch, type, block.subspan(kTypeAndLength, length - kMinBlock), swapped);
    offset_ += length;
    return true;
  }

 private:
  /// The byte order of a section header at `at`; false if it has none.
  bool orderOf(std::uint64_t at, bool& swapped) {
    std::array<std::uint8_t, 4> magic{};
    if (!window_.peek(at + kTypeAndLength, magic.data(), magic.size())) return false;
    swapped = load<std::uint32_t>(magic, 0, false) != kByteOrderMagic;
    return load<std::uint32_t>(magic, 0, swapped) == kByteOrderMagic;
  }

  [[nodiscard]] bool plausible(std::uint64_t at, ByteView head) {
    const auto type = load<std::uint32_t>(head, 0, swapped_);
    bool swapped = swapped_;
    if (!isKnown(type) || (type == kSectionHeader && !orderOf(at, swapped))) return false;
    const auto length = load<std::uint32_t>(head, 4, swapped);
    std::array<std::uint8_t, kTail> tail{};
    return length >= minimumOf(type) && length <= kMaxBlock && length % 4 == 0 &&
           window_.peek(at + length - kTail, tail.data(), tail.size()) &&
           load<std::uint32_t>(tail, 0, swapped) == length;
  }

  /// Reports, and goes on at the next place where the lengths before and behind a block agree. Byte by byte:
  /// lost or added bytes may have moved what follows.
  bool lose(Batch& batch, std::uint32_t type, const std::string& reason) {
    const std::uint64_t from = offset_;
    // Packets name their interface by number: a lost description must not shift the later ones.
    if (type == kInterfaceDescription && interfaces_.size() < kMaxInterfaces)
      interfaces_.emplace_back().lost = true;
    if (type == kSectionHeader) interfaces_.clear();
    changed_ = changed_ || type == kInterfaceDescription || type == kSectionHeader;
    for (std::uint64_t at = from + 1;; ++at) {
      const ByteView head = window_.at(at, kTypeAndLength);
      if (head.size() < kTypeAndLength) break;
      if (!plausible(at, head)) continue;
      damage(batch, from, fmt::format("{}; read on at byte {}", reason, at));
      offset_ = at;
      return true;
    }
    damage(batch, from, reason + "; nothing behind it could be read");
    ended_ = true;
    return false;
  }

  void take(Batch& batch, std::uint32_t type, ByteView body, bool swapped) {
    if (type == kSectionHeader) {
      takeSection(batch, body, swapped);
    } else if (!readable_) {
      if (type == kEnhancedPacket || type == kSimplePacket || type == kPacketBlock) ++facts_.skipped.packets;
    } else if (type == kInterfaceDescription) {
      takeInterface(batch, body);
    } else if (type == kEnhancedPacket) {
      takePacket(batch, body, load<std::uint32_t>(body, 0, swapped_));
    } else if (type == kPacketBlock) {
      takePacket(batch, body, load<std::uint16_t>(body, 0, swapped_));
    } else if (type == kSimplePacket) {
      takeSimple(batch, body);
    } else if (type == kInterfaceStatistics) {
      takeStatistics(body);
    }  // every other block is no business of ours
  }

  void takeSection(Batch& batch, ByteView body, bool swapped) {
    changed_ = true;
    swapped_ = swapped;
    interfaces_.clear();
    own_links_.clear();
    unknown_interface_said_ = false;
    sequence_base_ = last_sequence_;
    const auto major = load<std::uint16_t>(body, 4, swapped_);
    readable_ = major == kVersionMajor;
    if (!readable_) {
      damage(batch, offset_,
             fmt::format("section of pcapng version {}, {} is read; it is skipped", major, kVersionMajor));
    }
    if (std::exchange(first_section_seen_, true)) return;
    Options o(body.subspan(kMinSection - kMinBlock), swapped_);
    while (readable_ && o.next()) {
      if (o.code == kShbHardware) facts_.section.hardware = o.text();
      if (o.code == kShbOs) facts_.section.os = o.text();
      if (o.code == kShbApplication) facts_.section.application = o.text();
      if (o.code == kOptComment && facts_.section.comment.empty()) facts_.section.comment = o.text();
    }
  }

  void takeInterface(Batch& batch, ByteView body) {
    changed_ = true;
    if (interfaces_.size() >= kMaxInterfaces) {
      damage(batch, offset_, fmt::format("more than {} interfaces", kMaxInterfaces));
      return;
    }
    Interface i;
    std::string description;
    std::optional<std::uint16_t> own;
    i.linktype = load<std::uint16_t>(body, 0, swapped_);
    i.snaplen = load<std::uint32_t>(body, 4, swapped_);
    Options o(body.subspan(kMinInterface - kMinBlock), swapped_);
    while (o.next()) {
      if (o.code == kIfName) i.name = o.text();
      if (o.code == kIfDescription) description = o.text();
      if (o.code == kIfTsresol) i.tsresol = o.as<std::uint8_t>().value_or(kTsresolDefault);
      if (o.code == kIfTsoffset) i.tsoffset_s = static_cast<std::int64_t>(o.as<std::uint64_t>().value_or(0));
      if (o.code == kOptComment && !own) own = linkOfComment(o.text());
    }
    if (o.broken()) damage(batch, offset_, "an option of an interface description reaches behind its block");
    if (i.linktype == kLinktypeCan) {
      i.ours = own.has_value();
      if (i.name.empty()) i.name = fmt::format("interface {}", interfaces_.size());
      const auto link = own ? ownLink(*own, i.name) : newLink();
      if (link) describeLink(i, *link, description);
    } else if (i.linktype == kLinktypeRecords && i.name == kRecordsName) {
      i.use = Use::records;
    } else if (i.linktype == kLinktypeBytes && i.name == kBytesName) {
      i.use = Use::bytes;
    }
    i.ours = i.ours || i.use == Use::records || i.use == Use::bytes;
    interfaces_.push_back(std::move(i));
  }

  void describeLink(Interface& i, std::uint16_t link, const std::string& description) {
    i.use = Use::can;
    i.link = link;
    LinkFacts& facts = facts_.links[link];
    facts.name = i.name;
    facts.description = description;
    facts.linktype = kLinktypeCan;
    facts.ours = i.ours;
  }

  std::optional<std::uint16_t> newLink() {
    if (facts_.links.size() >= kMaxLinks) return std::nullopt;
    facts_.links.emplace_back();
    return static_cast<std::uint16_t>(facts_.links.size() - 1);
  }

  /// The index of a link of a Pin16 section: its own one; in a later section the one of the same name.
  std::optional<std::uint16_t> ownLink(std::uint16_t own, const std::string& name) {
    if (const auto known = own_links_.find(own); known != own_links_.end()) return known->second;
    changed_ = true;
    std::optional<std::uint16_t> link;
    auto& links = facts_.links;
    if (own >= kMaxLinks) return link;
    if (own >= links.size()) links.resize(std::size_t{own} + 1);
    if (links[own].linktype == 0) {
      link = own;
    } else {
      for (std::uint16_t i = 0; i < links.size() && !link; ++i) {
        if (links[i].ours && links[i].name == name) link = i;
      }
      if (!link) link = newLink();
    }
    if (!link) return link;
    links[*link].linktype = kLinktypeCan;
    links[*link].ours = true;
    if (links[*link].name.empty()) links[*link].name = name;
    own_links_.emplace(own, *link);
    return link;
  }

  /// The interface of a packet; nothing, with the reason given once a section, if it is not described.
  Interface* interfaceOf(Batch& batch, std::uint32_t number_of_it) {
    if (number_of_it < interfaces_.size()) return &interfaces_[number_of_it];
    ++facts_.skipped.packets;
    if (!std::exchange(unknown_interface_said_, true)) {
      changed_ = true;
      const auto sentence =
          fmt::format("packet of interface {}, {} are described", number_of_it, interfaces_.size());
      damage(batch, offset_, sentence);
      note(sentence);
    }
    return nullptr;
  }

  void skip(Interface& i) {
    ++facts_.skipped.packets;
    if (std::exchange(i.noted, true)) return;
    note(i.linktype == 0
             ? "the description of an interface is lost or damaged"
             : fmt::format("interface {} has link type {}, which carries no CAN frames that are read",
                           i.name.empty() ? "without name" : i.name, i.linktype));
  }

  /// Enhanced and obsolete packet blocks: from byte 4 they are alike.
  void takePacket(Batch& batch, ByteView body, std::uint32_t interface) {
    constexpr std::size_t kFixed = kMinPacket - kMinBlock;
    Interface* i = interfaceOf(batch, interface);
    if (i == nullptr) return;
    const std::uint64_t ticks =
        std::uint64_t{load<std::uint32_t>(body, 4, swapped_)} << 32U | load<std::uint32_t>(body, 8, swapped_);
    const std::size_t captured = load<std::uint32_t>(body, 12, swapped_);
    if (captured > body.size() - kFixed) {
      damage(batch, offset_,
             fmt::format("packet says {} bytes, its block holds {}", captured, body.size() - kFixed));
      return;
    }
    if (i->use == Use::none) return skip(*i);
    const ByteView data = body.subspan(kFixed, captured);
    const std::size_t options = std::min(body.size(), kFixed + (captured + 3) / 4 * 4);
    std::uint8_t flags = 0;
    std::optional<std::uint64_t> sequence;
    Options o(body.subspan(options), swapped_);
    while (o.next()) {
      if (o.code == kEpbFlags && (o.as<std::uint32_t>().value_or(0) & kDirectionMask) == kOutboundPacket)
        flags = kOutbound;
      if (o.code == kEpbPacketId && i->ours) sequence = o.as<std::uint64_t>();
    }
    const Ns t_utc_ns = toNs(ticks, i->tsresol, i->tsoffset_s);
    if (i->use == Use::can) {
      frame(batch, i->link, t_utc_ns, data, flags, sequence);
    } else {
      takeRecord(batch, *i, t_utc_ns, data, flags);
    }
    if (o.broken()) damage(batch, offset_, "an option of a packet reaches behind its block");
  }

  void takeSimple(Batch& batch, ByteView body) {
    Interface* i = interfaceOf(batch, 0);
    if (i == nullptr) return;
    if (i->use != Use::can) return skip(*i);
    std::size_t captured = load<std::uint32_t>(body, 0, swapped_);
    if (i->snaplen != 0) captured = std::min<std::size_t>(captured, i->snaplen);
    frame(batch, i->link, kNoTime, body.subspan(4, std::min(captured, body.size() - 4)), 0, std::nullopt);
  }

  void takeRecord(Batch& batch, Interface& i, Ns t_utc_ns, ByteView data, std::uint8_t flags) {
    if (data.size() < kRecordHeaderSize) {
      damage(batch, offset_,
             fmt::format("record of {} bytes, its header alone takes {}", data.size(), kRecordHeaderSize));
      return;
    }
    const ByteView packed = data.subspan(kRecordHeaderSize);
    const auto kind = static_cast<Kind>(data[1]);
    const auto own = load<std::uint16_t>(data, 2, false);
    Visit visit = Visit::unknown;
    if (data[0] == kRecordVersion && i.use == Use::records) {
      visit = visitRecord(kind, packed, [&](const auto& record) { noteState(own, record); });
    }
    const bool raw = data[0] == kRecordVersion && i.use == Use::bytes && kind == Kind::bytes;
    if (visit == Visit::unknown && !raw) {
      ++facts_.skipped.packets;
      if (!std::exchange(i.noted, true))
        note(fmt::format("records of version {} kind {} are of another Pin16", data[0], data[1]));
      return;
    }
    const auto link = own == kNoLink ? own : ownLink(own, "");
    if (visit == Visit::broken || !link) {
      damage(batch, offset_, fmt::format("record of kind {} cannot be read", data[1]));
      return;
    }
    batch.addRaw(number(load<std::uint64_t>(data, 8, false)), t_utc_ns, *link, kind, packed, flags);
  }

  template <class T>
  void noteState(std::uint16_t own, const T& record) {
    if constexpr (std::is_same_v<T, LinkState>) {
      const auto link = own == kNoLink ? std::nullopt : ownLink(own, record.uri);
      if (!link) return;
      changed_ = changed_ || facts_.links[*link].name != record.uri;
      facts_.links[*link].name = record.uri;
      facts_.links[*link].state = record;
    }
  }

  /// Cumulative: what is new of each interface is added to its link.
  void takeStatistics(ByteView body) {
    const auto n = load<std::uint32_t>(body, 0, swapped_);
    if (n >= interfaces_.size() || interfaces_[n].use != Use::can) return;
    LinkStatistics now = interfaces_[n].statistics;
    Options o(body.subspan(kMinStatistics - kMinBlock), swapped_);
    while (o.next()) {
      const auto value = o.as<std::uint64_t>();
      if (!value) continue;
      if (o.code == kIsbReceived) now.received = *value;
      if (o.code == kIsbDropped) now.dropped = *value;
      if (o.code == kIsbOsDropped) now.os_dropped = *value;
    }
    const LinkStatistics before = std::exchange(interfaces_[n].statistics, now);
    LinkStatistics& sum = facts_.links[interfaces_[n].link].statistics;
    sum.reported = true;
    sum.received += now.received - before.received;
    sum.dropped += now.dropped - before.dropped;
    sum.os_dropped += now.os_dropped - before.os_dropped;
  }

  bool swapped_ = false;
  bool ended_ = false;
  bool readable_ = false;  ///< the section is of a version that we know
  bool first_section_seen_ = false;
  bool unknown_interface_said_ = false;
  std::vector<Interface> interfaces_;
  std::map<std::uint16_t, std::uint16_t> own_links_;  ///< of this section: link of that run to index in links
};

}  // namespace

std::unique_ptr<Decoder> makePcapngDecoder(Window& window, CaptureFacts& facts) {
  return std::make_unique<PcapngDecoder>(window, facts);
}

}  // namespace pin16::capture
