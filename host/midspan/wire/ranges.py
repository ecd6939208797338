"""Ranges of what a gauge sends, as the documentation in protocol/*.avsc has them.

Avro carries 64 bits where the schema says 32, and a frame whose check is right may still hold any number: what is
outside its range is told before anybody counts, waits or makes room by it.
"""

from __future__ import annotations

from collections.abc import Sequence

from midspan.base.errors import ProtocolError
from midspan.wire.records import EndOfShaft, Event, Fault, Identify, LastRelease, Readings, Record, Reply

INT = (-(1 << 31), (1 << 31) - 1)
LONG = (-(1 << 63), (1 << 63) - 1)
_UP = (0, INT[1])
_POSITIVE = (1, INT[1])
_NUMBER = (0, LONG[1])  # of a shaft
_CLOCK = (0, (1 << 30) - 1)
_STATUS = (1, 15)
# Several times the memory of any chip that runs the device code: a gauge that says more is mad, and this host's memory
# is what it would fill.
MOST_STORE_BYTES = 1 << 22

RANGES: dict[type, dict[str, tuple[int, int]]] = {
    Identify: {
        "boot": _CLOCK, "held_shaft": _NUMBER, "held_blocks": _UP, "tick_us": _CLOCK, "interval_us": _POSITIVE,
        "count_min": INT, "count_max": INT, "count_limit": _POSITIVE, "press_limit_steps": _POSITIVE,
        "silence_ms": _POSITIVE, "buffer_bytes": (1, MOST_STORE_BYTES), "in_gauge": _NUMBER, "places": _UP,
        "guards": _UP, "temperature_centi": INT,
    },
    LastRelease: {"shaft": _NUMBER, "place": _UP, "passed": _UP},
    Readings: {
        "shaft": _NUMBER, "block": _UP, "first": _UP, "tick_us": _CLOCK, "interval_us": _POSITIVE, "lateness_us": INT,
        "rotate_steps": INT, "press_steps": INT, "counts": INT, "marks": INT,
    },
    EndOfShaft: {"shaft": _NUMBER, "blocks": _UP, "readings": _UP, "duration_ms": _UP, "sampling_ms": _UP},
    Event: {"tick_us": _CLOCK, "shaft": _NUMBER},
    Fault: {"tick_us": _CLOCK, "shaft": _NUMBER, "detail": INT},
    Reply: {"to_sequence": (0, (1 << 16) - 1)},
}  # fmt: skip

TEXTS = {Identify: {"gauge": 32}, Reply: {"field": 32}}  # what messages repeat, in characters


def check_ranges(record: Record | LastRelease) -> None:
    """Raise ProtocolError when a number of a record is outside its range, or a text that is to be shown is none.

    >>> check_ranges(Reply(to_sequence=65536, refusal=None, field=""))
    Traceback (most recent call last):
    midspan.base.errors.ProtocolError: the gauge says Reply.to_sequence 65536, which is not in 0 to 65535: reset it
    """
    for field, bounds in RANGES.get(type(record), {}).items():
        value = getattr(record, field)
        _check(f"{type(record).__name__}.{field}", value if isinstance(value, tuple) else (value,), bounds)
    for field, most in TEXTS.get(type(record), {}).items():
        text = getattr(record, field)
        if len(text) > most or not text.isprintable():
            raise ProtocolError(
                f"the gauge says {type(record).__name__}.{field} {text[:most]!r}, {len(text)} characters, which is no "
                f"text of up to {most}: reset it"
            )
    if isinstance(record, Readings):
        _check("Readings.unusual", [status for _, status in record.unusual], _STATUS)
    if isinstance(record, Identify) and record.last_release is not None:
        check_ranges(record.last_release)


def _check(name: str, numbers: Sequence[int | None], bounds: tuple[int, int]) -> None:
    lowest, highest = bounds
    wrong = [number for number in numbers if number is not None and not lowest <= number <= highest]
    if wrong:
        raise ProtocolError(f"the gauge says {name} {wrong[0]}, which is not in {lowest} to {highest}: reset it")
