// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Shipped scenarios and faults, ready to be put together.

#include <stdexcept>

#include "core/bench/scenario.hpp"

namespace pin16::bench {

inline Scenario load(const char* name) {
  auto s = loadScenario(name);
  if (!s) throw std::runtime_error(s.error().text());
  return *s;
}

inline Fault fault(const char* name) {
  Fault f;
  f.name = name;
  return f;
}

}  // namespace pin16::bench
