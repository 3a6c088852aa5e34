#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""other.py IFACE CASE: a read-out attempt by kernel ISO-TP sockets on IFACE, the other equipment and its module alike.
The other equipment (7A1, hears 7A9) asks 22 with six identifiers, a request in two frames, so that a receiver that is
there shows itself by its flow control. CASE is what receives it:

  none      nobody asks either          absent    no socket: no flow control, no answer
  mute      takes the request, says nothing         refusing  7F 22 33
  pending   7F 22 78, then nothing      cut       a long answer; the socket is torn down in its middle
  complete  a long answer to its end"""
import os
import signal
import socket
import struct
import sys
import time

SOL_CAN_ISOTP, CAN_ISOTP_RECV_FC = 106, 2  # linux/can/isotp.h
REQUEST = bytes.fromhex("22F187F188F189F18AF18BF18C")
LONG = bytes.fromhex("62F187") + bytes(range(256)) + bytes(44)


def isotp(interface, rx, tx):
    s = socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP)
    # Block size 0, STmin 50 ms: a long answer takes 2 s.
    s.setsockopt(SOL_CAN_ISOTP, CAN_ISOTP_RECV_FC, struct.pack("BBB", 0, 50, 0))
    s.bind((interface, rx, tx))
    return s


def module(interface, case):
    s = isotp(interface, 0x7A1, 0x7A9)
    s.recv(4096)
    time.sleep(0.02)
    if case == "refusing":
        s.send(bytes.fromhex("7F2233"))
    elif case == "pending":
        s.send(bytes.fromhex("7F2278"))
    elif case in ("cut", "complete"):
        s.send(LONG)
    time.sleep(30)  # until it is killed; what is queued goes out meanwhile


def main():
    interface, case = sys.argv[1:]
    if case == "none":
        return
    child = 0
    if case != "absent":
        child = os.fork()
        if child == 0:
            module(interface, case)
            return
        time.sleep(1)
    s = isotp(interface, 0x7A9, 0x7A1)
    s.settimeout(4)
    s.send(REQUEST)
    if case == "cut":
        time.sleep(0.8)
        os.kill(child, signal.SIGKILL)
    try:
        print(s.recv(4096).hex()[:20])
    except OSError as e:
        print(e)
    if child:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)


if __name__ == "__main__":
    main()
