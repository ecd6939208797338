"""Turn a shaft to its stiff side so that it can be marked there.

Angles count from the position of the shaft at its first reading. They are lost once it is lifted off its rollers, so a
shaft is parked right after it was measured, before anybody touches it. Up, under the head, is where the head bent it:
turned to its stiff side, it has that side up and the opposite side down.
"""

import math
from dataclasses import dataclass, replace

from midspan.archive.raw_run import RawRun
from midspan.base.errors import DeviceFault, ParkingError
from midspan.link.gauge import Gauge
from midspan.measurement.calibrated_columns import rotation
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import rotate_speed
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.shown_quantities import across_text
from midspan.wire.records import Phase, State, Step

STEP_NUMBER = 0  # number of the run that turns the shaft, which says nothing about it and is not kept
TOLD_APART = 3.0  # standard uncertainties between results from which on they cannot be of one shaft


@dataclass(frozen=True, slots=True)
class ParkTurn:
    """How far to turn a shaft on after its cycle.

    Parameters
    ----------
    steps : int
        Steps of the rotation motor.
    u_deg : float
        Standard uncertainty of the position of the stiff side then, degrees.
    """

    steps: int
    u_deg: float


def stiff_side(result: ShaftResult | Unmeasured) -> float:
    """Return the angle of the stiff side of a shaft.

    Parameters
    ----------
    result : ShaftResult | Unmeasured
        Its result.

    Returns
    -------
    float
        Angle from the first reading, degrees.

    Raises
    ------
    ParkingError
        The shaft was not measured (code `unmeasured`), the gauge has a fault (`fault`), the shaft is even (`even`), or
        it slipped (`slip`).

    Examples
    --------
    >>> stiff_side(Unmeasured(7, "", ("the cycle was cut short",)))
    Traceback (most recent call last):
    midspan.base.errors.ParkingError: shaft 7 was not measured: the cycle was cut short; it is not turned
    """
    name = f"shaft {result.shaft}"
    if isinstance(result, Unmeasured):
        raise ParkingError(f"{name} was not measured: {'; '.join(result.reasons)}; it is not turned", code="unmeasured")
    if result.faults:
        raise ParkingError(
            f"{name}: the gauge has a fault: {result.faults[0]}; look at it, then measure again", code="fault"
        )
    if result.spread_thou <= result.spread_floor_thou:
        raise ParkingError(
            f"{name} has no stiff side to mark: smallest spread this run could detect: "
            f"{across_text(result.spread_floor_thou)}, its spread: {across_text(result.spread_thou)}",
            code="even",
        )
    if result.stiff_side_deg is None:
        raise ParkingError(
            f"{name}: it slipped too much to know its angles; clean rollers and shaft, then try again", code="slip"
        )
    return result.stiff_side_deg


def same_shaft(result: ShaftResult, spine_thou: float | None, u_spine_thou: float | None) -> None:
    """Check that a shaft can be the one that was measured before under its number.

    Parameters
    ----------
    result : ShaftResult
        Its result now.
    spine_thou : float | None
        Its spine before, thou; None if it was not measured.
    u_spine_thou : float | None
        Standard uncertainty of that, thou; None if it was not measured.

    Raises
    ------
    ParkingError
        The two spines differ by more than three standard uncertainties (code `another_shaft`).
    """
    if spine_thou is None or u_spine_thou is None:
        return
    apart_thou = abs(result.spine_thou - spine_thou)
    if apart_thou > TOLD_APART * math.hypot(result.u_spine_thou, u_spine_thou):
        raise ParkingError(
            f"shaft {result.shaft} had spine {spine_thou:.2f} thou before, the shaft in the gauge has "
            f"{result.spine_thou:.2f}: check that it is the same shaft. Both results are kept; it is not turned",
            code="another_shaft",
        )


def turning(run: RawRun, result: ShaftResult, calibration: Calibration) -> ParkTurn:
    """Return how far to turn a shaft from the end of its cycle to its stiff side: half a turn at most.

    The uncertainty combines that of the stiff side, that of the steps per turn over the way from the middle of the
    readings, the rounding to whole steps, and the slip. It is not known how a shaft slips with the head lifted, so the
    slip it had counts as the half width of a rectangular distribution.

    Parameters
    ----------
    run : RawRun
        The readings.
    result : ShaftResult
        Their result.
    calibration : Calibration
        Calibration in use.

    Returns
    -------
    ParkTurn
        Steps in the direction of the cycle, and the uncertainty of the position.

    Raises
    ------
    ParkingError
        The shaft has no known stiff side.

    References
    ----------
    JCGM 100:2008, 4.3.7.
    """
    angle_deg = stiff_side(result)
    nominal, _, start = rotation([run], calibration)
    per_turn = float(nominal[0]) * (1 + result.slip_pct / 100)
    deg_per_step = 360 / per_turn
    end = int(run.rotate_steps[-1])
    to_go_deg = (angle_deg - (end - float(start[0])) * deg_per_step) % 180
    steps = round(to_go_deg / deg_per_step)
    places = run.places()
    loaded = run.rotate_steps[places[Phase.LIGHT].start : places[Phase.LIGHT_AGAIN].stop]
    middle = (float(loaded[0]) + float(loaded[-1])) / 2
    lever_deg = (end + steps - middle) * deg_per_step
    slip = per_turn / calibration.rotation.steps_per_turn - 1
    u_deg = math.hypot(
        result.u_stiff_side_deg or 0.0,
        lever_deg * result.u_slip_pct / 100,
        deg_per_step / math.sqrt(12),
        slip * to_go_deg / math.sqrt(3),
    )
    return ParkTurn(steps, u_deg)


def park(gauge: Gauge, run: RawRun, result: ShaftResult, calibration: Calibration) -> ParkTurn:
    """Turn the shaft that was just measured to its stiff side, with the head at home; the gauge then rests.

    Parameters
    ----------
    gauge : Gauge
        The gauge.
    run : RawRun
        The readings.
    result : ShaftResult
        Their result.
    calibration : Calibration
        Calibration in use.

    Returns
    -------
    ParkTurn
        How far it was turned.

    Raises
    ------
    ParkingError
        The shaft has no known stiff side, or the gauge was reset or fed since (code `reset`).
    DeviceFault
        The shaft was not turned all the way.
    ConfigurationError
        The gauge cannot turn as fast as the calibration's settings of the cycle say.
    """
    wanted = turning(run, result, calibration)
    found = gauge.settled()
    if found.state is not State.IDLE or found.boot != run.boot:
        raise ParkingError(
            f"shaft {result.shaft}: the gauge was reset since, or its feeder holds the shaft; lay the shaft in by hand "
            "and park it again",
            code="reset",
        )
    speed = rotate_speed(calibration.rotation.steps_per_turn, found, calibration.usual_cycle)
    # The readings before and after tell where the shaft stood: those of the turn end before its last steps.
    look = Step(Phase.BENCH, None, None, None, None, 0, 1, 0, False, 1, speed)
    turned = gauge.run(STEP_NUMBER, "park", [look, replace(look, rotate_steps=wanted.steps, readings=0), look])
    gauge.acknowledge(STEP_NUMBER)
    if turned.cause is not None or int(turned.rotate_steps[-1] - turned.rotate_steps[0]) != wanted.steps:
        raise DeviceFault(f"shaft {result.shaft} was not turned all the way: {turned.cause or 'steps are missing'}")
    return wanted
