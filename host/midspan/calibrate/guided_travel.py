"""Take a travel calibration: a dial indicator or gauge blocks under the head, live or from a table."""

from collections.abc import Callable, Mapping, Sequence

from midspan.archive.raw_run import RawRun
from midspan.base.errors import ConfigurationError
from midspan.base.units import STANDARD_GRAVITY
from midspan.calibrate.guide import GuidedCalibration, Taken, bench_at, settings_of
from midspan.calibrate.live import steady, take_travel, travel_schedule
from midspan.calibrate.live_blocks import STEPS_A_BLOCK, as_travel, take_blocks
from midspan.calibrate.outcome import ProcedureResult, with_stated
from midspan.calibrate.readings_table import read_readings
from midspan.calibrate.travel import TravelIndicator, calibrate_travel
from midspan.conversation.questions import number_asked, number_prompt
from midspan.rehearsal import scenario

INDICATOR_COUNT_MM = 1e-4  # travel for each count of the simulated indicator
INDICATOR_PLACES = 3


def travel(
    session: GuidedCalibration,
    indicator: TravelIndicator,
    steps_per_screw_turn: float,
    steps_and_places: tuple[int, int, int],
    blocks_mm: Sequence[float],
    stated: Mapping[str, float],
) -> Taken:
    """Take readings of a dial indicator or of gauge blocks, live or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    indicator : TravelIndicator
        Indicator or blocks.
    steps_per_screw_turn : float
        Press steps per turn of the screw.
    steps_and_places : tuple[int, int, int]
        First step, last step and number of places; with blocks only the last step counts.
    blocks_mm : Sequence[float]
        Heights of the gauge blocks, mm; empty for an indicator.
    stated : Mapping[str, float]
        Keys of the table "travel" that the maker states, by name; clearance_mm among them.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    ConfigurationError
        Blocks are in the table and named too, or the places are too close together.
    ReadingsError
        The table cannot be read.
    DeviceFault
        The gauge reports a fault.
    """
    gauge = session.gauge
    if session.csv is not None and blocks_mm:
        raise ConfigurationError("give gauge blocks in the table, under block_mm, or with --block, not both")
    if session.csv is not None:
        readings = read_readings(session.csv, "travel", "blocks")
    elif blocks_mm:
        with bench_at(session, "blocks", scenario.blocks_put_in(blocks_mm, STEPS_A_BLOCK)) as (bench, gauge):
            take_blocks(bench, blocks_mm, steps_and_places[1])
        readings = read_readings(bench.table.path, "blocks")
    else:
        given = scenario.bench(STANDARD_GRAVITY, [{"number": 1, "kind": "indicator"}])
        with bench_at(session, "travel", given) as (bench, gauge):
            take_travel(bench, travel_schedule(*steps_and_places), _indicator(session))
        readings = read_readings(bench.table.path, "travel")
    if "block_mm" in readings.numbers:
        readings = as_travel(readings)
    earlier = session.earlier("travel", "mm_per_step", gauge)
    clearance_mm = stated.get("clearance_mm", 0.0)
    settings = settings_of(indicator=indicator, steps_per_screw_turn=steps_per_screw_turn, clearance_mm=clearance_mm)

    further = {key: value for key, value in stated.items() if key != "clearance_mm"}

    def work() -> ProcedureResult:
        return with_stated(calibrate_travel(readings, indicator, steps_per_screw_turn, clearance_mm, earlier), further)

    return Taken("travel", gauge, readings, settings, work)


def _indicator(session: GuidedCalibration) -> Callable[[RawRun], float]:
    """Return the function that reads the indicator: it asks a person, or takes the count of the simulated indicator."""
    if session.is_simulated:
        return lambda run: round(steady(run)[0] * INDICATOR_COUNT_MM, INDICATOR_PLACES)
    prompt = number_prompt("indicator", "    indicator, mm")
    return lambda _: number_asked(session.talk, prompt)
