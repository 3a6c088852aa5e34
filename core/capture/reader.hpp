// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Any valid pcapng with CAN frames (LINKTYPE_CAN_SOCKETCAN), Pin16's own records in it, and classic pcap of
/// that link type, as batches of events with UTC times.

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "core/base/result.hpp"
#include "core/capture/index.hpp"
#include "core/capture/writer.hpp"
#include "core/event/batch.hpp"

namespace pin16::capture {

class Decoder;
class IndexBuilder;
class Window;

/// What Interface Statistics Blocks say, summed over the interfaces of a link. In Pin16's own files the same
/// losses are in the stream as events: do not add them.
struct LinkStatistics {
  bool reported = false;
  std::uint64_t received = 0;
  std::uint64_t dropped = 0;     ///< by the interface (isb_ifdrop)
  std::uint64_t os_dropped = 0;  ///< by the operating system (isb_osdrop)
};

/// One link of a capture; its index is the `link` of events.
struct LinkFacts {
  std::string name;  ///< URI in our files, interface name in others; "interface N" if it has none
  std::string description;
  std::uint16_t linktype = 0;             ///< 0: an index that no interface or record has used
  bool ours = false;                      ///< recorded by Pin16
  std::optional<event::LinkState> state;  ///< the last one of the file so far
  LinkStatistics statistics;
};

/// Packets of a valid file that carry nothing for us: no damage.
struct Skipped {
  static constexpr std::size_t kMaxNotes = 64;
  std::uint64_t packets = 0;
  std::vector<std::string> notes;  ///< one sentence for each reason, at most kMaxNotes
};

/// What is known of a file beside its events; grows while reading, complete at the end.
struct CaptureFacts {
  std::vector<LinkFacts> links;
  Skipped skipped;
  SectionFacts section;  ///< of the first section; utc_offset_ns stays 0
};

/// One owner, one thread. Reads by pread with a sliding window, so a file that grows or shrinks meanwhile
/// does no harm; no length is believed beyond kMaxBlock and the end of the file. Damage becomes an event of
/// Kind::damage with byte offset and reason, and reading goes on at the next plausible block.
/// Sequence numbers: ours are restored (later sections of a file are numbered on, so that none repeats);
/// other captures are counted from 1. A damage event has the number after the last one read.
class Reader {
 public:
  /// ErrorKind::input if the file cannot be read or is neither pcapng nor pcap.
  [[nodiscard]] static Result<std::unique_ptr<Reader>> open(const std::string& path);
  ~Reader();
  Reader(const Reader&) = delete;
  Reader& operator=(const Reader&) = delete;

  /// Clears `batch` and fills it with up to event::kBatchEvents events; false at the end of the file.
  bool next(event::Batch& batch);

  [[nodiscard]] const std::vector<LinkFacts>& links() const { return facts_.links; }
  [[nodiscard]] const Skipped& skipped() const { return facts_.skipped; }
  [[nodiscard]] const SectionFacts& section() const { return facts_.section; }
  /// Bytes read so far, for progress.
  [[nodiscard]] std::uint64_t offset() const;

  /// From now on, best before the first next(), an index (index.hpp) is kept of what is read.
  void keepIndex();
  /// What of it is new since the last call; put together by Index::append().
  [[nodiscard]] Index takeIndex();

 private:
  Reader();
  friend class Browser;
  static Result<std::unique_ptr<Decoder>> decoderFor(Window& window, CaptureFacts& facts,
                                                     const std::string& path);
  std::unique_ptr<Window> window_;
  CaptureFacts facts_;
  std::unique_ptr<Decoder> decoder_;
  std::unique_ptr<IndexBuilder> builder_;
};

}  // namespace pin16::capture
