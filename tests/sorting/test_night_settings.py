"""A night that goes on with another calibration, crack limit or value of a standard: told, checked first, marked."""

from datetime import UTC
from unittest import mock

import pytest
from midspan.report.night_data import read_night
from midspan.report.night_html import page
from midspan.report.night_statistics import judged_under, places
from midspan.report.night_text import todos
from midspan.sorting import actions as act
from midspan.store.transit import RunEventKind, TransitStage
from night_rig import BAR, CRACKED, STIFFER, Rig, plan_with
from pretend import STANDARD, KilledError, World
from synthetic import paper_calibration

pytestmark = pytest.mark.slow

SPINES = {"a": 500.0, "b": 501.0, "c": 502.0, "d": 508.0, STANDARD: 500.0}
STOCK = ["a", "b", "c", "d"]
OTHER_BAR = {**BAR, "assigned_thou": 500.2}
FIRST = paper_calibration().calibration.id


def a_rig(folder, **changes):
    world = World(**{"spines": dict(SPINES), "hopper": list(STOCK), "slot": STANDARD, **changes})
    return Rig(folder, world, plan_with(standard=[BAR]))


def stops_after(rig, kind, measured):
    """A host that is killed right after such an action."""

    def show(action):
        if isinstance(action, kind) and len(rig.gauge.measured) == measured:
            raise KilledError

    rig.shown = mock.Mock(append=show)
    assert rig.sort() is None
    rig.shown = []


def goes_on_with(rig, calibration=None, **plan):
    given = {"standard": [BAR], **plan}
    object.__setattr__(rig.setup, "plan", plan_with(**given))
    if calibration is not None:
        object.__setattr__(rig.setup, "calibration", paper_calibration(calibration={"id": calibration}))


def told(rig):
    return [(event.code, event.words, event.shaft) for event in rig.events(RunEventKind.SETTING)]


def record_of(rig):
    with rig.setup.store.open() as store:
        return read_night(store, None)


CHANGES = [
    ({"calibration": "second"}, ("calibration", "second")),
    ({"sort": {"crack_hysteresis_pct": 0.9}}, ("crack limit", "0.9 %")),
    ({"standard": [OTHER_BAR]}, ("check standard bar 7", "500.2 thou, u 0.1")),
    ({"standard": [{**BAR, "u_assigned_thou": 0.2}]}, ("check standard bar 7", "500 thou, u 0.2")),
]


@pytest.mark.parametrize(("change", "said"), CHANGES)
def test_what_changed_is_told_and_the_check_standard_comes_before_any_further_shaft(tmp_path, change, said):
    rig = a_rig(tmp_path)
    stops_after(rig, act.NoteInBin, 3)  # the standard, a, b
    goes_on_with(rig, **change)
    assert rig.sort().is_over
    assert rig.gauge.measured == [STANDARD, "a", "b", STANDARD, "c", "d", STANDARD]
    assert told(rig) == [(*said, 3)]
    rig.check_ledger()


@pytest.mark.parametrize(("change", "said"), CHANGES)
def test_report_and_record_show_what_each_shaft_was_judged_under(tmp_path, change, said):
    rig = a_rig(tmp_path)
    stops_after(rig, act.NoteInBin, 3)
    goes_on_with(rig, **change)
    assert rig.sort().is_over
    record = record_of(rig)
    before, after = judged_under(record)
    assert (before.numbers, after.numbers) == ((1, 2, 3), (4, 5, 6, 7))
    name, value = said
    assert after.settings == {name: value}
    assert set(before.settings) == {name}
    assert before.settings[name] != value
    html = page(record, UTC).html
    for spell in (before, after):
        assert f"{name} {spell.settings[name]}" in html
    assert [todo for todo in todos(record, places(record), UTC) if "shafts 1 to 3 " in todo.what]


def test_what_stays_the_same_is_not_told(tmp_path):
    rig = a_rig(tmp_path)
    stops_after(rig, act.NoteInBin, 3)
    goes_on_with(rig, stop={"wait_minutes": 5}, checks={"every_shafts": 40})
    assert rig.sort().is_over
    assert rig.gauge.measured == [STANDARD, *STOCK, STANDARD]
    assert told(rig) == []
    assert judged_under(record_of(rig)) == []


def test_a_change_is_told_once_and_the_check_stays_due_when_the_next_host_dies_too(tmp_path):
    rig = a_rig(tmp_path)
    stops_after(rig, act.NoteInBin, 3)
    goes_on_with(rig, "second")
    stops_after(rig, act.OrderShaft, 3)  # of the standard
    stops_after(rig, act.MeasureShaft, 4)
    assert rig.sort().is_over
    assert rig.gauge.measured == [STANDARD, "a", "b", STANDARD, "c", "d", STANDARD]
    assert told(rig) == [("calibration", "second", 3)]


def test_a_change_back_is_a_change(tmp_path):
    rig = a_rig(tmp_path)
    stops_after(rig, act.NoteInBin, 3)
    goes_on_with(rig, "second")
    stops_after(rig, act.NoteInBin, 5)  # the standard, c
    goes_on_with(rig, FIRST)
    assert rig.sort().is_over
    assert told(rig) == [("calibration", "second", 3), ("calibration", FIRST, 5)]
    assert rig.gauge.measured == [STANDARD, "a", "b", STANDARD, "c", STANDARD, "d", STANDARD]
    assert [spell.numbers for spell in judged_under(record_of(rig))] == [(1, 2, 3), (4, 5), (6, 7, 8)]


def test_a_check_under_the_new_settings_that_is_bad_stops_the_night(tmp_path):
    rig = a_rig(tmp_path)
    stops_after(rig, act.NoteInBin, 3)
    goes_on_with(rig, standard=[{**BAR, "assigned_thou": 503.0}])
    ending = rig.sort()
    assert not ending.is_over
    assert rig.gauge.measured == [STANDARD, "a", "b", STANDARD]
    assert rig.world.hopper == ["c", "d"]


@pytest.mark.parametrize(("limit_pct", "new_pct", "place"), [(1.5, 0.9, STIFFER), (0.9, 1.5, CRACKED)])
@pytest.mark.parametrize("at", [act.JudgeReadings, act.ForgetReadings])
def test_a_shaft_that_waits_in_the_gauge_leaves_by_the_verdict_it_has(tmp_path, at, limit_pct, new_pct, place):
    rig = a_rig(tmp_path, hysteresis={"b": 0.012})
    goes_on_with(rig, sort={"crack_hysteresis_pct": limit_pct})
    stops_after(rig, at, 3)
    goes_on_with(rig, sort={"crack_hysteresis_pct": new_pct})
    assert rig.sort().is_over
    assert rig.world.went["b"] == place
    assert rig.gauge.measured[3] == STANDARD
    (waited,) = [transit for transit in rig.transits() if rig.world.numbers[transit.shaft] == ["b"]]
    assert [step.stage for step in waited.steps].count(TransitStage.JUDGED) == 1
    assert waited.shaft in judged_under(record_of(rig))[0].numbers


def test_a_shaft_that_waits_unjudged_is_judged_under_the_new_settings(tmp_path):
    rig = a_rig(tmp_path)
    stops_after(rig, act.MeasureShaft, 3)
    goes_on_with(rig, "second")
    assert rig.sort().is_over
    assert told(rig) == [("calibration", "second", 2)]
    before, after = judged_under(record_of(rig))
    assert (before.numbers, after.numbers) == ((1, 2), (3, 4, 5, 6, 7))
    assert record_of(rig).calibrations == (FIRST, "second")


def test_a_calibration_by_which_nothing_was_judged_is_none_that_changed(tmp_path):
    rig = a_rig(tmp_path)
    stops_after(rig, act.OrderShaft, 0)
    goes_on_with(rig, "second")
    assert rig.sort().is_over
    assert told(rig) == []
