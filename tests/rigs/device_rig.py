"""Join the real device code, on the rehearsal board, to a test that plays the host: in one process, without waiting.

The host's side is that of `wire`, so that it shares nothing with either end.
"""

from __future__ import annotations

import json
import subprocess
from typing import Any

from perfect import perfect
from places import ON_DEVICE
from rehearsal_rig import (  # noqa: F401  this sets the path to the device's modules, which tests take from here
    DEVICE,
    MICROPYTHON,
    FakeLink,
    beam,
    board,
    mechanics,
    needs_micropython,
    shafts,
)
from wire import FINGERPRINT, PROTOCOL, datum, framed, record, unframed

import answers  # isort: skip  # noqa: F401
import codec  # isort: skip  # noqa: F401
import frames  # isort: skip  # noqa: F401
import gauge  # isort: skip  # noqa: F401
import held  # isort: skip  # noqa: F401
import home  # isort: skip  # noqa: F401
import load_cell  # isort: skip  # noqa: F401
import main  # isort: skip
import outbox  # isort: skip  # noqa: F401
import program  # isort: skip  # noqa: F401
import progress  # isort: skip  # noqa: F401
import records  # isort: skip
import stepper  # isort: skip  # noqa: F401

PHASES: list[str] = json.loads((PROTOCOL / "phase.avsc").read_text(encoding="utf-8"))["symbols"]
CYCLE = {
    "light_count": 90000, "full_count": 900000, "clearance_steps": 2600, "travel_steps": 19000, "takeup_steps": 200,
    "seat_steps": 300, "turn_steps": 1600, "zero_readings": 40, "settle_readings": 8, "press_speed": 6000,
    "approach_speed": 4000, "lift_speed": 12000, "rotate_speed": 1187,
}  # fmt: skip


def step(phase: str | int, **fields: Any) -> dict[str, Any]:
    """Return a step that does nothing but what the given fields say."""
    nothing = {
        "phase": PHASES.index(phase) if isinstance(phase, str) else phase,
        "press_steps": None, "from_step": None, "until_count": None, "unreached": None, "rotate_steps": 0,
        "readings": 0, "settle_readings": 0, "zero": False, "press_speed": 4000, "rotate_speed": 400,
    }  # fmt: skip
    assert set(fields) <= set(nothing)
    return nothing | fields


def standard_steps(**changes: int) -> list[dict[str, Any]]:
    """Return the steps of a measuring cycle, with changes to the numbers in CYCLE."""
    assert set(changes) <= set(CYCLE)
    of = CYCLE | changes
    settle, light, full, travel = of["settle_readings"], of["light_count"], of["full_count"], of["travel_steps"]
    fast, slow, rotate = of["press_speed"], of["approach_speed"], of["rotate_speed"]
    ramp = rotate * rotate // (2 * board.Board.ROTATE_ACCELERATION) + 1
    turn = of["turn_steps"] + 2 * ramp + (settle + 1) * rotate * board.Board.INTERVAL_US // 1000000
    return [
        step("SEATING", rotate_steps=of["seat_steps"], rotate_speed=rotate),
        step("ZERO_BEFORE", readings=of["zero_readings"], settle_readings=settle, zero=True),
        step("APPROACH", press_steps=of["clearance_steps"], until_count=light, press_speed=fast),
        step("APPROACH", press_steps=travel, until_count=light, unreached="NO_CONTACT", press_speed=slow),
        step("LIGHT", rotate_steps=turn, settle_readings=settle, rotate_speed=rotate),
        step("DEEPEN", press_steps=travel, until_count=full, unreached="TRAVEL_LIMIT", press_speed=fast),
        step("FULL", rotate_steps=turn, settle_readings=settle, rotate_speed=rotate),
        step("RETURN", press_steps=-of["takeup_steps"], from_step=3, press_speed=fast),
        step("RETURN", press_steps=0, from_step=3, press_speed=slow),
        step("LIGHT_AGAIN", rotate_steps=turn, settle_readings=settle, rotate_speed=rotate),
        step("LIFT", press_steps=0, press_speed=of["lift_speed"]),
        step("ZERO_AFTER", readings=of["zero_readings"], settle_readings=settle),
    ]


def bench_step(**fields: Any) -> dict[str, Any]:
    """Return a calibration's step at home with 40 readings, with the given fields in place of its own."""
    return step("BENCH", **({"press_steps": 0, "readings": 40, "settle_readings": 8} | fields))


def on_micropython(script: str, *arguments: str, given: str = "") -> str:
    """Return what a script of tests/device prints when the real MicroPython runs it on a small heap."""
    assert MICROPYTHON is not None
    command = [MICROPYTHON, "-X", "heapsize=384K", str(ON_DEVICE / script), str(DEVICE), *arguments]
    done = subprocess.run(command, input=given, capture_output=True, text=True, timeout=600, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def rows(blocks: list[dict[str, Any]], phase: str | None = None) -> list[dict[str, int]]:
    """Return the readings with absolute values, those of a phase only if one is named."""
    found = []
    for block in blocks:
        at = {"tick_us": block["tick_us"], "rotate_steps": 0, "press_steps": 0, "counts": 0, "status": 0}
        status = {odd["reading"]: odd["status"] for odd in block["unusual"]}
        for i, late in enumerate(block["lateness_us"]):
            at["tick_us"] += late + block["interval_us"] if i else 0
            for name in ("rotate_steps", "press_steps", "counts"):
                at[name] += block[name][i] if i < len(block[name]) else 0
            at["status"] = status.get(i, at["status"])
            if phase is None or block["phase"] == PHASES.index(phase):
                found.append(dict(at))
    return found


NEAR = {"contact_mm": 8.0}  # the head has less far to go than on the frame that is drawn: a test is over sooner


def near(scenario: dict[str, Any]) -> dict[str, Any]:
    """Return a scenario whose shafts lie close under a head without faults, unless it says otherwise."""
    return perfect(scenario | {"gauge": NEAR | scenario.get("gauge", {})})


class Rig:
    """The device on a scenario.

    `records` are all (name, fields) that it has sent; with `keep_alive` the host answers each of its frames. After a
    reset, `before` is the board until then.
    """

    def __init__(
        self, scenario: dict[str, Any] | None = None, first_tick_us: int = 0, before: board.Board | None = None
    ) -> None:
        self.link = FakeLink()
        self.board = board.Board(near(scenario or {}), self.link, 7, first_tick_us, before)
        self.device = main.Device(self.board)
        self.records: list[tuple[str, dict[str, Any]]] = []
        self.sequences: list[int] = []
        self.keep_alive = True
        self.sequence = 0

    # Line and time

    def send(self, name: str, **fields: Any) -> int:
        """Send a request and return its sequence number."""
        sequence = self.sequence
        self.link.to_device += framed(sequence, datum(name, fields))
        self.sequence = (sequence + 1) % 65536
        return sequence

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
                self.send("Command", order="KEEP_ALIVE")

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

    # What the device says

    @property
    def state(self) -> str:
        """Name of the device's state."""
        return str(records.STATES[self.device.gauge.state])

    def last(self, name: str) -> dict[str, Any]:
        """Return the last record of a name."""
        return self.all(name)[-1]

    def all(self, name: str) -> list[dict[str, Any]]:
        """Return all records of a name."""
        return [fields for n, fields in self.records if n == name]

    def faults(self) -> list[str]:
        """Return the codes of all faults in their order."""
        return [fault["code"] for fault in self.all("Fault")]

    def good(self, shaft: int, settled: int = 1) -> list[dict[str, int]]:
        """Return the settled readings of a run with absolute values; all of them with settled=0."""
        blocks = [block for block in self.all("Readings") if block["shaft"] == shaft]
        return [row for row in rows(blocks) if not row["status"] & settled]

    # What the host asks

    def ask(self, name: str, **fields: Any) -> dict[str, Any]:
        """Send a request and return the device's reply to it."""
        sequence = self.send(name, **fields)
        self.run(0.1)
        replies = [r for n, r in self.records if n == "Reply" and r["to_sequence"] == sequence]
        assert len(replies) == 1
        return replies[0]

    def greet(self, **changes: Any) -> dict[str, Any]:
        """Greet and return the Identify that answers."""
        fields = {"protocol_major": 2, "protocol_minor": 1, "fingerprint": FINGERPRINT} | changes
        self.send("Greet", **fields)
        self.run(0.1)
        return self.last("Identify")

    def ready(self) -> None:
        """Wait until the device is home, and greet it."""
        self.run_to("IDLE")
        self.greet()

    def order(self, order: str) -> dict[str, Any]:
        """Send a Command and return the reply."""
        return self.ask("Command", order=order)

    def begin(self, steps: list[dict[str, Any]], shaft: int = 1, stand: bool = False) -> None:
        """Order a program; fail if it is refused."""
        reply = self.ask("Program", shaft=shaft, stand=stand, steps=steps)
        assert reply["refusal"] is None, reply

    def run_program(
        self, steps: list[dict[str, Any]], shaft: int = 1, stand: bool = False, until: str | None = None
    ) -> dict[str, Any]:
        """Run a program to its end, or to the state `until`; return its EndOfShaft."""
        self.begin(steps, shaft, stand)
        self.run_to(until or ("STANDING" if stand else "HOLDING"))
        self.run(0.1)
        return self.last("EndOfShaft")

    def measure(self, shaft: int = 1, until: str = "HOLDING", **changes: int) -> dict[str, Any]:
        """Run the standard cycle with changes to its numbers; return its EndOfShaft."""
        return self.run_program(standard_steps(**changes), shaft, until=until)

    def bench(self, shaft: int, until: str = "STANDING", **fields: Any) -> dict[str, Any]:
        """Run one step of a calibration as a program and return its EndOfShaft."""
        return self.run_program([bench_step(**fields)], shaft, True, until)

    def acknowledge(self, shaft: int = 1) -> None:
        """Acknowledge a run; fail if that is refused."""
        assert self.ask("Acknowledge", shaft=shaft)["refusal"] is None

    def handle(self, name: str, shaft: int, **fields: Any) -> dict[str, Any]:
        """Order Feed or Release, wait until the device is at rest, and return Identify."""
        assert self.ask(name, shaft=shaft, **fields)["refusal"] is None
        until_us = self.board.now_us + 20_000_000
        while self.state in ("FEEDING", "SELECTING", "RELEASING"):
            assert self.board.now_us < until_us, f"{self.state} for ever"
            self.step()
        return self.greet()

    def feed(self, shaft: int, source: str = "HOPPER") -> dict[str, Any]:
        """Feed a shaft and return Identify."""
        return self.handle("Feed", shaft, source=source)

    def release(self, shaft: int, place: int) -> dict[str, Any]:
        """Release the shaft and return Identify."""
        return self.handle("Release", shaft, place=place)
