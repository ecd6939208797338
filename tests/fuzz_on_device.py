"""Gives the device on the rehearsal board what standard input holds, and says as JSON what became of it.

Standard input: pieces, each two bytes of length, least significant first, and so many bytes; what a piece holds comes
at one turn of the loop. The length 65535 without bytes stands for the acknowledgement of whatever is held, which only
a host that listens can know. Everything the device's code raises ends this program.
"""

import gc
import json
import sys

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[1] + "/rehearsal")

from board import Board
from cycle import INTERNAL, STATES
from frames import HEAD, STUFFED_MAX, Decoder, Encoder
from main import Device
from records import ACKNOWLEDGE, FAULT, FAULT_CODES, IDENTIFY, pack

PIECES_BETWEEN = 500  # looks at the memory


class Line:
    """Hands out one piece at a time and counts what the device says."""

    closed = False

    def __init__(self):
        self.piece, self.at = b"", 0
        self.decoder = Decoder()
        self.identified = self.said = 0
        self.faults = [0] * len(FAULT_CODES)

    def next(self):
        """Take the next piece; False at the end."""
        head = sys.stdin.buffer.read(2)
        if len(head) < 2:
            return False
        size = head[0] | head[1] << 8
        self.piece, self.at = acknowledgement() if size == 0xFFFF else sys.stdin.buffer.read(size), 0
        return True

    def wait(self, us):
        return us

    def read_into(self, buffer):
        size = min(len(buffer), len(self.piece) - self.at)
        for i in range(size):
            buffer[i] = self.piece[self.at + i]
        self.at += size
        return size

    def write(self, buffer, start, end):
        for i in range(start, end):
            if self.decoder.push(buffer[i]):
                self.hear(self.decoder.frame)
        return end - start

    def hear(self, frame):
        self.said += 1
        if frame[HEAD] == 2 * IDENTIFY:
            self.identified += 1
        elif frame[HEAD] == 2 * FAULT:
            self.faults[frame[HEAD + 1] // 2] += 1


def acknowledgement():
    end = pack(encoder.raw, HEAD, ACKNOWLEDGE, (device.held.shaft or 0,))
    stuffed = bytearray(STUFFED_MAX)
    return bytes(1) + bytes(stuffed[: encoder.encode(end, stuffed, 0)])


encoder = Encoder()
line = Line()
device = Device(Board({"shafts": [{"number": n} for n in range(8)]}, line, 1))
seen = [0] * len(STATES)
least = most = turns = pieces = 0
while line.next():
    pieces += 1
    while True:
        device.board.idle()
        device.step()
        turns += 1
        seen[device.cycle.state] += 1
        if line.at == len(line.piece):
            break
    if pieces % PIECES_BETWEEN == 0:
        gc.collect()
        now = gc.mem_alloc()
        most = max(most, now)
        least = min(least or now, now)
print(
    json.dumps(
        {
            "pieces": pieces,
            "turns": turns,
            "said": line.said,
            "bad": line.decoder.bad,
            "identified": line.identified,
            "internal": line.faults[INTERNAL],
            "faults": {FAULT_CODES[i]: line.faults[i] for i in range(len(FAULT_CODES)) if line.faults[i]},
            "seen": {STATES[i]: seen[i] for i in range(len(STATES)) if seen[i]},
            "least_bytes": least,
            "most_bytes": most,
        }
    )
)
