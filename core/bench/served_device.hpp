// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A device of the bench as another program meets it: bytes in, bytes out. Pure behaviour: no I/O, no clock
/// of its own, one thread (that of serve()). The world has been advanced to `now_ns` before each call.

#include <functional>
#include <string_view>

#include "core/base/clock.hpp"
#include "core/event/frame.hpp"
#include "core/event/records.hpp"

namespace pin16::bench {

class ServedDevice {
 public:
  using Write = std::function<void(std::string_view)>;  ///< towards the host
  virtual ~ServedDevice() = default;

  /// Bytes from the host, cut anywhere.
  virtual void take(Ns now_ns, std::string_view bytes) = 0;
  /// When onTime() is due next; kNoTime if never.
  [[nodiscard]] virtual Ns nextDue() const { return kNoTime; }
  virtual void onTime(Ns /*now_ns*/) {}

  // What the world tells, see World::Observer.
  virtual void onFrame(Ns /*t_ns*/, const event::CanFrame& /*frame*/, bool /*outbound*/) {}
  virtual void onController(std::string_view /*state*/, int /*tx_errors*/) {}
  virtual void onSample(Ns /*t_ns*/, const event::Measurement& /*sample*/) {}
  /// The host did not read in time and bytes were thrown away.
  virtual void onOverrun() {}
};

}  // namespace pin16::bench
