"""Check standards: when due, what makes one bad, and whom it puts in doubt.

The run rules themselves are held to published charts in test_control_chart; here, that the newest reading is held
against them and old trouble is not told again.
"""

import numpy as np
import pytest
from midspan.decision.decision import Outcome
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.sorting.check_standards import CHECK_BIN, checked, due, in_doubt, verdict_on_check
from midspan.sorting.plan import Checks, Standard
from midspan.store.transit import StandardCheck, Step, Transit, TransitStage
from night_rig import BAR, plan_with

STANDARD = Standard.model_validate(BAR)
MINUTE_MS = 60_000


def a_result(spine_thou, u=0.05, doubts=(), faults=()):
    """As much of a result as a check looks at."""
    found = object.__new__(ShaftResult)
    values = {"spine_thou": spine_thou, "u_spine_thou": u, "doubts": tuple(doubts), "faults": tuple(faults)}
    for name, value in values.items():
        object.__setattr__(found, name, value)
    return found


def a_check(shaft, good=True, spine=500.0, at_ms=0, calibration="c", standard="bar 7"):
    return StandardCheck(standard, at_ms, spine, 0.05, 500.0, 0.1, good, () if good else ("bad",), calibration, shaft)


def is_due(checks, shafts, now_ms=0, *, ending=False, **plan):
    found = due(plan_with(standard=[BAR], checks=plan), checks, shafts, now_ms, ending=ending)
    return found is not None


def test_one_is_due_at_the_start_and_then_after_so_many_shafts_or_minutes():
    assert is_due([], [])
    fresh = [a_check(1)]
    assert not is_due(fresh, [2, 3], every_shafts=3)
    assert is_due(fresh, [2, 3, 4], every_shafts=3)
    assert not is_due(fresh, [], now_ms=59 * MINUTE_MS)
    assert is_due(fresh, [], now_ms=60 * MINUTE_MS)
    assert is_due(fresh, [], now_ms=-1)  # the clock was set back: who knows how long it is


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
    return checked(STANDARD, result, history, Checks(**plan), 7, "c").reasons


def test_a_bias_beyond_the_uncertainty_of_both_is_bad():
    # U = 2 sqrt(0.05^2 + 0.1^2) = 0.2236, by hand.
    assert reasons(a_result(500.223)) == ()
    assert reasons(a_result(500.225)) == ("it reads +0.23 thou beside its assigned value 500, U is 0.22",)
    assert reasons(a_result(499.7))[0].startswith("it reads -0.30 thou")
    assert reasons(a_result(float("nan"))) != ()


def test_what_speaks_against_the_reading_speaks_against_the_check():
    assert reasons(Unmeasured(4, "bar 7", ("NO_CONTACT", "x"))) == ("it could not be measured: NO_CONTACT; x",)
    assert reasons(a_result(500.0, doubts=["noisy"], faults=["sick"])) == ("sick", "noisy")


def a_history(number=20, sigma=0.01, seed=3, **check):
    values = 500.05 + np.random.default_rng(seed).normal(0, sigma, number)
    return [a_check(i, spine=float(value), **check) for i, value in enumerate(values)]


def test_a_reading_beyond_the_charts_limits_is_bad_long_before_the_bias_shows():
    # 12 sigma off and 0.17 thou from the assigned value, well within U.
    (told,) = reasons(a_result(500.17), a_history())
    assert told.startswith("its chart shows: beyond the limits (500.170 thou, limits ")
    assert reasons(a_result(500.05), a_history()) == ()


def test_the_chart_waits_until_it_has_readings_of_this_standard_under_this_calibration():
    assert reasons(a_result(500.17), a_history(19)) == ()
    assert reasons(a_result(500.17), a_history(calibration="older")) == ()
    assert reasons(a_result(500.17), a_history(standard="bar 8")) == ()
    assert reasons(a_result(500.17), a_history(40, good=False)) == ()


def test_run_rules_see_a_small_shift_that_limits_do_not():
    shifted = a_history() + [a_check(20 + i, spine=500.07) for i in range(3)]  # two sigma
    assert reasons(a_result(500.07), shifted, rules="limits") == ()
    assert any("on one side" in one for one in reasons(a_result(500.07), shifted, rules="runs"))


def test_a_gauge_that_reads_the_same_every_time_is_told():
    (told,) = reasons(a_result(500.0), [a_check(i) for i in range(20)])
    assert "read the same every time" in told


def test_the_verdict_judges_the_gauge():
    assert verdict_on_check(a_check(1)).bin == CHECK_BIN
    bad = verdict_on_check(a_check(1, good=False))
    assert (bad.outcome, bad.bin) == (Outcome.INSTRUMENT_FAULT, None)
    assert bad.reasons == ("CHECK_OUT_OF_CONTROL: check standard bar 7: bad",)


def a_night():
    """Shafts 1 to 9; 1, 4 and 7 are checks; 5 was never measured."""
    return [
        Transit(
            i,
            1,
            "HOPPER",
            "bar 7" if i in (1, 4, 7) else None,
            0,
            () if i == 5 else (Step(TransitStage.JUDGED, 1, result=i),),
        )
        for i in range(1, 10)
    ]


@pytest.mark.parametrize(
    ("good", "before", "suspects"),
    [
        (True, [(1, True), (4, True)], []),
        (False, [(1, True), (4, True)], [6, 8, 9]),
        (False, [(1, True), (4, False)], [2, 3, 6, 8, 9]),
        (True, [(1, True), (4, False)], [6, 8, 9]),  # between a bad and a good one nobody knows
        (False, [], [2, 3, 6, 8, 9]),
        (True, [], []),
    ],
)
def test_shafts_that_lie_between_two_good_checks_are_the_only_ones_above_doubt(good, before, suspects):
    history = [a_check(shaft, good=was) for shaft, was in before]
    history.append(a_check(2, good=False, standard="bar 8"))  # another's trouble
    assert in_doubt(a_check(10, good=good), history, a_night()) == suspects
