#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# window_speed.sh BUILD [MILLION]: a long capture in a window. The first events must be there in less time than a
# hundredth of reading it through, with a kept index too, and a step of scrolling in less than a thousandth.
set -eu
build=$1
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
"$build/tests/window_speed" "$folder" "${2:-10}" | tee "$folder/said"
awk '/^first events|^events of the middle/ && $(NF-3) > 0.01 { print "too slow: " $0; bad = 1 }
     /^scroll.*median/ && $(NF-3) > 0.001 { print "too slow: " $0; bad = 1 }
     END { exit bad }' "$folder/said"
