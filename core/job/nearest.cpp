// SPDX-License-Identifier: Apache-2.0
#include "core/job/nearest.hpp"

#include <algorithm>
#include <cctype>
#include <numeric>
#include <utility>

namespace pin16::job {
namespace {

char lower(char c) { return static_cast<char>(std::tolower(static_cast<unsigned char>(c))); }

/// Levenshtein distance by rows.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = std::exchange(row[0], i);
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t changed = diagonal + (lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1);
      diagonal = std::exchange(row[j], std::min({changed, row[j] + 1, row[j - 1] + 1}));
    }
  }
  return row[b.size()];
}

}  // namespace

std::vector<std::string> nearest(std::string_view word, const std::vector<std::string>& names,
                                 std::size_t most) {
  std::vector<std::pair<std::size_t, std::string>> found;
  for (const std::string& name : names) {
    const std::size_t d = distance(word, name);
    if (2 * d <= std::max(word.size(), name.size())) found.emplace_back(d, name);
  }
  std::stable_sort(found.begin(), found.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  std::vector<std::string> out;
  for (std::size_t i = 0; i < std::min(most, found.size()); ++i) out.push_back(found[i].second);
  return out;
}

}  // namespace pin16::job
