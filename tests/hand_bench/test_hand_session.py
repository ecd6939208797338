"""A session at the hand bench: numbers by themselves, verdicts, voids; a shaft that was begun goes on after a kill."""

import contextlib
from dataclasses import replace

import pytest
from answering import Answering
from hand_rig import BENCH, good
from midspan.attended.dial_bench import DialBench
from midspan.attended.hand_shaft import HandStation, Rounds
from midspan.attended.record import SessionRecord
from midspan.attended.rules import SessionRules
from midspan.attended.session import AttendedSession
from midspan.base.errors import StoreError
from midspan.conversation.desk import Desk, DeskNotice, NoticeKind
from midspan.decision.bands import load_bands
from midspan.hand_bench.bench import load_bench
from midspan.hand_bench.record import NAMES, HandRecord, HandShaft
from midspan.hand_bench.sessions import sessions
from midspan.rehearsal import scenario
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import current, details_of
from stores import store_in
from synthetic import Shaft

pytestmark = pytest.mark.slow

TYPED = good(Shaft(497.0, 3.0))
READINGS = len(TYPED) * len(NAMES)


class Killed(BaseException):
    """A power cut at a prompt: nothing more of the program runs."""


class AtTheDesk(Answering):
    """A person at the desk: types the dial's true readings; `keys` are what is typed at the prompt for the next shaft.

    The power goes at the dial's prompt `at`, counted over the whole session.
    """

    def __init__(self, keys, answers=None, typed=TYPED, at=None):
        super().__init__({"lay next": list(keys), **(answers or {})})
        self.true, self.at, self.read, self.notices = typed, at, [], []
        self.desk = Desk()
        self.desk.watch(self.shown)

    def shown(self, shown):
        """Remember a notice, answer a prompt."""
        if isinstance(shown, DeskNotice):
            self.notices.append(shown)
        elif shown is not None:
            self.asked.append(shown.prompt)
            self.desk.answer(shown.serial, self.typed(shown.prompt))

    def typed(self, prompt):
        """Return the line that is typed at a prompt."""
        if prompt.id not in NAMES:
            return super().typed(prompt)
        number = int(prompt.part.split()[0])
        self.read.append(number)
        if len(self.read) == self.at:
            raise Killed
        return getattr(self.true[number - 1], prompt.id)

    def verdicts(self):
        """Return what was shown large, verdict by verdict."""
        return [notice.large for notice in self.notices if notice.kind is NoticeKind.VERDICT]


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "hand-bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "bands.toml").write_text(scenario.example_bands(), encoding="utf-8")
    return tmp_path


def measured(folder, person):
    """Run a session with this person; return its totals, None if the power went."""
    bench = load_bench(folder / "hand-bench.toml")
    station = HandStation(bench.content(), HandRecord(folder / "hand-readings.jsonl"), person.desk, lambda: 1)
    dial = DialBench(station, Rounds(), HandShaft(0, "", "Ann"))
    rules = SessionRules(load_bands(folder / "bands.toml"), bench.bench.id, operator="Ann")
    with store_in(folder).open() as store:
        session = AttendedSession(person.desk, dial, SessionRecord(store, dial.name, rules, lambda: 1), None)
        with contextlib.suppress(Killed):
            return session.run()
    return None


def results(folder, shaft):
    """Return the stored results of a shaft."""
    with store_in(folder).open(create=False) as store:
        try:
            return store.history(shaft)
        except StoreError:
            return []


def test_each_shaft_gets_the_next_number_a_verdict_and_the_label_typed_for_it(folder) -> None:
    person = AtTheDesk(["blue 7", "", "", "q"], {"shaft diameter": "6,2"})
    totals = measured(folder, person)
    assert [(number, known.bin) for number, known in totals.shafts.items()] == [
        (1, "stiffer dozen"), (2, "stiffer dozen"),
    ]  # fmt: skip
    assert person.ids.count("shaft diameter") == 1  # once for the session
    assert len(person.read) == 2 * READINGS
    assert [lines[0] for lines in person.verdicts()] == ["ACCEPTED"] * 2
    with store_in(folder).open(create=False) as store:
        assert current(details_of(store, [1]))[DetailKind.LABEL] == "blue 7"
    (first,), (second,) = results(folder, 1), results(folder, 2)
    assert first.result.spine_thou == second.result.spine_thou == pytest.approx(497.0, abs=2.0)
    assert [session.at.diameter_mm for session in sessions(folder / "hand-readings.jsonl")] == [6.2, 6.2]


def test_repeated_voided_weighed_and_noted(folder) -> None:
    keys = ["", "r", "v", "u", "n", "w", "q"]
    person = AtTheDesk(keys, {"void reason": "slipped", "note": "a scratch", "weight": "412.5"})
    totals = measured(folder, person)
    assert (list(totals.shafts), totals.measurements, totals.voided) == ([1], 2, set())
    assert len({stored.run_id for stored in results(folder, 1)}) == 2
    with store_in(folder).open(create=False) as store:
        assert current(details_of(store, [1]))[DetailKind.NOTE] == "a scratch"


@pytest.mark.parametrize("at", [1, 2, 20, READINGS, READINGS + 5])
def test_killed_at_the_dial_the_shaft_goes_on_and_nothing_is_stored_twice(folder, at) -> None:
    whole = AtTheDesk(["", "", "q"])
    reference = folder / "whole"
    reference.mkdir()
    for name in ("hand-bench.toml", "bands.toml"):
        (reference / name).write_bytes((folder / name).read_bytes())
    measured(reference, whole)
    measured(folder, AtTheDesk(["", "", "q"], at=at))
    begun = 1 if at <= READINGS else 2
    second = AtTheDesk(["", "q"] if begun == 1 else ["q"])
    measured(folder, second)
    assert second.ids[0] == "unfinished"
    already = (at - 1) % READINGS // len(NAMES) * len(NAMES)  # whole readings of the shaft that was begun
    assert len(second.read) == READINGS - already + (READINGS if begun == 1 else 0)
    for shaft in (1, 2):
        (expected,), (found,) = results(reference, shaft), results(folder, shaft)
        assert found.result.spine_thou == expected.result.spine_thou
        assert found.decision == expected.decision
    third = AtTheDesk(["q"])
    measured(folder, third)
    assert third.ids == ["lay next"]


def test_who_stops_in_the_middle_of_a_shaft_goes_on_there_next_time(folder) -> None:
    stopping = AtTheDesk([""])
    stopping.true = [*TYPED[:3], replace(TYPED[3], loaded="q"), *TYPED[4:]]
    assert measured(folder, stopping).shafts == {}
    person = AtTheDesk(["q"])
    totals = measured(folder, person)
    assert (person.ids[0], len(person.read)) == ("unfinished", READINGS - 3 * len(NAMES))
    assert (list(totals.shafts), totals.measurements, totals.fetched) == ([1], 1, 0)
    assert len(results(folder, 1)) == 1


def test_a_shaft_that_is_begun_anew_keeps_its_number(folder) -> None:
    measured(folder, AtTheDesk([""], at=8))
    person = AtTheDesk(["", "q"], {"unfinished": "n"})
    totals = measured(folder, person)
    assert list(totals.shafts) == [1]
    assert len(results(folder, 1)) == 1


def test_readings_that_cannot_be_are_kept_and_the_session_goes_on(folder) -> None:
    swapped = [type(each)(each.angle_deg, each.repeat, each.loaded, each.unloaded, each.loaded) for each in TYPED]
    person = AtTheDesk(["", "q"], typed=swapped)
    totals = measured(folder, person)
    assert totals.shafts == {}
    assert [notice.words for notice in person.notices if notice.kind is NoticeKind.SOUND] == ["fault"]
    (kept,) = sessions(folder / "hand-readings.jsonl")
    assert (len(kept.typed), kept.has_ended) == (16, True)
    again = AtTheDesk(["", "q"])
    assert list(measured(folder, again).shafts) == [1]  # it gave no result, so it keeps its number
