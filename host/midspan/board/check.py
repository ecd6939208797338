"""Check a running gauge through its own protocol: rate, noise with motors off, held and moving, switches, axes.

Everything is done by short programs at home and a little below it, so the rollers must be empty. A person is asked for
what only eyes can tell.
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
    memory_check,
    noise_check,
    rate_check,
    turn_check,
    words_checks,
    zero_check,
)  # fmt: skip
from midspan.link.gauge import Gauge
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode, Identify, Phase, State, Step

QUIET_READINGS = 400  # five seconds: scatter known to 4 %
DOWN_MM = 10.0  # far less than the way to a shaft
CREEP_MM_S = 4.0
ROLLER_TURN_S = 5.0
SETTLE_READINGS, ZERO_READINGS = 8, 40
# Name of each sensor, whether it sees something, what a person does to cover it and to uncover it.
SENSORS: tuple[tuple[str, Callable[[Identify], bool], str, str], ...] = (
    (
        "seated",
        lambda found: found.feeder is not None and found.feeder.seated,
        "Lay a shaft on the rollers.",
        "Take it away.",
    ),
    (
        "hopper",
        lambda found: found.feeder is not None and found.feeder.hopper,
        "Put a shaft into the hopper.",
        "Take it out.",
    ),
    (
        "slot",
        lambda found: found.feeder is not None and found.feeder.slot,
        "Put the check standard into its slot.",
        "Take it out.",
    ),
)
LID, STOP = 1, 2  # bits of Identify.guards


@dataclass(frozen=True)
class Gear:
    """Microsteps of a motion.

    Parameters
    ----------
    steps_per_mm : float
        Of the press, microsteps for each mm of the head.
    steps_per_roller_turn : int
        Of the rollers, microsteps for a turn.
    """

    steps_per_mm: float = 400.0
    steps_per_roller_turn: int = 3200


class LookOver:
    """The checks of a gauge, in order; the head is home after the last.

    Parameters
    ----------
    gauge : Gauge
        Gauge on an open line, rollers empty.
    person : Person
        Person at the gauge.
    gear : Gear
        What turns microsteps into motion.
    """

    def __init__(self, gauge: Gauge, person: Person, gear: Gear) -> None:
        self._gauge, self._person, self._gear = gauge, person, gear
        self._taken = 0
        self._creep = max(1, round(CREEP_MM_S * gear.steps_per_mm))

    def checks(self) -> Iterator[SignalCheck]:
        """Run all checks and yield the result of each as soon as it is known.

        Yields
        ------
        SignalCheck
            Result of a check.

        Raises
        ------
        DeviceFault
            The gauge has stopped because of a fault, holds readings, or cuts a step short.
        """
        found = self._ready()
        self._creep = min(self._creep, found.down_speed_most)
        self._person.do("clear rollers", "Take everything off the rollers and keep hands away: the head will move.")
        self._person.do("supply off", "Switch the motor supply off, and leave the gauge's USB on.")
        off = level(self._run(self._quiet(QUIET_READINGS)))
        yield rate_check(off.rate_hz, 1e6 / found.interval_us)
        yield from words_checks(off)
        yield noise_check("noise, motors off", off, found.count_limit)
        self._person.do("supply on", "Switch the motor supply on.")
        held = level(self._run(self._quiet(QUIET_READINGS)))
        yield coupling_check("noise, motors held", held, off, HELD_TIMES)
        yield from self._turned(off)
        yield from self._lowered(off, held, found)
        yield from self._guards(found)
        if found.feeder is not None:
            yield from self._sensors()
        yield from self._itself()

    def _ready(self) -> Identify:
        """Return the answer of a gauge that can be checked."""
        found = self._gauge.settled()
        if found.state is State.FAULTED:
            why = "a fault that it no longer names." if found.fault is None else describe(found.fault)
            how = "" if found.fault is FaultCode.CONFIGURATION else " Then give --clear-fault."
            raise DeviceFault(f"the gauge has stopped: {why}{how}")
        if found.held_shaft is not None:
            raise DeviceFault(
                f"the gauge still holds the readings of shaft {found.held_shaft}; fetch them with: midspan measure"
            )
        return found

    def _quiet(self, readings: int = ZERO_READINGS) -> Step:
        """Return the step that only takes readings at home, which become the zero."""
        return self._step(readings=readings, zero=True)

    def _step(
        self, press: int | None = None, rotate: int = 0, readings: int = 0, speed: int = 1, *, zero: bool = False
    ) -> Step:
        """Return a step that moves the press slowly to a position, or leaves it, and turns the rollers."""
        return Step(Phase.BENCH, press, None, None, None, rotate, readings, SETTLE_READINGS, zero, self._creep, speed)

    def _run(self, *steps: Step) -> RawRun:
        """Run steps, leave the head where the last one ends, and return their readings."""
        self._taken += 1
        run = self._gauge.run(self._taken, "", steps, stand=True)
        self._gauge.acknowledge(self._taken)
        if run.cause is not None:
            raise DeviceFault(f"the gauge cut a step short: {run.cause}; correct that, then check the board again")
        return run

    def _turned(self, off: SignalLevel) -> Iterator[SignalCheck]:
        """Turn a roller once: noise, and the way it turns."""
        turn = self._gear.steps_per_roller_turn
        self._person.do("mark roller", "Mark a roller with a pencil, keep fingers and sleeves away: it will turn once.")
        run = self._run(self._step(rotate=turn, speed=max(1, round(turn / ROLLER_TURN_S))))
        yield coupling_check("noise, rollers turning", level(run, moving=True), off, MOVING_TIMES)
        answer = self._person.sees("roller turned", "Did the roller turn once, its top towards you?")
        advice = "change rotate.forward if it turned the other way; is --roller-steps that of your driver and belt?"
        yield seen("rotate axis", answer, f"{turn} steps are one turn of a roller, its top to the front", advice)

    def _lowered(self, off: SignalLevel, before: SignalLevel, found: Identify) -> Iterator[SignalCheck]:
        """Lower the head and bring it home: noise, its way, home switch and zero."""
        steps = round(DOWN_MM * self._gear.steps_per_mm)
        self._person.do(
            "set rule", f"The head will go down {DOWN_MM:g} mm, slowly. Set a rule beside it; keep fingers out."
        )
        run = self._run(self._quiet(), self._step(press=steps))
        yield coupling_check("noise, head moving", level(run, moving=True), off, MOVING_TIMES)
        answer = self._person.sees("head went down", f"Did the head go down, by {DOWN_MM:g} mm?")
        advice = "change press.forward if it went up; is --steps-per-mm that of your driver and screw?"
        yield seen("press axis", answer, f"{steps} steps are {DOWN_MM:g} mm down", advice)
        self._gauge.end_bench()
        yield SignalCheck("home switch", SignalOutcome.GOOD, "found again on the way up")
        after = level(self._run(self._quiet()))
        yield zero_check(before, after, found.count_limit)
        self._gauge.end_bench()

    def _guards(self, found: Identify) -> Iterator[SignalCheck]:
        """Try lid and emergency stop, if the gauge has them."""
        for bit, name, code, open_it, close_it in (
            (LID, "lid", FaultCode.LID_OPEN, "Open the lid.", "Close the lid."),
            (
                STOP, "emergency stop", FaultCode.EMERGENCY_STOP, "Press the emergency stop.",
                "Release the emergency stop.",
            ),
        ):  # fmt: skip
            if not found.guards & bit:
                yield SignalCheck(name, SignalOutcome.UNSEEN, "not in the configuration; an unattended run needs it")
            elif self._person.by_itself:
                yield SignalCheck(name, SignalOutcome.UNSEEN, "not tried: nobody at the gauge")
            else:
                self._person.do(f"{name} tried", open_it)
                refused = self._refused(code)
                self._person.do(f"{name} back", close_it)
                advice = "look at its wires and contact; do not run the gauge without it"
                yield seen(name, refused, "no motion while it tells", advice)

    def _refused(self, guard: FaultCode) -> bool:
        """Return True if the gauge refuses to move now because of this guard."""
        try:
            self._run(self._quiet())
        except DeviceFault as error:
            if error.code != guard.name:
                raise
            return True
        self._gauge.end_bench()
        return False

    def _sensors(self) -> Iterator[SignalCheck]:
        """Try the sensors of the feeder."""
        for name, tells, put, take in SENSORS:
            if self._person.by_itself:
                yield SignalCheck(f"sensor {name}", SignalOutcome.UNSEEN, "not tried: nobody at the gauge")
                continue
            self._person.do(f"{name} covered", put)
            covered = tells(self._gauge.identify())
            self._person.do(f"{name} uncovered", take)
            uncovered = tells(self._gauge.identify())
            words = "tells of it, and that it is gone"
            yield seen(
                f"sensor {name}", covered and not uncovered, words, "look at its wires, its place and its polarity"
            )

    def _itself(self) -> Iterator[SignalCheck]:
        """Judge memory and pace of the board after the programs that were run."""
        found = self._gauge.identify()
        yield memory_check(found.free_bytes)
        simulated = "rehearsal" in found.runtime  # its clock goes from event to event
        yield turn_check(None if simulated else found.longest_turn_us)
