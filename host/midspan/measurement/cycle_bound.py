"""What a cycle costs in repeatability: the scatter of each quantity that the noise of the readings leaves at least.

The readings of a cycle are its model: at each depth a mean and harmonics up to three times a turn, with one period and
a zero before and after. White noise then bounds the covariance of all that is found from them by the inverse of their
information (Cramer and Rao); the fit reaches this bound within a few percent. Calibration does not enter: an error of
it is the same in each cycle.

Like the fit, the bound takes the pattern at the light depth as the same at both visits, and the bow as on the same side
at both depths. The converter's filter takes its share of each harmonic, and neighbouring readings share their noise.
Readings on the way back do not enter, as they do not enter a result. If a further order is just above chance, a shaft
scatters by more: one evaluation takes that order and another leaves it.

References
----------
S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory (1993), 3.7 to 3.9.
"""

import math
from dataclasses import dataclass

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement import elastica
from midspan.measurement.calibrated_columns import AGAIN, FULL, LIGHT
from midspan.measurement.calibration import Calibration
from midspan.measurement.conversion import Point, mean_point
from midspan.measurement.converter_filter import BOXCAR, UNKNOWN_WIDTH, left_of_wave
from midspan.measurement.cycle_settings import CycleSettings
from midspan.measurement.harmonics import Array, basis

# Unknowns: means at the three visits; of the bow its force at both depths and its side; cosine and sine of the second
# and third order at both depths; relative change of the period; the zeros before, after, and in the middle.
BOW, SIDE, SECOND, THIRD, PERIOD, BEFORE, AFTER, MIDDLE = (3, 4), 5, (6, 8), (10, 12), 14, 15, 16, 17
UNKNOWNS = 18
UNREAD_TURNS = 0.1  # of each turning: its two ramps
BOW_RAD, STIFF_RAD = 3.5, 0.6  # sides of bow and stiffness; any other gives nearly the same


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of a gauge, and the shaft that is measured on it.

    Parameters
    ----------
    reading_n : float
        Standard deviation of a reading, N: `turn_scatter_n` of a result.
    spine_thou, spread_thou : float
        Spine and spread of the shaft, thou. The stiff side is known the better, the larger the spread.
    bow_mm : float
        Distance of its surface at midspan from where a straight shaft's would be, mm.
    """

    reading_n: float = 0.0004
    spine_thou: float = 500.0
    spread_thou: float = 3.0
    bow_mm: float = 0.1


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Standard deviation of each quantity between cycles of one shaft.

    Parameters
    ----------
    spine_thou : float
        Spine, thou.
    spread_thou : float
        Spread, thou.
    side_deg : float
        Angle of the stiff side, degrees; infinite for a shaft without spread.
    runout_mm : float
        Runout, mm.
    """

    spine_thou: float
    spread_thou: float
    side_deg: float
    runout_mm: float


def repeatability(
    settings: CycleSettings, calibration: Calibration, noise: Noise = Noise(), interval_us: int = 12_500
) -> Repeatability:
    """Return the scatter of each quantity that the noise of the readings leaves at least.

    Parameters
    ----------
    settings : CycleSettings
        Readings, turns and zeros.
    calibration : Calibration
        Span and compliance of the gauge, its converter's filter, and how far a shaft may slip.
    noise : Noise
        Noise of a reading, and the shaft.
    interval_us : int
        Time of a conversion, us.

    Returns
    -------
    Repeatability
        Standard deviations between cycles.

    Examples
    --------
    >>> from midspan.measurement.calibration import EXAMPLE
    >>> from midspan.measurement.cycle_settings import DEEP, STANDARD
    >>> gauge = Calibration.model_validate(EXAMPLE)
    >>> fast, deep = (repeatability(settings, gauge) for settings in (STANDARD, DEEP))
    >>> round(fast.spine_thou, 4), round(deep.spine_thou, 4)
    (0.009, 0.0051)
    """
    point = _point(settings, calibration, noise)
    width = _filter_width(calibration, interval_us)
    turning = _Turning(settings, calibration, width, _patterns(point, noise))
    variance = noise.reading_n**2 * max(1.0, float(BOXCAR) * width)
    information = turning.information() / variance + _known(calibration, settings)
    covariance = np.asarray(np.linalg.inv(information), np.float64)
    spine = np.zeros(UNKNOWNS)
    spine[LIGHT], spine[FULL] = point.by_low[0], point.by_high[0]
    along, across = _of_second(point)
    runout = np.zeros(UNKNOWNS)
    runout[list(BOW)] = 2 * point.surface_by_low[0], 2 * point.surface_by_high[0]
    side_rad = _u(across, covariance) / noise.spread_thou if noise.spread_thou else math.inf
    return Repeatability(
        _u(spine, covariance),
        _u(along, covariance),
        math.degrees(side_rad),
        _u(runout, covariance),
    )


def _u(derivative: Array, covariance: Array) -> float:
    """Return the standard deviation of what has these derivatives by the unknowns."""
    return math.sqrt(float(derivative @ covariance @ derivative))


def _point(settings: CycleSettings, calibration: Calibration, noise: Noise) -> Point:
    """Return the mean state of the shaft at both depths, with the derivatives of spine and surface."""
    span, supports = calibration.span.span_mm, calibration.span.vertical
    ratio = noise.spine_thou * MM_PER_THOU / STANDARD.span_mm
    y = float(elastica.flexibility_between((0.0, STANDARD.load_n), ratio)) * (span / STANDARD.span_mm) ** 2
    low, high = settings.light_share * STANDARD.load_n, STANDARD.load_n
    on_light, on_full = (float(elastica.deflection_ratio(load * y, supports, calibration.rim)) for load in (low, high))
    bend = span * (on_full - on_light)
    travel = bend + calibration.give_mm_per_n * (high - low)
    return mean_point(np.array([low]), np.array([high]), np.array([travel]), calibration)


def _patterns(point: Point, noise: Noise) -> tuple[Array, Array]:
    """Return the force of the bow, and that of the uneven stiffness, at the light and the full depth, N."""
    from_forces = np.array([[point.by_low[0], point.by_high[0]], [point.surface_by_low[0], point.surface_by_high[0]]])
    bow = np.linalg.solve(from_forces, np.array([0.0, noise.bow_mm]))
    uneven = np.linalg.solve(from_forces, np.array([noise.spread_thou / 2, 0.0]))
    return bow, uneven


def _of_second(point: Point) -> tuple[Array, Array]:
    """Return the derivatives of the spread, along the stiff side and across it."""
    along, across = np.zeros(UNKNOWNS), np.zeros(UNKNOWNS)
    for start, by_force in zip(SECOND, (point.by_low[0], point.by_high[0]), strict=True):
        along[start : start + 2] = 2 * by_force * np.array([math.cos(2 * STIFF_RAD), math.sin(2 * STIFF_RAD)])
        across[start : start + 2] = by_force * np.array([-math.sin(2 * STIFF_RAD), math.cos(2 * STIFF_RAD)])
    return along, across


def _filter_width(calibration: Calibration, interval_us: int) -> float:
    """Return the rms width of the converter's filter in conversions; without a calibrated one that of a usual one."""
    known = calibration.filter
    return UNKNOWN_WIDTH[0] if known is None else known.width_s * 1e6 / interval_us


def _known(calibration: Calibration, settings: CycleSettings) -> Array:
    """Return what is known without readings: period, side of the bow, and a zero that is not there."""
    known = np.zeros((UNKNOWNS, UNKNOWNS))
    known[PERIOD, PERIOD] = calibration.rotation.u_relative**-2
    known[SIDE, SIDE] = 3 / math.pi**2  # any side is as likely: all there is to know of that of a straight shaft
    known[MIDDLE, MIDDLE] = 0.0 if settings.zero_in_middle else 1.0
    return known


@dataclass(frozen=True, slots=True)
class _Turning:
    """Readings of a cycle as a model: settings, width of the filter in conversions, forces of bow and stiffness."""

    settings: CycleSettings
    calibration: Calibration
    width: float
    patterns: tuple[Array, Array]

    def information(self) -> Array:
        """Return the information of all readings at unit noise, shape (unknowns, unknowns)."""
        settings, readings = self.settings, self._readings()
        begin, information = 0.0, np.zeros((UNKNOWNS, UNKNOWNS))  # angles count from the first zero
        for visit in (LIGHT, FULL, AGAIN):
            begin += UNREAD_TURNS
            turned = begin + np.arange(readings[visit]) / settings.readings_per_turn
            begin = turned[-1] + settings.settle_readings / settings.readings_per_turn
            rows = self._derivatives(visit, 2 * np.pi * turned)
            # The slope of the force within a visit tells nothing of the zero: shaft and cell may creep.
            for zero, share in self._zero_shares(visit, readings):
                rows[zero] = share
            information += rows @ rows.T
        for zero in (BEFORE, AFTER, *[MIDDLE] * settings.zero_in_middle):
            information[zero, zero] += settings.zero_readings
        return information

    def _readings(self) -> tuple[int, int, int]:
        """Return the number of readings of each visit, those that a slipping shaft takes included."""
        settings = self.settings
        a_turn = settings.readings_per_turn * (1 + 2 * self.calibration.rotation.u_relative)
        light, full = round(settings.light_turns * a_turn), round(settings.full_turns * a_turn)
        return light, full, light

    def _zero_shares(self, visit: int, readings: tuple[int, int, int]) -> tuple[tuple[int, float], ...]:
        """Return the zeros of a visit with their weights: it lies between two of them, on a line in time."""
        zero, split = self.settings.zero_readings, self.settings.zero_in_middle
        if split and visit == AGAIN:
            return (MIDDLE, 0.5), (AFTER, 0.5)
        between = sum(readings[:AGAIN] if split else readings)
        share = (zero / 2 + sum(readings[:visit]) + readings[visit] / 2) / (zero + between)
        return (BEFORE, 1 - share), (MIDDLE if split else AFTER, share)

    def _derivatives(self, visit: int, angle: Array) -> Array:
        """Return the derivatives of the readings at some angles by each unknown, shape (unknowns, angles)."""
        depth = int(visit == FULL)
        turned_of_width = 2 * math.pi / self.settings.readings_per_turn * self.width * np.array([1.0, 2.0, 3.0])
        first, second, third = left_of_wave(turned_of_width)
        bow, uneven = first * self.patterns[0][depth], second * self.patterns[1][depth]
        columns = basis(angle)
        rows = np.zeros((UNKNOWNS, len(angle)))
        rows[visit] = columns[0]
        rows[BOW[depth]] = first * np.cos(angle - BOW_RAD)
        rows[SIDE] = bow * np.sin(angle - BOW_RAD)
        rows[SECOND[depth] : SECOND[depth] + 2] = second * columns[3:5]
        rows[THIRD[depth] : THIRD[depth] + 2] = third * columns[5:7]
        # A longer period makes all angles smaller in proportion.
        rows[PERIOD] = angle * (bow * np.sin(angle - BOW_RAD) + 2 * uneven * np.sin(2 * (angle - STIFF_RAD)))
        return rows
