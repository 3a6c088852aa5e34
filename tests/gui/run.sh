#!/bin/bash
# SPDX-License-Identifier: GPL-3.0-or-later
# run.sh TEST_GUI PIN16 SCREENSHOTS [FILTER [SCALE...]]: the tests of the window under Xvfb, at 100 % and those of the layout
# at 150 and 200 %, or those of FILTER at each SCALE. Without Xvfb on Qt's offscreen platform, which is told and counted.
set -u
test=$1
export PIN16_PROGRAM=$2 PIN16_SCREENSHOTS=$3
XDG_RUNTIME_DIR=$(mktemp -d)
export XDG_RUNTIME_DIR
server=
cleanup() {
  [ -z "$server" ] || kill "$server" 2>/dev/null
  rm -rf "$XDG_RUNTIME_DIR"
}
trap cleanup EXIT
unset DISPLAY WAYLAND_DISPLAY QT_QPA_PLATFORM QT_SCALE_FACTOR
if command -v Xvfb >/dev/null; then
  exec 7<>"$XDG_RUNTIME_DIR/display"
  Xvfb -displayfd 7 -screen 0 1920x1200x24 -nolisten tcp >/dev/null 2>&1 &
  server=$!
  for _ in $(seq 100); do
    read -r number <"$XDG_RUNTIME_DIR/display" && break  # a whole line
    sleep 0.1
  done
  export DISPLAY=:$number QT_QPA_PLATFORM=xcb
else
  export QT_QPA_PLATFORM=offscreen
  echo "FELL BACK gui: there is no Xvfb, the window was tested on Qt's offscreen platform"
fi
bad=0
if [ $# -gt 3 ]; then
  filter=$4
  for scale in "${@:5}"; do
    QT_SCALE_FACTOR=$scale "$test" --gtest_filter="$filter" || bad=1
  done
  exit $bad
fi
"$test" || bad=1
for scale in 1.5 2; do
  QT_SCALE_FACTOR=$scale "$test" --gtest_filter='*Layout*' || bad=1
done
exit $bad
