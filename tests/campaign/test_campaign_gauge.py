"""Gauges that fall sick in the night, in small: home wires, the cell's sign, its rate, a start above home.

As in the other campaigns host, device and world are processes of their own; the world's file tells where the head was
left and how hard it pressed, which neither host nor device knows. `make soak` is the same at large.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from rich import print as show

from campaign.fork_server import ForkServer
from campaign.sick_gauge import SICKNESSES, SickNights
from campaign.tally import table

pytestmark = pytest.mark.process

EACH = 2


def test_a_sick_gauge_stops_the_night_says_why_and_leaves_no_head_pressing(tmp_path: Path) -> None:
    with ForkServer("campaign.host", tmp_path / "hosts.txt") as server:
        nights = SickNights(tmp_path, 1, server)
        nights.until(EACH)
    show(table(nights.tally))
    assert (nights.tally.lost, nights.tally.wrong) == ([], [])
    assert all(nights.tally.injected[name] >= EACH for name in SICKNESSES)
    codes = {sickness.code for sickness in SICKNESSES.values()} - {None}
    assert codes == set(nights.tally.waits)
