// SPDX-License-Identifier: Apache-2.0
// A plugin's finding may lower a verdict, never raise one, and is named.
#include <gtest/gtest.h>

#include "core/readiness/sheet.hpp"

namespace pin16::readiness {
namespace {

plugin::Results found(const std::string& step, plugin::Weight weight, double confidence = 1) {
  plugin::Results r;
  r.facts.name = "bus-voltage";
  plugin::Finding f;
  f.code = "supply-low";
  f.text = "it is low";
  f.step = step;
  f.weight = weight;
  f.confidence = confidence;
  r.findings.push_back(f);
  return r;
}
Step step(Verdict v) {
  Step s;
  s.name = "feed";
  s.verdict = v;
  s.code = "own-code";
  s.text = "Own text.";
  return s;
}
Step lowered(Verdict from, plugin::Weight weight, double confidence = 1) {
  std::vector<Step> steps{step(from)};
  lower(steps, {found("feed", weight, confidence)});
  return steps[0];
}

TEST(Lower, AWarningMakesASoundStepMarginalAndIsNamed) {
  const Step s = lowered(Verdict::sound, plugin::Weight::warning);
  EXPECT_EQ(s.verdict, Verdict::marginal);
  EXPECT_EQ(s.plugin, "bus-voltage");
  EXPECT_EQ(s.code, "supply-low");
  EXPECT_EQ(s.text, "Own text. bus-voltage finds: it is low.");
}

TEST(Lower, WhatSpeaksAgainstMakesAStepFaulty) {
  EXPECT_EQ(lowered(Verdict::sound, plugin::Weight::against).verdict, Verdict::faulty);
  EXPECT_EQ(lowered(Verdict::marginal, plugin::Weight::against).verdict, Verdict::faulty);
}

TEST(Lower, NothingIsRaisedAndTheTextStaysWhereTheVerdictDoes) {
  for (const Verdict v : {Verdict::faulty, Verdict::not_measured, Verdict::not_asked})
    for (const plugin::Weight w : {plugin::Weight::fact, plugin::Weight::warning, plugin::Weight::against}) {
      const Step s = lowered(v, w);
      EXPECT_EQ(s.verdict, v);
      EXPECT_EQ(s.text, "Own text.");
      EXPECT_EQ(s.plugin, "");
    }
  EXPECT_EQ(lowered(Verdict::sound, plugin::Weight::fact).verdict, Verdict::sound);
  EXPECT_EQ(lowered(Verdict::marginal, plugin::Weight::warning).code, "own-code");
}

TEST(Lower, ADoubtfulFindingDecidesNothing) {
  EXPECT_EQ(lowered(Verdict::sound, plugin::Weight::against, 0.49).verdict, Verdict::sound);
}

TEST(Lower, AnotherStepsFindingIsNotThisOnes) {
  std::vector<Step> steps{step(Verdict::sound)};
  lower(steps, {found("source", plugin::Weight::against), found("", plugin::Weight::against)});
  EXPECT_EQ(steps[0].verdict, Verdict::sound);
}

}  // namespace
}  // namespace pin16::readiness
