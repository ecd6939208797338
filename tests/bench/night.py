"""A night of sorting: shafts an hour, the share of sampling in the cycle, latency, resuming, size on disk."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from unittest import mock

import numpy as np
from campaign import host, night_files
from midspan.archive.reader import Archive
from midspan.link.block_assembler import TICK_PERIOD_US
from midspan.link.serial_port import SerialLink
from midspan.link.session_states import AT_REST
from midspan.measurement.cycle_settings import STANDARD
from midspan.rehearsal.process import Rehearsal
from midspan.sorting.recorder import NightRecorder
from midspan.wire.codec import unpack
from midspan.wire.framing import Deframer, Frame

from bench.figure import at_least, at_most, plainly

SHAFTS = 60
RESUMED = 5
SEE_S = 0.002
EVENT = b"\6"  # first byte of an Event: its number in the union, zig-zag
MIDSPAN = Path(sys.executable).with_name("midspan")


class Watch:
    """Watches a night: its states in the device's time, the host's own time, how long each verdict took.

    The device's clock runs ahead while it waits for the simulated host, so only states in which something moves count;
    what the host needs between them, its disk included, is measured in real time.
    """

    def __init__(self):
        self.moving_us = self.waited_s = self.last_s = 0
        self.latency_s = []
        self._since = None
        self._deframer = Deframer()

    def read(self, read):
        """Return a line's `read` that notes what comes, and how long it waited."""

        def noted(link):
            begun = time.perf_counter()
            data = read(link)
            now = time.perf_counter()
            self.waited_s += now - begun
            self.last_s = now if data else self.last_s
            for frame in self._deframer.feed(data):
                if isinstance(frame, Frame) and frame.body[:1] == EVENT:
                    self._note(unpack(frame.body))
            return data

        return noted

    def judge(self, judge):
        """Return a recorder's `judge` that notes when it is done."""

        def noted(*arguments):
            found = judge(*arguments)
            self.latency_s.append(time.perf_counter() - self.last_s)
            return found

        return noted

    def _note(self, event):
        if event.previous not in AT_REST and self._since is not None:
            self.moving_us += (event.tick_us - self._since) % TICK_PERIOD_US
        self._since = event.tick_us


def sorted_night(folder):
    """Sort a quiet run with the cycle of a real gauge; return what was seen, and the host's own time in seconds."""
    watch = Watch()
    with (
        mock.patch.object(SerialLink, "read", watch.read(SerialLink.read)),
        mock.patch.object(NightRecorder, "judge", watch.judge(NightRecorder.judge)),
        simulated(folder, SHAFTS),
    ):
        begun = time.perf_counter()
        assert host.sort(folder, {}).is_over
        return watch, time.perf_counter() - begun - watch.waited_s


def simulated(folder, shafts):
    """Write the files of a run and its gauge; return what to enter."""
    night_files.write(folder, night_files.stock(shafts, 1), "", cycle=STANDARD)
    gauge = Rehearsal(json.loads((folder / "scenario.json").read_text()), folder / "gauge")

    class Plugged:
        def __enter__(self):
            gauge.__enter__()
            plan = folder / "plan.toml"
            plan.write_text(plan.read_text().replace('port = ""', f'port = "{gauge.port}"'))

        def __exit__(self, *error):
            gauge.__exit__(*error)

    return Plugged()


def resume_times(folder):
    """Return seconds from `midspan sort --resume` to the first recorded step, after SIGKILLs."""
    times, command = [], [str(MIDSPAN), "sort", str(folder / "plan.toml")]
    with simulated(folder, 3 * RESUMED):
        for number in range(RESUMED + 1):
            before, begun = steps(folder), time.perf_counter()
            process = subprocess.Popen(
                [*command, "--resume"] if number else command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            while steps(folder) == before:
                assert process.poll() is None
                time.sleep(SEE_S)
            times.append(time.perf_counter() - begun)
            while steps(folder) < before + 9:  # into the next shaft but one
                time.sleep(SEE_S)
            os.kill(process.pid, signal.SIGKILL)
            process.wait()
    return times[1:]


def steps(folder):
    """Return the number of recorded steps."""
    try:
        with closing(sqlite3.connect(f"file:{folder / 'results.db'}?mode=ro", uri=True)) as store:
            return store.execute("SELECT count(*) FROM steps").fetchone()[0]
    except sqlite3.OperationalError:  # not there yet
        return 0


def figures(folder):
    """Return figures of a run."""
    night = folder / "night"
    watch, own_s = sorted_night(night)
    runs = list(Archive.open(night / "readings.avro").runs())
    passed_s = watch.moving_us / 1e6 + own_s
    sampling_s = sum(run.sampling_ms for run in runs) / 1000
    p50, p99 = np.quantile(watch.latency_s[3:], [0.5, 0.99]) * 1e3  # the first ones pay for imports and tables
    resumed_s = np.median(resume_times(folder / "killed"))
    return [
        at_least(
            "sorting by the standard cycle, check standards included", 3600 * SHAFTS / passed_s, "shafts an hour", 300
        ),
        plainly("share of the sort cycle spent sampling", 100 * sampling_s / passed_s, "%"),
        plainly("last byte to durable verdict in a night, p50", p50, "ms"),
        at_most("last byte to durable verdict in a night, p99", p99, "ms", 50),
        plainly("from the start of sort --resume after a kill to its first step", resumed_s, "s"),
        plainly("archive bytes a shaft sorted", (night / "readings.avro").stat().st_size / SHAFTS, "bytes"),
    ]
