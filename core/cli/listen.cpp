// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>

#include "core/cli/options.hpp"
#include "core/cli/plugin_options.hpp"
#include "core/cli/print_event.hpp"
#include "core/cli/run.hpp"
#include "core/review/review.hpp"

namespace pin16::cli {
namespace {

/// Counts what goes by, for the line that proves to the eye that the recording moves.
class Progress : public event::Sink {
 public:
  explicit Progress(bool lines) : lines_(lines) {}
  void take(const event::Batch& batch) override {
    if (lines_) printEvents(batch);
    for (const auto& h : batch.headers) {
      if (h.kind == event::Kind::frame) {
        const auto frame = batch.frame(h);
        ++(frame && frame->error() ? errors_ : frames_);
      } else if (h.kind == event::Kind::loss) {
        if (const auto loss = batch.record<event::Loss>(h)) lost_ += loss->count;
      }
    }
  }
  void show(Ns since_ns) const {
    std::fprintf(stderr, "\r%6.1f s  %llu frames  %llu error frames  %llu lost ",
                 toSeconds(bootNow() - since_ns), static_cast<unsigned long long>(frames_),
                 static_cast<unsigned long long>(errors_), static_cast<unsigned long long>(lost_));
  }

 private:
  const bool lines_;
  std::uint64_t frames_ = 0, errors_ = 0, lost_ = 0;
};

}  // namespace

int listen(const Options& o) {
  watchInterrupts();
  recorder::Config config;
  config.uris = o.uris;
  config.file = captureName(o.output, "listen");
  config.command = "pin16 listen";
  config.shut_reason = "listening only";
  config.outlive_owner = true;
  // The recorder ends by itself only if we are gone: a little later than we would end it.
  const auto for_ns = fromSeconds(o.for_s);
  config.for_ns = for_ns > 0 ? for_ns + 5 * kNsPerSecond : 0;
  auto session = recorder::Session::start(config);
  if (!session) return fail(session.error());
  LinkBoard board;
  Progress progress(o.lines);
  Tee sink({&board, &progress});
  std::fprintf(stderr, "recording to %s (%s); the gate is shut; %s\n", config.file.c_str(),
               (*session)->startNote().c_str(), o.for_s > 0 ? "ends by itself" : "Ctrl-C ends it");
  const Ns began_ns = bootNow();
  const bool terminal = isatty(STDERR_FILENO) != 0;
  Status state;
  // A link that is down is no reason to stop: the technician may be about to plug it in.
  while (state && !interrupted() && (for_ns == 0 || bootNow() - began_ns < for_ns)) {
    state = pollUntil(**session, sink, std::chrono::milliseconds(500),
                      [&] { return for_ns != 0 && bootNow() - began_ns >= for_ns; });
    board.tellTroubles();
    if (terminal) progress.show(began_ns);
  }
  if (terminal) std::fputc('\n', stderr);
  if (!state) return fail(state.error());
  const auto ended = finishRun(**session, sink);
  if (!ended) return fail(ended.error());
  if (!o.lines) {
    const auto summary = review::reviewFile(config.file, nullptr, pluginOptions(o));
    if (!summary) return fail(summary.error());
    fmt::print("{}", o.json ? review::toJson(*summary) + "\n" : review::toText(*summary));
  }
  return board.everUp() ? kExitReady : exitCode(ErrorKind::link);
}

}  // namespace pin16::cli
