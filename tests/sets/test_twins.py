"""Shafts under two numbers: the second night finds them, people state what they are, and no set holds a shaft twice.

The truth is that of twins_rig; SQLite itself (the standard library's sqlite3) is the outside for what is on record.
"""

import json
import sqlite3
from contextlib import closing

import numpy as np
import pytest
from commands_rig import answer, complaint, sets, shafts
from midspan.base.errors import StoreError
from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import (
    CRACKED,
    IN_A_SET,
    LIKELY,
    LIKELY_CRACKED,
    SAME,
    SPENT,
    TWICE,
    read_stock,
    shafts_of,
    spoken_against,
)
from midspan.sets.twins import say
from midspan.sets.weights import weight_of
from midspan.store.identity import known_identities
from midspan.store.records import Records
from midspan.store.tables import VoucherRow
from night_on_paper import paper_night
from results import told
from stores import ACCEPTED, add_result, run_of
from twins_rig import coefficients, mixed

pytestmark = pytest.mark.slow

SHAFTS = 24


class Rack:
    """A rack of invented shafts, and a store into which they are measured batch by batch, under ever new numbers."""

    def __init__(self, place, seed=3):
        self.place, self.rng, self.runs = place, np.random.default_rng(seed), 0
        self.stock = mixed(self.rng, SHAFTS)
        self.bar = tuple(np.array([value]) for value in (500.0, 0.3, 0.0, 0.0))

    def night(self, first, shafts=range(SHAFTS), *, gauge="attic", calibration="attic-1", bars=3, **also):
        """Measure shafts of the rack under numbers from `first` on; 900 is a bar, each time in a batch of its own."""
        with self.place.open() as store:
            chosen = tuple(part[list(shafts)] for part in self.stock)
            batch = store.begin_batch("night", 0)
            for number, parts in enumerate(zip(*coefficients(chosen, self.rng), strict=True), first):
                self.noted(store, batch, number, parts, gauge, calibration, **also)
            for _ in range(bars):
                (curve,), (surface,) = coefficients(self.bar, self.rng)
                self.noted(store, store.begin_batch("bar", 0), 900, (curve, surface), gauge, calibration)
        return batch

    def noted(self, store, batch, number, parts, gauge, calibration, label="", decision=ACCEPTED):
        """Store a result with these traits."""
        curve, surface = (list(map(float, part)) for part in parts)
        self.runs += 1
        result = told(
            gauge=gauge, calibration=calibration, evaluation="2", spine_thou=curve[0], u_spine_thou=0.2,
            spread_thou=2 * float(np.hypot(curve[3], curve[4])), runout_mm=0.1, hysteresis_pct=0.1,
            curve_thou=curve, surface_mm=surface,
        )  # fmt: skip
        add_result(store, run_of(number, label, offset=self.runs, at_ms=self.runs), result, decision, batch=batch)


@pytest.fixture
def rack(store_place):
    return Rack(store_place)


@pytest.fixture
def twice(rack):
    """A rack whose shafts went through the gauge on two nights: numbers 1 to 24, and 101 to 124 in the same order."""
    rack.night(1)
    rack.night(101)
    return rack


def stock_of(rack, **also):
    """Return the stock of a rack."""
    with rack.place.open() as store:
        return read_stock(store, **also)


def physical(numbers):
    """Return the places in the rack that numbers of the nights belong to."""
    return [number % 100 for number in numbers if number != 900]


# Likely twins


def test_a_second_night_counts_no_shaft_twice(twice):
    stock = stock_of(twice)
    assert [shaft.shaft for shaft in stock.shafts] == [*range(101, 125), 900]
    assert stock.left_out[LIKELY] == tuple(range(1, 25))
    assert stock.likely == tuple((i, 100 + i) for i in range(1, 25))
    assert not stock.unsure
    told = answer(twice.place, "make", "--number", 2, "--spine", 8)
    used = [shaft["shaft"] for each in told["sets"] for shaft in each["shafts"]]
    assert len(set(physical(used))) == len(physical(used)) > 15
    assert told["likely_twins"] == [[i, 100 + i] for i in range(1, 25)]
    assert "24 shafts" in " ".join(sets(twice.place, "make", "--number", 2, "--spine", 8).stdout.split())


def test_a_batch_may_be_asked_for_alone(twice):
    assert [shaft.shaft for shaft in stock_of(twice, batches=[1]).shafts] == list(range(1, 25))


def test_a_set_is_never_extended_or_refilled_by_its_own_shafts(rack):
    first = rack.night(1)
    made = answer(rack.place, "make", "--number", 2, "--spine", 8, "--batch", first, "--keep", "spring")
    own = [shaft["shaft"] for shaft in made["sets"][0]["shafts"]]
    taken = {shaft["shaft"] for each in made["sets"] for shaft in each["shafts"]}
    rack.night(101)
    assert taken.isdisjoint(physical(shaft.shaft for shaft in stock_of(rack).shafts))
    for words in (("extend", "spring 1", "--number", 2), ("refill", "spring 1", "--lost", own[0])):
        done = sets(rack.place, *words, "--json")
        if done.returncode == 0:
            told = json.loads(done.stdout)
            joining = told.get("joining") or [shaft["shaft"] for shaft in told["second"]["shafts"]]
            assert taken.isdisjoint(physical(joining))
        else:
            assert complaint(done)


def test_the_likely_twin_of_a_spent_or_cracked_shaft_is_left_out(rack):
    rack.night(1)
    crack = Decision(Outcome.REJECTED, ("crack",), concerns=(Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: 2 %"),))
    rack.night(201, [4], bars=0, decision=crack)
    shafts(rack.place, "spent", 1)
    rack.night(101, range(4), bars=0)
    assert stock_of(rack).left_out[LIKELY] == (2, 3, 4, 5, 101)


def test_the_list_names_pairs_and_people_settle_them(twice):
    assert [1, 101] in answer(twice.place, "twins", group="shafts")["likely_twins"]
    assert shafts(twice.place, "different", 1, 101, "--by", "Ann", "--why", "both lie here").returncode == 0
    shafts(twice.place, "join", 2, 102)
    told = answer(twice.place, "twins", group="shafts")
    assert [1, 101] not in told["likely_twins"]
    assert [2, 102] not in told["likely_twins"]
    assert len(told["likely_twins"]) == 22
    assert told["one_shaft"] == [[2, 102]]
    there = {shaft.shaft for shaft in stock_of(twice).shafts}
    assert {1, 101, 102} <= there
    assert 2 not in there
    assert stock_of(twice).left_out[SAME] == (2,)
    assert "midspan shafts different 3 103" in shafts(twice.place, "twins").stdout


# What nobody can tell


def test_shafts_of_two_calibrations_are_not_compared(rack):
    rack.night(1)
    rack.night(101, range(10), calibration="attic-2")
    stock = stock_of(rack)
    assert not stock.likely
    ((reason, numbers),) = stock.unsure.items()
    assert "attic-2" in reason
    assert numbers == tuple(range(101, 111))
    assert "10 shafts may be in the stock under two numbers" in " ".join(sets(rack.place, "stock").stdout.split())


def test_without_repeats_nobody_can_tell(rack):
    rack.night(1, bars=0)
    rack.night(101, bars=1)
    stock = stock_of(rack)
    assert not stock.likely
    (numbers,) = stock.unsure.values()
    assert len(numbers) == 49


def test_a_shaft_measured_again_where_it_lay_is_no_repeat(rack):
    rack.night(1, bars=0)
    with rack.place.open() as store:
        for curve, surface in zip(*coefficients(rack.stock, rack.rng), strict=True):
            rack.noted(store, 1, 1, (curve, surface), "attic", "attic-1")
    rack.night(101, bars=0)
    assert len(stock_of(rack).unsure) == 1


def test_one_night_alone_is_not_worth_a_word(rack):
    rack.night(1, bars=0)
    assert not stock_of(rack).unsure
    assert sets(rack.place, "stock").stdout.count("nobody") == 0


# Known to be one


def test_a_label_finds_the_shaft_again(rack):
    rack.night(1, [0], label="blue-1")
    rack.night(101, [1], label="blue-1", calibration="other")  # measured otherwise, and read off the same shaft
    stock = stock_of(rack)
    assert stock.left_out == {SAME: (1,)}
    assert [shaft.shaft for shaft in stock.shafts] == [101, 900]
    with rack.place.open() as store:
        Sets(store).weigh({"blue-1": weight_of("310", "grains", "x")}, 1)
        say(store, [1, 101], same=False, at_ms=1)
        assert [shaft.shaft for shaft in read_stock(store).shafts] == [1, 101, 900]


def test_the_code_on_a_shaft_is_its_number(rack):
    rack.night(7, [0])
    rack.night(101, [1], label="midspan shaft 7", calibration="other")
    assert stock_of(rack).left_out == {SAME: (7,)}


def test_what_is_noted_under_one_number_holds_for_all(rack):
    first = rack.night(1, range(5), bars=0)
    with rack.place.open() as store:
        Sets(store).weigh({"1": weight_of("310", "grains", "x")}, 1)
        Sets(store).mark([2], spent=True, words="", at_ms=1)
        pair = [shaft for shaft in read_stock(store, batches=[first]).shafts if shaft.shaft in (3, 4)]
        Sets(store).keep({"old": pair}, Limits(number=2, spine_thou=500), 1)
    rack.night(101, range(5), calibration="other", bars=0)
    for number in range(1, 6):
        shafts(rack.place, "join", number, 100 + number)
    stock = stock_of(rack)
    assert stock.left_out == {SAME: (1, 2, 3, 4, 5), SPENT: (102,), IN_A_SET: (103, 104)}
    assert [(shaft.shaft, shaft.weight_gr) for shaft in stock.shafts] == [(101, pytest.approx(310.0)), (105, None)]
    with rack.place.open() as store:
        those = list(shafts_of(store, [103, 105]).values())
        with pytest.raises(StoreError, match="shaft 103 ") as caught:
            Sets(store).keep({"new": those}, Limits(number=2, spine_thou=500), 1)
        assert caught.value.code == "in_a_set"
    shafts(rack.place, "spent", "--back", 102)
    assert 102 in [shaft.shaft for shaft in stock_of(rack).shafts]


def test_a_crack_under_one_number_is_one_under_all(rack):
    crack = Decision(Outcome.REJECTED, ("crack",), concerns=(Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: 2 %"),))
    rack.night(1, [0], decision=crack)
    rack.night(101, [0], calibration="other", bars=0)
    shafts(rack.place, "join", 1, 101)
    assert stock_of(rack).left_out == {SAME: (1,), CRACKED: (101,)}


def test_a_set_is_told_what_was_found_of_its_shafts_under_a_new_number(rack):
    rack.night(1, range(2), bars=0)
    answer(rack.place, "make", "--number", 2, "--spine", 500, "--keep", "old")
    rack.night(101, [0], bars=0, decision=Decision(Outcome.REJECTED, ("bent",)))
    with rack.place.open() as store:
        assert spoken_against(store, [1, 2]) == {}
        say(store, [1, 101], same=True, at_ms=1)
        assert spoken_against(store, [1, 2]) == {1: "rejected"}


def test_a_set_is_told_of_a_crack_in_what_is_likely_its_shaft(rack):
    rack.night(1)
    with rack.place.open() as store:
        Sets(store).keep({"old": read_stock(store).shafts[:2]}, Limits(number=2, spine_thou=500), 1)
    crack = Decision(Outcome.REJECTED, ("crack",), concerns=(Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: 2 %"),))
    rack.night(101, [1], bars=0, decision=crack)
    with rack.place.open() as store:
        assert spoken_against(store, [1, 2]) == {2: LIKELY_CRACKED}


def test_a_result_that_is_no_json_keeps_nobody_from_making_sets(twice):
    with closing(sqlite3.connect(twice.place.file)) as database, database:
        database.execute("DROP TRIGGER results_no_update")
        database.execute('UPDATE results SET "full" = \'{"gauge": \' WHERE id = 1')
    stock = stock_of(twice)
    assert stock.likely == tuple((i, 100 + i) for i in range(2, 25))
    assert list(stock.unsure.values()) == [(1,)]


def test_a_shaft_in_two_sets_is_named_when_it_is_known(rack):
    batches = [rack.night(first, range(2), bars=0) for first in (1, 101)]
    for batch in batches:
        answer(rack.place, "make", "--number", 2, "--spine", 500, "--batch", batch, "--keep", f"of {batch}")
    done = shafts(rack.place, "join", 1, 101)
    assert done.stdout.count(TWICE) == 2
    with rack.place.open() as store:
        assert spoken_against(store, [1, 2]) == {1: TWICE}


def test_a_lost_shaft_may_be_named_by_any_of_its_numbers(rack):
    first = rack.night(1, bars=0)
    told = answer(rack.place, "make", "--number", 2, "--spine", 8, "--batch", first, "--keep", "old")
    lost, stays = [member["shaft"] for member in told["sets"][0]["shafts"]]
    rack.night(101, [lost - 1], calibration="other", bars=0)
    rack.night(301, calibration="third", bars=0)
    shafts(rack.place, "join", lost, 101)
    assert sets(rack.place, "refill", "old 1", "--lost", 101, "--keep").returncode == 0
    present = answer(rack.place, "show")[0]["shafts"]
    assert stays in present
    assert lost not in present


@pytest.mark.parametrize("known", [True, False])
def test_who_vouches_for_the_newer_number_looked_at_the_shaft(rack, known):
    crack = Decision(Outcome.REJECTED, ("crack",), concerns=(Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: 2 %"),))
    rack.night(1, decision=crack)
    rack.night(101, [4])
    if known:
        shafts(rack.place, "join", 5, 101)
    assert 101 not in [shaft.shaft for shaft in stock_of(rack).shafts]
    with rack.place.open() as store:
        (vouched,) = store.history(101)
        with store.transaction() as session:
            row = VoucherRow(shaft=101, run_id=vouched.run_id, result_id=vouched.id, at_ms=1, person="Ann", words="")
            session.add(row)
    assert 101 in [shaft.shaft for shaft in stock_of(rack).shafts]
    rack.night(301, [4], decision=crack)
    shafts(rack.place, "join", 301, 101)
    assert 101 not in [shaft.shaft for shaft in stock_of(rack).shafts]


def test_a_shaft_that_was_lost_and_measured_again_is_there(store_place):
    """Take a shaft that slipped past the chute unseen, and comes again in the next night."""
    with paper_night(store_place) as night:
        unseen = night.sorted_shaft(500.0, ACCEPTED, 1, passed=0)
        again = night.sorted_shaft(500.0, ACCEPTED, 1)
    with store_place.open() as store:
        say(store, [unseen, again], same=True, at_ms=1)
        assert [shaft.shaft for shaft in read_stock(store).shafts] == [again]


def test_the_list_holds_shafts_whose_newest_measurement_gave_nothing(twice):
    with twice.place.open() as store:
        add_result(store, run_of(101, archive="b.avro", at_ms=1), decision=Decision(Outcome.DOUBTFUL, ("no",)))
    assert [1, 101] in answer(twice.place, "twins", group="shafts")["likely_twins"]
    assert shafts(twice.place, "twins").returncode == 0


# On record


def test_statements_are_records_and_the_newest_holds(twice):
    place = twice.place
    shafts(place, "join", 1, 101, "--by", "Ann", "--why", "only one is there")
    shafts(place, "join", 1, 101, "--back", "--by", "Bob")
    shafts(place, "different", 1, 101)
    with closing(sqlite3.connect(place.file)) as database:
        kept = database.execute("SELECT shaft, other, same, person, words FROM identities ORDER BY id").fetchall()
        assert kept == [(1, 101, 1, "Ann", "only one is there"), (1, 101, None, "Bob", ""), (1, 101, 0, "", "")]
        with pytest.raises(sqlite3.IntegrityError, match="identities"):
            database.execute("DELETE FROM identities")
    assert [statement["same"] for statement in answer(place, "twins", group="shafts")["said"]] == [True, None, False]


def test_merging_and_taking_it_back_leaves_the_stock_as_it_was(twice):
    before = stock_of(twice)
    shafts(twice.place, "join", 1, 101)
    assert stock_of(twice) != before
    shafts(twice.place, "join", 1, 101, "--back")
    assert stock_of(twice) == before


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("different", 1, 301), "1 is 101, 101 is 301"),
        (("join", 2, 102, "--back"), "2, 102"),
        (("join", 1, 1), "two"),
        (("join", 1, 777), "shaft 777"),
    ],
)
def test_what_contradicts_or_says_nothing_is_refused(twice, words, named):
    twice.night(301, range(1), bars=0)
    shafts(twice.place, "join", 1, 101, 301)
    with closing(sqlite3.connect(twice.place.file)) as database:
        before = database.execute("SELECT * FROM identities").fetchall()
        assert named in complaint(shafts(twice.place, *words))
        assert database.execute("SELECT * FROM identities").fetchall() == before


def test_several_shafts_are_told_apart_at_once(rack):
    rack.night(1, range(3), label="lot 5")
    with rack.place.open() as store:
        assert len(read_stock(store).shafts) == 2
        say(store, [1, 2, 3], same=False, at_ms=1)
        assert len(read_stock(store).shafts) == 4
        with Records.of(store) as records:
            assert known_identities(records).groups == {}
