// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/live.hpp"

#include <QElapsedTimer>
#include <algorithm>

#include "core/cli/run.hpp"
#include "core/protocol/gate.hpp"
#include "core/reasons/gather.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {
// Own figures: 20 pictures a second for the eye; a verdict is read, not watched.
constexpr int kTick_ms = 25;
constexpr Ns kJudgeEvery_ns = 300 * kNsPerMs;
constexpr Ns kDrawEvery_ns = 50 * kNsPerMs;
constexpr Ns kGrowEvery_ns = 250 * kNsPerMs;
/// Of one tick for what came: the rest waits for the next one.
constexpr int kBudget_ms = 15;
constexpr std::uint64_t kGrowBytes = 4U << 20U;
}  // namespace

LiveSource::LiveSource(job::Job job, bool may_ask)
    : Source(std::move(job)),
      may_ask_(may_ask && !job_.sealed),
      timeline_(fromMs(job_.limits.value("timing.client_wait_ms"))),
      witnessed_(evidence_),
      followers_(
          std::make_unique<review::Followers>(std::vector<review::Follower*>{&timeline_, &witnessed_})),
      census_(job_.limits) {
  progress_ = 1;
  if (const auto& a = job_.module.address) {
    evidence_.setModule(a->answer_id, a->extended);
    census_.hint(a->request_id, a->answer_id, a->extended);
  }
  if (const auto& a = job_.module.line_address) evidence_.setLineModule(*a);
  census_.assumeBitrate(job_.bus.bitrate.value_or(0));
  census_.follow(*followers_);
  connect(&timer_, &QTimer::timeout, this, &LiveSource::tick);
}
LiveSource::~LiveSource() = default;

Status LiveSource::start(const std::vector<std::string>& uris, const std::string& folder) {
  recorder::Config config;
  config.uris = cli::chosenUris(uris, job_);
  cli::applyJob(config, job_);
  cli::completeUris(config.uris, job_);
  buses_ = cli::busLinks(config.uris);
  config.file = folder + "/" + cli::captureName({}, "window");
  config.command = "pin16-gui, job " + job_.name;
  // The window may die; the recording goes on until somebody ends it.
  config.outlive_owner = true;
  if (!job_.authority) {
    auto key = job::digestKey(job_);
    if (!key) return key.error();
    config.digest_key = std::move(*key);
  }
  if (!may_ask_) config.shut_reason = "the window was told to listen only";
  auto session = recorder::Session::start(config);
  if (!session) return session.error();
  session_ = std::move(*session);
  file_ = session_->file();
  link_names_ = config.uris;
  began_ns_ = bootNow();
  if (const auto ledger = job::readLedger(job_);
      ledger && job::countPower(*ledger).supplyRises() > 0 && !job::removedAt(*ledger))
    rises_kept_ = 1;
  for (const event::Measurement& m : job_.readings)
    if (Status s = command(recorder::Action::reading, pack(m)); !s) return s;
  if (auto browser = capture::Browser::open(file_)) browser_ = std::move(*browser);
  timer_.start(kTick_ms);
  setPlugins(job_.plugins);
  return {};
}

void LiveSource::setPlugins(const std::map<std::string, job::PluginSettings>& settings) {
  job_.plugins = settings;
  plugins_ = std::make_unique<LivePlugins>(job_);
  connect(plugins_.get(), &LivePlugins::grew, this, [this] {
    if (!attempt_) Q_EMIT pluginsGrew();
  });
}

std::vector<plugin::Results> LiveSource::plugins() const {
  return plugins_ ? plugins_->results() : std::vector<plugin::Results>{};
}

void LiveSource::take(const event::Batch& batch) {
  utc_offset_ns_ = batch.utc_offset_ns;
  evidence_.take(batch);
  census_.take(batch);
  if (plugins_) plugins_->take(batch);
  for (const auto& h : batch.headers) {
    if (h.link == event::kNoLink) continue;
    if (h.kind == event::Kind::refused) {
      if (const auto r = batch.record<event::Refused>(h); r && protocol::Gate::isForWantOfProof(*r))
        unproven_.insert(h.link);
    } else if (h.kind == event::Kind::frame && !unproven_.empty()) {
      if (const auto f = batch.frame(h); f && !f->error()) unproven_.erase(h.link);
    }
    if (h.kind != event::Kind::link) continue;
    if (const auto s = batch.record<event::LinkState>(h)) {
      if (states_.size() <= h.link) states_.resize(h.link + std::size_t{1});
      states_[h.link] = *s;
    }
  }
  fresh_ = true;
}

void LiveSource::gone(const Error& e) {
  timer_.stop();
  session_.reset();
  Q_EMIT failed(text(e.text()));
}

void LiveSource::tick() {
  if (!session_) return;
  QElapsedTimer budget;
  budget.start();
  do {
    fresh_ = false;
    if (Status s = session_->poll(*this, std::chrono::milliseconds(0)); !s) return gone(s.error());
  } while (fresh_ && budget.elapsed() < kBudget_ms);
  const Ns now = bootNow();
  evidence_.observedUntil(now);
  if (utc_offset_ns_ != kNoTime) census_.advance(now + utc_offset_ns_);
  if (asked_)
    if (auto reply = session_->fetch(*asked_)) {
      asked_.reset();
      roll_->take(cli::askResult(reply->ok ? Result<recorder::Reply>(std::move(*reply))
                                           : Result<recorder::Reply>(reply->error())));
      askNext();
    }
  if (now - drawn_ns_ > kDrawEvery_ns) {
    drawn_ns_ = now;
    Q_EMIT drawn();
  }
  // During an attempt nothing is judged and nothing indexed: the one line is enough.
  if (now - judged_ns_ > kJudgeEvery_ns) {
    judged_ns_ = now;
    if (!attempt_) judge();
  }
  if (!attempt_ && now - grown_ns_ > kGrowEvery_ns) {
    grown_ns_ = now;
    if (!browser_)
      if (auto browser = capture::Browser::open(file_)) browser_ = std::move(*browser);
    if (browser_) browser_->grow(kGrowBytes);
    Q_EMIT grew();
  }
}

void LiveSource::keepPower() {
  const event::PowerState now = evidence_.power();
  const auto keep = [this](const char* how, const std::string& what) {
    if (Status kept = job::appendPowerUp(job_, {utcText(readClocks().utc_ns), how, what}); !kept)
      (void)note("the ledger of power-ups could not be written: " + kept.error().text());
  };
  if (now == event::PowerState::off || now == event::PowerState::source) {
    if (std::exchange(rises_kept_, 0) > 0) keep("removed", "pin16-gui");
  } else if (now == event::PowerState::on) {
    const std::size_t count = std::max<std::size_t>(readiness::risesAtSwitchOn(job_, evidence_), 1);
    for (; rises_kept_ < count; ++rises_kept_) keep("measured", "pin16-gui");
  }
}

void LiveSource::judge() {
  keepPower();
  readiness::Asked asked;
  asked.ask = may_ask_ && evidence_.sent() > 0;
  asked.capture = file_;
  if (plugins_)
    for (const plugin::Results& p : plugins_->results()) {
      // Their series are nothing to judge by.
      plugin::Results& to = asked.plugins.emplace_back();
      to.facts = p.facts;
      to.findings = p.findings;
      to.failed = p.failed;
    }
  if (const auto ledger = job::readLedger(job_)) asked.power_ups = *ledger;
  sheet_ = readiness::assess(job_, evidence_, asked);
  judged_once_ = true;
  Q_EMIT judged();
}

std::vector<std::string> LiveSource::troubles() const {
  std::vector<std::string> out;
  if (link_names_.empty())
    out.push_back(
        tr("no link and no meter is named: nothing is heard, only what is typed is recorded").toStdString());
  for (const auto& s : states_)
    if (!s.text.empty() && s.condition != event::LinkCondition::up)
      out.push_back(linkText(s.uri.substr(0, s.uri.find('?'))) + ": " + s.text +
                    (s.advice.empty() ? "" : ". " + s.advice));
  return out;
}

std::vector<reasons::Observation> LiveSource::observations() const {
  auto out = reasons::gather(evidence_, job_).observations;
  out.insert(out.end(), entered_.begin(), entered_.end());
  return out;
}

QString LiveSource::stateText() const {
  if (!session_) return tr("recording ended");
  const auto s = static_cast<long long>(toSeconds(bootNow() - began_ns_));
  return tr("recording %1:%2, %3 lost")
      .arg(s / 60)
      .arg(s % 60, 2, 10, QLatin1Char('0'))
      .arg(evidence_.lost());
}

/// What the command is told by an option is a button here.
QString LiveSource::nextText() const {
  const readiness::Sheet* s = sheet();
  if (s == nullptr || s->first_thing || !s->deciding || s->deciding->point != "ask" ||
      evidence_.power() != event::PowerState::on)
    return Source::nextText();
  return may_ask_
             ? tr("Next: press \"ask\", if the case allows one read-only request.")
             : tr("Next: this recording only listens. If the case allows a read-only request, end it and "
                  "begin one that may ask.");
}

Status LiveSource::command(recorder::Action action, Bytes packed, const std::string& text) {
  if (!session_) return Error{ErrorKind::record, "the recording has ended", file_, ""};
  recorder::Command c;
  c.action = action;
  c.packed = std::move(packed);
  c.text = text;
  const auto reply = session_->call(c, *this, std::chrono::seconds(5));
  if (!reply) return reply.error();
  return {};
}

Status LiveSource::enter(const event::Measurement& reading) {
  Status s = command(recorder::Action::reading, pack(reading));
  if (s) judge();
  return s;
}
Status LiveSource::note(const std::string& what) { return command(recorder::Action::note, {}, what); }
Status LiveSource::clear(const event::Clearance& clearance) {
  Status s = command(recorder::Action::clearance, pack(clearance));
  if (s) judge();
  return s;
}

Status LiveSource::power(event::PowerState state) {
  const bool was_on = evidence_.power() == event::PowerState::on;
  const bool on = state == event::PowerState::on;
  if (on != was_on)
    if (Status kept = job::appendPowerUp(
            job_, {utcText(readClocks().utc_ns), on ? "declared" : "removed", "pin16-gui"});
        !kept)
      return kept;
  rises_kept_ = on ? std::max<std::size_t>(rises_kept_, 1) : 0;
  Status s = command(recorder::Action::power, pack(event::Power{state, "declared", ""}));
  if (s) judge();
  return s;
}

Status LiveSource::ask() {
  if (!may_ask_)
    return Error{ErrorKind::gate, "this recording only listens", "",
                 "start it with \u201cmay ask\u201d, if the case allows read-only requests"};
  if (roll_ || buses_.empty()) return {};
  protocol::RollCallPlan plan;
  plan.functional_repeats = 1;  // as little as serves
  plan.links = buses_;
  if (const auto& a = job_.module.address)
    plan.module = protocol::Target{a->request_id, a->answer_id, a->extended, false};
  plan.line_module = job_.module.line_address;
  roll_ = std::make_unique<protocol::RollCall>(plan, job_.limits);
  askNext();
  return {};
}

std::optional<std::uint32_t> LiveSource::rateToVouchFor() const {
  if (!session_ || !may_ask_ || attempt_ || roll_ || unproven_.empty()) return std::nullopt;
  const std::uint16_t link = *unproven_.begin();
  return link < states_.size() ? states_[link].bitrate : 0;
}

Status LiveSource::vouchAndAsk(const std::string& by) {
  if (!rateToVouchFor()) return {};
  for (const std::uint16_t link : std::exchange(unproven_, {})) {
    recorder::Command c;
    c.action = recorder::Action::vouch;
    c.link = link;
    c.by = by;
    if (const auto reply = session_->call(c, *this, std::chrono::seconds(5)); !reply) return reply.error();
  }
  return ask();
}

void LiveSource::askNext() {
  if (auto next = roll_->next()) {
    if (const auto id = session_->post(cli::askCommand(*next))) {
      asked_ = *id;
      return;
    }
  }
  const auto error = roll_->firstError();
  // What is refused for want of proof is told by itself (rateToVouchFor()).
  const QString outcome = roll_->sent() > 0 || !error ? tr("requests sent: %1").arg(roll_->sent())
                          : unproven_.empty()
                              ? text(error->what + (error->advice.empty() ? "" : ": " + error->advice))
                              : QString();
  roll_.reset();
  judge();
  Q_EMIT askedAll(outcome);
}

Status LiveSource::attempt(const std::string& changed) {
  if (to_keep_)
    if (Status kept = keepAttempt({}, std::nullopt); !kept) return kept;
  event::Attempt a;
  a.begins = !attempt_;
  a.how = "operator";
  if (a.begins) {
    const auto ledger = job::readLedger(job_);
    const int count = ledger ? job::countPower(*ledger).powerUps() : 0;
    a.power_up = count > 0 ? count : -1;
    a.full = job_.authority.has_value();
    a.changed = changed;
  } else {
    const auto reports = census_.attempts().reports();
    if (!reports.empty()) a.rung = protocol::toName(reports.back().rung);
  }
  Status s = command(recorder::Action::attempt, pack(a));
  if (s) attempt_ = !attempt_;
  unproven_.clear();  // the gate stays shut from an attempt on
  if (s && !attempt_) {
    to_keep_ = true;
    judge();
  }
  return s;
}

Status LiveSource::keepAttempt(const std::string& said, std::optional<int> cycles) {
  const auto reports = census_.attempts().reports();
  if (!to_keep_ || reports.empty()) return {};
  to_keep_ = false;
  const protocol::AttemptReport& last = reports.back();
  job::AttemptEntry entry{utcText(last.begin_ns), protocol::toName(last.rung),     std::nullopt, cycles,
                          last.changed,           said.empty() ? last.said : said, file_};
  if (last.power_up >= 0) entry.power_up = last.power_up;
  if (!said.empty())
    if (Status noted = note("the other program said: " + said); !noted) return noted;
  return job::appendAttempt(job_, entry);
}

QString LiveSource::attemptText() const {
  if (!attempt_) return {};
  const auto pulse = census_.attempts().pulse();
  const Ns since = pulse.progress_ns != kNoTime ? pulse.progress_ns : pulse.begin_ns;
  if (!pulse.seen || since == kNoTime || utc_offset_ns_ == kNoTime) return tr("hands off");
  const Ns still = bootNow() + utc_offset_ns_ - since;
  if (still < fromMs(job_.limits.value("timing.s3_server_ms"))) return tr("hands off");
  return pulse.through ? tr("finished") : tr("stalled %1 s").arg(static_cast<int>(toSeconds(still)));
}

Status LiveSource::end() {
  if (!session_) return {};
  if (to_keep_)
    if (Status kept = keepAttempt({}, std::nullopt); !kept) return kept;
  timer_.stop();
  judge();
  for (const auto& v : readiness::verdictEvents(sheet_)) (void)command(recorder::Action::verdict, pack(v));
  recorder::Command c;
  c.action = recorder::Action::finish;
  const auto reply = session_->call(c, *this);
  session_.reset();
  if (!reply) return reply.error();
  return {};
}

}  // namespace pin16::gui
