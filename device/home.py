"""Motions that no program orders: the search for home, the way up, and the stop.

Nothing here waits: `_then` names the event or fault that follows when all motion has ended. The head is on its way to
the home switch while that is "missed" or "HOME_NOT_FOUND"; with "up" it is there, or goes by the count alone.
"""

from load_cell import LoadCell
from micropython import const
from progress import Run
from stepper import Stepper

# A home switch repeats better than this, and a motor slips by four full steps, 64 microsteps, at once.
LOST_STEPS_MOST = const(32)
SLIP_PART = const(16)  # of the whole travel: nearer home than this the switch is believed, further off the count
_SLOWER = const(4)  # than the search for home: a head that meets something is noticed before it presses hard


class Motions:
    """The gauge's parts, and what they do without a program; its attributes are for reading.

    `shaft` is the number of the program under way or None, `fault` the fault since the last order or None, `centi` the
    temperature at the end of the last program, from the sensor by the shaft if the board has one.
    """

    def __init__(self, board, held) -> None:
        self.board = board
        self.held = held
        self.press = Stepper(board.press, board.PRESS_ACCELERATION)
        self.rotate = Stepper(board.rotate, board.ROTATE_ACCELERATION)
        self.cell = LoadCell(board.INTERVAL_US, board.ticks_us())
        self.run = Run(self.cell, self.rotate, board.COUNT_LIMIT)
        self.parts: list = []  # the optional ones
        self.in_gauge: int | None = None  # number of the shaft that a feeder brought onto the rollers
        self.shaft: int | None = None
        self.fault: int | None = None
        self.centi: int | None = None
        self._faulty = False  # the way up ends in FAULTED
        self._backed_off = False  # in this search for home
        self._top = 0  # where the head goes when the switch is not believed
        self._slip = board.PRESS_LIMIT // SLIP_PART
        self._then: str | None = None

    def be_ready(self) -> None:
        """Wait for an order; the fault of what is over is forgotten."""
        self.fault = None

    def at_home(self) -> bool:
        """Return True if the home switch is closed and the counted position allows it."""
        return self.press.position() <= self._slip and self.board.home_closed()

    def _move_press(self, steps: int, speed: int, then: str) -> None:
        self._then = then
        self.press.move(steps, speed)

    def _go_home(self, speed: int) -> None:
        """Go up until the home switch closes, which has to be where it was before."""
        if self.at_home():
            self._then = "up"
        else:
            self._move_press(-self.press.position() - LOST_STEPS_MOST, speed, "missed")

    def search(self) -> None:
        """Go on slowly past the old home, as steps may be lost; only a little, not to grind at the end stop."""
        self._move_press(-self._slip // 2, self.board.HOME_SPEED // _SLOWER, "HOME_NOT_FOUND")

    def seek_home(self) -> None:
        """Find where the home switch closes, whatever the count: the head may have been turned by hand."""
        self._faulty = self._backed_off = False
        self.fault = self.in_gauge = self.run.zero = None  # a person may have been at the rollers
        self.cell.clear(self.board.ticks_us())
        for part in self.parts:
            part.be_safe()
        if self.board.home_closed():
            self.back_off()
        else:
            self.rise()

    def back_off(self) -> None:
        """Go down slowly until the home switch opens: home is its edge, and a switch that never opens stops nothing."""
        self.press.halt()
        self._backed_off = True
        self._top = min(0, self.press.position())
        self.run.begin_touch()
        way = 2 * self._slip  # lost steps and a search may lie above
        self._move_press(way, self.board.HOME_SPEED // _SLOWER, "HOME_STUCK")

    def rise(self) -> None:
        """Go up until the home switch closes, at most a little more than the whole travel."""
        self.press.halt()
        self._move_press(-self.board.PRESS_LIMIT - self._slip, self.board.HOME_SPEED, "HOME_NOT_FOUND")

    def finish(self) -> None:
        """End the program, now that nothing moves; its blocks wait for the host."""
        board = self.board
        self.centi = board.temperature_centi() if board.sensor is None else board.sensor.centi()
        self.shaft = None
        self.held.end_due = True

    def halt(self) -> None:
        """Stop both motors at once."""
        self.press.halt()
        self.rotate.halt()

    def retract(self) -> None:
        """Stop both motors, then move the head home."""
        self.halt()
        self._go_home(self.board.HOME_SPEED)

    def retract_faulty(self) -> None:
        """Stop both motors, then move the head home; end in FAULTED."""
        self._faulty = True
        self.retract()

    def retract_blind(self) -> None:
        """Stop both motors, then move the head up by the count, ignoring the home switch; end in FAULTED."""
        self._faulty = True
        self.halt()
        self._move_press(self._top - self.press.position(), self.board.HOME_SPEED, "up")

    def note_faulty(self) -> None:
        """Let the head, which is already on its way up, go on; end in FAULTED."""
        self._faulty = True

    def give_up(self) -> None:
        """Stop here, and end the program if there is one."""
        self._faulty = True
        self.halt()
        if self.shaft is not None:
            self.finish()
