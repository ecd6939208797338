"""A line that spoils one frame in twenty, both ways: every shaft comes whole, with the very readings that were sent.

Flipped bits, drops, duplicates, truncation, noise and the chatter of other programs, over the real device code.
"""

from __future__ import annotations

import json
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
import rig
from midspan.archive.raw_run import COLUMNS, RawRun
from midspan.base.errors import LinkError, ProtocolError
from midspan.link.gauge import Gauge
from midspan.link.serial_port import SerialLink
from midspan.rehearsal.process import interpreter_command
from midspan.wire.schema import data_folder
from perfect import PERFECT

from campaign.cable import Cable, Pass, untouched
from campaign.corruption import Spoiler

pytestmark = pytest.mark.process

SHAFTS = 12
EVERY = 20  # one frame in so many is spoilt
HASTE = 5  # the host's clock runs so much faster, that no test waits for what was lost
CYCLE = rig.cycle(turn_steps=300)
# Round rollers: those of a run that was not ordered before would stand elsewhere.
SCENARIO = {
    "seed": 5,
    "gauge": PERFECT,
    "shafts": [{"number": n, "spine_thou": 400.0 + 20 * n, "bow_mm": 0.1} for n in range(SHAFTS)],
}


@contextmanager
def device(folder: Path, to_host: Pass = untouched, to_device: Pass = untouched) -> Iterator[Cable]:
    """The device code on the scenario, at the end of a cable that is not plugged in yet."""
    scenario = folder / "scenario.json"
    scenario.write_text(json.dumps(SCENARIO))
    command = [*interpreter_command(SHAFTS), str(data_folder("device") / "rehearsal" / "run.py"), str(scenario)]
    cable = Cable(to_host, to_device)
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        cable.join(process.stdin.fileno(), process.stdout.fileno())
        yield cable
        cable.close()
        process.stdin.close()


def hasty(link: SerialLink) -> Gauge:
    return Gauge(link, lambda: HASTE * time.monotonic())


def measured(gauge: Gauge, shaft: int) -> RawRun:
    """The shaft's run, fetched when the conversation broke off after it was measured."""
    for _ in range(20):
        try:
            if gauge.settled().held_shaft == shaft:
                return gauge.fetch(shaft, "")
            return gauge.run(shaft, "", CYCLE)
        except (LinkError, ProtocolError):
            continue
    raise AssertionError("twenty tries brought no shaft")


def acknowledged(gauge: Gauge, shaft: int) -> None:
    for _ in range(20):
        try:
            if gauge.settled().held_shaft == shaft:
                gauge.acknowledge(shaft)
            return
        except (LinkError, ProtocolError):
            continue
    raise AssertionError("twenty tries and it is still held")


def runs(gauge: Gauge) -> list[RawRun]:
    found = []
    for shaft in range(SHAFTS):
        found.append(measured(gauge, shaft))
        acknowledged(gauge, shaft)
    return found


def as_sent(run: RawRun, smooth: RawRun) -> bool:
    """Return True if these are exactly the readings of the smooth line.

    A frame of the host that was spoilt may leave the device alone for so long that it gives the shaft up (the simulated
    clock runs ahead of the line): then they are the first of them, and the run says so.
    """
    if run.cause == "HOST_SILENT":
        return not run.complete and all(
            np.array_equal(getattr(run, column), getattr(smooth, column)[: len(run)]) for column in (*COLUMNS, "status")
        )
    return run == replace(smooth, started_ms=run.started_ms, boot=run.boot, label=run.label)


@pytest.fixture(scope="module")
def smooth(tmp_path_factory: pytest.TempPathFactory) -> list[RawRun]:
    folder = tmp_path_factory.mktemp("smooth")
    with device(folder) as cable:
        cable.plug_in(folder / "port")
        with SerialLink(str(folder / "port")) as link:
            return runs(hasty(link))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_reading_comes_as_it_was_sent(tmp_path: Path, smooth: list[RawRun], seed: int) -> None:
    spoilers = [Spoiler(Random(seed), EVERY), Spoiler(Random(-seed), EVERY)]
    with device(tmp_path, *spoilers) as cable:
        cable.plug_in(tmp_path / "port")
        with SerialLink(str(tmp_path / "port")) as link:
            rough = runs(hasty(link))
    assert all(map(as_sent, rough, smooth))
    assert sum(run.complete for run in rough) >= SHAFTS // 2
    assert all(spoiler.spoilt >= spoiler.frames / EVERY / 2 > 3 for spoiler in spoilers)


def test_a_cable_that_is_cut_in_mid_shaft_loses_nothing(tmp_path: Path, smooth: list[RawRun]) -> None:
    """Plugged in again under another name, the gauge still holds what it read."""
    random = Random(4)
    with device(tmp_path) as cable:
        for shaft in range(0, SHAFTS, 2):
            cable.plug_in(tmp_path / f"port-{2 * shaft}")
            frames_left = [random.randrange(3, 25)]

            def cut_after_some(data: bytes, left: list[int] = frames_left) -> bytes:
                left[0] -= data.count(b"\0")
                return data if left[0] > 0 else b""

            with SerialLink(str(cable.port)) as link:
                Gauge(link).settled()  # on a busy machine its first answer comes later than a hasty host waits
                cable.to_host = cut_after_some
                with pytest.raises(LinkError) as caught:
                    hasty(link).run(shaft, "", CYCLE)
                assert caught.value.code == "silent"
            cable.cut()
            cable.to_host = untouched
            cable.plug_in(tmp_path / f"port-{2 * shaft + 1}")
            with SerialLink(str(cable.port)) as link:
                gauge = hasty(link)
                assert gauge.settled().held_shaft == shaft
                run = gauge.fetch(shaft, "")
                gauge.acknowledge(shaft)
            assert as_sent(run, smooth[shaft])
            cable.cut()
