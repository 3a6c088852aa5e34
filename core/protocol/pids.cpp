// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/pids.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "core/protocol/dtc.hpp"

namespace pin16::protocol {
namespace {

enum class Kind : std::uint8_t { raw, figures, map, trouble_code, bits, standard, fuel };

/// value = raw * factor + offset, raw of `size` bytes, big-endian.
struct Scale {
  std::uint8_t size = 0;
  double factor = 1;
  double offset = 0;
  std::string_view unit;
  bool is_signed = false;
};
struct Figure {
  Scale scale;
  std::string_view what;  ///< empty: the PID's name
};
struct Pid {
  std::uint8_t pid;
  std::uint8_t size_min;
  std::uint8_t
      size_max;  ///< more than size_min: a second figure where there are banks 3 and 4 (SAE J1979-DA)
  Kind kind;
  std::string_view name;
  std::array<Figure, 4> figures{};
};

constexpr Scale kPercent{1, 100.0 / 255, 0, "%"};
constexpr Scale kTrim{1, 100.0 / 128, -100, "%"};
constexpr Scale kCelsius{1, 1, -40, "degC"};
constexpr Scale kCatalyst{2, 0.1, -40, "degC"};
constexpr Scale kTorque{1, 1, -125, "%"};
constexpr Scale kSensorVoltage{1, 0.005, 0, "V"};

constexpr Pid raw(std::uint8_t pid, std::uint8_t size, std::string_view name) {
  return {pid, size, size, Kind::raw, name};
}
constexpr Pid other(std::uint8_t pid, std::uint8_t size, Kind kind, std::string_view name) {
  return {pid, size, size, kind, name};
}
/// `size` 0: that of the figure; else the rest is reserved.
constexpr Pid figure(std::uint8_t pid, std::string_view name, Scale scale, std::uint8_t size = 0) {
  const std::uint8_t n = size != 0 ? size : scale.size;
  return {pid, n, n, Kind::figures, name, {Figure{scale, ""}}};
}
constexpr Pid trims(std::uint8_t pid, std::string_view name, std::string_view second) {
  return {pid, 1, 2, Kind::figures, name, {Figure{kTrim, ""}, Figure{kTrim, second}}};
}
constexpr Pid sensor(std::uint8_t pid, std::string_view name, std::string_view trim) {
  return {pid, 2, 2, Kind::figures, name, {Figure{kSensorVoltage, ""}, Figure{kTrim, trim}}};
}

constexpr Pid kPids[] = {
    other(0x00, 4, Kind::map, "supported PIDs"),
    raw(0x01, 4, "monitor status since DTCs cleared"),
    other(0x02, 2, Kind::trouble_code, "trouble code that caused the freeze frame"),
    raw(0x03, 2, "fuel system status"),
    figure(0x04, "calculated engine load", kPercent),
    figure(0x05, "engine coolant temperature", kCelsius),
    trims(0x06, "short term fuel trim bank 1", "short term fuel trim bank 3"),
    trims(0x07, "long term fuel trim bank 1", "long term fuel trim bank 3"),
    trims(0x08, "short term fuel trim bank 2", "short term fuel trim bank 4"),
    trims(0x09, "long term fuel trim bank 2", "long term fuel trim bank 4"),
    figure(0x0A, "fuel pressure (gauge)", Scale{1, 3, 0, "kPa"}),
    figure(0x0B, "intake manifold absolute pressure", Scale{1, 1, 0, "kPa"}),
    figure(0x0C, "engine speed", Scale{2, 0.25, 0, "1/min"}),
    figure(0x0D, "vehicle speed", Scale{1, 1, 0, "km/h"}),
    figure(0x0E, "timing advance cylinder 1", Scale{1, 0.5, -64, "deg before TDC"}),
    figure(0x0F, "intake air temperature", kCelsius),
    raw(0x10, 2, "air flow rate (MAF)"),
    figure(0x11, "throttle position", kPercent),
    raw(0x12, 1, "commanded secondary air status"),
    other(0x13, 1, Kind::bits, "oxygen sensors present 2 banks"),
    sensor(0x14, "oxygen sensor 1 voltage", "oxygen sensor 1 short term trim"),
    sensor(0x15, "oxygen sensor 2 voltage", "oxygen sensor 2 short term trim"),
    sensor(0x16, "oxygen sensor 3 voltage", "oxygen sensor 3 short term trim"),
    sensor(0x17, "oxygen sensor 4 voltage", "oxygen sensor 4 short term trim"),
    sensor(0x18, "oxygen sensor 5 voltage", "oxygen sensor 5 short term trim"),
    sensor(0x19, "oxygen sensor 6 voltage", "oxygen sensor 6 short term trim"),
    sensor(0x1A, "oxygen sensor 7 voltage", "oxygen sensor 7 short term trim"),
    sensor(0x1B, "oxygen sensor 8 voltage", "oxygen sensor 8 short term trim"),
    other(0x1C, 1, Kind::standard, "OBD requirements"),
    other(0x1D, 1, Kind::bits, "oxygen sensors present 4 banks"),
    other(0x1E, 1, Kind::bits, "auxiliary input status"),
    figure(0x1F, "run time since engine start", Scale{2, 1, 0, "s"}),
    other(0x20, 4, Kind::map, "supported PIDs"),
    figure(0x21, "distance with MIL on", Scale{2, 1, 0, "km"}),
    raw(0x22, 2, "fuel rail pressure relative to manifold vacuum"),
    raw(0x23, 2, "fuel rail gauge pressure"),
    raw(0x24, 4, "oxygen sensor 1: equivalence ratio, voltage"),
    raw(0x25, 4, "oxygen sensor 2: equivalence ratio, voltage"),
    raw(0x26, 4, "oxygen sensor 3: equivalence ratio, voltage"),
    raw(0x27, 4, "oxygen sensor 4: equivalence ratio, voltage"),
    raw(0x28, 4, "oxygen sensor 5: equivalence ratio, voltage"),
    raw(0x29, 4, "oxygen sensor 6: equivalence ratio, voltage"),
    raw(0x2A, 4, "oxygen sensor 7: equivalence ratio, voltage"),
    raw(0x2B, 4, "oxygen sensor 8: equivalence ratio, voltage"),
    figure(0x2C, "commanded EGR", kPercent),
    figure(0x2D, "EGR error", kTrim),
    figure(0x2E, "commanded evaporative purge", kPercent),
    figure(0x2F, "fuel level input", kPercent),
    figure(0x30, "warm-ups since DTCs cleared", Scale{1, 1, 0, "count"}),
    figure(0x31, "distance since DTCs cleared", Scale{2, 1, 0, "km"}),
    raw(0x32, 2, "evap system vapour pressure"),
    figure(0x33, "barometric pressure", Scale{1, 1, 0, "kPa"}),
    raw(0x34, 4, "oxygen sensor 1: equivalence ratio, current"),
    raw(0x35, 4, "oxygen sensor 2: equivalence ratio, current"),
    raw(0x36, 4, "oxygen sensor 3: equivalence ratio, current"),
    raw(0x37, 4, "oxygen sensor 4: equivalence ratio, current"),
    raw(0x38, 4, "oxygen sensor 5: equivalence ratio, current"),
    raw(0x39, 4, "oxygen sensor 6: equivalence ratio, current"),
    raw(0x3A, 4, "oxygen sensor 7: equivalence ratio, current"),
    raw(0x3B, 4, "oxygen sensor 8: equivalence ratio, current"),
    figure(0x3C, "catalyst temperature bank 1 sensor 1", kCatalyst),
    figure(0x3D, "catalyst temperature bank 2 sensor 1", kCatalyst),
    figure(0x3E, "catalyst temperature bank 1 sensor 2", kCatalyst),
    figure(0x3F, "catalyst temperature bank 2 sensor 2", kCatalyst),
    raw(0x40, 4, "PIDs supported 41-60"),
    raw(0x41, 4, "monitor status this drive cycle"),
    figure(0x42, "control module voltage", Scale{2, 0.001, 0, "V"}),
    figure(0x43, "absolute load value", Scale{2, 100.0 / 255, 0, "%"}),
    figure(0x44, "commanded equivalence ratio", Scale{2, 2.0 / 65536, 0, ""}),
    figure(0x45, "relative throttle position", kPercent),
    figure(0x46, "ambient air temperature", kCelsius),
    figure(0x47, "absolute throttle position B", kPercent),
    figure(0x48, "absolute throttle position C", kPercent),
    figure(0x49, "accelerator pedal position D", kPercent),
    figure(0x4A, "accelerator pedal position E", kPercent),
    figure(0x4B, "accelerator pedal position F", kPercent),
    figure(0x4C, "commanded throttle actuator", kPercent),
    figure(0x4D, "time run with MIL on", Scale{2, 1, 0, "min"}),
    figure(0x4E, "time since DTCs cleared", Scale{2, 1, 0, "min"}),
    {0x4F,
     4,
     4,
     Kind::figures,
     "maximum of equivalence ratio",
     {Figure{{1, 1, 0, ""}, ""}, Figure{{1, 1, 0, "V"}, "maximum of oxygen sensor voltage"},
      Figure{{1, 1, 0, "mA"}, "maximum of oxygen sensor current"},
      Figure{{1, 10, 0, "kPa"}, "maximum of intake manifold absolute pressure"}}},
    figure(0x50, "maximum air flow rate", Scale{1, 10, 0, "g/s"}, 4),
    other(0x51, 1, Kind::fuel, "fuel type"),
    figure(0x52, "ethanol fuel", kPercent),
    figure(0x53, "absolute evap system vapour pressure", Scale{2, 0.005, 0, "kPa"}),
    figure(0x54, "evap system vapour pressure wide range", Scale{2, 1, 0, "Pa", true}),
    trims(0x55, "short term secondary O2 trim bank 1", "short term secondary O2 trim bank 3"),
    trims(0x56, "long term secondary O2 trim bank 1", "long term secondary O2 trim bank 3"),
    trims(0x57, "short term secondary O2 trim bank 2", "short term secondary O2 trim bank 4"),
    trims(0x58, "long term secondary O2 trim bank 2", "long term secondary O2 trim bank 4"),
    figure(0x59, "fuel rail absolute pressure", Scale{2, 10, 0, "kPa"}),
    figure(0x5A, "relative accelerator pedal position", kPercent),
    figure(0x5B, "hybrid battery pack remaining charge", kPercent),
    raw(0x5C, 1, "engine oil temperature"),
    figure(0x5D, "fuel injection timing", Scale{2, 1.0 / 128, -210, "deg"}),
    raw(0x5E, 2, "engine fuel rate"),
    raw(0x5F, 1, "emission requirements"),
    other(0x60, 4, Kind::map, "supported PIDs"),
    figure(0x61, "driver demand engine torque", kTorque),
    figure(0x62, "actual engine torque", kTorque),
    figure(0x63, "engine reference torque", Scale{2, 1, 0, "Nm"}),
    raw(0x64, 5, "engine percent torque data"),
    raw(0x65, 2, "auxiliary input/output supported"),
    raw(0x66, 5, "mass air flow sensors A B"),
    raw(0x67, 3, "engine coolant temperature sensors"),
    raw(0x68, 7, "intake air temperature sensors"),
    raw(0x69, 7, "commanded EGR and error"),
    raw(0x6A, 5, "diesel intake air flow control"),
    raw(0x6B, 5, "EGR temperature"),
    raw(0x6C, 5, "throttle actuator control"),
    raw(0x6D, 6, "fuel pressure control"),
    raw(0x6E, 5, "injection pressure control"),
    raw(0x6F, 3, "turbo compressor inlet pressure"),
    raw(0x70, 9, "boost pressure control"),
    raw(0x71, 5, "VGT control"),
    raw(0x72, 5, "wastegate control"),
    raw(0x73, 5, "exhaust pressure"),
    raw(0x74, 5, "turbocharger speed"),
    raw(0x75, 7, "turbocharger A temperature"),
    raw(0x76, 7, "turbocharger B temperature"),
    raw(0x77, 5, "charge air cooler temperature"),
    raw(0x78, 9, "EGT bank 1"),
    raw(0x79, 9, "EGT bank 2"),
    raw(0x7A, 7, "DPF bank 1"),
    raw(0x7B, 7, "DPF bank 2"),
    raw(0x7C, 9, "DPF temperature"),
    raw(0x7D, 1, "NOx NTE status"),
    raw(0x7E, 1, "PM NTE status"),
    raw(0x7F, 13, "engine run time"),
    other(0x80, 4, Kind::map, "supported PIDs"),
    other(0xA0, 4, Kind::map, "supported PIDs"),
    other(0xC0, 4, Kind::map, "supported PIDs"),
};

// scapy pids_00_1F.py and Wireshark packet-obd-ii.c. Both print "HD EOBD-IV" for 33 while describing stage
// VI.
constexpr const char* kStandards[] = {"",
                                      "OBD-II as defined by CARB",
                                      "OBD as defined by EPA",
                                      "OBD and OBD-II",
                                      "OBD-I",
                                      "not OBD compliant",
                                      "EOBD",
                                      "EOBD and OBD-II",
                                      "EOBD and OBD",
                                      "EOBD, OBD and OBD-II",
                                      "JOBD",
                                      "JOBD and OBD-II",
                                      "JOBD and EOBD",
                                      "JOBD, EOBD and OBD-II",
                                      "reserved",
                                      "reserved",
                                      "reserved",
                                      "EMD",
                                      "EMD+",
                                      "HD OBD-C",
                                      "HD OBD",
                                      "WWH OBD",
                                      "reserved",
                                      "HD EOBD-I",
                                      "HD EOBD-I N",
                                      "HD EOBD-II",
                                      "HD EOBD-II N",
                                      "reserved",
                                      "OBDBr-1",
                                      "OBDBr-2",
                                      "KOBD",
                                      "IOBD I",
                                      "IOBD II",
                                      "HD EOBD-VI"};
// scapy pids_40_5F.py and Wireshark packet-obd-ii.c
constexpr const char* kFuels[] = {"not available",
                                  "gasoline",
                                  "methanol",
                                  "ethanol",
                                  "diesel",
                                  "LPG",
                                  "CNG",
                                  "propane",
                                  "electric",
                                  "bifuel running gasoline",
                                  "bifuel running methanol",
                                  "bifuel running ethanol",
                                  "bifuel running LPG",
                                  "bifuel running CNG",
                                  "bifuel running propane",
                                  "bifuel running electricity",
                                  "bifuel running electric and combustion engine",
                                  "hybrid gasoline",
                                  "hybrid ethanol",
                                  "hybrid diesel",
                                  "hybrid electric",
                                  "hybrid running electric and combustion engine",
                                  "hybrid regenerative",
                                  "bifuel running diesel"};
// the same two sources; lowest bit first
constexpr const char* kSensors2Banks[8] = {"bank 1 sensor 1", "bank 1 sensor 2", "bank 1 sensor 3",
                                           "bank 1 sensor 4", "bank 2 sensor 1", "bank 2 sensor 2",
                                           "bank 2 sensor 3", "bank 2 sensor 4"};
constexpr const char* kSensors4Banks[8] = {"bank 1 sensor 1", "bank 1 sensor 2", "bank 2 sensor 1",
                                           "bank 2 sensor 2", "bank 3 sensor 1", "bank 3 sensor 2",
                                           "bank 4 sensor 1", "bank 4 sensor 2"};
constexpr std::uint8_t kStandardDoubtful = 33;
constexpr std::uint8_t kStandardReservedFrom = 34;
constexpr std::uint8_t kStandardNotAssignedFrom = 251;
constexpr std::uint8_t kTrimNotUsed = 0xFF;
constexpr std::size_t kShownBytes = 16;
/// SAE J1979 on CAN; a longer request, from another tester, is not searched for every way to split its
/// answer.
constexpr std::size_t kPidsMost = 6;

const Pid* find(std::uint8_t pid) {
  const auto* it =
      std::find_if(std::begin(kPids), std::end(kPids), [&](const Pid& p) { return p.pid == pid; });
  return it == std::end(kPids) ? nullptr : it;
}

double valueOf(const Scale& s, ByteView data) {
  unsigned bits = 0;
  for (const std::uint8_t b : data.first(s.size)) bits = bits << 8U | b;
  double count = bits;
  const double top = s.size == 1 ? 256 : 65536;
  if (s.is_signed && count >= top / 2) count -= top;
  return count * s.factor + s.offset;
}

std::string shown(ByteView data) {
  return toHex(data.first(std::min(data.size(), kShownBytes)), " ") +
         (data.size() > kShownBytes ? " .." : "");
}

Item item(const Pid& p, ByteView data) {
  Item out;
  out.id = fmt::format("{:02X}", p.pid);
  out.what = p.name;
  out.raw = toHex(data);
  return out;
}

Item rawItem(std::uint8_t pid, ByteView data) { return unsettledItem("PID", pid, pidName(pid), data); }

std::vector<Item> figures(const Pid& p, ByteView data) {
  std::vector<Item> out;
  std::size_t at = 0;
  for (const Figure& f : p.figures) {
    if (f.scale.size == 0 || at + f.scale.size > data.size()) break;
    const ByteView bytes = data.subspan(at, f.scale.size);
    at += f.scale.size;
    Item one = item(p, bytes);
    if (!f.what.empty()) one.what = f.what;
    if (p.pid >= 0x14 && p.pid <= 0x1B && !out.empty() && bytes[0] == kTrimNotUsed) {
      one.text = "not used";
    } else {
      one.value = valueOf(f.scale, bytes);
      one.unit = f.scale.unit;
    }
    if (p.pid == 0x0B) one.note = "unless PID 4F byte D sets another maximum";
    out.push_back(std::move(one));
  }
  return out;
}

Item standard(Item out, std::uint8_t code) {
  out.text = code < std::size(kStandards) ? kStandards[code] : "";
  if (code == kStandardDoubtful) out.note = "sources differ on this label";
  if (code == 0) out.text = "0, not in the table";
  if (code >= kStandardReservedFrom) out.text = fmt::format("{}, reserved", code);
  if (code >= kStandardNotAssignedFrom) out.text = fmt::format("{}, not available for assignment", code);
  return out;
}

Item bits(Item out, std::uint8_t pid, std::uint8_t byte) {
  if (pid == 0x1E) {
    out.what = "power take-off";
    out.text = (byte & 1U) != 0 ? "active" : "not active";
    return out;
  }
  const auto& names = pid == 0x13 ? kSensors2Banks : kSensors4Banks;
  for (unsigned bit = 0; bit < 8; ++bit)
    if ((byte >> bit & 1U) != 0) out.bits.emplace_back(names[bit]);
  if (out.bits.empty()) out.text = "none";
  return out;
}

/// A PID with its data, or a pair of PID and frame number with its data.
struct Slice {
  std::uint8_t pid = 0;
  std::uint8_t frame = 0;
  ByteView data;
};

class Splitter {
 public:
  Splitter(ByteView request, ByteView data)
      : width_(request[0] == 0x02 ? 2 : 1),
        asked_(request.subspan(1)),
        data_(data),
        used_(asked_.size() / width_) {}

  Decoded run() {
    Decoded out;
    if (used_.size() <= kPidsMost) walk(data_);
    if (ways_ == 1) {
      append(out, found_);
    } else if (ways_ > 1) {
      out.problem = "can be split in more than one way: " + shown(data_);
    } else {
      asFarAsWhole(out);
    }
    return out;
  }

 private:
  /// Index of a requested and not yet used PID that `data` begins with.
  [[nodiscard]] std::optional<std::size_t> next(ByteView data) const {
    if (data.size() < width_) return std::nullopt;
    for (std::size_t i = 0; i < used_.size(); ++i)
      if (!used_[i] && std::equal(data.begin(), data.begin() + static_cast<std::ptrdiff_t>(width_),
                                  asked_.begin() + static_cast<std::ptrdiff_t>(i * width_)))
        return i;
    return std::nullopt;
  }
  [[nodiscard]] Slice slice(ByteView data, std::size_t size) const {
    return {data[0], width_ == 2 ? data[1] : std::uint8_t{0}, data.subspan(width_, size)};
  }
  [[nodiscard]] bool alone() const { return used_.size() == 1; }

  /// Every way to use up all of `data`; the last one found stays in found_.
  void walk(ByteView data) {
    if (data.empty()) {
      ++ways_;
      found_ = path_;
      return;
    }
    const auto i = next(data);
    if (!i) return;
    const Pid* p = find(data[0]);
    const std::size_t rest = data.size() - width_;
    std::size_t from = p != nullptr ? p->size_min : rest;
    std::size_t to = p != nullptr ? p->size_max : rest;
    if (alone() && (p == nullptr || p->kind == Kind::raw)) from = to = rest;
    used_[*i] = true;
    for (std::size_t size = std::max<std::size_t>(from, 1); size <= std::min(to, rest); ++size) {
      path_.push_back(slice(data, size));
      walk(data.subspan(width_ + size));
      path_.pop_back();
    }
    used_[*i] = false;
  }

  void asFarAsWhole(Decoded& out) {
    ByteView data = data_;
    while (!data.empty()) {
      const auto i = next(data);
      if (!i) {
        out.problem = fmt::format("{} bytes that nothing was asked for: {}", data.size(), shown(data));
        return;
      }
      used_[*i] = true;
      const Pid* p = find(data[0]);
      const std::size_t rest = data.size() - width_;
      const std::string who = fmt::format("PID {:02X} {}", data[0], pidName(data[0]));
      if (p == nullptr || p->kind == Kind::raw || p->size_min != p->size_max || rest < p->size_min) {
        const std::size_t least = p != nullptr ? p->size_min : 1;
        out.problem = rest < least ? fmt::format("{} is cut short: {} of {} bytes: {}", who, rest, least,
                                                 shown(data.subspan(width_)))
                                   : fmt::format("where {} ends is not settled, and what follows: {}", who,
                                                 shown(data.subspan(width_)));
        return;
      }
      append(out, {slice(data, p->size_min)});
      data = data.subspan(width_ + p->size_min);
    }
  }

  void append(Decoded& out, const std::vector<Slice>& slices) const {
    for (const Slice& s : slices)
      for (Item& one : decodePid(s.pid, s.data)) {
        if (width_ == 2) one.frame = s.frame;
        out.items.push_back(std::move(one));
      }
  }

  std::size_t width_;
  ByteView asked_;
  ByteView data_;
  std::vector<bool> used_;
  std::vector<Slice> path_;
  std::vector<Slice> found_;
  std::size_t ways_ = 0;
};

}  // namespace

std::string_view pidName(std::uint8_t pid) {
  const Pid* p = find(pid);
  return p == nullptr ? std::string_view{} : p->name;
}

std::string supportedText(std::uint8_t base, ByteView map) {
  std::string out;
  for (std::size_t bit = 0; bit < map.size() * 8; ++bit)
    if ((map[bit / 8] >> (7U - bit % 8U) & 1U) != 0) out += fmt::format(" {:02X}", base + bit + 1);
  return out.empty() ? " none" : out;
}

std::vector<Item> decodePid(std::uint8_t pid, ByteView data) {
  const Pid* p = find(pid);
  if (p == nullptr || p->kind == Kind::raw || data.size() < p->size_min || data.size() > p->size_max)
    return {rawItem(pid, data)};
  if (p->kind == Kind::figures) return figures(*p, data);
  Item one = item(*p, data);
  switch (p->kind) {
    case Kind::map:
      one.text = supportedText(pid, data).substr(1);
      break;
    case Kind::trouble_code: {
      const auto code = word(data, 0);
      one.text = code == 0 ? "none, no freeze frame" : dtcText(code);
      break;
    }
    case Kind::standard:
      return {standard(std::move(one), data[0])};
    case Kind::fuel:
      one.text = data[0] < std::size(kFuels) ? kFuels[data[0]] : fmt::format("{}, reserved", data[0]);
      break;
    default:
      return {bits(std::move(one), pid, data[0])};
  }
  return {std::move(one)};
}

Decoded decodePids(ByteView request, ByteView data) {
  return request.empty() ? Decoded{} : Splitter(request, data).run();
}

}  // namespace pin16::protocol
