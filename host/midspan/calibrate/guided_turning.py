"""Take the calibrations for which a shaft turns: rotation and filter, live or from a table."""

from collections.abc import Mapping

from midspan.base.errors import ConfigurationError
from midspan.base.units import STANDARD, STANDARD_GRAVITY
from midspan.calibrate.axial_friction import Pressed
from midspan.calibrate.filter import calibrate_filter
from midspan.calibrate.guide import DEEPEST_MM, GuidedCalibration, Taken, bench_at, settings_of
from midspan.calibrate.live import take_rotation
from midspan.calibrate.live_filter import take_filter
from midspan.calibrate.outcome import with_stated
from midspan.calibrate.readings_table import read_readings, readings_of
from midspan.calibrate.rotation import FEWEST_MARKS, calibrate_rotation, calibrate_rotation_marks
from midspan.rehearsal import scenario

DEEPEST_LOADED_MM = 50.0  # greatest depth at which a shaft under the standard load is searched for
ROTATION_LOAD_N = 4.0  # a bow shows at any load that keeps the shaft on its rollers


def rotation(
    session: GuidedCalibration, expected: float, turns: int, u_diameter: float, stated: Mapping[str, float]
) -> Taken:
    """Take readings of a shaft turned under load, or positions of an index mark, live or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    expected : float
        Rotation steps per turn of the shaft by the diameters.
    turns : int
        Number of turns.
    u_diameter : float
        Relative spread of the diameter of shafts of this size.
    stated : Mapping[str, float]
        Other keys of the table "rotation" that the maker states, by name.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    ConfigurationError
        There is no record of force or travel.
    ReadingsError
        The table cannot be read.
    DeviceFault
        The gauge reports a fault.
    """
    gauge = session.gauge
    if session.csv is not None:
        readings = read_readings(session.csv, "rotation", "marks")
    else:
        shaft = {"number": 1, "kind": "shaft", **scenario.BOWED}
        with bench_at(session, "rotation", scenario.bench(STANDARD_GRAVITY, [shaft])) as (bench, gauge):
            cell, head = session.force_and_travel(gauge)
            load, deepest = cell.counts_for(ROTATION_LOAD_N), round(DEEPEST_MM / head.mm_per_step)
            passed = take_rotation(bench, load, deepest, expected, turns)
        readings = read_readings(bench.table.path, "rotation")
        if len(passed) >= FEWEST_MARKS:
            readings = readings_of(str(bench.table.path), mark_steps=passed)
    work = calibrate_rotation_marks if "mark_steps" in readings.numbers else calibrate_rotation
    settings = settings_of(expected_steps=expected, u_diameter=u_diameter)
    return Taken(
        "rotation", gauge, readings, settings, lambda: with_stated(work(readings, expected, u_diameter), stated)
    )


def converter_filter(
    session: GuidedCalibration, expected: float | None, turns: float, bend_mm: float | None = None
) -> Taken:
    """Take readings of a shaft turned both ways at two speeds, live or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    expected : float | None
        Rotation steps per turn of the shaft; None for those of the newest rotation record.
    turns : float
        Turns of each pass.
    bend_mm : float | None
        How far the standard load bent the shaft of a table, mm; None if that is unknown, which leaves the friction
        along the shaft unknown.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    ConfigurationError
        There is no record of force, travel or rotation, or the gauge turns too slowly.
    ReadingsError
        The table cannot be read.
    DeviceFault
        The gauge reports a fault.
    """
    gauge = session.gauge
    if session.csv is not None:
        readings = read_readings(session.csv, "filter")
        per_turn = _per_turn(session, gauge, expected)
        cell = None if bend_mm is None else session.force_and_travel(gauge)[0]
    else:
        shaft = {"number": 1, "kind": "shaft", **scenario.BOWED}
        with bench_at(session, "filter", scenario.bench(STANDARD_GRAVITY, [shaft])) as (bench, gauge):
            cell, head = session.force_and_travel(gauge)
            per_turn = _per_turn(session, gauge, expected)
            load, deepest = cell.counts_for(STANDARD.load_n), round(DEEPEST_LOADED_MM / head.mm_per_step)
            bend_mm = take_filter(bench, load, deepest, per_turn, turns) * head.mm_per_step
        readings = read_readings(bench.table.path, "filter")
    pressed = None
    if cell is not None and bend_mm is not None:
        pressed = Pressed(cell.newton_per_count, STANDARD.load_n, bend_mm)
    settings = settings_of(expected_steps=per_turn, pressed=pressed)
    return Taken("filter", gauge, readings, settings, lambda: calibrate_filter(readings, per_turn, pressed))


def _per_turn(session: GuidedCalibration, gauge: str, expected: float | None) -> float:
    """Return the steps per turn, given or of the newest rotation record; ConfigurationError if there is neither."""
    found = expected or session.earlier("rotation", "steps_per_turn", gauge)
    if found is None:
        raise ConfigurationError(
            f"{session.records}: has no rotation record of gauge {gauge}; run midspan calibrate rotation first, or "
            "give --expected-steps",
            code="missing_kind",
        )
    return found
