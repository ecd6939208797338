"""One long night in which everything goes wrong at least once, and the report that has to tell of all of it."""

from __future__ import annotations

import os
import resource
import signal
import sqlite3
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from random import Random

from midspan.report.night_data import read_night
from midspan.report.night_html import write_report
from midspan.report.night_statistics import places
from midspan.store.place import StorePlace
from midspan.wire.records import Phase

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.corruption import Spoiler
from campaign.fork_server import KILLED, ForkServer
from campaign.ground_truth import World
from campaign.line_tap import LineTap
from campaign.night_files import BAR, STANDARD, Stock
from campaign.tally import Tally

SHAFTS = 500
SHAFT_S = 12.0  # of the device's time, about, so that what the world has in store comes all through the night
OTHER = 9001  # what somebody puts into the slot in place of the check standard
SICK = {
    "soft": {"fault": "soft"}, "stiff": {"fault": "stiff_jam"}, "silent": {"fault": "cell_silent"},
    "stuck": {"fault": "cell_stuck"}, "step": {"fault": "cell_out_of_step"}, "full": {"fault": "cell_saturated"},
    "gone": {"fault": "absent"}, "lost": {"lost_steps": 400}, "thick": {"diameter_mm": 7.8, "bow_mm": 0.2},
}  # fmt: skip
# Each of these is caused in the night, so the report has to name it.
CODES = """
    CELL_SILENT CELL_STUCK CELL_OUT_OF_STEP CELL_SATURATED NO_CONTACT FORCE_LIMIT TRAVEL_LIMIT LOST_STEPS
    SHAFT_SHORT TWO_SHAFTS JAM BIN_FULL LID_OPEN EMERGENCY_STOP HOST_SILENT GAUGE_RESET PORT_LOST
    DISK_FULL STORE_LOCKED CLOCK_JUMP CELL_NOISY ROLLER_SLIP CHECK_OUT_OF_CONTROL CRACK_SUSPECTED
"""
TIMES = 5
STILL_S, FULL_S, LOCKED_S = 2.5, 2.0, 3.0  # real time: longer than the device's patience, than a pause of the host
SEE_S = 0.02


def hard_stock(shafts: int, seed: int) -> Stock:
    """The stock, some of it sick, and all that the world has in store for the night."""
    random = Random(seed)
    stock = night_files.stock(shafts, seed)
    own = iter(random.sample(range(2, shafts - 1), shafts - 3))
    for harm in SICK.values():
        stock.shafts[next(own)].update(harm)
    night_s = shafts * SHAFT_S
    stock.feeder.update(
        two_at_once=[next(own) for _ in range(3)], short=[next(own) for _ in range(2)],
        jam_in=[next(own) for _ in range(2)], jam_out=[[next(own), 2], [next(own), 3], [next(own), 9]],
        unseen=[next(own) for _ in range(3)], full=[[2, shafts // 20]], person_s=1.0,
        lid=_times(0.02, 8.0, night_s), stop=_times(0.05, 8.0, night_s), silent=_times(0.07, 3.0, night_s),
        noisy=_times(0.09, 60.0, night_s),
        reset=sorted(random.uniform(0.0, night_s) for _ in range(12)),
        hands=[[0.50 * night_s, STANDARD, "floor"], [0.50 * night_s, OTHER, "slot"],
               [0.75 * night_s, OTHER, "floor"], [0.75 * night_s, STANDARD, "slot"]],
    )  # fmt: skip
    stock.others[OTHER] = BAR | {"spine_thou": 507.0}
    return stock


def _times(first: float, lasting_s: float, night_s: float) -> list[list[float]]:
    """Several times in the night, of which some fall into a motion."""
    return [[(first + i / TIMES) * night_s, lasting_s] for i in range(TIMES)]


class HardNight:
    """Sorts it with a person who always answers, and does from outside what the world cannot."""

    def __init__(self, folder: Path, server: ForkServer, shafts: int, seed: int) -> None:
        self.tally = Tally(nights=1)
        self._random, self._shafts = Random(seed), shafts
        spoilers = [Spoiler(self._random, 50.0) for _ in range(2)]
        self._ear = LineTap(spoilers[0])
        stock = hard_stock(shafts, seed)
        self._bench = Bench(folder, server, stock, self._ear, spoilers[1], every_shafts=max(6, shafts // 20))
        self._spoilers = spoilers
        self._harms: list[tuple[str, Callable[[], None]]] = [
            ("host killed", self._kill), ("device reset", self._reset), ("port renamed", self._rename),
            ("disk full", self._fill), ("database locked", self._lock), ("host silent", self._still),
            ("clock jump", self._jump),
        ]  # fmt: skip
        self._clock_s = 0.0

    def sort(self) -> Path:
        """Sort to the end; the report. The tally has what was found."""
        bench = self._bench
        with bench:
            self._start()
            for number in range(3 * len(self._harms)):
                self._wait_for((number + 1) * self._shafts // (3 * len(self._harms) + 2))
                name, harm = self._harms[number % len(self._harms)]
                self.tally.injected[name] += 1
                harm()
            self._wait_for(1 << 30)
            invariants.whole_night(self.tally, bench, self._ear.released)
        self._count_what_the_world_did()
        report, _ = write_report(StorePlace(bench.folder / "results.db"), None, bench.folder / "night.html")
        return report

    def _start(self) -> None:
        self._bench.start_host(person=True, wait_s=0.2, clock_s=self._clock_s)

    def _wait_for(self, gone: int) -> None:
        """Until so many shafts have left the gauge, or the night is over."""
        while self._gone() < gone:
            status = self._bench.ended(SEE_S)
            if status == 0 and self._bench.over[0]:
                return
            if status is not None:
                self.tally.waits[self._bench.over[1]] += status == 0
                self._start()

    def _gone(self) -> int:
        return sum(where.startswith("place") for where in World.read(self._bench.folder / "world.txt").where.values())

    # From outside

    def _kill(self) -> None:
        self._bench.kill_host()
        if self._bench.ended() == KILLED:
            self._start()

    def _reset(self) -> None:
        self._bench.device.kill()
        self._bench.device.start()

    def _rename(self) -> None:
        self._bench.cable.cut()
        time.sleep(0.3)
        self._bench.plug_again(1)

    def _fill(self) -> None:
        limit = resource.RLIMIT_FSIZE
        resource.prlimit(self._bench.pid, limit, (night_files.ROOM_BYTES, resource.RLIM_INFINITY))
        time.sleep(FULL_S)
        resource.prlimit(self._bench.pid, limit, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))

    def _lock(self) -> None:
        with closing(sqlite3.connect(self._bench.folder / "results.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            time.sleep(LOCKED_S)
            other.execute("ROLLBACK")

    def _still(self) -> None:
        self._ear.arm(Phase.FULL, lambda: os.kill(self._bench.pid, signal.SIGSTOP))
        self._ear.sprung.wait()
        time.sleep(STILL_S)
        os.kill(self._bench.pid, signal.SIGCONT)

    def _jump(self) -> None:
        self._clock_s += 3600.0
        os.kill(self._bench.pid, signal.SIGUSR1)  # the host's clock goes on an hour at once

    # What has to be told

    def _count_what_the_world_did(self) -> None:
        kinds: Counter[str] = Counter()
        for line in (self._bench.folder / "world.txt").read_text().splitlines():
            _, shaft, what = line.split(" ", 2)
            kinds[what] += shaft == "-"
        self.tally.injected.update({what: number for what, number in kinds.items() if number})
        self.tally.injected["frames spoilt"] += sum(spoiler.spoilt for spoiler in self._spoilers)


def dishonest(folder: Path, report: Path) -> list[str]:
    """Return what the report leaves out: a fault, a place to recount, or a difference in a place."""
    page, world = report.read_text(encoding="utf-8"), World.read(folder / "world.txt")
    found = [f"nothing is told of {code}" for code in CODES.split() if code not in page]
    with StorePlace(folder / "results.db").open() as store:
        record = read_night(store, None)
    for place in places(record):
        named = f"Recount {place.name}." in page
        if place.unsure and not named:
            found.append(f"{place.name} is not named to be recounted")
        fell = sum(shaft.passed for shaft in place.here)
        if place.use != "standard" and fell != len(world.in_place(place.number)) and not named:
            found.append(f"{place.name}: {fell} by the chute, {len(world.in_place(place.number))} by the world")
    return found
