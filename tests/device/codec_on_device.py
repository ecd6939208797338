"""Pack and unpack what standard input asks for, with the device's code; runs on MicroPython and CPython.

Standard input: JSON with "pack", a list of [branch, values]; "unpack", a list of data in hexadecimal; "blocks", a
list of [shaft, interval_us, [reading or null to close the block]]. Standard output: the same keys with the results.
"""

import json
import sys

sys.path.insert(0, sys.argv[1])

from codec import Unpacker, pack
from held import Held
from records import RECORDS


def packed(branch, values):
    buffer = bytearray(1024)
    for i in range(len(values)):
        if RECORDS[branch][i] == "Fingerprint":
            values[i] = bytes.fromhex(values[i])
    return bytes(buffer[: pack(buffer, 0, branch, tuple(values))]).hex()


def unpacked(data):
    data = bytearray(bytes.fromhex(data))
    reader = Unpacker(data, 0, len(data))
    return [reader.branch, [value.hex() if isinstance(value, bytes) else value for value in reader.values()]]


def blocks(shaft, interval_us, readings):
    held = Held(bytearray(60000))
    held.begin(shaft, interval_us)
    for reading in readings:
        if reading is None:
            held.close()
        else:
            held.add(*reading)
    held.close()
    written = []
    out = bytearray(1024)
    while held.waiting():
        written.append(bytes(out[: held.write_next(out, 0)]).hex())
    return [written, held.readings, held.used()]


job = json.loads(sys.stdin.read())
print(
    json.dumps(
        {
            "pack": [packed(*item) for item in job.get("pack", [])],
            "unpack": [unpacked(item) for item in job.get("unpack", [])],
            "blocks": [blocks(*item) for item in job.get("blocks", [])],
        }
    )
)
