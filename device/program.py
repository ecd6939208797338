"""A program of the host: its steps, checked one by one against the board's own limits before any motor moves.

A step is: the press moves, then the rotate axis turns while readings are taken. protocol/program.avsc has the fields.
"""

from micropython import const
from records import BUFFER_TOO_SMALL, NO_CONTACT, OUT_OF_RANGE, TRAVEL_LIMIT

SHAFT_MAX = const(0x3FFFFFFF)  # the chip's largest small integer
_STEPS_MAX = const(32)
_TURN_MAX = const(1 << 20)  # rotate microsteps of one step: hundreds of revolutions
_STEP_S_MAX = const(300)  # of one step: by then a plan is a mistake
_SPARE_MS = const(4000)  # before a step counts as stuck: the search for a home switch that is a little late, late turns
_MORE_READINGS = const(3)  # that come in a step while the loop notices ends
_PARTS = const(16)  # of a second: times are counted in these, all of them small integers
_PART_US = const(62500)


class RefusalError(Exception):
    """Refusal of a request: args are the code and the name of the field at fault, or an empty text."""


class Step:
    """Step of a program; its attributes are the fields of the record."""

    def __init__(self, values) -> None:
        (self.phase, self.press_steps, self.from_step, self.until_count, self.unreached, self.rotate_steps,
         self.readings, self.settle_readings, self.zero, self.press_speed, self.rotate_speed) = values  # fmt: skip
        self.most_ms = 0  # the longest time that it may take


class Check:
    """Check of a program from a state of the gauge: `at` is where the press stands, `zeroed` if a zero is known.

    It follows the lowest and the highest place where the head can be, because a load may stop it anywhere on its way.
    """

    def __init__(self, board, at: int, zeroed: bool) -> None:
        self._board = board
        self._low = self._high = at
        self._zeroed = zeroed
        self._ends: list = []  # lowest and highest place at the end of each step

    def steps(self, steps: list) -> None:
        """Raise RefusalError for the first step that the board must not run, or if there is no room for the readings.

        Each step gets the longest time that it may take.
        """
        if not 1 <= len(steps) <= _STEPS_MAX:
            raise RefusalError(OUT_OF_RANGE, "steps")
        readings = 0
        fast_us = self._board.INTERVAL_US * 15 // 16  # a fast oscillator gives more readings
        for number, step in enumerate(steps):
            try:
                parts = self._longest(step, self._step(step))
            except RefusalError as refusal:
                raise RefusalError(refusal.args[0], "{}.{}".format(number, refusal.args[1])) from None
            step.most_ms = 1000 * parts // _PARTS + _SPARE_MS
            readings += parts * _PART_US // fast_us + _MORE_READINGS
            self._ends.append((self._low, self._high))
        if readings > self._board.READINGS:
            raise RefusalError(BUFFER_TOO_SMALL, "steps")

    def _step(self, step) -> int:
        """Check the fields of a step; return the longest way that the press can go in it."""
        board = self._board
        _within(step, "phase", 0, 255)
        _within(step, "rotate_steps", -_TURN_MAX, _TURN_MAX)
        _within(step, "readings", 0, board.READINGS)
        _within(step, "settle_readings", 0, 100)
        _within(step, "rotate_speed", 1, board.ROTATE_SPEED_MAX)
        if step.until_count is not None:
            _within(step, "until_count", 1, board.COUNT_LIMIT)
        if step.unreached not in (None, NO_CONTACT, TRAVEL_LIMIT):
            raise RefusalError(OUT_OF_RANGE, "unreached")
        if step.from_step is not None:
            _within(step, "from_step", 0, len(self._ends) - 1)
        way = 0 if step.press_steps is None else self._press(step)
        if step.zero:
            if self._high or not step.readings:  # what touches the head would be taken for nothing
                raise RefusalError(OUT_OF_RANGE, "zero")
            self._zeroed = True
        return way

    def _press(self, step) -> int:
        """Check where the press goes; return its longest way."""
        board, low, high = self._board, self._low, self._high
        if step.from_step is None:
            _within(step, "press_steps", 0, board.PRESS_LIMIT)
            to_low = to_high = step.press_steps
        else:
            _within(step, "press_steps", -board.PRESS_LIMIT, board.PRESS_LIMIT)
            ends = self._ends[step.from_step]
            to_low, to_high = [min(max(0, end + step.press_steps), board.PRESS_LIMIT) for end in ends]
        if to_high and not self._zeroed:
            raise RefusalError(OUT_OF_RANGE, "press_steps")
        _within(step, "press_speed", 1, board.DOWN_SPEED_MAX if to_high else board.PRESS_SPEED_MAX)
        self._low = min(low, to_low) if step.until_count is not None else to_low
        self._high = to_high
        return max(to_high - low, high - to_low)

    def _longest(self, step, way: int) -> int:
        """Return the longest time of a step in parts of a second."""
        board = self._board
        pressing = turning = 0
        if way:
            pressing = _PARTS * way // step.press_speed + _PARTS * step.press_speed // board.PRESS_ACCELERATION + 1
        if step.rotate_steps:
            ramps = _PARTS * step.rotate_speed // board.ROTATE_ACCELERATION
            turning = _PARTS * abs(step.rotate_steps) // step.rotate_speed + ramps + 1
        reading = (step.readings + step.settle_readings) * board.INTERVAL_US // _PART_US + 1
        for name, parts in (("press_speed", pressing), ("rotate_speed", turning), ("readings", reading)):
            if parts > _PARTS * _STEP_S_MAX:
                raise RefusalError(OUT_OF_RANGE, name)
        return pressing + max(turning, reading)


def _within(step, name: str, low: int, high: int) -> None:
    if not low <= getattr(step, name) <= high:
        raise RefusalError(OUT_OF_RANGE, name)
