"""What a user can get wrong: each ends in one line that names file, field or cause, and nothing stored is lost."""

import json
import os
import re
import signal
import sqlite3
import subprocess

import fastavro
import numpy as np
import pytest
from commands_rig import COMMAND, complaint, midspan, settings
from midspan import scenario
from midspan.archive import read
from midspan.archive_writer import ArchiveWriter
from midspan.rehearsal import Rehearsal
from midspan.store import Store
from rig import bare_line
from synthetic import Gauge, Shaft, raw_run


@pytest.fixture
def files(tmp_path):
    """Calibration, bands and an archive of three shafts."""
    calibration, bands = settings(tmp_path)
    calibration.write_text(calibration.read_text().replace('gauge = "rehearsal"', 'gauge = "paper"'))
    archive = tmp_path / "readings.avro"
    with ArchiveWriter(archive) as writer:
        for number in (1, 2, 3):
            writer.append(raw_run(Shaft(number=number), Gauge(), np.random.default_rng(number)))
    return calibration, bands, archive


def recompute(archive, calibration, *more):
    return midspan("recompute", archive, "--calibration", calibration, "--json", *more)


# Archives


def test_a_truncated_archive_gives_its_whole_shafts_and_says_where_it_ends(files):
    calibration, _, archive = files
    archive.write_bytes(archive.read_bytes()[:-500])
    done = recompute(archive, calibration)
    assert [one["shaft"] for one in json.loads(done.stdout)] == [1, 2]
    assert "readings.avro" in complaint(done)


def test_a_corrupt_archive_gives_the_other_shafts(files):
    calibration, _, archive = files
    data = bytearray(archive.read_bytes())
    data[len(data) // 2] ^= 0x55
    archive.write_bytes(data)
    done = recompute(archive, calibration)
    assert [one["shaft"] for one in json.loads(done.stdout)] == [1, 3]
    assert "readings.avro" in complaint(done)


def foreign_avro(path):
    schema = {"type": "record", "name": "Other", "fields": [{"name": "x", "type": "int"}]}
    with path.open("wb") as file:
        fastavro.writer(file, schema, [{"x": 1}])


@pytest.mark.parametrize(
    "make",
    [
        lambda path: path.write_text("spine 500\n"),
        lambda path: path.write_bytes(b""),
        lambda path: path.write_bytes(os.urandom(5000)),
        lambda path: path.mkdir(),
        lambda path: None,
        foreign_avro,
    ],
    ids=["text", "empty", "noise", "folder", "missing", "other records"],
)
def test_a_foreign_archive_is_named_and_the_good_one_still_counts(files, tmp_path, make):
    calibration, _, archive = files
    bad = tmp_path / "bad.avro"
    make(bad)
    done = midspan("recompute", bad, archive, "--calibration", calibration, "--json")
    assert [one["shaft"] for one in json.loads(done.stdout)] == [1, 2, 3]
    assert "bad.avro" in complaint(done)


def test_an_archive_of_another_version_names_both(files, tmp_path):
    calibration, _, archive = files
    with archive.open("rb") as file:
        reader = fastavro.reader(file)
        schema, runs = dict(reader.writer_schema), list(reader)
    schema["fields"] = [field for field in schema["fields"] if field["name"] != "counts"]
    old = tmp_path / "old.avro"
    with old.open("wb") as file:
        fastavro.writer(file, schema, runs)
    line = complaint(recompute(old, calibration))
    assert "old.avro" in line
    assert len(set(re.findall(r"[0-9a-f]{16}", line))) == 2  # the fingerprints of both schemas


# Settings


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("span_mm = 711.20", "", "span.span_mm"),
        ("span_mm = 711.20", "spam_mm = 711.20", "span_mm"),
        ("span_mm = 711.20", "span_mm = 28", "span.span_mm"),
        ("span_mm = 711.20", "span_mm = nan", "span.span_mm"),
        ("span_mm = 711.20", 'span_mm = "long"', "span.span_mm"),
        ("[frame]", "[flame]", "frame"),
        ("[span]", "[span", "TOML"),
    ],
)
def test_a_bad_calibration_names_file_and_key(files, old, new, named):
    calibration, _, archive = files
    calibration.write_text(calibration.read_text().replace(old, new))
    line = complaint(recompute(archive, calibration))
    assert "gauge.toml" in line
    assert named in line


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("spine_thou = [499.0, 505.0]", "spine_thou = [498.0, 505.0]", "overlap"),
        ("spine_thou = [499.0, 505.0]", "spine_thou = [505.0, 499.0]", "smaller number first"),
        ("spread_max_thou", "spread_max_tho", "spread_max_thou"),
        ("coverage_factor = 2.0", "coverage_factor = 0", "coverage_factor"),
        ('name = "softer dozen"', "", "name"),
    ],
)
def test_bad_bands_name_file_and_fault(files, old, new, named):
    calibration, bands, archive = files
    bands.write_text(bands.read_text().replace(old, new))
    line = complaint(recompute(archive, calibration, "--bands", bands))
    assert "bands.toml" in line
    assert named in line


@pytest.mark.parametrize("make", [lambda path: path.unlink(), lambda path: path.write_bytes(b"\xff\xfe[span]")])
def test_a_calibration_that_is_no_text_is_named(files, make):
    calibration, _, archive = files
    make(calibration)
    assert "gauge.toml" in complaint(recompute(archive, calibration))


# Ports


def measure(port, files, folder, *more):
    calibration, bands, _ = files
    arguments = ("--shaft", 1, "--calibration", calibration, "--bands", bands, "--archive", folder / "new.avro")
    return midspan("measure", "--port", port, *arguments, "--store", folder / "new.db", *more)


def test_a_port_that_is_not_there_is_named(files, tmp_path):
    assert "no-such-port" in complaint(measure(tmp_path / "no-such-port", files, tmp_path))


def test_a_port_that_is_no_gauge_is_named_and_leaves_no_batch(files, tmp_path):
    with bare_line() as (far, port):
        os.write(far, b"AT OK\r\nhello\r\n" * 20)
        assert port in complaint(measure(port, files, tmp_path))
    with Store.open(tmp_path / "new.db") as store:
        assert store.versions() == []


# The gauge


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("absent", "met no shaft"),
        ("cell_stuck", "same count"),
        ("cell_saturated", "end of its range"),
        ("cell_silent", "no sample"),
        ("cell_out_of_step", "trailing bits"),
        ("stiff_jam", "force went over"),
        ("soft", "travel limit"),
    ],
)
def test_a_shaft_that_fails_is_told_kept_and_the_next_is_measured(tmp_path, fault, words):
    calibration, bands = settings(tmp_path)
    given = [{"number": 1, "spine_thou": 1400.0 if fault == "soft" else 500.0, "fault": fault}, {"number": 2}]
    common = ("--calibration", calibration, "--bands", bands, "--archive", tmp_path / "a.avro")
    common = (*common, "--store", tmp_path / "r.db", "--json")
    with Rehearsal({"gauge": scenario.GAUGE, "shafts": given}, tmp_path) as rehearsal:
        first = midspan("measure", "--port", rehearsal.port, "--shaft", 1, *common)
        second = midspan("measure", "--port", rehearsal.port, "--shaft", 2, "--clear-fault", *common)
    told = json.loads(first.stdout)
    assert told["outcome"] in ("doubtful", "instrument fault")
    assert words in " ".join(told["reasons"])
    assert json.loads(second.stdout)["spine_thou"] == pytest.approx(500.0, abs=1.0)
    assert [run.shaft for run in read(tmp_path / "a.avro")] == [1, 2]


def test_a_gauge_that_stands_still_is_not_moved_unasked(tmp_path):
    calibration, bands = settings(tmp_path)
    given = [{"number": 1, "fault": "cell_stuck"}, {"number": 2}]
    common = ("--calibration", calibration, "--bands", bands, "--archive", tmp_path / "a.avro")
    with Rehearsal({"gauge": scenario.GAUGE, "shafts": given}, tmp_path) as rehearsal:
        midspan("measure", "--port", rehearsal.port, "--shaft", 1, *common, "--store", tmp_path / "r.db")
        again = midspan("measure", "--port", rehearsal.port, "--shaft", 2, *common, "--store", tmp_path / "r.db")
    assert "--clear-fault" in complaint(again)


# Store, pictures, signals


def test_a_locked_database_is_told_and_the_readings_are_kept(tmp_path):
    calibration, bands = settings(tmp_path)
    Store.open(tmp_path / "r.db").close()
    lock = sqlite3.connect(tmp_path / "r.db")
    lock.execute("BEGIN EXCLUSIVE")
    common = ("--calibration", calibration, "--bands", bands, "--store", tmp_path / "r.db")
    done = midspan("measure", "--port", "rehearsal", "--shaft", 2, *common, "--archive", tmp_path / "a.avro")
    lock.close()
    assert "another program is using it" in complaint(done)


@pytest.mark.parametrize("make", [lambda path: path.write_text("no database"), lambda path: path.mkdir()])
def test_a_store_that_is_none_is_named(tmp_path, make):
    make(tmp_path / "r.db")
    assert "r.db" in complaint(midspan("show", 1, "--store", tmp_path / "r.db"))


def test_an_unknown_shaft_and_a_missing_store_are_named(tmp_path):
    assert "r.db" in complaint(midspan("show", 1, "--store", tmp_path / "r.db"))
    Store.open(tmp_path / "r.db").close()
    assert "'blue'" in complaint(midspan("show", "blue", "--store", tmp_path / "r.db"))


@pytest.mark.parametrize("name", ["picture.xyz", "no-folder/picture.png"])
def test_a_picture_that_cannot_be_written_is_named(tmp_path, name):
    calibration, bands = settings(tmp_path)
    common = ("--calibration", calibration, "--bands", bands)
    assert midspan("measure", "--port", "rehearsal", "--shaft", 2, *common, folder=tmp_path).returncode == 0
    assert "picture" in complaint(midspan("show", 2, "--picture", tmp_path / name, folder=tmp_path))


def test_a_folder_that_is_a_file_stops_the_demonstration(tmp_path):
    (tmp_path / "taken").write_text("")
    assert "taken" in complaint(midspan("demo", "--folder", tmp_path / "taken"))


def test_a_torn_archive_is_mended_told_and_added_to(tmp_path):
    calibration, bands = settings(tmp_path)
    common = ("measure", "--port", "rehearsal", "--calibration", calibration, "--bands", bands)
    assert midspan(*common, "--shaft", 2, folder=tmp_path).returncode == 0
    whole = (tmp_path / "readings.avro").read_bytes()
    (tmp_path / "readings.avro").write_bytes(whole + whole[-3000:-10])
    done = midspan(*common, "--shaft", 4, folder=tmp_path)
    assert "half-stored" in done.stderr
    assert [run.shaft for run in read(tmp_path / "readings.avro")] == [2, 4]
    assert len(list(tmp_path.glob("readings.avro.torn-*"))) == 1


def test_ctrl_c_ends_in_one_line_and_keeps_what_was_measured(tmp_path):
    process = subprocess.Popen(
        [*COMMAND, "demo", "--shafts", "300", "--folder", str(tmp_path)], stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    for line in process.stderr:
        if "3 of 300" in line:
            break
    process.send_signal(signal.SIGINT)
    rest = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 130
    assert "stopped by you" in rest
    assert "Traceback" not in rest
    with Store.open(tmp_path / "results.db") as store:
        stored = [one.run.shaft for one in store.batch(1)]
    assert stored[:3] == [1, 2, 3]
    assert {run.shaft for run in read(tmp_path / "readings.avro")} >= set(stored)
