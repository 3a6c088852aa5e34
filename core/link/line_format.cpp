// SPDX-License-Identifier: Apache-2.0
#include "core/link/line_format.hpp"

namespace pin16::link {
namespace {

using event::Line;
using event::Medium;

constexpr std::uint8_t kFormatMask = 0xC0, kFunctionalForm = 0xC0;
constexpr std::uint8_t kFirstTester = 0xF0, kLastTester = 0xFD;

std::uint8_t crcJ1850(ByteView bytes) {
  constexpr unsigned kPolynomial = 0x1D;
  unsigned crc = 0xFF;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = ((crc << 1U) ^ ((crc & 0x80U) != 0 ? kPolynomial : 0U)) & 0xFFU;
  }
  return static_cast<std::uint8_t>(crc ^ 0xFFU);
}

/// At a place of the header that only one with addresses has.
std::optional<std::uint8_t> address(const Line& line, std::size_t at) {
  if (line.header.size() < kLineHeader) return std::nullopt;
  return line.header[at];
}

}  // namespace

std::uint8_t checkByte(Medium medium, ByteView header_and_data) {
  if (!event::isKLine(medium)) return crcJ1850(header_and_data);
  unsigned sum = 0;
  for (const std::uint8_t byte : header_and_data) sum += byte;
  return static_cast<std::uint8_t>(sum);
}

Bytes lineBytes(const Line& line) {
  Bytes out = line.header;
  out.insert(out.end(), line.data.begin(), line.data.end());
  out.push_back(checkByte(line.medium, out));
  return out;
}

std::optional<std::uint8_t> targetOf(const Line& line) { return address(line, 1); }
std::optional<std::uint8_t> sourceOf(const Line& line) { return address(line, 2); }

bool isFunctional(const Line& line) {
  if (line.header.size() < kLineHeader) return false;
  switch (line.medium) {
    case Medium::iso14230_4:
      return (line.header[0] & kFormatMask) == kFunctionalForm;
    case Medium::j1850_pwm:
      return line.header[0] == 0x61;
    default:
      return line.header[0] == 0x68;
  }
}

bool isTesters(const Line& line) {
  const auto source = sourceOf(line);
  return source && *source >= kFirstTester && *source <= kLastTester;
}

}  // namespace pin16::link
