// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Gate, asker and one link at: as the recorder has them, against a desk.

#include <gtest/gtest.h>

#include <optional>
#include <set>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/link/at.hpp"
#include "core/protocol/asker.hpp"
#include "core/protocol/gate.hpp"
#include "tests/bench/at_desk.hpp"
#include "tests/link/link_double.hpp"

namespace pin16::bench {

/// Gate, asker and one link, as the recorder has them.
struct AtRig : link::Host {
  AtRig(boost::asio::io_context& context, const std::string& uri, bool take_name = true, bool search = false)
      : io(context),
        gate({}, limits),
        asker(
            gate, limits, *this, [this](std::uint16_t, link::Permit p) { return at->send(std::move(p)); },
            [this](std::uint16_t) { at->exchangeOver(); }),
        timer(context) {
    link::Context with{io, *this, 0};
    if (search)
      with.search_permit = [this](std::uint16_t l, bool extended) {
        gate.nameRate(l);
        return gate.request(l, bootNow(), protocol::functionalTarget(extended), Bytes{1, 0});
      };
    auto made = link::makeLink(*link::parseUri(uri), with);
    if (!made) throw std::runtime_error(made.error().text());
    at = std::move(*made);
    if (take_name && at->rateNamed()) gate.nameRate(0);
    at->open();
    tick();
  }
  ~AtRig() override { at->close(); }
  void tick() {
    timer.expires_after(std::chrono::milliseconds(5));
    timer.async_wait([this](const boost::system::error_code& ec) {
      if (ec) return;
      asker.onTime(bootNow());
      tick();
    });
  }
  void onFrame(std::uint16_t l, Ns t, const event::CanFrame& f, bool outbound) override {
    kept.onFrame(l, t, f, outbound);
    gate.onFrame(l, t, f, outbound);
    asker.onFrame(l, t, f, outbound);
  }
  void onRecord(std::uint16_t l, Ns t, event::Kind kind, ByteView packed) override {
    kept.onRecord(l, t, kind, packed);
    event::LinkState s;
    if (event::Line line; kind == event::Kind::line && unpack(packed, line)) {
      gate.onLine(l, t, line);
      asker.onLine(l, t, line);
    }
    if (event::Sent sent; kind == event::Kind::sent && unpack(packed, sent)) asker.onSent(l, sent);
    if (kind != event::Kind::link || !unpack(packed, s)) return;
    gate.onLinkState(l, t, s);
    asker.onLinkState(l, t, s);
  }
  void onUnsent(std::uint16_t l, Ns t) override { asker.onUnsent(l, t); }
  bool blanks = false;
  [[nodiscard]] bool blanksContent() const override { return blanks; }
  void onBytes(std::uint16_t, Ns, ByteView bytes, bool outbound) override {
    if (outbound) written.append(bytes.begin(), bytes.end());
  }
  [[nodiscard]] bool up() const { return at->state().condition == event::LinkCondition::up; }
  [[nodiscard]] bool comesUp() {
    return link::runUntil(io, [this] { return up(); });
  }
  protocol::AskResult ask(const protocol::Target& to, const char* request, Ns wait_ns = 0) {
    std::optional<protocol::AskResult> result;
    protocol::Ask a;
    a.wait_ns = wait_ns;
    a.target = to;
    a.request = *fromHex(request);
    asker.ask(a, bootNow(), [&](const protocol::AskResult& r) { result = r; });
    EXPECT_TRUE(link::runUntil(io, [&] { return result.has_value(); }));
    return result.value_or(protocol::AskResult{});
  }
  void run(std::chrono::milliseconds span) { link::runFor(io, span); }
  [[nodiscard]] std::vector<std::string> notes() const { return kept.notes(); }
  [[nodiscard]] std::vector<std::pair<Ns, event::Measurement>> samples() const {
    std::vector<std::pair<Ns, event::Measurement>> out;
    for (const auto& r : kept.records)
      if (r.kind == event::Kind::sample) {
        out.emplace_back(r.t_boot_ns, event::Measurement{});
        (void)unpack(r.packed, out.back().second);
      }
    return out;
  }

  boost::asio::io_context& io;
  limits::Limits limits;
  link::KeepingHost kept;
  protocol::Gate gate;
  protocol::Asker asker;
  boost::asio::steady_timer timer;
  std::unique_ptr<link::Link> at;
  std::string written;
};

inline std::string vinOf(const protocol::AskResult& r) {
  if (!r.state || r.exchanges.empty()) return "nothing";
  const auto& x = r.exchanges.front();
  if (x.ended != event::Ended::answered) return toText(x.ended);
  const std::string text = toHex(x.answer);
  return text.size() < 34 ? text : text.substr(text.size() - 34);
}

/// Lines that the host wrote, without blanks; an empty line is kept.
inline std::vector<std::string> linesOf(const std::string& text) {
  std::vector<std::string> out(1);
  for (const char c : text) {
    if (c == '\r')
      out.emplace_back();
    else if (c != ' ')
      out.back() += c;
  }
  out.pop_back();  // what follows the last CR: blanks that end listening
  return out;
}
inline std::set<std::string> fixedLines() {
  std::set<std::string> out;
  for (const auto c : link::atControls()) out.emplace(c);
  return out;
}
}  // namespace pin16::bench
