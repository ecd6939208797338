"""A gauge made of a script for the host's session and link: no motion, no time, every misbehaviour on demand.

It frames with the cobs package and packs with fastavro, so that it shares no packing with the host.
"""

import io
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import fastavro
from cobs import cobs
from midspan.wire import schema
from midspan.wire.records import Phase

SCHEMA = fastavro.parse_schema(schema.message_source())
IDENTIFY = {
    "protocol_major": 2, "protocol_minor": 1, "fingerprint": schema.fingerprint(), "gauge": "scripted",
    "firmware": "9.9", "runtime": "script", "boot": 77, "state": "IDLE", "held_shaft": None, "held_blocks": 0,
    "tick_us": 5, "interval_us": 12500, "count_min": -8388608, "count_max": 8388607, "count_limit": 1_500_000,
    "press_limit_steps": 90000, "press_speed_most": 12000, "down_speed_most": 6400, "press_acceleration": 40000,
    "rotate_speed_most": 2000, "rotate_acceleration": 8000, "silence_ms": 4000, "readings_most": 2400, "guards": 0,
    "fault": None, "temperature_centi": None, "free_bytes": None, "longest_turn_us": 900, "feeder": None,
    "sensor": False, "shaft_centi": None,
}  # fmt: skip
FEEDER = {"in_gauge": None, "seated": False, "hopper": False, "slot": False, "places": 6, "last_release": None}
FROM_DEVICE = ("Readings", "EndOfShaft", "Event", "Fault", "Reply")


def datum_bytes(name: str, datum: dict[str, Any]) -> bytes:
    """Return the Avro bytes of a record of the union."""
    out = io.BytesIO()
    fastavro.schemaless_writer(out, SCHEMA, ("midspan." + name, datum))
    return out.getvalue()


def frame_bytes(sequence: int, body: bytes) -> bytes:
    """Return a frame, made by hand."""
    plain = (sequence % 65536).to_bytes(2, "little") + body
    return cobs.encode(plain + zlib.crc32(plain).to_bytes(4, "little")) + b"\0"


def block(shaft: int, number: int, first: int, phase: Phase = Phase.LIGHT, readings: int = 3, **changes: Any) -> dict:
    """Return a block of readings with plain contents; `changes` replaces fields."""
    columns = {
        "lateness_us": [0] + [7] * (readings - 1), "rotate_steps": [10 * first] + [10] * (readings - 1),
        "press_steps": [900] + [0] * (readings - 1), "counts": [5000 + first] + [-3] * (readings - 1),
    }  # fmt: skip
    fixed = {"shaft": shaft, "block": number, "first": first, "phase": phase, "interval_us": 12500}
    return {**fixed, "tick_us": first * 12500, **columns, "unusual": [], "marks": [], **changes}


def shaft_blocks(shaft: int) -> list[dict]:
    """Return five blocks of three readings over three phases; one reading is unusual, one block has a mark."""
    phases = (Phase.ZERO_BEFORE, Phase.LIGHT, Phase.LIGHT, Phase.FULL, Phase.ZERO_AFTER)
    blocks = [block(shaft, i, 3 * i, phase) for i, phase in enumerate(phases)]
    blocks[1]["unusual"] = [{"reading": 2, "status": 8}]
    blocks[3]["marks"] = [95]
    return blocks


@dataclass
class ScriptedGauge:
    """A gauge that answers as the protocol says; `lose(name, datum, count)` drops the count-th sending of a record."""

    identify: dict = field(default_factory=lambda: dict(IDENTIFY))
    lose: Callable[[str, dict, int], bool] = lambda name, datum, count: False
    mute: bool = False
    received: list[tuple[str, dict]] = field(default_factory=list)
    held: list[dict] = field(default_factory=list)
    complete: bool = True
    cause: str | None = None
    refuse: dict[str, str] = field(default_factory=dict)
    hold_back: bool = False  # the cycle starts but sends nothing

    def __post_init__(self) -> None:
        self._sequence = 0
        self._counts: dict[str, int] = {}
        self._out = b""

    def say(self, name: str, **datum: Any) -> None:
        """Send a record unless it is to be lost; a lost record uses up its sequence number."""
        self._counts[name] = self._counts.get(name, 0) + 1
        if name in FROM_DEVICE:
            datum = {"boot": self.identify["boot"], **datum}
        frame = frame_bytes(self._sequence, datum_bytes(name, datum))
        self._sequence += 1
        if not self.mute and not self.lose(name, datum, self._counts[name]):
            self._out += frame

    def say_event(self, state: str, shaft: int | None = None) -> None:
        """Go to another state and report it."""
        self.say("Event", tick_us=9, previous=self.identify["state"], state=state, shaft=shaft)
        self.identify["state"] = state

    def take(self) -> bytes:
        """Return the bytes sent since the last call."""
        data, self._out = self._out, b""
        return data

    def hear(self, data: bytes) -> bytes:
        """Take the host's bytes and return the answer to them."""
        for stuffed in data.split(b"\0"):
            if stuffed:
                self._on_frame(cobs.decode(stuffed))
        return self.take()

    def _on_frame(self, plain: bytes) -> None:
        assert zlib.crc32(plain[:-4]).to_bytes(4, "little") == plain[-4:]
        name, datum = fastavro.schemaless_reader(
            io.BytesIO(plain[2:-4]), SCHEMA, None, return_record_name=True, return_record_name_override=True
        )
        name = name.removeprefix("midspan.")
        self.received.append((name, datum))
        if name == "Greet":
            self.say("Identify", **self.identify)
        elif datum.get("order") != "KEEP_ALIVE":
            unknown = name == "Resend" and datum["shaft"] != self.identify["held_shaft"]
            refusal = self.refuse.get(datum.get("order", name), "UNKNOWN_SHAFT" if unknown else None)
            self.say("Reply", to_sequence=int.from_bytes(plain[:2], "little"), refusal=refusal, field="")
            if refusal is None:
                self._obey(name, datum)

    def _obey(self, name: str, datum: dict) -> None:
        if name == "Program" and self.identify["state"] in ("IDLE", "STANDING"):
            self._run(datum)
        elif datum.get("order") == "STOP" and self.hold_back:
            self.hold_back, self.complete, self.cause = False, False, "STOPPED_BY_HOST"
            self.finish()
        elif datum.get("order") == "CLEAR_FAULT":
            self.say_event("HOMING")
            self.say_event("IDLE")
        elif name == "Feed":
            self._handle("FEEDING", "LOADED", in_gauge=datum["shaft"], seated=True)
        elif name == "Release":
            last = {**datum, "done": True, "passed": 1}
            self._handle("RELEASING", "IDLE", in_gauge=None, seated=False, last_release=last)
        elif name == "Acknowledge":
            self.held = []
            after = "STANDING" if self.identify["state"] == "STANDING" else "IDLE"
            self.identify.update(state=after, held_shaft=None, held_blocks=0)
        elif name == "Resend":
            for number in datum["blocks"]:
                self.say("Readings", **self.held[number])
            self.say_end()

    def _run(self, program: dict) -> None:
        shaft = program["shaft"]
        bench = [block(shaft, i, 3 * i, Phase.BENCH) for i in range(5)]
        self.held = bench if program["stand"] else self.held or shaft_blocks(shaft)
        self.say_event("RUNNING", shaft)
        self.identify["held_shaft"] = shaft
        if not self.hold_back:
            self.finish("STANDING" if program["stand"] else "HOLDING")

    def _handle(self, moving: str, rest: str, **changes: Any) -> None:
        self.say_event(moving)
        self.identify["feeder"] = {**(self.identify["feeder"] or FEEDER), **changes}
        self.say_event(rest)

    def finish(self, state: str = "HOLDING") -> None:
        """Send all blocks of the shaft, come to rest and send the end."""
        for item in self.held:
            self.say("Readings", **item)
        self.identify.update(held_blocks=len(self.held))
        self.say_event(state, self.identify["held_shaft"])
        self.say_end()

    def say_end(self) -> None:
        """Send the end of the shaft."""
        self.say(
            "EndOfShaft", shaft=self.identify["held_shaft"], blocks=len(self.held), complete=self.complete,
            readings=sum(len(item["counts"]) for item in self.held), cause=self.cause, duration_ms=900,
            sampling_ms=700, temperature_centi=1875, by_shaft=True,
        )  # fmt: skip
