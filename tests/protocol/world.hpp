// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A gate and an asker on simulated time; what they send lands in `far`, as the far end of the bus would see
/// it.

#include <deque>
#include <functional>
#include <utility>
#include <vector>

#include "core/link/line_format.hpp"
#include "core/protocol/asker.hpp"

namespace pin16::protocol {

inline Bytes hex(const char* text) { return fromHex(text).value(); }
inline event::CanFrame on(std::uint32_t id, const char* text, bool extended = false) {
  return event::CanFrame::make(id, extended, hex(text));
}
constexpr Ns ms(double v) { return fromMs(v); }
inline Target physical(std::uint32_t id, bool extended = false) {
  return {id, std::nullopt, extended, false};
}

class World : public link::Host {
 public:
  explicit World(GateSettings settings = {}, bool proven = true)
      : gate(std::move(settings), limits),
        asker(
            gate, limits, *this, [this](std::uint16_t l, link::Permit p) { return send(l, std::move(p)); },
            [this](std::uint16_t l) { over.push_back(l); }) {
    event::LinkState up;
    up.condition = event::LinkCondition::up;
    up.bitrate = 500000;
    state(up);
    if (proven) inbound(on(0x123, "00"));
  }

  // What the asker tells its host.
  void onFrame(std::uint16_t, Ns, const event::CanFrame&, bool) override {}
  void onRecord(std::uint16_t, Ns, event::Kind kind, ByteView packed) override {
    if (kind == event::Kind::exchange) (void)unpack(packed, exchanges.emplace_back());
    if (kind == event::Kind::message) (void)unpack(packed, messages.emplace_back());
    if (kind == event::Kind::note) (void)unpack(packed, notes.emplace_back());
    if (kind == event::Kind::refused) (void)unpack(packed, refused.emplace_back());
  }

  Status send(std::uint16_t l, link::Permit permit) {
    if (link_fails) return Error{ErrorKind::link, "listen-only", "", ""};
    if (permit.isLine()) return sendLine(l, permit);
    far.push_back(permit.frame());
    if (on_send) on_send(permit.frame());
    if (confirms) outbound(permit.frame(), l);
    return {};
  }
  /// A line link: the bytes as they would be on the line; on a K-line an initialisation begins a session.
  Status sendLine(std::uint16_t l, const link::Permit& permit) {
    if (permit.start()) starts.push_back(*permit.start());
    far_lines.push_back(link::lineBytes(permit.line()));
    event::Line echo = permit.line();
    echo.ours = true;
    echo.first_ns = now;
    if (confirms) line(echo, l);
    return {};
  }
  void line(const event::Line& m, std::uint16_t l = 0) {
    gate.onLine(l, now, m);
    asker.onLine(l, now, m);
  }
  /// A module's message, "48 6B 11 41 00 ..." without check byte.
  void answer(const char* text, event::Medium medium, std::uint16_t l = 0, std::size_t header = 3) {
    const Bytes all = hex(text);
    event::Line m;
    m.medium = medium;
    m.header.assign(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(header));
    m.data.assign(all.begin() + static_cast<std::ptrdiff_t>(header), all.end());
    m.first_ns = now;
    line(m, l);
  }
  void medium(event::Medium m, bool session = false, std::uint16_t l = 0) {
    event::LinkState s;
    s.condition = event::LinkCondition::up;
    s.bitrate = m == event::Medium::j1850_pwm ? 41600 : 10400;
    s.medium = m;
    s.session = session;
    state(s, l);
  }
  void feed(const event::CanFrame& f, bool out, std::uint16_t l) {
    gate.onFrame(l, now, f, out);
    asker.onFrame(l, now, f, out);
  }
  void inbound(const event::CanFrame& f, std::uint16_t l = 0) { feed(f, false, l); }
  void outbound(const event::CanFrame& f, std::uint16_t l = 0) { feed(f, true, l); }
  void inboundAt(Ns t, const event::CanFrame& f) {
    until(t);
    inbound(f);
  }
  void state(const event::LinkState& s, std::uint16_t l = 0) {
    gate.onLinkState(l, now, s);
    asker.onLinkState(l, now, s);
  }
  /// Lets time pass, each deadline at its moment.
  void until(Ns t) {
    for (Ns due = asker.nextDeadline(); due != kNoTime && due <= t; due = asker.nextDeadline()) {
      now = std::max(now, due);
      asker.onTime(now);
    }
    now = std::max(now, t);
  }
  void ask(Ask a) {
    asker.ask(std::move(a), now, [this](const AskResult& r) { results.push_back(r); });
  }
  void ask(const Target& target, const char* request) {
    Ask a;
    a.target = target;
    a.request = hex(request);
    ask(std::move(a));
  }

  limits::Limits limits;
  Ns now = ms(1000);
  bool confirms = true;
  bool link_fails = false;
  std::function<void(const event::CanFrame&)> on_send;  ///< a module that answers within send()
  std::vector<event::CanFrame> far;
  std::vector<std::uint16_t> over;  ///< links whose exchange was over
  std::vector<Bytes> far_lines;     ///< with check byte
  std::vector<link::LineStart> starts;
  std::vector<AskResult> results;
  std::vector<event::Exchange> exchanges;
  std::vector<event::Message> messages;
  std::vector<event::Refused> refused;
  std::vector<event::Note> notes;
  Gate gate;
  Asker asker;
};

}  // namespace pin16::protocol
