// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A link over a serial port: the port with its unplugging and coming back (serial_line.hpp) under what all
/// links to devices share (device_link.hpp). One thread.

#include <string>
#include <string_view>

#include "core/link/device_link.hpp"
#include "core/link/serial_line.hpp"

namespace pin16::link {

class SerialLink : public DeviceLink {
 protected:
  SerialLink(const Uri& uri, std::string path, SerialSettings settings, const Context& context,
             std::string description);
  void reopenLater(event::LinkCondition condition, std::string text, std::string advice) final;
  bool control(std::string_view text) final;
  /// What a Permit let out, after event::Sent was emitted.
  bool write(ByteView bytes) { return line_.write(bytes); }
  [[nodiscard]] const SerialLine& line() const { return line_; }

 private:
  void startLine() final { line_.open(); }
  void stopLine() final { line_.close(); }
  [[nodiscard]] bool lineIsOpen() const final { return line_.isOpen(); }
  void describeLine(event::LinkState& state) const final;

  SerialLine line_;
};

/// The rate option of a URI, bit/s. ErrorKind::usage if it is no number from 1 to 12 000 000.
[[nodiscard]] Result<std::uint32_t> rateOption(const Uri& uri, std::string_view key, std::uint32_t otherwise);

}  // namespace pin16::link
