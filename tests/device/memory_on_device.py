"""Measure on MicroPython what a cycle or a calibration's step takes from the heap; print it as JSON.

The programs come as [shaft, stand, steps] on standard input: what only prepares, then the same twice. The
simulated physics allocates, so the first of both records what it says and the second, in which memory is counted
and never collected, plays that back from arrays.
"""

import gc
import json
import sys
from array import array

gc.threshold(8192)  # as run.py does while it imports
sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[1] + "/rehearsal")

from board import Board
from codec import pack, put, put_int
from frames import HEAD, Encoder
from main import Device
from records import ACKNOWLEDGE, COMMAND, FINGERPRINT, GREET, HOLDING, IDLE, PROGRAM, STANDING, STEP

gc.threshold(-1)
LENGTH = 1800  # samples, more than a cycle has


class Tape:
    """Mechanics that play back what other mechanics gave."""

    marked, hang_s, noisier = None, 0.0, 1.0

    def __init__(self, gauge):
        self.gauge = gauge
        self.truths = gauge.truths
        self.instants = gauge.instants
        self.words, self.intervals = array("i", [0] * LENGTH), array("i", [0] * LENGTH)
        self.read = [0, 1]
        self.playing = False
        self.set_angle_origin = gauge.set_angle_origin
        self.warm_to = gauge.warm_to

    def feed(self, number, now_us, rotate):
        self.gauge.feed(number, now_us, rotate)
        self.words_at = self.intervals_at = 0

    def bench(self, step, rotate):
        self.gauge.bench(step, rotate)
        self.words_at = self.intervals_at = 0

    def lost_steps(self):
        return 0

    def interval_us(self):
        if not self.playing:
            self.intervals[self.intervals_at] = self.gauge.interval_us()
        self.intervals_at += 1
        return self.intervals[self.intervals_at - 1]

    def play(self):
        self.playing = True
        self.instants = ()

    def move(self, now_us, press, rotate):
        self.gauge.move(now_us, press, rotate)

    def sample(self):
        if not self.playing:
            self.words[self.words_at] = self.gauge.sample()[0]
        self.read[0] = self.words[self.words_at]
        self.words_at += 1
        return self.read


class Line:
    """Host that only keeps alive; `say` puts a request on the line, and bytes of the device are counted."""

    closed = False

    def __init__(self):
        self.encoder = Encoder()
        self.waiting, self.size, self.sent = bytearray(2048), 0, 0

    def say(self, branch, *values):
        self._send(pack(self.encoder.raw, HEAD, branch, values))

    def order(self, shaft, stand, steps):
        """Put a program on the line; the device itself packs no array of records."""
        raw = self.encoder.raw
        at = put_int(raw, put_int(raw, HEAD, PROGRAM), shaft)
        raw[at] = stand
        at = put_int(raw, at + 1, len(steps))
        for step in steps:
            at = put(raw, at, STEP, step)
        self._send(put_int(raw, at, 0))

    def _send(self, end):
        self.size = self.encoder.encode(end, self.waiting, self.size)

    def wait(self, us):
        return us

    def read_into(self, buffer):
        size = min(self.size, len(buffer))
        self.size -= size
        for i in range(size):
            buffer[i] = self.waiting[i]
        for i in range(self.size):
            self.waiting[i] = self.waiting[size + i]
        return size

    def write(self, buffer, start, end):
        self.sent += end - start
        return end - start


def run_to(state):
    while device.gauge.state != state:
        board.idle()
        device.step()


def say(*request):
    line.say(*request)
    hear()


def hear():
    while line.size:
        board.idle()
        device.step()


def run_to_the_end():
    while device.gauge.state not in (HOLDING, STANDING):
        board.idle()
        device.step()
        line.size or line.say(COMMAND, 0)
    line.size = 0


def counted():
    """Return bytes allocated in turns that only take samples, their number, bytes in all turns, most in a turn."""
    quiet = quiet_bytes = total_bytes = most = 0
    while device.gauge.state not in (HOLDING, STANDING):
        board.idle()
        sent, state, heard = line.sent, device.gauge.state, line.size
        before = gc.mem_alloc()
        device.step()
        used = gc.mem_alloc() - before
        total_bytes += used
        most = max(most, used)
        if line.sent == sent and device.gauge.state == state and not heard:
            quiet += 1
            quiet_bytes += used
        if line.sent != sent:
            line.say(COMMAND, 0)
    return {"quiet": quiet, "quiet_bytes": quiet_bytes, "total_bytes": total_bytes, "most": most}


*before, again = json.loads(sys.stdin.read())
line = Line()
board = Board({"shafts": [{"number": 1, "bow_mm": 0.1}]}, line, 1)
board.temperature_centi = lambda: 2100  # the simulated room allocates, a chip's converter does not
board.mechanics = tape = Tape(board.mechanics)
tape.words_at = tape.intervals_at = 0
device = Device(board)
run_to(IDLE)
say(GREET, 2, 1, FINGERPRINT)
for program in before:
    line.order(*program)
    hear()
    run_to_the_end()
    say(ACKNOWLEDGE, device.held.shaft)
tape.play()
line.order(*again)
hear()
gc.collect()
gc.disable()
result = counted()
result["cause"] = device.gauge.cause
result["readings"] = device.held.readings
result["blocks"] = device.held.blocks
result["heap_left"] = gc.mem_free()
print(json.dumps(result))
