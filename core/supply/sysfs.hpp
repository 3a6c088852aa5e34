// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Voltages and currents as the kernel shows them in sysfs, read with their scale. One call a thread.
///
/// hwmon, Documentation/hwmon/sysfs-interface.rst: inN_input in mV, currN_input in mA, `name` of the chip,
/// `update_interval` in ms. IIO, Documentation/ABI/testing/sysfs-bus-iio: (raw + offset) * scale in mV or mA,
/// scale and offset of the channel (in_voltage0_scale) or of all of its kind (in_voltage_scale);
/// in_voltage0_input is scaled already.

#include <string>

#include "core/base/clock.hpp"
#include "core/base/result.hpp"

namespace pin16::supply {

/// One input that was found.
struct SysfsInput {
  std::string folder;       ///< of the chip or device
  std::string channel;      ///< in1, curr1; voltage0, current0
  std::string description;  ///< for people
  char unit = 'V';          ///< V or A
  bool iio = false;
  Ns interval_ns = -1;  ///< the chip's own between values; -1 unknown
};

/// `target`: "CHIP/in1", CHIP a name or hwmonN. ErrorKind::link: no such chip or input now; usage: not that
/// form, or several chips of the name.
[[nodiscard]] Result<SysfsInput> findHwmon(const std::string& sysfs, const std::string& target);
/// `target`: "DEVICE/voltage0", DEVICE a name or iio:deviceN. Errors as above.
[[nodiscard]] Result<SysfsInput> findIio(const std::string& sysfs, const std::string& target);

/// Its value now, V or A. ErrorKind::link: the driver gave none.
[[nodiscard]] Result<double> readInput(const SysfsInput& input);

}  // namespace pin16::supply
