"""Feed standard input to the device on the rehearsal board and print the outcome as JSON.

Standard input holds pieces: two bytes of length, least significant first, and that many bytes. A piece arrives at one
turn of the loop. The length 65535, without bytes, acts for a host that listens: it acknowledges what is held and
releases what lies in the gauge. Every error of the device's code ends this program.
"""

import gc
import json
import sys
from array import array

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[1] + "/rehearsal")

from board import Board
from codec import pack
from frames import HEAD, STUFFED_MAX, Decoder, Encoder
from main import Device
from records import ACKNOWLEDGE, FAULT, FAULT_CODES, IDENTIFY, INTERNAL, RELEASE, STATES

PIECES_BETWEEN = 500  # looks at the memory


class Line:
    """Line that hands out a piece at a time and counts what the device sends."""

    closed = False

    def __init__(self):
        self.piece, self.at = b"", 0
        self.decoder = Decoder()
        self.identified = self.said = 0
        self.faults = [0] * len(FAULT_CODES)

    def next(self):
        """Take the next piece; return False at the end."""
        head = sys.stdin.buffer.read(2)
        if len(head) < 2:
            return False
        size = head[0] | head[1] << 8
        self.piece, self.at = clearing() if size == 0xFFFF else sys.stdin.buffer.read(size), 0
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
            self.faults[frame[HEAD + 2] // 2] += 1  # after the boot number, which is of one byte here


def clearing():
    held, here = device.held.shaft, device.gauge.in_gauge
    return bytes(1) + framed(ACKNOWLEDGE, (held or 0,)) + framed(RELEASE, (here or 0, 1))


def framed(branch, values):
    stuffed = bytearray(STUFFED_MAX)
    end = encoder.encode(pack(encoder.raw, HEAD, branch, values), stuffed, 0)
    return bytes(stuffed[:end])


encoder = Encoder()
line = Line()
SHAFTS = [{"number": n} for n in range(8)]
HOPPER = [1] * 2000  # never empty
device = Device(Board({"shafts": SHAFTS, "feeder": {"hopper": HOPPER, "slot": 2, "return_place": 6}}, line, 1))
seen = [0] * len(STATES)
looks = array("i", [0] * 1000)  # at the memory in use; no list, which would grow
looked = turns = pieces = 0
while line.next():
    pieces += 1
    while True:
        device.board.idle()
        device.step()
        turns += 1
        seen[device.gauge.state] += 1
        if line.at == len(line.piece):
            break
    if pieces % PIECES_BETWEEN == 0:
        gc.collect()
        looks[looked] = gc.mem_alloc()
        looked += 1
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
            "used_bytes": list(looks[:looked]),
        }
    )
)
