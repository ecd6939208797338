"""Commands for a person at the prompt while the gauge is not running: show inputs, read words, move slowly.

`midspan board check` loads this when the service jumper is on. Answers are printed as JSON.

    from parts import service
    service.look()  # {"home": false, "lid": false, "stop": false}
    service.move(0, 400, 1250)  # the press, 400 microsteps down, 800 a second
"""

import json
import sys
from array import array

from board import SETTINGS, Board
from inputs import GUARDS, LID, STOP
from line import Line
from load_cell import elapsed_us
from micropython import const
from settings import load

_PATIENCE_US = const(1000000)  # for a word; the slowest converter takes a tenth of it


def _board() -> Board:
    given = load(SETTINGS)
    given["watchdog_ms"] = 0  # nothing would feed it here
    return Board(Line(sys.stdin.buffer, sys.stdout.buffer), given)  # the prompt's own line; nothing here uses it


def _bits() -> dict:
    bits = {"lid": LID, "stop": STOP}
    if board.feeder is not None:
        from parts.servos import INPUTS

        bits.update({name: 1 << i for i, name in enumerate(INPUTS)})
    return bits


board = _board()
bits = _bits()


def _state(name: str) -> bool:
    for _ in range(3):  # the inputs want two equal looks in a row
        board.idle()
    return bool(board.home_closed() if name == "home" else board.inputs() & bits[name])


def _for(left_us: int):
    """Yield turns of a loop until a time has passed."""
    before_us = board.ticks_us()
    while left_us > 0:
        yield
        now_us = board.ticks_us()
        left_us -= elapsed_us(now_us, before_us)
        before_us = now_us


def look() -> None:
    """Print the state of each input."""
    print(json.dumps({name: _state(name) for name in ["home"] + list(bits)}))


def watch(name: str, seconds: int) -> None:
    """Print how often an input changed, after two changes or some seconds."""
    state, changes = _state(name), 0
    for _ in _for(1000000 * seconds):
        if _state(name) != state:
            state, changes = not state, changes + 1
        if changes == 2:
            break
    print(json.dumps(changes))


def words(number: int) -> None:
    """Print tick, word and correctness of the trailing bits for some samples, or for those that came in time."""
    sample = array("i", [0] * 5)
    found: list = []
    while board.cell_take(sample):
        pass  # those from before the question
    while len(found) < number:
        for _ in _for(_PATIENCE_US):
            board.idle()
            if board.cell_take(sample):
                found.append(list(sample[:3]))
                break
        else:
            break
    print(json.dumps(found))


def move(axis: int, steps: int, period_us: int) -> None:
    """Move slowly by a few steps, positive down or forward, and print the steps made.

    Stops at the home switch on the way up, at an open lid and at the emergency stop.
    """
    motor = (board.press, board.rotate)[axis]
    begun = motor.position()
    upward = motor is board.press and steps < 0
    pair = array("i", [period_us, abs(steps)])
    motor.play(1 if steps > 0 else -1, pair, 1, pair, 0)
    try:
        for _ in _for(2 * abs(steps) * period_us):
            if not motor.moving() or board.inputs() & GUARDS or (upward and board.home_closed()):
                break
            board.idle()
    finally:
        motor.halt()
    print(json.dumps(motor.position() - begun))
