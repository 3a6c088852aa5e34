# SPDX-License-Identifier: Apache-2.0
"""Decodes KWP2000 messages with scapy's contrib/automotive/kwp: hex lines on stdin, one JSON object on stdout.

Of each: {"service", "option" (1A, 5A: number and name), "load" (what follows), "of" and "code" (7F)}.
"""
import json
import logging
import sys

logging.disable(50)
try:
    from scapy.main import load_contrib
    load_contrib('automotive.kwp')
    from scapy.contrib.automotive.kwp import KWP, KWP_NR, KWP_RECUI, KWP_RECUIPR
except ImportError:
    print('{}')
    sys.exit(0)


def decoded(line):
    message = KWP(bytes.fromhex(line))
    out = {'service': KWP.services.get(message.service, '')}
    for layer in (KWP_RECUI, KWP_RECUIPR):
        if layer in message:
            number = message[layer].localIdentifier
            out['option'] = number
            out['name'] = KWP_RECUI.localIdentifiers.get(number, '')
            out['load'] = bytes(message[layer].payload).hex()
    if KWP_NR in message:
        out['of'] = message[KWP_NR].requestServiceId
        out['code'] = KWP_NR.negativeResponseCodes.get(message[KWP_NR].negativeResponseCode, '')
    return out


print(json.dumps({line: decoded(line) for line in sys.stdin.read().split()}))
