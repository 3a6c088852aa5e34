// SPDX-License-Identifier: Apache-2.0
#include "core/reasons/decide.hpp"

#include <algorithm>
#include <numeric>
#include <set>

namespace pin16::reasons {
namespace {

std::vector<std::size_t> counted(std::size_t n) {
  std::vector<std::size_t> out(n);
  std::iota(out.begin(), out.end(), std::size_t{0});
  return out;
}

}  // namespace

double expectedCost(const std::vector<double>& faults, const std::vector<Action>& actions,
                    const std::vector<std::size_t>& order, const std::vector<double>& opening) {
  std::vector<double> left = faults;  // of each fault, not mended so far
  std::set<int> open;
  double sum = 0;
  for (const std::size_t a : order) {
    double cost = actions[a].cost;
    if (actions[a].place >= 0 && open.insert(actions[a].place).second)
      cost += opening[static_cast<std::size_t>(actions[a].place)];
    sum += cost * std::accumulate(left.begin(), left.end(), 0.0);
    for (std::size_t f = 0; f < left.size(); ++f) left[f] *= 1 - actions[a].mends[f];
  }
  return sum;
}

std::vector<std::size_t> bestOrder(const std::vector<double>& faults, const std::vector<Action>& actions,
                                   const std::vector<double>& opening) {
  auto order = counted(actions.size());
  auto best = order;
  double least = expectedCost(faults, actions, order, opening);
  while (std::next_permutation(order.begin(), order.end())) {
    const double cost = expectedCost(faults, actions, order, opening);
    if (cost < least - 1e-12) least = cost, best = order;
  }
  return best;
}

std::vector<std::size_t> ratioOrder(const std::vector<double>& faults, const std::vector<Action>& actions) {
  std::vector<double> left = faults;
  auto open = counted(actions.size());
  std::vector<std::size_t> out;
  const auto ratio = [&](std::size_t a) {
    double p = 0;
    for (std::size_t f = 0; f < left.size(); ++f) p += left[f] * actions[a].mends[f];
    return p / actions[a].cost;
  };
  while (!open.empty()) {
    const auto at = std::max_element(open.begin(), open.end(),
                                     [&](std::size_t a, std::size_t b) { return ratio(a) < ratio(b); });
    for (std::size_t f = 0; f < left.size(); ++f) left[f] *= 1 - actions[*at].mends[f];
    out.push_back(*at);
    open.erase(at);
  }
  return out;
}

std::vector<std::size_t> chainOrder(const std::vector<double>& cost, const std::vector<double>& pass) {
  auto order = counted(cost.size());
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return cost[a] * (1 - pass[b]) < cost[b] * (1 - pass[a]);
  });
  return order;
}

double chainCost(const std::vector<double>& cost, const std::vector<double>& pass,
                 const std::vector<std::size_t>& order) {
  double sum = 0, reached = 1;
  for (const std::size_t c : order) sum += cost[c] * reached, reached *= pass[c];
  return sum;
}

}  // namespace pin16::reasons
