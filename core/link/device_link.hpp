// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What every link to a device over a line that can break has in common, be it a serial port or a connection:
/// the state, the gap from last to first seen, and every byte of both directions on the stream. One thread.

#include <memory>
#include <string>
#include <string_view>

#include "core/link/link.hpp"

namespace pin16::link {

class DeviceLink : public Link {
 public:
  void open() final;
  void close() final;
  [[nodiscard]] const event::LinkState& state() const final { return state_; }

 protected:
  /// `description`: what it is, for people, while nothing better is known.
  DeviceLink(const Uri& uri, const Context& context, std::string description);

  // For the dialogue with the device.
  /// The line is open: begin. Ends in up(), reopenLater() or more bytes to wait for.
  virtual void onOpened() = 0;
  virtual void onBytes(Ns t_boot_ns, ByteView bytes) = 0;
  /// The line is gone: forget what was under way.
  virtual void onLost() {}
  /// Before the line is closed for good: what the device should be told, by control().
  virtual void onClosing() {}
  /// The link tells the stream itself which of the bytes are whose (an echo comes back on the same wire).
  [[nodiscard]] virtual bool tellsBytes() const { return false; }
  /// What the link knows beside text and advice when it shows a trouble.
  virtual void describeTrouble(event::LinkState& /*state*/) const {}

  /// The device works: `next` becomes the state (condition up, uri and description filled where empty); ends
  /// an open gap at `t_boot_ns`.
  void up(Ns t_boot_ns, event::LinkState next);
  /// Shows a change while up.
  void become(event::LinkState next);
  /// Something was seen at this time: a later gap begins here.
  void seen(Ns t_boot_ns) { seen_boot_ns_ = t_boot_ns; }
  /// What hangs on this line is an instrument: said in every state. For constructors.
  void markMeter() { state_.meter = true; }
  /// The device is there and makes no sense: says so, closes, tries again.
  virtual void reopenLater(event::LinkCondition condition, std::string text, std::string advice) = 0;
  /// One of the link's own fixed strings, which never reach a bus. False if it could not be written.
  virtual bool control(std::string_view text) = 0;

  [[nodiscard]] const Context& context() const { return context_; }
  /// For handlers of a derived link's timers: expired once close() was called.
  [[nodiscard]] std::weak_ptr<bool> token() const { return alive_; }
  /// A LinkState with uri, description and what is known of the line.
  [[nodiscard]] event::LinkState blank() const;

  // For the line.
  virtual void startLine() = 0;
  /// For good: no handler of the line does anything after it.
  virtual void stopLine() = 0;
  [[nodiscard]] virtual bool lineIsOpen() const = 0;
  virtual void describeLine(event::LinkState& state) const = 0;
  void took(Ns t_boot_ns, ByteView bytes);
  void gave(Ns t_boot_ns, ByteView bytes);
  /// It could not be opened, or is lost (`was_open`).
  void trouble(event::LinkCondition condition, std::string text, std::string advice, bool was_open);

 private:
  Context context_;
  const std::string description_;
  event::LinkState state_;
  bool was_up_ = false;
  bool missed_ = false;  ///< a gap is open
  Ns seen_boot_ns_ = kNoTime;
  Ns gap_from_ns_ = kNoTime;
  std::string missed_why_;
  std::shared_ptr<bool> alive_;  ///< of open() to close()
};

}  // namespace pin16::link
