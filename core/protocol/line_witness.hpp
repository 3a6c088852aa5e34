// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Requests and answers seen on a line medium (K-line, J1850), ours and another tester's: every message, and
/// each tester's request with what answered it, by the rules of line_exchange.hpp. A header without addresses
/// (ISO 14230-2) does not tell who speaks: such a message makes no exchange.
///
/// An exchange ends with the next request, or as that page says; link-lost at a gap, not-seen if the capture
/// ended first. One owner, one thread; callbacks run inside the calls.

#include <functional>
#include <optional>

#include "core/protocol/line_exchange.hpp"

namespace pin16::protocol {

class LineWitness {
 public:
  using OnMessage = std::function<void(Ns t_ns, const event::Message&)>;
  using OnExchange = std::function<void(Ns t_ns, const event::Exchange&)>;
  LineWitness(const limits::Limits& limits, OnMessage on_message, OnExchange on_exchange);

  /// Every message in order; any one clock throughout. Without a time (kNoTime) it makes no exchange.
  void line(Ns t_ns, const event::Line& line);
  void gap(Ns from_ns);
  void finish(Ns end_ns);

 private:
  void conclude(Ns t_ns, event::Ended if_nobody);

  const limits::Limits& limits_;
  OnMessage on_message_;
  OnExchange on_exchange_;
  std::optional<LineExchange> open_;
  bool ours_ = false;
};

}  // namespace pin16::protocol
