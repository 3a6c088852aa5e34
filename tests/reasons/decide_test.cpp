// SPDX-License-Identifier: Apache-2.0
// Against worked examples of sequential troubleshooting; each one's source is named.
#include "core/reasons/decide.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>

#include "core/reasons/model.hpp"

namespace pin16::reasons {
namespace {

using Order = std::vector<std::size_t>;

// "computer irregularities", exercise of a textbook on probabilistic networks and decision graphs.
TEST(Troubleshooting, ComputerIrregularitiesOfTheTextbook) {
  const std::vector<double> faults = {0.80, 0.15, 0.05};
  const std::vector<Action> actions = {
      {1, {1, 0, 0}}, {2, {0, 0.95, 0}}, {25, {0.99, 0.99, 0}}, {500, {1, 1, 1}}};
  EXPECT_NEAR(expectedCost(faults, actions, {0, 1, 2, 3}), 27.875, 1e-9);
  EXPECT_NEAR(expectedCost(faults, actions, {1, 0, 2, 3}), 29.3325, 1e-9);
  EXPECT_NEAR(expectedCost(faults, actions, {0, 1, 3}), 30.150, 1e-9);
  EXPECT_NEAR(expectedCost(faults, actions, {0, 2, 1, 3}), 31.1405, 1e-9);
  EXPECT_NEAR(expectedCost(faults, actions, {1, 0, 3}), 31.6075, 1e-9);
  EXPECT_EQ(bestOrder(faults, actions), (Order{0, 1, 2, 3}));
}

// The SACSO methodology paper on troubleshooting complex systems (2000/2001), numbers from memory: greedy by
// p/c is not optimal where actions overlap.
TEST(Troubleshooting, SacsoOverlappingActions) {
  const std::vector<double> faults = {0.20, 0.25, 0.40, 0.15};
  const std::vector<Action> actions = {{1, {1, 1, 0, 0}}, {1, {0, 1, 1, 0}}, {1, {0, 0, 1, 1}}};
  EXPECT_EQ(ratioOrder(faults, actions).front(), 1U);
  EXPECT_NEAR(expectedCost(faults, actions, {1, 0, 2}), 1.50, 1e-9);
  const Order best = bestOrder(faults, actions);
  EXPECT_EQ(best[0], 2U);
  EXPECT_EQ(best[1], 0U);
  EXPECT_NEAR(expectedCost(faults, actions, best), 1.45, 1e-9);
}

// Independent repairs: p/c is the best of all 24 orders (constructed, re-solved exhaustively).
TEST(Troubleshooting, IndependentRepairsByProbabilityOverCost) {
  const std::vector<double> faults = {0.30, 0.35, 0.15, 0.20};
  const std::vector<Action> actions = {
      {3, {1, 0, 0, 0}}, {4, {0, 1, 0, 0}}, {12, {0, 0, 1, 0}}, {60, {0, 0, 0, 1}}};
  EXPECT_EQ(ratioOrder(faults, actions), bestOrder(faults, actions));
  EXPECT_NEAR(expectedCost(faults, actions, ratioOrder(faults, actions)), 22.0, 1e-9);
  EXPECT_NEAR(expectedCost(faults, actions, {3, 2, 1, 0}), 73.1, 1e-9);
}

// Cost clusters ("The Cost of Troubleshooting Cost Clusters with Inside Information"; numbers constructed).
TEST(Troubleshooting, OpeningAPanelCostsOnce) {
  const std::vector<double> faults = {0.25, 0.15, 0.40, 0.20};
  const std::vector<Action> actions = {
      {2, {1, 0, 0, 0}, 0}, {1, {0, 1, 0, 0}, 0}, {8, {0, 0, 1, 0}}, {6, {0, 0, 0, 1}}};
  const std::vector<double> opening = {10};
  EXPECT_EQ(bestOrder(faults, actions, opening), (Order{2, 3, 1, 0}));
  EXPECT_NEAR(expectedCost(faults, actions, {2, 3, 1, 0}, opening), 16.50, 1e-9);
  EXPECT_NEAR(expectedCost(faults, actions, {2, 3, 0, 1}, opening), 16.55, 1e-9);
  EXPECT_NEAR(expectedCost(faults, actions, ratioOrder(faults, actions), opening), 18.70, 1e-9);
}

// A row of checks that ends at the first failed one (constructed, re-solved exhaustively).
TEST(Troubleshooting, CheckChain) {
  const std::vector<double> cost = {4, 1, 6, 2}, pass = {0.9, 0.95, 0.5, 0.8};
  EXPECT_EQ(chainOrder(cost, pass), (Order{3, 2, 1, 0}));
  EXPECT_NEAR(chainCost(cost, pass, {3, 2, 1, 0}), 8.72, 1e-9);
  EXPECT_NEAR(chainCost(cost, pass, {0, 1, 2, 3}), 10.885, 1e-9);
}

TEST(Troubleshooting, OneActionAFaultRatioIsAlwaysBest) {
  Draw d(5);
  for (int round = 0; round < 200; ++round) {
    std::vector<double> faults;
    std::vector<Action> actions;
    for (std::size_t f = 0; f < 5; ++f) {
      faults.push_back(0.05 + d.share());
      Action a{d.log(0.5, 50), std::vector<double>(5, 0)};
      a.mends[f] = 1;
      actions.push_back(a);
    }
    const double sum = std::accumulate(faults.begin(), faults.end(), 0.0);
    for (double& p : faults) p /= sum;
    EXPECT_NEAR(expectedCost(faults, actions, ratioOrder(faults, actions)),
                expectedCost(faults, actions, bestOrder(faults, actions)), 1e-9);
  }
}

}  // namespace
}  // namespace pin16::reasons
