// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// What the sheet shows, whether it comes from a capture or from a running recording. GUI thread only; a
/// review's pass runs beside it and posts what it has.

#include <QObject>
#include <QString>
#include <atomic>
#include <memory>
#include <optional>
#include <thread>
#include <vector>

#include "core/base/queue.hpp"
#include "core/capture/index.hpp"
#include "core/job/job.hpp"
#include "core/readiness/appraisal.hpp"
#include "core/reasons/explain.hpp"

namespace pin16::gui {

/// A link as people read it: a bench without the folder that it is in.
[[nodiscard]] std::string linkText(const std::string& uri);

class Source : public QObject {
  Q_OBJECT
 public:
  explicit Source(job::Job job) : job_(std::move(job)) {}

  [[nodiscard]] const job::Job& job() const { return job_; }
  /// The capture shown or being written.
  [[nodiscard]] const std::string& file() const { return file_; }
  [[nodiscard]] virtual bool live() const = 0;
  /// Null or nothing until something is known.
  [[nodiscard]] virtual const readiness::Sheet* sheet() const = 0;
  [[nodiscard]] virtual const readiness::Evidence* evidence() const = 0;
  [[nodiscard]] virtual const review::Timeline* timeline() const = 0;
  [[nodiscard]] virtual std::vector<protocol::AttemptReport> attempts() const = 0;
  [[nodiscard]] virtual std::vector<plugin::Results> plugins() const { return {}; }
  [[nodiscard]] virtual std::vector<reasons::Observation> observations() const = 0;
  [[nodiscard]] capture::Browser* browser() { return browser_.get(); }
  /// Of the pass over the file, 0 to 1; 1: all is known.
  [[nodiscard]] double progress() const { return progress_; }
  /// "review of c.pcapng", "recording 3:41, 0 lost": one short line.
  [[nodiscard]] virtual QString stateText() const = 0;
  /// "listening only", "1 frame sent".
  [[nodiscard]] virtual QString sentText() const;
  /// "First: ..." or "Next: ...": the one thing to do; empty: nothing to say.
  [[nodiscard]] virtual QString nextText() const;
  [[nodiscard]] QString linkName(std::uint16_t link) const;
  [[nodiscard]] Ns startNs() const { return browser_ ? browser_->index().first_ns : kNoTime; }

  /// Takes a reading that a person typed. Live it is recorded; in review it is kept for this view only.
  virtual Status enter(const event::Measurement& reading) = 0;
  /// The same for an answer that is no reading of a point ("port-list=seen").
  void enter(const reasons::Observation& observation);
  [[nodiscard]] const std::vector<reasons::Observation>& entered() const { return entered_; }

 Q_SIGNALS:
  void judged();  ///< sheet, evidence, observations
  void drawn();   ///< timeline
  void pluginsGrew();
  void grew();  ///< browser or progress
  void failed(const QString& sentence);

 protected:
  virtual void tell(const std::string&) {}  ///< of an entered answer, into the record

  job::Job job_;
  std::string file_;
  std::unique_ptr<capture::Browser> browser_;
  std::vector<reasons::Observation> entered_;
  std::vector<std::string> link_names_;
  double progress_ = 0;
};

/// A capture from a file.
class ReviewSource : public Source {
  Q_OBJECT
 public:
  ReviewSource(std::string file, job::Job job);
  ~ReviewSource() override;
  /// Opens the file, shows its begin at once and starts the pass. ErrorKind::input.
  Status start();

  [[nodiscard]] bool live() const override { return false; }
  [[nodiscard]] const readiness::Sheet* sheet() const override { return done_ ? &done_->sheet() : nullptr; }
  [[nodiscard]] const readiness::Evidence* evidence() const override {
    return done_ ? &done_->evidence() : nullptr;
  }
  [[nodiscard]] const review::Timeline* timeline() const override {
    return done_ ? &done_->timeline() : nullptr;
  }
  [[nodiscard]] std::vector<protocol::AttemptReport> attempts() const override;
  [[nodiscard]] std::vector<plugin::Results> plugins() const override;
  [[nodiscard]] std::vector<reasons::Observation> observations() const override;
  [[nodiscard]] QString stateText() const override;
  using Source::enter;
  Status enter(const event::Measurement& reading) override;
  /// From the user's cache, not made anew.
  [[nodiscard]] bool indexWasKept() const { return kept_; }

 private:
  void run(const capture::FileFacts& facts);

  bool kept_ = false;
  std::atomic<bool> stop_ = false;
  std::thread worker_;
  std::shared_ptr<readiness::Appraisal> done_;
};

/// Ranks causes beside the GUI thread; the last question asked is the one that is answered.
class Reasons : public QObject {
  Q_OBJECT
 public:
  explicit Reasons(const job::Job& job);
  ~Reasons() override;
  void consider(std::vector<reasons::Observation> observations, std::vector<bool> left_out,
                const reasons::Policy& policy);
  [[nodiscard]] const std::optional<reasons::Answer>& answer() const { return answer_; }

 Q_SIGNALS:
  void answered();

 private:
  struct Question {
    std::vector<reasons::Observation> observations;
    std::vector<bool> left_out;
    reasons::Policy policy;
    /// Nothing in it that would make another answer: a meter's noise does not.
    [[nodiscard]] bool like(const Question& other) const;
  };
  void run();

  const reasons::Setting setting_;
  std::optional<Question> last_;
  Queue<Question> questions_{64};
  std::optional<reasons::Answer> answer_;
  std::thread worker_;
};

}  // namespace pin16::gui
