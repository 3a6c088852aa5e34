// SPDX-License-Identifier: Apache-2.0
#include "core/review/power.hpp"

#include <algorithm>
#include <utility>

#include "core/protocol/target.hpp"

namespace pin16::review {

std::uint64_t PowerFacts::supplyRises() const {
  std::uint64_t most = 0;
  for (const PointRises& p : rises) most = std::max(most, p.rises);
  return most;
}

PowerCounter::PowerCounter(const limits::Limits& limits)
    : threshold_V_(limits.value("supply.module_min_V")),
      dead_V_(limits.value("supply.absent_max_V")),
      asleep_ns_(fromMs(limits.value("bus.asleep_ms"))) {}

void PowerCounter::power(Ns t_ns, const event::Power& p) {
  const event::PowerState was = std::exchange(power_, p.state);
  if (p.state == was) return;
  if (p.state == event::PowerState::on) {
    ++(p.how == "declared" ? facts_.declared : facts_.measured);
    facts_.removed_ns = kNoTime;
    rose_ns_ = t_ns;
  } else if (was == event::PowerState::on) {
    facts_.removed_ns = t_ns;
  }
}

void PowerCounter::sample(Ns t_ns, const event::Measurement& m) {
  const bool of_bus = m.point.find("pin6") != std::string::npos || m.point.find("pin14") != std::string::npos;
  if (m.unit != "V" || of_bus) return;
  Point& p = points_[m.point];
  if (m.value < dead_V_) {
    p.armed = true;
  } else if (p.armed && m.value >= threshold_V_) {
    p.armed = false;
    p.rises.point = m.point;
    ++p.rises.rises;
    p.rises.last_ns = t_ns;
    rose_ns_ = t_ns;
  }
}

void PowerCounter::state(std::uint16_t link, Ns t_ns, const event::LinkState& state) {
  if (state.meter) return;
  if (state.condition != event::LinkCondition::up)
    quiet_since_ns_.erase(link);
  else
    quiet_since_ns_.try_emplace(link, t_ns);
}

void PowerCounter::gap(std::uint16_t link, Ns to_ns) {
  for (auto& [index, since_ns] : quiet_since_ns_)
    if (link == event::kNoLink || link == index) since_ns = to_ns;
}

void PowerCounter::frame(std::uint16_t link, Ns t_ns, const event::CanFrame& f, bool outbound) {
  const auto quiet = quiet_since_ns_.find(link);
  if (quiet == quiet_since_ns_.end() || t_ns == kNoTime) return;
  const Ns since_ns = quiet->second;
  const bool diagnostic =
      protocol::isTesterId(f.id(), f.extended()) || protocol::requestIdOf(f.id(), f.extended()).has_value();
  quiet->second = t_ns;
  if (outbound || f.error() || diagnostic || since_ns == kNoTime || t_ns < since_ns) return;
  const bool by_supply = rose_ns_ != kNoTime && rose_ns_ >= since_ns;
  if (t_ns - since_ns >= asleep_ns_ && !by_supply) ++facts_.wake_ups;
}

PowerFacts PowerCounter::facts() const {
  PowerFacts out = facts_;
  for (const auto& [name, p] : points_)
    if (p.rises.rises > 0) out.rises.push_back(p.rises);
  return out;
}

}  // namespace pin16::review
