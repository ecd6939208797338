"""Measure heap and time of a cycle of the device code on the real board's drivers, over shadows of the chip.

    micropython -X heapsize=384K tests/device/board_cycle_on_device.py DEVICE bytes|time [installed] [feeder]

Prints JSON. The program has as many steps as the device takes and nearly as many readings as it holds. What the
simulated world allocates, or how long it takes, is measured apart and subtracted. `feeder` is a gauge with one.
`installed` first runs what an installation runs at the prompt, code from standard input as JSON, and starts the gauge
on the heap that this leaves, as if the board had not been restarted.
"""

import gc
import json
import sys
import time


def as_after_an_installation(given):
    """Load all modules as the start of a board does, then run the code of an installation."""
    import main  # noqa: F401

    for code in given:
        exec(code)


if "installed" in sys.argv:
    as_after_an_installation(json.loads(sys.stdin.read()))

import board
from asking import cycle
from chip import chip
from main import Device
from records import COMMAND, FINGERPRINT, GREET, HOLDING, IDLE, KEEP_ALIVE, PROGRAM, PROTOCOL_MAJOR, PROTOCOL_MINOR
from settings import load
from wired import Host, Pressed

LONGEST = cycle(turn=1500, zero=100) + 20 * [[8, None, None, None, None, 0, 20, 5, False, 1, 1]]


def turn_of_the_loop():
    real_board.idle()
    device.step()


def say(*request):
    line.say(*request)
    turn_of_the_loop()


def moves():
    return [(motor._used[1], motor.moving()) for motor in (real_board.press, real_board.rotate)]


chip.look_us = chip.slice_us = 400
converter = chip.converter = Pressed()
for pin in (7, 15, 26):
    chip.drive(pin, 0)
line = Host()
given = load(sys.argv[1] + "/board.json")
if "feeder" in sys.argv:
    with open(sys.argv[1] + "/parts/feeder.json") as file:
        given["parts"]["feeder"] = json.load(file)
gc.collect()
real_board = board.Board(line, given)
converter.press = real_board.press
device = Device(real_board)
gc.collect()
found = {"free_after_start": gc.mem_free()}
while device.gauge.state != IDLE:
    turn_of_the_loop()
say(GREET, PROTOCOL_MAJOR, PROTOCOL_MINOR, FINGERPRINT)
say(PROGRAM, 1, False, LONGEST)
while device.gauge.state == IDLE:
    turn_of_the_loop()
gc.collect()
least = gc.mem_free()
gc.disable()
meter = chip.meter = time.ticks_us if sys.argv[2] == "time" else gc.mem_alloc
sampling, waiting = [0, 0], [0, 0]  # turns of the loop and what they took: with a sample, and with nothing at all
turns = taken = 0
while device.gauge.state != HOLDING:
    before_sent, before_state, before_moves, heard = line.sent, device.gauge.state, moves(), line.size
    sampled_us = device.gauge.cell._last_us
    chip.spent = 0
    before = meter()
    turn_of_the_loop()
    used = meter() - before - chip.spent
    taken += used
    same = (before_sent, before_state, before_moves) == (line.sent, device.gauge.state, moves())
    if same and not heard:
        kind = waiting if sampled_us == device.gauge.cell._last_us else sampling
        kind[0] += 1
        kind[1] += used
    turns += 1
    assert turns < 300000, device.gauge.state
    if turns % 50 == 0:
        least = min(least, gc.mem_free())
        gc.collect()
        real_board._collected_us = real_board.ticks_us()  # or the board would, within what is metered
    if turns % 1000 == 0:  # more often than a host does
        line.say(COMMAND, KEEP_ALIVE)
found["sampling"], found["waiting"], found["readings"] = sampling, waiting, device.held.readings
found["taken"], found["free_least"], found["cause"] = taken, least, device.gauge.cause
found["free_bytes"], found["longest_turn_us"] = real_board.free_bytes, device.answers.longest_turn_us
print(json.dumps(found))
