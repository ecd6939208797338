"""Join the real device code, on the rehearsal board, to a test that plays the host: in one process, without waiting.

The host's side is that of `wire`, so that it shares nothing with either end.
"""

from __future__ import annotations

import subprocess
import sys
from typing import Any

from places import ON_DEVICE
from rehearsal_rig import DEVICE, MICROPYTHON, FakeLink, beam, board, mechanics, needs_micropython, shafts  # noqa: F401
from wire import FINGERPRINT, datum, framed, record, unframed

assert str(DEVICE) in sys.path  # the rehearsal's rig put it there

import codec  # noqa: E402, F401  tests take the device's modules from here, where the path is set
import cycle  # noqa: E402, F401
import frames  # noqa: E402, F401
import held  # noqa: E402, F401
import load_cell  # noqa: E402, F401
import main  # noqa: E402
import outbox  # noqa: E402, F401
import plan  # noqa: E402, F401
import records  # noqa: E402
import stepper  # noqa: E402, F401

PLAN = {
    "light_count": 90000, "full_count": 900000, "clearance_steps": 2600, "travel_steps": 19000, "takeup_steps": 200,
    "seat_steps": 300, "turn_steps": 2000, "turn_again_steps": 1200, "zero_readings": 40, "settle_readings": 8,
    "press_speed": 10000, "approach_speed": 2400, "rotate_speed": 400,
}  # fmt: skip
STEP = {
    "press_steps": 0, "rotate_steps": 0, "stop_count": None, "readings": 40, "settle_readings": 8, "press_speed": 4000,
    "rotate_speed": 400,
}  # fmt: skip


def on_micropython(script: str, *arguments: str, given: str = "") -> str:
    """Return what a script of tests/device prints when the real MicroPython runs it on a small heap."""
    assert MICROPYTHON is not None
    command = [MICROPYTHON, "-X", "heapsize=384K", str(ON_DEVICE / script), str(DEVICE), *arguments]
    done = subprocess.run(command, input=given, capture_output=True, text=True, timeout=600, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def rows(blocks: list[dict[str, Any]], phase: str) -> list[dict[str, int]]:
    """Return the readings of a phase with absolute values."""
    found = []
    for block in blocks:
        at = {"tick_us": block["tick_us"], "rotate_steps": 0, "press_steps": 0, "counts": 0}
        status = {odd["reading"]: odd["status"] for odd in block["unusual"]}
        for i, late in enumerate(block["lateness_us"]):
            at = {name: value + block[name][i] for name, value in at.items() if name != "tick_us"} | {
                "tick_us": at["tick_us"] + (late + block["interval_us"] if i else 0)
            }
            if block["phase"] == phase:
                found.append(at | {"status": status.get(i, 0)})
    return found


class Rig:
    """The device on a scenario.

    `records` are all (name, fields) that it has sent; with `keep_alive` the host answers each of its frames.
    """

    def __init__(self, scenario: dict[str, Any] | None = None, first_tick_us: int = 0) -> None:
        self.link = FakeLink()
        self.board = board.Board(scenario or {}, self.link, 7, first_tick_us)
        self.device = main.Device(self.board)
        self.records: list[tuple[str, dict[str, Any]]] = []
        self.sequences: list[int] = []
        self.keep_alive = True
        self.sequence = 0
        self.frame_bytes = 0

    def send(self, name: str, **fields: Any) -> int:
        """Send a request and return its sequence number."""
        self.link.to_device += framed(self.sequence, datum(name, fields))
        self.sequence += 1
        return self.sequence - 1

    def step(self) -> None:
        """Run the device's loop once."""
        self.board.idle()
        self.device.step()
        if self.link.from_device.endswith(b"\0"):
            stream = bytes(self.link.from_device)
            self.link.from_device.clear()
            for sequence, data in unframed(stream):
                self.sequences.append(sequence)
                self.records.append(record(data))
            if self.keep_alive:
                self.send("Command", order="KEEP_ALIVE", shaft=None)

    def run(self, seconds: float) -> None:
        """Let virtual time pass."""
        until_us = self.board.now_us + int(1e6 * seconds)
        while self.board.now_us < until_us:
            self.step()

    def run_to(self, state: str, seconds: float = 120.0) -> None:
        """Run until the device enters a state; fail if it does not within this virtual time."""
        until_us = self.board.now_us + int(1e6 * seconds)
        while self.state != state:
            assert self.board.now_us < until_us, f"{self.state} instead of {state}"
            self.step()
        self.step()

    @property
    def state(self) -> str:
        """Name of the state of the device's cycle."""
        return records.STATES[self.device.cycle.state]

    def ask(self, name: str, **fields: Any) -> dict[str, Any]:
        """Send a request and return the device's reply to it."""
        sequence = self.send(name, **fields)
        self.run(0.1)
        replies = [r for n, r in self.records if n == "Reply" and r["to_sequence"] == sequence]
        assert len(replies) == 1
        return replies[0]

    def greet(self, **changes: Any) -> dict[str, Any]:
        """Greet and return the Identify that answers."""
        fields = {"protocol_major": 1, "protocol_minor": 0, "fingerprint": FINGERPRINT} | changes
        self.send("Greet", **fields)
        self.run(0.1)
        return self.last("Identify")

    def last(self, name: str) -> dict[str, Any]:
        """Return the last record of a name."""
        return [fields for n, fields in self.records if n == name][-1]

    def all(self, name: str) -> list[dict[str, Any]]:
        """Return all records of a name."""
        return [fields for n, fields in self.records if n == name]

    def ready(self, **changes: int) -> None:
        """Wait until the device is home, greet it and send it the standard plan with changes."""
        self.run_to("IDLE")
        self.greet()
        assert self.ask("CyclePlan", **(PLAN | changes))["refusal"] is None

    def measure(self, shaft: int = 1, until: str = "HOLDING") -> dict[str, Any]:
        """Run a cycle and return its EndOfShaft."""
        assert self.ask("Command", order="MEASURE", shaft=shaft)["refusal"] is None
        self.run_to(until)
        self.run(0.1)
        return self.last("EndOfShaft")

    def order(self, name: str, shaft: int, **fields: Any) -> dict[str, Any]:
        """Order Feed or Release, wait until the device is at rest, and return Identify."""
        assert self.ask(name, shaft=shaft, **fields)["refusal"] is None
        until_us = self.board.now_us + 20_000_000
        while self.state in ("FEEDING", "SELECTING", "RELEASING"):
            assert self.board.now_us < until_us, f"{self.state} for ever"
            self.step()
        return self.greet()

    def feed(self, shaft: int, source: str = "HOPPER") -> dict[str, Any]:
        """Feed a shaft and return Identify."""
        return self.order("Feed", shaft, source=source)

    def release(self, shaft: int, place: int) -> dict[str, Any]:
        """Release the shaft and return Identify."""
        return self.order("Release", shaft, place=place)

    def bench(self, shaft: int, until: str = "STANDING", **changes: int | None) -> dict[str, Any]:
        """Take the standard bench step with changes and return its EndOfShaft."""
        assert self.ask("BenchStep", shaft=shaft, **(STEP | changes))["refusal"] is None
        self.run_to(until)
        self.run(0.1)
        return self.last("EndOfShaft")

    def good(self, shaft: int, settled: int = 1) -> list[dict[str, int]]:
        """Return the settled readings of a bench step with absolute values; all readings with settled=0."""
        blocks = [block for block in self.all("Readings") if block["shaft"] == shaft]
        return [row for row in rows(blocks, "BENCH") if not row["status"] & settled]
