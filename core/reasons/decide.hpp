// SPDX-License-Identifier: Apache-2.0
#pragma once
/// In which order to try mends that nothing measured can choose between. One fault; an action costs, mends
/// some faults, and the sequence ends when the device works. Expected cost = sum over the actions of cost
/// times the probability that nothing before it has mended. Trying by probability over cost is optimal where
/// each fault has an action of its own ("Decision-theoretic troubleshooting", Communications of the ACM
/// 38(3)).

#include <cstddef>
#include <vector>

namespace pin16::reasons {

struct Action {
  double cost = 1;
  std::vector<double> mends;  ///< probability that it mends each fault
  int place = -1;             ///< opening this place costs once, with the first action in it; -1 none
};

/// Expected cost of taking the actions in this order, to the end if need be. `faults`: their probabilities;
/// `opening`: cost of each place.
[[nodiscard]] double expectedCost(const std::vector<double>& faults, const std::vector<Action>& actions,
                                  const std::vector<std::size_t>& order,
                                  const std::vector<double>& opening = {});
/// The cheapest order, by trying all: at most eight actions.
[[nodiscard]] std::vector<std::size_t> bestOrder(const std::vector<double>& faults,
                                                 const std::vector<Action>& actions,
                                                 const std::vector<double>& opening = {});
/// By the probability of mending over cost, of all that is left each time.
[[nodiscard]] std::vector<std::size_t> ratioOrder(const std::vector<double>& faults,
                                                  const std::vector<Action>& actions);
/// Checks of which each must pass and the first failed one ends the row: cheapest order by cost / (1 - pass).
[[nodiscard]] std::vector<std::size_t> chainOrder(const std::vector<double>& cost,
                                                  const std::vector<double>& pass);
[[nodiscard]] double chainCost(const std::vector<double>& cost, const std::vector<double>& pass,
                               const std::vector<std::size_t>& order);

}  // namespace pin16::reasons
