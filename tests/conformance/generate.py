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


def fragments(can_id, payload, fd, prefix=None):
    """`prefix`: the byte before the PCI in extended (target address) and mixed addressing (address extension)."""
    if not fd:
        return [can(can_id, padded(f.data)) for f in
                ISOTP(payload, rx_id=can_id, rx_ext_address=prefix).fragment()]
    head = b"" if prefix is None else bytes([prefix])
    room = 64 - len(head)
    if len(payload) <= 7 - len(head):
        return [can(can_id, fd_padded(head + bytes([len(payload)]) + payload), True)]
    if len(payload) <= room - 2:
        return [can(can_id, fd_padded(head + bytes([0, len(payload)]) + payload), True)]
    pci = [0x10 | len(payload) >> 8, len(payload) & 0xFF]
    if len(payload) > 4095:
        pci = [0x10, 0] + list(len(payload).to_bytes(4, "big"))
    at = room - len(pci)
    out = [can(can_id, head + bytes(pci) + payload[:at], True)]
    for n, i in enumerate(range(at, len(payload), room - 1), 1):
        out.append(can(can_id, fd_padded(head + bytes([0x20 | n % 16]) + payload[i:i + room - 1]), True))
    return out


class Times:
    """Of one message: first and last frame, first flow control that let go, pauses between consecutive frames."""

    def __init__(self, t_ns):
        self.first = self.last = t_ns
        self.flow = self.st_min = None
        self.waits = 0
        self.gaps = []


FIXED = {0xDA: "normal-fixed", 0xDB: "normal-fixed", 0xCD: "mixed", 0xCE: "mixed"}  # ISO 15765-2, 18xxTTSS


def address(can_id, prefix, mixed):
    """What a row says of addressing."""
    fixed = FIXED.get(can_id >> 16 & 0xFF) if can_id >> 24 == 0x18 else None
    prefixed = None if prefix is None else "mixed" if mixed else "extended"
    return {"addressing": fixed or prefixed or "normal", "target": can_id >> 8 & 0xFF if fixed else None,
            "source": can_id & 0xFF if fixed else None}


def message(t_ns, can_id, payload, answered_from, fd=False, prefix=None, flow_prefix=None, drop=None, cut=None, block=0,
            st_min=0, waits=0, overflow=False, second=False, pad=True):
    """Puts a message on the bus; returns its Times. `answered_from`: who sends flow control, with `flow_prefix`;
    `drop`: index of a frame that is missing; `cut`: index from which on none were sent; `second`: another tester
    sends flow control as well; `pad`: the last frame is filled up."""
    frames = fragments(can_id, payload, fd, prefix)
    if not pad:
        head = 1 if prefix is None else 2  # with the PCI
        left = len(payload) if len(frames) == 1 else (len(payload) - (7 - head)) % (8 - head) or 8 - head
        frames[-1].data = frames[-1].data[:head + left]
    times = Times(t_ns)
    broken = None
    before = None

    def flow(status, stamp):
        pci = bytes([0x30 | status, block, st_min]) if status == 0 else bytes([0x30 | status, 0, 0])
        at(stamp, can(answered_from, padded((b"" if flow_prefix is None else bytes([flow_prefix])) + pci), fd))

    for n, frame in enumerate(frames):
        if n == cut:
            broken = broken or "cut"
            break
        if n == drop:
            broken = "drop"
        else:
            at(t_ns, frame)
        if not broken:  # what follows a missing frame no longer belongs to the message
            times.last = t_ns
            if before is not None:
                times.gaps.append((t_ns - before) / MS)
            before = t_ns if n else None
        if len(frames) > 1 and n + 1 < len(frames) and (n == 0 or (block and n % block == 0)):
            for _ in range(waits):
                t_ns += rng.randrange(200, 900) * 1000
                flow(1, t_ns)
                times.waits += 1
            t_ns += rng.randrange(200, 3000) * 1000
            if overflow:
                flow(2, t_ns)
                broken = "overflow"
                break
            flow(0, t_ns)
            before = None
            times.flow = times.flow or t_ns
            times.st_min = float(st_min)
            if second:
                flow(0, t_ns + 50_000)
        t_ns += rng.randrange(300, 4000) * 1000 + st_min * MS
    row = {"id": can_id, "extended": can_id > 0x7FF, "complete": not broken,
           "payload": None if broken else payload.hex(), "first_ns": times.first, "t_ns": times.last}
    row.update(address(can_id, prefix, prefix == flow_prefix))
    row["prefix"] = prefix
    if broken == "overflow":
        row["reason"] = "the message is longer than the receiver takes"
    truth["messages"].append(row)
    return times


PARTNERS = {0x6A1: 0x6B1, 0x5A1: 0x5B1}


def partner(can_id):
    if can_id in PARTNERS:
        return PARTNERS[can_id]
    if can_id > 0x7FF:
        return can_id & 0xFFFF0000 | (can_id & 0xFF) << 8 | can_id >> 8 & 0xFF
    return can_id + 8 if 0x7E0 <= can_id <= 0x7E7 else None


def exchange(t_ns, request_id, request, answers, functional=False, fd=False, prefix=None, to=None, asking=None,
             expected=None, **options):
    """`answers`: [(answer_id, [payload, ...], flow_id, first wait in ms)]; every payload but the last is "pending".
    `prefix`: of the request, `to`: of the answers, `asking`: options of the request. Returns the time of the last
    frame."""
    responder = answers[0][0] if answers else partner(request_id)
    asked = message(t_ns, request_id, request, responder, fd=fd, prefix=prefix, flow_prefix=to, **(asking or {}))
    end_ns = asked.last
    common = {"request_id": request_id, "extended": request_id > 0x7FF, "functional": functional,
              "service": request[0], "request": request.hex(), "t_ns": asked.last,
              "request_ms": (asked.last - asked.first) / MS}
    common.update(address(request_id, prefix, prefix == to))
    common["request_prefix"] = prefix

    def after(stamp):
        return (stamp - asked.last) / MS

    for answer_id, payloads, flow_id, wait_ms in answers:
        t_ns = asked.last + round(wait_ms * MS)
        all_times = []
        for payload in payloads:
            last = payload is payloads[-1]
            all_times.append(message(t_ns, answer_id, payload, flow_id, fd=fd, prefix=to, flow_prefix=prefix,
                                     **(options if last else {})))
            t_ns = all_times[-1].last + 900 * MS
        final = all_times[-1]
        end_ns = max(end_ns, final.last)
        broken = any(options.get(o) for o in ("drop", "cut", "overflow"))
        ended = "incomplete" if broken else "negative" if payloads[-1][0] == 0x7F else "answered"
        row = dict(common)
        row.update({
            "answer_id": answer_id, "ended": ended, "pending": len(payloads) - 1,
            "late": all_times[0].first - asked.last > P2_MS * MS,
            "response_ms": after(all_times[0].first), "pending_ms": [after(t.last) for t in all_times[:-1]],
            "answer_ms": after(final.first), "complete_ms": None if broken else after(final.last),
            "flow_ms": None if final.flow is None else (final.flow - final.first) / MS,
            "separation_ms_min": min(final.gaps, default=None), "separation_ms_max": max(final.gaps, default=None),
            "st_min_ms": final.st_min, "waits": final.waits})
        if not broken:
            row["answer"] = payloads[-1].hex()
        row["answer_prefix"] = to
        truth["exchanges"].append(row)
    if not answers:
        row = dict(common)
        row.update({"answer_id": None if functional else expected or (partner(request_id) if prefix is None else None),
                    "ended": "silent", "pending": 0, "late": False, "response_ms": None, "complete_ms": None})
        truth["exchanges"].append(row)
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
    t = transports(t, step)
    for _ in range(60):
        module = rng.choice([0x7E0, 0x7E1, 0x7E5, 0x18DA10F1, 0x18DA58F1, 0x18DA4020, 0x6A1])
        answer = partner(module)
        did = bytes([0xF1, rng.randrange(0x80, 0xA0)])
        payload = h("62") + did + rng.randbytes(rng.choice([1, 4, 5, 18, 61, 250, 900]))
        t = step + exchange(t, module, h("22") + did, [(answer, [payload], module, rng.randrange(1000, 90000) / 1000)])
    for _ in range(60):
        module, answer, prefix, to = rng.choice(PREFIXED)
        did = bytes([0xF1, rng.randrange(0x80, 0xA0)])
        payload = h("62") + did + rng.randbytes(rng.choice([1, 3, 5, 18, 61, 250, 900]))
        t = step + exchange(t, module, h("22") + did, [(answer, [payload], module, rng.randrange(1000, 90000) / 1000)],
                            prefix=prefix, to=to, block=rng.choice([0, 0, 3]), pad=rng.choice([True, False]))
    # The capture ends while this one waits.
    message(t, 0x7E1, h("22f192"), None)
    truth["exchanges"].append({"request_id": 0x7E1, "answer_id": 0x7E9, "extended": False, "functional": False,
                               "service": 0x22, "ended": "not-seen", "pending": 0, "late": False,
                               "response_ms": None, "t_ns": t})
    return t + 200 * MS


# Who asks, who answers, the prefix of either: extended and mixed addressing.
PREFIXED = [(0x6F1, 0x612, 0x12, 0xF1), (0x6F1, 0x640, 0x40, 0xF1), (0x5A1, 0x5B1, 0xA5, 0xA5),
            (0x18CE10F1, 0x18CEF110, 0xA5, 0xA5)]


def transports(t, step):
    """Addressing with a prefix, and what flow control and losses can do."""
    for module, answer, prefix, to in PREFIXED:
        t = step + exchange(t, module, h("22f187"), [(answer, [h("62f187414243")], module, 11)], prefix=prefix, to=to)
        t = step + exchange(t, module, h("22f190"), [(answer, [h("62f190") + VIN], module, 20)], prefix=prefix, to=to)
        t = step + exchange(t, module, h("2ef198") + rng.randbytes(30), [(answer, [h("6ef198")], module, 9)],
                            prefix=prefix, to=to, asking={"block": 2})
        t = step + exchange(t, module, h("22f191"), [(answer, [h("7f2278"), h("7f2231")], module, 30)], prefix=prefix,
                            to=to)
        t = step + exchange(t, module, h("22f192"), [(answer, [h("62f192") + rng.randbytes(90)], module, 8)],
                            prefix=prefix, to=to, drop=4)
        t = step + exchange(t, module, h("22f193"), [(answer, [h("62f193") + rng.randbytes(90)], module, 8)],
                            prefix=prefix, to=to, fd=True)
        t = step + exchange(t, module, h("22f18c"), [], prefix=prefix, to=to, expected=answer)
    # One tester's further address, where nobody answers.
    t = step + exchange(t, 0x6F1, h("22f18c"), [], prefix=0x55)
    t = step + exchange(t, 0x18CD33F1, h("3e00"), [(0x18CEF110, [h("7e00")], None, 5), (0x18CEF120, [h("7e00")], None, 9)],
                        functional=True, prefix=0xA5, to=0xA5)
    t += 1001 * MS
    long = h("62f18a") + rng.randbytes(60)
    t = step + exchange(t, 0x7E2, h("22f18a"), [(0x7EA, [long], 0x7E2, 6)], block=2, st_min=5, waits=2)
    t = step + exchange(t, 0x7E2, h("22f18a"), [(0x7EA, [long], 0x7E2, 6)], second=True, pad=False)
    t = step + exchange(t, 0x7E2, h("22f18a"), [(0x7EA, [long], 0x7E2, 6)], overflow=True)
    t = step + exchange(t, 0x7E2, h("22f18a"), [(0x7EA, [long], 0x7E2, 6)], drop=1)
    t = step + exchange(t, 0x7E2, h("22f18a"), [(0x7EA, [long], 0x7E2, 6)], cut=3)  # it restarts
    t = step + exchange(t, 0x7E2, h("22f18a"), [(0x7EA, [long], 0x7E2, 6)], cut=9)  # the last frame is missing
    t = step + exchange(t + 1001 * MS, 0x7E4, h("22f18b"), [(0x7EC, [h("62f18b") + rng.randbytes(5000)], 0x7E4, 6)],
                        fd=True)
    t = step + exchange(t, 0x18DA4020, h("22f190"), [(0x18DA2040, [h("62f190") + VIN], 0x18DA4020, 20)])
    # Both at once: tshark 4.0 puts only one of them together.
    t = step + exchange(t, 0x7DF, h("0902"), [(0x7E8, [h("490201") + VIN], 0x7E0, 9), (0x7E9, [h("490201") + VIN], 0x7E1, 10)],
                        functional=True)
    truth["beyond_tshark"] = [{"id": m["id"], "t_ns": m["t_ns"]} for m in truth["messages"][-1:]]
    return t + 1001 * MS


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
    for t in range(start_ns, end_ns, 900 * MS):
        other_transports(t)
    for t in range(start_ns, end_ns, 100 * MS):
        at(t, can(0x155, rng.randbytes(24), True))
    for n, t in enumerate(range(start_ns + 5 * MS, end_ns, 1700 * MS)):
        classes, data = rng.choice([(0x88, "0000028400000000"), (0x204, "0004000000003264"), (0x20, "0000000000000000")])
        at(t, CAN(identifier=classes, flags="error", data=h(data)))
        truth["error_frames"] += 1


def other_transports(t):
    """SAE J1939-21 (TP.CM on 18EC, TP.DT on 18EB; the size makes the request to send look like a first frame), and
    two invented ones that number their parts as ISO-TP does but wait for nobody."""
    at(t, can(0x18EC1020, h("10f90125ffcafe00")))
    at(t + 500_000, can(0x18EC2010, h("112501ffffcafe00")))
    for n in range(1, 38):
        at(t + n * MS, can(0x18EB1020, bytes([n]) + (rng.randbytes(7) if n % 2 else b"\xff" * 7)))
    at(t + 38 * MS, can(0x18EC2010, h("13f90125ffcafe00")))
    for can_id, prefix in ((0x3A0, b""), (0x3B0, b"\x05")):
        at(t, can(can_id, (prefix + h("101462f190414141"))[:8]))
        for n in (1, 2):
            at(t + n * 2 * MS, can(can_id, (prefix + bytes([0x20 | n]) + rng.randbytes(7))[:8]))


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
