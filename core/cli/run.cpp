// SPDX-License-Identifier: Apache-2.0
#include "core/cli/run.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdio>

#include "core/link/at.hpp"
#include "core/link/link.hpp"

namespace pin16::cli {
namespace {
volatile std::sig_atomic_t g_interrupted = 0;

using event::LinkCondition;

bool settled(const event::LinkState& s) { return !s.uri.empty() && s.condition != LinkCondition::opening; }
}  // namespace

void watchInterrupts() {
  struct sigaction action {};
  action.sa_handler = [](int) { g_interrupted = 1; };
  for (const int s : {SIGINT, SIGTERM, SIGHUP}) sigaction(s, &action, nullptr);
}

bool interrupted() { return g_interrupted != 0; }

std::string captureName(const std::string& given, std::string_view command) {
  if (!given.empty()) return given;
  std::string stamp = utcText(readClocks().utc_ns).substr(0, 19);
  std::erase(stamp, '-');
  std::erase(stamp, ':');
  std::string name = fmt::format("pin16-{}Z-{}.pcapng", stamp, command);
  for (int n = 2; access(name.c_str(), F_OK) == 0; ++n)
    name = fmt::format("pin16-{}Z-{}-{}.pcapng", stamp, command, n);
  return name;
}

void LinkBoard::take(const event::Batch& batch) {
  for (const auto& h : batch.headers) {
    if (h.kind == event::Kind::refused) refused_.insert(h.link);
    if (h.kind != event::Kind::link || h.link == event::kNoLink) continue;
    const auto state = batch.record<event::LinkState>(h);
    if (!state) continue;
    if (states_.size() <= h.link) states_.resize(h.link + 1U);
    states_[h.link] = *state;
    if (state->condition != LinkCondition::up) continue;
    ever_up_ = true;
    bus_ever_up_ = bus_ever_up_ || !state->meter;
  }
}

void LinkBoard::tellTroubles() {
  told_.resize(states_.size());
  for (std::size_t i = 0; i < states_.size(); ++i) {
    const auto& s = states_[i];
    if (s.text == told_[i]) continue;
    told_[i] = s.text;
    if (s.text.empty())
      std::fprintf(stderr, "%s: working again\n", s.uri.c_str());
    else
      std::fprintf(stderr, "%s: %s%s%s\n", s.uri.c_str(), s.text.c_str(),
                   s.advice.empty() ? "" : "\n  mend it with: ", s.advice.c_str());
  }
}

std::vector<std::uint16_t> busLinks(const std::vector<std::string>& uris) {
  std::vector<std::uint16_t> all;
  for (std::size_t i = 0; i < uris.size(); ++i)
    if (!link::isMeter(uris[i])) all.push_back(static_cast<std::uint16_t>(i));
  return all;
}

Status beginSearch(recorder::Config& config) {
  std::vector<std::string> found;
  for (std::string& uri : config.uris)
    if (auto searching = link::searchUri(uri)) {
      found.push_back(uri);
      uri = *std::move(searching);
    }
  if (found.empty())
    return Error{ErrorKind::usage, "--search, and no link that could search", "",
                 "it is for at: links that name no protocol"};
  if (config.sealed)
    return Error{ErrorKind::gate, "the job is sealed: nothing is sent, so nothing is searched for", "",
                 "name the protocol of the link"};
  std::string order;
  for (const auto& p : link::atSearchOrder()) order += (order.empty() ? "" : ", ") + std::string(p.name);
  for (const std::string& uri : found)
    std::fprintf(
        stderr,
        "searching over %s: sends 01 00 to all modules (7DF, or 18DB33F1 with 29 bits) once on each of "
        "%s, until one answers; at a wrong rate it disturbs the bus\n",
        uri.c_str(), order.c_str());
  config.search = true;
  return {};
}

void completeUris(std::vector<std::string>& uris, const job::Job& job) {
  link::Hints hints{job.bus.bitrate, false, std::nullopt, job.bus.protocol};
  if (const auto& address = job.module.address) {
    hints.extended = address->extended;
    hints.answer_id = address->answer_id;
  }
  for (std::string& uri : uris) uri = link::completeUri(uri, hints);
}

void applyJob(recorder::Config& config, const job::Job& job) {
  config.sealed = job.sealed;
  if (job.sealed) config.silence = job.silence;
  config.rate_fixed = config.rate_fixed || job.bus.rate_fixed;
  if (const auto& a = job.module.address) {
    config.module_request_id = a->request_id;
    config.module_answer_id = a->answer_id;
    config.module_extended = a->extended;
  }
  if (job.authority)
    config.authority =
        fmt::format("{}: {}, {}", job.authority->who, job.authority->what, job.authority->when);
}

std::vector<std::string> chosenUris(const std::vector<std::string>& named, const job::Job& job) {
  std::vector<std::string> all = named;
  const auto has = [&](bool meter) {
    return std::any_of(named.begin(), named.end(),
                       [&](const std::string& uri) { return link::isMeter(uri) == meter; });
  };
  if (!has(false))
    for (const auto& l : job.links) all.push_back(l.uri);
  if (!has(true))
    for (const auto& m : job.meters) all.push_back(job::meterUri(m));
  return all;
}

std::optional<Error> sealedOff(const LinkBoard& board) {
  for (const event::LinkState& s : board.states())
    if (s.condition == LinkCondition::forbidden &&
        s.text.find(": a link must be silent") != std::string::npos)
      return Error{ErrorKind::gate, s.text, s.uri, s.advice};
  return std::nullopt;
}

Status pollUntil(recorder::Session& session, event::Sink& sink, std::chrono::milliseconds most,
                 const std::function<bool()>& until) {
  const Ns end = bootNow() + most.count() * kNsPerMs;
  while (!interrupted() && !until()) {
    const Ns left = end - bootNow();
    if (left <= 0) break;
    const auto slice = std::min<Ns>(left / kNsPerMs + 1, 100);
    if (Status state = session.poll(sink, std::chrono::milliseconds(slice)); !state) return state;
  }
  return {};
}

Status waitForLinks(recorder::Session& session, event::Sink& sink, LinkBoard& board, std::size_t count,
                    double wait_s) {
  Tee both({&board, &sink});
  Status state = pollUntil(session, both, std::chrono::milliseconds(static_cast<int>(wait_s * 1000)), [&] {
    return board.states().size() == count &&
           std::all_of(board.states().begin(), board.states().end(), settled);
  });
  if (!state) return state;
  board.tellTroubles();
  const auto& all = board.states();
  if (std::any_of(all.begin(), all.end(),
                  [](const auto& s) { return s.condition == LinkCondition::up && !s.meter; }))
    return {};
  if (all.empty())
    return Error{ErrorKind::link, "no link said anything of itself", "", "run with PIN16_LOG=debug"};
  const auto bus = std::find_if(all.begin(), all.end(), [](const auto& s) { return !s.meter; });
  if (bus == all.end())
    return Error{ErrorKind::usage, "a meter is no link to a bus", all.front().uri,
                 "name one beside it, for instance socketcan:can0"};
  const bool refused = board.refused(static_cast<std::size_t>(bus - all.begin()));
  return Error{refused ? ErrorKind::gate : ErrorKind::link,
               bus->text.empty() ? "the link is not up" : bus->text, bus->uri, bus->advice};
}

recorder::Command askCommand(const protocol::Ask& ask) {
  recorder::Command command;
  command.action = recorder::Action::ask;
  command.link = ask.link;
  command.request_id = ask.target.request_id;
  command.answer_id = ask.target.answer_id.value_or(0);
  command.extended = ask.target.extended;
  command.functional = ask.target.functional;
  command.line = ask.target.line;
  command.packed = ask.request;
  command.wait_ns = ask.wait_ns;
  command.spacing_ns = ask.spacing_ns;
  return command;
}

protocol::AskResult askResult(Result<recorder::Reply> reply) {
  protocol::AskResult result;
  if (!reply) {
    result.state = reply.error();
    return result;
  }
  result.confirmed = reply->confirmed;
  result.exchanges = std::move(reply->exchanges);
  return result;
}

protocol::AskResult askRecorder(recorder::Session& session, event::Sink& sink, const protocol::Ask& ask) {
  return askResult(session.call(askCommand(ask), sink));
}

Result<recorder::Reply> finishRun(recorder::Session& session, event::Sink& sink) {
  recorder::Command end;
  end.action = recorder::Action::finish;
  auto reply = session.call(end, sink);
  if (reply)
    std::fprintf(stderr, "capture: %s (%llu events, %llu bytes; check it with `pin16 verify`)\n",
                 reply->file.c_str(), static_cast<unsigned long long>(reply->events),
                 static_cast<unsigned long long>(reply->bytes));
  return reply;
}

}  // namespace pin16::cli
