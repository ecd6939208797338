"""Feeder and chute: a shaft rolls in from hopper or slot and out into a place; sensors show what happened to it.

Nothing here waits. A release is on record before the gate opens, and recorded as done only after the gate is shut and
the rollers are clear, so that a reset at any moment leaves no false record.
"""

from gauge import CELL_FAULTS, Gauge, table_of
from micropython import const
from program import RefusalError
from records import FEED, FEEDING, OUT_OF_RANGE, RELEASE, RELEASING, SEATED, SELECTING, WRONG_STATE

LEFT_END, RIGHT_END, ABOVE, HOPPER, SLOT, CHUTE = const(1), const(2), const(4), const(8), const(16), const(32)
ENDS = const(3)
SEAT = const(7)
_SOURCE_BITS = (HOPPER, SLOT, SEAT)  # of HOPPER, SLOT, SEATED: one of them is set when a shaft is there
FEED_US = const(2000000)  # from the escapement's stroke, by when a shaft lies still on its rollers
RELEASE_US = const(1500000)  # from the gate's opening, by when it has passed the chute
SETTLE_US = const(300000)  # sensors that have not changed for this long, while nothing moves, are believed
OPENINGS = const(3)  # of the gate, before a shaft that stays counts as jammed


def install(hardware, gauge, answers) -> None:
    """Add a feeder to a gauge: its states, its requests and its report."""
    feeder = Feeder(hardware, gauge, answers)
    gauge.table = dict(gauge.table)
    gauge.table.update(transitions(feeder))
    gauge.parts.append(feeder)
    answers.obey[FEED], answers.obey[RELEASE], answers.report = feeder.feed, feeder.release, feeder.report


def transitions(feeder) -> dict:
    """Return the rows that a feeder adds to the gauge's table."""
    return table_of((
        ("IDLE", "feed", "FEEDING", feeder.let_in),
        ("FEEDING", "HOPPER_EMPTY", "IDLE", feeder.stay),
        ("FEEDING", "arrived SHAFT_SHORT TWO_SHAFTS", "LOADED", feeder.take),
        ("LOADED", "run", "RUNNING", Gauge.next_step),
        ("HOLDING", "acknowledged_here", "LOADED", Gauge.be_ready),
        ("LOADED", "release", "SELECTING", feeder.select),
        ("SELECTING", "selected", "RELEASING", feeder.let_out),
        ("RELEASING", "gone", "IDLE", feeder.stay),
        ("FEEDING RELEASING", "JAM", "FAULTED", Gauge.give_up),
        ("SELECTING RELEASING", "BIN_FULL", "FAULTED", Gauge.give_up),
        ("FEEDING SELECTING RELEASING", "LID_OPEN EMERGENCY_STOP INTERNAL", "FAULTED", Gauge.give_up),
        ("LOADED", CELL_FAULTS + "HOME_NOT_FOUND INTERNAL", "FAULTED", Gauge.give_up),
    ))  # fmt: skip


class Feeder:
    """Feeder and chute; `last` is the last release, or None.

    `shaft`, `source` and `place` are those of the order under way, `passed` what the chute saw of it.
    """

    def __init__(self, hardware, gauge, answers) -> None:
        self._board = gauge.board
        self._hardware = hardware
        self._gauge = gauge
        self._answers = answers
        self.last = hardware.release_read()
        self.shaft = self.source = self.place = self.passed = 0
        self._openings = 0
        self._open = self._empty = False
        self._wait()

    # Requests and report

    def feed(self, shaft: int, source: int) -> None:
        """Obey the request to bring a shaft onto the rollers, or to take the one that lies there."""
        self._answers.check_number(shaft)
        gauge = self._gauge
        if gauge.in_gauge == shaft or (gauge.state == FEEDING and self.shaft == shaft):
            return
        self._answers.check_allowed("feed")
        if self._seated() != (source == SEATED):
            raise RefusalError(WRONG_STATE, "source")
        gauge.fault = None
        self.shaft, self.source = shaft, source
        gauge.handle("feed")

    def release(self, shaft: int, place: int) -> None:
        """Obey the request to let the shaft on the rollers go to a place."""
        self._answers.check_number(shaft)
        gauge = self._gauge
        if not 1 <= place <= self._hardware.places:
            raise RefusalError(OUT_OF_RANGE, "place")
        if gauge.in_gauge != shaft:
            if self.last is not None and tuple(self.last[:3]) == (shaft, place, True):
                return
            raise RefusalError(WRONG_STATE, "shaft")
        if gauge.state not in (SELECTING, RELEASING) or self.place != place:
            self._answers.check_allowed("release")
            gauge.fault = None
            self.place = place
            gauge.handle("release")

    def report(self) -> tuple:
        """Return the feeder's part of Identify."""
        inputs = self._board.inputs()
        in_gauge, places = self._gauge.in_gauge, self._hardware.places
        return in_gauge, self._seated(), inputs & HOPPER, inputs & SLOT, places, self.last

    def _seated(self) -> bool:
        return self._board.inputs() & SEAT != 0

    # Actions of the table

    def stay(self, _) -> None:
        """Do nothing: no motion is needed."""

    def let_in(self, _) -> None:
        """Begin a stroke of the source's escapement, none for a seated shaft or where no shaft is."""
        self._wait()
        self._empty = not self._board.inputs() & _SOURCE_BITS[self.source]
        if not self._empty and self.source != SEATED:
            self._hardware.let_in(self.source)

    def take(self, gauge) -> None:
        """Accept what lies on the rollers as the ordered shaft."""
        gauge.in_gauge = self.shaft

    def select(self, _) -> None:
        """Point the chute to the place."""
        self._hardware.select(self.place)

    def let_out(self, _) -> None:
        """Record where the shaft goes, then open the gate; the sensors show when it has gone."""
        self._note(False, 0)
        while self._hardware.chute_take():
            pass  # of something else
        self.passed = self._openings = 0
        self._open_gate()

    # Progress

    def be_safe(self) -> None:
        """Shut the gate: the gauge looks for home, and a person may have been at the rollers."""
        self._hardware.gate(False)

    def poll(self, elapsed_us: int, inputs: int) -> "str | None":
        """Return the event or fault that has come of the order under way, None while there is none."""
        state, handling = self._gauge.state, self._hardware.handling()  # which also brings an escapement back
        if state == FEEDING:
            return self._coming(elapsed_us, inputs, handling)
        if state == RELEASING:
            return self._leaving(elapsed_us, inputs, handling)
        if state == SELECTING and not handling:
            return "BIN_FULL" if inputs & CHUTE else "selected"
        return None

    def _coming(self, elapsed_us: int, inputs: int, handling: bool) -> "str | None":
        if self._empty:
            return "HOPPER_EMPTY"
        self._look(elapsed_us, inputs, handling)
        seat = self._seen & SEAT
        if self._waited_us < FEED_US and (self._still_us < SETTLE_US or seat & ENDS != ENDS):
            return None
        if seat & ABOVE:
            return "TWO_SHAFTS"
        if seat == ENDS:
            return "arrived"
        return "SHAFT_SHORT" if seat else "JAM"

    def _leaving(self, elapsed_us: int, inputs: int, handling: bool) -> "str | None":
        self._look(elapsed_us, inputs, handling)
        while self._hardware.chute_take():
            self.passed += 1
        seat, over = self._seen & SEAT, self._waited_us >= RELEASE_US
        if self._open:
            if over or (self.passed and not seat):
                self._open = False
                self._hardware.gate(False)
                self._wait()
        elif over or self._still_us >= SETTLE_US:  # by now a second shaft has passed too
            return self._left(seat)
        return None

    def _left(self, seat: int) -> "str | None":
        if seat and self._openings < OPENINGS:
            self._open_gate()
            return None
        if seat:
            return "JAM"
        self._note(True, self.passed)
        self._gauge.in_gauge = None
        return "BIN_FULL" if self._seen & CHUTE else "gone"

    def _note(self, done: bool, passed: int) -> None:
        self._hardware.release_write(self.shaft, self.place, done, passed)
        self.last = (self.shaft, self.place, done, passed)

    def _open_gate(self) -> None:
        self._openings += 1
        self._open = True
        self._hardware.gate(True)
        self._wait()

    def _wait(self) -> None:
        self._waited_us = self._still_us = 0
        self._seen = -1

    def _look(self, elapsed_us: int, inputs: int, handling: bool) -> None:
        self._waited_us += elapsed_us
        self._still_us += elapsed_us
        if inputs & (SEAT | CHUTE) != self._seen or handling:
            self._seen = inputs & (SEAT | CHUTE)
            self._still_us = 0
