"""Calibrate from the command line: a simulated gauge up to its file, tables, refusals, and readings that are kept."""

import json
import math
import re
import shutil
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from answering import Answering
from commands_rig import midspan, refusal
from midspan.base.errors import ConfigurationError, ConversionError, LinkError, OutputError, ReadingsError
from midspan.calibrate.live_cell import force_schedule
from midspan.calibrate.order import FILE, ORDER
from midspan.calibrate.readings_table import readings_of
from midspan.calibrate.record import Circumstances, load_record, record_of, save_record
from midspan.calibrate.span import calibrate_span
from midspan.cli import calibrate_options
from midspan.measurement.calibration import load_calibration
from midspan.measurement.cycle_settings import DEEP
from midspan.rehearsal import scenario
from rehearsal_rig import mechanics
from screens import DATES, screen

pytestmark = pytest.mark.process

MASSES_G = (200.0, 400.0, 600.0, 800.0, 1000.0)
REHEARSAL = ("--port", "rehearsal", "--yes", "--json")


def answering(monkeypatch, answers):
    """Return a person who answers prompts at the terminal by their ids."""
    person = Answering(answers)
    monkeypatch.setattr(calibrate_options, "Prompter", lambda: person)
    return person


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory):
    """Calibrate the simulated gauge; return its folder, the outcome by kind, and the output of the last command."""
    folder = tmp_path_factory.mktemp("calibrated")
    outcomes = {}
    for kind, options in {
        "force": (),
        "travel": ("--clearance", 6.5),
        "frame": (),
        "span": (),
        "sinking": (),
        "rotation": (),
        "filter": (),
    }.items():
        done = midspan("calibrate", kind, *options, *REHEARSAL, folder=folder)
        assert done.returncode == 0, done.stderr
        outcomes[kind] = json.loads(done.stdout), done.stderr
    done = midspan("calibrate", "file", "--out", "gauge.toml", folder=folder)
    assert done.returncode == 0, done.stderr
    return folder, outcomes, done.stdout


# True values of the scenario, which reach the host only through the simulated gauge.
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
    unloaded, full = (800 / (1 - TRUTH["slip"] - mechanics.GAUGE["slip_per_n"] * force) for force in (0.0, 8.63))
    assert unloaded < cal.rotation.steps_per_turn < full
    # The simulated converter runs 1.5 % fast and averages four conversions (device/rehearsal/mechanics.py): half of
    # these late, and the standard deviation of a rectangle of that length (JCGM 100:2008, 4.3.7).
    interval_s = 0.0125 / 1.015
    assert abs(cal.filter.delay_s - 2 * interval_s) < 2 * cal.filter.u_delay_s < 3e-4
    assert abs(cal.filter.width_s - 4 * interval_s / 12**0.5) < 2 * cal.filter.u_width_s < 1e-3


def test_the_screw_s_error_and_the_backlash_are_found(calibrated):
    folder, outcomes, _ = calibrated
    travel = load_calibration(folder / "gauge.toml").travel
    assert (travel.screw_cos_mm**2 + travel.screw_sin_mm**2) ** 0.5 == pytest.approx(
        TRUTH["screw_periodic_mm"], abs=4 * travel.u_screw_mm
    )
    # The counterweight holds the carriage on one flank of the nut: its play does not show.
    assert outcomes["travel"][0]["figures"]["backlash_mm"] == pytest.approx(0.0, abs=0.001)
    assert travel.clearance_mm == 6.5


def test_the_guide_says_what_to_put_on_and_what_comes_next(calibrated, snapshot):
    _, outcomes, _ = calibrated
    guides = {kind: said.splitlines() for kind, (_, said) in outcomes.items()}
    asked = [line for line in guides["force"] if re.match(r"\[\d", line)]
    assert [re.match(r"\[(\d+) of 33\]", line)[1] for line in asked] == [str(number) for number in range(1, 34)]
    loads = [int(found[1]) if (found := re.search(r"(\d+) g", line)) else 0 for line in asked]
    assert loads == [mass for _, _, mass in force_schedule(MASSES_G, 3)]
    for kind, following in pairwise((*ORDER, FILE)):
        assert guides[kind][-1].split()[:4] == ["Next:", "midspan", "calibrate", following]
    steps = {kind: [line for line in lines if not line.startswith("    ")] for kind, lines in guides.items()}
    assert steps == snapshot


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


def test_a_nut_that_the_load_turns_over_is_named_before_it_is_in_a_calibration(calibrated, monkeypatch):
    """The carriage is 5 N too heavy for its counterweight: at 3 N, with the drag, the head stays behind by the play."""
    folder, _, _ = calibrated
    monkeypatch.setitem(scenario.GAUGE, "lift_n", -5.0)
    monkeypatch.setitem(scenario.GAUGE, "backlash_mm", 0.03)
    given = ("calibrate", "frame", "--bar-diameter", 25, *REHEARSAL)
    error = refusal(midspan(*given, folder=folder), ReadingsError)
    said = str(error).partition(".csv: ")[2]
    below, above, height = (float(value) for value in re.findall(r"\d+\.\d+", said)[:3])
    assert error.code == "nut_turns_over"
    assert 3.0 <= below <= above < 4.0  # it lets go at 3 N; the next place is at 3.44
    assert height == pytest.approx(0.03, abs=0.003)


def test_what_the_maker_states_is_in_the_file_and_kept_over(calibrated):
    folder, _, _ = calibrated
    of_records = load_calibration(folder / "gauge.toml")
    old = (folder / "gauge.toml").read_text().replace("[calibration]", 'cycle = "deep"\n\n[calibration]', 1)
    stated = "vertical_share = [0.0, 0.1]\noff_centre_mm = 0.7\n"
    (folder / "old.toml").write_text(old.replace("[span]\n", f"[span]\n{stated}"))
    given = ("calibrate", "file", "--out", "new.toml", "--previous", "old.toml", "--range", 15, 25)
    done = midspan(*given, folder=folder)
    assert done.returncode == 0, done.stderr
    new = load_calibration(folder / "new.toml")
    kept = {"vertical_share": (0.0, 0.1), "off_centre_mm": 0.7}
    assert new.span.model_dump() == of_records.span.model_dump() | kept
    assert new.usual_cycle == DEEP
    assert new.calibration.range_c == (15, 25)
    assert new.calibration.id != of_records.calibration.id  # other values, so another calibration
    assert (new.force, new.travel, new.frame, new.filter) == (
        of_records.force, of_records.travel, of_records.frame, of_records.filter,
    )  # fmt: skip
    again = midspan(*given, folder=folder)
    assert again.returncode == 0, again.stderr  # the same records and statements make the same file


def test_what_a_record_states_goes_before_what_a_file_did(calibrated, tmp_path):
    folder, _, _ = calibrated
    shutil.copytree(folder / "calibration", tmp_path / "calibration")
    (tmp_path / "span.csv").write_text("span_mm\n711.2\n711.3\n711.2\n")
    rims = ("--rim-radius", 2, "--roller-diameter", 30, "--axle-distance", 31, "--thinnest", 6, "--thickest", 6)
    named = ("--gauge", "rehearsal", "--json")
    span = ("--csv", "span.csv", *rims, "--off-centre", 2, "--axial-friction-u", 0.01)
    assert midspan("calibrate", "span", *span, *named, folder=tmp_path).returncode == 0
    computed = ("--material", "carbon", *rims[:6], "--shaft-diameter", 6)
    assert midspan("calibrate", "sinking", *computed, *named, folder=tmp_path).returncode == 0
    old = (folder / "gauge.toml").read_text().replace("[span]\n", "[span]\noff_centre_mm = 0.1\n")
    (tmp_path / "old.toml").write_text(re.sub(r"^rim_mm = .*$", "rim_mm = 9.0", old, flags=re.MULTILINE))
    done = midspan("calibrate", "file", "--out", "new.toml", "--previous", "old.toml", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    new = load_calibration(tmp_path / "new.toml").span
    # (2 + 3) mm times the cosine of asin(31 / 36); carbon gives 0.23 thou at the standard load by Hertz, head included.
    assert new.rim_mm == pytest.approx(5 * 0.5084, abs=1e-3)
    assert new.off_centre_mm == 2.0
    # What the filter's record measured goes before what the span's states. The nip raises the rollers' friction.
    nip = math.cos(math.asin(31 / (30 + 7.5)))
    assert abs(new.axial_friction - mechanics.GAUGE["axial_friction_left"] / nip) < 2 * new.u_axial_friction < 0.005
    assert new.sink_mm_per_n * 8.63 / 0.0254 == pytest.approx(0.23, abs=0.01)


def test_all_parts_in_a_row_leave_out_what_is_valid_and_write_the_file(calibrated, tmp_path, monkeypatch):
    folder, outcomes, _ = calibrated
    shutil.copytree(folder / "calibration", tmp_path / "calibration")
    for kind in ("span", "sinking"):
        (tmp_path / "calibration" / f"{outcomes[kind][0]['id']}.json").unlink()
    person = answering(monkeypatch, {})
    done = midspan("calibrate", "all", "--port", "rehearsal", "--json", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert person.ids == ["simulated gauge"]  # the rest it does by itself
    made = load_calibration(tmp_path / "gauge.toml").calibration.records
    assert {record.split("-")[0] for record in made} == set(ORDER)
    assert len(set(made) & {outcome["id"] for outcome, _ in outcomes.values()}) == len(ORDER) - 2
    before = (tmp_path / "gauge.toml").read_bytes()
    assert midspan("calibrate", "all", "--port", "rehearsal", "--yes", folder=tmp_path).returncode == 0
    assert (tmp_path / "gauge.toml").read_bytes() == before


def test_in_a_workspace_a_part_needs_no_option_and_names_what_status_names(calibrated, tmp_path, monkeypatch):
    folder, outcomes, _ = calibrated
    assert midspan("init", "--yes", folder=tmp_path).returncode == 0
    shutil.copytree(folder / "calibration", tmp_path / "calibration")
    for kind in ("frame", "filter"):
        (tmp_path / "calibration" / f"{outcomes[kind][0]['id']}.json").unlink()
    answering(monkeypatch, {})
    for kind, following in (("frame", "filter"), ("filter", "file")):
        person = answering(monkeypatch, {})
        done = midspan("calibrate", kind, folder=tmp_path)
        assert (done.returncode, person.ids) == (0, ["simulated gauge"]), done.stderr
        told = json.loads(midspan("status", "--json", folder=tmp_path).stdout)["next"]
        assert told == f"midspan calibrate {following}"
        assert done.stderr.splitlines()[-1] == f"Next: {told}"
    done = midspan("calibrate", "file", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    told = json.loads(midspan("status", "--json", folder=tmp_path).stdout)
    assert (told["ready"], done.stdout.splitlines()[-1]) == (True, f"Next: {told['next']}")


def test_gauge_blocks_give_the_scale_and_the_screw_s_error_as_well(tmp_path):
    blocks = (0.5, 1.0, 1.6, 2.3, 3.0, 3.7, 4.4, 5.1, 5.9, 6.5)
    asked = [word for block in blocks for word in ("--block", block)]
    done = midspan("calibrate", "travel", *asked, "--indicator-u", 0.0005, *REHEARSAL, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    asked = [re.findall(r"[\d.]+\d", line)[1:] for line in done.stderr.splitlines() if re.match(r"\[\d", line)]
    assert asked[-1] == ["10", "6.5"]
    outcome = json.loads(done.stdout)
    found = outcome["section"]
    per_step = (1 + TRUTH["press_scale_error"]) / 400
    assert abs(found["mm_per_step"] / per_step - 1) < 2 * found["u_scale"]
    screw = math.hypot(found["screw_cos_mm"], found["screw_sin_mm"])
    assert screw == pytest.approx(TRUTH["screw_periodic_mm"], abs=4 * found["u_screw_mm"])
    assert "backlash_mm" not in outcome["figures"]  # the head comes from above each time
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
    text = '[bar]\nid = "bar-1"\nspine_thou = 500.1\nu_spine_thou = 0.3\n'
    bar.write_text(text + 'definition = "normal reactions"\n')
    done = midspan(*given, "--json", folder=tmp_path)
    assert json.loads(done.stdout)["figures"]["bias_thou"] == pytest.approx(0.4)
    bar.write_text(text)  # of an older version, stated for the middle of the supports: 0.58 thou less at 500
    done = midspan(*given, "--json", folder=tmp_path)
    assert json.loads(done.stdout)["figures"]["bias_thou"] == pytest.approx(0.4 - 0.58, abs=0.005)
    read.write_text("spine_thou,u_spine_thou\n500.4,-0.2\n")
    assert "u_spine_thou -0.2" in str(refusal(midspan(*given, folder=tmp_path), ReadingsError))
    bar.write_text('[bar]\nid = "bar-1"\nspine_thou = "500"\nu_spine_thou = 0.3\n')
    said = str(refusal(midspan(*given, folder=tmp_path), ConfigurationError))
    assert said.startswith("bar-1.toml: bar.spine_thou = '500': ")
    bar.write_text(text + 'definition = "vertical"\n')
    assert "bar.definition = 'vertical'" in str(refusal(midspan(*given, folder=tmp_path), ConfigurationError))
    error = refusal(midspan(*given, "--diameter", 4, folder=tmp_path), ConfigurationError)
    assert set(re.findall(r"--[\w-]+", str(error))) >= {"--bar", "--diameter", "--assigned"}


def test_the_summary_for_people(tmp_path, snapshot):
    rows = [
        f"{number},{way},{mass:g},{50_000 + 1070 * mass + 7 * (i % 5):g}"
        for i, (number, way, mass) in enumerate(force_schedule(MASSES_G, 3))
    ]
    (tmp_path / "force.csv").write_text("round,direction,mass_g,count\n" + "\n".join(rows) + "\n")
    done = midspan("calibrate", "force", "--csv", "force.csv", "--latitude", 47, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    # The name of the record is a digest that depends on the time.
    assert re.sub(r"force-[0-9a-f]{16}", "force-DIGEST", screen(done.stdout, DATES)) == snapshot


def test_counts_and_tests_of_the_fit_are_said_only_on_request(calibrated, tmp_path):
    _, outcomes, _ = calibrated
    plain = "".join(said for _, said in outcomes.values())
    assert not re.search(r"\d counts|count \d|\d steps\b|p = |hardware_notes", plain)
    assert "screw_p" in outcomes["travel"][0]["figures"]
    options = ("--port", "rehearsal", "--yes")
    travel = midspan("calibrate", "travel", *options, "--records", tmp_path, folder=tmp_path)
    assert (travel.returncode, "screw_p" in travel.stdout) == (0, False)
    assert not re.search(r"p = |p=", travel.stdout)
    detailed = midspan("calibrate", "travel", *options, "--details", "--records", tmp_path, folder=tmp_path)
    assert "screw_p" in detailed.stdout
    assert re.search(r"\d steps", detailed.stderr)


def test_a_held_load_shows_creep_and_drift(tmp_path):
    done = midspan("calibrate", "force", "--creep", "--rounds", 1, *REHEARSAL, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    # True values of the simulation: creep of 2 parts in 10 000 with a time constant of 300 s, and a zero that drifts by
    # 2 counts a second; from 30 s to 300 s under 1000 g.
    creep = 2e-4 * (math.exp(-0.1) - math.exp(-1.0)) + 2 * 270 / (1000 * 1070)
    assert json.loads(done.stdout)["figures"]["creep_pct"] == pytest.approx(100 * creep, rel=0.05)


# Typed by a person


def test_a_person_types_spans(tmp_path, monkeypatch):
    person = answering(monkeypatch, {"rims known": "n", "span": ["711,2", "oops", "711.3", "711.25"]})
    done = midspan("calibrate", "span", "--readings", 3, "--json", "--gauge", "bench", folder=tmp_path)
    section = json.loads(done.stdout)["section"]
    assert (section["span_mm"], "rim_mm" in section) == (pytest.approx(711.25), False)
    assert person.ids == ["rims known", *["span"] * 4]


def test_a_person_states_rims_and_rollers(tmp_path, monkeypatch):
    sizes = {"rim": "2", "roller": "30", "axles": "31", "thinnest": "6", "thickest": ["5", "6"]}
    person = answering(monkeypatch, {"rims known": "y", "rollers": "y", **sizes, "span": "711.2"})
    done = midspan("calibrate", "span", "--readings", 2, "--json", folder=tmp_path)
    # (2 + 3) mm times the cosine of asin(31 / 36)
    assert json.loads(done.stdout)["section"]["rim_mm"] == pytest.approx(5 * 0.5084, abs=1e-3)
    assert person.ids.count("thickest") == 2  # 5 is thinner than the thinnest
    person = answering(monkeypatch, {"sinking way": "c"})
    done = midspan("calibrate", "sinking", "--json", folder=tmp_path)
    assert (done.returncode, person.ids) == (0, ["sinking way"])  # the sizes are in the record of the span


# Bad input: one clear line, and readings are kept


def test_readings_of_a_refused_run_are_kept(tmp_path, monkeypatch):
    answering(monkeypatch, {"rims known": "n", "span": ["28.0", "28.01"]})
    said = str(refusal(midspan("calibrate", "span", "--readings", 2, folder=tmp_path), ReadingsError))
    assert "inches" in said
    (kept,) = (tmp_path / "calibration").iterdir()
    assert str(kept.relative_to(tmp_path)) in said
    assert kept.read_text() == "span_mm\n28.0\n28.01\n"


def test_frame_needs_force_and_travel_first(tmp_path):
    given = ("calibrate", "frame", "--port", "rehearsal", "--yes", "--bar-diameter", 25)
    error = refusal(midspan(*given, folder=tmp_path), ConfigurationError)
    assert (error.code, re.findall(r"\b(force|travel)\b", str(error))) == ("missing_kind", ["force", "force"])


NEAR = ("travel", "--port", "rehearsal", "--yes", "--first-steps", 5000, "--last-steps", 400)


# Either the code of the error, or values that it names: options, files, numbers.
@pytest.mark.parametrize(
    ("kind", "named", "arguments"),
    [
        (ConfigurationError, ("--port", "--csv"), ("force",)),
        (ConfigurationError, ("block_mm", "--block"), ("travel", "--csv", "x.csv", "--block", 5)),
        (ConfigurationError, ("--csv", "--port"), ("force", "--csv", "x.csv", "--port", "rehearsal")),
        (ReadingsError, ("none.csv: ",), ("force", "--csv", "none.csv")),
        (ConversionError, ("32.2", "9.76", "9.84"), ("force", "--csv", "x.csv", "--gravity", 32.2)),
        (ConfigurationError, ("--bar", "--diameter", "--assigned"), ("bar", "--csv", "x.csv")),
        (ConfigurationError, "no_folder", ("file", "--out", "gauge.toml")),
        (ConfigurationError, "nobody", ("frame", "--csv", "x.csv")),
        (ConfigurationError, "nobody", ("rotation", "--csv", "x.csv")),
        (ConfigurationError, "missing_kind", ("rotation", "--port", "rehearsal", "--yes")),
        (ConfigurationError, "yes_at_a_gauge", ("force", "--port", "COM9", "--yes")),
        (ConfigurationError, "rollers", ("span", "--csv", "span.csv", "--rim-radius", 2, "--axle-distance", 31)),
        (ConfigurationError, "sinking", ("sinking", "--material", "cheese", "--rim-radius", 2)),
        (LinkError, ("no-such-port",), ("travel", "--port", "no-such-port")),
        (ConfigurationError, "gauge_name", ("span", "--gauge", "")),
        (ConfigurationError, "gauge_name", ("span", "--gauge", "g" * 33)),
        (OutputError, ("span.csv", "File exists"), ("span", "--csv", "span.csv", "--records", "span.csv")),
        (ConfigurationError, "places", NEAR),
    ],
)
def test_refusals(tmp_path, kind, named, arguments):
    (tmp_path / "span.csv").write_text("span_mm\n711.2\n711.3\n")
    error = refusal(midspan("calibrate", *arguments, folder=tmp_path), kind)
    if isinstance(named, str):
        assert error.code == named
    else:
        assert [value for value in named if value not in str(error)] == []


def test_a_clock_that_went_back_is_noticed_before_anything_is_read(tmp_path):
    # A record made now would count as older than the last one, and never be used.
    (tmp_path / "span.csv").write_text("span_mm\n711.2\n711.3\n")
    later = datetime.now(UTC) + timedelta(days=2)
    held = Circumstances("bench", "", later, 20.0, (later + timedelta(days=365)).date())
    finding = calibrate_span(readings_of("typed", span_mm=[711.2, 711.3]), 0.03)
    save_record(record_of(finding, {}, {}, held), tmp_path / "calibration")
    error = refusal(midspan("calibrate", "span", "--csv", "span.csv", folder=tmp_path), ConfigurationError)
    assert (error.code, f"{later:%Y-%m-%dT%H:%M}" in str(error)) == ("record_in_future", True)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("direction,mass_g\nup,0\n", ("count", "round,direction,mass_g,count,time_s")),
        ("direction,mass_g,count,color\nup,0,1,red\n", ("'color'", "round,direction,mass_g,count,time_s")),
        ("direction,mass_g,count\nup,0,5000\nsideways,200,9000\n", ("line 3", "'sideways'", "up", "down")),
        ("direction,mass_g,count\nup,0,5000\nup,200 g,9000\n", ("line 3", "mass_g", "'200 g'")),
        ("direction,mass_g,count\n", ()),
        ("direction,mass_g,count\nup,0\n", ("line 2", "2", "3")),
        ("direction,direction,mass_g,count\nup,up,0,1\n", ("direction",)),
    ],
)
def test_tables_that_cannot_be_read(tmp_path, text, named):
    (tmp_path / "force.csv").write_text(text)
    error = refusal(midspan("calibrate", "force", "--csv", "force.csv", folder=tmp_path), ReadingsError)
    assert str(error).startswith("force.csv")
    assert [value for value in named if value not in str(error)] == []
    assert not (tmp_path / "calibration").exists()


def test_a_table_with_decimal_commas_is_read_where_semicolons_part_the_cells(tmp_path):
    rows = "0,4;25\n1,2;8,0\n"
    (tmp_path / "frame.csv").write_text(f"# of the long bench\nforce_n;travel_mm\n{rows}")
    given = ("calibrate", "frame", "--csv", "frame.csv", "--bar-diameter", 25)
    error = refusal(midspan(*given, folder=tmp_path), ReadingsError)
    assert (error.code, "1.2 N" in str(error)) == ("too_few", True)


def test_what_an_interrupted_guide_had_read_is_kept(tmp_path, monkeypatch):
    read = iter(["", "", ""])

    def put_on(_prompt):
        try:
            return next(read)
        except StopIteration:
            raise KeyboardInterrupt from None

    person = answering(monkeypatch, {"simulated gauge": "s", "put on": put_on})
    done = midspan("calibrate", "force", "--port", "rehearsal", folder=tmp_path)
    assert done.returncode == 130
    (kept,) = (tmp_path / "calibration").glob("force-readings-*.csv")
    (line,) = [line for line in person.said if str(kept.relative_to(tmp_path)) in line]
    assert "3" in line.partition("(")[2].split()
    assert len(kept.read_text().splitlines()) == 1 + 3
