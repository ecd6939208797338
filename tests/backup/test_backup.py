"""A backup holds all files of a database, also during a sorting run, and is restored to the last run and result."""

import errno
import hashlib
import json
import os
import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from commands_rig import complaint, midspan, refusal
from midspan.archive.reader import Archive
from midspan.archive.writer import ArchiveWriter
from midspan.backup import manifest as manifests
from midspan.base.errors import BackupError, ConfigurationError, OutputError, StoreError
from midspan.store.lookup import raw_run
from midspan.web.follow import Follower
from night_on_paper import quiet_night
from places import DATA
from results import told
from stores import add_result, run_of, store_in
from synthetic import Gauge, Shaft
from synthetic import raw_run as a_run

pytestmark = pytest.mark.slow

OLD = DATA / "e0bd664"  # 56 runs and results of 2 sorting runs: see the README there


def readings(shaft, seed=1):
    """Return invented raw readings of a shaft."""
    return a_run(Shaft(number=shaft), Gauge(), np.random.default_rng(seed), per_turn=64)


def keep(store, writer, run, named=None):
    """Store readings and then a result, in the order of a sorting run; return where the readings are."""
    offset = writer.append(run)
    where = run_of(run.shaft, run.label, archive=named or str(writer.path), offset=offset, at_ms=run.started_ms)
    add_result(store, where, told(spine_thou=500.0 + run.shaft))
    return where


@pytest.fixture
def shop(tmp_path):
    """Return a folder with the scenario of e0bd664, calibration records and other files that may be there."""
    folder = tmp_path / "shop"
    shutil.copytree(OLD, folder)
    (folder / "calibration").mkdir()
    (folder / "calibration" / "span-1.json").write_text("{}")
    (folder / "sizes.toml").write_text('[[size]]\nname = "500"\nspine_thou = [485.0, 515.0]\n')
    (folder / "bar.toml").write_text('[bar]\nid = "b"\nspine_thou = 500.0\nu_spine_thou = 0.2\n')
    (folder / "letters.toml").write_text('password = "not for a backup"\n')
    (folder / "readings.avro.torn-1").write_bytes(b"half a shaft")
    return folder


def backed_up(shop, *options):
    """Back up a folder's database and return the folder of the backup."""
    done = midspan("backup", "../backup", *options, folder=shop)
    assert done.returncode == 0, done.stderr
    return shop.parent / "backup"


def restored(backup, gone=None):
    """Restore a backup, after deleting the original if it is given; return the new folder."""
    if gone is not None:
        shutil.rmtree(gone)
    done = midspan("restore", backup, "--into", backup.parent / "new")
    assert done.returncode == 0, done.stderr
    return backup.parent / "new"


def test_all_that_belongs_to_a_database_is_in_the_backup_with_its_seal(shop):
    before = {path.name for path in shop.iterdir()}
    backup = backed_up(shop)
    found = json.loads((backup / "manifest.json").read_text())
    kinds = {entry["path"]: entry["kind"] for entry in found["file"]}
    assert kinds.pop("results.db-archives.json").startswith("list")
    assert kinds == {
        "results.db": "database", "readings.avro": "archive",
        "night-readings.avro": "archive", "hand-readings.jsonl": "hand readings",
        "readings.avro.torn-1": "half-stored shaft", "night.toml": "plan", "night-2.toml": "plan",
        "calibration.toml": "calibration", "calibration/span-1.json": "calibration record", "bands.toml": "bands",
        "bar.toml": "check standard", "sizes.toml": "sizes", "hand-bench.toml": "hand bench",
    }  # fmt: skip
    assert (found["runs"], found["results"], found["nights"], found["lacking"]) == (56, 56, 2, {})
    for entry in found["file"]:
        content = (backup / entry["path"]).read_bytes()
        assert (len(content), hashlib.sha256(content).hexdigest()) == (entry["bytes"], entry["sha256"])
    assert {path.name for path in shop.iterdir()} == before  # nothing was left beside the database


@pytest.mark.slow
def test_a_backup_comes_back_where_nothing_of_the_original_is_left(shop):
    given = ("--calibration", "calibration.toml", "--bands", "bands.toml", "--store", "results.db")
    done = midspan("recompute", "readings.avro", "night-readings.avro", *given, folder=shop)
    assert done.returncode == 0, done.stderr  # a result of an earlier version is not shown
    done = midspan("hand", "recompute", "--store", "results.db", folder=shop)
    assert done.returncode == 0, done.stderr
    before = midspan("show", "12", "--json", "--store", shop / "results.db").stdout
    new = restored(backed_up(shop), gone=shop)
    store = new / "results.db"
    assert json.loads(midspan("show", "12", "--json", "--store", store, folder="/").stdout) == json.loads(before)
    assert midspan("plot", "force", "12", "--store", store, "--out", new / "force.png", folder="/").returncode == 0
    shown = midspan("show", "201", "--budget", "--trials", "1000", "--store", store, folder="/")  # typed by hand
    assert shown.returncode == 0
    assert not shown.stderr
    assert midspan("report", "--store", store, "--out", new / "night.html", folder="/").returncode == 0
    with closing(sqlite3.connect(store)) as database:
        assert database.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    again = ("--calibration", "calibration.toml", "--bands", "bands.toml", "--store", "results.db")
    assert midspan("recompute", "readings.avro", *again, folder=new).returncode == 0
    with store_in(new).open() as opened, opened.transaction() as session:
        assert session.connection().exec_driver_sql("SELECT count(*) FROM runs").scalar_one() == 56  # none came twice


def test_archives_with_the_same_name_from_different_folders_stay_apart(tmp_path):
    where = []
    for number, folder in enumerate(("shop", "attic", "cellar"), 1):
        (tmp_path / folder).mkdir()
        archive = ArchiveWriter(tmp_path / folder / "readings.avro")
        with store_in(tmp_path / "shop").open() as store, archive as writer:
            where.append(keep(store, writer, readings(number, number)))
    before = [raw_run(reference, store_in(tmp_path / "shop")) for reference in where]
    assert len({reference.byte_offset for reference in where}) == 1
    backup = backed_up(tmp_path / "shop")
    for folder in ("shop", "attic", "cellar"):
        shutil.rmtree(tmp_path / folder)
    new = restored(backup)
    assert [raw_run(reference, store_in(new)) for reference in where] == before
    assert len(list(new.rglob("readings.avro"))) == 3
    # a backup of the restored database is complete too
    again = tmp_path / "again"
    assert midspan("backup", again, "--store", new / "results.db").returncode == 0
    assert [raw_run(reference, store_in(again)) for reference in where] == before


def test_one_name_that_was_used_in_two_folders_is_both_files(tmp_path, monkeypatch):
    (tmp_path / "shop").mkdir()
    (tmp_path / "desk").mkdir()
    with store_in(tmp_path / "shop").open() as store:
        for number, folder in enumerate(("shop", "desk"), 1):
            with ArchiveWriter(tmp_path / folder / "readings.avro") as writer:
                keep(store, writer, readings(number, number), named="readings.avro")
    done = midspan("backup", "../backup", "--store", "../shop/results.db", folder=tmp_path / "desk")
    assert done.returncode == 0, done.stderr
    with store_in(restored(tmp_path / "backup")).open() as store:
        for shaft in (1, 2):
            assert raw_run(store.latest(shaft).run, store.place).shaft == shaft


def test_a_night_that_runs_and_a_page_that_looks_on_do_not_hinder_it(tmp_path, monkeypatch):
    shop, copied = tmp_path / "shop", manifests.copy_file
    shop.mkdir()
    with store_in(shop).open() as store, ArchiveWriter(shop / "readings.avro") as writer:
        for shaft in (1, 2, 3):
            keep(store, writer, readings(shaft))
        follower = Follower(store_in(shop))
        follower.store.latest(1)

        def meanwhile(source, *rest):
            """Store another shaft between the copies of database and archive, and half of a third."""
            if source.suffix == ".avro":
                keep(store, writer, readings(4))
                with source.open("ab") as file:
                    file.write(b"\x02\xb0\x90\x01half a shaft")
            return copied(source, *rest)

        monkeypatch.setattr("midspan.backup.copy.copy_file", meanwhile)
        backup = backed_up(shop)
        follower.close()
    new = restored(backup, gone=shop)
    assert [run.shaft for run in Archive.open(new / "readings.avro").runs()][:3] == [1, 2, 3]
    with store_in(new).open() as store:
        assert [store.latest(shaft) is not None for shaft in (1, 2, 3, 4)] == [True, True, True, False]


def test_what_is_half_stored_at_the_moment_is_not_copied(tmp_path, store_place):
    with store_place.open() as store, ArchiveWriter(tmp_path / "readings.avro") as writer:
        first = keep(store, writer, readings(1))
        keep(store, writer, readings(2))
    whole = (tmp_path / "readings.avro").stat().st_size
    with (tmp_path / "readings.avro").open("ab") as file:
        file.write(b"\x02\xb0\x90\x01half a shaft")
    archive = Archive.open(tmp_path / "readings.avro")
    assert archive.whole_bytes(first.byte_offset) == whole
    backup = tmp_path / "backup"
    assert midspan("backup", backup, folder=tmp_path).returncode == 0
    assert (backup / "readings.avro").stat().st_size == whole


def test_a_damaged_backup_is_refused_and_every_damaged_file_is_named(shop):
    backup = backed_up(shop)
    with (backup / "readings.avro").open("r+b") as file:
        file.seek(5000)
        old = file.read(1)
        file.seek(5000)
        file.write(bytes([old[0] ^ 1]))
    (backup / "bands.toml").unlink()
    (backup / "sizes.toml").write_text("")
    done = midspan("restore", backup, "--into", shop.parent / "new")
    assert refusal(done, BackupError).code == "files_damaged"
    named = [line.split(":")[0] for line in done.stderr.splitlines()[:-1]]
    assert sorted(named) == [str(backup / name) for name in ("bands.toml", "readings.avro", "sizes.toml")]
    assert not (shop.parent / "new").exists()


@pytest.mark.process
def test_a_backup_that_was_broken_off_is_no_backup(shop, monkeypatch):
    child = os.fork()
    if not child:
        try:
            monkeypatch.setattr("midspan.backup.copy.write_manifest", lambda *_: os._exit(9))
            midspan("backup", "../backup", folder=shop)
        finally:
            os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
    assert (shop.parent / "backup" / "results.db").exists()
    done = midspan("restore", "../backup", "--into", "../new", folder=shop)
    assert refusal(done, BackupError).code == "incomplete"


def test_nothing_is_written_over(shop):
    backup = backed_up(shop)
    before = {path: path.read_bytes() for path in backup.rglob("*") if path.is_file()}
    for done in (midspan("backup", backup, folder=shop), midspan("restore", backup, "--into", shop)):
        assert refusal(done, OutputError).code == "not_empty"
    assert {path: path.read_bytes() for path in backup.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("full_at", ["readings.avro", "results.db-archives.json", "manifest.json"])
def test_a_full_disk_is_one_line_and_leaves_nothing_behind(shop, monkeypatch, full_at):
    opened, written = Path.open, Path.write_text

    def no_room(path):
        if path.parent.name == "backup" and path.name.removesuffix(".part") == full_at:
            raise OSError(errno.ENOSPC, "No space left on device", str(path))

    monkeypatch.setattr(Path, "open", lambda path, *a, **k: no_room(path) or opened(path, *a, **k))
    monkeypatch.setattr(Path, "write_text", lambda path, *a, **k: no_room(path) or written(path, *a, **k))
    error = refusal(midspan("backup", "../backup", folder=shop), OutputError)
    assert (error.__cause__.errno, full_at in str(error)) == (errno.ENOSPC, True)
    assert not list((shop.parent / "backup").iterdir())


def test_a_restore_that_fails_leaves_nothing_that_looks_restored(shop, monkeypatch):
    backup, opened = backed_up(shop), Path.open

    def no_room(path, *a, **k):
        if path.name == "results.db.part":
            raise OSError(errno.ENOSPC, "No space left on device", str(path))
        return opened(path, *a, **k)

    monkeypatch.setattr(Path, "open", no_room)
    error = refusal(midspan("restore", backup, "--into", "../new", folder=shop), OutputError)
    assert error.__cause__.errno == errno.ENOSPC
    assert not list((shop.parent / "new").iterdir())


def test_missing_readings_are_reported_by_backup_and_restore(shop):
    (shop / "hand-readings.jsonl").unlink()
    done = midspan("backup", "../backup", folder=shop)
    assert str(refusal(done, BackupError)).startswith("../backup: ")
    assert json.loads((shop.parent / "backup" / "manifest.json").read_text())["lacking"] == {"hand-readings.jsonl": 2}
    back = midspan("restore", shop.parent / "backup", "--into", shop.parent / "elsewhere")
    assert back.returncode == 0
    for ended in (done, back):
        (line,) = [line for line in ended.stderr.splitlines() if line.startswith("hand-readings.jsonl: ")]
        assert re.findall(r"\d+", line) == ["2"]
        assert "everything" not in ended.stdout
    restored(shop.parent / "backup")  # all that the backup had is there again


def test_a_forged_manifest_is_found_out_by_reading_back(shop):
    backup = backed_up(shop)
    path = backup / "manifest.json"
    content = json.loads(path.read_text())
    (backup / "readings.avro").write_bytes((backup / "readings.avro").read_bytes()[:-3000])
    entry = next(entry for entry in content["file"] if entry["path"] == "readings.avro")
    entry["bytes"], entry["sha256"] = manifests.seal(backup / "readings.avro")
    path.write_text(json.dumps(content))
    done = midspan("restore", backup, "--into", "../new", folder=shop)
    assert refusal(done, BackupError).code == "readings_lost"


@pytest.mark.parametrize("count", ["nights", "runs", "results"])
def test_a_database_with_other_counts_than_its_manifest_is_refused(shop, count):
    backup = backed_up(shop)
    content = json.loads((backup / "manifest.json").read_text())
    content[count] += 1
    (backup / "manifest.json").write_text(json.dumps(content))
    error = refusal(midspan("restore", backup, "--into", "../new", folder=shop), BackupError)
    numbers = [int(number) for number in re.findall(r"\d+", str(error).partition("results.db: ")[2])]
    assert (error.code, numbers) == ("counts_differ", [content[count] - 1, content[count]])


@pytest.mark.parametrize("path", ["../out.db", "/etc/out", "a/../../out", "", "c:/out", "a\\..\\out"])
def test_a_manifest_leads_nowhere_outside(shop, path):
    backup = backed_up(shop)
    content = json.loads((backup / "manifest.json").read_text())
    content["file"][0]["path"] = path
    (backup / "manifest.json").write_text(json.dumps(content))
    error = refusal(midspan("restore", backup, "--into", "../new", folder=shop), ConfigurationError)
    assert repr(path) in str(error)
    assert not (shop.parent / "new").exists()


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"midspan_backup": 2}', "\x00"])
def test_a_damaged_manifest_is_named(tmp_path, text):
    (tmp_path / "manifest.json").write_text(text)
    assert str(tmp_path / "manifest.json") in complaint(midspan("restore", tmp_path, "--into", tmp_path / "new"))


def test_what_lies_elsewhere_is_taken_when_it_is_named(shop, tmp_path):
    (tmp_path / "office").mkdir()
    (tmp_path / "office" / "bands.toml").write_bytes((shop / "bands.toml").read_bytes())
    text = (shop / "night.toml").read_text().replace('"calibration.toml"', '"../shop/calibration.toml"')
    (tmp_path / "office" / "plan.toml").write_text(text)
    backup = backed_up(shop, "--also", tmp_path / "office" / "plan.toml")
    was = {entry["was"]: entry["path"] for entry in json.loads((backup / "manifest.json").read_text())["file"]}
    for name in ("plan.toml", "bands.toml"):
        copy = backup / was[str(tmp_path / "office" / name)]
        assert copy.parts[-3] == "elsewhere"
        assert copy.read_bytes() == (tmp_path / "office" / name).read_bytes()
    shutil.rmtree(shop)
    done = midspan("restore", backup, "--into", tmp_path / "new" / "shop")
    assert done.returncode == 0
    plan = tmp_path / "new" / "shop" / was[str(tmp_path / "office" / "plan.toml")]
    (line,) = [line for line in done.stderr.splitlines() if line.startswith(f"{plan}: ") and "calibration.toml" in line]
    for path in ("../shop/calibration.toml", str(tmp_path / "new" / "shop" / "calibration.toml")):
        assert path in line
    shop.mkdir()


def test_a_file_to_take_that_is_missing_is_named(shop):
    error = refusal(midspan("backup", "../other", "--also", "nowhere", folder=shop), BackupError)
    assert (error.code, str(error).startswith("nowhere: ")) == ("missing", True)
    assert not list((shop.parent / "other").iterdir())


def test_a_plan_that_names_itself_as_its_calibration_is_taken_once(shop):
    plan = shop / "night.toml"
    plan.write_text(plan.read_text().replace('"calibration.toml"', '"night.toml"'))
    manifest = json.loads((backed_up(shop) / "manifest.json").read_text())
    assert [entry["kind"] for entry in manifest["file"] if entry["was"] == str(plan)] == ["plan"]


def test_a_damaged_list_of_archives_is_refused(tmp_path, store_place):
    (tmp_path / "results.db-archives.json").write_text("[1]")
    with pytest.raises(StoreError) as caught:
        store_place.readings("readings.avro")
    assert (caught.value.code, str(caught.value).startswith(str(tmp_path))) == ("list_damaged", True)


# End of a sorting run


def test_a_copy_of_the_database_alone_lacks_nothing_once_a_night_has_ended(tmp_path, store_place):
    with store_place.open() as store:
        store.begin_batch("before", 0)
        follower = Follower(store_place)  # the live page stays open
        follower.nights()
        for number in range(50):
            store.begin_batch(f"batch {number}", number)
    log = store_place.file.with_name("results.db-wal")
    assert not log.exists() or log.stat().st_size == 0
    shutil.copy(store_place.file, tmp_path / "copied.db")
    with closing(sqlite3.connect(tmp_path / "copied.db")) as copied:
        assert copied.execute("SELECT count(*) FROM batches").fetchone() == (51,)
    follower.close()


def test_a_program_that_reads_without_a_pause_does_not_block_closing(store_place, monkeypatch):
    monkeypatch.setattr("midspan.store.database_file.FOLD_WAIT_MS", 0)
    store = quiet_night(store_place, 3).open(wait_s=0.0)
    with closing(sqlite3.connect(store_place.file, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM batches").fetchone()
        store.begin_batch("late", 0)
        store.close()
        assert store_place.file.with_name("results.db-wal").stat().st_size > 0
    with store_place.open() as store:
        assert store.begin_batch("next", 0) > 1
