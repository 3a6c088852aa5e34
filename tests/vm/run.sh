#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# Runs the tests that need a kernel with CAN, in a virtual machine: run.sh [BINDIR [PART...]]   (default: build, all)
# Parts are named at the end of guest.sh. Builds nothing. Prints a line for each check and "N passed, N failed" last; the exit code says the same.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
bin=$(cd "${1:-$top/build}" && pwd)
for f in bin/pin16 tests/vm_blast tests/test_socketcan_vm; do
    [ -x "$bin/$f" ] || { echo "run.sh: $bin/$f is not built" >&2; exit 2; }
done
"$here/vm-prepare.sh"
share=$(mktemp -d)
trap 'rm -rf "$share"' EXIT
cd "$top"
rc=0
"$here/vm-run.sh" -t "${PIN16_VM_SECONDS:-1800}" -o "$share" -- bash tests/vm/guest.sh "$bin" "${@:2}" > "$share/all" || rc=$?
# What fell back must be seen, and stand above the last line.
[ "$(cat "$share/accel")" = kvm ] || echo "no kvm: fell back to TCG"
cat "$share/all"
# No verdict from the guest is a failure, not silence.
[ "$rc" -ne 124 ] || echo "0 passed, 1 failed"
exit "$rc"
