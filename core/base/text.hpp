// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Text for a terminal.

#include <string>
#include <string_view>

namespace pin16 {

inline constexpr std::size_t kTextWidth = 100;  ///< columns that no text of ours exceeds

/// Columns that UTF-8 text takes; no wide characters are used.
[[nodiscard]] std::size_t columns(std::string_view text);
/// Words of `text` in lines of at most kTextWidth, each but the first indented by `indent`; the first begins
/// where `first` ends. Newline at the end.
[[nodiscard]] std::string wrapped(std::string first, std::string_view text, std::size_t indent);

}  // namespace pin16
