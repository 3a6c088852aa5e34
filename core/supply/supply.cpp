// SPDX-License-Identifier: Apache-2.0
#include "core/supply/supply.hpp"

#include "core/supply/kernel_link.hpp"
#include "core/supply/scpi_link.hpp"

namespace pin16::supply {

void addMeterSchemes(const std::string& sysfs) {
  link::addScheme(scpiScheme());
  link::addScheme(scpiTcpScheme());
  link::addScheme(hwmonScheme(sysfs));
  link::addScheme(iioScheme(sysfs));
}

}  // namespace pin16::supply
