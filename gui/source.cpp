// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/source.hpp"

#include <QFileInfo>
#include <algorithm>
#include <cmath>

#include "core/reasons/gather.hpp"
#include "core/reasons/text.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {
/// What the pass has is posted this often: seldom against what it costs, often for an eye.
constexpr Ns kPostEvery_ns = 60 * kNsPerMs;
/// Shown before an index is there.
constexpr std::uint64_t kFirstBytes = 256U << 10U;
}  // namespace

std::string linkText(const std::string& uri) { return uri.starts_with("bench:/") ? "bench" : uri; }

QString Source::linkName(std::uint16_t link) const {
  if (link == event::kNoLink) return QStringLiteral("\u2013");
  if (link < link_names_.size() && !link_names_[link].empty()) return text(linkText(link_names_[link]));
  return QString::number(link);
}

QString Source::sentText() const {
  const readiness::Sheet* s = sheet();
  if (s == nullptr) return {};
  if (s->sent == 0) return tr("nothing sent");
  return tr("frames sent: %1").arg(s->sent);
}

QString Source::nextText() const {
  const readiness::Sheet* s = sheet();
  if (s == nullptr) return {};
  return s->first_thing ? tr("First: %1").arg(coreText(s->first_thing->text))
         : s->deciding  ? tr("Next: %1").arg(coreText(s->deciding->how))
                        : QString();
}

void Source::enter(const reasons::Observation& observation) {
  std::erase_if(entered_, [&](const auto& o) { return o.reading == observation.reading; });
  entered_.push_back(observation);
  Q_EMIT judged();
}

ReviewSource::ReviewSource(std::string file, job::Job job) : Source(std::move(job)) {
  file_ = std::move(file);
}

ReviewSource::~ReviewSource() {
  stop_ = true;
  if (worker_.joinable()) worker_.join();
}

Status ReviewSource::start() {
  auto browser = capture::Browser::open(file_);
  if (!browser) return browser.error();
  browser_ = std::move(*browser);
  auto facts = capture::factsOf(file_);
  if (!facts) return facts.error();
  if (auto index = capture::loadIndex(*facts)) {
    browser_->append(std::move(*index));
    kept_ = true;
  } else {
    // The begin is there at once; the pass replaces it by the whole.
    browser_->grow(kFirstBytes);
  }
  worker_ = std::thread([this, facts = *facts] { run(facts); });
  return {};
}

/// Beside the GUI thread: touches nothing of it, posts.
void ReviewSource::run(const capture::FileFacts& facts) {
  const auto post = [this](auto what) {
    QMetaObject::invokeMethod(this, std::move(what), Qt::QueuedConnection);
  };
  auto opened = readiness::Appraisal::open(file_, job_, {});
  if (!opened) {
    post([this, what = opened.error().text()] {
      progress_ = 1;
      Q_EMIT failed(text(what));
    });
    return;
  }
  const std::shared_ptr<readiness::Appraisal> pass = std::move(*opened);
  capture::Index whole;
  Ns posted_ns = bootNow();
  bool first = true;
  const auto hand = [&] {
    auto part = std::make_shared<capture::Index>(pass->takeIndex());
    whole.append(*part);
    std::vector<std::string> names;
    for (const auto& l : pass->reader().links()) names.push_back(l.name);
    const double done =
        facts.size == 0 ? 1 : static_cast<double>(pass->offset()) / static_cast<double>(facts.size);
    post([this, part, names, done, begin = std::exchange(first, false)] {
      if (!kept_) {
        if (begin) browser_->forget();
        browser_->append(std::move(*part));
      }
      link_names_ = names;
      progress_ = std::min(done, 0.99);
      Q_EMIT grew();
    });
    posted_ns = bootNow();
  };
  while (!stop_ && pass->next())
    if (bootNow() - posted_ns > kPostEvery_ns) hand();
  if (stop_) return;
  pass->finish();
  hand();
  if (!kept_) (void)capture::saveIndex(facts, whole);  // made anew next time if it cannot be kept
  post([this, pass] {
    done_ = pass;
    progress_ = 1;
    Q_EMIT grew();
    Q_EMIT drawn();
    Q_EMIT judged();
  });
}

std::vector<protocol::AttemptReport> ReviewSource::attempts() const {
  return done_ ? done_->summary().attempts : std::vector<protocol::AttemptReport>{};
}
std::vector<plugin::Results> ReviewSource::plugins() const {
  return done_ ? done_->summary().plugins : std::vector<plugin::Results>{};
}
std::vector<reasons::Observation> ReviewSource::observations() const {
  if (!done_) return entered_;
  auto out = reasons::gather(done_->evidence(), job_).observations;
  out.insert(out.end(), entered_.begin(), entered_.end());
  return out;
}

QString ReviewSource::stateText() const {
  const QString name = QFileInfo(text(file_)).fileName();
  if (progress_ < 1) return tr("reading %1, %2 %").arg(name).arg(static_cast<int>(progress_ * 100));
  return tr("review of %1").arg(name);
}

Status ReviewSource::enter(const event::Measurement& reading) {
  const auto o = reasons::observationOf(reading);
  if (!o)
    return Error{ErrorKind::usage, reading.point + " as it was taken tells no cause from another", "", ""};
  Source::enter(*o);
  return {};
}

Reasons::Reasons(const job::Job& job) : setting_(reasons::settingOf(job)), worker_([this] { run(); }) {}

Reasons::~Reasons() {
  questions_.close();
  worker_.join();
}

void Reasons::consider(std::vector<reasons::Observation> observations, std::vector<bool> left_out,
                       const reasons::Policy& policy) {
  Question q{std::move(observations), std::move(left_out), policy};
  if (last_ && q.like(*last_)) return;
  last_ = q;
  // Full: the questions waiting are of before, and another one comes with the next change.
  (void)questions_.push(std::move(q), 1);
}

bool Reasons::Question::like(const Question& other) const {
  return left_out == other.left_out && policy.powered == other.policy.powered &&
         policy.power_ups_left == other.policy.power_ups_left &&
         std::equal(observations.begin(), observations.end(), other.observations.begin(),
                    other.observations.end(), [](const auto& a, const auto& b) {
                      // Own figure: less than what an instrument may err.
                      const double alike = std::max(0.02, 0.02 * std::abs(b.value));
                      return a.reading == b.reading && std::abs(a.value - b.value) <= alike;
                    });
}

void Reasons::run() {
  std::optional<reasons::Reasoner> reasoner;
  std::vector<bool> grouped(reasons::kReadings, false);
  while (!questions_.finished()) {
    auto question = questions_.pop(std::chrono::milliseconds(500));
    if (!question) continue;
    while (auto newer = questions_.pop(std::chrono::milliseconds(0))) question = std::move(newer);
    if (!reasoner) reasoner = reasons::Reasoner::prepare(setting_, reasons::priors(setting_.arrangement));
    reasoner->forget();
    if (question->left_out != grouped) reasoner->leaveOut(question->left_out);
    grouped = question->left_out;
    for (const auto& o : question->observations) reasoner->observe(o);
    auto answer =
        std::make_shared<reasons::Answer>(reasons::explain(*reasoner, question->policy, question->left_out));
    QMetaObject::invokeMethod(
        this,
        [this, answer] {
          answer_ = std::move(*answer);
          Q_EMIT answered();
        },
        Qt::QueuedConnection);
  }
}

}  // namespace pin16::gui
