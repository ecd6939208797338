"""Somebody meddles with the files of a night: what host and gauge make of it, proved as after every other harm.

The archive is moved, cut, deleted or replaced, in a running night or while the gauge holds a shaft of a dead host; the
database is moved, deleted or replaced; the night goes on with another calibration.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from random import Random

from midspan.archive.writer import ArchiveWriter
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import RunEventKind

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.cable import untouched
from campaign.fork_server import KILLED, ForkServer
from campaign.ground_truth import World
from campaign.line_tap import LineTap
from campaign.tally import Tally

SHAFTS = 10
EARLY = 4  # in their places when the harm is done at the latest: an idle machine sorts some more in a blink
SEE_S, SOON_S = 0.01, 120.0
ARCHIVE, STORE = "readings.avro", "results.db"
HELD = " while a shaft is held"


def moved(path: Path) -> None:
    """Under another name in its folder."""
    path.rename(path.with_name(f"moved-{path.name}"))


def cut(path: Path) -> None:
    """To two thirds, amid a shaft or between two."""
    os.truncate(path, 2 * path.stat().st_size // 3)


def deleted(path: Path) -> None:
    """With what SQLite keeps beside a database."""
    for end in ("", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)


def archive_replaced(path: Path) -> None:
    """By an empty one."""
    deleted(path)
    ArchiveWriter(path).close()


def store_replaced(path: Path) -> None:
    """By one in which nothing was ever sorted."""
    deleted(path)
    StorePlace(path).open().close()


ARCHIVE_HARMS: dict[str, Callable[[Path], None]] = {
    "archive moved": moved, "archive cut": cut, "archive deleted": deleted, "archive replaced": archive_replaced,
}  # fmt: skip
STORE_HARMS: dict[str, Callable[[Path], None]] = {
    "database moved": moved, "database deleted": deleted, "database replaced": store_replaced,
}  # fmt: skip
OTHER_CALIBRATION = "gone on with another calibration"
KINDS = (*ARCHIVE_HARMS, *(kind + HELD for kind in ARCHIVE_HARMS), *STORE_HARMS, OTHER_CALIBRATION)


class Meddling:
    """Nights in a folder, each with one of the harms."""

    def __init__(self, folder: Path, server: ForkServer, seed: int) -> None:
        self.tally = Tally()
        self._folder, self._server, self._random = folder, server, Random(seed)

    def night(self, kind: str) -> None:
        """One night with this harm in it, and its proof."""
        folder = self._folder / f"files-{self.tally.nights}"
        self.tally.nights += 1
        self.tally.injected[kind] += 1
        stock, ear = night_files.stock(SHAFTS, self._random.getrandbits(30)), LineTap(untouched)
        with Bench(folder, self._server, stock, ear) as self._bench:
            if kind == OTHER_CALIBRATION:
                self._other_calibration()
            elif kind.endswith(HELD):
                self._while_held(ARCHIVE_HARMS[kind.removesuffix(HELD)])
            else:
                self._while_running(kind)
            self._to_the_end()
            missing = invariants.readings_missing(self._bench)
            took_away = kind.removesuffix(HELD) in ARCHIVE_HARMS
            invariants.whole_night(self.tally, self._bench, ear.released, missing if took_away else None)
            self._check(missing == self._named(), f"{kind}: gone are {missing}, named {self._named()}")

    def _while_held(self, harm: Callable[[Path], None]) -> None:
        """A host dies when readings are on the disk and the gauge still holds them."""
        self._bench.start_host(die=["fsync", self._random.randint(3, SHAFTS + 1), True])
        assert self._bench.ended(SOON_S) == KILLED
        harm(self._bench.folder / ARCHIVE)

    def _while_running(self, kind: str) -> None:
        bench = self._bench
        bench.start_host()
        wanted = self._random.randint(2, EARLY)
        while self._placed() < wanted:
            assert bench.ended(SEE_S) is None
        assert bench.ended(self._random.uniform(0.0, 0.3)) is None
        before = self._placed()
        (ARCHIVE_HARMS | STORE_HARMS)[kind](bench.folder / (ARCHIVE if kind in ARCHIVE_HARMS else STORE))
        assert bench.ended(SOON_S) == 0
        self.tally.waits[bench.over[1].replace(str(bench.folder), "")] += 1
        self._check(not bench.over[0], f"{kind}: the night went on to its end")
        self._check(self._placed() <= before + 1, f"{kind}: {self._placed() - before} shafts went on")
        if kind in STORE_HARMS:
            (saved,) = bench.folder.glob(f"{STORE}.saved-*")
            saved.replace(bench.folder / STORE)

    def _other_calibration(self) -> None:
        bench = self._bench
        bench.start_host(die=["commit", self._random.randint(25, 40), True])
        assert bench.ended(SOON_S) == KILLED
        path = bench.folder / "gauge.toml"
        path.write_text(re.sub(r'(?m)^id = "(.*)"', r'id = "\1-b"', path.read_text(), count=1))

    def _to_the_end(self) -> None:
        self._bench.start_host()
        assert self._bench.ended(SOON_S) == 0
        assert self._bench.over == (True, "the hopper is empty"), self._bench.over
        with StorePlace(self._bench.store).open() as store:
            journal = Journal(store)
            told = [event for event in journal.events(1) if event.kind is RunEventKind.SETTING]
            transits = journal.transits(1)
        for event in told:
            after = [transit.standard for transit in transits if transit.shaft > (event.shaft or 0)]
            # One may have waited in the gauge, unjudged.
            self._check(any(after[:2]), f"no check standard came first after {event.words}")

    def _placed(self) -> int:
        return sum(where.startswith("place") for where in World.read(self._bench.folder / "world.txt").where.values())

    def _named(self) -> set[int]:
        """Numbers of the shafts whose readings the journal names as gone."""
        with StorePlace(self._bench.store).open() as store:
            said = [event.words for event in Journal(store).events(1) if event.code == "READINGS_GONE"]
        found: set[int] = set()
        for first, last in re.findall(r"(\d+)(?: to (\d+))?", said[-1] if said else ""):
            found |= set(range(int(first), int(last or first) + 1))
        return found

    def _check(self, good: bool, words: str) -> None:
        if not good:
            self.tally.wrong.append(words)
