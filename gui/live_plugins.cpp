// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/live_plugins.hpp"

#include <memory>

#include "core/plugin/host.hpp"
#include "core/review/census.hpp"
#include "core/review/plugged.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {
constexpr std::size_t kEventsWaiting = 200'000;  // own figure: some ten seconds of a full bus
constexpr Ns kPostEvery_ns = 500 * kNsPerMs;     // own figure: read, not watched
}  // namespace

LivePlugins::LivePlugins(const job::Job& job)
    : job_(job), batches_(kEventsWaiting), worker_([this] { run(); }) {}

LivePlugins::~LivePlugins() {
  stop_ = true;  // what waits is in the capture all the same
  batches_.close();
  worker_.join();
}

void LivePlugins::take(const event::Batch& batch) {
  if (!batches_.push(batch, batch.headers.size())) dropped_ += batch.headers.size();
}

/// Beside the GUI thread: touches nothing of it, posts.
void LivePlugins::run() {
  const auto post = [this](auto what) {
    QMetaObject::invokeMethod(this, std::move(what), Qt::QueuedConnection);
  };
  auto host = plugin::Host::start({}, job_);
  if (!host) {
    post([this, what = host.error().text()] {
      trouble_ = text(what);
      Q_EMIT grew();
    });
    return;
  }
  review::Plugged plugged(**host);
  review::Census census(job_.limits);
  if (const auto& a = job_.module.address) census.hint(a->request_id, a->answer_id, a->extended);
  census.assumeBitrate(job_.bus.bitrate.value_or(0));
  census.follow(plugged);
  Ns posted_ns = kNoTime;
  while (!stop_ && !batches_.finished()) {
    if (const auto batch = batches_.pop(std::chrono::milliseconds(100))) {
      census.take(*batch);
      plugged.flush();
    }
    const Ns now_ns = bootNow();
    if (posted_ns != kNoTime && now_ns - posted_ns < kPostEvery_ns) continue;
    posted_ns = now_ns;
    const auto more = std::make_shared<std::vector<plugin::Results>>((*host)->takeSoFar());
    post([this, more] { collect(*more); });
  }
}

void LivePlugins::collect(std::vector<plugin::Results>& more) {
  if (results_.empty()) {
    results_ = std::move(more);
  } else {
    for (std::size_t i = 0; i < results_.size() && i < more.size(); ++i) {
      results_[i].failed = more[i].failed;
      plugin::append(results_[i], std::move(more[i]));
    }
  }
  Q_EMIT grew();
}

}  // namespace pin16::gui
