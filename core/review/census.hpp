// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Counts everything of the one stream, live or from a file.

#include <memory>
#include <unordered_map>
#include <vector>

#include "core/event/batch.hpp"
#include "core/limits/limits.hpp"
#include "core/protocol/attempt.hpp"
#include "core/protocol/line_witness.hpp"
#include "core/protocol/witness.hpp"
#include "core/review/summary.hpp"

namespace pin16::review {

/// Who follows a census: every event of the stream in order, each followed by what was concluded from it. All
/// times UTC. What a file holds of concluded events is not told again.
class Follower {
 public:
  virtual ~Follower() = default;
  /// Error frames included; `wire_ns` 0 where the bit rate is not known.
  virtual void frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t wire_bits,
                     Ns wire_ns) = 0;
  virtual void record(const event::Batch& batch, const event::Header& h, Ns t_ns) = 0;
  virtual void message(std::uint64_t sequence, std::uint16_t link, Ns t_ns,
                       const event::Message& message) = 0;
  virtual void exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns,
                        const event::Exchange& exchange) = 0;
};

/// A sink that keeps one Summary. Memory: bounded by the number of identifiers, messages, exchanges, frames
/// that Pin16 sent, gaps and damage. One owner, one thread (the producer's). What it finds does not depend on
/// where the batches are cut.
class Census : public event::Sink {
 public:
  explicit Census(limits::Limits limits)
      : limits_(std::move(limits)),
        attempts_(limits_),
        power_(limits_),
        repeat_max_ns_(fromMs(limits_.value("attempt.repeat_max_ms"))) {}
  Census(const Census&) = delete;  // its witnesses report to this very object
  Census& operator=(const Census&) = delete;

  /// Identifiers of the job's module; for every link, before the first batch.
  void hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended);
  /// Bit rate of links that do not state theirs; 0 = unknown. Before the first batch.
  void assumeBitrate(std::uint32_t bitrate) { assumed_bitrate_ = bitrate; }

  /// One follower; before the first batch, and it outlives finish().
  void follow(Follower& follower) { follower_ = &follower; }

  void take(const event::Batch& batch) override;

  /// The stream ended at `end_utc_ns` (kNoTime: with its last event). Call once; nothing can be taken after.
  [[nodiscard]] Summary finish(Ns end_utc_ns = kNoTime);

  /// Live: time passed without an event, and what is known of attempts so far.
  void advance(Ns now_utc_ns);
  [[nodiscard]] const protocol::AttemptWatch& attempts() const { return attempts_; }

 private:
  struct PerLink {
    explicit PerLink(std::unique_ptr<protocol::Witness> w) : witness(std::move(w)) {}
    std::unique_ptr<protocol::Witness> witness;
    std::unique_ptr<protocol::LineWitness> lines;  ///< once a message of a line medium was seen
    can::LoadMeter load;
    LinkSummary summary;
    event::CanFrame last;
    Ns last_ns = kNoTime;
    std::uint64_t repeats = 0;  ///< of `last`, at once
  };

  PerLink& link(std::uint16_t index);
  [[nodiscard]] double afterPoll(std::uint16_t index, Ns request_ns) const;
  void takeState(std::uint16_t index, const event::LinkState& state);
  void takeLine(std::uint16_t index, Ns t_utc_ns, Ns utc_offset_ns, event::Line line);
  void takeFrame(const event::Batch& batch, const event::Header& h, Ns t_utc_ns);
  [[nodiscard]] bool repeatedOften(PerLink& on, Ns t_utc_ns, const event::CanFrame& frame) const;
  [[nodiscard]] Passes comparePasses() const;
  void takeErrorFrame(PerLink& on, const event::CanFrame& frame);
  void takeGap(std::uint16_t index, Ns utc_offset_ns, event::Gap gap);
  void takeLoss(const event::Loss& loss);
  void takeClock(const event::Clock& clock);
  void takeRecord(const event::Batch& batch, const event::Header& h, Ns t_utc_ns);

  limits::Limits limits_;
  protocol::AttemptWatch attempts_;
  PowerCounter power_;
  Ns repeat_max_ns_;
  struct Hint {
    std::uint32_t request_id, answer_id;
    bool extended;
  };
  std::vector<Hint> hints_;
  std::uint32_t assumed_bitrate_ = 0;
  std::vector<std::unique_ptr<PerLink>> links_;                   ///< null: index not seen
  std::unordered_map<std::uint64_t, std::uint64_t> identifiers_;  ///< link << 32 | identifier with its flag
  std::vector<std::uint64_t> error_classes_;                      ///< by index in can::errorClasses()
  bool clock_seen_ = false;
  Follower* follower_ = nullptr;
  std::uint64_t sequence_ = 0;  // of the event at hand
  Summary summary_;
};

}  // namespace pin16::review
