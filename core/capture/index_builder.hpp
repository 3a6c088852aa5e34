// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Keeps an index while a decoder steps. Private to core/capture.

#include "core/capture/decoder.hpp"

namespace pin16::capture {

class IndexBuilder {
 public:
  /// Goes on behind an index that exists.
  void goOn(const Index& from) {
    part_ = {};
    part_.events = part_.events_before_end = from.events_before_end;
    part_.end = from.end;
    part_.first_ns = from.first_ns;
    part_.last_ns = from.last_ns;
    part_.whole = from.whole;
    next_mark_ = from.marks.empty() ? 0 : from.marks.back().first + Index::kEvery;
    structure_ = from.structure.size();
    time_open_ = false;
  }

  /// One step of the decoder, noted. Returns what the step returns.
  bool step(Decoder& decoder, event::Batch& batch) {
    const Place before = decoder.place();
    const std::size_t had = batch.headers.size();
    const bool more = decoder.step(batch);
    const bool changed = decoder.takeChanged();
    if (!part_.whole) return more;
    const auto fresh = std::span(batch.headers).subspan(had);
    if (more && changed) noteStructure(before);
    if (!fresh.empty() && part_.events + fresh.size() > next_mark_ &&
        fresh.front().kind != event::Kind::damage) {
      part_.marks.push_back({before, part_.events, kNoTime});
      next_mark_ = part_.events + Index::kEvery;
      time_open_ = true;
    }
    for (const event::Header& h : fresh) noteTime(h.t_ns);
    part_.events += fresh.size();
    if (more) {
      part_.end = decoder.place();
      part_.events_before_end = part_.events;
    }
    return more;
  }

  /// What is new.
  [[nodiscard]] Index take() {
    Index out = part_;
    part_.marks.clear();
    part_.structure.clear();
    // A mark goes out with its time, or waits for it.
    if (time_open_ && !out.marks.empty() && out.marks.back().t_ns == kNoTime) {
      part_.marks.push_back(out.marks.back());
      out.marks.pop_back();
    }
    return out;
  }

 private:
  void noteStructure(const Place& before) {
    if (structure_ >= Index::kMaxStructure) {
      part_.whole = false;
      return;
    }
    part_.structure.push_back(before);
    ++structure_;
  }
  void noteTime(Ns t_ns) {
    if (t_ns == kNoTime) return;
    if (time_open_ && !part_.marks.empty()) part_.marks.back().t_ns = t_ns;
    time_open_ = false;
    if (part_.first_ns == kNoTime || t_ns < part_.first_ns) part_.first_ns = t_ns;
    if (part_.last_ns == kNoTime || t_ns > part_.last_ns) part_.last_ns = t_ns;
  }

  Index part_;
  std::uint64_t next_mark_ = 0;
  std::size_t structure_ = 0;
  bool time_open_ = false;
};

}  // namespace pin16::capture
