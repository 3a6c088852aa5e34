// SPDX-License-Identifier: Apache-2.0
#include "core/link/line_format.hpp"

namespace pin16::link {
namespace {

using event::Line;
using event::Medium;

constexpr std::uint8_t kFormatMask = 0xC0, kFunctionalForm = 0xC0, kException = 0x40, kLengthMask = 0x3F;
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

std::optional<ReadLine> readLine(Medium medium, ByteView bytes) {
  std::size_t header = kLineHeader,
              data = bytes.size() < kLineHeader + 2 ? 0 : bytes.size() - kLineHeader - 1;
  if (medium == Medium::iso14230_4) {
    if (bytes.empty() || (bytes[0] & kFormatMask) == kException) return std::nullopt;
    header = (bytes[0] & kFormatMask) == 0 ? 1 : kLineHeader;
    data = bytes[0] & kLengthMask;
    if (data == 0 && bytes.size() > header) data = bytes[header++];  // the length has a byte of its own
  } else if (data > (medium == Medium::iso9141_2 ? kLegislatedDataMax : kJ1850MessageMax - kLineHeader - 1)) {
    return std::nullopt;
  }
  if (data == 0 || bytes.size() != header + data + 1) return std::nullopt;
  ReadLine out;
  out.line.medium = medium;
  out.line.header.assign(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(header));
  out.line.data.assign(bytes.begin() + static_cast<std::ptrdiff_t>(header), bytes.end() - 1);
  out.check_right = bytes.back() == checkByte(medium, bytes.first(bytes.size() - 1));
  return out;
}

Ns lineTime_ns(Medium medium, std::size_t bytes) {
  const auto n = static_cast<Ns>(bytes);
  if (medium == Medium::j1850_pwm) return n * 8 * kNsPerSecond / 41600;
  return n * (medium == Medium::j1850_vpw ? 8 : 10) * kNsPerSecond / 10400;
}

std::vector<std::string> lineMediumExplains(Medium medium) {
  std::vector<std::string> out = {
      "traffic: silent until a tester asks, so that silence tells nothing",
      "acknowledge: only an answer shows that a request was heard",
      "addresses: modules have addresses of one byte, and no CAN identifiers",
  };
  if (medium != Medium::iso14230_4)
    out.emplace_back("answer: there is no request to one module, only to all; who answers none is not seen");
  else
    out.emplace_back("answer: 1A stands for what 22 reads on CAN, and no other identification is asked");
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
