#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# From a fresh clone to the main job on the simulated bench: installs what is needed, builds into build/,
# runs `pin16 check` on a sound bench, prints the readiness sheet and where the capture is.
set -eu
cd "$(dirname "$0")/.."
bash tests/install-deps.sh build
echo "building into build/ ..." >&2
cmake -S . -B build -G Ninja -DCMAKE_BUILD_TYPE=Release -DPIN16_TESTS=OFF >/dev/null
cmake --build build --target pin16 >build/build.log 2>&1 || { tail -n 40 build/build.log >&2; exit 1; }
out=${PIN16_FIRST_RUN_OUT:-build/first-run}
mkdir -p "$out"
capture="$out/$(date -u +%Y%m%dT%H%M%SZ).pcapng"
scenario=captures/scenarios/own-battery-sound
# A copy of the job: its ledger of power-ups is written beside it.
cp "$scenario/job.toml" "$out/job.toml"
build/bin/pin16 check --job "$out/job.toml" "bench:$PWD/$scenario" --ask -o "$capture" </dev/null
build/bin/pin16 verify "$capture"
echo "capture: $capture"
