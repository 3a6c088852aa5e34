// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the reasons say, as data for a command or a window, and as text. No deciding here.

#include <string>
#include <vector>

#include "core/reasons/reasoner.hpp"

namespace pin16::reasons {

/// One reading for or against a cause, predicted and measured side by side.
struct Say {
  std::size_t reading = 0;
  double llr = 0;
  std::string measured, predicted;
};
struct Explained {
  std::vector<std::size_t> causes;  ///< a group, the most probable first; kSound: none
  double probability = 0;
  std::vector<Say> in_favour, against;  ///< the heaviest first; what hardly weighs is left out
  std::string sentence;
};
/// A reading that does not fit what everything else says.
struct Misfit {
  std::size_t reading = 0;
  double wrong = 0;                ///< probability that it is wrong
  std::string measured, expected;  ///< by the leading cause
};
struct Answer {
  std::vector<Explained> ranked;  ///< down to 1 in 50, at most six, at least one
  std::vector<Misfit> misfits;
  bool unexplained = false;
  bool certain = false;
  std::vector<Next> next;         ///< best first, at most five
  std::vector<std::string> mind;  ///< what would change my mind, a sentence each
  std::size_t observations = 0;
};

[[nodiscard]] Answer explain(const Reasoner& reasoner, const Policy& policy,
                             const std::vector<bool>& left_out);

[[nodiscard]] std::string titleOf(const std::vector<std::size_t>& group);
/// "Measure ...": what to do, with which range, in which power state, and its caution.
[[nodiscard]] std::string howText(const Next& next);
/// For a terminal; `numbers`: likelihood ratios, bits and minutes too.
[[nodiscard]] std::string toPlainText(const Answer& answer, bool numbers);
/// Below a sheet: the first three causes, what would mend the first, the one next reading.
[[nodiscard]] std::string toShortText(const Answer& answer);

}  // namespace pin16::reasons
