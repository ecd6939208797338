"""Damage to bytes on a line, seeded: flipped bits, drops, duplicates, truncation, foreign chatter."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from random import Random

DELIMITER = b"\0"
# What other programs say to a port they take for a modem or a console (ITU-T V.250 commands, flow control, banners).
CHATTER = (
    b"AT\r", b"ATZ\r", b"AT+CGMI\r\n", b"ATE0V1\r", b"+++", b"\x11\x13", b"\x03\x04", b"\r\nlogin: ", b"OK\r\n",
    b"\x7e\xff\x03\xc0\x21", b"\xff" * 40, b"U" * 300, b"*IDN?\n", b"\0\0\0", b"\x80" * 12,
)  # fmt: skip

Damage = Callable[[Random, bytes], bytes]


def flip(random: Random, data: bytes) -> bytes:
    """One to four bits the other way."""
    spoilt = bytearray(data)
    for _ in range(random.randint(1, 4)):
        spoilt[random.randrange(len(data))] ^= 1 << random.randrange(8)
    return bytes(spoilt)


def drop(random: Random, data: bytes) -> bytes:
    """A run of bytes is gone."""
    at = random.randrange(len(data))
    return data[:at] + data[at + random.randint(1, 20) :]


def lose(_: Random, __: bytes) -> bytes:
    """All of it is gone."""
    return b""


def double(_: Random, data: bytes) -> bytes:
    """It comes twice."""
    return data + data


def stutter(random: Random, data: bytes) -> bytes:
    """A run of its bytes comes twice."""
    at = random.randrange(len(data))
    end = at + random.randint(1, 20)
    return data[:end] + data[at:end] + data[end:]


def truncate(random: Random, data: bytes) -> bytes:
    """It ends early, without its delimiter."""
    return data[: random.randrange(len(data))]


def overwrite(random: Random, data: bytes) -> bytes:
    """Random bytes stand in place of a run of it."""
    at = random.randrange(len(data))
    noise = random.randbytes(random.randint(1, 30))
    return data[:at] + noise + data[at + len(noise) :]


def chat(random: Random, data: bytes) -> bytes:
    """Another program speaks on the line, at any place."""
    at = random.randrange(len(data) + 1)
    return data[:at] + random.choice(CHATTER) + data[at:]


DAMAGES: tuple[Damage, ...] = (flip, drop, lose, double, stutter, truncate, overwrite, chat)


class Spoiler:
    """Spoils about one frame in `every` of a stream that is given piece by piece; `spoilt` counts them.

    A frame is known by its delimiter. What is no whole frame yet waits for the rest.
    """

    def __init__(self, random: Random, every: float) -> None:
        self.spoilt = self.frames = 0
        self._random, self._chance = random, 1 / every
        self._partial = b""

    def __call__(self, data: bytes) -> bytes:
        *whole, self._partial = (self._partial + data).split(DELIMITER)
        return b"".join(self._passed(frame + DELIMITER) for frame in whole)

    def _passed(self, frame: bytes) -> bytes:
        self.frames += 1
        if self._random.random() >= self._chance:
            return frame
        self.spoilt += 1
        return self._random.choice(DAMAGES)(self._random, frame)


class Replayer:
    """Says again, before about one frame in `every`, up to three that passed before; `replayed` counts them.

    What it says again may be of an earlier start of the gauge, and be said any number of times.
    """

    def __init__(self, random: Random, every: float) -> None:
        self.replayed = 0
        self._random, self._chance = random, 1 / every
        self._passed: list[bytes] = []
        self._partial = b""

    def __call__(self, data: bytes) -> bytes:
        *whole, self._partial = (self._partial + data).split(DELIMITER)
        return b"".join(self._with_older(frame + DELIMITER) for frame in whole)

    def _with_older(self, frame: bytes) -> bytes:
        older = b""
        if self._passed and self._random.random() < self._chance:
            again = self._random.choices(self._passed, k=self._random.randint(1, 3))
            self.replayed += len(again)
            older = b"".join(again)
        self._passed.append(frame)
        return older + frame


def pieces(stream: bytes) -> Iterable[bytes]:
    """The frames of a stream, each with its delimiter."""
    return (frame + DELIMITER for frame in stream.split(DELIMITER) if frame)
