"""The calibration procedures on a gauge: one step after another, each reading in the table as soon as it is taken.

A step moves the press, waits for the person where something is to be put on, and takes readings; its raw run goes
to the archive before the gauge forgets it. What is asked and shown goes through an `Operator`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from midspan.archive_writer import ArchiveWriter
from midspan.calibration import Calibration, Force, Travel
from midspan.calibration_table import TableWriter
from midspan.errors import ConfigurationError, DeviceFault
from midspan.gauge import Gauge
from midspan.harmonics import MAD_TO_SIGMA, REJECT_SIGMAS
from midspan.plan import plan_for
from midspan.raw_run import RawRun
from midspan.records import BenchStep
from midspan.shaft import ShaftResult, evaluate

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
    """A gauge whose steps are counted, archived and acknowledged.

    Leave it by `end`, which brings the head home.
    """

    gauge: Gauge
    archive: ArchiveWriter
    label: str
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
        run = self.gauge.bench_step(order, f"{self.label} {self.taken}")
        self.archive.append(run)
        self.gauge.acknowledge(self.taken)
        if run.cause is not None:
            raise DeviceFault(f"step {self.taken} of the calibration was cut short: {run.cause}")
        self.press = int(run.press_steps[-1])
        return run

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


def travel_course(low: int, high: int, places: int) -> list[tuple[str, int]]:
    """Direction and steps of each place, evenly apart, down and back up; ConfigurationError when they do not fit.

    >>> travel_course(0, 1000, 3)
    [('down', 0), ('down', 500), ('down', 1000), ('up', 1000), ('up', 500), ('up', 0)]
    """
    if high - low < places:
        raise ConfigurationError(
            f"{places} places do not fit between {low} and {high} steps: the last must lie well below the first"
        )
    steps = [round(float(value)) for value in np.linspace(low, high, places)]
    return [("down", step) for step in steps] + [("up", step) for step in reversed(steps)]


def take_travel(
    bench: LiveBench,
    course: Sequence[tuple[str, int]],
    read_mm: Callable[[RawRun], float],
    operator: Operator,
    table: TableWriter,
) -> None:
    """Move to each place and read the indicator there; `read_mm` asks for it, or has it from the gauge itself."""
    operator.wait("Set the dial indicator under the head, reading in mm, growing as the head goes down.")
    bench.step(0)
    for i, (direction, steps) in enumerate(course, 1):
        if direction == "up" and steps == bench.press:
            bench.step(steps + PRESS_STEPS_S // 20)  # beyond, so that it is met from below
        run = bench.step(steps)
        operator.say(f"[{i} of {len(course)}] {direction}, {steps} steps")
        travel = read_mm(run)
        table.add({"direction": direction, "steps": steps, "travel_mm": travel})


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


def take_frame(
    bench: LiveBench,
    loads: tuple[int, int],
    cell: Force,
    head: Travel,
    deepest: int,
    operator: Operator,
    table: TableWriter,
) -> None:
    """Press on the rigid bar from a light to the full load (counts above zero); DeviceFault when it is not reached."""
    operator.wait("Lay the rigid bar on the supports, and take everything else away.")
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
        table.add(row)
        operator.say(f"    {row['force_n']:.3f} N at {row['travel_mm']:.4f} mm")
        if bench.press >= deepest:
            raise DeviceFault(f"the full load was not reached within {deepest} steps; is the bar a rigid one?")


def take_rotation(
    bench: LiveBench, load: int, deepest: int, per_turn: float, turns: int, operator: Operator, table: TableWriter
) -> tuple[int, ...]:
    """Turn a shaft under load and read steps and counts; the index marks that passed."""
    operator.wait("Lay in a shaft of the kind you measure, best one with some bow.")
    bench.step(0)
    touch(bench, load, deepest)
    speed = max(1, round(per_turn / READINGS_A_TURN * 80))
    marks: list[int] = []
    most = HIGHEST_STEP // (2 * READINGS_A_TURN)
    for done in range(0, turns, most):
        run = bench.step(rotate_steps=round(per_turn * min(most, turns - done)), rotate_speed=speed)
        for step, count in zip(run.rotate_steps[run.status == 0], run.counts[run.status == 0], strict=True):
            table.add({"steps": int(step), "count": int(count)})
        marks += [int(mark) for mark in run.marks]
        operator.say(f"    {min(done + most, turns)} of {turns} turns")
    return tuple(marks)


def take_bar(bench: LiveBench, calibration: Calibration, cycles: int) -> Iterator[tuple[float, float]]:
    """Spine and its standard uncertainty of the bar in the gauge, over whole measuring cycles.

    Raises DeviceFault when a cycle gives no sound result.
    """
    for number in range(1, cycles + 1):
        run = bench.gauge.measure(1, f"{bench.label} {number}", plan_for(calibration, bench.gauge.identify()))
        bench.archive.append(run)
        bench.gauge.acknowledge(1)
        (result,) = evaluate([run], calibration)
        if not isinstance(result, ShaftResult) or result.faults:
            raise DeviceFault(
                f"cycle {number} gave no sound result: "
                f"{'; '.join(result.faults if isinstance(result, ShaftResult) else result.reasons)}"
            )
        yield result.spine_thou, result.u_spine_thou
