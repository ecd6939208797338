"""From a calibration and the settings of a cycle to the steps of its program, in counts, microsteps and readings.

The device has no calibration, so each of its thresholds is worked out here. What the gauge would refuse, or could not
measure by, is refused here by the name of its key.

The rotate position of a reading is a whole number of microsteps. With a converter on a crystal, a turn that makes a
simple fraction of a step in each conversion finds the same part of a step at each reading, and a whole phase lies off
by up to a step. The rotate speed is therefore moved a little until the steps in a conversion are far from all simple
fractions, as the golden ratio is; then the readings share out the step evenly, and its error averages out.
"""

import math
from dataclasses import dataclass, replace

from midspan.base.errors import ConfigurationError
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_settings import CycleSettings
from midspan.measurement.cycle_time import AssumedShaft, cycle_seconds, noticed_s, step_us
from midspan.wire.records import FaultCode, Identify, Phase, Step

LONGEST_TRAVEL_MM = 75.0  # clearance and the softest shaft's deflection, with a margin
PRESS_MM_S = 16.0
APPROACH_MM_S = 10.0
LIFT_MM_S = 30.0
MIDDLE_N_PER_MM = STANDARD.load_n / (500 * MM_PER_THOU)  # stiffness of a shaft of spine 500 thou
SOFTEST_THOU, LARGEST_GAP_MM = 1500.0, 10.0  # the shaft that takes the press longest
FAST_CONVERTER = 16 / 15  # of the nominal rate: an oscillator on a converter is not exact
LONGEST_TURN_STEPS = 1 << 20  # protocol/program.avsc
NUDGE = 0.1  # largest relative change of the rotate speed: with few steps in a conversion it takes so much
LEAST_NUDGE = 0.02  # with many: the board plays whole microseconds a step, which leaves few speeds to choose from
LONGEST_FRACTION = 32  # denominators of the fractions to keep away from: a turn has not many more readings


@dataclass(frozen=True, slots=True)
class _Ways:
    """What a cycle's steps share, in the units of the gauge.

    Speeds are in microsteps per second, distances in microsteps, loads in counts.
    """

    light_count: int
    full_count: int
    clearance: int
    travel: int
    takeup: int
    seat: int
    light_turn: int
    full_turn: int
    press: int
    approach: int
    lift: int
    rotate: int


def cycle_steps(calibration: Calibration, identify: Identify, settings: CycleSettings) -> tuple[Step, ...]:
    """Return the steps of a cycle: zero, light depth, full depth, back to the light depth, zero.

    Parameters
    ----------
    calibration : Calibration
        Scales of the gauge.
    identify : Identify
        What the gauge says of itself: its rate of conversion, its limits and its accelerations.
    settings : CycleSettings
        Readings, turns, zeros and speeds.

    Returns
    -------
    tuple of Step
        Steps of the program, at most 18.

    Raises
    ------
    ConfigurationError
        The settings or the calibration ask for more than the gauge allows; the message names the key and the limit.
    """
    ways = _ways(calibration, identify, settings)
    steps = [_turn(Phase.SEATING, ways.seat, 0, ways), _zero(Phase.ZERO_BEFORE, settings, ways)]
    if ways.clearance:
        fast = _press(Phase.APPROACH, ways.clearance, ways.press, ways)
        steps.append(replace(fast, until_count=ways.light_count))  # a shaft may lie higher than it should
    near = len(steps)  # where the light depth is found
    steps.append(_seek(Phase.APPROACH, ways.approach, ways.light_count, FaultCode.NO_CONTACT, ways))
    steps += _turns(Phase.LIGHT, Phase.LIGHT_BACK, ways.light_turn, settings, ways)
    steps.append(_seek(Phase.DEEPEN, ways.press, ways.full_count, FaultCode.TRAVEL_LIMIT, ways))
    steps += _turns(Phase.FULL, Phase.FULL_BACK, ways.full_turn, settings, ways)
    if settings.zero_in_middle:
        # One step, so that the phases of the run stay apart; while the head rises its readings count as settling.
        steps.append(replace(_zero(Phase.ZERO_MIDDLE, settings, ways), press_steps=0, press_speed=ways.lift))
    # The light depth is reached from above, as before, so that the backlash of the screw stays on the same side.
    steps.append(_press(Phase.RETURN, -ways.takeup, ways.press, ways, near))
    steps.append(_press(Phase.RETURN, 0, ways.approach, ways, near))
    steps += _turns(Phase.LIGHT_AGAIN, Phase.LIGHT_AGAIN_BACK, ways.light_turn, settings, ways)
    steps.append(_press(Phase.LIFT, 0, ways.lift, ways))
    steps.append(_zero(Phase.ZERO_AFTER, settings, ways))
    _check_room(steps, identify, calibration, settings)
    return tuple(steps)


def _check_room(steps: list[Step], identify: Identify, calibration: Calibration, settings: CycleSettings) -> None:
    """Raise ConfigurationError if the readings of a cycle of the softest shaft could be more than the gauge holds."""
    lowest_mm = identify.press_limit_steps * calibration.travel.mm_per_step - calibration.travel.clearance_mm
    shaft = AssumedShaft(SOFTEST_THOU, min(LARGEST_GAP_MM, lowest_mm))
    seconds = sum(cycle_seconds(steps, identify, calibration, shaft))
    readings = math.ceil(seconds / (identify.interval_us * 1e-6) * FAST_CONVERTER) + len(steps)
    if readings > identify.readings_most:
        raise ConfigurationError(
            f"a cycle of a soft shaft would give {readings} readings, the gauge holds {identify.readings_most} "
            f"(readings_most); lower cycle.readings_per_turn = {settings.readings_per_turn}, cycle.light_turns = "
            f"{settings.light_turns:g}, cycle.full_turns = {settings.full_turns:g} or cycle.zero_readings = "
            f"{settings.zero_readings}",
            code="readings",
        )


def _press(phase: Phase, to: int, speed: int, ways: _Ways, start: int | None = None) -> Step:
    """Return a step in which the press goes to a place, from home or from where an earlier step ended."""
    return Step(phase, to, start, None, None, 0, 0, 0, False, speed, ways.rotate)


def _seek(phase: Phase, speed: int, until: int, unreached: FaultCode, ways: _Ways) -> Step:
    """Return a step in which the press goes down until a load is reached, at most to the end of its travel."""
    return replace(_press(phase, ways.travel, speed, ways), until_count=until, unreached=unreached)


def _turn(phase: Phase, steps: int, settle: int, ways: _Ways) -> Step:
    """Return a step in which the shaft turns; the readings are those that come on the way."""
    return Step(phase, None, None, None, None, steps, 0, settle, False, ways.press, ways.rotate)


def _zero(phase: Phase, settings: CycleSettings, ways: _Ways) -> Step:
    """Return a step that reads the cell with the head at home."""
    counts_rise_from = phase is not Phase.ZERO_AFTER
    readings, settle = settings.zero_readings, settings.settle_readings
    return Step(phase, None, None, None, None, 0, readings, settle, counts_rise_from, ways.press, ways.rotate)


def _turns(phase: Phase, back: Phase, steps: int, settings: CycleSettings, ways: _Ways) -> list[Step]:
    """Return the steps of all turns at a depth: forward, and back if the settings want it."""
    forth = [_turn(phase, steps, settings.settle_readings, ways)]
    return forth + [_turn(back, -steps, settings.settle_readings, ways)] * settings.back_and_forth


def _ways(calibration: Calibration, identify: Identify, settings: CycleSettings) -> _Ways:
    """Return distances, loads and speeds of a cycle; ConfigurationError if the gauge does not allow them."""
    travel, per_turn = calibration.travel, calibration.rotation.steps_per_turn
    per_mm = 1 / travel.mm_per_step
    rotate = rotate_speed(per_turn, identify, settings)
    _check_settling(calibration, identify, settings)
    most = calibration.counts_for(STANDARD.load_n)
    if most > identify.count_limit:
        raise ConfigurationError(
            f"force.newton_per_count makes the full load {most} counts, the gauge's limit is {identify.count_limit} "
            "(count_limit); correct the calibration, or the board file",
            code="full_load",
        )
    longest = min(round(LONGEST_TRAVEL_MM * per_mm), identify.press_limit_steps)
    clearance = round(travel.clearance_mm * per_mm)
    if clearance >= longest:
        raise ConfigurationError(
            f"travel.clearance_mm = {travel.clearance_mm:g} leaves no way to a shaft: the head can go down "
            f"{longest * travel.mm_per_step:g} mm (press_limit_steps); measure the clearance again",
            code="clearance",
        )
    speeds = {
        "press_mm_s": (settings.press_mm_s, PRESS_MM_S, "down_speed_most"),
        "approach_mm_s": (settings.approach_mm_s, APPROACH_MM_S, "down_speed_most"),
        "lift_mm_s": (settings.lift_mm_s, LIFT_MM_S, "press_speed_most"),
    }
    press, approach, lift = (
        _press_speed(key, wanted, most, getattr(identify, limit), (limit, travel.mm_per_step))
        for key, (wanted, most, limit) in speeds.items()
    )
    light, full = (
        calibration.counts_for(_stop_load_n(share * STANDARD.load_n, speed, calibration, identify))
        for share, speed in ((settings.light_share, approach), (1.0, press))
    )
    light_turn, full_turn = (
        _turn_steps(key, calibration, identify, settings, rotate) for key in ("light_turns", "full_turns")
    )
    return _Ways(
        light, full, clearance, longest, round(settings.takeup_mm * per_mm), round(settings.seat_turns * per_turn),
        light_turn, full_turn, press, approach, lift, rotate,
    )  # fmt: skip


def _stop_load_n(load_n: float, speed: int, calibration: Calibration, identify: Identify) -> float:
    """Return the load at which a head on its way down has to be stopped to come to rest at a load.

    The force is known late, then the head brakes, v^2 / 2 a. What this adds is taken off for a shaft of a middle spine:
    a stiffer shaft ends a little above the load, a softer one a little below. Half the load stays, however fast the
    head is.
    """
    late_s = noticed_s(calibration, identify)
    over_mm = (speed * late_s + speed**2 / (2 * identify.press_acceleration)) * calibration.travel.mm_per_step
    return max(load_n - MIDDLE_N_PER_MM * over_mm, load_n / 2)


def _check_settling(calibration: Calibration, identify: Identify, settings: CycleSettings) -> None:
    """Raise ConfigurationError if the converter remembers a motion longer than readings are left to settle.

    A symmetric response is twice as long as its delay.
    """
    known = calibration.filter
    spans = 0 if known is None else math.ceil(2e6 * known.delay_s / identify.interval_us - 1e-6)
    if spans > settings.settle_readings:
        raise ConfigurationError(
            f"cycle.settle_readings = {settings.settle_readings}: the converter's filter spans {spans} readings "
            f"(filter.delay_s = {known.delay_s if known else 0:g}); write {spans} or more",
            code="settle",
        )


def _press_speed(key: str, wanted: float | None, usual: float, most: int, limit: tuple[str, float]) -> int:
    """Return a press speed in microsteps per second; what the settings do not state gives way to the gauge's limit."""
    name, mm_per_step = limit
    if wanted is None:
        return max(1, min(math.floor(usual / mm_per_step), most))
    speed = round(wanted / mm_per_step)
    if not 1 <= speed <= most:
        raise ConfigurationError(
            f"cycle.{key} = {wanted:g} is {speed} microsteps a second, the gauge allows 1 to {most} ({name}), "
            f"{mm_per_step:g} to {most * mm_per_step:.2f} mm/s; write a speed within, or leave the key out",
            code="press_speed",
        )
    return speed


def _turn_steps(key: str, calibration: Calibration, identify: Identify, settings: CycleSettings, speed: int) -> int:
    """Return the microsteps of all turns at a depth, with both ramps and the readings that only settle.

    A shaft that slips as much as the calibration allows still makes all its turns.
    """
    rotation = calibration.rotation
    turns: float = getattr(settings, key)
    turning = turns * rotation.steps_per_turn * (1 + 2 * rotation.u_relative)
    ramps = speed**2 / identify.rotate_acceleration
    settling = (settings.settle_readings + 1) * steps_per_conversion(speed, identify.interval_us)
    steps = math.ceil(turning + ramps + settling)
    if steps > LONGEST_TURN_STEPS:
        raise ConfigurationError(
            f"cycle.{key} = {turns:g} takes {steps} microsteps at a depth, the gauge turns at most "
            f"{LONGEST_TURN_STEPS} in a step; write fewer turns",
            code="turns",
        )
    return steps


def rotate_speed(steps_per_turn: float, identify: Identify, settings: CycleSettings) -> int:
    """Return the rotate speed that gives the readings of a turn, moved a little so as not to beat with the sampling.

    Of the speeds nearby, within a tenth at most, it is the one whose steps in a conversion lie furthest from all
    simple fractions.

    Parameters
    ----------
    steps_per_turn : float
        Rotate steps per turn of the shaft.
    identify : Identify
        Rate of conversion and highest speed.
    settings : CycleSettings
        Readings per turn.

    Returns
    -------
    int
        Speed, microsteps per second.

    Raises
    ------
    ConfigurationError
        The gauge cannot turn so fast; the message names the least readings per turn.
    """
    interval_s = identify.interval_us * 1e-6
    wanted = steps_per_turn / settings.readings_per_turn / interval_s
    if wanted > identify.rotate_speed_most:
        fewest = fewest_readings(steps_per_turn, identify)
        raise ConfigurationError(
            f"cycle.readings_per_turn = {settings.readings_per_turn} turns at {wanted:.0f} microsteps a second, the "
            f"gauge allows {identify.rotate_speed_most} (rotate_speed_most); write {fewest} or more",
            code="rotate_speed",
        )
    around = min(NUDGE * wanted, max(LEAST_NUDGE * wanted, 0.5 / interval_s))
    lowest = max(1, math.ceil(wanted - around))
    highest = max(lowest, min(math.floor(wanted + around), identify.rotate_speed_most))
    return max(
        range(lowest, highest + 1),
        key=lambda speed: _apart(steps_per_conversion(speed, identify.interval_us)),
    )


def fewest_readings(steps_per_turn: float, identify: Identify) -> int:
    """Return the readings of a turn at the highest rotate speed of a gauge.

    Parameters
    ----------
    steps_per_turn : float
        Rotate steps per turn of the shaft.
    identify : Identify
        Rate of conversion and highest speed.

    Returns
    -------
    int
        Readings, rounded up.
    """
    return math.ceil(steps_per_turn * 1e6 / (identify.rotate_speed_most * identify.interval_us))


def steps_per_conversion(speed: int, interval_us: int) -> float:
    """Return the microsteps that an axis makes in a conversion; the board plays whole microseconds a step.

    Parameters
    ----------
    speed : int
        Speed as ordered, microsteps per second.
    interval_us : int
        Time of a conversion, us.

    Returns
    -------
    float
        Microsteps.

    Examples
    --------
    >>> steps_per_conversion(800, 12500)
    10.0
    >>> round(steps_per_conversion(948, 12500), 4)  # 1055 us a step and not 1054.85
    11.8483
    """
    return interval_us / step_us(speed)


def _apart(steps: float) -> float:
    """Return how far a number is from all simple fractions: the least q^2 times its distance from one with q below it.

    Of all numbers the golden ratio is the furthest from them: 0.382 at q = 1 and near 0.447 from there on.

    References
    ----------
    A. Hurwitz, Ueber die angenaeherte Darstellung der Irrationalzahlen durch rationale Brueche, Math. Ann. 39 (1891)
    279-284: no number does better than 1 / sqrt(5) for all q.

    Examples
    --------
    >>> round(_apart((1 + 5**0.5) / 2), 3), _apart(12.5)
    (0.382, 0.0)
    """
    return min(q * abs(q * steps - round(q * steps)) for q in range(1, LONGEST_FRACTION + 1))
