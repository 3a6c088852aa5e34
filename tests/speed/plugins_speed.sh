#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# plugins_speed.sh BUILD [FRAMES]: `review` of a generated capture with all shipped plugins against `review` with none,
# in one run, best of three each. Fails above twice the time.
set -eu
build=$(cd "$1" && pwd)
frames=${2:-10000000}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
python3 - "$work/c.pcap" "$frames" <<'PY'
# Classic pcap, LINKTYPE_CAN_SOCKETCAN: forty identifiers by turns, a request and its answer every 1000 frames.
import struct, sys
count = int(sys.argv[2])
with open(sys.argv[1], "wb") as out:
    out.write(struct.pack("<IHHiIII", 0xA1B23C4D, 2, 4, 0, 0, 65535, 227))
    part = []
    t = 1_790_000_000_000_000_000
    for i in range(count):
        t += 250_000
        k = i % 1000
        if k == 500: can_id, data = 0x7E0, b"\x03\x22\xF1\x90\xCC\xCC\xCC\xCC"
        elif k == 540: can_id, data = 0x7E8, b"\x03\x7F\x22\x31\xCC\xCC\xCC\xCC"
        else: can_id, data = 0x100 + 8 * (i % 40), struct.pack("<Q", i)
        part.append(struct.pack("<IIII", t // 10**9, t % 10**9, 16, 16) + struct.pack(">IB3x", can_id, 8) + data)
        if len(part) == 100000:
            out.write(b"".join(part)); part.clear()
    out.write(b"".join(part))
PY
export XDG_DATA_HOME="$work/data"
best() { # best NAME ARGUMENTS...: seconds in ms
  local best_ms=999999999
  for _ in 1 2 3; do
    local from to
    from=$(date +%s%N)
    "$build/bin/pin16" review "$work/c.pcap" --json "${@:2}" >"$work/$1.json"
    to=$(date +%s%N)
    local ms=$(((to - from) / 1000000))
    [ $ms -lt $best_ms ] && best_ms=$ms
  done
  echo $best_ms
}
none=$(best none --no-plugins)
all=$(best all)
two=$(best two --threads 2)
cmp <(python3 -c 'import json,sys; print(json.load(open(sys.argv[1]))["plugins"])' "$work/all.json") \
  <(python3 -c 'import json,sys; print(json.load(open(sys.argv[1]))["plugins"])' "$work/two.json")
echo "$frames frames: no plugins $none ms, all shipped $all ms ($((100 * all / none)) %), on two threads $two ms ($((100 * two / none)) %)"
[ "$all" -le $((2 * none)) ] || { echo "more than twice the time"; exit 1; }
