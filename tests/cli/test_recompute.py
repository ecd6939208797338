"""`recompute`: one pass over the archives prints, judges and keeps, whatever becomes of the output."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from commands_rig import COMMAND, complaint, midspan, settings
from midspan.archive.writer import ArchiveWriter
from midspan.measurement import result as shaft
from midspan.pipeline import steps
from midspan.store import stored_result
from stores import store_in
from synthetic import Gauge, Shaft, raw_run

SHAFTS = 5


@pytest.fixture
def kit(tmp_path):
    """A folder with settings and an archive of a few shafts; its calibration and bands as arguments."""
    calibration, bands = settings(tmp_path)
    with ArchiveWriter(tmp_path / "readings.avro") as writer:
        for number in range(1, SHAFTS + 1):
            run = raw_run(Shaft(number=number, spine_thou=490.0 + 4 * number), Gauge(), np.random.default_rng(number))
            writer.append(replace(run, gauge="rehearsal"))
    return tmp_path, ("--calibration", calibration, "--bands", bands)


def recompute(folder, arguments, *more):
    """Run `midspan recompute` on the archive of a folder."""
    return midspan("recompute", folder / "readings.avro", *arguments, *more)


def counted_in(done):
    """Return the numbers in the last line: results stored, and results that were there already."""
    return re.findall(r"\d+", done.stderr.splitlines()[-1])


def stored(folder):
    """Return the stored results of each run, oldest first."""
    with store_in(folder).open() as store:
        return [[stored_result.plain(version.result) for version in versions] for versions in store.versions()]


@pytest.mark.slow
@pytest.mark.parametrize("more", [[], ["--json"]], ids=["table", "json"])
def test_what_is_printed_is_what_is_kept_from_one_evaluation(kit, monkeypatch, more):
    folder, arguments = kit
    evaluated = []

    def counted(runs, calibration):
        evaluated.extend(run.shaft for run in runs)
        return shaft.evaluate(runs, calibration)

    monkeypatch.setattr(steps, "evaluate", counted)
    plain = recompute(folder, arguments, *more)
    evaluated.clear()
    done = recompute(folder, arguments, *more, "--store", folder / "results.db")
    assert evaluated == [1, 2, 3, 4, 5]
    assert (done.returncode, done.stdout) == (0, plain.stdout)
    assert counted_in(done) == ["5", "0"]
    if more:
        rows = json.loads(done.stdout)
        assert [
            [{name: row[name] for name in kept}] for row, (kept,) in zip(rows, stored(folder), strict=True)
        ] == stored(folder)
    again = recompute(folder, arguments, *more, "--store", folder / "results.db")
    assert counted_in(again) == ["0", "5"]
    assert [len(versions) for versions in stored(folder)] == [1] * SHAFTS


@pytest.mark.slow
def test_a_number_that_is_none_is_kept_once_too(kit, monkeypatch):
    folder, arguments = kit

    def broken(runs, calibration):
        return [replace(result, runout_mm=float("nan")) for result in shaft.evaluate(runs, calibration)]

    monkeypatch.setattr(steps, "evaluate", broken)
    for numbers in (["5", "0"], ["0", "5"]):
        assert counted_in(recompute(folder, arguments, "--store", folder / "results.db")) == numbers
    assert [versions[0]["runout_mm"] for versions in stored(folder)] == ["NaN"] * SHAFTS


@pytest.mark.process
@pytest.mark.parametrize("more", [[], ["--json"]], ids=["table", "json"])
def test_a_reader_who_has_seen_enough_costs_no_result(kit, more):
    folder, arguments = kit
    read_end, write_end = os.pipe()
    os.close(read_end)
    command = [*COMMAND, "recompute", folder / "readings.avro", *arguments, *more, "--store", folder / "results.db"]
    # Unbuffered, so that the first row already fails.
    environment = os.environ | {"PYTHONUNBUFFERED": "1"}
    done = subprocess.run(list(map(str, command)), stdout=write_end, stderr=subprocess.PIPE, text=True, env=environment)
    os.close(write_end)
    assert (done.returncode, counted_in(done)) == (1, ["5", "0"])
    assert len(stored(folder)) == SHAFTS


@pytest.mark.slow
def test_a_damaged_archive_keeps_what_is_whole_and_the_next_file_is_read(kit):
    folder, arguments = kit
    data = (folder / "readings.avro").read_bytes()
    (folder / "cut.avro").write_bytes(data[:-100])
    done = midspan(
        "recompute",
        folder / "cut.avro",
        folder / "readings.avro",
        *arguments,
        "--json",
        "--store",
        folder / "results.db",
    )
    assert "cut.avro: bytes" in complaint(done)
    assert re.findall(r"^(\d+) results", done.stderr, re.MULTILINE) == ["9"]
    assert [row["shaft"] for row in json.loads(done.stdout)] == [1, 2, 3, 4, 1, 2, 3, 4, 5]
    assert len(stored(folder)) == 2 * SHAFTS - 1


def test_what_must_not_be_used_is_not_kept_either(kit):
    folder, (_, calibration, *bands) = kit
    calibration.write_text(calibration.read_text().replace('gauge = "rehearsal"', 'gauge = "attic"'))
    arguments = ("--calibration", calibration, *bands)
    assert "'attic'" in complaint(recompute(folder, arguments, "--store", folder / "results.db"))
    assert stored(folder) == []
    done = recompute(folder, arguments, "--doubtful-calibration", "--store", folder / "results.db")
    assert counted_in(done) == ["5", "0"]
    assert all("attic" in versions[0]["faults"][0] for versions in stored(folder))


def test_a_store_that_cannot_be_is_refused_before_anything_is_done(kit):
    folder, arguments = kit
    for name in ("no-folder/results.db", "bands.toml", "."):
        done = recompute(folder, arguments, "--store", folder / name)
        assert done.stderr == complaint(done) + "\n"
        assert done.stdout == ""


def test_a_store_needs_bands(kit):
    folder, (*calibration, _, _) = kit
    assert "--bands" in complaint(recompute(folder, calibration, "--store", folder / "results.db"))
    assert not (folder / "results.db").exists()


@pytest.mark.process
def test_commands_that_draw_nothing_load_nothing_to_draw_with(kit):
    # Each of these costs tens of megabytes and most of a second; the one that draws also talks on standard error
    # when it cannot keep its cache.
    folder, arguments = kit
    for command in (
        ("recompute", folder / "readings.avro", *arguments, "--json", "--store", folder / "results.db"),
        ("show", "1", "--store", folder / "results.db"),
        ("ports", "--json"),
    ):
        script = f"""
import sys
from midspan.cli.main import main
from midspan.store.place import StorePlace
sys.argv = {["midspan", *map(str, command)]}
try:
    main()
except SystemExit as end:
    print("loaded:", *{{"matplotlib", "scipy.stats", "scipy.optimize"}} & {{*sys.modules}}, "exit:", end.code)
"""
        done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
        assert done.stdout.endswith("loaded: exit: 0\n"), command
