"""Parking: the angle agrees with the simulation's own truth, and a shaft is not turned where it must not be."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from commands_rig import complaint, midspan, settings
from hypothesis import given
from hypothesis import settings as how
from hypothesis import strategies as st
from in_memory import measured
from midspan.archive.raw_run import Phase
from midspan.base.errors import ParkingError
from midspan.measurement.result import evaluate
from midspan.rehearsal import scenario
from midspan.sorting.park import park, same_shaft, stiff_side, turning
from midspan.wire.records import State
from places import ROOT
from synthetic import Gauge as PaperGauge
from synthetic import Shaft, paper_calibration, raw_run


@pytest.mark.parametrize(
    ("truth", "gauge"),
    [
        ({"spread_thou": 6.0, "stiff_side_deg": 20.0, "bow_mm": 0.1}, {"slip": 0.0}),
        ({"spread_thou": 6.0, "stiff_side_deg": 20.0, "bow_mm": 0.1}, {"slip": 0.012}),
        ({"spread_thou": 1.0, "stiff_side_deg": 171.0, "bow_mm": 0.2, "bow_deg": 80.0}, {}),
        ({"spread_thou": 3.0, "stiff_side_deg": 95.0, "bow_mm": 0.1}, {"index_mark": True}),
    ],
    ids=["no slip", "much slip", "faint", "index mark"],
)
def test_the_stiff_side_is_up_within_what_is_stated(truth, gauge):
    line, found, calibration, run, result = measured(truth, gauge)
    turned = park(found, run, result, calibration)
    # The simulated gauge counts the turns of the shaft itself; its physics does not know the host's angles.
    off_deg = (math.degrees(line.board.mechanics.angle) - truth["stiff_side_deg"] + 90) % 180 - 90
    assert abs(off_deg) < 2 * turned.u_deg
    assert turned.u_deg < 1
    assert 0 <= turned.steps <= 325
    # Stiffest there, by the truth of the shaft itself.
    here = line.board.mechanics._shaft.standard_thou(line.board.mechanics.angle)
    assert here == pytest.approx(500 - truth["spread_thou"] / 2, abs=0.02 * truth["spread_thou"])
    assert found.identify().state is State.IDLE


def test_nothing_moves_when_there_is_no_stiff_side():
    line, found, calibration, run, result = measured({"spread_thou": 0.0, "bow_mm": 0.3})
    before = line.board.mechanics.angle
    with pytest.raises(ParkingError) as caught:
        park(found, run, result, calibration)
    assert caught.value.code == "even"
    assert line.board.mechanics.angle == before


def test_after_a_reset_the_shaft_may_lie_anyhow():
    line, found, calibration, run, result = measured({"spread_thou": 6.0})
    before = line.board.mechanics.angle
    with pytest.raises(ParkingError) as caught:
        park(found, replace(run, boot=run.boot + 1), result, calibration)
    assert caught.value.code == "reset"
    assert line.board.mechanics.angle == before


@how(max_examples=40)
@given(st.floats(0, 180), st.floats(-0.01, 0.01), st.integers(0, 10**6))
def test_on_paper_the_way_on_is_forward_and_covers(stiff_deg, slip, seed):
    # A second, independent simulation; its steps and angles are drawn by synthetic.py.
    calibration = paper_calibration()
    truth = Shaft(spread_thou=5.0, stiff_side_deg=stiff_deg, bow_mm=0.05)
    run = raw_run(truth, PaperGauge(slip=slip), np.random.default_rng(seed))
    (result,) = evaluate([run], calibration)
    way = turning(run, result, calibration)
    per_turn = calibration.rotation.steps_per_turn / (1 - slip)
    steps = int(run.rotate_steps[-1]) + way.steps - int(run.rotate_steps[0])
    off_deg = (360 * steps / per_turn - stiff_deg + 90) % 180 - 90
    assert abs(off_deg) < 3 * way.u_deg
    assert 0 <= way.steps <= per_turn / 2 + 1


def test_another_shaft_is_noticed():
    *_, result = measured({"spine_thou": 480.0, "spread_thou": 6.0})
    same_shaft(result, None, None)
    same_shaft(result, result.spine_thou + 0.1, result.u_spine_thou)
    with pytest.raises(ParkingError, match=r"shaft 1 .* 500\.00 .* 4\d\d\.\d\d") as caught:
        same_shaft(result, 500.0, 0.2)
    assert caught.value.code == "another_shaft"


def test_an_unknown_angle_and_a_sick_gauge_are_told_apart():
    *_, result = measured({"spread_thou": 6.0})
    with pytest.raises(ParkingError) as caught:
        stiff_side(replace(result, stiff_side_deg=None))
    assert caught.value.code == "slip"
    with pytest.raises(ParkingError, match="noisy") as caught:
        stiff_side(replace(result, faults=("noisy",)))
    assert caught.value.code == "fault"


@pytest.mark.process
def test_the_command_measures_keeps_and_turns(tmp_path):
    calibration, bands = settings(tmp_path)
    truth = next(shaft for shaft in scenario.shafts(36, seed=7) if shaft["number"] == 17)
    options = ("--port", "rehearsal", "--calibration", calibration, "--bands", bands)
    done = midspan("park", 17, *options, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "keep fingers" in done.stderr
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert f"    {done.stdout.splitlines()[0]}\n" in readme
    told = json.loads(midspan("park", 17, *options, "--json", folder=tmp_path).stdout)
    assert told["stiff_side_deg"] == pytest.approx(truth["stiff_side_deg"], abs=3 * told["u_parked_deg"])
    kept = json.loads(midspan("show", 17, "--json", folder=tmp_path).stdout)
    assert kept["spread_thou"] == told["spread_thou"]
    assert (told["outcome"], told["reasons"]) == ("rejected", kept["reasons"])  # who holds it must not fletch it


@pytest.mark.process
def test_the_command_does_not_turn_another_shaft(tmp_path, monkeypatch):
    calibration, bands = settings(tmp_path)
    options = ("--port", "rehearsal", "--calibration", calibration, "--bands", bands)
    assert midspan("measure", "--shaft", 17, *options, folder=tmp_path).returncode == 0
    usual = scenario.shafts
    swapped = [shaft | {"spine_thou": 480.0} for shaft in usual(36, seed=7)]
    monkeypatch.setattr(scenario, "shafts", lambda *_, **__: swapped)
    words = complaint(midspan("park", 17, *options, folder=tmp_path))
    assert [number for number in ("shaft 17 ", " 501.", " 480.") if number not in words] == []


@pytest.mark.process
def test_a_shaft_is_named_by_its_label_which_it_keeps(tmp_path):
    calibration, bands = settings(tmp_path)
    options = ("--port", "rehearsal", "--calibration", calibration, "--bands", bands)
    assert midspan("measure", "--shaft", 17, "--label", "B-4", *options, folder=tmp_path).returncode == 0
    told = json.loads(midspan("park", "b-4", "--json", *options, folder=tmp_path).stdout)
    assert (told["shaft"], told["label"]) == (17, "B-4")
    assert json.loads(midspan("shafts", "show", "B-4", "--json", folder=tmp_path).stdout)["label"] == "B-4"
    assert "'B-5'" in complaint(midspan("park", "B-5", *options, folder=tmp_path))


@pytest.mark.process
def test_an_empty_gauge_is_reported_and_nothing_is_turned(tmp_path):
    calibration, bands = settings(tmp_path)
    done = midspan(
        "park", 30000, "--port", "rehearsal", "--calibration", calibration, "--bands", bands, folder=tmp_path
    )
    assert "shaft 30000 " in complaint(done)
    assert done.stdout == ""


def test_the_uncertainty_of_the_place_is_that_of_rounding_of_the_way_and_of_the_slip():
    """The way counts from the middle of the readings, where the angles are known best (by hand, JCGM 100, 4.3.7)."""
    calibration = paper_calibration()
    run = raw_run(Shaft(spread_thou=5.0, stiff_side_deg=30.0), PaperGauge(), np.random.default_rng(3))
    (result,) = evaluate([run], calibration)
    bare = replace(result, u_stiff_side_deg=0.0, u_slip_pct=0.0, slip_pct=0.0)
    step_deg = 360 / calibration.rotation.steps_per_turn
    rounding_deg = step_deg / math.sqrt(12)
    way = turning(run, bare, calibration)
    assert way.u_deg == pytest.approx(rounding_deg)
    assert turning(run, replace(bare, u_stiff_side_deg=2.0), calibration).u_deg == pytest.approx(
        math.hypot(2.0, rounding_deg)
    )
    loaded = np.concatenate([run.rotate_steps[run.phase_slice(phase)] for phase in (Phase.LIGHT, Phase.LIGHT_AGAIN)])
    way_deg = step_deg * (run.rotate_steps[-1] + way.steps - (loaded.min() + loaded.max()) / 2)
    unsure = turning(run, replace(bare, u_slip_pct=1.0), calibration)
    assert unsure.u_deg == pytest.approx(math.hypot(rounding_deg, way_deg / 100))
    slipped = turning(run, replace(bare, slip_pct=2.0), calibration)
    to_go_deg = slipped.steps * step_deg / 1.02
    assert slipped.u_deg == pytest.approx(math.hypot(rounding_deg, 0.02 * to_go_deg / math.sqrt(3)), rel=0.05)
