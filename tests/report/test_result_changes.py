"""Results made again: never overwritten, never stored twice, and a change that is explained."""

import json
import re

import numpy as np
import pytest
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import StoreError
from midspan.cli.calibrate_changes import changes
from midspan.decision.bands import Bands
from midspan.measurement.calibration import Calibration
from midspan.report.result_changes import last_change
from midspan.report.result_changes_text import changes_words
from midspan.sorting.recompute import BesideOld, entries, recomputed
from screens import screen
from synthetic import Gauge, Shaft, paper_calibration, raw_run

pytestmark = pytest.mark.slow

BANDS = Bands.model_validate({"bin": [{"name": "dozen", "spine_thou": [490.0, 510.0], "spread_max_thou": 9.0}]})


def named(name, **sections):
    data = paper_calibration(**sections).model_dump(exclude_unset=True)
    data["calibration"]["id"] = name
    return Calibration.model_validate(data)


@pytest.fixture
def archive(tmp_path):
    path = tmp_path / "batch.avro"
    with ArchiveWriter(path) as writer:
        for number, spine in enumerate((495.0, 500.0, 505.0), 1):
            writer.append(raw_run(Shaft(number=number, spine_thou=spine), Gauge(), np.random.default_rng(number)))
    return path


def store_again(archives, calibration, bands, store):
    """Evaluate every run of the archives again and keep the results; return how many were new."""
    damage, beside = [], BesideOld(store, bands, None, lambda: 0)
    for _ in recomputed(entries(archives, damage), beside.judging(calibration)):
        pass
    assert damage == []
    return beside


def last_changes(store):
    return [last_change(versions, store.calibrations()) for versions in store.versions()]


def test_the_same_twice_is_stored_once(archive, store):
    first = store_again([archive], named("one"), BANDS, store)
    again = store_again([archive], named("one"), BANDS, store)
    assert (first.stored, first.unchanged, again.stored, again.unchanged) == (3, 0, 0, 3)
    assert last_changes(store) == [None, None, None]


def test_an_archive_that_moved_is_still_the_same_run(archive, store, tmp_path):
    store_again([archive], named("one"), BANDS, store)
    moved = archive.rename(tmp_path / "elsewhere-batch.avro").rename(tmp_path / "batch.avro")
    assert store_again([moved], named("one"), BANDS, store).unchanged == 3


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("span", "span_mm", 711.3),
        ("frame", "give_mm_per_n", 0.0105),
        ("force", "newton_per_count", 9.80665e-3 / 1070 * 1.0005),
        ("travel", "mm_per_step", 0.0025 * 1.0003),
    ],
)
def test_a_changed_calibration_value_explains_the_change(archive, store, section, key, value):
    store_again([archive], named("one"), BANDS, store)
    store_again([archive], named("two", **{section: {key: value}}), BANDS, store)
    for step in last_changes(store):
        change = step.differences["spine_thou"]
        assert abs(change) > 0.05
        # The foretelling is of first order: what is left is the square of a part in a thousand.
        assert step.expected_thou == pytest.approx(change, rel=5e-3)
        assert any(cause.startswith(f"{section}.{key}: ") for cause in step.causes)
        assert not step.is_nothing


def test_old_results_stay_beside_the_new_ones(archive, store):
    store_again([archive], named("one"), BANDS, store)
    old = [versions[0] for versions in store.versions()]
    store_again([archive], named("two", span={"span_mm": 711.3}), BANDS, store)
    assert [versions[0] for versions in store.versions()] == old
    assert [len(versions) for versions in store.versions()] == [2, 2, 2]


def test_going_back_gives_the_same_bits(archive, store):
    for calibration in (named("one"), named("two", span={"span_mm": 711.3}), named("one")):
        store_again([archive], calibration, BANDS, store)
    assert [len(versions) for versions in store.versions()] == [2, 2, 2]


def test_other_bands_change_the_verdict_only(archive, store):
    tight = Bands.model_validate({"bin": [{"name": "tight", "spine_thou": [498.0, 502.0]}]})
    store_again([archive], named("one"), BANDS, store)
    store_again([archive], named("one"), tight, store)
    for step in last_changes(store):
        assert step.verdict_changed
        assert step.is_nothing
        assert step.causes == ()


def test_an_id_stands_for_one_content(archive, store):
    store_again([archive], named("one"), BANDS, store)
    with pytest.raises(StoreError) as caught:
        store_again([archive], named("one", span={"span_mm": 711.3}), BANDS, store)
    assert caught.value.code == "calibration_differs"
    assert [len(versions) for versions in store.versions()] == [1, 1, 1]


def test_the_command_prints_what_changed(archive, store, capsys, monkeypatch, snapshot):
    monkeypatch.setenv("COLUMNS", "120")
    store_again([archive], named("one"), BANDS, store)
    with pytest.raises(StoreError) as caught:
        changes(None, store.place)
    assert caught.value.code == "nothing_to_compare"
    store_again([archive], named("two", span={"span_mm": 711.3}), BANDS, store)
    changes(None, store.place)
    moved = capsys.readouterr().out
    store_again([archive], named("three", span={"u_span_mm": 1.0}), BANDS, store)
    changes(None, store.place)
    surer = capsys.readouterr().out
    assert {"another span": screen(moved, r"\d+\.\d+"), "another u": screen(surer, r"\d+\.\d+")} == snapshot


def test_json_has_the_change_and_what_was_expected(archive, store, capsys):
    store_again([archive], named("one"), BANDS, store)
    store_again([archive], named("two", span={"span_mm": 711.3}), BANDS, store)
    changes("2", store.place, as_json=True)
    (only,) = json.loads(capsys.readouterr().out)
    assert only["shaft"] == 2
    assert only["expected_spine_thou"] == pytest.approx(only["differences"]["spine_thou"], rel=5e-3)


def test_u_is_only_told_where_it_changed(archive, store):
    store_again([archive], named("one"), BANDS, store)
    store_again([archive], named("two", span={"span_mm": 711.3}), BANDS, store)
    assert not any(line.startswith("the ±") for line in changes_words(last_changes(store), 2.0))
    store_again([archive], named("three", span={"span_mm": 711.3, "u_span_mm": 1.0}), BANDS, store)
    (line,) = (line for line in changes_words(last_changes(store), 2.0) if line.startswith("the ±"))
    before, now = (float(number) for number in re.findall(r"\d+\.\d+", line))
    # Deflection goes with the cube of the span, so u of 1 mm in 711.3 mm is 3 / 711.3 of 500 thou; k is 2.
    assert now == pytest.approx(2 * 500 * 3 / 711.3, rel=0.02)
    assert before < 1.0
