"""Sets in the store and on the command line: the stock, a shaft in one set only, refill, extend, and refusals.

SQLite itself (the standard library's sqlite3) is the outside for what the database holds and refuses.
"""

import json
import re
import shlex
import sqlite3
from contextlib import closing

import pytest
from commands_rig import answer, complaint, midspan, refusal, sets, shafts
from midspan.base.errors import StoreError
from midspan.decision.decision import Decision, Outcome
from midspan.decision.limit_test import NO_REPEAT
from midspan.report.sets_text import choice_words
from midspan.sets.choose import Choice
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import read_stock, spoken_against
from midspan.sets.twins import say
from midspan.sets.weights import weight_of
from night_on_paper import paper_night
from places import ROOT
from results import told
from stores import ACCEPTED, add_result, run_of

pytestmark = pytest.mark.slow

GRAM_PER_GRAIN = 0.06479891  # exact: NIST SP 811 (2008), appendix B.8
TABLES = ("batches", "runs", "results", "decisions", "sets", "members", "leavings", "marks", "weights")


def measured(store, shaft, spine_thou, *, spread_thou=2.0, at_ms=0, decision=ACCEPTED, batch=None, label=""):
    """Store an invented result of a shaft."""
    result = told(spine_thou=spine_thou, u_spine_thou=0.02, spread_thou=spread_thou, runout_mm=0.0254)
    run = run_of(shaft, label, offset=9000 * shaft + at_ms, at_ms=at_ms)
    return add_result(store, run, result, decision, batch=batch)


@pytest.fixture
def stocked(store_place):
    """A database with four shafts near 500, four near 510, and a single shaft far off."""
    with store_place.open() as store:
        batch = store.begin_batch("blue", 0)
        for i, spine in enumerate((500.0, 500.2, 500.4, 500.9, 510.0, 510.3, 510.1, 510.2, 540.0), 1):
            measured(store, i, spine, batch=batch, label=f"blue-{i}")
    return store_place


def rows(place):
    """Return all rows of all tables, as sqlite3 reads them."""
    with closing(sqlite3.connect(place.file)) as database:
        return {table: database.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES}


# Stock


def test_each_shaft_that_is_no_stock_is_left_out_with_its_reason(store_place):
    with paper_night(store_place) as night:
        night.check(0.05)
        good = [night.sorted_shaft(500.0 + i, ACCEPTED, 1) for i in range(3)]
        rejected = night.sorted_shaft(520.0, Decision(Outcome.REJECTED, ("no",)), 4)
        doubtful = night.sorted_shaft(499.0, Decision(Outcome.DOUBTFUL, ("near",)), 3)
        faulty = night.sorted_shaft(499.0, Decision(Outcome.INSTRUMENT_FAULT, ("sick",)), 3)
        nothing = night.sorted_shaft(None, Decision(Outcome.DOUBTFUL, ("it never touched",)), 3)
        unseen = night.sorted_shaft(500.0, ACCEPTED, 1, passed=0)
        suspects = [night.sorted_shaft(500.0, ACCEPTED, 1) for _ in range(3)]
        night.check(1.7, suspects=suspects)
        bad_check_ms = night.at_ms
    with store_place.open() as store:
        # The first suspect is measured again on the bench, by its number.
        measured(store, suspects[0], 500.3, at_ms=bad_check_ms + 60_000)
        Sets(store).mark([good[0]], spent=True, words="", at_ms=1)
        found = read_stock(store)
        assert [shaft.shaft for shaft in found.shafts] == [*good[1:], suspects[0]]
        reasons = {reason.split(":")[0]: numbers for reason, numbers in found.left_out.items()}
        assert reasons == {
            "a check standard": (1, suspects[-1] + 1),
            "marked as spent": (good[0],),
            "rejected": (rejected,),
            "doubtful, or not judged by any bands": (doubtful,),
            "measured while the gauge was at fault": (faulty,),
            "not measured": (nothing,),
            "bin uncertain": (unseen,),
            "suspect, a check standard read wrong": tuple(suspects[1:]),
        }


def test_a_doubtful_shaft_has_the_advice_of_its_verdict(stocked):
    with stocked.open() as store:
        for shaft, advice in ((901, "measure it again"), (902, NO_REPEAT)):
            doubtful = Decision(Outcome.DOUBTFUL, (f"spread 4.98 thou is too close to the limit 5 thou: {advice}",))
            measured(store, shaft, 500.0, decision=doubtful)
        reasons = spoken_against(store, [901, 902])
    assert [NO_REPEAT in reasons[shaft] for shaft in (901, 902)] == [False, True]
    assert "measure it again" in reasons[901]


def test_the_newest_measurement_counts_and_of_it_the_newest_result(stocked):
    with stocked.open() as store:
        measured(store, 1, 501.5, at_ms=50)
        measured(store, 1, 501.6, at_ms=50)  # the same readings made again
        measured(store, 1, 499.0, at_ms=0)  # old readings made again later
        assert read_stock(store).shafts[0].spine_thou == 501.6
        measured(store, 1, 501.6, at_ms=60, decision=Decision(Outcome.REJECTED, ("cracked",)))
        assert 1 not in [shaft.shaft for shaft in read_stock(store).shafts]


def test_a_part_of_the_stock_is_asked_for_by_batch_and_bin(stocked):
    with stocked.open() as store:
        batch = store.begin_batch("red", 0)
        measured(store, 20, 505.0, batch=batch, decision=Decision(Outcome.ACCEPTED, (), "505"))
    assert answer(stocked, "stock", "--batch", batch)["stock"] == [20]
    assert answer(stocked, "stock", "--bin", "505")["stock"] == [20]
    assert len(answer(stocked, "stock")["stock"]) == 10


# Keeping


def test_sets_are_kept_with_who_is_in_them(stocked):
    told = answer(stocked, "make", "--number", 4, "--spine", 1, "--keep", "spring")
    assert [[shaft["shaft"] for shaft in each["shafts"]] for each in told["sets"]] == [[1, 2, 3, 4], [5, 7, 8, 6]]
    assert told["proven"]
    with closing(sqlite3.connect(stocked.file)) as database:
        kept = database.execute("SELECT name, shaft, result_id FROM members JOIN sets ON sets.id = set_id").fetchall()
    assert sorted(kept) == [(f"spring {1 + (i > 4)}", i, i) for i in range(1, 9)]
    shown = answer(stocked, "show", "spring 1")
    assert shown["range_thou"] == pytest.approx(0.9)
    assert shown["u_range_thou"] == pytest.approx(0.02 * 2**0.5)
    stock = answer(stocked, "stock")
    assert (stock["stock"], stock["left_out"]) == ([9], {"in a set already": list(range(1, 9))})


def test_without_a_name_nothing_is_kept(stocked):
    before = rows(stocked)
    assert len(answer(stocked, "make", "--number", 4, "--spine", 1)["sets"]) == 2
    assert rows(stocked) == before


def test_no_program_puts_a_shaft_into_two_sets(stocked):
    answer(stocked, "make", "--number", 4, "--spine", 1, "--keep", "spring")
    with closing(sqlite3.connect(stocked.file)) as database:
        with pytest.raises(sqlite3.IntegrityError):
            database.execute("INSERT INTO members (set_id, shaft, joined_ms, result_id) VALUES (2, 1, 0, 1)")
        for table in TABLES[4:6]:
            with pytest.raises(sqlite3.IntegrityError, match=table):
                database.execute(f"DELETE FROM {table}")


def test_two_programs_that_choose_at_once_do_not_share_a_shaft(stocked):
    limits = Limits(number=2, spine_thou=1.0)
    with stocked.open() as first, stocked.open() as other:
        shafts, same = read_stock(first).shafts[:2], read_stock(other).shafts[1:3]
        Sets(first).keep({"first": shafts}, limits, 1)
        before = rows(stocked)
        with pytest.raises(StoreError) as caught:
            Sets(other).keep({"second": same, "third": read_stock(other).shafts[4:6]}, limits, 2)
    assert caught.value.code == "in_a_set"
    assert "2 blue-2" in str(caught.value)
    assert rows(stocked) == before


def test_a_name_is_given_once(stocked):
    answer(stocked, "make", "--number", 2, "--spine", 0.25, "--keep", "pair")
    before = rows(stocked)
    done = sets(stocked, "make", "--number", 2, "--spine", 5, "--keep", "pair")
    assert "'pair 1'" in complaint(done)
    assert rows(stocked) == before


@pytest.mark.parametrize("name", ["", " 1", "two\nlines", "a\x1b[31mb", "x" * 80])
def test_a_name_that_cannot_be_printed_is_refused(stocked, name):
    before = rows(stocked)
    with stocked.open() as store, pytest.raises(StoreError) as caught:
        Sets(store).keep({name: read_stock(store).shafts[:2]}, Limits(number=2, spine_thou=1.0), 1)
    assert caught.value.code == "name"
    assert str(caught.value).isprintable()
    assert rows(stocked) == before


def test_a_set_that_was_taken_apart_gives_its_shafts_back(stocked):
    answer(stocked, "make", "--number", 4, "--spine", 1, "--keep", "spring")
    assert "1, 2, 3, 4" in sets(stocked, "apart", "spring 1").stdout
    assert answer(stocked, "stock")["stock"] == [1, 2, 3, 4, 9]
    assert "spring 1" in complaint(sets(stocked, "apart", "spring 1"))
    assert "spring 1" in complaint(sets(stocked, "show", "spring 1"))
    assert [kept["shafts"] for kept in answer(stocked, "show")] == [[], [5, 7, 8, 6]]
    assert len(answer(stocked, "make", "--number", 4, "--spine", 1, "--keep", "again")["sets"]) == 1


# Refill and extend


@pytest.fixture
def dozen(stocked):
    """The four at 510 kept years ago as a set."""
    answer(stocked, "make", "--number", 4, "--spine", 1, "--batch", 1, "--keep", "old")
    sets(stocked, "apart", "old 1")
    return stocked


def test_a_lost_shaft_is_replaced_by_the_best_of_the_stock(dozen, snapshot):
    with dozen.open() as store:
        for shaft, spine in ((30, 509.8), (31, 510.16), (32, 510.9), (33, 510.17)):
            measured(store, shaft, spine, at_ms=10**11)
    before = rows(dozen)
    told = answer(dozen, "refill", "old 2", "--lost", "blue-6")
    assert (told["joining"], told["next"]) == ([31], [33, 30])
    assert rows(dozen) == before
    shown = sets(dozen, "refill", "old 2", "--lost", 6, "--keep").stdout
    assert shown.replace(str(dozen.file.parent), "FOLDER") == snapshot
    assert sorted(member["shaft"] for member in answer(dozen, "show", "old 2")["shafts"]) == [5, 7, 8, 31]
    assert answer(dozen, "stock")["left_out"]["marked as spent"] == [6]
    assert "old 2" in complaint(sets(dozen, "refill", "old 2"))


def test_what_joins_comes_from_the_batches_that_are_named(dozen):
    with dozen.open() as store:
        first, second = store.begin_batch("first", 0), store.begin_batch("second", 0)
        for shaft, spine, batch in ((30, 510.16, first), (31, 510.3, second), (32, 510.31, second)):
            measured(store, shaft, spine, batch=batch)
    refilling, extending = ("refill", "old 2", "--lost", 6), ("extend", "old 2", "--number", 2)
    assert answer(dozen, *refilling)["joining"] == [30]
    assert answer(dozen, *refilling, "--batch", second)["joining"] == [31]
    assert sorted(member["shaft"] for member in answer(dozen, *extending, "--batch", second)["second"]["shafts"]) == [
        31,
        32,
    ]
    assert " 1 " in complaint(sets(dozen, *extending, "--batch", first))


def test_two_lost_shafts_are_replaced_together(dozen):
    with dozen.open() as store:
        for shaft, spine in ((30, 509.5), (31, 510.6), (32, 510.7), (33, 509.4)):
            measured(store, shaft, spine)
    assert answer(dozen, "refill", "old 2", "--lost", 5, "--lost", 6)["joining"] == [31, 32]


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("old 2", "--lost", 6), ["spine", "9.300 thou", "8.300"]),
        (("old 2", "--lost", 1), ["shaft 1", "5, 7, 8, 6"]),
        (("old 2", "--lost", 99), ["shaft 99"]),
        (("old 3", "--lost", 1), ["'old 3'", "old 1, old 2"]),
        (("old 2", "--lost", 5, "--lost", 6, "--lost", 7, "--lost", 8), ["old 2"]),
    ],
)
def test_a_refill_that_cannot_be_changes_nothing(dozen, words, named):
    before = rows(dozen)
    said = complaint(sets(dozen, "refill", *words, "--keep"))
    assert [value for value in named if value not in said] == []
    assert rows(dozen) == before


def test_a_second_set_matches_the_first(dozen):
    with dozen.open() as store:
        for shaft, spine in ((30, 510.05), (31, 510.15), (32, 510.25), (33, 509.2), (34, 510.5)):
            measured(store, shaft, spine)
    told = answer(dozen, "extend", "old 2", "--number", 3, "--keep", "old 2 b")
    assert sorted(member["shaft"] for member in told["second"]["shafts"]) == [30, 31, 32]
    assert told["both"]["range_thou"] == pytest.approx(0.3)  # no wider than the first alone
    with closing(sqlite3.connect(dozen.file)) as database:
        assert database.execute("SELECT name, like_id FROM sets WHERE like_id IS NOT NULL").fetchall() == [
            ("old 2 b", 2)
        ]
    assert " 7 " in complaint(sets(dozen, "extend", "old 2", "--number", 8))


def test_what_a_better_choice_may_save_is_never_said_to_be_less():
    words = " ".join(choice_words(Choice(((0, 1),), 1, 1.0, 0.998), Limits(number=2, spine_thou=1)))
    assert re.findall(r"([\d.]+) %", words) == ["1"]


def test_a_range_of_what_is_not_known_any_more_is_null(stocked):
    sets(stocked, "make", "--number", 2, "--spine", 1, "--spread", 1, "--keep", "old")
    with stocked.open() as store:
        measured(store, 1, 500.0, spread_thou=None, at_ms=1)
    done = sets(stocked, "show", "old 1", "--json")
    ranges = json.loads(done.stdout, parse_constant=pytest.fail)["ranges"]  # JSON has no NaN (RFC 8259)
    assert ranges["spread_thou"] is None
    assert ranges["spine_thou"] == pytest.approx(0.2)


# Weights, marks, sizes


def test_weights_are_noted_by_number_or_label_and_the_newest_holds(stocked, tmp_path):
    assert shafts(stocked, "weigh", "blue-1", "310.5", "--unit", "grains").stdout.startswith("1 ")
    (tmp_path / "w.csv").write_text("shaft,weight_g\n1,20.00\nblue-2,20.10\n", encoding="utf-8")
    assert shafts(stocked, "weigh", "--csv", tmp_path / "w.csv").stdout.startswith("2 ")
    with stocked.open() as store:
        weights = {shaft.shaft: shaft.weight_gr for shaft in read_stock(store).shafts if shaft.weight_gr is not None}
    assert weights == {1: pytest.approx(20 / GRAM_PER_GRAIN), 2: pytest.approx(20.1 / GRAM_PER_GRAIN)}
    told = answer(stocked, "make", "--number", 2, "--spine", 1, "--weight", 5)
    assert [shaft["shaft"] for shaft in told["sets"][0]["shafts"]] == [1, 2]
    assert told["left_out"]["not weighed"] == [3, 4, 5, 6, 7, 8, 9]


def test_a_typed_weight_is_in_the_unit_of_the_workspace_if_none_is_given(stocked, tmp_path):
    assert shafts(stocked, "weigh", "1", "310.5").returncode == 0
    (tmp_path / "midspan.toml").write_text('[shown]\nweight = "grams"\n[files]\nscale = "none.toml"\n')
    for words in (("2", "20.00"), ("3", "310.5", "--unit", "gr"), ("4", "20.10", "--unit", "g")):
        done = midspan("shafts", "weigh", *words, "--store", stocked, folder=tmp_path)
        assert done.returncode == 0, done.stderr
    with stocked.open() as store:
        weights = {shaft.shaft: shaft.weight_gr for shaft in read_stock(store).shafts if shaft.weight_gr is not None}
    in_grains = {1: 310.5, 2: 20 / GRAM_PER_GRAIN, 3: 310.5, 4: 20.1 / GRAM_PER_GRAIN}
    assert weights == {number: pytest.approx(grains) for number, grains in in_grains.items()}


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("1", "20.1", "--unit", "grains"), ["20.1 grains", "grams"]),
        (("1", "310", "--unit", "grams"), ["310 grams", "grains"]),
        (("1", "310", "--unit", "ounces"), ["'ounces'"]),
        (("1",), ["--csv"]),
        (("99", "310", "--unit", "grains"), ["shaft 99"]),
        (("--csv", "w.csv"), ["line 3", "20.1 grains"]),
    ],
)
def test_a_weight_that_is_not_clear_changes_nothing(stocked, tmp_path, words, named):
    (tmp_path / "w.csv").write_text("shaft,weight_gr\n1,310\n2,20.1\n", encoding="utf-8")
    before = rows(stocked)
    said = complaint(shafts(stocked, "weigh", *(tmp_path / word if word == "w.csv" else word for word in words)))
    assert [value for value in named if value not in said] == []
    assert rows(stocked) == before


def test_a_shaft_that_is_weighed_under_its_number_and_its_label_has_two_weights(stocked, tmp_path):
    (tmp_path / "w.csv").write_text("shaft,weight_gr\n1,310\nblue-1,320\n", encoding="utf-8")
    before = rows(stocked)
    done = shafts(stocked, "weigh", "--csv", tmp_path / "w.csv")
    said = complaint(done)
    assert "shaft 1 " in said
    assert "'blue-1'" in said
    assert rows(stocked) == before


def test_a_quotation_mark_without_its_other_swallows_no_line(stocked, tmp_path):
    (tmp_path / "w.csv").write_text('shaft,weight_gr\n1,"310\n2,320\n', encoding="utf-8")
    assert shafts(stocked, "weigh", "--csv", tmp_path / "w.csv").stdout.startswith("2 ")


def test_a_label_of_two_shafts_is_no_name(stocked):
    with stocked.open() as store:
        measured(store, 40, 500.0, label="blue-1")
        say(store, [1, 40], same=False, at_ms=1)
        with pytest.raises(StoreError, match=r"'blue-1'.* 1, 40;"):
            Sets(store).weigh({"blue-1": weight_of("310", "grains", "x")}, 1)


def test_spent_shafts_come_back_when_it_was_a_mistake(stocked):
    assert "1, blue-2" in shafts(stocked, "spent", 1, "blue-2", "--why", "broke").stdout
    assert answer(stocked, "stock")["stock"] == list(range(3, 10))
    shafts(stocked, "spent", 1, "--back")
    assert answer(stocked, "stock")["stock"] == [1, *range(3, 10)]


def test_unmarked_shafts_get_the_name_of_a_size(stocked, tmp_path):
    table = '[[size]]\nname = "500"\nspine_thou = [485, 510]\n[[size]]\nname = "550"\nspine_thou = [510, 560]\n'
    (tmp_path / "sizes.toml").write_text(table, encoding="utf-8")
    told = {
        shaft["shaft"]: shaft["sizes"]
        for shaft in answer(stocked, "size", "--sizes", tmp_path / "sizes.toml", group="shafts")
    }
    assert told[1] == {"500": pytest.approx(1.0)}
    assert told[5] == {"500": pytest.approx(0.5), "550": pytest.approx(0.5)}  # its spine is the border
    shown = shafts(stocked, "size", "blue-5", "--sizes", tmp_path / "sizes.toml").stdout
    assert "5 blue-5" in shown
    assert "50.0 %" in shown
    (tmp_path / "sizes.toml").write_text(table.replace("485, 510", "485, 512"), encoding="utf-8")
    done = shafts(stocked, "size", "--sizes", tmp_path / "sizes.toml")
    said = complaint(done)
    assert [value for value in ("'500'", "'550'", "510", "512") if value not in said] == []


def test_without_a_table_of_sizes_it_is_said_how_to_write_one(stocked, tmp_path):
    done = midspan("shafts", "size", "blue-5", "--store", stocked, folder=tmp_path)
    assert refusal(done).code == "no_sizes"
    shown = midspan("shafts", "size", "--help").stdout
    begins = shown.index("[[size]]")
    example = "\n".join(shown[begins:].splitlines()[:3])
    (tmp_path / "sizes.toml").write_text("\n".join(line.strip() for line in example.splitlines()), encoding="utf-8")
    assert answer(stocked, "size", "1", "--sizes", tmp_path / "sizes.toml", group="shafts")


# Refusals of make


@pytest.mark.parametrize(
    ("words", "numbers"),
    [
        (("--number", 5, "--spine", 2), ["9.4 thou"]),
        (("--number", 10, "--spine", 2), [" 9 "]),
        (("--number", 4, "--spine", 2, "--weight", 5), [" 0 ", " 9 ", "not weighed"]),
        (("--number", 4, "--spine", 2, "--batch", 7), [" 0 "]),
    ],
)
def test_a_stock_without_a_set_says_which_limit_blocks_and_keeps_nothing(stocked, words, numbers):
    before = rows(stocked)
    said = complaint(sets(stocked, "make", *words, "--keep", "no"))
    assert [number for number in numbers if number not in said] == []
    assert rows(stocked) == before


# What the README shows


def test_the_readme_is_as_it_says(tmp_path, store_place):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.partition("### Matched sets")[2].partition("\n### ")[0]
    command, *_ = re.findall(r"^    midspan (sets make .*)$", section, re.MULTILINE)
    (table,) = re.findall(r"^    \[\[size\]\]\n(?:    .*\n)+", section, re.MULTILINE)
    (tmp_path / "sizes.toml").write_text("\n".join(line.strip() for line in table.splitlines()), encoding="utf-8")
    with store_place.open() as store:
        batch = store.begin_batch("blue", 0)
        for i in range(30):
            measured(store, i + 1, 495.0 + 0.19 * i, spread_thou=1.0 + 0.05 * i, batch=batch)
    done = midspan(*shlex.split(command), folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert [len(kept["shafts"]) for kept in answer(store_place, "show")] == [12, 12]
    assert answer(store_place, "show")[0]["set"] == "spring 1"
    assert answer(store_place, "size", "--sizes", tmp_path / "sizes.toml", group="shafts")[0]["sizes"] == {"500": 1.0}
