// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <utility>

#include "core/cli/operator.hpp"
#include "core/cli/options.hpp"
#include "core/cli/plugin_options.hpp"
#include "core/cli/print_event.hpp"
#include "core/cli/run.hpp"
#include "core/job/job.hpp"
#include "core/review/census.hpp"
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

/// Follows an attempt of the other equipment for the one line that its operator needs.
class Attempt : public event::Sink {
 public:
  explicit Attempt(const job::Job& job)
      : census_(job.limits),
        stalled_ns_(fromMs(job.limits.value("timing.s3_server_ms"))),
        silence_end_ns_(fromMs(job.limits.value("attempt.silence_end_ms"))) {
    if (const auto& a = job.module.address) census_.hint(a->request_id, a->answer_id, a->extended);
    census_.assumeBitrate(job.bus.bitrate.value_or(0));
  }
  void take(const event::Batch& batch) override {
    if (concluded_) return;
    utc_offset_ns_ = batch.utc_offset_ns;
    census_.take(batch);
  }
  /// `hands off`, `finished`, `stalled N s`, and nothing else.
  void show(bool terminal) {
    const auto pulse = this->pulse();
    const Ns still_ns = stillFor(pulse);
    std::string word = "hands off";
    if (pulse.seen && still_ns >= stalled_ns_)
      word = pulse.through ? "finished" : fmt::format("stalled {:.0f} s", toSeconds(still_ns));
    if (terminal)
      std::fprintf(stderr, "\r%-20s", word.c_str());
    else if (const std::string kind = word.substr(0, word.find(' ')); kind != std::exchange(told_, kind))
      std::fprintf(stderr, "%s\n", word.c_str());
  }
  /// Something was seen, and nothing any more for so long.
  [[nodiscard]] bool over() {
    const auto pulse = this->pulse();
    return pulse.seen && stillFor(pulse) >= silence_end_ns_;
  }
  /// As review will find it; nothing is followed any more.
  [[nodiscard]] std::string conclude() {
    concluded_ = true;
    const auto all = census_.finish().attempts;
    return all.empty() ? "" : protocol::toName(all.back().rung);
  }

 private:
  [[nodiscard]] protocol::AttemptWatch::Pulse pulse() {
    if (utc_offset_ns_ != kNoTime) census_.advance(bootNow() + utc_offset_ns_);
    return census_.attempts().pulse();
  }
  [[nodiscard]] Ns stillFor(const protocol::AttemptWatch::Pulse& p) const {
    const Ns since_ns = p.progress_ns != kNoTime ? p.progress_ns : p.begin_ns;
    return since_ns == kNoTime || utc_offset_ns_ == kNoTime ? 0 : bootNow() + utc_offset_ns_ - since_ns;
  }

  review::Census census_;
  Ns stalled_ns_, silence_end_ns_;
  Ns utc_offset_ns_ = kNoTime;
  std::string told_;
  bool concluded_ = false;
};

Status mark(recorder::Session& session, event::Sink& sink, const event::Attempt& attempt) {
  recorder::Command command;
  command.action = recorder::Action::attempt;
  command.packed = pack(attempt);
  const auto reply = session.call(command, sink);
  return reply ? Status() : Status(reply.error());
}

/// Its number in the job's ledger: `check` has handed over with power on.
std::int32_t powerUpInUse(const job::Job& job) {
  const auto ledger = job::readLedger(job);
  const int count = ledger ? job::countPower(*ledger).powerUps() : 0;
  return count > 0 ? count : -1;
}

/// Enter was pressed.
bool keyPressed() {
  pollfd keys{STDIN_FILENO, POLLIN, 0};
  return operatorPresent() && ::poll(&keys, 1, 0) > 0;
}

class Listen {
 public:
  Listen(const Options& o, job::Job job) : o_(o), job_(std::move(job)), progress_(o.lines), attempt_(job_) {}
  int run();

 private:
  Status start();
  Status follow();
  [[nodiscard]] bool filesAtEnd() const;
  Status endAttempt();
  Status tellHistory();
  void keepEntry(const protocol::AttemptReport& report) const;
  void keepPower(const review::PowerFacts& power) const;
  int tell(const std::string& file);

  const Options& o_;
  const job::Job job_;
  LinkBoard board_;
  Progress progress_;
  Attempt attempt_;
  Tee sink_{o_.attempt ? std::vector<event::Sink*>{&board_, &progress_, &attempt_}
                       : std::vector<event::Sink*>{&board_, &progress_}};
  std::unique_ptr<recorder::Session> session_;
  Ns for_ns_ = fromSeconds(o_.for_s);
  Ns began_ns_ = 0;
  std::string ended_by_ = "interrupt";
  std::string changed_;
};

Status Listen::start() {
  recorder::Config config;
  config.uris = chosenUris(o_.uris, job_);
  completeUris(config.uris, job_);
  if (config.uris.empty())
    return Error{ErrorKind::usage, "no link is named", "URI", "name one, or a job with [[link]]"};
  config.file = captureName(o_.output, o_.attempt ? "attempt" : "listen");
  config.command = std::string("pin16 listen") + (o_.attempt ? " --attempt" : "");
  if (!job_.file.empty()) config.command += ", job " + job_.name;
  applyJob(config, job_);
  config.shut_reason = o_.attempt ? "an attempt of the other equipment" : "listening only";
  config.outlive_owner = true;
  if (o_.attempt) {
    event::Attempt begins;
    begins.how = "command";
    begins.power_up = powerUpInUse(job_);
    begins.changed = changed_;
    config.attempt = pack(begins);
  }
  if (o_.attempt && !job_.authority) {
    auto key = job::digestKey(job_);
    if (!key) return key.error();
    config.digest_key = std::move(*key);
  }
  // The recorder ends by itself only if we are gone: a little later than we would end it.
  config.for_ns = for_ns_ > 0 ? for_ns_ + 5 * kNsPerSecond : 0;
  auto session = recorder::Session::start(config);
  if (!session) return session.error();
  session_ = std::move(*session);
  const char* const ends = o_.for_s > 0        ? "ends by itself"
                           : !o_.attempt       ? "Ctrl-C ends it"
                           : operatorPresent() ? "Enter ends it"
                                               : "ends after silence, or by Ctrl-C";
  std::fprintf(stderr, "recording to %s (%s); the gate is shut; %s%s\n", config.file.c_str(),
               session_->startNote().c_str(),
               !o_.attempt      ? ""
               : job_.authority ? "content is kept, by the job's authority; "
                                : "answer data is blanked; ",
               ends);
  return {};
}

Status Listen::follow() {
  const bool terminal = isatty(STDERR_FILENO) != 0;
  const auto timeIsUp = [this] { return for_ns_ != 0 && bootNow() - began_ns_ >= for_ns_; };
  Status state;
  // A link that is down is no reason to stop: the technician may be about to plug it in.
  while (state && !interrupted()) {
    if (timeIsUp()) {
      ended_by_ = "time";
      break;
    }
    if (o_.attempt && keyPressed()) {
      (void)askTerminal("");
      ended_by_ = "operator";
      break;
    }
    if (o_.attempt && (attempt_.over() || filesAtEnd())) {
      ended_by_ = filesAtEnd() ? "end of the file" : "silence";
      break;
    }
    state = pollUntil(*session_, sink_, std::chrono::milliseconds(500), timeIsUp);
    board_.tellTroubles();
    if (o_.attempt)
      attempt_.show(terminal);
    else if (terminal)
      progress_.show(began_ns_);
  }
  if (terminal) std::fputc('\n', stderr);
  return state;
}

/// Replayed ones: nothing more can come.
bool Listen::filesAtEnd() const {
  const auto& all = board_.states();
  return !all.empty() && std::all_of(all.begin(), all.end(), [](const event::LinkState& s) {
    return s.condition == event::LinkCondition::finished;
  });
}

Status Listen::endAttempt() {
  event::Attempt ends;
  ends.begins = false;
  ends.how = ended_by_;
  ends.rung = attempt_.conclude();
  if (ended_by_ == "operator")
    ends.said = askTerminal("what did the other program say, word for word? Enter: nothing > ");
  return mark(*session_, sink_, ends);
}

/// Which attempt of the job this is; and that one thing was changed since the last one, or why none was.
Status Listen::tellHistory() {
  changed_ = o_.unchanged.empty() ? o_.changed : "nothing: " + o_.unchanged;
  const auto all = job::readAttempts(job_);
  if (!all) return all.error();
  if (all->empty()) return {};
  std::fprintf(stderr, "attempt %zu of this job; the last one ended `%s`\n", all->size() + 1,
               all->back().rung.c_str());
  if (changed_.empty() && operatorPresent())
    changed_ = askTerminal("the one thing that was changed since, or `nothing: REASON` > ");
  if (changed_.empty() || changed_ == "nothing" || changed_ == "nothing:")
    return Error{
        ErrorKind::usage, "it is not said what was changed since the last attempt", "--changed",
        "change one thing and name it, --changed \"other cable\"; or say why nothing was, --unchanged "
        "\"a repeated pass\""};
  if (const std::string stop = job::stopText(job_, *all); !stop.empty())
    std::fprintf(stderr, "%s\n", stop.c_str());
  return {};
}

void Listen::keepEntry(const protocol::AttemptReport& report) const {
  job::AttemptEntry entry{utcText(report.begin_ns), toName(report.rung), std::nullopt,    std::nullopt,
                          report.changed,           report.said,         session_->file()};
  if (report.power_up >= 0) entry.power_up = report.power_up;
  if (ended_by_ == "operator") {
    const std::string typed = askTerminal("its report's \"ignition cycle, download\", if it has one > ");
    if (const auto cycles = toUnsigned(typed); cycles && *cycles <= 60000)
      entry.cycles = static_cast<int>(*cycles);
    else if (!typed.empty())
      std::fprintf(stderr, "not taken: expected a whole number from 0 to 60000 (49 CFR 563.8)\n");
  }
  if (Status kept = job::appendAttempt(job_, entry); !kept)
    std::fprintf(stderr, "%s\n", kept.error().text().c_str());
  const auto all = job::readAttempts(job_);
  if (!all) return;
  for (const std::string& text : {job::stopText(job_, *all), job::reconcileCycles(*all)})
    if (!text.empty()) std::fprintf(stderr, "%s\n", text.c_str());
}

/// Power that came or went while we watched is in the ledger too. check has handed over with power on: what
/// the links of the bench say at their start is no news.
void Listen::keepPower(const review::PowerFacts& power) const {
  const auto keep = [&](const char* how, const std::string& text) {
    if (Status kept = job::appendPowerUp(job_, {utcText(readClocks().utc_ns), how, text}); !kept)
      std::fprintf(stderr, "%s\n", kept.error().text().c_str());
  };
  for (std::uint64_t i = 0; i < power.supplyRises(); ++i) keep("measured", "pin16 listen: the supply rose");
  for (std::uint64_t i = 0; i < power.wake_ups; ++i)
    keep("woke", "pin16 listen: traffic began on a silent bus");
}

int Listen::tell(const std::string& file) {
  bool through = true;
  if (!o_.lines || o_.attempt) {
    const auto summary = review::reviewFile(file, job_.file.empty() ? nullptr : &job_, pluginOptions(o_));
    if (!summary) return fail(summary.error());
    through = !o_.attempt ||
              (!summary->attempts.empty() && summary->attempts.back().rung == protocol::Rung::through);
    if (o_.attempt && !job_.file.empty()) keepPower(summary->power);
    if (o_.attempt && !job_.file.empty() && !summary->attempts.empty()) keepEntry(summary->attempts.back());
    if (!o_.lines) fmt::print("{}", o_.json ? review::toJson(*summary) + "\n" : review::toText(*summary));
  }
  if (const auto refused = sealedOff(board_)) return fail(*refused);
  if (!board_.everUp()) return exitCode(ErrorKind::link);
  return through ? kExitReady : kExitNotReady;
}

int Listen::run() {
  if (o_.attempt)
    if (Status told = tellHistory(); !told) return fail(told.error());
  if (Status started = start(); !started) return fail(started.error());
  began_ns_ = bootNow();
  if (Status state = follow(); !state) return fail(state.error());
  if (o_.attempt)
    if (Status marked = endAttempt(); !marked) return fail(marked.error());
  const auto ended = finishRun(*session_, sink_);
  if (!ended) return fail(ended.error());
  return tell(session_->file());
}

}  // namespace

int listen(const Options& o) {
  watchInterrupts();
  job::Job job;
  if (!o.job.empty()) {
    auto read = job::readJob(o.job);
    if (!read) return fail(read.error());
    job = std::move(*read);
  }
  return Listen(o, std::move(job)).run();
}

}  // namespace pin16::cli
