// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/line_witness.hpp"

#include <algorithm>
#include <utility>

#include "core/link/line_format.hpp"

namespace pin16::protocol {

LineWitness::LineWitness(const limits::Limits& limits, OnMessage on_message, OnExchange on_exchange)
    : limits_(limits), on_message_(std::move(on_message)), on_exchange_(std::move(on_exchange)) {}

void LineWitness::line(Ns t_ns, const event::Line& line) {
  event::Message m;
  m.id = link::sourceOf(line).value_or(0);
  m.complete = true;
  m.payload = line.data;
  m.first_ns = line.first_ns;
  m.medium = line.medium;
  m.header = line.header;
  on_message_(t_ns, m);
  if (t_ns == kNoTime || line.data.empty()) return;
  const bool request = link::isTesters(line);
  const Ns began_ns = line.first_ns != kNoTime ? line.first_ns : t_ns;
  if (open_ && (request || open_->over(began_ns)))
    conclude(std::min(began_ns, open_->deadline()), event::Ended::silent);
  if (!request) {
    if (open_) (void)open_->onLine(t_ns, line);
    return;
  }
  Target target;
  target.request_id = link::targetOf(line).value_or(0);
  target.functional = link::isFunctional(line);
  target.line = true;
  open_.emplace(target, line.data, line, kNoTime, lineTimes(limits_, line.medium, 0));
  ours_ = line.ours;
  event::Line seen = line;
  seen.ours = true;  // it was seen: that is all that confirms a request
  (void)open_->onLine(t_ns, seen);
}

void LineWitness::gap(Ns from_ns) {
  if (open_) conclude(from_ns, open_->over(from_ns) ? event::Ended::silent : event::Ended::link_lost);
}

void LineWitness::finish(Ns end_ns) {
  if (!open_) return;
  const bool over = end_ns != kNoTime && open_->over(end_ns);
  conclude(over ? open_->deadline() : end_ns, over ? event::Ended::silent : event::Ended::not_seen);
}

void LineWitness::conclude(Ns t_ns, event::Ended if_nobody) {
  for (event::Exchange& e : open_->conclude(if_nobody)) {
    e.ours = ours_;
    on_exchange_(t_ns, e);
  }
  open_.reset();
}

}  // namespace pin16::protocol
