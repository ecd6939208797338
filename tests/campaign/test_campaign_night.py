"""The fault campaign in its small form: hosts killed, devices reset, cables cut, ports renamed, lines that spoil.

The night of the host, the device code on MicroPython and the simulated world are processes of their own; the world's
file, which neither host nor device ever reads back, is the ledger. `make soak` is the same at large.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from rich import print as show

from campaign.fault_worker import fault_worker
from campaign.tally import KILLS, RESETS, Tally, added, table

pytestmark = pytest.mark.process

# Of each lane; there are two, for two cores. Together at least 300 of each kind that kills.
WANTED = {"host killed": 140, "device reset": 140, "both": 15, "cable cut": 15, "port renamed": 15}


def sorted_on_a_lane(folder: Path, seed: int) -> Tally:
    with fault_worker(folder, seed) as bench:
        bench.until(WANTED)
        return bench.tally


def test_whatever_dies_no_shaft_is_lost_and_no_value_is_wrong(tmp_path: Path) -> None:
    with ThreadPoolExecutor() as pool:
        lanes = [pool.submit(sorted_on_a_lane, tmp_path / f"lane-{seed}", seed) for seed in (1, 2)]
        total = added(lane.result() for lane in lanes)
    show(table(total))
    assert (total.lost, total.wrong) == ([], [])
    assert total.sum_of(KILLS) >= 300
    assert total.sum_of(RESETS) >= 300
    assert total.injected["frames spoilt"] > 100
    assert total.fed >= 40
    # The harm fell everywhere: in each stage of the journal that lasts, and where shafts are under way.
    stages = {"ordered", "in the gauge", "measuring", "judged", "leaving"}
    states = {"FEEDING", "LOADED", "RUNNING", "HOLDING", "RELEASING"}
    assert {f"journal {stage}" for stage in stages} | {f"device {state}" for state in states} <= set(total.instants)
