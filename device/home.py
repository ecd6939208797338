"""Motions that no program orders: the search for home, the way up, and the stop.

Nothing here waits: `_then` names the event or fault that follows when all motion has ended. The head is on its way to
the home switch while that is "missed" or "HOME_NOT_FOUND".
"""

from micropython import const

# A home switch repeats better than this, and a motor slips by four full steps, 64 microsteps, at once.
LOST_STEPS_MOST = const(32)
SLIP_PART = const(16)  # of the whole travel: nearer home than this the switch is believed, further off the count
_BACK_OFF = const(4)  # part of the speed of homing: a head that meets something is noticed before it presses hard
_TO_THE_SWITCH = ("missed", "HOME_NOT_FOUND")


class Motions:
    """The gauge's axes and what they do without a program; its attributes are for reading.

    `shaft` is the number of the program under way or None, `fault` the fault since the last order or None.
    """

    def __init__(self, board, press, rotate, cell, held, run) -> None:
        self.board = board
        self.press = press
        self.rotate = rotate
        self.cell = cell
        self.held = held
        self.run = run
        self.parts: list = []  # the optional ones
        self.in_gauge: int | None = None  # number of the shaft that a feeder brought onto the rollers
        self.shaft: int | None = None
        self.fault: int | None = None
        self._faulty = False  # the way up ends in FAULTED
        self._blind = False  # the home switch is not believed
        self._backed_off = False  # in this search for home
        self._top = 0  # where the head goes when the switch is not believed
        self._slip = board.PRESS_LIMIT // SLIP_PART
        self._then: str | None = None

    def stay(self) -> None:
        """Do nothing: no motion is needed."""

    def be_ready(self) -> None:
        """Forget the fault of the shaft that is over."""
        self.fault = None

    def at_home(self) -> bool:
        """Return True if the home switch is closed and the counted position allows it."""
        return self.press.position() <= self._slip and self.board.home_closed()

    def _to_switch(self) -> bool:
        return self._then in _TO_THE_SWITCH

    def _go_home(self, speed: int) -> None:
        """Go up until the home switch closes, which has to be where it was before."""
        self._then = "up"
        if not self.at_home():
            self._then = "missed"
            self.press.move(-self.press.position() - LOST_STEPS_MOST, speed)

    def search(self) -> None:
        """Go on slowly past the old home, as steps may be lost; only a little, not to grind at the end stop."""
        self._then = "HOME_NOT_FOUND"
        self.press.move(-self._slip // 2, self.board.HOME_SPEED // _BACK_OFF)

    def seek_home(self) -> None:
        """Find where the home switch closes, whatever the count: the head may have been turned by hand."""
        self._faulty = self._blind = self._backed_off = False
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
        self._then = "HOME_STUCK"
        self.run.begin_touch()
        self.press.move(2 * self._slip, self.board.HOME_SPEED // _BACK_OFF)  # lost steps and a search may lie above

    def rise(self) -> None:
        """Go up until the home switch closes, at most a little more than the whole travel."""
        self.press.halt()
        self._then = "HOME_NOT_FOUND"
        self.press.move(-self.board.PRESS_LIMIT - self._slip, self.board.HOME_SPEED)

    def ease(self) -> None:
        """Stop with a ramp because the load is reached."""
        self.run.threshold = None
        self._then = "there"
        self.press.stop()

    def arrive(self) -> None:
        """Turn, if the step says so, now that the press has come to rest."""
        step = self.run.step
        self.run.arrive(self.press.position())
        if step.rotate_steps:
            self.rotate.move(step.rotate_steps, step.rotate_speed)

    def finish(self) -> None:
        """End the program; its blocks wait for the host."""
        self.shaft = None
        self.held.close()
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
        self._faulty = self._blind = True
        self.halt()
        self._then = "up"
        self.press.move(self._top - self.press.position(), self.board.HOME_SPEED)

    def note_faulty(self) -> None:
        """Let the head, which is already on its way up, go on; end in FAULTED."""
        self._faulty = True

    def give_up(self) -> None:
        """Stop here, and end the program if there is one."""
        self._faulty = True
        self.halt()
        if self.shaft is not None:
            self.finish()
