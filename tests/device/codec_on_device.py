"""Pack and unpack what standard input asks for, with the device's code; runs on MicroPython and CPython.

Standard input: JSON with "pack", a list of [branch, values]; "unpack", a list of data in hexadecimal; "blocks", a
list of [shaft, interval_us, [reading, mark or null to close the block]]. Standard output: the same keys with results.
"""

import json
import sys

sys.path.insert(0, sys.argv[1] + "/rehearsal")  # stands in for modules of MicroPython itself
sys.path.insert(0, sys.argv[1])

from codec import Unpacker, pack
from frames import FRAME_MAX
from held import Held
from records import RECORDS

BOOT = 0x3FFFFFFF


def packed(branch, values):
    buffer = bytearray(FRAME_MAX)
    for i in range(len(values)):
        if RECORDS[branch][i] == ("fixed", 8):
            values[i] = bytes.fromhex(values[i])
    return bytes(buffer[: pack(buffer, 0, branch, tuple(values))]).hex()


def unpacked(data):
    data = bytearray(bytes.fromhex(data))
    reader = Unpacker(data, 0, len(data))
    return [reader.branch, [value.hex() if isinstance(value, bytes) else value for value in reader.values()]]


def blocks(shaft, interval_us, entries):
    """Return the blocks of a store in hexadecimal, as it writes them twice, and the number of their readings."""
    held = Held(1000)
    held.begin(shaft, interval_us)
    for entry in entries:
        if entry is None:
            held.close()
        elif isinstance(entry, int):
            held.mark(entry)
        else:
            held.add(*entry)
    held.close()
    first = written(held)
    for block in range(held.blocks):
        held.want(block)
    return [first, written(held), held.readings]


def written(held):
    out = bytearray(FRAME_MAX)
    found = []
    while held.waiting():
        found.append(bytes(out[: held.write_next(BOOT, out, 0)]).hex())
    return found


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
