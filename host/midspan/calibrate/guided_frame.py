"""Take a frame calibration: the head presses on a rigid bar, live or from a table."""

import math

from midspan.base.units import STANDARD, STANDARD_GRAVITY
from midspan.calibrate.frame import RigidBar, calibrate_frame
from midspan.calibrate.guide import DEEPEST_MM, GuidedCalibration, Taken, bench_at, settings_of
from midspan.calibrate.live import take_frame
from midspan.calibrate.readings_table import read_readings
from midspan.measurement.cycle_settings import DEEP
from midspan.rehearsal import scenario

U_SCALE_UNKNOWN = 1e-3


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
            cell, head = session.force_and_travel(gauge)
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
