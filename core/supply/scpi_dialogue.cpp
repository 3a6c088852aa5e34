// SPDX-License-Identifier: Apache-2.0
#include "core/supply/scpi_dialogue.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace pin16::supply {
namespace {

constexpr int kIdentityTries = 2;       // the first may meet half a command of whoever used the port before
constexpr int kFailuresMost = 2;        // of queries that an instrument need not know
constexpr double kTimeErrorStep = 1.5;  // told anew when it grew by so much: small jitter is no news

}  // namespace

ScpiDialogue::ScpiDialogue(ScpiSettings settings, Events events)
    : settings_(std::move(settings)),
      events_(std::move(events)),
      courses_(settings_.meter.quantities.size()) {}

void ScpiDialogue::start(Ns now_ns) {
  stop();
  running_ = true;
  ask(now_ns, Query::identity);
}

void ScpiDialogue::stop() {
  running_ = failed_ = limiting_ = false;
  lines_.clear();
  asked_.reset();
  missed_.reset();
  next_ = 0;
  round_ns_ = condition_ns_ = 0;
  idle_until_ns_ = kNoTime;
  condition_failures_ = error_failures_ = identity_tries_ = silent_ = 0;
  courses_.assign(courses_.size(), {});
  facts_.answers = false;
  facts_.text.clear();
  facts_.advice.clear();
  told_ = facts_;
}

void ScpiDialogue::finish(Ns now_ns) {
  for (const Course& c : courses_)
    if (c.missing && c.last_ns != kNoTime)
      events_.gap({c.last_ns, now_ns, c.why + "; no value came after it"});
  stop();
}

Ns ScpiDialogue::nextDue() const {
  if (!running_ || failed_) return kNoTime;
  if (asked_) return asked_->sent_ns + settings_.wait_ns;
  return idle_until_ns_;
}

void ScpiDialogue::onTime(Ns now_ns) {
  const Ns due_ns = nextDue();
  if (due_ns == kNoTime || now_ns < due_ns) return;
  if (asked_) return overdue(now_ns);
  idle_until_ns_ = kNoTime;
  proceed(now_ns);
}

void ScpiDialogue::ask(Ns now_ns, Query query, std::size_t quantity) {
  lines_.clear();
  idle_until_ns_ = kNoTime;
  asked_ = Asked{query, quantity, now_ns, false};
  events_.write(queryLine(query, settings_.channel, settings_.end));  // may stop(): nothing comes behind it
}

void ScpiDialogue::measure(Ns now_ns, std::size_t quantity) {
  const Query usual = settings_.meter.quantities[quantity].unit == 'V' ? Query::volts : Query::amperes;
  ask(now_ns, settings_.instead.value_or(usual), quantity);
}

/// Asks what comes next: the rest of the round, the condition, or the next round in its time.
void ScpiDialogue::proceed(Ns now_ns) {
  if (next_ >= courses_.size()) {
    if (condition_ns_ != kNoTime && now_ns >= condition_ns_) {
      condition_ns_ = now_ns + kConditionEvery_ns;
      return ask(now_ns, Query::condition);
    }
    const Ns begin_ns = round_ns_ + settings_.meter.every_ns;
    if (now_ns < begin_ns) {
      idle_until_ns_ = begin_ns;
      return;
    }
    next_ = 0;
  }
  if (next_ == 0) round_ns_ = now_ns;
  while (next_ < courses_.size() && now_ns < courses_[next_].rest_until_ns) ++next_;
  if (next_ < courses_.size()) return measure(now_ns, next_++);
  idle_until_ns_ = round_ns_ + settings_.meter.every_ns;
}

void ScpiDialogue::take(Ns now_ns, ByteView bytes) {
  if (asked_ && !bytes.empty()) asked_->heard = true;
  lines_.take(now_ns, bytes, [&](const Lines::Line& line) {
    if (running_ && !failed_) onLine(now_ns, line);
  });
}

void ScpiDialogue::onLine(Ns now_ns, const Lines::Line& line) {
  // Late, of its own accord, or an answer given twice.
  if (!asked_ || line.first_ns <= asked_->sent_ns) return;
  const std::string query = queryLine(asked_->query, settings_.channel, "");
  if (line.text == query) return;  // an echo
  switch (asked_->query) {
    case Query::identity:
      return onIdentity(now_ns, line.sound ? line.text : "");
    case Query::condition:
      return onCondition(now_ns, line.sound ? line.text : "");
    case Query::error:
      return onError(now_ns, line.sound ? line.text : "");
    default:
      return onValue(now_ns, line);
  }
}

void ScpiDialogue::answers(Ns now_ns) {
  silent_ = 0;
  facts_.answers = true;
  tell(now_ns);
}

void ScpiDialogue::onIdentity(Ns now_ns, const std::string& text) {
  const std::string identity = parseIdentity(text);
  if (identity.empty()) return;  // an answer to somebody before us
  asked_.reset();
  facts_.identity = identity;
  answers(now_ns);
  proceed(now_ns);
}

void ScpiDialogue::onValue(Ns now_ns, const Lines::Line& line) {
  const Asked asked = *asked_;
  asked_.reset();
  const Quantity& q = settings_.meter.quantities[asked.quantity];
  const Reading r = line.sound ? parseValue(line.text, q.unit) : Reading{};
  if (r.kind == Reading::Kind::nonsense) {
    miss(now_ns, asked.quantity, fmt::format("\"{}\" is no value in {}", line.text.substr(0, 40), q.unit));
    missed_ = asked.quantity;
    if (error_failures_ < kFailuresMost) return ask(now_ns, Query::error);
    idle_until_ns_ = now_ns + settings_.wait_ns;
    return;
  }
  answers(now_ns);
  if (r.kind != Reading::Kind::value) {
    miss(now_ns, asked.quantity,
         r.kind == Reading::Kind::overload ? "overload" : "the instrument has no value");
    return proceed(now_ns);
  }
  Course& c = courses_[asked.quantity];
  const Ns t_ns = asked.sent_ns + (line.first_ns - asked.sent_ns) / 2;
  event::Measurement m = measurement(q, r.value, facts_.identity, settings_.meter.aperture_ns);
  m.time_error_ns = timeError(asked.sent_ns, line.first_ns, c.last_sent_ns, settings_.meter.aperture_ns);
  facts_.time_error_ns = std::max(facts_.time_error_ns, m.time_error_ns);
  if (c.missing && c.last_ns != kNoTime) events_.gap({c.last_ns, t_ns, c.why});
  c = {};
  c.last_ns = last_value_ns_ = t_ns;
  c.last_sent_ns = asked.sent_ns;
  events_.sample(t_ns, m);
  tell(now_ns);
  proceed(now_ns);
}

void ScpiDialogue::onCondition(Ns now_ns, const std::string& text) {
  const auto bits = parseRegister(text);
  if (!bits) {
    // Not every instrument has it; that it is not known is legal.
    asked_.reset();
    if (++condition_failures_ >= kFailuresMost) condition_ns_ = kNoTime;
    if (error_failures_ < kFailuresMost) return ask(now_ns, Query::error);
    idle_until_ns_ = now_ns + settings_.wait_ns;
    return;
  }
  asked_.reset();
  condition_failures_ = 0;
  limiting_ = (*bits & kVoltageQuestionable) != 0;
  answers(now_ns);
  proceed(now_ns);
}

void ScpiDialogue::onError(Ns now_ns, const std::string& text) {
  const auto error = parseError(text);
  if (!error) return;  // late answers to what was asked before
  asked_.reset();
  error_failures_ = 0;
  if (missed_ && error->code != 0) {
    Course& c = courses_[*missed_];
    c.why = fmt::format("{}: {} ({})", settings_.meter.quantities[*missed_].point, error->text, error->code);
    if (++c.refused >= kMissesTold) c.rest_until_ns = now_ns + kRestAfterErrors_ns;
  }
  missed_.reset();
  answers(now_ns);
  proceed(now_ns);
}

/// No answer in time.
void ScpiDialogue::overdue(Ns now_ns) {
  const Asked asked = *asked_;
  const bool half = lines_.halfLine();
  asked_.reset();
  lines_.clear();
  const bool need_not_know = asked.query == Query::condition || asked.query == Query::error;
  const bool measuring = asked.query != Query::identity && !need_not_know;
  if (asked.heard)
    silent_ = 0;
  else if (!need_not_know)
    ++silent_;
  if (measuring)
    miss(now_ns, asked.quantity,
         half ? "an answer that was cut short"
              : fmt::format("no answer in {:.0f} ms", toMs(settings_.wait_ns)));
  if (silent_ >= kSilentMost) {
    failed_ = true;
    return;
  }
  switch (asked.query) {
    case Query::identity:
      if (++identity_tries_ < kIdentityTries) return ask(now_ns, Query::identity);
      return proceed(now_ns);  // its values may be had all the same
    case Query::condition:
      if (++condition_failures_ >= kFailuresMost) condition_ns_ = kNoTime;
      break;
    case Query::error:
      ++error_failures_;
      missed_.reset();
      return proceed(now_ns);
    default:
      missed_ = asked.quantity;
  }
  if (error_failures_ < kFailuresMost) return ask(now_ns, Query::error);
  idle_until_ns_ = now_ns + settings_.wait_ns;
}

void ScpiDialogue::miss(Ns now_ns, std::size_t quantity, const std::string& why) {
  Course& c = courses_[quantity];
  if (!c.missing) c.why = settings_.meter.quantities[quantity].point + ": " + why;
  c.missing = true;
  ++c.misses;
  tell(now_ns);
}

/// Shows facts that are news.
void ScpiDialogue::tell(Ns now_ns) {
  facts_.text.clear();
  facts_.advice.clear();
  for (const Course& c : courses_)
    if (c.misses >= kMissesTold && facts_.text.empty()) {
      facts_.text = c.why;
      facts_.advice = "look at the instrument: its leads, its range, whether its output is on";
    }
  if (limiting_ && facts_.text.empty()) {
    facts_.text = "the supply limits its current: its volts are not held";
    facts_.advice = "find what draws so much before the limit is raised";
  }
  Facts next = facts_;
  const bool grown =
      static_cast<double>(facts_.time_error_ns) > kTimeErrorStep * static_cast<double>(told_.time_error_ns);
  if (!grown) next.time_error_ns = told_.time_error_ns;
  if (next == told_) return;
  next.time_error_ns = facts_.time_error_ns;
  told_ = next;
  events_.changed(now_ns);
}

}  // namespace pin16::supply
