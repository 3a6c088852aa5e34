// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Faults that the catalogue lacks, for the study: the honest answer to their readings is that nothing known
/// explains them.

#include <array>
#include <optional>
#include <string>

#include "core/reasons/model.hpp"

namespace pin16::study {

/// Readings of a bench with such a fault, noiseless; nothing if this draw answers as asked. `name` becomes
/// "outside:...".
[[nodiscard]] std::optional<std::array<double, reasons::kReadings>> drawOutside(reasons::Arrangement a,
                                                                                std::uint64_t seed,
                                                                                std::string& name);

}  // namespace pin16::study
