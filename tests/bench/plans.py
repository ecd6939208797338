"""Both presets of a cycle on a new board: seconds by phase, shafts an hour, and the scatter that noise leaves.

Beside what a plan reckons stands what the real device code gives on the simulated gauge, whose converter averages four
conversions: the scatter of shafts measured over and over, and the shafts an hour of a night, check standards included.
"""

from midspan.board.board_limits import limits_of_new_board
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_bound import Noise
from midspan.measurement.cycle_cost import cycle_cost
from midspan.measurement.cycle_settings import PRESETS, CycleSettings
from repeated_cycles import QUANTITIES, repeated_cycles, scatter
from synthetic import filter_section, paper_calibration
from virtual_night import sorted_night

from bench.figure import at_least, at_most, plainly

FILTER = filter_section((4.0,))  # a moving average of four conversions
SOFT_TO_STIFF = (300.0, 500.0, 1000.0)  # thou
# Largest scatter of a sorted shaft between cycles, far below what calibration leaves unknown.
MOST = {"spine_thou": 0.02, "spread_thou": 0.05, "side_deg": 0.5}
# The cycle whose constants no user could change, of the boards before 1.0.0.
BEFORE = CycleSettings(readings_per_turn=160, light_turns=2, full_turns=2, zero_readings=40)
PLANS = {**PRESETS, "former": BEFORE}
CYCLES, BOWS_MM = 30, (0.0, 0.4)
NIGHT_SHAFTS, HOST_S = 36, 0.1  # the host's own time for a shaft: bench/night.py measures it
UNITS = {"spine_thou": "thou", "spread_thou": "thou", "side_deg": "deg", "runout_mm": "mm"}


def costs(settings):
    """Return the cost of a cycle for shafts from stiff to soft, with a spread of 3 thou and a bow of 0.4 mm."""
    calibration: Calibration = paper_calibration(travel={"clearance_mm": 16.5}, filter=FILTER)
    limits = limits_of_new_board()
    return [cycle_cost(settings, calibration, limits, Noise(spine_thou=spine, bow_mm=0.4)) for spine in SOFT_TO_STIFF]


def figures(folder):
    """Return seconds by phase, shafts an hour and scatter of each preset, as planned and as the device code gives."""
    return [*_planned(), *_scattered(), *_sorted(folder)]


def _scattered():
    """Return the largest scatter of each quantity over shafts from stiff to soft, straight and bowed."""
    names = dict(zip(QUANTITIES, UNITS, strict=True))
    for plan, settings in PLANS.items():
        kinds = [
            {"spine_thou": spine, "spread_thou": 3.0, "bow_mm": bow, "stiff_side_deg": 34.0, "bow_deg": 200.0}
            for spine in SOFT_TO_STIFF
            for bow in BOWS_MM
        ]
        found = [scatter(repeated_cycles(kind, settings, CYCLES, seed=i)) for i, kind in enumerate(kinds)]
        for quantity, key in names.items():
            said = f"{plan} cycle on the device code, largest scatter of {key.split('_')[0]}, {CYCLES} cycles a shaft"
            worst = max(scattered[quantity] for scattered in found)
            aimed = plan == "standard" and key in MOST
            yield at_most(said, worst, UNITS[key], MOST[key]) if aimed else plainly(said, worst, UNITS[key])


def _sorted(folder):
    """Return the shafts an hour of a night by each plan, in the time of the simulated gauge."""
    for plan, settings in PLANS.items():
        night = sorted_night(folder / f"plans-{plan}", NIGHT_SHAFTS, settings)
        hourly, said = night.shafts_an_hour(HOST_S), f"a night by the {plan} cycle, check standards included"
        yield (
            at_least(said, hourly, "shafts an hour", 300)
            if plan == "standard"
            else plainly(said, hourly, "shafts an hour")
        )
        if plan == "standard":
            others = {name: seconds / len(night.runs) for name, seconds in night.in_state.items()}
            yield from (plainly(f"  {name.lower()}, a cycle of the night", took, "s") for name, took in others.items())


def _planned():
    """Return what a plan reckons: seconds by phase, shafts an hour and the bound of the scatter."""
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
