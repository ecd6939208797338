"""A gauge that falls sick in the night: a broken home wire, a cell wired the other way, a converter at another rate.

Each must end in a night that stops, names the fault and says what to do, with a head that presses on nothing; mended,
the night goes on and loses nothing. A head that stands above its home switch at power-on is no sickness.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

from midspan.rehearsal import scenario
from midspan.report.night_html import write_report
from midspan.store.place import StorePlace

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.cable import untouched
from campaign.fork_server import KILLED, ForkServer
from campaign.line_tap import LineTap
from campaign.night_files import Stock
from campaign.tally import Tally

SHAFTS = 3
BUSY_S = 40.0  # of the device's time: in it something is measured
FOR_EVER_S = 1e6
SEARCH_S = 1.0  # within which home is found after a start
WAY_MM = 54.0  # above home that the search ends if the switch never closes: nobody knows yet where the head is
UP_MM = 3.2  # at home, or as far above or below it as the device may take the head to be there
HOSTS_MOST = 12


@dataclass(frozen=True)
class Sickness:
    """What is wrong with the gauge, drawn anew each time: its keys, its feeder's; and the fault that tells of it."""

    gauge: Callable[[Random], dict[str, Any]]
    feeder: Callable[[Random], dict[str, Any]]
    code: str | None


def _nothing(_: Random) -> dict[str, Any]:
    return {}


def _breaks(kind: str) -> Callable[[Random], dict[str, Any]]:
    return lambda random: {f"home_{kind}": [[random.uniform(0.0, BUSY_S), FOR_EVER_S]]}


SICKNESSES = {
    "home wire broken, always closed": Sickness(_nothing, _breaks("closed"), "HOME_STUCK"),
    "home wire broken, never closed": Sickness(_nothing, _breaks("open"), "HOME_NOT_FOUND"),
    "cell wired the other way round": Sickness(
        lambda random: {"count_per_n": -scenario.COUNT_PER_N * random.uniform(0.9, 1.1)}, _nothing, "FORCE_REVERSED"
    ),
    "converter at an eighth of its rate": Sickness(lambda _: {"interval_us": 100_000.0}, _nothing, "CELL_SILENT"),
    "switched on above home": Sickness(lambda random: {"start_mm": -random.uniform(0.0, 2.0)}, _nothing, None),
}


class SickNights:
    """Short nights in a folder, one sickness in each; the tally has what was found."""

    def __init__(self, folder: Path, seed: int, server: ForkServer) -> None:
        self.tally = Tally()
        self._folder, self._random, self._server = folder, Random(seed), server

    def until(self, each: int) -> None:
        """Sort until each sickness was there so often."""
        for name, sickness in SICKNESSES.items():
            while self.tally.injected[name] < each:
                self._night(name, sickness)

    def _night(self, name: str, sickness: Sickness) -> None:
        folder = self._folder / f"sick-{self.tally.nights}"
        self.tally.nights += 1
        sound = night_files.stock(SHAFTS, self._random.getrandbits(30))
        sick = replace(sound, gauge=sickness.gauge(self._random), feeder=sickness.feeder(self._random))
        ear = LineTap(untouched)
        with Bench(folder, self._server, sick, ear) as bench:
            is_over, words = self._sorted(bench, person=False)
            bench.device.leave()
            if is_over and sickness.code and not sick.gauge:
                self.tally.instants["nothing: the wire broke when nothing moved any more"] += 1
            else:
                self.tally.injected[name] += 1
                self._judge(bench, name, sickness.code, is_over, words)
                early = any(begin < SEARCH_S for begin, _ in sick.feeder.get("home_open", ()))
                self._look_at_head(bench, name, WAY_MM if early else UP_MM)
            self._mend(bench, sound)
            invariants.whole_night(self.tally, bench, ear.released)

    def _sorted(self, bench: Bench, *, person: bool) -> tuple[bool, str]:
        """Hosts, some of which die at any instant, until one ends by itself; what that one said."""
        for left in range(HOSTS_MOST, 0, -1):
            dies = left > 1 and not person and self._random.random() < 0.3
            die = ["write", self._random.randint(1, 50), self._random.random() < 0.5] if dies else None
            bench.start_host(person=person, die=die)
            status = bench.ended()
            self.tally.injected["host killed"] += status == KILLED
            if status != KILLED and (bench.over[0] or not person):
                break
        return bench.over

    def _judge(self, bench: Bench, name: str, code: str | None, is_over: bool, words: str) -> None:
        """A sick gauge stops the night, says why, and leaves its head where it presses on nothing."""
        where = f"{name}, {bench.folder.name}"
        if (code is None) != is_over or (code is not None and code not in words):
            self.tally.wrong.append(f"{where}: the night ended with {words!r}")
        if code is not None:
            self.tally.waits[code] += 1
            report, _ = write_report(StorePlace(bench.store), None, bench.folder / "night.html")
            if code not in report.read_text(encoding="utf-8"):
                self.tally.wrong.append(f"{where}: the report does not tell of {code}")

    def _look_at_head(self, bench: Bench, name: str, above_mm: float) -> None:
        """Hold that the head presses on nothing, and is at home or at most so far above it."""
        where = f"{name}, {bench.folder.name}"
        head_mm, force_n = head(bench.folder / "world.txt")
        if force_n or not -above_mm <= head_mm <= UP_MM:
            self.tally.wrong.append(f"{where}: the head was left at {head_mm} mm, pressing {force_n} N")

    def _mend(self, bench: Bench, sound: Stock) -> None:
        """A person mends the gauge, switches it on and looks after the rest of the night."""
        night_files.write(bench.folder, sound, str(bench.cable.port))
        bench.device.start()
        if not bench.over[0]:
            self._sorted(bench, person=True)
        assert bench.over[0], f"{bench.folder}: mended, and it does not get on: {bench.over[1]}"


def head(world: Path) -> tuple[float, float]:
    """Return where the head was at the last power cut, mm below home, and how hard it pressed, N."""
    told = [line.split(" ") for line in world.read_text().splitlines() if line.split(" ")[2] == "head"]
    return float(told[-1][3]), float(told[-1][5])
