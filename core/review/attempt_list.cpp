// SPDX-License-Identifier: Apache-2.0
#include "core/review/attempt_list.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "core/base/clock.hpp"

namespace pin16::review {
namespace {

constexpr const char* kNoSupply[] = {"V(chassis,", "V(pin4,", "V(pin6,", "V(pin14,"};

/// "2026-11-25T17:39:43": what both files write alike.
std::string toSecond(const std::string& utc) {
  constexpr std::size_t kLength = 19;
  return utc.substr(0, kLength);
}

/// Ground drops and bus wires are near 0 V where all is well.
bool feedsSomething(const std::string& point) {
  return std::none_of(std::begin(kNoSupply), std::end(kNoSupply),
                      [&](const char* begin) { return point.starts_with(begin); });
}

AttemptRow rowOf(const protocol::AttemptReport& a, const std::string& capture) {
  AttemptRow row;
  row.utc = utcText(a.begin_ns);
  if (!a.open) row.rung = protocol::toName(a.rung);
  if (a.power_up >= 0) row.power_up = a.power_up;
  row.supply = supplyText(a);
  row.changed = a.changed;
  row.said = a.said;
  row.capture = capture;
  row.here = true;
  return row;
}

}  // namespace

std::string supplyText(const protocol::AttemptReport& attempt) {
  const protocol::SupplyCourse* worst = nullptr;
  const auto lowest = [](const protocol::SupplyCourse& c) {
    return std::min(c.lowest_before, c.lowest_after);
  };
  for (const auto& c : attempt.supply)
    if (c.unit == "V" && c.values > 0 && feedsSomething(c.point) &&
        (worst == nullptr || lowest(c) < lowest(*worst)))
      worst = &c;
  if (worst == nullptr) return {};
  return fmt::format("{} {:.1f} V, lowest {:.1f} V", worst->point, worst->first, lowest(*worst));
}

std::vector<AttemptRow> attemptRows(const std::vector<job::AttemptEntry>& kept,
                                    const std::vector<protocol::AttemptReport>& here,
                                    const std::string& capture) {
  std::vector<AttemptRow> out;
  for (const auto& e : kept) {
    AttemptRow& row = out.emplace_back();
    row.utc = e.utc, row.rung = e.rung, row.power_up = e.power_up, row.cycles = e.cycles;
    row.changed = e.changed, row.said = e.said, row.capture = e.capture;
  }
  for (const auto& a : here) {
    AttemptRow row = rowOf(a, capture);
    const auto same = std::find_if(out.begin(), out.end(), [&](const AttemptRow& r) {
      return !r.here && toSecond(r.utc) == toSecond(row.utc);
    });
    if (same == out.end()) {
      out.push_back(std::move(row));
      continue;
    }
    // What was kept knows what was typed; the capture knows the supply.
    same->supply = row.supply;
    same->here = true;
    if (same->changed.empty()) same->changed = row.changed;
    if (same->said.empty()) same->said = row.said;
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const AttemptRow& a, const AttemptRow& b) { return a.utc < b.utc; });
  return out;
}

}  // namespace pin16::review
