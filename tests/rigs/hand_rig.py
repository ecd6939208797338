"""A simulated hand bench: readings of a shaft with known truth, by the elastica of `synthetic`."""

import csv
from copy import deepcopy
from dataclasses import dataclass, replace

import numpy as np
from commands_rig import midspan
from midspan.hand_bench.bench import EXAMPLE
from midspan.hand_bench.record import HandSession, Typed
from midspan.hand_bench.result import evaluate_hand
from synthetic import SPAN_MM, Shaft, ratio_for, spine_around, stiffness_of

EIGHT = tuple(45.0 * i for i in range(8))


@dataclass
class TrueBench:
    """True values of a bench, whatever its file says."""

    mass_g: float = 880.0
    gravity: float = 9.80665
    buoyancy: float = 0.99985
    span_mm: float = SPAN_MM
    hook_g: float = 0.0
    force_n: float = 0.0
    force_change_n: float = 0.0
    give_mm_per_n: float = 0.0
    dial: float = 1.0  # reading over movement of its tip
    off_centre_mm: float = 0.0
    vertical: float = 0.5
    unit_mm: float = 1.0
    rises: bool = True
    graduation: float = 1e-9
    noise: float = 0.0  # of each reading, in its unit
    zero: float = 3.0  # reading of a straight unloaded shaft, in its unit


def readings(shaft=None, bench=None, rng=None, angles=EIGHT, repeats=2, again=True):
    """Return typed readings of a shaft, position after position, round after round."""
    shaft, bench, rng = shaft or Shaft(), bench or TrueBench(), rng or np.random.default_rng(1)
    always = bench.hook_g / 1000 * bench.gravity + bench.force_n
    load = bench.mass_g / 1000 * bench.gravity * bench.buoyancy + bench.force_change_n
    lost = 1 - 8 * (bench.off_centre_mm / bench.span_mm) ** 2
    angle = np.array(angles)
    supports = bench.vertical
    stiffness = stiffness_of(spine_around(shaft, np.radians(angle), supports), supports)
    low, high = (_deflection(force, stiffness, bench) for force in (always, always + load))
    sunk = (high - low) * lost * bench.dial + bench.give_mm_per_n * load
    height = shaft.bow_mm * np.cos(np.radians(angle - shaft.bow_deg))

    def typed(mm):
        """Return the reading of the dial for a movement, as typed."""
        value = bench.zero + (1 if bench.rises else -1) * mm / bench.unit_mm + rng.normal(0, bench.noise)
        return f"{round(value / bench.graduation) * bench.graduation:.9f}"

    return tuple(
        Typed(
            f"{angle[i]:g}", str(repeat + 1), typed(-height[i]), typed(sunk[i] - height[i]),
            typed(-height[i]) if again else "",
        )
        for repeat in range(repeats)
        for i in range(len(angle))
    )  # fmt: skip


def _deflection(force, stiffness, bench):
    """Return the deflection under a force at each stiffness, mm."""
    group = force * bench.span_mm**2 / stiffness
    return bench.span_mm * ratio_for(group, bench.vertical) if force else 0.0 * stiffness


def bench_file(**changes):
    """Return the content of a bench file: the example with changed sections."""
    content = deepcopy(EXAMPLE)
    for section, values in changes.items():
        content.setdefault(section, {}).update(values)
    return content


def session_of(typed, content=None, shaft=1, label="bar", started_ms=0):
    """Return a session of typed readings."""
    return HandSession("hand.jsonl", 0, content or bench_file(), shaft, label, "Ann", started_ms, tuple(typed))


def result_of(typed, content=None, **whose):
    """Return the result of typed readings."""
    return evaluate_hand(session_of(typed, content, **whose))


BENCH = """
[bench]
id = "school"
[weight]
mass_g = 880.0
u_mass_g = 0.5
[place]
gravity_m_s2 = 9.80665
[span]
span_mm = 711.2
u_span_mm = 0.1
[indicator]
graduation = 0.01
u_error_mm = 0.004
u_force_change_n = 0.01
"""


COLUMNS = ("angle_deg", "repeat", "unloaded", "loaded", "unloaded_again")


def rounded(typed):
    """Return readings rounded as on a dial with hundredths."""
    return [
        replace(
            reading, **{name: f"{float(getattr(reading, name)):.2f}" for name in COLUMNS[2:] if getattr(reading, name)}
        )
        for reading in typed
    ]


def write(folder, typed, columns=COLUMNS):
    """Write readings as read.csv into a folder."""
    with (folder / "read.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows([getattr(reading, name) for name in columns] for reading in typed)


def measure(folder, *more, shaft=1, label="bar-1"):
    """Return how `midspan hand measure --csv read.csv` ended in a folder."""
    words = ("hand", "measure", "--shaft", shaft, "--label", label, "--csv", "read.csv")
    return midspan(*words, *more, folder=folder)


def good(shaft=None, seed=1, **how):
    """Return readings of a bench with a little noise, on a dial with hundredths."""
    return rounded(readings(shaft or Shaft(501.0, 3.0), TrueBench(noise=0.004), np.random.default_rng(seed), **how))
