"""Calibrating from the command line: a simulated gauge from nothing to a file, tables, refusals, what is kept."""

import json
import math
import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from commands_rig import complaint, midspan
from midspan.calibrate.readings_table import readings_of
from midspan.calibrate.record import Circumstances, load_record, record_of, save_record
from midspan.calibrate.span import calibrate_span
from midspan.measurement.calibration import load_calibration
from midspan.rehearsal import scenario

REHEARSAL = ("--port", "rehearsal", "--yes", "--json")


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory):
    """A folder in which a newcomer has calibrated the simulated gauge; every outcome by kind."""
    folder = tmp_path_factory.mktemp("calibrated")
    outcomes = {}
    for kind, options in {
        "force": (),
        "travel": ("--clearance", 6.5),
        "frame": ("--bar-diameter", 25),
        "span": (),
        "rotation": ("--expected-steps", 800),
    }.items():
        done = midspan("calibrate", kind, *options, *REHEARSAL, folder=folder)
        assert done.returncode == 0, done.stderr
        outcomes[kind] = json.loads(done.stdout), done.stderr
    done = midspan("calibrate", "file", "--out", "gauge.toml", folder=folder)
    assert done.returncode == 0, done.stderr
    return folder, outcomes, done.stdout


# The truth is the scenario's; the host gets it only through the simulated gauge.
TRUTH = scenario.GAUGE


def test_every_scale_comes_back_within_its_uncertainty(calibrated):
    folder, _, _ = calibrated
    cal = load_calibration(folder / "gauge.toml")
    per_count = 1 / TRUTH["count_per_n"]
    assert abs(cal.force.newton_per_count / per_count - 1) < 2 * cal.force.u_scale
    per_step = (1 + TRUTH["press_scale_error"]) / 400
    assert abs(cal.travel.mm_per_step / per_step - 1) < 2 * cal.travel.u_scale
    assert abs(cal.frame.give_mm_per_n - TRUTH["frame_mm_per_n"]) < 2 * cal.frame.u_give_mm_per_n
    assert abs(cal.span.span_mm - TRUTH["span_mm"]) < 2 * cal.span.u_span_mm
    assert cal.rotation.steps_per_turn == pytest.approx(800 / (1 - TRUTH["slip"]), rel=1e-4)


def test_the_screw_s_error_and_the_backlash_are_found(calibrated):
    folder, outcomes, _ = calibrated
    travel = load_calibration(folder / "gauge.toml").travel
    assert (travel.screw_cos_mm**2 + travel.screw_sin_mm**2) ** 0.5 == pytest.approx(
        TRUTH["screw_periodic_mm"], abs=4 * travel.u_screw_mm
    )
    assert outcomes["travel"][0]["figures"]["backlash_mm"] == pytest.approx(0.03, abs=0.001)
    assert travel.clearance_mm == 6.5


def test_the_guide_says_what_to_put_on_and_what_comes_next(calibrated):
    _, outcomes, _ = calibrated
    said = outcomes["force"][1]
    assert "[1 of 33] Round 1, up. Leave the cell empty." in said
    assert "Stand 1000 g on the head" in said
    order = ("force", "travel", "frame", "span", "rotation", "file")
    for kind, following in pairwise(order):
        assert f"Next: midspan calibrate {following}" in outcomes[kind][1]


def test_records_hold_readings_and_are_named_by_the_file(calibrated):
    folder, outcomes, said = calibrated
    cal = load_calibration(folder / "gauge.toml")
    assert set(cal.calibration.records) == {outcome["id"] for outcome, _ in outcomes.values()}
    for identity in cal.calibration.records:
        record = load_record(folder / "calibration" / f"{identity}.json")
        assert identity in said
        assert record.gauge == cal.calibration.gauge == "rehearsal"
        assert all(len(column) for column in record.readings.values())
    assert cal.calibration.valid_until > datetime.now(UTC).date() + timedelta(days=300)


def test_what_the_guide_wrote_reads_as_a_table_and_gives_the_same(calibrated):
    folder, outcomes, _ = calibrated
    (file,) = (folder / "calibration").glob("travel-readings-*.csv")
    done = midspan(
        "calibrate", "travel", "--csv", file, "--clearance", 6.5, "--json", "--records", "again", folder=folder
    )
    again = json.loads(done.stdout)
    assert again["section"] == outcomes["travel"][0]["section"]
    assert again["id"] != outcomes["travel"][0]["id"]  # another run, another day, another gauge's name


def test_a_bar_under_the_new_calibration_agrees(calibrated):
    folder, _, _ = calibrated
    known = scenario.BAR
    bar = ("--diameter", known["diameter_mm"], "--diameter-u", known["u_diameter_mm"], "--modulus",
           known["modulus_gpa"], "--modulus-u", known["u_modulus_gpa"])  # fmt: skip
    done = midspan("calibrate", "bar", *bar, "--calibration", "gauge.toml", *REHEARSAL, folder=folder)
    assert done.returncode == 0, done.stderr
    outcome = json.loads(done.stdout)
    assert abs(outcome["figures"]["en_ratio"]) < 1
    assert outcome["section"] == {}


def test_gauge_blocks_give_the_scale_and_the_screw_s_error_as_well(tmp_path):
    blocks = (0.5, 1.0, 1.6, 2.3, 3.0, 3.7, 4.4, 5.1, 5.9, 6.5)
    asked = [word for block in blocks for word in ("--block", block)]
    done = midspan("calibrate", "travel", *asked, "--indicator-u", 0.0005, *REHEARSAL, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "[10 of 10] Lay the block of 6.5 mm under the head." in done.stderr
    outcome = json.loads(done.stdout)
    found = outcome["section"]
    per_step = (1 + TRUTH["press_scale_error"]) / 400
    assert abs(found["mm_per_step"] / per_step - 1) < 2 * found["u_scale"]
    screw = math.hypot(found["screw_cos_mm"], found["screw_sin_mm"])
    assert screw == pytest.approx(TRUTH["screw_periodic_mm"], abs=4 * found["u_screw_mm"])
    assert any("backlash is not known" in remark for remark in outcome["remarks"])
    # What was written is what --csv reads.
    (file,) = (tmp_path / "calibration").glob("blocks-readings-*.csv")
    given = ("--csv", file, "--indicator-u", 0.0005, "--json", "--records", "again")
    again = midspan("calibrate", "travel", *given, folder=tmp_path)
    assert json.loads(again.stdout)["section"] == found


def test_a_table_of_index_marks_is_known_by_its_heading(tmp_path):
    (tmp_path / "marks.csv").write_text("mark_steps\n12\n815\n1618\n2422\n3225\n")
    done = midspan("calibrate", "rotation", "--csv", "marks.csv", "--expected-steps", 800, "--json", folder=tmp_path)
    assert json.loads(done.stdout)["section"]["steps_per_turn"] == pytest.approx(803.3, abs=0.05)


def test_a_bar_of_assigned_value_is_read_from_its_file(tmp_path):
    bar, read = tmp_path / "bar-1.toml", tmp_path / "bar.csv"
    given = ("calibrate", "bar", "--bar", "bar-1.toml", "--csv", "bar.csv")
    read.write_text("spine_thou,u_spine_thou\n500.4,0.2\n500.6,0.2\n")
    bar.write_text('[bar]\nid = "bar-1"\nspine_thou = 500.1\nu_spine_thou = 0.3\n')
    done = midspan(*given, "--json", folder=tmp_path)
    assert json.loads(done.stdout)["figures"]["bias_thou"] == pytest.approx(0.4)
    read.write_text("spine_thou,u_spine_thou\n500.4,-0.2\n")
    assert "u_spine_thou -0.2 is negative" in complaint(midspan(*given, folder=tmp_path))
    bar.write_text('[bar]\nid = "bar-1"\nspine_thou = "500"\nu_spine_thou = 0.3\n')
    said = complaint(midspan(*given, folder=tmp_path))
    assert "bar-1.toml: bar.spine_thou = '500': input should be a number" in said
    assert "say what the bar is" in complaint(midspan(*given, "--diameter", 4, folder=tmp_path))


def test_the_story_for_people(calibrated):
    folder, _, _ = calibrated
    (file,) = (folder / "calibration").glob("force-readings-*.csv")
    done = midspan("calibrate", "force", "--csv", file, "--latitude", 47, "--records", "told", folder=folder)
    assert re.match(r"force: \(9\.\d+ ± 0\.\d+\)e-06 N per count \(U with k = 2\)\n", done.stdout)
    for words in ("standard uncertainties:", "no certificate of the masses", "ISO 376", "record: told"):
        assert words in done.stdout


def test_a_held_load_shows_creep_and_drift(tmp_path):
    done = midspan("calibrate", "force", "--creep", "--rounds", 1, *REHEARSAL, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    # The rehearsal's own truths: 2 parts in 10 000 with a time constant of 300 s, and a zero that goes 2 counts a
    # second; from 30 s to 300 s on 1000 g.
    creep = 2e-4 * (math.exp(-0.1) - math.exp(-1.0)) + 2 * 270 / (1000 * 1070)
    assert json.loads(done.stdout)["figures"]["creep_pct"] == pytest.approx(100 * creep, rel=0.05)


# Typed by a person


def test_a_person_types_spans(tmp_path, monkeypatch):
    answers = iter(["711,2", "oops", "711.3", "711.25"])
    monkeypatch.setattr("typer.prompt", lambda *_, **__: next(answers))
    done = midspan("calibrate", "span", "--readings", 3, "--json", "--gauge", "bench", folder=tmp_path)
    assert json.loads(done.stdout)["section"]["span_mm"] == pytest.approx(711.25)
    assert "the answer 'oops' is not a number; type it as 12.34" in done.stderr


# Bad input: one clear line, and readings are kept


def test_readings_of_a_refused_run_are_kept(tmp_path, monkeypatch):
    answers = iter(["28.0", "28.01"])
    monkeypatch.setattr("typer.prompt", lambda *_, **__: next(answers))
    said = complaint(midspan("calibrate", "span", "--readings", 2, folder=tmp_path))
    assert "inches" in said
    assert "no record was made; the readings are in" in said
    (kept,) = (tmp_path / "calibration").iterdir()
    assert str(kept.relative_to(tmp_path)) in said
    assert kept.read_text() == "span_mm\n28.0\n28.01\n"


def test_frame_needs_force_and_travel_first(tmp_path):
    said = complaint(midspan("calibrate", "frame", "--port", "rehearsal", "--yes", folder=tmp_path))
    assert "run midspan calibrate force first" in said


@pytest.mark.parametrize(
    ("words", "arguments"),
    [
        ("nothing to read", ("force",)),
        ("blocks stand in the table", ("travel", "--csv", "x.csv", "--block", 5)),
        ("not from both", ("force", "--csv", "x.csv", "--port", "rehearsal")),
        ("cannot be read", ("force", "--csv", "none.csv")),
        ("is outside 9.76 to 9.84", ("force", "--csv", "x.csv", "--gravity", 32.2)),
        ("say what the bar is", ("bar", "--csv", "x.csv")),
        ("is no folder", ("file", "--out", "gauge.toml")),
        ("there is no such port", ("force", "--port", "no-such-port")),
        ("a gauge's name has 1 to 32 printable characters", ("span", "--gauge", "")),
        ("a gauge's name has 1 to 32 printable characters", ("span", "--gauge", "g" * 33)),
        (
            "cannot be written (File exists); name another folder",
            ("span", "--csv", "span.csv", "--records", "span.csv"),
        ),
        (
            "24 places do not fit between 5000 and 400 steps",
            ("travel", "--port", "rehearsal", "--yes", "--first-steps", 5000, "--last-steps", 400),
        ),
    ],
)
def test_refusals(tmp_path, words, arguments):
    (tmp_path / "span.csv").write_text("span_mm\n711.2\n711.3\n")
    assert words in complaint(midspan("calibrate", *arguments, folder=tmp_path))


def test_a_clock_that_went_back_is_noticed_before_anything_is_read(tmp_path):
    # A record made now would count as older than the last one, and never be used.
    (tmp_path / "span.csv").write_text("span_mm\n711.2\n711.3\n")
    later = datetime.now(UTC) + timedelta(days=2)
    held = Circumstances("bench", "", later, 20.0, (later + timedelta(days=365)).date())
    finding = calibrate_span(readings_of("typed", span_mm=[711.2, 711.3]), 0.03)
    save_record(record_of(finding, {}, {}, held), tmp_path / "calibration")
    said = complaint(midspan("calibrate", "span", "--csv", "span.csv", folder=tmp_path))
    assert f"was made at {later:%Y-%m-%dT%H:%M}" in said
    assert "set the clock, or take that record out of the folder" in said


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("direction,mass_g\nup,0\n", "first line must be: round,direction,mass_g,count,time_s"),
        ("direction,mass_g,count,color\nup,0,1,red\n", "'color' that is not known"),
        ("direction,mass_g,count\nup,0,5000\nsideways,200,9000\n", "line 3: direction is 'sideways'; write up or down"),
        ("direction,mass_g,count\nup,0,5000\nup,200 g,9000\n", "line 3: mass_g '200 g' is not a number"),
        ("direction,mass_g,count\n", "holds no readings"),
        ("direction,mass_g,count\nup,0\n", "has 2 values, expected 3"),
        ("direction,direction,mass_g,count\nup,up,0,1\n", "two columns are headed direction"),
    ],
)
def test_tables_that_are_none(tmp_path, text, words):
    (tmp_path / "force.csv").write_text(text)
    assert words in complaint(midspan("calibrate", "force", "--csv", "force.csv", folder=tmp_path))


def test_a_table_with_decimal_commas_is_read_where_semicolons_part_the_cells(tmp_path):
    rows = "0,4;25\n1,2;8,0\n"
    (tmp_path / "frame.csv").write_text(f"# of the long bench\nforce_n;travel_mm\n{rows}")
    said = complaint(midspan("calibrate", "frame", "--csv", "frame.csv", folder=tmp_path))
    assert "found 2 up to 1.2 N" in said


def test_what_an_interrupted_guide_had_read_is_kept(tmp_path, monkeypatch):
    answers = iter([""] * (3 + 3))  # the sign's, then three readings'

    def prompt(*_, **__):
        try:
            return next(answers)
        except StopIteration:
            raise KeyboardInterrupt from None

    monkeypatch.setattr("typer.prompt", prompt)
    done = midspan("calibrate", "force", "--port", "rehearsal", folder=tmp_path)
    assert done.returncode == 130
    assert "(3 readings taken so far are in" in done.stderr
    (kept,) = (tmp_path / "calibration").glob("force-readings-*.csv")
    assert len(kept.read_text().splitlines()) == 1 + 3
