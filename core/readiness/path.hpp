// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The supply path as a row of joints from the source to the module, each with what was measured there and
/// what the job lets expect: for a picture, or a list. Judges nothing: whether a joint differs is what the
/// sheet's figures say. Pure functions, any thread.

#include <optional>
#include <string>
#include <vector>

#include "core/readiness/sheet.hpp"

namespace pin16::readiness {

struct Joint {
  enum class Branch { source, feed, connector, interface, ground, bus };
  enum class Stand {
    unmeasured,
    shown,    ///< measured, no limit decides there
    fits,     ///< every figure of it meets its limit
    differs,  ///< one misses it
  };
  Branch branch = Branch::source;
  std::string point;  ///< of docs/points.md
  std::string step;   ///< that it serves
  std::string unit;
  std::optional<double> measured;  ///< newest, in the state that counts here
  double uncertainty = -1;
  /// From the source's volts, the leads that the job describes and the current; else nothing.
  std::optional<double> expected;
  std::string expected_text;  ///< "12.45 V", "at most 0.100 V"; empty: nothing can be said
  Stand stand = Stand::unmeasured;
  [[nodiscard]] std::string text() const;  ///< "12.51 V", "lit", empty if unmeasured
};

/// Those of the arrangement, by branch, from the source on.
[[nodiscard]] std::vector<Joint> supplyPath(const job::Job& job, const Evidence& evidence,
                                            const Sheet& sheet);

/// What the job says of the feed: "fuse 7.5 A", "lead 2 m, 1.5 mm2"; empty if it says nothing.
[[nodiscard]] std::string fuseText(const job::Job& job);
[[nodiscard]] std::string leadText(const job::Job& job);

/// A value as the sheet writes it: "12.34 V", "61.0 ohm", "open".
[[nodiscard]] std::string amountText(double value, const std::string& unit);
/// "at least 9.00 V", "at most 0.100 V"; empty if it has no limit.
[[nodiscard]] std::string limitText(const Figure& figure);

/// A line a joint, for a terminal.
[[nodiscard]] std::string toPlainText(const std::vector<Joint>& path);

}  // namespace pin16::readiness
