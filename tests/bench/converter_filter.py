"""Error of the stiff side and the spread behind the converter's filter, with and without its correction.

The paper gauge integrates the force over the filter's window (synthetic.py). Each figure is the root mean square over
shafts of a spread of 3 thou, with any sides and a bow up to 0.4 mm.
"""

from dataclasses import replace

import numpy as np
from midspan.measurement.result import evaluate
from synthetic import Gauge, Shaft, filter_section, filtered_run, paper_calibration

from bench.figure import at_most, plainly

SHAFTS = 60
A_TURN = (160, 54, 44)
FILTERS = {"none": (), "average of 4": (4.0,), "average of 8": (8.0,), "third-order sinc": (2.0, 2.0, 2.0)}
SIDE_DEG, SPREAD_THOU = 0.5, 0.05  # what a cycle may scatter by with the usual filter


def figures(_folder):
    """Return the errors by filter and readings a turn, and how many of them are within U."""
    for per_turn in A_TURN:
        for name, stages in FILTERS.items():
            yield from _of(name, stages, per_turn)


def _of(name, stages, per_turn):
    """Return the errors behind a filter at a number of readings a turn."""
    rng = np.random.default_rng(per_turn)
    gauge = Gauge(stages=stages, noise_passes=bool(stages))
    shafts = [
        Shaft(
            number=number, spine_thou=rng.uniform(300, 1000), spread_thou=3.0, stiff_side_deg=rng.uniform(0, 180),
            bow_mm=rng.uniform(0, 0.4), bow_deg=rng.uniform(0, 360),
        )
        for number in range(SHAFTS)
    ]  # fmt: skip
    runs = [filtered_run(shaft, gauge, rng, per_turn=per_turn) for shaft in shafts]
    plain = _errors(evaluate([replace(run, firmware="0.9.0") for run in runs], paper_calibration()), shafts)
    found = evaluate(runs, paper_calibration(filter=filter_section(stages)))
    side, spread = _errors(found, shafts)
    where, usual = f"filter {name}, {per_turn} readings a turn", name == "average of 4"
    yield plainly(f"{where}: side without correction", plain[0], "degrees")
    yield (at_most if usual else _freely)(f"{where}: side corrected", side, "degrees", SIDE_DEG)
    yield plainly(f"{where}: spread without correction", plain[1], "thou")
    yield (at_most if usual else _freely)(f"{where}: spread corrected", spread, "thou", SPREAD_THOU)
    within = [
        abs(_apart_deg(result, shaft)) <= 2 * result.u_stiff_side_deg
        and abs(result.spread_thou - shaft.spread_thou) <= 2 * result.u_spread_thou
        for result, shaft in zip(found, shafts, strict=True)
    ]
    yield plainly(f"{where}: both within U", 100 * float(np.mean(within)), "%")


def _freely(name, value, unit, _aim):
    """Return a figure without an aim."""
    return plainly(name, value, unit)


def _apart_deg(result, shaft):
    """Return the error of the stiff side, degrees; 90 for none."""
    if result.stiff_side_deg is None:
        return 90.0
    return (result.stiff_side_deg - shaft.stiff_side_deg + 90) % 180 - 90


def _errors(results, shafts):
    """Return root mean squares of the errors of side, degrees, and spread, thou."""
    pairs = list(zip(results, shafts, strict=True))
    side = [_apart_deg(result, shaft) for result, shaft in pairs]
    spread = [result.spread_thou - shaft.spread_thou for result, shaft in pairs]
    return tuple(float(np.sqrt(np.mean(np.square(errors)))) for errors in (side, spread))
