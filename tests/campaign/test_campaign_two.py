"""Two gauges on one computer sort into one database at the same time, while their hosts are killed."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from random import Random

import pytest
from midspan.store.journal import Journal
from midspan.store.place import StorePlace

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.cable import untouched
from campaign.fork_server import KILLED, ForkServer
from campaign.ground_truth import World
from campaign.line_tap import LineTap
from campaign.tally import Tally

pytestmark = pytest.mark.process

SHAFTS, KILLS = 8, 12
NAMES = ("attic", "cellar")
SEE_S = 0.02
WAYS = (("commit", 40), ("write", 50), ("fsync", 2), ("torn", 2))


class Gauge:
    """A bench whose hosts kill themselves a number of times, until the last one sorts to the end."""

    def __init__(self, folder: Path, name: str, seed: int, stack: ExitStack) -> None:
        server = stack.enter_context(ForkServer("campaign.host", folder / f"{name}-hosts.txt"))
        self.ear, self.kills, self.over = LineTap(untouched), 0, False
        self._random = Random(seed)
        stock = night_files.stock(SHAFTS, seed)
        self.bench = stack.enter_context(
            Bench(folder / name, server, stock, self.ear, name=name, store="../both.db", wait_minutes=5.0)
        )
        self._start()

    def _start(self) -> None:
        what, most = self._random.choice(WAYS)
        die = [what, self._random.randint(1, most), self._random.random() < 0.5] if self.kills < KILLS else None
        self.bench.start_host(die=die)

    def look(self) -> None:
        """Start the next host after one has died."""
        status = None if self.over else self.bench.ended(SEE_S)
        self.kills += status == KILLED
        self.over = self.over or (status == 0 and self.bench.over[0])
        if status is not None and not self.over:
            self._start()


def test_two_gauges_share_a_database(tmp_path: Path) -> None:
    with ExitStack() as stack:
        both = [Gauge(tmp_path, name, seed, stack) for seed, name in enumerate(NAMES, 1)]
        while not all(gauge.over for gauge in both):
            for gauge in both:
                gauge.look()
        for gauge in both:
            tally = Tally()
            invariants.whole_night(tally, gauge.bench, gauge.ear.released)
            assert (tally.lost, tally.wrong, tally.ambiguous, tally.fed) == ([], [], [], SHAFTS)
        assert sum(gauge.kills for gauge in both) >= KILLS
    numbers = [set(World.read(gauge.bench.folder / "world.txt").measured_as) for gauge in both]
    assert not numbers[0] & numbers[1]
    with StorePlace(tmp_path / "both.db").open() as store:
        assert [night.gauge for night in Journal(store).nights()].count("attic") == 1
        assert {night.gauge for night in Journal(store).nights()} == set(NAMES)
