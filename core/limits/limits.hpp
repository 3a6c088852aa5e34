// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Every limit that Pin16 judges by: one table a topic (supply.cpp, ground.cpp, bus.cpp, timing.cpp),
/// compiled in, each with unit, source and confidence; a job may override one by name and must say why.
/// No code that decides lives here.

#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"

namespace pin16::limits {

struct Limit {
  std::string name;  ///< "topic.what_unit", for instance "supply.module_min_V"
  double value = 0;
  std::string unit;        ///< V, A, ohm, ms, 1
  std::string source;      ///< the published source's name, "common practice, no source", or "own figure"
  std::string confidence;  ///< read, read-secondary, computed, derived, practice, own, memory, job
};

class Limits {
 public:
  Limits();  ///< the compiled-in tables
  /// The limit of that name; asking for one that does not exist is a fault of the program (std::logic_error).
  [[nodiscard]] const Limit& get(std::string_view name) const;
  [[nodiscard]] double value(std::string_view name) const { return get(name).value; }
  [[nodiscard]] const std::vector<Limit>& all() const { return all_; }
  /// ErrorKind::input if no such limit exists. `source` becomes the limit's source, confidence "job".
  Status replace(std::string_view name, double value, std::string source);

 private:
  std::vector<Limit> all_;
};

// The tables, one a topic.
[[nodiscard]] std::vector<Limit> supplyLimits();
[[nodiscard]] std::vector<Limit> groundLimits();
[[nodiscard]] std::vector<Limit> busLimits();
[[nodiscard]] std::vector<Limit> timingLimits();

}  // namespace pin16::limits
