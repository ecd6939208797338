"""Travel against gauge blocks: the head comes down on one after the other until the cell feels it.

On every block the place counts where the cell would show the same small rise, so that what frame and cell give by then
is the same each time and drops out. The head comes from above always, as it does when it measures; backlash, which
shows on the way back only, is not told.
"""

from collections.abc import Sequence
from dataclasses import replace

from midspan.calibrate_live import LiveBench, Operator, steady, touch
from midspan.calibration_table import Readings, TableWriter
from midspan.errors import DeviceFault

FELT_SCATTERS = 100  # of a reading at rest: light, and surely no noise
FURTHER_STEPS = 2
STEPS_A_BLOCK = 200  # numbers of steps kept for each, so that it is known beforehand at which one a block is put in


def take_blocks(
    bench: LiveBench, blocks_mm: Sequence[float], deepest: int, operator: Operator, table: TableWriter
) -> None:
    """Bring the head down on each block and note where it feels it; DeviceFault where it feels nothing."""
    for i, block in enumerate(blocks_mm):
        bench.step(0)
        operator.wait(f"[{i + 1} of {len(blocks_mm)}] Lay the block of {block:g} mm under the head.")
        bench.taken = max(bench.taken, STEPS_A_BLOCK * (i + 1) - 1)
        place = _felt_at(bench, deepest)
        table.add({"steps": round(place, 3), "block_mm": block})
        operator.say(f"    felt at {place:.1f} steps")
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


def as_travel(readings: Readings) -> Readings:
    """Readings of blocks as those of travel: the head went as far down as a block is lower than the highest one.

    >>> from midspan.calibration_table import readings_of
    >>> as_travel(readings_of("typed", steps=[400.0, 800.0], block_mm=[5.0, 4.0]))["travel_mm"].tolist()
    [0.0, 1.0]
    """
    blocks = readings["block_mm"]
    numbers = readings.numbers | {"travel_mm": blocks.max() - blocks}
    return replace(readings, numbers=numbers, words={"direction": ("down",) * len(blocks)})
