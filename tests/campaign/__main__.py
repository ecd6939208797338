"""The soak: the fault campaign at large, sick gauges, meddled files, a hard night with its report, a week of nights.

    python tests/campaign [--harms 5000] [--sick 100] [--files 240] [--shafts 500] [--week 5000] [--seed 1]
                          [--folder FOLDER]

Prints what `make test` prints in small, and ends with status 1 when anything was lost, wrong, kept from the report, or
drifted. With the numbers it is given by default it takes hours on two cores.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HERE = Path(__file__).resolve()
for folder in (HERE.parents[2] / "host", HERE.parents[1], HERE.parents[1] / "rigs"):
    sys.path.insert(0, str(folder))

from rich.console import Console  # noqa: E402 - the path is set only now
from rich.table import Table  # noqa: E402

from campaign.fault_worker import fault_worker  # noqa: E402
from campaign.fork_server import ForkServer  # noqa: E402
from campaign.hard_night import HardNight, dishonest  # noqa: E402
from campaign.meddling import KINDS, Meddling  # noqa: E402
from campaign.sick_gauge import SickNights  # noqa: E402
from campaign.tally import Tally, added, table  # noqa: E402
from campaign.week import Week  # noqa: E402

LANES = 2
show = Console(width=120).print


def harms(folder: Path, number: int, seed: int) -> list[str]:
    """So many kills of the host and resets of the device, and a tenth of it of each other harm."""
    rare = -(-number // 10 // LANES)
    each = {"host killed": number // LANES - rare, "device reset": number // LANES - rare, "both": rare,
            "cable cut": rare, "port renamed": rare}  # fmt: skip

    def on_a_lane(lane_number: int) -> Tally:
        with fault_worker(folder / f"lane-{lane_number}", seed * LANES + lane_number) as bench:
            bench.until(each)
            return bench.tally

    with ThreadPoolExecutor() as pool:
        total = added(pool.map(on_a_lane, range(LANES)))
    show(table(total))
    return total.lost + total.wrong


def sick(folder: Path, each: int, seed: int) -> list[str]:
    """Gauges that fall sick, each kind so often."""
    folder.mkdir()
    with ForkServer("campaign.host", folder / "hosts.txt") as server:
        nights = SickNights(folder, seed, server)
        nights.until(each)
    show(table(nights.tally))
    return nights.tally.lost + nights.tally.wrong


def files(folder: Path, number: int, seed: int) -> list[str]:
    """So many nights with whose files somebody meddles, each way in turn."""
    folder.mkdir(parents=True)
    with ForkServer("campaign.host", folder / "hosts.txt") as server:
        meddling = Meddling(folder, server, seed)
        for i in range(number):
            meddling.night(KINDS[i % len(KINDS)])
    show(table(meddling.tally))
    return meddling.tally.lost + meddling.tally.wrong


def hard_night(folder: Path, shafts: int, seed: int) -> list[str]:
    """One night with everything in it."""
    folder.mkdir()
    with ForkServer("campaign.host", folder / "hosts.txt") as server:
        night = HardNight(folder / "night", server, shafts, seed)
        report = night.sort()
    show(table(night.tally), f"report: {report}")
    return night.tally.lost + night.tally.wrong + dishonest(folder / "night", report)


def week(folder: Path, shafts: int) -> list[str]:
    """Quiet nights."""
    folder.mkdir()
    with ForkServer("campaign.host", folder / "hosts.txt") as server:
        nights = Week(folder / "nights", server)
        nights.sort(shafts)
    rows = Table("night", "host MB", "device MB", "archive bytes/shaft", "store bytes/shaft", "s/shaft here",
                 "sample interval, us", "device hours", box=None)  # fmt: skip
    for number, night in enumerate(nights.nights, 1):
        rows.add_row(
            str(number), f"{max(night.host_kb) / 1024:.1f}", f"{max(night.device_kb) / 1024:.1f}",
            f"{night.archive_bytes:.0f}", f"{night.store_bytes:.0f}", f"{night.seconds:.2f}",
            f"{night.interval_us:.2f}", f"{night.device_hours:.2f}",
        )  # fmt: skip
    show(rows, f"shafts: {nights.tally.fed}, lost: {len(nights.tally.lost)}, wrong: {len(nights.tally.wrong)}")
    return nights.tally.lost + nights.tally.wrong + nights.drifts()


def main() -> int:
    """Run the parts asked for; 0 when nothing was found."""
    parser = argparse.ArgumentParser(prog="tests/campaign", description="the soak of the fault campaign")
    parser.add_argument("--harms", type=int, default=5000, help="kills of the host, and resets of the device; 0: none")
    parser.add_argument("--sick", type=int, default=100, help="nights with each sickness of the gauge; 0: none")
    parser.add_argument("--files", type=int, default=240, help="nights whose files are meddled with; 0: none")
    parser.add_argument("--shafts", type=int, default=500, help="of the hard night; 0: none")
    parser.add_argument("--week", type=int, default=5000, help="shafts of the week of nights; 0: none")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, default=None, help="where everything is kept; else a temporary one")
    asked = parser.parse_args()
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="midspan-soak-"))
    folder.mkdir(parents=True, exist_ok=True)
    begun_s = time.monotonic()
    found: list[str] = []
    if asked.harms:
        found += harms(folder / "harms", asked.harms, asked.seed)
    if asked.sick:
        found += sick(folder / "sick", asked.sick, asked.seed)
    if asked.files:
        found += files(folder / "files", asked.files, asked.seed)
    if asked.shafts:
        found += hard_night(folder / "hard", asked.shafts, asked.seed)
    if asked.week:
        found += week(folder / "week", asked.week)
    for event in found:
        show(f"[bold]FOUND[/bold] {event}")
    minutes = (time.monotonic() - begun_s) / 60
    show(f"{'FAILED' if found else 'passed'} in {minutes:.1f} minutes; everything is kept in {folder}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
