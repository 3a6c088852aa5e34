// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/line_exchange.hpp"

#include <algorithm>
#include <utility>

#include "core/protocol/line.hpp"
#include "core/protocol/services.hpp"

namespace pin16::protocol {

LineTimes lineTimes(const limits::Limits& limits, event::Medium medium, Ns wait_ns) {
  const auto ns = [&](const char* name) { return fromMs(limits.value(name)); };
  LineTimes t;
  t.wait_ns = wait_ns > 0 ? wait_ns : ns("timing.client_wait_ms");
  t.start_ns = ns("timing.line_start_ms");
  t.quiet_ns = ns("timing.line_quiet_ms");
  // Of J1850 only a value from memory is known: it must not call anything late.
  if (event::isKLine(medium)) t.p2_ns = ns("timing.kline_p2_max_ms");
  t.p2_star_ns = ns("timing.kline_p2_star_max_ms");
  t.margin_ns = ns("timing.client_margin_ms");
  return t;
}

LineExchange::LineExchange(const Target& target, Bytes request, event::Line line, Ns handed_ns,
                           const LineTimes& times)
    : target_(target),
      request_(std::move(request)),
      line_(std::move(line)),
      handed_ns_(handed_ns),
      request_ns_(handed_ns),
      times_(times) {}

event::Exchange LineExchange::blank() const {
  event::Exchange e;
  e.request_id = target_.request_id;
  if (!target_.functional) e.answer_id = target_.answer_id.value_or(target_.request_id);
  e.functional = target_.functional;
  e.ours = true;
  e.request = request_;
  e.request_ns = request_ns_;
  e.confirmed = confirmed_;
  e.handed_ns = handed_ns_;
  e.medium = line_.medium;
  e.request_header = line_.header;
  return e;
}

std::optional<event::Message> LineExchange::onLine(Ns t_ns, const event::Line& line) {
  if (line.ours) {
    if (confirmed_ || line.header != line_.header || line.data != line_.data) return std::nullopt;
    confirmed_ = true;
    request_ns_ = t_ns;
    return std::nullopt;
  }
  const Ns began_ns = line.first_ns != kNoTime ? line.first_ns : t_ns;
  if (began_ns < request_ns_ || !mayAnswer(target_, line)) return std::nullopt;
  const AnswerKind kind = answerKind(request_, line.data);
  if (kind == AnswerKind::none) return std::nullopt;
  const std::uint32_t from = link::sourceOf(line).value_or(static_cast<std::uint8_t>(target_.request_id));
  const auto [it, is_new] = peers_.try_emplace(from);
  Peer& peer = it->second;
  event::Exchange& e = peer.exchange;
  if (is_new) {
    e = blank();
    e.answer_id = from;
    e.response_ms = toMs(began_ns - request_ns_);
    if (times_.p2_ns > 0) peer.expected_ns = request_ns_ + times_.p2_ns;
  }
  const bool first_of_answer = peer.parts.empty() && peer.negative.empty();
  if (first_of_answer && peer.expected_ns != kNoTime && began_ns > peer.expected_ns) e.late = true;
  if (kind == AnswerKind::pending) {
    ++e.pending;
    e.pending_ms.push_back(toMs(t_ns - request_ns_));
    peer.expected_ns = t_ns + times_.p2_star_ns;
    peer.until_ns = peer.expected_ns + times_.margin_ns;
  } else {
    if (first_of_answer) {
      e.answer_header = line.header;
      e.answer_ms = toMs(began_ns - request_ns_);
    }
    e.complete_ms = toMs(t_ns - request_ns_);
    kind == AnswerKind::negative ? void(peer.negative = line.data) : peer.parts.push_back(line.data);
    const bool whole = kind == AnswerKind::negative || joinAnswer(peer.parts).whole;
    peer.until_ns = whole ? t_ns : t_ns + times_.quiet_ns;
  }
  event::Message m;
  m.id = from;
  m.complete = true;
  m.payload = line.data;
  m.first_ns = line.first_ns;
  m.medium = line.medium;
  m.header = line.header;
  return m;
}

Ns LineExchange::deadline() const {
  if (!confirmed_ && peers_.empty()) return handed_ns_ + std::max(times_.start_ns, times_.wait_ns);
  Ns due = peers_.empty() || target_.functional ? request_ns_ + times_.wait_ns : request_ns_;
  for (const auto& [from, peer] : peers_) due = std::max(due, peer.until_ns);
  return due;
}

std::vector<event::Exchange> LineExchange::conclude(event::Ended if_nobody) const {
  std::vector<event::Exchange> out;
  for (const auto& [from, peer] : peers_) {
    event::Exchange e = peer.exchange;
    e.confirmed = confirmed_;
    e.request_ns = request_ns_;
    if (!peer.negative.empty()) {
      e.answer = peer.negative;
      e.ended = event::Ended::negative;
    } else if (peer.parts.empty()) {
      e.ended = if_nobody;  // a "pending" that nothing followed
    } else {
      const Joined joined = joinAnswer(peer.parts);
      e.answer = joined.answer;
      e.ended = joined.fault.empty() ? event::Ended::answered : event::Ended::incomplete;
    }
    out.push_back(std::move(e));
  }
  if (out.empty()) {
    out.push_back(blank());
    out.back().ended = if_nobody;
  }
  return out;
}

}  // namespace pin16::protocol
