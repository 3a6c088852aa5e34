#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# lint.sh changed|all: clang-format on every source (seconds); clang-tidy on the changed ones, without its static
# analyzer (three quarters of the time), or on all, with it.
# The compile commands are g++'s: clang must not mind warnings that it does not know, and cannot read g++'s precompiled
# headers, so that here each file of the window shows too that it includes what it uses.
# "changed" = since the commit in PIN16_TIDY_BASE (default: the newest that is four hours older than the last; none: all
# files).
set -u
cd "$(dirname "$0")/.."
bad=0
mapfile -t sources < <(git ls-files 'core/*.hpp' 'core/*.cpp' 'plugins/*.hpp' 'plugins/*.cpp' 'gui/*.hpp' 'gui/*.cpp' 'tests/*.hpp' 'tests/*.cpp')
clang-format --dry-run --Werror "${sources[@]}" 2>&1 | head -n 20
[ "${PIPESTATUS[0]}" = 0 ] || bad=1
base=${PIN16_TIDY_BASE:-$(git rev-list -1 --before=$(($(git log -1 --format=%ct) - 4 * 3600)) HEAD)}
analyzer=-clang-analyzer-*
# Padding: a table of ten rows may have holes.
if [ "${1:-changed}" = all ]; then analyzer=clang-analyzer-*,-clang-analyzer-optin.performance.Padding; base=; fi
if [ -z "$base" ]; then
  mapfile -t files < <(git ls-files 'core/*.cpp' 'plugins/*.cpp' 'gui/*.cpp')
else
  mapfile -t files < <(git diff --name-only --diff-filter=d "$base" -- 'core/*.cpp' 'plugins/*.cpp' 'gui/*.cpp')
fi
[ "${#files[@]}" -gt 0 ] || { echo "nothing changed to tidy"; exit $bad; }
echo "clang-tidy: ${#files[@]} files"
commands=$(mktemp -d)
trap 'rm -rf "$commands"' EXIT
sed -E 's/-Winvalid-pch -include [^ ]+ //' build/compile_commands.json >"$commands/compile_commands.json" || exit 1
# tidy CHECKS: the files on standard input
tidy() {
  xargs -r -P 2 -n 4 clang-tidy -p "$commands" --quiet --extra-arg=-Wno-unknown-warning-option --checks="$1" \
    >"$commands/said" 2>&1 && return
  bad=1
  grep -E '(error|warning): ' "$commands/said" | sort -u | grep . || tail -n 20 "$commands/said"
}
# The analyzer's false alarms of null pointers inside Asio's awaitable: that one check is off where it is used.
mapfile -t with_asio < <(grep -lE 'asio' "${files[@]}")
mapfile -t without < <(grep -LE 'asio' "${files[@]}")
tidy "$analyzer" < <(printf '%s\n' "${without[@]}")
tidy "$analyzer,-clang-analyzer-core.NullDereference" < <(printf '%s\n' "${with_asio[@]}")
exit $bad
