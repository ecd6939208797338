"""Run each calibration procedure: get its readings, live or from a table, and say how to evaluate them.

Live readings come from a gauge or from the simulated gauge, whose scenario loads it as the procedure asks.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from midspan.archive.raw_run import RawRun
from midspan.base.errors import ConfigurationError
from midspan.base.units import STANDARD, STANDARD_GRAVITY
from midspan.calibrate.axial_friction import Pressed
from midspan.calibrate.filter import calibrate_filter
from midspan.calibrate.force import Load, calibrate_force
from midspan.calibrate.frame import RigidBar, calibrate_frame
from midspan.calibrate.guide import GuidedCalibration, Taken, bench_at, settings_of
from midspan.calibrate.live import (
    STEPS_A_BLOCK,
    as_travel,
    steady,
    take_bar,
    take_blocks,
    take_frame,
    take_rotation,
    take_travel,
    travel_schedule,
)
from midspan.calibrate.live_cell import CREEP_STEPS, check_sign, force_schedule, take_creep, take_force
from midspan.calibrate.live_filter import take_filter
from midspan.calibrate.outcome import ProcedureResult, with_stated
from midspan.calibrate.readings_table import CalibrationReadings, TableWriter, read_readings, readings_of
from midspan.calibrate.record import newest
from midspan.calibrate.reference_bar import Expected, check_bar
from midspan.calibrate.rotation import FEWEST_MARKS, calibrate_rotation, calibrate_rotation_marks
from midspan.calibrate.sinking import FULL_G, LIGHT_G, calibrate_sinking, computed_sinking
from midspan.calibrate.span import calibrate_span
from midspan.calibrate.supports import Supports
from midspan.calibrate.travel import TravelIndicator, calibrate_travel
from midspan.hand_bench.gravity import STANDARD as STANDARD_PLACE
from midspan.hand_bench.gravity import local_gravity
from midspan.hand_bench.masses import Air
from midspan.measurement.calibration import Force, Travel, load_calibration
from midspan.measurement.calibration_validity import check_use, usable
from midspan.measurement.cycle_settings import DEEP
from midspan.rehearsal import scenario
from midspan.rehearsal.process import REHEARSAL_PORT

INDICATOR_COUNT_MM = 1e-4  # travel for each count of the simulated indicator
INDICATOR_PLACES = 3
U_SCALE_UNKNOWN = 1e-3
DEEPEST_MM = 25.0  # greatest depth at which a bar or shaft on the supports is searched for
DEEPEST_LOADED_MM = 50.0  # the same for a shaft under the standard load
ROTATION_LOAD_N = 4.0  # a bow shows at any load that keeps the shaft on its rollers


def force(session: GuidedCalibration, load: Load, masses_g: Sequence[float], rounds: int, creep: bool) -> Taken:
    """Take readings of masses on the cell, live or from CSV; live, the sign of a push is checked first.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    load : Load
        Conditions of the masses.
    masses_g : Sequence[float]
        Loads, g.
    rounds : int
        Number of rounds.
    creep : bool
        True to leave the largest load on for five minutes at the end.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    CellSignError
        The count falls where it would rise under a shaft.
    ReadingsError
        The table cannot be read, or the count hardly moves.
    DeviceFault
        The gauge reports a fault.
    """
    gauge = session.gauge
    if session.csv is not None:
        readings = read_readings(session.csv, "force")
    else:
        if session.port == REHEARSAL_PORT:
            load = _rehearsed(load)
        schedule, largest = list(force_schedule(masses_g, rounds)), max(masses_g)
        loads = [mass for _, _, mass in schedule] + [largest] * CREEP_STEPS + [0.0]
        given = scenario.bench(load.gravity.m_s2, scenario.cell_loaded(loads, load.loading.ratio))
        with bench_at(session, "force", given) as (bench, gauge):
            check_sign(bench, largest, load.loading)
            take_force(bench, schedule, load.loading)
            if creep:
                take_creep(bench, largest, rounds, load.loading)
        readings = read_readings(bench.table.path, "force")
    earlier, seen = session.earlier("force", "newton_per_count", gauge), session.csv is None
    settings = settings_of(gravity=load.gravity, air=load.air, u_relative=load.u_relative, loading=load.loading)
    return Taken("force", gauge, readings, settings, lambda: calibrate_force(readings, load, earlier, sign_seen=seen))


def _rehearsed(load: Load) -> Load:
    """Return the load as it is at the simulated bench, unless the user gave another gravity."""
    if load.gravity != STANDARD_PLACE:
        return load
    gravity = local_gravity(scenario.LATITUDE_DEG, scenario.HEIGHT_M, 1e-4)
    return replace(load, gravity=gravity, air=Air(scenario.AIR_KG_M3, 0.03))


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
    if session.port == REHEARSAL_PORT:
        return lambda run: round(steady(run)[0] * INDICATOR_COUNT_MM, INDICATOR_PLACES)
    return lambda _: session.screen.number("    indicator, mm")


def bar_diameter_mm(session: GuidedCalibration) -> float:
    """Return the diameter of the rigid bar, as the person types it.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.

    Returns
    -------
    float
        Diameter, mm.

    Raises
    ------
    ConfigurationError
        Nobody is there to ask (code "bar_size").
    """
    if session.csv is not None or session.screen.by_itself:
        raise ConfigurationError(
            "a bar bends, too: 25 mm of steel by 0.65 thou at spine 500, 20 mm by 1.6; give its --bar-diameter",
            code="bar_size",
        )
    return session.screen.number("Diameter of the rigid bar, mm")


def frame(session: GuidedCalibration, bar: RigidBar) -> Taken:
    """Take readings of pressing on a rigid bar, live or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    bar : RigidBar
        The bar, and the span that it lies on.

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
        readings = read_readings(session.csv, "frame")
    else:
        put_in = [{"number": 1, "kind": "rigid", "give_mm_per_n": bar.bend_mm_per_n}]
        with bench_at(session, "frame", scenario.bench(STANDARD_GRAVITY, put_in)) as (bench, gauge):
            cell, head = _cell_and_head(session, gauge)
            loads = cell.counts_for(DEEP.light_share * STANDARD.load_n), cell.counts_for(1.05 * STANDARD.load_n)
            deepest = round(DEEPEST_MM / head.mm_per_step)
            take_frame(bench, loads, cell, head, deepest)
        readings = read_readings(bench.table.path, "frame")
    scales = _u_scales(session, gauge)
    settings = settings_of(bar=bar, bar_mm_per_n=bar.bend_mm_per_n, u_scales=scales)
    return Taken("frame", gauge, readings, settings, lambda: calibrate_frame(readings, bar, scales))


def _u_scales(session: GuidedCalibration, gauge: str) -> float:
    """Return the relative standard uncertainty of travel over force; a cautious value without records of both."""
    parts = [session.earlier(kind, "u_scale", gauge) for kind in ("force", "travel")]
    return math.hypot(*(U_SCALE_UNKNOWN if part is None else part for part in parts))


def _cell_and_head(session: GuidedCalibration, gauge: str) -> tuple[Force, Travel]:
    """Return force and travel of the newest records; raises ConfigurationError if there is none."""
    found = []
    for kind in ("force", "travel"):
        record = newest(session.records, kind, gauge)
        if record is None:
            raise ConfigurationError(
                f"{session.records}: has no {kind} record of gauge {gauge}; run midspan calibrate {kind} first",
                code="missing_kind",
            )
        found.append(record.section)
    return Force.model_validate(found[0]), Travel.model_validate(found[1])


def span(
    session: GuidedCalibration,
    u_instrument_mm: float,
    certificate: str,
    readings_wanted: int,
    stated: Mapping[str, float],
) -> Taken:
    """Take distances between the supports, typed or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    u_instrument_mm : float
        Standard uncertainty of the instrument, mm.
    certificate : str
        Certificate of the instrument, empty without one.
    readings_wanted : int
        Number of readings to ask for.
    stated : Mapping[str, float]
        Other keys of the table "span" that the maker states, by name.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    ReadingsError
        The table cannot be read.
    """
    if session.csv is not None:
        readings = read_readings(session.csv, "span")
    else:
        table = TableWriter(session.raw_file("span"), "span")
        for i in range(readings_wanted):
            if session.port == REHEARSAL_PORT:
                value = scenario.SPANS_MM[i % len(scenario.SPANS_MM)]
                session.screen.say(f"[{i + 1} of {readings_wanted}] the simulated rule reads {value} mm")
            else:
                value = session.screen.number(f"[{i + 1} of {readings_wanted}] Measure the span anew, mm")
            table.add({"span_mm": value})
        readings = read_readings(table.path, "span")
    settings = settings_of(u_instrument_mm=u_instrument_mm, certificate=certificate)
    return Taken(
        "span", session.gauge, readings, settings,
        lambda: calibrate_span(readings, u_instrument_mm, certificate, stated),
    )  # fmt: skip


def sinking(session: GuidedCalibration, pairs: int) -> Taken:
    """Take readings of a dial over a support, typed or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    pairs : int
        Number of pairs of readings, light and full, of each body.

    Returns
    -------
    Taken
        Readings, and how to evaluate them.

    Raises
    ------
    ReadingsError
        The table cannot be read.
    """
    if session.csv is not None:
        readings = read_readings(session.csv, "sinking")
    else:
        table = TableWriter(session.raw_file("sinking"), "sinking")
        session.screen.wait("Supply off, head up. The dial's tip is on top of the piece, over the support.")
        for body in ("shaft", "steel"):
            session.screen.wait(f"Lay in the piece of {'the shaft' if body == 'shaft' else 'steel rod'}.")
            for _ in range(pairs):
                for mass_g in (LIGHT_G, FULL_G):
                    dial = session.screen.number(f"{body}, {mass_g:g} g on both loops together: the dial, mm")
                    table.add({"body": body, "mass_g": mass_g, "dial_mm": dial})
        readings = read_readings(table.path, "sinking")
    return Taken("sinking", session.gauge, readings, {}, lambda: calibrate_sinking(readings))


def computed(session: GuidedCalibration, material: str, shaft_mm: float, supports: Supports) -> Taken:
    """Return the sinking of a material as theory has it, for want of readings.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    material : str
        Material of the shafts.
    shaft_mm : float
        Their diameter, mm.
    supports : Supports
        Rims and rollers.

    Returns
    -------
    Taken
        No readings, and how to compute.
    """
    readings = CalibrationReadings("Hertz's theory", {}, {}, ())
    settings = settings_of(material=material, shaft_mm=shaft_mm, supports=supports)
    work = partial(computed_sinking, material, shaft_mm, supports)
    return Taken("sinking", session.gauge, readings, settings, work)


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
            cell, head = _cell_and_head(session, gauge)
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
        cell = None if bend_mm is None else _cell_and_head(session, gauge)[0]
    else:
        shaft = {"number": 1, "kind": "shaft", **scenario.BOWED}
        with bench_at(session, "filter", scenario.bench(STANDARD_GRAVITY, [shaft])) as (bench, gauge):
            cell, head = _cell_and_head(session, gauge)
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


def bar(session: GuidedCalibration, expected: Expected, calibration_file: Path | None, cycles: int) -> Taken:
    """Take spines of a reference bar, measured on the gauge or from CSV.

    Parameters
    ----------
    session : GuidedCalibration
        Circumstances.
    expected : Expected
        Spine that the bar should show.
    calibration_file : Path | None
        Calibration to measure by; not needed with CSV.
    cycles : int
        Number of measuring cycles.

    Returns
    -------
    Taken
        Spines, and how to compare them.

    Raises
    ------
    ConfigurationError
        There is no calibration to measure by, or it has expired or belongs to another gauge.
    ReadingsError
        The table cannot be read.
    DeviceFault
        A cycle gave no good result.
    """
    gauge = session.gauge
    if session.csv is not None:
        readings = read_readings(session.csv, "bar")
    else:
        if calibration_file is None:
            raise ConfigurationError("measuring a bar needs a calibration; give it with --calibration FILE")
        calibration = usable(load_calibration(calibration_file), session.now.date())
        truth = {"number": 1, "ei_n_mm2": scenario.BAR_EI_N_MM2, "diameter_mm": scenario.BAR["diameter_mm"]}
        with bench_at(session, "bar", scenario.bench(STANDARD_GRAVITY, [], [truth])) as (bench, gauge):
            check_use(calibration, gauge, session.now.date())
            session.screen.wait(f"Lay in the bar {expected.name}.")
            for spine, u in take_bar(bench, calibration, cycles):
                bench.table.add({"spine_thou": spine, "u_spine_thou": u})
                session.screen.say(f"    spine {spine:.2f} thou")
        readings = read_readings(bench.table.path, "bar")
    return Taken(
        "bar", gauge, readings, settings_of(expected=expected),
        lambda: check_bar(expected, readings["spine_thou"].tolist(), readings["u_spine_thou"].tolist()),
    )  # fmt: skip
