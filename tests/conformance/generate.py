# SPDX-License-Identifier: Apache-2.0
"""Writes a capture whose answer is known: generate.py CAPTURE.pcap TRUTH.json

Frames and transport fragments are scapy's (CAN, CANFD, ISOTP.fragment), FD transport frames are laid out here
after ISO 15765-2. What was put in is written as JSON: that is the truth that a review has to find again."""
import json
import random
import sys

from scapy.contrib.isotp import ISOTP
from scapy.layers.can import CAN, CANFD
from scapy.utils import EDecimal, wrpcap

MS = 1_000_000
START_NS = 1_790_000_000 * 1000 * MS
P2_MS = 50  # ISO 14229-2, P2 server
LINKTYPE_CAN_SOCKETCAN = 227

rng = random.Random(16)
events = []  # (t_ns, order, packet)
truth = {"error_frames": 0, "messages": [], "exchanges": []}


def at(t_ns, packet):
    events.append((t_ns, len(events), packet))


def can(can_id, data, fd=False):
    kind = CANFD if fd else CAN
    return kind(identifier=can_id, flags="extended" if can_id > 0x7FF else "", data=bytes(data))


def padded(data, pad=0xCC):
    return bytes(data) + bytes([pad]) * (8 - len(data))


def fd_padded(data):
    size = next(n for n in (8, 12, 16, 20, 24, 32, 48, 64) if n >= len(data))
    return bytes(data) + b"\xcc" * (size - len(data))


def fragments(can_id, payload, fd):
    if not fd:
        return [can(can_id, padded(f.data)) for f in ISOTP(payload, rx_id=can_id).fragment()]
    if len(payload) <= 7:
        return [can(can_id, fd_padded(bytes([len(payload)]) + payload), True)]
    if len(payload) <= 62:
        return [can(can_id, fd_padded(bytes([0, len(payload)]) + payload), True)]
    out = [can(can_id, bytes([0x10 | len(payload) >> 8, len(payload) & 0xFF]) + payload[:62], True)]
    for n, i in enumerate(range(62, len(payload), 63), 1):
        out.append(can(can_id, fd_padded(bytes([0x20 | n % 16]) + payload[i:i + 63]), True))
    return out


def message(t_ns, can_id, payload, answered_from, fd=False, drop=None, block=0):
    """Puts a message on the bus; returns the times of its first and last frame. `answered_from`: who sends flow
    control; `drop`: index of a frame that is missing."""
    frames = fragments(can_id, payload, fd)
    first_ns = t_ns
    for n, frame in enumerate(frames):
        if n == drop:
            continue
        at(t_ns, frame)
        if drop is None or n < drop:  # what follows a missing frame no longer belongs to the message
            last_ns = t_ns
        if len(frames) > 1 and n + 1 < len(frames) and (n == 0 or (block and n % block == 0)):
            t_ns += rng.randrange(200, 3000) * 1000
            at(t_ns, can(answered_from, padded([0x30, block, 0]), fd))
        t_ns += rng.randrange(300, 4000) * 1000
    truth["messages"].append({"id": can_id, "extended": can_id > 0x7FF, "complete": drop is None,
                              "payload": payload.hex() if drop is None else None, "t_ns": last_ns})
    return first_ns, last_ns


def exchange(t_ns, request_id, request, answers, functional=False, fd=False, **options):
    """`answers`: [(answer_id, [payload, ...], flow_id, first wait in ms)]; every payload but the last is "pending".
    Returns the time of the last frame."""
    expected = {0x7E0 <= request_id <= 0x7E7: request_id + 8, request_id == 0x6A1: 0x6B1}.get(True)
    _, request_ns = message(t_ns, request_id, request, expected, fd=fd)
    end_ns = request_ns
    for answer_id, payloads, flow_id, wait_ms in answers:
        t_ns = request_ns + round(wait_ms * MS)
        response_ns = None
        for payload in payloads:
            first_ns, last_ns = message(t_ns, answer_id, payload, flow_id, fd=fd, **options)
            response_ns = response_ns or first_ns
            t_ns = last_ns + 900 * MS
        end_ns = max(end_ns, last_ns)
        final = payloads[-1]
        ended = "incomplete" if options.get("drop") else "negative" if final[0] == 0x7F else "answered"
        truth["exchanges"].append({
            "request_id": request_id, "answer_id": answer_id, "extended": request_id > 0x7FF,
            "functional": functional, "service": request[0], "ended": ended, "pending": len(payloads) - 1,
            "late": response_ns - request_ns > P2_MS * MS,
            "response_ms": (response_ns - request_ns) / MS, "t_ns": request_ns})
    if not answers:
        truth["exchanges"].append({
            "request_id": request_id, "answer_id": None if functional else expected, "extended": request_id > 0x7FF,
            "functional": functional, "service": request[0], "ended": "silent", "pending": 0, "late": False,
            "response_ms": None, "t_ns": request_ns})
        end_ns += 1001 * MS  # the client's wait
    return end_ns


def h(text):
    return bytes.fromhex(text)


VIN = b"TEST0000000000001"


def diagnostics(t):
    """Every ending once, then many at random; one conversation after the other."""
    step = 40 * MS
    t = step + exchange(t, 0x7DF, h("0100"), [(0x7E8, [h("4100be3fa813")], None, 12.5),
                                              (0x7E9, [h("410080000001")], None, 31)], functional=True)
    t = step + exchange(t + 1001 * MS, 0x7DF, h("0902"), [(0x7E8, [h("490201") + VIN], 0x7E0, 9)], functional=True)
    t = step + exchange(t + 1001 * MS, 0x7E0, h("22f190"), [(0x7E8, [h("62f190") + VIN], 0x7E0, 20)])
    t = step + exchange(t, 0x7E1, h("22f191"), [(0x7E9, [h("7f2231")], None, 7)])
    t = step + exchange(t, 0x7E2, h("1902ff"), [(0x7EA, [h("7f1978")] * 2 + [h("5902ff") + rng.randbytes(60)],
                                                 0x7E2, 45)])
    t = step + exchange(t, 0x7E3, h("22f18c"), [])
    t = step + exchange(t, 0x18DA10F1, h("22f190"), [(0x18DAF110, [h("62f190") + VIN], 0x18DA10F1, 80)])
    t = step + exchange(t, 0x18DB33F1, h("0100"), [], functional=True)
    t = step + exchange(t, 0x18DB33F1, h("010c"), [(0x18DAF110, [h("410c1af8")], None, 5)], functional=True)
    # Identifiers that no standard names: learned from the answer.
    t = step + exchange(t + 1001 * MS, 0x6A1, h("22f187"), [(0x6B1, [h("62f187414243")], None, 11)])
    t = step + exchange(t, 0x6A1, h("2ef198") + rng.randbytes(40), [(0x6B1, [h("6ef198")], None, 14)])
    t = step + exchange(t, 0x7E4, h("22f195"), [(0x7EC, [h("62f195") + rng.randbytes(17)], None, 6)], fd=True)
    t = step + exchange(t, 0x7E4, h("22f196"), [(0x7EC, [h("62f196") + rng.randbytes(200)], 0x7E4, 6)], fd=True)
    t = step + exchange(t, 0x7E0, h("22f180"), [(0x7E8, [h("62f180") + rng.randbytes(40)], 0x7E0, 6)], drop=2)
    t = step + exchange(t, 0x7E0, h("22f181"), [(0x7E8, [h("62f181") + rng.randbytes(140)], 0x7E0, 6)], block=4)
    for _ in range(60):
        module = rng.choice([0x7E0, 0x7E1, 0x7E5, 0x18DA10F1, 0x18DA58F1, 0x6A1])
        answer = {0x6A1: 0x6B1}.get(module, module + 8 if module < 0x7FF else 0x18DAF100 | module >> 8 & 0xFF)
        did = bytes([0xF1, rng.randrange(0x80, 0xA0)])
        payload = h("62") + did + rng.randbytes(rng.choice([1, 4, 5, 18, 61, 250, 900]))
        t = step + exchange(t, module, h("22") + did, [(answer, [payload], module, rng.randrange(1000, 90000) / 1000)])
    # The capture ends while this one waits.
    message(t, 0x7E1, h("22f192"), None)
    truth["exchanges"].append({"request_id": 0x7E1, "answer_id": 0x7E9, "extended": False, "functional": False,
                               "service": 0x22, "ended": "not-seen", "pending": 0, "late": False,
                               "response_ms": None, "t_ns": t})
    return t + 200 * MS


def ordinary(start_ns, end_ns):
    """Periodic traffic as any bus carries: counters, noise, constants, some of it looking like diagnostics."""
    for can_id, period_ms, make in (
            (0x0C0, 10, lambda n: bytes([n & 0xFF]) + rng.randbytes(7)),
            (0x1A0, 20, lambda n: rng.randbytes(8)),
            (0x2F1, 50, lambda n: rng.randbytes(rng.randrange(1, 9))),
            (0x3D5, 100, lambda n: bytes(8)),
            (0x430, 100, lambda n: h("0210030000000000")),     # a lone "request"
            (0x438, 1000, lambda n: h("0450000000000000")),    # a lone "answer", but to another sub-function
            (0x440, 200, lambda n: h("3000000000000000")),     # a lone "flow control"
            (0x448, 500, lambda n: h("1014220000000000")),     # a lone "first frame"
            (0x18FEF100, 100, lambda n: rng.randbytes(8)),
    ):
        for n, t in enumerate(range(start_ns + can_id % 97 * 10_000, end_ns, period_ms * MS)):
            at(t, can(can_id, make(n)))
    for t in range(start_ns, end_ns, 100 * MS):
        at(t, can(0x155, rng.randbytes(24), True))
    for n, t in enumerate(range(start_ns + 5 * MS, end_ns, 1700 * MS)):
        classes, data = rng.choice([(0x88, "0000028400000000"), (0x204, "0004000000003264"), (0x20, "0000000000000000")])
        at(t, CAN(identifier=classes, flags="error", data=h(data)))
        truth["error_frames"] += 1


def main(capture, truth_file):
    # The first frame of every identifier teaches what it is: ordinary traffic is there before the tester.
    end_ns = diagnostics(START_NS + 3000 * MS)
    ordinary(START_NS, end_ns)
    events.sort(key=lambda e: e[:2])
    last_ns = events[-1][0]
    packets, counts = [], {}
    for t_ns, _, packet in events:
        packet.time = EDecimal(t_ns) / EDecimal(1000 * MS)
        packets.append(packet)
        if "error" not in str(packet.flags):
            key = (int(packet.identifier), "extended" in str(packet.flags))
            counts[key] = counts.get(key, 0) + 1
    wrpcap(capture, packets, linktype=LINKTYPE_CAN_SOCKETCAN, nano=True)
    truth["frames"] = sum(counts.values())
    truth["identifiers"] = [{"id": i, "extended": e, "count": n}
                            for (i, e), n in sorted(counts.items(), key=lambda c: (c[0][1], c[0][0]))]
    truth["last_ns"] = last_ns
    truth["messages"].sort(key=lambda m: m["t_ns"])
    truth["exchanges"].sort(key=lambda x: x["t_ns"])
    with open(truth_file, "w", encoding="ascii") as out:
        json.dump(truth, out)


if __name__ == "__main__":
    main(*sys.argv[1:])
