// SPDX-License-Identifier: Apache-2.0
// `pin16 check`: from free readings over one power-up to the readiness sheet.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <map>
#include <set>

#include "core/cli/operator.hpp"
#include "core/cli/options.hpp"
#include "core/cli/run.hpp"
#include "core/job/job.hpp"
#include "core/protocol/rollcall.hpp"
#include "core/protocol/witness.hpp"
#include "core/readiness/evidence.hpp"
#include "core/readiness/plan.hpp"
#include "core/readiness/sheet.hpp"

namespace pin16::cli {
namespace {

using event::PowerState;
using recorder::Action;
using recorder::Command;

constexpr double kListen_s = 3;  // long enough for a module to boot and for slow periodic frames (own figure)

/// What other equipment and modules say to each other becomes evidence too.
class Watch : public event::Sink {
 public:
  Watch(const job::Job& job, readiness::Evidence& evidence) : job_(job), evidence_(evidence) {}
  void take(const event::Batch& batch) override {
    for (const auto& h : batch.headers) {
      if (h.kind != event::Kind::frame) continue;
      if (const auto f = batch.frame(h)) witness(h.link).frame(h.t_ns, *f, (h.flags & event::kOutbound) != 0);
    }
  }
  void finish() {
    for (auto& [link, w] : witnesses_) w.finish();
  }

 private:
  protocol::Witness& witness(std::uint16_t link) {
    const auto known = witnesses_.find(link);
    if (known != witnesses_.end()) return known->second;
    protocol::Witness made(
        job_.limits, [](Ns, const event::Message&) {},
        [this, link](Ns, const event::Exchange& x) {
          if (!x.ours) evidence_.add(x, link);
        });
    if (const auto& a = job_.module.address) made.hint(a->request_id, a->answer_id, a->extended);
    return witnesses_.emplace(link, std::move(made)).first->second;
  }
  const job::Job& job_;
  readiness::Evidence& evidence_;
  std::map<std::uint16_t, protocol::Witness> witnesses_;
};

class Check {
 public:
  Check(const Options& o, job::Job job, std::vector<Saying> sayings)
      : o_(o), job_(std::move(job)), sayings_(std::move(sayings)), watch_(job_, evidence_) {}
  int run();

 private:
  Status openLinks();
  Status say(const Saying& saying);
  Status askOperator();
  Status offerPower();
  Status listenAndAsk();
  Status conclude();
  Status command(Action action, Bytes packed, const std::string& text = "");
  void wait(double seconds) {
    (void)pollUntil(*session_, sink_, std::chrono::milliseconds(static_cast<int>(seconds * 1000)),
                    [] { return false; });
  }
  [[nodiscard]] int exitOf() const;

  const Options& o_;
  job::Job job_;
  const std::vector<Saying> sayings_;
  readiness::Evidence evidence_;
  Watch watch_;
  LinkBoard board_;
  Tee sink_{{&board_, &evidence_, &watch_}};
  std::unique_ptr<recorder::Session> session_;
  std::size_t uris_ = 0;
  bool power_declared_ = false;
  std::optional<Error> refused_;
  readiness::Sheet sheet_;
};

Status Check::command(Action action, Bytes packed, const std::string& text) {
  Command c;
  c.action = action;
  c.packed = std::move(packed);
  c.text = text;
  const auto reply = session_->call(c, sink_);
  if (!reply) return reply.error();
  return {};
}

Status Check::say(const Saying& s) {
  switch (s.what) {
    case Saying::What::reading:
      return command(Action::reading, pack(s.reading));
    case Saying::What::note:
      return command(Action::note, {}, s.note);
    case Saying::What::power:
      break;
  }
  if (s.power == PowerState::on) {
    power_declared_ = true;
    if (Status noted = job::appendPowerUp(job_, {utcText(readClocks().utc_ns), "declared", "pin16 check"});
        !noted)
      std::fprintf(stderr, "the ledger of power-ups could not be written: %s\n",
                   noted.error().text().c_str());
  }
  return command(Action::power, pack(event::Power{s.power, "declared", ""}));
}

Status Check::openLinks() {
  recorder::Config config;
  for (const auto& l : job_.links) config.uris.push_back(l.uri);
  if (!o_.uris.empty()) config.uris = o_.uris;
  uris_ = config.uris.size();
  config.file = captureName(o_.output, "check");
  config.command = "pin16 check, job " + job_.name;
  config.sealed = job_.sealed;
  config.rate_fixed = o_.rate_known || job_.bus.rate_fixed;
  if (!o_.ask) config.shut_reason = "check without --ask is passive";
  if (job_.module.address) config.module_request_id = job_.module.address->request_id;
  auto session = recorder::Session::start(config);
  if (!session) return session.error();
  session_ = std::move(*session);
  std::fprintf(stderr, "recording to %s (%s)\n", config.file.c_str(), session_->startNote().c_str());
  if (uris_ == 0) return {};
  // A link that is not there does not end the check: readings can be typed, and it may yet come.
  const Status state = waitForLinks(*session_, sink_, board_, uris_);
  return !state && state.error().kind == ErrorKind::record ? state : Status{};
}

Status Check::offerPower() {
  const auto ledger = job::readLedger(job_);
  std::fprintf(stderr, "\n%s\n",
               readiness::powerUpWarning(job_, ledger ? *ledger : std::vector<job::PowerUp>{}).c_str());
  const std::string answer =
      askTerminal("switch the module's power on now and type `on`; Enter leaves it off > ");
  if (answer != "on") return {};
  Saying on;
  on.what = Saying::What::power;
  on.power = PowerState::on;
  return say(on);
}

Status Check::askOperator() {
  std::set<std::pair<std::string, PowerState>> asked;
  bool power_offered = false;
  for (;;) {
    const auto questions = readiness::nextQuestions(job_, evidence_);
    const auto next = std::find_if(questions.begin(), questions.end(), [&](const auto& q) {
      return !asked.contains({q.point->name, q.power}) &&
             (q.power != PowerState::on || !power_offered || evidence_.power() == PowerState::on);
    });
    if (next == questions.end()) return {};
    if (next->power == PowerState::on && !power_offered && evidence_.power() != PowerState::on) {
      power_offered = true;
      if (Status state = offerPower(); !state) return state;
      continue;
    }
    asked.insert({next->point->name, next->power});
    static constexpr const char* power[] = {"", "off", "source", "on"};
    const char* state = power[static_cast<std::size_t>(next->power)];
    const std::string line = askTerminal(
        fmt::format("\n{}: {}{}{}, power {}\n  {}\n  value in {}, Enter skips, `stop` asks no more > ",
                    next->step, next->point->name, next->with.empty() ? "" : ", ", next->with, state,
                    next->point->how, next->point->unit.empty() ? "a word" : next->point->unit));
    if (line == "stop") return {};
    if (line.empty()) continue;
    const std::string with = next->with.empty() ? "" : fmt::format(" with=\"{}\"", next->with);
    Saying s;
    s.what = Saying::What::reading;
    auto reading = job::parseReading(fmt::format("{}={} power={}{}", next->point->name, line, state, with));
    if (!reading) {
      std::fprintf(stderr, "  %s\n", reading.error().text().c_str());
      asked.erase({next->point->name, next->power});
      continue;
    }
    s.reading = std::move(*reading);
    if (Status said = say(s); !said) return said;
  }
}

Status Check::listenAndAsk() {
  if (uris_ == 0) return {};
  const double seconds = o_.for_s > 0 ? o_.for_s : kListen_s;
  std::fprintf(stderr, "listening for %.0f s: is the bus alive?\n", seconds);
  wait(seconds);
  board_.tellTroubles();
  if (!o_.ask || !board_.everUp() || interrupted()) return {};
  protocol::RollCallPlan plan;
  plan.functional_repeats = 1;  // as little as serves
  for (std::size_t i = 0; i < uris_; ++i) plan.links.push_back(static_cast<std::uint16_t>(i));
  if (job_.module.address) {
    const auto& a = *job_.module.address;
    plan.module = protocol::Target{a.request_id, a.answer_id, a.extended, false};
  }
  if (!o_.sweep.empty()) plan.sweep = *protocol::parseSweep(o_.sweep);  // checked before the run
  std::fprintf(stderr, "asking: functional 01 00, then 22 F190 of each module that answers%s\n",
               plan.sweep ? ", then the sweep" : "");
  protocol::RollCall roll(plan, job_.limits);
  for (auto next = roll.next(); next && !interrupted(); next = roll.next()) {
    const auto result = askRecorder(*session_, sink_, *next);
    if (!result.state && result.state.error().kind == ErrorKind::record) return result.state;
    roll.take(result);
  }
  if (roll.sent() == 0 && roll.firstError() && roll.firstError()->kind == ErrorKind::gate)
    refused_ = roll.firstError();
  return {};
}

Status Check::conclude() {
  if (!power_declared_ && evidence_.power() == PowerState::on) {
    if (Status noted = job::appendPowerUp(job_, {utcText(readClocks().utc_ns), "measured", "pin16 check"});
        !noted)
      std::fprintf(stderr, "the ledger of power-ups could not be written: %s\n",
                   noted.error().text().c_str());
  }
  watch_.finish();
  readiness::Asked asked;
  asked.ask = o_.ask;
  asked.capture = session_->file();
  if (const auto ledger = job::readLedger(job_)) asked.power_ups = *ledger;
  sheet_ = readiness::assess(job_, evidence_, asked);
  for (const auto& v : readiness::verdictEvents(sheet_))
    if (Status state = command(Action::verdict, pack(v)); !state) return state;
  // The read-out attempt inherits this power-up: power stays as it is, and we do not send any more.
  if (Status state = command(Action::shut, {}, "check is over, the attempt may begin"); !state) return state;
  const auto ended = finishRun(*session_, sink_);
  if (!ended) return ended.error();
  return {};
}

int Check::exitOf() const {
  if (refused_) return fail(*refused_);
  switch (sheet_.overall) {
    case readiness::Overall::ready:
      return kExitReady;
    case readiness::Overall::not_ready:
      return kExitNotReady;
    case readiness::Overall::undecided:
      return uris_ > 0 && !board_.everUp() ? exitCode(ErrorKind::link) : kExitNotReady;
  }
  return exitCode(ErrorKind::internal);
}

int Check::run() {
  if (Status state = openLinks(); !state) return fail(state.error());
  for (const auto& line : readiness::cautions(job_)) std::fprintf(stderr, "caution: %s\n", line.c_str());
  for (const auto& reading : job_.readings) {
    Saying s;
    s.what = Saying::What::reading;
    s.reading = reading;
    if (Status state = say(s); !state) return fail(state.error());
  }
  wait(0.3);  // instruments that are attached speak first
  for (const auto& s : sayings_)
    if (Status state = say(s); !state) return fail(state.error());
  if (sayings_.empty() && operatorPresent())
    if (Status state = askOperator(); !state) return fail(state.error());
  if (Status state = listenAndAsk(); !state) return fail(state.error());
  if (Status state = conclude(); !state) return fail(state.error());
  fmt::print("{}", o_.json ? readiness::toJson(sheet_) : readiness::toPlainText(sheet_));
  if (sheet_.overall == readiness::Overall::ready && evidence_.power() == PowerState::on)
    std::fprintf(stderr, "leave power on: the read-out attempt inherits this power-up\n");
  return exitOf();
}

}  // namespace

int check(const Options& o) {
  watchInterrupts();
  auto job = job::readJob(o.job);
  if (!job) return fail(job.error());
  std::vector<Saying> sayings;
  for (const auto& text : o.readings) {
    auto reading = job::parseReading(text);
    if (!reading) return fail(reading.error());
    Saying s;
    s.what = Saying::What::reading;
    s.reading = std::move(*reading);
    sayings.push_back(std::move(s));
  }
  if (!o.operator_file.empty()) {
    auto said = readOperatorFile(o.operator_file);
    if (!said) return fail(said.error());
    sayings.insert(sayings.end(), said->begin(), said->end());
  }
  if (!o.sweep.empty())
    if (const auto range = protocol::parseSweep(o.sweep); !range) return fail(range.error());
  return Check(o, std::move(*job), std::move(sayings)).run();
}

}  // namespace pin16::cli
