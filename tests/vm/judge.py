#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""judge.py WHAT ARGUMENTS...: holds what pin16 said in the guest against what its peers say. Exit 0 = agrees; else the
difference is printed."""
import json
import re
import subprocess
import sys
import tomllib

VIN = "TESTVEHXCLE000001"  # as in ecu.py
SLACK_MS = 20.0  # kernel stamp against a user's clock reading, one emulated CPU (tests/vm, measured 0.1 to 3 ms)


def load(path):
    with open(path, encoding="utf-8") as f:
        return json.load(f)


def expect(what, said, expected):
    if said != expected:
        sys.exit(f"{what}: said {said!r}, expected {expected!r}")


def ecu_times(log):
    """(request hex, time read, answer hex, before, after) for each answered request of the ECU's own log."""
    pairs, request = [], None
    with open(log, encoding="utf-8") as f:
        for line in f:
            word = line.split()
            if word[0] == "rx":
                request = (word[2], int(word[1]))
            elif word[0] == "tx" and request:
                pairs.append((request[0], request[1], word[2], int(word[1]), int(word[3])))
    return pairs


def rollcall(said, reviewed, log):
    document, review = load(said), load(reviewed)
    modules = document["modules"]
    expect("modules", [(m["request_id"], m["answer_id"], m["vin"]) for m in modules], [(0x7E0, 0x7E8, VIN)])
    ours = [x for x in review["exchanges"] if x["request"] == "22f190"]
    pairs = [p for p in ecu_times(log) if p[0] == "22f190"]
    expect("requests for 22 F190 in the ECU's log", len(pairs), len(ours))
    for x, (_, t_rx, answer, before, after) in zip(ours, pairs):
        expect("answer", x["answer"], answer)
        # The first frame left between `before` and `after`, by the ECU's own clock readings.
        least, most = (before - x["t_ns"]) / 1e6 - SLACK_MS, (after - x["t_ns"]) / 1e6 + SLACK_MS
        if not least <= x["response_ms"] <= most:
            sys.exit(f"response {x['response_ms']} ms, the ECU's log says {least} to {most}")
        if t_rx < x["t_ns"] - SLACK_MS * 1e6:
            sys.exit("the ECU read the request before it was sent")
    times = sorted(x["response_ms"] for x in ours)
    for key, value in (("min", times[0]), ("max", times[-1])):
        if abs(modules[0]["response_ms_" + key] - value) > 0.001:
            sys.exit(f"response_ms_{key} is {modules[0]['response_ms_' + key]}, the capture says {value}")


def query(said):
    x = load(said)["exchanges"]
    expect("answers", [(e["request"], e["ended"], e["answer_id"]) for e in x],
           [("0902", "answered", 0x7E8), ("0100", "answered", 0x7E8), ("22f190", "answered", 0x7E8)])
    for e in (x[0], x[2]):
        if VIN not in e["text"]:
            sys.exit(f"no VIN in {e['text']!r}")


def unasked(log, *forbidden):
    with open(log, encoding="utf-8") as f:
        for line in f:
            if line.startswith("rx") and line.split()[2].startswith(forbidden):
                sys.exit(f"the ECU received {line}")


def saturated(said, blast, kind):
    document = load(said)
    with open(blast, encoding="utf-8") as f:
        sent = int(f.read().split()[0])
    lost = document["losses"]["total"]
    print(f"sent {sent}, captured {document['frames']}, lost {lost}, buffer {document['links'][0]['state']['buffer_bytes']}")
    expect("captured + losses", document["frames"] + lost, sent)
    expect("lost > 0", lost > 0, kind == "lossy")


def tshark_frames(capture):
    """(identifier, data hex) of each CAN frame."""
    out = subprocess.run(["tshark", "-r", capture, "-Y", "can", "-T", "fields", "-e", "can.id", "-e", "data.data", "-e", "can.len"],
                         capture_output=True, text=True, check=False)
    if "appears to be damaged" in out.stderr:
        sys.exit(f"tshark: {out.stderr}")
    return [line.split("\t") for line in out.stdout.splitlines()]


def killed(capture, blast_log, t_killed_ns):
    """The last number in the file was sent at most 1 s before the kill."""
    numbers = [int.from_bytes(bytes.fromhex(data)[:4], "little") for _, data, _ in tshark_frames(capture)]
    if not numbers:
        sys.exit("tshark shows no frame")
    # One frame a log line (paced), in order.
    sent = {int(n): int(t) for n, t in (line.split() for line in open(blast_log, encoding="utf-8") if line.count(" ") == 1 and line.endswith("\n"))}
    # The kernel may hand frames of one sender over in another order, where the sender changes processors.
    numbers.sort()
    age_s = (int(t_killed_ns) - sent[numbers[-1]]) / 1e9
    print(f"{len(numbers)} frames, the last one {age_s:.3f} s old")
    holes = sorted(set(range(numbers[0], numbers[-1] + 1)) - set(numbers))
    expect("first missing numbers", holes[:10], [])
    expect("each number once", len(set(numbers)), len(numbers))
    if age_s > 1.0:
        sys.exit(f"the last number is {age_s:.3f} s old")


def numbers(said, capture, sent):
    """Every number that was sent is in the file, or counted as lost."""
    document = load(said)
    expect("captured + losses", document["frames"] + document["losses"]["total"], int(sent))
    expect("tshark's frames", len(tshark_frames(capture)), document["frames"])


def check(said, overall, code, deciding):
    document = load(said)
    print(document["sentence"])
    expect("overall", document["overall"], overall)
    first = document["first_thing"]
    if code != "-":
        expect("first_thing", first and first["code"], code)
    if deciding != "-":
        expect("names the deciding reading", bool(re.search(deciding, json.dumps(document["deciding_reading"]))), True)


def stray(steps):
    """Single answers were late and the median was not: an emulated CPU that was busy elsewhere."""
    timing = next(s for s in steps if s["name"] == "timing")
    median = [f for f in timing["figures"] if f["what"] == "median response"]
    return timing["verdict"] == "marginal" and bool(median) and median[0]["value"] <= median[0]["limit"]


def scenario(directory, run, readings):
    """What `check` said over the kernel's interface (in folder `run`) against expect.toml; without readings a run is
    undecided and names the reading that decides, unless the file says that the bus alone decides."""
    with open(f"{directory}/expect.toml", "rb") as f:
        wanted = tomllib.load(f)
    with open(f"{run}/rc", encoding="utf-8") as f:
        rc = int(f.read())
    try:
        document = load(f"{run}/json")
    except ValueError:
        with open(f"{run}/err", encoding="utf-8") as f:
            sys.exit(f"exit {rc}, no JSON: {f.read()}")
    for s in document["steps"]:
        print(s["name"], s["verdict"], s["code"], s["text"])
    print(document["sentence"], document["deciding_reading"], document["first_thing"])
    first = document["first_thing"]
    said = {"overall": document["overall"], "first_thing_code": first["code"] if first else ""}
    steps = {s["name"]: s["verdict"] for s in document["steps"]}
    if stray(document["steps"]):
        steps["timing"] = "sound"
        if said["first_thing_code"] in ("module-slow", "late-answers"):
            said["first_thing_code"] = ""
    over = wanted.get("over_socketcan", {})
    if readings == "readings":
        wanted_steps = wanted["steps"] | over.get("steps", {})
        wanted = {k: wanted[k] for k in said} | {k: over[k] for k in said if k in over}
        expect("steps", steps, wanted_steps)
    elif "without_readings" in over:
        wanted = over["without_readings"]
        said = {k: said[k] for k in wanted}
    else:
        wanted = {"overall": "undecided"}
        said = {"overall": said["overall"]}
        reading = document["deciding_reading"]
        expect("names the deciding reading", bool(reading and re.match(r"[VRI]\(|lamp", reading["point"])), True)
    expect("said", said, {k: wanted[k] for k in said})
    # 4: the gate refused to ask, on a bus that gave it no proof.
    expect("exit", rc, 4 if over.get("gate_shut") else 0 if document["overall"] == "ready" else 1)


def attempt(rung, breaker, *documents):
    """The rung in each of listen's, review's and the replay's documents; breaker "-": nobody broke off."""
    for document in documents:
        one, = load(document)["attempts"]
        expect(document + ": rung", one["rung"], rung)
        expect(document + ": who broke off", one["broken_by"], None if breaker == "-" else breaker)


def grade(document, silence):
    expect("grade", load(document)["links"][0]["state"]["silence"], silence)
    expect("sent", load(document)["sent"], [])


def bench_end(line, our_frames):
    with open(line, encoding="utf-8") as f:
        end = json.loads(f.read().splitlines()[-1])
    expect("schema", end["schema"], "pin16-bench-end")
    expect("frames of ours on the bench's bus", end["our_frames"], int(our_frames))


def census_load(said, meter):
    """bus-census against can-utils: `canbusload -e` counts the bits on the wire too, from the same frames."""
    rows = [re.search(r"vcan1@500000\s+(\d+)\s+(\d+)", line) for line in open(meter)]
    frames = sum(int(r.group(1)) for r in rows if r)
    bits = sum(int(r.group(2)) for r in rows if r)
    plugin, = (p for p in load(said)["plugins"] if p["name"] == "bus-census")
    counters = {c["name"]: c["count"] for c in plugin["counters"]}
    expect("frames", (counters["frames"], frames), (4000, 4000))
    expect("bits on the wire", counters["wire-bits"], bits)
    print(f"{bits} bits of {frames} frames")


def inventory(said):
    by_uri = {e["uri"]: e for e in load(said)["can"]}
    expect("vcan0", by_uri["socketcan:vcan0"]["up"], True)
    expect("can0", (by_uri["socketcan:can0"]["bitrate"], by_uri["socketcan:can0"]["sample_point"]), (500000, 0.875))


if __name__ == "__main__":
    globals()[sys.argv[1]](*sys.argv[2:])
