// SPDX-License-Identifier: Apache-2.0
#include "core/review/review.hpp"

#include <algorithm>

#include "core/review/pass.hpp"
#include "core/review/plugged.hpp"

namespace pin16::review {
namespace {

/// Losses of other programs' captures are in their interface statistics, not in the stream.
void addForeign(const capture::Reader& reader, Summary& summary) {
  const auto& links = reader.links();
  summary.links.resize(std::max(summary.links.size(), links.size()));
  for (std::size_t i = 0; i < links.size(); ++i) {
    summary.links[i].name = links[i].name;
    if (summary.links[i].description.empty()) summary.links[i].description = links[i].description;
    if (links[i].ours) continue;
    summary.losses.kernel += links[i].statistics.os_dropped;
    summary.losses.adapter += links[i].statistics.dropped;
  }
}

}  // namespace

Pass::Pass(const limits::Limits& limits) : census_(limits) {}
Pass::~Pass() = default;

Result<std::unique_ptr<Pass>> Pass::open(const std::string& path, const job::Job* hints,
                                         const plugin::HostOptions& plugins, Follower* follower) {
  std::unique_ptr<Pass> p(new Pass(hints != nullptr ? hints->limits : limits::Limits()));
  auto opened = capture::Reader::open(path);
  if (!opened) return opened.error();
  p->path_ = path;
  p->reader_ = std::move(*opened);
  if (hints != nullptr) {
    if (const auto& address = hints->module.address)
      p->census_.hint(address->request_id, address->answer_id, address->extended);
    p->census_.assumeBitrate(hints->bus.bitrate.value_or(0));
  }
  auto host = plugin::Host::start(plugins, hints != nullptr ? *hints : job::Job());
  if (!host) return host.error();
  p->host_ = std::move(*host);
  std::vector<Follower*> all;
  if (!p->host_->empty()) {
    p->plugged_ = std::make_unique<Plugged>(*p->host_);
    all.push_back(p->plugged_.get());
  }
  if (follower != nullptr) all.push_back(follower);
  if (all.size() == 1) p->census_.follow(*all.front());
  if (all.size() > 1) p->census_.follow(p->followers_.emplace(std::move(all)));
  return p;
}

bool Pass::next(event::Batch& batch) {
  if (!reader_->next(batch)) return false;
  census_.take(batch);
  return true;
}

Summary Pass::finish() {
  Summary summary = census_.finish();
  if (plugged_) plugged_->flush();
  summary.plugins = host_->finish(summary.last_ns);
  summary.plugins_refused = host_->refused();
  summary.file = path_;
  summary.application = reader_->section().application;
  summary.skipped = reader_->skipped().notes;
  addForeign(*reader_, summary);
  return summary;
}

Result<Summary> reviewFile(const std::string& path, const job::Job* hints,
                           const plugin::HostOptions& plugins) {
  auto pass = Pass::open(path, hints, plugins);
  if (!pass) return pass.error();
  for (event::Batch batch; (*pass)->next(batch);) {
  }
  return (*pass)->finish();
}

}  // namespace pin16::review
