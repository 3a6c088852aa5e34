#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# lint.sh changed|all: clang-format on every source (seconds), clang-tidy on the changed ones or on all.
# The compile commands are g++'s: clang must not mind warnings that it does not know.
# "changed" = since the commit in PIN16_TIDY_BASE (default: the newest that is a day old; none: all files).
set -u
cd "$(dirname "$0")/.."
bad=0
mapfile -t sources < <(git ls-files 'core/*.hpp' 'core/*.cpp' 'tests/*.hpp' 'tests/*.cpp')
clang-format --dry-run --Werror "${sources[@]}" 2>&1 | head -n 20
[ "${PIPESTATUS[0]}" = 0 ] || bad=1
base=${PIN16_TIDY_BASE:-$(git rev-list -1 --before='1 day ago' HEAD)}
if [ "${1:-changed}" = all ] || [ -z "$base" ]; then
  mapfile -t files < <(git ls-files 'core/*.cpp')
else
  mapfile -t files < <(git diff --name-only --diff-filter=d "$base" -- 'core/*.cpp')
fi
[ "${#files[@]}" -gt 0 ] || { echo "nothing changed to tidy"; exit $bad; }
echo "clang-tidy: ${#files[@]} files"
printf '%s\n' "${files[@]}" | xargs -P 2 -n 4 clang-tidy -p build --quiet --extra-arg=-Wno-unknown-warning-option 2>&1 |
  grep -vE '^[0-9]+ warnings? (generated|treated)|^Suppressed|^Use -' | head -n 80
[ "${PIPESTATUS[1]}" = 0 ] || bad=1
exit $bad
