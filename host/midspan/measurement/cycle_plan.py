"""From a calibration to the steps of a cycle: forces and turns in counts, microsteps and readings.

The device has no calibration, so each of its thresholds is worked out here.
"""

import math
from dataclasses import replace
from typing import Any

from midspan.base.config import Section
from midspan.base.units import STANDARD
from midspan.measurement.calibration import Calibration
from midspan.wire.records import FaultCode, Identify, Phase, Step

LIGHT_SHARE = 0.10  # of the standard load: holds the shaft on its rollers, and is far enough below the full load
TURNS = 2  # with fewer, the roller's slip could not be separated from the shaft's own pattern
READINGS_PER_TURN = 160
ZERO_READINGS = 40
SETTLE_READINGS = 5  # the converter's filter remembers about four samples
TAKEUP_MM = 0.25  # several times the backlash of a plain screw and nut
LONGEST_TRAVEL_MM = 75.0  # clearance and the softest shaft's deflection, with a margin
SEAT_TURNS = 0.25
PRESS_MM_S = 16.0
APPROACH_MM_S = 6.0


class CycleSettings(Section):
    """Settings of a measuring cycle."""


def cycle_steps(calibration: Calibration, gauge: Identify, settings: CycleSettings) -> tuple[Step, ...]:
    """Return the steps of a measurement: light depth, full depth, and back to the light depth.

    Parameters
    ----------
    calibration : Calibration
        Scales of the gauge.
    gauge : Identify
        What the gauge says of itself: its rate of conversion and its limit of travel.
    settings : CycleSettings
        Settings of the cycle.

    Returns
    -------
    tuple[Step, ...]
        Thresholds in counts, distances in microsteps, speeds in microsteps per second.
    """
    per_turn = calibration.rotation.steps_per_turn
    # A shaft that slips as much as the calibration allows must still make all its turns.
    turn = math.ceil(TURNS * per_turn * (1 + 2 * calibration.rotation.u_relative))
    per_mm = 1 / calibration.travel.mm_per_step
    light = calibration.counts_for(LIGHT_SHARE * STANDARD.load_n)
    full = calibration.counts_for(STANDARD.load_n)
    clearance = round(calibration.travel.clearance_mm * per_mm)
    travel = min(round(LONGEST_TRAVEL_MM * per_mm), gauge.press_limit_steps)
    fast = min(round(PRESS_MM_S * per_mm), gauge.down_speed_most)
    slow = min(round(APPROACH_MM_S * per_mm), gauge.down_speed_most)
    rotate = max(1, round(per_turn / READINGS_PER_TURN * 1e6 / gauge.interval_us))
    stay = Step(0, None, None, None, None, 0, 0, SETTLE_READINGS, False, fast, rotate)

    def turning(phase: Phase, steps: int) -> Step:
        return replace(stay, phase=phase, rotate_steps=steps)

    def moving(phase: Phase, to: int, **rest: Any) -> Step:
        return replace(stay, phase=phase, press_steps=to, **rest)

    return (
        turning(Phase.SEATING, round(SEAT_TURNS * per_turn)),
        replace(stay, phase=Phase.ZERO_BEFORE, readings=ZERO_READINGS, zero=True),
        moving(Phase.APPROACH, clearance, until_count=light),
        moving(Phase.APPROACH, travel, until_count=light, unreached=FaultCode.NO_CONTACT, press_speed=slow),
        turning(Phase.LIGHT, turn),
        moving(Phase.DEEPEN, travel, until_count=full, unreached=FaultCode.TRAVEL_LIMIT),
        turning(Phase.FULL, turn),
        moving(Phase.RETURN, -round(TAKEUP_MM * per_mm), from_step=3),
        moving(Phase.RETURN, 0, from_step=3),
        turning(Phase.LIGHT_AGAIN, turn),
        moving(Phase.LIFT, 0),
        replace(stay, phase=Phase.ZERO_AFTER, readings=ZERO_READINGS),
    )
