#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# share.sh PIN16 [PIN16_GUI]: what is installed beside the programs. Man pages without a warning, naming every command and every
# option of their program; desktop entry and AppStream metadata as the general tools want them.
set -u
cd "$(dirname "$0")/.."
bad=0
fault() {
  echo "$*"
  bad=1
}
page() {
  local said
  said=$(MANWIDTH=100 LC_ALL=C.UTF-8 man --warnings -l "$1" 2>&1 >/dev/null)
  [ -z "$said" ] || fault "$1: $said"
}
page core/cli/share/pin16.1
commands=$("$1" --help | sed -nE '/^Subcommands:/,/^$/s/^  ([a-z]+) .*/\1/p')
[ -n "$commands" ] || fault "no commands in the help"
for command in $commands; do
  grep -qx "\.B $command" core/cli/share/pin16.1 || fault "pin16.1 does not name $command"
done
if [ $# -gt 1 ]; then
  page gui/share/pin16-gui.1
  options=$(QT_QPA_PLATFORM=offscreen "$2" --help 2>/dev/null | sed -nE 's/^ +--([a-z]+) <.*/\1/p')
  [ -n "$options" ] || fault "no options in the help"
  for option in $options; do
    grep -q "\\\\-\\\\-$option" gui/share/pin16-gui.1 || fault "pin16-gui.1 does not name --$option"
  done
  desktop-file-validate gui/share/pin16-gui.desktop || fault "the desktop entry is not valid"
  # Its name is the program's: Pin16 has no domain that it could be derived from.
  appstreamcli validate --no-net --override cid-desktopapp-is-not-rdns=info gui/share/pin16-gui.metainfo.xml ||
    fault "the AppStream metadata is not valid"
fi
exit $bad
