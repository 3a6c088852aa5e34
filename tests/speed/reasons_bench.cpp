// SPDX-License-Identifier: Apache-2.0
/// The reasons with all pairs of causes: a reading taken, ranked, and the next of all measurements, from the
/// tables made at the start; beside it the peer, the same number of benches predicted anew, as it would be
/// without tables.
#include <benchmark/benchmark.h>

#include "core/reasons/reasoner.hpp"
#include "core/reasons/text.hpp"

namespace {

using namespace pin16::reasons;

Reasoner& prepared() {
  static Reasoner m =
      Reasoner::prepare({Arrangement::own_battery, std::nullopt}, priors(Arrangement::own_battery), {});
  return m;
}

void prepare(benchmark::State& state) {
  for (auto _ : state)
    benchmark::DoNotOptimize(
        Reasoner::prepare({Arrangement::own_battery, std::nullopt}, priors(Arrangement::own_battery), {})
            .samples());
}
BENCHMARK(prepare)->Unit(benchmark::kMillisecond)->UseRealTime();

void readingRankingAndNext(benchmark::State& state) {
  Reasoner& m = prepared();
  for (const char* text : {"V(src+,src-)=12.6V", "I(feed)=0.3A", "V(pin16,pin4)=12.4V"})
    m.observe(*parseObservation(text));
  const Observation o = *parseObservation("V(pin6,pin4)=2.5V");
  for (auto _ : state) {
    m.observe(o);
    benchmark::DoNotOptimize(m.ranking());
    benchmark::DoNotOptimize(m.next({}));
  }
  state.counters["hypotheses"] = static_cast<double>(m.hypotheses());
  state.counters["samples"] = static_cast<double>(m.samples());
  state.counters["MB"] = static_cast<double>(m.bytes()) / 1e6;
}
BENCHMARK(readingRankingAndNext)->Unit(benchmark::kMillisecond);

void peerPredictsAnew(benchmark::State& state) {
  const std::size_t benches = prepared().samples();
  for (auto _ : state) {
    Draw d(7);
    for (std::size_t i = 0; i < benches; ++i)
      benchmark::DoNotOptimize(predict(soundBench({Arrangement::own_battery, std::nullopt}, d)));
  }
}
BENCHMARK(peerPredictsAnew)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
