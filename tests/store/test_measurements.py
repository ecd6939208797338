"""Which measurement of a shaft counts, whatever the clock says, and what no later evaluation may forget of it.

The archives and the database of `data/e0bd664` come from sorting runs of an earlier version with the simulated gauge:
a shaft with 2.2 % of hysteresis, four suspect shafts, a check standard.
"""

import json
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC
from pathlib import Path

import pytest
from commands_rig import complaint, midspan
from midspan.base.errors import StoreError
from midspan.decision.bands import load_bands
from midspan.decision.basis import Basis
from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome
from midspan.hand_bench.result import evaluate_hand
from midspan.hand_bench.sessions import sessions
from midspan.measurement.definition import DEFINITION
from midspan.report.result_text import verdict_words
from midspan.report.sets_view import present
from midspan.sets.registry import Sets
from midspan.sets.stock import (
    CONTRADICTED,
    OUTCOMES,
    SAME,
    STANDARD,
    SUSPECT,
    UNKNOWN,
    converted_words,
    each_once,
    read_stock,
    spoken_against,
)
from midspan.sets.stock import CRACKED as MAYBE_CRACKED
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.journal import Journal
from midspan.store.stock_records import StockRecords
from midspan.store.transit import RunFindings, StandardCheck, TransitStage, WayStep
from midspan.store.vouching import Voucher, vouch
from midspan.web.follow import Clock, Follower
from midspan.web.view_sets import set_values
from midspan.web.view_shaft import shaft_values
from places import DATA
from results import told
from stores import ACCEPTED, add_result, run_of, store_in

pytestmark = pytest.mark.slow

OLD = DATA / "e0bd664"
CRACKED_SHAFTS = (13, 51)  # of the two nights, by their place "cracked"
SUSPECT_SHAFTS = [50, 52, 53]  # 51 is rejected for its crack first
BARS = {11, 28, 45, 48, 49, 54}
CRACK = Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: hysteresis 2.20 % is beyond 1.5 %.")
CRACKED = Decision(Outcome.REJECTED, (CRACK.words,), None, (CRACK,))
DOUBTFUL = OUTCOMES["doubtful"]
WIDE = '[[bin]]\nname = "any"\nspine_thou = [50.0, 2000.0]\n'
SEEN = "no crack under a lens"
HOUR_MS = 3_600_000
BEGUN_MS = 1_780_000_000_000


@pytest.fixture
def shop(tmp_path):
    """Return a folder with the files of the earlier version, and bands that accept every shaft."""
    folder = Path(shutil.copytree(OLD, tmp_path / "shop", ignore=shutil.ignore_patterns("*-wal", "*-shm")))
    (folder / "wide.toml").write_text(WIDE, encoding="utf-8")
    return folder


def recompute(folder, *more, store="results.db", bands="wide.toml"):
    """Evaluate both archives again and return the rows that the command prints as JSON."""
    done = midspan(
        "recompute", "readings.avro", "night-readings.avro", "--calibration", "calibration.toml", "--bands", bands,
        "--store", store, "--json", *more, folder=folder,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def renewed_once(tmp_path_factory):
    """Return a folder with the files of the earlier version whose readings were evaluated again."""
    folder = Path(shutil.copytree(OLD, tmp_path_factory.mktemp("renewed") / "shop"))
    (folder / "wide.toml").write_text(WIDE, encoding="utf-8")
    recompute(folder, bands="bands.toml")
    return folder


@pytest.fixture
def renewed(renewed_once, tmp_path):
    """Return a copy of that folder: only results in today's form can be shown and judged anew."""
    return Path(shutil.copytree(renewed_once, tmp_path / "renewed"))


def left_out(folder, store="results.db"):
    """Return the shafts of the stock, and the shafts that are not stock by the reason."""
    with store_in(folder, store).open() as opened:
        stock = read_stock(opened)
        return {shaft.shaft for shaft in stock.shafts}, stock.left_out


def measured(
    store, shaft, *, at_ms=0, spine_thou=500.0, decision=ACCEPTED, origin=Origin.MEASURED, archive="a.avro", **more
):
    """Store an invented measurement and return its reference; readings follow each other in the archive."""
    place = len(store.history(shaft)) * 9000 + 17 * shaft
    run = run_of(shaft, more.pop("label", ""), archive=archive, offset=more.pop("offset", place), at_ms=at_ms)
    basis = more.pop("basis", None)
    result = told(**{"spine_thou": spine_thou, "u_spine_thou": 0.02, "hysteresis_pct": 0.1, **more})
    store.add(store.begin_batch("blue", 0), run, Evaluation(result, decision, at_ms, basis=basis), origin=origin)
    return run


def reason(store, shaft):
    """Return the reason why a shaft is not stock, None if it is."""
    stock = read_stock(store)
    return next((why for why, those in stock.left_out.items() if shaft in those), None)


def test_older_spines_are_converted_to_what_evaluating_their_readings_again_gives(shop, renewed):
    before, after = ({row.shaft: row for row in _standing(folder)} for folder in (shop, renewed))
    both = [shaft for shaft in before if None not in (before[shaft].spine_thou, after[shaft].spine_thou)]
    both = [shaft for shaft in both if after[shaft].definition == DEFINITION]  # no shaft of the hand bench
    assert len(both) > 40
    for shaft in both:
        assert before[shaft].definition != DEFINITION
        assert before[shaft].spine_thou == pytest.approx(after[shaft].spine_thou, abs=0.02)
        assert before[shaft].u_spine_thou == pytest.approx(after[shaft].u_spine_thou, rel=0.2)


def test_older_spines_of_the_hand_bench_are_converted_to_what_their_readings_give_now(shop):
    now = {session.shaft: evaluate_hand(session) for session in sessions(shop / "hand-readings.jsonl")}
    standing = {row.shaft: row for row in _standing(shop) if row.shaft in now}
    assert len(standing) == 2
    for shaft, row in standing.items():
        assert row.spine_thou == pytest.approx(now[shaft].spine_thou, abs=1e-3)
        assert row.u_spine_thou == pytest.approx(now[shaft].u_spine_thou, rel=0.1)


def test_a_set_of_older_shafts_says_that_it_was_converted_and_a_renewed_one_does_not(shop, renewed):
    for folder, number in ((shop, 6), (renewed, 0)):
        found = json.loads(midspan("sets", "show", "spring 1", "--json", folder=folder).stdout)
        assert found["definition"] == DEFINITION
        assert sum(shaft["stored_for"] != DEFINITION for shaft in found["shafts"]) == number
    with store_in(shop).open() as store:
        shafts = present(store, Sets(store).named("spring 1"))
    assert converted_words(shafts) is not None
    assert converted_words(shafts) in midspan("sets", "show", "spring 1", folder=shop, columns=200).stdout


def _standing(folder):
    """Return the standing measurements of a folder's database."""
    with store_in(folder).open() as store, StockRecords.of(store) as records:
        return records.standing()


# What a later evaluation must not forget


def test_a_cracked_shaft_stays_cracked_whatever_bands_it_is_judged_by_later(shop):
    rows = {(row["shaft"]): row for row in recompute(shop)}
    assert all(rows[shaft]["outcome"] == "rejected" for shaft in CRACKED_SHAFTS)
    assert all(rows[shaft]["reasons"][0].startswith("CRACK_SUSPECTED") for shaft in CRACKED_SHAFTS)
    kept, why = left_out(shop)
    assert not set(CRACKED_SHAFTS) & kept
    assert set(CRACKED_SHAFTS) <= set(why[MAYBE_CRACKED])
    assert rows[15]["bin"] == "any"  # limits are compared anew
    again = recompute(shop, bands="bands.toml")
    assert all(row["outcome"] != "accepted" for row in again if row["shaft"] in CRACKED_SHAFTS)


def test_what_made_a_verdict_is_kept_with_it(shop):
    recompute(shop)
    with store_in(shop).open() as store:
        newest = store.latest(CRACKED_SHAFTS[0])
        assert newest.basis.bands["bin"][0]["name"] == "any"
        assert (newest.basis.crack_hysteresis_pct, newest.basis.night) == (1.5, 1)
        bar = store.latest(11)
        assert (bar.basis.standard, bar.basis.assigned_thou, bar.decision.bin) == ("bar 1", 499.8, "check standard")


def test_suspects_and_check_standards_are_no_stock_after_a_recompute(shop):
    recompute(shop)
    kept, why = left_out(shop)
    assert sorted(why[SUSPECT]) == SUSPECT_SHAFTS
    assert set(why[STANDARD]) == BARS
    assert not kept & (BARS | set(SUSPECT_SHAFTS))


def test_a_fresh_database_learns_role_and_crack_limit_from_the_plan(shop):
    rows = {row["shaft"]: row for row in recompute(shop, "--plan", "night.toml", store="fresh.db")}
    assert rows[11]["bin"] == "check standard"
    assert rows[13]["outcome"] == "rejected"
    kept, _ = left_out(shop, "fresh.db")
    assert not kept & {11, 28, 45, 48, 13, 51}


def test_a_plan_that_was_forgotten_is_made_good_by_naming_it(shop):
    recompute(shop, store="fresh.db")
    assert {13, 51} <= left_out(shop, "fresh.db")[0]  # by bands alone, which accept every shaft
    recompute(shop, "--plan", "night.toml", store="fresh.db")
    kept, why = left_out(shop, "fresh.db")
    assert not kept & {11, 28, 45, 48, 13, 51}
    assert {13, 51} <= set(why[MAYBE_CRACKED])
    recompute(shop, store="fresh.db")  # later evaluations without the plan forget nothing
    assert left_out(shop, "fresh.db")[0] == kept


def test_the_bands_named_last_count_also_when_they_were_named_before(shop):
    recompute(shop, bands="bands.toml")
    recompute(shop)  # bands that accept every shaft
    assert 27 in left_out(shop)[0]
    recompute(shop, bands="bands.toml")
    assert 27 in left_out(shop)[1][OUTCOMES["rejected"]]


def test_making_results_again_twice_stores_nothing_new(shop):
    recompute(shop)
    with store_in(shop).open() as store:
        before = [len(versions) for versions in store.versions()]
    recompute(shop)
    with store_in(shop).open() as store:
        assert [len(versions) for versions in store.versions()] == before


def test_a_doubt_found_once_is_not_forgotten_and_the_calibrations_own_goes_with_it(store):
    doubt = Concern(ConcernKind.DOUBT, "force scatters")
    ran_out = Concern(ConcernKind.DOUBT, "measured on 2026-05-01, but calibration c1 ran out on 2026-04-30")
    for shaft, concern in ((1, doubt), (2, ran_out)):
        run = measured(store, shaft, decision=Decision(Outcome.DOUBTFUL, (concern.words,), None, (concern,)))
        store.add(1, run, Evaluation(told(spine_thou=500.0, u_spine_thou=0.02, hysteresis_pct=0.1), ACCEPTED, 1))
    assert (reason(store, 1), reason(store, 2)) == (DOUBTFUL, None)


# Which measurement counts


def test_measured_again_counts_though_the_clock_was_set_back(store):
    measured(store, 1, at_ms=5 * HOUR_MS)
    measured(store, 1, at_ms=4 * HOUR_MS, decision=CRACKED)
    measured(store, 2, at_ms=5 * HOUR_MS, decision=CRACKED)
    measured(store, 2, at_ms=4 * HOUR_MS)
    assert (reason(store, 1), reason(store, 2)) == (MAYBE_CRACKED, None)
    assert store.latest(1).decision.outcome is Outcome.REJECTED
    assert [stored.run.started_ms for stored in each_once(store, [*store.history(1), *store.history(2)])] == [
        4 * HOUR_MS, 4 * HOUR_MS
    ]  # fmt: skip


def test_an_old_evaluation_made_again_does_not_come_back(store):
    first = measured(store, 1, spine_thou=490.0)
    measured(store, 1, spine_thou=500.0)
    store.add(1, first, Evaluation(told(spine_thou=491.0, u_spine_thou=0.02, hysteresis_pct=0.1), ACCEPTED, 9))
    assert store.latest(1).result.spine_thou == 500.0


def test_the_page_shows_the_measurement_that_counts(store):
    first = measured(store, 1, decision=CRACKED)
    measured(store, 1)
    store.add(1, first, Evaluation(told(spine_thou=491.0, u_spine_thou=0.02, hysteresis_pct=0.1), ACCEPTED, 9))
    follower = Follower(store.place)
    assert shaft_values(follower, 1, Clock(lambda: 0, UTC))["verdict"] == verdict_words(ACCEPTED)
    follower.close()


def night_with_a_bad_check(store, back_ms=0):
    """Record a sorting run whose check standard is bad after three shafts; the clock is set back before it."""
    journal = Journal(store)
    night = journal.begin_night("bench", "{}", BEGUN_MS)
    for number in range(1, 5):
        standard = "bar 1" if number == 4 else None
        at_ms = BEGUN_MS + number * 1000 - (back_ms if standard else 0)
        shaft = journal.order(night, "HOPPER", standard, at_ms)
        journal.note(shaft, WayStep(TransitStage.MEASURING, at_ms, archive_bytes=0))
        transit = journal.transit(shaft)
        check = StandardCheck("bar 1", at_ms, 505.0, 0.1, 500.0, 0.1, good=False) if standard else None
        run = run_of(shaft, standard or "", archive="night.avro", at_ms=at_ms)
        result = told(spine_thou=500.0, u_spine_thou=0.02, hysteresis_pct=0.1)
        basis = Basis(bands={"bin": [{"name": "500", "spine_thou": [450.0, 550.0]}]}, standard=standard)
        journal.judged(
            transit,
            run,
            Evaluation(result, ACCEPTED, at_ms, basis=basis),
            RunFindings(check=check, suspects=[1, 2, 3] if check else ()),
        )
        journal.note(shaft, WayStep(TransitStage.IN_BIN, at_ms, place=1, passed=1))


@pytest.mark.parametrize("back_ms", [0, HOUR_MS, 400 * 24 * HOUR_MS])
def test_suspects_are_suspect_though_the_clock_was_set_back(store, back_ms):
    night_with_a_bad_check(store, back_ms)
    assert [reason(store, shaft) for shaft in (1, 2, 3)] == [SUSPECT] * 3
    measured(store, 2, at_ms=0)
    assert [reason(store, shaft) for shaft in (1, 2, 3)] == [SUSPECT, None, SUSPECT]


def test_a_shaft_that_got_lost_is_stock_again_once_it_was_measured_again(store):
    night_with_a_bad_check(store)
    journal = Journal(store)
    journal.note(3, WayStep(TransitStage.UNCERTAIN, HOUR_MS, place=2))
    measured(store, 1)
    assert reason(store, 3) == SUSPECT
    with closing(sqlite3.connect(store.place.file)) as database:
        (run_id,) = database.execute("SELECT run_id FROM suspects WHERE passage_id = 3").fetchone()
    assert run_id is not None
    journal.note(1, WayStep(TransitStage.UNCERTAIN, HOUR_MS, place=2))
    assert reason(store, 1) is None  # its newest measurement is not of that transit
    journal.note(2, WayStep(TransitStage.UNCERTAIN, HOUR_MS, place=2))
    assert {reason(store, 2)} <= {SUSPECT, UNKNOWN}


# Measurements that knew nothing of each other


def test_an_imported_measurement_never_displaces_a_measured_one(store):
    measured(store, 1, spine_thou=500.0)
    measured(store, 1, spine_thou=500.01, origin=Origin.IMPORTED, archive="other.avro", at_ms=9 * HOUR_MS)
    assert reason(store, 1) is None
    assert store.latest(1).result.spine_thou == 500.0
    assert [stored.result.spine_thou for stored in each_once(store, store.history(1))] == [500.0]


def test_the_worse_of_two_that_stand_side_by_side_counts_until_the_shaft_is_measured_again(store):
    measured(store, 1)
    measured(store, 1, decision=CRACKED, origin=Origin.IMPORTED, archive="other.avro")
    measured(store, 2, decision=CRACKED)
    measured(store, 2, origin=Origin.IMPORTED, archive="other.avro")
    measured(store, 3)
    measured(store, 3, spine_thou=503.0, origin=Origin.IMPORTED, archive="other.avro")
    assert [reason(store, shaft) for shaft in (1, 2, 3)] == [MAYBE_CRACKED, MAYBE_CRACKED, CONTRADICTED]
    assert store.latest(1).decision == CRACKED
    for shaft in (1, 2, 3):
        measured(store, shaft)
    assert [reason(store, shaft) for shaft in (1, 2, 3)] == [None] * 3


def test_the_worse_counts_also_when_one_shaft_was_imported_under_another_number(store):
    bad = Decision(Outcome.REJECTED, ("spread 13 thou is above 5",))
    measured(store, 1, label="blue-1")
    measured(store, 901, label="blue-1", decision=bad, origin=Origin.IMPORTED, archive="other.avro")
    assert (reason(store, 1), reason(store, 901)) == (OUTCOMES["rejected"], SAME)
    assert spoken_against(store, [1, 901]) == dict.fromkeys((1, 901), OUTCOMES["rejected"])
    measured(store, 902, label="blue-1")  # measured again, under whatever number
    assert (reason(store, 902), reason(store, 901)) == (None, SAME)


def test_within_an_imported_archive_the_order_of_the_gauge_counts(store):
    measured(store, 1, offset=500, decision=CRACKED, origin=Origin.IMPORTED)
    measured(store, 1, offset=900, origin=Origin.IMPORTED)
    measured(store, 1, offset=100, decision=CRACKED, origin=Origin.IMPORTED)  # read last, measured first
    assert reason(store, 1) is None


def test_a_crack_is_not_cleared_by_a_measurement_that_cannot_see_it(store):
    measured(store, 1, decision=CRACKED)
    measured(store, 1, hysteresis_pct=None)
    assert reason(store, 1) == MAYBE_CRACKED
    measured(store, 1)
    assert reason(store, 1) is None


def test_a_crack_is_not_cleared_by_measuring_it_again_by_bands_alone(store):
    by_night = Basis(crack_hysteresis_pct=1.5)
    measured(store, 1, decision=CRACKED, basis=by_night, hysteresis_pct=2.2)
    for _ in range(2):
        measured(store, 1, hysteresis_pct=2.1)
        assert reason(store, 1) == MAYBE_CRACKED
        newest = store.latest(1)
        assert (newest.basis.crack_hysteresis_pct, newest.decision.concerns[0].kind) == (1.5, ConcernKind.CRACK)
    measured(store, 1, hysteresis_pct=0.2)
    assert reason(store, 1) is None
    measured(store, 1, hysteresis_pct=2.1, basis=Basis(crack_hysteresis_pct=3.0))  # its own limit comes first
    assert reason(store, 1) is None


@pytest.mark.process
def test_measuring_a_cracked_shaft_by_bands_alone_rejects_it_again(shop):
    kit = ("--calibration", "calibration.toml", "--bands", "wide.toml")
    gauge = ("measure", "--port", "rehearsal", "--shaft", 2, *kit, "--json")  # its second shaft is cracked
    first = midspan(*gauge, "--store", "first.db", "--archive", "first.avro", folder=shop)
    assert json.loads(first.stdout)["outcome"] == "accepted"
    known = midspan("recompute", "first.avro", *kit, "--plan", "night.toml", "--store", "fresh.db", folder=shop)
    assert known.returncode == 0, known.stderr
    again = midspan(*gauge, "--store", "fresh.db", "--archive", "again.avro", folder=shop)
    row = json.loads(again.stdout)
    assert row["hysteresis_pct"] > 1.5
    assert (row["outcome"], row["reasons"][0][:15]) == ("rejected", "CRACK_SUSPECTED")
    assert 2 in left_out(shop, "fresh.db")[1][MAYBE_CRACKED]
    word = ("shafts", "vouch", 2, "--by", "Ann", "--why", "no crack under a lens", "--store", "fresh.db")
    assert midspan(*word, folder=shop).returncode == 0
    assert 2 in left_out(shop, "fresh.db")[0]
    later = midspan("recompute", "again.avro", *kit, "--store", "fresh.db", folder=shop)
    assert later.returncode == 0, later.stderr
    assert 2 in left_out(shop, "fresh.db")[0]


def test_a_crack_is_cleared_only_by_a_measurement_that_clearly_sees_none(store):
    basis = Basis(crack_hysteresis_pct=1.5)
    for shaft, u_pct in ((1, 0.7), (2, 0.02)):  # a hand bench, a gauge
        run = run_of(shaft)
        cracked = told(spine_thou=500.0, u_spine_thou=0.02, hysteresis_pct=2.2, u_hysteresis_pct=0.02)
        store.add(store.begin_batch("blue", 0), run, Evaluation(cracked, CRACKED, 0, basis=basis))
        measured(store, shaft, hysteresis_pct=0.2, u_hysteresis_pct=u_pct)
    assert (reason(store, 1), reason(store, 2)) == (MAYBE_CRACKED, None)


def test_an_imported_label_joins_no_numbers_of_this_shop(store):
    measured(store, 1, label="blue 1")
    measured(store, 2, label="blue 2")
    measured(store, 1, label="blue 2", origin=Origin.IMPORTED, archive="other.avro")
    assert (reason(store, 1), reason(store, 2)) == (None, None)


def test_every_two_of_three_that_stand_side_by_side_have_to_agree(store):
    for spine_thou, archive in ((500.0, "a.avro"), (500.07, "b.avro"), (500.14, "c.avro")):
        measured(store, 1, spine_thou=spine_thou, origin=Origin.IMPORTED, archive=archive)
    assert reason(store, 1) == CONTRADICTED


# Vouching


def forget_bases(shop):
    """Remove the rules behind every verdict from a folder's database, as if an old version had written it."""
    store_in(shop).open().close()
    with closing(sqlite3.connect(shop / "results.db")) as database:
        database.execute("DROP TRIGGER decisions_no_update")
        database.execute("UPDATE decisions SET basis_id = NULL")
        database.commit()


@pytest.mark.process
def test_a_person_can_vouch_for_a_shaft_on_record(renewed):
    done = midspan("shafts", "vouch", 51, 50, "--by", "Ann", "--why", "no crack under a lens", "--bands", "wide.toml",
                   folder=renewed)  # fmt: skip
    assert done.returncode == 0, done.stderr
    kept, _ = left_out(renewed)
    assert {50, 51} <= kept
    assert not {52, 53, 13} & kept
    recompute(renewed)
    assert {50, 51} <= left_out(renewed)[0]  # a later evaluation does not forget it
    with store_in(renewed).open() as store:
        assert store.latest(51).basis.person == "Ann"
    with closing(sqlite3.connect(renewed / "results.db")) as database:
        rows = database.execute("SELECT shaft, person, words FROM vouchers ORDER BY shaft").fetchall()
    assert rows == [(50, "Ann", SEEN), (51, "Ann", SEEN)]


def test_a_person_vouches_for_an_old_verdict_without_its_basis(renewed):
    forget_bases(renewed)
    words = ("shafts", "vouch", 51, "--by", "Ann", "--why", "no crack under a lens", "--bands", "wide.toml")
    assert midspan(*words, folder=renewed).returncode == 0
    with store_in(renewed).open() as store:
        assert store.latest(51).basis.person == "Ann"
        assert reason(store, 51) is None


def test_what_is_found_after_a_person_vouched_counts(renewed):
    words = ("shafts", "vouch", 51, "--by", "Ann", "--why", "no crack under a lens", "--bands", "wide.toml")
    assert midspan(*words, folder=renewed).returncode == 0
    assert 51 in left_out(renewed)[0]
    with store_in(renewed).open() as store:
        measured(store, 51, decision=CRACKED)
    assert 51 in left_out(renewed)[1][MAYBE_CRACKED]


@pytest.mark.parametrize(("shaft", "code"), [(11, "check_standard"), (42, "no_result"), (999, "never_measured")])
def test_shafts_that_no_person_can_vouch_for(renewed, shaft, code):
    with store_in(renewed).open() as store:
        with pytest.raises(StoreError) as caught:
            vouch(store, [50, shaft], Voucher("Ann", SEEN, 0), load_bands(renewed / "wide.toml"))
        assert (caught.value.code, str(shaft) in str(caught.value)) == (code, True)
        assert reason(store, 50) == SUSPECT  # all or none


def test_a_verdict_of_old_without_its_bands_needs_them_named(shop):
    forget_bases(shop)
    with store_in(shop).open() as store, pytest.raises(StoreError) as caught:
        vouch(store, [51], Voucher("Ann", SEEN, 0), None)
    assert caught.value.code == "no_bands"


def test_all_shafts_are_vouched_for_or_none(renewed):
    words = ("--by", "Ann", "--why", "no crack under a lens", "--bands", "wide.toml")
    complaint(midspan("shafts", "vouch", 50, 51, 11, *words, folder=renewed))
    assert not {50, 51} & left_out(renewed)[0]
    assert midspan("shafts", "vouch", 50, 51, 50, *words, folder=renewed).returncode == 0
    assert {50, 51} <= left_out(renewed)[0]


# Findings are shown wherever the shaft is named


def test_every_view_of_a_suspect_shaft_says_that_it_is_not_stock(renewed):
    done = midspan("show", 52, "--json", folder=renewed)
    assert json.loads(done.stdout)["outcome"] == "accepted"
    assert SUSPECT in done.stderr
    assert not midspan("show", 14, folder=renewed).stderr  # nothing speaks against it
    follower = Follower(store_in(renewed))
    told = [shaft_values(follower, shaft, Clock(lambda: 0, UTC))["against"] for shaft in (52, 11, 9)]
    follower.close()
    assert told == [SUSPECT, STANDARD, None]


def test_every_view_of_a_set_names_a_shaft_found_cracked_since(shop):
    with store_in(shop).open() as store:
        add_result(store, run_of(17, archive="later.avro", at_ms=HOUR_MS), store.latest(17).result, CRACKED)
        number = Sets(store).named("spring 1").id
    (shop / "sizes.toml").write_text('[[size]]\nname = "500"\nspine_thou = [485.0, 515.0]\n', encoding="utf-8")
    wide = ("--batch", 1, "--batch", 2, "--batch", 3, "--batch", 4)
    for words in (("extend", "spring 1", "--number", 2, *wide), ("refill", "spring 1", "--lost", 19, *wide)):
        assert json.loads(midspan("sets", *words, "--json", folder=shop).stdout)["against"] == {"17": MAYBE_CRACKED}
        assert MAYBE_CRACKED in midspan("sets", *words, folder=shop).stdout
    sizes = midspan("shafts", "size", 17, 16, "--sizes", "sizes.toml", "--json", folder=shop)
    assert {row["shaft"]: row["against"] for row in json.loads(sizes.stdout)} == {16: None, 17: MAYBE_CRACKED}
    assert MAYBE_CRACKED in midspan("plot", "set", "spring 1", "--out", "set.svg", folder=shop).stderr
    follower = Follower(store_in(shop))
    assert MAYBE_CRACKED in set_values(follower, number, Clock(lambda: 0, UTC))["trouble"]
    follower.close()


@pytest.mark.parametrize(("person", "why"), [("", "no crack under a lens"), ("Ann", " ")])
def test_vouching_needs_a_name_and_a_reason(shop, person, why):
    with store_in(shop).open() as store:
        with pytest.raises(StoreError) as caught:
            vouch(store, [50], Voucher(person, why, 0), None)
        assert (caught.value.code, reason(store, 50)) == ("voucher_incomplete", SUSPECT)
    complaint(midspan("shafts", "vouch", 50, "--by", person, "--why", why, folder=shop))


def test_a_word_for_a_shaft_that_is_no_stock_for_another_reason_says_so(renewed):
    words = ("shafts", "vouch", "--by", "Ann", "--why", "no crack under a lens")
    assert UNKNOWN in midspan(*words, 39, folder=renewed).stdout
    (line,) = midspan(*words, 50, folder=renewed).stdout.splitlines()
    assert ("50" in line, "softer dozen" in line) == (True, True)
