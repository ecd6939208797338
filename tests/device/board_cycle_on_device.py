"""Measure heap and time of a cycle of the device code on the real board's drivers, over shadows of the chip.

    micropython -X heapsize=384K tests/device/board_cycle_on_device.py DEVICE bytes|time

Prints JSON. The plan is the longest that the device takes. What the simulated world allocates, or how long it takes,
is measured apart and subtracted.
"""

import gc
import json
import sys
import time

import board
from chip import chip
from main import Device
from plan import Plan, RefusalError, check_room
from records import COMMAND, CYCLE_PLAN, FINGERPRINT, GREET, HOLDING, IDLE, PROTOCOL_MAJOR, PROTOCOL_MINOR
from settings import load
from wired import Host, Pressed

ORDER = (1, 1)  # MEASURE shaft 1
TRAVEL = 28000
LIGHT, FULL = 94000, 941000


def longest(face):
    """Return the plan with the longest turns that the device has room for."""
    turn = 1
    for step in (4096, 1024, 256, 64, 16, 4, 1):
        while room(face, turn + step):
            turn += step
    return plan_values(turn)


def plan_values(turn):
    return [LIGHT, FULL, 2600, TRAVEL, 100, 200, turn, turn, 100, 20, 6400, 2400, 400]


def room(face, turn):
    try:
        check_room(Plan(plan_values(turn), face), face)
    except RefusalError:
        return False
    return True


def turn_of_the_loop():
    real_board.idle()
    device.step()


def say(*request):
    line.say(*request)
    turn_of_the_loop()


def moves():
    return [(motor._half, motor.moving()) for motor in (real_board.press, real_board.rotate)]


chip.look_us = chip.slice_us = 400
converter = chip.converter = Pressed()
for pin in (7, 15, 26):
    chip.drive(pin, 0)
line = Host()
given = load(sys.argv[1] + "/board.json")
gc.collect()
real_board = board.Board(given, line)
converter.press = real_board.press
device = Device(real_board)
gc.collect()
found = {"free_after_start": gc.mem_free()}
while device.cycle.state != IDLE:
    turn_of_the_loop()
say(GREET, PROTOCOL_MAJOR, PROTOCOL_MINOR, FINGERPRINT)
say(CYCLE_PLAN, *longest(real_board))
say(COMMAND, *ORDER)
gc.collect()
least = gc.mem_free()
gc.disable()
meter = chip.meter = time.ticks_us if sys.argv[2] == "time" else gc.mem_alloc
sampling, waiting = [0, 0], [0, 0]  # turns of the loop and what they took: with a sample, and with nothing at all
turns = 0
while device.cycle.state != HOLDING:
    before_sent, before_state, before_moves, heard = line.sent, device.cycle.state, moves(), line.size
    sampled_us = device.cycle.cell._last_us
    chip.spent = 0
    before = meter()
    turn_of_the_loop()
    used = meter() - before - chip.spent
    same = (before_sent, before_state, before_moves) == (line.sent, device.cycle.state, moves())
    if same and not heard:
        kind = waiting if sampled_us == device.cycle.cell._last_us else sampling
        kind[0] += 1
        kind[1] += used
    turns += 1
    assert turns < 300000, device.cycle.state
    if turns % 50 == 0:
        least = min(least, gc.mem_free())
        gc.collect()
    if turns % 200 == 0:
        line.say(COMMAND, 0, None)
found["sampling"], found["waiting"], found["readings"] = sampling, waiting, device.held.readings
found["free_least"], found["cause"] = least, device.cycle.cause
print(json.dumps(found))
