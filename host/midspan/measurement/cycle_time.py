"""How long each step of a cycle takes, from its ramps and its readings, in closed form.

The press goes down until the cell feels a load, and how far that is depends on the shaft: one is assumed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from midspan.base.errors import ConversionError
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement import elastica
from midspan.measurement.calibration import Calibration
from midspan.measurement.converter_filter import UNKNOWN_DELAY
from midspan.wire.records import Identify, Step

LATE = 0.5  # conversions from the end of a motion to the first reading after it, on average


@dataclass(frozen=True, slots=True)
class AssumedShaft:
    """A shaft by which the duration of a cycle is worked out.

    Parameters
    ----------
    spine_thou : float
        Its spine, thou.
    gap_mm : float
        Distance of its surface below the clearance, mm.
    """

    spine_thou: float = 500.0
    gap_mm: float = 1.5


@dataclass
class _Head:
    """Where the head is, microsteps below home, and what each step adds to the time.

    `ends` are the places at the end of the steps so far.
    """

    identify: Identify
    calibration: Calibration
    shaft: AssumedShaft

    def __post_init__(self) -> None:
        """Begin at home."""
        self.at = 0.0
        self.ends: list[float] = []
        to = STANDARD.span_mm
        given = elastica.flexibility_between((0.0, STANDARD.load_n), self.shaft.spine_thou * MM_PER_THOU / to)
        self.flexibility = float(given) * (self.calibration.span.span_mm / to) ** 2
        self.interval_s = self.identify.interval_us * 1e-6

    def seconds(self, step: Step) -> float:
        """Return the duration of a step, and go where it leaves the head."""
        pressing = 0.0 if step.press_steps is None else self._pressing(step)
        turning = _move_s(abs(step.rotate_steps), 1e6 / step_us(step.rotate_speed), self.identify.rotate_acceleration)
        good = step.readings + step.settle_readings
        ramp_s = step.rotate_speed / self.identify.rotate_acceleration if step.rotate_steps else 0.0
        reading = (good + LATE) * self.interval_s + ramp_s if step.readings else 0.0
        self.ends.append(self.at)
        return pressing + max(turning, reading)

    def _pressing(self, step: Step) -> float:
        """Return the time of the press's motion, and go there."""
        begin = 0.0 if step.from_step is None else self.ends[step.from_step]
        target = max(0.0, begin + (step.press_steps or 0))
        speed, acceleration = 1e6 / step_us(step.press_speed), self.identify.press_acceleration
        felt = math.inf if step.until_count is None else self._felt_at(step.until_count)
        if felt >= target:
            way, self.at = abs(target - self.at), target
            return _move_s(way, speed, acceleration)
        way = felt - self.at
        if way <= 0:
            return 0.0
        # From rest to the load, on until a reading shows it, then to rest again.
        reached = min(speed, math.sqrt(2 * acceleration * way))
        late_s = noticed_s(self.calibration, self.identify)
        self.at = min(target, felt + reached * late_s + reached**2 / (2 * acceleration))
        return reached / (2 * acceleration) + way / reached + late_s + reached / acceleration

    def _felt_at(self, count: int) -> float:
        """Return the place of the head, microsteps below home, at which the count has risen so far."""
        calibration = self.calibration
        linear, square = calibration.force.newton_per_count, calibration.force.newton_per_count2
        force_n = count * (linear + square * count)
        try:
            ratio = float(
                elastica.deflection_ratio(force_n * self.flexibility, calibration.span.vertical, calibration.rim)
            )
        except ConversionError:
            return math.inf  # on this span the shaft would bend further than a gauge's travel
        bend_mm = ratio * calibration.span.span_mm + calibration.give_mm_per_n * force_n
        down_mm = calibration.travel.clearance_mm + self.shaft.gap_mm + bend_mm
        return down_mm / calibration.travel.mm_per_step


def noticed_s(calibration: Calibration, identify: Identify) -> float:
    """Return how long after a load is reached the gauge knows of it, on average.

    The count is late by the converter's filter, and two readings in a row settle a matter of force.

    Parameters
    ----------
    calibration : Calibration
        Delay of the filter; that of a usual one if it is not calibrated.
    identify : Identify
        Rate of conversion.

    Returns
    -------
    float
        Time, s.
    """
    interval_s = identify.interval_us * 1e-6
    delay_s = UNKNOWN_DELAY[0] * interval_s if calibration.filter is None else calibration.filter.delay_s
    return (LATE + 1) * interval_s + delay_s


def cycle_seconds(
    steps: Sequence[Step], identify: Identify, calibration: Calibration, shaft: AssumedShaft = AssumedShaft()
) -> tuple[float, ...]:
    """Return the duration of each step of a cycle.

    A motion over D at speed v with ramps of a takes D / v + v / a, or 2 sqrt(D / a) where it does not reach v.

    Parameters
    ----------
    steps : sequence of Step
        Steps of the program, from `cycle_steps`.
    identify : Identify
        Accelerations and rate of conversion of the gauge.
    calibration : Calibration
        Scales of the gauge.
    shaft : AssumedShaft
        Shaft in the gauge.

    Returns
    -------
    tuple of float
        Seconds of each step.
    """
    head = _Head(identify, calibration, shaft)
    return tuple(head.seconds(step) for step in steps)


def step_us(speed: int) -> int:
    """Return the time of a step that the board plays at a speed: whole microseconds, rounded up.

    Parameters
    ----------
    speed : int
        Speed as ordered, microsteps per second.

    Returns
    -------
    int
        Time of a step, us; so no axis is faster than ordered.

    Examples
    --------
    >>> step_us(800), step_us(948)
    (1250, 1055)
    """
    return -(-1_000_000 // speed)


def _move_s(steps: float, speed: float, acceleration: float) -> float:
    """Return the time of a motion from rest to rest."""
    if steps * acceleration < speed**2:
        return 2 * math.sqrt(steps / acceleration)
    return steps / speed + speed / acceleration
