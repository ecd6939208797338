"""Travel calibration: steps against a dial indicator or gauge blocks, both directions.

One least-squares fit gives scale, backlash and the error that repeats every turn of the screw:
travel = a + scale * steps + backlash * (way up) + p cos + q sin of the screw's angle. The periodic part is kept
only where it helps beyond chance, and only where the readings fall on enough places of the screw to tell it.

>>> from midspan.calibrate.readings_table import readings_of
>>> steps = [400.0 * i for i in range(33)]
>>> down = [0.0025 * s + 0.004 * math.sin(2 * math.pi * s / 3200) for s in steps]
>>> up = [value + 0.03 for value in down]
>>> table = readings_of("typed", direction=["down"] * 33 + ["up"] * 33, steps=steps * 2, travel_mm=down + up)
>>> found = calibrate_travel(table, TravelIndicator(), 3200.0)
>>> round(found.section["mm_per_step"], 6), round(found.section["screw_sin_mm"], 4)
(0.0025, 0.004)
>>> round(found.figures["backlash_mm"], 3)
0.03
"""

import math
from dataclasses import asdict, dataclass

import numpy as np

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import Array
from midspan.calibrate import plausibility
from midspan.calibrate.fit_tests import FTest, combined, f_test
from midspan.calibrate.outcome import DOF_CERTIFICATE, DOF_GUESS, ProcedureResult
from midspan.calibrate.readings_table import CalibrationReadings

FEWEST = 6
FEWEST_PLACES = 5  # of the screw's turn that must be read for its error to show
LARGEST_BACKLASH_MM = 0.5
LEAST_TRAVEL_MM = 1e-3  # less is no way that an indicator tells


@dataclass(frozen=True)
class TravelIndicator:
    """The dial indicator or gauge blocks: standard uncertainty of one reading in mm, and of its scale (relative)."""

    u_reading_mm: float = 0.003
    u_scale: float = 1e-4
    certificate: str = ""


@dataclass(frozen=True)
class _Fit:
    values: Array
    covariance: Array
    squares: float
    degrees: int

    @property
    def u(self) -> Array:
        u: Array = np.sqrt(np.diag(self.covariance))
        return u


@dataclass(frozen=True)
class _Told:
    """The fit without the screw's wave, and the one with it, None where too few places of its turn were read."""

    plain: _Fit
    bent: _Fit | None

    @property
    def test(self) -> FTest | None:
        if self.bent is None:
            return None
        return f_test(self.plain.squares - self.bent.squares, 2, self.bent.squares, self.bent.degrees)

    @property
    def has_wave(self) -> bool:
        return self.test is not None and self.test.significant

    @property
    def fit(self) -> _Fit:
        return self.bent if self.bent is not None and self.has_wave else self.plain


def calibrate_travel(
    readings: CalibrationReadings,
    indicator: TravelIndicator,
    steps_per_screw_turn: float,
    clearance_mm: float = 0.0,
    earlier_mm_per_step: float | None = None,
) -> ProcedureResult:
    """Millimetres per step, backlash and screw error with their uncertainties.

    Columns: direction (down: the head went down to it; up: it came back), steps, travel_mm. Raises ReadingsError
    where travel does not follow the steps.
    """
    _check(readings, indicator)
    has_both = len(set(readings.words["direction"])) == 2
    told = _told(readings, steps_per_screw_turn, has_both)
    fit, scale = told.fit, float(told.fit.values[1])
    budget = {
        "readings": (float(fit.u[1]) / scale, float(fit.degrees)),
        "indicator": (indicator.u_scale, DOF_CERTIFICATE if indicator.certificate else DOF_GUESS),
    }
    u_scale, dof_scale = combined(*budget.values())
    u_screw, dof_screw = _u_screw(told, indicator)
    earlier = plausibility.against_earlier(scale, earlier_mm_per_step, "millimetres per step", readings.source)
    section = {
        "mm_per_step": scale,
        "u_scale": u_scale,
        "steps_per_screw_turn": steps_per_screw_turn,
        "screw_cos_mm": float(fit.values[-2]) if told.has_wave else 0.0,
        "screw_sin_mm": float(fit.values[-1]) if told.has_wave else 0.0,
        "u_screw_mm": u_screw,
        "dof_scale": dof_scale,
        "dof_screw": dof_screw,
        "clearance_mm": clearance_mm,
    }
    figures = {"residual_sd_mm": math.sqrt(fit.squares / fit.degrees)}
    if has_both:
        figures |= {"backlash_mm": float(fit.values[2]), "u_backlash_mm": float(fit.u[2])}
    remarks = _remarks(figures.get("backlash_mm"), told.test, section, earlier)
    artefacts = (asdict(indicator),) if indicator.certificate else ()
    return ProcedureResult("travel", section, figures, budget | {"screw_mm": (u_screw, dof_screw)}, remarks, artefacts)


def _told(readings: CalibrationReadings, steps_per_screw_turn: float, has_both: bool) -> _Told:
    steps, travel = readings["steps"], readings["travel_mm"]
    up = np.array(readings.words["direction"]) == "up"
    straight = np.column_stack([np.ones_like(steps), steps, *([up] if has_both else [])]).astype(float)
    plain = _least_squares(straight, travel)
    if _places(steps, steps_per_screw_turn) < FEWEST_PLACES or plain.degrees <= 4:
        return _Told(plain, None)
    turn = 2 * np.pi * steps / steps_per_screw_turn
    return _Told(plain, _least_squares(np.column_stack([straight, np.cos(turn), np.sin(turn)]), travel))


def _check(readings: CalibrationReadings, indicator: TravelIndicator) -> None:
    steps, travel, ways = readings["steps"], readings["travel_mm"], np.array(readings.words["direction"])
    if len(steps) < FEWEST or len(np.unique(steps)) < FEWEST // 2:
        raise ReadingsError(f"{readings.source}: {len(steps)} readings are too few; take {FEWEST} or more places")
    if np.ptp(travel) > np.ptp(steps):
        raise ReadingsError(
            f"{readings.source}: the column travel_mm spans more than the column steps; they look swapped: "
            "exchange their headings"
        )
    if np.ptp(travel) < LEAST_TRAVEL_MM:
        raise ReadingsError(f"{readings.source}: travel is {travel[0]:g} mm everywhere; does the indicator's tip move?")
    if (steps - steps.mean()) @ (travel - travel.mean()) < 0:
        raise ReadingsError(
            f"{readings.source}: travel falls as the steps rise; count travel downward from home, as the steps are"
        )
    for way in set(ways.tolist()):
        own = np.flatnonzero(ways == way)
        plausibility.monotonic(
            steps[own], travel[own], [readings.lines[i] for i in own], readings.source, 4 * indicator.u_reading_mm
        )


def _places(steps: Array, per_turn: float) -> int:
    """How many places of the screw's turn, in sixteenths, were read."""
    return len(np.unique(np.round(steps / per_turn * 16) % 16))


def _least_squares(columns: Array, y: Array) -> _Fit:
    size = np.abs(columns).max(axis=0)  # steps are thousands, cosines are ones
    scaled, _, rank, _ = np.linalg.lstsq(columns / size, y, rcond=None)
    degrees = len(y) - columns.shape[1]
    if rank < columns.shape[1] or degrees < 1:
        raise ReadingsError("travel: the readings do not tell scale and backlash apart; read more places")
    squares = float(((y - columns / size @ scaled) ** 2).sum())
    inverse = np.linalg.inv(columns.T / size[:, None] @ (columns / size))
    return _Fit(scaled / size, inverse / np.outer(size, size) * squares / degrees, squares, degrees)


def _u_screw(told: _Told, indicator: TravelIndicator) -> tuple[float, float]:
    """Standard uncertainty of the head's place left by the screw, in mm, at any one place.

    With a fitted wave: that of the wave, and what scatters beyond the reading of the indicator. Without: the whole
    scatter beyond it stands for waves that were not told, and a wave too small to be sure of is kept as doubt.
    """
    fit, bent = told.fit, told.bent
    beyond = math.sqrt(max(fit.squares / fit.degrees - indicator.u_reading_mm**2, 0.0))
    wave = math.sqrt(float((bent.u[-2:] ** 2).mean())) if bent else 0.0
    if bent and not told.has_wave:
        wave = math.hypot(wave, math.sqrt(float((bent.values[-2:] ** 2).mean())))
    if bent is None:
        beyond = max(beyond, indicator.u_reading_mm)
    return combined((beyond, float(fit.degrees)), (wave, float(fit.degrees)))


def _remarks(
    backlash: float | None, test: FTest | None, section: dict[str, float], earlier: str | None
) -> tuple[str, ...]:
    size = math.hypot(section["screw_cos_mm"], section["screw_sin_mm"])
    if test is None:
        wave = (
            f"the error that repeats with the screw was not told: read at {FEWEST_PLACES} or more places "
            "within a turn of the screw, not at whole turns"
        )
    elif test.significant:
        wave = f"the screw has an error of {size:.4f} mm that repeats every turn (p = {test.chance:.2g}); corrected"
    else:
        wave = f"no error that repeats every turn of the screw shows above chance (p = {test.chance:.2g})"
    given = (
        (True, wave),
        (backlash is None, "read on one way only: backlash is not known; read on the way back up too"),
        (
            backlash is not None and backlash < 0,
            "the backlash came out negative, which no screw has: were up and down exchanged?",
        ),
        (
            backlash is not None and backlash > LARGEST_BACKLASH_MM,
            f"backlash of {backlash or 0:.2f} mm: look for a loose nut or coupling",
        ),
        (earlier is not None, earlier or ""),
    )
    return tuple(sentence for said, sentence in given if said)
