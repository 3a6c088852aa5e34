# SPDX-License-Identifier: Apache-2.0
"""Decodes OBD answers with scapy's contrib/automotive/obd: hex lines on stdin, one JSON object on stdout.

An answer of service 41 gives {"values": [...], "flags": [...]} of its first PID; of 46 {"mid", "values"}.
"""
import json
import logging
import sys

logging.disable(50)
try:
    from scapy.main import load_contrib
    load_contrib('automotive.obd.obd')
    from scapy.contrib.automotive.obd.mid.mids import OBD_S06_PR_Record
    from scapy.contrib.automotive.obd.obd import OBD
except ImportError:
    print('{}')
    sys.exit(0)


def decoded(line):
    record = OBD(bytes.fromhex(line)).data_records[0]
    out = {'values': [], 'flags': []}
    for field in record.payload.fields_desc:
        value = record.payload.getfieldval(field.name)
        if type(value).__name__ == 'FlagValue':
            out['flags'] = str(value).split('+') if value else []
        elif isinstance(value, (int, float)) and not field.name.startswith('reserved'):
            out['values'].append(value)
    if line.startswith('46'):
        out['mid'] = OBD_S06_PR_Record.fields_desc[0].i2s.get(record.mid, '')
    return out


print(json.dumps({line: decoded(line) for line in sys.stdin.read().split()}))
