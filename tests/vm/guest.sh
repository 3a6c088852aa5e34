#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# Runs in the guest (vm-run.sh), in the repo's top directory: guest.sh BINDIR [PART...]. A part is one of the functions
# named at the end, all of them if none is given; shipped_scenarios:NAME,NAME takes some scenarios only. Every check ends with ok or bad; the last line is "N passed, N failed";
# exit 1 if any failed.
bin=$1
shift
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d)
passed=0
failed=0
ok() { echo "ok   $*"; passed=$((passed + 1)); }
bad() { echo "FAIL $*"; failed=$((failed + 1)); }
# verdict NAME COMMAND...: ok if the command succeeds, else bad with what it said
verdict() {
    local name=$1
    shift
    if "$@" > "$work/said" 2>&1; then ok "$name"; else bad "$name"; tail -n 40 "$work/said" | sed 's/^/     /'; fi
}

# The guest is what the checks below take it for.
guest() {
    for m in can_raw can_isotp vcan; do verdict "guest: module $m" grep -q "^$m " /proc/modules; done
    for i in vcan0 vcan1 can0 can1; do verdict "guest: $i is up" sh -c "ip link show $i | grep -q '[<,]UP'"; done
}

# One line for each test of the program.
link_room() {
    VM_BLAST=$bin/tests/vm_blast "$bin/tests/test_socketcan_vm" > "$work/gtest" 2>&1
    local rc=$?
    while read -r line; do
        case $line in
        "[       OK ]"*) set -- $line; ok "link: $4" ;;
        "[  FAILED  ]"*"ms)") set -- $line; bad "link: $4" ;;
        esac
    done < "$work/gtest"
    # A crash ends the list early: it must not look like success.
    if [ $rc -ne 0 ] || ! grep -q '^\[  PASSED  \]' "$work/gtest"; then
        bad "link: test_socketcan_vm ended with $rc"
        cat "$work/gtest"
    fi
}

# start_ecu IFACE LOG: the simulated control unit in the background, ready; its process id in $ecu
start_ecu() {
    /usr/bin/python3 "$here/ecu.py" "$1" "$2" 300 > "$work/ecu.out" 2>&1 &
    ecu=$!
    for _ in $(seq 300); do
        grep -q ready "$work/ecu.out" && return 0
        kill -0 $ecu 2> /dev/null || break
        sleep 0.1
    done
    cat "$work/ecu.out"
    return 1
}
# ask HEX TX RX [IFACE]: one request by can-utils over the kernel's ISO-TP; prints the answer in hex, nothing if none came
ask() {
    timeout 3 isotprecv -s "$2" -d "$3" -p AA:AA "${4:-vcan0}" > "$work/answer" &
    local receiver=$!
    sleep 0.3
    echo "$1" | isotpsend -s "$2" -d "$3" -p AA:AA "${4:-vcan0}"
    wait $receiver
    tr -d ' \n' < "$work/answer"
}
# The peer of the later checks, itself checked by other people's tools.
simulated_ecu() {
    verdict "ecu: starts" start_ecu vcan0 "$work/ecu.log" || return
    local vin
    vin=$(printf TESTVEHXCLE000001 | od -An -tx1 | tr -d ' \n' | tr a-f A-F)
    verdict "ecu: 22 F190" test "$(ask '22 F1 90' 7E0 7E8)" = "62F190$vin"
    verdict "ecu: 22 F191 is out of range" test "$(ask '22 F1 91' 7E0 7E8)" = 7F2231
    verdict "ecu: 27 01 is not supported" test "$(ask '27 01' 7E0 7E8)" = 7F2711
    timeout 5 candump -n 1 -L vcan0,7E8:7FF > "$work/functional" &
    sleep 0.3
    cansend vcan0 7DF#020100AAAAAAAAAA
    wait $!
    verdict "ecu: functional 01 00" grep -q '7E8#064100BE3EB811' "$work/functional"
    verdict "ecu: its log has four requests" test "$(grep -c '^rx' "$work/ecu.log")" = 4
    kill $ecu
}

# ---- the commands, as a user types them

pin16=$bin/bin/pin16
judge() { /usr/bin/python3 "$here/judge.py" "$@"; }
# until_bound IFACE: waits until a recorder listens on it
until_bound() {
    for _ in $(seq 100); do
        grep -qE "^ *$1 .*raw" /proc/net/can/rcvlist_all && return 0
        sleep 0.1
    done
    return 1
}
# exits CODE COMMAND...: the command ends with that code; its output stays in $work/out and $work/err
exits() {
    local wanted=$1 rc=0
    shift
    "$@" > "$work/out" 2> "$work/err" < /dev/null || rc=$?
    [ $rc = "$wanted" ] && return 0
    echo "exit $rc, expected $wanted: $*"
    cat "$work/out" "$work/err"
    return 1
}

asking() {
    local c=$work/roll.pcapng
    verdict "ask: the ECU starts" start_ecu vcan0 "$work/ecu.log" || return
    verdict "ask: rollcall ends with 0" exits 0 "$pin16" rollcall socketcan:vcan0 --json -o "$c"
    cp "$work/out" "$work/roll.json"
    "$pin16" review "$c" --json > "$work/review.json"
    verdict "ask: rollcall names ECU, VIN and times as the ECU's own log has them" \
        judge rollcall "$work/roll.json" "$work/review.json" "$work/ecu.log"
    verdict "ask: the capture verifies" exits 0 "$pin16" verify "$c"
    verdict "ask: sha256sum agrees" sh -c "cd $work && sha256sum -c roll.pcapng.sha256"
    verdict "ask: query ends with 0" exits 0 "$pin16" query socketcan:vcan0 '09 02' '01 00' '@7E0 22 F190' --json -o "$work/q.pcapng"
    verdict "ask: query decodes what the ECU serves" judge query "$work/out"
    verdict "ask: a negative answer ends with 1" exits 1 "$pin16" query socketcan:vcan0 '@7E0 22 F191' -o "$work/n.pcapng"
    verdict "ask: and is told by name" grep -q requestOutOfRange "$work/out"
    verdict "ask: session control is refused with 4" exits 4 "$pin16" query socketcan:vcan0 '@7E0 10 03' -o "$work/g.pcapng"
    verdict "ask: an event record identifier is refused with 4" exits 4 "$pin16" query socketcan:vcan0 '@7E0 22 FA13' -o "$work/g2.pcapng"
    verdict "ask: nothing refused reached the ECU" judge unasked "$work/ecu.log" 10 22fa 27 3e
    verdict "ask: the sweep ends with 0" exits 0 "$pin16" rollcall socketcan:vcan0 --sweep 7E0-7E3 --repeat 1 --json -o "$work/s.pcapng"
    verdict "ask: and finds the one" grep -q '"request_id":2016,"answer_id":2024' "$work/out"
    kill $ecu
    verdict "ask: nobody there ends with 1" exits 1 "$pin16" query socketcan:vcan0 '@7E0 22 F190' -o "$work/m.pcapng"
    verdict "ask: silence is called silent" grep -q silent "$work/out"
}

# saturate KIND BUFFER: flat out from vm_blast, ended by a marked frame after 1 s of silence
saturate() {
    "$pin16" listen "socketcan:vcan1?buffer=$2" --json -o "$work/$1.pcapng" > "$work/$1.json" 2> "$work/$1.err" &
    local listen=$!
    until_bound vcan1
    "$bin/tests/vm_blast" vcan1 60000 0 "$work/blast.log" > "$work/blast.out"
    sleep 1
    kill -INT $listen
    wait $listen
    verdict "listen, saturated, $1: captured + losses = sent" judge saturated "$work/$1.json" "$work/blast.out" "$1"
    cat "$work/said" | sed 's/^/     /'
}

saturations() {
    saturate lossless 8388608
    saturate lossy 1
}

killing() {
    local runs=20 bad_runs=0
    for i in $(seq "$runs"); do
        local c=$work/k$i.pcapng
        "$pin16" listen socketcan:vcan1 -o "$c" > /dev/null 2> "$work/k.err" &
        local listen=$!
        until_bound vcan1
        local recorder
        recorder=$(pgrep -f 'pin16 record')
        "$bin/tests/vm_blast" vcan1 0 2000 "$work/k.log" > /dev/null &
        local blast=$!
        sleep "$(awk -v r=$RANDOM 'BEGIN { print 0.5 + r / 32768 * 1.5 }')"
        kill -KILL "$recorder"
        local t
        t=$(date +%s%N)  # after the kill: errs on the strict side
        wait $listen
        [ $? = 5 ] || { bad_runs=$((bad_runs + 1)); echo "     run $i: the client did not end with 5"; }
        kill $blast
        wait $blast
        judge killed "$c" "$work/k.log" "$t" > "$work/k.said" 2>&1 || bad_runs=$((bad_runs + 1))
        sed "s/^/     kill $i: /" "$work/k.said"
        rm -f "$c"*
    done
    verdict "kill -9 of the recorder at $runs moments: opens in tshark, at most 1 s missing" [ $bad_runs = 0 ]
}

killed_client() {
    local c=$work/client.pcapng
    "$pin16" listen socketcan:vcan1 -o "$c" > /dev/null 2>&1 &
    local listen=$!
    until_bound vcan1
    "$bin/tests/vm_blast" vcan1 4000 2000 "$work/c.log" > "$work/c.out" &
    local blast=$!
    sleep 0.7
    kill -KILL $listen
    wait $blast
    verdict "killed client: a note still reaches the recording, which then ends" exits 0 "$pin16" note --end client gone
    "$pin16" review "$c" --json > "$work/client.json"
    verdict "killed client: nothing is lost" judge numbers "$work/client.json" "$c" 4001
    verdict "killed client: its death is on record" sh -c "'$pin16' review --lines '$c' | grep -q 'gone without a word'"
}

checking() {
    cat > "$work/job.toml" << JOB
[job]
name = "a job of the guest"
arrangement = "own-battery"
[module]
request_id = 0x7E0
answer_id = 0x7E8
[bus]
bitrate = 500000
[[link]]
uri = "socketcan:vcan0"
JOB
    local sound=(--reading 'V(src+,src-)=12.5V power=source u=0.02' --reading 'R(pin6,pin14)=60.5 power=off u=0.5')
    verdict "check: the ECU starts" start_ecu vcan0 "$work/ecu2.log" || return
    cangen vcan0 -g 20 -I 280 -L 8 & local traffic=$!
    verdict "check: typed readings, module answers: ends with 0" exits 0 "$pin16" check --job "$work/job.toml" --ask --json \
        -o "$work/c1.pcapng" "${sound[@]}" --reading 'V(pin16,pin4)=12.4V power=source u=0.02' \
        --reading 'V(pin16,pin5)=12.4V power=source u=0.02'
    verdict "check: and is ready" judge check "$work/out" ready - -
    verdict "check: without readings it ends with 1" exits 1 "$pin16" check --job "$work/job.toml" --ask --json -o "$work/c2.pcapng"
    verdict "check: and is undecided, naming the reading that decides" judge check "$work/out" undecided - 'V\(|R\('
    verdict "check: a dead connector ends with 1" exits 1 "$pin16" check --job "$work/job.toml" --ask --json \
        -o "$work/c3.pcapng" "${sound[@]}" --reading 'V(pin16,pin4)=0.05V power=source u=0.02'
    verdict "check: and names the connector" judge check "$work/out" not-ready connector-no-power -
    verdict "check: passive: nothing is sent" exits 1 "$pin16" check --job "$work/job.toml" --json -o "$work/c4.pcapng"
    verdict "check: passive: the file says so" sh -c "'$pin16' review '$work/c4.pcapng' --json | grep -q '\"sent\":\[\]'"
    kill $traffic $ecu
}

troubles() {
    verdict "trouble: links tells the facts" exits 0 "$pin16" links --json
    verdict "trouble: rates and flags are the kernel's" judge inventory "$work/out"
    verdict "trouble: a missing interface ends with 3" exits 3 "$pin16" listen socketcan:can9 --for 1 -o "$work/t1.pcapng"
    verdict "trouble: and the message has the line that mends it" grep -q 'ip link' "$work/err"
    ip link set can1 down
    verdict "trouble: an interface that is down ends with 3" exits 3 "$pin16" listen socketcan:can1 --for 1 -o "$work/t2.pcapng"
    verdict "trouble: and the message has the line that mends it" grep -q 'ip link set can1' "$work/err"
    ip link set can1 type can bitrate 500000 listen-only on && ip link set can1 up
    verdict "trouble: asking through a listen-only interface ends with 3" exits 3 "$pin16" query socketcan:can1 \
        '09 02' --rate-known -o "$work/t3.pcapng"
    verdict "trouble: and warns that leaving it makes us acknowledge" grep -q acknowledge "$work/err"
    ip link set can1 down && ip link set can1 type can bitrate 500000 listen-only off && ip link set can1 up
    verdict "trouble: links --check looks without sending" exits 0 "$pin16" links --check socketcan:can0 --with socketcan:can1
}

# ---- the simulated bench behind the kernel's slcan driver: its error frames, states and bus-off are the kernel's

# serve SCENARIO NAME: a bench on a pty in the background, the driver attached to it, the interface renamed to NAME and
# down; its process id in $bench, what it said in $work/at-NAME/ready
serve() {
    local at=$work/at-$2 before i
    mkdir -p "$at"
    rm -f "$at/ready"
    "$pin16" bench "$1" --serve slcan --at "$at" > "$at/ready" 2>&1 &
    bench=$!
    for _ in $(seq 100); do
        [ -s "$at/ready" ] && break
        sleep 0.1
    done
    grep -q '"device":"slcan"' "$at/ready" || { cat "$at/ready"; return 1; }
    before=$(ls /sys/class/net)
    ldattach 17 "$at/slcan" || return 1
    for _ in $(seq 50); do
        for i in $(ls /sys/class/net); do
            grep -qxF "$i" <<< "$before" && continue
            ip link set "$i" name "$2" txqueuelen 100
            return
        done
        sleep 0.1
    done
    echo "the driver made no interface"
    return 1
}
# raise NAME RATE [OPTION...]: up. The driver gives the adapter a second to read each line: a busy machine needs more.
raise() {
    local name=$1 rate=$2
    shift 2
    ip link set "$name" down
    ip link set "$name" type can bitrate "$rate" "$@" || return 1
    for _ in 1 2 3; do ip link set "$name" up && return 0; done
    return 1
}
# dump NAME: what candump sees, error frames too, in $work/dump from now on; its process id in $dump
dump() {
    candump -L "$1,0:0,#FFFFFFFF" > "$work/dump" &
    dump=$!
    for _ in $(seq 50); do
        grep -qE "^ *$1 " /proc/net/can/rcvlist_all /proc/net/can/rcvlist_err && return
        sleep 0.1
    done
}
# shows PATTERN: it comes in the dump within 10 s
shows() {
    for _ in $(seq 100); do
        grep -qE "$1" "$work/dump" && return 0
        sleep 0.1
    done
    echo "no $1 in:"
    tail -n 30 "$work/dump"
    return 1
}
# distinct ID: so many different frames of that identifier, the last, which may be half written, left out
distinct() { sed '$d' "$work/dump" | grep -o " $1#.*" | sort -u | wc -l; }
# always ID: every frame of that identifier is the same one
always() {
    [ "$(distinct "$1")" = 1 ] && return 0
    sed '$d' "$work/dump" | grep -o " $1#.*" | sort | uniq -c | sort -rn | head -n 20
    sed '$d' "$work/dump" | grep -n " $1#" | sort -u -k 3 -t ' ' | head -n 20
    return 1
}
hides() { ! grep -E "$1" "$work/dump"; }
# state NAME WANTED: the controller's state, within 5 s
state() {
    for _ in $(seq 50); do
        ip -details link show "$1" | grep -q "state $2" && return 0
        sleep 0.1
    done
    ip -details link show "$1"
    return 1
}
# variant BASE FAULT: a shipped scenario with one more fault; its folder in $variant
variant() {
    variant=$work/$1-$2
    mkdir -p "$variant"
    { cat "captures/scenarios/$1/scenario.toml"; printf '\n[[fault]]\nname = "%s"\n' "$2"; } > "$variant/scenario.toml"
}

# Error frames as linux/can/error.h has them. Class 20000204: controller problem with counters (transmit, receive in the
# last two bytes), 200000A8: bus error, no acknowledge, 20000088: bus error with its kind in byte 2, 20000040: bus-off.
bench_adapter() {
    variant removed-sound module-transceiver-dead
    verdict "adapter: the driver attaches to a bench without a living module" serve "$variant" slcan0
    verdict "adapter: it takes rate and up" raise slcan0 500000
    dump slcan0
    cansend slcan0 123#00
    verdict "adapter: a lone sender: real error frames, no acknowledge" shows '200000A8#'
    verdict "adapter: a lone sender: warning at 96" shows '20000204#0008000000006000'
    verdict "adapter: a lone sender: error passive at 128" shows '20000204#0020000000008000'
    verdict "adapter: a lone sender: the interface is error passive" state slcan0 ERROR-PASSIVE
    sleep 1
    verdict "adapter: a lone sender: and never bus-off" hides '20000040#'
    verdict "adapter: a lone sender: pin16 links tells the state" sh -c "'$pin16' links --json | grep -q error-passive"
    kill $dump $bench

    verdict "adapter: one living module" serve removed-sound slcan1
    raise slcan1 500000 listen-only on
    dump slcan1
    verdict "adapter: listen-only: the lone module's frame comes" shows ' 3A0#'
    sleep 0.5
    verdict "adapter: listen-only: and always the same one" always 3A0
    verdict "adapter: listen-only: the kernel says so" sh -c "ip -details link show slcan1 | grep -q LISTEN-ONLY"
    kill $dump
    raise slcan1 500000 listen-only off
    sleep 0.5  # what was waiting
    dump slcan1
    verdict "adapter: taking part: the same module's frames pass" shows ' 3A0#'
    sleep 1
    verdict "adapter: taking part: each another one" test "$(distinct 3A0)" -gt 5
    verdict "adapter: taking part: without an error" hides ' 2000'
    verdict "adapter: kernel ISO-TP reads several frames of it" test "$(ask '22 F1 90' 7A1 7A9 slcan1)" = \
        "62F190$(printf 0PN16BEN6H0000001 | od -An -tx1 | tr -d ' \n' | tr a-f A-F)"
    kill $dump $bench

    verdict "adapter: two living modules" serve own-battery-sound slcan2
    raise slcan2 250000 listen-only on
    dump slcan2
    verdict "adapter: wrong rate, listening: stuff errors" shows '20000088#0000040000000000'
    verdict "adapter: wrong rate, listening: no frame" hides ' (0C8|280|3A0)#'
    kill $dump
    raise slcan2 250000 listen-only off
    dump slcan2
    cansend slcan2 123#00
    verdict "adapter: wrong rate, sending: bit errors" shows '20000088#00000[89A]0000000000'
    verdict "adapter: wrong rate, sending: bus-off" shows '20000040#|200002[04]4#'
    verdict "adapter: wrong rate, sending: the interface is bus-off" state slcan2 BUS-OFF
    kill $dump
    # The driver knows no restart: down and up again, as with any adapter behind it.
    raise slcan2 500000
    dump slcan2
    verdict "adapter: right rate: traffic again" shows ' 0C8#'
    verdict "adapter: right rate: error active again" state slcan2 ERROR-ACTIVE
    kill $dump $bench
}

# check_scenario SCENARIO NAME [ARGUMENT...]: `pin16 check --ask` over interface NAME as a technician would run it; what
# it said in $work/SCENARIO.NAME.json, its exit code beside it
check_scenario() {
    local folder=$work/$1.$2 rc=0
    mkdir "$folder"
    cp "captures/scenarios/$1/job.toml" "$folder"  # its ledger lies beside it
    "$pin16" check --job "$folder/job.toml" "socketcan:$2" --ask --json -o "$folder/c.pcapng" "${@:3}" \
        > "$folder/json" 2> "$folder/err" < /dev/null || rc=$?
    echo $rc > "$folder/rc"
}

# Every shipped scenario (or those given) over a real interface, each on a bench of its own: with what its meters read, and
# without. Two scenarios at a time: more would make the answers late on an emulated CPU.
shipped_scenarios() {
    local names=("$@") at_once=() name
    # shellcheck disable=SC2207
    [ $# -gt 0 ] || names=($(ls captures/scenarios))
    for name in "${names[@]}"; do
        if [ "$name" = removed-alone-listen-only ]; then
            # Its 4000 frames a second leave an emulated CPU no time for another bench.
            [ ${#at_once[@]} -eq 0 ] || judge_scenarios "${at_once[@]}"
            at_once=()
            run_scenario "$name" 0 with
            wait
            run_scenario "$name" 0 less
            judge_scenarios "$name"
            continue
        fi
        run_scenario "$name" "${#at_once[@]}" with less
        at_once+=("$name")
        [ ${#at_once[@]} -ge 2 ] && judge_scenarios "${at_once[@]}" && at_once=()
    done
    [ ${#at_once[@]} -eq 0 ] || judge_scenarios "${at_once[@]}"
}
# run_scenario NAME NUMBER with|less...: with and without what its meters read, in the background once the interfaces are up
run_scenario() {
    local i options rate after_s benches= name=$1 number=$2
    shift 2
    "$pin16" bench "$name" --readings > "$work/$name.readings"
    for i in "$@"; do
        serve "$name" "$i$number" > "$work/said" || { bad "scenario $name: served"; cat "$work/said"; kill $benches $bench; return; }
        benches="$benches $bench"
        options=
        grep -q '"listen_only":true' "$work/at-$i$number/ready" && options="listen-only on"
        rate=$(sed -n 's/.*"bitrate":\([0-9]*\).*/\1/p' "$work/at-$i$number/ready")
        # shellcheck disable=SC2086
        raise "$i$number" "$rate" $options
    done
    # How far the bench has got when `check` begins must not depend on the processor, where the scenario changes by itself.
    after_s=$(sed -n 's/^after_s = //p' "captures/scenarios/$name/expect.toml")
    {
        sleep "${after_s:-0}"
        for i in "$@"; do
            if [ "$i" = with ]; then
                check_scenario "$name" "with$number" --operator "$work/$name.readings" &
            else
                check_scenario "$name" "less$number" &
            fi
        done
        wait
        # shellcheck disable=SC2086
        kill $benches
    } &
}
# judge_scenarios NAME...: as run with the numbers from 0; one that fails is run once more by itself, which is told: an
# emulated processor may have been late
judge_scenarios() {
    local number=0 name again=()
    wait
    for name in "$@"; do
        if [ -n "${second-}" ]; then
            verdict "scenario $name: as expected" judge scenario "captures/scenarios/$name" "$work/$name.with$number" readings
            verdict "scenario $name: without readings" judge scenario "captures/scenarios/$name" "$work/$name.less$number" none
        elif judge_scenario "$name" $number > "$work/said" 2>&1; then
            ok "scenario $name: as expected"
            ok "scenario $name: without readings"
        else
            tail -n 1 "$work/said" | sed 's/^/     /'
            again+=("$name")
        fi
        until_gone "with$number" "less$number"
        number=$((number + 1))
    done
    for name in "${again[@]}"; do
        echo "     NEEDED A SECOND TRY, or failed: scenario $name"
        rm -rf "$work/$name".with* "$work/$name".less*
        run_scenario "$name" 0 with
        wait
        run_scenario "$name" 0 less
        second=yes judge_scenarios "$name"
    done
}
judge_scenario() {
    judge scenario "captures/scenarios/$1" "$work/$1.with$2" readings && judge scenario "captures/scenarios/$1" "$work/$1.less$2" none
}
# until_gone NAME...: the interfaces of benches that ended
until_gone() {
    for _ in $(seq 50); do
        local left=
        for i in "$@"; do [ ! -e "/sys/class/net/$i" ] || left=yes; done
        [ -n "$left" ] || return 0
        sleep 0.1
    done
}

# ---- attempts: kernel ISO-TP as the other equipment; the rung live, in review and through replay:

# watch URI NAME COMMAND...: `listen --attempt` on URI, COMMAND once it listens; $work/NAME.live, .review, .replay
watch() {
    local uri=$1 name=$2
    shift 2
    "$pin16" listen "$uri" --attempt --job "$work/attempt.toml" --unchanged "another case" --json --no-plugins \
        -o "$work/$name.pcapng" > "$work/$name.live" 2> "$work/$name.err" &
    local listen=$!
    until_bound "${uri#socketcan:}"
    "$@" > "$work/$name.other" 2>&1
    sleep 2  # what runs out, does
    kill -INT $listen
    wait $listen
    "$pin16" review "$work/$name.pcapng" --job "$work/attempt.toml" --json --no-plugins > "$work/$name.review"
    "$pin16" listen "replay:$work/$name.pcapng?pace=fast" --attempt --job "$work/attempt.toml" --unchanged "replayed" \
        --json --no-plugins -o "$work/$name-again.pcapng" > "$work/$name.replay" 2> "$work/$name.err2"
}
# rung NAME RUNG BREAKER: as watched
rung() {
    verdict "attempt $1: $2" judge attempt "$2" "$3" "$work/$1.live" "$work/$1.review" "$work/$1.replay"
}
other() { /usr/bin/python3 "$here/other.py" "$@"; }
tx_packets() { cat "/sys/class/net/$1/statistics/tx_packets"; }
# attempts [WHERE...]: vcan0, can0, seal, lone
attempts() {
    [ $# -gt 0 ] || set -- vcan0 can0 seal lone
    printf '[job]\narrangement = "removed"\n[module]\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n' > "$work/attempt.toml"
    ip link set can1 down
    verdict "attempt: the board's controller takes listen-only" ip link set can1 type can bitrate 500000 listen-only on
    ip link set can1 up
    local where
    for where in "$@"; do
        case $where in
        # Two kinds of wire: one within the kernel, and two controllers of which ours only listens.
        vcan0) rungs vcan0 vcan0 cannot ;;
        can0) rungs can0 can1 proven ;;
        seal) seal ;;
        lone) lone ;;
        esac
    done
    ip link set can1 down && ip link set can1 type can bitrate 500000 listen-only off && ip link set can1 up
}
# rungs THEIRS OURS GRADE
rungs() {
    local theirs=$1 ours=$2 grade=$3 case sent
    sent=$(tx_packets "$ours")
    for case in none:no-bit:- absent:silent:module mute:silent:- refusing:negative:- pending:pending:- cut:cut:module \
        complete:through:-; do
        # shellcheck disable=SC2046
        set -- $(tr : ' ' <<< "$case")
        watch "socketcan:$ours" "$theirs-$1" other "$theirs" "$1"
        rung "$theirs-$1" "$2" "$3"
    done
    verdict "attempt: $ours is silent: $grade, and nothing was sent" judge grade "$work/$theirs-complete.live" "$grade"
    [ "$theirs" = "$ours" ] ||
        verdict "attempt: and the kernel sent nothing on it" test "$(tx_packets "$ours")" = "$sent"
}
# Proven is asked for, and counted from the other end.
seal() {
    local sent
    sent=$(tx_packets can1)
    sed 's/^arrangement/sealed = true\nsilence = "proven"\narrangement/' "$work/attempt.toml" > "$work/sealed.toml"
    dump can0
    verdict "seal: through a proven link it listens" exits 0 "$pin16" listen socketcan:can1 --job "$work/sealed.toml" --for 1 \
        -o "$work/s0.pcapng"
    verdict "seal: check --ask is refused with 4" exits 4 "$pin16" check --job "$work/sealed.toml" socketcan:can1 --ask \
        --rate-known --for 0.2 -o "$work/s1.pcapng"
    verdict "seal: rollcall is refused with 4" exits 4 "$pin16" rollcall socketcan:can1 --job "$work/sealed.toml" \
        --rate-known --sweep 7E0-7E3 -o "$work/s2.pcapng"
    verdict "seal: query is refused with 4" exits 4 "$pin16" query socketcan:can1 '@7E0 22 F190' --job "$work/sealed.toml" \
        --rate-known -o "$work/s3.pcapng"
    verdict "seal: a link that acknowledges is not opened" exits 4 "$pin16" listen socketcan:vcan0 --job "$work/sealed.toml" \
        --for 1 -o "$work/s4.pcapng"
    kill $dump
    verdict "seal: the other controller heard nothing" test ! -s "$work/dump"
    verdict "seal: and the kernel sent nothing on ours" test "$(tx_packets can1)" = "$sent"
}
# Nobody acknowledges: what these boards do not model, the bench behind the kernel's driver does.
lone() {
    variant removed-sound module-dead
    {
        sed '/^\[\[fault\]\]/,$d' "$variant/scenario.toml"
        printf '\n[[module]]\nname = "other equipment"\nfeed = "source"\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n'
        printf 'read_out = { requests = ["22F190"], begins_s = 25 }\n\n[[fault]]\nname = "module-dead"\n'
    } > "$work/lone.toml"
    mv "$work/lone.toml" "$variant/scenario.toml"
    verdict "attempt: a bench with a lone other equipment" serve "$variant" lone0
    raise lone0 500000 listen-only on
    dump lone0
    for _ in $(seq 600); do grep -q ' 7A1#' "$work/dump" && break; sleep 0.1; done
    kill $dump
    watch socketcan:lone0 lone sleep 10  # thousands of frames a second: an emulated CPU is late
    rung lone unacknowledged -
    kill $bench
    wait $bench
    verdict "attempt: the bench heard no frame of ours" judge bench_end "$work/at-lone0/ready" 0
}

# The bits that bus-census counts, against those of can-utils' bus load meter, live.
census_load() {
    "$pin16" listen socketcan:vcan1 --json -o "$work/load.pcapng" > "$work/load.json" 2> /dev/null &
    local listen=$!
    until_bound vcan1
    stdbuf -oL canbusload -e vcan1@500000 > "$work/load.txt" 2>&1 &
    local meter=$!
    sleep 2
    cangen vcan1 -g 1 -n 2000 -I i -L i -D r
    cangen vcan1 -g 1 -n 2000 -e -I i -L i -D r
    sleep 3  # the meter prints once a second
    kill $meter
    kill -INT $listen
    wait $listen $meter
    verdict "census: the bits on the wire are those of canbusload -e" judge census_load "$work/load.json" "$work/load.txt"
    cat "$work/said" | sed 's/^/     /'
}

parts="guest link_room simulated_ecu troubles asking saturations killed_client checking census_load attempts bench_adapter shipped_scenarios killing"
# The attempts take ten minutes on an emulated processor: tests/run-long.sh names them.
[ $# -gt 0 ] || set -- ${parts/ attempts/}
for part in "$@"; do
    name=${part%%:*}
    grep -qw "$name" <<< "$parts" || { echo "there are: $parts"; bad "no part $name"; continue; }
    began=$(date +%s)
    # shellcheck disable=SC2046
    $name $([ "$part" = "$name" ] || tr , ' ' <<< "${part#*:}")
    echo "     $name took $(($(date +%s) - began)) s"
done

echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
