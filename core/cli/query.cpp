// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>

#include "core/cli/live_json.hpp"
#include "core/cli/options.hpp"
#include "core/cli/run.hpp"
#include "core/job/job.hpp"
#include "core/protocol/decoded.hpp"
#include "core/protocol/services.hpp"

namespace pin16::cli {
namespace {

/// An answer of one frame is whole when it begins.
constexpr double kShownApart_ms = 0.05;

struct Offset : event::Sink {
  void take(const event::Batch& batch) override { utc_offset_ns = batch.utc_offset_ns; }
  Ns utc_offset_ns = 0;
};

/// One thing beside the times, several below them.
void printAnswer(const std::string& times, const protocol::Decoded& decoded) {
  if (decoded.items.size() <= 1) {
    fmt::print("{}  {}\n", times, protocol::toText(decoded));
    return;
  }
  fmt::print("{}\n", times);
  for (const auto& item : decoded.items) fmt::print("            {}\n", protocol::toText(item));
  if (!decoded.problem.empty()) fmt::print("            not whole: {}\n", decoded.problem);
}

/// What is known of the way to the bus when nobody answered.
const char* sentText(const Asked& asked, event::Medium medium) {
  if (medium != event::Medium::can)
    return asked.confirmed ? "our message was on the line. "
                           : "our message did not get onto the line; the notes in the capture say why. ";
  if (asked.confirmed) return "our frame was acknowledged by some node. ";
  return asked.own_frames == event::OwnFrames::acknowledged
             ? "nobody acknowledged our frame. "
             : "this adapter cannot tell whether our frame was acknowledged. ";
}

void print(const Asked& asked) {
  fmt::print("{}\n", protocol::describeRequest(asked.request));
  for (const auto& x : asked.exchanges) {
    const std::string who = x.answer_id != 0
                                ? protocol::idText(x.answer_id, x.extended, x.medium != event::Medium::can)
                                : "nobody";
    std::string line = fmt::format("  {:<9} {:<10}", who, event::toText(x.ended));
    if (x.response_ms >= 0) line += fmt::format(" {:7.1f} ms", x.response_ms);
    if (x.complete_ms - x.response_ms >= kShownApart_ms)
      line += fmt::format(", whole {:.1f} ms", x.complete_ms);
    if (x.late) line += " late";
    if (x.after_poll_ms >= 0)
      line += fmt::format(" ({:.1f} ms after the adapter was read as a meter)", x.after_poll_ms);
    if (x.pending > 0) line += fmt::format(" after {} x pending", x.pending);
    if (x.answer.empty()) {
      fmt::print("{}\n", line);
    } else {
      printAnswer(line, protocol::decodeAnswer(x.request, x.answer, x.medium));
    }
    if (x.ended == event::Ended::silent)
      fmt::print("            {}{}\n", sentText(asked, x.medium),
                 x.functional ? "A silent functional request is no proof of absence" : "");
  }
}

event::OwnFrames ownFramesOf(const LinkBoard& board, const std::vector<std::uint16_t>& buses) {
  const auto& states = board.states();
  const std::size_t index = buses.empty() ? 0 : buses.front();
  return index < states.size() ? states[index].own_frames : event::OwnFrames::acknowledged;
}

bool answered(const Asked& a) {
  return std::any_of(a.exchanges.begin(), a.exchanges.end(),
                     [](const auto& x) { return x.ended == event::Ended::answered; });
}

/// Reads the words: each is a request; all before anything is opened, so that a slip costs nothing.
Result<std::vector<protocol::AddressedRequest>> parseAll(const Options& o) {
  std::vector<protocol::AddressedRequest> all;
  for (const auto& word : o.words) {
    auto request = protocol::parseRequestText(word);
    if (!request) return request.error();
    if (!o.answer.empty()) {
      const auto id = toUnsigned(o.answer, 16);
      if (!id || *id > event::kExtendedMask)
        return Error{ErrorKind::usage, "'" + o.answer + "' is no CAN identifier", "--answer",
                     "write it in hex, for instance 7A9"};
      request->target.answer_id = static_cast<std::uint32_t>(*id);
    }
    all.push_back(std::move(*request));
  }
  return all;
}

}  // namespace

int query(const Options& o) {
  watchInterrupts();
  const auto requests = parseAll(o);
  if (!requests) return fail(requests.error());
  recorder::Config config;
  config.uris = o.uris;
  config.file = captureName(o.output, "query");
  config.command = "pin16 query";
  config.rate_fixed = o.rate_known;
  if (!o.job.empty()) {
    const auto job = job::readJob(o.job);
    if (!job) return fail(job.error());
    applyJob(config, *job);
  }
  if (o.search)
    if (const Status search = beginSearch(config); !search) return fail(search.error());
  auto session = recorder::Session::start(config);
  if (!session) return fail(session.error());
  const auto buses = busLinks(o.uris);
  LinkBoard board;
  Offset offset;
  Tee sink({&board, &offset});
  std::optional<Error> trouble;
  if (Status ready =
          waitForLinks(**session, sink, board, o.uris.size(), kLinksWait_s + (o.search ? kSearchWait_s : 0));
      !ready)
    trouble = ready.error();
  // The gate wants to have seen valid frames at this rate; give them a moment to come.
  if (!trouble && !o.rate_known)
    (void)pollUntil(**session, sink, std::chrono::seconds(1), [] { return false; });
  std::vector<Asked> all;
  for (const auto& r : *requests) {
    if (trouble || interrupted()) break;
    const auto result = askRecorder(
        **session, sink, {buses.empty() ? std::uint16_t{0} : buses.front(), r.pdu, r.target, 0, 0});
    if (!result.state)
      trouble = result.state.error();
    else
      all.push_back({r.pdu, result.exchanges, result.confirmed, ownFramesOf(board, buses)});
  }
  const auto ended = finishRun(**session, sink);
  if (!all.empty() || !trouble) {
    if (o.json)
      fmt::print("{}\n", queryJson(board.states(), all, offset.utc_offset_ns, (*session)->file()));
    else
      for (const auto& a : all) print(a);
  }
  if (!ended) return fail(ended.error());
  if (trouble) return fail(*trouble);
  return std::all_of(all.begin(), all.end(), answered) ? kExitReady : kExitNotReady;
}

}  // namespace pin16::cli
