#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# What is too long for CI; run before an issue is closed. clang-tidy with its static analyzer on all files and the VM once
# more beside it, the tests three times in random order, plugins and supply under TSan, long fuzz, speed against peers.
set -u
cd "$(dirname "$0")/.."
bash tests/install-deps.sh test || exit 1
failed=0
cmake -S . -B build -G Ninja -DCMAKE_BUILD_TYPE=Release -DPIN16_TESTS=ON >/dev/null && cmake --build build || exit 1
{ bash tests/vm/run.sh build && bash tests/vm/run.sh build attempts; } >vm.tmp.log 2>&1 &
vm=$!
nice -n 19 bash tests/lint.sh all || failed=1
wait $vm || failed=1
cat vm.tmp.log
rm -f vm.tmp.log
(cd build && ctest --output-on-failure -j8 --repeat until-fail:3 --schedule-random) || failed=1
cmake -S . -B build-tsan -G Ninja -DCMAKE_BUILD_TYPE=RelWithDebInfo -DCMAKE_CXX_FLAGS_RELWITHDEBINFO=-O1 -DPIN16_TESTS=ON \
  -DPIN16_WERROR=OFF -DPIN16_SANITIZE=thread >/dev/null && cmake --build build-tsan --target pin16 test_plugin test_plugins test_supply &&
  (cd build-tsan && ctest --output-on-failure -L '^(plugins?|supply)$') || failed=1
PIN16_MUTATIONS=2000000 build/tests/test_link --gtest_filter='*Mutations*' || failed=1
# A million damaged transcripts through each parser.
cmake -S . -B build-asan -G Ninja -DCMAKE_BUILD_TYPE=RelWithDebInfo -DCMAKE_CXX_FLAGS_RELWITHDEBINFO=-O1 -DPIN16_TESTS=ON \
  -DPIN16_WERROR=OFF -DPIN16_SANITIZE=address,undefined >/dev/null && cmake --build build-asan --target test_link test_supply || failed=1
for room in link supply; do
  PIN16_MUTATIONS=1000000 build-asan/tests/test_$room --gtest_filter='*Mutations*:ScpiDialogue.Whatever*' || failed=1
done
bash tests/parser-coverage.sh || failed=1
build/tests/can_bench --benchmark_min_time=1 || failed=1
build/tests/reasons_bench || failed=1
PIN16_QUIET=1 build/tests/test_supply --gtest_filter='*DipTiming.*' || failed=1
PIN16_QUIET=1 build/tests/test_bench --gtest_filter='*AtDips.*' || failed=1
# Accuracy of the reasons on fresh truths, and on some that ngspice solved; the figures stand in docs/study.md.
seed=$(date +%s)
build/tests/study --seed "$seed" --benches 300 --opponents --list || failed=1
build/tests/study --seed "$seed" --benches 300 --flat || failed=1
build/tests/study --seed "$seed" --benches 150 --two || failed=1
build/tests/study --seed "$seed" --benches 100 --outside || failed=1
python3 tests/study/ngspice_truths.py truths.tmp.jsonl --seed "$seed" && build/tests/study --truths truths.tmp.jsonl &&
  build/tests/study --truths truths.tmp.jsonl --outside || failed=1
rm -f truths.tmp.jsonl
for script in tests/speed/*.sh; do bash "$script" build || failed=1; done
[ "$failed" = 0 ] && echo "long run: passed" || { echo "long run: failed"; exit 1; }
