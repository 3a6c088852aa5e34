#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# Runs in the guest (vm-run.sh), in the repo's top directory: guest.sh BINDIR. Every check is one function that
# ends with ok or bad; the last line is "N passed, N failed"; exit 1 if any failed.
bin=$1
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
# ask HEX TX RX: one request by can-utils over the kernel's ISO-TP; prints the answer in hex, nothing if none came
ask() {
    timeout 3 isotprecv -s "$2" -d "$3" -p AA:AA vcan0 > "$work/answer" &
    local receiver=$!
    sleep 0.3
    echo "$1" | isotpsend -s "$2" -d "$3" -p AA:AA vcan0
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

guest
link_room
simulated_ecu
troubles
asking
saturate lossless 8388608
saturate lossy 1
killed_client
checking
killing

echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
