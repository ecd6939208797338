"""A week of quiet nights in virtual time: memory stays flat, files grow by the same for each shaft, no clock drifts."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

import numpy as np
from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.fork_server import ForkServer
from campaign.tally import Tally

NIGHTS = 7
LOOK_S = 2.0
# Relative; the store's pages are half full here and there, and an interval is known to some microseconds.
DRIFTS = {"archive_bytes": 0.02, "store_bytes": 0.1, "interval_us": 1e-4, "unsampled_ms": 0.01}
MORE = 1.15  # times the memory of before: an allocator is not exact


@dataclass
class NightFigures:
    """Of one night: memory of host and device at its quarters, bytes a shaft, time a shaft, and the device's clock."""

    host_kb: list[int] = field(default_factory=list)
    device_kb: list[int] = field(default_factory=list)
    archive_bytes: float = 0.0
    store_bytes: float = 0.0
    seconds: float = 0.0
    interval_us: float = 0.0
    unsampled_ms: float = 0.0
    device_hours: float = 0.0

    def look(self, host: int, device: int) -> None:
        """Note the memory of two processes that run."""
        now = _resident_kb(host), _resident_kb(device)
        if all(now):
            self.host_kb.append(now[0])
            self.device_kb.append(now[1])


class Week:
    """Nights into the same archive and store, each with a full hopper and a gauge that was switched on anew."""

    def __init__(self, folder: Path, server: ForkServer) -> None:
        self.tally, self.nights = Tally(), list[NightFigures]()
        self._folder, self._server = folder, server

    def sort(self, shafts: int, nights: int = NIGHTS) -> None:
        """Sort at least so many shafts."""
        for number in range(nights):
            self._night(number, -(-shafts // nights))

    def _night(self, number: int, shafts: int) -> None:
        stock = night_files.stock(shafts, number + 1)
        before, begun_s = self._sizes(), time.monotonic()
        with Bench(self._folder, self._server, stock, every_shafts=50) as bench:
            figures = NightFigures()
            bench.start_host(anew=True)
            while (status := bench.ended(LOOK_S)) is None:
                figures.look(bench.pid, bench.device.pid)
            assert (status, bench.over) == (0, (True, "the hopper is empty")), bench.over
            figures.seconds = (time.monotonic() - begun_s) / shafts
            invariants.whole_night(self.tally, bench)
        self.tally.nights += 1
        after = self._sizes()
        figures.archive_bytes = (after[0] - before[0]) / shafts
        figures.store_bytes = (after[1] - before[1]) / shafts
        self._read_clocks(figures, before[0])
        world = self._folder / "world.txt"
        figures.device_hours = int(world.read_text().splitlines()[-1].split(" ")[0]) / 3.6e6
        world.rename(self._folder / f"world-{number}.txt")
        self.nights.append(figures)

    def _sizes(self) -> tuple[int, int]:
        paths = (self._folder / name for name in ("readings.avro", "results.db"))
        archive, store = (path.stat().st_size if path.exists() else 0 for path in paths)
        return archive, store

    def _read_clocks(self, figures: NightFigures, offset: int) -> None:
        """Return what the night's runs say about the device's clock; earlier nights lie before the offset."""
        entries = Archive.open(self._folder / "readings.avro").entries()
        runs = [run for at, run in entries if at >= offset and run.complete]
        figures.interval_us = float(median(np.median(np.diff(run.tick_us)) for run in runs))
        figures.unsampled_ms = float(median(map(_unsampled_ms, runs)))

    def drifts(self) -> list[str]:
        """Return what grew after the second night; the first night also makes the files."""
        first, last = self.nights[1], self.nights[-1]
        found = []
        for name, share in DRIFTS.items():
            was, now = getattr(first, name), getattr(last, name)
            if abs(now / was - 1) > share:
                found.append(f"{name} went from {was:.6g} in the second night to {now:.6g} in the last")
        for name in ("host_kb", "device_kb"):
            was, now = getattr(first, name), getattr(last, name)
            early = max(now[: len(now) // 4 + 1])
            if max(now) > MORE * max(was) or max(now) > MORE * early:
                found.append(f"{name}: {max(was)} in the second night, {early} early and {max(now)} late in the last")
        return found


def _unsampled_ms(run: RawRun) -> float:
    """Part of the cycle's time, by the device's own count, that its readings do not cover."""
    return run.duration_ms - float(run.tick_us[-1]) / 1000


def _resident_kb(pid: int) -> int:
    try:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1])
    except OSError:  # it has just ended
        pass
    return 0
