"""Looks a running gauge over through its own protocol: rate, noise with motors off, held and moving, switches, ways.

Everything is done by bench steps at home and a little below it, so the rollers must be empty. What only eyes can tell
the person is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from midspan.archive.raw_run import RawRun
from midspan.base.errors import DeviceFault
from midspan.board.operator import Person, seen
from midspan.board.signal_tests import (
    HELD_TIMES,
    MOVING_TIMES,
    SignalCheck,
    SignalLevel,
    SignalOutcome,
    coupling_check,
    level,
    noise_check,
    rate_check,
    words_checks,
    zero_check,
)  # fmt: skip
from midspan.link.gauge import Gauge
from midspan.wire.fault_texts import describe
from midspan.wire.records import BenchStep, FaultCode, Identify, State

QUIET_READINGS = 400  # five seconds: scatter known to 4 %
DOWN_MM = 10.0  # far less than the way to a shaft
CREEP_MM_S = 4.0
ROLLER_TURN_S = 5.0
# Where the gauge tells of each sensor, what a person does for it to tell, and takes back.
SENSORS: tuple[tuple[str, Callable[[Identify], bool], str, str], ...] = (
    ("seated", lambda found: found.seated, "Lay a shaft on the rollers.", "Take it away."),
    ("hopper", lambda found: found.hopper, "Put a shaft into the hopper.", "Take it out."),
    ("slot", lambda found: found.slot, "Put the check standard into its slot.", "Take it out."),
)
LID, STOP = 1, 2  # bits of Identify.guards


@dataclass(frozen=True)
class Gear:
    """What turns microsteps into motion: of the screw, and of a roller."""

    steps_per_mm: float = 400.0
    steps_per_roller_turn: int = 3200


class LookOver:
    """The checks of one gauge in order; `checks` yields each as it is done, and the head is home afterwards."""

    def __init__(self, gauge: Gauge, person: Person, gear: Gear) -> None:
        self._gauge, self._person, self._gear = gauge, person, gear
        self._taken = 0
        self._press = 0

    def checks(self) -> Iterator[SignalCheck]:
        """All of them. Raises DeviceFault when the gauge stands still or cuts a step short."""
        found = self._ready()
        self._person.do("Take everything off the rollers and keep hands away: the head will move.")
        self._person.do("Switch the motor supply off, and leave the gauge's USB on.")
        off = level(self._step(readings=QUIET_READINGS))
        yield rate_check(off.rate_hz, 1e6 / found.interval_us)
        yield from words_checks(off)
        yield noise_check("noise, motors off", off, found.count_limit)
        self._person.do("Switch the motor supply on.")
        held = level(self._step(readings=QUIET_READINGS))
        yield coupling_check("noise, motors held", held, off, HELD_TIMES)
        yield from self._turned(off)
        yield from self._lowered(off, held, found)
        yield from self._guards(found)
        if found.places:
            yield from self._sensors()

    def _ready(self) -> Identify:
        found = self._gauge.settled()
        if found.state is State.FAULTED:
            why = "a fault that it no longer names." if found.fault is None else describe(found.fault)
            how = "" if found.fault is FaultCode.CONFIGURATION else " Then give --clear-fault."
            raise DeviceFault(f"the gauge stands still: {why}{how}")
        if found.held_shaft is not None:
            raise DeviceFault(
                f"the gauge holds the readings of shaft {found.held_shaft}; measure once more to fetch it"
            )
        return found

    def _step(self, press: int = 0, rotate: int = 0, readings: int = 40, speed: int = 1) -> RawRun:
        self._taken += 1
        press_speed = max(1, round(CREEP_MM_S * self._gear.steps_per_mm))
        run = self._gauge.bench_step(BenchStep(self._taken, press, rotate, None, readings, 8, press_speed, speed))
        self._gauge.acknowledge(self._taken)
        if run.cause is not None:
            raise DeviceFault(f"the gauge broke off: {run.cause}; `midspan board check` again when it is mended")
        return run

    def _turned(self, off: SignalLevel) -> Iterator[SignalCheck]:
        turn = self._gear.steps_per_roller_turn
        self._person.do("Mark a roller with a pencil; it will turn once.")
        run = self._step(rotate=turn, speed=max(1, round(turn / ROLLER_TURN_S)))
        yield coupling_check("noise, rollers turning", level(run, moving=True), off, MOVING_TIMES)
        answer = self._person.sees("Did the roller turn once, its top towards you?")
        advice = "change rotate.forward if it turned the other way; is --roller-steps that of your driver and belt?"
        yield seen("rotate axis", answer, f"{turn} steps are one turn of a roller, its top to the front", advice)

    def _lowered(self, off: SignalLevel, before: SignalLevel, found: Identify) -> Iterator[SignalCheck]:
        steps = round(DOWN_MM * self._gear.steps_per_mm)
        self._person.do(f"The head will go down {DOWN_MM:g} mm, slowly; hold a rule beside it.")
        run = self._step(press=steps)
        yield coupling_check("noise, head moving", level(run, moving=True), off, MOVING_TIMES)
        answer = self._person.sees(f"Did the head go down, by {DOWN_MM:g} mm?")
        advice = "change press.forward if it went up; is --steps-per-mm that of your driver and screw?"
        yield seen("press axis", answer, f"{steps} steps are {DOWN_MM:g} mm down", advice)
        self._gauge.end_bench()
        yield SignalCheck("home switch", SignalOutcome.GOOD, "found again on the way up")
        after = level(self._step())
        yield zero_check(before, after, found.count_limit)
        self._gauge.end_bench()

    def _guards(self, found: Identify) -> Iterator[SignalCheck]:
        for bit, name, open_it, close_it in (
            (LID, "lid", "Open the lid.", "Close the lid."),
            (STOP, "emergency stop", "Press the emergency stop.", "Release the emergency stop."),
        ):
            if not found.guards & bit:
                yield SignalCheck(name, SignalOutcome.UNSEEN, "none in the configuration; an unattended night needs it")
            elif self._person.by_itself:
                yield SignalCheck(name, SignalOutcome.UNSEEN, "nobody is there to try it")
            else:
                self._person.do(open_it)
                refused = self._refused(name)
                self._person.do(close_it)
                advice = "look at its wires and contact; do not run the gauge without it"
                yield seen(name, refused, "no motion while it tells", advice)

    def _refused(self, guard: str) -> bool:
        """Whether the gauge refuses to move now, because of this guard."""
        try:
            self._step()
        except DeviceFault as error:
            if f"the {guard} is" not in str(error):  # as failures words it
                raise
            return True
        self._gauge.end_bench()
        return False

    def _sensors(self) -> Iterator[SignalCheck]:
        for name, tells, put, take in SENSORS:
            if self._person.by_itself:
                yield SignalCheck(f"sensor {name}", SignalOutcome.UNSEEN, "nobody is there to try it")
                continue
            self._person.do(put)
            with_one = tells(self._gauge.identify())
            self._person.do(take)
            without = tells(self._gauge.identify())
            words = "tells of it, and that it is gone"
            yield seen(
                f"sensor {name}", with_one and not without, words, "look at its wires, its place and its polarity"
            )
