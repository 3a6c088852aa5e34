// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Small words and numbers that shipped plugins share.

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <string>
#include <vector>

namespace pin16::words {

inline std::string idText(std::uint32_t id, bool extended) {
  char out[16];
  std::snprintf(out, sizeof out, extended ? "%08X" : "%03X", static_cast<unsigned>(id));
  return out;
}
/// `digits` after the point; never "-0.00".
inline std::string fixed(double value, int digits) {
  char out[64];
  std::snprintf(out, sizeof out, "%.*f", digits, value);
  std::string text(out);
  return text.find_first_not_of("-0.") == std::string::npos && text[0] == '-' ? text.substr(1) : text;
}
inline std::string counted(std::uint64_t n, const std::string& what) {
  return std::to_string(n) + " " + what + (n == 1 ? "" : "s");
}
inline std::string joined(const std::vector<std::string>& all, const char* between = ", ") {
  std::string out;
  for (const std::string& s : all) out += (out.empty() ? "" : between) + s;
  return out;
}
inline double ms(std::int64_t ns) { return static_cast<double>(ns) / 1e6; }
inline double seconds(std::int64_t ns) { return static_cast<double>(ns) / 1e9; }

/// Exact quantile of values, linear between neighbours; `values` gets sorted. NaN if there are none.
inline double quantile(std::vector<double>& values, double share) {
  if (values.empty()) return std::nan("");
  std::sort(values.begin(), values.end());
  const double at = share * static_cast<double>(values.size() - 1);
  const auto low = static_cast<std::size_t>(at);
  const std::size_t high = std::min(low + 1, values.size() - 1);
  return values[low] + (at - static_cast<double>(low)) * (values[high] - values[low]);
}

}  // namespace pin16::words
