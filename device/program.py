"""A program of the host: its steps, checked one by one against the board's own limits before any motor moves.

A step is: the press moves, then the rotate axis turns while readings are taken. protocol/program.avsc has the fields.
"""

from micropython import const
from records import BUFFER_TOO_SMALL, NO_CONTACT, OUT_OF_RANGE, TRAVEL_LIMIT

SHAFT_MAX = const(0x3FFFFFFF)  # the chip's largest small integer
_STEPS_MAX = const(32)
_TURN_MAX = const(1 << 20)  # rotate microsteps of one step: hundreds of revolutions
STEP_S_MAX = const(300)  # of each motion of a step, and of its readings: a longer one is a mistake
_SPARE_MS = const(4000)  # before a step counts as stuck: the search for a home switch that is a little late, late turns


class RefusalError(Exception):
    """Refusal of a request: args are the code and the name of the field at fault, or an empty text."""


class Step:
    """Step of a program: the fields of the record, the longest that it may take, and where the press stood at last."""

    def __init__(self, values) -> None:
        (self.phase, self.press_steps, self.from_step, self.until_count, self.unreached, self.rotate_steps,
         self.readings, self.settle_readings, self.zero, self.press_speed, self.rotate_speed) = values  # fmt: skip
        self.most_ms = self.end = 0

    def goes_home(self) -> bool:
        """Return True if the press goes to the home switch."""
        return self.press_steps == 0 and self.from_step is None


def check(steps: list, board, home: bool, zeroed: bool) -> None:
    """Raise RefusalError for the first field that the board must not obey; set the longest time of each step.

    `home` is True if the head is at home before the program, `zeroed` if a zero is known.
    """
    if not 1 <= len(steps) <= _STEPS_MAX:
        raise RefusalError(OUT_OF_RANGE, "steps")
    room = board.READINGS
    for number, step in enumerate(steps):
        home = home if step.press_steps is None else step.goes_home()
        wrong = _out_of_range(step, number, board) or _endless(step, board)
        if step.press_steps is not None and not home and not zeroed:
            wrong = wrong or "press_steps"
        if step.zero and not (home and step.readings):  # what touches the head would be no zero
            wrong = wrong or "zero"
        if wrong:
            raise RefusalError(OUT_OF_RANGE, "{}.{}".format(number, wrong))
        zeroed = zeroed or step.zero
        room -= step.readings + step.settle_readings
        if room < 0:
            raise RefusalError(BUFFER_TOO_SMALL, "{}.readings".format(number))


def _out_of_range(step, number: int, board) -> "str | None":
    """Return the name of a field that is out of its range, None if there is none."""
    for name, low, high in (
        ("phase", 0, 255), ("from_step", 0, number - 1),
        ("press_steps", 0 if step.from_step is None else -board.PRESS_LIMIT, board.PRESS_LIMIT),
        ("until_count", 1, board.COUNT_LIMIT), ("rotate_steps", -_TURN_MAX, _TURN_MAX),
        ("readings", 0, board.READINGS), ("settle_readings", 0, 100), ("rotate_speed", 1, board.ROTATE_SPEED_MAX),
        ("press_speed", 1, board.PRESS_SPEED_MAX if step.goes_home() else board.DOWN_SPEED_MAX),
    ):  # fmt: skip
        value = getattr(step, name)
        if value is not None and not low <= value <= high:
            return name
    return None if step.unreached in (None, NO_CONTACT, TRAVEL_LIMIT) else "unreached"


def _endless(step, board) -> "str | None":
    """Return the name of a field that makes the step too long, None if none does; set the step's time without press."""
    turning = abs(step.rotate_steps) // step.rotate_speed + step.rotate_speed // board.ROTATE_ACCELERATION
    reading = (step.readings + step.settle_readings) * board.INTERVAL_US // 1000000
    step.most_ms = 1000 * (turning + reading) + _SPARE_MS
    if turning > STEP_S_MAX:
        return "rotate_speed"
    return "readings" if reading > STEP_S_MAX else None
