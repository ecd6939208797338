"""The part numbers of standard sizes: a running table in a file, so that a number keeps its size for ever."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

TABLE = Path(__file__).with_name("numbers.toml")


class UnknownSizeError(LookupError):
    """A standard part of a size that has no part number yet."""


@cache
def numbers() -> dict[str, str]:
    """Return the part number of each designation."""
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


def number_of(designation: str) -> str:
    """Return the part number of a standard part.

    Parameters
    ----------
    designation : str
        Standard and size, as the table has it.

    Returns
    -------
    str
        Its part number.

    Raises
    ------
    UnknownSizeError
        The table does not have it.
    """
    if designation not in numbers():
        raise UnknownSizeError(f'{TABLE.name} has no "{designation}". Append it there with the next free number.')
    return numbers()[designation]
