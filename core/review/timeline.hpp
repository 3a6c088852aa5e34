// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What a time axis shows of a stream: series of what was measured, bus load, exchanges, and marks. Follows a
/// census, live or over a file. All times UTC ns.

#include <deque>
#include <map>
#include <string>
#include <tuple>
#include <vector>

#include "core/review/census.hpp"
#include "core/review/pyramid.hpp"

namespace pin16::review {

/// Several followers of one census, called in this order; they outlive it.
class Followers : public Follower {
 public:
  explicit Followers(std::vector<Follower*> all) : all_(std::move(all)) {}
  void frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t wire_bits,
             Ns wire_ns) override;
  void record(const event::Batch& batch, const event::Header& h, Ns t_ns) override;
  void message(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Message& message) override;
  void exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns,
                const event::Exchange& exchange) override;

 private:
  std::vector<Follower*> all_;
};

/// One exchange, as a bar.
struct ExchangeBar {
  Ns from_ns = 0;              ///< the request
  Ns to_ns = 0;                ///< its answer's begin, or as long as was waited
  Ns complete_ns = 0;          ///< the answer's end; to_ns if there was none
  std::uint64_t sequence = 0;  ///< of the event after which it was concluded
  std::uint32_t request_id = 0, answer_id = 0;
  std::uint16_t link = event::kNoLink;
  event::Ended ended = event::Ended::silent;
  std::uint8_t service = 0;
  bool extended = false, line = false, ours = false, late = false, pending = false;
};

/// Something that happened at a time, or lasted.
struct TimeMark {
  enum class What : std::uint8_t { power_on, power_off, gap, loss, attempt_begin, attempt_end, note, error };
  What what = What::note;
  Ns from_ns = 0, to_ns = 0;  ///< alike for a moment
  std::uint16_t link = event::kNoLink;
  std::uint64_t sequence = 0;
  std::string text;
};

class Timeline : public Follower {
 public:
  /// Of the load's series. Own figure: shows a burst of requests, longer than what any stamp jitters.
  static constexpr Ns kLoadBucket_ns = 100 * kNsPerMs;
  /// Own figures: at more, the later ones are counted only.
  static constexpr std::size_t kMostBars = 1U << 20U;
  static constexpr std::size_t kMostMarks = 1U << 14U;

  struct Series {
    std::string point, unit;
    std::uint16_t link = event::kNoLink;
    Pyramid values;
  };

  /// `silence_ns`: how long a silent exchange is drawn, the time that was waited for its answer.
  explicit Timeline(Ns silence_ns) : silence_ns_(silence_ns) {}

  void frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t wire_bits,
             Ns wire_ns) override;
  void record(const event::Batch& batch, const event::Header& h, Ns t_ns) override;
  void message(std::uint64_t, std::uint16_t, Ns, const event::Message&) override {}
  void exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns,
                const event::Exchange& exchange) override;
  /// The stream ended, or nothing came until then: what is open is closed.
  void finish();

  /// What instruments sampled, by point and link in the order of their first sample. None moves in memory.
  [[nodiscard]] const std::deque<Series>& series() const { return series_; }
  /// Share of the bus in percent, a value each bucket with its middle's time; by link, only those with a bit
  /// rate. A quiet bucket is 0.
  [[nodiscard]] const std::map<std::uint16_t, Pyramid>& load() const { return load_; }
  /// Error frames of a bucket, by link, where there was one.
  [[nodiscard]] const std::map<std::uint16_t, Pyramid>& errors() const { return errors_; }
  /// Readings that people typed: value at a time, by point.
  struct Reading {
    Ns t_ns = 0;
    std::uint64_t sequence = 0;
    event::Measurement measurement;
  };
  [[nodiscard]] const std::vector<Reading>& readings() const { return readings_; }
  [[nodiscard]] const std::vector<TimeMark>& marks() const { return marks_; }
  [[nodiscard]] std::uint64_t marksLeftOut() const { return marks_left_out_; }
  [[nodiscard]] std::uint64_t exchanges() const { return bars_.size() + bars_left_out_; }

  /// Exchanges that touch [from, to), by time of request, at most `most`; what is more is in `left_out`.
  struct Bars {
    std::vector<ExchangeBar> bars;
    std::uint64_t left_out = 0;
  };
  [[nodiscard]] Bars bars(Ns from_ns, Ns to_ns, std::size_t most) const;
  /// The exchanges requested in [from, to) by how they ended, in as many columns.
  struct BarCounts {
    std::uint64_t answered = 0, negative = 0,
                  others = 0;  ///< others: silent, incomplete, link-lost, not-seen
    [[nodiscard]] std::uint64_t total() const { return answered + negative + others; }
  };
  [[nodiscard]] std::vector<BarCounts> barCounts(Ns from_ns, Ns to_ns, std::size_t columns) const;

  [[nodiscard]] Ns firstNs() const { return first_ns_; }
  [[nodiscard]] Ns lastNs() const { return last_ns_; }

 private:
  struct Bucket {
    Ns from_ns = kNoTime;
    Ns busy_ns = 0;
    std::uint64_t errors = 0;
    bool rated = false;
  };
  void saw(Ns t_ns);
  void intoBucket(std::uint16_t link, Ns t_ns, Ns wire_ns, bool error);
  void closeBucket(std::uint16_t link, Bucket& bucket);
  Series& seriesOf(std::uint16_t link, const event::Measurement& m);
  void mark(TimeMark mark);

  Ns silence_ns_;
  Ns first_ns_ = kNoTime, last_ns_ = kNoTime;
  std::deque<Series> series_;
  std::map<std::tuple<std::uint16_t, std::string, std::string>, std::size_t> series_by_;
  std::map<std::uint16_t, Pyramid> load_, errors_;
  std::map<std::uint16_t, Bucket> buckets_;
  std::vector<Reading> readings_;
  std::vector<ExchangeBar> bars_;  ///< by request time, but for the last few
  Ns longest_bar_ns_ = 0;
  std::uint64_t bars_left_out_ = 0;
  std::vector<TimeMark> marks_;
  std::uint64_t marks_left_out_ = 0;
  event::PowerState power_ = event::PowerState::unknown;
};

}  // namespace pin16::review
