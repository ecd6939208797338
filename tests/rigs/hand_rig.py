"""A simulated hand bench: readings of a shaft with known truth, on knife edges or on real ones.

The truth is the elastica of `synthetic`, integrated step by step along the shaft (Runge-Kutta), while the host uses
quadrature over the slope.
"""

import csv
from copy import deepcopy
from dataclasses import dataclass, replace

import numpy as np
from commands_rig import midspan
from midspan.hand_bench.bench import EXAMPLE
from midspan.hand_bench.record import UNKNOWN, HandSession, Typed
from midspan.hand_bench.result import evaluate_hand
from synthetic import SPAN_MM, Shaft, leaning_law, spine_around, stiffness_of

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
    tip_mm: float = 0.0  # distance of the dial's tip from the hook
    rolling_mm: float = 2.5  # radius of edge and shaft together: a shaft of 5 mm on knife edges
    friction: float = 0.0  # along the shaft under the weight, over the reaction; above 0 pulls it outward
    crept: float = 0.0  # share of the deflection that came after the first second
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
    angle = np.array(angles)
    stiffness = stiffness_of(spine_around(shaft, np.radians(angle)))
    low, high = (_deflection(force, stiffness, bench) for force in (always, always + load))
    sunk = (high - low) * _seen(bench) * (1 + bench.crept) * bench.dial + bench.give_mm_per_n * load
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
    if not force:
        return 0.0 * stiffness
    return bench.span_mm * on_edges(bench.friction, bench.rolling_mm / bench.span_mm)(group)


def _seen(bench):
    """Return the share of the deflection at midspan that the dial sees: hook and tip at a and b from the middle.

    By superposition of the beam's deflection under a load off centre (AISC Manual, table 3-23, case 8).
    """
    a, b = (1 / 2 + x / bench.span_mm for x in (bench.off_centre_mm, bench.off_centre_mm + bench.tip_mm))
    near, far = min(a, b), max(a, b)
    return 8 * near * (1 - far) * (1 - (1 - far) ** 2 - near**2)


def on_edges(friction, rolling_ratio):
    """Return the function from P L^2 / EI to the deflection over the span on round edges with friction.

    `rolling_ratio` is the radius of edge and shaft together over the span.
    """
    softening = leaning_law(rolling_ratio, friction)

    def ratio_at(group):
        """Return the deflection over the span, by iteration from the handbook's line."""
        found = group / 48
        for _ in range(40):
            found = group / (48 * softening(found))
        return found

    return ratio_at


# What a bench file says of a bench without the errors of real supports and real shafts, as the bench on paper is.
KNIFE_EDGES = {
    "span": {"expansion_per_k": 0.0},
    "indicator": {"tip_beside_mm": 0.0},
    "supports": {"rollers": True, "before_reading": "turn", "friction": 0.0, "edge_radius_mm": 0.0,
                 "u_edge_radius_mm": 0.0},
    "shafts": {"diameter_mm": [5.0, 5.0], "sink_mm_per_n": 0.0, "u_sink_mm_per_n": 0.0, "u_creep_per_decade": 0.0},
}  # fmt: skip


def bench_file(**changes):
    """Return the content of a bench file: the example on knife edges, with changed sections."""
    content = deepcopy(EXAMPLE)
    for section, values in KNIFE_EDGES.items():
        content.setdefault(section, {}).update(values)
    for section, values in changes.items():
        content.setdefault(section, {}).update(values)
    return content


def session_of(typed, content=None, shaft=1, label="bar", started_ms=0, at=UNKNOWN):
    """Return a session of typed readings."""
    return HandSession("hand.jsonl", 0, content or bench_file(), shaft, label, "Ann", started_ms, tuple(typed), at=at)


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
[supports]
rollers = true
before_reading = "turn"
friction = 0.0
edge_radius_mm = 0.0
u_edge_radius_mm = 0.05
[shafts]
sink_mm_per_n = 0.0
diameter_mm = [5, 5]
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
