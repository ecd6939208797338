"""Friction along a shaft that is left while it turns, from its mean force turning forward and turning back.

Rollers that are not quite square to the shaft creep along it. Where those of both supports push against each other they
pull the shaft or push it together, which stiffens it or makes it softer; turning back they do the opposite. Half of the
difference of both forces, over the change of the force per friction, is the friction. What pushes both supports alike
moves the shaft and not its force.

>>> pressed = Pressed(1e-5, 8.63, 12.7)
>>> way = np.array([1, -1] * 4)
>>> means = PassMeans(way, np.arange(8.0), 863_000.0 + 100.0 * way)
>>> round(friction_of(means, pressed).value, 4)
0.0027
"""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field
from scipy import stats

from midspan.base.polynomial import Array
from midspan.base.units import STANDARD
from midspan.calibrate.outcome import DOF_GUESS, Remark, chosen
from midspan.measurement import elastica
from midspan.measurement.calibration import ConverterFilter

CURVED_FROM = 6  # passes from which on the drift of the zero may be curved
OTHER_SHAFTS = 1 / 3  # of the friction: another material and thickness has another, by Hertz and Kalker
SIDE_SHARE = (
    2.5e-5  # of the load: what the cell reads of a shaft that walks and drags at the head (frame.md, alignment)
)
MUCH = 0.02
PER_MRAD = 0.09  # friction, both supports askew by so much against each other: carbon of 6 mm on crowns of 2 mm
ONE_SIGMA = 0.8413  # probability below one standard deviation


class FoundTurning(ConverterFilter):
    """Keys that turning a shaft both ways finds: those of the table "filter", and two of the table "span".

    Parameters
    ----------
    delay_s, u_delay_s, width_s, u_width_s, dof_delay, dof_width : float
        Response of the converter, as in the table "filter".
    axial_friction : float
        Force along the shaft over a support's reaction while it turns forward; above 0 it pulls outwards.
    u_axial_friction : float
        Its standard uncertainty.
    """

    axial_friction: Annotated[float, Field(ge=-0.3, le=0.3)] = 0.0
    u_axial_friction: Annotated[float, Field(ge=0, le=0.5)] = 0.0


@dataclass(frozen=True)
class Pressed:
    """How a shaft was pressed while it turned.

    Parameters
    ----------
    newton_per_count : float
        Scale of the cell, N per count.
    force_n : float
        Force of the head, N.
    bend_mm : float
        Deflection of the shaft under that force, mm.
    """

    newton_per_count: float
    force_n: float
    bend_mm: float

    @property
    def by_friction_n(self) -> float:
        """Change of the force per unit of friction at this deflection, N."""
        ratio = np.array(self.bend_mm / STANDARD.span_mm)
        group = self.force_n * elastica.flexibility_between((0.0, self.force_n), ratio)
        _, slope = elastica.ratio_and_slope(group)
        return float(-self.force_n * elastica.ratio_by_friction(group) / (group * slope))


@dataclass(frozen=True)
class PassMeans:
    """Means of passes at a fixed depth of the head.

    Parameters
    ----------
    way : ndarray
        1 for a pass forward, -1 for one back, shape (passes,).
    time_s : ndarray
        Middle of each pass after the first began, without the times between, s, shape (passes,).
    count : ndarray
        Mean count without the pattern of the shaft, shape (passes,).
    """

    way: Array
    time_s: Array
    count: Array


@dataclass(frozen=True)
class AxialFriction:
    """Friction along a shaft while it turns forward.

    Parameters
    ----------
    value : float
        Force along the shaft over a support's reaction; above 0 it pulls outwards.
    budget : dict[str, tuple[float, float]]
        Standard uncertainty and degrees of freedom by cause.
    """

    value: float
    budget: dict[str, tuple[float, float]]

    @property
    def section(self) -> dict[str, float]:
        """Keys for the table "span" of a calibration file."""
        u = math.hypot(*(part for part, _ in self.budget.values()))
        return {"axial_friction": self.value, "u_axial_friction": u}

    @property
    def figures(self) -> dict[str, float]:
        """Error of spine 500 that the friction makes if nothing corrects it, thou, by name."""
        standard = Pressed(1.0, STANDARD.load_n, 12.7)
        return {"axial_friction_at_500_thou": -500 * self.value * standard.by_friction_n / STANDARD.load_n}


def friction_of(means: PassMeans, pressed: Pressed) -> AxialFriction:
    """Return the friction that makes the mean force differ by the way in which the shaft turns.

    The zero may drift meanwhile: in a line, or in a curve where there are passes enough.

    Parameters
    ----------
    means : PassMeans
        Four passes or more, both ways in turn.
    pressed : Pressed
        Force and deflection.

    Returns
    -------
    AxialFriction
        The friction and its uncertainty for other shafts.

    Raises
    ------
    ConversionError
        The deflection is not above 0, or more than a tenth of the span.
    """
    order = 2 if len(means.way) >= CURVED_FROM else 1
    after = (means.time_s - means.time_s.mean()) / np.ptp(means.time_s)
    columns = np.column_stack([means.way, *(after**power for power in range(order + 1))])
    coefficients, *_ = np.linalg.lstsq(columns, means.count, rcond=None)
    left = means.count - columns @ coefficients
    dof = len(left) - columns.shape[1]
    # Few passes: widened by Student's t, because the file states no degrees of freedom for it.
    wider = float(stats.t.ppf(ONE_SIGMA, dof))
    u_count = wider * math.sqrt(float(left @ left) / dof * float(np.linalg.inv(columns.T @ columns)[0, 0]))
    per_count = pressed.newton_per_count / pressed.by_friction_n
    value = float(coefficients[0]) * per_count
    budget = {
        "friction_passes": (u_count * abs(per_count), float(dof)),
        "friction_side_force": (SIDE_SHARE * pressed.force_n / abs(pressed.by_friction_n), DOF_GUESS),
        "friction_other_shafts": (OTHER_SHAFTS * abs(value), DOF_GUESS),
    }
    return AxialFriction(value, budget)


def friction_remarks(found: AxialFriction) -> tuple[Remark, ...]:
    """Return what a large friction says of the rollers.

    Parameters
    ----------
    found : AxialFriction
        Friction along the shaft.

    Returns
    -------
    tuple[Remark, ...]
        A remark (code "askew"), or none.
    """
    mrad = abs(found.value) / PER_MRAD
    return chosen(
        (
            abs(found.value) > MUCH,
            "askew",
            f"the rollers' axles are askew: by about {mrad:.1f} mrad at each support, against each other; bore both "
            "cheeks of a stand in one clamping, shim a stand until this value falls, and calibrate anew",
        )
    )
