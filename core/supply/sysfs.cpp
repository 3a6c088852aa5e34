// SPDX-License-Identifier: Apache-2.0
#include "core/supply/sysfs.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <optional>
#include <vector>

namespace pin16::supply {
namespace {

namespace fs = std::filesystem;

/// The kernel's classes of the two kinds of device.
struct Class {
  const char* path;
  const char* prefix;  ///< of a device's folder
  const char* form;
};
constexpr Class kHwmon{"class/hwmon", "hwmon", "hwmon:CHIP/in1"};
constexpr Class kIio{"bus/iio/devices", "iio:device", "iio:DEVICE/voltage0"};

/// One line, without its end; the errno if it cannot be read, and an error if it is longer than any number or
/// name of the kernel's.
Result<std::string> readLine(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  const auto failed = [&](int error) {
    return Error{ErrorKind::link, fmt::format("cannot be read: {}", std::strerror(error)), path, ""};
  };
  if (fd < 0) return failed(errno);
  std::array<char, 256> room{};
  const ssize_t n = ::read(fd, room.data(), room.size());
  const int error = errno;
  ::close(fd);
  if (n < 0) return failed(error);
  if (static_cast<std::size_t>(n) == room.size())
    return Error{ErrorKind::link, fmt::format("holds {} bytes or more", room.size()), path, ""};
  std::string text(room.data(), static_cast<std::size_t>(n));
  text.erase(text.find_last_not_of(" \t\r\n") + 1);
  return text;
}

Result<double> readNumber(const std::string& path) {
  const auto text = readLine(path);
  if (!text) return text.error();
  double value = 0;
  const char* const last = text->data() + text->size();
  const auto [end, fault] = std::from_chars(text->data(), last, value);
  if (fault != std::errc{} || end != last || !std::isfinite(value))
    return Error{ErrorKind::link, fmt::format("\"{}\" is no number", text->substr(0, 40)), path, ""};
  return value;
}

bool hasNumber(std::string_view channel, std::string_view kind) {
  return channel.size() > kind.size() && channel.starts_with(kind) &&
         std::all_of(channel.begin() + static_cast<std::ptrdiff_t>(kind.size()), channel.end(),
                     [](char c) { return c >= '0' && c <= '9'; });
}

struct Target {
  std::string device, channel;
};
Result<Target> split(const Class& kind, const std::string& target) {
  const std::size_t slash = target.find('/');
  if (slash == std::string::npos || slash == 0 || slash + 1 == target.size() ||
      target.find('/', slash + 1) != std::string::npos)
    return Error{ErrorKind::usage, fmt::format("\"{}\" names no input of a device", target), "",
                 fmt::format("Write {}", kind.form)};
  return Target{target.substr(0, slash), target.substr(slash + 1)};
}

/// The folder of the device that is called so.
Result<std::string> findFolder(const Class& kind, const std::string& sysfs, const std::string& name) {
  const fs::path all = fs::path(sysfs) / kind.path;
  std::vector<std::string> found, known;
  std::error_code ec;
  for (const auto& entry : fs::directory_iterator(all, ec)) {
    const std::string folder = entry.path().filename();
    const auto own = readLine(entry.path() / "name");
    known.push_back(fmt::format("{} ({})", own ? *own : "no name", folder));
    if (folder == name || (own && *own == name)) found.push_back(folder);
  }
  std::sort(known.begin(), known.end());
  if (found.size() > 1)
    return Error{ErrorKind::usage, fmt::format("{} devices are called {}", found.size(), name), "",
                 fmt::format("Name one by its folder: {}", fmt::join(found, ", "))};
  if (found.empty())
    return Error{ErrorKind::link, fmt::format("there is no {} in {}", name, all.string()), "",
                 known.empty() ? "plug it in; no such device is there"
                               : fmt::format("plug it in; there are {}", fmt::join(known, ", "))};
  return (all / found.front()).string();
}

/// The channel's own attribute, else that of all of its kind; `otherwise` if there is neither.
Result<std::optional<double>> attribute(const SysfsInput& input, const char* name,
                                        std::optional<double> otherwise) {
  const std::string kind = input.channel.substr(0, input.channel.find_first_of("0123456789"));
  for (const std::string& whose : {input.channel, kind}) {
    const std::string path = fmt::format("{}/in_{}_{}", input.folder, whose, name);
    if (!fs::exists(path)) continue;
    const auto value = readNumber(path);
    if (!value) return value.error();
    return std::optional<double>(*value);
  }
  return otherwise;
}

Error noInput(const SysfsInput& input, const std::string& target) {
  return {ErrorKind::link, fmt::format("{} has no input {}", input.folder, input.channel), "",
          fmt::format("`ls {}` shows what {} has", input.folder, target)};
}

}  // namespace

Result<SysfsInput> findHwmon(const std::string& sysfs, const std::string& target) {
  const auto parts = split(kHwmon, target);
  if (!parts) return parts.error();
  SysfsInput input;
  input.channel = parts->channel;
  const bool volts = hasNumber(parts->channel, "in");
  if (!volts && !hasNumber(parts->channel, "curr"))
    return Error{ErrorKind::usage,
                 fmt::format("{} is neither a voltage nor a current of hwmon", parts->channel), "",
                 "Write in0, in1, ... or curr1, curr2, ..."};
  input.unit = volts ? 'V' : 'A';
  const auto folder = findFolder(kHwmon, sysfs, parts->device);
  if (!folder) return folder.error();
  input.folder = *folder;
  if (!fs::exists(fs::path(*folder) / (parts->channel + "_input"))) return noInput(input, target);
  const auto label = readLine(*folder + "/" + parts->channel + "_label");
  input.description =
      fmt::format("hwmon {}, {}{}", parts->device, parts->channel, label ? ", " + *label : "");
  if (const auto ms = readNumber(*folder + "/update_interval"); ms && *ms >= 0)
    input.interval_ns = std::llround(*ms * kNsPerMs);
  return input;
}

Result<SysfsInput> findIio(const std::string& sysfs, const std::string& target) {
  const auto parts = split(kIio, target);
  if (!parts) return parts.error();
  SysfsInput input;
  input.iio = true;
  input.channel = parts->channel;
  const bool volts = hasNumber(parts->channel, "voltage");
  if (!volts && !hasNumber(parts->channel, "current"))
    return Error{ErrorKind::usage,
                 fmt::format("{} is neither a voltage nor a current of IIO", parts->channel), "",
                 "Write voltage0, voltage1, ... or current0, current1, ..."};
  input.unit = volts ? 'V' : 'A';
  const auto folder = findFolder(kIio, sysfs, parts->device);
  if (!folder) return folder.error();
  input.folder = *folder;
  const fs::path base = fs::path(*folder) / ("in_" + parts->channel);
  if (!fs::exists(base.string() + "_raw") && !fs::exists(base.string() + "_input"))
    return noInput(input, target);
  input.description = fmt::format("IIO {}, {}", parts->device, parts->channel);
  return input;
}

Result<double> readInput(const SysfsInput& input) {
  constexpr double kMilli = 1e-3;
  if (!input.iio) {
    const auto milli = readNumber(input.folder + "/" + input.channel + "_input");
    return milli ? Result<double>(*milli * kMilli) : milli;
  }
  const std::string own = input.folder + "/in_" + input.channel;
  if (fs::exists(own + "_input")) {
    const auto milli = readNumber(own + "_input");
    return milli ? Result<double>(*milli * kMilli) : milli;
  }
  const auto raw = readNumber(own + "_raw");
  if (!raw) return raw.error();
  const auto offset = attribute(input, "offset", 0.0);
  if (!offset) return offset.error();
  const auto scale = attribute(input, "scale", std::nullopt);
  if (!scale) return scale.error();
  if (!*scale)
    return Error{ErrorKind::link, fmt::format("the driver states no scale for {}", input.channel),
                 input.folder, ""};
  return (*raw + **offset) * **scale * kMilli;
}

}  // namespace pin16::supply
