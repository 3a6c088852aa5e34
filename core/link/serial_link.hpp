// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What every link over a serial port has in common: the port with its unplugging and coming back, the state,
/// the gap from last to first seen, and every byte of both directions on the stream. One thread.

#include <string>
#include <string_view>

#include "core/link/link.hpp"
#include "core/link/serial_line.hpp"

namespace pin16::link {

class SerialLink : public Link {
 public:
  /// `description`: what it is, for people, while nothing better is known.
  SerialLink(const Uri& uri, std::string path, SerialSettings settings, const Context& context,
             std::string description);
  void open() final;
  void close() final;
  [[nodiscard]] const event::LinkState& state() const final { return state_; }

 protected:
  /// The port is open and raw: begin the dialogue. Ends in up(), reopenLater() or more bytes to wait for.
  virtual void onOpened() = 0;
  virtual void onBytes(Ns t_boot_ns, ByteView bytes) = 0;
  /// The port is gone: forget what was under way.
  virtual void onLost() {}
  /// Before the port is closed for good: what the device should be told, by control().
  virtual void onClosing() {}
  /// What the link knows beside text and advice when it shows a trouble.
  virtual void describeTrouble(event::LinkState& /*state*/) const {}

  /// The device works: `next` becomes the state (condition up, uri and description filled where empty); ends
  /// an open gap at `t_boot_ns`.
  void up(Ns t_boot_ns, event::LinkState next);
  /// Shows a change while up.
  void become(event::LinkState next);
  /// The device is there and makes no sense: says so, closes, tries again.
  void reopenLater(event::LinkCondition condition, std::string text, std::string advice);
  /// Something was seen at this time: a later gap begins here.
  void seen(Ns t_boot_ns) { seen_boot_ns_ = t_boot_ns; }
  /// One of the link's own fixed strings, which never reach a bus. False if it could not be queued.
  bool control(std::string_view text);
  /// What a Permit let out, after event::Sent was emitted.
  bool write(ByteView bytes) { return line_.write(bytes); }
  bool setBaud(std::uint32_t baud) { return line_.setBaud(baud); }

  [[nodiscard]] const Context& context() const { return context_; }
  [[nodiscard]] const SerialLine& line() const { return line_; }
  [[nodiscard]] boost::asio::io_context& io() const { return context_.io; }
  /// What hangs on this port is an instrument: said in every state. For constructors.
  void markMeter() { state_.meter = true; }
  /// For handlers of a derived link's timers: expired once close() was called.
  [[nodiscard]] std::weak_ptr<bool> token() const { return alive_; }
  /// A LinkState with uri, description and what the system knows of the port.
  [[nodiscard]] event::LinkState blank() const;

 private:
  void onTrouble(const SerialTrouble& trouble, bool was_open);

  Context context_;
  const std::string description_;
  event::LinkState state_;
  SerialLine line_;
  bool was_up_ = false;
  bool missed_ = false;  ///< a gap is open
  Ns seen_boot_ns_ = kNoTime;
  Ns gap_from_ns_ = kNoTime;
  std::string missed_why_;
  std::shared_ptr<bool> alive_;
};

/// The rate option of a URI, bit/s. ErrorKind::usage if it is no number from 1 to 12 000 000.
[[nodiscard]] Result<std::uint32_t> rateOption(const Uri& uri, std::string_view key, std::uint32_t otherwise);

}  // namespace pin16::link
