#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# out_of_tree.sh BUILD SOURCE: installs Pin16 from BUILD into a folder of its own, builds docs/plugins/example against
# what was installed, runs it in its helper process from there and compares what it gives.
set -eu
build=$(cd "$1" && pwd)
source=$(cd "$2" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cmake --install "$build" --prefix "$work/prefix" >"$work/install.log" 2>&1 || { cat "$work/install.log"; exit 1; }
cp -r "$source/docs/plugins/example" "$work/example"
cmake -S "$work/example" -B "$work/example/build" -DCMAKE_PREFIX_PATH="$work/prefix" >"$work/cmake.log" 2>&1 &&
  cmake --build "$work/example/build" >>"$work/cmake.log" 2>&1 || { cat "$work/cmake.log"; exit 1; }
export XDG_DATA_HOME="$work/data" XDG_RUNTIME_DIR="$work"
unset PIN16_PROGRAM PIN16_SCENARIOS
mkdir -p "$work/data/pin16/plugins"
cp "$work/example/build/wake-watch.so" "$work/data/pin16/plugins/"
pin16=$work/prefix/bin/pin16
"$pin16" plugins >"$work/list"
grep -q '^wake-watch 1.0  (in a process of its own)' "$work/list" || { cat "$work/list"; echo "not found"; exit 1; }
grep -q '^bus-voltage .*(shipped)' "$work/list" || { cat "$work/list"; echo "the shipped ones are not installed"; exit 1; }
grep -q 'longest_ms = 2000, from 1 to 600000 ms' "$work/list" || { cat "$work/list"; exit 1; }
"$pin16" listen "bench:$source/captures/scenarios/own-battery-sound" --for 3 --json -o "$work/c.pcapng" >"$work/out" 2>"$work/err"
python3 - "$work/out" <<'PY'
import json, sys
plugins = {p["name"]: p for p in json.load(open(sys.argv[1]))["plugins"]}
p = plugins["wake-watch"]
assert p["failed"] is None, p["failed"]
assert p["counters"] == [{"name": "power-ups", "help": "times the module was fed", "count": 1}], p["counters"]
points = p["series"][0]["points"]
assert len(points) == 1 and 0 < points[0]["value"] < 2000, points
assert set(plugins) == {"bus-census", "bus-voltage", "error-watch", "handshake-timing", "rollcall", "wake-watch"}, set(plugins)
PY
echo "the example, built out of tree, ran in its helper process"
