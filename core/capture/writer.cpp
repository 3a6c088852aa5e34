// SPDX-License-Identifier: Apache-2.0
#include "core/capture/writer.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "core/capture/blocks.hpp"
#include "core/capture/describe.hpp"

namespace pin16::capture {
namespace {

using namespace event;

constexpr mode_t kMode = 0644;
constexpr std::uint8_t kNanoseconds = 9;  // if_tsresol: 10^-9 s
constexpr std::uint32_t kNoSnaplen = 0;
/// Room for the fixed part, record header, comment and the other options of a packet block.
constexpr std::size_t kBlockOverhead = 2048;

/// Cut at a character's border, so that the text stays UTF-8.
std::string cut(std::string text) {
  if (text.size() <= kMaxText) return text;
  std::size_t end = kMaxText;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80U) --end;
  text.resize(end);
  return text;
}

Error recordError(const std::string& path, const std::string& what, const std::string& advice) {
  return {ErrorKind::record, what, path, advice};
}

Result<int> makeNew(const std::string& path) {
  const int fd = open(path.c_str(), O_CREAT | O_EXCL | O_WRONLY | O_CLOEXEC, kMode);
  if (fd >= 0) return fd;
  if (errno == EEXIST) {
    return recordError(path, "exists already and is never overwritten",
                       "Give another name, or move the old recording away");
  }
  return recordError(path, fmt::format("cannot be made: {}", std::strerror(errno)),
                     "Give a path in a directory that exists and that you may write to");
}

/// A new name survives a pulled plug only once its directory is on disk. A directory that cannot be synced
/// (some network file systems) is no reason not to record.
void syncDirectory(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  const std::string directory = slash == std::string::npos ? "." : path.substr(0, slash + 1);
  const int fd = open(directory.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) return;
  (void)fsync(fd);
  close(fd);
}

/// Number of bytes written; less than asked for only on an error, which is then in errno.
std::size_t writeAll(int fd, ByteView bytes, std::optional<std::uint64_t> offset) {
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ByteView rest = bytes.subspan(done);
    const ssize_t n = offset ? pwrite(fd, rest.data(), rest.size(), static_cast<off_t>(*offset + done))
                             : write(fd, rest.data(), rest.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) break;
    done += static_cast<std::size_t>(n);
  }
  return done;
}

ByteView viewOf(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

/// Times inside a record are on the clock of its event: UTC in the file.
Bytes withFileTimes(Kind kind, ByteView packed, Ns offset) {
  const auto moved = [&](auto record, auto... members) {
    if (!unpack(packed, record)) return Bytes(packed.begin(), packed.end());
    for (Ns* t : {&(record.*members)...}) {
      Ns utc_ns = 0;
      if (*t != kNoTime && !__builtin_add_overflow(*t, offset, &utc_ns)) *t = utc_ns;
    }
    return pack(record);
  };
  if (kind == Kind::gap) return moved(Gap{}, &Gap::from_ns, &Gap::to_ns);
  if (kind == Kind::message) return moved(Message{}, &Message::first_ns);
  if (kind == Kind::line) return moved(Line{}, &Line::first_ns);
  if (kind == Kind::digest) return moved(Digest{}, &Digest::first_ns);
  if (kind == Kind::exchange) return moved(Exchange{}, &Exchange::request_ns, &Exchange::handed_ns);
  return {packed.begin(), packed.end()};
}

}  // namespace

Result<std::unique_ptr<Writer>> Writer::create(const std::string& path, const SectionFacts& facts) {
  if (access(sumPath(path).c_str(), F_OK) == 0) {
    return recordError(sumPath(path), "exists already: the sum of another recording of that name",
                       "Give another name, or move the old recording away");
  }
  const auto fd = makeNew(path);
  if (!fd) return fd.error();
  const auto blocks_fd = makeNew(blocksPath(path));
  if (!blocks_fd) {
    close(*fd);
    unlink(path.c_str());
    return blocks_fd.error();
  }
  std::unique_ptr<Writer> w(new Writer(path, *fd, *blocks_fd, facts.utc_offset_ns));
  w->addSection(facts);
  if (auto flushed = w->flush(); !flushed) return flushed.error();
  syncDirectory(path);
  return w;
}

Writer::Writer(std::string path, int fd, int blocks_fd, Ns utc_offset_ns)
    : path_(std::move(path)), fd_(fd), blocks_fd_(blocks_fd), utc_offset_ns_(utc_offset_ns) {}

Writer::~Writer() {
  close(fd_);
  close(blocks_fd_);
}

void Writer::addSection(const SectionFacts& facts) {
  BlockBuilder b(buffer_, kSectionHeader);
  b.put(kByteOrderMagic);
  b.put(kVersionMajor);
  b.put(std::uint16_t{0});
  b.put(std::int64_t{-1});  // the length of the section is not known ahead
  b.optionText(kShbHardware, cut(facts.hardware));
  b.optionText(kShbOs, cut(facts.os));
  b.optionText(kShbApplication, cut(facts.application));
  b.optionText(kOptComment, cut(facts.comment));
  b.optionText(kOptComment,
               fmt::format("All times: CLOCK_BOOTTIME + {} ns, fixed at the start", utc_offset_ns_));
  b.finish(true);
}

std::uint32_t Writer::addInterface(std::uint16_t linktype, const std::string& comment,
                                   const LinkState& facts) {
  BlockBuilder b(buffer_, kInterfaceDescription);
  b.put(linktype);
  b.put(std::uint16_t{0});
  b.put(kNoSnaplen);
  b.optionText(kOptComment, comment);
  b.optionText(kIfName, cut(facts.uri));
  b.optionText(kIfDescription, cut(facts.description));
  if (facts.bitrate != 0) b.optionValue(kIfSpeed, std::uint64_t{facts.bitrate});
  b.optionValue(kIfTsresol, kNanoseconds);
  b.optionText(kIfHardware, cut(facts.driver));
  b.finish(true);
  interfaces_.emplace_back();
  return static_cast<std::uint32_t>(interfaces_.size() - 1);
}

std::uint32_t Writer::canInterface(std::uint16_t link) {
  LinkSlot& slot = links_[link];
  if (!slot.current) {
    LinkState unknown;
    unknown.uri = fmt::format("link {}", link);
    unknown.description = "state not known when its first frame came";
    slot.current = addInterface(kLinktypeCan, fmt::format("{}{}", kLinkComment, link), unknown);
    can_.push_back(*slot.current);
  }
  return *slot.current;
}

void Writer::noteState(std::uint16_t link, const LinkState& s) {
  LinkSlot& slot = links_[link];
  const Mode mode{s.uri, s.bitrate, s.data_bitrate, s.fd, s.listen_only, s.silence, s.time_origin};
  if (const auto known = slot.modes.find(mode); known != slot.modes.end()) {
    slot.current = known->second;
    return;
  }
  LinkState facts = s;
  facts.text.clear();  // passing trouble belongs to the event, not to the interface
  facts.controller = "unknown";
  std::string mode_text = describeState(facts);
  mode_text.erase(0, mode_text.find(", ") + 2);  // so does the condition
  facts.description = s.description.empty() ? mode_text : s.description + ": " + mode_text;
  slot.current = addInterface(kLinktypeCan, fmt::format("{}{}", kLinkComment, link), facts);
  can_.push_back(*slot.current);
  slot.modes.emplace(mode, *slot.current);
}

std::uint64_t Writer::fileTime(Ns t_boot_ns) const {
  const Ns t = t_boot_ns == kNoTime ? start_ns_ : t_boot_ns;
  Ns utc_ns = 0;
  if (__builtin_add_overflow(t, utc_offset_ns_, &utc_ns) || utc_ns < 0) return 0;
  return static_cast<std::uint64_t>(utc_ns);
}

void Writer::addFrame(const Header& h, ByteView payload) {
  const std::uint32_t interface = canInterface(h.link);
  ++interfaces_[interface].received;
  BlockBuilder b(buffer_, kEnhancedPacket);
  b.put(interface);
  b.putHighLow(fileTime(h.t_ns));
  b.put(static_cast<std::uint32_t>(payload.size()));
  b.put(static_cast<std::uint32_t>(payload.size()));
  b.raw(payload);
  b.pad();
  b.optionValue(kEpbFlags, (h.flags & kOutbound) != 0 ? kOutboundPacket : kInbound);
  b.optionValue(kEpbPacketId, h.sequence);
  b.finish(true);
}

void Writer::addRecord(const Header& h, const Batch& batch) {
  const bool raw = h.kind == Kind::bytes;
  auto& interface = raw ? bytes_ : records_;
  if (!interface) {
    LinkState facts;
    facts.uri = raw ? kBytesName : kRecordsName;
    facts.description =
        raw ? "serial bytes of the links" : "samples, readings, notes, states and conclusions of the run";
    interface = addInterface(raw ? kLinktypeBytes : kLinktypeRecords, "", facts);
  }
  const Bytes payload = withFileTimes(h.kind, batch.payload(h), utc_offset_ns_);
  const auto size = static_cast<std::uint32_t>(kRecordHeaderSize + payload.size());
  BlockBuilder b(buffer_, kEnhancedPacket);
  b.put(*interface);
  b.putHighLow(fileTime(h.t_ns));
  b.put(size);
  b.put(size);
  b.put(kRecordVersion);
  b.put(h.kind);
  b.put(h.link);
  b.put(std::uint32_t{0});
  b.put(h.sequence);
  b.raw(payload);
  b.pad();
  const std::string link = h.link == kNoLink ? "" : fmt::format("link {}: ", h.link);
  b.optionText(kOptComment, cut(link + describe(h, batch)));
  if ((h.flags & kOutbound) != 0) b.optionValue(kEpbFlags, kOutboundPacket);
  b.finish(true);
}

void Writer::addStatistics() {
  const auto highLow = [](std::uint64_t v) { return v << 32U | v >> 32U; };  // options of two u32, high first
  for (const std::uint32_t i : can_) {
    BlockBuilder b(buffer_, kInterfaceStatistics);
    b.put(i);
    b.putHighLow(fileTime(last_ns_));
    b.optionValue(kIsbStart, highLow(fileTime(start_ns_)));
    b.optionValue(kIsbEnd, highLow(fileTime(last_ns_)));
    b.optionValue(kIsbReceived, interfaces_[i].received);
    b.optionValue(kIsbDropped, interfaces_[i].dropped);
    b.finish(true);
  }
  statistics_ns_ = last_ns_;
}

Status Writer::takeOne(const Header& h, const Batch& batch) {
  const bool can = h.kind == Kind::frame || h.kind == Kind::link || h.kind == Kind::loss;
  if (h.link != kNoLink ? h.link >= kMaxLinks : h.kind == Kind::frame) {
    return Error{ErrorKind::internal,
                 fmt::format("event {} has link {}, links are 0..{}", h.sequence, h.link, kMaxLinks - 1),
                 path_, ""};
  }
  if (h.length > kMaxBlock - kBlockOverhead) {
    return Error{ErrorKind::internal,
                 fmt::format("event {} has {} bytes, a block holds {}", h.sequence, h.length,
                             kMaxBlock - kBlockOverhead),
                 path_, ""};
  }
  if (h.t_ns != kNoTime) last_ns_ = std::max(last_ns_, h.t_ns);
  if (start_ns_ == kNoTime) start_ns_ = statistics_ns_ = last_ns_ = h.t_ns != kNoTime ? h.t_ns : bootNow();
  if (can && h.link != kNoLink && h.link >= links_.size()) links_.resize(std::size_t{h.link} + 1);
  if (h.kind == Kind::frame) {
    addFrame(h, batch.payload(h));
  } else {
    if (h.kind == Kind::link && h.link != kNoLink) {
      // A meter has no frames, so no interface of its own.
      if (const auto state = batch.record<LinkState>(h); state && !state->meter) noteState(h.link, *state);
    } else if (h.kind == Kind::loss && h.link != kNoLink) {
      const auto loss = batch.record<Loss>(h);
      if (loss && loss->place != LossPlace::queue) interfaces_[canInterface(h.link)].dropped += loss->count;
    }
    addRecord(h, batch);
  }
  if (last_ns_ - statistics_ns_ >= kStatisticsEvery_ns) addStatistics();
  return {};
}

Status Writer::take(const Batch& batch) {
  if (finished_) return Error{ErrorKind::internal, "events came after the end of the recording", path_, ""};
  Status first;
  for (const Header& h : batch.headers) {
    if (auto s = takeOne(h, batch); !s && first) first = s;
  }
  return first;
}

Error Writer::failed(const std::string& what, const std::string& path, int error) const {
  return recordError(
      path,
      fmt::format("{}: {} ({} bytes of the recording are written)", what, std::strerror(error), written_),
      error == ENOSPC || error == EDQUOT || error == EFBIG
          ? "Make room on that disk, or record to another one"
          : "Check the disk, or record to another one");
}

Status Writer::flush() {
  const std::size_t n = writeAll(fd_, buffer_, written_);
  const int error = errno;
  const bool whole = n == buffer_.size();
  written_ += n;
  Status hashed = hashWritten(ByteView(buffer_).first(n));
  buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(n));
  if (!whole) return failed("cannot be written", path_, error);
  return hashed;
}

Status Writer::hashWritten(ByteView bytes) {
  total_.add(bytes);
  Status first;
  while (!bytes.empty()) {
    const std::size_t n = std::min<std::uint64_t>(bytes.size(), kHashBlock - block_held_);
    block_.add(bytes.first(n));
    block_held_ += n;
    bytes = bytes.subspan(n);
    if (block_held_ < kHashBlock) continue;
    if (auto s = addBlockLine(); !s && first) first = s;
  }
  return first;
}

Status Writer::addBlockLine() {
  const BlockLine entry{block_index_, block_index_ * kHashBlock, block_held_, block_.finish()};
  const std::string text = entry.text();
  ++block_index_;
  block_held_ = 0;
  if (writeAll(blocks_fd_, viewOf(text), std::nullopt) != text.size())
    return failed("cannot be written", blocksPath(path_), errno);
  return {};
}

Status Writer::sync() {
  if (fdatasync(fd_) != 0) return failed("cannot be synced to disk", path_, errno);
  if (fdatasync(blocks_fd_) != 0) return failed("cannot be synced to disk", blocksPath(path_), errno);
  return {};
}

Status Writer::finish() {
  if (finished_) return {};
  addStatistics();
  if (auto s = flush(); !s) return s;
  finished_ = true;
  if (block_held_ != 0) {
    if (auto s = addBlockLine(); !s) return s;
  }
  if (auto s = sync(); !s) return s;
  const auto sum_fd = makeNew(sumPath(path_));
  if (!sum_fd) return sum_fd.error();
  const std::string text = sumLine(total_.finish(), path_);
  const bool good = writeAll(*sum_fd, viewOf(text), std::nullopt) == text.size() && fdatasync(*sum_fd) == 0;
  const int error = errno;
  close(*sum_fd);
  if (!good) return failed("cannot be written", sumPath(path_), error);
  syncDirectory(path_);
  return {};
}

}  // namespace pin16::capture
