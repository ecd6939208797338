"""Calibrate force: known masses, rising and falling, in several rounds, give newtons per count with uncertainty.

The order is chosen as for P. Pontius's load cell in the NIST/SEMATECH e-Handbook, 4.6.1: the response is fitted
against force through the interpolated zero, with a second order only if its term is significant. The file's
polynomial gives force from the rise of the count, so that order is then fitted the other way round.

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

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import Array, PolynomialFit, fit_polynomial
from midspan.base.units import STANDARD
from midspan.calibrate import plausibility
from midspan.calibrate.cell_behaviour import Behaviour, behaviour
from midspan.calibrate.cell_loading import Loading, LoadingWay
from midspan.calibrate.fit_tests import Evidence, choose_order, combined, read_back, u_of_curve
from midspan.calibrate.force_class import class_remarks
from midspan.calibrate.outcome import DOF_CERTIFICATE, DOF_GUESS, ProcedureResult, Remark, chosen
from midspan.calibrate.readings_table import CalibrationReadings
from midspan.hand_bench.gravity import STANDARD as STANDARD_PLACE
from midspan.hand_bench.gravity import Gravity
from midspan.hand_bench.masses import Air, Mass, stacked

WORKING_G = 880.0
FEWEST_LOADS = 3
LIGHTEST_G = 0.1


@dataclass(frozen=True)
class Load:
    """Conditions under which masses make a force on the head.

    Parameters
    ----------
    gravity : Gravity
        Local gravity.
    air : Air
        Density of the air, for buoyancy.
    masses : tuple[Mass, ...]
        Certified masses; without any, masses count as steel.
    u_relative : float
        Relative standard uncertainty of a mass without certificate.
    loading : Loading
        Way in which masses push the head.
    """

    gravity: Gravity = STANDARD_PLACE
    air: Air = field(default_factory=Air)
    masses: tuple[Mass, ...] = ()
    u_relative: float = 5e-4
    loading: Loading = field(default_factory=Loading)

    def force(self, mass_g: float) -> tuple[float, float, float]:
        """Return the force of a load with its uncertainty.

        Parameters
        ----------
        mass_g : float
            Nominal mass, g; 0 for the empty cell.

        Returns
        -------
        tuple[float, float, float]
            Force on the head, and its standard uncertainties from the masses and from buoyancy, all in N.

        Raises
        ------
        ReadingsError
            No certified masses add up to the load.
        """
        parts, ratio = self.parts(mass_g), self.loading.ratio
        whole = stacked([part.force_n(self.gravity.m_s2, self.air) for part in parts])
        return ratio * whole.newtons, ratio * whole.u_mass_n, ratio * whole.u_buoyancy_n

    def parts(self, mass_g: float) -> Sequence[Mass]:
        """Return the masses that add up to a load within 0.1 %, or a single mass without certificate.

        Parameters
        ----------
        mass_g : float
            Nominal mass, g; 0 for the empty cell.

        Returns
        -------
        sequence of Mass
            The masses, empty for the empty cell.

        Raises
        ------
        ReadingsError
            No certified masses add up to the load.
        """
        if mass_g == 0:
            return ()
        reach: dict[float, tuple[Mass, ...]] = {0.0: ()}  # nominal total -> masses used
        for mass in self.masses:
            reach |= {total + mass.mass_g: (*used, mass) for total, used in reach.items()}
        nearest = min(reach, key=lambda total: abs(total - mass_g))
        if self.masses and abs(nearest - mass_g) > 1e-3 * mass_g:
            raise ReadingsError(f"no masses in the masses file add up to {mass_g:g} g; correct the load or the file")
        return reach[nearest] if self.masses else (Mass("mass", mass_g, self.u_relative * mass_g),)


def calibrate_force(
    readings: CalibrationReadings, load: Load, earlier_n_per_count: float | None = None, *, sign_seen: bool = True
) -> ProcedureResult:
    """Return newtons per count, the uncertainty at the working load, and the behaviour of the cell.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns round, direction (up, down, or hold for creep), mass_g, count, time_s.
    load : Load
        Conditions of the masses.
    earlier_n_per_count : float | None
        Newtons per count of the last record, to compare with.
    sign_seen : bool
        True if the count was seen to rise when the head was pushed by hand.

    Returns
    -------
    ProcedureResult
        Section "force" of the calibration file, figures and remarks.

    Raises
    ------
    CellSignError
        The count falls under load.
    ReadingsError
        The readings cannot be what they claim: wrong unit, swapped columns, missing readings.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1; JCGM 100:2008, 4.3.7.
    """
    _check(readings, load.loading.ratio)
    moving = np.array([way != "hold" for way in readings.words["direction"]])
    rounds, masses = readings["round"], readings["mass_g"]
    rise = _rise(readings, moving)
    forces = np.array([load.force(float(mass))[0] for mass in masses])
    loaded = moving & (masses > 0)
    evidence = choose_order(forces[loaded], rise[loaded], through_zero=True)
    plausibility.rising(float(evidence.fit.coefficients[1]), readings.source)
    fit = fit_polynomial(rise[loaded], forces[loaded], evidence.order, through_zero=True)
    at_work = min(STANDARD.load_n, float(forces[loaded].max()))
    budget = _scale_budget(fit, forces[loaded], rise[loaded], (rounds[loaded], masses[loaded]), load)
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
        **_of_fit(evidence, fit),
        "gravity_m_s2": load.gravity.m_s2,
    }
    remarks = _remarks(evidence, load, len(set(rounds[moving])), found, remark, sign_seen=sign_seen)
    used = {part.name: vars(part) for mass_g in np.unique(masses[masses > 0]) for part in load.parts(float(mass_g))}
    artefacts = tuple(used.values()) if load.masses else ()
    return ProcedureResult(
        "force", section, figures, budget | {"linearity_n": (u_linear, dof_linear)}, remarks, artefacts
    )


def _check(readings: CalibrationReadings, ratio: float) -> None:
    """Refuse readings that cannot be what they claim."""
    masses, counts = readings["mass_g"], readings["count"]
    ways = readings.words["direction"]
    moving = np.array([way != "hold" for way in ways])
    if len(np.unique(masses[moving & (masses > 0)])) < FEWEST_LOADS:
        raise ReadingsError(
            f"{readings.source}: needs {FEWEST_LOADS} or more different masses besides the empty cell; take more",
            code="few_loads",
        )
    wrong = (masses < 0) | ((masses > 0) & (masses < LIGHTEST_G))
    if wrong.any():
        i = int(wrong.argmax())
        raise ReadingsError(
            f"{readings.place(i)}: a mass of {masses[i]:g} g is not possible; correct it, or write 0 for the empty cell"
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


def _rise(readings: CalibrationReadings, moving: Array) -> Array:
    """Return counts above the zero of their round, interpolated in reading order between its empty readings."""
    masses, counts, rise = readings["mass_g"], readings["count"], np.zeros(len(readings.lines))
    order = np.arange(len(counts), dtype=float)
    empty = (masses == 0) & np.asarray(moving, bool)
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
    fit: PolynomialFit, forces: Array, rise: Array, grouping: tuple[Array, Array], load: Load
) -> dict[str, tuple[float, float]]:
    """Return the relative standard uncertainty of the scale by cause, with degrees of freedom.

    `grouping` are the round and the nominal mass of each reading.
    """
    rounds, masses_g = grouping
    u_masses, u_buoyancy = _of_masses(masses_g, rise, forces, load)
    passed_on = (
        {} if load.loading.way is LoadingWay.TURNED else {load.loading.way.value: (load.loading.u_ratio, DOF_GUESS)}
    )
    return passed_on | {
        "readings": _of_readings(fit, forces, rise, rounds),
        "masses": (u_masses, DOF_CERTIFICATE if load.masses else DOF_GUESS),
        "gravity": (load.gravity.u_m_s2 / load.gravity.m_s2, DOF_GUESS),
        "buoyancy": (u_buoyancy, DOF_GUESS),
    }


def _of_masses(masses_g: Array, rise: Array, forces: Array, load: Load) -> tuple[float, float]:
    """Return the relative standard uncertainties of the scale from the masses that were put on, and from buoyancy.

    The scale is a weighted mean: a load counts as much as its rise. Masses of a certificate share its errors, so theirs
    add; those of different certificates add by their squares. All masses share the air.
    """
    by_certificate: dict[str, float] = {}
    lift = 0.0
    for mass_g in np.unique(masses_g):
        weight = load.loading.ratio * float(rise[masses_g == mass_g].sum())
        for part in load.parts(float(mass_g)):
            force = part.force_n(load.gravity.m_s2, load.air)
            by_certificate[part.certificate] = by_certificate.get(part.certificate, 0.0) + weight * force.u_mass_n
            lift += weight * force.u_buoyancy_n
    whole = float(rise @ forces)
    return math.hypot(*by_certificate.values()) / whole, lift / whole


def _of_readings(fit: PolynomialFit, forces: Array, rise: Array, rounds: Array) -> tuple[float, float]:
    """Return relative standard uncertainty and degrees of freedom of the scale from the scatter of the readings.

    Putting the masses on anew is a cause of its own, and the zero of a round is common to it: so rounds are independent
    and readings are not, whether or not a test finds the difference. With a single round only readings are left.
    """
    numbers = np.unique(rounds)
    groups = [rounds == number for number in numbers]
    scales = np.array([float(rise[own] @ forces[own]) / float(rise[own] @ rise[own]) for own in groups])
    if len(numbers) < 2:
        nearest = int(np.argmin(np.abs(forces - STANDARD.load_n)))
        return float(u_of_curve(fit, rise[nearest])[0]) / float(forces[nearest]), float(fit.degrees_of_freedom)
    return float(scales.std(ddof=1) / math.sqrt(len(scales)) / scales.mean()), len(scales) - 1.0


def _linearity(fit: PolynomialFit, rise: Array, forces: Array, found: Behaviour) -> tuple[float, float]:
    """Return the standard uncertainty that the curve leaves at a load, N, with degrees of freedom.

    The worst mean misfit and half the hysteresis count as bounds (JCGM 100:2008, 4.3.7).
    """
    misfit = max(abs(float((forces - fit(rise))[forces == force].mean())) for force in np.unique(forces))
    return math.hypot(misfit, found.hysteresis_n / 2) / math.sqrt(3), DOF_GUESS


def _one_reading(evidence: Evidence, at_work: float) -> float:
    """Return half the 95 % interval of the force behind a new reading near the working load, N."""
    fit = evidence.fit
    _, low, high = read_back(fit, float(fit(at_work)), (at_work / 2, at_work * 2))
    return (high - low) / 2


def _of_fit(evidence: Evidence, fit: PolynomialFit) -> dict[str, float]:
    """Return what the fit says of itself: standard uncertainties and covariance of its coefficients, and its tests."""
    found = {"u_newton_per_count": math.sqrt(float(fit.covariance[1, 1]))}
    if evidence.order > 1:
        found["u_newton_per_count2"] = math.sqrt(float(fit.covariance[2, 2]))
        found["cov_newton_per_count"] = float(fit.covariance[1, 2])
    for name, test in (("added_term", evidence.added_term), ("lack_of_fit", evidence.lack_of_fit)):
        if test is not None and math.isfinite(test.ratio):
            found |= {f"{name}_f": test.ratio, f"{name}_p": test.chance}
    return found


def _remarks(
    evidence: Evidence, load: Load, rounds: int, found: Behaviour, earlier: str | None, *, sign_seen: bool
) -> tuple[Remark, ...]:
    """Return the remarks on a force calibration."""
    misfit = evidence.lack_of_fit
    given = (
        (True, "order", evidence.sentence()),
        (
            misfit is not None and misfit.significant,
            "misfit",
            "the readings do not follow a smooth curve as closely as they repeat; the largest misfit is counted in the "
            "uncertainty: see that each mass was the right one",
        ),
        (rounds < 2, "one_round", "one round only: what putting the masses on anew changes is not known; take three"),
        (
            not load.masses,
            "no_certificate",
            f"no certificate of the masses: {100 * load.u_relative:g} % was assumed for each",
        ),
        (
            load.gravity == STANDARD_PLACE,
            "no_place",
            "gravity of your place was not given: give --latitude and --height",
        ),
        (earlier is not None, "moved", earlier or ""),
        (
            not sign_seen,
            "sign_unseen",
            "in a table, masses that pulled the head and wires that are swapped hide each other: push the head towards "
            "the cell by hand and see the count rise before a shaft is pressed",
        ),
        (
            load.loading.way is LoadingWay.PULLEY,
            "pulley_friction",
            "a pulley's friction holds against every change of load: it is in the hysteresis found here",
        ),
    )
    return chosen(*given) + found.remarks() + class_remarks(found)
