#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# Line coverage, by gcov, of what reads the bytes of serial devices: at least 90 % each.
set -eu
cd "$(dirname "$0")/.."
cmake -S . -B build-coverage -G Ninja -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_FLAGS=--coverage -DPIN16_TESTS=ON \
  -DPIN16_WERROR=OFF >/dev/null
cmake --build build-coverage --target test_link test_supply >/dev/null
find build-coverage -name '*.gcda' -delete
build-coverage/tests/test_link --gtest_brief=1 --gtest_filter='AtParser*:Slcan*:KLine*:-SlcanLink*:KLineWire*:KLinePort*'
build-coverage/tests/test_supply --gtest_brief=1 --gtest_filter='Scpi*:-ScpiPty*'
failed=0
for source in link/at_parser link/slcan_parser link/kline_parser supply/scpi_text supply/scpi_dialogue; do
  room=${source%%/*}
  share=$(gcov -n -s "$PWD" "build-coverage/CMakeFiles/pin16_$room.dir/core/$source.cpp.gcda" 2>/dev/null |
    grep -A1 "core/$source.cpp'" | sed -n 's/^Lines executed:\([0-9.]*\)%.*/\1/p' | head -1)
  echo "$source: ${share:-nothing} %"
  awk -v share="${share:-0}" 'BEGIN { exit share < 90 }' || failed=1
done
exit $failed
