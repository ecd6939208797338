"""Every limit of a sorting run from both sides: its plan, its watch, its pauses, its counts and its checks.

The numbers are those of the plan's reference and of each limit's reason in the code; they are written down here once
more, so that none changes by accident.
"""

import copy
import errno
import math
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from gauges import identify
from midspan.archive.raw_run import COLUMNS
from midspan.archive.reader import Archive
from midspan.base.errors import (
    ArchiveError,
    ArchiveGone,
    ConfigurationError,
    LinkError,
    MidspanError,
    ParkingError,
    StoreError,
    StoreGone,
)
from midspan.decision.decision import Outcome
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.sorting.check_standards import due, good_since, in_doubt
from midspan.sorting.gauge_health import RunSigns, WatchLimits, alarms, observe
from midspan.sorting.night_archive import NightArchive
from midspan.sorting.night_settings import Spell, changes, settings, spells
from midspan.sorting.park import same_shaft, stiff_side
from midspan.sorting.plan import EXAMPLE, Checks, SortPlan, Stops
from midspan.sorting.readings_gone import newest_marker
from midspan.sorting.retry import RetryPolicy, fault_of
from midspan.sorting.tally import Tally, tally_of
from midspan.store.transit import RunEvent, RunEventKind, StandardCheck, Transit, TransitStage, WayStep
from night_rig import BAR, CRACKED, RECHECK, RETURN, STIFFER, plan_with
from pretend import readings
from pydantic import ValidationError
from synthetic import paper_calibration

# --- the plan

# Section, key, the largest value refused, the smallest and the largest taken, the smallest refused.
WHOLE_NUMBERS = [
    ("sort", "measure_again", 0, 10), ("sort", "loaded", 1, 10_000),
    ("checks", "every_shafts", 1, 10_000), ("checks", "every_minutes", 1, 10_000), ("checks", "chart_after", 5, 1000),
    ("stop", "shafts", 1, 10_000), ("stop", "faults_in_a_row", 1, 10_000), ("stop", "rechecks_in_a_row", 1, 10_000),
    ("stop", "uncertain_in_a_row", 1, 10_000), ("stop", "alarms_in_a_row", 1, 10_000),
]  # fmt: skip
ABOVE_ZERO = [("sort", "crack_hysteresis_pct", 100), ("stop", "hours", 168), ("stop", "wait_minutes", 10_000)]
LIMITS = {
    "noise_n": 0.006, "noise_times": 3.0, "strays": 0.1, "zero_drift_n": 0.009, "zero_change_n": 0.1, "rate_off": 0.1,
    "rate_change": 0.02, "missed": 0.02, "slip_pct": 3.0, "slip_change_pct": 2.0, "temperature_c": (-10.0, 45.0),
    "temperature_change_k": 5.0, "free_bytes": 8192.0, "longest_turn_ms": 25.0,
}  # fmt: skip


def with_value(section, key, value):
    """Return the example of a plan with one value changed."""
    content = copy.deepcopy(EXAMPLE)
    content.setdefault(section, {})[key] = value
    return SortPlan.model_validate(content)


@pytest.mark.parametrize(("section", "key", "least", "most"), WHOLE_NUMBERS)
def test_a_number_of_the_plan_is_taken_up_to_both_ends_and_not_beyond(section, key, least, most):
    for value in (least, most):
        assert getattr(getattr(with_value(section, key, value), section), key) == value
    for value in (least - 1, most + 1):
        with pytest.raises(ValidationError):
            with_value(section, key, value)


@pytest.mark.parametrize(("section", "key", "most"), ABOVE_ZERO)
def test_a_number_of_the_plan_is_above_zero_and_no_larger_than_its_limit(section, key, most):
    for value in (1e-9, float(most)):
        assert getattr(getattr(with_value(section, key, value), section), key) == value
    for value in (0.0, most + 0.001, math.nan):
        with pytest.raises(ValidationError):
            with_value(section, key, value)


def test_a_factor_of_coverage_lies_between_1_and_4():
    for value in (1.0, 4.0):
        assert with_value("checks", "coverage_factor", value).checks.coverage_factor == value
    for value in (0.999, 4.001):
        with pytest.raises(ValidationError):
            with_value("checks", "coverage_factor", value)


def test_what_a_plan_leaves_out_has_its_value():
    plan = SortPlan.model_validate(EXAMPLE)
    assert plan.checks == Checks(
        every_shafts=50, every_minutes=60, bad_check="stop", chart_after=20, rules="weighted", coverage_factor=2.0
    )
    assert plan.stop == Stops(
        shafts=None, hours=None, faults_in_a_row=3, rechecks_in_a_row=10, uncertain_in_a_row=3, alarms_in_a_row=5,
        wait_minutes=30.0,
    )  # fmt: skip
    assert plan.watch.model_dump() == WatchLimits().model_dump() == LIMITS
    sort = plan.sort
    assert (sort.measure_again, sort.attended, sort.loaded) == (1, False, None)
    assert (sort.archive, sort.store) == ("readings.avro", "results.db")


@pytest.mark.parametrize(
    ("key", "least", "most", "beyond"), [("number", 1, 64, (0, 65)), ("holds", 1, 10_000, (0, 10_001))]
)
def test_a_place_has_a_number_and_holds_shafts(key, least, most, beyond):
    def changed(value):
        content = copy.deepcopy(EXAMPLE)
        content["place"][0][key] = value
        for place, number in zip(content["place"][1:], (20, 21, 22), strict=True):
            place["number"] = number
        return SortPlan.model_validate(content).place[0]

    assert [getattr(changed(value), key) for value in (least, most)] == [least, most]
    for value in beyond:
        with pytest.raises(ValidationError):
            changed(value)


@pytest.mark.parametrize(
    ("key", "taken", "refused"),
    [
        ("assigned_thou", (50.0, 5000.0), (49.99, 5000.01)),
        ("u_assigned_thou", (0.001, 100.0), (0.0, 100.01)),
        ("name", ("b", "b" * 32), ("", "b" * 33)),
    ],
)
def test_a_standard_has_a_name_and_a_value_that_shafts_have(key, taken, refused):
    for value in taken:
        assert getattr(plan_with(standard=[{**BAR, key: value}]).standard[0], key) == value
    for value in refused:
        with pytest.raises((ValidationError, ConfigurationError)):
            plan_with(standard=[{**BAR, key: value}])


@pytest.mark.parametrize("harm", ["number", "use", "missing", "both", "neither", "holds", "return"])
def test_a_plan_whose_places_contradict_each_other_is_refused(harm):
    content = copy.deepcopy(EXAMPLE)
    places = content["place"]
    changes_of = {
        "number": lambda: places[1].update(number=1), "use": lambda: places[1].update(use="rejected"),
        "missing": places.pop, "both": lambda: places[0].update(use="standard"),
        "neither": lambda: places[0].pop("bin"), "holds": lambda: places[0].pop("holds"),
        "return": lambda: places.append({"number": 5, "use": "standard", "holds": 3}),
    }  # fmt: skip
    changes_of[harm]()
    with pytest.raises(ValidationError):
        SortPlan.model_validate(content)


def test_the_places_of_a_plan_are_found_by_bin_use_and_number():
    plan = SortPlan.model_validate(EXAMPLE)
    assert (plan.bin_places("500"), plan.bin_places("510")) == ([1], [])
    assert [plan.bin_of(number) for number in (1, 2, 9)] == ["500", None, None]
    assert [plan.place_for(use).number for use in ("recheck", "rejected", "cracked")] == [2, 3, 4]
    with pytest.raises(ConfigurationError):
        plan.place_for("standard")


# --- the watch

QUIET = RunSigns(
    zero_n=1.0, zero_drift_n=0.0, noise_n=0.001, strays=0.0, interval_us=12500.0, rate_off=0.0, missed=0.0,
    slip_pct=0.0, u_slip_pct=0.0, temperature_c=20.0,
)  # fmt: skip
# Sign, values at which nothing is said, values at which the alarm is raised.
ABSOLUTE = [
    ("noise_n", (0.003, 0.006), (0.0061,), "CELL_NOISY"),
    ("strays", (0.1,), (0.101,), "CELL_NOISY"),
    ("zero_drift_n", (0.009, -0.009), (0.0091, -0.0091), "ZERO_DRIFT"),
    ("rate_off", (0.1, -0.1), (0.101, -0.101), "RATE_OFF"),
    ("missed", (0.02,), (0.021,), "RATE_OFF"),
    ("slip_pct", (3.0, -3.0), (3.01, -3.01), "ROLLER_SLIP"),
    ("temperature_c", (-10.0, 45.0), (-10.1, 45.1), "TEMPERATURE_OFF"),
]
RELATIVE = [
    ("noise_n", (0.003,), (0.00301,), "CELL_NOISY"),
    ("zero_n", (1.0999, 0.9001), (1.101, 0.899), "ZERO_DRIFT"),
    ("interval_us", (12500 / 1.0199, 12500 / 0.9801), (12500 / 1.021, 12500 / 0.979), "RATE_OFF"),
    ("slip_pct", (2.0, -2.0), (2.01, -2.01), "ROLLER_SLIP"),
    ("temperature_c", (25.0, 15.0), (25.1, 14.9), "TEMPERATURE_OFF"),
]


def raised(before, **signs):
    return [alarm.code.name for alarm in alarms(replace(QUIET, **signs), before, WatchLimits())]


@pytest.mark.parametrize(("sign", "quiet", "loud", "code"), ABSOLUTE)
def test_a_sign_raises_its_alarm_beyond_its_limit_from_the_first_shaft_on(sign, quiet, loud, code):
    assert [raised([], **{sign: value}) for value in quiet] == [[]] * len(quiet)
    assert [raised([], **{sign: value}) for value in loud] == [[code]] * len(loud)


@pytest.mark.parametrize(("sign", "quiet", "loud", "code"), RELATIVE)
def test_a_sign_raises_its_alarm_where_it_left_what_was_usual(sign, quiet, loud, code):
    for before in ([QUIET] * 5, [QUIET] * 10 + [replace(QUIET, **{sign: loud[0]})] * 30):
        assert [raised(before, **{sign: value}) for value in quiet] == [[]] * len(quiet)
        assert [raised(before, **{sign: value}) for value in loud] == [[code]] * len(loud)
    assert [raised([QUIET] * 4, **{sign: value}) for value in loud] == [[]] * len(loud)  # too few say what is usual


def test_alarms_of_the_rate_name_both_rates():
    (alarm,) = alarms(replace(QUIET, interval_us=10_000.0), [QUIET] * 5, WatchLimits())
    assert re.findall(r"[\d.]+\d", alarm.words) == ["100.0", "80.0"]


@pytest.mark.parametrize(
    ("sign", "quiet", "loud", "worse"),
    [("free_bytes", 8192.0, 8191.0, 8190.0), ("longest_turn_ms", 25.0, 25.1, 25.2)],
)
def test_a_board_short_of_memory_or_time_raises_an_alarm_each_time_that_it_becomes_worse(sign, quiet, loud, worse):
    assert raised([], **{sign: quiet}) == raised([], **{sign: None}) == []
    for before in ([], [QUIET] * 10, [replace(QUIET, **{sign: quiet})]):
        assert raised(before, **{sign: loud}) == ["BOARD_STRAINED"]
    told = [QUIET] * 10 + [replace(QUIET, **{sign: loud})]
    assert [raised(told, **{sign: value}) for value in (loud, quiet, worse)] == [[], [], ["BOARD_STRAINED"]]


@pytest.mark.parametrize("field", [name for name in WatchLimits.model_fields if name != "temperature_c"])
def test_a_limit_is_above_zero(field):
    for refused in (0.0, -0.5):
        with pytest.raises(ValidationError):
            WatchLimits.model_validate({field: refused})
    assert getattr(WatchLimits.model_validate({field: 1e-9}), field) == 1e-9


def test_a_slip_counts_where_it_is_beyond_twice_its_own_uncertainty():
    assert raised([], slip_pct=4.0, u_slip_pct=0.5) == []
    assert raised([], slip_pct=4.01, u_slip_pct=0.5) == ["ROLLER_SLIP"]
    assert raised([QUIET] * 5, slip_pct=3.0, u_slip_pct=0.5) == []
    assert raised([QUIET] * 5, slip_pct=3.01, u_slip_pct=0.5) == ["ROLLER_SLIP"]


# --- pauses and faults


def test_pauses_double_up_to_a_quarter_of_a_minute_until_patience_ends():
    policy = RetryPolicy(100.0)
    assert policy.lasts_s(5.0) == 0.0
    pauses = [policy.pause_s(10.0) for _ in range(9)]
    assert pauses == [0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 15.0, 15.0, 15.0]
    assert policy.lasts_s(25.0) == 15.0
    assert policy.pause_s(109.999) == 15.0
    assert policy.pause_s(110.0) is None
    policy.clear()
    assert policy.lasts_s(200.0) == 0.0
    assert policy.pause_s(200.0) == 0.25


def test_a_person_is_called_once_a_minute_after_it_began():
    policy = RetryPolicy(1000.0)
    assert not policy.calls_now(100.0)
    policy.pause_s(100.0)
    assert [policy.calls_now(now_s) for now_s in (159.9, 160.0, 170.0)] == [False, True, False]
    policy.clear()
    policy.pause_s(200.0)
    assert [policy.calls_now(now_s) for now_s in (259.9, 260.0)] == [False, True]


def caused(error, cause):
    """Return an error as it is when another was its cause."""
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "fault"),
    [
        (LinkError("gone"), "PORT_LOST"),
        (ArchiveGone("gone"), "ARCHIVE_GONE"),
        (StoreGone("gone"), "STORE_GONE"),
        (StoreError("something"), None),
        (caused(ArchiveError("full"), OSError(errno.ENOSPC, "no room")), "DISK_FULL"),
        (caused(ArchiveError("full"), OSError(errno.EDQUOT, "quota")), "DISK_FULL"),
        (caused(ArchiveError("short"), OSError("only 3 of 9 bytes")), "DISK_FULL"),
        (caused(ArchiveError("rights"), OSError(errno.EACCES, "rights")), None),
        (ArchiveError("foreign"), None),
        (caused(MidspanError("other"), OSError(errno.ENOSPC, "no room")), None),
    ],
)
def test_an_error_that_may_pass_has_its_fault(error, fault):
    assert fault_of(error) == fault


# --- counts


def gone(shaft, stage=TransitStage.IN_BIN, *, place=STIFFER, standard=None, before=(), passed=1):
    end = WayStep(stage, 9, place=place, passed=passed)
    return Transit(shaft, 1, "SLOT" if standard else "HOPPER", standard, 0, (*before, end))


UNFIT = (WayStep(TransitStage.IN_GAUGE, 1, words="TWO_SHAFTS"),)
PLAN = plan_with(standard=[BAR])


def test_shafts_are_counted_where_they_fell():
    tally = Tally(PLAN)
    tally.end(gone(1), Outcome.ACCEPTED, alarmed=False)
    tally.end(gone(2, before=UNFIT, place=RECHECK), None, alarmed=False)  # two, whatever the chute saw
    tally.end(gone(3, passed=3), Outcome.REJECTED, alarmed=False)
    tally.end(gone(4, TransitStage.NO_SHAFT, place=None), None, alarmed=False)
    tally.end(gone(5, TransitStage.TAKEN_OUT), None, alarmed=False)
    tally.end(gone(6, TransitStage.UNCERTAIN, place=CRACKED, passed=0), Outcome.ACCEPTED, alarmed=False)
    tally.end(gone(7, standard="bar 7", place=RETURN), Outcome.ACCEPTED, alarmed=False)
    assert tally.places == Counter({STIFFER: 4, RECHECK: 2, CRACKED: 1})
    assert tally.shafts == 8
    tally.empty(STIFFER)
    assert tally.places[STIFFER] == 0


ROWS = [
    (3, gone(1), Outcome.INSTRUMENT_FAULT, False),
    (10, gone(1, place=RECHECK), Outcome.DOUBTFUL, False),
    (3, gone(1, TransitStage.UNCERTAIN), Outcome.ACCEPTED, False),
    (5, gone(1), Outcome.ACCEPTED, True),
    (3, gone(1, TransitStage.NO_SHAFT, place=None), None, False),
]


@pytest.mark.parametrize(("times", "transit", "outcome", "alarmed"), ROWS)
def test_trouble_in_a_row_stops_the_run_and_one_sound_shaft_between_does_not(times, transit, outcome, alarmed):
    tally = Tally(PLAN)
    for _ in range(times - 1):
        tally.end(transit, outcome, alarmed=alarmed)
    assert tally.trouble() == ""
    tally.end(gone(2), Outcome.ACCEPTED, alarmed=False)
    for _ in range(times - 1):
        tally.end(transit, outcome, alarmed=alarmed)
    assert tally.trouble() == ""
    tally.end(transit, outcome, alarmed=alarmed)
    assert str(times) in tally.trouble()


def test_a_run_ends_as_planned_at_its_number_of_shafts_or_hours():
    tally = Tally(plan_with(stop={"shafts": 2, "hours": 1.5}))
    tally.end(gone(1), Outcome.ACCEPTED, alarmed=False)
    assert (tally.planned_end(1.49) != "", tally.planned_end(1.5) != "") == (False, True)
    tally.end(gone(2), Outcome.ACCEPTED, alarmed=False)
    assert tally.planned_end(0.0) != ""
    assert Tally(plan_with()).planned_end(1e6) == ""


def test_a_tally_is_made_again_from_the_journal():
    events = [
        RunEvent(RunEventKind.ALARM, "noise", 1, shaft=2),
        RunEvent(RunEventKind.EMPTIED, "", 1, shaft=2, place=STIFFER),
        RunEvent(RunEventKind.FULL, "", 1, shaft=1, place=STIFFER), RunEvent(RunEventKind.EMPTIED, "", 1, shaft=3),
    ]  # fmt: skip
    judged = (WayStep(TransitStage.JUDGED, 1, result=11),)
    transits = [gone(1), gone(2, before=judged), gone(3), Transit(4, 1, "HOPPER", None, 0, judged)]
    tally = tally_of(PLAN, transits[:2], {11: Outcome.REJECTED}, events)
    assert (tally.places[STIFFER], tally.in_a_row["alarms"]) == (0, 1)
    tally = tally_of(PLAN, transits, {11: Outcome.REJECTED}, events)
    assert tally.places == Counter({STIFFER: 1})
    assert (tally.shafts, tally.in_a_row["alarms"]) == (3, 0)
    first = RunEvent(RunEventKind.EMPTIED, "", 1, place=STIFFER)  # before any shaft
    assert tally_of(PLAN, transits, {}, [first]).places == Counter({STIFFER: 3})


# --- check standards


def a_check(shaft, *, good=True, at_ms=0, standard="bar 7"):
    return StandardCheck(standard, at_ms, 500.0, 0.05, 500.0, 0.1, good, () if good else ("bad",), "c", shaft)


def test_a_check_is_due_by_shafts_above_the_last_and_by_minutes():
    def is_due(checks, shafts, now_ms=0, *, ending=False):
        plan = plan_with(standard=[BAR], checks={"every_shafts": 2, "every_minutes": 10})
        return due(plan, checks, shafts, now_ms, ending=ending) is not None

    last = [a_check(9, good=False), a_check(5, at_ms=1000)]
    assert not is_due(last, [4, 5, 6], 1000)
    assert is_due(last, [6, 7], 1000)
    assert not is_due(last, [], 1000 + 599_999)
    assert is_due(last, [], 1000 + 600_000)
    assert is_due(last, [], 999)
    assert is_due(last, [6], 1000, ending=True)
    assert not is_due(last, [5], 1000, ending=True)
    assert is_due([a_check(None)], [1, 2])


def test_shafts_between_a_good_and_a_bad_check_are_in_doubt():
    def judged(shaft, result=1, standard=None):
        return Transit(shaft, 1, "HOPPER", standard, 0, (WayStep(TransitStage.JUDGED, 1, result=result),))

    transits = [*map(judged, range(1, 8)), judged(8, result=None), judged(9, standard="bar 7")]
    plan = plan_with(standard=[BAR]).checks
    good, other = a_check(3), a_check(6, standard="bar 8")

    def concerned(check, before):
        return in_doubt(good_since(check, before, plan), transits)

    assert concerned(a_check(10, good=False), [good, other]) == [4, 5, 6, 7]
    assert concerned(a_check(10, good=False), []) == [1, 2, 3, 4, 5, 6, 7]
    assert concerned(a_check(10), [good]) == []
    assert concerned(a_check(10), []) == []
    assert concerned(a_check(10), [good, a_check(5, good=False), other]) == [6, 7]
    assert concerned(a_check(10, good=False), [a_check(5), a_check(2), a_check(6, good=False)]) == [6, 7]


# --- parking


def result_with(**values):
    """Return as much of a result as parking looks at."""
    found = object.__new__(ShaftResult)
    plain = {
        "shaft": 1, "faults": (), "spread_thou": 2.0, "spread_floor_thou": 1.0, "stiff_side_deg": 30.0,
        "spine_thou": 500.0, "u_spine_thou": 0.3,
    }  # fmt: skip
    for name, value in (plain | values).items():
        object.__setattr__(found, name, value)
    return found


def test_only_a_shaft_with_a_known_stiff_side_is_parked():
    assert stiff_side(result_with()) == 30.0
    assert stiff_side(result_with(spread_thou=1.0001)) == 30.0
    for wrong in (
        Unmeasured(1, "", ("no contact",)), result_with(faults=("noise",)), result_with(spread_thou=1.0),
        result_with(stiff_side_deg=None),
    ):  # fmt: skip
        with pytest.raises(ParkingError):
            stiff_side(wrong)


def test_a_shaft_is_another_beyond_three_standard_uncertainties_of_both():
    """0.3 and 0.4 thou make 0.5: three times that is 1.5."""
    for spine_thou in (498.51, 501.49):
        same_shaft(result_with(), spine_thou, 0.4)
    for spine_thou in (498.49, 501.51):
        with pytest.raises(ParkingError):
            same_shaft(result_with(), spine_thou, 0.4)
    same_shaft(result_with(), None, 0.4)
    same_shaft(result_with(), 100.0, None)


# --- settings and readings


def test_settings_are_those_of_plan_and_calibration_from_the_shaft_on_at_which_they_changed():
    plan = {
        "sort": {"crack_hysteresis_pct": 1.5},
        "standard": [{"name": "b", "assigned_thou": 500, "u_assigned_thou": 0.1}],
    }
    begun = settings(plan, "c1")
    assert set(begun) == {"calibration", "crack limit", "check standard b"}
    assert set(settings({"sort": plan["sort"]}, None)) == {"crack limit"}

    def change(code, words, shaft, kind=RunEventKind.SETTING):
        return RunEvent(kind, words, 1, code, shaft)

    events = [
        change("calibration", "c2", 5), change("calibration", "c3", 5), change("crack limit", "2 %", 9),
        change(None, "x", 9), change("calibration", "c9", 10, RunEventKind.NOTICE),
    ]  # fmt: skip
    assert spells(begun, events) == [
        Spell(0, begun), Spell(5, {**begun, "calibration": "c3"}),
        Spell(9, {**begun, "calibration": "c3", "crack limit": "2 %"}),
    ]  # fmt: skip
    assert spells(begun, [change("calibration", "c2", None)]) == [Spell(0, {**begun, "calibration": "c2"})]


def test_what_changed_between_settings_is_named():
    was = {"calibration": "c1", "crack limit": "1 %", "check standard b": "500"}
    now = {"crack limit": "2 %", "check standard b": "500", "check standard d": "510"}
    assert [(change.name, change.was, change.now) for change in changes(was, now)] == [
        ("calibration", "c1", "none"), ("crack limit", "1 %", "2 %"), ("check standard d", "none", "510")
    ]  # fmt: skip
    assert changes({}, {"calibration": "c1"}) == []  # nothing was judged by another
    assert changes(was, was) == []


def test_the_newest_marker_is_that_of_the_last_measurement():
    def measured(words):
        return WayStep(TransitStage.MEASURING, 1, archive_bytes=0, words=words)

    transits = [
        Transit(
            1, 1, "HOPPER", None, 0, (measured("aa"), measured("bb"), WayStep(TransitStage.JUDGED, 1, words="JAM"))
        ),
        Transit(2, 1, "HOPPER", None, 0, (WayStep(TransitStage.IN_GAUGE, 1, words="TWO_SHAFTS"),)),
    ]
    assert newest_marker(transits) == "bb"
    assert newest_marker(transits[1:]) is None


def test_only_the_bit_of_a_missing_sample_counts_as_missing():
    """Bits of protocol/readings.avsc: 8 says that samples before a reading are missing."""
    run = readings(500.0, 0.0, 1)
    for bit in (1, 2, 4, 16):
        marked = replace(run, status=np.full(len(run), bit, np.int16))
        assert observe(marked, Unmeasured(1, "", ()), paper_calibration()).missed == 0.0
    status = np.zeros(len(run), np.int16)
    status[: len(run) // 2] = 8 | 1
    half = observe(replace(run, status=status), Unmeasured(1, "", ()), paper_calibration()).missed
    assert half == (len(run) // 2) / len(run)


def test_the_interval_is_the_median_of_those_between_readings():
    run = readings(500.0, 0.0, 1)
    seen = observe(run, Unmeasured(1, "", ()), paper_calibration(), identify(interval_us=13000, free_bytes=9000))
    expected = float(np.median(np.diff(run.tick_us)))
    assert seen.interval_us == expected
    assert seen.rate_off == pytest.approx(13000 / expected - 1)
    one_reading = replace(
        run, segments=((0, 1),), status=run.status[:1], **{name: getattr(run, name)[:1] for name in COLUMNS}
    )
    alone = observe(one_reading, Unmeasured(1, "", ()), paper_calibration(), identify(interval_us=13000))
    assert alone.interval_us is None


def test_what_the_board_says_of_itself_is_among_the_signs():
    run = readings(500.0, 0.0, 1)
    board = identify(free_bytes=9000, longest_turn_us=12_700)
    seen = observe(run, Unmeasured(1, "", ()), paper_calibration(), board)
    assert (seen.free_bytes, seen.longest_turn_ms) == (9000, 12.7)
    silent = observe(run, Unmeasured(1, "", ()), paper_calibration(), identify(free_bytes=None))
    assert (silent.free_bytes, silent.longest_turn_ms) == (None, 0.0)


def warm(centi, source, **known):
    """Return the signs of a run at a temperature, under a calibration at 20 degC for 15 to 25 with what it knows."""
    plain = paper_calibration()
    identity = plain.calibration.model_copy(update={"temperature_c": 20.0, "temperature_range_c": (15.0, 25.0)} | known)
    cal = plain.model_copy(update={"calibration": identity})
    run = replace(readings(500.0, 0.0, 1), temperature_centi=centi, temperature_source=source)
    return observe(run, Unmeasured(1, "", ()), cal, identify(sensor=source != "BOARD"))


CHIP = {"gauge_temperature_c": 27.0, "thermometer": "BOARD"}


@pytest.mark.parametrize(
    ("centi", "source", "known", "seen_c", "numbers"),
    [
        (1500, "SHAFT", {}, 15.0, None),
        (1490, "SHAFT", {}, 14.9, ["14.9", "15", "25"]),
        (2510, "SHAFT", {}, 25.1, ["25.1", "15", "25"]),
        (3200, "BOARD", CHIP, 25.0, None),
        (3210, "BOARD", CHIP, 25.1, ["25.1", "15", "25"]),
        (2190, "BOARD", CHIP, 14.9, ["14.9", "15", "25"]),
        (3210, "BOARD", {}, 32.1, None),  # a chip, nobody knows how much warmer than the room
        (1490, "BOARD", {}, 14.9, ["14.9", "15", "25"]),  # a room is no warmer than its chip
        (4510, "BOARD", {}, 25.1, ["25.1", "15", "25"]),  # twenty kelvin are more than a chip warms itself
        (2100, "SHAFT", CHIP, 21.0, None),  # another thermometer than at the calibration
        (None, "SHAFT", {}, None, []),
    ],
)
def test_a_temperature_beyond_the_calibration_or_a_broken_sensor_calls_a_person(centi, source, known, seen_c, numbers):
    signs = warm(centi, source, **known)
    assert signs.temperature_c == (None if seen_c is None else pytest.approx(seen_c))
    found = [alarm for alarm in alarms(signs, [], WatchLimits()) if alarm.code.name == "TEMPERATURE_OFF"]
    assert [re.findall(r"-?[\d.]+", alarm.words) for alarm in found] == ([] if numbers is None else [numbers])


def test_readings_at_the_place_of_a_shaft_are_its_own_or_none(tmp_path):
    archive = NightArchive(tmp_path / "a.avro", None, lambda: 1)
    archive.open()
    kept = archive.keep_once(replace(readings(500.0, 0.0, 1), shaft=9))
    marker = Archive.open(archive.path).header.marker.hex()

    def found(shaft, offset=kept.where.byte_offset, words=marker):
        steps = (WayStep(TransitStage.MEASURING, 1, archive_bytes=offset, words=words),)
        return archive.readings(Transit(shaft, 1, "HOPPER", None, 0, steps))

    assert found(9).run == kept.run
    assert found(7) is None
    assert found(9).run == kept.run
    archive.close()
    assert (found(9, words="00" * 16), found(9, offset=kept.where.byte_offset + 1)) == (None, None)
    assert found(9, words=None).run == kept.run
    assert (found(7), found(9, offset=10**6), found(9, offset=None)) == (None, None, None)
