"""A lane of the campaign: nights on a bench one after another, what is done to them, and the proof of each."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import Any

from midspan.wire.records import Phase, State

from campaign import invariants, night_files
from campaign.bench import Bench
from campaign.cable import untouched
from campaign.corruption import Spoiler
from campaign.fork_server import KILLED, ForkServer
from campaign.ground_truth import World
from campaign.line_tap import LineTap
from campaign.tally import Tally

LONGEST_S = 120.0  # without any shaft being moved: then something hangs
SHAFTS = 12
NIGHT_S, RESETS = 180.0, 24  # a quiet night in the device's time; times in it at which the world resets it
SPOILT_EVERY = 20  # frames
OWN_HAND = 0.7  # part of the hosts that die at a counted step instead of being killed from outside
DEATHS = (("commit", 40), ("write", 50), ("fsync", 2), ("torn", 2), ("in the gauge", 2))  # at most at the n-th time
TRAP_S = 1.0  # for a state to come
LATER_S = 0.008  # after its beginning: the simulated gauge lets a shaft out in that time
# Where a shaft or the head is under way.
TRAPS = (
    State.FEEDING, State.LOADED, State.RUNNING, Phase.DEEPEN, Phase.ZERO_AFTER, State.HOLDING, State.SELECTING,
    State.RELEASING, State.RELEASING, State.IDLE, State.HOMING,
)  # fmt: skip
HARMS = ("host killed", "device reset", "both", "cable cut", "port renamed")


class Lane:
    """Nights in a folder, one after another, until enough was done to them."""

    def __init__(self, folder: Path, seed: int, server: ForkServer) -> None:
        self.tally = Tally()
        self._random = Random(seed)
        self._root, self._server = folder, server

    def until(self, wanted: dict[str, int]) -> None:
        """Sort nights until each kind of harm was done so often."""
        while any(self._wants(kind, wanted) for kind in wanted):
            self._night(wanted)

    def _wants(self, kind: str, wanted: dict[str, int]) -> bool:
        return self.tally.injected[kind] < wanted[kind]

    def _night(self, wanted: dict[str, int]) -> None:
        folder = self._root / f"night-{self.tally.nights}"
        self.tally.nights += 1
        resets = RESETS if self._wants("device reset", wanted) else 0
        stock = night_files.stock(SHAFTS, self._random.getrandbits(30))
        stock.feeder["reset"] = sorted(self._random.uniform(0, NIGHT_S) for _ in range(resets))
        spoilers = [Spoiler(self._random, SPOILT_EVERY) for _ in range(2)] if self.tally.nights % 2 == 0 else []
        to_host, to_device = spoilers or (untouched, untouched)
        self._ear = LineTap(to_host)
        with Bench(folder, self._server, stock, self._ear, to_device) as self._bench:
            self._sort(wanted)
            invariants.whole_night(self.tally, self._bench, self._ear.released)
        self.tally.injected["device reset"] += (folder / "world.txt").read_text().count(" - reset\n")
        self.tally.injected["frames spoilt"] += sum(spoiler.spoilt for spoiler in spoilers)

    def _sort(self, wanted: dict[str, int]) -> None:
        self._moved_s, self._moves = time.monotonic(), 0
        running = False
        while True:
            if not running:
                invariants.in_between(self.tally, self._bench)
                self._start_host(wanted)
            status = self._bench.ended(0.0)
            if status is None:
                status = self._harm(wanted)
            self._check_that_it_goes_on()
            running = status is None
            self.tally.injected["host killed"] += status == KILLED and self._told_to_die
            if status == 0:
                is_over, words = self._bench.over
                self.tally.waits[words] += not is_over
                if is_over:
                    return

    def _start_host(self, wanted: dict[str, int]) -> None:
        order: dict[str, Any] = {"person": self._random.random() < 0.3}
        self._told_to_die = self._random.random() < OWN_HAND and self._wants("host killed", wanted)
        if self._told_to_die:
            what, most = self._random.choice(DEATHS)
            order["die"] = [what, self._random.randint(1, most), self._random.random() < 0.5]
        self._bench.start_host(**order)

    # Harm

    def _harm(self, wanted: dict[str, int]) -> int | None:
        """Do one thing; the host's status when it ended."""
        kinds = [kind for kind in HARMS if self._wants(kind, wanted)]
        if not kinds:
            return self._bench.ended(0.5)
        kind = self._random.choice(kinds)
        self.tally.injected[kind] += 1
        bench = self._bench
        deadly = {"host killed": bench.kill_host, "device reset": bench.device.die, "both": self._kill_both}
        self._wait_for_a_moment(deadly.get(kind, lambda: None))
        return {
            "host killed": self._host_killed, "device reset": self._reset, "both": self._both,
            "cable cut": self._cut, "port renamed": self._rename,
        }[kind]()  # fmt: skip

    def _wait_for_a_moment(self, harm: Callable[[], object]) -> None:
        """Do harm at a chosen state of the device, soon after it began; or after some time, at whatever is then."""
        if self._random.random() < 0.3:
            time.sleep(self._random.uniform(0.0, 0.3))
            return
        state, delay_s = self._random.choice(TRAPS), self._random.uniform(0.0, LATER_S)

        def spring() -> None:
            time.sleep(delay_s)
            harm()

        self._ear.arm(state, spring)
        if self._ear.sprung.wait(TRAP_S):
            self.tally.instants[f"device {state.name}"] += 1
        self._ear.disarm()

    def _kill_both(self) -> None:
        self._bench.device.die()
        self._bench.kill_host()

    def _host_killed(self) -> int | None:
        self._bench.kill_host()
        self._told_to_die = False
        return self._bench.ended()

    def _reset(self) -> int | None:
        self._bench.device.kill()
        status = self._bench.ended(self._random.choice((0.0, 0.05, 0.3)))
        self._bench.device.start()
        return status

    def _both(self) -> int | None:
        self._bench.device.kill()
        status = self._host_killed()
        self._bench.device.start()
        return status

    def _cut(self) -> int | None:
        return self._unplug_for_a_while(0)

    def _rename(self) -> int | None:
        return self._unplug_for_a_while(1)

    def _unplug_for_a_while(self, further: int) -> int | None:
        self._bench.cable.cut()
        status = self._bench.ended(self._random.choice((0.0, 0.1, 0.6)))
        self._bench.plug_again(further)
        return status

    def _check_that_it_goes_on(self) -> None:
        folder = self._bench.folder
        assert not self._bench.device.died, f"the device ended by itself; see {folder / 'device-errors.txt'}"
        moves = len(World.read(folder / "world.txt").moves)
        if moves != self._moves:
            self._moves, self._moved_s = moves, time.monotonic()
        assert time.monotonic() - self._moved_s < LONGEST_S, f"nothing goes on in {folder}"


@contextmanager
def fault_worker(folder: Path, seed: int) -> Iterator[Lane]:
    """A lane with a fork server of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    with ForkServer("campaign.host", folder / "hosts.txt") as server:
        yield Lane(folder, seed, server)
