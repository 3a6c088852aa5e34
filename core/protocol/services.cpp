// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/services.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/protocol/decoded.hpp"
#include "core/protocol/dtc.hpp"
#include "core/protocol/line.hpp"
#include "core/protocol/monitors.hpp"
#include "core/protocol/pids.hpp"
#include "core/protocol/vehicle_info.hpp"
#include "core/protocol/vin.hpp"

namespace pin16::protocol {
namespace {

/// Of a line for people; the rest of a long list is counted.
constexpr std::size_t kMostItems = 12;

std::string named(std::string text, std::string_view name) {
  if (!name.empty()) text += fmt::format(" {}", name);
  return text;
}

bool echoes(ByteView request, ByteView answer, std::size_t count) {
  return request.size() > count && answer.size() > count &&
         std::equal(request.begin() + 1, request.begin() + 1 + static_cast<std::ptrdiff_t>(count),
                    answer.begin() + 1);
}

std::string pidsText(ByteView r) {
  std::string out;
  const std::size_t width = r[0] == 0x02 ? 2 : 1;
  for (std::size_t at = 1; at < r.size(); at += width) {
    if (at > kMostItems) return out + " and more";
    if (!out.empty()) out += ", ";
    out += named(fmt::format("PID {:02X}", r[at]), pidName(r[at]));
    if (width == 2 && at + 1 < r.size()) out += fmt::format(" in freeze frame {}", r[at + 1]);
  }
  return out;
}

std::string readDtcText(ByteView r) {
  std::string out(readDtcName(r[1]));
  if (!out.empty() && r.size() == 3) out += fmt::format(", status mask {:02x}", r[2]);
  return out;
}

std::string parameterText(ByteView r) {
  if (r.size() < 2) return "";
  switch (r[0]) {
    case 0x01:
    case 0x02:
      return pidsText(r);
    case 0x06:
      return named(fmt::format("MID {:02X}", r[1]), monitorName(r[1]));
    case 0x09:
      return r.size() == 2 ? std::string(infotypeName(r[1])) : "";
    case kReadData:
      return r.size() == 3 ? named(fmt::format("{:04X}", word(r, 1)), didName(word(r, 1))) : "";
    case kReadDtc:
      return readDtcText(r);
    default:
      return "";
  }
}

Error usage(std::string what) {
  return {ErrorKind::usage, std::move(what), "",
          "write OBD as \"01 0C\" or \"09 02\"; UDS with the module's request identifier before it, as "
          "\"@7E0 22 F190\" or \"@18DA10F1 22 F190\""};
}

/// 3 hex digits: 11 bit; 8: 29 bit; 2: an address of a line medium.
std::optional<Target> parseTarget(std::string_view digits) {
  const auto id = toUnsigned(digits, 16);
  const bool extended = digits.size() == 8;
  if (!id || digits.starts_with("0x") || digits.starts_with("0X")) return std::nullopt;
  if (digits.size() == 2) {
    const auto address = static_cast<std::uint32_t>(*id);
    const bool everybody = address == functionalAddress(event::Medium::iso14230_4) ||
                           address == functionalAddress(event::Medium::iso9141_2);
    return Target{address, std::nullopt, false, everybody, true};
  }
  if (!extended && digits.size() != 3) return std::nullopt;
  if (*id > (extended ? 0x1FFFFFFFU : 0x7FFU)) return std::nullopt;
  Target t;
  t.request_id = static_cast<std::uint32_t>(*id);
  t.extended = extended;
  t.functional = t.request_id == (extended ? kFunctional29 : kFunctional11);
  return t;
}

}  // namespace

AnswerKind answerKind(ByteView request, ByteView answer) {
  if (request.empty() || answer.empty()) return AnswerKind::none;
  if (answer[0] == kNegativeResponse) {
    if (answer.size() < 3 || answer[1] != request[0]) return AnswerKind::none;
    return answer[2] == kResponsePending ? AnswerKind::pending : AnswerKind::negative;
  }
  if (answer[0] != request[0] + kPositiveOffset) return AnswerKind::none;
  bool fits = true;
  switch (request[0]) {
    case 0x01: {  // any of the PIDs asked for may come first: unsupported ones are left out
      const ByteView pids = request.subspan(1);
      fits = answer.size() > 1 && std::find(pids.begin(), pids.end(), answer[1]) != pids.end();
      break;
    }
    case 0x02: {
      fits = false;
      for (std::size_t at = 1; at + 1 < request.size() && answer.size() > 1; at += 2)
        fits = fits || request[at] == answer[1];
      break;
    }
    case 0x06:
    case 0x09:
    case kReadDtc:
      fits = echoes(request, answer, 1);
      break;
    case kReadData:
      fits = echoes(request, answer, 2);
      break;
    default:
      break;
  }
  return fits ? AnswerKind::positive : AnswerKind::none;
}

std::string describeRequest(ByteView request) {
  if (request.empty()) return "nothing";
  std::string out = toHex(request, " ");
  auto name = serviceName(request[0]);
  if (name.empty()) name = kwpServiceName(request[0]);
  if (!name.empty()) out += fmt::format(": {}", name);
  if (const auto parameter = parameterText(request); !parameter.empty()) out += ", " + parameter;
  return out;
}

std::optional<std::string> vinOf(ByteView request, ByteView answer) {
  if (request.size() < 2 || answerKind(request, answer) != AnswerKind::positive) return std::nullopt;
  const bool by_did = request[0] == kReadData && word(request, 1) == kDidVin;
  if (request[0] == kReadEcuIdentification)
    return request[1] == 0x90 && answer.size() == 2 + kVinLength ? std::optional(asText(answer.subspan(2)))
                                                                 : std::nullopt;
  const bool by_infotype = request[0] == 0x09 && request[1] == 0x02;
  // 62 F1 90 and 49 02 01 (count of items) are both three bytes
  if ((!by_did && !by_infotype) || answer.size() != 3 + kVinLength) return std::nullopt;
  return asText(answer.subspan(3));
}

std::string describeAnswer(ByteView request, ByteView answer, event::Medium medium) {
  return toText(decodeAnswer(request, answer, medium), kMostItems);
}

Result<AddressedRequest> parseRequestText(std::string_view text) {
  AddressedRequest out;
  bool addressed = false;
  const auto start = text.find_first_not_of(' ');
  text.remove_prefix(start == std::string_view::npos ? text.size() : start);
  if (text.starts_with('@')) {
    const auto blank = std::min(text.find(' '), text.size());
    const auto target = parseTarget(text.substr(1, blank - 1));
    if (!target)
      return usage(
          fmt::format("'{}' is no identifier: 3 hex digits (000-7FF) or 8 (00000000-1FFFFFFF), nor "
                      "an address of a K-line (2 digits)",
                      text.substr(0, blank)));
    out.target = *target;
    addressed = true;
    text.remove_prefix(blank);
  } else {
    out.target = functionalTarget();
  }
  const auto pdu = fromHex(text);
  if (!pdu) return usage(fmt::format("'{}' is not a request in hex bytes", text));
  if (pdu->empty()) return usage("a request needs at least its service byte");
  if (!addressed && !isObd(pdu->front()))
    return usage(fmt::format("service {:02X} needs the identifier of the module it goes to", pdu->front()));
  out.pdu = *pdu;
  return out;
}

}  // namespace pin16::protocol
