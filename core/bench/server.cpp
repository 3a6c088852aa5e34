// SPDX-License-Identifier: Apache-2.0
#include "core/bench/server.hpp"

#include <algorithm>

namespace pin16::bench {
namespace {

// ISO 14229-1, table of negative response codes.
constexpr std::uint8_t kNegative = 0x7F, kServiceNotSupported = 0x11, kUnknownItem = 0x12,
                       kIncorrectLength = 0x13, kOutOfRange = 0x31, kPending = 0x78;
constexpr std::uint8_t kPositive = 0x40;
constexpr std::uint8_t kLegislatedLast = 0x0A;
constexpr std::uint8_t kReadEcuIdentification = 0x1A, kReadDataByIdentifier = 0x22;

protocol::Pair pairOf(const Module& m, std::uint32_t listen_id) {
  return {.tx_id = m.answer_id, .rx_id = listen_id, .extended = m.extended};
}

}  // namespace

Server::Server(const Module& module, std::uint64_t seed)
    : module_(module),
      random_(seed),
      physical_(pairOf(module, module.request_id),
                {.st_min = static_cast<std::uint8_t>(module.separation_ms), .times = {}}),
      functional_(pairOf(module, module.extended ? kFunctionalExtended : kFunctionalStandard),
                  {.functional = true, .times = {}}),
      sender_(pairOf(module, module.request_id)) {}

void Server::take(const protocol::Sender::Output& from_sender, std::vector<Outgoing>& out) {
  if (from_sender.send) out.push_back({*from_sender.send, true});
}

std::vector<Server::Outgoing> Server::onFrame(Ns t_ns, const event::CanFrame& frame) {
  std::vector<Outgoing> out;
  if (module_.request_id == 0 || module_.read_out) return out;
  take(sender_.onFrame(t_ns, frame), out);
  const auto physical = physical_.onFrame(t_ns, frame);
  if (physical.send) out.push_back({physical_.frame(*physical.send), false});
  if (physical.message) plan(t_ns, *physical.message, false);
  if (module_.functional) {
    const auto functional = functional_.onFrame(t_ns, frame);
    if (functional.message) plan(t_ns, *functional.message, true);
  }
  return out;
}

std::vector<Server::Outgoing> Server::onConfirmed(Ns t_ns) {
  std::vector<Outgoing> out;
  take(sender_.onConfirmed(t_ns), out);
  return out;
}

std::vector<Server::Outgoing> Server::onTime(Ns t_ns) {
  std::vector<Outgoing> out;
  (void)physical_.onTime(t_ns);  // a request that broke off is forgotten
  take(sender_.onTime(t_ns), out);
  if (!planned_.empty() && planned_.front().first <= t_ns && !sender_.sending()) {
    Bytes answer = std::move(planned_.front().second);
    planned_.pop_front();
    take(sender_.start(t_ns, std::move(answer)), out);
  }
  return out;
}

Ns Server::nextDeadline() const {
  Ns next = kNoTime;
  const auto earliest = [&](Ns t) {
    if (t != kNoTime && (next == kNoTime || t < next)) next = t;
  };
  earliest(physical_.nextDeadline());
  earliest(sender_.nextDeadline());
  if (!planned_.empty() && !sender_.sending()) earliest(planned_.front().first);
  return next;
}

void Server::plan(Ns t_ns, const Bytes& request, bool functional) {
  // One request at a time, as a simple server does; what comes meanwhile is not served.
  if (!planned_.empty() || sender_.sending()) return;
  Bytes answer = answerOf(module_, request, functional);
  if (answer.empty()) return;
  Ns at = t_ns + fromMs((module_.delay_ms + module_.jitter_ms * random_.share()) * slow_factor_);
  for (int i = 0; i < module_.pending; ++i) {
    planned_.emplace_back(at, Bytes{kNegative, request[0], kPending});
    at += fromMs(module_.pending_every_ms);
  }
  planned_.emplace_back(at, std::move(answer));
}

Bytes answerOf(const Module& module, const Bytes& request, bool functional) {
  const std::uint8_t service = request[0];
  bool service_known = false;
  for (const Answer& a : module.answers) {
    service_known = service_known || a.request[0] == service;
    if (a.request != request) continue;
    if (a.refusal != 0) return {kNegative, service, a.refusal};
    Bytes out = request;
    out[0] = static_cast<std::uint8_t>(service + kPositive);
    out.insert(out.end(), a.data.begin(), a.data.end());
    return out;
  }
  if (service_known && service <= kLegislatedLast) return {};
  if (service == kReadDataByIdentifier && service_known && request.size() < 3)
    return {kNegative, service, kIncorrectLength};
  if (functional) return {};
  if (service == kReadEcuIdentification && service_known) return {kNegative, service, kUnknownItem};
  return {kNegative, service, service_known ? kOutOfRange : kServiceNotSupported};
}

}  // namespace pin16::bench
