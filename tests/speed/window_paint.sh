#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# window_paint.sh BUILD [MILLION]: what a person waits for in the window (window_paint.cpp), under Xvfb, held against the
# aims of docs/window.md.
set -eu
build=$1
[ -e "$build/gui" ] || { echo "no window was built"; exit 0; }
cmake --build "$build" --target window_paint >/dev/null
folder=$(mktemp -d)
Xvfb=
trap '[ -z "$Xvfb" ] || kill "$Xvfb"; rm -rf "$folder"' EXIT
exec 7<>"$folder/display"
Xvfb -displayfd 7 -screen 0 1920x1200x24 -nolisten tcp >/dev/null 2>&1 &
Xvfb=$!
for _ in $(seq 100); do
  number=$(tr -d '\n' <"$folder/display")
  [ -z "$number" ] || break
  sleep 0.1
done
XDG_RUNTIME_DIR=$folder DISPLAY=:$number QT_QPA_PLATFORM=xcb "$build/tests/window_paint" "$folder" "${2:-13}" | tee "$folder/said"
awk '/^first paint, cold/ && $(NF-3) > 2000 { print "too slow: " $0; bad = 1 }
     /^first paint, no index/ && $(NF-1) > 2000 { print "too slow: " $0; bad = 1 }
     /^first paint, index kept/ && $6 > 200 { print "too slow: " $0; bad = 1 }
     /^scroll step/ && $6 > 16 { print "too slow: " $0; bad = 1 }
     /^points/ && $NF > 7000 { print "too many: " $0; bad = 1 }
     /^live: 10/ && $(NF-4) > 30 { print "too dear: " $0; bad = 1 }
     END { exit bad }' "$folder/said"
