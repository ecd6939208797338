"""Studies on stored results: which results count, as what part and whose, and in which order."""

import json

import numpy as np
import pytest
from commands_rig import complaint, midspan
from midspan.base.errors import ReadingsError
from midspan.decision.decision import Decision, Outcome
from midspan.study.source import by_day, from_batches, from_labels, from_stock
from night_on_paper import paper_night
from results import told
from stores import ACCEPTED, add_result, run_of

pytestmark = pytest.mark.slow

DAY = 86_400_000


@pytest.fixture
def store(store):
    """Two people measured five bars twice each on four days; the second reads 0.3 thou more."""
    rng = np.random.default_rng(5)
    for batch in range(4):
        store.begin_batch(f"day {batch}", batch * DAY)
        for bar in range(5):
            spine = 490 + 5 * bar + 0.3 * (batch >= 2) + rng.normal(0, 0.05)
            keep(store, batch + 1, bar, spine, batch * DAY)
    return store


def keep(store, batch, bar, spine, ms, gauge="G1", decision=ACCEPTED, offset=0):
    """Store a result of a bar."""
    run = run_of(bar, f"bar-{bar}", offset=1000 * batch + bar + offset, at_ms=ms)
    return add_result(store, run, told(spine_thou=spine, gauge=gauge), decision, batch=batch)


def test_batches_of_an_appraiser_are_its_repeats(store) -> None:
    rows = from_batches(store, ["1,2", "3, 4"], "spine_thou")
    assert len(rows) == 20
    assert {reading.appraiser for reading in rows} == {"batch 1,2", "batch 3, 4"}
    asked = ("study", "gauge", "--store", store.place, "--batch", "1,2", "--batch", "3,4", "--tolerance", 10)
    share = json.loads(midspan(*asked, "--json").stdout)["pct_of_study"]
    assert share["reproducibility"] > share["repeatability"]


@pytest.mark.parametrize(("asked", "wrong"), [(["1,2", "2"], "'2'"), (["one", "2"], "'one'"), (["1,", "2"], "''")])
def test_a_batch_that_is_no_number_or_given_twice_is_refused(store, asked, wrong) -> None:
    with pytest.raises(ReadingsError, match=f"batch {wrong}"):
        from_batches(store, asked, "spine_thou")


def test_a_stock_has_each_shaft_once_by_its_newest_run(store) -> None:
    keep(store, 1, 2, 777.0, 9 * DAY)
    found = {reading.part: reading.value for reading in from_stock(store, ["4", "1"], "spine_thou")}
    assert len(found) == 5
    assert found["bar-2"] == 777.0
    kept = {reading.part: reading.value for reading in from_batches(store, ["4", "1"], "spine_thou")[:5]}
    assert found["bar-0"] == kept["bar-0"]
    with pytest.raises(ReadingsError, match="'4'"):
        from_stock(store, ["4", "4"], "spine_thou")


def test_the_check_standard_of_a_night_is_no_shaft_of_its_stock(store_place) -> None:
    with paper_night(store_place) as night:
        night.check(0.1)
        for spine in (499.9, 500.4, 501.2, 500.1, 500.9):
            night.sorted_shaft(spine, ACCEPTED, 1)
        night.check(0.1)
    told = json.loads(midspan("study", "stock", "--store", store_place, "--batch", "1", "--json").stdout)
    assert told["number"] == 5
    assert told["mean"] == pytest.approx(500.5)
    assert "--batch" in complaint(midspan("study", "stock", "--store", store_place))


def test_one_appraiser_alone_is_refused(store) -> None:
    assert "appraisers" in complaint(midspan("study", "gauge", "--store", store.place, "--batch", "1,2"))


def test_a_check_standards_readings_come_in_the_order_of_time_by_days(store) -> None:
    rows = from_labels(store, ["bar-2"], "spine_thou")
    days = list(by_day(rows))
    assert [day for day, _ in days] == [0.0, 1.0, 2.0, 3.0]
    assert all(len(readings) == 1 for _, readings in days)


def test_only_the_newest_evaluation_of_a_run_counts(store) -> None:
    before = from_labels(store, ["bar-2"], "spine_thou")
    keep(store, 4, 2, 777.0, 3 * DAY)
    after = from_labels(store, ["bar-2"], "spine_thou")
    assert [reading.value for reading in after] == [*(reading.value for reading in before[:3]), 777.0]


def test_a_sick_gauge_says_nothing_of_a_good_one(store) -> None:
    sick = Decision(Outcome.INSTRUMENT_FAULT, ("the cell is stuck",))
    keep(store, 4, 2, 999.0, 3 * DAY, decision=sick, offset=500)
    keep(store, 4, 2, None, 3 * DAY, offset=95_997)
    assert len(from_labels(store, ["bar-2"], "spine_thou")) == 4


def test_two_gauges_do_not_share_a_chart(store) -> None:
    keep(store, 4, 2, 500.0, 3 * DAY, gauge="hand bench", offset=500)
    with pytest.raises(ReadingsError) as caught:
        from_labels(store, ["bar-2"], "spine_thou")
    assert [gauge for gauge in ("bar-2", "G1", "hand bench") if gauge not in str(caught.value)] == []


def test_a_name_without_results_is_refused(store) -> None:
    assert str(store.place) in complaint(midspan("study", "chart", "--store", store.place, "--label", "nix"))


def test_four_days_are_a_stability_study_and_a_rough_chart(store) -> None:
    stable = midspan("study", "stability", "--store", store.place, "--label", "bar-1")
    assert "3 days" in stable.stdout
    chart = midspan("study", "chart", "--store", store.place, "--label", "bar-1")
    assert "4 readings" in chart.stdout


# Numbers from a slip of the pen, and numbers that no gauge reads.
@pytest.mark.parametrize("cell", ["1e300", "-1e200", "1e-200", "nan", "inf", "12.7.1", ""])
@pytest.mark.parametrize(
    ("words", "heading", "good"),
    [
        (("gauge",), "part,appraiser,value", ["1,a,5", "1,a,6", "1,b,5", "1,b,7"]),
        (("bias",), "part,reference,value", ["1,5,5.1", "1,5,5.2"]),
        (("linearity",), "part,reference,value", ["1,5,5.1", "1,5,5.2", "2,6,6", "2,6,6.1", "3,7,7", "3,7,7.2"]),
        (("stability",), "day,value", ["1,5", "2,6", "3,5"]),
        (("chart",), "day,value", ["1,5", "2,6", "3,5"]),
        (("stock",), "part,value", ["1,5", "2,6", "3,5", "4,5.5", "5,5.7"]),
    ],
)
def test_what_is_no_reading_is_refused_with_its_line(tmp_path, words, heading, good, cell) -> None:
    (tmp_path / "a.csv").write_text("\n".join([heading, *good, good[0].rpartition(",")[0] + "," + cell]) + "\n")
    line = complaint(midspan("study", *words, "--csv", "a.csv", folder=tmp_path))
    assert f"a.csv, line {len(good) + 2}: value" in line


def test_a_batch_is_a_sample_of_a_stock(store) -> None:
    done = midspan("study", "stock", "--store", store.place, "--batch", "1,2", "--low", 485, "--high", 515)
    assert next(line for line in done.stdout.splitlines() if line.startswith("shafts")).split() == ["shafts", "5"]
    assert "485 and 515" in done.stdout
