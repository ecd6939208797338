"""Mistakes of a user: each ends in one line that names file, field or cause, and nothing stored is lost."""

import json
import os
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import fields, replace
from threading import Thread

import fastavro
import numpy as np
import pytest
import rig
from commands_rig import COMMAND, complaint, midspan, settings
from midspan.archive.reader import read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.decision.decision import Decision, Outcome
from midspan.link import gauge, serial_port
from midspan.measurement.result import ShaftResult
from midspan.measurement.result_form import ResultKind
from midspan.rehearsal import scenario
from midspan.rehearsal.process import Rehearsal
from midspan.store.place import StorePlace
from results import told
from stores import add_result, run_of
from synthetic import Gauge, Shaft, raw_run

pytestmark = pytest.mark.process

ALLOW_DOUBTFUL = "--doubtful-calibration"  # the archive of these tests is of another gauge than the rehearsal


@pytest.fixture
def files(tmp_path):
    """Return the paths of a calibration, bands and an archive of three shafts."""
    calibration, bands = settings(tmp_path)
    calibration.write_text(calibration.read_text().replace('gauge = "rehearsal"', 'gauge = "paper"'))
    archive = tmp_path / "readings.avro"
    with ArchiveWriter(archive) as writer:
        for number in (1, 2, 3):
            writer.append(raw_run(Shaft(number=number), Gauge(), np.random.default_rng(number)))
    return calibration, bands, archive


def recompute(archive, calibration, *more):
    """Run `midspan recompute --json`."""
    return midspan("recompute", archive, "--calibration", calibration, "--json", *more)


def shafts_in(done):
    """Return the numbers of the shafts in what a command printed as JSON."""
    return [row["shaft"] for row in json.loads(done.stdout)]


# Archives


def test_a_truncated_archive_gives_its_whole_shafts_and_says_where_it_ends(files):
    calibration, _, archive = files
    archive.write_bytes(archive.read_bytes()[:-500])
    done = recompute(archive, calibration)
    assert shafts_in(done) == [1, 2]
    assert "readings.avro" in complaint(done)


def test_a_corrupt_archive_gives_the_other_shafts(files):
    calibration, _, archive = files
    data = bytearray(archive.read_bytes())
    data[len(data) // 2] ^= 0x55
    archive.write_bytes(data)
    done = recompute(archive, calibration)
    assert shafts_in(done) == [1, 3]
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
    assert shafts_in(done) == [1, 2, 3]
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


def test_every_bad_file_of_many_is_named(files, tmp_path):
    calibration, _, archive = files
    (tmp_path / "text.avro").write_text("spine 500\n")
    (tmp_path / "cut.avro").write_bytes(archive.read_bytes()[:-500])
    names = [tmp_path / name for name in ("text.avro", "cut.avro", "missing.avro")]
    done = midspan("recompute", *names, archive, "--calibration", calibration, "--json")
    assert shafts_in(done) == [1, 2, 1, 2, 3]
    line = complaint(done)
    assert all(name.name in line for name in names)
    assert str(archive) not in line


def test_a_damaged_archive_is_left_as_it_was_and_can_be_added_to(files, tmp_path):
    calibration, bands, archive = files
    damaged = bytearray(archive.read_bytes())
    damaged[len(damaged) // 2] ^= 0x55
    archive.write_bytes(damaged)
    given = ("--calibration", calibration, "--bands", bands, "--archive", archive, ALLOW_DOUBTFUL)
    done = midspan("measure", "--port", "rehearsal", "--shaft", 4, *given, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert archive.read_bytes()[: len(damaged)] == damaged
    assert shafts_in(recompute(archive, calibration, ALLOW_DOUBTFUL)) == [1, 3, 4]


@pytest.mark.parametrize("make", [lambda path: path.write_text("spine 500\n"), foreign_avro], ids=["text", "avro"])
def test_a_foreign_file_is_never_added_to(files, tmp_path, make):
    calibration, bands, _ = files
    foreign = tmp_path / "mine.avro"
    make(foreign)
    before = foreign.read_bytes()
    given = ("--calibration", calibration, "--bands", bands, "--archive", foreign)
    assert "mine.avro" in complaint(midspan("measure", "--port", "rehearsal", "--shaft", 1, *given, folder=tmp_path))
    assert foreign.read_bytes() == before


# Readings that cannot be those of a shaft


def spoilt(**changes):
    """Return a run whose columns are changed by functions of the run."""
    run = raw_run(Shaft(number=2), Gauge(), np.random.default_rng(2))
    return replace(run, **{name: change(run) for name, change in changes.items()})


@pytest.mark.parametrize(
    "run",
    [
        spoilt(counts=lambda run: np.zeros(len(run), int)),
        spoilt(counts=lambda run: -run.counts),
        spoilt(counts=lambda run: np.random.default_rng(1).integers(-(2**23), 2**23, len(run))),
        spoilt(rotate_steps=lambda run: np.zeros(len(run), int)),
        spoilt(press_steps=lambda run: np.zeros(len(run), int)),
        spoilt(status=lambda run: np.full(len(run), 2, np.int16)),
        spoilt(segments=lambda run: (*run.segments[:-1], (1, run.segments[-1][1]))),
        spoilt(complete=lambda _: False, cause=lambda _: "SOMETHING NEW"),
    ],
    ids=["nothing", "turned round", "noise", "still", "press at home", "unfit", "no zero", "unknown cause"],
)  # fmt: skip
def test_readings_of_no_shaft_are_doubtful_and_stop_no_others(files, tmp_path, run):
    calibration, bands, archive = files
    with ArchiveWriter(tmp_path / "spoilt.avro") as writer:
        for stored in (next(read_archive(archive)), run, next(read_archive(archive))):
            writer.append(stored)
    done = recompute(tmp_path / "spoilt.avro", calibration, "--bands", bands)
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout, parse_constant=pytest.fail)
    assert ["unmeasured" in row for row in rows] == [False, True, False]
    assert rows[0] == rows[2]
    assert (rows[1]["outcome"], bool(rows[1]["reasons"][0])) == ("doubtful", True)


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
        ("[span]", "[span", "is a ] missing"),
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
        ("spine_thou = [499.0, 505.0]", "spine_thou = [498.0, 505.0]", "498"),
        ("spine_thou = [499.0, 505.0]", "spine_thou = [505.0, 499.0]", "505 to 499"),
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
    """Run `midspan measure` on a port, with an archive and a store of its own."""
    calibration, bands, _ = files
    arguments = ("--shaft", 1, "--calibration", calibration, "--bands", bands, "--archive", folder / "new.avro")
    return midspan("measure", "--port", port, *arguments, "--store", folder / "new.db", *more)


def test_a_port_that_is_not_there_is_named(files, tmp_path):
    assert "no-such-port" in complaint(measure(tmp_path / "no-such-port", files, tmp_path))


def answer_once(far, said):
    """Play another instrument, which answers the first byte with something of its own."""
    os.read(far, 1)
    os.write(far, said)


def hurried(line):
    """Return a gauge with a clock that runs by itself, so that the test does not wait for an answer."""
    return Gauge_(line, rig.ticking())


Gauge_ = gauge.Gauge


@pytest.mark.parametrize(
    "said",
    [b"", b"AT OK\r\nhello\r\n" * 20, bytes(range(256)) * 4 + b"\0" * 9],
    ids=["silent", "chatter", "noise"],
)
def test_a_port_without_a_gauge_is_named_and_leaves_nothing_behind(files, tmp_path, monkeypatch, said):
    monkeypatch.setattr(gauge, "Gauge", hurried)
    with rig.bare_line() as (far, port):
        instrument = Thread(target=answer_once, args=(far, said))
        instrument.start()
        line = complaint(measure(port, files, tmp_path))
        instrument.join()
    assert line.startswith(f"midspan: {port}: ")
    assert bool(re.search(r"\d+ bytes", line)) is bool(said)
    assert list(read_archive(tmp_path / "new.avro")) == []
    with closing(sqlite3.connect(tmp_path / "new.db")) as database:
        assert database.execute("SELECT count(*) FROM batches").fetchone() == (0,)


@pytest.mark.parametrize("port", [".", "/dev/null", __file__])
def test_a_file_that_is_not_a_port_is_named(files, tmp_path, port):
    assert complaint(measure(port, files, tmp_path)).startswith(f"midspan: {port}: ")


def test_a_port_that_vanishes_in_mid_shaft_loses_nothing_stored(tmp_path, monkeypatch):
    calibration, bands = settings(tmp_path)
    common = ("--calibration", calibration, "--bands", bands, "--archive", "a.avro", "--store", "r.db", "--json")
    reads = []
    with Rehearsal({"gauge": scenario.GAUGE, "shafts": [{"number": 1}, {"number": 2}]}, tmp_path) as rehearsal:

        def pulled(line):
            reads.append(line)
            if len(reads) == 12:
                line._serial.close()  # as the operating system does when the plug comes out
            return whole(line)

        whole = serial_port.SerialLink.read
        first = midspan("measure", "--port", rehearsal.port, "--shaft", 1, *common, folder=tmp_path)
        monkeypatch.setattr(serial_port.SerialLink, "read", pulled)
        cut = midspan("measure", "--port", rehearsal.port, "--shaft", 2, *common, folder=tmp_path)
        assert complaint(cut).startswith(f"midspan: {rehearsal.port}: ")
        monkeypatch.undo()
        assert [run.shaft for run in read_archive(tmp_path / "a.avro")] == [1]
        again = midspan("measure", "--port", rehearsal.port, "--shaft", 1, *common, folder=tmp_path)
    assert "shaft 2" in again.stderr  # still held by the gauge
    spines = [json.loads(done.stdout)["spine_thou"] for done in (first, again)]
    assert spines == pytest.approx([500.0, 500.0], abs=1.0)
    assert [run.shaft for run in read_archive(tmp_path / "a.avro")] == [1, 2, 1]


# The gauge


@pytest.mark.parametrize(
    ("fault", "cause"),
    [
        ("absent", "NO_CONTACT"),
        ("cell_stuck", "CELL_STUCK"),
        ("cell_saturated", "CELL_SATURATED"),
        ("cell_silent", "CELL_SILENT"),
        ("cell_out_of_step", "CELL_OUT_OF_STEP"),
        ("stiff_jam", "FORCE_LIMIT"),
        ("soft", "TRAVEL_LIMIT"),
    ],
)
def test_a_shaft_that_fails_is_reported_and_kept_and_the_next_is_measured(tmp_path, fault, cause, store_place):
    calibration, bands = settings(tmp_path)
    given = [{"number": 1, "spine_thou": 1400.0 if fault == "soft" else 500.0, "fault": fault}, {"number": 2}]
    common = ("--calibration", calibration, "--bands", bands, "--archive", tmp_path / "a.avro")
    common = (*common, "--store", store_place, "--json")
    with Rehearsal({"gauge": scenario.GAUGE, "shafts": given}, tmp_path) as rehearsal:
        first = midspan("measure", "--port", rehearsal.port, "--shaft", 1, *common)
        second = midspan("measure", "--port", rehearsal.port, "--shaft", 2, "--clear-fault", *common)
    failed = json.loads(first.stdout)
    assert failed["outcome"] in ("doubtful", "instrument fault")
    assert failed["reasons"]
    assert json.loads(second.stdout)["spine_thou"] == pytest.approx(500.0, abs=1.0)
    assert [(run.shaft, run.cause) for run in read_archive(tmp_path / "a.avro")] == [(1, cause), (2, None)]


def test_a_gauge_that_stands_still_is_not_moved_unasked(tmp_path, store_place):
    calibration, bands = settings(tmp_path)
    given = [{"number": 1, "fault": "cell_stuck"}, {"number": 2}]
    common = ("--calibration", calibration, "--bands", bands, "--archive", tmp_path / "a.avro")
    with Rehearsal({"gauge": scenario.GAUGE, "shafts": given}, tmp_path) as rehearsal:
        midspan("measure", "--port", rehearsal.port, "--shaft", 1, *common, "--store", store_place)
        again = midspan("measure", "--port", rehearsal.port, "--shaft", 2, *common, "--store", store_place)
    assert "--clear-fault" in complaint(again)


# Store, pictures, signals


@pytest.fixture
def impatient(monkeypatch):
    """Make stores that do not wait for another program."""
    monkeypatch.setattr(StorePlace.open, "__kwdefaults__", {"create": True, "wait_s": 0.0})


@pytest.mark.usefixtures("impatient")
def test_a_locked_database_is_named_before_anything_is_measured(tmp_path, store_place):
    calibration, bands = settings(tmp_path)
    store_place.open().close()
    common = ("--calibration", calibration, "--bands", bands, "--store", store_place)
    with closing(sqlite3.connect(store_place.file)) as lock:
        lock.execute("BEGIN EXCLUSIVE")
        done = midspan("measure", "--port", "rehearsal", "--shaft", 3, *common, "--archive", tmp_path / "a.avro")
    assert "results.db" in complaint(done)
    assert list(read_archive(tmp_path / "a.avro")) == []


@pytest.mark.usefixtures("impatient")
def test_a_database_locked_in_mid_shaft_leaves_the_readings_in_the_archive(tmp_path, monkeypatch, store_place):
    calibration, bands = settings(tmp_path)
    common = ("--calibration", calibration, "--bands", bands)
    append = ArchiveWriter.append
    with closing(sqlite3.connect(store_place.file, isolation_level=None, check_same_thread=False)) as lock:

        def locking(writer, run):
            offset = append(writer, run)
            lock.execute("BEGIN EXCLUSIVE")
            return offset

        monkeypatch.setattr(ArchiveWriter, "append", locking)
        done = midspan("measure", "--port", "rehearsal", "--shaft", 3, *common, folder=tmp_path)
    line = complaint(done)
    assert all(name in line for name in ("results.db", "shaft 3", "readings.avro"))
    assert [run.shaft for run in read_archive(tmp_path / "readings.avro")] == [3]


def test_a_disk_that_fills_in_mid_write_loses_no_stored_shaft(files, tmp_path):
    # A limit on the size of files takes the place of a full disk: part of the block is written, then no more. The
    # archive reaches it first because it is larger than the database.
    calibration, bands, archive = files
    runs = list(read_archive(archive))
    with ArchiveWriter(archive) as writer:
        for _ in range(20):
            for run in runs:
                writer.append(run)
    before = archive.read_bytes()
    usual = ["--calibration", calibration, "--bands", bands, ALLOW_DOUBTFUL]
    common = ["measure", "--port", "rehearsal", "--shaft", 4, *usual]
    limit = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({len(before) + 2000},) * 2)"
    command = [sys.executable, "-c", f"{limit}\n{COMMAND[2]}", *map(str, common)]
    line = complaint(subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, timeout=600))
    assert "readings.avro: shaft 4" in line
    assert archive.read_bytes()[: len(before)] == before
    again = midspan(*common, folder=tmp_path)
    assert again.returncode == 0, again.stderr
    (torn,) = tmp_path.glob("readings.avro.torn-*")
    assert torn.stat().st_size == 2000
    assert torn.name in again.stderr
    assert [run.shaft for run in read_archive(archive)] == [1, 2, 3] * 21 + [4]


@pytest.mark.parametrize("make", [lambda path: path.write_text("no database"), lambda path: path.mkdir()])
def test_a_file_that_is_not_a_store_is_named(store_place, make):
    make(store_place.file)
    assert "results.db" in complaint(midspan("show", 1, "--store", store_place))


def test_an_unknown_shaft_and_a_missing_store_are_named(store_place):
    assert "results.db" in complaint(midspan("show", 1, "--store", store_place))
    store_place.open().close()
    assert "'blue'" in complaint(midspan("show", "blue", "--store", store_place))
    assert "9" * 30 in complaint(midspan("show", "9" * 30, "--store", store_place))


def kept(place, result, outcome=Outcome.INSTRUMENT_FAULT, kind=ResultKind.GAUGE):
    """Store one result, given as plain values, in a database."""
    with place.open() as store:
        add_result(store, run_of(1, "blue"), told(kind, **result), Decision(outcome, ("why",)))


def result_of(files):
    """Return the fields of an archive's first result as plain values, without what is worked out of them."""
    calibration, _, archive = files
    (first, *_) = json.loads(recompute(archive, calibration).stdout)
    return {field.name: first[field.name] for field in fields(ShaftResult) if field.name in first}


def test_a_stored_number_that_is_not_finite_is_shown_as_such(files, tmp_path, store_place):
    kept(store_place, result_of(files) | {"u_spine_thou": "Infinity", "spread_thou": "NaN"})
    shown = midspan("show", 1, "--store", store_place)
    assert shown.returncode == 0, shown.stderr
    assert re.search(r"^spread[^\n]* - ", shown.stdout, re.MULTILINE), shown.stdout
    row = json.loads(midspan("show", 1, "--store", store_place, "--json").stdout, parse_constant=pytest.fail)
    assert (row["u_spine_thou"], row["spread_thou"], row["outcome"]) == (None, None, "instrument fault")
    line = complaint(midspan("show", 1, "--store", store_place, "--picture", tmp_path / "a.png"))
    assert "not finite" in line


@pytest.mark.parametrize(
    ("change", "kind", "named"),
    [
        ({"new_thou": 1.0}, ResultKind.GAUGE, ("new_thou", "recompute a.avro")),
        ({"u_causes": [1.0]}, ResultKind.GAUGE, ("recompute a.avro",)),
        ({}, ResultKind.HAND_BENCH, ("hand recompute a.avro",)),
    ],
    ids=["more", "fewer causes", "by hand"],
)
def test_a_result_of_another_midspan_says_how_to_make_it_again(files, store_place, change, kind, named):
    kept(store_place, result_of(files) | change, kind=kind)
    line = complaint(midspan("show", "blue", "--store", store_place))
    assert all(value in line for value in named)


@pytest.mark.parametrize("name", ["picture.xyz", "picture", "no-folder/picture.png", "folder.png"])
def test_a_picture_that_cannot_be_written_is_named(files, tmp_path, name, store_place):
    kept(store_place, result_of(files), Outcome.DOUBTFUL)
    (tmp_path / "folder.png").mkdir()
    line = complaint(midspan("show", 1, "--store", store_place, "--picture", tmp_path / name))
    assert line.startswith(f"midspan: {tmp_path / name}: ")
    assert not (tmp_path / name).is_file()


def test_a_folder_that_is_a_file_stops_the_demonstration(tmp_path):
    (tmp_path / "taken").write_text("")
    assert "taken" in complaint(midspan("demo", "--folder", tmp_path / "taken"))


def test_a_torn_archive_is_repaired_and_added_to(tmp_path):
    calibration, bands = settings(tmp_path)
    common = ("measure", "--port", "rehearsal", "--calibration", calibration, "--bands", bands)
    assert midspan(*common, "--shaft", 2, folder=tmp_path).returncode == 0
    whole = (tmp_path / "readings.avro").read_bytes()
    (tmp_path / "readings.avro").write_bytes(whole + whole[-3000:-10])
    done = midspan(*common, "--shaft", 4, folder=tmp_path)
    (torn,) = tmp_path.glob("readings.avro.torn-*")
    assert torn.stat().st_size == 2990
    assert torn.name in done.stderr
    assert [run.shaft for run in read_archive(tmp_path / "readings.avro")] == [2, 4]
