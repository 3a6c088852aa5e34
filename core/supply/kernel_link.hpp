// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The links "hwmon:CHIP/in1" and "iio:DEVICE/voltage0": a value that the kernel measures (sysfs.hpp), read
/// at intervals. Options: those of meter_options.hpp and `times=11`, what a divider before the input makes of
/// it.
///
/// Reading sysfs may take as long as the chip's own bus needs (some ms), and the io thread with it.

#include <string>

#include "core/link/link.hpp"

namespace pin16::supply {
/// `sysfs`: where sysfs is mounted.
[[nodiscard]] link::Scheme hwmonScheme(const std::string& sysfs);
[[nodiscard]] link::Scheme iioScheme(const std::string& sysfs);
}  // namespace pin16::supply
