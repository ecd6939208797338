"""Take a force calibration: masses on the cell, live or from a table."""

from collections.abc import Sequence
from dataclasses import replace

from midspan.calibrate.force import Load, calibrate_force
from midspan.calibrate.guide import GuidedCalibration, Taken, bench_at, settings_of
from midspan.calibrate.live_cell import CREEP_STEPS, check_sign, force_schedule, take_creep, take_force
from midspan.calibrate.readings_table import read_readings
from midspan.hand_bench.gravity import STANDARD as STANDARD_PLACE
from midspan.hand_bench.gravity import local_gravity
from midspan.hand_bench.masses import Air
from midspan.rehearsal import scenario


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
        if session.is_simulated:
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
