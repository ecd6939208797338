"""Read where the head feels gauge blocks of known height, for the calibration of travel.

The head comes down on each block until the cell feels it. The place is where the cell shows the same small rise on
every block, so that the compliance of frame and cell drops out. The head always comes from above, as it does when it
measures; backlash, which shows only on the way back, stays unknown.
"""

from collections.abc import Sequence
from dataclasses import replace

from midspan.base.errors import DeviceFault
from midspan.calibrate.live import LiveBench, steady, touch
from midspan.calibrate.readings_table import CalibrationReadings
from midspan.conversation.questions import instruction

FELT_SCATTERS = 100  # times the scatter at rest: a light load, yet far above noise
FURTHER_STEPS = 2
STEPS_A_BLOCK = 200  # step numbers reserved for each block, so that the scenario knows when each is put in


def take_blocks(bench: LiveBench, blocks_mm: Sequence[float], deepest: int) -> None:
    """Lower the head on each gauge block and record where the cell feels it.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    blocks_mm : Sequence[float]
        Heights of the blocks, mm.
    deepest : int
        Lowest position, steps.

    Raises
    ------
    DeviceFault
        The head met no block, or the force did not rise on it.
    """
    for i, block in enumerate(blocks_mm):
        bench.step(0)
        words = f"Lay the block of {block:g} mm under the head, then take your hand away: the head comes down on it."
        bench.talk.ask(instruction("lay block", words, f"{i + 1} of {len(blocks_mm)}"))
        bench.taken = max(bench.taken, STEPS_A_BLOCK * (i + 1) - 1)
        place = _felt_at(bench, deepest)
        bench.table.add({"steps": round(place, 3), "block_mm": block})
        bench.talk.say("    touched")
        bench.say_figures(f"at {place:.1f} steps")
    bench.step(0)


def _felt_at(bench: LiveBench, deepest: int) -> float:
    """Return the position, steps, at which the count has risen by `FELT_SCATTERS` times its scatter.

    It lies on the line through two positions just beyond.
    """
    zero, scatter = steady(bench.step(0))
    felt = max(1, round(FELT_SCATTERS * scatter))
    touch(bench, felt, deepest)
    at = bench.press
    first = steady(bench.step(at))[0] - zero
    second = steady(bench.step(at + FURTHER_STEPS))[0] - zero
    if second <= first:
        raise DeviceFault(
            f"the force did not rise from {at} to {at + FURTHER_STEPS} steps; check that the block does not rock"
        )
    return at - (first - felt) * FURTHER_STEPS / (second - first)


def as_travel(readings: CalibrationReadings) -> CalibrationReadings:
    """Return readings of gauge blocks as readings of travel.

    The head went down by as much as a block is lower than the highest block.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns steps, block_mm.

    Returns
    -------
    CalibrationReadings
        The same with columns direction and travel_mm.

    Examples
    --------
    >>> from midspan.calibrate.readings_table import readings_of
    >>> as_travel(readings_of("typed", steps=[400.0, 800.0], block_mm=[5.0, 4.0]))["travel_mm"].tolist()
    [0.0, 1.0]
    """
    blocks = readings["block_mm"]
    numbers = readings.numbers | {"travel_mm": blocks.max() - blocks}
    return replace(readings, numbers=numbers, words={"direction": ("down",) * len(blocks)})
