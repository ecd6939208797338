"""Check standards: when a check is due, what makes it bad, and the shafts it puts in doubt.

The run rules themselves are compared with published charts in test_control_chart; here the newest reading is held
against them, and earlier signals are not repeated.
"""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from midspan.decision.decision import Outcome
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.sorting.check_standards import (
    CHECK_BIN,
    CHECK_OUT_OF_CONTROL,
    LIMIT_RULES,
    RUN_RULES,
    checked,
    due,
    good_since,
    in_doubt,
    verdict_on_check,
)
from midspan.sorting.plan import Checks, Standard
from midspan.store.transit import StandardCheck, Transit, TransitStage, WayStep
from midspan.study.control_chart import BEYOND, WEIGHT
from midspan.study.run_length import run_length
from night_rig import BAR, plan_with

STANDARD = Standard.model_validate(BAR)
MINUTE_MS = 60_000


def a_result(spine_thou, u=0.05, doubts=(), faults=(), temperature_c=None):
    """Return as much of a result as a check looks at."""
    found = object.__new__(ShaftResult)
    values = {"spine_thou": spine_thou, "u_spine_thou": u, "doubts": tuple(doubts), "faults": tuple(faults)}
    values["temperature_c"] = temperature_c
    for name, value in values.items():
        object.__setattr__(found, name, value)
    return found


def a_check(shaft, good=True, spine=500.0, at_ms=0, calibration="c", standard="bar 7"):
    """Return a check of a standard."""
    return StandardCheck(standard, at_ms, spine, 0.05, 500.0, 0.1, good, () if good else ("bad",), calibration, shaft)


def is_due(checks, shafts, now_ms=0, *, ending=False, **plan):
    """Return True if a check is due."""
    found = due(plan_with(standard=[BAR], checks=plan), checks, shafts, now_ms, ending=ending)
    return found is not None


def test_one_is_due_at_the_start_and_then_after_so_many_shafts_or_minutes():
    assert is_due([], [])
    fresh = [a_check(1)]
    assert not is_due(fresh, [2, 3], every_shafts=3)
    assert is_due(fresh, [2, 3, 4], every_shafts=3)
    assert not is_due(fresh, [], now_ms=59 * MINUTE_MS)
    assert is_due(fresh, [], now_ms=60 * MINUTE_MS)
    assert is_due(fresh, [], now_ms=-1)  # the clock was set back, so the time since the check is unknown


def test_one_is_due_before_the_end_when_shafts_came_after_the_last():
    assert not is_due([a_check(5)], [2, 3], ending=True)
    assert is_due([a_check(5)], [2, 3, 6], ending=True)


def test_after_a_bad_one_another_is_due_where_the_plan_stops_for_it():
    assert is_due([a_check(1, good=False)], [])
    assert not is_due([a_check(1, good=False)], [], bad_check="continue")


def test_each_standard_has_its_own_time():
    other = {**BAR, "name": "bar 8", "from": "hand"}
    plan = plan_with(standard=[BAR, other], sort={"attended": True})
    assert due(plan, [a_check(1)], [], 0, ending=False).name == "bar 8"


def reasons(result, history=(), **plan):
    """Return the reasons against a check, empty for a good one."""
    return checked(STANDARD, result, history, Checks(**plan), 7, "c").reasons


def test_a_bias_beyond_the_uncertainty_of_both_is_bad():
    # U = 2 sqrt(0.05^2 + 0.1^2) = 0.2236, by hand.
    assert reasons(a_result(500.223)) == ()
    (above,), (below,) = reasons(a_result(500.225)), reasons(a_result(499.7))
    assert re.findall(r"[-+\d.]+", above) == ["+0.23", "500", "0.22"]
    assert re.findall(r"[-+\d.]+", below) == ["-0.30", "500", "0.22"]
    assert reasons(a_result(float("nan"))) != ()


def test_what_speaks_against_the_reading_speaks_against_the_check():
    (unmeasured,) = reasons(Unmeasured(4, "bar 7", ("NO_CONTACT", "x")))
    assert unmeasured.endswith("NO_CONTACT; x")
    assert reasons(a_result(500.0, doubts=["noisy"], faults=["sick"])) == ("sick", "noisy")


def a_history(number=20, sigma=0.01, seed=3, **check):
    """Return checks that scatter about 500.05 thou."""
    values = 500.05 + np.random.default_rng(seed).normal(0, sigma, number)
    return [a_check(i, spine=float(value), **check) for i, value in enumerate(values)]


def test_a_reading_beyond_the_charts_limits_is_bad_long_before_the_bias_shows():
    # 12 sigma off and 0.17 thou from the assigned value, well within U.
    told = reasons(a_result(500.17), a_history())
    assert [reason.split(" (")[0].rpartition(": ")[2] for reason in told] == [BEYOND, "weighted mean outside"][
        : len(told)
    ]
    assert "500.170" in told[0]
    assert reasons(a_result(500.05), a_history()) == ()


def test_the_chart_holds_readings_of_this_standard_under_this_calibration():
    assert reasons(a_result(500.17), a_history(calibration="older")) == ()
    assert reasons(a_result(500.17), a_history(standard="bar 8")) == ()
    assert reasons(a_result(500.17), a_history(40, good=False)) == ()


def test_few_readings_make_provisional_limits_that_are_wider():
    assert reasons(a_result(500.17), a_history(4)) == ()
    (told, *_) = reasons(a_result(500.17), a_history(8))
    assert "8 of 20" in told
    # Student's t with 7 degrees of freedom beyond three sigma: 4.5 instead of 3 (table of t), times the root of 9/8.
    spread = np.std([check.spine_thou for check in a_history(8)], ddof=1)
    centre = np.mean([check.spine_thou for check in a_history(8)])
    assert reasons(a_result(centre + 4.7 * spread), a_history(8), rules="limits") == ()
    assert len(reasons(a_result(centre + 4.9 * spread), a_history(8), rules="limits")) == 1


def nights(number, each=7, between=0.03, within=0.01, seed=5):
    """Return good checks of several nights, whose means scatter by more than the checks of one night."""
    rng = np.random.default_rng(seed)
    values = 500.05 + np.repeat(rng.normal(0, between, number), each) + rng.normal(0, within, number * each)
    day_ms = 24 * 60 * MINUTE_MS
    return [
        a_check(i + 1, spine=float(value), at_ms=i // each * day_ms + i % each * 60 * MINUTE_MS)
        for i, value in enumerate(values)
    ]


def test_the_readings_of_one_night_do_not_limit_another():
    # Two nights do not show what a third adds; the first reading of it is held against the assigned value alone.
    day_ms = 24 * 60 * MINUTE_MS
    for known in (1, 2):
        found = checked(STANDARD, a_result(500.15), nights(known), Checks(), known * day_ms, "c")
        assert found.good, found.reasons
    # Three nights do: 0.05 is five times the scatter within a night and less than two of that between nights.
    found = checked(STANDARD, a_result(500.10), nights(4), Checks(), 4 * day_ms, "c")
    assert found.good, found.reasons
    assert not checked(STANDARD, a_result(501.0), nights(4), Checks(), 4 * day_ms, "c").good


def test_a_lasting_shift_stays_out_of_control_while_the_check_is_repeated():
    # Two and a half sigma: below the limits, but the mean does not forget the failed checks.
    history = a_history()
    failed = []
    for shaft in range(20, 60):
        check = checked(STANDARD, a_result(500.075), history, Checks(), 7, "c")
        history.append(replace(check, shaft=shaft))
        failed.append(not check.good)
    assert any(failed[:12])
    assert all(failed[failed.index(True) :])
    # Back at the centre, two more checks are enough.
    back = [checked(STANDARD, a_result(500.05), history, Checks(), 7, "c")]
    while not back[-1].good:
        history.append(replace(back[-1], shaft=60 + len(back)))
        back.append(checked(STANDARD, a_result(500.05), history, Checks(), 7, "c"))
    assert len(back) <= 8


def test_run_rules_see_a_small_shift_that_limits_do_not():
    shifted = a_history() + [a_check(20 + i, spine=500.07) for i in range(3)]  # two sigma
    assert reasons(a_result(500.07), shifted, rules="limits") == ()
    shown = reasons(a_result(500.07), shifted, rules="runs")
    assert any(rule in reason for reason in shown for rule in RUN_RULES - LIMIT_RULES)


def test_a_gauge_that_reads_the_same_every_time_is_no_good_check():
    assert len(reasons(a_result(500.0), [a_check(i) for i in range(20)])) == 1
    assert reasons(a_result(500.0), [a_check(i) for i in range(19)]) == ()


def test_the_verdict_judges_the_gauge():
    assert verdict_on_check(a_check(1)).bin == CHECK_BIN
    bad = verdict_on_check(a_check(1, good=False))
    assert (bad.outcome, bad.bin) == (Outcome.INSTRUMENT_FAULT, None)
    assert bad.reasons[0].startswith(f"{CHECK_OUT_OF_CONTROL}: ")
    assert bad.reasons[0].endswith("bar 7: bad")


def a_night():
    """Return shafts 1 to 9; 1, 4 and 7 are checks, and 5 was never measured."""
    return [
        Transit(
            i,
            1,
            "HOPPER",
            "bar 7" if i in (1, 4, 7) else None,
            0,
            () if i == 5 else (WayStep(TransitStage.JUDGED, 1, result=i),),
        )
        for i in range(1, 10)
    ]


@pytest.mark.parametrize(
    ("good", "before", "suspects"),
    [
        (True, [(1, True), (4, True)], []),
        (False, [(1, True), (4, True)], [6, 8, 9]),
        (False, [(1, True), (4, False)], [2, 3, 6, 8, 9]),
        (True, [(1, True), (4, False)], [6, 8, 9]),  # between a bad and a good check the gauge is unknown
        (False, [], [2, 3, 6, 8, 9]),
        (True, [], []),
    ],
)
def test_shafts_that_lie_between_two_good_checks_are_the_only_ones_above_doubt(good, before, suspects):
    history = [a_check(shaft, good=was) for shaft, was in before]
    history.append(a_check(2, good=False, standard="bar 8"))  # of another standard, which does not count
    assert in_doubt(good_since(a_check(10, good=good), history, Checks()), a_night()) == suspects


def test_a_shift_that_began_before_the_last_good_check_puts_the_shafts_since_then_in_doubt():
    # Twenty good checks, every tenth shaft; then the gauge reads two sigma high, which single checks let pass.
    history = [replace(check, shaft=10 * (i + 1)) for i, check in enumerate(a_history())]
    for i in range(20, 60):
        check = replace(checked(STANDARD, a_result(500.07), history, Checks(), 7, "c"), shaft=10 * (i + 1))
        if not check.good:
            break
        history.append(check)
    assert len(history) > 21
    assert good_since(check, history, Checks()) <= 200  # the last check before the shift
    assert good_since(check, history, Checks()) >= 150


@pytest.mark.slow
def test_a_good_gauge_is_stopped_as_seldom_as_stated():
    # Judged by the run rules with limits of 20 readings it was stopped at one look in twenty.
    rng = np.random.default_rng(23)
    looks = [
        checked(STANDARD, a_result(500.0 + rng.normal(0, 0.01)), [
            a_check(i + 1, spine=500.0 + rng.normal(0, 0.01)) for i in range(number)
        ], Checks(), 7, "c").good
        for number in (8, 20, 35) for _ in range(1000)
    ]  # fmt: skip
    stated = 1 / run_length(0.0, weight=WEIGHT)
    assert 1 - np.mean(looks) < stated + 3 * np.sqrt(stated / len(looks))


# --- temperature


@pytest.mark.parametrize(
    # Roark's table: steel 29.5e6 psi at 21 C and 28.8e6 at 93, so 0.33e-3 per K there and 0.28e-3 near 20; the section
    # grows by four expansions (11.7e-6, 23.4e-6). By hand for ten degrees at 500 thou.
    ("material", "change"),
    [("steel", 500 * (2.8e-3 - 0.468e-3)), ("aluminium", 500 * (5.5e-3 - 0.936e-3))],
)
def test_a_warm_bar_is_softer_and_accuses_no_gauge(material, change):
    warm = Standard.model_validate({**BAR, "material": material, "temperature_c": 20.0})
    found = checked(warm, a_result(500.0 + change, temperature_c=30.0), [], Checks(), 0, "c")
    assert (found.good, found.spine_thou) == (True, pytest.approx(500.0, abs=1e-6))
    assert not checked(STANDARD, a_result(500.0 + change, temperature_c=30.0), [], Checks(), 0, "c").good
    # The coefficient's own uncertainty is in U, so that of a value ten degrees away is larger.
    assert found.u_spine_thou > checked(warm, a_result(500.0, temperature_c=20.0), [], Checks(), 0, "c").u_spine_thou
    unknown = checked(warm, a_result(500.0 + change / 5), [], Checks(), 0, "c")
    assert (unknown.good, unknown.spine_thou) == (True, pytest.approx(500.0 + change / 5))


# --- other definitions


def test_an_assigned_value_of_an_earlier_version_accuses_no_gauge():
    older = Standard(name="bar 7", assigned_thou=500.0, u_assigned_thou=0.1)
    for reads in (500.0, 500.58, 501.16):  # its supports may have been anything from normal to vertical reactions
        found = checked(older, a_result(reads), [], Checks(), 0, "c")
        assert (found.good, round(found.assigned_thou, 2)) == (True, 500.58)
    assert not checked(older, a_result(502.0), [], Checks(), 0, "c").good
    assert older.conversion is not None
    assert (STANDARD.conversion, STANDARD.under_reference) == (None, (500.0, 0.1))


def test_a_chart_takes_older_readings_under_the_reference_condition():
    older = [replace(check, spine_thou=check.spine_thou + 0.06, shift_thou=-0.06) for check in a_history()]
    assert reasons(a_result(500.05), older) == ()
    assert len(reasons(a_result(500.11), older, rules="limits")) == 1
    lost = [replace(check, shift_thou=math.nan) for check in a_history()]
    assert [check.reference_thou for check in lost] == [None] * len(lost)
    assert "shift_thou" not in lost[0].columns()
