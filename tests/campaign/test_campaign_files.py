"""The fault campaign on the files of a night: moved, cut, deleted, replaced; gone on with another calibration.

`make soak` is the same at large.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from rich import print as show

from campaign.fork_server import ForkServer
from campaign.meddling import KINDS, Meddling
from campaign.tally import table

pytestmark = pytest.mark.process


def test_whoever_meddles_with_its_files_no_shaft_is_lost_and_no_value_is_wrong(tmp_path: Path) -> None:
    with ForkServer("campaign.host", tmp_path / "hosts.txt") as server:
        meddling = Meddling(tmp_path, server, seed=1)
        for kind in KINDS:
            meddling.night(kind)
    show(table(meddling.tally))
    assert (meddling.tally.lost, meddling.tally.wrong) == ([], [])
    assert meddling.tally.ambiguous == []
    assert set(meddling.tally.injected) == set(KINDS)
