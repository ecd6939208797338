"""Measure on MicroPython what a cycle or bench step takes from the heap; print it as JSON.

What is ordered comes as [branch, values] on standard input: what only prepares, then the same twice. The
simulated physics allocates, so the first of both records what it says and the second, in which memory is counted
and never collected, plays that back from arrays.
"""

import gc
import json
import sys
from array import array

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[1] + "/rehearsal")

from board import Board
from codec import pack
from frames import HEAD, Encoder
from main import Device
from records import ACKNOWLEDGE, COMMAND, FINGERPRINT, GREET, HOLDING, IDLE, STANDING

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
        self.waiting, self.size, self.sent = bytearray(256), 0, 0

    def say(self, branch, *values):
        end = pack(self.encoder.raw, HEAD, branch, values)
        self.size = self.encoder.encode(end, self.waiting, self.size)

    def wait(self, us):
        return us

    def read_into(self, buffer):
        size = self.size
        for i in range(size):
            buffer[i] = self.waiting[i]
        self.size = 0
        return size

    def write(self, buffer, start, end):
        self.sent += end - start
        return end - start


def run_to(state):
    while device.cycle.state != state:
        board.idle()
        device.step()


def say(*request):
    line.say(*request)
    board.idle()
    device.step()


def run_to_the_end():
    while device.cycle.state not in (HOLDING, STANDING):
        board.idle()
        device.step()
        line.size or line.say(COMMAND, 0, None)
    line.size = 0


def counted():
    """Return bytes allocated in turns that only take samples, their number, bytes in all turns, most in a turn."""
    quiet = quiet_bytes = total_bytes = most = 0
    while device.cycle.state not in (HOLDING, STANDING):
        board.idle()
        sent, state, heard = line.sent, device.cycle.state, line.size
        before = gc.mem_alloc()
        device.step()
        used = gc.mem_alloc() - before
        total_bytes += used
        most = max(most, used)
        if line.sent == sent and device.cycle.state == state and not heard:
            quiet += 1
            quiet_bytes += used
        if line.sent != sent:
            line.say(COMMAND, 0, None)
    return {"quiet": quiet, "quiet_bytes": quiet_bytes, "total_bytes": total_bytes, "most": most}


*before, again = json.loads(sys.stdin.read())
line = Line()
board = Board({"shafts": [{"number": 1, "bow_mm": 0.1}]}, line, 1)
board.mechanics = tape = Tape(board.mechanics)
tape.words_at = tape.intervals_at = 0
device = Device(board)
run_to(IDLE)
say(GREET, 1, 0, FINGERPRINT)
for branch, values in before:
    say(branch, *values)
    if device.cycle.shaft is not None:
        run_to_the_end()
        say(ACKNOWLEDGE, device.held.shaft)
tape.play()
say(again[0], *again[1])
gc.collect()
gc.disable()
result = counted()
result["cause"] = device.cycle.cause
result["readings"] = device.held.readings
result["blocks"] = device.held.blocks
result["heap_left"] = gc.mem_free()
print(json.dumps(result))
