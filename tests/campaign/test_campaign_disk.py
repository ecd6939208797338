"""Full disks, folders that may only be read, locked databases, torn blocks: the night waits or stops, none is lost.

The operating system itself refuses: files may not grow, the folder's rights are taken, another program holds the lock.
"""

from __future__ import annotations

import os
import resource
import sqlite3
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from midspan.archive.reader import Archive
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import TransitStage

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.fork_server import KILLED, ForkServer
from campaign.ground_truth import World
from campaign.night_files import ROOM_BYTES
from campaign.tally import Tally

pytestmark = pytest.mark.process

SHAFTS = 4
NOBODY = 65534
SOON_S = 120.0  # for a whole small night, on a machine with other work

linux = pytest.mark.skipif(sys.platform != "linux", reason="limits and rights of another process need Linux")


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ForkServer]:
    with ForkServer("campaign.host", tmp_path_factory.mktemp("server") / "hosts.txt") as server:
        yield server


@contextmanager
def bench(folder: Path, server: ForkServer, wait_minutes: float = 30.0) -> Iterator[Bench]:
    with Bench(folder, server, night_files.stock(SHAFTS, 7), wait_minutes=wait_minutes) as bench:
        yield bench


def goes_on_to_the_end(bench: Bench, **order: object) -> None:
    """The next host finishes the night, and everything is where it should be."""
    bench.start_host(**order)
    assert bench.ended(SOON_S) == 0
    ends_well(bench)


def ends_well(bench: Bench) -> None:
    assert bench.over == (True, "the hopper is empty")
    tally = Tally()
    invariants.whole_night(tally, bench)
    assert (tally.lost, tally.wrong, tally.ambiguous, tally.fed) == ([], [], [], SHAFTS)


def in_the_gauge(bench: Bench) -> list[int]:
    return [own for own, where in World.read(bench.folder / "world.txt").where.items() if where == "rollers"]


def size_of(bench: Bench, name: str) -> int:
    path = bench.folder / name
    return path.stat().st_size if path.exists() else 0


def codes(bench: Bench) -> set[str | None]:
    with StorePlace(bench.folder / "results.db").open() as store:
        return {event.code for event in Journal(store).events(1)}


def stop_amid(bench: Bench, shafts: int = 2) -> None:
    """A first host that dies after so many shafts have reached their places."""
    bench.start_host(die=["fsync", shafts + 2, True])  # the archive's header and the check standard come first
    assert bench.ended(SOON_S) == KILLED


@pytest.mark.parametrize("room_bytes", [ROOM_BYTES, 30_000])
def test_no_file_may_grow_from_the_start(tmp_path: Path, server: ForkServer, room_bytes: int) -> None:
    with bench(tmp_path / "night", server, wait_minutes=0.05) as night:
        stop_amid(night)
        before = World.read(night.folder / "world.txt").moves
        night.start_host(file_bytes=room_bytes)
        assert night.ended(SOON_S) == 0
        is_over, words = night.over
        assert not is_over
        assert "results.db" in words
        assert World.read(night.folder / "world.txt").moves == before
        goes_on_to_the_end(night)


@pytest.mark.parametrize("room_bytes", [0, 1000])
def test_an_archive_on_a_full_disk_stops_the_night(tmp_path: Path, server: ForkServer, room_bytes: int) -> None:
    """A part of a block is written; the shaft waits in the gauge with its readings."""
    with bench(tmp_path / "night", server, wait_minutes=0.05) as night:
        stop_amid(night)
        night.start_host(archive_room=room_bytes)
        assert night.ended(SOON_S) == 0
        is_over, words = night.over
        assert not is_over
        assert "readings.avro" in words
        assert "disk" in words
        assert len(in_the_gauge(night)) == 1
        assert "DISK_FULL" in codes(night)
        goes_on_to_the_end(night)


@linux
@pytest.mark.parametrize("moves", [1, 2, 3])
def test_a_disk_that_has_room_again_lets_the_running_host_go_on(tmp_path: Path, server: ForkServer, moves: int) -> None:
    """Nothing can be written from somewhere amid a shaft on; it lies in the gauge or in its place, and all goes on."""
    with bench(tmp_path / "night", server) as night:
        stop_amid(night)
        before = len(World.read(night.folder / "world.txt").moves)
        night.start_host()
        while len(World.read(night.folder / "world.txt").moves) < before + moves:
            assert night.ended(0.01) is None
        resource.prlimit(night.pid, resource.RLIMIT_FSIZE, (ROOM_BYTES, resource.RLIM_INFINITY))
        assert night.ended(3.0) is None  # it waits
        # What was ordered by then went on, and no shaft after it.
        assert len(World.read(night.folder / "world.txt").moves) <= before + moves + 2
        resource.prlimit(night.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        assert night.ended(SOON_S) == 0
        ends_well(night)
        assert "DISK_FULL" in codes(night)


@linux
def test_a_folder_that_may_only_be_read(server: ForkServer) -> None:
    """Without any rights to write, the host says so and moves nothing."""
    with tempfile.TemporaryDirectory() as name, bench(Path(name) / "night", server, wait_minutes=0.05) as night:
        stop_amid(night)
        before = World.read(night.folder / "world.txt").moves
        Path(name).chmod(0o755)
        modes = {path: path.stat().st_mode for path in (night.folder, *night.folder.iterdir()) if not path.is_symlink()}
        for path, mode in modes.items():
            path.chmod(mode & ~0o222 | 0o444)
        assert night.cable.port is not None
        night.cable.port.resolve().chmod(0o666)
        night.start_host(user=NOBODY if os.geteuid() == 0 else None)
        assert night.ended(SOON_S) == 0
        for path, mode in modes.items():
            path.chmod(mode)
        is_over, words = night.over
        assert not is_over
        assert "readings.avro" in words
        assert "check" in words
        assert World.read(night.folder / "world.txt").moves == before
        goes_on_to_the_end(night)


def test_a_locked_database_is_waited_for(tmp_path: Path, server: ForkServer) -> None:
    with bench(tmp_path / "night", server) as night:
        stop_amid(night)
        night.start_host(wait_s=0.1)
        while not in_the_gauge(night):
            assert night.ended(0.01) is None
        with closing(sqlite3.connect(night.folder / "results.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            assert night.ended(3.0) is None
            assert len(in_the_gauge(night)) == 1
            other.execute("ROLLBACK")
        assert night.ended(SOON_S) == 0
        ends_well(night)
        assert "STORE_LOCKED" in codes(night)


@pytest.mark.parametrize("write", [1, 3])
def test_a_torn_block_is_moved_aside_and_the_shaft_measured_or_fetched_again(
    tmp_path: Path, server: ForkServer, write: int
) -> None:
    with bench(tmp_path / "night", server) as night:
        night.start_host(die=["torn", write, False])  # the first is the header
        assert night.ended(SOON_S) == KILLED
        goes_on_to_the_end(night)
        assert len(list(night.folder.glob("readings.avro.torn-*"))) == 1


def test_a_disk_that_lied_costs_a_measurement_and_no_shaft(tmp_path: Path, server: ForkServer) -> None:
    """Synced, judged, acknowledged, and gone with the next power cut: a verdict without readings counts for nothing."""
    with bench(tmp_path / "night", server) as night:
        night.start_host(die=["release", 3, False])
        assert night.ended(SOON_S) == KILLED
        with StorePlace(night.folder / "results.db").open() as store:
            transit = Journal(store).open_transit("rehearsal")
        assert transit is not None
        assert transit.stage is TransitStage.LEAVING
        archive = night.folder / "readings.avro"
        with archive.open("r+b") as file:
            file.truncate(size_of(night, "readings.avro") - 100)
        night.start_host()
        assert night.ended(SOON_S) == 0
        assert night.over == (True, "the hopper is empty")
        tally = Tally()
        invariants.in_between(tally, night)
        assert (tally.lost, tally.wrong) == ([], [])
        assert sum(run.shaft == transit.shaft for run in Archive.open(archive).runs()) == 1
        with StorePlace(night.folder / "results.db").open() as store:
            assert len(store.history(transit.shaft)) == 2
