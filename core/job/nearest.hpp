// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The nearest of some names to a misspelt one, for error texts.

#include <string>
#include <string_view>
#include <vector>

namespace pin16::job {

/// Up to `most` of `names`, nearest first by edit distance (case ignored); those farther away than half the
/// word's length are left out.
[[nodiscard]] std::vector<std::string> nearest(std::string_view word, const std::vector<std::string>& names,
                                               std::size_t most);

}  // namespace pin16::job
