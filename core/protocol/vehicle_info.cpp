// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/vehicle_info.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <span>

#include "core/protocol/names.hpp"
#include "core/protocol/pids.hpp"
#include "core/protocol/vin.hpp"

namespace pin16::protocol {
namespace {

constexpr std::size_t kCalibrationId = 16;
constexpr std::size_t kVerificationNumber = 4;
constexpr std::size_t kEcuName = 20;
constexpr std::size_t kCounter = 2;
constexpr std::size_t kMapSize = 4;

// From memory of SAE J1979-DA; the tables at hand have only how many there are: 16 or 20, and 18.
constexpr const char* kSpark[] = {"OBDCOND",  "IGNCNTR",   "CATCOMP1",  "CATCOND1",  "CATCOMP2",
                                  "CATCOND2", "O2SCOMP1",  "O2SCOND1",  "O2SCOMP2",  "O2SCOND2",
                                  "EGRCOMP",  "EGRCOND",   "AIRCOMP",   "AIRCOND",   "EVAPCOMP",
                                  "EVAPCOND", "SO2SCOMP1", "SO2SCOND1", "SO2SCOMP2", "SO2SCOND2"};
constexpr const char* kCompression[] = {"OBDCOND",  "IGNCNTR",  "HCCATCOMP", "HCCATCOND", "NCATCOMP",
                                        "NCATCOND", "NADSCOMP", "NADSCOND",  "PMCOMP",    "PMCOND",
                                        "EGSCOMP",  "EGSCOND",  "EGRCOMP",   "EGRCOND",   "BPCOMP",
                                        "BPCOND",   "FUELCOMP", "FUELCOND"};
constexpr std::size_t kSparkShort = 16;

struct Layout {
  std::uint8_t infotype;
  std::size_t size;
  const char* what;
};
constexpr Layout kLayouts[] = {
    {0x02, kVinLength, "VIN"},
    {0x04, kCalibrationId, "calibration ID"},
    {0x06, kVerificationNumber, "calibration verification number"},
    {0x08, kCounter, "in-use counter"},
    {0x0A, kEcuName, "ECU name"},
    {0x0B, kCounter, "in-use counter"},
};

/// Nothing: the source does not say how many counters of this number are named.
std::span<const char* const> counterNames(std::uint8_t infotype, std::size_t count) {
  if (infotype == 0x08 && (count == kSparkShort || count == std::size(kSpark)))
    return std::span(kSpark).first(count);
  if (infotype == 0x0B && count == std::size(kCompression)) return kCompression;
  return {};
}

Item counter(std::uint8_t infotype, ByteView data, std::size_t index, std::size_t count) {
  Item out;
  out.what = fmt::format("in-use counter {}", index + 1);
  if (const auto names = counterNames(infotype, count); !names.empty()) {
    out.what = fmt::format("in-use counter {}", names[index]);
    out.note = "name from memory";
  }
  out.value = word(data, 0);
  return out;
}

std::optional<std::string> textOf(std::uint8_t infotype, ByteView data) {
  if (infotype == 0x06) return std::nullopt;
  if (infotype != 0x0A) return asText(data);
  // acronym padded with 00, then a delimiter and the name (from memory of SAE J1979-DA)
  Bytes packed;
  std::copy_if(data.begin(), data.end(), std::back_inserter(packed), [](std::uint8_t b) { return b != 0; });
  return asText(packed);
}

Item element(const Layout& layout, ByteView data, std::size_t index, std::size_t count) {
  const std::string id = fmt::format("{:02X}", layout.infotype);
  Item out;
  if (layout.infotype == 0x02) return vinItem(id, data);
  if (layout.size == kCounter) {
    out = counter(layout.infotype, data, index, count);
  } else {
    out.what = count == 1 ? layout.what : fmt::format("{} {}", layout.what, index + 1);
    const auto text = textOf(layout.infotype, data);
    out.text = text ? *text : toHex(data, " ");
  }
  out.id = id;
  out.raw = toHex(data);
  return out;
}

Decoded elements(const Layout& layout, ByteView data) {
  Decoded out;
  if (data.empty()) {
    out.problem = "the count byte is missing";
    return out;
  }
  const std::size_t count = data[0];
  data = data.subspan(1);
  for (std::size_t i = 0; i < count && (i + 1) * layout.size <= data.size(); ++i)
    out.items.push_back(element(layout, data.subspan(i * layout.size, layout.size), i, count));
  if (count == 0) {
    Item none;
    none.id = fmt::format("{:02X}", layout.infotype);
    none.what = infotypeName(layout.infotype);
    none.text = "none";
    out.items.push_back(std::move(none));
  }
  const std::size_t whole = count * layout.size;
  if (data.size() < whole) {
    const ByteView rest = data.subspan(data.size() / layout.size * layout.size);
    out.problem =
        fmt::format("cut short: {} x {} announced, {} whole", count, layout.what, data.size() / layout.size);
    if (!rest.empty()) out.problem += fmt::format(", then {}", toHex(rest, " "));
  } else if (data.size() > whole) {
    out.problem =
        fmt::format("{} more bytes than the {} x {} announced", data.size() - whole, count, layout.what);
  }
  return out;
}

Decoded fixed(std::uint8_t infotype, ByteView data, std::size_t size) {
  Decoded out;
  if (data.size() != size) out.problem = fmt::format("{} bytes where {} are expected", data.size(), size);
  if (data.size() < size) return out;
  Item item;
  item.id = fmt::format("{:02X}", infotype);
  item.raw = toHex(data.first(size));
  if (size == kMapSize) {
    item.what = "supported infotypes";
    item.text = supportedText(infotype, data.first(size)).substr(1);
  } else {
    item.what = infotypeName(infotype);
    item.value = data[0];
    item.note = "not used on CAN";
  }
  out.items.push_back(std::move(item));
  return out;
}

}  // namespace

std::optional<std::string> asText(ByteView data) {
  while (!data.empty() && data.back() == 0) data = data.first(data.size() - 1);
  if (data.empty()) return std::nullopt;
  for (const std::uint8_t b : data)
    if (b < 0x20 || b > 0x7E) return std::nullopt;
  return std::string(data.begin(), data.end());
}

Item vinItem(std::string id, ByteView text) {
  Item out;
  out.id = std::move(id);
  out.what = "VIN";
  out.raw = toHex(text);
  const auto vin = asText(text);
  out.text = vin ? *vin : toHex(text, " ");
  out.note = vinRemark(vin ? *vin : "");
  return out;
}

Decoded decodeVehicleInfo(ByteView data) {
  Decoded out;
  if (data.empty()) return out;
  const std::uint8_t infotype = data[0];
  data = data.subspan(1);
  if (infotype == 0x00) return fixed(infotype, data, kMapSize);
  if (infotype <= 0x09 && infotype % 2 == 1) return fixed(infotype, data, 1);
  for (const Layout& layout : kLayouts)
    if (layout.infotype == infotype) return elements(layout, data);
  out.items.push_back(unsettledItem("infotype", infotype, infotypeName(infotype), data));
  return out;
}

}  // namespace pin16::protocol
