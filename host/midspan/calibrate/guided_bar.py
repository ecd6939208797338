"""Take the check with a bar of known spine, on the gauge or from a table."""

from pathlib import Path

from midspan.base.errors import ConfigurationError
from midspan.base.units import STANDARD_GRAVITY
from midspan.calibrate.guide import GuidedCalibration, Taken, bench_at, settings_of
from midspan.calibrate.live import KEEP_OFF, take_bar
from midspan.calibrate.readings_table import read_readings
from midspan.calibrate.reference_bar import Expected, check_bar
from midspan.conversation.questions import instruction
from midspan.measurement.calibration import load_calibration
from midspan.measurement.calibration_validity import check_use, usable
from midspan.rehearsal import scenario


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
            words = f"Lay in the bar {expected.name}. {KEEP_OFF} and away from the rollers: it is pressed and turned."
            session.talk.ask(instruction("lay reference bar", words))
            for spine, u in take_bar(bench, calibration, cycles):
                bench.table.add({"spine_thou": spine, "u_spine_thou": u})
                session.talk.say(f"    spine {spine:.2f} thou")
        readings = read_readings(bench.table.path, "bar")
    return Taken(
        "bar", gauge, readings, settings_of(expected=expected),
        lambda: check_bar(expected, readings["spine_thou"].tolist(), readings["u_spine_thou"].tolist()),
    )  # fmt: skip
