#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# Installs, builds, runs every test: release, the CAN VM once, ASan+UBSan for all, TSan for stream, links and recorder
# (plugins: tests/run-long.sh). Release tests and VM mostly wait for a clock: clang-tidy on changed files and the builds
# with sanitizers have the time that they leave. Ends with `N passed, N failed, N fell back`.
set -u
cd "$(dirname "$0")/.."
bash tests/install-deps.sh test || exit 1
passed=0 failed=0 fell_back=0
say() { printf '\n== %s\n' "$*"; }
so_far() { echo "$1: $(($(date +%s) - start)) s so far"; }
# For what must not keep a test waiting: it runs only while no other process would, where the system can do that. In a
# session of its own, for the scheduler weighs sessions before processes, and our recorders have sessions of their own too.
spare() {
  setsid -w bash -c '{ echo 19 >/proc/self/autogroup; chrt --idle -p 0 $$; } 2>/dev/null; exec nice -n 19 "$@"' - "$@"
}
# after PID COMMAND...: once that child has ended
after() {
  tail --pid="$1" -f /dev/null
  "${@:2}"
}

# Adds up "X% tests passed, F tests failed out of N" of a ctest log.
count() {
  local line n f
  line=$(grep -E 'tests passed, [0-9]+ tests? failed out of [0-9]+' "$1" | tail -n 1)
  n=$(sed -E 's/.*out of ([0-9]+).*/\1/' <<<"$line")
  f=$(sed -E 's/.*passed, ([0-9]+) tests? failed.*/\1/' <<<"$line")
  if [ -z "$line" ]; then
    echo "no test ran: $1" >&2
    failed=$((failed + 1))
    return
  fi
  passed=$((passed + n - f))
  failed=$((failed + f))
  grep -E '^FELL BACK' "$1" && fell_back=$((fell_back + $(grep -cE '^FELL BACK' "$1")))
}
# build DIR "cmake options" "targets"
build() {
  # shellcheck disable=SC2086
  cmake -S . -B "$1" -G Ninja $2 >"$1.log" 2>&1 && ${how:-nice -n 19} cmake --build "$1" --target $3 >>"$1.log" 2>&1 && return
  echo "build of $1 failed:"; grep -E 'error|Error|FAILED' "$1.log" | head -n 40; tail -n 5 "$1.log"
  return 1
}
# run DIR "ctest options"
run() {
  # Most tests wait for a clock (four at a time left 81 % of two cores idle): many more at once than there are cores
  # (tests/schedule.cmake). On a busy machine one may wait too long: it gets a second try, which is told.
  # tests/run-long.sh gives none.
  # shellcheck disable=SC2086
  (cd "$1" && ctest --output-on-failure --repeat until-pass:2 $2) >"$1.ctest.log" 2>&1
  sed -nE 's/.*Test +#[0-9]+: ([^ ]+) .*\*\*\*(Failed|Timeout|Exception).*/NEEDED A SECOND TRY, or failed: \1/p' "$1.ctest.log" | sort -u
  # What a test that passed printed is only there.
  grep -hE '^FELL BACK' "$1/Testing/Temporary/LastTest.log" | sort -u >>"$1.ctest.log"
  grep -vE '^ *(Start|[0-9]+/[0-9]+ Test .* Passed)' "$1.ctest.log" | tail -n 60
  count "$1.ctest.log"
}

start=$(date +%s)
# The VM's kernel is fetched and unpacked meanwhile; what goes wrong with it, run.sh says below.
tests/vm/vm-prepare.sh >/dev/null 2>&1 &
prepare=$!
say "release build"
# Headers read once: a third less to compile in the tests. The rooms do without here, so that each file shows that it
# includes what it uses (and clang-tidy reads g++'s none).
build build "-DCMAKE_BUILD_TYPE=Release -DPIN16_TESTS=ON -DPIN16_PCH=tests" all
release=$?
[ $release = 0 ] || failed=$((failed + 1))
so_far "release build"

# Warnings are errors in the release build; instrumented code makes g++ 12 raise false ones.
instrumented="-DCMAKE_BUILD_TYPE=RelWithDebInfo -DCMAKE_CXX_FLAGS_RELWITHDEBINFO=-O1 -DPIN16_TESTS=ON -DPIN16_WERROR=OFF -DPIN16_PCH=all"
tsan_rooms="base event link recorder"
how=spare build build-asan "$instrumented -DPIN16_SANITIZE=address,undefined" all >asan.tmp.log 2>&1 &
asan=$!
after $asan spare bash tests/lint.sh changed >lint.tmp.log 2>&1 &
lint=$!
how=spare after $lint build build-tsan "$instrumented -DPIN16_SANITIZE=thread" "pin16 $(printf 'test_%s ' $tsan_rooms)" >tsan.tmp.log 2>&1 &
tsan=$!

say "release, all tests"
[ $release = 0 ] && run build "-j12"
so_far "release"

say "kernel CAN in the VM"
wait $prepare
bash tests/vm/run.sh build >vm.tmp.log 2>&1
cat vm.tmp.log
line=$(grep -E '^[0-9]+ passed, [0-9]+ failed$' vm.tmp.log | tail -n 1)
if [ -n "$line" ]; then
  passed=$((passed + $(cut -d' ' -f1 <<<"$line")))
  failed=$((failed + $(cut -d' ' -f3 <<<"$line")))
else
  echo "the VM gave no verdict"
  failed=$((failed + 1))
fi
fell_back=$((fell_back + $(grep -c 'fell back' vm.tmp.log)))
so_far "VM"

say "ASan + UBSan, all tests"
export ASAN_OPTIONS=detect_leaks=1 UBSAN_OPTIONS=print_stacktrace=1
if wait $asan; then run build-asan "-j6"; else failed=$((failed + 1)); fi
cat asan.tmp.log
so_far "ASan + UBSan"

say "beside these: clang-tidy on changed files, clang-format on all"
if wait $lint; then passed=$((passed + 1)); else failed=$((failed + 1)); fi
cat lint.tmp.log

say "TSan: stream, links, recorder"
if wait $tsan; then run build-tsan "-j6 -L ^($(tr ' ' '|' <<<"$tsan_rooms"))$"; else failed=$((failed + 1)); fi
cat tsan.tmp.log
rm -f vm.tmp.log lint.tmp.log asan.tmp.log tsan.tmp.log
so_far "TSan"

echo "all: $(($(date +%s) - start)) s"
echo "$passed passed, $failed failed, $fell_back fell back"
[ "$failed" = 0 ]
