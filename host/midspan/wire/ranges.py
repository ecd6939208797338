"""Checks of what a gauge sends against the ranges in protocol/*.avsc.

An Avro number may have 64 bits where the schema says 32, and a frame with a right checksum may hold any number. It is
refused here, before the host counts, waits or allocates memory by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from midspan.base.errors import ProtocolError
from midspan.wire.records import LONGEST, PARTS, RANGES


def check_ranges(record: Any) -> None:
    """Check the numbers and texts of a record against the ranges of protocol/*.avsc.

    Parameters
    ----------
    record : Any
        A record that a gauge sent, or a record within it.

    Raises
    ------
    ProtocolError
        A number is outside its range, or a text is too long or not printable.

    Examples
    --------
    >>> from midspan.wire.records import Reply
    >>> check_ranges(Reply(boot=0, to_sequence=65536, refusal=None, field=""))
    Traceback (most recent call last):
    midspan.base.errors.ProtocolError: the gauge sent Reply.to_sequence 65536, outside 0 to 65535: reset it
    """
    kind = type(record)
    for field, bounds in RANGES.get(kind, {}).items():
        _check_numbers(f"{kind.__name__}.{field}", _items(getattr(record, field)), bounds)
    for field, most in LONGEST.get(kind, {}).items():
        _check_text(f"{kind.__name__}.{field}", getattr(record, field), most)
    for field in PARTS.get(kind, {}):
        for part in _items(getattr(record, field)):
            check_ranges(part)


def _items(value: Any) -> Sequence[Any]:
    """Return the items of an array, a single value as the only item, or no items for null."""
    if isinstance(value, tuple):
        return value
    return () if value is None else (value,)


def _check_numbers(name: str, numbers: Sequence[int], bounds: tuple[int, int]) -> None:
    """Raise ProtocolError if a number is outside its bounds."""
    lowest, highest = bounds
    wrong = [number for number in numbers if not lowest <= number <= highest]
    if wrong:
        raise ProtocolError(f"the gauge sent {name} {wrong[0]}, outside {lowest} to {highest}: reset it")


def _check_text(name: str, text: str, most: int) -> None:
    """Raise ProtocolError if a text is longer than `most` characters or not printable."""
    if len(text) > most or not text.isprintable():
        raise ProtocolError(
            f"the gauge sent {name} {text[:most]!r}, {len(text)} characters; "
            f"at most {most} printable ones are allowed: reset it"
        )
