"""What the sins of a real gauge do to a number: each by itself, and all of them drawn at once.

A row of the table is one effect, as large as a careful maker's gauge has it or larger: the error it makes in
spine, spread, stiff side and runout, the share of shafts that are beyond their U and say nothing, and the share that
carry a doubt or a fault. Then whole gauges are drawn (whole_gauge.py), each with a shaft, and it is counted how often
the stated intervals hold the truth.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from drawn_benches import drawn
from hand_rig import readings, result_of
from midspan.uncertainty.comparison import agreement_of
from perfect import PERFECT
from synthetic import Shaft

from bench.figure import Figure, at_most, plainly
from bench.whole_gauge import (
    FRAME,
    QUANTITIES,
    SUPPORTS,
    UNITS,
    Measured,
    WholeGauge,
    as_believed,
    careful_gauge,
    careful_shaft,
    measure,
    rms,
)

SHAFTS, GAUGES, PAIRS, CHUNK = 60, 2000, 400, 50
Knobs = dict[str, Any]


@dataclass(frozen=True)
class Effect:
    """An effect of a size, as changes of gauge and shaft; `careful` if a careful maker's gauge has it."""

    name: str
    size: str
    gauge: Callable[[np.random.Generator], Knobs] = lambda _: {}
    shaft: Callable[[np.random.Generator], Knobs] = lambda _: {}
    careful: bool = True


def figures(_folder):
    """Return the table of effects, coverage with all of them at once, the budget at 500, and E_n between benches."""
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for effect, found in zip(EFFECTS, pool.map(_alone, range(len(EFFECTS))), strict=True):
            yield from _row(effect, found)
        found = [shaft for chunk in pool.map(_at_once, range(GAUGES // CHUNK)) for shaft in chunk]
        compared = [pair for chunk in pool.map(_compared, range(PAIRS // CHUNK)) for pair in chunk]
    yield from _coverage(found)
    yield from _at_500(found)
    yield from _agreement(compared)


def _alone(index: int) -> list[Measured]:
    """Return shafts on a gauge that has a single sin."""
    effect, rng, found = EFFECTS[index], np.random.default_rng(index), []
    for i in range(SHAFTS):
        gauge = WholeGauge(PERFECT | as_believed() | effect.gauge(rng))
        found += measure(gauge, [plain_shaft(rng) | effect.shaft(rng)], 1000 * index + i)
    return found


def _at_once(chunk: int) -> list[Measured]:
    """Return shafts, each on a gauge of its own with everything drawn."""
    rng = np.random.default_rng(9000 + chunk)
    return [
        found
        for i in range(CHUNK)
        for found in measure(careful_gauge(rng), [careful_shaft(rng)], 10_000 * (chunk + 1) + i)
    ]


def _compared(chunk: int) -> list[tuple[float, float]]:
    """Return E_n of shafts between two gauges, and between the first gauge and a careful hand bench."""
    rng, pairs = np.random.default_rng(70_000 + chunk), []
    for i in range(CHUNK):
        shaft = careful_shaft(rng) | {"spine_thou": rng.uniform(300, 1000), "sideways": False}
        seed = 900_000 + 1000 * chunk + 2 * i
        first, second = (measure(careful_gauge(rng), [shaft], seed + j)[0] for j in range(2))
        if first.objected or second.objected:
            continue
        plain = Shaft(shaft["spine_thou"], shaft["spread_thou"], shaft["stiff_side_deg"], shaft["bow_mm"])
        content, at, _, bench = drawn("careful", rng, plain)
        by_hand = result_of(readings(plain, bench, rng), content, at=at)
        pairs.append((_e_n(first.result, second.result), _e_n(first.result, by_hand)))
    return pairs


def _e_n(first: Any, second: Any) -> float:
    """Return E_n of two results of the same shaft."""
    return agreement_of(first.spine_thou, first.u_spine_thou, second.spine_thou, second.u_spine_thou).e_n


def plain_shaft(rng: np.random.Generator) -> Knobs:
    """Return an even, nearly straight shaft of a usual spine, in which every effect shows."""
    return {
        "spine_thou": rng.uniform(400, 600), "spread_thou": 3.0, "stiff_side_deg": rng.uniform(0, 180),
        "bow_mm": 0.1, "bow_deg": rng.uniform(0, 360),
    }  # fmt: skip


def _row(effect: Effect, found: list[Measured]) -> Iterator[Figure]:
    """Return the errors, the silent share and the doubted share of an effect."""
    said = f"{effect.name}, {effect.size}"
    errors = [shaft.errors() for shaft in found]
    for name in QUANTITIES:
        yield plainly(f"{said}: error of {name}", rms([row[name][0] for row in errors if name in row]), UNITS[name])
    silent = [shaft.silently_beyond() for shaft in found]
    worst = max(100 * sum(name in row for row in silent) / len(found) for name in QUANTITIES)
    title = f"{said}: silently beyond U"
    yield at_most(title, worst, "%", 5) if effect.careful else plainly(title, worst, "%")
    doubted = 100 * sum(shaft.objected for shaft in found) / len(found)
    yield plainly(f"{said}: doubted", doubted, "%")


def _coverage(found: list[Measured]) -> Iterator[Figure]:
    """Return how often the intervals of undoubted shafts hold the truth, and how many are doubted."""
    sound = [shaft.errors() for shaft in found if not shaft.objected]
    for name in QUANTITIES:
        inside = [abs(row[name][0]) <= row[name][1] for row in sound if name in row]
        share = 100 * sum(inside) / len(inside)
        said = f"all at once, {len(found)} gauges: 95 % interval of the {name} covers"
        yield Figure(said, share, "%", "93 to 97 %", 93 <= share <= 97)
    yield at_most("all at once: doubted", 100 * sum(shaft.objected for shaft in found) / len(found), "%", 1)


def _at_500(found: list[Measured]) -> Iterator[Figure]:
    """Return U (95 %) of spines from 450 to 550 and the largest rows of their budget."""
    near = [shaft.result for shaft in found if not shaft.objected and 450 <= shaft.result.spine_thou <= 550]
    mean_u = float(np.mean([result.budget.expanded() for result in near]))
    yield at_most(f"all at once: U (95 %) of {len(near)} spines at 450 to 550", mean_u, "thou", 0.6)
    rows = {part.name: float(np.mean([r.budget.of(part.name) for r in near])) for part in near[0].budget.contributions}
    for name, u in sorted(rows.items(), key=lambda row: -row[1])[:10]:
        yield plainly(f"  of it, u of {name}", u, "thou")


def _agreement(pairs: list[tuple[float, float]]) -> Iterator[Figure]:
    """Return how often two benches agree within the U that they state."""
    for who, column in zip(("two gauges", "a gauge and a careful hand bench"), zip(*pairs, strict=True), strict=True):
        share = 100 * sum(abs(e_n) <= 1 for e_n in column) / len(column)
        yield Figure(f"{who}, {len(column)} shafts: E_n within 1", share, "%", "at least 93 %", share >= 93)
        yield plainly(f"{who}: E_n, root mean square times 1.96", 1.96 * rms(list(column)), "")


def _turned(name: str, size: float, rng: np.random.Generator) -> Knobs:
    """Return a knob with either sign."""
    return {name: size * rng.choice((-1, 1))}


def _wood(rng: np.random.Generator) -> Knobs:
    """Return wood that is a sinusoid in compliance: a spread of 12 % of the spine."""
    return {"spread_thou": 60.0, "sideways": True}


NO_COUNTERWEIGHT = {"lift_n": -5.0}
EFFECTS = [
    Effect("nothing", "a perfect gauge"),
    # Nut and screw
    Effect("play that the load turns over", "30 um", lambda _: NO_COUNTERWEIGHT | {"backlash_mm": 0.03}, careful=False),
    Effect("play that the load turns over", "10 um", lambda _: NO_COUNTERWEIGHT | {"backlash_mm": 0.01}, careful=False),
    Effect("play with a counterweight", "30 um", lambda _: {"backlash_mm": 0.03}),
    Effect("microsteps", "0.5 um", lambda _: {"microstep_mm": 0.0005}),
    # Rollers
    Effect("rollers out of round", "5 um each", lambda _: {"roller_runout_mm": 0.005, "roller_oval_mm": 0.001}),
    Effect("rollers out of round", "20 um each", lambda _: {"roller_runout_mm": 0.02}, careful=False),
    Effect("slip that grows with load", "0.1 % at the full load", lambda _: {"slip_per_n": 1.3e-4}),
    Effect("slip that grows with load", "0.6 % at the full load", lambda _: {"slip_per_n": 7e-4}, careful=False),
    Effect(
        "the same, straight shaft",
        "0.6 % at the full load",
        lambda _: {"slip_per_n": 7e-4},
        lambda _: {"bow_mm": 0.0},
        careful=False,
    ),
    Effect(
        "skid at the full depth",
        "1 deg",
        lambda rng: {"skid_deg": 1.0, "skid_at_deg": rng.uniform(90, 1200)},
        careful=False,
    ),
    # Shaft
    Effect("sinusoid in compliance", "spread 3 thou", shaft=lambda _: {"sideways": True}),
    Effect("wood, sinusoid in compliance", "spread 12 %", shaft=_wood),
    Effect("wood, sinusoid in stiffness", "spread 12 %", shaft=lambda _: {"spread_thou": 60.0}),
    Effect(
        "surface wave",
        "5 a turn, 4 um",
        shaft=lambda rng: {"wave_order": 5, "wave_mm": 0.004, "wave_deg": rng.uniform(0, 72)},
    ),
    Effect("creep of the shaft", "0.01 % in 10 s", lambda _: {"shaft_creep": 1e-4, "shaft_creep_s": 10.0}),
    Effect(
        "creep of the shaft", "0.2 % in 10 s", lambda _: {"shaft_creep": 2e-3, "shaft_creep_s": 10.0}, careful=False
    ),
    # Cell
    Effect("curved drift", "1 mN in 5 s", lambda rng: _turned("warmup_n", 0.001, rng) | {"warmup_s": 5.0}),
    Effect(
        "curved drift", "30 mN in 5 s", lambda rng: _turned("warmup_n", 0.03, rng) | {"warmup_s": 5.0}, careful=False
    ),
    # Supports
    Effect("shafts of other sizes on the rims", "5 to 9 mm", shaft=lambda rng: {"diameter_mm": rng.uniform(5, 9)}),
    Effect(
        "rims, soft shafts",
        "2 mm, 1000",
        lambda _: {"rim_radius_mm": 2.0},
        lambda rng: {"diameter_mm": rng.uniform(5, 9), "spine_thou": rng.uniform(900, 1200)},
    ),
    Effect("friction along the shaft, rolled off", "0.15", lambda _: {"friction": 0.15}),
    Effect(
        "friction left while rolling",
        "0.0015 beside the 0.0044 that were measured",
        lambda rng: {
            "friction": 0.15,
            "axial_friction_left": (0.0044 + 0.0015 * rng.choice((-1, 1))) * SUPPORTS.upright(7.5),
        },
    ),
    Effect(
        "friction left while rolling",
        "0.05",
        lambda rng: {"friction": 0.15} | _turned("axial_friction_left", 0.05, rng),
        careful=False,
    ),
    Effect("sinking wall", "none, as of metal", lambda _: {"sink_mm_at_standard": 0.0}),
    Effect("sinking wall", "wood, 5 times carbon", lambda _: {"sink_mm_at_standard": 0.04}, careful=False),
    Effect("head off midspan", "0.5 mm", lambda _: {"off_centre_mm": 0.5}),
    Effect("press not square", "0.25 deg", lambda _: {"tilt_deg": 0.25}),
    Effect("side force on the cell", "as drawn", lambda _: {"side_share": FRAME["side_share"]}),
    # Temperature, from 21 degrees at the calibration
    Effect("temperature", "16 to 26 degC", lambda rng: {"temperature_c": rng.uniform(16, 26)}),
    Effect("temperature", "9 degC", lambda _: {"temperature_c": 9.0}, careful=False),
]
