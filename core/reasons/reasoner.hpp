// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Which cause is it, and what to measure next. Hypotheses are the sound bench, each cause, and each pair of
/// causes; each is a cloud of sampled benches (model.hpp) that show the symptom: nobody answers. A reading
/// re-weights the samples by its likelihood; what was not measured does not weigh.
///
/// Likelihood of a number about the sample's value: half normal, as wide as the instrument's error times 1.3,
/// the model's error (Reading::model_abs) and the spacing of the hypothesis' samples together; half
/// Student-like, as wide as twice that or as the hypothesis' samples lie apart, because the tolerances that
/// were assumed may be too narrow; 3 % for a reading that is wrong. Ohms in log10(r + 0.3), amperes in
/// asinh(I / 0.02). Of an answer: 85 % as the sample says, 15 % as often as in the hypothesis; 3 % flat.
///
/// Predictions are kept as 11-bit codes, so that a likelihood is a table of 2048 entries and expected
/// information is table arithmetic. Deterministic for a seed, whatever the number of threads. One owner, no
/// threads after prepare().

#include <cstdint>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "core/reasons/catalogue.hpp"
#include "core/reasons/model.hpp"

namespace pin16::reasons {

struct Options {
  std::uint64_t seed = 1;
  std::size_t samples = 448, pair_samples = 48;  ///< a hypothesis
  bool pairs = true;
  double pair_share = 0.08, sound_share = 0.01;  ///< of the prior (estimates)
  unsigned threads = 2;
};

/// A reading taken: the value in V, A, ohm (from kOpen_ohm on: over-range), or the index of the answer.
struct Observation {
  std::size_t reading = 0;
  double value = 0;
  double uncertainty = -1;  ///< half width where stated
};

/// No cause: the bench is sound, what fails lies beyond it.
inline constexpr std::size_t kSound = std::numeric_limits<std::size_t>::max();

struct Ranked {
  std::vector<std::size_t> causes;  ///< one, or a group that no allowed reading parts; kSound alone
  double probability = 0;           ///< that one of them is present
};

/// One reading's say about one cause, all other readings given.
struct Weight {
  std::size_t observation = 0;  ///< index in evidence()
  double llr = 0;               ///< natural logarithm of the likelihood ratio, cause against everything else
  double alone = 0;             ///< the same before any other reading was taken
  double low = 0, middle = 0, high = 0;  ///< predicted under the cause: 10 %, 50 %, 90 %
  double share = 0;                      ///< an answer: how probable it was under the cause
};

/// How well everything known together predicts one reading that was taken, all others given.
struct Fit {
  std::size_t observation = 0;
  double wrong = 0;     ///< probability that it is wrong if the leading cause is right, 0 to 1
  double surprise = 0;  ///< bits more than expected
};

struct Next {
  std::size_t reading = 0;
  double bits = 0;     ///< expected about the cause
  double minutes = 0;  ///< of work, without the power-ups
  int power_ups = 0;
  bool gate = false;  ///< a safety check that has to come before power on
  double score = 0;   ///< bits a minute, power-ups counted as minutes
  /// What each outcome would do to the leading cause: the lowest and the highest probability.
  std::string against_if, for_if;
  double against = 0, in_favour = 0;
};

/// Costs of power-ups (minutes) and where asking ends; job's budget.
struct Policy {
  double power_up_minutes = 20;  ///< what sparing one is worth (own figure)
  double handling_minutes = 8;   ///< of any reading: going there, noting it down (own figure)
  double stop_at = 0.95;         ///< of the leading group
  double least_bits = 0.004;     ///< worth of a reading
  int power_ups_left = 1000;
  bool powered = false;  ///< the module is fed right now
};

class Reasoner {
 public:
  [[nodiscard]] static Reasoner prepare(const Setting& setting, const Priors& priors,
                                        const Options& options = {});
  ~Reasoner();
  Reasoner(Reasoner&&) noexcept;
  Reasoner& operator=(Reasoner&&) noexcept;

  void forget();                       ///< all observations and mends
  void observe(const Observation& o);  ///< a reading taken anew replaces the older one
  [[nodiscard]] const std::vector<Observation>& evidence() const;
  /// These were mended and the module still keeps silent: none of them is the cause by itself. A pair is then
  /// its other one.
  void mended(const std::vector<std::size_t>& causes);

  /// All groups, the most probable first. A cause counts with every pair it is in.
  [[nodiscard]] std::vector<Ranked> ranking() const;
  /// Probability that the cause is present; by catalogue index.
  [[nodiscard]] std::vector<double> present() const;
  /// Given that this one was present: the probability of each as the second one.
  [[nodiscard]] std::vector<double> besides(std::size_t cause) const;
  [[nodiscard]] std::vector<Weight> weigh(const std::vector<std::size_t>& group) const;
  [[nodiscard]] std::vector<Fit> fits() const;
  /// Nothing known explains these readings; see docs/reasons.md for the rule.
  [[nodiscard]] bool unexplained() const;
  /// The readings that have to be taken before power comes on, those still missing.
  [[nodiscard]] std::vector<std::size_t> gate() const;
  /// Best first. Empty: certain enough, or nothing that may be measured tells more. `left_out`: readings
  /// that cannot be had.
  [[nodiscard]] std::vector<Next> next(const Policy& policy, const std::vector<bool>& left_out = {}) const;

  [[nodiscard]] const std::vector<std::vector<std::size_t>>& groups() const;
  /// Forms the groups anew without these readings: they cannot be had, so what only they part is one group.
  void leaveOut(const std::vector<bool>& left_out);
  /// Causes that could not be drawn with the symptom: they cannot be what keeps this job from answering.
  [[nodiscard]] const std::vector<std::size_t>& impossible() const;
  [[nodiscard]] std::size_t hypotheses() const;
  [[nodiscard]] std::size_t samples() const;
  [[nodiscard]] std::size_t bytes() const;  ///< of the tables, about

 private:
  struct Impl;
  explicit Reasoner(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// "9 in 10", "1 in 20", "nearly certain", "hardly".
[[nodiscard]] std::string oddsText(double p);

}  // namespace pin16::reasons
