#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""ecu.py IFACE LOG [SECONDS]: a simulated control unit for the tests in the guest, made of scapy and the
kernel's ISO-TP. Physically addressed 7E0, functionally 7DF, answers from 7E8.

  22 F190  -> 62 F190 and the VIN below (17 characters: a multi-frame answer)
  01 00    -> 41 00 BE 3E B8 11          09 02 -> 49 02 01 and the VIN
  other physically addressed requests  -> 7F xx 11 (service) or 7F 22 31 (identifier)
  other functional requests            -> silence

LOG: one line each, CLOCK_REALTIME in ns: "rx TIME hex", read after the request was taken in, and
"tx BEFORE hex AFTER", read before and after the answer was handed to the kernel: its first frame left between the
two (the others follow on the tester's flow control). Prints "ready" once it listens."""
import select
import sys
import time

from scapy.config import conf

conf.contribs["CANSocket"] = {"use-python-can": False}
conf.contribs["ISOTP"] = {"use-can-isotp-kernel-module": True}
from scapy.main import load_contrib  # noqa: E402

load_contrib("isotp")
load_contrib("automotive.uds")
from scapy.contrib.automotive.uds import UDS, UDS_NR, UDS_RDBIPR  # noqa: E402
from scapy.contrib.isotp import ISOTP, ISOTPNativeSocket  # noqa: E402
from scapy.packet import Raw  # noqa: E402

VIN = b"TESTVEHXCLE000001"  # our own; I, O and Q are not in a VIN (ISO 3779)
FUNCTIONAL = {
    bytes.fromhex("0100"): bytes.fromhex("4100BE3EB811"),
    bytes.fromhex("0902"): bytes.fromhex("490201") + VIN,
}


def answer_to(request, functional):
    """The answer's bytes; None for silence."""
    if request in FUNCTIONAL:
        return FUNCTIONAL[request]
    if functional or not request:
        return None
    if request == bytes.fromhex("22F190"):
        return bytes(UDS() / UDS_RDBIPR(dataIdentifier=0xF190) / Raw(VIN))
    code = 0x31 if request[0] == 0x22 else 0x11  # requestOutOfRange, serviceNotSupported
    return bytes(UDS() / UDS_NR(requestServiceId=request[0], negativeResponseCode=code))


def main():
    interface, log_file = sys.argv[1], open(sys.argv[2], "w", buffering=1)
    end = time.monotonic() + float(sys.argv[3]) if len(sys.argv) > 3 else float("inf")
    physical = ISOTPNativeSocket(interface, tx_id=0x7E8, rx_id=0x7E0, padding=True)
    # Only listens: what it hears is answered over the other one. Its own tx identifier is never used.
    functional = ISOTPNativeSocket(interface, tx_id=0x6E8, rx_id=0x7DF, padding=True, listen_only=True)
    print("ready", flush=True)
    while time.monotonic() < end:
        for s in select.select([physical, functional], [], [], 0.2)[0]:
            packet = s.recv()
            t_rx = time.time_ns()
            if packet is None:
                continue
            request = bytes(packet.data)
            log_file.write("rx %d %s\n" % (t_rx, request.hex()))
            answer = answer_to(request, s is functional)
            if answer is None:
                continue
            t_tx = time.time_ns()
            physical.send(ISOTP(data=answer))
            log_file.write("tx %d %s %d\n" % (t_tx, answer.hex(), time.time_ns()))


if __name__ == "__main__":
    main()
