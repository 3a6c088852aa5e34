// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/decoded.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/protocol/dtc.hpp"
#include "core/protocol/monitors.hpp"
#include "core/protocol/names.hpp"
#include "core/protocol/pids.hpp"
#include "core/protocol/services.hpp"
#include "core/protocol/vehicle_info.hpp"

namespace pin16::protocol {
namespace {

constexpr std::uint16_t kDidSession = 0xF186;
constexpr std::size_t kNegativeSize = 3;

Decoded just(Item item) {
  Decoded out;
  out.items.push_back(std::move(item));
  return out;
}

Item plain(std::string what, std::string text, ByteView raw) {
  Item item;
  item.what = std::move(what);
  item.text = std::move(text);
  item.raw = toHex(raw);
  return item;
}

Decoded negative(ByteView answer) {
  const std::uint8_t code = answer[2];
  const auto name = nrcName(code);
  Decoded out = just(plain("negative response",
                           fmt::format("{:02X} {}", code, name.empty() ? nrcRangeName(code) : name),
                           answer.first(kNegativeSize)));
  out.items[0].id = fmt::format("{:02X}", code);
  if (answer.size() > kNegativeSize)
    out.problem = fmt::format("{} more bytes than a negative response has", answer.size() - kNegativeSize);
  return out;
}

Decoded identification(ByteView answer) {
  const auto did = word(answer, 1);
  const ByteView data = answer.subspan(3);
  const std::string id = fmt::format("{:04X}", did);
  Decoded out;
  if (data.empty()) {
    out.problem = fmt::format("{} without data", id);
    return out;
  }
  if (did == kDidVin && asText(data)) return just(vinItem(id, data));
  Item item = plain(id, "", data);
  item.id = id;
  if (const auto name = didName(did); !name.empty()) item.what += fmt::format(" {}", name);
  const auto text = asText(data);
  item.text = text ? *text : toHex(data, " ");
  if (did == kDidSession) {
    item.text = toHex(data, " ");
    item.note = sessionName(data[0]);
    if (data.size() != 1) out.problem = fmt::format("{} bytes where 1 is expected", data.size());
  }
  out.items.push_back(std::move(item));
  return out;
}

std::string figure(double value, const std::string& unit) {
  return unit.empty() ? fmt::format("{:.6g}", value) : fmt::format("{:.6g} {}", value, unit);
}

std::string label(const Item& item) {
  return item.frame ? fmt::format("{} in freeze frame {}", item.what, *item.frame) : item.what;
}

std::string content(const Item& item) {
  std::vector<std::string> parts;
  if (item.value) parts.push_back(figure(*item.value, item.unit));
  if (item.min && item.max) parts.push_back(fmt::format("(limits {:.6g} and {:.6g})", *item.min, *item.max));
  if (!item.text.empty()) parts.push_back(item.text);
  if (!item.bits.empty()) parts.push_back(fmt::format("[{}]", fmt::join(item.bits, ", ")));
  if (!item.note.empty()) parts.push_back(fmt::format("({})", item.note));
  return fmt::format("{}", fmt::join(parts, " "));
}

std::string titled(const Item& item, std::string text) {
  if (text.empty()) return label(item);
  const std::string name = label(item);
  if (name.empty()) return text;
  // a figure alone reads on
  const bool reads_on = (item.value && item.text.empty()) || item.what == "VIN";
  return fmt::format("{}{} {}", name, reads_on ? "" : ":", text);
}

}  // namespace

Decoded decodeAnswer(ByteView request, ByteView answer, event::Medium medium) {
  switch (answerKind(request, answer)) {
    case AnswerKind::none:
      return just(plain("not an answer to this request", toHex(answer, " "), answer));
    case AnswerKind::pending:
    case AnswerKind::negative:
      return negative(answer);
    case AnswerKind::positive:
      break;
  }
  const ByteView data = answer.subspan(1);
  switch (request[0]) {
    case 0x01:
    case 0x02:
      return decodePids(request, data);
    case 0x03:
    case 0x07:
    case 0x0A:
      return decodeObdDtcs(data);
    case 0x06:  // on line media tests have numbers and limits of their own (SAE J1979)
      if (medium != event::Medium::can) break;
      return decodeMonitors(data);
    case 0x09:
      return decodeVehicleInfo(data);
    case kReadData:
      return identification(answer);
    case kReadDtc:
      if (!readDtcName(request[1]).empty()) return decodeUdsDtcs(data);
      break;
    default:
      break;
  }
  const auto service = serviceName(request[0]);
  const std::string name(service.empty() ? kwpServiceName(request[0]) : service);
  return just(plain(name.empty() ? fmt::format("answer of service {:02X}", request[0]) : name,
                    toHex(answer, " "), answer));
}

Item unsettledItem(std::string_view kind, std::uint8_t number, std::string_view name, ByteView data) {
  Item out;
  out.id = fmt::format("{:02X}", number);
  out.what = fmt::format("{} {}{}{}", kind, out.id, name.empty() ? "" : " ", name);
  out.raw = toHex(data);
  out.text = toHex(data, " ");
  out.note = "layout not settled";
  out.settled = false;
  return out;
}

std::string toText(const Item& item) { return titled(item, content(item)); }

std::string toText(const Decoded& decoded, std::size_t most) {
  std::string out;
  const std::size_t shown = std::min(most, decoded.items.size());
  for (std::size_t i = 0; i < shown; ++i) {
    const Item& item = decoded.items[i];
    if (i != 0) out += ", ";
    // of a list of the same thing the name once
    const bool again =
        i != 0 && decoded.items[i - 1].what == item.what && decoded.items[i - 1].frame == item.frame;
    out += again ? content(item) : toText(item);
  }
  if (shown < decoded.items.size()) out += fmt::format(" and {} more", decoded.items.size() - shown);
  if (!decoded.problem.empty()) out += (out.empty() ? "" : "; ") + decoded.problem;
  return out;
}

}  // namespace pin16::protocol
