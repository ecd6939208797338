"""The hand bench by Monte Carlo: a second evaluation of its uncertainty, and `show --budget` with it."""

import json
from copy import deepcopy

import numpy as np
import pytest
from commands_rig import midspan
from hand_rig import TrueBench, bench_file, readings, result_of
from midspan.decision.decision import NO_BANDS
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.conversion import CAUSES
from midspan.hand_bench.monte_carlo import hand_trials
from midspan.hand_bench.record import HandRecord, HandShaft
from midspan.hand_bench.result import evaluate_hand
from midspan.hand_bench.sessions import session_at
from midspan.uncertainty.monte_carlo import agreement
from stores import add_result, run_of
from synthetic import Shaft

pytestmark = pytest.mark.slow

# Another weight, span, dial force and give than the standard's: conversion and all its causes are at work.
OTHER = {
    "weight": {"mass_g": 700.0},
    "span": {"span_mm": 650.0},
    "indicator": {"force_n": 0.7},
    "frame": {"give_mm_per_n": 0.002},
}
TRUE_OTHER = TrueBench(mass_g=700.0, span_mm=650.0, force_n=0.7, give_mm_per_n=0.002, noise=0.005)


def measured(spine_thou, content, bench):
    """Return the result of a shaft on a bench, and the bench as its file says."""
    typed = readings(Shaft(spine_thou=spine_thou), bench, np.random.default_rng(2))
    return result_of(typed, content), HandBench.model_validate(content)


@pytest.mark.parametrize(("changes", "true"), [({}, TrueBench(noise=0.005)), (OTHER, TRUE_OTHER)])
@pytest.mark.parametrize("spine_thou", [150.0, 500.0, 1000.0])
def test_trials_validate_the_budget(spine_thou, changes, true):
    result, bench = measured(spine_thou, bench_file(**changes), true)
    found = hand_trials(result, bench, 100_000)
    assert found.u == pytest.approx(result.u_spine_thou, rel=0.01)
    assert agreement(result.spine_thou, result.budget.expanded(), found).holds


def test_a_large_tilt_errs_to_one_side_and_the_trials_say_so():
    result, bench = measured(500.0, bench_file(indicator={"tilt_deg": 6.0}), TrueBench(noise=0.001))
    found = hand_trials(result, bench, 100_000)
    # A dial tilted anywhere within a bound reads long by a sixth of the bound's square on average.
    assert result.spine_thou - found.mean == pytest.approx(500 * np.radians(6.0) ** 2 / 6, rel=0.05)
    assert not agreement(result.spine_thou, result.budget.expanded(), found).holds


# Changes that make each cause the only cause.
ALONE = {
    "dial graduation": {"indicator": {"graduation": 0.05}},
    "dial error": {"indicator": {"u_error_mm": 0.02}},
    "dial force": {"indicator": {"u_force_change_n": 0.02}},
    "mass": {"weight": {"u_mass_g": 2.0}},
    "gravity": {"place": {"u_gravity_m_s2": 0.02}},
    "span": {"span": {"u_span_mm": 0.5}},
    "give of supports": {"frame": {"u_give_mm_per_n": 2e-3}},
    "axial friction": {"supports": {"before_reading": "nothing", "friction": 0.05}},
    "edge radius": {"supports": {"edge_radius_mm": 2.5, "u_edge_radius_mm": 1.5}},
    "shaft radius": {"shafts": {"diameter_mm": [5.5, 9.0]}},
    "sinking": {"shafts": {"sink_mm_per_n": 2e-3, "u_sink_mm_per_n": 1e-3}},
    "creep": {"shafts": {"u_creep_per_decade": 0.002}},
    "temperature": {"span": {"expansion_per_k": 2.34e-5}},
}
NONE_OF_THEM = {
    "indicator": {"graduation": 1e-6, "u_error_mm": 0.0, "u_force_change_n": 0.0, "tilt_deg": 0.0},
    "weight": {"u_mass_g": 0.0},
    "place": {"u_gravity_m_s2": 0.0},
    "span": {"u_span_mm": 0.0},
    "frame": {"u_give_mm_per_n": 0.0, "off_centre_mm": 0.0},
}


@pytest.mark.parametrize("cause", ALONE)
def test_every_cause_alone_goes_through_the_elastica_as_through_its_sensitivity(cause):
    assert cause in [name for name, _ in CAUSES]
    sections = deepcopy(NONE_OF_THEM)
    for section, values in ALONE[cause].items():
        sections.setdefault(section, {}).update(values)
    result, bench = measured(900.0, bench_file(**sections), TrueBench(noise=1e-5))
    assert result.budget.of(cause) > 0.99 * result.u_spine_thou
    assert hand_trials(result, bench, 100_000).u == pytest.approx(result.u_spine_thou, rel=0.015)


def test_few_readings_have_the_tails_of_t():
    typed = readings(Shaft(), TrueBench(noise=0.1), np.random.default_rng(3), repeats=1)[::2]
    result = result_of(typed)
    assert result.repeat_dof < 3
    found = hand_trials(result, HandBench.model_validate(bench_file()), 100_000)
    assert found.symmetric[1] - result.spine_thou > 2.5 * result.budget.of("repeatability")


def test_the_same_seed_gives_the_same_numbers():
    result, bench = measured(500.0, bench_file(), TrueBench(noise=0.005))
    assert hand_trials(result, bench, 1000, seed=3) == hand_trials(result, bench, 1000, seed=3)
    assert hand_trials(result, bench, 1000, seed=3) != hand_trials(result, bench, 1000, seed=4)


def test_the_budget_of_a_stored_hand_result_has_bars_trials_and_a_picture(tmp_path, monkeypatch):
    rows = [",".join((each.angle_deg, each.repeat, each.unloaded, each.loaded)) for each in readings()]
    (tmp_path / "read.csv").write_text("angle_deg,repeat,unloaded,loaded\n" + "\n".join(rows))
    monkeypatch.setattr("typer.prompt", lambda *_, default="", **__: default)
    assert (
        midspan("hand", "measure", "--shaft", 1, "--label", "bar", "--csv", "read.csv", folder=tmp_path).returncode == 0
    )
    shown = midspan("show", "bar", "--budget", "--trials", 20_000, "--picture", "bar.png", folder=tmp_path)
    assert all(name in shown.stdout for name, _ in CAUSES)
    assert "█" in shown.stdout
    assert "20000" in shown.stdout
    assert (tmp_path / "bar.png").stat().st_size > 10_000
    told = json.loads(midspan("show", "bar", "--budget", "--json", folder=tmp_path).stdout)
    assert sum(part["portion"] for part in told["causes"]) == pytest.approx(1.0)
    assert told["agrees"] is True


def test_a_result_of_which_no_bench_was_kept_finds_it_with_its_readings_or_says_so(tmp_path, store_place):
    typed = readings(bench=TrueBench(noise=0.005), rng=np.random.default_rng(2))
    record = HandRecord(tmp_path / "hand.jsonl")
    place = record.begin(bench_file(), HandShaft(1, "bar", ""), started_ms=0)
    for each in typed:
        record.keep(place, each)
    session = session_at(record.path, place)
    with store_place.open() as store:
        add_result(store, run_of(1, "bar", archive="hand.jsonl", offset=place), evaluate_hand(session), NO_BANDS)
    told = json.loads(midspan("show", "bar", "--budget", "--json", folder=tmp_path).stdout)
    assert told["agrees"] is True
    record.path.rename(tmp_path / "elsewhere.jsonl")
    without = midspan("show", "bar", "--budget", folder=tmp_path)
    assert "█" in without.stdout
    assert "trials" not in without.stdout
    assert "hand.jsonl: " in without.stderr
    told = json.loads(midspan("show", "bar", "--budget", "--json", folder=tmp_path).stdout)
    assert told["trials"] is told["agrees"] is None


def test_results_made_again_under_another_bench_are_tried_under_it(tmp_path, monkeypatch):
    rows = [",".join((each.angle_deg, each.repeat, each.unloaded, each.loaded)) for each in readings()]
    (tmp_path / "read.csv").write_text("angle_deg,repeat,unloaded,loaded\n" + "\n".join(rows))
    monkeypatch.setattr("typer.prompt", lambda *_, default="", **__: default)
    midspan("hand", "measure", "--shaft", 1, "--label", "bar", "--csv", "read.csv", folder=tmp_path)
    text = (tmp_path / "hand-bench.toml").read_text()
    rough = text.replace('id = "hand-bench"', 'id = "rough"').replace("u_span_mm = 0.1", "u_span_mm = 2")
    (tmp_path / "rough.toml").write_text(rough)
    midspan("hand", "recompute", "--bench", "rough.toml", folder=tmp_path)
    told = json.loads(midspan("show", "bar", "--budget", "--json", folder=tmp_path).stdout)
    assert told["u_spine_thou"] > 4
    assert told["agrees"] is True
