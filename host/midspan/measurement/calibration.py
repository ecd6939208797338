"""The calibration file: scales from counts to newtons and from steps to millimetres, with their uncertainties.

The device sends counts and steps. Every scale factor of the gauge is in one TOML file that is read here. All its
uncertainties are standard uncertainties (k = 1). Counts are converted as rise above zero, so the polynomial of the
force has no constant term.

>>> import numpy as np
>>> cal = Calibration.model_validate(EXAMPLE)
>>> round(float(cal.force_n(np.array(880 * 1070.0))), 3)
8.63
"""

import math
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.base.units import STANDARD
from midspan.measurement.cycle_settings import STANDARD as STANDARD_CYCLE
from midspan.measurement.cycle_settings import Cycle, CycleSettings

Array = NDArray[np.float64]
# The bounds lie well beyond any working gauge: a value outside them is a typing error or in another unit, and no
# formula would reveal it. A scale known to a tenth only is not calibrated.
URelative = Annotated[float, Field(ge=0, lt=0.1)]
DAMAGED_SCREW_MM = 0.1  # a larger error that repeats every turn means a damaged screw
ScrewWave = Annotated[float, Field(ge=-DAMAGED_SCREW_MM, le=DAMAGED_SCREW_MM)]
LEADS_MM = (0.1, 100.0)  # from a micrometer's screw to a fast ball screw
MOST_BEND = 0.05  # of the force at the standard load; a sound load cell is curved by less than a thousandth
LONGEST_NAME = 32  # of a gauge; its firmware has no room for more
Freedom = Annotated[float, Field(ge=1)]
Celsius = Annotated[float, Field(gt=-20, lt=60)]
AROUND_CALIBRATION_K = 5.0  # half the temperature range of a file that states none: a room by day and by night
# Relative change per kelvin. Metals expand by 1e-5 to 3e-5, the scale of a load cell changes by 1e-5 to 1e-4.
PerKelvin = Annotated[float, Field(ge=0, lt=1e-3)]


class CalibrationIdentity(Section):
    """Which gauge was calibrated, when, and under what conditions.

    Parameters
    ----------
    id : str
        Name of this calibration; results refer to it.
    gauge : str
        Name of the gauge it belongs to.
    temperature_c : float
        Temperature during the calibration, degrees Celsius.
    temperature_range_c : tuple of float or None
        Lowest and highest temperature at which shafts are measured under this calibration, degrees Celsius; None for 5
        degrees on both sides of `temperature_c`.
    gauge_temperature_c : float or None
        What the gauge's own thermometer showed at `temperature_c`, degrees Celsius; None if it has none.
    thermometer : str or None
        Which thermometer that was: SHAFT, a sensor by the shaft, or BOARD, the chip; None without one.
    made : date, optional
        Day on which it was made; None if unknown.
    valid_until : date, optional
        Last day of use; None if it does not expire.
    records : tuple of str
        Ids of the calibration records from which it was made.
    reservations : tuple of str
        Objections to the calibration that its user accepts; each result repeats them as doubts.
    """

    id: Annotated[str, Field(min_length=1, max_length=64)]
    gauge: Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
    temperature_c: Celsius
    temperature_range_c: Annotated[tuple[Celsius, Celsius], ARRAY] | None = None
    gauge_temperature_c: Annotated[float, Field(gt=-40, lt=100)] | None = None
    thermometer: Literal["SHAFT", "BOARD"] | None = None
    made: date | None = None
    valid_until: date | None = None
    records: Annotated[tuple[str, ...], ARRAY] = ()
    reservations: Annotated[tuple[str, ...], ARRAY] = ()

    @model_validator(mode="after")
    def _ends_after_it_began(self) -> "CalibrationIdentity":
        """Return the section, or raise ValueError if it expires before it was made."""
        if self.made and self.valid_until and self.valid_until < self.made:
            raise ValueError(
                f"calibration: valid_until {self.valid_until} is before made {self.made}; correct one of them"
            )
        return self

    @model_validator(mode="after")
    def _range_contains_the_calibration(self) -> "CalibrationIdentity":
        """Return the section, or raise ValueError if it was made at a temperature outside its range."""
        low, high = self.range_c
        if not low <= self.temperature_c <= high:
            raise ValueError(
                f"calibration: temperature_range_c {low:g} to {high:g} does not contain temperature_c "
                f"{self.temperature_c:g}; write the lower end first, or widen the range"
            )
        return self

    @model_validator(mode="after")
    def _names_its_thermometer(self) -> "CalibrationIdentity":
        """Return the section, or raise ValueError if it has a reading without a thermometer, or the reverse."""
        if (self.gauge_temperature_c is None) != (self.thermometer is None):
            raise ValueError("calibration: gauge_temperature_c and thermometer go together; write both or neither")
        return self

    @property
    def range_c(self) -> tuple[float, float]:
        """Lowest and highest temperature at which shafts are measured, degrees Celsius."""
        around = (self.temperature_c - AROUND_CALIBRATION_K, self.temperature_c + AROUND_CALIBRATION_K)
        return self.temperature_range_c or around


class Force(Section):
    """Force in newtons from the rise of the count c above zero: newton_per_count * c + newton_per_count2 * c^2.

    Parameters
    ----------
    newton_per_count : float
        Linear coefficient, N per count.
    newton_per_count2 : float
        Quadratic coefficient, N per count squared.
    u_scale : float
        Relative standard uncertainty of the force.
    u_linearity_n : float
        Standard uncertainty of the force from the cell's curvature, N, at the standard load.
    dof_scale, dof_linearity : float
        Degrees of freedom of the two uncertainties; infinite where the file has no entry (GUM G.4.2).
    u_per_k : float
        Standard uncertainty of the relative change of the force's scale per kelvin; a typical cell keeps its scale
        within 0.05 % over 10 K.
    """

    newton_per_count: Annotated[float, Field(gt=1e-9, lt=1e-1)]
    newton_per_count2: Annotated[float, Field(gt=-1e-10, lt=1e-10)] = 0.0
    u_scale: URelative
    u_linearity_n: Annotated[float, Field(ge=0, lt=1)]  # 1 N is a ninth of the standard load
    dof_scale: Freedom = math.inf
    dof_linearity: Freedom = math.inf
    u_per_k: PerKelvin = 5e-5

    @model_validator(mode="after")
    def _hardly_bends(self) -> "Force":
        """Return the section, or raise ValueError if the cell is more curved than a sound cell."""
        bend = abs(self.newton_per_count2) * STANDARD.load_n / self.newton_per_count**2
        if bend > MOST_BEND:
            raise ValueError(
                f"force.newton_per_count2 = {self.newton_per_count2:g} curves the cell's line by {bend:.3g} of the "
                f"standard load, limit {MOST_BEND:g}; correct it or calibrate again"
            )
        return self

    def force_n(self, rise_counts: Array) -> Array:
        """Return the force at a rise of the count.

        Parameters
        ----------
        rise_counts : ndarray
            Rise of the count above zero, any shape.

        Returns
        -------
        ndarray
            Force, N, same shape.
        """
        return rise_counts * (self.newton_per_count + self.newton_per_count2 * rise_counts)

    def counts_for(self, force_n: float) -> int:
        """Return the rise of the count at which a force is reached.

        Parameters
        ----------
        force_n : float
            Force, N.

        Returns
        -------
        int
            Rise above zero, rounded to the nearest count.
        """
        linear, square = self.newton_per_count, self.newton_per_count2
        root = np.sqrt(linear**2 + 4 * square * force_n)
        return round(float(2 * force_n / (linear + root)))


class Travel(Section):
    """Head travel in mm from microsteps, with the error that repeats every turn of the screw.

    Parameters
    ----------
    mm_per_step : float
        Travel per microstep, mm.
    u_scale : float
        Relative standard uncertainty of the travel.
    steps_per_screw_turn : float
        Microsteps per turn of the screw.
    screw_cos_mm, screw_sin_mm : float
        Cosine and sine part of the error that repeats every turn, mm.
    u_screw_mm : float
        Standard uncertainty of that error, mm.
    dof_scale, dof_screw : float
        Degrees of freedom of the two uncertainties; infinite where the file has no entry.
    clearance_mm : float
        Travel below home within which no shaft can be in the way, so the head may move fast, mm.
    expansion_per_k, u_expansion_per_k : float
        Thermal expansion of the screw, relative per kelvin, and its standard uncertainty; steel where the file has no
        entry.
    tilt_deg : float
        Largest angle between the direction of the press and a line square to the supports, degrees.
    """

    mm_per_step: Annotated[float, Field(gt=1e-6, lt=1.0)]
    u_scale: URelative
    steps_per_screw_turn: Annotated[float, Field(ge=20, lt=1e7)]
    screw_cos_mm: ScrewWave = 0.0
    screw_sin_mm: ScrewWave = 0.0
    u_screw_mm: Annotated[float, Field(ge=0, le=DAMAGED_SCREW_MM)]
    dof_scale: Freedom = math.inf
    dof_screw: Freedom = math.inf
    clearance_mm: Annotated[float, Field(ge=0, lt=1000)] = 0.0
    expansion_per_k: PerKelvin = 1.17e-5
    u_expansion_per_k: PerKelvin = 1e-6
    tilt_deg: Annotated[float, Field(ge=0, le=10)] = 0.5  # set with a square; a leaning post of 10 degrees is seen

    @model_validator(mode="after")
    def _is_a_screw(self) -> "Travel":
        """Return the section, or raise ValueError if no sound screw has this lead or this periodic error."""
        lead_mm = self.mm_per_step * self.steps_per_screw_turn
        if not LEADS_MM[0] <= lead_mm <= LEADS_MM[1]:
            raise ValueError(
                f"travel: mm_per_step times steps_per_screw_turn is a screw lead of {lead_mm:g} mm, expected "
                f"{LEADS_MM[0]:g} to {LEADS_MM[1]:g}; correct one of them (microsteps counted in both?)"
            )
        error_mm = math.hypot(self.screw_cos_mm, self.screw_sin_mm)
        if error_mm > DAMAGED_SCREW_MM:
            raise ValueError(
                f"travel: the screw error that repeats every turn is {error_mm:.3g} mm, limit {DAMAGED_SCREW_MM:g} mm; "
                "replace the screw, or correct screw_cos_mm and screw_sin_mm"
            )
        return self

    def travel_mm(self, press_steps: Array) -> Array:
        """Return the position of the head at a number of microsteps.

        Parameters
        ----------
        press_steps : ndarray
            Microsteps below home, any shape.

        Returns
        -------
        ndarray
            Position below home, mm, same shape.
        """
        turn = 2 * np.pi * press_steps / self.steps_per_screw_turn
        periodic = self.screw_cos_mm * np.cos(turn) + self.screw_sin_mm * np.sin(turn)
        return press_steps * self.mm_per_step + periodic


class FrameCompliance(Section):
    """Compliance of frame and cell: travel of the head per newton that does not bend the shaft.

    Parameters
    ----------
    give_mm_per_n : float
        Compliance, mm per N.
    u_give_mm_per_n : float
        Its standard uncertainty, mm per N.
    dof_give : float
        Degrees of freedom of that uncertainty; infinite where the file has no entry.
    """

    give_mm_per_n: Annotated[float, Field(ge=0, lt=1.0)]
    u_give_mm_per_n: Annotated[float, Field(ge=0, lt=0.1)]  # 0.1 mm/N is 34 thou at spine 500
    dof_give: Freedom = math.inf


Share = Annotated[float, Field(ge=0, le=1)]


class Span(Section):
    """Supports: their distance, shape and grip, and how the shaft's wall gives on them.

    Reactions normal to the shaft are 0, vertical reactions 1. The reactions of a gauge lie anywhere within a range,
    each value of it equally likely (rectangular, GUM 4.3.7). A shaft that turns under load feels normal reactions: the
    force along the shaft that friction holds at rest is gone after a fraction of a degree.

    Parameters
    ----------
    span_mm : float
        Distance between the supports, mm.
    u_span_mm : float
        Its standard uncertainty, mm.
    dof_span : float
        Degrees of freedom of that uncertainty; infinite where the file has no entry.
    vertical_share : tuple of float
        Lowest and highest share of vertical support reactions, 0 for reactions normal to the bent shaft and 1 for
        vertical ones; (0, 0) where the file has no entry.
    rim_mm, u_rim_mm : float
        Height of the shaft's axis above the centre of curvature of the rims that carry it, mm, and its standard
        uncertainty: rim radius plus shaft radius, times the cosine of the angle at which two rims nip the shaft. 0 for
        knife edges.
    axial_friction, u_axial_friction : float
        Force along the shaft that is left at a support while the shaft turns forward, relative to the support's
        reaction, and its standard uncertainty; above 0 it pulls outwards, as under a growing load, and stiffens.
    sink_mm_per_n, u_sink_mm_per_n : float
        How much the walls of a shaft give under head and rims, mm of travel per N of load between the light and the
        full depth, and its standard uncertainty.
    off_centre_mm : float
        Largest distance of the head from midspan, mm.
    expansion_per_k, u_expansion_per_k : float
        Thermal expansion of the beam that carries the supports, relative per kelvin, and its standard uncertainty;
        aluminium where the file has no entry.
    """

    span_mm: Annotated[float, Field(gt=100, lt=2000)]
    u_span_mm: Annotated[float, Field(ge=0, le=10)]  # a tape measure held askew does better
    dof_span: Freedom = math.inf
    vertical_share: Annotated[tuple[Share, Share], ARRAY] = (0.0, 0.0)
    # A file that says nothing: rims of 0 to 3 mm and shafts of 2 to 5 mm radius.
    rim_mm: Annotated[float, Field(ge=0, le=50)] = 4.0
    u_rim_mm: Annotated[float, Field(ge=0, le=10)] = 1.5
    # A file that says nothing: each support's axles lie anywhere within 0.5 mrad of square. Half of what two of them
    # are apart has a standard uncertainty of 0.2 mrad, and each mrad drags with about 0.09 of the reaction: rolling
    # contact of carbon of 6 mm on crowns of 2 mm by Kalker's linear theory (J. J. Kalker, 1967, from memory).
    axial_friction: Annotated[float, Field(ge=-0.3, le=0.3)] = 0.0
    u_axial_friction: Annotated[float, Field(ge=0, le=0.5)] = 0.02
    sink_mm_per_n: Annotated[float, Field(ge=0, lt=0.05)] = 8e-4
    u_sink_mm_per_n: Annotated[float, Field(ge=0, lt=0.05)] = 5e-4
    off_centre_mm: Annotated[float, Field(ge=0, le=20)] = 1.0
    expansion_per_k: PerKelvin = 2.34e-5
    u_expansion_per_k: PerKelvin = 2e-6

    @property
    def vertical(self) -> float:
        """Best estimate of the share of vertical reactions: the middle of its range."""
        return (self.vertical_share[0] + self.vertical_share[1]) / 2

    @model_validator(mode="after")
    def _range_has_an_order(self) -> "Span":
        """Return the section, or raise ValueError if the range of the reactions begins with its larger end."""
        if self.vertical_share[0] > self.vertical_share[1]:
            raise ValueError("span.vertical_share: write the smaller share first")
        return self


class Rotation(Section):
    """Rotate steps per revolution of the shaft, and how far a shaft may slip from that number.

    Parameters
    ----------
    steps_per_turn : float
        Rotate steps per revolution without slip.
    u_relative : float
        Relative standard uncertainty of a revolution, slip included.
    steps_per_roller_turn : float or None
        Rotate steps per revolution of a roller that carries the shaft; None if unknown.
    u_roller_mm : float
        Rms height that rollers out of round add at midspan where it cannot be told from the readings, mm.
    u_slip_between_depths : float
        Relative standard uncertainty of the difference of the slip between two depths.
    """

    steps_per_turn: Annotated[float, Field(gt=20, lt=1e7)]
    u_relative: Annotated[float, Field(ge=1e-9, lt=0.2)]
    steps_per_roller_turn: Annotated[float, Field(gt=20, lt=1e7)] | None = None
    u_roller_mm: Annotated[float, Field(ge=0, lt=0.5)] = 0.002
    u_slip_between_depths: Annotated[float, Field(ge=0, lt=0.1)] = 0.001


class ConverterFilter(Section):
    """Response of the load cell's converter to a force that changes.

    Parameters
    ----------
    delay_s : float
        Time from the middle of the response to the tick of its word, half a conversion included, s.
    u_delay_s : float
        Its standard uncertainty, s.
    width_s : float
        Rms width of the response, s.
    u_width_s : float
        Its standard uncertainty, s.
    dof_delay, dof_width : float
        Degrees of freedom of the two uncertainties; infinite where the file has no entry.
    """

    # Converters that weigh a shaft give ten words a second or more; a filter of ten of them is a second long.
    delay_s: Annotated[float, Field(ge=0, le=1)]
    u_delay_s: Annotated[float, Field(ge=0, le=0.5)]
    width_s: Annotated[float, Field(ge=0, le=0.5)]
    u_width_s: Annotated[float, Field(ge=0, le=0.5)]
    dof_delay: Freedom = math.inf
    dof_width: Freedom = math.inf


class Calibration(Section):
    """A whole calibration file.

    Parameters
    ----------
    calibration : CalibrationIdentity
        Id, gauge and dates.
    force : Force
        Scale of the load cell.
    travel : Travel
        Scale of the press.
    frame : FrameCompliance
        Compliance of frame and cell.
    span : Span
        Distance and reactions of the supports.
    rotation : Rotation
        Scale of the rollers.
    filter : ConverterFilter or None
        Response of the converter; None if it was never calibrated.
    cycle : CycleSettings or None
        How shafts are measured on this gauge, in the file a table or the name of a preset; None for STANDARD.
    """

    calibration: CalibrationIdentity
    force: Force
    travel: Travel
    frame: FrameCompliance
    span: Span
    rotation: Rotation
    filter: ConverterFilter | None = None
    cycle: Cycle | None = None

    @property
    def usual_cycle(self) -> CycleSettings:
        """Settings of the cycle by which shafts are measured on this gauge."""
        return self.cycle or STANDARD_CYCLE

    @property
    def give_mm_per_n(self) -> float:
        """Travel of the head that does not bend a shaft: of frame, cell and the shaft's own walls, mm per N."""
        return self.frame.give_mm_per_n + self.span.sink_mm_per_n

    @property
    def rim(self) -> float:
        """Height of the shaft's axis above the rims' centre of curvature over the span; 0 for knife edges."""
        return self.span.rim_mm / self.span.span_mm

    def force_n(self, rise_counts: Array) -> Array:
        """Return the force at a rise of the count.

        Parameters
        ----------
        rise_counts : ndarray
            Rise of the count above zero, any shape.

        Returns
        -------
        ndarray
            Force, N, same shape.
        """
        return self.force.force_n(rise_counts)

    def newtons_per_count(self, rise_counts: Array) -> Array:
        """Return the slope of the force at a rise of the count.

        Parameters
        ----------
        rise_counts : ndarray
            Rise of the count above zero, any shape.

        Returns
        -------
        ndarray
            Slope, N per count, same shape.
        """
        return self.force.newton_per_count + 2 * self.force.newton_per_count2 * rise_counts

    def travel_mm(self, press_steps: Array) -> Array:
        """Return the position of the head at a number of microsteps.

        Parameters
        ----------
        press_steps : ndarray
            Microsteps below home, any shape.

        Returns
        -------
        ndarray
            Position below home, mm, same shape.
        """
        return self.travel.travel_mm(press_steps)

    def counts_for(self, force_n: float) -> int:
        """Return the rise of the count at which a force is reached: the device's thresholds.

        Parameters
        ----------
        force_n : float
            Force, N.

        Returns
        -------
        int
            Rise above zero, rounded to the nearest count.

        Examples
        --------
        >>> Calibration.model_validate(EXAMPLE).counts_for(8.629852)
        941600
        """
        return self.force.counts_for(force_n)


EXAMPLE: dict[str, Any] = {
    "calibration": {"id": "example", "gauge": "rehearsal", "temperature_c": 20.0},
    "force": {"newton_per_count": 9.80665e-3 / 1070, "u_scale": 2.5e-4, "u_linearity_n": 5e-4},
    "travel": {
        "mm_per_step": 0.0025, "u_scale": 1.5e-4, "steps_per_screw_turn": 3200.0, "u_screw_mm": 0.001, "tilt_deg": 0.3
    },
    "frame": {"give_mm_per_n": 0.01, "u_give_mm_per_n": 2.5e-4},
    # Rims measured with a profile gauge, sinking with shafts pressed over a support.
    "span": {
        "span_mm": 711.2, "u_span_mm": 0.05, "rim_mm": 2.8, "u_rim_mm": 0.5, "u_axial_friction": 0.005,
        "sink_mm_per_n": 8e-4, "u_sink_mm_per_n": 2e-4,
    },
    "rotation": {"steps_per_turn": 800.0, "u_relative": 0.01},
}  # fmt: skip


def load_calibration(path: Path) -> Calibration:
    """Return the checked contents of a calibration file.

    Parameters
    ----------
    path : Path
        TOML file.

    Returns
    -------
    Calibration
        Every value within its limits.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or a key is missing, unknown or out of range; the message names file and key.
    """
    return validated(Calibration, read_toml(path), path)
