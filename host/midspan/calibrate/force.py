"""Force calibration: masses up and down, several rounds, to newtons per count with its uncertainty.

The order is chosen as P. Pontius's load cell is judged in the NIST/SEMATECH e-Handbook, 4.6.1: response fitted
against force through the interpolated zero, second order only where its term earns it. The file's polynomial gives
force from the rise of the count, so that order is then fitted the other way round.

>>> from midspan.calibrate.readings_table import readings_of
>>> masses, ways = [0, 250, 500, 1000, 500, 250, 0], ["up"] * 4 + ["down"] * 3
>>> counts = [5000 + 1070 * mass + 3 * (i % 4) for i, mass in enumerate(masses * 3)]
>>> rounds = [1] * 7 + [2] * 7 + [3] * 7
>>> typed = readings_of("typed", round=rounds, direction=ways * 3, mass_g=masses * 3, count=counts, time_s=[0] * 21)
>>> found = calibrate_force(typed, Load())
>>> round(found.section["newton_per_count"] * 1e6, 3), found.section["newton_per_count2"]
(9.164, 0.0)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import stats

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import Array, PolynomialFit, fit_polynomial
from midspan.base.units import STANDARD
from midspan.calibrate import plausibility
from midspan.calibrate.cell_behaviour import Behaviour, behaviour
from midspan.calibrate.cell_loading import Loading, LoadingWay
from midspan.calibrate.fit_tests import SIGNIFICANT, Evidence, choose_order, combined, read_back, u_of_curve
from midspan.calibrate.force_class import class_sentences
from midspan.calibrate.outcome import DOF_CERTIFICATE, DOF_GUESS, ProcedureResult
from midspan.calibrate.readings_table import CalibrationReadings
from midspan.hand_bench.gravity import STANDARD as STANDARD_PLACE
from midspan.hand_bench.gravity import Gravity
from midspan.hand_bench.masses import Air, Mass, stacked

WORKING_G = 880.0
FEWEST_LOADS = 3
LIGHTEST_G = 0.1


@dataclass(frozen=True)
class Load:
    """How the masses make a force: certificates, gravity, air, and the way they push the head.

    Without certificates every mass counts as good to `u_relative`, and as steel.
    """

    gravity: Gravity = STANDARD_PLACE
    air: Air = field(default_factory=Air)
    masses: tuple[Mass, ...] = ()
    u_relative: float = 5e-4
    loading: Loading = field(default_factory=Loading)

    def force(self, mass_g: float) -> tuple[float, float, float]:
        """Newtons on the head under a load, and standard uncertainty from the masses and from buoyancy."""
        parts, ratio = self._parts(mass_g), self.loading.ratio
        whole = stacked([part.force_n(self.gravity.m_s2, self.air) for part in parts])
        return ratio * whole.newtons, ratio * whole.u_mass_n, ratio * whole.u_buoyancy_n

    def _parts(self, mass_g: float) -> Sequence[Mass]:
        """The masses of the set that make up a load (within 0.1 %), or one nameless mass without certificate."""
        if mass_g == 0:
            return ()
        reach: dict[float, tuple[Mass, ...]] = {0.0: ()}  # nominal total -> masses used
        for mass in self.masses:
            reach |= {total + mass.mass_g: (*used, mass) for total, used in reach.items()}
        nearest = min(reach, key=lambda total: abs(total - mass_g))
        if self.masses and abs(nearest - mass_g) > 1e-3 * mass_g:
            raise ReadingsError(f"no masses of the masses file add up to {mass_g:g} g; correct the load or the file")
        return reach[nearest] if self.masses else (Mass("mass", mass_g, self.u_relative * mass_g),)


def calibrate_force(
    readings: CalibrationReadings, load: Load, earlier_n_per_count: float | None = None, *, sign_seen: bool = True
) -> ProcedureResult:
    """Newtons per count, its uncertainty at the working load, and how the cell behaves.

    Columns: round, direction (up, down, or hold for creep), mass_g, count, time_s; `sign_seen` when the head was also
    pushed by hand. Raises CellSignError where the count falls under load, other ReadingsError where the readings
    cannot be what they say.
    """
    _check(readings, load.loading.ratio)
    turning = np.array([way != "hold" for way in readings.words["direction"]])
    rounds, masses = readings["round"], readings["mass_g"]
    rise = _rise(readings, turning)
    forces = np.array([load.force(float(mass))[0] for mass in masses])
    loaded = turning & (masses > 0)
    evidence = choose_order(forces[loaded], rise[loaded], through_zero=True)
    plausibility.rising(float(evidence.fit.coefficients[1]), readings.source)
    fit = fit_polynomial(rise[loaded], forces[loaded], evidence.order, through_zero=True)
    at_work = min(STANDARD.load_n, float(forces[loaded].max()))
    budget = _scale_budget(fit, forces[loaded], rise[loaded], rounds[loaded], load, at_work)
    found = behaviour(readings, rise, forces, fit)
    u_scale, dof_scale = combined(*budget.values())
    u_linear, dof_linear = _linearity(fit, rise[loaded], forces[loaded], found)
    scale = float(fit.coefficients[1])
    remark = plausibility.against_earlier(scale, earlier_n_per_count, "newtons per count", readings.source)
    section = {
        "newton_per_count": scale,
        "newton_per_count2": float(fit.coefficients[2]) if evidence.order == 2 else 0.0,
        "u_scale": u_scale,
        "u_linearity_n": u_linear,
        "dof_scale": dof_scale,
        "dof_linearity": dof_linear,
    }
    figures = found.figures() | {
        "residual_sd_n": fit.residual_sd,
        "one_reading_95_n": _one_reading(evidence, at_work),
        "gravity_m_s2": load.gravity.m_s2,
    }
    remarks = _remarks(evidence, load, len(set(rounds[turning])), found, remark, sign_seen=sign_seen)
    artefacts = tuple(vars(mass) for mass in load.masses)
    return ProcedureResult(
        "force", section, figures, budget | {"linearity_n": (u_linear, dof_linear)}, remarks, artefacts
    )


def _check(readings: CalibrationReadings, ratio: float) -> None:
    masses, counts = readings["mass_g"], readings["count"]
    ways = readings.words["direction"]
    moving = np.array([way != "hold" for way in ways])
    if len(np.unique(masses[moving & (masses > 0)])) < FEWEST_LOADS:
        raise ReadingsError(f"{readings.source}: needs {FEWEST_LOADS} different masses or more, and the empty cell")
    wrong = (masses < 0) | ((masses > 0) & (masses < LIGHTEST_G))
    if wrong.any():
        i = int(wrong.argmax())
        raise ReadingsError(
            f"{readings.place(i)}: a mass of {masses[i]:g} g; correct it, or write 0 for the empty cell"
        )
    plausibility.not_swapped(masses, counts, readings.source)
    plausibility.masses_in_reach(masses, WORKING_G / ratio, readings.source)
    rise = _rise(readings, moving)
    plausibility.rising(float(np.median(rise[moving & (masses > 0)] / masses[moving & (masses > 0)])), readings.source)
    plausibility.loads_in_one_unit(masses, np.where(moving, rise, 0.0), readings.lines, readings.source)
    picked = np.flatnonzero(moving).tolist()
    plausibility.whole_rounds(
        readings["round"][moving].tolist(), [ways[i] for i in picked], masses[moving].tolist(), readings.source
    )


def _rise(readings: CalibrationReadings, turning: Array) -> Array:
    """Counts above the zero of their round, drawn as a line in reading order between its empty readings."""
    masses, counts, rise = readings["mass_g"], readings["count"], np.zeros(len(readings.lines))
    order = np.arange(len(counts), dtype=float)
    empty = (masses == 0) & np.asarray(turning, bool)
    for number in np.unique(readings["round"]):
        own = readings["round"] == number
        zeros = own & empty
        if not zeros.any():
            raise ReadingsError(
                f"{readings.source}: round {number:g} has no reading of the empty cell (mass_g 0); "
                "read it at the beginning and the end of every round"
            )
        rise[own] = counts[own] - np.interp(order[own], order[zeros], counts[zeros])
    return rise


def _scale_budget(
    fit: PolynomialFit, forces: Array, rise: Array, rounds: Array, load: Load, at_work: float
) -> dict[str, tuple[float, float]]:
    """Relative standard uncertainty of the force at the working load by cause, with degrees of freedom."""
    nearest = int(np.argmin(np.abs(forces - at_work)))
    scatter = float(u_of_curve(fit, rise[nearest])[0]) / float(forces[nearest])
    between = _between_rounds(forces, rise, rounds)
    total = load.force(WORKING_G) if not load.masses else load.force(_largest(load))
    passed_on = (
        {} if load.loading.way is LoadingWay.TURNED else {load.loading.way.value: (load.loading.u_ratio, DOF_GUESS)}
    )
    return passed_on | {
        "readings": max((scatter, float(fit.degrees_of_freedom)), between),
        "masses": (total[1] / total[0], DOF_CERTIFICATE if load.masses else DOF_GUESS),
        "gravity": (load.gravity.u_m_s2 / load.gravity.m_s2, DOF_GUESS),
        "buoyancy": (total[2] / total[0], DOF_GUESS),
    }


def _largest(load: Load) -> float:
    return sum(mass.mass_g for mass in load.masses)


def _between_rounds(forces: Array, rise: Array, rounds: Array) -> tuple[float, float]:
    """Relative standard uncertainty of the mean scale from the rounds, where they differ beyond their own scatter.

    Putting the masses on anew is a cause of its own: then rounds, not readings, are what is independent.
    """
    numbers = np.unique(rounds)
    if len(numbers) < 2:
        return 0.0, 1.0
    groups = [forces[rounds == number] / rise[rounds == number] for number in numbers]
    scales = np.array([group.mean() for group in groups])
    if min(map(len, groups)) < 2 or not np.ptp(scales) or stats.f_oneway(*groups).pvalue > SIGNIFICANT:
        return 0.0, 1.0
    return float(scales.std(ddof=1) / math.sqrt(len(scales)) / scales.mean()), len(scales) - 1.0


def _linearity(fit: PolynomialFit, rise: Array, forces: Array, found: Behaviour) -> tuple[float, float]:
    """What the curve leaves at any one load: the worst mean misfit and half the hysteresis, both as bounds (4.3.7)."""
    misfit = max(abs(float((forces - fit(rise))[forces == force].mean())) for force in np.unique(forces))
    return math.hypot(misfit, found.hysteresis_n / 2) / math.sqrt(3), DOF_GUESS


def _one_reading(evidence: Evidence, at_work: float) -> float:
    """Half the 95 % interval of the force that one new reading near the working load stands for."""
    fit = evidence.fit
    _, low, high = read_back(fit, float(fit(at_work)), (at_work / 2, at_work * 2))
    return (high - low) / 2


def _remarks(
    evidence: Evidence, load: Load, rounds: int, found: Behaviour, earlier: str | None, *, sign_seen: bool
) -> tuple[str, ...]:
    misfit = evidence.lack_of_fit
    given = (
        (True, evidence.sentence()),
        (
            misfit is not None and misfit.significant,
            f"the curve misses the means of the loads beyond their scatter (F = {misfit.ratio:.1f}); its worst "
            "misfit is in u_linearity_n"
            if misfit
            else "",
        ),
        (rounds < 2, "one round only: what putting the masses on anew changes is not known; take three"),
        (not load.masses, f"no certificate of the masses: {100 * load.u_relative:g} % was assumed for each"),
        (load.gravity == STANDARD_PLACE, "gravity of your place was not given: give --latitude and --height"),
        (earlier is not None, earlier or ""),
        (
            not sign_seen,
            "in a table, masses that pulled the head and wires that are swapped hide each other: push the head towards "
            "the cell by hand and see the count rise before a shaft is pressed",
        ),
        (
            load.loading.way is LoadingWay.PULLEY,
            "a pulley's friction holds against every change of load: it is in the hysteresis found here",
        ),
    )
    return tuple(sentence for said, sentence in given if said) + found.remarks() + class_sentences(found)
