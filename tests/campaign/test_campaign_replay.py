"""Nights on a line that says again what was said before: no shaft is lost, taken for another, or said to be taken out.

The device is reset in between, so that frames of earlier starts come again too.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import TransitStage

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.corruption import Replayer
from campaign.fork_server import ForkServer
from campaign.line_tap import LineTap
from campaign.tally import Tally

pytestmark = pytest.mark.process

SHAFTS, RESETS, NIGHT_S = 8, 6, 120.0
EVERY = 4.0  # frames


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_frames_from_before_are_no_news_to_a_night(tmp_path: Path, seed: int) -> None:
    random = Random(seed)
    stock = night_files.stock(SHAFTS, seed)
    stock.feeder["reset"] = sorted(random.uniform(0, NIGHT_S) for _ in range(RESETS))
    line, tally = Replayer(random, EVERY), Tally()
    ear = LineTap(line)
    with (
        ForkServer("campaign.host", tmp_path / "hosts.txt") as server,
        Bench(tmp_path / "night", server, stock, ear) as bench,
    ):
        bench.start_host()
        assert bench.ended() == 0
        assert bench.over[0], bench.over[1]
        invariants.whole_night(tally, bench, ear.released)
        with StorePlace(bench.store).open() as store:
            journal = Journal(store)
            transits = journal.transits(journal.nights(bench.name)[-1].id)
    assert (tally.lost, tally.wrong, tally.fed) == ([], [], SHAFTS)
    assert [transit for transit in transits if transit.stage is TransitStage.TAKEN_OUT] == []
    assert line.replayed > 100
