"""Take calibration readings on a gauge, step by step; each reading is in the table as soon as it is taken.

A step moves the press, waits for the person if something is to be put on, and takes readings; its raw run goes to the
archive before the gauge forgets it. Questions and messages go through a `Conversation`.
"""

import logging
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np

from midspan.archive.raw_run import RawRun
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ConfigurationError, DeviceFault
from midspan.calibrate.readings_table import TableWriter
from midspan.conversation.prompts import Conversation
from midspan.conversation.questions import instruction
from midspan.link.gauge import Gauge
from midspan.measurement.calibration import Calibration, Force, Travel
from midspan.measurement.cycle_plan import cycle_steps, rotate_speed
from midspan.measurement.cycle_settings import DEEP
from midspan.measurement.harmonics import MAD_TO_SIGMA, REJECT_SIGMAS
from midspan.measurement.result import ShaftResult
from midspan.pipeline.steps import Kept, OutcomeT, Pipeline, evaluate_kept, readings_alone
from midspan.wire.records import Identify, Phase, Step

LOG = logging.getLogger(__name__)

STEP_READINGS, SETTLE_READINGS = 80, 8  # a second at 80 samples a second; the converter's filter spans four
PRESS_STEPS_S, SEEK_STEPS_S, TOUCH_STEPS_S = 4000, 400, 40  # stopping two readings late costs 10 steps, or 1
BACK_STEPS = 200  # several times the backlash
STRETCH_STEPS = 2000
FRAME_READINGS = 24  # loads between light and full, at most; a jump of the give shows in so many
SPARE_S = 4.0  # of a step's readings, which the gauge allows for what comes late
KEEP_OFF = "Keep fingers out from under the head"
INDICATOR = (
    f"Set the dial indicator under the head, reading in mm, growing as the head goes down. {KEEP_OFF}: it moves from "
    "here on, by itself, to each place."
)
RIGID_BAR = (
    "Lay the rigid bar on the supports and take everything else away. Put safety glasses on. "
    f"{KEEP_OFF} and off the supports: it comes down and presses with the full load."
)
BOWED_SHAFT = (
    "Lay in a shaft of the kind you measure; some bow makes the turns easier to see. Never a cracked one: it may "
    f"splinter. Put safety glasses on. {KEEP_OFF} and away from the rollers: the shaft is pressed and turned."
)


@dataclass
class LiveBench:
    """Gauge under calibration: its steps are numbered, archived and acknowledged.

    Call `end` afterwards, which brings the head home.

    Parameters
    ----------
    gauge : Gauge
        The gauge.
    archive : ArchiveWriter
        Archive for the raw runs of the steps.
    label : str
        Label of the raw runs.
    talk : Conversation
        Person who is guided.
    table : TableWriter
        Table for the readings.
    taken : int
        Number of the last step.
    press : int
        Position of the press after it, steps.
    details : bool
        True to say counts and steps too.
    """

    gauge: Gauge
    archive: ArchiveWriter
    label: str
    talk: Conversation
    table: TableWriter
    taken: int = field(default=0)
    press: int = field(default=0)
    details: bool = False

    def say_figures(self, words: str) -> None:
        """Say counts or steps, but only where details were asked for.

        Parameters
        ----------
        words : str
            Figures with their unit.
        """
        if self.details:
            self.talk.say(f"    {words}")

    def step(
        self,
        press_steps: int | None = None,
        *,
        rotate_steps: int = 0,
        rotate_speed: int = 1,
        stop_count: int | None = None,
        readings: int = STEP_READINGS,
        speed: int | None = None,
    ) -> RawRun:
        """Move, take readings and return the raw run.

        Parameters
        ----------
        press_steps : int | None
            Position of the press, steps; None to leave it where it is.
        rotate_steps : int
            Rotation during the readings, steps.
        rotate_speed : int
            Speed of rotation, steps per second.
        stop_count : int | None
            Rise of the count at which the press stops, None to go the whole way.
        readings : int
            Number of readings.
        speed : int | None
            Speed of the press, steps per second; None for as fast as a person may stand beside.

        Returns
        -------
        RawRun
            Readings of the step.

        Raises
        ------
        DeviceFault
            The gauge cut the step short.
        """
        self.taken += 1
        wanted = self.press if press_steps is None else press_steps
        first = self.taken == 1  # at home: its mean is the zero of what follows
        if speed is None:
            found = self.limits
            speed = min(PRESS_STEPS_S, found.down_speed_most) if wanted else found.press_speed_most
        step = Step(
            Phase.BENCH, wanted, None, stop_count, None, rotate_steps, readings, SETTLE_READINGS, first, speed,
            rotate_speed,
        )  # fmt: skip
        run = self.pipeline(readings_alone).take(
            lambda: self.gauge.run(self.taken, f"{self.label} {self.taken}", [step], stand=True)
        )
        LOG.debug("step %d: at %d steps, cause %s", self.taken, int(run.press_steps[-1]), run.cause)
        if run.cause is not None:
            raise DeviceFault(f"step {self.taken} of the calibration was cut short by {run.cause}; calibrate again")
        self.press = int(run.press_steps[-1])
        return run

    @cached_property
    def limits(self) -> Identify:
        """Limits of the gauge, as it told them before the first step."""
        return self.gauge.identify()

    def pipeline(self, judge: Callable[[Kept], OutcomeT]) -> Pipeline[OutcomeT]:
        """Return the pipeline that archives and acknowledges runs of this bench.

        Parameters
        ----------
        judge : Callable[[Kept], OutcomeT]
            What to make of an archived run.

        Returns
        -------
        Pipeline[OutcomeT]
            The pipeline.
        """
        return Pipeline(self.gauge, self.archive, judge)

    def end(self) -> None:
        """Bring the head home."""
        self.gauge.end_bench()


def steady(run: RawRun) -> tuple[float, float]:
    """Return the mean count and its scatter over the settled readings of a run, without spikes.

    Parameters
    ----------
    run : RawRun
        Run with the head at rest.

    Returns
    -------
    tuple[float, float]
        Mean and standard deviation, counts.
    """
    counts = run.counts[run.status == 0].astype(float)
    middle = float(np.median(counts))
    away = np.abs(counts - middle)
    kept = counts[away <= max(REJECT_SIGMAS * MAD_TO_SIGMA * float(np.median(away)), 1.0)]
    return float(kept.mean()), float(kept.std(ddof=1))


def travel_schedule(low: int, high: int, places: int) -> list[tuple[str, int]]:
    """Return the places at which to read an indicator, evenly spaced, down and back up.

    Parameters
    ----------
    low : int
        First place, steps.
    high : int
        Last place, steps.
    places : int
        Number of places each way.

    Returns
    -------
    list[tuple[str, int]]
        Direction and steps of each place.

    Raises
    ------
    ConfigurationError
        The places are less than a step apart.

    Examples
    --------
    >>> travel_schedule(0, 1000, 3)
    [('down', 0), ('down', 500), ('down', 1000), ('up', 1000), ('up', 500), ('up', 0)]
    """
    if high - low < places:
        raise ConfigurationError(
            f"{places} places do not fit between {low} and {high} steps; choose a last step further down",
            code="places",
        )
    steps = [round(float(value)) for value in np.linspace(low, high, places)]
    return [("down", step) for step in steps] + [("up", step) for step in reversed(steps)]


def take_travel(bench: LiveBench, schedule: Sequence[tuple[str, int]], read_mm: Callable[[RawRun], float]) -> None:
    """Move to each place and read the indicator there.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    schedule : Sequence[tuple[str, int]]
        Direction and steps of each place.
    read_mm : Callable[[RawRun], float]
        Returns the reading at a place, mm.
    """
    bench.talk.ask(instruction("set indicator", INDICATOR))
    bench.step(0)
    for i, (direction, steps) in enumerate(schedule, 1):
        if direction == "up" and steps == bench.press:
            bench.step(steps + PRESS_STEPS_S // 20)  # go beyond, so that the place is reached from below
        run = bench.step(steps)
        bench.talk.say(f"[{i} of {len(schedule)}] on the way {direction}")
        bench.say_figures(f"{steps} steps")
        travel = read_mm(run)
        bench.table.add({"direction": direction, "steps": steps, "travel_mm": travel})


def touch(bench: LiveBench, load: int, deepest: int) -> None:
    """Lower the head until the cell feels a load: fast, then again slowly from a little above, to overshoot little.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    load : int
        Rise of the count to stop at.
    deepest : int
        Lowest position, steps.

    Raises
    ------
    DeviceFault
        The head met nothing.
    """
    reached = -1
    while bench.press > reached:  # in stretches, because the gauge holds all readings of a step in memory
        if bench.press >= deepest:
            raise DeviceFault(f"the head went down {deepest} steps without contact; put the bar or shaft in")
        reached = min(bench.press + STRETCH_STEPS, deepest) - 1
        bench.step(reached + 1, stop_count=load, speed=SEEK_STEPS_S)
    bench.step(max(0, bench.press - BACK_STEPS))
    bench.step(bench.press + 2 * BACK_STEPS, stop_count=load, speed=TOUCH_STEPS_S)


def take_frame(bench: LiveBench, loads: tuple[int, int], cell: Force, head: Travel, deepest: int) -> None:
    """Press on the rigid bar from a light load to the full load.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    loads : tuple[int, int]
        Light and full load, counts above zero.
    cell : Force
        Calibration of force.
    head : Travel
        Calibration of travel.
    deepest : int
        Lowest position, steps.

    Raises
    ------
    DeviceFault
        The head met nothing, or the full load was not reached.
    """
    bench.talk.ask(instruction("lay bar", RIGID_BAR))
    light, full = loads
    zero, _ = steady(bench.step(0))
    touch(bench, light, deepest)
    further, before = 1, 0.0
    while before < full:
        count = steady(bench.step(bench.press + further))[0] - zero
        more = count - before  # where the load turns a nut over, the head moves on and the force does not
        if more < full / FRAME_READINGS:
            further *= 2
        elif more > 2 * full / FRAME_READINGS:
            further = max(1, further // 2)
        before = count
        at, rise = np.array(float(bench.press)), np.array(count)
        row = {"travel_mm": float(head.travel_mm(at)), "force_n": float(cell.force_n(rise))}
        bench.table.add(row)
        bench.talk.say(f"    {row['force_n']:.3f} N at {row['travel_mm']:.4f} mm")
        if bench.press >= deepest:
            raise DeviceFault(f"the full load was not reached within {deepest} steps; use a rigid bar")


def take_rotation(bench: LiveBench, load: int, deepest: int, per_turn: float, turns: int) -> tuple[int, ...]:
    """Turn a shaft under load and read steps and counts.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    load : int
        Load, counts above zero.
    deepest : int
        Lowest position, steps.
    per_turn : float
        Expected rotation steps per turn of the shaft.
    turns : int
        Number of turns.

    Returns
    -------
    tuple[int, ...]
        Rotation steps at which the index mark passed; empty without a mark.

    Raises
    ------
    DeviceFault
        The head met nothing, or the gauge cut a step short.
    """
    bench.talk.ask(instruction("lay shaft", BOWED_SHAFT))
    bench.step(0)
    touch(bench, load, deepest)
    found = bench.limits
    speed = rotate_speed(per_turn, found, DEEP)
    longest_s = found.readings_most * found.interval_us * 1e-6 * 15 / 16 - SPARE_S
    most = max(1, math.floor(longest_s * speed / per_turn))
    marks: list[int] = []
    for done in range(0, turns, most):
        run = bench.step(rotate_steps=round(per_turn * min(most, turns - done)), rotate_speed=speed)
        for step, count in zip(run.rotate_steps[run.status == 0], run.counts[run.status == 0], strict=True):
            bench.table.add({"steps": int(step), "count": int(count)})
        marks += [int(mark) for mark in run.marks]
        bench.talk.say(f"    {min(done + most, turns)} of {turns} turns")
    return tuple(marks)


def take_bar(bench: LiveBench, calibration: Calibration, cycles: int) -> Iterator[tuple[float, float]]:
    """Measure a bar in whole measuring cycles.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    calibration : Calibration
        Calibration to measure by.
    cycles : int
        Number of cycles.

    Yields
    ------
    tuple[float, float]
        Spine and its standard uncertainty, thou.

    Raises
    ------
    DeviceFault
        A cycle gave no result, or a result with a fault.
    """
    steps = bench.pipeline(lambda kept: evaluate_kept(kept, calibration))
    for number in range(1, cycles + 1):
        cycle = cycle_steps(calibration, bench.gauge.identify(), DEEP)
        result = steps.take(partial(bench.gauge.run, 1, f"{bench.label} {number}", cycle))
        if not isinstance(result, ShaftResult) or result.faults:
            raise DeviceFault(
                f"cycle {number} gave no valid result: "
                f"{'; '.join(result.faults if isinstance(result, ShaftResult) else result.reasons)}"
            )
        yield result.spine_thou, result.u_spine_thou
