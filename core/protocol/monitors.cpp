// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/monitors.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/protocol/pids.hpp"

namespace pin16::protocol {
namespace {

constexpr std::size_t kRecord = 9;
constexpr std::size_t kMapSize = 4;
constexpr std::uint8_t kLastMap = 0xA0;  ///< 00, 20, .. A0 are bit maps of supported monitors
constexpr std::uint8_t kFirstSigned = 0x80;

/// Monitors that differ by bank, sensor, cylinder or number: `first` to `last`, numbered from `from`.
struct Range {
  std::uint8_t first;
  std::uint8_t last;
  std::string_view name;
  unsigned from = 1;
};
constexpr Range kNumbered[] = {
    {0x21, 0x24, "catalyst monitor bank"},
    {0x32, 0x34, "EGR monitor bank", 2},  // the source leaves 31 out
    {0x35, 0x38, "VVT monitor bank"},
    {0x61, 0x64, "heated catalyst monitor bank"},
    {0x71, 0x74, "secondary air monitor"},
    {0x81, 0x84, "fuel system monitor bank"},
    {0x85, 0x86, "boost pressure control monitor bank"},
    {0x90, 0x91, "NOx adsorber monitor bank"},
    {0x98, 0x99, "NOx catalyst monitor bank"},
    {0xA2, 0xAD, "misfire cylinder"},
    {0xB0, 0xB1, "PM filter monitor bank"},
};
constexpr Range kSensors[] = {
    // four banks of four sensors
    {0x01, 0x10, "oxygen sensor monitor"},
    {0x41, 0x50, "oxygen sensor heater monitor"},
};
struct Named {
  std::uint8_t code;
  std::string_view name;
};
constexpr Named kSingle[] = {
    {0x39, "EVAP monitor (cap off / 0.150\")"},
    {0x3A, "EVAP monitor (0.090\")"},
    {0x3B, "EVAP monitor (0.040\")"},
    {0x3C, "EVAP monitor (0.020\")"},
    {0x3D, "purge flow monitor"},
    {0xA1, "misfire monitor general data"},
};
constexpr const char* kTests[] = {
    // 01-0A
    "rich to lean sensor threshold voltage",
    "lean to rich sensor threshold voltage",
    "low sensor voltage for switch time calculation",
    "high sensor voltage for switch time calculation",
    "rich to lean sensor switch time",
    "lean to rich sensor switch time",
    "minimum sensor voltage for test cycle",
    "maximum sensor voltage for test cycle",
    "time between sensor transitions",
    "sensor period",
};

struct Scaling {
  std::uint8_t uas;
  double factor;
  double offset;
  std::string_view unit;
};
constexpr Scaling kScalings[] = {
    {0x01, 1, 0, ""},
    {0x02, 0.1, 0, ""},
    {0x03, 0.01, 0, ""},
    {0x04, 0.001, 0, ""},
    {0x05, 0.0000305, 0, ""},
    {0x06, 0.000305, 0, ""},
    {0x07, 0.25, 0, "1/min"},
    {0x08, 0.01, 0, "km/h"},
    {0x09, 1, 0, "km/h"},
    {0x0A, 0.122, 0, "mV"},
    {0x0B, 0.001, 0, "V"},
    {0x0C, 0.01, 0, "V"},
    {0x0D, 0.00390625, 0, "mA"},
    {0x0E, 0.001, 0, "A"},
    {0x0F, 0.01, 0, "A"},
    {0x10, 1, 0, "ms"},
    {0x11, 100, 0, "ms"},
    {0x12, 1, 0, "s"},
    {0x13, 1, 0, "mohm"},
    {0x14, 1, 0, "ohm"},
    {0x15, 1, 0, "kohm"},
    {0x16, 0.1, -40, "degC"},
    {0x17, 0.01, 0, "kPa"},
    {0x18, 0.0117, 0, "kPa"},
    {0x19, 0.079, 0, "kPa"},
    {0x1A, 1, 0, "kPa"},
    {0x1B, 10, 0, "kPa"},
    {0x1C, 0.01, 0, "deg"},
    {0x1D, 0.5, 0, "deg"},
    {0x1E, 0.0000305, 0, ""},
    {0x1F, 0.05, 0, ""},
    {0x20, 0.0039062, 0, ""},
    {0x21, 1, 0, "mHz"},
    {0x22, 1, 0, "Hz"},
    {0x23, 1, 0, "kHz"},
    {0x24, 1, 0, "count"},
    {0x25, 1, 0, "km"},
    {0x26, 0.1, 0, "mV/ms"},
    {0x27, 0.01, 0, "g/s"},
    {0x28, 1, 0, "g/s"},
    {0x29, 0.25, 0, "Pa/s"},
    {0x2A, 0.001, 0, "kg/h"},
    {0x2B, 1, 0, "switches"},
    {0x2C, 0.01, 0, "g/cyl"},
    {0x2D, 0.01, 0, "mg/stroke"},
    {0x2E, 1, 0, ""},
    {0x2F, 0.01, 0, "%"},
    {0x30, 0.001526, 0, "%"},
    {0x31, 0.001, 0, "l"},
    {0x32, 0.0000305, 0, "inch"},
    {0x33, 0.00024414, 0, ""},
    {0x34, 1, 0, "min"},
    {0x35, 10, 0, "ms"},
    {0x36, 0.01, 0, "g"},
    {0x37, 0.1, 0, "g"},
    {0x38, 1, 0, "g"},
    {0x39, 0.01, -327.68, "%"},
    {0x81, 1, 0, ""},
    {0x82, 0.1, 0, ""},
    {0x83, 0.01, 0, ""},
    {0x84, 0.001, 0, ""},
    {0x85, 0.0000305, 0, ""},
    {0x86, 0.000305, 0, ""},
    {0x8A, 0.122, 0, "mV"},
    {0x8B, 0.001, 0, "V"},
    {0x8C, 0.01, 0, "V"},
    {0x8D, 0.00390625, 0, "mA"},
    {0x8E, 0.001, 0, "A"},
    {0x90, 1, 0, "ms"},
    {0x96, 0.1, 0, "degC"},
    {0x9C, 0.01, 0, "deg"},
    {0x9D, 0.5, 0, "deg"},
    {0xA8, 1, 0, "g/s"},
    {0xA9, 0.25, 0, "Pa/s"},
    {0xAF, 0.01, 0, "%"},
    {0xB0, 0.003052, 0, "%"},
    {0xB1, 2, 0, "mV/s"},
    {0xFD, 0.001, 0, "kPa"},
    {0xFE, 0.25, 0, "Pa"},
};

bool within(std::uint8_t code, const Range& r) { return code >= r.first && code <= r.last; }

double countOf(std::uint8_t uas, std::uint16_t bits) {
  return uas >= kFirstSigned ? static_cast<std::int16_t>(bits) : static_cast<double>(bits);
}

Item test(ByteView record) {
  const std::uint8_t mid = record[0], tid = record[1], uas = record[2];
  Item out;
  out.id = fmt::format("{:02X} {:02X}", mid, tid);
  const std::string name = monitorName(mid);
  out.what = name.empty() ? fmt::format("monitor {:02X}", mid) : name;
  out.what += fmt::format(", test {:02X}", tid);
  if (tid >= 1 && tid <= std::size(kTests)) out.what += fmt::format(" {}", kTests[tid - 1]);
  out.value = countOf(uas, word(record, 3));
  out.min = countOf(uas, word(record, 5));
  out.max = countOf(uas, word(record, 7));
  out.unit = fmt::format("counts of UAS {:02X}", uas);
  const bool ok = *out.value >= *out.min && *out.value <= *out.max;
  out.text = ok ? "within its limits" : "outside its limits";
  const std::string scaled = scaledText(uas, word(record, 3));
  out.note = scaled.empty() ? "layout not settled"
                            : fmt::format("layout not settled; by one source {}, limits {} and {}", scaled,
                                          scaledText(uas, word(record, 5)), scaledText(uas, word(record, 7)));
  out.raw = toHex(record);
  out.settled = false;
  return out;
}

}  // namespace

std::string monitorName(std::uint8_t mid) {
  if (mid % 0x20 == 0 && mid <= kLastMap) return "supported monitors";
  for (const Range& r : kNumbered)
    if (within(mid, r))
      return fmt::format("{} {}{}", r.name, mid - r.first + r.from,
                         mid >= 0xA2 && mid <= 0xAD ? " data" : "");
  for (const Range& r : kSensors)
    if (within(mid, r))
      return fmt::format("{} bank {} sensor {}", r.name, (mid - r.first) / 4 + 1, (mid - r.first) % 4 + 1);
  const auto* it =
      std::find_if(std::begin(kSingle), std::end(kSingle), [&](const Named& n) { return n.code == mid; });
  return it == std::end(kSingle) ? "" : std::string(it->name);
}

std::string scaledText(std::uint8_t uas, std::uint16_t count) {
  const auto* it = std::find_if(std::begin(kScalings), std::end(kScalings),
                                [&](const Scaling& s) { return s.uas == uas; });
  if (it == std::end(kScalings)) return "";
  const std::string out = fmt::format("{:.6g}", countOf(uas, count) * it->factor + it->offset);
  return it->unit.empty() ? out : fmt::format("{} {}", out, it->unit);
}

Decoded decodeMonitors(ByteView data) {
  Decoded out;
  if (!data.empty() && data[0] % 0x20 == 0 && data[0] <= kLastMap) {
    if (data.size() != 1 + kMapSize)
      out.problem = fmt::format("{} bytes of bit map where {} are expected", data.size() - 1, kMapSize);
    if (data.size() >= 1 + kMapSize) {
      Item map;
      map.id = fmt::format("{:02X}", data[0]);
      map.what = monitorName(data[0]);
      map.raw = toHex(data.subspan(1, kMapSize));
      map.text = supportedText(data[0], data.subspan(1, kMapSize)).substr(1);
      out.items.push_back(std::move(map));
    }
    return out;
  }
  while (data.size() >= kRecord) {
    out.items.push_back(test(data.first(kRecord)));
    data = data.subspan(kRecord);
  }
  if (!data.empty())
    out.problem =
        fmt::format("the last {} bytes are no whole test of {}: {}", data.size(), kRecord, toHex(data, " "));
  return out;
}

}  // namespace pin16::protocol
