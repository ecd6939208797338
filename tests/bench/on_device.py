"""Times on MicroPython what a reading costs to pack and to frame; prints it as JSON.

micropython -X heapsize=384K tests/bench/on_device.py DEVICE_FOLDER
"""

import json
import sys
import time

sys.path.insert(0, sys.argv[1])

from frames import HEAD, STUFFED_MAX, Encoder
from held import Held

READINGS = 1280
ROUNDS = 20


def one_shaft(held, encoder, out):
    """Pack and frame a shaft's turning: 5 rotate steps and some noise a reading; return the bytes framed."""
    held.begin(1, 12500)
    count, size = 900000, 0
    for i in range(READINGS):
        count += (i * 7919) % 2001 - 1000
        held.add(4, i * 12315 & 0x3FFFFFFF, 12500 + i % 31 - 15, 5 * i, 7650, count, 0)
    held.close()
    while held.waiting():
        size += encoder.encode(held.write_next(encoder.raw, HEAD), out, 0)
    return size


held, encoder, out = Held(bytearray(16384)), Encoder(), bytearray(STUFFED_MAX)
size = one_shaft(held, encoder, out)
begun = time.time_ns()
for _ in range(ROUNDS):
    one_shaft(held, encoder, out)
passed_us = (time.time_ns() - begun) / 1000
print(json.dumps({"us_per_reading": passed_us / ROUNDS / READINGS, "bytes_per_reading": size / READINGS}))
