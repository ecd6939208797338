"""What is checked before a sorting run begins, and what is recorded of the gauge while it goes on."""

import copy
import json
from dataclasses import replace
from types import SimpleNamespace

import pytest
from gauges import changed
from midspan.base.errors import ConfigurationError, StoreError
from midspan.decision.bands import EXAMPLE as BANDS
from midspan.decision.bands import Bands
from midspan.measurement.calibration import EXAMPLE as CALIBRATION
from midspan.measurement.cycle_settings import DEEP, CycleSettings
from midspan.sorting.actions import OrderShaft
from midspan.sorting.event_log import EventRecorder
from midspan.sorting.execute import Executor
from midspan.sorting.next_action import Snapshot, Wanted
from midspan.sorting.plan import EXAMPLE, SortPlan
from midspan.sorting.setup import Setup, check_cycle, check_emptied, check_gauge, check_unchanged, load_setup
from midspan.sorting.verdict import basis_of_plan
from midspan.store.transit import NightOnRecord, RunEvent, RunEventKind, StandardCheck
from midspan.wire.records import FaultCode, LastRelease, Source
from night_rig import BAR, RECHECK, RETURN, STIFFER, plan_with
from synthetic import paper_calibration
from test_next_action import PLAIN

PLAN = plan_with(standard=[BAR])
SETUP = Setup(PLAN, paper_calibration(), Bands.model_validate(BANDS), None)
READY = changed(PLAIN, gauge="paper", places=6, guards=3)


# --- before it begins


def test_only_a_place_that_fills_is_emptied():
    check_emptied(PLAN, [])
    check_emptied(PLAN, [STIFFER, RECHECK])
    for wrong in ([RETURN], [99], [STIFFER, 99]):
        with pytest.raises(ConfigurationError):
            check_emptied(PLAN, wrong)


def night(**changes):
    """Return a run on record that began with the plan, but for the changes of its content."""
    return NightOnRecord(1, 1, "paper", json.loads(SETUP.as_json()) | changes, 0)


def test_a_run_goes_on_with_the_places_and_bands_that_it_began_with():
    check_unchanged(SETUP, night())
    places = json.loads(SETUP.as_json())["place"]
    check_unchanged(SETUP, night(place=places[1:]))  # a place more than before
    check_unchanged(SETUP, night(place=[{**place, "holds": 1} for place in places]))
    swapped = [{**places[1], "number": places[0]["number"]}, *places[1:]]
    for other in (night(place=swapped), night(bands={}), night(place=[{**places[2], "use": "rejected"}])):
        with pytest.raises(ConfigurationError):
            check_unchanged(SETUP, other)


def test_a_plan_says_how_shafts_and_check_standards_are_measured_else_the_calibration_does():
    slow = paper_calibration(cycle={"readings_per_turn": 200})
    assert replace(SETUP, calibration=slow).cycle == CycleSettings(readings_per_turn=200)
    deep = SortPlan.model_validate({**EXAMPLE, "cycle": "deep"})
    assert replace(SETUP, plan=deep, calibration=slow).cycle == DEEP
    assert plan_with(cycle={"light_turns": 3.0}).cycle == CycleSettings(light_turns=3.0)
    kept = json.loads(replace(SETUP, plan=deep).as_json())
    assert CycleSettings.model_validate(kept["cycle"]) == DEEP


def test_a_cycle_that_the_gauge_does_not_allow_is_refused_before_a_shaft_is_fed():
    check_cycle(SETUP, READY)
    hasty = paper_calibration(cycle={"press_mm_s": 50.0})
    with pytest.raises(ConfigurationError) as caught:
        check_cycle(replace(SETUP, calibration=hasty), READY)
    assert "cycle.press_mm_s" in str(caught.value)


def test_the_gauge_is_the_one_that_the_plan_is_for():
    check_gauge(PLAN, READY)
    check_gauge(PLAN, changed(READY, places=64))
    attended = plan_with(standard=[BAR], sort={"attended": True})
    check_gauge(attended, replace(READY, guards=0))
    for wrong in ({"gauge": "other"}, {"feeder": None}, {"places": 5}, {"guards": 0}, {"guards": 1}, {"guards": 2}):
        with pytest.raises(ConfigurationError):
            check_gauge(PLAN, changed(READY, **wrong))


def written(folder, **changes):
    """Write plan, bands and calibration as a person does; return the place of the plan."""
    content = copy.deepcopy(EXAMPLE)
    for section, values in changes.items():
        content[section] = content.get(section, {}) | values
    for name, sections in (("night", content), ("bands", BANDS), ("gauge", CALIBRATION)):
        (folder / f"{name}.toml").write_text(toml_of(sections), encoding="utf-8")
    return folder / "night.toml"


def toml_of(sections):
    lines = []
    for name, section in sections.items():
        for part in section if isinstance(section, list | tuple) else [section]:
            lines.append(f"[[{name}]]" if isinstance(section, list | tuple) else f"[{name}]")
            lines += [f"{key} = {json.dumps(value)}" for key, value in part.items()]
    return "\n".join(lines) + "\n"


def test_a_plan_is_read_with_the_files_that_it_names(tmp_path):
    bins = [{"number": 10 + i, "bin": part["name"], "holds": 40} for i, part in enumerate(BANDS["bin"])]
    path = written(tmp_path)
    others = [place for place in EXAMPLE["place"] if "use" in place]
    path.write_text(toml_of({**EXAMPLE, "place": [*bins, *others]}), encoding="utf-8")
    found = load_setup(path)
    assert (found.archive, found.store.file) == (tmp_path / "readings.avro", tmp_path / "results.db")
    assert (found.plan.sort.attended, load_setup(path, attended=True).plan.sort.attended) == (False, True)
    assert found.bands == Bands.model_validate(BANDS)


@pytest.mark.parametrize(
    "changes",
    [
        {"sort": {"archive": "night.toml"}}, {"sort": {"store": "bands.toml"}}, {"sort": {"store": "./readings.avro"}},
        {"notices": {"log": "gauge.toml"}},
    ],
)  # fmt: skip
def test_no_file_of_a_plan_stands_for_two_things(tmp_path, changes):
    with pytest.raises(ConfigurationError):
        load_setup(written(tmp_path, **changes))


def test_a_verdict_rests_on_the_plan_and_the_standard_that_was_fed():
    basis = basis_of_plan(PLAN, SETUP.bands, "bar 7", 5)
    assert (basis.standard, basis.assigned_thou, basis.u_assigned_thou) == ("bar 7", 500.0, 0.1)
    assert (basis.crack_hysteresis_pct, basis.night) == (1.5, 5)
    assert basis_of_plan(PLAN, SETUP.bands, None).assigned_thou is None
    assert basis_of_plan(PLAN, SETUP.bands, "forgotten").u_assigned_thou is None


# --- while it goes on


class Journal:
    """Notes events, or refuses to as long as it is locked."""

    def __init__(self):
        self.events, self.is_locked, self.latest, self.checks = [], False, None, []
        self.setup = SETUP

    def tell(self, *events):
        if self.is_locked:
            raise StoreError("locked")
        self.events += events

    def emptied(self, place):
        """Forget nothing: the tally is not looked at here."""


class Notices:
    def __init__(self):
        self.told, self.failures = [], []

    def tell(self, kind, words):
        self.told.append(words)

    def take_failures(self):
        taken, self.failures = self.failures, []
        return taken


@pytest.fixture
def watch():
    """Return an event recorder with the journal, the notices and the clock that it stands on."""
    at = SimpleNamespace(wall_s=1000.0, count_s=0.0)
    clocks = SimpleNamespace(now_ms=lambda: int(1000 * at.wall_s), count_s=lambda: at.count_s)
    journal, notices = Journal(), Notices()
    return SimpleNamespace(at=at, journal=journal, notices=notices, events=EventRecorder(journal, notices, clocks))


def codes(watch):
    return [event.code for event in watch.journal.events]


def test_a_reset_and_a_lost_line_are_told_apart(watch):
    events = watch.events
    events.line_error = "gone before the first answer"
    events.look(PLAIN)
    assert codes(watch) == []
    events.look(PLAIN)
    assert (codes(watch), events.resets) == ([], 0)
    events.line_error = "gone"
    events.look(PLAIN)
    assert codes(watch) == ["PORT_LOST"]
    events.line_error = "gone"
    events.look(replace(PLAIN, boot=5))
    assert (codes(watch), events.resets) == (["PORT_LOST", "GAUGE_RESET"], 1)
    events.look(replace(PLAIN, boot=5))
    assert len(codes(watch)) == 2
    events.look(PLAIN)
    assert (codes(watch)[2:], events.resets) == (["GAUGE_RESET"], 2)


def test_a_fault_is_noted_once_while_it_lasts(watch):
    jammed = changed(PLAIN, fault=FaultCode.JAM, in_gauge=7)
    for found in (PLAIN, replace(PLAIN, fault=FaultCode.HOPPER_EMPTY), jammed, jammed, changed(jammed, in_gauge=8)):
        watch.events.look(found)
    assert [(event.code, event.shaft) for event in watch.journal.events] == [("JAM", 7), ("JAM", 8)]
    assert watch.events.newest is FaultCode.JAM
    watch.events.look(PLAIN)
    watch.events.look(jammed)
    assert codes(watch) == ["JAM"] * 3


def test_a_clock_that_jumps_by_more_than_a_minute_is_noted(watch):
    for wall_s, count_s in ((60.0, 0.0), (-60.0, 0.0), (3600.0, 3600.0)):
        watch.at.wall_s += wall_s
        watch.at.count_s += count_s
        watch.events.look(PLAIN)
    assert codes(watch) == []
    for jump_s in (61.0, -61.0):
        watch.at.wall_s += jump_s
        watch.events.look(PLAIN)
    assert codes(watch) == ["CLOCK_JUMP"] * 2
    assert ["61" in event.words for event in watch.journal.events] == [True] * 2


def test_events_wait_for_a_locked_database_and_come_in_order(watch):
    watch.journal.is_locked = True
    for code in ("A", "B"):
        watch.events.note(RunEventKind.FAULT, "", code)
    watch.journal.is_locked = False
    watch.events.note(RunEventKind.FAULT, "", "C", 3, 4)
    watch.events.note(RunEventKind.FAULT, "", "D")
    assert codes(watch) == ["A", "B", "C", "D"]
    last = watch.journal.events[2]
    assert (last.shaft, last.place, last.at_ms) == (3, 4, 1_000_000)


def test_a_notice_that_failed_is_noted_with_the_next_look(watch):
    watch.notices.failures = ["no answer"]
    watch.events.look(PLAIN)
    watch.events.look(PLAIN)
    assert [(event.kind, event.words) for event in watch.journal.events] == [(RunEventKind.NOTICE, "no answer")]


def test_a_full_place_is_told_once_until_it_was_emptied(watch):
    watch.events.full((1,), "full")
    watch.events.full((1,), "full")
    assert len(watch.notices.told) == 1
    watch.events.full((1, 2), "both full")
    watch.events.full((2,), "full")
    assert len(watch.notices.told) == 2
    watch.events.emptied(1)
    watch.events.full((2,), "full")
    watch.events.full((1,), "full again")
    assert [(event.kind, event.place) for event in watch.journal.events] == [(RunEventKind.FULL, 1)] * 3


def test_a_bad_check_is_told_where_the_run_goes_on_and_the_one_before_was_good(watch):
    def checked(*outcomes, bad_check="continue"):
        plan = plan_with(standard=[BAR], checks={"bad_check": bad_check})
        watch.journal.setup = replace(SETUP, plan=plan)
        watch.journal.checks = [
            StandardCheck(name, 1, 1.0, 1.0, 1.0, 1.0, good, ("bias",)) for name, good in outcomes
        ]  # fmt: skip
        watch.journal.latest = SimpleNamespace(check=watch.journal.checks[-1] if outcomes else None, events=())
        watch.notices.told.clear()
        watch.events.judged()
        return len(watch.notices.told)

    assert checked(("bar 7", False)) == 1
    assert checked(("bar 7", False), bad_check="stop") == 0
    assert checked(("bar 7", True)) == 0
    assert checked(("bar 7", True), ("bar 7", False)) == 1
    assert checked(("bar 7", False), ("bar 7", False)) == 0
    assert checked(("bar 8", False), ("bar 7", False)) == 1
    assert checked() == 0
    watch.journal.latest = None
    watch.events.judged()
    assert watch.notices.told == []


def test_a_wrong_temperature_is_told_once_until_it_was_right_again(watch):
    cold = RunEvent(RunEventKind.ALARM, "9.2, calibrated for 15 to 25", 0, "TEMPERATURE_OFF", 7)
    noisy = RunEvent(RunEventKind.ALARM, "noisy", 0, "CELL_NOISY", 7)
    told = []
    for events in ((noisy,), (noisy, cold), (cold,), (), (cold,)):
        watch.journal.latest = SimpleNamespace(check=None, events=events)
        watch.events.judged()
        told.append(len(watch.notices.told))
    assert told == [0, 1, 1, 1, 2]
    assert all("9.2, calibrated for 15 to 25" in str(notice) for notice in watch.notices.told)


def test_a_new_number_is_above_all_that_the_gauge_remembers():
    orders = []
    recorder = SimpleNamespace(order=lambda source, standard, above: orders.append((source, standard, above)) or 99)
    fed = []
    gauge = SimpleNamespace(feed=lambda shaft, source, _: fed.append((shaft, source)))
    for last, here in ((None, None), (LastRelease(5, 1, True, 1), None), (LastRelease(5, 1, True, 1), 8), (None, 8)):
        snapshot = Snapshot(changed(PLAIN, last_release=last, in_gauge=here), None, False, None, None, Wanted())
        Executor(gauge, recorder).execute(OrderShaft(Source.SLOT, "bar 7"), snapshot)
    assert orders == [("SLOT", "bar 7", above) for above in (0, 5, 8, 8)]
    assert fed == [(99, Source.SLOT)] * 4
