// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the options of every meter's URI say: which named point each quantity of the instrument stands for,
/// how sure it is, how often it is read. Pure.
///
/// | option | means |
/// |---|---|
/// | `V=V(pin16,pin4)`, `I=I(feed)` | the points (docs/points.md) of its volts, its amperes; at least one |
/// | `u_V=0.02`, `u_A=0.01` | half width of the uncertainty, V and A |
/// | `input_ohm=10e6` | input resistance of the voltmeter |
/// | `every_ms=50` | how often it is read, 1 to 60000 |
/// | `aperture_ms=20` | how long it integrates for a value, 0 to 10000; unknown if not said |

#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/result.hpp"
#include "core/event/records.hpp"
#include "core/link/link.hpp"

namespace pin16::supply {

/// One quantity of an instrument.
struct Quantity {
  char unit = 'V';          ///< V or A
  std::string point;        ///< its name in docs/points.md
  double factor = 1;        ///< of the instrument's value: -1 if the point was named with its nodes swapped
  double uncertainty = -1;  ///< half width; -1 not stated
  double input_ohm = -1;    ///< of a voltmeter; -1 not stated
};

struct MeterOptions {
  std::vector<Quantity> quantities;  ///< volts before amperes; at least one
  Ns every_ns = 0;
  Ns aperture_ns = -1;
};

/// ErrorKind::usage: an option that is neither common nor among `own`, a point that is unknown, forbidden or
/// of another unit, a figure out of its range, no point at all.
[[nodiscard]] Result<MeterOptions> readMeterOptions(const link::Uri& uri, Ns every_ns,
                                                    std::initializer_list<std::string_view> own);
/// A number within least..most, or `otherwise` if the URI does not have it. ErrorKind::usage.
[[nodiscard]] Result<double> numberOption(const link::Uri& uri, std::string_view key, double least,
                                          double most, double otherwise);

/// The measurement of one value, all but its time error filled in.
[[nodiscard]] event::Measurement measurement(const Quantity& quantity, double value,
                                             const std::string& instrument, Ns aperture_ns);

/// Half width of the time at which a value was taken: it was asked for at `sent_ns`, its answer began at
/// `answered_ns`, the event's time is their middle.
///
/// With a known aperture a free-running instrument may have ended its conversion up to one aperture before it
/// was asked, and the middle of a conversion is half an aperture before its end. With an unknown one the
/// value may be as old as the query before (`before_ns`, kNoTime: none): then nothing can be said of a first
/// value.
[[nodiscard]] Ns timeError(Ns sent_ns, Ns answered_ns, Ns before_ns, Ns aperture_ns);

}  // namespace pin16::supply
