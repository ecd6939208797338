"""Take readings of the cell under masses: first the sign of a push, then all loads, then creep.

The head stays at home, so that nothing moves while hands are at the masses.
"""

from collections.abc import Iterator, Sequence

from midspan.base.errors import CellSignError, ReadingsError
from midspan.calibrate.cell_behaviour import CREPT_S
from midspan.calibrate.cell_loading import Loading
from midspan.calibrate.live import STEP_READINGS, LiveBench, steady
from midspan.conversation.prompts import Prompt
from midspan.conversation.questions import instruction
from midspan.link.block_assembler import TICK_PERIOD_US

SEEN_SCATTERS = 100  # times the scatter at rest: a few grams, yet far above noise
PUSH = (
    "Push the head towards the cell, as a shaft does, with a finger, about as hard as a full cup weighs, and hold it. "
    "The head does not move."
)
CREEP_STEP_S, CREEP_STEPS = 10.0, 33  # over five minutes also if the converter runs 5 % fast


def force_schedule(masses_g: Sequence[float], rounds: int) -> Iterator[tuple[int, str, float]]:
    """Yield the loads to read, in their order: empty, up to the largest, down to empty.

    Parameters
    ----------
    masses_g : Sequence[float]
        Loads, g.
    rounds : int
        Number of rounds.

    Yields
    ------
    tuple[int, str, float]
        Round, direction and load, g.

    Examples
    --------
    >>> list(force_schedule([500.0, 1000.0], 1))
    [(1, 'up', 0.0), (1, 'up', 500.0), (1, 'up', 1000.0), (1, 'down', 500.0), (1, 'down', 0.0)]
    """
    rising = [0.0, *sorted(masses_g)]
    for number in range(1, rounds + 1):
        yield from ((number, "up", mass) for mass in rising)
        yield from ((number, "down", mass) for mass in rising[-2::-1])


def check_sign(bench: LiveBench, mass_g: float, loading: Loading) -> None:
    """Check that the count rises under a push by hand and under a mass, before any series.

    The hand comes first because it pushes as a shaft does. Masses alone prove nothing: if they pull the head and the
    wires are swapped too, the count rises with them and would fall under a shaft. The mass is the largest, which also
    exercises the cell.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    mass_g : float
        Largest load, g.
    loading : Loading
        Way of loading.

    Raises
    ------
    CellSignError
        The count falls.
    ReadingsError
        The count hardly moves (code "no_response").
    """
    bench.talk.say(loading.arranged)
    bench.talk.ask(instruction("sign empty", "Leave the cell empty.", "sign 1 of 3"))
    zero, scatter = steady(bench.step(0))

    def rise(prompt: Prompt) -> float:
        bench.talk.ask(prompt)
        found = steady(bench.step(0))[0] - zero
        bench.say_figures(f"{found:+.0f} counts")
        if abs(found) < SEEN_SCATTERS * scatter:
            raise ReadingsError(
                f"the count hardly moved ({found:+.0f}); put the load on before the reading, check the cell's four "
                "wires, and start again",
                code="no_response",
            )
        return found

    if rise(instruction("sign push", PUSH, "sign 2 of 3")) < 0:
        raise CellSignError(
            "the count falls when the head is pushed towards the cell, as by a shaft: switch the gauge off, swap the "
            "cell's two signal wires (A+ and A-), and start again", "wires"
        )  # fmt: skip
    bench.talk.say("    right: the reading rises when the head is pushed")
    if rise(instruction("sign mass", f"Let the head go. {loading.put_on(mass_g)}.", "sign 3 of 3")) < 0:
        raise CellSignError(
            "the wires are right, but the mass pulls the head away from the cell, while a shaft pushes it towards the "
            "cell: turn the cell over so that the mass stands on the head, and start again", "loading"
        )  # fmt: skip


def take_force(bench: LiveBench, schedule: Sequence[tuple[int, str, float]], loading: Loading) -> None:
    """Read the cell under each load in turn, with the head at home.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    schedule : Sequence[tuple[int, str, float]]
        Round, direction and load, g.
    loading : Loading
        Way of loading.
    """
    for i, (number, direction, mass) in enumerate(schedule, 1):
        words = f"Round {number}, {direction}. {loading.put_on(mass)}."
        bench.talk.ask(instruction("put on", words, f"{i} of {len(schedule)}"))
        count, scatter = steady(bench.step(0))
        bench.table.add({"round": number, "direction": direction, "mass_g": mass, "count": count, "time_s": 0})
        bench.say_figures(f"count {count:.0f}, scatter {scatter:.0f}")


def take_creep(bench: LiveBench, mass_g: float, number: int, loading: Loading) -> None:
    """Read the cell for five minutes under a load, then empty; times count from the first step.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    mass_g : float
        Load, g.
    number : int
        Round to record.
    loading : Loading
        Way of loading.
    """
    words = f"{loading.put_on(mass_g)} in one go and leave it; this takes {CREPT_S / 60:.0f} minutes."
    bench.talk.ask(instruction("creep load", words))
    found = bench.gauge.identify()
    begun_us, readings = found.tick_us, round(CREEP_STEP_S * 1e6 / found.interval_us)
    for load_g in [mass_g] * CREEP_STEPS + [0.0]:
        if not load_g:
            bench.talk.ask(instruction("creep empty", f"{loading.put_on(0.0)}."))
        before_us = (bench.gauge.identify().tick_us - begun_us) % TICK_PERIOD_US
        run = bench.step(0, readings=readings if load_g else STEP_READINGS)
        count, _ = steady(run)
        time_s = (before_us + float(run.tick_us.mean())) / 1e6  # ticks of a run count from its start
        bench.table.add({"round": number, "direction": "hold", "mass_g": load_g, "count": count, "time_s": time_s})
