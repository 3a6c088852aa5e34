// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/appraisal.hpp"

namespace pin16::readiness {

Appraisal::Appraisal(std::string path, job::Job job)
    : path_(std::move(path)),
      job_(std::move(job)),
      timeline_(fromMs(job_.limits.value("timing.client_wait_ms"))),
      witnessed_(evidence_),
      followers_(
          std::make_unique<review::Followers>(std::vector<review::Follower*>{&timeline_, &witnessed_})) {
  if (const auto& a = job_.module.address) evidence_.setModule(a->answer_id, a->extended);
  if (const auto& a = job_.module.line_address) evidence_.setLineModule(*a);
  for (const event::Measurement& m : job_.readings) evidence_.add(m, true);
}

Result<std::unique_ptr<Appraisal>> Appraisal::open(const std::string& path, job::Job job,
                                                   const plugin::HostOptions& plugins) {
  std::unique_ptr<Appraisal> a(new Appraisal(path, std::move(job)));
  auto pass = review::Pass::open(path, &a->job_, plugins, a->followers_.get());
  if (!pass) return pass.error();
  a->pass_ = std::move(*pass);
  a->pass_->reader().keepIndex();
  return a;
}

bool Appraisal::next() {
  if (!pass_->next(batch_)) return false;
  evidence_.take(batch_);
  return true;
}

void Appraisal::finish() {
  summary_ = pass_->finish();
  timeline_.finish();
  Asked asked;
  asked.ask = evidence_.sent() > 0;
  asked.capture = path_;
  asked.plugins = summary_.plugins;
  if (const auto ledger = job::readLedger(job_)) asked.power_ups = *ledger;
  sheet_ = assess(job_, evidence_, asked);
}

}  // namespace pin16::readiness
