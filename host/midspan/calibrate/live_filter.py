"""Turn a shaft both ways at two speeds under load and read it, for the calibration of the converter's filter."""

from midspan.base.errors import ConfigurationError
from midspan.calibrate.filter import FEWEST_A_PASS, SPEED_RATIO
from midspan.calibrate.live import KEEP_OFF, LiveBench, touch
from midspan.conversation.questions import instruction
from midspan.measurement.cycle_plan import fewest_readings, rotate_speed
from midspan.measurement.cycle_settings import DEEP, CycleSettings
from midspan.wire.records import Identify

FAST_READINGS = 44  # in a turn: the fastest that the estimator is meant for, so the largest delay and loss
LIGHT_PART = 0.2  # of the load, from which on the head's way is measured
LONGEST_SHARE = 0.8  # of the gauge's memory, for one pass
UNEVEN_SHAFT = (
    "Lay in a shaft of the kind you measure that is bowed or uneven: the more, the better, but no cracked one. Put "
    f"safety glasses on. {KEEP_OFF} and away from the rollers: the shaft is bent by the full load and turned both ways."
)


def two_speeds(per_turn: float, limits: Identify) -> tuple[int, int]:
    """Return a fast and a slow speed of turning.

    Parameters
    ----------
    per_turn : float
        Rotation steps per turn of the shaft.
    limits : Identify
        Limits and rate of conversion of the gauge.

    Returns
    -------
    tuple[int, int]
        Speeds, steps per second.

    Raises
    ------
    ConfigurationError
        The gauge turns so slowly that its highest speed is hardly above the slow one (code "rotate_speed").
    """
    readings = max(FAST_READINGS, fewest_readings(per_turn, limits))
    if readings * SPEED_RATIO > DEEP.readings_per_turn:
        raise ConfigurationError(
            f"the gauge turns at {limits.rotate_speed_most} steps a second at most, {readings} readings a turn; that "
            "is too slow to show the filter, whose uncertainty then hardly matters: leave it out",
            code="rotate_speed",
        )
    fast, slow = (
        rotate_speed(per_turn, limits, settings) for settings in (CycleSettings(readings_per_turn=readings), DEEP)
    )
    return fast, slow


def take_filter(bench: LiveBench, load: int, deepest: int, per_turn: float, turns: float) -> float:
    """Turn a shaft forward and back, fast, slow, slow and fast, and read times, steps and counts; return its bend.

    Parameters
    ----------
    bench : LiveBench
        Gauge under calibration.
    load : int
        Load, counts above zero.
    deepest : int
        Lowest position, steps.
    per_turn : float
        Rotation steps per turn of the shaft.
    turns : float
        Turns of each pass.

    Returns
    -------
    float
        Press steps by which the load bends the shaft, from those between a part of the load and all of it.

    Raises
    ------
    ConfigurationError
        The gauge turns too slowly (code "rotate_speed"), or cannot hold the readings of a pass (code "readings").
    DeviceFault
        The head met nothing, or the gauge cut a step short.
    """
    fast, slow = two_speeds(per_turn, bench.limits)
    if turns * DEEP.readings_per_turn + FEWEST_A_PASS > LONGEST_SHARE * bench.limits.readings_most:
        raise ConfigurationError(
            f"{turns:g} turns make more readings than the gauge holds, {bench.limits.readings_most}; make fewer turns",
            code="readings",
        )
    bench.talk.ask(instruction("lay uneven shaft", UNEVEN_SHAFT))
    bench.step(0)
    touch(bench, round(LIGHT_PART * load), deepest)
    light = bench.press
    touch(bench, load, deepest)
    bend = (bench.press - light) / (1 - LIGHT_PART)
    passes = [(speed, way) for speed in (fast, slow, slow, fast) for way in (1, -1)]
    for number, (speed, way) in enumerate(passes, 1):
        # Before it turns steadily the axis makes a ramp, and the converter has to forget that.
        ramps = speed**2 / bench.limits.rotate_acceleration
        run = bench.step(rotate_steps=way * round(per_turn * turns + ramps), rotate_speed=speed, readings=0)
        good = run.status == 0
        for at_us, steps, count in zip(run.tick_us[good], run.rotate_steps[good], run.counts[good], strict=True):
            row = {"pass": number, "time_s": round(1e-6 * int(at_us), 6), "steps": int(steps), "count": int(count)}
            bench.table.add(row)
        bench.talk.say(f"    pass {number} of {len(passes)}: {'forward' if way > 0 else 'back'}")
        bench.say_figures(f"{speed} steps a second")
    return bend
