"""`midspan cycle` without a gauge, and the cycle that `midspan measure` takes."""

import json

import fastavro
import pytest
from commands_rig import midspan, settings
from midspan.measurement.cycle_settings import STANDARD
from midspan.wire.records import Phase

pytestmark = pytest.mark.process


def cycle(folder, *options):
    """Run `midspan cycle` in a folder."""
    return midspan("cycle", "--calibration", settings(folder)[0], *options, folder=folder)


def test_the_deep_cycle_costs_time_and_gives_less_scatter(tmp_path):
    fast, deep = (json.loads(cycle(tmp_path, "--cycle", name, "--json").stdout) for name in ("standard", "deep"))
    assert deep["cycle_s"] > 1.5 * fast["cycle_s"]
    assert deep["shafts_an_hour"] < fast["shafts_an_hour"]
    assert all(deep["scatter"][key] < fast["scatter"][key] for key in ("spine_thou", "spread_thou", "runout_mm"))


def test_the_calibration_says_how_unless_the_option_does(tmp_path):
    settings(tmp_path)
    given = (tmp_path / "gauge.toml").read_text()
    (tmp_path / "mine.toml").write_text(given + "\n[cycle]\nreadings_per_turn = 90\nzero_in_middle = true\n")
    told = json.loads(midspan("cycle", "--calibration", "mine.toml", "--json", folder=tmp_path).stdout)
    assert (told["settings"]["readings_per_turn"], "ZERO_MIDDLE" in told["seconds"]) == (90, True)
    other = midspan("cycle", "--calibration", "mine.toml", "--cycle", "standard", "--json", folder=tmp_path)
    assert json.loads(other.stdout)["settings"]["readings_per_turn"] == STANDARD.readings_per_turn


@pytest.mark.parametrize(("line", "values"), [
    ("press_mm_s = 40.0", ["cycle.press_mm_s", "40", "6000"]),
    ("readings_per_turn = 2000", ["cycle.readings_per_turn", "2000", "2400"]),
    ("readings_per_turn = 2001", ["cycle.readings_per_turn", "2001"]),
    ("settle_readings = 3", ["cycle.settle_readings", "3"]),
])  # fmt: skip
def test_absurd_cycles_are_refused_in_a_line_before_they_reach_a_board(tmp_path, line, values):
    (tmp_path / "own.toml").write_text(f"[cycle]\n{line}\n")
    done = cycle(tmp_path, "--cycle", "own.toml")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert all(value in done.stderr for value in values)


def test_a_shaft_is_measured_in_the_cycle_that_is_named(tmp_path):
    calibration, bands = settings(tmp_path)
    (tmp_path / "own.toml").write_text("[cycle]\nback_and_forth = true\nzero_in_middle = true\n")
    options = ("--port", "rehearsal", "--calibration", calibration, "--bands", bands, "--cycle", "own.toml")
    done = midspan("measure", "--shaft", 3, *options, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    with (tmp_path / "readings.avro").open("rb") as archive:
        (run,) = fastavro.reader(archive)
    phases = {name if isinstance(name, str) else Phase(name).name for name in _phases(run)}
    assert {"LIGHT_BACK", "FULL_BACK", "LIGHT_AGAIN_BACK", "ZERO_MIDDLE"} <= phases


def _phases(run):
    """Return the phases of a run as the archive has them."""
    return [segment["phase"] for segment in run["segments"]]
