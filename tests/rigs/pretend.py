"""A pretended gauge with feeder and places, and a world that outlives it: no line, no time, death at any point.

It knows the protocol's rules for the device, not the device's code. Readings come from the second truth (synthetic).
`World.went` records where each physical shaft went, independently of the host.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import synthetic
from gauges import FED, changed
from midspan.base.errors import DeviceFault, LinkError, ProtocolError
from midspan.wire.records import FaultCode, Identify, LastRelease, Source, State

PLACES = 6
STANDARD = "standard"


class KilledError(BaseException):
    """The host's process dies here; nothing may catch it."""


class Axe:
    """Kills the host at the k-th point where it can die; counts all points if k is None."""

    def __init__(self, k: int | None = None) -> None:
        self.k, self.count, self.due = k, 0, False
        self.reset: tuple[int, ...] = ()  # places at which the device is reset instead

    def fall(self, gauge: PretendGauge, *, in_device: bool = False) -> None:
        """Count a point where the host can die, and die if it is the chosen one.

        The device finishes what it has begun, although its host is dead by then.
        """
        self.count += 1
        if self.count in self.reset:
            gauge.reset()
        self.due = self.due or self.count == self.k
        if self.due and not in_device:
            raise KilledError


@cache
def readings(spine_thou: float, hysteresis: float, seed: int):
    """Return readings of a shaft; the caller gives them their number."""
    shaft = synthetic.Shaft(spine_thou=spine_thou, spread_thou=2.0, bow_mm=0.05, hysteresis=hysteresis)
    return synthetic.raw_run(shaft, synthetic.Gauge(), np.random.default_rng(seed), per_turn=64)


@dataclass
class World:
    """Physical shafts by name, each in one place: hopper, slot, rollers, place 1 to 6, or taken."""

    spines: dict[str, float]
    hopper: list[str]
    slot: str | None = None
    rollers: list[str] = field(default_factory=list)
    went: dict[str, int | str] = field(default_factory=dict)
    hysteresis: dict[str, float] = field(default_factory=dict)
    cut_short: dict[str, list[str]] = field(default_factory=dict)  # causes of its next cycles
    two_at_once: set[str] = field(default_factory=set)
    short: set[str] = field(default_factory=set)
    unseen: set[str] = field(default_factory=set)  # not noticed by the chute's sensor
    numbers: dict[int, list[str]] = field(default_factory=dict)  # the host's number of each transit
    drift_thou: float = 0.0  # the gauge reads too much by this
    lid: bool = False


class PretendGauge:
    """The calls of a Gauge that an overnight run uses."""

    def __init__(self, world: World, axe: Axe | None = None) -> None:
        self.world, self.axe = world, axe or Axe()
        self.boot = 1
        self.last: LastRelease | None = None
        self.measured: list[str] = []
        self.faults: list[tuple[str, FaultCode]] = []  # (call, fault): comes once instead of the call's effect
        self.lost_calls = 0  # how many of the next calls are lost on the line
        self.return_place = 5
        self.boots_told: list[int] = []
        self._boot_up()

    def _boot_up(self) -> None:
        self.state, self.in_gauge, self.held, self.fault = State.IDLE, None, None, None

    def reset(self) -> None:
        """Forget what was under way; the shafts stay where they are."""
        self.boot += 1
        self._boot_up()

    # The calls of a Gauge

    def settled(self, on_event=None) -> Identify:
        self._die()
        self._line()
        self.boots_told.append(self.boot)
        return self._identify()

    def _identify(self) -> Identify:
        return changed(
            FED, boot=self.boot, state=self.state, held_shaft=None if self.held is None else self.held.shaft,
            in_gauge=self.in_gauge, seated=bool(self.world.rollers), hopper=bool(self.world.hopper),
            slot=self.world.slot is not None, fault=self.fault, last_release=self.last,
        )  # fmt: skip

    def feed(self, shaft, source, on_event=None) -> Identify:
        self._order("feed")
        if self.in_gauge != shaft:
            self._demand(self.state is State.IDLE and self.held is None, "feed")
            self._demand(bool(self.world.rollers) == (source is Source.SEATED), "source")
            self.fault = None
            if not self._struck("feed"):
                self._roll_in(shaft, source)
        self._die()
        return self._identify()

    def _roll_in(self, shaft, source) -> None:
        world = self.world
        if source is Source.SLOT:
            world.rollers, world.slot = [world.slot], None
        elif source is Source.HOPPER:
            if not world.hopper:
                self.fault = FaultCode.HOPPER_EMPTY
                return
            world.rollers = [world.hopper.pop(0)]
            if world.rollers[0] in world.two_at_once:
                world.rollers.append(world.hopper.pop(0))
        self._reset_here()  # a reset here forgets the number of a shaft that lies there
        if world.rollers:
            world.numbers[shaft] = list(world.rollers)
            self.state, self.in_gauge = State.LOADED, shaft
            self.fault = FaultCode.TWO_SHAFTS if len(world.rollers) > 1 else self.fault
            self.fault = FaultCode.SHAFT_SHORT if world.rollers[0] in world.short else self.fault

    def run(self, shaft, label, steps, stand=False, on_event=None):
        self._order("run")
        self._demand(self.state is State.LOADED and self.in_gauge == shaft and self.held is None, "shaft")
        self._demand(len(self.world.rollers) == 1, "two shafts must not be measured")
        self.fault = None
        before = self.boot
        self._reset_here()
        if self.boot != before:
            raise LinkError("the gauge was reset; what it had not sent is lost")
        self._cycle(shaft)
        self._die()
        if self.boot != before:
            raise LinkError("the gauge was reset; what it had not sent is lost")
        return replace(self.held, label=label)

    def _cycle(self, shaft) -> None:
        name = self.world.rollers[0]
        self.measured.append(name)
        causes = self.world.cut_short.get(name, [])
        spine_thou = self.world.spines[name] + self.world.drift_thou
        run = readings(spine_thou, self.world.hysteresis.get(name, 0.0), len(self.measured) % 5)
        run = replace(run, shaft=shaft, boot=self.boot, started_ms=1000 * len(self.measured))
        if causes:
            cause = causes.pop(0)
            run = replace(run, complete=False, cause=cause)
            self.fault = FaultCode[cause]
        stopped = run.cause is not None and run.cause.startswith(("CELL", "LID", "EMERGENCY"))
        self.held, self.state = run, State.FAULTED if stopped else State.HOLDING

    def fetch(self, shaft, label, on_event=None):
        self._order("fetch", moves=False)
        self._demand(self.held is not None and self.held.shaft == shaft, "shaft")
        return replace(self.held, label=label, started_ms=7)

    def acknowledge(self, shaft, on_event=None) -> None:
        self._order("acknowledge", moves=False)
        self._demand(self.held is None or self.held.shaft == shaft, "shaft")
        self.held = None
        if self.state is State.HOLDING:
            self.state, self.fault = (State.IDLE if self.in_gauge is None else State.LOADED), None
        self._die()

    def release(self, shaft, place, on_event=None) -> Identify:
        self._order("release")
        if self.in_gauge != shaft:
            self._demand(self.last is not None and self.last == replace(self.last, shaft=shaft, done=True), "shaft")
            return self._identify()
        self._demand(self.state is State.LOADED and self.held is None and 1 <= place <= PLACES, "release")
        self.fault = None
        if self._struck("release"):
            return self._identify()
        before = self.boot
        self._reset_here()
        if self.boot == before:
            self.last = LastRelease(shaft, place, False, 0)
            self._reset_here()
        if self.boot == before:
            gone, self.world.rollers = self.world.rollers, []
            for name in gone:
                self._fall(name, place)
            self._reset_here()
        if self.boot == before:
            self.last = LastRelease(shaft, place, True, sum(name not in self.world.unseen for name in gone))
            self.state, self.in_gauge = State.IDLE, None
        self._die()
        return self._identify()

    def _fall(self, name, place) -> None:
        assert name not in self.world.went, f"{name} fell twice"
        if name == STANDARD and place == self.return_place:
            self.world.slot = name
        else:
            self.world.went[name] = place

    def clear_fault(self, on_event=None) -> None:
        self._order("clear_fault")
        self.state, self.fault, self.in_gauge = State.IDLE, None, None

    def stop(self, on_event=None) -> None:
        pass

    # Failures

    def _die(self) -> None:
        self.axe.fall(self)

    def _reset_here(self) -> None:
        self.axe.fall(self, in_device=True)

    def _order(self, name, moves=True) -> None:
        self._die()
        self._line()
        if moves and self.world.lid:
            raise DeviceFault("pretended: the lid is open: shut it", code="LID_OPEN")

    def _line(self) -> None:
        if self.lost_calls:
            self.lost_calls -= 1
            raise LinkError("pretended: the gauge is gone")

    def _struck(self, call) -> bool:
        if self.faults and self.faults[0][0] == call:
            self.fault = self.faults.pop(0)[1]
            self.state, self.in_gauge = State.FAULTED, None if call == "feed" else self.in_gauge
            return True
        return False

    def _demand(self, holds, what) -> None:
        if not holds:
            raise ProtocolError(f"pretended: the gauge refused it: WRONG_STATE, field {what}")
