// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The readiness sheet of a capture, months later: the same steps from the same evidence, recomputed from
/// what was observed and declared in it. In one pass together with its index, census and time axis.

#include <memory>
#include <string>

#include "core/readiness/evidence.hpp"
#include "core/readiness/sheet.hpp"
#include "core/review/pass.hpp"

namespace pin16::readiness {

/// What other equipment and modules said to each other becomes evidence too.
class Witnessed : public review::Follower {
 public:
  explicit Witnessed(Evidence& to) : to_(to) {}
  void frame(const event::Header&, Ns, const event::CanFrame&, std::uint32_t, Ns) override {}
  void record(const event::Batch&, const event::Header&, Ns) override {}
  void message(std::uint64_t, std::uint16_t, Ns, const event::Message&) override {}
  void exchange(std::uint64_t, std::uint16_t link, Ns, const event::Exchange& x) override {
    if (!x.ours) to_.add(x, link);
  }

 private:
  Evidence& to_;
};

/// One owner, one thread.
class Appraisal {
 public:
  /// As review::reviewFile(). Readings of the job are taken before the capture's own.
  [[nodiscard]] static Result<std::unique_ptr<Appraisal>> open(const std::string& path, job::Job job,
                                                               const plugin::HostOptions& plugins);
  Appraisal(const Appraisal&) = delete;
  Appraisal& operator=(const Appraisal&) = delete;

  /// Reads on; false at the end of the file.
  bool next();
  [[nodiscard]] std::uint64_t offset() const { return pass_->offset(); }
  /// What of the file's index is new since the last call.
  [[nodiscard]] capture::Index takeIndex() { return pass_->reader().takeIndex(); }
  [[nodiscard]] const capture::Reader& reader() const { return pass_->reader(); }

  /// What was read so far, judged. Call once.
  void finish();
  // After finish():
  [[nodiscard]] const review::Summary& summary() const { return summary_; }
  [[nodiscard]] const Sheet& sheet() const { return sheet_; }
  [[nodiscard]] const Evidence& evidence() const { return evidence_; }
  [[nodiscard]] const review::Timeline& timeline() const { return timeline_; }
  [[nodiscard]] const job::Job& job() const { return job_; }

 private:
  Appraisal(std::string path, job::Job job);

  std::string path_;
  job::Job job_;
  Evidence evidence_;
  review::Timeline timeline_;
  Witnessed witnessed_;
  std::unique_ptr<review::Followers> followers_;
  std::unique_ptr<review::Pass> pass_;
  event::Batch batch_;
  review::Summary summary_;
  Sheet sheet_;
};

}  // namespace pin16::readiness
