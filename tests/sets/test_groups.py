"""Groups of shafts: which measurements a selection takes, each shaft once, and names that nobody knows."""

import sqlite3
from contextlib import closing
from datetime import UTC, datetime

import pytest
from midspan.base.errors import ReadingsError, StoreError
from midspan.decision.decision import Decision, Outcome
from midspan.sets.groups import FAULT, NOT_MEASURED, STANDARD, read_groups
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.selection import Period, read_selection
from midspan.sets.stock import shafts_of
from midspan.sets.twins import say
from midspan.sets.weights import weight_of
from results import NOTHING, told
from stores import ACCEPTED, add_result, run_of


def ms(*day):
    """Return the begin of a day, UTC in ms since 1970."""
    return round(datetime(*day, tzinfo=UTC).timestamp() * 1000)


LAST_YEAR, THIS_YEAR = ms(2025, 5, 1), ms(2026, 5, 1)


def measured(store, shaft, spine_thou, batch, at_ms, *, gauge="attic", label="", decision=ACCEPTED):
    """Store an invented result of a shaft."""
    result = told(spine_thou=spine_thou, u_spine_thou=0.2, spread_thou=2.0, u_spread_thou=0.1, gauge=gauge)
    run = run_of(shaft, label, offset=9000 * shaft + at_ms % 9000, at_ms=at_ms)
    return add_result(store, run, result, decision, batch=batch)


@pytest.fixture
def two_years(store):
    """A store with shafts 1 to 4 of last year and again of this one, 5 and 6 of this one on another gauge."""
    then, now = store.begin_batch("Spring", 0), store.begin_batch("summer", 0)
    for shaft in range(1, 5):
        measured(store, shaft, 500.0 + shaft, then, LAST_YEAR + shaft, label=f"Blue-{shaft}")
    for shaft in range(1, 5):
        measured(store, shaft, 501.0 + shaft, now, THIS_YEAR + shaft, label=f"Blue-{shaft}")
    for shaft in (5, 6):
        measured(store, shaft, 510.0 + shaft, now, THIS_YEAR + shaft, gauge="cellar", label=f"red-{shaft}")
    return store


def group(store, text):
    """Return the only group of a selection."""
    (found,), _ = read_groups(store, [read_selection(text)])
    return found


def spines(store, text):
    """Return the spines of a group by number of the shaft."""
    found = group(store, text)
    return dict(zip(found.shafts.tolist(), found.values["spine_thou"].tolist(), strict=True))


@pytest.mark.parametrize(
    ("text", "numbers", "lowest"),
    [
        ("batch:1", [1, 2, 3, 4], 501.0),
        ("batch:spring", [1, 2, 3, 4], 501.0),
        ("year:2025", [1, 2, 3, 4], 501.0),
        ("year:2026", [1, 2, 3, 4, 5, 6], 502.0),
        ("2025-05-01..2025-05-01", [1, 2, 3, 4], 501.0),
        ("..2026-04-30", [1, 2, 3, 4], 501.0),
        ("2026-05-01..", [1, 2, 3, 4, 5, 6], 502.0),
        ("gauge:Cellar", [5, 6], 515.0),
        ("gauge:attic", [1, 2, 3, 4], 502.0),
        ("label:blue", [1, 2, 3, 4], 502.0),
        ("label:Blue and year:2025", [1, 2, 3, 4], 501.0),
        ("set:dozen and year:2025", [2, 3], 502.0),
        ("set:dozen", [2, 3], 503.0),
    ],
)
def test_each_shaft_is_there_once_by_its_newest_measurement_in_the_group(two_years, text, numbers, lowest):
    Sets(two_years).keep({"dozen": list(shafts_of(two_years, [2, 3]).values())}, Limits(number=2, spine_thou=5.0), 0)
    found = spines(two_years, text)
    assert (list(found), min(found.values())) == (numbers, lowest)


def test_orders_and_customers_are_of_shafts_and_of_sets(two_years, store_place):
    (number,) = Sets(two_years).keep(
        {"dozen": list(shafts_of(two_years, [2, 3]).values())}, Limits(number=2, spine_thou=5.0), 0
    )
    with closing(sqlite3.connect(store_place.file)) as database:  # as said_of and `midspan sets order` write
        for shaft, value in ((5, "Club 26"), (6, "club 26"), (6, None), (1, "club 26")):
            database.execute(
                "INSERT INTO details (shaft, at_ms, kind, value, person) VALUES (?, 0, 'order', ?, '')", (shaft, value)
            )
        database.execute(
            "INSERT INTO set_details (set_id, at_ms, kind, value, person) VALUES (?, 0, 'order', 'Club 26', '')",
            (number,),
        )
        database.commit()
    assert list(spines(two_years, "order:club 26")) == [1, 2, 3, 5]
    with pytest.raises(ReadingsError) as caught:
        group(two_years, "customer:Ann")
    assert caught.value.code == "unknown_name"


def test_what_takes_no_part_is_counted(two_years):
    batch = two_years.begin_batch("autumn", 0)
    standard = Decision(Outcome.ACCEPTED, (), "500")
    for shaft in (11, 12):
        measured(two_years, shaft, 500.0, batch, THIS_YEAR + shaft)
    sick = Decision(Outcome.INSTRUMENT_FAULT, ("slip",))
    measured(two_years, 13, 400.0, batch, THIS_YEAR + 13, decision=sick)
    add_result(two_years, run_of(14, at_ms=THIS_YEAR + 14), NOTHING, standard, batch=batch)
    found = group(two_years, f"batch:{batch}")
    assert (found.shafts.tolist(), found.left_out) == ([11, 12], {FAULT: 1, NOT_MEASURED: 1})
    assert STANDARD not in found.left_out


def test_a_void_measurement_takes_no_part(two_years, store_place):
    with closing(sqlite3.connect(store_place.file)) as database:
        run = database.execute("SELECT MAX(id) FROM runs WHERE shaft = 2").fetchone()[0]
        for void in (1, 0, 1):
            database.execute(
                "INSERT INTO voids (run_id, at_ms, void, person, words) VALUES (?, 0, ?, '', 'x')", (run, void)
            )
        database.commit()
    assert spines(two_years, "label:blue")[2] == 502.0
    assert list(spines(two_years, "year:2026")) == [1, 3, 4, 5, 6]


def test_a_shaft_of_two_numbers_is_one(two_years):
    say(two_years, [5, 1], same=True, at_ms=0)
    found = group(two_years, "year:2026")
    assert (found.keys.tolist(), found.shafts.tolist()) == ([1, 2, 3, 4, 6], [5, 2, 3, 4, 6])


def test_weights_are_those_of_the_days_asked_for(two_years):
    sets = Sets(two_years)
    sets.weigh({"1": weight_of("300.0", "grains", "w"), "2": weight_of("301.0", "grains", "w")}, LAST_YEAR)
    sets.weigh({"1": weight_of("299.0", "grains", "w")}, THIS_YEAR)
    newest, then = group(two_years, "batch:1"), group(two_years, "year:2025")
    assert newest.values["weight_gr"][:2].round(6).tolist() == [299.0, 301.0]
    assert then.values["weight_gr"][:2].round(6).tolist() == [300.0, 301.0]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("batch 3", "no_selection"), ("spring", "no_selection"), ("batch:", "no_selection"), ("..", "no_selection"),
        ("box:3", "no_selection"), ("year:26", "no_dates"), ("year:9999", "no_dates"), ("2026-02-30..", "no_dates"),
        ("2026-02-01..2026-01-01", "no_dates"), ("batch:9", "unknown_name"), ("gauge:loft", "unknown_name"),
        ("3", "no_selection"), ("14-1", "no_numbers"), ("numbers:spring", "no_numbers"), ("40-50", "few_shafts"),
        ("order:7", "unknown_name"), ("year:1999", "few_shafts"), ("label:blue-1", "few_shafts"),
    ],
)  # fmt: skip
def test_what_names_no_group_is_refused_in_one_line(two_years, text, code):
    with pytest.raises(ReadingsError) as caught:
        group(two_years, text)
    assert (caught.value.code, "\n" in str(caught.value)) == (code, False)


def test_numbers_of_shafts_are_a_group(two_years):
    assert list(spines(two_years, "2-4")) == [2, 3, 4]
    assert list(spines(two_years, "1, 3-4,6")) == [1, 3, 4, 6]
    assert spines(two_years, "year:2025 and 1-2") == {1: 501.0, 2: 502.0}
    assert spines(two_years, "numbers:1-2 and year:2025") == {1: 501.0, 2: 502.0}


def test_an_unknown_set_is_refused(two_years):
    with pytest.raises(StoreError):
        group(two_years, "set:nobody's")


def test_days_end_at_midnight_utc():
    (only,) = read_selection("2025-12-31..2025-12-31").conditions
    assert only.period == Period(ms(2025, 12, 31), ms(2026, 1, 1))
    (year,) = read_selection("year:2025").conditions
    assert year.period == Period(ms(2025, 1, 1), ms(2026, 1, 1))
