// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Readings in and out of text.

#include <string>
#include <string_view>

#include "core/base/result.hpp"
#include "core/event/records.hpp"
#include "core/reasons/reasoner.hpp"

namespace pin16::reasons {

/// "12.4 V", "OL", "61 ohm", "lit".
[[nodiscard]] std::string valueText(std::size_t reading, double value);

/// "POINT=VALUE": a reading of the catalogue by its id, an answer or a number with its unit, `OL` for
/// over-range; conditions behind it (`power=on`, after a blank or a semicolon) as in job::parseReading, whose
/// points are taken too where they are the same reading. ErrorKind::usage names what is wrong; refused: ohms
/// with power on, deployment circuits, a module's own contacts.
[[nodiscard]] Result<Observation> parseObservation(std::string_view text);
/// Of a job or a capture; nothing: it is no reading of the catalogue, or not taken as the catalogue takes it.
[[nodiscard]] std::optional<Observation> observationOf(const event::Measurement& m);

}  // namespace pin16::reasons
