"""The watch on the gauge: silent on sound gauges, and it names what was done to the others."""

import re
from dataclasses import fields, replace

import numpy as np
import pytest
from gauges import identify
from hypothesis import given
from hypothesis import strategies as st
from midspan.archive.raw_run import Phase
from midspan.measurement.calibration import load_calibration
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import CycleSettings
from midspan.measurement.result import evaluate
from midspan.rehearsal import scenario
from midspan.sorting import gauge_health
from midspan.sorting.gauge_health import FIRST, RunSigns, WatchLimits, alarms, observe
from rig import gauge_on
from synthetic import COUNTS_PER_N, LOAD_N, Gauge, Shaft, drawn_gauge, paper_calibration, raw_run

pytestmark = pytest.mark.process

LIMITS = WatchLimits()
PAPER = paper_calibration()
CLEAN, SICK = 100, 3
# What is done to the gauge, and what the watch must call it.
INJECTED = [
    ("noise, five times the usual", {"noise_count": 225.0}, "CELL_NOISY"),
    ("noise beyond the limit from the first shaft on", {"noise_count": 1000.0}, "CELL_NOISY"),
    ("spikes", {"spike_chance": 0.2}, "CELL_NOISY"),
    ("a zero that runs away", {"zero_drift_count_per_s": 150.0}, "ZERO_DRIFT"),
    ("a zero that stepped", {"zero_count": 63_000.0}, "ZERO_DRIFT"),
    ("a roller that slips more than the rest of the night", {"slip": 0.028}, "ROLLER_SLIP"),
    ("a roller that slips beyond the limit", {"slip": 0.05}, "ROLLER_SLIP"),
    ("a clock off the nominal", {"rate_error": 0.12}, "RATE_OFF"),
    ("a clock that changed", {"rate_error": 0.045}, "RATE_OFF"),
    ("lost samples", {"drop_chance": 0.04}, "RATE_OFF"),
]
FROM_THE_FIRST = ("beyond the limit", "runs away", "off the nominal", "lost samples", "spikes")


def observed(folder, number, seed=1, **gauge):
    """Return the signs of shafts on the simulated gauge, with short turns: the watch looks at zeros, clock and slip."""
    stock = [new for new in scenario.shafts(number + 7, seed) if not new["label"].startswith("R")][:number]
    given = scenario.rehearsal(stock, seed)
    given["gauge"] = {**given["gauge"], **gauge}
    (folder / "gauge.toml").write_text(scenario.example_calibration(1))
    calibration = load_calibration(folder / "gauge.toml")
    with gauge_on(given, folder) as opened:
        found = opened.identify()
        steps = cycle_steps(calibration, found, CycleSettings(readings_per_turn=40))
        runs = []
        for shaft in stock:
            runs.append(opened.run(shaft["number"], "", steps))
            opened.acknowledge(shaft["number"])
    return [
        observe(run, result, calibration, found) for run, result in zip(runs, evaluate(runs, calibration), strict=True)
    ]


@pytest.fixture(scope="module")
def clean(tmp_path_factory):
    """Signs of a hundred shafts on a sound gauge."""
    return observed(tmp_path_factory.mktemp("clean"), CLEAN)


def test_a_sound_gauge_raises_no_alarm(clean):
    assert len(clean) == CLEAN
    assert [alarms(signs, clean[:i], LIMITS) for i, signs in enumerate(clean)] == [()] * CLEAN


@pytest.mark.parametrize(("what", "gauge", "code"), INJECTED, ids=[what for what, *_ in INJECTED])
def test_what_was_done_to_the_gauge_is_named(clean, tmp_path, what, gauge, code):
    sick = observed(tmp_path, SICK, seed=2, **gauge)
    found = [alarms(signs, clean, LIMITS) for signs in sick]
    assert {alarm.code for raised in found for alarm in raised} == {code}
    assert sum(map(bool, found)) >= SICK - 1  # the few readings of a zero may be spared by chance
    at_once = sum(bool(alarms(signs, [], LIMITS)) for signs in sick)
    assert at_once >= SICK - 1 if any(words in what for words in FROM_THE_FIRST) else at_once == 0


def on_paper(shafts, gauges, cell_n, rng):
    """Return the signs of shafts, each on its gauge and with this force on the empty cell."""
    runs = [raw_run(shaft, gauge, rng) for shaft, gauge in zip(shafts, gauges, strict=True)]
    runs = [
        replace(run, counts=run.counts + round(force * COUNTS_PER_N)) for run, force in zip(runs, cell_n, strict=True)
    ]
    return [observe(run, result, PAPER, identify()) for run, result in zip(runs, evaluate(runs, PAPER), strict=True)]


@pytest.mark.slow
def test_five_hundred_shafts_on_a_sound_paper_gauge_raise_no_alarm():
    """Watch another gauge, made without the simulation, whose zero wanders by four grams in the night."""
    rng = np.random.default_rng(5)
    gauge = drawn_gauge(rng)
    gauges = [replace(gauge, drift_n=rng.normal(0, 0.002)) for _ in range(500)]
    kinds = [
        Shaft(spine_thou=rng.uniform(480, 520), spread_thou=rng.uniform(0, 10), bow_mm=rng.uniform(0, 0.3))
        for _ in range(20)
    ]
    night = on_paper(kinds * 25, gauges, 0.04 * np.sin(np.linspace(0, np.pi, 500)), rng)
    assert [alarms(signs, night[:i], LIMITS) for i, signs in enumerate(night)] == [()] * 500


@pytest.mark.parametrize("wander_n", [0.12, -0.15])
def test_a_zero_that_wanders_through_the_night_is_found(wander_n):
    rng = np.random.default_rng(6)
    night = on_paper([Shaft()] * 41, [Gauge()] * 41, np.linspace(0, wander_n, 41), rng)
    found = [bool(alarms(signs, night[:i], LIMITS)) for i, signs in enumerate(night)]
    assert found[-1]
    assert found == sorted(found)  # it begins once and stays


def test_only_the_first_of_the_night_say_what_is_usual(clean):
    odd = [replace(signs, noise_n=0.0055, slip_pct=2.9) for signs in clean]
    assert alarms(clean[-1], clean[:FIRST] + odd, LIMITS) == ()
    # Four bad shafts among the first ten do not make bad signs usual.
    mixed = odd[:4] + clean[4:FIRST]
    assert alarms(clean[-1], mixed, LIMITS) == ()
    assert {alarm.code for alarm in alarms(odd[-1], mixed, LIMITS)} == {"CELL_NOISY", "ROLLER_SLIP"}


def test_a_shaft_that_cannot_show_its_slip_is_not_blamed(clean):
    unsure = replace(clean[-1], slip_pct=0.0, u_slip_pct=1.0)
    usual = [replace(signs, slip_pct=2.5) for signs in clean[:FIRST]]
    assert alarms(unsure, usual, LIMITS) == ()
    assert alarms(replace(unsure, u_slip_pct=0.1), usual, LIMITS)[0].code == "ROLLER_SLIP"


def test_a_run_without_a_result_still_tells_of_the_gauge(tmp_path):
    """Let the head meet no shaft: zeros before, clock and lost samples are known, the slip is not."""
    given = {"shafts": [{"number": 1, "fault": "absent"}], "gauge": {"noise_count": 1800.0}}
    (tmp_path / "gauge.toml").write_text(scenario.example_calibration(1))
    calibration = load_calibration(tmp_path / "gauge.toml")
    with gauge_on(given, tmp_path) as gauge:
        run = gauge.run(1, "", cycle_steps(calibration, gauge.identify(), CycleSettings()))
    (result,) = evaluate([run], calibration)
    now = observe(run, result, calibration)
    assert (run.cause, now.zero_drift_n, now.slip_pct, now.rate_off) == ("NO_CONTACT", None, None, None)
    assert [alarm.code for alarm in alarms(now, [], LIMITS)] == ["CELL_NOISY"]


@pytest.mark.parametrize(("degrees", "numbers"), [(21.0, []), (25.9, []), (26.1, ["26.1", "21.0"]),
                                                  (15.9, ["15.9", "21.0"]), (45.1, ["45.1", "-10", "45"]),
                                                  (None, [])])  # fmt: skip
def test_a_temperature_is_held_against_limits_and_the_evening(clean, degrees, numbers):
    usual = [replace(signs, temperature_c=21.0) for signs in clean[:FIRST]]
    of_a_chip = replace(clean[-1], temperature_c=degrees, coldest_c=None, warmest_c=None)  # one no calibration knows
    found = alarms(of_a_chip, usual, LIMITS)
    assert [alarm.code for alarm in found] == (["TEMPERATURE_OFF"] if numbers else [])
    assert [re.findall(r"-?[\d.]+", alarm.words) for alarm in found] == ([numbers] if numbers else [])


def test_an_observation_survives_the_journal(clean):
    assert RunSigns(**clean[0].as_dict()) == clean[0]


def figure(name):
    """Return a strategy for a figure of the signs."""
    return st.none() | st.floats(-10, 10) if name.startswith(("slip", "zero", "temp")) else st.none() | st.floats(0, 10)


@pytest.mark.slow
@given(st.lists(st.builds(RunSigns, **{f.name: figure(f.name) for f in fields(RunSigns)}), max_size=8))
def test_whatever_is_unknown_no_alarm_breaks_down(night):
    for i, now in enumerate(night):
        for alarm in alarms(now, night[:i], LIMITS):
            assert alarm.words
            assert "None" not in alarm.words
            assert "nan" not in alarm.words


@pytest.mark.slow
def test_short_zeros_of_a_sound_cell_hold_no_strays():
    """Watch ten thousand shafts with two zeros of 15 readings each, through a filter over four samples."""
    rng = np.random.default_rng(8)
    found = []
    for _ in range(10_000):
        zeros = [np.convolve(rng.normal(0, 90, 18), np.ones(4) / 4, "valid").round() for _ in range(2)]
        found.append(gauge_health._noise_of(zeros))
    scatter, strays = np.array(found).T
    assert np.mean(strays > LIMITS.strays) < 1e-3
    assert np.mean(scatter > LIMITS.noise_times * np.median(scatter)) == 0


# The reasons given for the defaults


def spines(gauge, number, change=lambda run: run):
    """Return the spines of a shaft measured again and again on a gauge."""
    rng = np.random.default_rng(7)
    results = evaluate([change(raw_run(Shaft(), gauge, rng)) for _ in range(number)], PAPER)
    return np.array([result.spine_thou for result in results])


def test_the_noise_limit_costs_what_its_reason_says():
    assert spines(Gauge(noise_n=LIMITS.noise_n), 100).std(ddof=1) == pytest.approx(0.05, rel=0.25)


def test_the_drift_limit_costs_what_its_reason_says():
    """Let the zero step by the limit between the light and the full depth."""

    def stepped(run):
        counts = run.counts.copy()
        counts[run.phase_slice(Phase.FULL).start :] += round(LIMITS.zero_drift_n * COUNTS_PER_N)
        return replace(run, counts=counts)

    off_thou = spines(Gauge(), 10, stepped).mean() - spines(Gauge(), 10).mean()
    assert abs(off_thou) == pytest.approx(0.4, abs=0.05)
    assert pytest.approx(LOAD_N / 1000, rel=0.05) == LIMITS.zero_drift_n
