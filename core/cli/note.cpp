// SPDX-License-Identifier: Apache-2.0
#include <cstdio>

#include "core/cli/live_json.hpp"
#include "core/cli/options.hpp"
#include "core/cli/run.hpp"

namespace pin16::cli {
namespace {
struct Nothing : event::Sink {
  void take(const event::Batch&) override {}
};
}  // namespace

int note(const Options& o) {
  std::string text;
  for (const auto& word : o.words) text += (text.empty() ? "" : " ") + word;
  if (text.empty() && !o.end && o.attempt_mark.empty())
    return fail({ErrorKind::usage, "nothing to note", "TEXT", "give the text, --attempt or --end"});
  const auto sockets = recorder::Session::running();
  if (sockets.empty())
    return fail({ErrorKind::usage, "no recording is running", "", "start one with `pin16 listen`"});
  if (sockets.size() > 1)
    return fail({ErrorKind::usage, std::to_string(sockets.size()) + " recordings are running", "",
                 "end all but one (Ctrl-C where it runs)"});
  auto session = recorder::Session::attach(sockets.front(), "pin16 note");
  if (!session) return fail(session.error());
  Nothing ignore;
  recorder::Command command;
  if (!o.attempt_mark.empty()) {
    event::Attempt attempt;
    attempt.begins = o.attempt_mark == "begin";
    attempt.how = "operator";
    attempt.by = o.by;
    (attempt.begins ? attempt.changed : attempt.said) = text;
    command.action = recorder::Action::attempt;
    command.packed = pack(attempt);
    if (const auto reply = (*session)->call(command, ignore); !reply) return fail(reply.error());
    std::fprintf(stderr, "the attempt %ss in %s\n", o.attempt_mark.c_str(), (*session)->file().c_str());
  } else if (!text.empty()) {
    command.action = recorder::Action::note;
    command.text = text;
    command.by = o.by;
    if (const auto reply = (*session)->call(command, ignore); !reply) return fail(reply.error());
    std::fprintf(stderr, "noted in %s\n", (*session)->file().c_str());
  }
  if (o.end)
    if (const auto reply = finishRun(**session, ignore); !reply) return fail(reply.error());
  if (o.json) std::printf("%s\n", noteJson((*session)->file(), text, o.attempt_mark, o.end).c_str());
  return kExitReady;
}

}  // namespace pin16::cli
