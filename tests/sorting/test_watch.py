"""The watch on the gauge: silent on sound ones, and it names what was done to the others."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.archive.raw_run import Phase
from midspan.measurement.calibration import load_calibration
from midspan.measurement.cycle_plan import plan_for
from midspan.measurement.result import evaluate
from midspan.rehearsal import scenario
from midspan.sorting.gauge_health import FIRST, RunSigns, WatchLimits, alarms, observe
from rig import gauge_on
from synthetic import COUNTS_PER_N, LOAD_N, Gauge, Shaft, drawn_gauge, paper_calibration, raw_run

LIMITS = WatchLimits()
PAPER = paper_calibration()
CLEAN, SICK = 100, 3
# What is done to the gauge, and what the watch must call it.
INJECTED = [
    ("noise, five times the usual", {"noise_count": 225.0}, "CELL_NOISY"),
    ("noise beyond the limit from the first shaft on", {"noise_count": 900.0}, "CELL_NOISY"),
    ("spikes", {"spike_chance": 0.25}, "CELL_NOISY"),
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
    """Shafts on the simulated gauge, with short turns: the watch looks at the zeros, the clock and the slip."""
    stock = [one for one in scenario.shafts(number + 7, seed) if not one["label"].startswith("R")][:number]
    given = scenario.rehearsal(stock, seed)
    given["gauge"] = {**given["gauge"], **gauge}
    (folder / "gauge.toml").write_text(scenario.example_calibration(1))
    calibration = load_calibration(folder / "gauge.toml")
    with gauge_on(given, folder) as one:
        identify = one.identify()
        plan = plan_for(calibration, identify)
        plan = replace(plan, rotate_speed=4 * plan.rotate_speed)
        runs = []
        for shaft in stock:
            runs.append(one.measure(shaft["number"], "", plan))
            one.acknowledge(shaft["number"])
    return [
        observe(run, result, calibration, identify.interval_us)
        for run, result in zip(runs, evaluate(runs, calibration), strict=True)
    ]


@pytest.fixture(scope="module")
def clean(tmp_path_factory):
    return observed(tmp_path_factory.mktemp("clean"), CLEAN)


def test_a_sound_gauge_raises_no_alarm(clean):
    assert len(clean) == CLEAN
    assert [alarms(one, clean[:i], LIMITS) for i, one in enumerate(clean)] == [()] * CLEAN


@pytest.mark.parametrize(("what", "gauge", "code"), INJECTED, ids=[what for what, *_ in INJECTED])
def test_what_was_done_to_the_gauge_is_named(clean, tmp_path, what, gauge, code):
    sick = observed(tmp_path, SICK, seed=2, **gauge)
    for one in sick:
        assert {alarm.code for alarm in alarms(one, clean, LIMITS)} == {code}
        assert bool(alarms(one, [], LIMITS)) == any(words in what for words in FROM_THE_FIRST)


def on_paper(shafts, gauges, cell_n, rng):
    """Observations of shafts, each on its gauge and with this force on the empty cell."""
    runs = [raw_run(shaft, gauge, rng) for shaft, gauge in zip(shafts, gauges, strict=True)]
    runs = [
        replace(run, counts=run.counts + round(force * COUNTS_PER_N)) for run, force in zip(runs, cell_n, strict=True)
    ]
    return [observe(run, result, PAPER, 12_500) for run, result in zip(runs, evaluate(runs, PAPER), strict=True)]


def test_five_hundred_shafts_on_a_sound_paper_gauge_raise_no_alarm():
    """Another gauge, made without the simulation, whose zero wanders by four grams in the night."""
    rng = np.random.default_rng(5)
    gauge = drawn_gauge(rng)
    gauges = [replace(gauge, drift_n=rng.normal(0, 0.002)) for _ in range(500)]
    kinds = [
        Shaft(spine_thou=rng.uniform(480, 520), spread_thou=rng.uniform(0, 10), bow_mm=rng.uniform(0, 0.3))
        for _ in range(20)
    ]
    night = on_paper(kinds * 25, gauges, 0.04 * np.sin(np.linspace(0, np.pi, 500)), rng)
    assert [alarms(one, night[:i], LIMITS) for i, one in enumerate(night)] == [()] * 500


@pytest.mark.parametrize("wander_n", [0.12, -0.15])
def test_a_zero_that_wanders_through_the_night_is_found(wander_n):
    rng = np.random.default_rng(6)
    night = on_paper([Shaft()] * 41, [Gauge()] * 41, np.linspace(0, wander_n, 41), rng)
    found = [bool(alarms(one, night[:i], LIMITS)) for i, one in enumerate(night)]
    assert found[-1]
    assert found == sorted(found)  # it begins once and stays


def test_only_the_first_of_the_night_say_what_is_usual(clean):
    odd = [replace(one, noise_n=0.0055, slip_pct=2.9) for one in clean]
    assert alarms(clean[-1], clean[:FIRST] + odd, LIMITS) == ()
    # Four bad ones among the first ten do not make the bad usual.
    mixed = odd[:4] + clean[4:FIRST]
    assert alarms(clean[-1], mixed, LIMITS) == ()
    assert {alarm.code for alarm in alarms(odd[-1], mixed, LIMITS)} == {"CELL_NOISY", "ROLLER_SLIP"}


def test_a_shaft_that_cannot_show_its_slip_is_not_blamed(clean):
    unsure = replace(clean[-1], slip_pct=0.0, u_slip_pct=1.0)
    usual = [replace(one, slip_pct=2.5) for one in clean[:FIRST]]
    assert alarms(unsure, usual, LIMITS) == ()
    assert alarms(replace(unsure, u_slip_pct=0.1), usual, LIMITS)[0].code == "ROLLER_SLIP"


def test_a_run_without_a_result_still_tells_of_the_gauge(tmp_path):
    """The head met no shaft: zeros before, clock and lost samples are known, the slip is not."""
    given = {"shafts": [{"number": 1, "fault": "absent"}], "gauge": {"noise_count": 900.0}}
    (tmp_path / "gauge.toml").write_text(scenario.example_calibration(1))
    calibration = load_calibration(tmp_path / "gauge.toml")
    with gauge_on(given, tmp_path) as gauge:
        run = gauge.measure(1, "", plan_for(calibration, gauge.identify()))
    (result,) = evaluate([run], calibration)
    now = observe(run, result, calibration)
    assert (run.cause, now.zero_drift_n, now.slip_pct, now.rate_off) == ("NO_CONTACT", None, None, None)
    assert [alarm.code for alarm in alarms(now, [], LIMITS)] == ["CELL_NOISY"]


@pytest.mark.parametrize(("degrees", "alarm"), [(21.0, ""), (25.9, ""), (26.1, "at first it was 21.0"),
                                                (15.9, "at first it was 21.0"), (45.1, "outside -10 to 45"),
                                                (None, "")])  # fmt: skip
def test_a_temperature_is_held_against_limits_and_the_evening(clean, degrees, alarm):
    usual = [replace(one, temperature_c=21.0) for one in clean[:FIRST]]
    found = alarms(replace(clean[-1], temperature_c=degrees), usual, LIMITS)
    assert [one.code for one in found] == (["TEMPERATURE_OFF"] if alarm else [])
    assert all(alarm in one.words for one in found)


def test_an_observation_survives_the_journal(clean):
    assert RunSigns(**clean[0].as_dict()) == clean[0]


def figure(name):
    return st.none() | st.floats(-10, 10) if name.startswith(("slip", "zero", "temp")) else st.none() | st.floats(0, 10)


@given(st.lists(st.builds(RunSigns, **{f.name: figure(f.name) for f in fields(RunSigns)}), max_size=8))
def test_whatever_is_unknown_no_alarm_breaks_down(night):
    for i, now in enumerate(night):
        for alarm in alarms(now, night[:i], LIMITS):
            assert alarm.words
            assert "None" not in alarm.words
            assert "nan" not in alarm.words


# The reasons given for the defaults


def spines(gauge, number, change=lambda run: run):
    rng = np.random.default_rng(7)
    results = evaluate([change(raw_run(Shaft(), gauge, rng)) for _ in range(number)], PAPER)
    return np.array([one.spine_thou for one in results])


def test_the_noise_limit_costs_what_its_reason_says():
    assert spines(Gauge(noise_n=LIMITS.noise_n), 100).std(ddof=1) == pytest.approx(0.05, rel=0.25)


def test_the_drift_limit_costs_what_its_reason_says():
    """The zero steps by the limit between the light and the full depth."""

    def stepped(run):
        counts = run.counts.copy()
        counts[run.phase_slice(Phase.FULL).start :] += round(LIMITS.zero_drift_n * COUNTS_PER_N)
        return replace(run, counts=counts)

    off_thou = spines(Gauge(), 10, stepped).mean() - spines(Gauge(), 10).mean()
    assert abs(off_thou) == pytest.approx(0.4, abs=0.05)
    assert pytest.approx(LOAD_N / 1000, rel=0.05) == LIMITS.zero_drift_n
