"""Void measurements, and what people say of shafts.

The model beside the store keeps a plain list of measurements and works out anew what counts; SQLite itself says whether
an index is used.
"""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from midspan.base.errors import MatchingError, StoreError
from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome
from midspan.sets.stock import read_stock
from midspan.sets.twins import say
from midspan.store.detail_kinds import DetailKind, SetDetailKind
from midspan.store.details import current, details_of, say_of
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.every_result import every_result
from midspan.store.journal import Journal
from midspan.store.lookup import counting, newest, read_name
from midspan.store.measurements import standing_results
from midspan.store.records import Records
from midspan.store.set_records import SetRecords
from midspan.store.tables import ResultRow, RunRow, SetDetailRow
from midspan.store.voids import unvoid, void, void_last, void_runs
from night_on_paper import paper_night
from results import NOTHING, told
from sqlalchemy import select
from sqlalchemy.dialects.sqlite import dialect
from stores import ACCEPTED, add_result, run_of, store_in

CRACK = Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: hysteresis 2.2 %")
CRACKED = Decision(Outcome.REJECTED, (CRACK.words,), None, (CRACK,))
SOUND = told(spine_thou=500.0, u_spine_thou=0.1, hysteresis_pct=None)


@pytest.fixture
def thrice(store):
    """Return a store with three measurements of shaft 7, and their numbers."""
    for at_ms in (1, 2, 3):
        add_result(store, run_of(7, "blue-7", offset=at_ms, at_ms=at_ms), SOUND)
    return store, [stored.run_id for stored in store.history(7)]


def standing(store, shaft):
    """Return the numbers of the measurements of a shaft that count."""
    return {stored.run_id for stored in store.standing(shaft)}


# --- void and counted again


def test_a_void_measurement_gives_way_to_the_one_before(thrice):
    store, (first, second, third) = thrice
    assert void_last(store, 7, "the wrong shaft lay in the gauge", "Ann", 5) == third
    assert standing(store, 7) == {second}
    void(store, first, "lid open", "", 6)
    assert standing(store, 7) == {second}
    said = void_runs(store, [7])
    assert {run: (found.person, found.words) for run, found in said.items()} == {
        third: ("Ann", "the wrong shaft lay in the gauge"), first: ("", "lid open")
    }  # fmt: skip
    unvoid(store, third, "it was the right one", "Ann", 7)
    assert standing(store, 7) == {third}
    assert [shaft.shaft for shaft in read_stock(store).shafts] == [7]


def test_one_in_the_middle_passes_on_what_it_superseded(thrice):
    store, (_, second, third) = thrice
    void(store, second, "lid open", "", 5)
    assert standing(store, 7) == {third}
    assert [len(store.batch(stored.batch)) for stored in store.history(7)] == [1, 0, 1]


def test_without_any_measurement_that_counts_there_is_none(thrice):
    store, runs = thrice
    for run in runs:
        void(store, run, "none of them was shaft 7", "", 5)
    assert store.latest(7) is None
    assert store.latest("blue-7") is None
    assert read_stock(store).shafts == ()
    with pytest.raises(StoreError) as caught:
        newest(store, "7")
    assert caught.value.code == "all_void"
    assert [record.void for record in every_result(store, all_versions=True)] == [True] * 3


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda store, run: void(store, run, "  ", "Ann", 5), "void_reason"),
        (lambda store, run: void(store, run + 99, "lid open", "Ann", 5), "never_measured"),
        (lambda store, run: unvoid(store, run, "lid shut", "Ann", 5), "not_void"),
        (lambda store, run: [void(store, run, "lid open", "", at_ms) for at_ms in (5, 6)], "already_void"),
        (lambda store, _: void_last(store, 99, "lid open", "Ann", 5), "never_measured"),
    ],
)
def test_what_says_nothing_is_refused_and_not_recorded(thrice, change, code):
    store, (_, _, third) = thrice
    with pytest.raises(StoreError) as caught:
        change(store, third)
    assert caught.value.code == code
    assert len(void_runs(store, [7])) == (code == "already_void")


def test_a_shaft_in_a_set_keeps_its_measurements(thrice):
    store, (_, _, third) = thrice
    add_result(store, run_of(8), SOUND)
    say(store, [7, 8], same=True, at_ms=4)
    with SetRecords.of(store) as records:
        number = records.add("spring", "{}", None, 5)
        records.join(number, [(8, store.latest(8).id)], 5)
    with pytest.raises(StoreError, match="spring") as caught:
        void(store, third, "lid open", "", 6)
    assert caught.value.code == "in_a_set"
    with store.transaction() as session:
        for kind, value in ((SetDetailKind.NAME, "club dozen"), (SetDetailKind.SHIPPED, "2026-03-01")):
            session.add(SetDetailRow(set_id=number, at_ms=7, kind=kind, value=value, person=""))
    with pytest.raises(StoreError, match=r"club dozen.*2026-03-01") as caught:
        void_last(store, 8, "lid open", "", 8)
    assert caught.value.code == "shipped"
    assert standing(store, 7) == {third}


def test_a_crack_found_by_a_void_measurement_is_not_passed_on_until_it_counts_again(store):
    add_result(store, run_of(7, offset=1, at_ms=1), SOUND, CRACKED)
    cracked = store.latest(7).run_id
    void(store, cracked, "another shaft lay in the gauge", "Ann", 2)
    add_result(store, run_of(7, offset=2, at_ms=3), SOUND)
    assert store.latest(7).decision.outcome is Outcome.ACCEPTED
    unvoid(store, cracked, "it was shaft 7 all the same", "Ann", 4)
    assert store.latest(7).decision.concerns == (CRACK,)
    assert store.latest(7).decision.outcome is Outcome.REJECTED


SHAFTS = (1, 2)
CHANGES = st.lists(
    st.one_of(
        st.tuples(
            st.just("measure"), st.sampled_from((1, 1, 1, 2)), st.sampled_from([*[Origin.MEASURED] * 3, *Origin])
        ),
        st.tuples(st.sampled_from(["void", "void", "unvoid"]), st.integers(0, 5), st.none()),
        st.tuples(st.just("say"), st.sampled_from([True, False, None]), st.none()),
    ),
    min_size=4,
    max_size=12,
)
MEASURED_BEFORE = [("measure", 1, Origin.MEASURED)] * 3
BASES = itertools.count(100, 10)


class Model:
    """What counts, worked out from a plain list: later measurements of this shop hide earlier ones unless void."""

    def __init__(self):
        self.runs = []  # [shaft, origin, void]
        self.same = None

    def standing(self, shaft):
        """Return the places in the list of the measurements of a shaft that count."""
        return {
            place
            for place, (whose, _, is_void) in enumerate(self.runs)
            if whose == shaft and not is_void and not any(
                later == shaft and origin is Origin.MEASURED and not gone
                for later, origin, gone in self.runs[place + 1 :]
            )
        }  # fmt: skip

    def counting(self, shaft):
        """Return the place of the measurement that counts for a shaft and all its numbers, None without any."""
        numbers = SHAFTS if self.same else (shaft,)
        found = {place for number in numbers for place in self.standing(number)}
        return max(found, key=lambda place: (self.runs[place][1] is Origin.MEASURED, place), default=None)


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """Return a store in which each example has numbers of its own."""
    with store_in(tmp_path_factory.mktemp("voids")).open() as store:
        yield store


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=CHANGES)
def test_any_order_of_voids_and_statements_leaves_what_the_model_says(shared, changes):
    base, model, numbers = next(BASES), Model(), []
    for at_ms, (kind, drawn, origin) in enumerate(MEASURED_BEFORE + changes):
        which = drawn
        if kind == "measure":
            run = run_of(base + which, archive=f"{base}-{at_ms}.avro", at_ms=at_ms)
            shared.add(shared.begin_batch("", 0), run, Evaluation(NOTHING, ACCEPTED, at_ms), origin=origin)
            numbers.append(shared.history(run)[0].run_id)
            model.runs.append([which, origin, False])
        elif kind == "say":
            try:
                say(shared, [base + shaft for shaft in SHAFTS], which, at_ms)
                model.same = which
            except MatchingError:
                assert which is None
                assert model.same is None
        elif numbers:
            which %= len(numbers)
            gone = model.runs[which][2]
            try:
                (void if kind == "void" else unvoid)(shared, numbers[which], "why", "Ann", at_ms)
                assert gone is (kind == "unvoid")
                model.runs[which][2] = kind == "void"
            except StoreError:
                assert gone is (kind == "void")
        for shaft in SHAFTS:
            assert standing(shared, base + shaft) == {numbers[place] for place in model.standing(shaft)}
            place, found = model.counting(shaft), counting(shared, base + shaft)
            assert (None if found is None else found.run_id) == (None if place is None else numbers[place])


# --- what is said of a shaft


def test_the_newest_of_a_kind_counts_and_all_stay(store):
    add_result(store, run_of(7, "blue-7"))
    for value in ("club 14", "club 15", None):
        say_of(store, 7, DetailKind.CUSTOMER, value, "Ann", 1)
    for value in ("scratch at the nock", "measured with its insert"):
        say_of(store, 7, DetailKind.NOTE, value, "Bob", 2)
    found = details_of(store, [7])
    assert [detail.value for detail in found] == ["club 14", "club 15", None, "scratch at the nock",
                                                  "measured with its insert"]  # fmt: skip
    assert current(found) == {DetailKind.NOTE: "measured with its insert"}


def test_a_new_label_is_read_everywhere_and_the_old_one_still_finds_the_shaft(store):
    add_result(store, run_of(7, "blue-7"), SOUND)
    add_result(store, run_of(9, "blue-9"), SOUND)
    say(store, [7, 9], same=True, at_ms=1)
    say_of(store, 7, DetailKind.LABEL, "red-1", "Ann", 2)
    assert {store.latest(number).run.label for number in (7, 9)} == {"red-1"}
    assert [shaft.label for shaft in read_stock(store).shafts] == ["red-1"]
    assert store.latest("red-1").run.shaft == 9
    with Records.of(store) as records:
        assert records.numbers_of("blue-7") == set()
        assert records.numbers_of("red-1") == {7, 9}
    assert read_name(store, "blue-7") == 7
    say_of(store, 9, DetailKind.LABEL, None, "Ann", 3)
    assert store.latest(9).run.label == "blue-9"


def test_a_result_evaluated_again_is_known_under_a_new_label(store):
    result = told(spine_thou=500.0, shaft=7, label="blue-7")
    batch, run = store.begin_batch("", 0), run_of(7, "blue-7")
    assert store.add_again(batch, run, Evaluation(result, ACCEPTED, 1))[1]
    say_of(store, 7, DetailKind.LABEL, "red-1", "", 2)
    assert not store.add_again(batch, run, Evaluation(result, ACCEPTED, 3))[1]


@pytest.mark.parametrize(
    ("kind", "value", "code"),
    [
        (DetailKind.LABEL, "blue-9", "two_shafts"),
        (DetailKind.LABEL, "x" * 65, "detail_value"),
        (DetailKind.ORDER, " ", "detail_value"),
        (DetailKind.NOTE, "two\nlines", "detail_value"),
        (DetailKind.NOTE, None, "note"),
        (DetailKind.LENGTH_MM, "29.5", "detail_value"),
        (DetailKind.LENGTH_MM, "nan", "detail_value"),
    ],
)
def test_what_cannot_be_said_of_a_shaft_is_refused(store, kind, value, code):
    add_result(store, run_of(7, "blue-7"))
    add_result(store, run_of(9, "blue-9"))
    with pytest.raises(StoreError) as caught:
        say_of(store, 7, kind, value, "Ann", 1)
    assert caught.value.code == code
    assert details_of(store, [7, 9]) == []


# --- what a reader types


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("7", 7), ("007", 7), ("#7", 7), ("# 7", 7), ("midspan shaft 7", 7), ("MIDSPAN SHAFT 7", 7), (" 7 ", 7),
        ("blue-7", 7), ("BLUE-7", 7), ("Grün 9", 9), ("GRÜN 9", 9), ("00012345678", 11),
    ],
)  # fmt: skip
def test_every_way_to_name_a_shaft_is_understood(store, typed, meant):
    for shaft, label in ((7, "blue-7"), (9, "Grün 9"), (11, "00012345678")):
        add_result(store, run_of(shaft, label))
    assert read_name(store, typed) == meant


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("lot 5", "two_shafts"), ("LOT 6", "two_shafts"), ("4012345678901", "not_a_label"),
        ("https://example.org/7", "not_a_label"), ("x" * 300, "not_a_label"), ("8", "never_measured"),
        ("blue-8", "never_measured"), ("", "never_measured"), ("\N{ARABIC-INDIC DIGIT SEVEN}", "never_measured"),
    ],
)  # fmt: skip
def test_a_name_that_means_no_shaft_or_two_is_refused(store, typed, code):
    for shaft, label in ((7, "lot 5"), (9, "lot 5"), (1, "Lot 6"), (2, "lot 6")):
        add_result(store, run_of(shaft, label))
    say(store, [7, 9], same=False, at_ms=1)
    with pytest.raises(StoreError) as caught:
        read_name(store, typed)
    assert caught.value.code == code


# --- speed


def test_what_stands_is_found_by_indexes(store):
    """SQLite's own plan: beside the tables that are read, none of the others is searched row by row."""
    query = select(RunRow.label).join(ResultRow, ResultRow.run_id == RunRow.id).where(*standing_results())
    text = str(query.compile(dialect=dialect(), compile_kwargs={"literal_binds": True}))
    with store.transaction() as session:
        plan = [row[3] for row in session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {text}")]
    assert sum(step.startswith("SCAN") for step in plan) == 1, plan
    looked = [step for step in plan if "voids" in step.lower() or "VoidRow" in step or "details" in step]
    assert len(looked) == 3, plan
    assert all("USING INDEX" in step or "USING COVERING INDEX" in step for step in looked)


# --- runs and check standards


def test_a_void_measurement_counts_in_no_run_and_its_check_speaks_against_no_shaft(store_place):
    with paper_night(store_place) as night:
        shaft = night.sorted_shaft(500.0, ACCEPTED, 1)
        night.check(off_thou=2.0, suspects=(shaft,))
        number, bar = night.number, shaft + 1
    with store_place.open() as store:
        journal = Journal(store)
        assert [check.standard for check in journal.checks(night=number)] == ["bar 7"]
        assert journal.suspects(number) == {shaft: [bar]}
        void_last(store, bar, "another shaft lay in the gauge", "Ann", 5)
        assert journal.checks(night=number) == []
        assert journal.suspects(number) == {}
        assert [found.shaft for found in read_stock(store).shafts] == [shaft]
        void_last(store, shaft, "lid open", "Ann", 6)
        assert set(journal.outcomes(number).values()) == {Outcome.DOUBTFUL}
        assert [judged.spine_thou for judged in journal.judged_results(number).values()] == [None, None]
