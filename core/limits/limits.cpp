// SPDX-License-Identifier: Apache-2.0
#include "core/limits/limits.hpp"

#include <algorithm>
#include <stdexcept>

namespace pin16::limits {

Limits::Limits() {
  for (auto table : {supplyLimits(), groundLimits(), busLimits(), timingLimits()})
    all_.insert(all_.end(), table.begin(), table.end());
}

const Limit& Limits::get(std::string_view name) const {
  const auto it = std::find_if(all_.begin(), all_.end(), [&](const Limit& l) { return l.name == name; });
  if (it == all_.end()) throw std::logic_error("no limit named " + std::string(name));
  return *it;
}

Status Limits::replace(std::string_view name, double value, std::string source) {
  const auto it = std::find_if(all_.begin(), all_.end(), [&](const Limit& l) { return l.name == name; });
  if (it == all_.end())
    return Error{ErrorKind::input, "no limit is named '" + std::string(name) + "'", "",
                 "docs/limits.md lists the names"};
  it->value = value;
  it->source = std::move(source);
  it->confidence = "job";
  return {};
}

}  // namespace pin16::limits
