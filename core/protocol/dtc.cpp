// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/dtc.hpp"

#include <fmt/format.h>

#include "core/protocol/names.hpp"

namespace pin16::protocol {
namespace {

constexpr const char* kStatusBits[8] = {"testFailed",
                                        "testFailedThisOperationCycle",
                                        "pendingDTC",
                                        "confirmedDTC",
                                        "testNotCompletedSinceLastClear",
                                        "testFailedSinceLastClear",
                                        "testNotCompletedThisOperationCycle",
                                        "warningIndicatorRequested"};

Item number(std::string what, double value, std::string raw) {
  Item item;
  item.what = std::move(what);
  item.value = value;
  item.raw = std::move(raw);
  return item;
}

Item maskItem(std::uint8_t mask) {
  Item item;
  item.what = "status bits that the module keeps";
  item.text = fmt::format("{:02x}", mask);
  item.bits = dtcStatusBits(mask);
  item.raw = item.text;
  return item;
}

Decoded numberOfDtcs(ByteView data) {
  Decoded out;
  if (data.size() != 4) out.problem = fmt::format("{} bytes where 4 are expected", data.size());
  if (!data.empty()) out.items.push_back(maskItem(data[0]));
  if (data.size() > 1) {
    Item format;
    format.what = "trouble code format";
    format.text = dtcFormatName(data[1]);
    format.raw = toHex(data.subspan(1, 1));
    if (format.text.empty()) format.text = "unknown, " + format.raw;
    out.items.push_back(std::move(format));
  }
  if (data.size() > 3)
    out.items.push_back(number("number of trouble codes", word(data, 2), toHex(data.subspan(2, 2))));
  return out;
}

}  // namespace

std::string dtcText(std::uint16_t code) {
  return fmt::format("{}{:04X}", "PCBU"[code >> 14U], code & 0x3FFFU);
}

std::string dtcText(std::uint16_t code, std::uint8_t failure_type) {
  return fmt::format("{}-{:02X}", dtcText(code), failure_type);
}

std::vector<std::string> dtcStatusBits(std::uint8_t status) {
  std::vector<std::string> out;
  for (unsigned bit = 0; bit < 8; ++bit)
    if ((status >> bit & 1U) != 0) out.emplace_back(kStatusBits[bit]);
  return out;
}

Decoded decodeObdDtcs(ByteView data) {
  Decoded out;
  if (data.empty()) {
    out.problem = "the count byte is missing";
    return out;
  }
  const std::size_t count = data[0];
  out.items.push_back(number("number of trouble codes", static_cast<double>(count), toHex(data.first(1))));
  const ByteView codes = data.subspan(1);
  for (std::size_t i = 0; i < count && (i + 1) * kDtcSize <= codes.size(); ++i) {
    Item item;
    item.what = "trouble code";
    item.raw = toHex(codes.subspan(i * kDtcSize, kDtcSize));
    const std::uint16_t code = word(codes, i * kDtcSize);
    item.text = dtcText(code);
    item.id = item.text;
    if (code == 0) item.note = "padding, not a trouble code";
    out.items.push_back(std::move(item));
  }
  if (codes.size() < count * kDtcSize)
    out.problem =
        fmt::format("cut short: {} codes announced, {} whole ones follow", count, codes.size() / kDtcSize);
  else if (codes.size() > count * kDtcSize)
    out.problem =
        fmt::format("{} more bytes than the {} codes announced", codes.size() - count * kDtcSize, count);
  return out;
}

Decoded decodeUdsDtcs(ByteView data) {
  Decoded out;
  if (data.empty()) return out;
  if (data[0] == 0x01) return numberOfDtcs(data.subspan(1));
  if (data.size() < 2) {
    out.problem = "cut short: the status availability mask is missing";
    return out;
  }
  out.items.push_back(maskItem(data[1]));
  const ByteView list = data.subspan(2);
  const std::size_t codes = list.size() / kUdsDtcSize;
  out.items.push_back(number("number of trouble codes", static_cast<double>(codes), ""));
  for (std::size_t at = 0; at + kUdsDtcSize <= list.size(); at += kUdsDtcSize) {
    Item item;
    item.what = "trouble code";
    item.raw = toHex(list.subspan(at, kUdsDtcSize));
    item.text = dtcText(word(list, at), list[at + 2]);
    item.id = item.text;
    item.bits = dtcStatusBits(list[at + 3]);
    item.note = fmt::format("status {:02x}", list[at + 3]);
    out.items.push_back(std::move(item));
  }
  if (const std::size_t rest = list.size() % kUdsDtcSize; rest != 0)
    out.problem =
        fmt::format("the last {} bytes are no whole trouble code: {}", rest, toHex(list.last(rest), " "));
  return out;
}

}  // namespace pin16::protocol
