"""A line that repeats earlier frames: the host must not take any of them for new, at any moment of a conversation.

The host's `Gauge` feeds, measures and releases on a scripted gauge that is also reset, while any earlier frames of this
and of earlier starts come again. What the host believes of the gauge is compared with the gauge itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

import pytest
import rig
import scripted_gauge as scripted
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import LinkError
from midspan.link.gauge import Gauge
from midspan.link.session import Session
from midspan.link.stale_frames import Succession
from midspan.wire.records import Source
from scripted_gauge import ScriptedGauge

pytestmark = pytest.mark.slow

BOOTS_BEFORE = 3  # starts of the gauge before this host
HOSTS_NUMBER = 40_000  # first sequence number of this host; earlier hosts began elsewhere
READS_MOST = 3000
TRIES = 4
OF_FEEDER = ("in_gauge", "seated")
SHAFT = 1  # number of a shaft of earlier starts too


class FedGauge(ScriptedGauge):
    """Scripted gauge that measures the shaft it was fed, holds its readings, and can be reset."""

    def _obey(self, name: str, datum: dict) -> None:
        if name == "Program" and self.identify["state"] == "LOADED":
            self.held = scripted.shaft_blocks(datum["shaft"])
            for number, item in enumerate(self.held):  # other readings for each shaft and each start
                item["counts"] = [1000 * datum["shaft"] + 10 * (self.identify["boot"] % 100) + number, 1, 1]
            self.say_event("RUNNING", datum["shaft"])
            self.identify["held_shaft"] = datum["shaft"]
            self.finish()
        else:
            super()._obey(name, datum)

    def reset(self) -> None:
        """Restart: another boot number, frames from 0, nothing held, the number of the shaft forgotten."""
        self._sequence, self.held = 0, []
        feeder = {**(self.identify["feeder"] or scripted.FEEDER), "in_gauge": None}
        boot = self.identify["boot"] + 1
        self.identify.update(boot=boot, state="HOMING", held_shaft=None, held_blocks=0, feeder=feeder)
        self.say_event("IDLE")


@dataclass
class Replay:
    """Link to the gauge that repeats earlier frames at random; `read` never waits."""

    gauge: FedGauge
    random: Random
    chance: float = 0.5
    name: str = "scripted"
    passed: list[bytes] = field(default_factory=list)
    replayed: int = 0
    reads: int = 0
    quiet: bool = False
    _answer: bytes = b""

    def write(self, data: bytes) -> None:
        self._answer += self.gauge.hear(data)

    def read(self) -> bytes:
        self.reads += 1
        assert self.reads < READS_MOST, "the conversation does not end"
        came, self._answer = self._answer + self.gauge.take(), b""
        frames = [frame + b"\0" for frame in came.split(b"\0") if frame]
        line = []
        for frame in [*frames, b""]:
            line += self._again()
            line.append(frame)
            self.passed += [frame] if frame else []
        return b"".join(line)

    def _again(self) -> list[bytes]:
        if self.quiet or not self.passed or self.random.random() > self.chance:
            return []
        chosen = self.random.choices(self.passed, k=self.random.randint(1, 3))
        self.replayed += len(chosen)
        return chosen


def lived_before() -> tuple[FedGauge, list[bytes]]:
    """Return a gauge and all frames that it sent to earlier hosts, in earlier starts and in this one."""
    gauge, said = FedGauge(), []
    for _ in range(BOOTS_BEFORE):
        gauge.reset()
        before = Replay(gauge, Random(0), quiet=True)
        other = Gauge(before, rig.ticking(0.01), session=Session())
        other.settled()
        other.feed(1, Source.HOPPER)
        other.run(1, "", rig.CYCLE)
        other.acknowledge(1)
        other.release(1, 2)
        said += before.passed
    return gauge, said


ORDERS = ("look", "feed", "measure", "release", "reset", "new line")


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from(ORDERS), min_size=3, max_size=12), st.sampled_from((0.05, 0.3, 0.9)), st.integers(0))
def test_repeated_frames_are_not_taken_for_new(orders: list[str], chance: float, seed: int) -> None:
    conversed(orders, chance, seed)


def conversed(orders: list[str], chance: float, seed: int) -> tuple[int, int]:
    """Give orders on a line that repeats frames; return how many it repeated and how often a host gave the line up."""
    gauge, said = lived_before()
    heard, clock, given_up = Succession(sent=HOSTS_NUMBER), rig.ticking(0.02), 0
    link = Replay(gauge, Random(seed), chance, quiet=True)
    host = Gauge(link, clock, session=Session(succession=heard))
    host.identify()  # the first frame that a host hears is new: it compares the others with it
    link.passed, link.quiet = said + link.passed, False
    for order in orders:
        if order == "reset":
            gauge.reset()
        for _ in range(TRIES):
            try:
                obeyed(order, host, gauge)
                break
            except LinkError:  # true: the gauge was reset, or fell silent
                given_up += 1
                host = Gauge(link, clock, session=Session(succession=heard))
        else:
            raise AssertionError(f"{order}: nothing but line errors")
        if order == "new line":
            host = Gauge(link, clock, session=Session(succession=heard))
    return link.replayed, given_up


def obeyed(order: str, host: Gauge, gauge: FedGauge) -> None:
    """Do the next step of an order, and check that the host learns the truth by it."""
    found = host.settled()
    as_it_is(found, gauge)
    if found.held_shaft is not None:
        as_held(host.fetch(found.held_shaft, ""), gauge)
        host.acknowledge(found.held_shaft)
        assert gauge.held == []
    elif order == "feed" and found.feeder.in_gauge is None:
        as_it_is(host.feed(SHAFT, Source.HOPPER), gauge)
    elif order == "measure" and found.feeder.in_gauge is not None:
        as_held(host.run(SHAFT, "", rig.CYCLE), gauge)
    elif order == "release" and found.feeder.in_gauge is not None:
        as_it_is(host.release(SHAFT, 3), gauge)


def as_it_is(found: object, gauge: FedGauge) -> None:
    """Check that what the host found is the state of the gauge."""
    names = ("boot", "held_shaft", "held_blocks")
    assert {name: getattr(found, name) for name in names} == {name: gauge.identify[name] for name in names}
    assert {name: getattr(found.feeder, name) for name in OF_FEEDER} == {
        name: gauge.identify["feeder"][name] for name in OF_FEEDER
    }
    assert found.state.name == gauge.identify["state"]


def as_held(run: object, gauge: FedGauge) -> None:
    """Check that a run is the one that the gauge holds."""
    assert run.boot == gauge.identify["boot"]
    assert run.counts[::3].tolist() == [item["counts"][0] for item in gauge.held]
