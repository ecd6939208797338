"""Bias, scatter and coverage of stated uncertainties over simulated shafts and gauges, and the design's error budget.

Every shaft is turned on a gauge of its own, drawn from the uncertainties and bounds of the example calibration: span,
rims, friction, walls that give, force scale and linearity, travel scale, screw, give, temperature, a head off
midspan, a leaning press, creep, drift, slip and spikes. The truth is the paper gauge's (synthetic.py). Once more the
same behind a converter that averages four conversions, by the standard cycle, each shaft with a calibration of its
filter that is off as it says.
"""

import time
from dataclasses import replace

import numpy as np
from gauges import identify
from midspan.measurement.cycle_plan import rotate_speed, steps_per_conversion
from midspan.measurement.cycle_settings import STANDARD
from midspan.measurement.result import evaluate
from midspan.measurement.spine_monte_carlo import spine_trials
from midspan.uncertainty.budget import Coverage
from midspan.uncertainty.monte_carlo import agreement
from synthetic import (
    KNIFE_EDGES,
    Gauge,
    Shaft,
    drawn_gauge,
    drawn_shaft,
    filter_section,
    filtered_run,
    paper_calibration,
    raw_run,
)

from bench.figure import Figure, at_most, plainly

SHAFTS, AT_500, TRIALS = 3000, 200, 100_000
STEPS_PER_TURN = 800
FILTERED, STAGES, U_FILTER_S = 1500, (4.0,), {"u_delay_s": 1e-4, "u_width_s": 3e-4}
# Of the sins that a calibration names, the paper gauge has all but those of the rollers.
ROLLERS = {"rotation": KNIFE_EDGES["rotation"]}
EXAMPLE = paper_calibration(ROLLERS)
STRETCHES = ((150, 300), (300, 600), (600, 1000), (1000, 1500))


def figures(_folder):
    """Return coverage and bias of every quantity, the error budget at 500, and the trials of a shaft."""
    rng = np.random.default_rng(20)
    pairs = [(drawn_shaft(rng, number), drawn_gauge(rng, EXAMPLE)) for number in range(SHAFTS)]
    lot = Lot(pairs, evaluate([raw_run(shaft, gauge, rng) for shaft, gauge in pairs], EXAMPLE))
    return [*_coverage(lot), *_behind_filter(rng), *_bias(lot), *_at_500(rng), *_one_shaft()]


class Lot:
    """Shafts with truth and results: an array for each error and for its expanded uncertainty."""

    def __init__(self, pairs, results):
        self.results = results
        truths = [shaft for shaft, _ in pairs]
        self.spine = np.array([truth.spine_thou for truth in truths])
        side = self._of("stiff_side_deg") - np.array([truth.stiff_side_deg for truth in truths])
        k = {name: self._k(name) for name in ("dof_spine", "dof_spread", "dof_runout")}
        self.columns = {
            "spine": (self._of("spine_thou") - self.spine, k["dof_spine"] * self._of("u_spine_thou")),
            "spread": (
                self._of("spread_thou") - np.array([truth.spread_thou for truth in truths]),
                k["dof_spread"] * self._of("u_spread_thou"),
            ),
            "stiff side": ((side + 90) % 180 - 90, Coverage().k(None) * self._of("u_stiff_side_deg")),
            "runout": (
                self._of("runout_mm") - np.array([2 * truth.bow_mm for truth in truths]),
                k["dof_runout"] * self._of("u_runout_mm"),
            ),
        }

    def _of(self, name):
        return np.array([getattr(result, name) for result in self.results], float)

    def _k(self, name):
        return np.array([Coverage().k(getattr(result, name)) for result in self.results])


def _coverage(lot):
    """Return the share of true values within U for 95 % of every quantity, of the spine also by ranges."""
    for name, (errors, expanded) in lot.columns.items():
        known = np.isfinite(errors) & np.isfinite(expanded)
        covered = 100 * float((np.abs(errors) <= expanded)[known].mean())
        title = f"95 % interval of the {name} covers, {known.sum()} shafts"
        if name == "spine":
            yield Figure(title, covered, "%", "93 to 97 %", 93 <= covered <= 97)
        else:
            yield plainly(title, covered, "%")
    errors, expanded = lot.columns["spine"]
    for low, high in STRETCHES:
        some = (lot.spine >= low) & (lot.spine < high)
        yield plainly(f"  of spines {low} to {high}", 100 * float((np.abs(errors) <= expanded)[some].mean()), "%")


def _behind_filter(rng):
    """Return the share of true values within U for 95 % behind the converter's filter, by the standard cycle."""
    pairs = [
        (drawn_shaft(rng, number), drawn_gauge(rng, EXAMPLE, stages=STAGES, noise_passes=True))
        for number in range(FILTERED)
    ]
    # As a plan turns, whose speed does not beat with the conversions.
    speed = rotate_speed(STEPS_PER_TURN, identify(), STANDARD)
    per_turn = STEPS_PER_TURN / steps_per_conversion(speed, identify().interval_us)
    results = []
    for shaft, gauge in pairs:
        turns = {"per_turn": per_turn, "full_turns": STANDARD.full_turns}
        run = filtered_run(shaft, gauge, rng, STANDARD.light_turns, **turns)
        known = filter_section(STAGES, **U_FILTER_S)
        off = {
            f"{name}_s": known[f"{name}_s"] + rng.normal(0, U_FILTER_S[f"u_{name}_s"]) for name in ("delay", "width")
        }
        results += evaluate([run], paper_calibration(ROLLERS, filter=known | off))
    for name, (errors, expanded) in Lot(pairs, results).columns.items():
        known = np.isfinite(errors) & np.isfinite(expanded)
        covered = 100 * float((np.abs(errors) <= expanded)[known].mean())
        title = f"95 % interval of the {name} behind a filter covers, {known.sum()} shafts"
        yield Figure(title, covered, "%", "93 to 97 %", 93 <= covered <= 97)


def _bias(lot):
    """Return the mean errors of spine and spread by ranges, thou, with the mean U."""
    for name in ("spine", "spread"):
        errors, expanded = lot.columns[name]
        for low, high in STRETCHES:
            some = (lot.spine >= low) & (lot.spine < high)
            title = f"mean error of the {name} from {low} to {high} (mean U {expanded[some].mean():.2f})"
            yield plainly(title, float(errors[some].mean()), "thou")


def _at_500(rng):
    """Return the error budget of the design: repeatability on one mounting, U, and the least spread resolved."""
    truth = Shaft(spine_thou=500.0, spread_thou=4.0, bow_mm=0.15)
    again = evaluate([replace(raw_run(truth, Gauge(), rng), temperature_centi=2000) for _ in range(AT_500)], EXAMPLE)
    yield at_most("repeatability at 500, one standard deviation", float(np.std([r.spine_thou for r in again], ddof=1)),
                  "thou", 0.05)  # fmt: skip
    yield at_most("U (95 %) at 500 with the example calibration", again[0].budget.expanded(), "thou", 0.6)
    yield at_most("floor of the spread at 500", float(np.mean([r.spread_floor_thou for r in again])), "thou", 0.1)
    shafts = [replace(drawn_shaft(rng, number), spine_thou=rng.uniform(450, 550)) for number in range(AT_500)]
    pairs = [(shaft, drawn_gauge(rng, EXAMPLE)) for shaft in shafts]
    found = evaluate([raw_run(shaft, gauge, rng) for shaft, gauge in pairs], EXAMPLE)
    errors, _ = Lot(pairs, found).columns["spread"]
    yield at_most("error of the spread at 450 to 550, any gauge, 95 of 100", float(np.quantile(np.abs(errors), 0.95)),
                  "thou", 0.1)  # fmt: skip


def _one_shaft():
    """Return the trials of a shaft: their time, and how far their interval is from the budget's."""
    (result,) = evaluate([raw_run(Shaft(), Gauge(), np.random.default_rng(1))], EXAMPLE)
    begun = time.perf_counter()
    found = spine_trials(result, TRIALS)
    seconds = time.perf_counter() - begun
    check = agreement(result.spine_thou, result.budget.expanded(), found)
    yield at_most(f"Monte Carlo of {TRIALS} trials for one shaft", seconds, "s", 2)
    yield at_most("its 95 % interval off the budget's", max(check.low_apart, check.high_apart), "thou", check.tolerance)
