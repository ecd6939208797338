"""The cycle plan and the bench step: checked field by field against the device's own limits before any motor moves."""

from held import BLOCK_BYTES, BLOCKS_MAX, READINGS_MAX
from records import BUFFER_TOO_SMALL, OUT_OF_RANGE
from stepper import SPEED_MAX

SHAFT_MAX = 0x3FFFFFFF  # the chip's largest small integer
STEPS_MAX = 1 << 20  # rotate microsteps of one turn: hundreds of revolutions
READING_BYTES = 11  # at worst: lateness 2, rotate 2, press 2, count 4, and a share of the block's head and statuses
FIXED_READINGS = 200  # ramps, waits for the next reading, first readings of phases


class RefusalError(Exception):
    """Refusal of a request: args are the code and the name of the field at fault, or an empty text."""


def check_room(request, board) -> None:
    """Raise RefusalError if a plan or step could give more readings than the board has room for."""
    readings = request.most_readings(board.INTERVAL_US * 15 // 16)  # a fast oscillator gives more
    if readings * READING_BYTES + 2 * BLOCK_BYTES > len(board.STORE) or readings // READINGS_MAX + 12 > BLOCKS_MAX:
        raise RefusalError(BUFFER_TOO_SMALL, "")


class Request:
    """Request with its fields as attributes."""

    def _check(self, name: str, low: int, high: int) -> None:
        if not low <= getattr(self, name) <= high:
            raise RefusalError(OUT_OF_RANGE, name)

    def _check_speed(self, name: str, most: int) -> None:
        self._check(name, 1, min(most, SPEED_MAX))


class Plan(Request):
    """Fields of CyclePlan; raises RefusalError if a field is out of the device's range."""

    def __init__(self, values, board) -> None:
        (self.light_count, self.full_count, self.clearance_steps, self.travel_steps, self.takeup_steps,
         self.seat_steps, self.turn_steps, self.turn_again_steps, self.zero_readings, self.settle_readings,
         self.press_speed, self.approach_speed, self.rotate_speed) = values  # fmt: skip
        self._check("light_count", 1, board.COUNT_LIMIT)
        self._check("full_count", self.light_count + 1, board.COUNT_LIMIT)
        self._check("travel_steps", 1, board.PRESS_LIMIT)
        self._check("clearance_steps", 0, self.travel_steps)
        self._check("takeup_steps", 0, board.PRESS_LIMIT)
        self._check("seat_steps", 0, STEPS_MAX)
        self._check("turn_steps", 1, STEPS_MAX)
        self._check("turn_again_steps", 1, STEPS_MAX)
        self._check("zero_readings", 1, 1000)
        self._check("settle_readings", 0, 100)
        self._check_speed("press_speed", board.PRESS_SPEED_MAX)
        self._check_speed("approach_speed", board.PRESS_SPEED_MAX)
        self._check_speed("rotate_speed", board.ROTATE_SPEED_MAX)

    def most_readings(self, interval_us: int) -> int:
        """Return the most readings that a cycle can give: the head goes slowly all the way down and up again."""
        turning = (2 * self.turn_steps + self.turn_again_steps) // self.rotate_speed
        slow = (self.travel_steps - self.clearance_steps) // self.approach_speed
        fast = (3 * self.travel_steps + 2 * self.takeup_steps) // self.press_speed
        still = 2 * self.zero_readings + 5 * self.settle_readings
        return (turning + slow + fast + 6) * (1000000 // interval_us + 1) + still + FIXED_READINGS


class Step(Request):
    """Fields of BenchStep; raises RefusalError if a field is out of the device's range.

    `press_at` is the present position of the press.
    """

    def __init__(self, values, board, press_at: int) -> None:
        (self.shaft, self.press_steps, self.rotate_steps, self.stop_count, self.readings, self.settle_readings,
         self.press_speed, self.rotate_speed) = values  # fmt: skip
        self._check("shaft", 0, SHAFT_MAX)
        self._check("press_steps", 0, board.PRESS_LIMIT)
        self._check("rotate_steps", -STEPS_MAX, STEPS_MAX)
        if self.stop_count is not None:
            self._check("stop_count", 1, board.COUNT_LIMIT)
        self._check("readings", 1, 10000)
        self._check("settle_readings", 0, 100)
        self._check_speed("press_speed", board.PRESS_SPEED_MAX)
        self._check_speed("rotate_speed", board.ROTATE_SPEED_MAX)
        self._way = abs(self.press_steps - press_at)

    def most_readings(self, interval_us: int) -> int:
        """Return the most readings that a step can give: those of both motions, then those ordered."""
        moving = self._way // self.press_speed + abs(self.rotate_steps) // self.rotate_speed
        return (moving + 4) * (1000000 // interval_us + 1) + self.settle_readings + self.readings
