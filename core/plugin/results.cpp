// SPDX-License-Identifier: Apache-2.0
#include "core/plugin/results.hpp"

#include <iterator>
#include <utility>

namespace pin16::plugin {

void append(Results& all, Results&& more) {
  const auto move = [](auto& to, auto& from) {
    to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
  };
  for (std::size_t i = 0; i < all.points.size() && i < more.points.size(); ++i)
    move(all.points[i], more.points[i]);
  for (std::size_t i = 0; i < all.counters.size() && i < more.counters.size(); ++i)
    all.counters[i] += more.counters[i];
  move(all.findings, more.findings);
  move(all.sections, more.sections);
  move(all.evidence, more.evidence);
  if (all.failed.empty()) all.failed = more.failed;
  all.dropped += more.dropped;
  if (all.dropped_why.empty()) all.dropped_why = more.dropped_why;
}

Results takeFrom(Results& all) {
  Results out = std::move(all);
  all = {};
  all.facts = out.facts;
  all.failed = out.failed;
  all.points.resize(out.points.size());
  all.counters.resize(out.counters.size());
  return out;
}

}  // namespace pin16::plugin
