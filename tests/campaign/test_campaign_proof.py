"""The campaign's proof is told lies of each kind, and says so: a forged world, journal and archive, no processes.

The readings come from the second truth (synthetic), the true values are those it was given.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace

import numpy as np
import pytest
import synthetic
from midspan.archive.writer import ArchiveWriter
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import evaluate
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import TransitStage, WayStep

from campaign import invariants
from campaign.night_files import Stock
from campaign.tally import Tally

GAUGE = "forged"
TRUTHS = {11: 427.0, 12: 475.0, 13: 525.0}  # own numbers; they belong in the places 1, 2 and 3


@dataclass
class Told:
    """A shaft on its way: where it is, what is measured on it, and what the journal says of it.

    `reading_of` is the shaft whose readings are in the archive, None for none; `off_thou` spoils the stored value.
    """

    own: int
    place: int
    lies: str
    passed: int = 1
    stage: TransitStage = TransitStage.IN_BIN
    reading_of: int | None = None
    off_thou: float = 0.0
    measured: bool = True


@dataclass
class Forgery:
    """A whole night; the tests change one thing in it."""

    shafts: list[Told] = field(default_factory=lambda: [Told(own, i + 1, f"place {i + 1}", reading_of=own)
                                                        for i, own in enumerate(TRUTHS)])  # fmt: skip
    further: list[str] = field(default_factory=list)  # lines of the world's file
    twice: bool = False  # the last readings once more
    untold: set[int] = field(default_factory=set)  # host's numbers whose release the device never told
    elsewhere: bool = False  # the first verdict refers to the readings of the second shaft


@pytest.fixture
def judge(tmp_path, monkeypatch):
    """Write a forgery and give what the proof says of it."""
    calibration = synthetic.paper_calibration()
    monkeypatch.setattr(invariants, "load_calibration", lambda _: calibration)

    def judged(forgery: Forgery) -> Tally:
        truths = {own: {"spine_thou": thou, "spread_thou": 2.0} for own, thou in TRUTHS.items()}
        bench = SimpleNamespace(
            folder=tmp_path, stock=Stock(truths, others={}), name=GAUGE, store=tmp_path / "results.db"
        )
        released = _write(forgery, bench, calibration)
        tally = Tally()
        invariants.whole_night(tally, bench, released)
        return tally

    return judged


def _write(forgery, bench, calibration):
    world, released = [f"0 {own} hopper" for own in TRUTHS], set()
    archive = bench.folder / "readings.avro"
    with StorePlace(bench.store).open() as store, ArchiveWriter(archive) as writer:
        journal = Journal(store)
        night = journal.begin_night(GAUGE, "{}", 1)
        offsets = []
        for told in forgery.shafts:
            number = journal.order(night, "HOPPER", None, 1)
            journal.note(number, WayStep(TransitStage.IN_GAUGE, 2))
            world += [f"1 {told.own} rollers", f"2 {told.own} measured as {number}", f"3 {told.own} {told.lies}"]
            if told.measured:
                _measure(told, number, journal, writer, calibration, offsets, forgery)
            journal.note(number, WayStep(TransitStage.LEAVING, 9, place=told.place))
            journal.note(number, WayStep(told.stage, 10, place=told.place, passed=told.passed))
            if number not in forgery.untold:
                released.add((number, told.place, told.passed))
    (bench.folder / "world.txt").write_text("\n".join([*world, *forgery.further]) + "\n")
    return released


def _measure(told, number, journal, writer, calibration, offsets, forgery):
    own = told.reading_of or told.own
    shaft = synthetic.Shaft(spine_thou=TRUTHS[own], spread_thou=2.0, bow_mm=0.05, number=number)
    run = synthetic.raw_run(shaft, synthetic.Gauge(), np.random.default_rng(own), per_turn=64)
    (result,) = evaluate([run], calibration)
    offset = writer.append(run) if told.reading_of is not None else (offsets or [10**7])[0]
    if forgery.twice:
        writer.append(run)
    offset = offsets[0] if forgery.elsewhere and offsets else offset
    offsets.append(offset)
    forged = replace(result, spine_thou=result.spine_thou + told.off_thou)
    reference = RunReference(str(writer.path), offset, number, run.label, run.started_ms)
    journal.judged(
        journal.transit(number), reference, Evaluation(forged, Decision(Outcome.ACCEPTED, (), str(told.place)), 5)
    )


def test_an_honest_night_is_found_honest(judge):
    tally = judge(Forgery())
    assert (tally.lost, tally.wrong, tally.ambiguous, tally.fed, tally.verdicts) == ([], [], [], 3, 3)


def says(lines, words):
    assert any(words in line for line in lines), lines


@pytest.mark.slow
def test_a_shaft_that_is_counted_twice(judge):
    forgery = Forgery()
    forgery.shafts.append(replace(forgery.shafts[0]))
    says(judge(forgery).wrong, "the shaft 11 was measured under the numbers [1, 4]")


def test_a_shaft_in_another_place_than_told(judge):
    forgery = Forgery()
    forgery.shafts[0].lies = "place 4"
    says(judge(forgery).lost, "shaft 1 is in its place 1 in the journal and lies in place 4")


def test_a_shaft_that_never_left_the_gauge(judge):
    forgery = Forgery()
    forgery.shafts[2].lies = "rollers"
    says(judge(forgery).lost, "lies in rollers")


def test_a_shaft_that_vanished_from_the_journal(judge):
    """It left the hopper and lies in a place, and no transit answers for it."""
    forgery = Forgery(further=["4 12 rollers", "5 12 place 2"])
    del forgery.shafts[1]
    tally = judge(forgery)
    says(tally.lost, "3 shafts left the hopper, 2 are in the journal")
    says(tally.lost, "place 2: 0 seen to fall into it, 0 in doubt, 1 lie there")


def test_a_second_shaft_that_the_chute_counted_and_nobody_told_of(judge):
    forgery = Forgery(further=["4 12 place 3"])
    del forgery.shafts[1]
    says(judge(forgery).lost, "place 3: 1 seen to fall into it, 0 in doubt, 2 lie there")


def test_a_chute_that_counted_more_than_lie_there(judge):
    forgery = Forgery()
    forgery.shafts[1].passed = 2
    says(judge(forgery).lost, "place 2: 2 seen to fall into it, 0 in doubt, 1 lie there")


def test_a_place_without_the_word_of_the_gauge_is_a_guess(judge):
    says(judge(Forgery(untold={2})).wrong, "shaft 2 is said to lie in place 2, and the gauge never said so")


def test_a_verdict_that_refers_to_the_readings_of_another(judge):
    says(judge(Forgery(elsewhere=True)).lost, "the readings of result 2 are of shaft 1")


def test_a_value_that_the_readings_do_not_give(judge):
    forgery = Forgery()
    forgery.shafts[0].off_thou = 0.01
    says(judge(forgery).lost, "its readings say")


def test_the_readings_of_another_shaft_under_the_right_number(judge):
    """They are whole and give the stored value again; only the truth tells."""
    forgery = Forgery()
    forgery.shafts[1].reading_of = 13
    tally = judge(forgery)
    says(tally.wrong, "is stored as 52")
    assert not [loss for loss in tally.lost if "readings" in loss]


def test_a_shaft_in_a_place_where_it_does_not_belong(judge):
    """World and journal agree; only the truth tells."""
    forgery = Forgery()
    forgery.shafts[0].place, forgery.shafts[0].lies = 4, "place 4"
    says(judge(forgery).wrong, "lies in place 4")


def test_the_same_readings_twice(judge):
    says(judge(Forgery(twice=True)).wrong, "the same readings are in the archive twice")


def test_a_verdict_that_points_to_the_readings_of_an_earlier_shaft(judge):
    forgery = Forgery()
    forgery.shafts[2].reading_of = None
    forgery.shafts[0].reading_of = 11
    says(judge(forgery).lost, "the readings of result 3 are of shaft 1")


def test_a_verdict_whose_readings_are_beyond_the_archive(judge):
    forgery = Forgery()
    forgery.shafts[0].reading_of = None
    says(judge(forgery).lost, "result 1 has no readings")


def test_a_shaft_in_a_bin_that_was_never_measured(judge):
    """World and journal agree, and the place may even be the right one: nobody can know."""
    forgery = Forgery()
    forgery.shafts[0].measured = False
    says(judge(forgery).wrong, "shaft 1 lies in place 1 without any value")


def test_a_night_that_is_over_with_an_open_shaft(judge):
    forgery = Forgery()
    forgery.shafts[2].stage = TransitStage.LEAVING
    says(judge(forgery).lost, "the night is over and shaft 3 is leaving")


def test_a_hopper_that_is_not_empty_at_the_end(judge):
    forgery = Forgery()
    del forgery.shafts[1]
    says(judge(forgery).lost, "the hopper is not empty")
