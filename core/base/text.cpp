// SPDX-License-Identifier: Apache-2.0
#include "core/base/text.hpp"

#include <algorithm>

namespace pin16 {

std::size_t columns(std::string_view text) {
  // Continuation bytes take none.
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}

std::string wrapped(std::string first, std::string_view text, std::size_t indent) {
  std::string out, line = std::move(first);
  bool fresh = true;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find(' '), text.size());
    const std::string_view word = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    if (!fresh && columns(line) + 1 + columns(word) > kTextWidth) {
      out += line + '\n';
      line = std::string(indent, ' ');
      fresh = true;
    }
    if (!fresh) line += ' ';
    line += word;
    fresh = false;
  }
  return out + line + '\n';
}

}  // namespace pin16
