// SPDX-License-Identifier: Apache-2.0
// `pin16 check`: from free readings over one power-up to the readiness sheet.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <functional>
#include <map>
#include <set>

#include "core/cli/operator.hpp"
#include "core/cli/options.hpp"
#include "core/cli/plugin_options.hpp"
#include "core/cli/run.hpp"
#include "core/cli/why.hpp"
#include "core/job/job.hpp"
#include "core/link/link.hpp"
#include "core/protocol/rollcall.hpp"
#include "core/protocol/target.hpp"
#include "core/protocol/witness.hpp"
#include "core/readiness/clean_start.hpp"
#include "core/readiness/evidence.hpp"
#include "core/readiness/hook_up.hpp"
#include "core/readiness/interlocks.hpp"
#include "core/readiness/plan.hpp"
#include "core/readiness/sheet.hpp"
#include "core/reasons/gather.hpp"
#include "core/reasons/text.hpp"
#include "core/review/plugged.hpp"

namespace pin16::cli {
namespace {

using event::PowerState;
using recorder::Action;
using recorder::Command;

constexpr double kListen_s = 3;  // long enough for a module to boot and for slow periodic frames (own figure)
constexpr double kInstruments_s = 0.3;      // some samples of ten a second (own figure)
constexpr std::size_t kShortSamples = 128;  // a cause: a seventh of a second (own figure)

/// What check waits for, told as each wait begins, so that nobody wonders whether it hangs; and what all of
/// them may take together.
class Waits {
 public:
  void begin(const std::string& what, double most_s) {
    planned_s_ += most_s;
    std::fprintf(stderr, "waiting for %s: up to %.1f s\n", what.c_str(), most_s);
  }
  void tellSum() const {
    std::fprintf(stderr, "check took %.1f s; its waits may add up to %.1f s\n",
                 toSeconds(bootNow() - began_ns_), planned_s_);
  }

 private:
  double planned_s_ = 0;
  Ns began_ns_ = bootNow();
};

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

/// Plugins at work on the run, fed by a census of it.
class Instruments : public event::Sink {
 public:
  Instruments(std::unique_ptr<plugin::Host> host, const job::Job& job)
      : host_(std::move(host)), census_(job.limits), plugged_(*host_) {
    if (const auto& a = job.module.address) census_.hint(a->request_id, a->answer_id, a->extended);
    census_.assumeBitrate(job.bus.bitrate.value_or(0));
    census_.follow(plugged_);
  }
  void take(const event::Batch& batch) override {
    if (!host_->empty()) census_.take(batch);
  }
  [[nodiscard]] std::vector<plugin::Host::Question> takeQuestions() {
    plugged_.flush();
    return host_->takeQuestions();
  }
  void answered(const plugin::Host::Question& q, const protocol::AskResult& result) {
    if (!result.state)
      host_->answered(q, nullptr, result.state.error().text());
    else if (!result.exchanges.empty())
      host_->answered(q, &result.exchanges.front(), {});
  }
  [[nodiscard]] std::vector<plugin::Results> finish() {
    const Ns end_ns = census_.finish().last_ns;
    plugged_.flush();
    for (const plugin::Refused& r : host_->refused())
      std::fprintf(stderr, "plugin not loaded: %s: %s\n", r.path.c_str(), r.reason.c_str());
    auto all = host_->finish(end_ns);
    for (const plugin::Results& r : all)
      if (!r.failed.empty()) std::fprintf(stderr, "plugin %s: %s\n", r.facts.name.c_str(), r.failed.c_str());
    return all;
  }

 private:
  std::unique_ptr<plugin::Host> host_;
  review::Census census_;
  review::Plugged plugged_;
};

class Check {
 public:
  Check(const Options& o, job::Job job, std::vector<Saying> sayings, std::unique_ptr<plugin::Host> host)
      : o_(o),
        job_(std::move(job)),
        sayings_(std::move(sayings)),
        watch_(job_, evidence_),
        instruments_(std::move(host), job_),
        left_out_(reasons::ruledOut(job_)) {
    if (const auto& a = job_.module.address) evidence_.setModule(a->answer_id, a->extended);
    if (const auto& a = job_.module.line_address) evidence_.setLineModule(*a);
  }
  int run();

 private:
  void tellNext() const;
  Status openLinks();
  Status say(const Saying& saying);
  Status askOperator();
  Status clearInterlocks();
  Status offerPower();
  Status listenAndAsk();
  Status askAll(protocol::RollCall& roll);
  [[nodiscard]] bool mayBeAcknowledged(std::uint16_t link) const;
  double awaitLateAnswer();
  void noteRises();
  void noteMissed();
  void keep(const char* how, const std::string& text);
  [[nodiscard]] bool poweredBefore() const;
  void offerPowerOff();
  Status askForPlugins();
  void judge();
  [[nodiscard]] bool asksWhy() const;
  Status askWhy();
  bool bring(reasons::Power wanted);
  Status conclude();
  Status command(Action action, Bytes packed, const std::string& text = "");
  void wait(
      const std::string& what, double seconds, const std::function<bool()>& until = [] { return false; }) {
    waits_.begin(what, seconds);
    (void)pollUntil(*session_, sink_, std::chrono::milliseconds(static_cast<int>(seconds * 1000)), until);
  }
  [[nodiscard]] int exitOf() const;

  const Options& o_;
  job::Job job_;
  const std::vector<Saying> sayings_;
  Waits waits_;
  readiness::Evidence evidence_;
  Watch watch_;
  LinkBoard board_;
  Instruments instruments_;
  Tee sink_{{&board_, &evidence_, &watch_, &instruments_}};
  std::unique_ptr<recorder::Session> session_;
  std::size_t uris_ = 0;
  std::vector<std::uint16_t> buses_;  ///< links that are no meters
  bool power_declared_ = false;
  std::string by_;  ///< who answers before power
  std::optional<Error> refused_;
  readiness::Sheet sheet_;
  std::vector<plugin::Results> found_;
  std::optional<reasons::Reasoner> reasoner_;
  std::vector<bool> left_out_;  ///< readings that the job rules out, and those skipped here
  bool asks_ = false;           ///< somebody answers, and has not said `stop`
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

void Check::keep(const char* how, const std::string& text) {
  if (Status noted = job::appendPowerUp(job_, {utcText(readClocks().utc_ns), how, text}); !noted)
    std::fprintf(stderr, "the ledger of power-ups could not be written: %s\n", noted.error().text().c_str());
}

/// By the ledger: power came, and nobody said that it was taken off.
bool Check::poweredBefore() const {
  const auto ledger = job::readLedger(job_);
  return ledger && job::countPower(*ledger).supplyRises() > 0 && !job::removedAt(*ledger);
}

Status Check::say(const Saying& s) {
  switch (s.what) {
    case Saying::What::reading:
      return command(Action::reading, pack(s.reading));
    case Saying::What::note:
      return command(Action::note, {}, s.note);
    case Saying::What::clearance:
      return command(Action::clearance, pack(s.clearance));
    case Saying::What::power:
      break;
  }
  if (s.power == PowerState::on) {
    power_declared_ = true;
    keep("declared", "pin16 check");
  } else if (power_declared_ || evidence_.power() == PowerState::on || poweredBefore()) {
    keep("removed", "pin16 check");
  }
  return command(Action::power, pack(event::Power{s.power, "declared", ""}));
}

Status Check::openLinks() {
  recorder::Config config;
  config.uris = chosenUris(o_.uris, job_);
  config.rate_fixed = o_.rate_known;
  applyJob(config, job_);
  if (o_.search) {
    if (!o_.ask && !job_.sealed)
      return Error{ErrorKind::usage, "--search sends, and check without --ask is passive", "",
                   "say --ask too, or name the protocol of the link"};
    if (Status search = beginSearch(config); !search) return search;
  }
  completeUris(config.uris, job_);
  uris_ = config.uris.size();
  buses_ = busLinks(config.uris);
  config.file = captureName(o_.output, "check");
  config.command = "pin16 check, job " + job_.name;
  if (!o_.ask) config.shut_reason = "check without --ask is passive";
  auto session = recorder::Session::start(config);
  if (!session) return session.error();
  session_ = std::move(*session);
  std::fprintf(stderr, "recording to %s (%s)\n", config.file.c_str(), session_->startNote().c_str());
  if (uris_ == 0) return {};
  // A link that is not there does not end the check: readings can be typed, and it may yet come.
  const double wait_s = kLinksWait_s + (o_.search ? kSearchWait_s : 0);
  waits_.begin("the links to say what they are", wait_s);
  const Status state = waitForLinks(*session_, sink_, board_, uris_, wait_s);
  refused_ = sealedOff(board_);
  if (!refused_ && !state && state.error().kind == ErrorKind::gate) refused_ = state.error();
  return !state && state.error().kind == ErrorKind::record ? state : Status{};
}

/// Asks for what is not cleared yet. A command's reply comes after the events it caused: the evidence is up
/// to date.
Status Check::clearInterlocks() {
  if (by_.empty()) by_ = o_.by;
  for (const auto& lock : readiness::standing(job_, evidence_)) {
    if (lock.standing == readiness::Standing::cleared || lock.standing == readiness::Standing::overridden)
      continue;
    if (by_.empty()) by_ = askTerminal("\nBefore power. Your name, for the record > ");
    for (;;) {
      std::string answer = askTerminal(fmt::format(
          "\n{}: {}\n  {}\n  yes, no, `because REASON` to go on without knowing; Enter: not known > ",
          lock.what.code, lock.what.question, lock.what.why));
      if (answer.empty()) answer = "unknown";
      auto clearance = parseClearance(lock.what.code, answer, by_);
      if (!clearance) {
        std::fprintf(stderr, "  %s\n", clearance.error().text().c_str());
        continue;
      }
      Saying s;
      s.what = Saying::What::clearance;
      s.clearance = std::move(*clearance);
      if (Status said = say(s); !said) return said;
      break;
    }
  }
  return {};
}

Status Check::offerPower() {
  if (Status state = clearInterlocks(); !state) return state;
  if (const auto locks = readiness::standing(job_, evidence_); !readiness::mayPower(locks)) {
    std::fprintf(stderr, "\npower stays off: %s\n", readiness::inTheWay(locks).c_str());
    return {};
  }
  const auto start = readiness::predictStart(job_);
  const std::string start_text = start ? readiness::startText(*start) : start.error().text();
  if (!start_text.empty()) std::fprintf(stderr, "\n%s\n", start_text.c_str());
  const auto ledger = job::readLedger(job_);
  std::fprintf(stderr, "\n%s\n",
               readiness::powerUpWarning(job_, ledger ? *ledger : std::vector<job::PowerUp>{}).c_str());
  const bool unclean = start && *start && !(*start)->clean();
  const std::string answer =
      askTerminal(unclean ? "Enter leaves power off; `on` if it comes on all the same > "
                          : "switch the module's power on now and type `on`; Enter leaves it off > ");
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
    if (const auto stop = readiness::stopBefore(job_, evidence_)) {
      std::fprintf(stderr, "\n%s\n", stop->c_str());
      return {};
    }
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
    if (line == "stop") {
      asks_ = false;
      return {};
    }
    if (line.empty()) {
      event::Measurement skipped;
      skipped.point = next->point->name, skipped.power = next->power, skipped.condition = next->with;
      if (const auto o = reasons::observationOf(skipped)) left_out_[o->reading] = true;
      continue;
    }
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
  wait(buses_.empty() ? "the meters" : "traffic on the bus (listening only)", seconds);
  board_.tellTroubles();
  if (!o_.ask || !board_.busEverUp() || interrupted()) return {};
  protocol::RollCallPlan plan;
  plan.functional_repeats = 1;  // as little as serves
  plan.links = buses_;
  if (job_.module.address) {
    const auto& a = *job_.module.address;
    plan.module = protocol::Target{a.request_id, a.answer_id, a.extended, false};
  }
  plan.line_module = job_.module.line_address;
  if (!o_.sweep.empty()) plan.sweep = *protocol::parseSweep(o_.sweep);  // checked before the run
  std::fprintf(stderr, "asking: functional 01 00, then the VIN of each module that answers%s\n",
               plan.sweep ? ", then the sweep" : "");
  protocol::RollCall roll(plan, job_.limits);
  if (Status state = askAll(roll); !state) return state;
  if (Status state = askForPlugins(); !state) return state;
  if (roll.sent() == 0 && roll.firstError() && roll.firstError()->kind == ErrorKind::gate)
    refused_ = roll.firstError();
  return {};
}

Status Check::askAll(protocol::RollCall& roll) {
  const double usual_s = job_.limits.value("timing.client_wait_ms") / 1e3;
  bool waited_late = false;
  double module_wait_s = usual_s;
  for (auto next = roll.next(); next && !interrupted(); next = roll.next()) {
    const bool of_module = job_.module.address && !next->target.line && !next->target.functional &&
                           next->target.request_id == job_.module.address->request_id;
    double wait_s = next->wait_ns > 0 ? toSeconds(next->wait_ns) : usual_s;
    if (of_module && module_wait_s > wait_s) {
      wait_s = module_wait_s;
      next->wait_ns = fromSeconds(wait_s);
    }
    waits_.begin(
        fmt::format("an answer to {} at {}", toHex(next->request),
                    protocol::idText(next->target.request_id, next->target.extended, next->target.line)),
        wait_s);
    const auto result = askRecorder(*session_, sink_, *next);
    if (!result.state && result.state.error().kind == ErrorKind::record) return result.state;
    roll.take(result);
    // Acknowledged, and silence: dead, or slower than we wait? Waiting once tells, before asking anew.
    const bool silent = result.state && (result.confirmed || mayBeAcknowledged(next->link)) &&
                        !result.exchanges.empty() && result.exchanges.front().ended == event::Ended::silent;
    if (!of_module || waited_late || !silent) continue;
    waited_late = true;
    module_wait_s = std::max(module_wait_s, awaitLateAnswer());
  }
  return {};
}

/// What plugins want asked goes the way of everything else: through the recorder's gate.
Status Check::askForPlugins() {
  constexpr int kQuestionsMax = 32;  // of all plugins in one check: it is not their bus (own figure)
  int left = kQuestionsMax;
  for (auto questions = instruments_.takeQuestions(); !questions.empty() && left > 0 && !interrupted();
       questions = instruments_.takeQuestions())
    for (const auto& q : questions) {
      if (left-- == 0) return {};
      protocol::Ask ask;
      ask.link = buses_.front();
      ask.request = q.asked.payload;
      ask.target = protocol::Target{q.asked.request_id, q.asked.answer_id, q.asked.extended, false};
      const auto result = askRecorder(*session_, sink_, ask);
      if (!result.state && result.state.error().kind == ErrorKind::record) return result.state;
      instruments_.answered(q, result);
    }
  return {};
}

/// The link cannot tell whether our frames were acknowledged, and nothing speaks against it.
bool Check::mayBeAcknowledged(std::uint16_t link) const {
  if (link >= evidence_.links().size()) return false;
  const readiness::LinkFacts& l = evidence_.links()[link];
  return l.state.own_frames != event::OwnFrames::acknowledged && l.unacknowledged == 0 && l.error_frames == 0;
}

/// The wait that this module needs, seconds; 0 if nothing came.
double Check::awaitLateAnswer() {
  const auto came = [this] {
    return std::any_of(evidence_.exchanges().begin(), evidence_.exchanges().end(),
                       [](const readiness::ExchangeFacts& e) { return e.came_after_ms >= 0; });
  };
  const double longest_s = job_.limits.value("timing.p2_star_server_max_ms") / 1e3;
  wait("an answer that comes late",
       std::max(0.0, longest_s - job_.limits.value("timing.client_wait_ms") / 1e3), came);
  if (!came()) return 0;
  // Its answer may be a long one, of which only the first frame came: it waits for a flow control that never
  // does.
  wait("the module to be done with that answer", job_.limits.value("timing.n_bs_ms") / 1e3);
  return longest_s;
}

/// The power-up goes into the ledger, and each further rise of a plug that bounced.
void Check::noteRises() {
  if (evidence_.power() != PowerState::on) return;
  const std::size_t count = std::max<std::size_t>(readiness::risesAtSwitchOn(job_, evidence_), 1);
  for (std::size_t i = power_declared_ ? 2 : 1; i <= count; ++i) {
    const std::string text =
        count == 1 ? "pin16 check" : fmt::format("pin16 check: rise {} of {} at switch-on", i, count);
    keep("measured", text);
  }
  noteMissed();
}

/// The feed came on and the load blade stays dead: it is on the other blade, and the module had nothing.
void Check::noteMissed() {
  const auto* load =
      evidence_.newest("V(loadblade,chassis)", [](const auto& f) { return f.power == PowerState::on; });
  if (load == nullptr ||
      load->max + std::max(load->uncertainty, 0.0) > job_.limits.value("supply.absent_max_V"))
    return;
  const auto& a = job_.module.address;
  const bool answered =
      a && std::any_of(evidence_.exchanges().begin(), evidence_.exchanges().end(),
                       [&](const auto& x) { return x.answer_id == a->answer_id && x.response_ms >= 0; });
  if (!answered) keep("missed", fmt::format("pin16 check: V(loadblade,chassis) {:.2f} V", load->max));
}

/// When it was taken off counts: until a reserve is empty nothing may be joined or unjoined.
void Check::offerPowerOff() {
  if (sheet_.overall != readiness::Overall::not_ready || evidence_.power() != PowerState::on ||
      !operatorPresent() || !sayings_.empty())
    return;
  if (askTerminal(
          "\nnot ready: before anything is changed, take power off and type `off`; Enter leaves it on > ") !=
      "off")
    return;
  keep("removed", "pin16 check");
  if (job_.wait_s)
    std::fprintf(stderr, "wait %g s from now (%s) before anything is joined or unjoined\n", *job_.wait_s,
                 job_.wait_source.c_str());
}

/// The sheet of what is known now.
void Check::judge() {
  readiness::Asked asked;
  asked.ask = o_.ask;
  asked.capture = session_->file();
  asked.plugins = found_;
  if (const auto ledger = job::readLedger(job_)) asked.power_ups = *ledger;
  sheet_ = readiness::assess(job_, evidence_, asked);
}

/// The module does not answer, or could not: the reasons have something to explain. They know CAN only.
bool Check::asksWhy() const {
  if (refused_ || !job_.bus.protocol.empty() || sheet_.overall == readiness::Overall::ready) return false;
  const auto faulty = [](const readiness::Step& s) { return s.verdict == readiness::Verdict::faulty; };
  return std::any_of(sheet_.steps.begin(), sheet_.steps.end(), faulty) || (o_.ask && board_.busEverUp());
}

/// Power for a reading, by the same rules as before: what must be cleared, the ledger, one power-up said.
bool Check::bring(reasons::Power wanted) {
  const bool on = evidence_.power() == PowerState::on;
  if (wanted == reasons::Power::any || (wanted == reasons::Power::on) == on) return true;
  if (wanted == reasons::Power::on) {
    if (const Status state = offerPower(); !state) std::fprintf(stderr, "%s\n", state.error().text().c_str());
    return evidence_.power() == PowerState::on;
  }
  if (askTerminal(
          "\nfor the next reading take the module's power off and type `off`; Enter leaves it on > ") !=
      "off")
    return false;
  Saying off;
  off.what = Saying::What::power;
  off.power = PowerState::off;
  return static_cast<bool>(say(off));
}

/// At a terminal it goes on with the next reading; each one is recorded, and the sheet is judged anew.
Status Check::askWhy() {
  Asking asking;
  asking.policy = [this] { return reasons::policyOf(job_, evidence_.power() == PowerState::on); };
  asking.bring = [this](reasons::Power wanted) { return bring(wanted); };
  asking.keep = [this](const reasons::Reading& r, const std::string& answer) {
    static constexpr const char* power[] = {" power=off", " power=source", " power=on", ""};
    auto reading =
        job::parseReading(fmt::format("{}={}{}", r.id, answer, power[static_cast<std::size_t>(r.power)]));
    Saying s;
    s.what = reading ? Saying::What::reading : Saying::What::note;
    if (reading) s.reading = std::move(*reading);
    s.note = fmt::format("{}: {}", r.id, answer);  // what is no point of the job
    return say(s);
  };
  if (Status asked = askForReadings(*reasoner_, left_out_, o_.numbers, asking); !asked) return asked;
  judge();
  return {};
}

Status Check::conclude() {
  const bool was_on = evidence_.power() == PowerState::on;
  noteRises();
  watch_.finish();
  found_ = instruments_.finish();
  judge();
  // The read-out attempt inherits this power-up: power stays as it is, and we do not send any more.
  if (Status state = command(Action::shut, {}, "check is over, the attempt may begin"); !state) return state;
  std::string why = "null";
  const auto gathered = reasons::gather(evidence_, job_);
  if (asksWhy() && !gathered.answered) {
    // Without somebody who answers, single causes and fewer samples are enough; `pin16 why` reckons in full.
    reasons::Options options;
    if (!asks_) options.pairs = false, options.samples = kShortSamples;
    reasoner_ =
        reasons::Reasoner::prepare(reasons::settingOf(job_), reasons::priors(job_.arrangement), options);
    reasoner_->leaveOut(left_out_);
    for (const auto& o : gathered.observations) reasoner_->observe(o);
    const auto answer =
        reasons::explain(*reasoner_, reasons::policyOf(job_, evidence_.power() == PowerState::on), left_out_);
    why = o_.json ? reasonsJson(*reasoner_, answer) : reasons::toShortText(answer);
  }
  if (o_.json)
    fmt::print("{}", readiness::toJson(sheet_, why));
  else
    fmt::print("{}{}", readiness::toPlainText(sheet_), reasoner_ ? "\n" + why : "");
  std::fflush(stdout);
  if (reasoner_ && asks_) {
    if (Status state = askWhy(); !state) return state;
    if (!was_on) noteRises();
    fmt::print("{}\n", sheet_.sentence);
  }
  for (const auto& v : readiness::verdictEvents(sheet_))
    if (Status state = command(Action::verdict, pack(v)); !state) return state;
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

/// The hand-over: power stays on, we no longer send, and what watches the attempt.
void Check::tellNext() const {
  if (sheet_.overall == readiness::Overall::not_ready || evidence_.power() != PowerState::on) return;
  std::string next = "pin16 listen --attempt --job " + o_.job;
  for (const auto& uri : o_.uris) next += fmt::format(" '{}'", uri);
  std::fprintf(
      stderr,
      "%sleave power on: the read-out attempt inherits this power-up. The gate is shut. Next, before "
      "the other equipment starts:\n  %s\n",
      sheet_.overall == readiness::Overall::ready ? "" : "undecided; if you go on, ", next.c_str());
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
  wait("attached instruments", kInstruments_s);
  if (const auto ledger = job::readLedger(job_))
    if (const auto removed_ns = job::removedAt(*ledger); removed_ns && evidence_.power() != PowerState::on)
      evidence_.setRemoved(*removed_ns - readClocks().offset());
  for (const auto& s : sayings_)
    if (Status state = say(s); !state) return fail(state.error());
  asks_ = sayings_.empty() && operatorPresent() && !o_.json;
  if (sayings_.empty() && operatorPresent())
    if (Status state = askOperator(); !state) return fail(state.error());
  if (Status state = listenAndAsk(); !state) return fail(state.error());
  if (Status state = conclude(); !state) return fail(state.error());
  waits_.tellSum();
  tellNext();
  offerPowerOff();
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
  if (!o.readings_file.empty()) {
    auto table = job::readReadings(o.readings_file);
    if (!table) return fail(table.error());
    for (auto& reading : *table) {
      Saying s;
      s.what = Saying::What::reading;
      s.reading = std::move(reading);
      sayings.push_back(std::move(s));
    }
  }
  if (!o.operator_file.empty()) {
    auto said = readOperatorFile(o.operator_file, o.by);
    if (!said) return fail(said.error());
    std::vector<std::string> codes;
    for (const auto& l : readiness::interlocks(*job)) codes.push_back(l.code);
    for (const auto& i : readiness::hookUp(*job)) codes.push_back(readiness::hookUpTick(i.code, "").code);
    for (const Saying& s : *said)
      if (s.what == Saying::What::clearance &&
          std::find(codes.begin(), codes.end(), s.clearance.code) == codes.end())
        return fail({ErrorKind::input,
                     "'" + s.clearance.code + "' is nothing that this job must have cleared before power",
                     o.operator_file, fmt::format("it is one of {}", fmt::join(codes, ", "))});
    sayings.insert(sayings.end(), said->begin(), said->end());
  }
  if (!o.sweep.empty())
    if (const auto range = protocol::parseSweep(o.sweep); !range) return fail(range.error());
  auto options = pluginOptions(o);
  options.asking = o.ask && !job->sealed;
  auto host = plugin::Host::start(options, *job);
  if (!host) return fail(host.error());
  return Check(o, std::move(*job), std::move(sayings), std::move(*host)).run();
}

}  // namespace pin16::cli
