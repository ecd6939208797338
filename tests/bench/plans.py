"""Both presets of a cycle on a new board: seconds by phase, shafts an hour, and the scatter that noise leaves."""

from midspan.board.board_limits import limits_of_new_board
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_bound import Noise
from midspan.measurement.cycle_cost import cycle_cost
from midspan.measurement.cycle_settings import PRESETS
from synthetic import filter_section, paper_calibration

from bench.figure import at_least, at_most, plainly

FILTER = filter_section((4.0,))  # a moving average of four conversions
SOFT_TO_STIFF = (300.0, 500.0, 1000.0)  # thou
# Largest scatter of a sorted shaft between cycles, far below what calibration leaves unknown.
MOST = {"spine_thou": 0.02, "spread_thou": 0.05, "side_deg": 0.5}
UNITS = {"spine_thou": "thou", "spread_thou": "thou", "side_deg": "deg", "runout_mm": "mm"}


def costs(settings):
    """Return the cost of a cycle for shafts from stiff to soft, with a spread of 3 thou and a bow of 0.4 mm."""
    calibration: Calibration = paper_calibration(travel={"clearance_mm": 6.5}, filter=FILTER)
    limits = limits_of_new_board()
    return [cycle_cost(settings, calibration, limits, Noise(spine_thou=spine, bow_mm=0.4)) for spine in SOFT_TO_STIFF]


def figures(_):
    """Return seconds by phase, shafts an hour and scatter of each preset."""
    rows = []
    for name, settings in PRESETS.items():
        found = costs(settings)
        usual = found[SOFT_TO_STIFF.index(500.0)]
        rows += [plainly(f"{name} cycle, {phase.lower().replace('_', ' ')}", seconds, "s")
                 for phase, seconds in usual.seconds.items()]  # fmt: skip
        rows.append(plainly(f"{name} cycle, whole", usual.cycle_s, "s"))
        rows.append(plainly(f"{name} cycle, share of sampling", 100 * usual.sampled_share, "%"))
        hourly = f"{name} cycle, shafts an hour with {usual.feeding_s:g} s of feeding"
        fast = name == "standard"
        rows.append(
            at_least(hourly, usual.shafts_an_hour, "", 300) if fast else plainly(hourly, usual.shafts_an_hour, "")
        )
        for key, unit in UNITS.items():
            worst = max(getattr(cost.repeatability, key) for cost in found)
            said = f"{name} cycle, largest scatter of {key.split('_')[0]} at 300 to 1000 thou"
            rows.append(at_most(said, worst, unit, MOST[key]) if key in MOST else plainly(said, worst, unit))
    return rows
