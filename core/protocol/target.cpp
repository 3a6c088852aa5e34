// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/target.hpp"

#include <fmt/format.h>

namespace pin16::protocol {

std::optional<std::uint32_t> answerIdOf(std::uint32_t request_id, bool extended) {
  if (extended) {
    if (!isPhysical29(request_id)) return std::nullopt;
    return 0x18DAF100U | ((request_id >> 8U) & 0xFFU);
  }
  if (!isPhysical11(request_id)) return std::nullopt;
  return request_id + kAnswerOffset11;
}

std::optional<std::uint32_t> requestIdOf(std::uint32_t answer_id, bool extended) {
  if (extended) {
    if (!isAnswer29(answer_id)) return std::nullopt;
    return 0x18DA00F1U | ((answer_id & 0xFFU) << 8U);
  }
  if (answer_id < kAnswerOffset11 || !isPhysical11(answer_id - kAnswerOffset11)) return std::nullopt;
  return answer_id - kAnswerOffset11;
}

bool mayAnswer(const Target& t, std::uint32_t id) {
  if (t.functional) return requestIdOf(id, t.extended).has_value();
  const auto known = t.answer_id ? t.answer_id : answerIdOf(t.request_id, t.extended);
  return known ? *known == id : id != t.request_id && !isTesterId(id, t.extended);
}

std::string idText(std::uint32_t id, bool extended) {
  return extended ? fmt::format("{:08X}", id) : fmt::format("{:03X}", id);
}

std::string idText(std::uint32_t id, bool extended, bool line) {
  return line ? fmt::format("{:02X}", id) : idText(id, extended);
}

}  // namespace pin16::protocol
