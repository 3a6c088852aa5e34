// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Whom a request is addressed to: on CAN, ISO 15765-2 normal addressing with the identifiers of ISO 15765-4
/// (identifier tables as transcribed in a public header file and in Wireshark's packet-obd-ii.c); on K-line
/// and J1850 by an address of one byte.

#include <cstdint>
#include <optional>
#include <string>

namespace pin16::protocol {

inline constexpr std::uint32_t kFunctional11 = 0x7DF;
inline constexpr std::uint32_t kFunctional29 = 0x18DB33F1;
inline constexpr std::uint32_t kFirstPhysical11 = 0x7E0;  ///< ..7E7; answers are 8 higher
inline constexpr std::uint32_t kLastPhysical11 = 0x7E7;
inline constexpr std::uint32_t kAnswerOffset11 = 8;

struct Target {
  std::uint32_t request_id = kFunctional11;
  std::optional<std::uint32_t> answer_id;  ///< nothing: derived if ISO 15765-4 defines it, else learned
  bool extended = false;
  bool functional = false;
  /// request_id and answer_id are addresses of a K-line or J1850 bus; which one, the link tells.
  bool line = false;
  [[nodiscard]] bool operator==(const Target&) const = default;
};

[[nodiscard]] inline Target functionalTarget(bool extended = false) {
  return {extended ? kFunctional29 : kFunctional11, std::nullopt, extended, true};
}
/// 18DAxxF1: a request from the external tester (F1) to xx.
[[nodiscard]] constexpr bool isPhysical29(std::uint32_t id) { return (id & 0xFFFF00FFU) == 0x18DA00F1U; }
/// 18DAF1xx: an answer of xx to the tester.
[[nodiscard]] constexpr bool isAnswer29(std::uint32_t id) { return (id & 0xFFFFFF00U) == 0x18DAF100U; }
[[nodiscard]] constexpr bool isPhysical11(std::uint32_t id) {
  return id >= kFirstPhysical11 && id <= kLastPhysical11;
}
/// An identifier that only an external tester sends with.
[[nodiscard]] constexpr bool isTesterId(std::uint32_t id, bool extended) {
  return extended ? id == kFunctional29 || isPhysical29(id) : id == kFunctional11 || isPhysical11(id);
}
/// The answer identifier of a physical request where ISO 15765-4 defines one.
[[nodiscard]] std::optional<std::uint32_t> answerIdOf(std::uint32_t request_id, bool extended);
/// The physical request identifier of the module that answers with `answer_id`, where defined.
[[nodiscard]] std::optional<std::uint32_t> requestIdOf(std::uint32_t answer_id, bool extended);
/// Whether a frame on `id` (same length of identifier) may carry an answer, by address alone: the answer
/// identifier that is known or defined; any other but the request's own where neither is; every legislated
/// responder for a functional request.
[[nodiscard]] bool mayAnswer(const Target& target, std::uint32_t id);
/// "7E0", "18DA10F1".
[[nodiscard]] std::string idText(std::uint32_t id, bool extended);
/// The same, two digits for an address of a line medium.
[[nodiscard]] std::string idText(std::uint32_t id, bool extended, bool line);

}  // namespace pin16::protocol
