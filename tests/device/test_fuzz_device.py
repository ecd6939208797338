"""The device's decoder under a million corrupt bytes, on the real MicroPython with a chip's heap.

A host's frames, corrupted on the line or in their content under a right check, go to the whole device: frames, records,
requests, and the programs that some of them start. All of it is seeded.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

import pytest
from campaign import corruption
from device_rig import DEVICE, MICROPYTHON, bench_step, needs_micropython, standard_steps, step
from wire import FINGERPRINT, datum, framed

pytestmark = pytest.mark.process

SPOILT_BYTES = 500_000  # each way, so a million in all
LARGEST_BODY = 1530
LARGEST_PROGRAM = 16384  # bytes of 32 steps on a computer, where objects are twice as large as on the chip
CLEAR_WHATEVER = b"\xff\xff"
Request = tuple[str, dict[str, Any]]
Way = Callable[[Random, int, bytes], bytes]


def command(order: str) -> Request:
    return "Command", {"order": order}


def program(shaft: int, *steps: dict[str, Any], stand: bool = False) -> Request:
    return "Program", {"shaft": shaft, "stand": stand, "steps": steps}


def acknowledge(shaft: int) -> Request:
    return "Acknowledge", {"shaft": shaft}


def calibration(**fields: Any) -> Request:
    return program(3, bench_step(readings=4, **fields), stand=True)


GREET: Request = ("Greet", {"protocol_major": 2, "protocol_minor": 1, "fingerprint": FINGERPRINT})
CYCLE: Request = program(1, *standard_steps(turn_steps=200, zero_readings=4))
KEEP_ALIVE, STOP, CLEAR = map(command, ("KEEP_ALIVE", "STOP", "CLEAR_FAULT"))
REQUESTS: tuple[Request, ...] = (
    GREET, KEEP_ALIVE, STOP, CLEAR, CYCLE, program(2, *standard_steps(turn_steps=200)[:4], stand=True),
    *map(acknowledge, (1, 2, 3)),
    *(("Resend", {"shaft": shaft, "blocks": list(range(0, 40, shaft))}) for shaft in (1, 2)),
    *(("Feed", {"shaft": shaft, "source": source}) for shaft, source in ((1, "HOPPER"), (2, "SLOT"), (4, "SEATED"))),
    *(("Release", {"shaft": shaft, "place": place}) for shaft, place in ((1, 2), (2, 6), (4, 1))),
    calibration(zero=True), calibration(press_steps=2000, rotate_steps=-50, until_count=90_000),
    program(5, *[step("LIGHT", rotate_steps=1)] * 32),
)  # fmt: skip


def spoilt_on_the_line(random: Random, sequence: int, body: bytes) -> bytes:
    frame = framed(sequence, body)
    while random.random() < 0.6 and frame:
        frame = random.choice(corruption.DAMAGES)(random, frame)
    return frame


def spoilt_in_the_content(random: Random, sequence: int, body: bytes) -> bytes:
    while random.random() < 0.6 and body:
        body = random.choice(corruption.DAMAGES)(random, body)
    return framed(sequence, body[:LARGEST_BODY]) if body else b""


class Stream:
    """Pieces for tests/device/fuzz_on_device.py; `spoilt` counts the bytes that a host would not send like this."""

    def __init__(self, seed: int, way: Way) -> None:
        self.random, self.way = Random(seed), way
        self.sequence = self.spoilt = self.greetings = 0
        self.bytes = bytearray()

    def spoil(self, *requests: Request) -> bytes:
        """Return frames of requests, each as it is or corrupted."""
        frames = b""
        for name, fields in requests:
            body, sequence = datum(name, fields), self._next()
            frame = self.way(self.random, sequence, body)
            self.spoilt += len(frame) if frame != framed(sequence, body) else 0
            frames += frame
        return frames

    def sound(self, *requests: Request) -> bytes:
        """Return frames of requests as they are, after a delimiter."""
        self.greetings += requests.count(GREET)
        return b"\0" + b"".join(framed(self._next(), datum(*request)) for request in requests)

    def put(self, piece: bytes) -> None:
        """Add what arrives at one turn of the device's loop."""
        self.bytes += len(piece).to_bytes(2, "little") + piece

    def wait(self, turns: int) -> None:
        """Add turns at which nothing arrives."""
        self.bytes += bytes(2 * turns)

    def _next(self) -> int:
        self.sequence = (self.sequence + 1) % 65536
        return self.sequence


def a_stream(seed: int, way: Way) -> Stream:
    """Return all requests in any order, with a cycle among them now and then that is allowed to run."""
    stream = Stream(seed, way)
    while stream.spoilt < SPOILT_BYTES:
        stream.put(stream.spoil(*stream.random.sample(REQUESTS, 4)))
        if stream.random.random() < 0.01:
            stream.put(stream.sound(GREET, STOP))
            stream.wait(200)  # the head goes home
            stream.bytes += CLEAR_WHATEVER
            stream.put(stream.sound(CLEAR))
            stream.wait(300)  # and a shaft rolls out
            stream.put(stream.sound(("Feed", {"shaft": 1, "source": "HOPPER"})))
            stream.wait(200)
            stream.put(stream.sound(CYCLE))
            for _ in range(100):
                stream.put(stream.spoil(KEEP_ALIVE))
                stream.wait(8)
    return stream


@needs_micropython
@pytest.mark.parametrize("way", [spoilt_on_the_line, spoilt_in_the_content])
def test_a_million_spoilt_bytes_raise_nothing_and_keep_nothing(way: Way) -> None:
    stream = a_stream(1, way)
    script = Path(__file__).with_name("fuzz_on_device.py")
    arguments = [str(MICROPYTHON), "-X", "heapsize=384K", str(script), str(DEVICE)]
    done = subprocess.run(arguments, input=stream.bytes, capture_output=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr.decode()
    found = json.loads(done.stdout)
    assert found["bad"] == 0  # what the device says stays sound
    assert found["internal"] == 0  # and nothing met a condition it does not expect
    assert found["identified"] >= stream.greetings
    used = found["used_bytes"]
    assert len(used) > 20
    assert max(used) - min(used) < LARGEST_PROGRAM
    assert median(used[3 * len(used) // 4 :]) < median(used[: len(used) // 4]) + 512
    assert {"IDLE", "RUNNING", "RETRACTING", "HOLDING", "STANDING"} | {
        "FEEDING",
        "LOADED",
        "SELECTING",
        "RELEASING",
    } <= set(found["seen"])
