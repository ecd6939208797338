"""Groups of shafts compared: what of a calibration cancels and what not, pairs, and the command with its picture."""

import json
import math

import numpy as np
import pytest
from midspan.base.errors import ReadingsError
from midspan.cli.compare import compare
from midspan.measurement.spine_budget import CAUSES
from midspan.sets.groups import read_groups
from midspan.sets.selection import read_selection
from midspan.study.group_comparison import compare_groups
from results import told
from screens import screen
from stores import add_result, run_of

SCALE = 1e-3  # relative standard uncertainty of an invented force scale
OWN_THOU = 0.05
NAMES = [name for name, _ in CAUSES]


def measured(store, shaft, spine_thou, batch, calibration, *, gauge="attic"):
    """Store a result whose uncertainty is that of the force scale, which all have in common, and its own scatter."""
    u = {"force scale": SCALE, "scatter of the readings": OWN_THOU}
    by = {"force scale": spine_thou, "scatter of the readings": 1.0}
    result = told(
        spine_thou=float(spine_thou), u_spine_thou=math.hypot(SCALE * spine_thou, OWN_THOU), gauge=gauge,
        calibration=calibration, evaluation="6", spread_thou=3.0 + 0.01 * shaft, u_spread_thou=0.1, runout_mm=0.05,
        u_runout_mm=0.002, u_causes=[u.get(name, 0.0) for name in NAMES],
        sensitivities=[by.get(name, 0.0) for name in NAMES],
    )  # fmt: skip
    return add_result(
        store, run_of(shaft, f"blue-{shaft}", offset=9000 * shaft + batch, at_ms=batch), result, batch=batch
    )


def batch_of(store, spines, calibration, **more):
    """Store a batch of shafts numbered from 1 and return its number."""
    batch = store.begin_batch("blue", 0)
    for shaft, spine in enumerate(spines, 1):
        measured(store, shaft, spine, batch, calibration, **more)
    return batch


def compared(store, *texts):
    """Return the comparison of the second group with the first, and that of the spine."""
    groups, common = read_groups(store, [read_selection(text) for text in texts])
    found = compare_groups(*groups, common)
    return found, found.quantities[0]


def test_a_scale_cancels_under_one_calibration_as_far_as_the_means_agree(store):
    rng = np.random.default_rng(1)
    first, second = rng.normal(500, 2, 30), rng.normal(510, 2, 20)
    batch_of(store, first, "one")
    batch = store.begin_batch("red", 0)
    for shaft, spine in enumerate(second, 101):
        measured(store, shaft, spine, batch, "one")
    _, spine = compared(store, "batch:1", "batch:2")
    # JCGM 100:2008, 5.2.2: the scale multiplies the difference of the means alone.
    assert spine.means.u_shared == pytest.approx(SCALE * abs(second.mean() - first.mean()), rel=1e-6)
    assert spine.means.u_scatter == pytest.approx(math.hypot(first.std(ddof=1) / 30**0.5, second.std(ddof=1) / 20**0.5))
    own = math.hypot(OWN_THOU / 30**0.5, OWN_THOU / 20**0.5)
    assert spine.u_these == pytest.approx(math.hypot(spine.means.u_shared, own), rel=1e-6)


@pytest.mark.parametrize(("calibration", "gauge"), [("two", "attic"), ("one", "cellar")])
def test_a_scale_does_not_cancel_between_calibrations_or_gauges(store, calibration, gauge):
    spines = np.random.default_rng(2).normal(500, 2, 40)
    batch_of(store, spines, "one")
    batch_of(store, spines, calibration, gauge=gauge)
    _, spine = compared(store, "batch:1", "batch:2")
    assert spine.means.u_shared == pytest.approx(SCALE * spines.mean() * 2**0.5, rel=1e-6)
    # In a pair too: both scales and both scatters count, JCGM 100:2008, 5.1.2.
    assert spine.pairs.u_change == pytest.approx(np.hypot(SCALE * spines, OWN_THOU) * 2**0.5)
    assert spine.pairs.mean.u_shared == pytest.approx(spine.means.u_shared)


def test_a_result_without_causes_may_have_all_of_its_uncertainty_in_common(store):
    # As of an old list with its own U: the mean of many shafts is no surer than a single shaft.
    for name, shift in (("list", 0.0), ("other list", 1.0)):
        batch = store.begin_batch(name, 0)
        for shaft in range(1, 41):
            result = told(spine_thou=500.0 + 0.1 * shaft + shift, u_spine_thou=2.0)
            add_result(store, run_of(shaft + 100 * batch, at_ms=batch), result, batch=batch)
    _, spine = compared(store, "batch:list", "batch:other list")
    assert spine.means.u_shared == pytest.approx(2.0 * 2**0.5)
    assert not spine.means.is_beyond(spine.means.expanded())


def test_shafts_of_both_groups_are_compared_with_themselves(store):
    spines = np.random.default_rng(3).normal(500, 5, 12)
    after = spines + 0.02
    after[3] += 1.0
    batch_of(store, spines, "one")
    batch_of(store, after, "one")
    found, spine = compared(store, "batch:1", "batch:2")
    assert (found.in_both, found.same_measurement) == (12, 0)
    assert np.flatnonzero(spine.pairs.changed()).tolist() == [3]
    assert spine.pairs.u_change == pytest.approx(OWN_THOU * 2**0.5, rel=1e-3)  # the scale cancels
    assert not spine.means.is_beyond(spine.means.expanded())


def test_one_measurement_in_both_groups_is_no_change(store):
    batch_of(store, [500.0, 501.0, 502.0], "one")
    with pytest.raises(ReadingsError) as caught:
        compared(store, "batch:1", "label:blue")
    assert caught.value.code == "same_group"
    batch = store.begin_batch("red", 0)
    measured(store, 50, 503.0, batch, "one")
    measured(store, 51, 504.0, batch, "one")
    found, spine = compared(store, "batch:1", "label:blue")
    assert (found.in_both, found.same_measurement, spine.pairs) == (0, 3, None)


def test_the_range_of_a_difference_holds_the_truth_under_drawn_calibrations(store):
    # The truth is drawn here: two kinds of shafts 1 thou apart, each measured under a calibration with its own scale.
    rng, held, trials = np.random.default_rng(4), 0, 60
    for _ in range(trials):
        numbers = []
        for kind in (500.0, 501.0):
            batch = store.begin_batch("drawn", 0)
            scale = 1 + rng.normal(0, SCALE)
            for i in range(12):
                read = rng.normal(kind, 1.5) * scale + rng.normal(0, OWN_THOU)
                measured(store, 1000 * batch + i, read, batch, f"calibration {batch}")
            numbers.append(batch)
        _, spine = compared(store, *(f"batch:{number}" for number in numbers))
        held += abs(spine.means.difference - 1.0) <= spine.means.expanded()
    assert held / trials == pytest.approx(0.95, abs=0.085)  # three standard deviations of so many trials


def test_the_command_says_it_in_words(store, capsys, monkeypatch, snapshot, tmp_path):
    monkeypatch.setenv("COLUMNS", "120")
    spines = 500 + np.linspace(-2, 2, 12)
    batch_of(store, spines, "one")
    batch_of(store, spines + np.where(np.arange(12) == 3, 1.2, 0.0), "one")
    batch = store.begin_batch("red", 0)
    for shaft, spine in enumerate(505 + np.linspace(-1, 1, 8), 101):
        measured(store, shaft, spine, batch, "two")
    compare(["batch:1", "batch:2"], store=store.place)
    again = capsys.readouterr().out
    compare(["batch:1", "batch:3"], store=store.place, picture=tmp_path / "a.svg")
    other = capsys.readouterr().out
    assert "variances" not in again + other
    compare(["batch:1", "batch:3"], store=store.place, details=True)
    details = capsys.readouterr().out
    assert {"then and now": screen(again), "two kinds": screen(other), "details": screen(details)} == snapshot
    assert "Does batch:3 differ from batch:1 in spine?" in (tmp_path / "a.svg").read_text(encoding="utf-8")


def test_a_difference_of_scatter_alone_is_said(store, capsys):
    batch_of(store, 500 + np.linspace(-3, 3, 20), "one")
    batch = store.begin_batch("red", 0)
    for shaft, spine in enumerate(500 + np.linspace(-0.3, 0.3, 20), 101):
        measured(store, shaft, spine, batch, "one")
    compare(["1-20", "101-120"], store=store.place)
    assert "spine: the shafts of 101-120 scatter less than those of 1-20: 0.19 thou, there 1.87 thou" in " ".join(
        capsys.readouterr().out.split()
    )


def test_json_has_standard_uncertainties_and_every_shaft(store, capsys):
    spines = 500 + np.linspace(-2, 2, 6)
    for shift in (0.0, 0.5, 0.0):
        batch_of(store, spines + shift, "one")
    compare(["batch:1", "batch:2", "batch:3"], store=store.place, as_json=True)
    told_all = json.loads(capsys.readouterr().out)
    assert [group["shafts"] for group in told_all["groups"]] == [6, 6, 6]
    first, second = (each["quantities"]["spine_thou"] for each in told_all["comparisons"])
    assert first["difference"]["difference"] == pytest.approx(0.5)
    assert [shaft["changed"] for shaft in first["pairs"]["shafts"]] == [True] * 6
    assert [shaft["changed"] for shaft in second["pairs"]["shafts"]] == [False] * 6


def test_a_single_group_is_refused(store):
    with pytest.raises(ReadingsError) as caught:
        compare(["batch:1"], store=store.place)
    assert caught.value.code == "one_group"
