// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Meters: instruments with a data port, as links that carry samples and no frames (docs/meters.md).

#include <string>

namespace pin16::supply {

/// Registers scpi, scpi-tcp, hwmon and iio with the link room; idempotent. `sysfs`: where sysfs is mounted.
void addMeterSchemes(const std::string& sysfs = "/sys");

}  // namespace pin16::supply
