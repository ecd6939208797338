"""Databases and archives of earlier versions stay readable: tables are upgraded, archives are read as they are."""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from midspan.archive.reader import Archive
from midspan.base.errors import StoreError
from midspan.decision.bands import load_bands
from midspan.measurement.calibration_validity import load_usable
from midspan.measurement.result import ShaftResult
from midspan.sets.stock import read_stock
from midspan.sorting.recompute import Rules, entries, recomputed, stored_nowhere
from midspan.store import upgrade as upgrading
from midspan.store.facts import DatabaseVersion, version_of
from midspan.store.place import StorePlace
from midspan.store.sqlite_errors import refusal
from midspan.store.stored_result import is_same
from midspan.store.tables import Table
from places import DATA
from sqlalchemy import create_engine

OLD = DATA / "e0bd664"
ROWS = {
    "batches": 5, "runs": 56, "results": 56, "decisions": 56, "passages": 44, "steps": 220, "checks": 6, "suspects": 4,
    "sets": 3, "members": 18, "weights": 1, "marks": 1, "nights": 2,
}  # fmt: skip


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """Return a copy of the database of an earlier version."""
    return Path(shutil.copy(OLD / "results.db", tmp_path / "results.db"))


def count(path: Path, tables: dict[str, int] = ROWS) -> dict[str, int]:
    """Return the number of rows of each table."""
    with closing(sqlite3.connect(path)) as database:
        return {table: database.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}


def plain_dump(path: Path) -> list[tuple[object, ...]]:
    """Return all rows of all tables, each with the name of its table."""
    with closing(sqlite3.connect(path)) as database:
        return [(table, *row) for table in ROWS for row in database.execute(f"SELECT * FROM {table}")]


def revision(path: Path) -> int:
    """Return the revision of a database."""
    with closing(sqlite3.connect(path)) as database:
        found: int = database.execute("PRAGMA user_version").fetchone()[0]
        return found


def bring_to(path: Path, revision: int) -> Path:
    """Bring a database, or an empty file, to an earlier revision as the version that released it did; return it."""
    engine = create_engine(f"sqlite:///{path}")
    config = Config()
    config.set_main_option("script_location", str(upgrading.MIGRATIONS))
    with engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, f"{revision:04}")
        connection.exec_driver_sql(f"PRAGMA application_id = {upgrading.APPLICATION_ID}")
        connection.exec_driver_sql(f"PRAGMA user_version = {revision}")
        connection.commit()
    engine.dispose()
    return path


RELEASED = range(5, upgrading.NEWEST)


@pytest.mark.parametrize("released", RELEASED)
def test_a_database_of_every_released_revision_opens_after_a_copy_of_it_was_kept(old: Path, released: int) -> None:
    before = plain_dump(bring_to(old, released))
    assert revision(old) == released
    with StorePlace(old).open_to_read() as store:
        assert store.latest(15) is not None
    assert revision(old) == released  # to read changes nothing
    with StorePlace(old).open() as store:
        assert store.latest(15) is not None
        assert store.latest("hand 1") is not None
    assert (count(old), revision(old)) == (ROWS, upgrading.NEWEST)
    (copy,) = old.parent.glob("results-before-*.db")
    assert (plain_dump(copy), revision(copy)) == (before, released)


@pytest.mark.parametrize("released", RELEASED)
def test_an_empty_database_of_every_released_revision_gets_the_tables_of_today(tmp_path: Path, released: int) -> None:
    path = bring_to(tmp_path / "new.db", released)
    StorePlace(path).open().close()
    engine = create_engine(f"sqlite:///{path}")
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Table.metadata) == []
    engine.dispose()


def test_version_and_number_of_measurements_are_read_without_an_upgrade(old: Path) -> None:
    before = old.read_bytes()
    assert version_of(old) == DatabaseVersion(5, ROWS["runs"])
    assert old.read_bytes() == before


@pytest.mark.parametrize("content", [b"", b"no database at all"])
def test_a_file_that_is_no_database_has_no_version(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "other.db").write_bytes(content)
    with pytest.raises(StoreError):
        version_of(tmp_path / "other.db")


def test_what_an_old_database_holds_is_filled_in(old: Path) -> None:
    StorePlace(old).open().close()
    with closing(sqlite3.connect(old)) as database:
        crack = database.execute(
            "SELECT runs.shaft, decisions.concerns, bases.content FROM decisions JOIN bases ON bases.id = basis_id "
            "JOIN results ON results.id = result_id JOIN runs ON runs.id = run_id WHERE concerns LIKE '%\"crack\"%'"
        ).fetchall()
        bar = json.loads(
            database.execute(
                "SELECT content FROM bases JOIN decisions ON basis_id = bases.id "
                "JOIN results ON results.id = result_id JOIN runs ON runs.id = run_id "
                "WHERE runs.label = 'bar 1' ORDER BY results.id DESC"
            ).fetchone()[0]
        )
        doubted = database.execute(
            "SELECT passage_id, runs.shaft FROM suspects JOIN runs ON runs.id = run_id ORDER BY passage_id"
        ).fetchall()
        twice = database.execute(
            "SELECT new.shaft, old.shaft, new.id > old.id FROM supersessions JOIN runs new ON new.id = run_id "
            "JOIN runs old ON old.id = superseded_id"
        ).fetchall()
    assert {shaft for shaft, _, _ in crack} == {13, 51}
    assert all(json.loads(basis)["crack_hysteresis_pct"] == 1.5 for _, _, basis in crack)
    assert (bar["standard"], bar["assigned_thou"], bar["u_assigned_thou"]) == ("bar 1", 495.0, 0.15)
    assert doubted == [(50, 50), (51, 51), (52, 52), (53, 53)]
    assert {(new, same) for new, same, _ in twice} == {(33, 33), (42, 42)}
    assert all(later for *_, later in twice)


def test_old_results_get_their_kind_by_their_form_and_not_by_the_name_of_the_gauge(old: Path) -> None:
    with closing(sqlite3.connect(old)) as database, database:
        database.execute("DROP TRIGGER results_no_update")
        database.execute("UPDATE results SET \"full\" = json_set(\"full\", '$.gauge', 'hand bench') WHERE id < 20")
        database.execute('UPDATE results SET "full" = \'{"torn\' WHERE id = 21')
    StorePlace(old).open().close()
    with closing(sqlite3.connect(old)) as database:
        kinds = dict(database.execute("SELECT kind, count(*) FROM results GROUP BY kind"))
        by_hand = database.execute(
            "SELECT runs.shaft FROM results JOIN runs ON runs.id = run_id WHERE kind = 'hand bench' ORDER BY runs.shaft"
        ).fetchall()
    assert kinds == {"gauge": 50, "hand bench": 2, "unmeasured": 4}
    assert by_hand == [(200,), (201,)]


def test_what_an_older_midspan_that_runs_on_adds_after_the_upgrade_is_read(old: Path) -> None:
    hand = "WHERE run_id = (SELECT id FROM runs WHERE label = 'hand 1')"
    with closing(sqlite3.connect(old)) as database:
        columns = ", ".join(f'"{row[1]}"' for row in database.execute("PRAGMA table_info(results)") if row[1] != "id")
    StorePlace(old).open().close()
    with closing(sqlite3.connect(old)) as database, database:
        for where in (hand, "WHERE run_id = 15"):
            database.execute(f"INSERT INTO results ({columns}) SELECT {columns} FROM results {where} LIMIT 1")
            verdict = "outcome, bin, reasons, concerns, basis_id"
            database.execute(
                f"INSERT INTO decisions (result_id, {verdict}) SELECT last_insert_rowid(), {verdict} FROM decisions "
                f"WHERE result_id = (SELECT id FROM results {where})"
            )
    with StorePlace(old).open() as store:
        for shaft in ("hand 1", 15):
            *_, before, after = store.history(shaft)
            assert (after.result.kind, is_same(after.result, before.result)) == (before.result.kind, True)


def test_an_old_database_opens_with_all_it_holds_and_a_copy_of_it_is_kept(old: Path) -> None:
    before = plain_dump(old)
    with StorePlace(old).open() as store:
        assert store.latest(15) is not None
        assert store.latest("hand 1") is not None
    assert count(old) == ROWS
    assert revision(old) == upgrading.NEWEST
    (copy,) = old.parent.glob("results-before-*.db")
    assert plain_dump(copy) == before
    assert revision(copy) == 5
    StorePlace(old).open().close()
    assert len(list(old.parent.glob("results-before-*"))) == 1  # nothing was left to upgrade


def test_a_second_upgrade_overwrites_no_copy(old: Path) -> None:
    StorePlace(old).open().close()
    (copy,) = old.parent.glob("results-before-*.db")
    content = copy.read_bytes()
    shutil.copy(OLD / "results.db", old)
    StorePlace(old).open().close()
    assert copy.read_bytes() == content
    assert len(list(old.parent.glob("results-before-*"))) == 2


def test_the_tables_made_by_migrations_are_those_the_code_knows(tmp_path: Path, old: Path) -> None:
    for path in (tmp_path / "new.db", old):
        StorePlace(path).open().close()
        engine = create_engine(f"sqlite:///{path}")
        with engine.connect() as connection:
            context = MigrationContext.configure(connection)
            assert compare_metadata(context, Table.metadata) == []
        engine.dispose()


def test_every_table_refuses_changes(tmp_path: Path) -> None:
    path = tmp_path / "new.db"
    StorePlace(path).open().close()
    with closing(sqlite3.connect(path)) as database:
        triggers = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    for table in Table.metadata.tables:
        assert {f"{table}_no_update", f"{table}_no_delete"} <= triggers


def test_the_newest_revision_is_the_head_of_the_migrations() -> None:
    config = Config()
    config.set_main_option("script_location", str(upgrading.MIGRATIONS))
    assert ScriptDirectory.from_config(config).get_heads() == [f"{upgrading.NEWEST:04}"]


def test_an_upgrade_that_breaks_off_changes_nothing(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = plain_dump(old)

    def full(*_: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    migrate = upgrading._migrate
    monkeypatch.setattr(upgrading, "_migrate", lambda connection: (migrate(connection), full()))
    with pytest.raises(sqlite3.OperationalError):
        upgrading.upgrade(old, 1.0)
    assert (plain_dump(old), revision(old)) == (before, 5)
    monkeypatch.undo()
    StorePlace(old).open().close()
    assert revision(old) == upgrading.NEWEST


def test_a_database_from_before_matched_sets_gets_their_tables(old: Path) -> None:
    with closing(sqlite3.connect(old)) as database:
        for table in ("leavings", "members", "sets", "marks", "weights", "wishes"):
            database.execute(f"DROP TABLE {table}")
        database.execute("PRAGMA user_version = 3")
        database.commit()
    with StorePlace(old).open() as store:
        assert len(read_stock(store, batches=[2]).shafts) > 20
    with closing(sqlite3.connect(old)) as database:
        database.execute("INSERT INTO sets VALUES (1, 'spring', 0, '{}', NULL)")
        database.execute("INSERT INTO members VALUES (1, 1, 15, 0, 15)")
        with pytest.raises(sqlite3.IntegrityError) as caught:
            database.execute("INSERT INTO members VALUES (2, 1, 15, 0, 15)")
    assert refusal(caught.value).code == "in_a_set"


def test_two_that_open_an_old_database_upgrade_it_once(old: Path) -> None:
    upgrading.upgrade(old, 1.0)
    upgrading.upgrade(old, 1.0)  # the second waited for the first
    assert len(list(old.parent.glob("results-before-*"))) == 1
    assert revision(old) == upgrading.NEWEST


def test_an_unknown_revision_is_refused_before_anything_is_written(old: Path) -> None:
    with closing(sqlite3.connect(old)) as database:
        database.execute(f"PRAGMA user_version = {upgrading.NEWEST + 1}")
    before = old.read_bytes()
    with pytest.raises(StoreError) as caught:
        StorePlace(old).open()
    assert (caught.value.code, old.read_bytes()) == ("unknown_revision", before)


@pytest.mark.parametrize("name", ["readings.avro", "night-readings.avro"])
def test_an_old_archive_is_read_whole(name: str) -> None:
    archive = Archive.open(OLD / name)
    runs = list(archive.runs())
    archive.check()
    assert len(runs) == {"readings.avro": 10, "night-readings.avro": 44}[name]


def test_results_made_again_from_old_archives_on_knife_edges_are_nearly_the_same() -> None:
    """Hold today's numbers to those of then, which knew of no rims, and of no walls that give."""
    damage: list[str] = []
    runs = entries([OLD / "readings.avro", OLD / "night-readings.avro"], damage)
    calibration = load_usable(OLD / "calibration.toml")
    knife_edges = calibration.span.model_copy(update={"rim_mm": 0.0, "sink_mm_per_n": 0.0})
    calibration = calibration.model_copy(update={"span": knife_edges})
    found = list(recomputed(runs, stored_nowhere(calibration, Rules(load_bands(OLD / "bands.toml")))))
    expected = json.loads((OLD / "recomputed.json").read_text(encoding="utf-8"))
    assert damage == []
    assert len(found) == len(expected)
    for remade, was in zip(found, expected, strict=True):
        assert (remade.where.shaft, remade.where.label) == (was["shaft"], was["label"])
        assert remade.decision is not None
        assert (remade.decision.outcome.value, remade.decision.bin) == (was["outcome"], was["bin"])
        values = remade.result.as_dict() if isinstance(remade.result, ShaftResult) else {}
        named = ("spine_thou", "spread_thou", "runout_mm", "older_lb", "hysteresis_pct")
        quantities = {key: value for key, value in was.items() if key in named and value is not None}
        assert {key: values[key] for key in quantities} == pytest.approx(quantities, rel=2e-5, abs=0.05)
