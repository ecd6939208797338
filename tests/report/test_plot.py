"""Pictures hold what was measured: the lines and marks on the axes, not only a file; and what cannot be drawn."""

import re
import shlex
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from commands_rig import midspan, refusal, settings
from in_memory import measured
from matplotlib.figure import Figure
from midspan.archive.raw_run import Phase
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError, OutputError, ReadingsError, StoreError
from midspan.cli.plot import batch
from midspan.decision.bands import Bands
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import evaluate
from midspan.report import plot_shaft, plot_study
from midspan.report.plot_batch import MANY, draw_batch
from midspan.report.plot_force import branches, draw_force
from midspan.report.plot_set import draw_set
from midspan.sets.difference_uncertainty import MemberResult
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.review import review
from midspan.sets.stock import StockShaft, shafts_of
from midspan.store.evaluation import StoredResult
from midspan.store.kept_calibration import KeptCalibration
from midspan.study.control_chart import individuals_chart, weighted_mean
from night_on_paper import paper_night
from places import ROOT
from results import NOTHING, told
from stores import add_result, run_of, store_in
from synthetic import Gauge, Shaft, paper_calibration, raw_run

pytestmark = pytest.mark.slow

BANDS = Bands.model_validate(
    {"bin": [{"name": "stiff", "spine_thou": [495, 500]}, {"name": "soft", "spine_thou": [500, 505]}]}
)
TRUTH = Shaft(spine_thou=500.0, spread_thou=6.0, stiff_side_deg=30.0)


@pytest.fixture(scope="module")
def result():
    (found,) = evaluate([raw_run(TRUTH, Gauge(), np.random.default_rng(5))], paper_calibration())
    return found


def title(figure):
    """Return the title of a picture."""
    return figure.get_suptitle()


def numbers(text):
    """Return the whole numbers in a text."""
    return [int(digits) for digits in re.findall(r"\d+", text)]


# Around a shaft


def test_the_polar_curve_reaches_out_at_the_true_stiff_side(result):
    figure = Figure()
    plot_shaft.around(figure, result, None)
    polar = figure.axes[0]
    assert polar.name == "polar"
    _, outward = (line.get_data()[1] for line in polar.lines[:2])
    angle = np.degrees(polar.lines[1].get_xdata())
    assert angle[outward.argmax()] % 180 == pytest.approx(TRUTH.stiff_side_deg, abs=3)
    assert np.ptp(outward) == pytest.approx(TRUTH.spread_thou, abs=0.1)
    assert f"{result.readings} readings" in title(figure)


def test_the_band_is_u_wide_to_either_side(result):
    figure = Figure()
    plot_shaft.around(figure, result, 2.0)
    (band,) = figure.axes[0].collections
    corners = band.get_paths()[0].vertices
    at_start = corners[np.isclose(corners[:, 0], 0.0)][:, 1]
    columns = np.array([0, 1, 0, 1, 0, 1, 0])  # cosines are 1 and sines 0 where angles start
    u_thou = np.sqrt(columns @ np.array(result.curve_covariance).reshape(7, 7) @ columns)
    assert np.ptp(at_start) == pytest.approx(2 * 2.0 * u_thou, rel=1e-6)


# A batch


def stored(spine_thou, outcome=Outcome.ACCEPTED, u_thou=0.2, number=1):
    whole = NOTHING if spine_thou is None else told(spine_thou=spine_thou, u_spine_thou=u_thou)
    return StoredResult(number, 1, run_of(number), whole, Decision(outcome), 0, number)


BATCH = [
    stored(498.0), stored(501.0, u_thou=0.4), stored(504.9, Outcome.DOUBTFUL), stored(None, Outcome.DOUBTFUL),
    stored(502.0, Outcome.REJECTED), stored(499.5, Outcome.INSTRUMENT_FAULT), stored(700.0, Outcome.REJECTED),
]  # fmt: skip


def test_every_shaft_of_a_batch_stands_at_its_spine_with_its_u():
    figure = Figure()
    draw_batch(figure, "Batch 1", BATCH, BANDS, k=2.0)
    upper, lower = figure.axes
    found = {bars.get_label(): bars for bars in upper.containers}
    assert set(found) == {"accepted (2)", "doubtful (1)", "rejected (2)"}
    points, _, (bars,) = found["accepted (2)"]
    assert points.get_xdata().tolist() == [498.0, 501.0]
    assert points.get_ydata().tolist() == [1, 2]
    assert [np.ptp(segment[:, 0]) for segment in bars.get_segments()] == pytest.approx([0.8, 1.6])
    assert len({points.get_marker() for points, _, _ in found.values()}) == 3  # told apart without colour
    heights = sum(bar.get_height() for bars in lower.containers for bar in bars)
    assert heights == 4  # of five: the straggler is told in words
    assert "1 above" in lower.get_xlabel()
    assert numbers(title(figure)) == [1, 5, 2, 2]  # batch, shafts drawn, shafts without a result, k
    edges = {line.get_xdata()[0] for line in upper.lines if line.get_linestyle() == "--"}
    assert edges == {495.0, 500.0, 505.0}


def test_a_large_batch_has_no_bars_and_says_none():
    figure = Figure()
    draw_batch(figure, "Batch 1", [stored(498.0 + i / MANY) for i in range(MANY + 1)], None, k=2.0)
    assert numbers(title(figure)) == [1, MANY + 1]  # and no k
    assert not any(bars.has_xerr for bars in figure.axes[0].containers)


def test_a_batch_without_any_result_is_refused():
    with pytest.raises(OutputError) as caught:
        draw_batch(Figure(), "Batch 1", [stored(None), stored(499.5, Outcome.INSTRUMENT_FAULT)], BANDS, k=2.0)
    assert caught.value.code == "nothing_to_draw"


# A set


def test_a_set_is_drawn_from_its_mean_with_what_is_told_apart():
    spines = (500.0, 500.6, 500.9)
    shafts = [StockShaft(i, "", i, None, spine, 0.1, None, None, None) for i, spine in enumerate(spines, 1)]
    alone = MemberResult(0.1, told())
    figure = Figure()
    draw_set(figure, "spring 1", review(shafts, [alone] * 3))
    (axes,) = figure.axes
    bars = {container.get_label(): container for container in axes.containers}
    apart, other = bars["told apart from the mean (2)"], bars["not told apart (1)"]
    assert apart[0].get_xdata().tolist() == pytest.approx([-0.5, 0.4])
    assert other[0].get_xdata().tolist() == pytest.approx([0.1])
    # Independent u of 0.1 each: that of the distance to the mean of three is 0.1 sqrt(2/3); 95 % of a normal is 1.96 u.
    assert np.ptp(other[2][0].get_segments()[0][:, 0]) == pytest.approx(2 * 1.96 * 0.1 * (2 / 3) ** 0.5)
    assert apart[0].get_markerfacecolor() != other[0].get_markerfacecolor()
    assert "3 shafts, mean spine 500.50" in title(figure)


# Force against travel


@pytest.fixture(scope="module")
def cracked():
    """Measure a shaft that gives back 2 % less on the simulated gauge: calibration, readings, result."""
    return measured({"spine_thou": 500.0, "hysteresis": 0.02, "bow_mm": 0.05})[2:]


def test_both_branches_and_three_turns_are_drawn_as_they_were_read(cracked):
    calibration, run, result = cracked
    found = branches(run, calibration, result.slip_pct)
    figure = Figure()
    draw_force(figure, run, found, "in words")
    upper, lower = figure.axes
    lines = {line.get_label().split(",")[0].split(" (")[0]: line for line in upper.lines}
    assert {"way in", "way back", "light depth", "full depth", "light again"} <= set(lines)
    assert lines["way in"].get_linestyle() != lines["way back"].get_linestyle()
    forces = [float(lines[name].get_ydata()[0]) for name in ("light depth", "full depth", "light again")]
    assert forces[:2] == pytest.approx([result.light_load_n, result.load_n], abs=2e-3)
    assert 100 * (1 - forces[2] / forces[0]) == pytest.approx(2.0, abs=0.1)  # the simulation's truth
    travel_mm, force_n = lines["way in"].get_data()
    assert np.diff(travel_mm).min() >= 0  # the way in goes in only
    touched = force_n > 0.5
    slope = np.polyfit(travel_mm[touched], force_n[touched], 1)[0]
    assert slope == pytest.approx(8.629852 / 12.7, rel=0.02)  # spine 500: 12.7 mm under 880 g, frame included
    assert f"{len(found.force_n)} readings" in title(figure)
    assert lower.get_ylabel().endswith("mN")


def test_a_spoilt_reading_is_not_drawn(cracked):
    calibration, run, _ = cracked
    spoilt = run.status.copy()
    at = run.places()[Phase.FULL].start + 40
    spoilt[at] = 2  # saturated
    fewer = branches(replace(run, status=spoilt), calibration, 0.0)
    assert len(fewer.force_n) == len(branches(run, calibration, 0.0).force_n) - 1


def test_a_cycle_that_was_cut_short_has_no_way_back(cracked):
    calibration, run, _ = cracked
    with pytest.raises(OutputError) as caught:
        branches(replace(run, cause="STOPPED_BY_HOST"), calibration, 0.0)
    assert caught.value.code == "cut_short"


# The other pictures tell their sample size


def test_a_control_chart_says_how_many_readings_it_has(tmp_path):
    chart = individuals_chart([500.0, 500.2, 499.9, 500.1, 500.0, 500.3])
    with mpl.rc_context({"svg.fonttype": "none"}):  # letters stay letters
        plot_study.draw_chart(chart, weighted_mean(chart), tmp_path / "chart.svg", "spine, thou", "bar 7 of $2")
    drawn = (tmp_path / "chart.svg").read_text()
    assert "bar 7 of $2" in drawn
    assert "n = 6" in drawn


def test_a_batch_has_each_shaft_once_by_its_newest_run_and_no_check_standard(tmp_path, monkeypatch, store_place):
    with paper_night(store_place) as night:
        night.check(0.1)
        shaft = night.fed()
        night.judged(shaft, 499.9, Decision(Outcome.DOUBTFUL, ("measure it again",)))
        night.judged(shaft, 499.2, Decision(Outcome.ACCEPTED, (), "stiff"))
        night.left(shaft, 1)
        night.check(0.1)
    drawn = []
    monkeypatch.setattr("midspan.report.plot_batch.draw_batch", lambda figure, name, stored, *_: drawn.extend(stored))
    batch(1, tmp_path / "b.png", store=store_place)
    assert [stored.result.spine_thou for stored in drawn] == [499.2]


# The command


@pytest.fixture(scope="module")
def folder(tmp_path_factory, cracked):
    """Make a database of one measured shaft, one without a result, a set, and six results of a check standard."""
    folder = tmp_path_factory.mktemp("plots")
    calibration, run, result = cracked
    with ArchiveWriter(folder / "a.avro") as archive, store_in(folder).open() as store:
        offset = archive.append(run)
        store.keep_calibration(KeptCalibration.of(calibration))
        batch = store.begin_batch("blue", 0)
        here = run_of(run.shaft, "blue-1", archive="elsewhere/a.avro", offset=offset, at_ms=run.started_ms)
        add_result(store, here, result, batch=batch)
        add_result(store, run_of(2), decision=Decision(Outcome.DOUBTFUL, ("NO_CONTACT",)), batch=batch)
        for i in range(6):
            other = replace(result, spine_thou=500.0 + 0.1 * i)
            add_result(store, run_of(10 + i, "bar 1", archive="b.avro", at_ms=86_400_000 * i), other, batch=batch)
        found = shafts_of(store, [10, 11, 12])
        Sets(store).keep({"spring 1": list(found.values())}, Limits(number=3, spine_thou=3.0), 0)
    return folder


@pytest.mark.parametrize(
    ("words", "head"),
    [
        (("around", "blue-1", "--out", "a.png"), b"\x89PNG"),
        (("budget", "blue-1", "--out", "b.pdf"), b"%PDF"),
        (("force", "1", "--out", "f.svg"), b"<?xml"),
        (("batch", "1", "--out", "ba.png"), b"\x89PNG"),
        (("set", "spring 1", "--out", "s.pdf"), b"%PDF"),
        (("check", "bar 1", "--out", "c.svg"), b"<?xml"),
    ],
    ids=lambda given: given[0] if isinstance(given, tuple) else "",
)
def test_the_name_of_the_file_says_what_it_is(folder, words, head):
    done = midspan("plot", *words, folder=folder)
    assert done.returncode == 0, done.stderr
    assert (folder / words[-1]).read_bytes().startswith(head)


def test_the_pictures_of_the_readme_are_drawn(folder):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = [shlex.split(line) for line in re.findall(r"^    midspan (plot .*)$", readme, re.MULTILINE)]
    assert {words[1] for words in commands} == {"around", "force", "budget", "batch", "set", "check"}
    settings(folder)  # its bands
    for words in commands:
        assert midspan(*words, folder=folder).returncode == 0, words
        assert (folder / words[-1]).stat().st_size > 5000


@pytest.mark.parametrize(
    ("words", "kind", "named"),
    [
        (("around", "nobody"), StoreError, "'nobody'"),
        (("around", "2"), StoreError, "NO_CONTACT"),
        (("budget", "2"), StoreError, "NO_CONTACT"),
        (("force", "10"), OutputError, "b.avro"),
        (("force", "1", "--archive", "results.db"), ArchiveError, "results.db"),
        (("batch", "9"), StoreError, "batch 9"),
        (("set", "autumn"), StoreError, "'autumn'"),
        (("check", "nobody"), ReadingsError, "results.db"),
        (("check", "blue-1"), ReadingsError, "1 readings"),
    ],
    ids=lambda given: " ".join(given) if isinstance(given, tuple) else "",
)
def test_what_cannot_be_drawn_is_said_in_one_line_and_leaves_no_file(folder, words, kind, named):
    before = (folder / "results.db").read_bytes()
    assert named in str(refusal(midspan("plot", *words, "--out", "never.png", folder=folder), kind))
    assert not (folder / "never.png").exists()
    assert (folder / "results.db").read_bytes() == before


@pytest.mark.parametrize("out", ["a.bmp", "nowhere/a.png", "plain"])
def test_a_picture_that_cannot_be_written_is_named(folder, out):
    assert out in str(refusal(midspan("plot", "batch", "1", "--out", out, folder=folder), OutputError))


def test_another_archive_of_the_same_name_is_not_taken_for_its_own(folder, cracked, tmp_path):
    _, run, _ = cracked
    with ArchiveWriter(tmp_path / "other.avro") as archive:
        archive.append(replace(run, started_ms=run.started_ms + 1))
    done = midspan("plot", "force", "1", "--out", "f.png", "--archive", tmp_path / "other.avro", folder=folder)
    assert "other.avro" in str(refusal(done, OutputError))
