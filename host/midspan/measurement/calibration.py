"""The calibration file: what turns counts into newtons and steps into millimetres, and how well that is known.

The device ships counts and steps; every scale factor of the gauge stands in one TOML file read here. All
uncertainties in it are standard uncertainties (one sigma). Counts convert as rise above zero, so the
polynomial has no constant term.

>>> import numpy as np
>>> cal = Calibration.model_validate(EXAMPLE)
>>> round(float(cal.force_n(np.array(880 * 1070.0))), 3)
8.63
"""

import math
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.base.units import STANDARD

Array = NDArray[np.float64]
# Bounds lie well beyond any gauge that works: past them a value is a slip of the pen or in another unit, and would go
# through every formula unseen. A scale known to a tenth only is not calibrated.
URelative = Annotated[float, Field(ge=0, lt=0.1)]
DAMAGED_SCREW_MM = 0.1  # more that repeats every turn is a damaged screw, not a correction
ScrewWave = Annotated[float, Field(ge=-DAMAGED_SCREW_MM, le=DAMAGED_SCREW_MM)]
LEADS_MM = (0.1, 100.0)  # from a micrometer's screw to a fast ball screw
MOST_BEND = 0.05  # of the force at the working load; a sound load cell bends by less than a thousandth
LONGEST_NAME = 32  # of a gauge; its firmware has no room for more
# Degrees of freedom of a standard uncertainty; without an entry it counts as perfectly known (GUM G.4.2).
Freedom = Annotated[float, Field(ge=1)]


class CalibrationIdentity(Section):
    """Which gauge, which calibration, under what conditions."""

    id: Annotated[str, Field(min_length=1, max_length=64)]
    gauge: Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
    temperature_c: Annotated[float, Field(gt=-20, lt=60)]
    made: date | None = None
    valid_until: date | None = None
    records: Annotated[tuple[str, ...], ARRAY] = ()  # ids of the calibration records it was put together from
    # What speaks against it and its user lets pass; every result repeats them.
    reservations: Annotated[tuple[str, ...], ARRAY] = ()

    @model_validator(mode="after")
    def _ends_after_it_began(self) -> "CalibrationIdentity":
        if self.made and self.valid_until and self.valid_until < self.made:
            raise ValueError(
                f"calibration: valid_until {self.valid_until} lies before made {self.made}; correct one of them"
            )
        return self


class Force(Section):
    """Force in newtons from the rise of the count above zero: newton_per_count * c + newton_per_count2 * c^2."""

    newton_per_count: Annotated[float, Field(gt=1e-9, lt=1e-1)]
    newton_per_count2: Annotated[float, Field(gt=-1e-10, lt=1e-10)] = 0.0
    u_scale: URelative
    u_linearity_n: Annotated[float, Field(ge=0, lt=1)]  # a ninth of the working load
    dof_scale: Freedom = math.inf
    dof_linearity: Freedom = math.inf

    @model_validator(mode="after")
    def _hardly_bends(self) -> "Force":
        bend = abs(self.newton_per_count2) * STANDARD.load_n / self.newton_per_count**2
        if bend > MOST_BEND:
            raise ValueError(
                f"force.newton_per_count2 = {self.newton_per_count2:g} bends the cell's line by {bend:.3g} of the "
                f"working load, and {MOST_BEND:g} is more than any sound cell's; correct it, or calibrate anew"
            )
        return self

    def force_n(self, rise_counts: Array) -> Array:
        """Force in N from the rise of the count above zero (any shape)."""
        return rise_counts * (self.newton_per_count + self.newton_per_count2 * rise_counts)

    def counts_for(self, force_n: float) -> int:
        """Rise of the count at which the given force is reached."""
        linear, square = self.newton_per_count, self.newton_per_count2
        root = np.sqrt(linear**2 + 4 * square * force_n)
        return round(float(2 * force_n / (linear + root)))


class Travel(Section):
    """Head travel in mm from microsteps, with the error that repeats every turn of the screw."""

    mm_per_step: Annotated[float, Field(gt=1e-6, lt=1.0)]
    u_scale: URelative
    steps_per_screw_turn: Annotated[float, Field(ge=20, lt=1e7)]
    screw_cos_mm: ScrewWave = 0.0
    screw_sin_mm: ScrewWave = 0.0
    u_screw_mm: Annotated[float, Field(ge=0, le=DAMAGED_SCREW_MM)]
    dof_scale: Freedom = math.inf
    dof_screw: Freedom = math.inf
    # Down to here the head may go fast because no shaft can be in its way yet.
    clearance_mm: Annotated[float, Field(ge=0, lt=1000)] = 0.0

    @model_validator(mode="after")
    def _is_a_screw(self) -> "Travel":
        lead_mm = self.mm_per_step * self.steps_per_screw_turn
        if not LEADS_MM[0] <= lead_mm <= LEADS_MM[1]:
            raise ValueError(
                f"travel: mm_per_step times steps_per_screw_turn makes {lead_mm:g} mm a turn, and no screw has that "
                "lead; correct one of them (microsteps counted in both?)"
            )
        if math.hypot(self.screw_cos_mm, self.screw_sin_mm) > DAMAGED_SCREW_MM:
            raise ValueError(
                f"travel: a periodic screw error over {DAMAGED_SCREW_MM:g} mm is a damaged screw, not a correction"
            )
        return self

    def travel_mm(self, press_steps: Array) -> Array:
        """Head position in mm below home from press microsteps (any shape)."""
        turn = 2 * np.pi * press_steps / self.steps_per_screw_turn
        periodic = self.screw_cos_mm * np.cos(turn) + self.screw_sin_mm * np.sin(turn)
        return press_steps * self.mm_per_step + periodic


class FrameCompliance(Section):
    """Give of frame and cell: how far the head goes on for each newton without bending the shaft."""

    give_mm_per_n: Annotated[float, Field(ge=0, lt=1.0)]
    u_give_mm_per_n: Annotated[float, Field(ge=0, lt=0.1)]  # more is 34 thou at spine 500
    dof_give: Freedom = math.inf


Share = Annotated[float, Field(ge=0, le=1)]


class Span(Section):
    """Distance between the supports, and how they hold the shaft.

    Reactions normal to the shaft are 0, vertical ones 1; `vertical_share` is the range in which those of this
    gauge lie, any part of it as likely as any other. Without it they may be anything between (GUM 4.3.7).
    """

    span_mm: Annotated[float, Field(gt=100, lt=2000)]
    u_span_mm: Annotated[float, Field(ge=0, le=10)]  # a tape measure laid on askew still knows more
    dof_span: Freedom = math.inf
    vertical_share: Annotated[tuple[Share, Share], ARRAY] = (0.0, 1.0)

    @property
    def vertical(self) -> float:
        """Middle of that range: the best estimate."""
        return (self.vertical_share[0] + self.vertical_share[1]) / 2

    @model_validator(mode="after")
    def _range_has_an_order(self) -> "Span":
        if self.vertical_share[0] > self.vertical_share[1]:
            raise ValueError("span.vertical_share: write the smaller share first")
        return self


class Rotation(Section):
    """Rotate steps per revolution of the shaft as the rollers should give it, and how far a shaft may slip from it."""

    steps_per_turn: Annotated[float, Field(gt=20, lt=1e7)]
    u_relative: Annotated[float, Field(ge=1e-9, lt=0.2)]


class Calibration(Section):
    """A whole calibration file."""

    calibration: CalibrationIdentity
    force: Force
    travel: Travel
    frame: FrameCompliance
    span: Span
    rotation: Rotation

    def force_n(self, rise_counts: Array) -> Array:
        """Force in N from the rise of the count above zero (any shape)."""
        return self.force.force_n(rise_counts)

    def newtons_per_count(self, rise_counts: Array) -> Array:
        """Slope of the above in N per count (any shape)."""
        return self.force.newton_per_count + 2 * self.force.newton_per_count2 * rise_counts

    def travel_mm(self, press_steps: Array) -> Array:
        """Head position in mm below home from press microsteps (any shape)."""
        return self.travel.travel_mm(press_steps)

    def counts_for(self, force_n: float) -> int:
        """Rise of the count at which the given force is reached: the device's thresholds.

        >>> Calibration.model_validate(EXAMPLE).counts_for(8.629852)
        941600
        """
        return self.force.counts_for(force_n)


EXAMPLE: dict[str, Any] = {
    "calibration": {"id": "example", "gauge": "rehearsal", "temperature_c": 20.0},
    "force": {"newton_per_count": 9.80665e-3 / 1070, "u_scale": 2.5e-4, "u_linearity_n": 5e-4},
    "travel": {"mm_per_step": 0.0025, "u_scale": 1.5e-4, "steps_per_screw_turn": 3200.0, "u_screw_mm": 0.001},
    "frame": {"give_mm_per_n": 0.01, "u_give_mm_per_n": 2.5e-4},
    "span": {"span_mm": 711.2, "u_span_mm": 0.05},
    "rotation": {"steps_per_turn": 800.0, "u_relative": 0.01},
}


def load_calibration(path: Path) -> Calibration:
    """Read and check a calibration file; ConfigurationError names the file, the key and what to do."""
    return validated(Calibration, read_toml(path), path)
