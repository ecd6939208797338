"""Time on MicroPython what a reading costs to keep, to pack and to frame; print it as JSON.

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


def one_shaft(held, encoder, out, steps):
    """Keep, pack and frame a shaft's turning with some rotate steps and noise a reading; return the bytes framed."""
    held.begin(1, 12500)
    count, size = 900000, 0
    for i in range(READINGS):
        count += (i * 7919) % (400 * steps + 1) - 200 * steps
        held.add(4, i * 12315 & 0x3FFFFFFF, 12500 + i % 31 - 15, steps * i, 7650, count, 0)
    held.close()
    while held.waiting():
        size += encoder.encode(held.write_next(0x3FFFFFFF, encoder.raw, HEAD), out, 0)
    return size


def figures(steps):
    """Return the time and the bytes of a reading of turning."""
    size = one_shaft(held, encoder, out, steps)
    begun = time.time_ns()
    for _ in range(ROUNDS):
        one_shaft(held, encoder, out, steps)
    passed_us = (time.time_ns() - begun) / 1000
    return {"us_per_reading": passed_us / ROUNDS / READINGS, "bytes_per_reading": size / READINGS}


held, encoder, out = Held(READINGS), Encoder(), bytearray(STUFFED_MAX)
print(json.dumps({"54": figures(15), "160": figures(5)}))
