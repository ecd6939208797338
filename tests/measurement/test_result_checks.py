"""What makes a result doubtful or the gauge faulty: each check just inside and just outside its limit."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from midspan.measurement.result import ShaftResult, doubts, evaluate, faults
from midspan.measurement.spine_budget import CAUSES
from synthetic import LOAD_N, Gauge, Shaft, paper_calibration, raw_run

CAL = paper_calibration(rotation={"u_relative": 0.02})
RUN = raw_run(Shaft(), Gauge(), np.random.default_rng(1))
(SOUND,) = evaluate([RUN], CAL)
FLOATS = [field.name for field in fields(ShaftResult) if isinstance(getattr(SOUND, field.name), float)]


def found(check, settled=True, **values):
    """Count the sentences that a check finds for the sound result with some values replaced."""
    result = replace(SOUND, **values)
    return len(doubts(result, settled, RUN, CAL) if check == "doubts" else faults(result, RUN, CAL))


def test_a_sound_result_has_neither():
    assert (found("doubts"), found("faults")) == (0, 0)
    assert len(FLOATS) > 25


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", FLOATS)
def test_every_figure_that_is_no_finite_number_is_a_fault_that_names_it(name, value):
    named = faults(replace(SOUND, **{name: value}), RUN, CAL)[0]
    assert name in named.replace(",", "").split()
    assert not set(FLOATS) - {name} & set(named.replace(",", "").split())


def test_all_figures_that_are_none_are_named():
    broken = ("spine_thou", "runout_mm", "load_n")
    (named,) = faults(replace(SOUND, **dict.fromkeys(broken, math.nan)), RUN, CAL)
    assert set(broken) <= set(named.replace(",", "").split())


def test_a_figure_that_may_be_none_is_no_fault():
    assert found("faults", stiff_side_deg=None, u_stiff_side_deg=None, dof_spine=None) == 0


# Scatter that turning is expected to add, twice of which is allowed beside four times that at rest.
NO_MORE = {"rest_scatter_n": 1e-3, "expected_scatter_n": 0.0}
MORE = {"rest_scatter_n": 1e-3, "expected_scatter_n": 1.5e-3}


@pytest.mark.parametrize(
    ("check", "inside", "outside"),
    [
        # A spike in a hundred readings is ordinary, more than one in twenty is not.
        ("doubts", {"left_out": 50, "readings": 950}, {"left_out": 51, "readings": 949}),
        ("doubts", {"turn_scatter_n": 0.00399} | NO_MORE, {"turn_scatter_n": 0.00401} | NO_MORE),
        ("doubts", {"turn_scatter_n": 0.00499} | MORE, {"turn_scatter_n": 0.00501} | MORE),
        ("doubts", {"skid_deg": 0.0}, {"skid_deg": 0.5}),
        ("doubts", {"turn_drift_n": 0.00099 * LOAD_N}, {"turn_drift_n": 0.00101 * LOAD_N}),
        ("doubts", {"turn_drift_n": -0.00099 * LOAD_N}, {"turn_drift_n": -0.00101 * LOAD_N}),
        ("doubts", {"load_n": 0.5001 * LOAD_N}, {"load_n": 0.4999 * LOAD_N}),
        ("doubts", {"load_n": 1.4999 * LOAD_N}, {"load_n": 1.5001 * LOAD_N}),
        ("doubts", {"once_per_turn_thou": 1.5}, {"once_per_turn_thou": 1.51}),
        # Four standard uncertainties of the roller's ratio: 8 % of 2 %.
        ("doubts", {"slip_pct": 7.99}, {"slip_pct": 8.01}),
        ("doubts", {"slip_pct": -7.99}, {"slip_pct": -8.01}),
        ("faults", {"rest_scatter_n": 1e-9}, {"rest_scatter_n": 0.0}),
        ("faults", {"zero_drift_n": 0.00499 * LOAD_N}, {"zero_drift_n": 0.00501 * LOAD_N}),
        ("faults", {"zero_drift_n": -0.00499 * LOAD_N}, {"zero_drift_n": -0.00501 * LOAD_N}),
    ],
)  # fmt: skip
def test_every_check_just_inside_and_just_outside_its_limit(check, inside, outside):
    base = {"turn_scatter_n": 0.0} if check == "faults" else {}
    assert found(check, **base | inside) == 0
    assert found(check, **base | outside) == 1


def test_a_fit_that_did_not_settle_is_a_doubt():
    assert found("doubts", settled=False) == 1


def test_what_speaks_against_a_result_stands_in_the_order_of_the_checks():
    worse = {"left_out": 100, "once_per_turn_thou": 3.0, "slip_pct": 20.0, "load_n": 0.1}
    values = doubts(replace(SOUND, **worse), False, RUN, CAL)
    assert len(values) == 5
    assert "9%" in values[0].replace(" ", "") or "10%" in values[0]
    assert "3.0" in values[2]
    assert "+20.0" in values[4]


def test_the_budget_of_a_result_has_each_cause_with_its_figures():
    parts = SOUND.budget.contributions
    assert [(part.name, part.unit) for part in parts] == list(CAUSES)
    for i, part in enumerate(parts):
        assert (part.u_input, part.sensitivity) == (SOUND.u_causes[i], SOUND.sensitivities[i])
        assert part.dof == (math.inf if SOUND.dof_causes[i] is None else SOUND.dof_causes[i])


def test_a_result_says_of_what_run_and_calibration_it_is():
    named = replace(RUN, shaft=12, label="a 12", started_ms=1_700_000_000_123, duration_ms=9, sampling_ms=7)
    (result,) = evaluate([named], CAL)
    assert (result.shaft, result.label, result.started_ms) == (12, "a 12", 1_700_000_000_123)
    assert (result.duration_ms, result.sampling_ms) == (9, 7)
    assert (result.gauge, result.calibration) == ("paper", "example")


def test_more_runs_than_go_into_one_batch_come_out_the_same():
    numbered = [replace(RUN, shaft=number) for number in range(130)]
    outcomes = evaluate(numbered, CAL)
    assert [outcome.shaft for outcome in outcomes] == list(range(130))
    assert {replace(outcome, shaft=RUN.shaft) == SOUND for outcome in outcomes} == {True}


@pytest.mark.parametrize("name", ["u_causes", "sensitivities", "dof_causes"])
def test_a_budget_of_other_causes_than_today_s_is_refused(name):
    with pytest.raises(ValueError, match="shorter"):
        _ = replace(SOUND, **{name: getattr(SOUND, name)[:-1]}).budget
