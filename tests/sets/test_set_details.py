"""Sets renamed, ordered, shipped and found again; shafts of a shipped set are nobody else's until it comes back."""

import json
import sqlite3
from contextlib import closing
from datetime import date

import pytest
from midspan.base.errors import MatchingError, MidspanError, StoreError
from midspan.base.shown_units import AcrossUnit, ShownUnits, showing
from midspan.cli.sets_choose import apart, make
from midspan.cli.sets_choose import show as show_set
from midspan.cli.sets_join import refill
from midspan.cli.sets_said import listed_sets, order, rename, ship, unship
from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome
from midspan.report.set_card import card_of
from midspan.sets import set_changes
from midspan.sets.find_sets import SetQuery, found_sets
from midspan.sets.limits import Limits
from midspan.sets.promised import promised_to_others, stock_for
from midspan.sets.registry import Sets
from midspan.sets.stock import IN_A_SET, SHIPPED, read_stock, shafts_of
from midspan.sets.whom import Whom
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import say_of
from midspan.store.records import Records, StatedIdentity
from midspan.store.voids import void_last
from results import told
from stores import ACCEPTED, add_result, run_of

BY = ("Ann", 1_790_000_000_000)  # September 2026
MAY = date(2026, 5, 1)


def measured(store, shaft, spine_thou, batch, *, decision=ACCEPTED, at_ms=0):
    """Store an invented result of a shaft."""
    result = told(spine_thou=spine_thou, u_spine_thou=0.02, spread_thou=2.0, runout_mm=0.0254)
    run = run_of(shaft, f"blue-{shaft}", offset=9000 * shaft + at_ms, at_ms=at_ms)
    return add_result(store, run, result, decision, batch=batch)


@pytest.fixture
def two_sets(store):
    """A store with the sets "spring 1" of shafts 1 to 3 and "spring 2" of 4 to 6, and two shafts more."""
    batch = store.begin_batch("blue", 0)
    for shaft in range(1, 9):
        measured(store, shaft, 500.0 + 0.1 * shaft, batch)
    found = shafts_of(store, range(1, 7))
    sets = {"spring 1": [found[i] for i in (1, 2, 3)], "spring 2": [found[i] for i in (4, 5, 6)]}
    Sets(store).keep(sets, Limits(number=3, spine_thou=5.0), 0)
    return store


def named(store, name):
    """Return the set of a name."""
    return Sets(store).named(name)


def code_of(refused, *arguments, **options):
    """Return the code of the error that a call raises, whose message is one line."""
    with pytest.raises(MidspanError) as caught:
        refused(*arguments, **options)
    assert "\n" not in str(caught.value)
    return caught.value.code


def test_a_renamed_set_is_found_by_all_its_names(two_sets):
    set_changes.rename(two_sets, named(two_sets, "spring 1"), "Ann 2026", BY)
    set_changes.rename(two_sets, named(two_sets, "spring 1"), "Ann", BY)
    for name in ("spring 1", "Ann 2026", "Ann"):
        found = named(two_sets, name)
        assert (found.name, found.details.earlier_names, found.present) == ("Ann", ("spring 1", "Ann 2026"), (1, 2, 3))
    set_changes.rename(two_sets, named(two_sets, "Ann"), "spring 1", BY)  # its own name, again
    assert named(two_sets, "Ann").name == "spring 1"


def test_a_name_belongs_to_one_set_now_and_later(two_sets):
    set_changes.rename(two_sets, named(two_sets, "spring 1"), "Ann", BY)
    other = named(two_sets, "spring 2")
    for taken in ("Ann", "spring 1"):
        assert code_of(set_changes.rename, two_sets, other, taken, BY) == "taken"
        more = {taken: list(shafts_of(two_sets, [7, 8]).values())}
        assert code_of(Sets(two_sets).keep, more, Limits(number=2, spine_thou=5.0), 0) == "taken"
    for bad in ("", " x", "a\nb", 73 * "x", "\x1b[2J"):
        assert code_of(set_changes.rename, two_sets, other, bad, BY) == "name"
    assert named(two_sets, "spring 2").details.earlier_names == ()


def test_what_is_said_stays_on_record(two_sets, store_place, capsys):
    order("spring 1", customer="Ann", order="2026-14", note="for the club", store=store_place)
    order("spring 1", customer="Bea", note="paid", by="Ann", store=store_place)
    order("spring 1", order="", store=store_place)
    said = named(two_sets, "spring 1").details
    assert (said.customer, said.order, said.notes) == ("Bea", None, ("for the club", "paid"))
    with closing(sqlite3.connect(store_place.file)) as database:
        kept = database.execute("SELECT kind, value, person FROM set_details ORDER BY id").fetchall()
    assert [row for row in kept if row[0] == "customer"] == [("customer", "Ann", ""), ("customer", "Bea", "Ann")]
    assert code_of(order, "spring 1", store=store_place) == "nothing_said"
    assert code_of(order, "spring 1", customer="a\nb", store=store_place) == "name"
    assert code_of(order, "summer", customer="Ann", store=store_place) == "no_set"
    assert "for Bea; for the club; paid" in capsys.readouterr().out


def test_shafts_of_a_shipped_set_are_no_stock_and_stay_in_it(two_sets, store_place):
    ship("spring 1", on="2026-05-01", customer="Ann", order="2026-14", store=store_place)
    left_out = read_stock(two_sets).left_out
    assert (left_out[SHIPPED], left_out[IN_A_SET]) == ((1, 2, 3), (4, 5, 6))
    assert code_of(apart, "spring 1", store=store_place) == "shipped"
    assert code_of(void_last, two_sets, 2, "lid open", "Ann", BY[1]) == "shipped"
    assert code_of(ship, "spring 1", on="2026-05-02", store=store_place) == "shipped"
    assert named(two_sets, "spring 1").present == (1, 2, 3)
    unship("spring 1", store=store_place)
    assert code_of(unship, "spring 1", store=store_place) == "not_shipped"
    apart("spring 1", store=store_place)
    assert named(two_sets, "spring 1").details.words == "for Ann, order 2026-14"
    assert {1, 2, 3} <= {shaft.shaft for shaft in read_stock(two_sets).shafts}
    assert code_of(set_changes.ship, two_sets, named(two_sets, "spring 1"), MAY, BY) == "empty"


def test_two_programs_do_not_ship_a_set_twice_or_take_a_shipped_set_apart(two_sets, store_place):
    seen_before = named(two_sets, "spring 1")
    with store_place.open() as other:
        set_changes.ship(other, Sets(other).named("spring 1"), MAY, BY)
    assert code_of(set_changes.ship, two_sets, seen_before, MAY, BY) == "shipped"
    assert code_of(Sets(two_sets).take_apart, seen_before, 1) == "shipped"
    assert named(two_sets, "spring 1").present == (1, 2, 3)


def test_a_lost_shaft_of_a_shipped_set_is_replaced_and_it_is_said_to_whom_it_went(two_sets, store_place, capsys):
    ship("spring 1", on="2026-05-01", customer="Ann", order="2026-14", store=store_place)
    capsys.readouterr()
    refill("spring 1", lost=["blue-2"], keep=True, store=store_place)
    assert "for Ann, order 2026-14, shipped 2026-05-01" in capsys.readouterr().out
    kept = named(two_sets, "spring 1")
    assert (sorted(kept.present), kept.details.shipped) == ([1, 3, 7], "2026-05-01")
    assert read_stock(two_sets).left_out[SHIPPED] == (1, 3, 7)


def test_a_set_with_a_shaft_that_may_be_cracked_is_not_shipped(two_sets, store_place):
    crack = Decision(Outcome.REJECTED, ("hysteresis 2.2 %",), None, (Concern(ConcernKind.CRACK, "hysteresis 2.2 %"),))
    measured(two_sets, 2, 500.2, two_sets.begin_batch("again", 1), decision=crack, at_ms=1)
    assert code_of(ship, "spring 1", on="2026-05-01", store=store_place) == "unsound"
    assert named(two_sets, "spring 1").details.shipped is None


@pytest.mark.parametrize(("on", "code"), [("2026-13-01", "no_day"), ("May", "no_day"), ("2999-01-01", "to_come")])
def test_a_day_that_cannot_be_is_refused(two_sets, store_place, on, code):
    assert code_of(ship, "spring 1", on=on, store=store_place) == code


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, ["Ann's dozen", "spring 2"]),
        ({"part": "SPRING 1"}, ["Ann's dozen"]),  # its earlier name
        ({"part": "club"}, ["spring 2"]),
        ({"part": "2026-14"}, ["Ann's dozen"]),
        ({"customer": "ann"}, ["Ann's dozen"]),
        ({"customer": "an"}, []),
        ({"order": "2026-14"}, ["Ann's dozen"]),
        ({"shipped": "2026"}, ["Ann's dozen"]),
        ({"shipped": "2026-05"}, ["Ann's dozen"]),
        ({"shipped": "2026-05-01"}, ["Ann's dozen"]),
        ({"shipped": "2026-05-01..2026-05-01"}, ["Ann's dozen"]),
        ({"shipped": "2026-05-02.."}, []),
        ({"shipped": "..2026-04-30"}, []),
        ({"here": True}, ["spring 2"]),
        ({"shafts": (5, 99)}, ["spring 2"]),
        ({"customer": "Ann", "shipped": "2025"}, []),
    ],
)
def test_sets_are_found_by_what_is_known_of_them(two_sets, store_place, query, found):
    ship("spring 1", on="2026-05-01", customer="Ann", order="2026-14", store=store_place)
    rename("spring 1", "Ann's dozen", store=store_place)
    order("spring 2", note="for the Club", store=store_place)
    assert [kept.name for kept in found_sets(Sets(two_sets).all(), SetQuery(**query))] == found


def test_sets_are_listed_with_the_shaft_that_is_asked_for(two_sets, store_place, capsys):
    ship("spring 1", on="2026-05-01", customer="Ann", store=store_place)
    capsys.readouterr()
    listed_sets(shaft="blue-2", store=store_place, as_json=True)
    (only,) = json.loads(capsys.readouterr().out)
    assert (only["set"], only["customer"], only["shipped"], only["shafts"]) == (
        "spring 1",
        "Ann",
        "2026-05-01",
        [1, 2, 3],
    )
    show_set("spring 1", store=store_place, as_json=True)
    assert json.loads(capsys.readouterr().out)["said"]["shipped"] == "2026-05-01"
    for days in ("soon", "2026-1-1", "2026-01-01..May"):
        assert code_of(listed_sets, shipped=days, store=store_place) == "no_dates"
    with pytest.raises(StoreError):
        listed_sets(shaft="red-1", store=store_place)


def test_a_card_says_for_whom_the_set_is(two_sets, store_place):
    order("spring 1", customer="Ann", order="2026-14", store=store_place)
    assert card_of(two_sets, named(two_sets, "spring 1"), None, None).sentences[0] == "For Ann, order 2026-14."
    assert "Ann" not in " ".join(card_of(two_sets, named(two_sets, "spring 2"), None, None).sentences)


@pytest.fixture
def promised(two_sets):
    """The store with shaft 1, which is in "spring 1", and shaft 7, which is in no set, told to be for Tom Reed."""
    for shaft in (1, 7):
        say_of(two_sets, shaft, DetailKind.CUSTOMER, "Tom Reed", "", 1)
    return two_sets


def test_a_shaft_that_is_for_a_customer_is_only_in_their_sets(promised, store_place, capsys):
    ours, toms = (stock_for(promised, read_stock(promised), whom) for whom in (Whom("Ann Bow"), Whom("tom reed")))
    assert [shaft.shaft for shaft in ours.shafts] == [8]
    assert ours.left_out["promised (for Tom Reed)"] == (7,)
    assert [shaft.shaft for shaft in toms.shafts] == [7, 8]
    with pytest.raises(MatchingError):
        make(number=2, store=store_place)  # one shaft alone is no set
    make(number=2, customer="Tom Reed", keep="tom", store=store_place)
    kept = named(promised, "tom 1")
    assert (kept.present, kept.details.customer) == ((7, 8), "Tom Reed")


def test_a_joined_shaft_is_promised_under_all_its_numbers(promised):
    with Records.of(promised) as records:
        records.state_identities([StatedIdentity(7, 8, True, 2, "", "one shaft")])
    assert promised_to_others(promised, [7, 8], Whom()).keys() == {7, 8}


def test_a_set_with_a_shaft_for_another_customer_is_not_shipped(promised, store_place, capsys):
    order("spring 1", customer="Ann Bow", store=store_place)
    assert "shaft 1 in it is promised for Tom Reed" in capsys.readouterr().out
    assert code_of(ship, "spring 1", on="2026-05-01", store=store_place) == "promised"
    assert named(promised, "spring 1").details.shipped is None
    say_of(promised, 1, DetailKind.CUSTOMER, None, "", 2)
    ship("spring 1", on="2026-05-01", store=store_place)
    assert named(promised, "spring 1").details.shipped == "2026-05-01"


def test_a_set_is_shipped_to_those_to_whom_its_shafts_are_promised(promised, store_place):
    ship("spring 1", on="2026-05-01", customer="Tom Reed", store=store_place)
    assert named(promised, "spring 1").details.words == "for Tom Reed, shipped 2026-05-01"


def test_a_replacement_is_not_taken_from_another_customer(promised, store_place, capsys):
    refill("spring 2", lost=["4"], keep=True, store=store_place)
    assert named(promised, "spring 2").present == (5, 6, 8)  # 7 is nearer, but Tom Reed's


def test_the_usual_limit_of_spine_is_said(two_sets, store_place, capsys):
    make(number=2, store=store_place)
    assert "spine within 5 thou is usual" in capsys.readouterr().out
    make(number=2, spine=4.0, store=store_place)
    assert "usual" not in capsys.readouterr().out


def test_a_limit_that_blocks_is_said_in_the_unit_in_which_it_is_typed(two_sets, store_place):
    with showing(ShownUnits(across=AcrossUnit.MM)), pytest.raises(MatchingError) as refused:
        make(number=2, spine=0.01, store=store_place)
    assert "within 0.1 thou (0.00254 mm) instead of 0.01 thou (0.000254 mm)" in str(refused.value)
