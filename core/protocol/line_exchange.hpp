// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One request of ours on a line medium and what answers it. Time is injected, no I/O; owner: the asker.
///
/// A module's answer may be several messages, and nothing says how many: it is over when the answer itself
/// tells (Joined::whole), else when the line was quiet for timing.line_quiet_ms. To one module the exchange
/// then ends; to everybody when the wait is over too. Until the request is seen on the line it waits for what
/// an initialisation may take (timing.line_start_ms).

#include <map>
#include <optional>
#include <vector>

#include "core/event/records.hpp"
#include "core/limits/limits.hpp"
#include "core/protocol/target.hpp"

namespace pin16::protocol {

struct LineTimes {
  Ns wait_ns = 0;     ///< for the first answer
  Ns start_ns = 0;    ///< from the permit to the request on the line
  Ns quiet_ns = 0;    ///< after the last message of an answer
  Ns p2_ns = 0;       ///< answers after this are late; 0: no limit is known
  Ns p2_star_ns = 0;  ///< the same after "pending"
  Ns margin_ns = 0;   ///< waited beyond it
};
[[nodiscard]] LineTimes lineTimes(const limits::Limits& limits, event::Medium medium, Ns wait_ns);

class LineExchange {
 public:
  LineExchange(const Target& target, Bytes request, event::Line line, Ns handed_ns, const LineTimes& times);

  /// A message on the line; the Message event if it is an answer.
  [[nodiscard]] std::optional<event::Message> onLine(Ns t_ns, const event::Line& line);
  [[nodiscard]] bool over(Ns now_ns) const { return now_ns >= deadline(); }
  /// When it is over, as far as is known now.
  [[nodiscard]] Ns deadline() const;
  /// Of each module that answered, else one that ended `if_nobody`.
  [[nodiscard]] std::vector<event::Exchange> conclude(event::Ended if_nobody) const;
  [[nodiscard]] const event::Line& request() const { return line_; }
  [[nodiscard]] bool confirmed() const { return confirmed_; }
  [[nodiscard]] Ns request_ns() const { return request_ns_; }

 private:
  struct Peer {
    event::Exchange exchange;
    std::vector<Bytes> parts;
    Bytes negative;
    Ns expected_ns = kNoTime;  ///< answers after this are late
    Ns until_ns = kNoTime;     ///< over then, if nothing more comes
  };
  [[nodiscard]] event::Exchange blank() const;

  Target target_;
  Bytes request_;
  event::Line line_;
  Ns handed_ns_, request_ns_;
  LineTimes times_;
  bool confirmed_ = false;
  std::map<std::uint32_t, Peer> peers_;  ///< by address
};

}  // namespace pin16::protocol
