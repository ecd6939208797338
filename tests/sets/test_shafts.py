"""`midspan shafts`: shafts are found by what is known of them, shown whole, and corrected without losing anything.

What has to be found is counted by hand in a small stock.
"""

import json
from types import SimpleNamespace

import pytest
from commands_rig import answer, complaint, midspan, shafts
from midspan.base.errors import StoreError
from midspan.decision.bands import Bands
from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome, judge
from midspan.sets.find_shafts import ShaftQuery, find_shafts
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import CRACKED as STOCK_CRACKED
from midspan.sets.stock import shafts_of, spoken_against
from midspan.sets.twins import say
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import say_of
from midspan.store.voids import void_last
from results import told
from stores import add_result, run_of

CRACK = Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: hysteresis 2.2 %")
CRACKED = Decision(Outcome.REJECTED, (CRACK.words,), None, (CRACK,))
DOUBTFUL = Decision(Outcome.DOUBTFUL, ("within the guard band",))


def result_of(spine_thou):
    """Return an invented result of a gauge."""
    return told(spine_thou=spine_thou, u_spine_thou=0.1, hysteresis_pct=0.3, u_hysteresis_pct=0.1)


@pytest.fixture
def rack(store):
    """Return a store with six shafts: 1 to 3 blue, 4 of an order and suspect, 5 cracked, 6 also measured as 7."""
    batch = store.begin_batch("blue", 0)
    for shaft, label in ((1, "blue-1"), (2, "blue-2"), (3, "Blue-3")):
        add_result(store, run_of(shaft, label), result_of(500.0 + shaft), batch=batch)
    add_result(store, run_of(4, "red-4"), result_of(510.0), DOUBTFUL)
    add_result(store, run_of(5, "red-5"), result_of(511.0), CRACKED)
    add_result(store, run_of(6, "red-6"), result_of(512.0))
    add_result(store, run_of(7, at_ms=9), result_of(512.1))
    say(store, [6, 7], same=True, at_ms=10)
    say_of(store, 4, DetailKind.ORDER, "club 14", "Ann", 11)
    say_of(store, 6, DetailKind.NOTE, "scratch near the nock", "Ann", 12)
    void_last(store, 7, "the wrong shaft lay in the gauge", "Bob", 13)
    Sets(store).keep({"spring": list(shafts_of(store, [1, 2]).values())}, Limits(number=2, spine_thou=5.0), 14)
    return store


@pytest.mark.parametrize(
    ("query", "found"),
    [
        (ShaftQuery(), [(1,), (2,), (3,), (4,), (5,), (6, 7)]),
        (ShaftQuery(word="BLUE"), [(1,), (2,), (3,)]),
        (ShaftQuery(label="e-3"), [(3,)]),
        (ShaftQuery(word="7"), [(6, 7)]),
        (ShaftQuery(word="#05"), [(5,)]),
        (ShaftQuery(word="scratch"), [(6, 7)]),
        (ShaftQuery(said={DetailKind.ORDER: "CLUB"}), [(4,)]),
        (ShaftQuery(low_thou=502.0, high_thou=510.0), [(2,), (3,), (4,)]),
        (ShaftQuery(batch=1), [(1,), (2,), (3,)]),
        (ShaftQuery(set_name="spring"), [(1,), (2,)]),
        (ShaftQuery(suspects=True), [(4,), (5,)]),
        (ShaftQuery(voided=True), [(6, 7)]),
        (ShaftQuery(word="blue", low_thou=502.5), [(3,)]),
        (ShaftQuery(word="green"), []),
    ],
)
def test_shafts_are_found_by_what_is_known_of_them(rack, query, found):
    assert [shaft.numbers for shaft in find_shafts(rack, query)] == found


def test_an_unknown_set_is_refused(rack):
    with pytest.raises(StoreError):
        find_shafts(rack, ShaftQuery(set_name="autumn"))


def test_what_nobody_finds_says_what_to_do(rack):
    done = shafts(rack.place, "find", "green")
    assert done.returncode == 0
    assert done.stdout == ""
    assert "midspan shafts find" in done.stderr
    assert answer(rack.place, "find", "green", group="shafts") == []
    assert "red-4" in shafts(rack.place, "find", "--order", "14").stdout


def test_a_shaft_is_shown_with_all_that_was_ever_said_of_it(rack):
    assert shafts(rack.place, "label", "7", "green-1").returncode == 0
    told_of = answer(rack.place, "show", "6", group="shafts")
    assert told_of["numbers"] == [6, 7]
    assert (told_of["label"], told_of["earlier_labels"]) == ("green-1", ["red-6"])
    assert [each["shaft"] for each in told_of["measurements"] if each["counts"]] == [6]
    assert [each["void"]["why"] for each in told_of["measurements"] if each["void"]] == [
        "the wrong shaft lay in the gauge"
    ]
    assert [said["kind"] for said in told_of["said"]] == ["note", "label"]
    shown = shafts(rack.place, "show", "red-6").stdout
    assert all(words in shown for words in ("green-1", "red-6", "scratch", "Bob", "one shaft"))


def test_a_void_measurement_is_taken_back_by_commands(rack):
    assert shafts(rack.place, "void", "blue-3", "--why", "lid open", "--by", "Ann").returncode == 0
    assert [each["shaft"] for each in answer(rack.place, "find", "--voided", group="shafts")] == [3, 6]
    complaint(shafts(rack.place, "void", "3", "--why", "again"))
    assert shafts(rack.place, "unvoid", "3").returncode == 0
    complaint(shafts(rack.place, "unvoid", "3", "--why", "again"))
    complaint(shafts(rack.place, "void", "3", "--why", "lid open", "--measurement", "1"))
    assert "spring" in complaint(shafts(rack.place, "void", "1", "--why", "lid open"))
    assert "crack" in shafts(rack.place, "void", "5", "--why", "lid open").stderr


def test_what_is_told_of_shafts_is_found_and_taken_back(rack):
    told_all = shafts(rack.place, "tell", "1", "2", "--customer", "Ann", "--size", "500", "--length", "752")
    assert told_all.returncode == 0
    (first, _) = answer(rack.place, "find", "--customer", "ann", group="shafts")
    assert first["said"] == {"customer": "Ann", "size": "500", "length_mm": "752"}
    shafts(rack.place, "tell", "1", "--customer", "")
    assert [each["shaft"] for each in json.loads(shafts(rack.place, "find", "--customer", "ann", "--json").stdout)] == [
        2
    ]


@pytest.mark.parametrize(
    "words",
    [
        ("tell", "1", "2"), ("tell", "1", "--length", "29.5"), ("tell", "1", "99", "--size", "500"),
        ("label", "1", "red-4"), ("label", "1"), ("label", "1", "x", "--back"), ("note", "1", ""),
        ("show", "https://example.org"), ("void", "3", "--why", " "), ("void", "3"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line_and_nothing_is_recorded(rack, words):
    before = answer(rack.place, "find", group="shafts")
    complaint(shafts(rack.place, *words))
    assert answer(rack.place, "find", group="shafts") == before


def test_a_shaft_rejected_for_its_hysteresis_is_a_suspect_even_within_a_set(store):
    strict = Bands.model_validate({"bin": [{"name": "500", "spine_thou": [490, 510], "hysteresis_max_pct": 1.0}]})
    lost = told(spine_thou=500.0, u_spine_thou=0.1, hysteresis_pct=2.22, u_hysteresis_pct=0.02)
    quantities = SimpleNamespace(
        spine_thou=500.0, u_spine_thou=0.1, spread_thou=1.0, u_spread_thou=0.1, spread_floor_thou=0.1, runout_mm=None,
        u_runout_mm=None, hysteresis_pct=2.22, u_hysteresis_pct=0.02, faults=(), doubts=(),
    )  # fmt: skip
    judged = judge(quantities, strict)
    for shaft in (1, 2):
        add_result(store, run_of(shaft, f"B-{shaft}"), result_of(500.0))
    Sets(store).keep({"spring": list(shafts_of(store, [1, 2]).values())}, Limits(number=2, spine_thou=5.0), 14)
    for shaft in (2, 3):
        add_result(store, run_of(shaft, f"B-{shaft}", at_ms=20), lost, judged)
    assert [shaft.shaft for shaft in find_shafts(store, ShaftQuery(suspects=True))] == [2, 3]
    assert spoken_against(store, [1, 2, 3]) == {2: STOCK_CRACKED, 3: STOCK_CRACKED}
    assert shafts(store.place, "find", "--suspects").stdout.count("may be cracked") == 2
    assert "may be cracked" in shafts(store.place, "show", "3").stdout
    assert "may be cracked" in complaint(midspan("sets", "card", "spring", "--store", store.place))


def test_a_shaft_is_found_by_customer_and_order_of_its_set(rack):
    kept = ("--store", rack.place)
    assert midspan("sets", "order", "spring", "--order", "2026-14", "--customer", "Ann Bow", *kept).returncode == 0
    for kind, part in ((DetailKind.ORDER, "2026-14"), (DetailKind.CUSTOMER, "ann")):
        assert [shaft.shaft for shaft in find_shafts(rack, ShaftQuery(said={kind: part}))] == [1, 2]
    assert [shaft.shaft for shaft in find_shafts(rack, ShaftQuery(word="2026-14"))] == [1, 2]


@pytest.mark.parametrize(("labels", "expected"), [(("B-2", ""), "B-2"), (("", "B-2"), "B-2"), (("B-2", "K-1"), "K-1")])
def test_a_label_of_either_number_holds_for_a_joined_shaft(store, labels, expected):
    for at_ms, (shaft, label) in enumerate(zip((16, 304), labels, strict=True)):
        add_result(store, run_of(shaft, label, at_ms=at_ms), result_of(500.0))
    say(store, [16, 304], same=True, at_ms=10)
    (found,) = find_shafts(store, ShaftQuery())
    assert (found.shaft, found.label, shafts_of(store, [304])[304].label) == (304, expected, expected)
    told_of = answer(store.place, "show", "16", group="shafts")
    assert (told_of["label"], expected in told_of["earlier_labels"]) == (expected, False)


def test_the_label_that_was_said_last_counts(store):
    say_of(store, 305, DetailKind.LABEL, "K-2", "", 5)  # given before the first measurement
    add_result(store, run_of(305, "std", at_ms=9), result_of(500.0))
    add_result(store, run_of(306, "K-3", at_ms=9), result_of(500.0))
    say_of(store, 306, DetailKind.LABEL, "K-4", "", 10)
    for shaft, label, earlier in ((305, "std", ["K-2"]), (306, "K-4", ["K-3"])):
        told_of = answer(store.place, "show", str(shaft), group="shafts")
        assert (told_of["label"], told_of["earlier_labels"]) == (label, earlier)
    assert [shaft.label for shaft in find_shafts(store, ShaftQuery())] == ["std", "K-4"]
