"""The calibration procedures on a gauge: one step after another, each reading in the table as soon as it is taken.

A step moves the press, waits for the person where something is to be put on, and takes readings; its raw run goes
to the archive before the gauge forgets it. What is asked and shown goes through an `Operator`.

Travel against gauge blocks: the head comes down on one after the other until the cell feels it.

On every block the place counts where the cell would show the same small rise, so that what frame and cell give by then
is the same each time and drops out. The head comes from above always, as it does when it measures; backlash, which
shows on the way back only, is not told.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Protocol

import numpy as np

from midspan.archive.raw_run import RawRun
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ConfigurationError, DeviceFault
from midspan.calibrate.readings_table import CalibrationReadings, TableWriter
from midspan.link.gauge import Gauge
from midspan.measurement.calibration import Calibration, Force, Travel
from midspan.measurement.cycle_plan import plan_for
from midspan.measurement.harmonics import MAD_TO_SIGMA, REJECT_SIGMAS
from midspan.measurement.result import ShaftResult
from midspan.pipeline.steps import Kept, OutcomeT, Pipeline, evaluate_kept, readings_alone
from midspan.wire.records import BenchStep

LOG = logging.getLogger(__name__)

STEP_READINGS, SETTLE_READINGS = 80, 8  # a second at 80 samples a second; the converter's filter remembers four
PRESS_STEPS_S, SEEK_STEPS_S, TOUCH_STEPS_S = 4000, 400, 40  # two readings late, the head has gone 10 steps, or 1
BACK_STEPS = 200  # several backlashes
STRETCH_STEPS = 2000
READINGS_A_TURN = 160
HIGHEST_STEP = 4000  # readings that the gauge's memory surely holds


class Operator(Protocol):
    """Who is guided: told things, waited for, asked for numbers."""

    def say(self, text: str) -> None:
        """Show a line."""
        ...

    def wait(self, text: str) -> None:
        """Say what to do, and go on when it is done."""
        ...

    def number(self, text: str) -> float:
        """Ask for a number."""
        ...


@dataclass
class LiveBench:
    """A gauge whose steps are counted, archived and acknowledged, who is guided there, and the table of readings.

    Leave it by `end`, which brings the head home.
    """

    gauge: Gauge
    archive: ArchiveWriter
    label: str
    operator: Operator
    table: TableWriter
    taken: int = field(default=0)
    press: int = field(default=0)

    def step(
        self,
        press_steps: int | None = None,
        *,
        rotate_steps: int = 0,
        rotate_speed: int = 1,
        stop_count: int | None = None,
        readings: int = STEP_READINGS,
        speed: int = PRESS_STEPS_S,
    ) -> RawRun:
        """Take a step; without a position the head stays. Raises DeviceFault when the gauge cut it short."""
        self.taken += 1
        wanted = self.press if press_steps is None else press_steps
        order = BenchStep(self.taken, wanted, rotate_steps, stop_count, readings, SETTLE_READINGS, speed, rotate_speed)
        run = self.pipeline(readings_alone).take(lambda: self.gauge.bench_step(order, f"{self.label} {self.taken}"))
        LOG.debug("step %d: at %d steps, cause %s", self.taken, int(run.press_steps[-1]), run.cause)
        if run.cause is not None:
            raise DeviceFault(f"step {self.taken} of the calibration was cut short: {run.cause}")
        self.press = int(run.press_steps[-1])
        return run

    def pipeline(self, judge: Callable[[Kept], OutcomeT]) -> Pipeline[OutcomeT]:
        """Return the way of a run into the archive of this bench, with what is made of it there."""
        return Pipeline(self.gauge, self.archive, judge)

    def end(self) -> None:
        """Head home."""
        self.gauge.end_bench()


def steady(run: RawRun) -> tuple[float, float]:
    """Mean count and its scatter over the settled readings of a run, spikes left out."""
    counts = run.counts[run.status == 0].astype(float)
    middle = float(np.median(counts))
    away = np.abs(counts - middle)
    kept = counts[away <= max(REJECT_SIGMAS * MAD_TO_SIGMA * float(np.median(away)), 1.0)]
    return float(kept.mean()), float(kept.std(ddof=1))


def travel_schedule(low: int, high: int, places: int) -> list[tuple[str, int]]:
    """Direction and steps of each place, evenly apart, down and back up; ConfigurationError when they do not fit.

    >>> travel_schedule(0, 1000, 3)
    [('down', 0), ('down', 500), ('down', 1000), ('up', 1000), ('up', 500), ('up', 0)]
    """
    if high - low < places:
        raise ConfigurationError(
            f"{places} places do not fit between {low} and {high} steps: the last must lie well below the first"
        )
    steps = [round(float(value)) for value in np.linspace(low, high, places)]
    return [("down", step) for step in steps] + [("up", step) for step in reversed(steps)]


def take_travel(bench: LiveBench, schedule: Sequence[tuple[str, int]], read_mm: Callable[[RawRun], float]) -> None:
    """Move to each place and read the indicator there; `read_mm` asks for it, or has it from the gauge itself."""
    bench.operator.wait("Set the dial indicator under the head, reading in mm, growing as the head goes down.")
    bench.step(0)
    for i, (direction, steps) in enumerate(schedule, 1):
        if direction == "up" and steps == bench.press:
            bench.step(steps + PRESS_STEPS_S // 20)  # beyond, so that it is met from below
        run = bench.step(steps)
        bench.operator.say(f"[{i} of {len(schedule)}] {direction}, {steps} steps")
        travel = read_mm(run)
        bench.table.add({"direction": direction, "steps": steps, "travel_mm": travel})


def touch(bench: LiveBench, load: int, deepest: int) -> None:
    """Head down until it feels `load` counts: quickly, then from a little above slowly, so that it hardly overshoots.

    Raises DeviceFault when nothing is met.
    """
    reached = -1
    while bench.press > reached:  # in stretches, for the gauge keeps the readings of the whole way
        if bench.press >= deepest:
            raise DeviceFault(f"the head went down {deepest} steps and met nothing; does the bar or shaft lie there?")
        reached = min(bench.press + STRETCH_STEPS, deepest) - 1
        bench.step(reached + 1, stop_count=load, speed=SEEK_STEPS_S)
    bench.step(max(0, bench.press - BACK_STEPS))
    bench.step(bench.press + 2 * BACK_STEPS, stop_count=load, speed=TOUCH_STEPS_S)


def take_frame(bench: LiveBench, loads: tuple[int, int], cell: Force, head: Travel, deepest: int) -> None:
    """Press on the rigid bar from a light to the full load (counts above zero); DeviceFault when it is not reached."""
    bench.operator.wait("Lay the rigid bar on the supports, and take everything else away.")
    light, full = loads
    zero, _ = steady(bench.step(0))
    touch(bench, light, deepest)
    further, before = 1, 0.0
    while before < full:
        count = steady(bench.step(bench.press + further))[0] - zero
        if count - before < full / 20:
            further *= 2
        before = count
        at, rise = np.array(float(bench.press)), np.array(count)
        row = {"travel_mm": float(head.travel_mm(at)), "force_n": float(cell.force_n(rise))}
        bench.table.add(row)
        bench.operator.say(f"    {row['force_n']:.3f} N at {row['travel_mm']:.4f} mm")
        if bench.press >= deepest:
            raise DeviceFault(f"the full load was not reached within {deepest} steps; is the bar a rigid one?")


def take_rotation(bench: LiveBench, load: int, deepest: int, per_turn: float, turns: int) -> tuple[int, ...]:
    """Turn a shaft under load and read steps and counts; the index marks that passed."""
    bench.operator.wait("Lay in a shaft of the kind you measure, best one with some bow.")
    bench.step(0)
    touch(bench, load, deepest)
    speed = max(1, round(per_turn / READINGS_A_TURN * 80))
    marks: list[int] = []
    most = HIGHEST_STEP // (2 * READINGS_A_TURN)
    for done in range(0, turns, most):
        run = bench.step(rotate_steps=round(per_turn * min(most, turns - done)), rotate_speed=speed)
        for step, count in zip(run.rotate_steps[run.status == 0], run.counts[run.status == 0], strict=True):
            bench.table.add({"steps": int(step), "count": int(count)})
        marks += [int(mark) for mark in run.marks]
        bench.operator.say(f"    {min(done + most, turns)} of {turns} turns")
    return tuple(marks)


def take_bar(bench: LiveBench, calibration: Calibration, cycles: int) -> Iterator[tuple[float, float]]:
    """Spine and its standard uncertainty of the bar in the gauge, over whole measuring cycles.

    Raises DeviceFault when a cycle gives no sound result.
    """
    steps = bench.pipeline(lambda kept: evaluate_kept(kept, calibration))
    for number in range(1, cycles + 1):
        plan, label = plan_for(calibration, bench.gauge.identify()), f"{bench.label} {number}"
        result = steps.take(partial(bench.gauge.measure, 1, label, plan))
        if not isinstance(result, ShaftResult) or result.faults:
            raise DeviceFault(
                f"cycle {number} gave no sound result: "
                f"{'; '.join(result.faults if isinstance(result, ShaftResult) else result.reasons)}"
            )
        yield result.spine_thou, result.u_spine_thou


FELT_SCATTERS = 100  # of a reading at rest: light, and surely no noise
FURTHER_STEPS = 2
STEPS_A_BLOCK = 200  # numbers of steps kept for each, so that it is known beforehand at which one a block is put in


def take_blocks(bench: LiveBench, blocks_mm: Sequence[float], deepest: int) -> None:
    """Bring the head down on each block and note where it feels it; DeviceFault where it feels nothing."""
    for i, block in enumerate(blocks_mm):
        bench.step(0)
        bench.operator.wait(f"[{i + 1} of {len(blocks_mm)}] Lay the block of {block:g} mm under the head.")
        bench.taken = max(bench.taken, STEPS_A_BLOCK * (i + 1) - 1)
        place = _felt_at(bench, deepest)
        bench.table.add({"steps": round(place, 3), "block_mm": block})
        bench.operator.say(f"    felt at {place:.1f} steps")
    bench.step(0)


def _felt_at(bench: LiveBench, deepest: int) -> float:
    """Steps at which the count has risen by `FELT_SCATTERS`, on the line through two places just beyond."""
    zero, scatter = steady(bench.step(0))
    felt = max(1, round(FELT_SCATTERS * scatter))
    touch(bench, felt, deepest)
    at = bench.press
    first = steady(bench.step(at))[0] - zero
    second = steady(bench.step(at + FURTHER_STEPS))[0] - zero
    if second <= first:
        raise DeviceFault(f"the force did not rise between {at} and {at + FURTHER_STEPS} steps; does the block rock?")
    return at - (first - felt) * FURTHER_STEPS / (second - first)


def as_travel(readings: CalibrationReadings) -> CalibrationReadings:
    """Readings of blocks as those of travel: the head went as far down as a block is lower than the highest one.

    >>> from midspan.calibrate.readings_table import readings_of
    >>> as_travel(readings_of("typed", steps=[400.0, 800.0], block_mm=[5.0, 4.0]))["travel_mm"].tolist()
    [0.0, 1.0]
    """
    blocks = readings["block_mm"]
    numbers = readings.numbers | {"travel_mm": blocks.max() - blocks}
    return replace(readings, numbers=numbers, words={"direction": ("down",) * len(blocks)})
