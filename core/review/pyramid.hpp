// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One series of values in time, drawn at any zoom in a bounded number of points without losing a dip:
/// minimum and maximum of any span by a pyramid of sixteenths. One owner, no threads.

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "core/base/clock.hpp"

namespace pin16::review {

class Pyramid {
 public:
  struct Sample {
    Ns t_ns = 0;
    double value = 0;
  };
  /// What lies in one column of a picture.
  struct Column {
    Ns from_ns = 0, to_ns = 0;  ///< [from, to)
    std::uint64_t count = 0;    ///< of kept samples; 0: the others say nothing
    double min = 0, max = 0;
    Sample first, last;
    bool gap_before = false;  ///< between its first sample and the one before nothing could be seen
    bool gap_within = false;  ///< the same somewhere between its samples
  };

  /// Samples kept at most. At more, of every four neighbours the lowest and the highest are kept, with their
  /// own times; at double that, of eight, and so on, everywhere alike. Nothing is joined across a gap. About
  /// 36 MB a series, whatever its length. Where gaps leave nothing to join, the older half is let go.
  static constexpr std::size_t kMostSamples = 1U << 21U;

  explicit Pyramid(std::size_t most = kMostSamples) : most_(most) {}

  /// A time earlier than the last one counts as the last one; a value that is no number is a gap.
  void append(Ns t_ns, double value);
  /// Nothing could be seen between the last sample and the next.
  void gap() { gap_open_ = !samples_.empty(); }

  /// [from, to) in `columns` parts. Every kept sample of the span is in exactly one of them.
  [[nodiscard]] std::vector<Column> columns(Ns from_ns, Ns to_ns, std::size_t columns) const;
  /// The last sample before `t_ns`, and the first at or after it.
  [[nodiscard]] std::optional<Sample> before(Ns t_ns) const;
  [[nodiscard]] std::optional<Sample> after(Ns t_ns) const;
  /// No gap lies between the last sample before `t_ns` and the first at or after it.
  [[nodiscard]] bool joined(Ns t_ns) const;

  [[nodiscard]] std::size_t kept() const { return samples_.size(); }
  [[nodiscard]] std::uint64_t taken() const { return taken_; }
  [[nodiscard]] bool empty() const { return samples_.empty(); }
  [[nodiscard]] Sample first() const { return samples_.front(); }
  [[nodiscard]] Sample last() const { return samples_.back(); }
  /// Of everything taken.
  [[nodiscard]] double lowest() const { return extremes(0, samples_.size()).min; }
  [[nodiscard]] double highest() const { return extremes(0, samples_.size()).max; }
  [[nodiscard]] std::size_t bytes() const;

 private:
  static constexpr std::size_t kFan = 16;
  struct Extremes {
    double min = 0, max = 0;
  };
  [[nodiscard]] std::size_t indexAt(Ns t_ns) const;
  [[nodiscard]] Extremes extremes(std::size_t from, std::size_t to) const;
  [[nodiscard]] bool gapIn(std::size_t after_index, std::size_t to_index) const;
  void note(std::size_t index);
  void closeGroup();
  void thin();

  std::size_t most_;
  std::size_t group_ = 1;  ///< samples of which two are kept; 1: all are
  std::size_t done_ = 0;   ///< samples before the group that is open; the levels know these
  std::vector<Sample> samples_;
  std::vector<std::vector<Extremes>> levels_;  ///< [k][i]: samples from i * 16^(k+1) on, that many
  std::vector<std::size_t> gaps_;              ///< indices of samples that a gap lies before, rising
  bool gap_open_ = false;
  std::uint64_t taken_ = 0;
};

}  // namespace pin16::review
