// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/line.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace pin16::protocol {
namespace {

using event::Line;
using event::Medium;

constexpr std::uint8_t kKwpFunctional = 0x33, kLegislatedFunctional = 0x6A, kLegislatedAnswer = 0x6B;
constexpr std::uint8_t kReadInformation = 0x49, kVin = 0x02, kCalibration = 0x04, kVerification = 0x06,
                       kEcuName = 0x0A;
constexpr std::size_t kItem = 4;  // bytes of service 09 in a message
constexpr std::size_t kCalibration_bytes = 16;
constexpr std::size_t kTextMessages = 5;  // of a VIN, of an ECU's name

bool isCodes(std::uint8_t answer) { return answer == 0x43 || answer == 0x47 || answer == 0x4A; }

/// Numbered, four bytes each.
bool isNumbered(const Bytes& part) {
  return part.size() == 3 + kItem && part[0] == kReadInformation && part[1] % 2 == 0;
}

Joined joinCodes(const std::vector<Bytes>& parts) {
  Joined out;
  out.whole = false;  // more codes may follow
  Bytes codes;
  for (const Bytes& part : parts) {
    if (part.size() % 2 == 0) out.fault = "half a trouble code";
    for (std::size_t at = 1; at + 1 < part.size(); at += 2)
      if (part[at] != 0 || part[at + 1] != 0) codes.insert(codes.end(), {part[at], part[at + 1]});
  }
  out.answer = {parts[0][0], static_cast<std::uint8_t>(codes.size() / 2)};
  out.answer.insert(out.answer.end(), codes.begin(), codes.end());
  return out;
}

/// How many items of an infotype these bytes are.
std::size_t itemsOf(std::uint8_t infotype, std::size_t bytes) {
  if (infotype == kCalibration) return (bytes + kCalibration_bytes - 1) / kCalibration_bytes;
  if (infotype == kVerification) return bytes / kItem;
  return infotype == kVin || infotype == kEcuName ? 1 : bytes / 2;  // counters of two bytes
}

Joined joinNumbered(const std::vector<Bytes>& parts) {
  Joined out;
  const std::uint8_t infotype = parts[0][1];
  Bytes data;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (!isNumbered(parts[i]) || parts[i][2] != i + 1) {
      out.fault = fmt::format("message {} is missing", i + 1);
      break;
    }
    data.insert(data.end(), parts[i].begin() + 3, parts[i].end());
  }
  const bool text = infotype == kVin || infotype == kEcuName;
  out.whole = infotype == 0 || (text && parts.size() >= kTextMessages);
  if (text && out.fault.empty() && parts.size() != kTextMessages)
    out.fault = fmt::format("{} messages where {} are expected", parts.size(), kTextMessages);
  out.answer = {kReadInformation, infotype};
  if (infotype != 0) out.answer.push_back(static_cast<std::uint8_t>(itemsOf(infotype, data.size())));
  const auto begin =
      infotype == kVin ? std::find_if(data.begin(), data.end(), [](auto b) { return b != 0; }) : data.begin();
  out.answer.insert(out.answer.end(), begin, data.end());
  return out;
}

}  // namespace

std::uint8_t functionalAddress(Medium medium) {
  return medium == Medium::iso14230_4 ? kKwpFunctional : kLegislatedFunctional;
}

Target onMedium(const Target& target, Medium medium) {
  if (medium == Medium::can || target.line || !target.functional) return target;
  Target out;
  out.request_id = functionalAddress(medium);
  out.functional = out.line = true;
  return out;
}

Line lineRequest(Medium medium, const Target& target, ByteView pdu) {
  Line out;
  out.medium = medium;
  const auto address = static_cast<std::uint8_t>(target.request_id);
  unsigned first = medium == Medium::j1850_pwm ? 0x61U : 0x68U;
  if (medium == Medium::iso14230_4)
    first = (target.functional ? 0xC0U : 0x80U) + static_cast<unsigned>(pdu.size() & 0x3FU);
  out.header = {static_cast<std::uint8_t>(first), address, link::kTesterAddress};
  out.data.assign(pdu.begin(), pdu.end());
  return out;
}

bool mayAnswer(const Target& target, const Line& line) {
  if (line.ours || link::isFunctional(line)) return false;
  const auto to = link::targetOf(line);
  const auto from = link::sourceOf(line);
  if (!to || !from) return !target.functional && line.medium == Medium::iso14230_4 && !line.header.empty();
  if (line.medium != Medium::iso14230_4) {
    const std::uint8_t first = line.medium == Medium::j1850_pwm ? 0x41 : 0x48;
    return line.header[0] == first && *to == kLegislatedAnswer;
  }
  if (*to != link::kTesterAddress) return false;
  return target.functional || *from == target.answer_id.value_or(target.request_id);
}

Joined joinAnswer(const std::vector<Bytes>& parts) {
  const Bytes& first = parts.front();
  if (!first.empty() && isCodes(first[0])) return joinCodes(parts);
  if (isNumbered(first)) return joinNumbered(parts);
  Joined out;
  out.answer = first;
  for (std::size_t i = 1; i < parts.size(); ++i)
    if (parts[i].size() > 2) out.answer.insert(out.answer.end(), parts[i].begin() + 2, parts[i].end());
  return out;
}

}  // namespace pin16::protocol
