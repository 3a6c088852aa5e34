// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The study's opponents, written and committed before the reasons were: a fixed checklist from the source to
/// the module, and a random order. Readings by their ids; what one costs is the same for everybody
/// (the table of readings). Common practice, no source.

#include <cstdint>
#include <string_view>
#include <vector>

namespace pin16::study {

/// One line of the checklist. Numeric readings are sound from `low` to `high`, others if the answer is among
/// `good`.
struct Check {
  const char* block;    ///< a step within a power state; the checklist stops at the first faulty block
  const char* reading;  ///< id
  double low = 0, high = 0;
  std::vector<std::string_view> good;
};
/// In the order in which it is worked through: power off, source alone, power on; in each from the source to
/// the answer.
[[nodiscard]] const std::vector<Check>& checklist();
[[nodiscard]] bool sound(const Check& check, double value);
[[nodiscard]] bool sound(const Check& check, std::string_view answer);

/// A permutation of 0 .. count-1 by the seed.
[[nodiscard]] std::vector<std::size_t> randomOrder(std::size_t count, std::uint64_t seed);

/// The checklist as a run. next() says the index in checklist() of what to measure; take() its verdict. At
/// the first faulty reading the rest of its block is measured too, which confirms it, and the run is over.
class ChecklistRun {
 public:
  /// `allowed`: the reading exists in this arrangement.
  explicit ChecklistRun(std::vector<bool> allowed) : allowed_(std::move(allowed)) { skip(); }
  [[nodiscard]] bool over() const;
  [[nodiscard]] std::size_t next() const { return at_; }
  void take(bool is_sound);

 private:
  void skip();
  std::vector<bool> allowed_;
  std::size_t at_ = 0;
  std::string_view faulty_;  ///< block; empty none yet
};

}  // namespace pin16::study
