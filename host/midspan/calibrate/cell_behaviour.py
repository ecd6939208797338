"""Describe a load cell under known masses: hysteresis, repeatability, zero return and creep.

Relative figures are in percent, as force standards state them (formulas of ISO 376:2011, 7.5, from memory).
"""

from dataclasses import dataclass

import numpy as np

from midspan.base.polynomial import Array, PolynomialFit
from midspan.calibrate.outcome import Remark, chosen
from midspan.calibrate.readings_table import CalibrationReadings

SETTLED_S, CREPT_S = 30.0, 300.0  # creep is the change between these times after a step of load


@dataclass(frozen=True)
class Behaviour:
    """Behaviour of a cell; None for a figure that the readings cannot show.

    Parameters
    ----------
    hysteresis_n : float
        Largest difference between rising and falling load, N.
    reversibility_pct : float | None
        Largest difference between rising and falling load, percent of the rising reading.
    repeatability_pct : float | None
        Largest range between rounds at a load, percent of their mean.
    interpolation_pct : float
        Largest mean misfit of the fitted curve, percent of the load.
    accuracy_pct : float
        Largest misfit of a single reading, percent of the load.
    zero_return_pct : float | None
        Largest change of the empty reading within a round, percent of the largest rise.
    creep_pct : float | None
        Change from 30 s to 300 s after the step, percent of the held load's rise.
    hold_return_pct : float | None
        Change of the empty reading after the held load, percent of the largest rise.
    """

    hysteresis_n: float
    reversibility_pct: float | None
    repeatability_pct: float | None
    interpolation_pct: float
    accuracy_pct: float
    zero_return_pct: float | None
    creep_pct: float | None
    hold_return_pct: float | None = None

    def figures(self) -> dict[str, float]:
        """Return the figures that are known.

        Returns
        -------
        dict[str, float]
            Figures by name.
        """
        return {name: value for name, value in vars(self).items() if value is not None}

    def remarks(self) -> tuple[Remark, ...]:
        """Return what was not measured, and how to measure it.

        Returns
        -------
        tuple[Remark, ...]
            A remark for each missing figure.
        """
        missing = (
            (self.reversibility_pct, "no_hysteresis", "hysteresis is not known: read the masses on the way down too"),
            (self.repeatability_pct, "no_repeatability", "repeatability is not known: take more than one round"),
            (
                self.zero_return_pct,
                "no_zero_return",
                "zero return is not known: read the empty cell at the end of each round",
            ),
            (
                self.creep_pct,
                "no_creep",
                f"creep is not known: leave the largest mass on and read it with direction hold at {SETTLED_S:g} s "
                f"and {CREPT_S:g} s or later (live: --creep)",
            ),
        )
        return chosen(*((value is None, code, words) for value, code, words in missing))


def behaviour(readings: CalibrationReadings, rise: Array, forces: Array, fit: PolynomialFit) -> Behaviour:
    """Return the cell's behaviour from all readings.

    Parameters
    ----------
    readings : CalibrationReadings
        Table of readings.
    rise : Array
        Counts above the zero of their round, shape (readings,).
    forces : Array
        Force on the head, N, shape (readings,).
    fit : PolynomialFit
        Fitted curve from rise to force, N.

    Returns
    -------
    Behaviour
        Figures in percent and N.

    References
    ----------
    ISO 376:2011, 7.5, from memory.
    """
    ways = np.array(readings.words["direction"])
    up, down = _means(ways == "up", rise, readings), _means(ways == "down", rise, readings)
    shared = [key for key in up if key in down and key[1] > 0]
    gaps = [(abs(down[key] - up[key]), up[key]) for key in shared]
    newtons = float(fit.coefficients[1])
    by_load = {mass: [up[key] for key in up if key[1] == mass] for _, mass in up if mass > 0}
    repeats = [np.ptp(values) / np.mean(values) for values in by_load.values() if len(values) > 1]
    loaded = (ways != "hold") & (forces > 0)
    misfits = [
        abs(float((fit(rise)[loaded & (forces == force)]).mean()) / force - 1) for force in np.unique(forces[loaded])
    ]
    return Behaviour(
        hysteresis_n=max((gap for gap, _ in gaps), default=0.0) * newtons,
        reversibility_pct=100 * max(gap / value for gap, value in gaps) if gaps else None,
        repeatability_pct=100 * max(repeats) if repeats else None,
        interpolation_pct=100 * max(misfits),
        accuracy_pct=100 * float(np.abs(fit(rise[loaded]) / forces[loaded] - 1).max()),
        zero_return_pct=_zero_return(readings, float(rise.max())),
        creep_pct=_creep(readings),
        hold_return_pct=_hold_return(readings),
    )


def _means(chosen: Array, rise: Array, readings: CalibrationReadings) -> dict[tuple[float, float], float]:
    """Return the mean rise for each round and mass among the chosen readings."""
    keys = list(zip(readings["round"].tolist(), readings["mass_g"].tolist(), strict=True))
    picked = np.flatnonzero(chosen).tolist()
    return {key: float(np.mean([rise[i] for i in picked if keys[i] == key])) for key in {keys[i] for i in picked}}


def _zero_return(readings: CalibrationReadings, full: float) -> float | None:
    """Return the largest change of the empty reading over a round, percent of the full rise; None if read once."""
    changes = []
    moving = np.array(readings.words["direction"]) != "hold"
    for number in np.unique(readings["round"]):
        zeros = readings["count"][moving & (readings["round"] == number) & (readings["mass_g"] == 0)]
        if len(zeros) > 1:
            changes.append(abs(float(zeros[-1] - zeros[0])))
    return 100 * max(changes) / full if changes else None


def _creep(readings: CalibrationReadings) -> float | None:
    """Return the change from 30 s to 300 s after the step, percent of its rise; None if it was not held so long.

    A wandering zero is included: it cannot be subtracted, because the unloaded cell creeps back at first.
    """
    held = np.array(readings.words["direction"]) == "hold"
    loaded = held & (readings["mass_g"] > 0)
    time, count = readings["time_s"][loaded], readings["count"][loaded]
    if len(time) < 2 or time.min() > SETTLED_S or time.max() < CREPT_S:
        return None
    order = np.argsort(time)
    early, late = np.interp([SETTLED_S, CREPT_S], time[order], count[order])
    return float(100 * abs(late - early) / (early - _last_empty(readings, held)))


def _hold_return(readings: CalibrationReadings) -> float | None:
    """Return the change of the empty reading caused by the held load, in percent; None if it was not read.

    As in OIML R 60, 5.5.2.
    """
    held = np.array(readings.words["direction"]) == "hold"
    after = readings["count"][held & (readings["mass_g"] == 0)]
    if not len(after):
        return None
    full = readings["count"].max() - _last_empty(readings, held)
    return float(100 * abs(after[0] - _last_empty(readings, held)) / full)


def _last_empty(readings: CalibrationReadings, held: Array) -> float:
    """Return the last reading of the empty cell before the load was held."""
    return float(readings["count"][(readings["mass_g"] == 0) & ~np.asarray(held, bool)][-1])
