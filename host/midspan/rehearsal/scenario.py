"""An invented gauge, an invented stock of shafts, and what the owner knows of them: the demonstration.

The story: a village club has a gauge of its own making, two unmarked bundles of bare shafts, and a box of returns, of
which one is cracked, one bent and one of another size. One slot is left empty, and once a plug comes loose. Wanted:
shafts for two matched dozens. Everything is invented and serves as a demonstration only.

The truth is in the scenario, which only the simulated gauge gets. The host gets a calibration made from a few readings
of known masses, with the errors that such readings have.
"""

import math
from collections.abc import Sequence
from random import Random
from typing import Any

from midspan.base.polynomial import fit_polynomial
from midspan.base.units import STANDARD_GRAVITY

GAUGE_NAME = "rehearsal"
EXAMPLE_SHAFTS = 36  # of the demonstration
MASSES_G = (0.0, 200.0, 400.0, 600.0, 800.0, 1000.0)
COUNT_PER_N = 1070 / (STANDARD_GRAVITY / 1000)
GAUGE: dict[str, Any] = {
    "span_mm": 711.23,
    "count_per_n": COUNT_PER_N * 1.0002,
    "frame_mm_per_n": 0.0119,
    "press_scale_error": 0.0001,
    "screw_periodic_mm": 0.0008,
    "slip": 0.004,
    "spike_chance": 0.0005,
    "repeat_chance": 0.0005,
    "drop_chance": 0.0005,
}
RETURNS: tuple[dict[str, Any], ...] = (
    {"label": "R1 cracked", "spine_thou": 503.0, "spread_thou": 5.0, "hysteresis": 0.022},
    {"label": "R2 bent", "spine_thou": 498.5, "spread_thou": 2.5, "bow_mm": 0.42},
    {"label": "R3 other size", "spine_thou": 341.0, "spread_thou": 2.0},
    {"label": "R4 uneven", "spine_thou": 501.0, "spread_thou": 13.0, "stiff_side_deg": 45.0},
    {"label": "R5 at the edge", "spine_thou": 504.95, "spread_thou": 3.0},
    {"label": "R6 empty slot", "fault": "absent"},
    {"label": "R7 loose plug", "fault": "cell_stuck"},
)
_BANDS = """# Which shafts are wanted. Spine in thousandths of an inch under 880 g on 28 in; smaller is stiffer.
[rule]
coverage_factor = 2.0        # a limit within U = 2 u of the value makes a shaft doubtful

[[bin]]
name = "stiffer dozen"
spine_thou = [493.0, 499.0]  # the low end belongs to the bin, the high end to the next
spread_max_thou = 5.0        # stiffest to softest side over a full turn
runout_max_thou = 12.0       # total indicator reading at midspan
hysteresis_max_pct = 1.0     # force missing on the way back; more can mean a crack: such a shaft must not be shot

[[bin]]
name = "softer dozen"
spine_thou = [499.0, 505.0]
spread_max_thou = 5.0
runout_max_thou = 12.0
hysteresis_max_pct = 1.0
"""


def shafts(number: int, seed: int) -> list[dict[str, Any]]:
    """Return an invented stock: two bundles in turn, with the returns spread among them.

    Parameters
    ----------
    number : int
        How many shafts.
    seed : int
        Seed of the random truths; the same seed gives the same stock.

    Returns
    -------
    list[dict[str, Any]]
        Truth of each shaft, in order of its number from 1; `label` is its name for people.

    Examples
    --------
    >>> [shaft["label"] for shaft in shafts(4, 7)]
    ['R1 cracked', 'R2 bent', 'R3 other size', 'R4 uneven']
    """
    random = Random(seed)
    every = max(1, number // len(RETURNS))
    stock: list[dict[str, Any]] = []
    returned = 0
    for i in range(1, number + 1):
        if i % every == every // 2 and returned < len(RETURNS):
            given = {**_shaft(random, 500.0, "R"), **RETURNS[returned]}
            returned += 1
        else:
            bundle, middle = (("A", 496.5), ("B", 501.5))[i % 2]
            given = _shaft(random, middle, f"{bundle}{(i + 1) // 2:02d}")
        stock.append({"number": i, **given})
    return stock


def _shaft(random: Random, middle_thou: float, label: str) -> dict[str, Any]:
    """Draw the truth of a shaft of a bundle whose mean spine is `middle_thou`."""
    return {
        "label": label,
        "spine_thou": round(random.gauss(middle_thou, 1.6), 2),
        "spread_thou": round(abs(random.gauss(2.2, 1.2)), 2),
        "stiff_side_deg": round(random.uniform(0, 180), 1),
        "bow_mm": round(abs(random.gauss(0.05, 0.03)), 3),
        "bow_deg": round(random.uniform(0, 360), 1),
        "hysteresis": round(random.uniform(0.0002, 0.001), 5),
    }


def rehearsal(stock: list[dict[str, Any]], seed: int) -> dict[str, Any]:
    """Return the scenario of a stock: the truth of the gauge and of every shaft.

    Parameters
    ----------
    stock : list[dict[str, Any]]
        Shafts as `shafts` returns them.
    seed : int
        Seed of the simulated noise.

    Returns
    -------
    dict[str, Any]
        Scenario for `Rehearsal`.
    """
    truths = [{key: value for key, value in shaft.items() if key != "label"} for shaft in stock]
    return {"seed": seed, "gauge": GAUGE, "shafts": truths}


def example_scenario(seed: int = 7) -> dict[str, Any]:
    """Return the demonstration's scenario: an invented gauge and 36 invented shafts, numbered from 1.

    Some are spoilt on purpose: cracked, bent, of another size, absent, or measured while the load cell fails.

    Parameters
    ----------
    seed : int
        Another seed gives other shafts and other noise.

    Returns
    -------
    dict[str, Any]
        Scenario for `Rehearsal`; the truth of shaft 1 is in its `"shafts"[0]`.

    Examples
    --------
    >>> example_scenario()["shafts"][0]["spine_thou"]
    501.09
    """
    return rehearsal(shafts(EXAMPLE_SHAFTS, seed), seed)


def example_bands() -> str:
    """Return the demonstration's bands file: two bins for two matched dozens, and limits for each.

    Returns
    -------
    str
        Text of the file, TOML.
    """
    return _BANDS


def example_calibration(seed: int = 7) -> str:
    """Return a calibration file as the owner would have made it: force from masses on the cell, the rest as measured.

    Each mass is read ten times, with the scatter of an averaged reading. The file holds the fitted scale and its
    standard uncertainty, combined with that of the masses.

    Parameters
    ----------
    seed : int
        Seed of the scatter of the readings.

    Returns
    -------
    str
        Text of the file, TOML.
    """
    random = Random(seed)
    rises = [_mass_reading(random, mass) for mass in MASSES_G * 10]
    forces = [mass / 1000 * STANDARD_GRAVITY for mass in MASSES_G * 10]
    fit = fit_polynomial(rises, forces, 1, through_zero=True)
    scale = float(fit.coefficients[1])
    u_scale = math.hypot(float(fit.u[1]) / scale, 1.5e-4)
    return f"""# Calibration of the simulated gauge. All u_... are standard uncertainties (k = 1).
[calibration]
id = "rehearsal-{seed}"
gauge = "{GAUGE_NAME}"
temperature_c = 21.0
gauge_temperature_c = 21.0     # what its own thermometer shows then
thermometer = "BOARD"

[force]                        # fitted to {len(rises)} readings of masses from 0 to 1000 g
newton_per_count = {scale:.9e}
u_scale = {u_scale:.2e}             # relative: the fit's {float(fit.u[1]) / scale:.1e} and the masses' 1.5e-4
u_linearity_n = 5e-4

[travel]
mm_per_step = 0.0025
u_scale = 1.5e-4               # relative
steps_per_screw_turn = 3200
u_screw_mm = 0.001
clearance_mm = 16.5
tilt_deg = 0.5                 # set with a square

[frame]                        # pressed on a rigid bar
give_mm_per_n = 0.0118
u_give_mm_per_n = 2.5e-4

[span]
span_mm = 711.20
u_span_mm = 0.05
rim_mm = 3.2                   # crowns of 2 mm and shafts of 7.5, times the cosine of their nip
u_rim_mm = 0.2
axial_friction = 0.0044        # a shaft turned both ways: 0.2 thou
u_axial_friction = 0.0015
sink_mm_per_n = 8e-4           # shafts pressed over a support
u_sink_mm_per_n = 1e-4
off_centre_mm = 1.0

[rotation]
steps_per_turn = 800           # rotate steps per turn of the shaft, as the roller's and shaft's diameters say
u_relative = 0.01              # how far a shaft may slip from it
steps_per_roller_turn = 3200   # of the motor, which turns the rollers one to one

[filter]                       # a bowed shaft turned both ways at two speeds: the converter averages four conversions
delay_s = 0.02463
u_delay_s = 1e-4
width_s = 0.01422
u_width_s = 3e-4
"""


def _mass_reading(random: Random, mass_g: float) -> float:
    """Return the rise of the count under a mass, with the scatter of an averaged reading."""
    force_n = mass_g / 1000 * STANDARD_GRAVITY
    return force_n * float(GAUGE["count_per_n"]) + random.gauss(0.0, 12.0)


# For a rehearsed calibration: where the gauge is, the air there, and what the owner's tools read.
LATITUDE_DEG, HEIGHT_M, AIR_KG_M3 = 47.0, 400.0, 1.15
BOWED = {"spine_thou": 500.0, "bow_mm": 0.25, "spread_thou": 3.0}
SPANS_MM = (711.25, 711.20, 711.22, 711.26, 711.21)
FRAME_MM = {"bar": 25.0, "rim": 2.0, "roller": 30.0, "axles": 31.0, "thinnest": 7.0, "thickest": 8.0, "shaft": 7.5}
ROLLER_STEPS = 3200  # rotate steps to a turn of a roller
MATERIAL = "carbon"
BAR = {"diameter_mm": 4.0, "u_diameter_mm": 0.002, "modulus_gpa": 205.0, "u_modulus_gpa": 2.0}
BAR_EI_N_MM2 = 206.1e3 * math.pi * 4.001**4 / 64  # its true stiffness, which is not quite what the owner knows


def bench(
    gravity_m_s2: float, put_in: list[dict[str, Any]], shafts: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    """Return the scenario of a calibration: bodies put under the head, each from the program of its number on.

    Parameters
    ----------
    gravity_m_s2 : float
        Gravity where the gauge is, m/s².
    put_in : list[dict[str, Any]]
        Bodies, each with the `number` of the program from which it is there.
    shafts : list[dict[str, Any]] | None
        Shafts to be measured besides; None for no shaft.

    Returns
    -------
    dict[str, Any]
        Scenario for `Rehearsal`.
    """
    gauge = GAUGE | {"gravity_m_s2": gravity_m_s2, "air_kg_m3": AIR_KG_M3}
    return {"seed": 7, "gauge": gauge, "bench": put_in, "shafts": shafts or []}


def blocks_put_in(blocks_mm: Sequence[float], steps_a_block: int) -> dict[str, Any]:
    """Return the scenario of a travel calibration with gauge blocks.

    Parameters
    ----------
    blocks_mm : Sequence[float]
        Height of each block, mm, in the order in which they are put in.
    steps_a_block : int
        Number of programs run on each block.

    Returns
    -------
    dict[str, Any]
        Scenario for `Rehearsal`.
    """
    things = [
        {"number": steps_a_block * i, "kind": "rigid", "height_mm": block} for i, block in enumerate(blocks_mm, 1)
    ]
    return bench(STANDARD_GRAVITY, things)


def cell_loaded(loads_g: Sequence[float], ratio: float = 1.0) -> list[dict[str, Any]]:
    """Return what is on the cell at each step of a force calibration.

    First nothing, a hand and the largest load, which tell how the cell is wired; then each load in turn.

    Parameters
    ----------
    loads_g : Sequence[float]
        Masses, g; 0 is the empty cell.
    ratio : float
        Force up on the head for each newton of weight.

    Returns
    -------
    list[dict[str, Any]]
        Bodies for `bench`, numbered by their step from 1.

    Examples
    --------
    >>> [body.get("mass_g", 0) for body in cell_loaded([0.0, 500.0])]
    [0, 0, 500.0, 0, 500.0]
    """
    things: list[dict[str, Any]] = [{}, {"kind": "hand"}]
    for load in (max(loads_g), *loads_g):
        things.append({"kind": "mass", "mass_g": load, "density_kg_m3": 7950.0, "ratio": ratio} if load else {})
    return [{"number": i} | thing for i, thing in enumerate(things, 1)]
