"""Let records wait for a slow line on MicroPython; print as JSON the most heap that a record takes."""

import gc
import json
import sys

sys.path.insert(0, sys.argv[1])

from frames import Decoder
from outbox import Outbox
from records import REPLY

SLOWLY = 30  # bytes that the line takes at once


class Line:
    """Line that takes few bytes and counts broken frames among them."""

    boot = 1

    def __init__(self):
        self.decoder = Decoder()
        self.emptied = self.waiting_most = self.before = 0

    def write(self, buffer, start, end):
        self.emptied += start == 0 and self.before > 0
        self.waiting_most = max(self.waiting_most, end - start)
        size = min(SLOWLY, end - start)
        for i in range(start, start + size):
            self.decoder.push(buffer[i])
        self.before = start
        return size


class Held:
    """Store without waiting blocks."""

    def waiting(self):
        return False


line = Line()
outbox = Outbox(line, Held())
most = 0
for _ in range(1000):
    gc.collect()
    gc.disable()
    for number in range(3):
        before = gc.mem_alloc()
        outbox.record(REPLY, (1, number, None, "place"))
        most = max(most, gc.mem_alloc() - before)
    gc.enable()
    outbox.send()
print(
    json.dumps({"most": most, "emptied": line.emptied, "waiting_most": line.waiting_most, "broken": line.decoder.bad})
)
