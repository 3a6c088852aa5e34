// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Where in a capture its events lie: one mark for each 1024 of them, so that any window of a file of any
/// length is read at once, by number or by time. Events are numbered from 0 in the order of the file, damage
/// included, exactly as Reader gives them.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/result.hpp"
#include "core/event/batch.hpp"

namespace pin16::capture {

/// A byte of the file at which reading can begin, and the sequence number of the last event before it.
struct Place {
  std::uint64_t offset = 0;
  std::uint64_t sequence = 0;
  [[nodiscard]] bool operator==(const Place&) const = default;
  template <class A>
  void fields(A& a) {
    a(offset), a(sequence);
  }
};

struct Mark {
  Place place;
  std::uint64_t first = 0;  ///< number of the first event read from there
  Ns t_ns = kNoTime;        ///< of the first event from there that has a time, UTC
  [[nodiscard]] bool operator==(const Mark&) const = default;
  template <class A>
  void fields(A& a) {
    a(place), a(first), a(t_ns);
  }
};

/// Memory: 32 bytes for each 1024 events (0.6 MB for 20 million), 16 for each description of a section, an
/// interface or a link. Data only.
struct Index {
  static constexpr std::uint64_t kEvery = 1024;
  /// Own figure, bounds what a damaged file can make us keep: from here on no more events are indexed.
  static constexpr std::size_t kMaxStructure = 1U << 18U;

  std::vector<Mark> marks;
  /// Where what later bytes depend on is described: sections, interfaces, new links.
  std::vector<Place> structure;
  std::uint64_t events = 0;  ///< that can be read by it
  /// Where reading goes on if the file grows, and the events before it: a block that was cut off at the end
  /// of the file is an event of damage behind it.
  Place end;
  std::uint64_t events_before_end = 0;
  Ns first_ns = kNoTime, last_ns = kNoTime;  ///< earliest and latest time
  bool whole = true;                         ///< kMaxStructure was not met

  /// What Reader::takeIndex() or the next call of it gave.
  void append(Index part);
  template <class A>
  void fields(A& a) {
    a(marks), a(structure), a(events), a(end), a(events_before_end), a(first_ns), a(last_ns), a(whole);
  }
};

class Decoder;
class IndexBuilder;
class Window;
struct CaptureFacts;

/// Any window of one capture. One owner, one thread. By pread: a file that grows or shrinks meanwhile does no
/// harm; what is no longer there is damage or missing at the end.
class Browser {
 public:
  /// As Reader::open(). The index is empty until appended to, or grown.
  [[nodiscard]] static Result<std::unique_ptr<Browser>> open(const std::string& path);
  ~Browser();
  Browser(const Browser&) = delete;
  Browser& operator=(const Browser&) = delete;

  void append(Index part) { index_.append(std::move(part)); }
  void forget();  ///< the index, to be put together anew
  [[nodiscard]] const Index& index() const { return index_; }
  [[nodiscard]] std::uint64_t events() const { return index_.events; }

  /// Indexes what lies behind the index's end, at most about `most_bytes` of it: a file that is being
  /// written. True if the number of events changed.
  bool grow(std::uint64_t most_bytes);

  /// Clears `batch` and fills it with the events from number `first` on, at most `count` of them.
  void read(std::uint64_t first, std::size_t count, event::Batch& batch);
  /// Number of the first event at or after `t_ns`; events() if there is none. Where times go back, the place
  /// that leaves fewest events on the wrong side: one damaged stamp moves nothing.
  [[nodiscard]] std::uint64_t at(Ns t_ns);

 private:
  Browser();
  /// A decoder that has taken every step of the structure before `place` and stands there.
  void goTo(const Place& place);

  std::string path_;
  std::unique_ptr<Window> window_;
  std::unique_ptr<CaptureFacts> facts_;  ///< of the decoder; not complete
  std::unique_ptr<Decoder> decoder_;
  std::unique_ptr<IndexBuilder> builder_;
  Index index_;
  Place begin_;
  bool strayed_ = false;  ///< the decoder took a step behind the index's end: it must begin anew
  event::Batch scratch_;
};

/// What tells one file from another of the same name.
struct FileFacts {
  std::string path;  ///< absolute
  std::uint64_t size = 0;
  Ns changed_ns = 0;  ///< of its contents
  std::string ends;   ///< SHA-256 of its first and last 64 KiB
  [[nodiscard]] bool operator==(const FileFacts&) const = default;
  template <class A>
  void fields(A& a) {
    a(path), a(size), a(changed_ns), a(ends);
  }
};
[[nodiscard]] Result<FileFacts> factsOf(const std::string& path);

/// Indexes already made, in $XDG_CACHE_HOME/pin16 or ~/.cache/pin16; at most kMaxCached files, the oldest go
/// first. ErrorKind::input: there is none for this very file, or it is damaged.
inline constexpr std::size_t kMaxCached = 64;
[[nodiscard]] std::string indexFolder();
[[nodiscard]] Result<Index> loadIndex(const FileFacts& file);
/// `file` as it was before it was read: one that has changed since is not kept. ErrorKind::record.
Status saveIndex(const FileFacts& file, const Index& index);

}  // namespace pin16::capture
