"""Masses on the cell of a gauge: first the sign of a push, then the whole schedule, and creep.

The head stays at home, so nothing moves while hands are at the masses.
"""

from collections.abc import Iterator, Sequence

from midspan.base.errors import CellSignError, ReadingsError
from midspan.calibrate.cell_behaviour import CREPT_S
from midspan.calibrate.cell_loading import PICTURE, Loading
from midspan.calibrate.live import STEP_READINGS, LiveBench, steady
from midspan.link.block_assembler import TICK_PERIOD_US

SEEN_SCATTERS = 100  # of a reading at rest: some grams, and surely no noise
CREEP_STEP_S, CREEP_STEPS = 10.0, 33  # a little over five minutes, the converter being up to 5 % fast


def force_schedule(masses_g: Sequence[float], rounds: int) -> Iterator[tuple[int, str, float]]:
    """Round, direction and load of each reading: empty, up to the largest, down to empty.

    >>> list(force_schedule([500.0, 1000.0], 1))
    [(1, 'up', 0.0), (1, 'up', 500.0), (1, 'up', 1000.0), (1, 'down', 500.0), (1, 'down', 0.0)]
    """
    rising = [0.0, *sorted(masses_g)]
    for number in range(1, rounds + 1):
        yield from ((number, "up", mass) for mass in rising)
        yield from ((number, "down", mass) for mass in rising[-2::-1])


def see_sign(bench: LiveBench, mass_g: float, loading: Loading) -> None:
    """See the count rise under a hand and under a mass, before any series; CellSignError when it falls.

    The hand comes first, for it pushes as a shaft does, whatever the masses do: a mass that pulls and wires that are
    swapped would hide each other, and under a shaft the count would fall. The mass is the largest, which also
    exercises the cell. Raises ReadingsError when the count hardly moves.
    """
    bench.operator.say(loading.arranged)
    bench.operator.wait("[sign 1 of 3] Leave the cell empty.")
    zero, scatter = steady(bench.step(0))

    def rise(what: str) -> float:
        bench.operator.wait(what)
        found = steady(bench.step(0))[0] - zero
        bench.operator.say(f"    {found:+.0f} counts")
        if abs(found) < SEEN_SCATTERS * scatter:
            raise ReadingsError(
                f"the count hardly moved ({found:+.0f}): was the load on while it was read? If so, look at the cell's "
                "four wires; then begin anew"
            )
        return found

    if rise("[sign 2 of 3] Push the head towards the cell, as a shaft does, with a finger, about as hard as a full cup "
            "weighs, and hold it.") < 0:  # fmt: skip
        raise CellSignError(
            "the count falls when the head is pushed towards the cell, as a shaft does: swap the cell's two signal "
            "wires (A+ and A-), gauge off, and begin anew", "wires"
        )  # fmt: skip
    if rise(f"[sign 3 of 3] Let the head go. {loading.put_on(mass_g)}.") < 0:
        raise CellSignError(
            "the wires are right, but the mass pulls the head away from the cell, where a shaft pushes it towards it: "
            f"leave the wires, load it as drawn in {PICTURE} (cell turned over), and begin anew", "loading"
        )  # fmt: skip


def take_force(bench: LiveBench, schedule: Sequence[tuple[int, str, float]], loading: Loading) -> None:
    """Read the cell under each load in turn, with the head at home."""
    for i, (number, direction, mass) in enumerate(schedule, 1):
        bench.operator.wait(f"[{i} of {len(schedule)}] Round {number}, {direction}. {loading.put_on(mass)}.")
        count, scatter = steady(bench.step(0))
        bench.table.add({"round": number, "direction": direction, "mass_g": mass, "count": count, "time_s": 0})
        bench.operator.say(f"    count {count:.0f}, scatter {scatter:.0f}")


def take_creep(bench: LiveBench, mass_g: float, number: int, loading: Loading) -> None:
    """Leave the largest mass on for five minutes and read it, then the empty cell; times count from the first step."""
    bench.operator.wait(f"{loading.put_on(mass_g)} in one go and leave it; this takes {CREPT_S / 60:.0f} minutes.")
    found = bench.gauge.identify()
    begun_us, readings = found.tick_us, round(CREEP_STEP_S * 1e6 / found.interval_us)
    for load_g in [mass_g] * CREEP_STEPS + [0.0]:
        if not load_g:
            bench.operator.wait(f"{loading.put_on(0.0)}.")
        before_us = (bench.gauge.identify().tick_us - begun_us) % TICK_PERIOD_US
        run = bench.step(0, readings=readings if load_g else STEP_READINGS)
        count, _ = steady(run)
        time_s = (before_us + float(run.tick_us.mean())) / 1e6  # a run's ticks begin with it
        bench.table.add({"round": number, "direction": "hold", "mass_g": load_g, "count": count, "time_s": time_s})
