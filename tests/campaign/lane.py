"""One bench of the campaign: a device, a cable, hosts one after another, what is done to them, and the proof."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random
from typing import Any

from midspan.frames import Deframer, Frame
from midspan.packing import unpack
from midspan.records import Event, State
from midspan.rehearsal import interpreter_command
from midspan.schemas import data_folder

from campaign import night_files, proof
from campaign.cable import Cable, Pass, untouched
from campaign.fork_server import KILLED, ForkServer
from campaign.ledger import World
from campaign.spoil import Spoiler
from campaign.tally import Tally

LONGEST_S = 120.0  # without any shaft being moved: then something hangs
SHAFTS = 12
NIGHT_S, RESETS = 180.0, 16  # a quiet night in the device's time; times in it at which the world resets it
SPOILT_EVERY = 20  # frames
OWN_HAND = 0.6  # part of the hosts that die at a counted step instead of being killed from outside
TRAP_S = 2.0  # for a state to come
LATER_S = 0.008  # after its beginning: the simulated gauge lets a shaft out in that time
EVENT = b"\6"  # first byte of an Event: its number in the union, zig-zag
# Where a shaft or the head is under way.
TRAPS = (
    State.FEEDING, State.LOADED, State.SEATING, State.DEEPEN, State.ZERO_AFTER, State.HOLDING, State.SELECTING,
    State.RELEASING, State.RELEASING, State.IDLE, State.HOMING,
)  # fmt: skip
HARMS = ("host killed", "device reset", "both", "cable cut", "port renamed")


class Device:
    """The device code in a process that is killed and started again; world and record stay."""

    def __init__(self, folder: Path, cable: Cable, shafts: int) -> None:
        run = data_folder("device") / "rehearsal" / "run.py"
        self._command = [*interpreter_command(shafts), str(run), str(folder / "scenario.json")]
        self._cable, self._log = cable, folder / "device-errors.txt"
        self.starts = 0
        self.start()

    def start(self) -> None:
        """Switch it on."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, bufsize=0
            )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._cable.join(self._process.stdin.fileno(), self._process.stdout.fileno())
        self.starts += 1

    def kill(self) -> None:
        """Take its supply away."""
        self._cable.join(-1, -1)
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()

    def die(self) -> None:
        """The supply goes; `kill` clears up after it."""
        self._process.kill()

    @property
    def died(self) -> bool:
        """Whether it ended by itself, which it never should."""
        return self._process.poll() is not None


class Trap:
    """Springs when the device says that it enters a state: the instants that matter are over in milliseconds."""

    def __init__(self, passed: Pass) -> None:
        self.spring: Callable[[], None] | None = None
        self.state = State.IDLE
        self.sprung = threading.Event()
        self._passed, self._deframer = passed, Deframer()

    def arm(self, state: State, spring: Callable[[], None]) -> None:
        """Wait for a state, and spring then."""
        self.sprung.clear()
        self.state, self.spring = state, spring

    def __call__(self, data: bytes) -> bytes:
        for frame in self._deframer.feed(data):
            if self.spring is not None and isinstance(frame, Frame) and frame.body[:1] == EVENT:
                record = unpack(frame.body)
                assert isinstance(record, Event)
                if record.state is self.state:
                    self.spring()
                    self.spring = None
                    self.sprung.set()
        return self._passed(data)


class Lane:
    """Nights in a folder, one after another, until enough was done to them."""

    def __init__(self, folder: Path, seed: int, server: ForkServer) -> None:
        self.tally = Tally()
        self._random = Random(seed)
        self._root, self._server = folder, server

    def until(self, wanted: dict[str, int]) -> None:
        """Sort nights until each kind of harm was done so often."""
        while any(self.tally.injected[kind] < number for kind, number in wanted.items()):
            self._night(wanted)

    def _night(self, wanted: dict[str, int]) -> None:
        folder = self._root / f"night-{self.tally.nights}"
        self.tally.nights += 1
        self._folder, self._ports = folder, 0
        seed = self._random.getrandbits(30)
        self._stock = night_files.stock(SHAFTS, seed)
        resets = RESETS if self._wanted("device reset", wanted) else 0
        self._stock.feeder["reset"] = sorted(self._random.uniform(0, NIGHT_S) for _ in range(resets))
        night_files.write(folder, self._stock, str(folder / "port-0"))
        spoilers = [Spoiler(self._random, SPOILT_EVERY) for _ in range(2)] if self.tally.nights % 2 == 0 else []
        to_host, to_device = spoilers or (untouched, untouched)
        self._trap = Trap(to_host)
        self._cable = Cable(self._trap, to_device)
        self._cable.plug_in(folder / "port-0")
        self._device = Device(folder, self._cable, SHAFTS + 1)
        try:
            self._sort(wanted)
            proof.whole_night(self.tally, folder, self._stock)
        finally:
            self._device.kill()
            self._cable.close()
        world = (folder / "world.txt").read_text()
        self.tally.injected["device reset"] += world.count(" - reset\n")
        self.tally.injected["frames spoilt"] += sum(one.spoilt for one in spoilers)

    def _sort(self, wanted: dict[str, int]) -> None:
        self._moved_s = time.monotonic()
        self._moves = 0
        running = False
        while True:
            if not running:
                proof.in_between(self.tally, self._folder)
                running = self._start_host(wanted)
            status = self._server.ended(0.0)
            if status is None:
                status = self._harm(wanted)
            self._check_that_it_goes_on()
            running = status is None
            self.tally.injected["host killed"] += status == KILLED and self._told_to_die
            if status == 0 and self._is_over():
                return
            assert status in (None, 0, KILLED), f"a host ended with status {status}; see {self._root / 'hosts.txt'}"

    def _start_host(self, wanted: dict[str, int]) -> bool:
        order: dict[str, Any] = {"folder": str(self._folder), "person": self._random.random() < 0.3}
        if self._random.random() < OWN_HAND and self._wanted("host killed", wanted):
            what, most = self._random.choice((("commit", 60), ("write", 80), ("fsync", 3), ("torn", 2)))
            order["die"] = [what, self._random.randint(1, most), self._random.random() < 0.5]
        self._pid = self._server.start(order)
        self._told_to_die = "die" in order
        return True

    def _wanted(self, kind: str, wanted: dict[str, int]) -> bool:
        return self.tally.injected[kind] < wanted.get(kind, 0)

    # Harm

    def _harm(self, wanted: dict[str, int]) -> int | None:
        """Do one thing; the host's status when it ended."""
        kinds = [kind for kind in HARMS if self._wanted(kind, wanted)]
        if not kinds:
            return self._server.ended(0.5)
        kind = self._random.choice(kinds)
        self.tally.injected[kind] += 1
        deadly = {"host killed": self._kill_host, "device reset": self._device.die, "both": self._kill_both}
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

        self._trap.arm(state, spring)
        if self._trap.sprung.wait(TRAP_S):
            self.tally.instants[f"device {state.name}"] += 1
        self._trap.spring = None

    def _kill_host(self) -> None:
        with suppress(ProcessLookupError):  # it may just have ended
            os.kill(self._pid, signal.SIGKILL)

    def _kill_both(self) -> None:
        self._device.die()
        self._kill_host()

    def _host_killed(self) -> int | None:
        self._kill_host()
        self._told_to_die = False
        return self._server.ended()

    def _reset(self) -> int | None:
        self._device.kill()
        status = self._server.ended(self._random.choice((0.0, 0.05, 0.3)))
        self._device.start()
        return status

    def _both(self) -> int | None:
        self._device.kill()
        status = self._host_killed()
        self._device.start()
        return status

    def _cut(self) -> int | None:
        return self._plug(0)

    def _rename(self) -> int | None:
        return self._plug(1)

    def _plug(self, further: int) -> int | None:
        self._cable.cut()
        status = self._server.ended(self._random.choice((0.0, 0.1, 0.6)))
        self._ports += further
        self._cable.plug_in(self._folder / f"port-{self._ports}")
        return status

    # What comes of it

    def _is_over(self) -> bool:
        is_over, words = json.loads((self._folder / "ending.json").read_text())
        self.tally.waits[words] += not is_over
        return bool(is_over)

    def _check_that_it_goes_on(self) -> None:
        assert not self._device.died, f"the device ended by itself; see {self._folder / 'device-errors.txt'}"
        moves = len(World.read(self._folder / "world.txt").moves)
        if moves != self._moves:
            self._moves, self._moved_s = moves, time.monotonic()
        assert time.monotonic() - self._moved_s < LONGEST_S, f"nothing goes on in {self._folder}"


@contextmanager
def lane(folder: Path, seed: int) -> Iterator[Lane]:
    """A lane with a fork server of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    with ForkServer("campaign.host", folder / "hosts.txt") as server:
        yield Lane(folder, seed, server)
