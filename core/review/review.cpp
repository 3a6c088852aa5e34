// SPDX-License-Identifier: Apache-2.0
#include "core/review/review.hpp"

#include <algorithm>
#include <optional>

#include "core/capture/reader.hpp"
#include "core/review/census.hpp"
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

Result<Summary> reviewFile(const std::string& path, const job::Job* hints,
                           const plugin::HostOptions& plugins) {
  auto opened = capture::Reader::open(path);
  if (!opened) return opened.error();
  capture::Reader& reader = **opened;

  Census census(hints != nullptr ? hints->limits : limits::Limits());
  if (hints != nullptr) {
    if (const auto& address = hints->module.address)
      census.hint(address->request_id, address->answer_id, address->extended);
    census.assumeBitrate(hints->bus.bitrate.value_or(0));
  }
  auto host = plugin::Host::start(plugins, hints != nullptr ? *hints : job::Job());
  if (!host) return host.error();
  std::optional<Plugged> plugged;
  if (!(*host)->empty()) census.follow(plugged.emplace(**host));
  for (event::Batch batch; reader.next(batch);) census.take(batch);

  Summary summary = census.finish();
  if (plugged) plugged->flush();
  summary.plugins = (*host)->finish(summary.last_ns);
  summary.plugins_refused = (*host)->refused();
  summary.file = path;
  summary.application = reader.section().application;
  summary.skipped = reader.skipped().notes;
  addForeign(reader, summary);
  return summary;
}

}  // namespace pin16::review
