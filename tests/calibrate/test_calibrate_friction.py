"""Friction along a turning shaft, found by the filter's calibration on simulated gauges whose rollers are askew."""

import math
import tomllib
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from answering import Answering
from in_memory import InMemory
from midspan.archive.writer import ArchiveWriter
from midspan.base.units import STANDARD
from midspan.calibrate.axial_friction import PassMeans, Pressed, friction_of
from midspan.calibrate.calibration_file import calibration_text
from midspan.calibrate.filter import calibrate_filter
from midspan.calibrate.live import LiveBench
from midspan.calibrate.live_filter import take_filter
from midspan.calibrate.readings_table import TableWriter, read_readings
from midspan.link.gauge import Gauge
from midspan.measurement.calibration import EXAMPLE
from midspan.rehearsal import scenario
from rehearsal_rig import mechanics

MM_PER_STEP, STEPS_PER_TURN = 1 / 400, 800.0
NIP = math.cos(math.asin((30.0 + 1.0) / (30.0 + 7.5)))  # of rollers of 30 mm, 1 mm apart, under a shaft of 7.5


def found_on(folder, left):
    """Return what the calibration finds on a gauge with a careful maker's imperfections and this friction."""
    body = {"number": 1, "kind": "shaft", **scenario.BOWED}
    gauge = {"axial_friction_left": left * NIP}
    line = InMemory({"seed": 1, "gauge": gauge, "bench": [body], "shafts": []})
    link = Gauge(line, clock=lambda: line.board.now_us / 1e6, wall_clock=lambda: 1.8e9)
    table = TableWriter(folder / "filter.csv", "filter")
    per_n = mechanics.GAUGE["count_per_n"]
    with ArchiveWriter(folder / "bench.avro") as archive:
        bench = LiveBench(link, archive, "filter calibration", Answering(), table)
        bend = take_filter(bench, round(per_n * STANDARD.load_n), round(50 / MM_PER_STEP), STEPS_PER_TURN, 3.0)
    pressed = Pressed(1 / per_n, STANDARD.load_n, bend * MM_PER_STEP)
    return calibrate_filter(read_readings(table.path, "filter"), STEPS_PER_TURN, pressed)


def record(kind, section):
    """Return a record as far as the file needs it."""
    return SimpleNamespace(
        kind=kind, id=f"{kind}-1", gauge="paper", temperature_c=20.0, made_on=date(2026, 3, 1),
        valid_until=date(2027, 3, 1), section=section, outcome={"remarks": []}, thermometer=None,
    )  # fmt: skip


@pytest.mark.parametrize("left", [0.01, -0.02, 0.0, 0.04])
def test_the_friction_comes_back_within_its_uncertainty(tmp_path, left):
    found = found_on(tmp_path, left)
    value, u = found.section["axial_friction"], found.section["u_axial_friction"]
    assert abs(value - left) < 2 * u < 0.002 + 0.7 * abs(left)
    assert [remark.code for remark in found.remarks] == (["askew"] if abs(left) == 0.04 else [])


def test_the_difference_of_both_ways_is_known_from_a_table_of_its_own():
    """Tell 200 counts of difference from a curved drift: friction on a beam, to first order."""
    pressed = Pressed(9.2e-6, 8.63, 12.7)
    # A shaft of deflection d gains 2.4 (d / L) of its force for each unit of friction; softening takes a little.
    assert pressed.by_friction_n == pytest.approx(8.63 * 2.4 * 12.7 / 711.2, rel=0.02)
    way, time = np.array([1, -1] * 4), np.arange(8.0)
    found = friction_of(PassMeans(way, time, 940_000 + 100.0 * way + 30 * time - 4 * time**2), pressed)
    assert found.value == pytest.approx(100 * 9.2e-6 / pressed.by_friction_n)
    assert found.budget["friction_passes"][0] < 1e-6
    # A third for other shafts, and a side force that the cell reads as 25 millionths of the load.
    side = 2.5e-5 * 8.63 / pressed.by_friction_n
    assert found.section["u_axial_friction"] == pytest.approx(math.hypot(found.value / 3, side))
    one_round = friction_of(PassMeans(way[:4], time[:4], 940_000 + 100.0 * way[:4] + 30 * time[:4]), pressed)
    assert one_round.value == pytest.approx(found.value)


def test_the_file_has_the_friction_in_the_table_of_the_supports():
    response = {"delay_s": 0.025, "u_delay_s": 1e-4, "width_s": 0.0144, "u_width_s": 3e-4}
    made = record("filter", response | {"axial_friction": 0.004, "u_axial_friction": 0.001})
    spans = record("span", EXAMPLE["span"] | {"u_axial_friction": 0.009})
    others = [record(kind, EXAMPLE[kind]) for kind in ("force", "travel", "frame", "rotation")]
    written = tomllib.loads(calibration_text([*others, spans, made]))
    assert (written["span"]["axial_friction"], written["span"]["u_axial_friction"]) == (0.004, 0.001)
    assert written["filter"] == response
