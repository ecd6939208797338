"""Feeding and releasing over the whole line: host, pty, device code on MicroPython.

The device killed at any instant.

A kill is a real SIGKILL of the device's process at a random moment of an order. The world's file, which neither the
device code nor the host reads, says where each shaft is.
"""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import time
import tty
from collections import Counter
from pathlib import Path
from random import Random
from typing import Any, Self

import pytest
from midspan.base.errors import DeviceFault, MidspanError, ProtocolError
from midspan.link.gauge import Gauge
from midspan.link.serial_port import SerialLink
from midspan.rehearsal.process import interpreter_command
from midspan.wire.records import FaultCode, Feed, Identify, LastRelease, Release, Source, State
from midspan.wire.schema import data_folder
from rig import CYCLE, gauge_on

pytestmark = pytest.mark.process

SHORT = {"turn_steps": 160, "turn_again_steps": 160, "zero_readings": 4}
STANDARD = 90


def scenario_in(folder: Path, shafts: int = 5, **keys: Any) -> dict[str, Any]:
    """Return a scenario with a feeder, whose files are in a folder."""
    feeder = {"slot": STANDARD, "return_place": 6, "world": str(folder / "world.txt")}
    stock = [{"number": number, "spine_thou": 480.0 + number} for number in range(1, shafts + 1)]
    return {"shafts": [*stock, {"number": STANDARD}], "feeder": feeder | {"record": str(folder / "last.json")} | keys}


def ledger(folder: Path) -> dict[int, str]:
    """Return where each shaft is that was ever moved."""
    found = {}
    path = folder / "world.txt"
    for line in path.read_text().splitlines() if path.exists() else ():
        _, shaft, where = line.split(" ", 2)
        if shaft != "-" and not where.startswith("measured"):
            found[int(shaft)] = where
    return found


def test_shafts_and_a_standard_go_through_the_gauge(tmp_path: Path) -> None:
    with gauge_on(scenario_in(tmp_path), tmp_path) as gauge:
        first = gauge.settled()
        assert (first.feeder.places, first.guards, first.feeder.hopper, first.feeder.slot, first.feeder.in_gauge) == (
            6,
            3,
            True,
            True,
            None,
        )
        for number, source, place in ((11, Source.HOPPER, 2), (12, Source.SLOT, 6), (13, Source.HOPPER, 3)):
            found = gauge.feed(number, source)
            assert (found.state, found.feeder.in_gauge, found.fault) == (State.LOADED, number, None)
            run = gauge.run(number, "", CYCLE)
            assert run.complete
            gauge.acknowledge(number)
            found = gauge.release(number, place)
            assert (found.state, found.feeder.in_gauge, found.feeder.seated) == (State.IDLE, None, False)
            assert found.feeder.last_release == LastRelease(number, place, True, 1)
    assert ledger(tmp_path) == {1: "place 2", STANDARD: "slot", 2: "place 3"}
    assert "1 measured as 11" in (tmp_path / "world.txt").read_text()


def test_what_the_sensors_saw_comes_back_with_the_order(tmp_path: Path) -> None:
    with gauge_on(scenario_in(tmp_path, shafts=3, short=[1], two_at_once=[2]), tmp_path) as gauge:
        assert gauge.feed(11, Source.HOPPER).fault is FaultCode.SHAFT_SHORT
        assert gauge.release(11, 5).feeder.last_release == LastRelease(11, 5, True, 1)
        assert gauge.feed(12, Source.HOPPER).fault is FaultCode.TWO_SHAFTS
        assert gauge.release(12, 5).feeder.last_release == LastRelease(12, 5, True, 2)
        found = gauge.feed(13, Source.HOPPER)
        assert (found.state, found.feeder.in_gauge, found.fault) == (State.IDLE, None, FaultCode.HOPPER_EMPTY)


def test_a_jam_stops_the_gauge_until_it_is_cleared(tmp_path: Path) -> None:
    with gauge_on(scenario_in(tmp_path, jam_out=[[1, 4]]), tmp_path) as gauge:
        gauge.feed(11, Source.HOPPER)
        found = gauge.release(11, 2)
        assert (found.state, found.fault, found.feeder.seated) == (State.FAULTED, FaultCode.JAM, True)
        with pytest.raises(DeviceFault, match=r"JAM: .*27\)"):
            gauge.release(11, 2)
        gauge.clear_fault()
        assert gauge.feed(11, Source.SEATED).feeder.in_gauge == 11
        assert gauge.release(11, 2).feeder.last_release == LastRelease(11, 2, True, 1)


def test_refusals_say_what_to_do(tmp_path: Path) -> None:
    with gauge_on(scenario_in(tmp_path, lid=[[0, 100_000]]), tmp_path) as gauge:
        with pytest.raises(DeviceFault, match="LID_OPEN: "):
            gauge.feed(11, Source.HOPPER)
        with pytest.raises(DeviceFault, match="CLEAR_FAULT") as refused:
            gauge.clear_fault()
        assert refused.value.code == "LID_OPEN"
    with gauge_on({"shafts": []}, tmp_path / "bare") as gauge:
        with pytest.raises(ProtocolError, match=r"Feed.*NO_FEEDER"):
            gauge.feed(11, Source.HOPPER)
        with pytest.raises(ProtocolError, match=r"Release.*NO_FEEDER"):
            gauge.release(11, 1)


def test_a_reset_while_a_shaft_is_measured_leaves_it_to_be_adopted(tmp_path: Path) -> None:
    # A busy machine feeds later: at one of these moments the shaft is being measured.
    assert any(_was_reset_and_adopted(tmp_path / str(at_s), at_s) for at_s in (6, 8, 10, 5, 12, 4))


def _was_reset_and_adopted(folder: Path, at_s: float) -> bool:
    """Return True if the reset fell into the measuring, after checking what came then."""
    folder.mkdir()
    with gauge_on(scenario_in(folder, reset=[at_s]), folder) as gauge:
        try:
            gauge.feed(11, Source.HOPPER)
            gauge.run(11, "", CYCLE)
        except MidspanError as error:
            if error.code != "reset" or "shaft 11 " not in str(error):
                return False
        else:
            return False
        found = gauge.settled()
        assert (found.state, found.feeder.in_gauge, found.feeder.seated) == (State.IDLE, None, True)
        assert gauge.feed(11, Source.SEATED).feeder.in_gauge == 11
        assert gauge.run(11, "", CYCLE).complete
    assert ledger(folder) == {1: "rollers"}
    return True


# The device killed at any instant


class Killed:
    """A device that is killed and started again on one pseudo-terminal; the world's file and the record outlive it."""

    def __init__(self, folder: Path, scenario: dict[str, Any]) -> None:
        self._scenario = folder / "scenario.json"
        self._scenario.write_text(json.dumps(scenario), encoding="utf-8")
        self._far, near = os.openpty()
        tty.setraw(near)
        self._near = near
        self.link = SerialLink(os.ttyname(near), read_s=0.01)
        self._start()

    def _start(self) -> None:
        script = data_folder("device") / "rehearsal" / "run.py"
        command = [*interpreter_command(6), str(script), str(self._scenario)]
        self._process = subprocess.Popen(command, stdin=self._far, stdout=self._far)

    def hold(self) -> None:
        """Stop the device before it is killed, so that no order can be quicker than the kill."""
        self._process.send_signal(signal.SIGSTOP)

    def kill(self) -> None:
        """End the process as a cut of its supply would, and start it again; what it had not read is lost with it."""
        self._process.kill()
        self._process.wait()
        while select.select([self._far], [], [], 0.0)[0]:
            os.read(self._far, 4096)
        self._start()

    def gauge(self) -> Gauge:
        """Return a host's gauge that knows nothing of what was before."""
        return Gauge(self.link)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.wait()
        self.link.close()
        os.close(self._near)
        os.close(self._far)


def ordered_and_killed(device: Killed, order: Feed | Release, after_s: float | None) -> Identify:
    """Give an order, kill the device later (None: before it reads it), and return the next one's first answer."""
    gauge = device.gauge()
    gauge.settled()
    if after_s is None:
        device.hold()
    gauge.session.handle(order, 0.0)
    device.link.write(gauge.session.outgoing())
    until_s = time.perf_counter() + (after_s or 0.0)
    while time.perf_counter() < until_s:
        pass  # a sleep would not end to the millisecond
    device.kill()
    return device.gauge().settled()


def delay_s(kill: int, random: Random) -> float | None:
    """Return the time from an order to a kill: None to kill before it is read, or up to when it is surely done."""
    return {0: None, 1: SURE_S}.get(kill, random.uniform(0, LONGEST_S))


KILLS = 20
SURE_S = 0.5  # by then it has surely come
LONGEST_S = 0.02  # an order takes some milliseconds


def test_a_kill_while_a_shaft_comes_or_goes_leaves_it_in_one_place(tmp_path: Path) -> None:
    """Greet, adopt what lies there, and order again: Identify is enough to lose no shaft."""
    random = Random(4)
    outcomes: Counter[str] = Counter()
    number = 100
    with Killed(tmp_path, scenario_in(tmp_path, shafts=0, hopper=list(range(1, KILLS + 1)))) as device:
        for kill in range(KILLS):
            number += 1
            before = ledger(tmp_path)
            found = ordered_and_killed(device, Feed(number, Source.HOPPER), delay_s(kill, random))
            came = {shaft: where for shaft, where in ledger(tmp_path).items() if before.get(shaft) != where}
            assert list(came.values()) == (["rollers"] if found.feeder.seated else [])
            assert (found.state, found.feeder.in_gauge, found.fault) == (State.IDLE, None, None)
            outcomes["came" if came else "stayed in the hopper"] += 1
            gauge = device.gauge()
            gauge.feed(number, Source.SEATED if found.feeder.seated else Source.HOPPER)
            (shaft,) = [shaft for shaft, where in ledger(tmp_path).items() if where == "rollers"]
            found = ordered_and_killed(device, Release(number, 1 + number % 5), delay_s(kill, random))
            where, last = ledger(tmp_path)[shaft], found.feeder.last_release
            assert where == ("rollers" if found.feeder.seated else f"place {1 + number % 5}")
            if last is not None and last.shaft == number:
                assert last.place == 1 + number % 5
                assert (last.done and last.passed == 1) or not (last.done or last.passed)
                assert not (last.done and found.feeder.seated)
            mine = last is not None and last.shaft == number
            outcomes[f"{'stays' if found.feeder.seated else 'went'}, {last.done if mine else 'another'}"] += 1
            if found.feeder.seated:
                gauge = device.gauge()
                gauge.feed(number, Source.SEATED)
                assert gauge.release(number, 5).feeder.last_release == LastRelease(number, 5, True, 1)
        everywhere = Counter(ledger(tmp_path).values())
        assert everywhere["rollers"] == 0
        assert sum(everywhere.values()) == KILLS
    assert {"came", "stayed in the hopper"} <= set(outcomes)
    assert {"stays, another", "went, True"} <= set(outcomes)
