#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# slcan_speed.sh BUILD_DIR [SECONDS] [FRAMES_PER_S]: a serial CAN adapter on a pty at full speed (7000 frames/s, 60 s).
# First the link alone: frames lost, latency, processor; then the whole recorder: every frame must be in the capture.
# Fails if a frame is lost or the link's p99 is above 5 ms.
set -eu
build=$(realpath "${1:?usage: slcan_speed.sh BUILD_DIR [SECONDS] [FRAMES_PER_S]}") seconds=${2:-60} rate=${3:-7000}
cmake --build "$build" --target slcan_speed pin16 >/dev/null
"$build/tests/slcan_speed" measure "$seconds" "$rate"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
"$build/tests/slcan_speed" device "$work/dev" "$seconds" "$rate" > sent &
for _ in $(seq 100); do [ -L dev ] && break; sleep 0.05; done
"$build/bin/pin16" listen "slcan:$work/dev" --for "$((seconds + 1))" --no-plugins --json -o c.pcapng > listen.json 2>err ||
  { cat err; exit 1; }
wait
frames=$(grep -o '"frames":[0-9]*' listen.json | sort -t: -k2 -n | tail -n 1 | cut -d: -f2)
total=$(grep -o '"losses":{[^}]*}' listen.json | grep -o '"total":[0-9]*' | cut -d: -f2)
echo "recorder: $frames of $(cat sent) frames in the capture, $total told as lost"
[ "$frames" = "$(cat sent)" ] && [ "$total" = 0 ] || { echo "FAILED: expected every frame"; exit 1; }
