// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What plugins gave, as JSON (docs/json.md). Includes Boost.JSON: for the .cpp files that write documents
/// only.

#include <boost/json/array.hpp>

#include "core/plugin/results.hpp"

namespace pin16::review {

[[nodiscard]] boost::json::array pluginsValue(const std::vector<plugin::Results>& all);
[[nodiscard]] boost::json::array refusedValue(const std::vector<plugin::Refused>& all);

}  // namespace pin16::review
