"""Calibrate travel: steps against a dial indicator or gauge blocks, in both directions.

A least-squares fit gives scale, backlash and the error that repeats with every turn of the screw: travel = a + scale
* steps + backlash * (way up) + p cos + q sin of the screw's angle. The periodic part is kept only if it is
significant and the readings fall on enough places of the screw's turn to show it.

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
from midspan.calibrate.outcome import DOF_CERTIFICATE, DOF_GUESS, ProcedureResult, Remark, chosen
from midspan.calibrate.readings_table import CalibrationReadings

FEWEST = 6
FEWEST_PLACES = 5  # sixteenths of the screw's turn that must be read to show its error
LARGEST_BACKLASH_MM = 0.5
LEAST_TRAVEL_MM = 1e-3  # an indicator does not show less


@dataclass(frozen=True)
class TravelIndicator:
    """Dial indicator or set of gauge blocks.

    Parameters
    ----------
    u_reading_mm : float
        Standard uncertainty of a reading, mm.
    u_scale : float
        Relative standard uncertainty of its scale.
    certificate : str
        Certificate, empty without one.
    """

    u_reading_mm: float = 0.003
    u_scale: float = 1e-4
    certificate: str = ""


@dataclass(frozen=True)
class _Fit:
    """Least-squares fit of travel."""

    values: Array
    covariance: Array
    squares: float
    degrees: int

    @property
    def u(self) -> Array:
        """Standard uncertainties of the values."""
        u: Array = np.sqrt(np.diag(self.covariance))
        return u


@dataclass(frozen=True)
class _ScrewFits:
    """Fits without and with the wave of the screw; the latter None if too few places of its turn were read."""

    plain: _Fit
    bent: _Fit | None

    @property
    def test(self) -> FTest | None:
        """Test of the wave, None if it was not fitted."""
        if self.bent is None:
            return None
        return f_test(self.plain.squares - self.bent.squares, 2, self.bent.squares, self.bent.degrees)

    @property
    def has_wave(self) -> bool:
        """True if the wave is significant."""
        return self.test is not None and self.test.significant

    @property
    def fit(self) -> _Fit:
        """Fit to use: with the wave only if that is significant."""
        return self.bent if self.bent is not None and self.has_wave else self.plain


def calibrate_travel(
    readings: CalibrationReadings,
    indicator: TravelIndicator,
    steps_per_screw_turn: float,
    clearance_mm: float = 0.0,
    earlier_mm_per_step: float | None = None,
) -> ProcedureResult:
    """Return millimetres per step, backlash and screw error with their uncertainties.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns direction (down if the head came from above, up on its way back), steps, travel_mm.
    indicator : TravelIndicator
        Indicator or blocks.
    steps_per_screw_turn : float
        Press steps per turn of the screw.
    clearance_mm : float
        Travel of the head above the shaft, mm.
    earlier_mm_per_step : float | None
        Scale of the last record, to compare with.

    Returns
    -------
    ProcedureResult
        Section "travel" of the calibration file, figures and remarks.

    Raises
    ------
    ReadingsError
        There are too few readings (code "too_few"), the columns are swapped ("swapped"), travel stands still
        ("still"), falls as the steps rise ("reversed") or falls back at a line, or scale and backlash cannot be
        separated.
    """
    _check(readings, indicator)
    has_both = len(set(readings.words["direction"])) == 2
    fits = _screw_fits(readings, steps_per_screw_turn, has_both)
    fit, scale = fits.fit, float(fits.fit.values[1])
    budget = {
        "readings": (float(fit.u[1]) / scale, float(fit.degrees)),
        "indicator": (indicator.u_scale, DOF_CERTIFICATE if indicator.certificate else DOF_GUESS),
    }
    u_scale, dof_scale = combined(*budget.values())
    u_screw, dof_screw = _u_screw(fits, indicator)
    earlier = plausibility.against_earlier(scale, earlier_mm_per_step, "millimetres per step", readings.source)
    section = {
        "mm_per_step": scale,
        "u_scale": u_scale,
        "steps_per_screw_turn": steps_per_screw_turn,
        "screw_cos_mm": float(fit.values[-2]) if fits.has_wave else 0.0,
        "screw_sin_mm": float(fit.values[-1]) if fits.has_wave else 0.0,
        "u_screw_mm": u_screw,
        "dof_scale": dof_scale,
        "dof_screw": dof_screw,
        "clearance_mm": clearance_mm,
    }
    figures = {"residual_sd_mm": math.sqrt(fit.squares / fit.degrees)}
    if has_both:
        figures |= {"backlash_mm": float(fit.values[2]), "u_backlash_mm": float(fit.u[2])}
    if fits.test is not None and math.isfinite(fits.test.ratio):
        figures |= {"screw_f": fits.test.ratio, "screw_p": fits.test.chance}
    remarks = _remarks(figures.get("backlash_mm"), fits.test, section, earlier)
    artefacts = (asdict(indicator),) if indicator.certificate else ()
    return ProcedureResult("travel", section, figures, budget | {"screw_mm": (u_screw, dof_screw)}, remarks, artefacts)


def _screw_fits(readings: CalibrationReadings, steps_per_screw_turn: float, has_both: bool) -> _ScrewFits:
    """Return the fits of travel with and without the screw's wave."""
    steps, travel = readings["steps"], readings["travel_mm"]
    up = np.array(readings.words["direction"]) == "up"
    straight = np.column_stack([np.ones_like(steps), steps, *([up] if has_both else [])]).astype(float)
    plain = _least_squares(straight, travel)
    if _places(steps, steps_per_screw_turn) < FEWEST_PLACES or plain.degrees <= 4:
        return _ScrewFits(plain, None)
    turn = 2 * np.pi * steps / steps_per_screw_turn
    return _ScrewFits(plain, _least_squares(np.column_stack([straight, np.cos(turn), np.sin(turn)]), travel))


def _check(readings: CalibrationReadings, indicator: TravelIndicator) -> None:
    """Refuse readings whose travel does not follow the steps."""
    steps, travel, ways = readings["steps"], readings["travel_mm"], np.array(readings.words["direction"])
    if len(steps) < FEWEST or len(np.unique(steps)) < FEWEST // 2:
        raise ReadingsError(
            f"{readings.source}: {len(steps)} readings are too few; read {FEWEST} or more places", code="too_few"
        )
    if np.ptp(travel) > np.ptp(steps):
        raise ReadingsError(
            f"{readings.source}: the column travel_mm spans more than the column steps; they look swapped: "
            "exchange their headings",
            code="swapped",
        )
    if np.ptp(travel) < LEAST_TRAVEL_MM:
        raise ReadingsError(
            f"{readings.source}: travel is {travel[0]:g} mm everywhere; check that the indicator's tip moves",
            code="still",
        )
    if (steps - steps.mean()) @ (travel - travel.mean()) < 0:
        raise ReadingsError(
            f"{readings.source}: travel falls as the steps rise; count travel downward from home, like the steps",
            code="reversed",
        )
    for way in set(ways.tolist()):
        own = np.flatnonzero(ways == way)
        plausibility.monotonic(
            steps[own], travel[own], [readings.lines[i] for i in own], readings.source, 4 * indicator.u_reading_mm
        )


def _places(steps: Array, per_turn: float) -> int:
    """Return how many sixteenths of the screw's turn were read."""
    return len(np.unique(np.round(steps / per_turn * 16) % 16))


def _least_squares(columns: Array, y: Array) -> _Fit:
    """Return the least-squares fit of columns, shape (readings, terms), to travel in mm."""
    size = np.abs(columns).max(axis=0)  # steps are thousands, cosines are ones
    scaled, _, rank, _ = np.linalg.lstsq(columns / size, y, rcond=None)
    degrees = len(y) - columns.shape[1]
    if rank < columns.shape[1] or degrees < 1:
        raise ReadingsError("travel: the readings cannot separate scale and backlash; read more places")
    squares = float(((y - columns / size @ scaled) ** 2).sum())
    inverse = np.linalg.inv(columns.T / size[:, None] @ (columns / size))
    return _Fit(scaled / size, inverse / np.outer(size, size) * squares / degrees, squares, degrees)


def _u_screw(fits: _ScrewFits, indicator: TravelIndicator) -> tuple[float, float]:
    """Return the standard uncertainty of the head's position due to the screw, mm, with degrees of freedom.

    With a fitted wave: its own uncertainty, and the scatter beyond the indicator's reading. Without: the whole
    scatter beyond the reading stands for waves that could not be seen, and a wave that is not significant counts as
    doubt.
    """
    fit, bent = fits.fit, fits.bent
    beyond = math.sqrt(max(fit.squares / fit.degrees - indicator.u_reading_mm**2, 0.0))
    wave = math.sqrt(float((bent.u[-2:] ** 2).mean())) if bent else 0.0
    if bent and not fits.has_wave:
        wave = math.hypot(wave, math.sqrt(float((bent.values[-2:] ** 2).mean())))
    if bent is None:
        beyond = max(beyond, indicator.u_reading_mm)
    return combined((beyond, float(fit.degrees)), (wave, float(fit.degrees)))


def _remarks(
    backlash: float | None, test: FTest | None, section: dict[str, float], earlier: str | None
) -> tuple[Remark, ...]:
    """Return the remarks on a travel calibration."""
    size = math.hypot(section["screw_cos_mm"], section["screw_sin_mm"])
    if test is None:
        code, wave = (
            "screw_unread",
            (
                f"the error that repeats with the screw was not told: read at {FEWEST_PLACES} or more places "
                "within a turn of the screw, not at whole turns"
            ),
        )
    elif test.significant:
        code, wave = (
            "screw_error",
            f"the screw has an error of {size:.4f} mm that repeats every turn; it is taken off",
        )
    else:
        code, wave = (
            "no_screw_error",
            "no error that repeats every turn of the screw was found",
        )
    return chosen(
        (True, code, wave),
        (backlash is None, "one_way", "read on one way only: backlash is not known; read on the way back up too"),
        (
            backlash is not None and backlash < 0,
            "negative_backlash",
            "the backlash came out negative, which no screw has: were up and down exchanged?",
        ),
        (
            backlash is not None and backlash > LARGEST_BACKLASH_MM,
            "large_backlash",
            f"backlash of {backlash or 0:.2f} mm: look for a loose nut or coupling",
        ),
        (earlier is not None, "moved", earlier or ""),
    )
