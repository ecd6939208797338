"""From a calibration to the device's cycle plan: forces and turns in counts, microsteps and readings.

The device has no calibration, so each of its thresholds is worked out here.
"""

import math

from midspan.base.units import STANDARD
from midspan.measurement.calibration import Calibration
from midspan.wire.records import CyclePlan, Identify

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


def plan_for(calibration: Calibration, gauge: Identify) -> CyclePlan:
    """Return the cycle plan for a gauge with this calibration: light depth, full depth, and back to the light depth.

    The rotate speed follows from the converter's nominal rate, so that a turn gives 160 readings.

    The light depth is a tenth of the standard load and holds the shaft on its rollers; the full depth is the standard
    load of 880 g.

    Parameters
    ----------
    calibration : Calibration
        Scales of the gauge.
    gauge : Identify
        What the gauge says of itself: its rate of conversion and its limit of travel.

    Returns
    -------
    CyclePlan
        Thresholds in counts, distances in microsteps, speeds in microsteps per second.
    """
    per_turn = calibration.rotation.steps_per_turn
    # A shaft that slips as much as the calibration allows must still make all its turns.
    turn = math.ceil(TURNS * per_turn * (1 + 2 * calibration.rotation.u_relative))
    per_mm = 1 / calibration.travel.mm_per_step
    return CyclePlan(
        light_count=calibration.counts_for(LIGHT_SHARE * STANDARD.load_n),
        full_count=calibration.counts_for(STANDARD.load_n),
        clearance_steps=round(calibration.travel.clearance_mm * per_mm),
        travel_steps=min(round(LONGEST_TRAVEL_MM * per_mm), gauge.press_limit_steps),
        takeup_steps=round(TAKEUP_MM * per_mm),
        seat_steps=round(SEAT_TURNS * per_turn),
        turn_steps=turn,
        turn_again_steps=turn,
        zero_readings=ZERO_READINGS,
        settle_readings=SETTLE_READINGS,
        press_speed=round(PRESS_MM_S * per_mm),
        approach_speed=round(APPROACH_MM_S * per_mm),
        rotate_speed=max(1, round(per_turn / READINGS_PER_TURN * 1e6 / gauge.interval_us)),
    )
