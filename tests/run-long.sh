#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# What is too long for CI; run before an issue is closed. clang-tidy on all files, the tests ten times in
# random order, the VM twenty times for the kill tests.
set -u
cd "$(dirname "$0")/.."
bash tests/install-deps.sh test || exit 1
failed=0
cmake -S . -B build -G Ninja -DCMAKE_BUILD_TYPE=Release -DPIN16_TESTS=ON >/dev/null && cmake --build build || exit 1
bash tests/lint.sh all || failed=1
(cd build && ctest --output-on-failure -j2 --repeat until-fail:5 --schedule-random) || failed=1
for _ in 1 2 3; do bash tests/vm/run.sh build || failed=1; done
[ "$failed" = 0 ] && echo "long run: passed" || { echo "long run: failed"; exit 1; }
