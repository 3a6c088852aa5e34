// SPDX-License-Identifier: Apache-2.0
#include "checklist.hpp"

#include <algorithm>
#include <numeric>
#include <utility>

namespace pin16::study {

const std::vector<Check>& checklist() {
  constexpr double kFar = 1e12;
  static const std::vector<Check> list = {
      {"off source", "source-label", 0, 0, {"battery or lab supply"}},
      {"off feed", "fuse-rating", 0, 0, {"right"}},
      {"off feed", "R(rigfuse)", 0, 2, {}},
      {"off feed", "R(rigfuse,clip)", 0, 2, {}},
      {"off feed", "slot-check", 0, 0, {"right"}},
      {"off feed", "R(modfuse)", 0, 2, {}},
      {"off feed", "R(feed,chassis)", 8, kFar, {}},
      {"off ground", "R(src-,chassis)", 0, 2, {}},
      {"off connector", "R(connfuse)", 0, 2, {}},
      {"off connector", "R(connfuse,pin16)", 0, 2, {}},
      {"off connector", "R(pin4,chassis)", 0, 2, {}},
      {"off connector", "R(pin5,chassis)", 0, 2, {}},
      {"off interface", "port-list", 0, 0, {"right"}},
      {"off levels", "R(pin6,pin14)", 54, 66, {}},
      {"off levels", "R(pin6,pin4)", 1000, kFar, {}},
      {"off levels", "R(pin14,pin4)", 1000, kFar, {}},
      {"off levels", "R(pin6,pin16)", 1000, kFar, {}},
      {"off levels", "R(pin14,pin16)", 1000, kFar, {}},
      {"source", "V(src+,src-)", 12, 15, {}},
      {"source", "V(src+,src-,load)", 11, 15, {}},
      {"source", "Vac(src+,src-)", 0, 0.5, {}},
      {"on source", "V(src+,src-,on)", 11.5, 15, {}},
      {"on source", "limit-lamp", 0, 0, {"off"}},
      {"on feed", "V(feed,chassis)", 11.5, 15, {}},
      {"on feed", "V(src+,feed)", 0, 0.5, {}},
      {"on feed", "V(slot load,chassis)", 11.5, 15, {}},
      {"on feed", "V(feed2,chassis)", 11, 15, {}},
      {"on feed", "I(feed)", 0.08, 0.8, {}},
      {"on feed", "I(feed) pattern", 0, 0, {"steady"}},
      {"on ground", "V(chassis,src-)", -0.2, 0.2, {}},
      {"on ground", "V(pin4,src-)", -0.3, 0.3, {}},
      {"on ground", "V(ifgnd,chassis)", -0.5, 0.5, {}},
      {"on connector", "V(connfuse supply,chassis)", 11.5, 15, {}},
      {"on connector", "V(pin16,chassis)", 11.5, 15, {}},
      {"on connector", "V(pin16,pin4)", 11.5, 15, {}},
      {"on connector", "V(outlet,chassis)", 11.5, 15, {}},
      {"on interface", "interface-lamp", 0, 0, {"lit"}},
      {"on interface", "adapter-answers", 0, 0, {"yes"}},
      {"on interface", "adapter-mode", 0, 0, {"normal"}},
      {"on interface", "V(adapter)", 11, 15, {}},
      {"on levels", "V(gwfeed,chassis)", 11, 15, {}},
      {"on levels", "V(pin6,pin4)", 2.3, 3.2, {}},
      {"on levels", "V(pin14,pin4)", 1.8, 2.7, {}},
      {"on levels", "V(pin6,pin14)", -0.1, 1, {}},
      {"on traffic", "error-class", 0, 0, {"none"}},
      {"on traffic", "controller-state", 0, 0, {"active"}},
      {"on traffic", "identifiers", 0, 0, {"none", "others", "module", "both"}},
      {"on traffic", "rate-scan", 0, 0, {"no"}},
      {"on traffic", "pair-scan", 0, 0, {"no"}},
      {"on answer", "answer@again", 0, 0, {"no"}},
      {"on answer", "answer@longwait", 0, 0, {"no"}},
      {"on answer", "answer@29bit", 0, 0, {"no"}},
      {"on answer", "rollcall", 0, 0, {"nobody", "others"}},
      {"on answer", "answer@kline", 0, 0, {"no"}},
      {"on answer", "reseat", 0, 0, {"no change"}},
      {"on answer", "answer@wake", 0, 0, {"no"}},
      {"on answer", "answer@otherif", 0, 0, {"no"}},
      {"on answer", "answer@direct", 0, 0, {"no"}},
  };
  return list;
}

bool sound(const Check& check, double value) { return value >= check.low && value <= check.high; }

bool sound(const Check& check, std::string_view answer) {
  return std::find(check.good.begin(), check.good.end(), answer) != check.good.end();
}

std::vector<std::size_t> randomOrder(std::size_t count, std::uint64_t seed) {
  std::vector<std::size_t> order(count);
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::uint64_t x = seed * 0x9E3779B97F4A7C15U + 1;
  for (std::size_t i = count; i > 1; --i) {
    x ^= x << 13U, x ^= x >> 7U, x ^= x << 17U;
    std::swap(order[i - 1], order[static_cast<std::size_t>(x % i)]);
  }
  return order;
}

void ChecklistRun::skip() {
  while (at_ < checklist().size() && !allowed_[at_]) ++at_;
}

bool ChecklistRun::over() const {
  return at_ >= checklist().size() || (!faulty_.empty() && checklist()[at_].block != faulty_);
}

void ChecklistRun::take(bool is_sound) {
  if (!is_sound && faulty_.empty()) faulty_ = checklist()[at_].block;
  ++at_;
  skip();
}

}  // namespace pin16::study
